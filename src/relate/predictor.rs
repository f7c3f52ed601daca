//! What a predictor is, and its value for a plan or a lesion.

use std::collections::BTreeSet;

use super::study::Cohort;
use super::{Grain, RelateError};
use tidydose_rt::nearest::nearest;
use tidydose_table::read::{MetricRow, Status};

/// A predictor as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Predictor {
    /// A metric of a structure of the plan.
    Structure { structure: String, metric: String },
    /// A metric of the lesion itself.
    Lesion { metric: String },
    /// A numeric column of table lesions or plans.
    Column { name: String },
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
        } else {
            Self::Lesion { metric: words.to_owned() }
        };
        predictor.there(words, cohort, grain).map(|()| predictor)
    }

    fn there(&self, wanted: &str, cohort: &Cohort<'_>, grain: Grain) -> Result<(), RelateError> {
        let fault = |reason: String, there: String| {
            Err(RelateError::Predictor { wanted: wanted.to_owned(), reason, there })
        };
        match self {
            Self::Column { .. } => Ok(()),
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
                    let columns = cohort.plan_columns.keys().chain(cohort.lesion_columns.keys());
                    let there = format!(
                        "nearest metrics: {}; nearest columns: {}",
                        nearest(metric, metrics()),
                        nearest(metric, columns.copied())
                    );
                    return fault("neither a metric nor a numeric column".to_owned(), there);
                }
                if grain == Grain::Patient {
                    let there = "write it as STRUCTURE:METRIC, or ask for lesions".to_owned();
                    return fault("a patient has no metric of a lesion".to_owned(), there);
                }
                Ok(())
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
            Self::Structure { structure, metric } => format!("{structure} {metric}"),
            Self::Lesion { metric } => format!("lesion {metric}"),
            Self::Column { name } => name.replace('_', " "),
        }
    }
}

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
