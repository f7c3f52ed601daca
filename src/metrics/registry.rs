//! A list of definitions: from a name to its metric, and from the list to the metrics of a study.

use tidydose_rt::nearest::nearest;

use super::{Definition, Metric, REGISTRY};

/// Definitions in the order of the tables.
#[derive(Debug, Clone, Copy)]
pub struct Registry<'a>(&'a [&'static Definition]);

/// A metric name that no definition has.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{name:?} is no metric; nearest: {near}; a name is written as in AAPM TG-263, with the unit of the \
     value in brackets, and table dictionary of a measured study has all"
)]
pub struct UnknownMetric {
    name: String,
    near: String,
}

impl<'a> Registry<'a> {
    /// The registry of these definitions.
    #[must_use]
    pub const fn of(definitions: &'a [&'static Definition]) -> Self {
        Self(definitions)
    }

    /// Its definitions.
    #[must_use]
    pub const fn definitions(self) -> &'a [&'static Definition] {
        self.0
    }

    /// The metric of that name, in TG-263 syntax.
    ///
    /// # Errors
    /// When no definition has the name or its number is out of range.
    pub fn parse(self, name: &str) -> Result<Metric, UnknownMetric> {
        let name = name.trim();
        self.0.iter().find_map(|d| matching(d, name)).ok_or_else(|| UnknownMetric {
            name: name.to_owned(),
            near: nearest(name, self.candidates(name).iter().map(String::as_str)),
        })
    }

    /// Names that somebody may have meant who typed `name`: every metric with its usual numbers,
    /// and with the number that was typed where it makes sense there.
    #[must_use]
    pub fn candidates(self, name: &str) -> Vec<String> {
        let from = name.find(|c: char| c.is_ascii_digit()).unwrap_or(name.len());
        let rest = &name[from..];
        let to = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
        let mut metrics = self.metrics(List::Full);
        if let Ok(typed) = rest[..to].parse::<f64>() {
            for definition in self.0.iter().filter(|d| d.takes_number() && in_range(d, typed)) {
                metrics.push(Metric { definition, argument: typed });
            }
        }
        metrics.iter().map(ToString::to_string).collect()
    }

    /// The metrics of a list, with the usual numbers of each.
    #[must_use]
    pub fn metrics(self, list: List) -> Vec<Metric> {
        let mut metrics = Vec::new();
        for definition in self.0.iter().filter(|d| d.basic || list == List::Full) {
            let numbers = if definition.takes_number() { definition.standard } else { &[0.0] };
            for &argument in numbers {
                metrics.push(Metric { definition, argument });
            }
        }
        metrics
    }
}

fn in_range(definition: &Definition, number: f64) -> bool {
    let [low, high] = definition.arguments;
    number >= low && number <= high
}

/// The metric that `name` is of this definition, if it is one.
fn matching(definition: &'static Definition, name: &str) -> Option<Metric> {
    let Some((before, after)) = definition.name.split_once("{x}") else {
        return (name == definition.name).then_some(Metric::plain(definition));
    };
    let digits = name.strip_prefix(before)?.strip_suffix(after)?;
    // No signs, no exponents, no "inf": digits as in TG-263.
    if !digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
        return None;
    }
    let argument: f64 = digits.parse().ok()?;
    in_range(definition, argument).then_some(Metric { definition, argument })
}

/// A named list of metrics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum List {
    /// Every metric there is: what an outcome paper reports.
    Full,
    /// Volumes, dose points, coverage, and Paddick's two indices.
    Basic,
}

impl List {
    /// Every list with the word that names it in settings.
    pub const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Full, "full"), (Self::Basic, "basic")];

    /// Its metrics, in the order of the registry.
    #[must_use]
    pub fn metrics(self) -> Vec<Metric> {
        REGISTRY.metrics(self)
    }
}

/// The metric of that name in [`REGISTRY`].
///
/// # Errors
/// When no definition has the name or its number is out of range.
pub fn parse(name: &str) -> Result<Metric, UnknownMetric> {
    REGISTRY.parse(name)
}

/// Names in [`REGISTRY`] that somebody may have meant who typed `name`.
#[must_use]
pub fn candidates(name: &str) -> Vec<String> {
    REGISTRY.candidates(name)
}

/// The list that is computed when a study names none of its own.
#[must_use]
pub fn standard() -> Vec<Metric> {
    List::Full.metrics()
}
