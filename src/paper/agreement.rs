//! What the blind check against planning reports came to: each row compared, mean differences with
//! limits of agreement, a figure for each metric, and a sentence for the methods.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::{Files, Study, count, counted, number, sheet, word};
use tidydose_figure::{Axis, Figure, Layer, Look};
use tidydose_statistics::agreement::{Agreement, agreement};
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::correlation::spearman;
use tidydose_statistics::{CONFIDENCE, Interval, Undefined};
use tidydose_table::Cell;
use tidydose_table::clinical_words;
use tidydose_table::read::MetricRow;
use tidydose_table::run::CAUTION;
use tidydose_table::user::worksheet::Checked;

/// The reason of a row that was drawn at random.
pub(super) const RANDOM: &str = "random";
/// The reasons of rows with the least and the largest value of their kind.
pub(super) const EXTREME: [&str; 2] = ["least", "largest"];
/// A report that is 10, 100 or 1000 times the measured value, or that part of it, is held back: apart
/// from the power of ten it may differ from it by so many percent, which is more than two ways to
/// measure differ by and far less than the way to the next power.
const SLIP_PERCENT: f64 = 25.0;
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
/// Neither forgotten nor counted before somebody has looked again.
const HELD_BACK: &str = "held back: report is the measured value times a power of ten (decimal point, \
                         or percent, cGy, mm³?); read it again and write that into second_reading";
const TWO_READINGS: &str = "held back: the two readings differ";

/// Whether one is the other times a power of ten, but for what two ways to measure differ by. Nothing
/// can be said of a value of 0.
fn is_slip(measured: f64, report: f64) -> bool {
    if measured <= 0.0 || report <= 0.0 {
        return false;
    }
    let tens = (report / measured).log10();
    let rest = tens - tens.round();
    (1.0..=3.0).contains(&tens.round().abs()) && rest.abs() <= (1.0 + SLIP_PERCENT / 100.0).log10()
}

/// Whether a row of two readings or one may be compared.
fn state_of_reading(measured: f64, row: &Checked) -> &'static str {
    match (row.report_value, row.second_reading) {
        (None, _) => "not filled in",
        (Some(first), Some(second)) if first.to_bits() != second.to_bits() => TWO_READINGS,
        (Some(first), None) if is_slip(measured, first) => HELD_BACK,
        _ => COMPARED,
    }
}

/// Which rows a list of differences is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Selection {
    /// Drawn at random: what the whole study is like.
    Random,
    /// The least and the largest of their kind.
    Extremes,
    All,
}

impl Selection {
    const EVERY: [Self; 3] = [Self::Random, Self::Extremes, Self::All];

    fn holds(self, row: &Checked) -> bool {
        let random = row.why.starts_with(RANDOM);
        match self {
            Self::Random => random,
            Self::Extremes => !random,
            Self::All => true,
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Random => "random rows",
            Self::Extremes => "least and largest",
            Self::All => "all rows",
        }
    }
}

/// One list of differences.
struct Group<'a> {
    metric: &'a str,
    unit: &'a str,
    percent: bool,
    selection: Selection,
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
    for c in held_back(&compared) {
        let r = c.row;
        let _ = writeln!(text, "\nrow {}, {} of {}: {}.", r.row, r.metric, r.structure, c.state);
    }
    for group in headline(&groups) {
        let Some((name, figure)) = figure(group, extremes_of(&groups, group)) else { continue };
        let _ = writeln!(text, "\n{name}: {}", figure.description);
        files.insert(name, figure.svg().into_bytes());
    }
    files.insert("agreement.txt".to_owned(), text.into_bytes());
    files
}

fn held_back<'c, 'a>(compared: &'c [Compared<'a>]) -> impl Iterator<Item = &'c Compared<'a>> {
    compared.iter().filter(|c| [HELD_BACK, TWO_READINGS].contains(&c.state))
}

/// How many rows wait for another look, in words; absent for none.
pub(super) fn remark(study: &Study<'_>, rows: &[Checked]) -> Option<String> {
    let n = held_back(&compared(study, rows)).count();
    (n > 0).then(|| {
        format!(
            "{} of the blind check held back; agreement.txt says why: look again and write what the \
             report says into second_reading",
            counted(n, "row")
        )
    })
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
        let state = match (found, measured) {
            (None, _) if row.not_found.is_some() => row.not_found.unwrap_or_default(),
            (None, _) => "not in the tables of this study",
            (Some(m), _) if m.unit != row.unit => "unit differs from that of the tables",
            (_, None) => "without a value in the tables",
            (_, Some([value, ..])) => state_of_reading(value, row),
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
        for selection in Selection::EVERY {
            let taken = |c: &&Compared<'_>| c.row.metric == metric && selection.holds(c.row);
            let rows: Vec<&Compared<'_>> = usable().filter(taken).collect();
            for percent in [false, true] {
                // A percentage of nothing has no meaning.
                let defined = |c: &&&Compared<'_>| c.pair().is_some_and(|(a, b)| a + b > 0.0);
                let rows = match percent {
                    true => rows.iter().filter(defined).copied().collect(),
                    false => rows.clone(),
                };
                out.push(Group { metric, unit, percent, selection, rows });
            }
        }
    }
    out
}

/// What is said and drawn of each metric: the random rows, since only they are like the study; of an
/// older sheet without such, all rows. In percent where values span much.
fn headline<'g, 'a>(groups: &'g [Group<'a>]) -> impl Iterator<Item = &'g Group<'a>> {
    groups.iter().filter(|g| {
        let of_metric = |s: Selection| {
            let same =
                |o: &&Group<'_>| o.metric == g.metric && o.unit == g.unit && o.selection == s;
            groups.iter().find(same)
        };
        let wide = of_metric(Selection::All).is_some_and(is_wide);
        let random = of_metric(Selection::Random).is_some_and(|r| !r.rows.is_empty());
        let wanted = if random { Selection::Random } else { Selection::All };
        g.selection == wanted && g.percent == wide
    })
}

/// The least and the largest values beside a list of random rows.
fn extremes_of<'g, 'a>(groups: &'g [Group<'a>], beside: &Group<'_>) -> Option<&'g Group<'a>> {
    let theirs = |g: &&Group<'_>| {
        let same =
            g.metric == beside.metric && g.unit == beside.unit && g.percent == beside.percent;
        same && g.selection == Selection::Extremes
    };
    groups.iter().find(theirs).filter(|_| beside.selection == Selection::Random)
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
        "second_reading",
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
        cells.extend([some(r.report_value), some(r.second_reading)]);
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
            word(g.selection.words()),
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
         of {} patients, {random} of them drawn at random and {} as least or largest of their kind. \
         What follows is of the {}.",
        used.len(),
        plans.len(),
        patients.len(),
        used.len() - random,
        if random > 0 { "random ones" } else { "least and largest, no sample of the study" }
    );
    for group in headline(groups) {
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

/// The random rows with their limits, the extremes beside them as marks of their own.
fn figure(group: &Group<'_>, extremes: Option<&Group<'_>>) -> Option<(String, Figure)> {
    let found = group.agreement().ok()?;
    let own = places(group);
    let beside = extremes.map(places).unwrap_or_default();
    let all = || own.iter().chain(&beside);
    let (low, high) = ends(all().map(|p| p.0))?;
    let lines = [found.limits.low, found.mean, found.limits.high];
    let bands = [found.lower_interval, found.upper_interval].into_iter().flatten();
    let bands = bands.flat_map(|i| [i.low, i.high]);
    let (least, most) = ends(all().map(|p| p.1).chain(lines).chain(bands))?;
    let room = (most - least).max(1e-9) * 0.08;
    let title = format!("Mean of both ({})", clinical_words::unit(group.unit));
    // Values over several orders stand at their logarithm, so that small ones do not fall together.
    let x = if group.percent {
        Axis::log(&title, low / 1.2, high * 1.2)
    } else {
        let margin = (high - low).max(1e-9) * 0.05;
        Axis::new(&title, low - margin, high + margin)
    };
    let mut legend = vec![
        (Look(0), "Drawn at random; mean difference".to_owned()),
        (Look(1), "95 % limits of agreement".to_owned()),
    ];
    if !beside.is_empty() {
        legend.push((Look(2), "Least and largest, not in the lines".to_owned()));
    }
    let figure = Figure {
        title: format!("Agreement of {} with planning reports", group.metric),
        description: description(group, &found, beside.len()),
        y: Axis::new(
            &format!("Measured − report ({})", clinical_words::unit(group.unit())),
            least - room,
            most + room,
        ),
        layers: layers(&found, [own, beside], [x.low, x.high]),
        x,
        legend,
        below: Vec::new(),
        foot: CAUTION.to_owned(),
    };
    let plain: String =
        group.metric.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    Some((format!("agreement_{}.svg", plain.trim_matches('_').to_lowercase()), figure))
}

fn description(group: &Group<'_>, found: &Agreement, beside: usize) -> String {
    let mut text = format!(
        "Measured values less those of planning reports against the mean of both, {}: {} values of {} \
         patients. Lines: mean difference and 95 % limits of agreement, with their 95 % intervals \
         ({}) in grey.",
        group.metric,
        group.rows.len(),
        group.patients().count(),
        how(found)
    );
    if beside > 0 {
        let _ = write!(text, " Beside them {beside} least and largest values, in no line.");
    }
    text.push_str(" Numbers: agreement_rows.csv.");
    text
}

/// A mark for each value: mean of both, and difference.
fn places(group: &Group<'_>) -> Vec<(f64, f64)> {
    group.means().into_iter().zip(group.differences()).collect()
}

/// Intervals in grey, then the three lines from `low` to `high`, then the marks.
fn layers(found: &Agreement, marks: [Vec<(f64, f64)>; 2], [low, high]: [f64; 2]) -> Vec<Layer> {
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
    for (points, look) in marks.into_iter().zip([Look(0), Look(2)]) {
        layers.push(Layer::Points { points, look });
    }
    layers
}

fn ends(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |found, v| match found {
        None => Some((v, v)),
        Some((low, high)) => Some((f64::min(low, v), f64::max(high, v))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_point_is_told_from_a_difference() {
        for (measured, report) in [(12.3, 123.0), (12.3, 1.21), (0.98, 97.0), (1.5, 1490.0)] {
            assert!(is_slip(measured, report), "{measured} {report}");
        }
        for (measured, report) in [(12.3, 12.9), (12.3, 36.0), (1.0, 4.9), (0.0, 0.4), (2.0, 0.0)] {
            assert!(!is_slip(measured, report), "{measured} {report}");
        }
    }

    #[test]
    fn a_second_reading_frees_or_holds_a_row() {
        let row = |first, second| Checked {
            report_value: first,
            second_reading: second,
            ..Checked::default()
        };
        assert_eq!(state_of_reading(12.3, &row(None, None)), "not filled in");
        assert_eq!(state_of_reading(12.3, &row(Some(12.0), None)), COMPARED);
        assert_eq!(state_of_reading(12.3, &row(Some(123.0), None)), HELD_BACK);
        // The report does say so: the difference counts.
        assert_eq!(state_of_reading(12.3, &row(Some(123.0), Some(123.0))), COMPARED);
        assert_eq!(state_of_reading(12.3, &row(Some(123.0), Some(12.3))), TWO_READINGS);
    }
}
