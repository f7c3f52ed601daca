//! What the blind check against planning reports came to: each row compared, mean differences with
//! limits of agreement, a figure for each metric, and a sentence for the methods.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::{Files, Study, count, number, sheet, word};
use tidydose_figure::{Axis, Figure, Layer, Look};
use tidydose_statistics::agreement::{Agreement, agreement};
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::correlation::spearman;
use tidydose_statistics::{CONFIDENCE, Interval, Undefined};
use tidydose_table::Cell;
use tidydose_table::read::MetricRow;
use tidydose_table::run::CAUTION;
use tidydose_table::user::worksheet::Checked;

/// Where the reason begins with which a row was drawn at random.
const RANDOM: &str = "random";
/// Volumes of which the largest is so many times the smallest are compared in percent. Doses never
/// are: a percentage of the dose far from the target says nothing.
const WIDE: f64 = 10.0;

/// A row of the worksheet beside what was measured.
struct Compared<'a> {
    row: &'a Checked,
    /// Value with its numerical bounds; absent where there is none.
    measured: Option<[f64; 3]>,
    state: &'static str,
}

impl Compared<'_> {
    fn pair(&self) -> Option<(f64, f64)> {
        Some((self.measured?[0], self.row.report_value?)).filter(|_| self.state == COMPARED)
    }

    fn within(&self) -> bool {
        let Some([_, low, high]) = self.measured else { return false };
        self.pair().is_some_and(|(_, report)| (low..=high).contains(&report))
    }
}

const COMPARED: &str = "compared";

/// One list of differences.
struct Group<'a> {
    metric: &'a str,
    unit: &'a str,
    percent: bool,
    random_only: bool,
    rows: Vec<&'a Compared<'a>>,
}

impl Group<'_> {
    fn differences(&self) -> Vec<f64> {
        let one = |(ours, theirs): (f64, f64)| {
            let mean = f64::midpoint(ours, theirs);
            if self.percent { 100.0 * (ours - theirs) / mean } else { ours - theirs }
        };
        self.rows.iter().filter_map(|r| r.pair()).map(one).collect()
    }

    fn means(&self) -> Vec<f64> {
        self.rows.iter().filter_map(|r| r.pair()).map(|(a, b)| f64::midpoint(a, b)).collect()
    }

    fn patients(&self) -> Clusters {
        Clusters::new(self.rows.iter().map(|r| r.row.patient_id.as_str()))
    }

    fn agreement(&self) -> Result<Agreement, Undefined> {
        agreement(&self.differences(), &self.patients(), CONFIDENCE)
    }

    fn unit(&self) -> &str {
        if self.percent { "%" } else { self.unit }
    }
}

/// The files of the check.
pub(super) fn files(study: &Study<'_>, rows: &[Checked]) -> Files {
    let compared: Vec<Compared<'_>> = compared(study, rows);
    let groups = groups(&compared);
    let mut files = Files::new();
    files.insert("agreement_rows.csv".to_owned(), rows_sheet(&compared));
    files.insert("agreement.csv".to_owned(), groups_sheet(&groups));
    let mut text = format!("{CAUTION}\n\n{}\n", sentence(&compared, &groups));
    for group in groups.iter().filter(|g| !g.random_only && g.percent == is_wide(g)) {
        let Some((name, figure)) = figure(group) else { continue };
        let _ = writeln!(text, "\n{name}: {}", figure.description);
        files.insert(name, figure.svg().into_bytes());
    }
    files.insert("agreement.txt".to_owned(), text.into_bytes());
    files
}

fn compared<'a>(study: &Study<'_>, rows: &'a [Checked]) -> Vec<Compared<'a>> {
    let mut measured_rows: BTreeMap<[&str; 3], &MetricRow<'_>> = BTreeMap::new();
    for row in &study.metrics {
        measured_rows.entry([row.plan_id, row.structure_id, row.metric]).or_insert(row);
    }
    let one = |row: &'a Checked| {
        let found = measured_rows.get(&[&*row.plan_id, &*row.structure_id, &*row.metric]);
        let measured = found.and_then(|m| {
            let (low, high) = (m.low.unwrap_or(f64::NEG_INFINITY), m.high.unwrap_or(f64::INFINITY));
            Some([m.value?, low, high])
        });
        let state = match (found, measured, row.report_value) {
            (None, ..) => "not in the tables of this study",
            (Some(m), ..) if m.unit != row.unit => "unit differs from that of the tables",
            (_, None, _) => "without a value in the tables",
            (.., None) => "not filled in",
            _ => COMPARED,
        };
        Compared { row, measured, state }
    };
    rows.iter().map(one).collect()
}

fn groups<'a>(compared: &'a [Compared<'a>]) -> Vec<Group<'a>> {
    let usable = || compared.iter().filter(|c| c.pair().is_some());
    let names: BTreeSet<(&str, &str)> = usable().map(|c| (&*c.row.metric, &*c.row.unit)).collect();
    let mut out = Vec::new();
    for (metric, unit) in names {
        for random_only in [false, true] {
            let taken = |c: &&Compared<'_>| {
                c.row.metric == metric && (!random_only || c.row.why.starts_with(RANDOM))
            };
            let rows: Vec<&Compared<'_>> = usable().filter(taken).collect();
            for percent in [false, true] {
                // A percentage of nothing has no meaning.
                let defined = |c: &&&Compared<'_>| c.pair().is_some_and(|(a, b)| a + b > 0.0);
                let rows = match percent {
                    true => rows.iter().filter(defined).copied().collect(),
                    false => rows.clone(),
                };
                out.push(Group { metric, unit, percent, random_only, rows });
            }
        }
    }
    out
}

fn rows_sheet(compared: &[Compared<'_>]) -> Vec<u8> {
    let columns = [
        "row",
        "patient_id",
        "plan_id",
        "structure_id",
        "structure",
        "metric",
        "unit",
        "why",
        "report_value",
        "value",
        "low",
        "high",
        "difference",
        "mean",
        "report_within_bounds",
        "state",
    ];
    let some = |value: Option<f64>| value.map_or(Cell::Missing, number);
    let line = |c: &Compared<'_>| {
        let r = c.row;
        let mut cells = vec![count(r.row)];
        let texts =
            [&r.patient_id, &r.plan_id, &r.structure_id, &r.structure, &r.metric, &r.unit, &r.why];
        cells.extend(texts.map(|t| word(t)));
        cells.push(some(r.report_value));
        cells.extend([0, 1, 2].map(|i| some(c.measured.map(|m| m[i]))));
        cells.push(some(c.pair().map(|(a, b)| a - b)));
        cells.push(some(c.pair().map(|(a, b)| f64::midpoint(a, b))));
        cells.push(match c.pair() {
            Some(_) => Cell::Boolean(c.within()),
            None => Cell::Missing,
        });
        cells.push(word(c.state));
        cells
    };
    sheet(&columns, compared.iter().map(line).collect())
}

fn groups_sheet(groups: &[Group<'_>]) -> Vec<u8> {
    let columns = [
        "metric",
        "unit",
        "selection",
        "values",
        "patients",
        "mean_difference",
        "mean_low",
        "mean_high",
        "standard_deviation",
        "lower_limit",
        "lower_limit_low",
        "lower_limit_high",
        "upper_limit",
        "upper_limit_low",
        "upper_limit_high",
        "report_within_bounds",
        "trend_rho",
        "trend_p",
        "intervals",
        "reason",
    ];
    let line = |g: &Group<'_>| {
        let found = g.agreement();
        let ends = |i: Option<Interval>| match i {
            Some(i) => [number(i.low), number(i.high)],
            None => [Cell::Missing, Cell::Missing],
        };
        let mut cells = vec![
            word(g.metric),
            word(g.unit()),
            word(if g.random_only { "random rows" } else { "all rows" }),
            count(g.rows.len()),
            count(g.patients().count()),
        ];
        match &found {
            Ok(a) => {
                cells.push(number(a.mean));
                cells.extend(ends(a.mean_interval));
                cells.push(number(a.deviation));
                cells.push(number(a.limits.low));
                cells.extend(ends(a.lower_interval));
                cells.push(number(a.limits.high));
                cells.extend(ends(a.upper_interval));
            }
            Err(_) => cells.resize_with(cells.len() + 10, || Cell::Missing),
        }
        cells.push(count(g.rows.iter().filter(|r| r.within()).count()));
        match spearman(&g.means(), &g.differences(), CONFIDENCE) {
            Ok(trend) => cells.extend([number(trend.rho), number(trend.p)]),
            Err(_) => cells.extend([Cell::Missing, Cell::Missing]),
        }
        let how = found.as_ref().ok().map_or("", |a| how(a));
        cells.push(word(how));
        cells.push(word(&found.err().map(|e| e.to_string()).unwrap_or_default()));
        cells
    };
    sheet(&columns, groups.iter().map(line).collect())
}

const fn how(found: &Agreement) -> &'static str {
    if found.drawn { "bootstrap, resampling patients" } else { "Student's distribution" }
}

/// A number with three significant digits, a sign where it is asked for.
fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    #[expect(clippy::cast_possible_truncation, reason = "digits of a number")]
    let digits = (2 - value.abs().log10().floor() as i32).clamp(0, 6);
    #[expect(clippy::cast_sign_loss, reason = "clamped")]
    let text = format!("{value:.*}", digits as usize);
    text
}

fn sentence(compared: &[Compared<'_>], groups: &[Group<'_>]) -> String {
    let used: Vec<&Compared<'_>> = compared.iter().filter(|c| c.state == COMPARED).collect();
    let plans: BTreeSet<&str> = used.iter().map(|c| &*c.row.plan_id).collect();
    let patients: BTreeSet<&str> = used.iter().map(|c| &*c.row.patient_id).collect();
    let random = used.iter().filter(|c| c.row.why.starts_with(RANDOM)).count();
    let mut out = format!(
        "Values were read from planning reports without sight of those measured: {} values of {} plans \
         of {} patients, {random} of them from plans drawn at random and {} as least or largest of \
         their kind.",
        used.len(),
        plans.len(),
        patients.len(),
        used.len() - random
    );
    for group in groups.iter().filter(|g| !g.random_only && g.percent == is_wide(g)) {
        let within = group.rows.iter().filter(|r| r.within()).count();
        let n = group.rows.len();
        let _ = match group.agreement() {
            Ok(a) => write!(
                out,
                " {}: mean difference (measured less report) {} {unit}{}, 95 % limits of agreement {} \
                 to {} {unit} (n = {n}; intervals by {}); {within} of {n} reports lie within the \
                 numerical bounds of the measured value.",
                group.metric,
                short(a.mean),
                a.mean_interval.map_or_else(String::new, |i| format!(
                    " (95 % interval {} to {})",
                    short(i.low),
                    short(i.high)
                )),
                short(a.limits.low),
                short(a.limits.high),
                how(&a),
                unit = group.unit()
            ),
            Err(reason) => write!(out, " {}: no limits of agreement, {reason}.", group.metric),
        };
    }
    let mut other: BTreeMap<&str, usize> = BTreeMap::new();
    for c in compared.iter().filter(|c| c.state != COMPARED) {
        *other.entry(c.state).or_insert(0) += 1;
    }
    for (state, n) in other {
        let _ = write!(out, " {n} of {} rows: {state}.", compared.len());
    }
    out
}

/// Whether the values of a metric span so much that only percentages can be drawn together.
fn is_wide(group: &Group<'_>) -> bool {
    if group.unit != "cc" {
        return false;
    }
    let means: Vec<f64> = group.means().into_iter().filter(|m| *m > 0.0).collect();
    let fold = |f: fn(f64, f64) -> f64| means.iter().copied().reduce(f);
    fold(f64::max).zip(fold(f64::min)).is_some_and(|(high, low)| high > WIDE * low)
}

fn figure(group: &Group<'_>) -> Option<(String, Figure)> {
    let found = group.agreement().ok()?;
    // Values over several orders stand at their logarithm, so that small ones do not fall together.
    let wide = group.percent;
    let place = |mean: f64| if wide { mean.log10() } else { mean };
    let (means, differences) = (group.means(), group.differences());
    let x: Vec<f64> = means.iter().map(|m| place(*m)).collect();
    let (low, high) = ends(&x)?;
    let margin = (high - low).max(1e-9) * 0.05;
    let (low, high) = (low - margin, high + margin);
    let lines = [found.limits.low, found.mean, found.limits.high];
    let (least, most) = ends(&[&differences[..], &lines[..]].concat())?;
    let room = (most - least).max(1e-9) * 0.08;
    let bands = [found.lower_interval, found.upper_interval].into_iter().flatten();
    let (least, most) = bands.fold((least, most), |(a, b), i| (a.min(i.low), b.max(i.high)));
    let unit = group.unit();
    let scale = if wide { ", logarithm to base 10" } else { "" };
    let description = format!(
        "Measured values less those of planning reports against the mean of both, {}: {} values of {} \
         patients. Lines: mean difference and 95 % limits of agreement, with their 95 % intervals \
         ({}) in grey. Numbers: agreement_rows.csv.",
        group.metric,
        group.rows.len(),
        group.patients().count(),
        how(&found)
    );
    let figure = Figure {
        title: format!("Agreement of {} with planning reports", group.metric),
        description,
        x: Axis::new(&format!("mean of both, {}{scale}", group.unit), low, high),
        y: Axis::new(&format!("measured − report, {unit}"), least - room, most + room),
        layers: layers(&found, &x, &differences, [low, high]),
        legend: vec![
            (Look(0), "mean difference; values".to_owned()),
            (Look(1), "95 % limits of agreement".to_owned()),
        ],
        below: Vec::new(),
        foot: format!(
            "{} values, {} patients. {CAUTION}",
            group.rows.len(),
            group.patients().count()
        ),
    };
    let plain: String =
        group.metric.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    Some((format!("agreement_{}.svg", plain.trim_matches('_').to_lowercase()), figure))
}

/// Intervals in grey, then the three lines from `low` to `high`, then a mark for each value.
fn layers(found: &Agreement, x: &[f64], differences: &[f64], [low, high]: [f64; 2]) -> Vec<Layer> {
    let lines = [found.limits.low, found.mean, found.limits.high];
    let mut layers: Vec<Layer> =
        [&found.lower_interval, &found.mean_interval, &found.upper_interval]
            .into_iter()
            .flatten()
            .map(|i| {
                let points = [low, high].map(|x| (x, i.low, i.high)).to_vec();
                Layer::Band { points, steps: false, inner: false }
            })
            .collect();
    layers.extend(lines.iter().enumerate().map(|(i, y)| Layer::Line {
        points: vec![(low, *y), (high, *y)],
        look: Look(usize::from(i != 1)),
    }));
    layers.extend(x.iter().zip(differences).map(|(x, d)| Layer::Mark {
        at: (*x, *d),
        whisker: None,
        look: Look(0),
        words: String::new(),
    }));
    layers
}

fn ends(values: &[f64]) -> Option<(f64, f64)> {
    let fold = |f: fn(f64, f64) -> f64| values.iter().copied().reduce(f);
    fold(f64::min).zip(fold(f64::max))
}
