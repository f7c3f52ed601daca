//! Which columns table `analysis` has: those that a new study gets, and what the user may write
//! instead. Knows no file.

use std::borrow::Cow;

use super::facts::{GRADIENTS, KEYS, facts};
use crate::wide::values::{OF_LESION, OF_PLAN, Source};
use tidydose_case::standard_name;
use tidydose_metrics::{Metric, candidates, parse};
use tidydose_rt::nearest::most_like;

/// The columns of a study whose user chose none, in their order.
const USUAL: [&str; 13] = [
    "structure",
    "technology",
    "day_plan",
    "fractions_planned",
    "prescription_dose_gy",
    "volume_cc",
    "d95_gy",
    "paddick_conformity",
    "gradient_index",
    "gradient_metric",
    "brain_less_targets_v12gy_cc",
    "brainstem_d0p03cc_gy",
    "in_study",
];

/// What stands over the usual values; over others, what they are.
const LABELS: [(&str, &str); 5] = [
    ("volume_cc", "Volume"),
    ("d95_gy", "D95%"),
    ("paddick_conformity", "Paddick CI"),
    ("brain_less_targets_v12gy_cc", "V12Gy of brain without targets"),
    ("brainstem_d0p03cc_gy", "Brainstem D0.03cc"),
];

/// One column as it was chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysisColumn {
    /// Its name in the tables.
    pub name: Cow<'static, str>,
    /// What stands over it.
    pub label: Cow<'static, str>,
    /// Unit symbol; empty for none.
    pub unit: Cow<'static, str>,
    /// The same unit as the user writes it.
    pub shown_unit: Cow<'static, str>,
    /// What it is.
    pub meaning: Cow<'static, str>,
    pub(super) source: ColumnSource,
}

/// Where a column comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ColumnSource {
    /// One of the facts, by its name.
    Fact,
    /// A value with bounds.
    Value(ValueSource),
}

/// Which value it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ValueSource {
    /// One of the list.
    Listed(Source<'static>),
    /// A metric that was named, of a structure or of the lesion itself.
    Metric { structure: Option<String>, metric: String },
}

impl ValueSource {
    fn source(&self) -> Source<'_> {
        match self {
            Self::Listed(source) => *source,
            Self::Metric { structure: Some(structure), metric } => Source::Of(structure, metric),
            Self::Metric { structure: None, metric } => Source::Own(metric),
        }
    }
}

impl AnalysisColumn {
    /// The names of the columns with its lower and upper bound and its state.
    #[must_use]
    pub fn bound_names(&self) -> [String; 3] {
        let end = suffix(&self.unit);
        let stem = self.name.strip_suffix(&end).unwrap_or(&self.name);
        [format!("{stem}_low{end}"), format!("{stem}_high{end}"), format!("{stem}_status")]
    }

    /// The structure and the metric that were named; absent for a column of the list.
    #[must_use]
    pub fn named_metric(&self) -> Option<(Option<&str>, &str)> {
        match &self.source {
            ColumnSource::Value(ValueSource::Metric { structure, metric }) => {
                Some((structure.as_deref(), metric))
            }
            _ => None,
        }
    }
}

/// Something is no column.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub(crate) struct ColumnFault(pub(crate) String);

/// The columns of table `analysis`, in their order, without its key.
#[derive(Debug, Clone, PartialEq)]
pub struct ChosenColumns {
    columns: Vec<AnalysisColumn>,
    /// Whether the rows of all tables say their centre first.
    by_centre: bool,
}

impl Default for ChosenColumns {
    fn default() -> Self {
        let known = listed();
        let of = |name: &&str| known.iter().find(|c| c.name == **name).cloned();
        Self { columns: USUAL.iter().filter_map(of).collect(), by_centre: false }
    }
}

impl ChosenColumns {
    /// These columns; those of the key are there without being chosen.
    #[must_use]
    pub(crate) fn new(columns: Vec<AnalysisColumn>) -> Self {
        let chosen = columns.into_iter().filter(|c| !KEYS.contains(&&*c.name));
        Self { columns: chosen.collect(), by_centre: false }
    }

    /// The same for studies of several centres that were put together.
    #[must_use]
    pub(crate) fn by_centre(mut self) -> Self {
        self.by_centre = true;
        self
    }

    /// Whether the tables are those of several centres.
    #[must_use]
    pub(crate) const fn is_by_centre(&self) -> bool {
        self.by_centre
    }

    /// The same under the labels of the program instead of those that people wrote.
    #[must_use]
    pub(crate) fn without_labels(mut self) -> Self {
        for column in &mut self.columns {
            if let Ok(own) = meant(&column.name) {
                column.label = own.label;
            }
        }
        self
    }

    /// The columns in their order.
    #[must_use]
    pub fn all(&self) -> &[AnalysisColumn] {
        &self.columns
    }

    /// Those that are values with bounds, each with where it comes from.
    pub(super) fn values(&self) -> impl Iterator<Item = (&AnalysisColumn, Source<'_>)> {
        self.columns.iter().filter_map(|column| match &column.source {
            ColumnSource::Fact => None,
            ColumnSource::Value(value) => Some((column, value.source())),
        })
    }

    /// Each value with the names of the columns of its bounds, in table `analysis_bounds`.
    pub(crate) fn bounds(&self) -> impl Iterator<Item = (&str, [String; 3])> {
        self.values().map(|(column, _)| (&*column.name, column.bound_names()))
    }
}

/// Every column that has a name of its own, the usual ones first, with whether it is usual.
#[must_use]
pub(crate) fn offered() -> Vec<(AnalysisColumn, bool)> {
    let mut list: Vec<_> =
        ChosenColumns::default().columns.into_iter().map(|c| (c, true)).collect();
    for column in listed() {
        let there = list.iter().any(|(have, _)| have.name == column.name);
        if !there && !KEYS.contains(&&*column.name) {
            list.push((column, false));
        }
    }
    list
}

/// Facts, then values of the lesion, then those of its plan.
fn listed() -> Vec<AnalysisColumn> {
    let mut list: Vec<AnalysisColumn> = facts().iter().map(|c| fact(c.definition())).collect();
    list.push(value(["d95_gy", "Gy", "D95%[Gy] of the outermost target"], Source::Own("D95%[Gy]")));
    list.push(AnalysisColumn {
        label: "Gradient index".into(),
        ..value(
            [
                "gradient_index",
                "",
                "PaddickGradient; where isodoses of several targets have merged, that of the \
                 isodoses nearest to this target, see gradient_metric",
            ],
            Source::OwnElse(GRADIENTS[0], GRADIENTS[1]),
        )
    });
    for known in OF_LESION.iter().chain(OF_PLAN) {
        let name = known.names[0];
        if list.iter().all(|have| have.name != name) {
            let column = value([name, known.unit(), known.meaning], known.source);
            list.push(AnalysisColumn { label: known.label().into(), ..column });
        }
    }
    for (name, label) in LABELS {
        if let Some(column) = list.iter_mut().find(|c| c.name == name) {
            column.label = label.into();
        }
    }
    list
}

fn fact(definition: &crate::column::Definition) -> AnalysisColumn {
    AnalysisColumn {
        name: definition.name.clone(),
        label: definition.label().to_owned().into(),
        unit: definition.unit.clone(),
        shown_unit: definition.unit.clone(),
        meaning: definition.meaning.clone(),
        source: ColumnSource::Fact,
    }
}

fn value([name, unit, title]: [&'static str; 3], source: Source<'static>) -> AnalysisColumn {
    AnalysisColumn {
        name: name.into(),
        label: title.into(),
        unit: unit.into(),
        shown_unit: unit.into(),
        meaning: title.into(),
        source: ColumnSource::Value(ValueSource::Listed(source)),
    }
}

/// The column that somebody means: the name of one of the list, a metric of the lesion itself, or
/// `ORGAN:METRIC`.
///
/// # Errors
/// When it is none; the message has the nearest ones and what would be accepted.
pub(crate) fn meant(written: &str) -> Result<AnalysisColumn, ColumnFault> {
    let known = listed();
    if let Some(column) = known.iter().find(|c| c.name.eq_ignore_ascii_case(written)) {
        return Ok(column.clone());
    }
    let (structure, metric) = match written.rsplit_once(':') {
        Some((structure, metric)) => (Some(structure.trim()), metric.trim()),
        None => (None, written),
    };
    let column = match (structure, parse(metric)) {
        (_, Ok(metric)) => named(structure, &metric),
        (Some(_), Err(unknown)) => return Err(ColumnFault(unknown.to_string())),
        (None, Err(_)) => return Err(ColumnFault(unknown(written, &known))),
    };
    // A metric that the list has under the same name is that of the list, with its label.
    Ok(known.into_iter().find(|have| is_same(have, &column)).unwrap_or(column))
}

fn is_same(one: &AnalysisColumn, other: &AnalysisColumn) -> bool {
    match (&one.source, &other.source) {
        (ColumnSource::Value(a), ColumnSource::Value(b)) => a.source() == b.source(),
        _ => false,
    }
}

/// So many columns are named as the nearest.
const NEAREST: usize = 4;

fn unknown(written: &str, known: &[AnalysisColumn]) -> String {
    let metrics = candidates(written);
    let names = known.iter().map(|c| &*c.name).chain(metrics.iter().map(String::as_str));
    let near = most_like(written, names, NEAREST).join(", ");
    format!(
        "`{written}` is no column; nearest: {near}; accepted: a column that a new columns.csv lists, \
         a metric of the lesion such as D90%[Gy], or ORGAN:METRIC such as Lens_L:Max[Gy]"
    )
}

/// A metric of a structure, or of the lesion itself.
fn named(structure: Option<&str>, metric: &Metric) -> AnalysisColumn {
    let structure = structure.map(|s| standard_name(s).unwrap_or_else(|| s.to_owned()));
    let unit = if metric.definition.unit == "1" { "" } else { metric.definition.unit };
    let whole = metric.to_string();
    let short = whole.split('[').next().unwrap_or_default();
    let (name, label, meaning) = match &structure {
        Some(s) => (format!("{s}_{short}"), format!("{s} {short}"), format!("{whole} of {s}")),
        None => (short.to_owned(), short.to_owned(), format!("{whole} of the outermost target")),
    };
    AnalysisColumn {
        name: format!("{}{}", plain(&name), suffix(unit)).into(),
        label: label.into(),
        unit: unit.into(),
        shown_unit: unit.into(),
        meaning: meaning.into(),
        source: ColumnSource::Value(ValueSource::Metric { structure, metric: whole }),
    }
}

/// A name as columns have them: small letters, digits and underscores; a point becomes `p`.
fn plain(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        match c {
            '%' => {}
            '.' => out.push('p'),
            c if c.is_ascii_alphanumeric() => out.push(c.to_ascii_lowercase()),
            _ if out.ends_with('_') => {}
            _ => out.push('_'),
        }
    }
    out.trim_matches('_').to_owned()
}

/// How a column ends whose numbers have this unit.
fn suffix(unit: &str) -> String {
    let words = plain(&unit.replace('%', "percent "));
    if words.is_empty() { words } else { format!("_{words}") }
}

/// Other ways to write a unit, each list with the one of the tables first.
const SAME_UNITS: [&[&str]; 6] = [
    &["cc", "cm3", "cm³", "ml", "mL"],
    &["Gy", "gray"],
    &["mm", "millimetre"],
    &["%", "percent"],
    &["d", "day", "days"],
    &["", "1", "-"],
];

/// What may be written for a unit.
#[must_use]
pub(crate) fn units_like(unit: &str) -> Vec<&str> {
    let list = SAME_UNITS.iter().find(|list| list.first().is_some_and(|first| *first == unit));
    list.map_or_else(|| vec![unit], |list| list.to_vec())
}
