//! Where a research model holds. The range is part of the definition of its metric; beyond it there is
//! no value but the reason.

use super::{Outcome, Status, Subject};

/// The doses a fraction for which a model holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// In words, with where that comes from.
    pub words: &'static str,
    /// Largest dose a fraction, Gy; infinite where the model holds at any dose.
    pub up_to_gy: f64,
    /// Which dose that is.
    pub of: Fed,
}

/// Which dose a model is fed with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fed {
    /// The prescription.
    Prescription,
    /// Every dose in the structure.
    Structure,
}

/// Doses above the limit by less than this share are at it: doses are added up from stored steps.
const ROUNDING: f64 = 1e-6;

impl Range {
    /// A model of the structure's doses that holds at any dose.
    pub(super) const fn any(words: &'static str) -> Self {
        Self { words, up_to_gy: f64::INFINITY, of: Fed::Structure }
    }

    /// The outcome instead of a value where the subject lies outside; the number of fractions is
    /// known wherever there is a value.
    pub(super) fn refusal(&self, s: &Subject<'_>) -> Option<Outcome> {
        if self.up_to_gy.is_infinite() {
            return None;
        }
        let fractions = f64::from(s.biology?.fractions?);
        let limit_gy = self.up_to_gy * fractions * (1.0 + ROUNDING);
        let found = match self.of {
            Fed::Prescription => {
                let dose_gy = s.rx().ok()?.dose_gy;
                let each = dose_gy / fractions;
                (dose_gy > limit_gy).then(|| format!("the prescription is {each:.1} Gy a fraction"))
            }
            Fed::Structure => {
                let dvh = s.any_dvh().ok()?;
                let (largest, each) = (dvh.max_gy(), dvh.max_gy() / fractions);
                let above = 100.0 * dvh.volume_at_dose(limit_gy) / dvh.volume_mm3();
                (largest > limit_gy).then(|| {
                    format!("{above:.2} % of the structure receive more, up to {each:.1} Gy")
                })
            }
        };
        let reason = format!("the model holds up to {} Gy a fraction; {}", self.up_to_gy, found?);
        Some(Outcome::none(Status::NotApplicable, reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::local::Surroundings;
    use crate::organ_models::{ORGANS, OrganModel};
    use crate::{AppliesTo, Biology, Definition, Metric, PrescriptionIsodoses, REGISTRY, parse};
    use tidydose_dose::{Dvh, Samples};

    /// A structure of 4 cc, half of it at the dose and half at a share of it.
    struct Walk {
        fractions: u32,
        alpha_beta_gy: f64,
        organ: Option<&'static OrganModel>,
        days: u32,
        colder: f32,
    }

    impl Walk {
        /// The metric where each fraction gives this dose.
        fn at(&self, definition: &'static Definition, each_gy: f64) -> Outcome {
            #[allow(clippy::cast_possible_truncation)] // a test's doses
            let dose = (each_gy * f64::from(self.fractions)) as f32;
            let samples = Samples {
                doses: [dose, self.colder * dose]
                    .map(|d| (f64::from(d), 2000.0))
                    .into_iter()
                    .collect(),
                extremes_gy: [f64::from(self.colder * dose), f64::from(dose)],
                ..Samples::default()
            };
            let dvh = Dvh::of(&samples).unwrap();
            let none = || Err(String::new());
            let rx = PrescriptionIsodoses {
                dose_gy: f64::from(dose),
                whole: none(),
                half: none(),
                penumbra: None,
                around: Surroundings::default(),
            };
            let biology = Biology {
                fractions: Some(self.fractions),
                days: Some(self.days),
                alpha_beta_gy: self.alpha_beta_gy,
                organ: self.organ,
                is_target: self.organ.is_none(),
                ..Biology::default()
            };
            let argument = definition.standard.first().copied().unwrap_or(0.0);
            let subject = Subject {
                prescription: Ok(&rx),
                biology: Some(&biology),
                ..Subject::new(4.0, Ok(&dvh))
            };
            Metric { definition, argument }.compute(&subject)
        }

        /// From 0 to 100 Gy a fraction: finite, within its limits, never less for more dose; and
        /// from where it does not hold on never again a value.
        fn walk(&self, definition: &'static Definition) {
            let range = definition.holds.unwrap();
            let (mut last, mut ended) = (f64::NEG_INFINITY, false);
            for step in 0..=400 {
                let each_gy = f64::from(step) / 4.0;
                let outcome = self.at(definition, each_gy);
                let what = || format!("{} at {each_gy} Gy: {outcome:?}", definition.name);
                let Some(value) = outcome.value else {
                    assert_eq!(outcome.status, Status::NotApplicable, "{}", what());
                    assert!(!outcome.reason.is_empty(), "{}", what());
                    // Repopulation may take away more than small doses give.
                    let beyond = each_gy > range.up_to_gy;
                    assert!(beyond || definition.name.contains("Repop"), "{}", what());
                    ended |= beyond;
                    continue;
                };
                assert!(!ended && each_gy <= range.up_to_gy, "{}", what());
                let crate::PhysicalRange { least, most } = definition.physical_range;
                assert!(value.is_finite() && value >= least && value <= most, "{}", what());
                assert!(least >= 0.0, "{}", what());
                // Doses are single precision: 6e-8 of each part.
                assert!(value >= last - 1e-6 * last.abs(), "{} after {last}", what());
                last = value;
            }
            assert_eq!(ended, range.up_to_gy < 100.0, "{}", definition.name);
            assert!(last.is_finite(), "{} has no value at any dose", definition.name);
        }
    }

    #[test]
    fn every_model_is_walked_from_0_to_100_gy_a_fraction() {
        let models = REGISTRY.definitions().iter().filter(|d| d.holds.is_some());
        let mut walked = 0;
        for definition in models {
            let organs: Vec<Option<&'static OrganModel>> = match definition.applies_to {
                AppliesTo::Target => vec![None],
                AppliesTo::ModelledOrgan if definition.name.contains("Seriality") => {
                    ORGANS.iter().filter(|o| o.seriality.is_some()).map(Some).collect()
                }
                AppliesTo::ModelledOrgan => ORGANS.iter().map(Some).collect(),
                AppliesTo::Structure => {
                    std::iter::once(None).chain(ORGANS.iter().map(Some)).collect()
                }
                AppliesTo::Plan => panic!("{} is of the plan", definition.name),
            };
            for organ in organs {
                for alpha_beta_gy in [0.5, 2.0, 10.0, 25.0] {
                    for (fractions, days, colder) in [(1, 1, 1.0), (5, 9, 0.5), (30, 90, 0.0)] {
                        Walk { fractions, alpha_beta_gy, organ, days, colder }.walk(definition);
                        walked += 1;
                    }
                }
            }
        }
        assert!(walked > 500, "{walked}");
    }

    /// The fault that was found: a mean below 0. Now the reason says how much is out of range.
    #[test]
    fn a_cubic_beyond_its_range_gives_no_negative_dose() {
        let walk = Walk { fractions: 1, alpha_beta_gy: 10.0, organ: None, days: 1, colder: 0.25 };
        let cubic = parse("MeanBED_LQC[Gy]").unwrap().definition;
        assert!(walk.at(cubic, 25.0).value.is_some());
        let beyond = walk.at(cubic, 80.0);
        assert_eq!((beyond.value, beyond.status), (None, Status::NotApplicable));
        // The histogram falls in a straight line between the middles of the two halves, from 1 cc
        // at 80 Gy to 3 cc at 20 Gy: 2.8333 of 4 cc at 25 Gy.
        let words = "the model holds up to 25 Gy a fraction; 70.83 % of the structure receive more, \
                     up to 80.0 Gy";
        assert_eq!(beyond.reason, words);
        let of_rx = walk.at(parse("RxBED_LQC[Gy]").unwrap().definition, 30.0);
        assert!(of_rx.reason.ends_with("the prescription is 30.0 Gy a fraction"), "{of_rx:?}");
        let harm = walk.at(parse("TCP_Poisson").unwrap().definition, 18.5);
        assert!(harm.reason.starts_with("the model holds up to 18 Gy a fraction"), "{harm:?}");
    }

    /// The numbers that the range of the cubic rests on.
    #[test]
    fn the_range_of_the_cubic_follows_from_its_form() {
        use crate::radiobiology::Model;
        let bed = |d: f64| Model::LqCubic.bed(d, 1.0);
        // Slope at the inflection: 1 + 2·18/12 − 18²/(12·18).
        let straight = bed(18.0) + 2.5 * 7.0;
        assert!((1.0 - bed(25.0) / straight - 0.01).abs() < 2e-4);
        assert!(bed(41.2) < bed(41.23) && bed(41.25) > bed(41.3));
        assert!(bed(64.1) > 0.0 && bed(64.2) < 0.0);
    }
}
