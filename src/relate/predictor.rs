//! What a predictor is, and its value for a plan or a lesion.

use std::collections::{BTreeMap, BTreeSet};

use super::study::Cohort;
use super::{Grain, RelateError};
use tidydose_rt::nearest::nearest;
use tidydose_table::clinical_words;
use tidydose_table::read::{MetricRow, Status};
use tidydose_table::wide::{MetricColumn, metric_columns};

/// A predictor as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Predictor {
    /// A metric of a structure of the plan.
    Structure { structure: String, metric: String },
    /// A metric of the lesion itself.
    Lesion { metric: String },
    /// A numeric column of table lesions or plans.
    Column { name: String },
    /// Whether a column of words of table lesions or plans has a level: 1, else 0.
    Level { name: String, level: String },
}

impl Predictor {
    /// Understands the words of a request and finds them in the tables.
    pub(super) fn parse(
        words: &str,
        cohort: &Cohort<'_>,
        grain: Grain,
    ) -> Result<Self, RelateError> {
        let predictor = if let Some((structure, metric)) = words.split_once(':') {
            Self::Structure { structure: structure.to_owned(), metric: metric.to_owned() }
        } else if cohort.plan_columns.contains_key(words) || of_lesion(cohort, grain, words) {
            Self::Column { name: words.to_owned() }
        } else if let Some(of_level) = Self::level(words, cohort, grain)? {
            of_level
        } else if let Some(column) = metric_columns().find(|c| c.name == words) {
            Self::held(column)
        } else {
            Self::Lesion { metric: words.to_owned() }
        };
        predictor.there(words, cohort, grain).map(|()| predictor)
    }

    /// What a column of a wide table holds, with the statuses that stand in the long one.
    fn held(MetricColumn { structure, metric, .. }: MetricColumn) -> Self {
        let metric = metric.to_owned();
        match structure {
            Some(structure) => Self::Structure { structure: structure.to_owned(), metric },
            None => Self::Lesion { metric },
        }
    }

    /// `NAME=LEVEL`, or the name of a column of words: where it has two levels at most, the last counts
    /// as 1.
    fn level(words: &str, cohort: &Cohort<'_>, grain: Grain) -> Result<Option<Self>, RelateError> {
        let (name, asked) = match words.split_once('=') {
            Some((name, level)) => (name.trim(), Some(level.trim())),
            None => (words, None),
        };
        let of_lesion = cohort.lesion_levels.get(name).filter(|_| grain == Grain::Lesion);
        let Some(column) = of_lesion.or_else(|| cohort.plan_levels.get(name)) else {
            return Ok(None);
        };
        let levels: BTreeSet<&str> = column.values().map(String::as_str).collect();
        let found = match asked {
            Some(asked) => levels.iter().find(|l| l.eq_ignore_ascii_case(asked)),
            // Where all have one level, it is found to say nothing when it is used.
            None if levels.len() <= 2 => levels.last(),
            None => None,
        };
        let Some(level) = found else {
            let reason = match asked {
                Some(_) => "the column has no such level".to_owned(),
                None => format!("a column of {} levels", levels.len()),
            };
            let shown: Vec<String> =
                levels.iter().take(LEVELS_SHOWN).map(|l| format!("{name}={l}")).collect();
            let there = format!("one of them is accepted: {}", shown.join(", "));
            return Err(RelateError::Predictor { wanted: words.to_owned(), reason, there });
        };
        Ok(Some(Self::Level { name: name.to_owned(), level: (*level).to_owned() }))
    }

    fn there(&self, wanted: &str, cohort: &Cohort<'_>, grain: Grain) -> Result<(), RelateError> {
        let fault = |reason: String, there: String| {
            Err(RelateError::Predictor { wanted: wanted.to_owned(), reason, there })
        };
        match self {
            Self::Column { .. } | Self::Level { .. } => Ok(()),
            Self::Structure { structure, metric } => {
                let own = cohort.metrics.iter().filter(|m| m.structure == *structure);
                let metrics: BTreeSet<&str> = own.map(|m| m.metric).collect();
                if metrics.is_empty() {
                    let all = cohort.metrics.iter().map(|m| m.structure);
                    let there = format!("nearest: {}", nearest(structure, all));
                    return fault(format!("no plan has a structure {structure}"), there);
                }
                if !metrics.contains(metric.as_str()) {
                    let there = format!("nearest: {}", nearest(metric, metrics));
                    return fault(format!("{structure} has no metric {metric}"), there);
                }
                Ok(())
            }
            Self::Lesion { metric } => {
                let metrics = || cohort.metrics.iter().map(|m| m.metric);
                if metrics().all(|m| m != metric) {
                    let own = cohort.plan_columns.keys().chain(cohort.lesion_columns.keys());
                    let columns = own.copied().chain(metric_columns().map(|c| c.name));
                    let there = format!(
                        "nearest metrics: {}; nearest columns: {}",
                        nearest(metric, metrics()),
                        nearest(metric, columns)
                    );
                    return fault("neither a metric nor a numeric column".to_owned(), there);
                }
                let whose = match grain {
                    Grain::Lesion => return Ok(()),
                    Grain::Plan => "plan",
                    Grain::Patient => "patient",
                };
                let there = format!(
                    "write it as STRUCTURE:METRIC, or ask for lesions by --grain lesion; most plans \
                     have: {}",
                    with_metric(cohort, metric).join(", ")
                );
                fault(format!("{metric} is of a lesion, and a {whose} may have several"), there)
            }
        }
    }

    /// The value, or the status that stands for it.
    pub(super) fn value(
        &self,
        cohort: &Cohort<'_>,
        plan: &str,
        lesion: Option<&str>,
    ) -> Result<f64, String> {
        let value = match self {
            Self::Column { name } => {
                let of_plan = cohort.plan_columns.get(name.as_str()).and_then(|c| c.get(plan));
                let of_lesion = lesion
                    .and_then(|l| cohort.lesion_columns.get(name.as_str())?.get(l))
                    .or(of_plan);
                of_lesion.copied().ok_or("empty")
            }
            Self::Level { name, level } => {
                let of_plan = cohort.plan_levels.get(name.as_str()).and_then(|c| c.get(plan));
                let found = lesion
                    .and_then(|l| cohort.lesion_levels.get(name.as_str())?.get(l))
                    .or(of_plan);
                found.map(|l| if l == level { 1.0 } else { 0.0 }).ok_or("empty")
            }
            Self::Structure { structure, metric } => {
                let found = one(cohort, metric, |m| m.plan_id == plan && m.structure == structure);
                let open = || cohort.open.may_hold(plan, structure);
                // Nothing is absent that only waits for its name.
                found.map_err(|status| match status {
                    Status::Absent if open() => Status::NameUndecided.word(),
                    other => other.word(),
                })
            }
            Self::Lesion { metric } => {
                one(cohort, metric, |m| m.plan_id == plan && Some(m.structure_id) == lesion)
                    .map_err(Status::word)
            }
        };
        value.map_err(str::to_owned)
    }

    /// What somebody should know who names it so: what else is called alike, and which structures it
    /// may mean.
    pub(super) fn notes(&self, cohort: &Cohort<'_>) -> Vec<String> {
        match self {
            Self::Lesion { metric } => own_volume(cohort, metric).into_iter().collect(),
            Self::Structure { structure, metric } => {
                several(cohort, structure, metric).into_iter().collect()
            }
            Self::Column { .. } => Vec::new(),
            Self::Level { name, level } => {
                vec![format!("{name}: {level} counts as 1, everything else that is known as 0")]
            }
        }
    }

    /// Whether it is a prescribed dose, which means another thing in another number of fractions.
    pub(super) fn is_prescription(&self) -> bool {
        match self {
            Self::Column { name } => name.contains("prescription") && name.ends_with("_gy"),
            _ => false,
        }
    }

    /// Structure and metric, for a comparison with published values.
    pub(super) fn subject(&self) -> Option<(&str, &str)> {
        match self {
            Self::Structure { structure, metric } => Some((structure, metric)),
            _ => None,
        }
    }

    /// The unit in brackets at the end of a metric, or the end of a column's name.
    pub(super) fn axis_title(&self) -> String {
        match self {
            Self::Structure { structure, metric } => clinical_words::quantity(structure, metric),
            Self::Lesion { metric } => clinical_words::quantity("lesion", metric),
            Self::Column { name } => clinical_words::column(name),
            Self::Level { name, level } => {
                format!(
                    "{} is {}",
                    clinical_words::column(name),
                    clinical_words::level(name, level)
                )
            }
        }
    }
}

/// The structures and regions that have a value of a metric in most plans, as they are asked for.
fn with_metric(cohort: &Cohort<'_>, metric: &str) -> Vec<String> {
    let mut plans: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for m in cohort.metrics.iter().filter(|m| m.metric == metric && m.usable().is_ok()) {
        plans.entry(m.structure).or_default().insert(m.plan_id);
    }
    let mut list: Vec<(&str, usize)> = plans.into_iter().map(|(s, p)| (s, p.len())).collect();
    list.sort_by_key(|(structure, n)| (std::cmp::Reverse(*n), *structure));
    let shown = list.iter().take(STRUCTURES_SHOWN);
    shown.map(|(structure, n)| format!("{structure}:{metric} ({n})")).collect()
}

/// So many structures are named.
const STRUCTURES_SHOWN: usize = 8;

/// A volume of a dose at a lesion is what lies inside the target; what lies around it has names of
/// its own.
fn own_volume(cohort: &Cohort<'_>, metric: &str) -> Option<String> {
    let stem = metric.strip_suffix("[cc]").filter(|s| s.starts_with('V') && s.ends_with("Gy"))?;
    let local: Vec<String> =
        ["Nearest", "Island"].iter().map(|kind| format!("{stem}{kind}[cc]")).collect();
    let measured = cohort.metrics.iter().any(|m| local.iter().any(|l| l == m.metric));
    let where_to = if measured {
        "what the dose around it covers is".to_owned()
    } else {
        "what the dose around it covers is not in this study; measured with the full list, or with \
         --metrics, it is"
            .to_owned()
    };
    Some(format!(
        "{metric} of a lesion is its own: the volume inside the target; {where_to} {}",
        local.join(" or ")
    ))
}

/// Plans in which a name means several structures; they have no value.
fn several(cohort: &Cohort<'_>, structure: &str, metric: &str) -> Option<String> {
    let mut by_plan: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for m in cohort.metrics.iter().filter(|m| m.structure == structure && m.metric == metric) {
        by_plan.entry(m.plan_id).or_default().push(m.structure_id);
    }
    let many: Vec<(&str, Vec<&str>)> = by_plan.into_iter().filter(|(_, s)| s.len() > 1).collect();
    let shown = many.iter().take(PLANS_SHOWN).map(|(_, all)| all.join(", "));
    let shown: Vec<String> = shown.collect();
    let more = match many.len().saturating_sub(PLANS_SHOWN) {
        0 => String::new(),
        n => format!("; and {n} more plans"),
    };
    (!many.is_empty()).then(|| {
        format!(
            "{structure}:{metric} means several structures in {} plans, which have no value of it: \
             {}{more}; with --grain lesion, {metric} is that of each lesion",
            many.len(),
            shown.join("; ")
        )
    })
}

/// So many plans are named.
const PLANS_SHOWN: usize = 5;

/// So many levels of a column are named.
const LEVELS_SHOWN: usize = 8;

fn of_lesion(cohort: &Cohort<'_>, grain: Grain, name: &str) -> bool {
    grain == Grain::Lesion && cohort.lesion_columns.contains_key(name)
}

/// The one value of a metric that is wanted; several structures of the name are ambiguous.
fn one(
    cohort: &Cohort<'_>,
    metric: &str,
    wanted: impl Fn(&MetricRow<'_>) -> bool,
) -> Result<f64, Status> {
    let mut found = cohort.metrics.iter().filter(|m| m.metric == metric && wanted(m));
    match (found.next(), found.next()) {
        (None, _) => Err(Status::Absent),
        (Some(_), Some(_)) => Err(Status::Ambiguous),
        (Some(row), None) => row.usable(),
    }
}
