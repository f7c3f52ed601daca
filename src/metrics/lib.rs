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
mod definition;
mod dose_at_volume;
pub mod follow_up;
pub mod gradient;
mod homogeneity;
mod integral;
pub mod limits;
pub mod local;
mod metric;
mod near_extremes;
pub mod needs;
pub mod organ_models;
pub mod place;
pub mod plan_wide;
mod probability;
pub mod radiobiology;
pub mod range;
mod registry;
mod response;
pub mod size;
mod statistics;
mod subject;
pub mod value;
mod volume;
mod volume_at_dose;
pub mod weigh;
mod worse;

pub use conformity::CUT;
pub use definition::{AppliesTo, Definition, PhysicalRange, Provenance};
pub use integral::INTEGRAL_DOSE;
pub use local::NEAREST_ISODOSE;
pub use metric::Metric;
pub use needs::{InRegions, Need};
pub use place::Place;
pub use range::Range;
pub use registry::{List, Registry, UnknownMetric, candidates, parse, standard};
pub use size::{ACROSS_IN_PLANE, LONGEST_IN_PLANE};
pub use statistics::{MAX, MEAN};
pub use subject::{Biology, PrescriptionIsodoses, Subject};
pub use value::{Outcome, Status};
pub use volume::VOLUME;
pub use volume_at_dose::{PERCENT as SHARE_AT_DOSE, VOLUME_AT_PRESCRIPTION};
pub use weigh::Scale;
pub use worse::Worse;

/// Every metric there is, in the order of the tables: to add one, write its [`Definition`] in a file
/// of this room and name it here.
pub static REGISTRY: Registry<'static> = Registry::of(&[
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
]);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_definition_is_complete_and_reads_back_its_own_name() {
        for d in REGISTRY.definitions() {
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

    /// Another name says in its title of which metric it is the number, and only such does.
    #[test]
    fn another_name_of_a_number_says_so() {
        let mut names = 0;
        for d in REGISTRY.definitions() {
            let other = d.title.split_once("(the number of ").map(|(_, rest)| rest);
            let said = other.and_then(|rest| rest.split_once(')')).map(|(name, _)| name);
            assert_eq!(d.synonym_of.map(|other| other.name), said, "{}", d.name);
            names += usize::from(said.is_some());
        }
        assert!(names >= 5, "{names}");
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
