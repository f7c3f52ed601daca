//! One metric with its number, as it is asked for and computed.

use serde::{Deserialize, Serialize};

use super::{Definition, Outcome, Subject, UnknownMetric, parse};

/// One metric with its number.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Metric {
    /// What it is.
    pub definition: &'static Definition,
    /// The number in its name; 0 for one without.
    pub argument: f64,
}

impl PartialEq for Metric {
    fn eq(&self, other: &Self) -> bool {
        std::ptr::eq(self.definition, other.definition) && self.argument == other.argument
    }
}

impl From<Metric> for String {
    fn from(metric: Metric) -> Self {
        metric.to_string()
    }
}

impl TryFrom<String> for Metric {
    type Error = UnknownMetric;

    fn try_from(name: String) -> Result<Self, UnknownMetric> {
        parse(&name)
    }
}

impl std::fmt::Display for Metric {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.definition.name.replace("{x}", &self.argument.to_string()))
    }
}

impl Metric {
    /// A metric without a number in its name.
    #[must_use]
    pub const fn plain(definition: &'static Definition) -> Self {
        Self { definition, argument: 0.0 }
    }

    /// Computes the metric for a subject; not applicable where its model does not hold.
    #[must_use]
    pub fn compute(&self, subject: &Subject<'_>) -> Outcome {
        let outcome = self.compute_anywhere(subject);
        let beyond = || self.definition.holds.as_ref()?.refusal(subject);
        outcome.value.and_then(|_| beyond()).unwrap_or(outcome)
    }

    /// The formula alone, also where its model does not hold: for what a value would be if
    /// something else were a little different.
    #[must_use]
    pub fn compute_anywhere(&self, subject: &Subject<'_>) -> Outcome {
        (self.definition.compute)(subject, self.argument)
    }

    /// The rule or parameter that applies to a subject; empty when there is none.
    #[must_use]
    pub fn rule(&self, subject: &Subject<'_>) -> String {
        (self.definition.rule)(subject, self.argument)
    }
}
