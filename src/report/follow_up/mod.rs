//! The page of the time after the treatment, from the tables that `measure` fills: who was looked at
//! again, volumes over time across patients, and a sheet for each patient. It shows what the tables
//! say and decides nothing: which lesion is which, and what is a recurrence, people write down.

mod across;
mod patients;
mod places;
mod sheet;
mod sizes;
mod timeline;

use maud::{Markup, html};

use super::ReviewError;
use super::html_page::{Page, part};
use super::number::{counted, rounded};
use super::picture::pictures;
use patients::Patient;
use tidydose_table::read::{Tables, WithBounds};
use tidydose_table::run::CAUTION;

/// The tables that the page is made from. Those after the first two may be missing.
pub const TABLES: &[&str] =
    &["plans", "follow_up", "responses", "recurrences", "new_lesions", "pictures"];

/// What no image tells.
const IMAGES_ALONE: &str = "Images alone: a response by sizes is no clinical response, which asks for \
    corticosteroids and the state of the patient as well, and necrosis and progression look alike.";

/// What a page says of the study besides its tables.
#[derive(Debug, Clone, Copy)]
pub struct Request<'r> {
    /// Whether the study holds all cases of its archive.
    pub complete: bool,
    /// What to say where something was decided after the tables were made.
    pub stale: Option<&'r str>,
}

/// The page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FollowUpPage {
    /// The page as HTML.
    pub html: String,
    /// Patients with a sheet.
    pub patients: usize,
    /// Lesions of later structure sets about which nobody has said which they are.
    pub open: usize,
}

/// The page of the time after the treatment.
///
/// # Errors
/// [`ReviewError`]: a table is missing or cannot be understood.
pub fn page(tables: &Tables, request: &Request<'_>) -> Result<FollowUpPage, ReviewError> {
    for name in ["plans", "follow_up"] {
        if !tables.contains_key(name) {
            return Err(ReviewError::Table(name));
        }
    }
    let list = patients::patients(tables)?;
    let mut drawn = Vec::new();
    for patient in &list {
        drawn.extend(patient.later.iter().map(|r| r.lesion_id));
    }
    let plans: Vec<&str> = drawn.iter().filter_map(|id| Some(id.split_once('/')?.0)).collect();
    let pictures = pictures(tables, |plan| plans.contains(&plan))?;
    let open = list.iter().map(Patient::open).sum();
    let page = Page {
        title: "After the treatment".to_owned(),
        skip: ("#who".to_owned(), "Skip to who was looked at again"),
        head: head(request),
        script: None,
        images: false,
    };
    let content = html! {
        (part("who", "Who was looked at again", &who(tables, &list)))
        (part("open", "To decide", &to_decide(&list)))
        (part("over-time", "Volumes over time", &across::over_time(&list)))
        (part("best", "Smallest volume of each lesion", &across::best(&list)))
        (part("sheets", "Patients", &html! {
            @if list.is_empty() { p { "None." } }
            @for (n, patient) in (1..).zip(&list) { (sheet::sheet(n, patient, &pictures)) }
        }))
    };
    Ok(FollowUpPage {
        html: page.with_style(include_str!("follow_up.css"), &content),
        patients: list.len(),
        open,
    })
}

fn head(request: &Request<'_>) -> Markup {
    let parts = [
        ("who", "Who was looked at again"),
        ("open", "To decide"),
        ("over-time", "Volumes over time"),
        ("best", "Smallest volume of each lesion"),
        ("sheets", "Patients"),
    ];
    html! {
        header {
            h1 { "After the treatment" }
            p.caution role="note" { (CAUTION) }
            p.caution role="note" { (IMAGES_ALONE) }
            @if !request.complete {
                p.caution { "The run that wrote this study was interrupted: it does not hold all \
                     cases." }
            }
            @if let Some(stale) = request.stale { p.caution { (stale) "." } }
            nav aria-label="Parts of the page" {
                ol { @for (id, words) in parts { li { a href={ "#" (id) } { (words) } } } }
            }
        }
    }
}

fn who(tables: &Tables, list: &[Patient<'_>]) -> Markup {
    let all = tables.get("plans").map_or(0, |plans| {
        let mut ids: Vec<&str> =
            tidydose_table::frame::texts(plans, "patient_id").into_iter().flatten().collect();
        ids.sort_unstable();
        ids.dedup();
        ids.len()
    });
    if list.is_empty() {
        return html! {
            p { "No structure set of the archive was drawn on images after a treatment that counts in \
                the study (" (counted(all, "patient")) "). One counts where its images, else the set \
                itself, are later than a plan of the same patient and no plan refers to it; dose and \
                distances need one frame of reference or a rigid registration besides." }
            p { "Structure sets that were left aside are in findings.csv (object-unused), with why." }
        };
    }
    let scans: usize = list.iter().map(|p| p.scans().len()).sum();
    let treated: usize = list.iter().map(|p| p.treated().len()).sum();
    let recurred: usize =
        list.iter().map(|p| p.later.iter().filter(|r| r.recurrence == "yes").count()).sum();
    let new: i64 = list.iter().flat_map(|p| &p.looks).filter_map(|l| l.n_new).sum();
    let open: usize = list.iter().map(Patient::open).sum();
    html! {
        ul.tiles {
            li { strong { (list.len()) } "of " (counted(all, "patient")) " looked at again" }
            li { strong { (scans) } "later structure sets" }
            li { strong { (treated) } "treated lesions drawn again" }
            li { strong { (recurred) } "drawings that lesions.csv calls a recurrence" }
            li { strong { (new) } "lesions that lesions.csv calls new" }
            li { strong { (open) } "drawings that nobody has matched yet" }
        }
        p.note { "A patient without a later structure set in the archive is in none of the figures: \
            that says nothing of how the patient did." }
        (overview(list))
    }
}

fn overview(list: &[Patient<'_>]) -> Markup {
    let heads =
        ["Patient", "Treatments", "Later sets", "Last day", "Lesions", "Recurrence", "New", "Open"];
    html! {
        div.scroll tabindex="0" role="region" aria-label="Patients who were looked at again" { table {
            caption { "Patients; days since the first treatment" }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for (n, p) in (1..).zip(list) { tr {
                th scope="row" { a href={ "#patient-" (n) } { (p.patient_id) } }
                td.n { (p.plans.len()) }
                td.n { (p.scans().len()) }
                td.n { @match p.scans().last() { Some((day, _)) => { (day) }, None => { "–" } } }
                td.n { (p.treated().len()) }
                td.n { (p.later.iter().filter(|r| r.recurrence == "yes").count()) }
                td.n { (p.looks.iter().filter_map(|l| l.n_new).sum::<i64>()) }
                td.n { (p.open()) }
            } } }
        } }
    }
}

fn to_decide(list: &[Patient<'_>]) -> Markup {
    let open: usize = list.iter().map(Patient::open).sum();
    if open == 0 {
        return html! { p { "Every drawing after a treatment is matched to a lesion, or called new." } };
    }
    html! {
        p { (counted(open, "drawing")) " after a treatment may be of a lesion that was treated, or \
            new. Nothing is taken from a proposal: they are in no change, response, figure or count \
            below until lesions.csv says in " code { "same_as" } " the lesion_id of the treated lesion \
            or the word new, and in " code { "recurrence" } " yes or no. decide.html asks the same with \
            a picture. Then measure again." }
        div.scroll tabindex="0" role="region" aria-label="Drawings to decide" { table {
            caption { "Drawings that nobody has matched" }
            thead { tr { @for words in ["Patient", "Day", "Row lesion_id", "Called", "Volume cc"] {
                th scope="col" { (words) } } } }
            tbody { @for p in list { @for t in p.unmatched() { tr {
                th scope="row" { (p.patient_id) }
                td.n { (days(p.since(t.day))) }
                td.id { (t.lesion_id) }
                td { (t.structure) }
                td.n { (with_bounds(t.volume())) }
            } } } }
        } }
    }
}

/// A number with its bounds below it.
fn with_bounds(x: Option<WithBounds>) -> Markup {
    html! {
        @match x {
            None => "–",
            Some(x) => {
                span data-value=(x.value) data-low=[x.low] data-high=[x.high] { (rounded(x.value)) }
                span.sub { (range([x.low, x.high])) }
            }
        }
    }
}

/// From low to high with three digits each, or the one side there is.
fn range([low, high]: [Option<f64>; 2]) -> String {
    match (low, high) {
        (Some(low), Some(high)) => format!("{} to {}", rounded(low), rounded(high)),
        (Some(low), None) => format!("at least {}", rounded(low)),
        (None, Some(high)) => format!("at most {}", rounded(high)),
        (None, None) => String::new(),
    }
}

/// Days, or that they are not known.
fn days(days: Option<i64>) -> String {
    days.map_or_else(|| "unknown".to_owned(), |d| d.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_table::frame::LoadedTable;

    #[test]
    fn a_missing_table_is_named() {
        let request = Request { complete: true, stale: None };
        let error = |tables: &Tables| page(tables, &request).unwrap_err();
        assert_eq!(error(&Tables::new()), ReviewError::Table("plans"));
        let plans = Tables::from([("plans".to_owned(), LoadedTable::new(Vec::new()))]);
        assert_eq!(error(&plans), ReviewError::Table("follow_up"));
    }

    #[test]
    fn one_side_of_a_range_is_said_as_such() {
        let texts = [[Some(0.0), Some(0.08)], [Some(1.0), None], [None, Some(2.0)], [None, None]];
        let expected = ["0 to 0.0800", "at least 1.00", "at most 2.00", ""];
        assert_eq!(texts.map(range), expected);
    }
}
