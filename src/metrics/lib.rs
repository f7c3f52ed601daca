//! The registry of metrics: one [`Definition`] for each, with the name in TG-263 syntax, the unit,
//! the formula, where it comes from and when it is undefined. Tables, help and the data dictionary
//! are made from this list.
//!
//! A metric sees a [`Subject`] (a histogram, a volume, a prescription with its isodoses) and nothing
//! of the case, so that each formula can be read against its report. One file per family; to add
//! a metric, write its definition in a file and name it in [`REGISTRY`].

mod cold;
mod conformity;
mod conformity_forms;
mod dose_at_volume;
pub mod gradient;
mod homogeneity;
mod integral;
pub mod limits;
pub mod local;
mod near_extremes;
pub mod needs;
pub mod organ_models;
pub mod place;
pub mod plan_wide;
mod probability;
pub mod radiobiology;
pub mod range;
mod response;
pub mod size;
mod statistics;
mod subject;
pub mod value;
mod volume;
mod volume_at_dose;
pub mod weigh;

use serde::{Deserialize, Serialize};

use tidydose_rt::nearest::nearest;

pub use conformity::CUT;
pub use integral::INTEGRAL_DOSE;
pub use local::NEAREST_ISODOSE;
pub use needs::{InRegions, Need};
pub use place::Place;
pub use range::Range;
pub use statistics::{MAX, MEAN};
pub use subject::{Biology, PrescriptionIsodoses, Subject};
pub use value::{Outcome, Status};
pub use volume::VOLUME;
pub use volume_at_dose::{PERCENT as SHARE_AT_DOSE, VOLUME_AT_PRESCRIPTION};
pub use weigh::Scale;

/// Which structures a metric is computed for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AppliesTo {
    /// Every structure with volume.
    Structure,
    /// Targets with a prescription.
    Target,
    /// Organs that [`organ_models`] has parameters for.
    ModelledOrgan,
    /// The plan as a whole; see [`plan_wide`].
    Plan,
}

impl AppliesTo {
    /// The word used in the dictionary.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Structure => "every structure",
            Self::Target => "targets with a prescription",
            Self::ModelledOrgan => "organs with model parameters",
            Self::Plan => "all targets of a plan together",
        }
    }
}

/// Whether the formula was read in its source or is quoted from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evidence {
    /// Read on a page of the source or of a paper that states it.
    Read,
    /// From memory: check before citing.
    Memory,
    /// Common practice, without a single source.
    CommonPractice,
}

impl Evidence {
    /// The words used in the dictionary.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Memory => "from memory",
            Self::CommonPractice => "common practice",
        }
    }
}

/// What a metric is: one for each family, with a number in its name where it takes one.
#[derive(Debug)]
pub struct Definition {
    /// Name in TG-263 syntax; `{x}` stands for the number.
    pub name: &'static str,
    /// Smallest and largest value it can have.
    pub limits: [f64; 2],
    /// Unit symbol.
    pub unit: &'static str,
    /// What it is, in words.
    pub title: &'static str,
    /// Formula.
    pub formula: &'static str,
    /// Report or paper it comes from.
    pub reference: &'static str,
    /// Whether that was read.
    pub evidence: Evidence,
    /// When it does not exist.
    pub undefined: &'static str,
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
    /// Numbers that make sense, inclusive.
    pub range: [f64; 2],
    /// Computes it; the number is 0 for a metric without one.
    pub compute: fn(&Subject<'_>, f64) -> Outcome,
    /// Rule or parameter that was used for this subject, as it goes into column `method`; empty
    /// when the formula has none.
    pub rule: fn(&Subject<'_>, f64) -> String,
}

impl Definition {
    /// What most have in common: any value from 0 up, of every structure, without a number.
    const PLAIN: Self = Self {
        name: "",
        limits: [0.0, f64::INFINITY],
        unit: "1",
        title: "",
        formula: "",
        reference: "",
        evidence: Evidence::Read,
        undefined: "",
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
        range: [0.0, 0.0],
        compute: |_, _| Outcome::none(Status::NotApplicable, "no formula"),
        rule: |_, _| String::new(),
    };
}

/// Every metric there is, in the order of the tables.
pub static REGISTRY: &[&Definition] = &[
    &volume::VOLUME,
    &size::EQUIVALENT,
    &size::LONGEST_IN_PLANE,
    &size::ACROSS_IN_PLANE,
    &size::LONGEST,
    &size::ELLIPSOID,
    &size::HALF_PRODUCT,
    &size::SURFACE,
    &size::SPHERICITY,
    &size::CENTRE_X,
    &size::CENTRE_Y,
    &size::CENTRE_Z,
    &size::ISOCENTRE_DISTANCE,
    &size::CENTRE_DOSE,
    &size::ISOCENTRE_DOSE,
    &statistics::MIN,
    &statistics::MEAN,
    &statistics::MAX,
    &statistics::DEVIATION,
    &dose_at_volume::PERCENT,
    &dose_at_volume::ABSOLUTE,
    &dose_at_volume::CUBIC_MILLIMETRES,
    &dose_at_volume::PERCENT_OF_PRESCRIPTION,
    &near_extremes::NEAR_MAXIMUM,
    &near_extremes::NEAR_MINIMUM,
    &cold::DOSE_OF_COLDEST,
    &volume_at_dose::ABSOLUTE,
    &volume_at_dose::PERCENT,
    &volume_at_dose::SHARE_AT_PRESCRIPTION,
    &volume_at_dose::VOLUME_AT_PRESCRIPTION,
    &cold::COLD_VOLUME,
    &cold::COLD_SHARE,
    &integral::INTEGRAL_DOSE,
    &conformity::ISODOSE_VOLUME,
    &conformity::COVERAGE,
    &conformity::SELECTIVITY,
    &conformity::PADDICK,
    &conformity_forms::RTOG_QUALITY,
    &conformity_forms::RTOG_RATIO,
    &conformity_forms::R100,
    &conformity_forms::ICRU_62,
    &conformity_forms::KNOOS,
    &conformity_forms::WAGNER,
    &conformity_forms::LOMAX_SCHEIB,
    &conformity_forms::VANT_RIET,
    &conformity_forms::COIN,
    &conformity_forms::NAKAMURA,
    &conformity_forms::SALT_UNDERDOSAGE,
    &conformity_forms::SALT_OVERDOSAGE,
    &conformity_forms::SALT_GEOMETRIC,
    &conformity_forms::DICE,
    &conformity_forms::JACCARD,
    &gradient::HALF_ISODOSE_VOLUME,
    &gradient::PADDICK_LIPPITZ,
    &gradient::MODIFIED,
    &gradient::R50,
    &gradient::FALL_OFF,
    &gradient::EFFECTIVE,
    &gradient::WAGNER_GRADIENT,
    &gradient::WAGNER_INDEX,
    &gradient::MEAN_DISTANCE,
    &gradient::PENUMBRA_80_20,
    &local::TWO_CM,
    &local::NEAREST_ISODOSE,
    &local::NEAREST_PADDICK,
    &local::NEAREST_GRADIENT,
    &local::NEAREST,
    &local::ISLAND,
    &integral::EFFICIENCY,
    &homogeneity::RTOG,
    &homogeneity::ICRU_83,
    &homogeneity::D5_D95,
    &homogeneity::MAX_MIN,
    &homogeneity::D1_D98,
    &homogeneity::D5_D95_RX,
    &homogeneity::MAX_RX,
    &homogeneity::SIGMA,
    &homogeneity::ISODOSE_LEVEL,
    &response::RX_BED,
    &response::RX_EQD2,
    &response::RX_SINGLE,
    &response::RX_REPOPULATED,
    &response::RX_LQL,
    &response::RX_USC,
    &response::RX_LQC,
    &response::MEAN_BED,
    &response::MEAN_EQD2,
    &response::MEAN_LQL,
    &response::MEAN_USC,
    &response::MEAN_LQC,
    &response::HOTTEST_EQD2,
    &response::GEUD,
    &response::GEUD_EQD2,
    &response::CELL_KILL_EUD,
    &probability::LKB,
    &probability::LOGISTIC_NTCP,
    &probability::RELATIVE_SERIALITY,
    &probability::POISSON_TCP,
    &probability::LOGISTIC_TCP,
    &plan_wide::COUNT,
    &plan_wide::VOLUME,
    &plan_wide::MAX,
    &plan_wide::ISODOSE_LEVEL,
    &plan_wide::COVERAGE,
    &plan_wide::SELECTIVITY,
    &plan_wide::PADDICK,
    &plan_wide::PADDICK_SUM,
    &plan_wide::RTOG,
    &plan_wide::GRADIENT,
    &plan_wide::R50,
    &plan_wide::EFFICIENCY_HALF,
    &plan_wide::EFFICIENCY_TWELVE,
];

/// One metric with its number.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Metric {
    /// What it is.
    pub definition: &'static Definition,
    /// The number in its name.
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

/// The metric of that name, in TG-263 syntax.
///
/// # Errors
/// When no definition has the name or its number is out of range.
pub fn parse(name: &str) -> Result<Metric, UnknownMetric> {
    let name = name.trim();
    REGISTRY.iter().find_map(|d| d.matches(name)).ok_or_else(|| UnknownMetric {
        name: name.to_owned(),
        near: nearest(name, candidates(name).iter().map(String::as_str)),
    })
}

/// Names that somebody may have meant who typed `name`: every metric with its usual numbers, and
/// with the number that was typed where it makes sense there.
#[must_use]
pub fn candidates(name: &str) -> Vec<String> {
    let from = name.find(|c: char| c.is_ascii_digit()).unwrap_or(name.len());
    let rest = &name[from..];
    let to = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
    let typed: Option<f64> = rest[..to].parse().ok();
    let with_typed = REGISTRY.iter().filter(|d| d.takes_number()).filter_map(|&definition| {
        let [low, high] = definition.range;
        let argument = typed.filter(|x| (low..=high).contains(x))?;
        Some(Metric { definition, argument })
    });
    List::Full.metrics().into_iter().chain(with_typed).map(|m| m.to_string()).collect()
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
        with_numbers(REGISTRY.iter().filter(|d| d.basic || self == Self::Full))
    }
}

/// The list that is computed when a study names none of its own.
#[must_use]
pub fn standard() -> Vec<Metric> {
    List::Full.metrics()
}

fn with_numbers<'a>(list: impl Iterator<Item = &'a &'static Definition>) -> Vec<Metric> {
    list.flat_map(|&definition| {
        let numbers = if definition.takes_number() { definition.standard } else { &[0.0] };
        numbers.iter().map(move |&argument| Metric { definition, argument })
    })
    .collect()
}

impl Definition {
    /// Whether its name has a number in it.
    #[must_use]
    pub fn takes_number(&self) -> bool {
        self.name.contains("{x}")
    }

    fn matches(&'static self, name: &str) -> Option<Metric> {
        let Some((before, after)) = self.name.split_once("{x}") else {
            return (name == self.name).then_some(Metric { definition: self, argument: 0.0 });
        };
        let digits = name.strip_prefix(before)?.strip_suffix(after)?;
        if !digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
            return None;
        }
        let argument: f64 = digits.parse().ok()?;
        let [low, high] = self.range;
        (argument >= low && argument <= high).then_some(Metric { definition: self, argument })
    }
}

impl Metric {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_definition_is_complete_and_reads_back_its_own_name() {
        for d in REGISTRY {
            for text in [d.title, d.formula, d.reference, d.undefined] {
                assert!(!text.is_empty(), "{}", d.name);
            }
            assert_eq!(d.takes_number(), !d.standard.is_empty(), "{}", d.name);
            // Every research model says where it holds, and nothing else does.
            let is_model = d.title.contains("research model");
            assert_eq!(d.holds.is_some_and(|h| !h.words.is_empty()), is_model, "{}", d.name);
            let unit = d.name.rsplit_once('[').map(|(_, u)| u.trim_end_matches(']'));
            assert!(unit.is_none_or(|u| u == d.unit), "{}", d.name);
        }
        for m in standard() {
            assert_eq!(parse(&m.to_string()), Ok(m), "{m}");
        }
    }

    #[test]
    fn names_are_unique() {
        let mut names: Vec<String> = standard().iter().map(ToString::to_string).collect();
        names.sort();
        let n = names.len();
        names.dedup();
        assert_eq!(names.len(), n);
    }

    #[test]
    fn any_number_in_tg_263_syntax_is_taken() {
        assert_eq!(parse("D90%[Gy]").unwrap().argument, 90.0);
        assert_eq!(parse(" V15Gy[cc] ").unwrap().to_string(), "V15Gy[cc]");
        assert_eq!(parse("D0.035cc[Gy]").unwrap().to_string(), "D0.035cc[Gy]");
        assert_eq!(parse("V12.5Gy[%]").unwrap().argument, 12.5);
        for wrong in ["D101%[Gy]", "D-5%[Gy]", "V12[cc]", "D1e1%[Gy]", "", "DNaN%[Gy]", "D.%[Gy]"] {
            assert!(parse(wrong).is_err(), "{wrong}");
        }
        let text = parse("Dmax").unwrap_err().to_string();
        assert!(text.starts_with("\"Dmax\" is no metric; nearest: Max[Gy], "), "{text}");
        for (typed, meant) in
            [("D95", "D95%[Gy]"), ("V15", "V15Gy[cc]"), ("d0.07cc", "D0.07cc[Gy]")]
        {
            let text = parse(typed).unwrap_err().to_string();
            let near = text.split_once("nearest: ").unwrap().1;
            assert!(near.split(", ").take(3).any(|name| name == meant), "{text}");
        }
        for typed in ["D95", "PaddickConformty", "Meen[Gy]"] {
            let text = parse(typed).unwrap_err().to_string();
            assert!(text.len() < 400, "a short list, not the whole one: {text}");
        }
    }
}
