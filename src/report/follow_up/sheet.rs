//! The sheet of one patient: time, sizes, what images say by each criterion, where the lesion lies in
//! the dose, new lesions, and pictures of what came back.

use maud::{Markup, html};

use super::patients::Patient;
use super::{IMAGES_ALONE, days, places, sizes, timeline, with_bounds};
use crate::number::{counted, rounded, spaced};
use crate::picture::Picture;

/// The sheet; `n` counts from 1.
pub(super) fn sheet(n: usize, patient: &Patient<'_>, pictures: &[Picture<'_>]) -> Markup {
    let id = format!("patient-{n}");
    html! {
        article.sheet id=(id) aria-labelledby={ (id) "-h" } {
            h3 id={ (id) "-h" } tabindex="-1" { "Patient " (patient.patient_id) }
            @if patient.open() > 0 {
                p.note { (counted(patient.open(), "drawing")) " of this patient not matched yet: see "
                    a href="#open" { "To decide" } "." }
            }
            (timeline::figure_of(n, patient))
            h4 { "Sizes" }
            (sizes::table(patient))
            h4 { "What the images say" }
            p.note { (IMAGES_ALONE) }
            (responses(patient))
            h4 { "New lesions" }
            (looks(patient))
            h4 { "Where it lies in the dose that was given" }
            (places::tables(patient))
            (places::pictures(n, patient, pictures))
            p.back { a href="#who" { "All patients" } }
        }
    }
}

fn responses(patient: &Patient<'_>) -> Markup {
    if patient.responses.is_empty() {
        return html! { p { "No treatment with a known day before a later structure set: nothing to \
        compare with." } };
    }
    let heads = [
        "Day",
        "Criterion",
        "Lesions",
        "Change % since treatment",
        "Since smallest %",
        "Images say",
    ];
    let mut references: Vec<&str> = patient.responses.iter().map(|r| r.reference).collect();
    references.sort_unstable();
    references.dedup();
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Responses by criterion, patient " (patient.patient_id) } { table {
            caption { "By each criterion; days since the treatment that is compared" }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for r in &patient.responses { tr {
                td.n { (days(r.days_since_treatment)) }
                th scope="row" { (spaced(r.criterion)) }
                td.n { (r.n_lesions.unwrap_or_default()) }
                td.n { (with_bounds(r.change())) }
                td.n { @match r.change_from_smallest_percent { Some(x) => (rounded(x)), None => "–" } }
                td { strong { (spaced(r.response)) } @if !r.reason.is_empty() { span.sub { (r.reason) } } }
            } } }
        } }
        ul.note { @for reference in references { li { (reference) } } }
    }
}

fn looks(patient: &Patient<'_>) -> Markup {
    if patient.looks.is_empty() {
        return html! { p { "The day of the first treatment or of the later structure sets is not known." } };
    }
    let heads = [
        "Day",
        "What",
        "New",
        "Volume of them cc",
        "Undecided",
        "New so far",
        "New a year",
        "Class of that",
    ];
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "New lesions, patient " (patient.patient_id) } { table {
            caption { "Days since the first treatment; new a year is the velocity of brain metastases \
                (Farris et al. 2017)" }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for l in &patient.looks { tr {
                td.n { (days(l.days_since_first_treatment)) }
                th scope="row" { (spaced(l.kind)) }
                td.n { (l.n_new.unwrap_or_default()) }
                td.n { (with_bounds(l.new_volume())) }
                td.n { (l.n_undecided.unwrap_or_default()) }
                td.n { (l.n_new_so_far.unwrap_or_default()) }
                td.n { @match l.new_per_year { Some(x) => (rounded(x)), None => "–" } }
                td { (spaced(l.velocity_class.unwrap_or("–"))) }
            } } }
        } }
    }
}
