//! Cumulative dose-volume curves of the organ, one panel for each number of fractions, with the
//! middle half and the middle four fifths of the cases as bands. Few cases have no band.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::LEAST_CASES;
use super::chart::{Frame, at, axis_end, figure};
use super::cohort::{Case, Cohort, fractions_words};
use super::html_page::part;
use super::number::{counted, percentile, shown};
use tidydose_table::curves::{Curve, CurvesByPlan};
use tidydose_table::read::Status;

/// Single curves that are drawn in one panel; more would be a grey area.
const SINGLE_CURVES: usize = 40;
/// Doses at which a band is computed.
const STEPS: usize = 60;

/// The part of the page.
pub(super) fn section(cohort: &Cohort<'_>, curves: CurvesByPlan) -> Markup {
    let curves = one_each(curves);
    part(
        "bands",
        "Dose-volume curves of the organ",
        &html! {
            @if curves.is_empty() { p.note
                { "The study holds no dose-volume curve of this organ." } }
            @else {
                p { "Share of the organ that receives at least a dose. Dark band: middle half of \
                     the cases; light band: 10th to 90th percentile; thick line: median; thin \
                     lines: single cases. Cases of which the dose grid covers only a part are \
                     dashed and count in no band." }
                div.panels { @for (rank, group) in cohort.fraction_groups().into_iter().enumerate()
                    {
                    (panel(cohort, group, rank, &curves))
                } }
            }
        },
    )
}

/// The curve of the organ in each case; the first where a case has several organs of the name.
fn one_each(curves: CurvesByPlan) -> BTreeMap<String, Curve> {
    let first =
        |(plan, list): (String, BTreeMap<String, Curve>)| Some((plan, list.into_values().next()?));
    curves.into_iter().filter_map(first).collect()
}

fn panel(
    cohort: &Cohort<'_>,
    group: Option<i64>,
    rank: usize,
    curves: &BTreeMap<String, Curve>,
) -> Markup {
    let of_group = |c: &&Case<'_>| c.counted() && c.fractions() == group;
    let cases: Vec<(&Case<'_>, &Curve)> = cohort
        .cases
        .iter()
        .filter(of_group)
        .filter_map(|c| Some((c, curves.get(c.plan.plan_id)?)))
        .collect();
    if cases.is_empty() {
        return html! { figure { figcaption { strong { (fractions_words(group)) } ": no curve" } } };
    }
    let whole = |c: &Case<'_>| cohort.reading(c).is_some_and(|r| r.status == Status::Ok);
    let in_band: Vec<&Curve> = cases.iter().filter(|(c, _)| whole(c)).map(|(_, c)| *c).collect();
    let last = cases.iter().map(|(_, c)| c.last_gy()).fold(0.0, f64::max);
    let frame = Frame::new([0.0, axis_end(last)], [0.0, 100.0]);
    let band = (in_band.len() >= LEAST_CASES).then(|| bands(&in_band, last));
    let drawing = html! {
        (frame.axes("dose in Gy", "volume in %", true))
        @if let Some(rows) = &band { (areas(&frame, rows)) }
        @for (case, curve) in cases.iter().take(SINGLE_CURVES) {
            polyline class=(if whole(case) { "curve" } else { "curve part" })
                points=(points(&frame, curve.points().iter().map(|p| (p.dose_gy, p.percent)))) {
                title { (case.plan.plan_id) }
            }
        }
        @if let Some(rows) = &band
            { polyline.median points=(points(&frame, rows.iter().map(|r| (r.dose, r.shares[2]))))
            {} }
    };
    let name = format!("Dose-volume curves, {}", fractions_words(group));
    let description = format!(
        "{} drawn, highest dose {} Gy.",
        counted(cases.len().min(SINGLE_CURVES), "curve"),
        shown(last)
    );
    html! {
        figure {
            figcaption { strong { (fractions_words(group)) } ", " (counted(cases.len(), "case"))
                ", of these " (in_band.len()) " covered by the dose grid" }
            (figure(&format!("bands-{rank}"), &name, &description, &drawing))
            @if cases.len() > SINGLE_CURVES
                { p.note { "Single curves: the worst " (SINGLE_CURVES) "; "
                (cases.len() - SINGLE_CURVES) " more are in the bands only." } }
            @match &band {
                Some(rows) => { (listed(rows)) },
                None => { p.note.few { "No band: fewer than " (LEAST_CASES)
                    " cases covered by the dose grid." } },
            }
        }
    }
}

/// The cohort at one dose: 10th, 25th, 50th, 75th and 90th percentile of the shares.
struct SharesAtDose {
    dose: f64,
    shares: [f64; 5],
}

fn bands(curves: &[&Curve], last: f64) -> Vec<SharesAtDose> {
    let row = |step: usize| {
        #[expect(clippy::cast_precision_loss, reason = "sixty steps")]
        let dose = last * step as f64 / STEPS as f64;
        let mut shares: Vec<f64> = curves.iter().map(|c| c.percent(dose)).collect();
        shares.sort_by(f64::total_cmp);
        let at = |p| percentile(&shares, p).unwrap_or_default();
        SharesAtDose { dose, shares: [10.0, 25.0, 50.0, 75.0, 90.0].map(at) }
    };
    (0..=STEPS).map(row).collect()
}

fn areas(frame: &Frame, rows: &[SharesAtDose]) -> Markup {
    let area = |low: usize, high: usize| {
        let side = |k: usize| {
            rows.iter().map(move |r| (r.dose, r.shares.get(k).copied().unwrap_or_default()))
        };
        let back = side(low).collect::<Vec<_>>().into_iter().rev();
        points(frame, side(high).chain(back))
    };
    html! { polygon.wide points=(area(0, 4)) {} polygon.half points=(area(1, 3)) {} }
}

fn points(frame: &Frame, list: impl Iterator<Item = (f64, f64)>) -> String {
    let place = |(x, y): (f64, f64)| format!("{} {}", at(frame.px(x)), at(frame.py(y)));
    list.map(place).collect::<Vec<_>>().join(" ")
}

fn listed(rows: &[SharesAtDose]) -> Markup {
    html! {
        details {
            summary { "Numbers of the band" }
            div.scroll tabindex="0" role="region" aria-label="Numbers of the band" { table {
                caption { "Share of the volume in % at a dose, percentiles of the cases" }
                thead { tr { @for words in ["Dose Gy", "10th", "25th", "median", "75th", "90th"]
                    { th.n scope="col" { (words) } } } }
                tbody { @for row in rows.iter().step_by(4) { tr {
                    th.n scope="row" { (shown(row.dose)) }
                    @for share in row.shares { td.n { (shown(share)) } }
                } } }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_table::curves::CurvePoint;

    #[test]
    fn bands_are_percentiles_of_the_shares() {
        let point = |dose_gy, percent| CurvePoint { dose_gy, volume_cc: percent, percent };
        let curves: Vec<Curve> = [10.0, 20.0, 30.0, 40.0, 50.0]
            .map(|v| Curve::new(vec![point(0.0, v), point(1.0, 0.0)]))
            .to_vec();
        let rows = bands(&curves.iter().collect::<Vec<_>>(), 1.0);
        assert_eq!(rows[0].shares, [14.0, 20.0, 30.0, 40.0, 46.0]);
        assert_eq!((rows[STEPS].dose, rows[STEPS].shares), (1.0, [0.0; 5]));
    }
}
