//! Several organs at once: every case with the share of the limit that decides for each of them, from
//! which the sheets open. Each organ has a page of its own; all of them hold the same matrix.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::cohort::{Cohort, verdict_place};
use super::html_page::part;
use super::number::shown;
use super::{Request, ReviewError};
use tidydose_table::read::Tables;

/// One organ with what is known of it in each case.
#[derive(Debug, Clone, PartialEq)]
pub struct OrganOverview {
    organ: String,
    /// Name of the file of its page.
    file: String,
    cells: BTreeMap<String, Cell>,
}

#[derive(Debug, Clone, PartialEq)]
struct Cell {
    share: Option<f64>,
    /// What stands there without a share, and below it where the share is not certain.
    words: String,
    class: usize,
    /// Where the sheet is, on the page of the organ or in a file beside it; absent for a case without
    /// one.
    sheet: Option<String>,
}

impl OrganOverview {
    /// The organ.
    #[must_use]
    pub fn organ(&self) -> &str {
        &self.organ
    }

    /// Reads what the page of `request` will say; `file` is the name of its file.
    ///
    /// # Errors
    /// As for the page.
    pub fn read(tables: &Tables, request: &Request<'_>, file: &str) -> Result<Self, ReviewError> {
        let cohort = Cohort::read(tables, request)?;
        let mut cells = BTreeMap::new();
        for (place, case) in (1..).zip(&cohort.cases) {
            let there = cohort.limits_there;
            let words =
                if case.counted() { case.verdict_words(there) } else { "left out".to_owned() };
            let cell = Cell {
                share: case.share().map(|s| s.value),
                words,
                class: verdict_place(case.verdict(there)),
                sheet: cohort.sheet_of(place),
            };
            cells.insert(case.plan.plan_id.to_owned(), cell);
        }
        Ok(Self { organ: request.organ.to_owned(), file: file.to_owned(), cells })
    }
}

/// The part of the page; nothing for a page that stands alone.
pub(super) fn section(cohort: &Cohort<'_>) -> Markup {
    let organs = cohort.request.organs;
    if organs.is_empty() {
        return html! {};
    }
    part(
        "organs",
        "All organs",
        &html! {
            p { "Each number is the dose of the organ as a share of the limit that decides there; 1 \
                 is the limit. A number opens the sheet. Cases in the order of this page." }
            div.scroll tabindex="0" role="region" aria-label="Cases by organs" { table.matrix {
                caption { "Share of the limit that decides, by case and organ" }
                thead { tr {
                    th scope="col" { "Case" }
                    @for o in organs { th.n scope="col" {
                        @if o.organ == cohort.request.organ { (o.organ) }
                        @else { a href=(o.file) { (o.organ) } }
                    } }
                } }
                tbody { @for case in &cohort.cases { tr {
                    th scope="row" { (case.plan.plan_id) }
                    @for o in organs { td.n { (cell(o, case.plan.plan_id, cohort.request.organ)) } }
                } } }
            } }
        },
    )
}

fn cell(overview: &OrganOverview, plan: &str, own: &str) -> Markup {
    let Some(cell) = overview.cells.get(plan) else { return html! { "–" } };
    // A place on a page needs the name of the page, unless it is this one.
    let file = if overview.organ == own { "" } else { overview.file.as_str() };
    let place = |sheet: &str| {
        if sheet.starts_with('#') { format!("{file}{sheet}") } else { sheet.to_owned() }
    };
    let number = cell.share.map_or_else(|| "unknown".to_owned(), shown);
    html! {
        @match &cell.sheet {
            Some(sheet) => { a href=(place(sheet)) { (number) } },
            None => { (number) },
        }
        span class={ "sub v" (cell.class) } { (cell.words) }
    }
}
