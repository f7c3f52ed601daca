//! The numbers behind report and figures as CSV files.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::Request;
use super::analysis::Analysis;
use super::centres::{Centres, Part};
use super::join::Stage;
use super::published::COLUMNS_SHOWN;
use super::scripts::adjuster_column;
use super::time::MONTH;
use tidydose_statistics::logistic::Coefficient;
use tidydose_statistics::summary_of_centres::RandomEffects;
use tidydose_statistics::{Interval, Undefined};
use tidydose_table::Cell;
use tidydose_table::write_csv::write_records;

/// All sheets by name of the file.
pub(super) fn files(analysis: &Analysis, request: &Request) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut add = |name: &str, columns: &[&str], rows: Vec<Vec<Cell<'_>>>| {
        let mut bytes = Vec::new();
        // Writing into memory does not fail.
        if write_records(columns, rows.into_iter(), &mut bytes).is_ok() {
            files.insert(format!("{name}.csv"), bytes);
        }
    };
    let covariates = request.covariates.iter().map(String::as_str);
    let further: Vec<String> = (2..=request.adjust.len()).map(adjuster_column).collect();
    let further = further.iter().map(String::as_str);
    let columns: Vec<&str> = SUBJECTS.iter().copied().chain(further).chain(covariates).collect();
    add("subjects", &columns, subjects(analysis, request));
    add("flow", FLOW, flow(analysis, request));
    add("unmatched", &["side", "patient_id", "lesion_id", "row", "reason"], unmatched(analysis));
    add("model", MODEL, model(analysis, request));
    add("curve", &["predictor", "risk", "low_68", "high_68", "low_95", "high_95"], curve(analysis));
    add("rates", RATES, rates(analysis));
    add("roc", &["cut", "sensitivity", "specificity"], roc(analysis));
    add("incidence", INCIDENCE, incidence(analysis));
    add("survival", SURVIVAL, survival(analysis));
    add("case_mix", &["number", "group_a", "n_a", "group_b", "n_b", "difference"], mix(analysis));
    add("calibration", CALIBRATION, calibration(analysis));
    if let Some(centres) = &analysis.centres {
        add("centres", CENTRES, centre_rows(centres));
    }
    let columns: Vec<&str> = COLUMNS_SHOWN.iter().copied().chain(["against_source"]).collect();
    add("published", &columns, published(analysis));
    files
}

const SUBJECTS: &[&str] = &[
    "patient_id",
    "plan_id",
    "lesion_id",
    "group",
    "fractions",
    "analysed",
    "left_at",
    "reason",
    "event",
    "predictor",
    "adjuster",
    "days",
    "ended",
    "days_looked",
    "days_life",
    "dead",
];
const FLOW: &[&str] = &["stage", "patients", "subjects", "grain", "left", "reason", "of_them_died"];
const MODEL: &[&str] = &[
    "term",
    "estimate",
    "standard_error",
    "profile_low",
    "profile_high",
    "draws_low",
    "draws_high",
    "likelihood_ratio",
    "p",
];
const RATES: &[&str] =
    &["from", "to", "median", "events", "n", "patients", "effective_n", "rate", "low", "high"];
const CALIBRATION: &[&str] =
    &["from", "to", "mean_risk", "events", "n", "patients", "rate", "low", "high"];
const INCIDENCE: &[&str] = &[
    "days",
    "months",
    "at_risk",
    "event",
    "competing",
    "standard_error",
    "low",
    "high",
    "counted",
];
const CENTRES: &[&str] = &[
    "row",
    "centre",
    "n",
    "events",
    "patients",
    "log_odds_ratio",
    "standard_error",
    "low",
    "high",
    "weight",
    "tau_2",
    "q",
    "degrees",
    "p",
    "i_2",
    "i_2_low",
    "i_2_high",
    "next_low",
    "next_high",
    "reason",
];
const SURVIVAL: &[&str] =
    &["group", "days", "at_risk", "deaths", "censored", "survival", "low", "high"];

fn text(words: &str) -> Cell<'static> {
    if words.is_empty() { Cell::Missing } else { Cell::Text(Cow::Owned(words.to_owned())) }
}

fn count(n: usize) -> Cell<'static> {
    i64::try_from(n).map_or(Cell::Missing, Cell::Integer)
}

fn number(value: Option<f64>) -> Cell<'static> {
    value.filter(|v| v.is_finite()).map_or(Cell::Missing, Cell::Real)
}

fn ends(interval: Option<Interval>) -> [Cell<'static>; 2] {
    [number(interval.map(|i| i.low)), number(interval.map(|i| i.high))]
}

/// Rows `centre`, `together`, and for each centre `summary_without` and `model_without`.
fn centre_rows(centres: &Centres) -> Vec<Vec<Cell<'static>>> {
    let weights = centres.weights();
    let mut rows = Vec::new();
    for part in &centres.each {
        let weight = weights.get(part.centre.as_str()).copied();
        rows.push(centre_model("centre", part, weight));
    }
    rows.push(centre_summary("together", "", &centres.together));
    for without in &centres.without {
        let centre = &without.others.centre;
        rows.push(centre_summary("summary_without", centre, &without.together));
        rows.push(centre_model("model_without", &without.others, None));
    }
    rows
}

fn centre_model(what: &str, part: &Part, weight: Option<f64>) -> Vec<Cell<'static>> {
    let slope = part.slope.as_ref().ok();
    let mut row = vec![text(what), text(&part.centre)];
    row.extend([part.n, part.events, part.patients].map(count));
    row.extend([number(slope.map(|s| s.estimate)), number(slope.map(|s| s.error))]);
    row.extend(ends(slope.map(|s| s.interval)));
    row.push(number(weight));
    row.extend(std::iter::repeat_n(Cell::Missing, 9));
    row.push(part.slope.as_ref().err().map_or(Cell::Missing, |e| text(&e.to_string())));
    row
}

fn centre_summary(
    what: &str,
    centre: &str,
    found: &Result<RandomEffects, Undefined>,
) -> Vec<Cell<'static>> {
    let all = found.as_ref().ok();
    let of = |read: fn(&RandomEffects) -> f64| number(all.map(read));
    let mut row = vec![text(what), text(centre), Cell::Missing, Cell::Missing, Cell::Missing];
    row.extend([of(|f| f.effect), of(|f| f.error)]);
    row.extend(ends(all.map(|f| f.interval)));
    row.extend([Cell::Missing, of(|f| f.tau_2), of(|f| f.q)]);
    row.push(all.map_or(Cell::Missing, |f| count(f.degrees)));
    row.extend([of(|f| f.p), of(|f| f.i_2)]);
    row.extend(ends(all.and_then(|f| f.i_2_interval)));
    row.extend(ends(all.and_then(|f| f.next_centre)));
    row.push(found.as_ref().err().map_or(Cell::Missing, |e| text(&e.to_string())));
    row
}

fn subjects(analysis: &Analysis, request: &Request) -> Vec<Vec<Cell<'static>>> {
    let row = |s: &super::join::Subject| {
        // Who left for a short follow-up only counts over time, here as there.
        let known = s.state.as_ref().ok().or(s.short.as_ref());
        let left = s.state.as_ref().err();
        let end = |k: &super::join::Known| k.time.map(|(_, e)| format!("{e:?}").to_lowercase());
        let mut row = vec![
            text(&s.patient_id),
            text(&s.plan_id),
            text(s.lesion_id.as_deref().unwrap_or("")),
            text(&s.group),
            s.fractions.map_or(Cell::Missing, Cell::Integer),
            Cell::Boolean(s.state.is_ok()),
            text(left.map_or("", |(stage, _)| stage.words())),
            text(left.map_or("", |(_, reason)| reason)),
            known.map_or(Cell::Missing, |k| Cell::Boolean(k.event)),
            number(known.map(|k| k.predictor)),
            number(known.and_then(|k| k.adjusters.first().copied())),
            number(known.and_then(|k| Some(k.time?.0))),
            text(&known.and_then(end).unwrap_or_default()),
            number(known.and_then(|k| k.looked)),
            number(known.and_then(|k| Some(k.life?.0))),
            known.and_then(|k| k.life).map_or(Cell::Missing, |(_, dead)| Cell::Boolean(dead)),
        ];
        // The first stands in a column of its own since there was one only.
        let further = 1..request.adjust.len();
        row.extend(further.map(|a| number(known.and_then(|k| k.adjusters.get(a).copied()))));
        row.extend(s.covariates.iter().map(|c| text(c)));
        row
    };
    analysis.joined.subjects.iter().map(row).collect()
}

fn flow(analysis: &Analysis, request: &Request) -> Vec<Vec<Cell<'static>>> {
    let mut rows = Vec::new();
    for s in &analysis.stages {
        let words = s.stage.map_or("in the tables", Stage::words);
        let row = |left: Cell<'static>, reason: &str, died: Cell<'static>| {
            let grain = text(request.grain.word());
            vec![text(words), count(s.patients), count(s.subjects), grain, left, text(reason), died]
        };
        if s.left.is_empty() {
            rows.push(row(Cell::Integer(0), "", Cell::Integer(0)));
        }
        for (place, (reason, n)) in s.left.iter().enumerate() {
            // The dead are counted for a stage, not for each of its reasons.
            rows.push(row(
                count(*n),
                reason,
                if place == 0 { count(s.died) } else { Cell::Missing },
            ));
        }
    }
    rows
}

fn unmatched(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let row = |u: &super::join::Unmatched| {
        let number = if u.row == 0 { Cell::Missing } else { count(u.row) };
        vec![text(u.side), text(&u.patient_id), text(&u.lesion_id), number, text(u.reason)]
    };
    analysis.joined.unmatched.iter().map(row).collect()
}

fn model(analysis: &Analysis, request: &Request) -> Vec<Vec<Cell<'static>>> {
    let Ok(fitted) = &analysis.fitted else { return Vec::new() };
    let plain = |term: &str, estimate: f64, error: Option<f64>| {
        let mut row = vec![text(term), number(Some(estimate)), number(error)];
        row.resize(MODEL.len(), Cell::Missing);
        row
    };
    let full = |term: &str, c: &Coefficient, draws: Option<Interval>| {
        let mut row = vec![text(term), number(Some(c.estimate)), number(Some(c.error))];
        row.extend(ends(Some(c.interval)));
        row.extend(ends(draws));
        row.extend([number(Some(c.ratio)), number(Some(c.p))]);
        row
    };
    let m = &fitted.model;
    let scale = if request.doubling { "log2 " } else { "" };
    let mut rows = vec![
        plain("intercept", m.intercept, Some(m.intercept_error)),
        plain("intercept of the risks (FLIC)", m.risk_intercept, None),
        full(&format!("{scale}{}", request.predictor), &m.slope, fitted.curve.slope),
    ];
    let fits = m.adjustments.iter().zip(&fitted.curve.adjustments);
    for (name, (c, draws)) in request.adjust.iter().zip(fits) {
        rows.push(full(name, c, *draws));
    }
    rows
}

fn curve(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let Ok(fitted) = &analysis.fitted else { return Vec::new() };
    let row = |p: &tidydose_statistics::logistic::Band| {
        let mut row = vec![number(Some(p.x)), number(Some(p.risk))];
        row.extend(ends(p.inner));
        row.extend(ends(p.outer));
        row
    };
    fitted.curve.points.iter().map(row).collect()
}

fn calibration(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let Ok(fitted) = &analysis.fitted else { return Vec::new() };
    let row = |c: &super::model::Calibrated| {
        let mut row: Vec<Cell<'static>> = [c.from, c.to, c.risk].map(|v| number(Some(v))).to_vec();
        row.extend([count(c.rate.events), count(c.rate.n), count(c.rate.clusters)]);
        row.push(number(Some(share(c.rate.events, c.rate.n))));
        row.extend(ends(Some(c.rate.interval)));
        row
    };
    fitted.calibration.iter().map(row).collect()
}

fn rates(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let row = |r: &super::model::Rate| {
        let mut row: Vec<Cell<'static>> =
            [r.from, r.to, r.median].map(|v| number(Some(v))).to_vec();
        row.extend([count(r.rate.events), count(r.rate.n), count(r.rate.clusters)]);
        row.extend([
            number(Some(r.rate.effective_n)),
            number(Some(share(r.rate.events, r.rate.n))),
        ]);
        row.extend(ends(Some(r.rate.interval)));
        row
    };
    analysis.rates.iter().map(row).collect()
}

/// A share of counts.
pub(super) fn share(events: usize, n: usize) -> f64 {
    tidydose_statistics::real(events) / tidydose_statistics::real(n)
}

fn roc(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let Ok(found) = &analysis.discrimination else { return Vec::new() };
    let row = |c: &tidydose_statistics::roc::Cut| {
        vec![number(Some(c.score)), number(Some(c.sensitivity)), number(Some(c.specificity))]
    };
    found.roc.cuts.iter().map(row).collect()
}

fn incidence(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let Ok(found) = &analysis.over_time else { return Vec::new() };
    let band = |time: f64| found.bands.iter().find(|(t, ..)| *t == time);
    let row = |s: &tidydose_statistics::incidence::Step| {
        let mut row: Vec<Cell<'static>> =
            [s.time, s.time / MONTH, s.at_risk, s.event, s.competing, s.error]
                .map(|v| number(Some(v)))
                .to_vec();
        let band = band(s.time);
        row.extend([number(band.map(|b| b.1)), number(band.map(|b| b.2))]);
        // Beside it, what it is where those who died count as without event until death.
        let counted = found.unseen.as_ref().and_then(|u| u.counted.at(s.time));
        row.push(number(counted.map(|s| s.event)));
        row
    };
    found.incidence.steps.iter().map(row).collect()
}

fn survival(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let Ok(found) = &analysis.survival else { return Vec::new() };
    let mut rows = Vec::new();
    for group in std::iter::once(&found.all).chain(&found.groups) {
        rows.extend(group.curve.steps.iter().map(|s| {
            let mut row = vec![text(&group.name)];
            let numbers = [s.time, s.at_risk, s.events, s.censored, s.survival];
            row.extend(numbers.map(|v| number(Some(v))));
            row.extend(ends(s.interval));
            row
        }));
    }
    rows
}

fn mix(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let row = |m: &super::analysis::CaseMix| {
        let [a, b] = &m.groups;
        let (na, nb) = (count(m.n[0]), count(m.n[1]));
        vec![text(&m.what), text(a), na, text(b), nb, number(Some(m.difference))]
    };
    analysis.case_mix.iter().map(row).collect()
}

fn published(analysis: &Analysis) -> Vec<Vec<Cell<'static>>> {
    let row = |p: &super::published::Published| {
        let mut row =
            vec![text(&p.id), text(&p.organ), text(&p.endpoint), text(&p.fraction_words())];
        row.push(text(&p.metric));
        let risk = [p.risk.map(|r| r.0), p.risk.map(|r| r.1)];
        row.extend([Some(p.range.0), Some(p.range.1), risk[0], risk[1]].map(number));
        row.extend([text(&p.source), text(&p.evidence), text(p.against_source())]);
        row
    };
    analysis.published.rows.iter().map(row).collect()
}
