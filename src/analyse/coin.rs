//! COIN of Baltas: the conformation number of a target times, for each critical organ, the share of
//! the organ that stays below the prescription. Needs the values of several structures, so that it
//! is computed when all of them have been measured. Knows no dose and no solid.

use super::GridMeasurement;
use super::known::{Gathered, Known, OrganShare};
use super::memory::Raw;
use super::missing::Missing;
use super::part::{Part, Who};
use super::region::BRAIN;
use super::sampling::Sampling;
use super::trace::{Uncertainty, UncertaintyTerm};
use super::{Measurement, row};
use tidydose_case::Role;
use tidydose_metrics::{
    Metric, Need, Outcome, PhysicalRange, SHARE_AT_DOSE, Status, Subject, needs,
};

impl GridMeasurement<'_> {
    /// The shares of a structure that count as those of a critical organ: every named organ but the
    /// brain, which holds the targets.
    pub(super) fn organ_shares(
        &self,
        who: Who<'_>,
        sampling: &Sampling<'_, '_>,
    ) -> Result<Vec<OrganShare>, Missing> {
        let Some(organ) = who.standard() else { return Ok(Vec::new()) };
        if who.role() != Role::Organ
            || organ == BRAIN
            || !needs::any_needs(&self.settings.metrics, Need::Organs)
        {
            return Ok(Vec::new());
        }
        let mut doses = self.doses_gy.clone();
        doses.sort_by(f64::total_cmp);
        doses.dedup();
        let share = |dose_gy: f64| {
            let metric = Metric { definition: &SHARE_AT_DOSE, argument: dose_gy };
            let Raw { outcome, uncertainty, .. } = sampling.share(&metric, who)?;
            Ok(OrganShare { organ: organ.to_owned(), dose_gy, share: outcome, uncertainty })
        };
        doses.into_iter().map(share).collect()
    }

    /// The rows of a target that rest on all organs: from what it is made of, and the shares of the
    /// organs at its prescription.
    pub(super) fn of_several_organs(
        &self,
        part: &Part<'_>,
        gathered: &Gathered,
    ) -> Vec<Measurement> {
        let of_organs = |m: &&Metric| m.definition.needs(Need::Organs) && part.takes(m.definition);
        let asked = self.settings.metrics.iter().filter(of_organs);
        asked.filter_map(|metric| self.coin(part, metric, gathered)).collect()
    }

    fn coin(&self, part: &Part<'_>, metric: &Metric, gathered: &Gathered) -> Option<Measurement> {
        let (definition, argument) = *metric.definition.made_of.first()?;
        let first = Metric { definition, argument };
        // A structure without a solid has its row already.
        let conformation = gathered.values.of(part.roi.header.number, &first)?;
        let dose_gy = part.prescription.map(|p| p.0);
        let of_dose = |s: &&OrganShare| Some(s.dose_gy) == dose_gy;
        let shares: Vec<_> = gathered.shares.iter().filter(of_dose).collect();
        let (outcome, uncertainty) =
            of_factors(conformation, metric.definition.physical_range, &shares);
        let alone = Subject::new(0.0, Err((Status::NotApplicable, String::new())));
        let from = self.settings.uncertain_from;
        let outcome = metric.definition.weighed(outcome, &alone, from);
        let method = self.settings.method();
        Some(row(part, metric, outcome, uncertainty, [&method, &rule(&shares)]))
    }
}

fn rule(shares: &[&OrganShare]) -> String {
    let organs: Vec<&str> = shares.iter().map(|s| s.organ.as_str()).collect();
    match organs.as_slice() {
        [] => "no critical organ is contoured, so that it is the conformation number".to_owned(),
        list => format!("critical organs: {}", list.join(", ")),
    }
}

/// The product. What a term adds to a factor it adds to the product times the other factors; terms of
/// several factors count as independent.
fn of_factors(
    conformation: &Known,
    range: PhysicalRange,
    shares: &[&OrganShare],
) -> (Outcome, Option<Uncertainty>) {
    let base = &conformation.outcome;
    let known = |o: &Outcome| o.value.filter(|_| o.status.has_both_bounds());
    let Some(first) = known(base) else { return (base.clone(), None) };
    let mut factors = vec![(first, 1.0, conformation.uncertainty)];
    for OrganShare { organ, dose_gy, share, uncertainty } in shares {
        let Some(percent) = known(share) else {
            let reason = format!("V{dose_gy}Gy[%] of {organ}: {}", share.reason);
            // A share that is known from one side only says as little as one of a part of the organ.
            let bound = share.status == Status::Bound;
            let status = if bound { Status::PartlyOutsideGrid } else { share.status };
            return (Outcome::none(status, reason), None);
        };
        factors.push(((1.0 - percent / 100.0).clamp(0.0, 1.0), 0.01, *uncertainty));
    }
    let product = |without: Option<usize>| -> f64 {
        let others = factors.iter().enumerate().filter(|(i, _)| Some(*i) != without);
        others.map(|(_, factor)| factor.0).product()
    };
    let mut all = Uncertainty::default();
    for (i, (_, unit, uncertainty)) in factors.iter().enumerate() {
        let others = product(Some(i));
        for term in UncertaintyTerm::ALL {
            all.add(term, uncertainty.map_or(0.0, |d| d.of(term)) * unit * others);
        }
    }
    let (value, reach) = (product(None), 2.0 * all.total());
    let (low, high) =
        (Some((value - reach).max(range.least)), Some((value + reach).min(range.most)));
    (Outcome { low, high, ..Outcome::of(value) }, Some(all))
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use crate::testing::{ball, case_of, set_of};
    use crate::{Settings, analyse};
    use tidydose_case::{Prescription, PrescriptionBasis};
    use tidydose_geometry::units::Gray;
    use tidydose_geometry::{Grid, Point};
    use tidydose_metrics::parse;
    use tidydose_rt::Dose;

    /// Width of the dose, mm, and where it has fallen to 12 Gy of 24 Gy.
    const SIGMA_MM: f64 = 8.0;

    fn reach_mm() -> f64 {
        SIGMA_MM * (2.0 * 2.0_f64.ln()).sqrt()
    }

    fn dose() -> Dose {
        let offsets = (0..41).map(f64::from).map(|k| 1.5 * k).collect();
        let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new([-30.0; 3], axes, [1.5; 2], offsets, [41, 41]).unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let r2: f64 = grid.position(at.into()).iter().map(|x| x * x).sum();
            (24.0 * (-r2 / (2.0 * SIGMA_MM * SIGMA_MM)).exp()) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    fn coin_with(organs: &[(&str, Point, f64)], metrics: &[&str]) -> (Outcome, f64, String) {
        let mut names = vec!["GTV", "Brain"];
        names.extend(organs.iter().map(|o| o.0));
        let mut case = case_of(&names);
        let (dose_gy, basis) = (Gray::gy(12.0), PrescriptionBasis::User);
        case.prescriptions = vec![Prescription { roi_number: 1, dose: dose_gy, basis }];
        let mut rois = vec![ball(1, [0.0; 3], 7.0), ball(2, [0.0; 3], 26.0)];
        rois.extend((3..).zip(organs).map(|(number, (_, centre, r))| ball(number, *centre, *r)));
        let metrics = metrics.iter().map(|m| parse(m).unwrap()).collect();
        let settings = Settings { metrics, ..Settings::default() };
        let all = analyse(&case, Some(&set_of(rois)), Some(dose()), &settings);
        let of =
            |name: &str| all.measurements.iter().find(|m| m.roi_number == 1 && m.metric == name);
        let conformation = of(CONFORMATION).and_then(|m| m.outcome.value).unwrap_or(f64::NAN);
        let coin = of(COIN).unwrap();
        (coin.outcome.clone(), conformation, coin.method.clone())
    }

    const COIN: &str = "BaltasCOIN";
    const CONFORMATION: &str = "VantRietConformation";
    const BOTH: [&str; 2] = [CONFORMATION, COIN];

    #[test]
    fn without_an_organ_it_is_the_conformation_number() {
        let (coin, conformation, method) = coin_with(&[], &BOTH);
        assert_eq!(coin.value, Some(conformation));
        assert!(method.contains("no critical organ"), "{method}");
        let truth = (7.0 / reach_mm()).powi(3);
        assert!((conformation / truth - 1.0).abs() < 0.01, "{conformation} for {truth}");
    }

    /// A ball around the same centre of twice the radius of the isodose has an eighth of itself in
    /// it, one far away nothing. The form of the product is from memory (Baltas et al. 1998).
    #[test]
    fn each_organ_takes_its_share() {
        let r = 2.0 * reach_mm();
        let list = [("Brainstem", [0.0; 3], r), ("OpticChiasm", [0.0, 24.0, 0.0], 3.0)];
        let (coin, conformation, method) = coin_with(&list, &BOTH);
        let spared = coin.value.unwrap() / conformation;
        // Volume of a ball on planes of 1 mm: well below 0.5 %, and an eighth of that here.
        assert!((spared - 7.0 / 8.0).abs() < 0.001, "{spared}");
        assert!(
            coin.low.unwrap() < coin.value.unwrap() && coin.high.unwrap() > coin.value.unwrap()
        );
        assert!(
            method.contains("Brainstem, OpticChiasm") && !method.contains("Brain,"),
            "{method}"
        );
    }

    #[test]
    fn an_organ_outside_the_grid_leaves_it_unknown() {
        let list = [("Brainstem", [0.0, 29.0, 0.0], 5.0)];
        let (coin, ..) = coin_with(&list, &BOTH);
        assert_eq!((coin.value, coin.status), (None, Status::PartlyOutsideGrid));
        assert!(coin.reason.starts_with("V12Gy[%] of Brainstem: "), "{}", coin.reason);
    }

    #[test]
    fn it_needs_no_other_metric_in_the_list() {
        let (both, ..) = coin_with(&[], &BOTH);
        let (alone, ..) = coin_with(&[], &[COIN]);
        assert!(alone.value.is_some());
        assert_eq!(alone, both);
    }
}
