//! Groups of cases compared where they are alike: the same number of fractions and the nearest target
//! in the same band of distance. A dose beside a target depends on the distance above all, so groups
//! are never compared across bands. By delivery technology, or by another column of table plans.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::cohort::{Cohort, fractions_words};
use super::html_page::part;
use super::number::{counted, percentile, shown, spaced};
use super::outliers::excesses;
use super::{LEAST_CASES, Request, ReviewError};
use tidydose_rt::nearest::nearest;
use tidydose_statistics::outlying::LEAST_POINTS;
use tidydose_statistics::rank::{RankSum, rank_sum};
use tidydose_table::frame::texts;
use tidydose_table::read::{Tables, level};
use tidydose_table::user::groups::Groups;

/// Where bands of distance begin, mm: wider with the distance, as the dose falls more slowly.
const BANDS_MM: [f64; 5] = [0.0, 3.0, 10.0, 20.0, 40.0];

/// A band of distance; the target reaches into the organ, or lies between two of [`BANDS_MM`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Band(usize);

impl Band {
    fn of(mm: f64) -> Self {
        Self(BANDS_MM.iter().filter(|edge| mm >= **edge).count())
    }

    fn words(self) -> String {
        let edge = |i: usize| BANDS_MM.get(i).copied().unwrap_or(f64::INFINITY);
        match self.0 {
            0 => "a target reaches into the organ".to_owned(),
            n if n == BANDS_MM.len() => format!("{} mm and more", edge(n - 1)),
            n => format!("{} to {} mm", edge(n - 1), edge(n)),
        }
    }
}

/// Values by number of fractions, band and group.
type Cells = BTreeMap<(Option<i64>, Band), ByGroup>;

/// Values by group.
type ByGroup = BTreeMap<String, Vec<f64>>;

/// The part of the page.
///
/// # Errors
/// When table plans has no column of the groups.
pub(super) fn section(cohort: &Cohort<'_>, tables: &Tables) -> Result<Markup, ReviewError> {
    let group = cohort.request.group;
    let groups = groups(tables, cohort.request)?;
    let mut cells = Cells::new();
    let mut without = 0;
    for case in cohort.cases.iter().filter(|c| c.counted()) {
        let known = cohort.reading(case).and_then(|r| r.usable().ok());
        let (Some(value), Some((mm, _))) = (known, case.gap) else {
            without += 1;
            continue;
        };
        let name =
            groups.get(case.plan.plan_id).cloned().unwrap_or_else(|| "not stated".to_owned());
        let cell = cells.entry((case.fractions(), Band::of(mm))).or_default();
        cell.entry(name).or_default().push(value);
    }
    Ok(part(
        "compared",
        "Groups at the same distance",
        &html! {
            p { "Cases of one number of fractions whose nearest target lies in the same band of \
                 distance, by " (spaced(group)) ". The difference to all other cases of the row's \
                 band is that of Hodges and Lehmann with its 95 % interval (rank sums), given from "
                (LEAST_CASES) " cases on either side. Sizes and shapes of targets are not alike: a \
                 difference asks for a look and is no cause." }
            @if without > 0 { p.note { (counted(without, "case"))
                " without a value with two bounds or without a distance are not compared." } }
            @if cells.is_empty() { p.note { "No case can be compared." } } @else
                { (table(cohort, &cells)) }
            (adjusted(cohort, &groups))
        },
    ))
}

/// The group of each plan: by a column of the user's own, else of table plans.
fn groups(tables: &Tables, request: &Request<'_>) -> Result<BTreeMap<String, String>, ReviewError> {
    let column = request.group;
    if let Some(found) = request.own_groups.and_then(|own| own.of_column(column)) {
        return Ok(found);
    }
    let plans = tables.get("plans").ok_or(ReviewError::Table("plans"))?;
    if plans.cells(column).is_none() {
        let own = request.own_groups.map(Groups::columns).unwrap_or_default();
        let all = plans.names().chain(own.iter().map(String::as_str));
        let there = nearest(column, all);
        return Err(ReviewError::Group { wanted: column.to_owned(), there });
    }
    let mut out = BTreeMap::new();
    for (row, plan) in texts(plans, "plan_id").into_iter().enumerate() {
        if let Some((plan, group)) = plan.zip(level(plans, column, row)) {
            out.insert(plan.to_owned(), group);
        }
    }
    Ok(out)
}

fn table(cohort: &Cohort<'_>, cells: &Cells) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Table of groups" { table {
            caption { (cohort.request.organ) " " (cohort.request.metric) ", " (cohort.unit) }
            thead { tr { th scope="col" { "Fractions" } th scope="col" { "Distance" }
                th scope="col" { "Group" } th.n scope="col" { "Cases" } th.n scope="col" { "Median" }
                th.n scope="col" { "Lowest to highest" } th.n scope="col" { "Against the others" } } }
            tbody { @for ((fractions, band), groups) in cells {
                @for (name, values) in groups { tr {
                    td { (fractions_words(*fractions)) } td { (band.words()) }
                    th scope="row" { (spaced(name)) } (numbers(values))
                    td.n { (against(name, groups)) }
                } }
            } }
        } }
    }
}

/// Groups compared after distance, size of the target and prescription are taken into account.
fn adjusted(cohort: &Cohort<'_>, groups: &BTreeMap<String, String>) -> Markup {
    let mut rows: Vec<(Option<i64>, ByGroup)> = Vec::new();
    for fractions in cohort.fraction_groups() {
        let mut by_group: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        for (place, excess) in excesses(cohort, fractions) {
            let Some(case) = cohort.cases.get(place) else { continue };
            if let Some(name) = groups.get(case.plan.plan_id) {
                by_group.entry(name.clone()).or_default().push(excess);
            }
        }
        if by_group.len() > 1 {
            rows.push((fractions, by_group));
        }
    }
    html! {
        h3 { "Adjusted for distance, target and prescription" }
        @if rows.is_empty() { p.note { "No two groups can be compared: it takes " (LEAST_POINTS)
            " cases of one number of fractions with dose, prescription, and a target outside of the \
             organ whose volume is known." } } @else {
            p { "The dose as share of the prescription falls about as a power of the distance in \
                 radii of the target. A line through all cases of one number of fractions \
                 (Theil-Sen, logarithmic scales) says what each lets expect; the ratio is how many \
                 times more a group has than all others, with its 95 % interval (Hodges and Lehmann, \
                 rank sums)." }
            div.scroll tabindex="0" role="region" aria-label="Groups, adjusted" { table {
                caption { (cohort.request.organ) " " (cohort.request.metric)
                    " over what distance, target and prescription let expect" }
                thead { tr { th scope="col" { "Fractions" } th scope="col" { "Group" }
                    th.n scope="col" { "Cases" } th.n scope="col" { "Ratio to the others" } } }
                tbody { @for (fractions, by_group) in &rows { @for (name, values) in by_group { tr {
                    td { (fractions_words(*fractions)) } th scope="row" { (spaced(name)) }
                    td.n { (values.len()) } td.n { (ratio(name, by_group)) }
                } } } }
            } }
        }
    }
}

fn ratio(name: &str, groups: &BTreeMap<String, Vec<f64>>) -> String {
    match shift(name, groups) {
        Ok(found) => {
            let [ratio, low, high] =
                [found.shift, found.interval.low, found.interval.high].map(|v| shown(v.exp()));
            format!("{ratio} ({low} to {high})")
        }
        Err(why) => why,
    }
}

fn numbers(values: &[f64]) -> Markup {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (sorted.first().copied(), sorted.last().copied());
    html! {
        td.n { (values.len()) }
        td.n { (percentile(&sorted, 50.0).map(shown).unwrap_or_default()) }
        td.n { (low.map(shown).unwrap_or_default()) " to " (high.map(shown).unwrap_or_default()) }
    }
}

/// The shift of a group against all others of its band, or why there is none.
fn against(name: &str, groups: &BTreeMap<String, Vec<f64>>) -> String {
    match shift(name, groups) {
        Ok(found) => format!(
            "{} ({} to {})",
            shown(found.shift),
            shown(found.interval.low),
            shown(found.interval.high)
        ),
        Err(why) => why,
    }
}

/// # Errors
/// Why there is no shift.
fn shift(name: &str, groups: &BTreeMap<String, Vec<f64>>) -> Result<RankSum, String> {
    let own = groups.get(name).map_or(&[][..], Vec::as_slice);
    let others: Vec<f64> =
        groups.iter().filter(|(n, _)| *n != name).flat_map(|(_, v)| v).copied().collect();
    if own.len() < LEAST_CASES || others.len() < LEAST_CASES {
        return Err(format!("fewer than {LEAST_CASES} cases"));
    }
    rank_sum(own, &others, 0.95).map_err(|why| why.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_hold_every_distance_once() {
        let words = [-2.0, 0.0, 2.9, 3.0, 39.0, 40.0, 90.0].map(|mm| Band::of(mm).words());
        let wanted = [
            "a target reaches into the organ",
            "0 to 3 mm",
            "0 to 3 mm",
            "3 to 10 mm",
            "20 to 40 mm",
            "40 mm and more",
            "40 mm and more",
        ];
        assert_eq!(words, wanted);
    }

    /// All values of one group are 10 above those of the other: so is the shift.
    #[test]
    fn groups_are_compared_from_five_cases_on_either_side() {
        let low: Vec<f64> = (1..=6).map(f64::from).collect();
        let high: Vec<f64> = low.iter().map(|v| v + 10.0).collect();
        let mut groups = BTreeMap::from([("a".to_owned(), low), ("b".to_owned(), high)]);
        assert!(against("b", &groups).starts_with("10.00 ("), "{}", against("b", &groups));
        assert!(against("a", &groups).starts_with("-10.00 ("));
        let logarithms = |values: &[f64]| values.iter().map(|v: &f64| v.ln()).collect::<Vec<_>>();
        let half: Vec<f64> = groups["a"].iter().map(|v| v / 2.0).collect();
        let both = [("a", logarithms(&groups["a"])), ("half", logarithms(&half))];
        let both = both.map(|(name, values)| (name.to_owned(), values)).into();
        assert!(ratio("a", &both).starts_with("2.00 ("), "{}", ratio("a", &both));
        groups.insert("a".to_owned(), vec![1.0; 4]);
        assert_eq!(against("b", &groups), "fewer than 5 cases");
    }
}
