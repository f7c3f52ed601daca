//! Sizes of the lesions of a patient at each time, with their bounds and changes.

use maud::{Markup, html};

use super::patients::Patient;
use super::{days, with_bounds};
use crate::number::spaced;
use tidydose_table::read::LesionTimeRow;

/// The table; the rows of a lesion stand together.
pub(super) fn table(patient: &Patient<'_>) -> Markup {
    let heads = [
        "Lesion",
        "Day",
        "Volume cc",
        "Change % since treatment",
        "Since smallest %",
        "Longest diameter mm",
        "Across mm",
        "Its change %",
    ];
    let mut rows: Vec<&LesionTimeRow<'_>> = patient.times.iter().collect();
    rows.sort_by_key(|t| (t.treated_lesion_id.is_none(), t.treated_lesion_id, t.day, t.lesion_id));
    if rows.is_empty() {
        return html! { p { "No lesion was drawn in the later structure sets." } };
    }
    html! {
        div.scroll tabindex="0" role="region" aria-label={ "Sizes at each time, patient " (patient.patient_id) } { table {
            caption { "Sizes with their numerical bounds; days since the first treatment" }
            thead { tr { @for words in heads { th scope="col" { (words) } } } }
            tbody { @for t in rows { tr {
                th scope="row" { (t.shown_name())
                    span.sub { (identity(t)) @if !t.reason.is_empty() { "; " (t.reason) } } }
                td.n { (days(patient.since(t.day))) }
                td.n { (with_bounds(t.volume())) @if t.volume().is_none() {
                    span.sub { (spaced(t.volume_status.map_or("no metric of this run", |s| s.word()))) } } }
                td.n { (with_bounds(t.volume_change())) }
                td.n { (with_bounds(t.volume_regrowth())) }
                td.n { (with_bounds(t.longest())) }
                td.n { (with_bounds(t.across())) }
                td.n { (with_bounds(t.longest_change())) }
            } } }
        } }
    }
}

/// Which lesion it is, in words.
fn identity(time: &LesionTimeRow<'_>) -> &'static str {
    match (time.is_later(), time.match_basis) {
        (false, _) => "at its treatment",
        (true, "user") => "treated lesion, drawn again",
        (true, "new") => "new",
        (true, "gone") => "nothing is left of it",
        (true, _) => "nobody has matched it",
    }
}
