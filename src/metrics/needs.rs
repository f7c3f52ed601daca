//! What metrics need besides a histogram: other metrics, isodoses, shapes, neighbours. Every caller
//! derives from here what it has to compute, so that a metric that is asked for alone has all it
//! is made of, and nothing is computed that no metric needs.

use super::{AppliesTo, Definition, Metric};

/// What a metric needs besides the volume and histogram of its structure and, for a target, the
/// prescription dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Size, shape and place of the structure.
    Form,
    /// The isodoses of the prescription and of half of it.
    Isodoses,
    /// What of these isodoses is nearest to the target.
    Nearest,
    /// The isodose of the dose in the metric's name, around the target.
    LocalIsodose,
    /// The largest dose 2 cm away from the target.
    TwoCm,
    /// The isodoses between which the penumbra of the target lies.
    Penumbra,
    /// Fractions, α/β and organ models.
    Biology,
    /// The shares of all organs of the case that receive the prescription of the target.
    Organs,
    /// What all targets of the plan add up to.
    Totals,
}

/// How the row of a region that nobody drew comes about.
#[derive(Debug, Clone, Copy)]
pub enum InRegions {
    /// It has none.
    Absent,
    /// That of an organ less those of what is taken out of it.
    Sum,
    /// The same, and for all tissue the isodose of the dose in the name.
    Isodose,
    /// Another metric with the same number over the volume of the region, times a factor.
    PerVolume {
        /// The metric that is divided.
        of: &'static Definition,
        /// The factor: 100 for percent.
        factor: f64,
    },
}

impl InRegions {
    /// Whether parts of space add up in it.
    #[must_use]
    pub const fn adds_up(self) -> bool {
        matches!(self, Self::Sum | Self::Isodose)
    }
}

impl Definition {
    /// Whether a metric needs nothing but a structure and a dose: no prescription, no number of
    /// fractions, no shape, no neighbours. Only such have a meaning in a sum of plans.
    #[must_use]
    pub fn is_of_dose_alone(&self) -> bool {
        self.applies_to == AppliesTo::Structure && self.needs.is_empty()
    }

    /// Whether it needs this.
    #[must_use]
    pub fn needs(&self, need: Need) -> bool {
        self.needs.contains(&need)
    }
}

/// Whether any of some metrics needs this.
#[must_use]
pub fn any_needs(metrics: &[Metric], need: Need) -> bool {
    metrics.iter().any(|m| m.definition.needs(need))
}

/// Doses whose isodoses around targets some metrics need, Gy, each once.
#[must_use]
pub fn local_levels(metrics: &[Metric]) -> Vec<f64> {
    let local = metrics.iter().filter(|m| m.definition.needs(Need::LocalIsodose));
    let mut out: Vec<f64> = local.map(|m| m.argument).collect();
    out.sort_by(f64::total_cmp);
    out.dedup();
    out
}

/// Some metrics and after them, each once, those that they are made of.
#[must_use]
pub fn with_parts(metrics: &[Metric]) -> Vec<Metric> {
    let mut out = metrics.to_vec();
    let mut next = 0;
    while let Some(metric) = out.get(next).copied() {
        let parts = metric.definition.made_of.iter();
        for part in parts.map(|(definition, argument)| Metric { definition, argument: *argument }) {
            if !out.contains(&part) {
                out.push(part);
            }
        }
        next += 1;
    }
    out
}

/// Some metrics with those that their rows of regions are made of.
#[must_use]
pub fn with_parts_in_regions(metrics: &[Metric]) -> Vec<Metric> {
    let mut out = metrics.to_vec();
    for metric in metrics {
        let InRegions::PerVolume { of, .. } = metric.definition.in_regions else { continue };
        let over = Metric { definition: of, argument: metric.argument };
        for part in [over, Metric { definition: &super::VOLUME, argument: 0.0 }] {
            if !out.contains(&part) {
                out.push(part);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::{List, REGISTRY, parse};
    use super::*;

    fn list(names: &[&str]) -> Vec<Metric> {
        names.iter().map(|n| parse(n).unwrap()).collect()
    }

    fn names(metrics: &[Metric]) -> Vec<String> {
        metrics.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn what_a_metric_is_made_of_comes_with_it() {
        let plan = with_parts(&list(&["PlanPaddickConformitySum"]));
        let parts = ["PlanPaddickConformitySum", "Volume[cc]", "V100%[cc]", "PIVNearest[cc]"];
        assert_eq!(names(&plan), parts);
        assert!(any_needs(&plan, Need::Nearest) && !any_needs(&plan, Need::TwoCm));
        let both = with_parts(&list(&["VantRietConformation", "BaltasCOIN"]));
        assert_eq!(names(&both), ["VantRietConformation", "BaltasCOIN"]);
        let share = with_parts_in_regions(&list(&["V12Gy[%]"]));
        assert_eq!(names(&share), ["V12Gy[%]", "V12Gy[cc]", "Volume[cc]"]);
    }

    #[test]
    fn the_full_list_has_all_that_its_metrics_are_made_of() {
        let full = List::Full.metrics();
        assert_eq!(names(&with_parts(&full)), names(&full));
        assert_eq!(names(&with_parts_in_regions(&full)), names(&full));
    }

    #[test]
    fn doses_of_local_isodoses_are_named_once() {
        let some = list(&["V12GyNearest[cc]", "V10GyIsland[cc]", "V12GyIsland[cc]", "V5Gy[cc]"]);
        assert_eq!(local_levels(&some), [10.0, 12.0]);
    }

    /// Rows of a plan come from its totals, and what parts are made of are metrics of structures.
    #[test]
    fn needs_fit_to_what_a_metric_is_for() {
        for d in REGISTRY.definitions() {
            assert_eq!(d.needs(Need::Totals), d.applies_to == AppliesTo::Plan, "{}", d.name);
            let of_target = [Need::Isodoses, Need::Nearest, Need::LocalIsodose, Need::TwoCm];
            if of_target.iter().any(|need| d.needs(*need)) {
                assert_eq!(d.applies_to, AppliesTo::Target, "{}", d.name);
            }
            for (part, _) in d.made_of {
                assert!(part.applies_to != AppliesTo::Plan && part.made_of.is_empty());
            }
        }
    }
}
