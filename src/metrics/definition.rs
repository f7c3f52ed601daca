//! What a metric is: name, formula, source and the function that computes it, in one value.

use strum::IntoStaticStr;

use super::{InRegions, Need, Outcome, Place, Range, Scale, Status, Subject, Worse};

/// Which structures a metric is computed for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, IntoStaticStr)]
pub enum AppliesTo {
    /// Every structure with volume.
    #[strum(serialize = "every structure")]
    Structure,
    /// Targets with a prescription.
    #[strum(serialize = "targets with a prescription")]
    Target,
    /// Organs that [`super::organ_models`] has parameters for.
    #[strum(serialize = "organs with model parameters")]
    ModelledOrgan,
    /// The plan as a whole; see [`super::plan_wide`].
    #[strum(serialize = "all targets of a plan together")]
    Plan,
}

impl AppliesTo {
    /// The words used in the dictionary.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// Whether the formula was read in its source or is quoted from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, IntoStaticStr)]
#[strum(serialize_all = "lowercase")]
pub enum Provenance {
    /// Read on a page of the source or of a paper that states it.
    Read,
    /// From memory: check before citing.
    #[strum(serialize = "not yet checked against the source")]
    Memory,
    /// Common practice, without a single source.
    #[strum(serialize = "common practice")]
    CommonPractice,
}

impl Provenance {
    /// The words used in the dictionary.
    #[must_use]
    pub fn words(self) -> &'static str {
        self.into()
    }
}

/// Smallest and largest value that a metric can have whatever the plan; no limits of dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhysicalRange {
    /// Smallest value, in the unit of the metric.
    pub least: f64,
    /// Largest value.
    pub most: f64,
}

impl PhysicalRange {
    /// Any number: places and scores.
    pub const ANY: Self = Self { least: f64::NEG_INFINITY, most: f64::INFINITY };
    /// Volumes, doses, ratios.
    pub const FROM_ZERO: Self = Self { least: 0.0, most: f64::INFINITY };
    /// Ratios of the larger to the smaller.
    pub const FROM_ONE: Self = Self { least: 1.0, most: f64::INFINITY };
    /// Shares of a whole.
    pub const SHARE: Self = Self { least: 0.0, most: 1.0 };
    /// Shares in percent.
    pub const PERCENT: Self = Self { least: 0.0, most: 100.0 };
}

/// What a metric is: one for each family, with a number in its name where it takes one.
#[derive(Debug, Clone, Copy)]
pub struct Definition {
    /// Name in TG-263 syntax; `{x}` stands for the number.
    pub name: &'static str,
    /// What values it can have.
    pub physical_range: PhysicalRange,
    /// Unit symbol.
    pub unit: &'static str,
    /// What it is, in words.
    pub title: &'static str,
    /// Formula.
    pub formula: &'static str,
    /// Report or paper it comes from.
    pub reference: &'static str,
    /// Whether that was read.
    pub provenance: Provenance,
    /// When it does not exist.
    pub undefined: &'static str,
    /// The metric of which this is another name, with a source of its own; absent for most.
    pub synonym_of: Option<&'static Definition>,
    /// Of a research model, where it holds: beyond there is no value; absent for what is none.
    pub holds: Option<Range>,
    /// Which structures it is for.
    pub applies_to: AppliesTo,
    /// What it needs besides volume, histogram and prescription dose.
    pub needs: &'static [Need],
    /// The metrics, with their numbers, that it is made of: of the same structure, or for a row of
    /// the plan of each target.
    pub made_of: &'static [(&'static Definition, f64)],
    /// How its row of a region that nobody drew comes about.
    pub in_regions: InRegions,
    /// Where it lies, for its number, on a curve whose values bound each other; absent for most.
    pub place: fn(&Subject<'_>, f64) -> Option<Place>,
    /// The numbers that the lists take; empty for a metric without a number.
    pub standard: &'static [f64],
    /// Whether the basic list has it; the full one has every metric.
    pub basic: bool,
    /// What the width of its bounds is held against beside its value.
    pub scale: Scale,
    /// Whether the chance of where cells and samples happen to lie is a share of its value.
    pub scatters: bool,
    /// Smallest and largest number that makes sense in its name.
    pub arguments: [f64; 2],
    /// Which way it gets worse, for its number, in a target (true) or an organ; absent where neither
    /// way is.
    pub worse: fn(f64, bool) -> Option<Worse>,
    /// Computes it; the number is 0 for a metric without one.
    pub compute: fn(&Subject<'_>, f64) -> Outcome,
    /// Rule or parameter that was used for this subject, as it goes into column `method`; empty
    /// when the formula has none.
    pub rule: fn(&Subject<'_>, f64) -> String,
}

/// A text with a number wherever the word `x` stands for it.
fn with_number(text: &str, number: f64) -> String {
    let words = text.split(' ').map(|word| match word {
        "x" => number.to_string(),
        "Dxcc" => format!("D{number}cc"),
        other => other.to_owned(),
    });
    words.collect::<Vec<_>>().join(" ")
}

impl Definition {
    /// What most have in common: any value from 0 up, of every structure, without a number, read in
    /// its source.
    pub const PLAIN: Self = Self {
        name: "",
        physical_range: PhysicalRange::FROM_ZERO,
        unit: "1",
        title: "",
        formula: "",
        reference: "",
        provenance: Provenance::Read,
        undefined: "",
        synonym_of: None,
        holds: None,
        applies_to: AppliesTo::Structure,
        needs: &[],
        made_of: &[],
        in_regions: InRegions::Absent,
        place: |_, _| None,
        standard: &[],
        basic: false,
        scale: Scale::Value,
        scatters: true,
        arguments: [0.0, 0.0],
        worse: |_, _| None,
        compute: |_, _| Outcome::none(Status::NotApplicable, "no formula"),
        rule: |_, _| String::new(),
    };

    /// Another name of a metric: all but name, words and source is that of the other. It is in the
    /// full list only.
    pub(super) const fn synonym_of(other: &'static Self) -> Self {
        Self { synonym_of: Some(other), basic: false, ..*other }
    }

    /// Whether its name has a number in it.
    #[must_use]
    pub fn takes_number(&self) -> bool {
        self.name.contains("{x}")
    }

    /// What it is for the number in its name, when it does not exist and, of a model, where it holds:
    /// as the dictionary of a study says it.
    #[must_use]
    pub fn meaning(&self, number: f64) -> String {
        let meaning = format!("{}; no value: {}", self.title, self.undefined);
        let meaning = match &self.holds {
            Some(range) => format!("{meaning}; holds for {}", range.words),
            None => meaning,
        };
        if self.takes_number() { with_number(&meaning, number) } else { meaning }
    }

    /// Its source, and whether that was read.
    #[must_use]
    pub fn source(&self) -> String {
        format!("{} ({})", self.reference, self.provenance.words())
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_number_of_a_metric_stands_in_its_meaning() {
        let meaning = |name: &str| {
            let metric = crate::parse(name).unwrap();
            metric.definition.meaning(metric.argument)
        };
        let said = meaning("D0.03cc[Gy]");
        let wanted = "least dose in the hottest 0.03 cc of the structure; no value: the structure is \
                      smaller than 0.03 cc, or lies outside the dose grid";
        assert!(said.starts_with(wanted), "{said}");
        assert!(meaning("V12Gy[cc]").contains("at least 12 Gy"));
        assert!(meaning("Max[Gy]").starts_with("largest dose in the structure"));
    }
}
