//! Which values the wide tables have, and where each is found in what was computed for a case.

use std::borrow::Cow;
use std::collections::BTreeSet;

use strum::VariantNames;

pub(crate) use super::listed::{OF_LESION, OF_PLAN, Value};
use crate::column::Column;
use crate::structure_names::shown_name;
use tidydose_analyse::candidates::{Candidates, SHOWN};
use tidydose_analyse::{Analysis, Lesion};
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_metrics::{Outcome, Status};

use Source::{Gap, Nearest, Of, Overlap, Own};

/// The structure is there, but the run was not asked for the metric.
const NOT_IN_RUN: &str = "not_in_run";

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Source<'s> {
    /// A metric of an organ or of a region, by standard name.
    Of(&'s str, &'s str),
    /// The smallest gap between any target, or the lesion, and the organ.
    Gap(&'s str),
    /// The largest overlap of a target, or the overlap of the lesion, with the organ.
    Overlap(&'s str),
    /// A metric of the outermost target of the lesion.
    Own(&'s str),
    /// The first of two metrics of the outermost target, or the second where the first has no
    /// meaning, as where isodoses have merged.
    OwnElse(&'s str, &'s str),
    /// The gap between the outermost target and the nearest other lesion.
    Nearest,
}

impl<'s> Source<'s> {
    /// The organ that a structure of the case must be called.
    fn organ(self) -> Option<&'s str> {
        match self {
            Self::Of(name, _) | Self::Gap(name) | Self::Overlap(name) => {
                Some(name).filter(|n| !n.contains([' ', '-']))
            }
            Self::Own(_) | Self::OwnElse(..) | Self::Nearest => None,
        }
    }
}

/// A value as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    /// Value, low, high.
    pub(crate) numbers: [Option<f64>; 3],
    /// Why there is or is not a value.
    pub(crate) status: &'static str,
}

impl Found {
    /// Of a plan that is left out or does not count.
    pub(super) const EXCLUDED: Self = Self::without("excluded");

    const fn without(status: &'static str) -> Self {
        Self { numbers: [None; 3], status }
    }

    fn of(outcome: &Outcome) -> Self {
        let numbers = [outcome.value, outcome.low, outcome.high];
        Self { numbers, status: outcome.status.word() }
    }
}

/// The values of one plan, in the order of the columns. Small: those of all plans of an archive stay
/// in memory until the rows of the patients are known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PlanValues {
    pub(super) found: Vec<Found>,
    /// Names that nobody has decided and that may be one of the organs, with their doses.
    pub(super) undecided: String,
    /// Lesions, their volume together and that of the largest; the volumes absent when one is not
    /// known or uncertain.
    pub(super) lesions: Option<usize>,
    pub(super) total_cc: Option<f64>,
    pub(super) largest_cc: Option<f64>,
}

impl PlanValues {
    /// Takes them from what was computed for a case; without an analysis there is none.
    #[must_use]
    pub(crate) fn of(case: &Case, analysis: Option<&Analysis>) -> Self {
        let volume = |a: &Analysis, lesion: &Lesion| {
            let volume = &a.structures.iter().find(|s| s.roi_number == lesion.roi_number)?.volume;
            volume.value.filter(|_| volume.status == Status::Ok)
        };
        let volumes = analysis.and_then(|a| {
            let list: Option<Vec<f64>> = a.lesions.iter().map(|l| volume(a, l)).collect();
            list.filter(|l| !l.is_empty())
        });
        let open = open_of(case, analysis);
        let find = |v: &Value| find((case, &open), analysis, None, v.source);
        Self {
            found: OF_PLAN.iter().map(find).collect(),
            undecided: undecided(&open, analysis),
            lesions: analysis.map(|a| a.lesions.len()),
            total_cc: volumes.as_ref().map(|l| l.iter().sum()),
            largest_cc: volumes.map(|l| l.into_iter().fold(0.0, f64::max)),
        }
    }
}

/// The values of one lesion.
pub(super) fn of_lesion(case: &Case, analysis: &Analysis, lesion: &Lesion) -> Vec<Found> {
    values_of((case, analysis), lesion, OF_LESION.iter().map(|v| v.source))
}

/// What these sources say of a lesion, in their order.
pub(crate) fn values_of<'s>(
    (case, analysis): (&Case, &Analysis),
    lesion: &Lesion,
    sources: impl Iterator<Item = Source<'s>>,
) -> Vec<Found> {
    let open = open_of(case, Some(analysis));
    sources.map(|s| find((case, &open), Some(analysis), Some(lesion), s)).collect()
}

fn open_of<'c>(case: &'c Case, analysis: Option<&Analysis>) -> Candidates<'c> {
    Candidates::of(case, analysis.map_or(&[], |a| &a.structures))
}

/// The names that nobody has decided and that may be an organ of the columns, the hottest first.
fn undecided(open: &Candidates<'_>, analysis: Option<&Analysis>) -> String {
    let Some(analysis) = analysis else { return String::new() };
    let organs: BTreeSet<&str> = OF_PLAN.iter().filter_map(|v| v.source.organ()).collect();
    let organs: Vec<&str> = organs.into_iter().collect();
    let dose = |number: i64| {
        let mut rows = analysis.measurements.iter();
        let found = rows.find(|m| m.roi_number == number && m.metric == SHOWN)?;
        found.outcome.value
    };
    let mut list: Vec<_> = open.for_any(&organs);
    list.sort_by(|a, b| {
        let of = |n: i64| dose(n).unwrap_or(f64::NEG_INFINITY);
        of(b.0.number).total_cmp(&of(a.0.number)).then(a.0.number.cmp(&b.0.number))
    });
    let one = |(name, meaning): (&NamedRoi, String)| match dose(name.number) {
        Some(gy) => format!("{} {gy:.1} Gy ({meaning})", name.original),
        None => format!("{} ({meaning})", name.original),
    };
    list.into_iter().map(one).collect::<Vec<_>>().join("; ")
}

fn find(
    (case, open): (&Case, &Candidates<'_>),
    analysis: Option<&Analysis>,
    lesion: Option<&Lesion>,
    source: Source<'_>,
) -> Found {
    let Some(analysis) = analysis.filter(|_| case.left_out.is_none()) else {
        return Found::without(Status::Excluded.word());
    };
    let own = |metric: &str| match lesion {
        Some(lesion) => metric_of(analysis, lesion.roi_number, metric),
        None => Found::without(Status::NotApplicable.word()),
    };
    match source {
        Of(name, metric) => match region(analysis, name, metric) {
            Some(found) => found,
            None => one((case, open), name, |number| metric_of(analysis, number, metric)),
        },
        Own(metric) => own(metric),
        Source::OwnElse(first, second) => {
            let (first, second) = (own(first), own(second));
            let merged = first.status == Status::NotApplicable.word();
            if merged && second.numbers[0].is_some() { second } else { first }
        }
        Gap(organ) => {
            let read = |number| end_of(analysis, lesion, Some(number), "Gap[mm]", f64::min);
            one((case, open), organ, read)
        }
        Overlap(organ) => one((case, open), organ, |number| {
            end_of(analysis, lesion, Some(number), "Overlap[cc]", f64::max)
        }),
        Nearest => end_of(analysis, lesion, None, "NearestTarget[mm]", f64::min),
    }
}

/// The metric of a region that nobody drew; absent where the run made no such region.
fn region(analysis: &Analysis, name: &str, metric: &str) -> Option<Found> {
    let mut of_region = analysis.regions.iter().filter(|r| r.region == name).peekable();
    of_region.peek()?;
    let found = of_region.find(|r| r.metric == metric);
    Some(found.map_or(Found::without(NOT_IN_RUN), |r| Found::of(&r.outcome)))
}

/// What `read` says of the one structure of that name. It is absent only where no structure may be
/// it whose name nobody has decided.
fn one((case, open): (&Case, &Candidates<'_>), name: &str, read: impl Fn(i64) -> Found) -> Found {
    let named = |n: &&tidydose_case::NamedRoi| n.role == Role::Organ && shown_name(n) == name;
    let mut list = case.names.iter().filter(named);
    match (list.next(), list.next()) {
        // Regions have no name among those of the case.
        (None, _) if name.contains([' ', '-']) => Found::without(NOT_IN_RUN),
        (None, _) if !open.for_organ(name).is_empty() => {
            Found::without(Status::NameUndecided.word())
        }
        (None, _) => Found::without(Status::Absent.word()),
        (Some(_), Some(_)) => Found::without(Status::Ambiguous.word()),
        (Some(only), None) => read(only.number),
    }
}

fn metric_of(analysis: &Analysis, number: i64, metric: &str) -> Found {
    let mut rows = analysis.measurements.iter();
    let found = rows.find(|m| m.roi_number == number && m.metric == metric);
    found.map_or(Found::without(NOT_IN_RUN), |m| Found::of(&m.outcome))
}

/// The least or the largest value among the relations of the lesion, or of all targets, with the other
/// structure. Where one of them has no value, what is left is a bound.
fn end_of(
    analysis: &Analysis,
    lesion: Option<&Lesion>,
    other: Option<i64>,
    metric: &str,
    end: fn(f64, f64) -> f64,
) -> Found {
    let wanted = |r: &&tidydose_analyse::relate::Relation| {
        r.metric == metric
            && (other.is_none() || r.other_roi_number == other)
            && lesion.is_none_or(|l| l.roi_number == r.roi_number)
    };
    let rows: Vec<&Outcome> =
        analysis.relations.iter().filter(wanted).map(|r| &r.outcome).collect();
    let Some(first) = rows.first() else { return Found::without(NOT_IN_RUN) };
    let known: Vec<&&Outcome> = rows.iter().filter(|o| o.status.has_both_bounds()).collect();
    if known.is_empty() {
        return Found::of(first);
    }
    let of = |read: fn(&Outcome) -> Option<f64>| {
        known.iter().map(|o| read(o)).collect::<Option<Vec<f64>>>()?.into_iter().reduce(end)
    };
    let uncertain = known.iter().any(|o| o.status == Status::Uncertain);
    let status = match known.len() == rows.len() {
        true if uncertain => Status::Uncertain,
        true => Status::Ok,
        false => Status::Bound,
    };
    let mut numbers = [of(|o| o.value), of(|o| o.low), of(|o| o.high)];
    if status == Status::Bound {
        // What is not known may be less than the least, or more than the largest.
        let open = if end(0.0, 1.0) == 0.0 { 1 } else { 2 };
        numbers[open] = None;
    }
    Found { numbers, status: status.word() }
}

/// The words of a column of states.
pub(crate) fn status_words() -> Vec<&'static str> {
    Status::VARIANTS.iter().copied().chain([NOT_IN_RUN]).collect()
}

/// A row that has values in the order of a list.
pub(super) trait HasValues {
    /// The value at a place of the list.
    fn found(&self, place: usize) -> Option<&Found>;
}

/// Four columns for each value.
pub(super) fn columns<R: HasValues>(values: &[Value]) -> Vec<Column<R>> {
    let words = status_words();
    let mut columns = Vec::new();
    for (place, value) in values.iter().enumerate() {
        let unit = value.unit();
        let [plain, low, high, status] = value.names;
        let [label, low_label, high_label, status_label] = value.labels;
        let [meaning, of_low, of_high, of_status] = value.meanings;
        let number = |name, meaning, label, read: fn(&R, usize) -> Option<f64>| {
            Column::real_at(name, unit, meaning, place, read).labelled(label)
        };
        columns.push(number(plain, meaning, label, |r: &R, p| r.found(p)?.numbers[0]));
        columns.push(number(low, of_low, low_label, |r: &R, p| r.found(p)?.numbers[1]));
        columns.push(number(high, of_high, high_label, |r: &R, p| r.found(p)?.numbers[2]));
        let words = Column::word_at(status, of_status, &words, place, |r: &R, p| {
            r.found(p).map(|f| Cow::Borrowed(f.status))
        });
        columns.push(words.labelled(status_label));
    }
    columns
}
