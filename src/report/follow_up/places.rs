//! What was drawn later, in the dose that was given: shares inside isodoses with what a shift of the
//! registration does to them, distances, the class by each published definition, and pictures.

use maud::{Markup, html};

use super::patients::Patient;
use super::{days, range, with_bounds};
use crate::number::{plain, rounded, spaced};
use crate::picture::{Marked, Picture};
use tidydose_table::read::{LesionTimeRow, RecurrenceRow, ShareRow};

/// Both tables, and what they rest on.
pub(super) fn tables(patient: &Patient<'_>) -> Markup {
    if patient.later.is_empty() {
        return html! { p { "No target was drawn in the later structure sets." } };
    }
    html! {
        (shares(patient))
        (distances(patient))
        ul.note {
            li { "A class is that of the definition; whether it is a recurrence says lesions.csv alone." }
            @for words in assumptions(patient) { li { (words) } }
        }
    }
}

fn name(patient: &Patient<'_>, r: &RecurrenceRow<'_>) -> Markup {
    html! {
        th scope="row" { (r.structure) span.sub { "day " (days(patient.since(r.day))) ", " (match r.recurrence {
            "yes" => "a recurrence by lesions.csv",
            "no" => "no recurrence by lesions.csv",
            _ => "recurrence or not: nobody has said",
        }) } }
    }
}

fn shares(patient: &Patient<'_>) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Shares inside isodoses, patient " (patient.patient_id) } { table {
            caption { "Share of its volume inside isodoses, %: numerical bounds below it, then the least \
                and the most when it is shifted by up to 1 and 2 mm" }
            thead { tr {
                th scope="col" { "Drawn later" }
                @for isodose in [95, 100, 50] { th scope="col" { (isodose) " % of the prescription" } }
                th scope="col" { "Class by each definition" } th scope="col" { "Site" }
            } }
            tbody { @for r in &patient.later { tr {
                (name(patient, r))
                @for s in r.shares() { td.n { (share(&s)) } }
                td.classes { @if r.shares().iter().all(|s| s.share.is_none()) {
                    (spaced(r.status.word())) span.sub { (r.reason) }
                } @else { @for (definition, class) in r.patterns() {
                    span.sub { (definition) ": " strong { (spaced(class.unwrap_or("–"))) } }
                } } }
                td { (spaced(r.site.unwrap_or("–"))) }
            } } }
        } }
    }
}

fn share(share: &ShareRow) -> Markup {
    html! {
        (with_bounds(share.share))
        @for (mm, [least, most]) in (1..).zip(share.shifted) { @if least.is_some() {
            span.sub { (mm) " mm: " (range([least, most])) }
        } }
    }
}

fn distances(patient: &Patient<'_>) -> Markup {
    let heads = [
        "Drawn later",
        "Dose at its centre Gy",
        "Centre to target mm",
        "Surface to target mm",
        "Centre to isodose mm",
        "Surface to isodose mm",
    ];
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Distances, patient " (patient.patient_id) } { table {
            caption { "Distances from the nearest treated target and from the isodose of the \
                prescription; negative inside" }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for r in &patient.later { tr {
                (name(patient, r))
                @for x in [r.centre_dose(), r.centre_to_target(), r.gap_to_target(), r.centre_to_isodose(),
                    r.gap_to_isodose()] { td.n { (with_bounds(x)) } }
            } } }
        } }
    }
}

/// What the numbers of a later structure set rest on, each said once.
fn assumptions(patient: &Patient<'_>) -> Vec<String> {
    let mut list: Vec<String> = Vec::new();
    for r in &patient.later {
        let day = days(patient.since(r.day));
        let mut words = match r.treated_plan_id {
            None => format!("Day {day}: no dose lies under it ({})", r.reason),
            Some(plan) => format!("Day {day}: dose of plan {plan}"),
        };
        if let Some(dose) = r.prescription_dose_gy {
            words.push_str(&format!(", 100 % is {} Gy", plain(dose)));
        }
        match (r.frame_link, r.registration_moves_mm) {
            ("registration", Some(mm)) => {
                let made = patient.since(r.registration_day);
                let made = made.map(|d| format!(", made on day {d}")).unwrap_or_default();
                words.push_str(&format!(
                    "; joined by a rigid registration{made} that moves the head by up to {} mm: it \
                     knows nothing of swelling, surgery or shrinking in between",
                    rounded(mm)
                ));
            }
            (link, _) => words.push_str(&format!("; frames of reference: {}", spaced(link))),
        }
        words.push('.');
        if !list.contains(&words) {
            list.push(words);
        }
    }
    list
}

/// Pictures in three planes of what people call a recurrence, and of what is no treated lesion.
pub(super) fn pictures(n: usize, patient: &Patient<'_>, pictures: &[Picture<'_>]) -> Markup {
    let mut wanted = Vec::new();
    for r in &patient.later {
        let own = |t: &&LesionTimeRow<'_>| t.lesion_id == r.lesion_id;
        let is_treated =
            patient.times.iter().find(own).is_some_and(|t| t.treated_lesion_id.is_some());
        if r.recurrence == "yes" || !is_treated {
            let of_it = |p: &&Picture<'_>| p.plan_id == r.plan_id && p.structure == r.structure;
            wanted.push((r, pictures.iter().filter(of_it).collect::<Vec<_>>()));
        }
    }
    html! {
        @if !wanted.is_empty() { h4 { "Over the isodoses of the plan" } }
        @for (place, (r, planes)) in wanted.iter().enumerate() {
            p { (r.structure) ", day " (days(patient.since(r.day)))
                @if let Some(dose) = r.prescription_dose_gy { "; prescribed " (plain(dose)) " Gy" }
                @if planes.is_empty() { ": no picture, since no dose lies under it" } "." }
            div.pictures { @for (plane, picture) in planes.iter().enumerate() {
                (picture.drawn(&format!("later-{n}-{place}-{plane}"), r.prescription_dose_gy.map(Marked::prescription), None))
            } }
        }
    }
}
