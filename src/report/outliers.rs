//! Cases whose dose is not what their distance from the target lets expect. Outside of a target the
//! dose falls about as a power of the distance from its middle, so the dose as share of the
//! prescription is held against the distance in radii of the target, both on a logarithmic scale, and
//! what lies far off the line of all others with as many fractions is marked. A mark asks for a look;
//! it is no verdict and moves nobody in the order.

use super::cohort::{Case, Cohort};
use tidydose_statistics::outlying::{STANDS_OUT, residuals, scores};

/// What a case shows of dose and distance, on logarithmic scales.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fall {
    /// Distance from the middle of the target in its radii.
    radii: f64,
    /// Dose as share of the prescription.
    share: f64,
}

impl Fall {
    /// Absent where one of the four is not known, and where the target reaches into the organ: there
    /// the distance says nothing.
    fn of(case: &Case<'_>, metric: &str) -> Option<Self> {
        let gap_mm = case.gap.filter(|(gap, _)| *gap > 0.0)?.0;
        let volume_mm3 = case.nearest_volume_cc.filter(|cc| *cc > 0.0)? * 1000.0;
        let prescribed = case.plan.prescription_dose_gy.filter(|gy| *gy > 0.0)?;
        let dose = case.reading(metric)?.usable().ok().filter(|gy| *gy > 0.0)?;
        let radius_mm = (0.75 * volume_mm3 / std::f64::consts::PI).cbrt();
        Some(Self { radii: (1.0 + gap_mm / radius_mm).ln(), share: (dose / prescribed).ln() })
    }
}

/// Cases with as many fractions of which the fall is known.
#[derive(Debug, Default)]
struct Falls {
    /// Places among the cases.
    places: Vec<usize>,
    radii: Vec<f64>,
    shares: Vec<f64>,
}

impl Falls {
    /// Nothing for a metric that is no dose.
    fn of(cohort: &Cohort<'_>, fractions: Option<i64>) -> Self {
        let mut falls = Self::default();
        for (place, case) in cohort.cases.iter().enumerate() {
            if !case.counted() || case.fractions() != fractions || cohort.unit != "Gy" {
                continue;
            }
            if let Some(fall) = Fall::of(case, cohort.request.metric) {
                falls.places.push(place);
                falls.radii.push(fall.radii);
                falls.shares.push(fall.share);
            }
        }
        falls
    }
}

/// The logarithm of each dose over what its distance, the size of its target and its prescription let
/// expect, for the cases with as many fractions; with their places. Nothing where they are too few.
pub(super) fn excesses(cohort: &Cohort<'_>, fractions: Option<i64>) -> Vec<(usize, f64)> {
    let falls = Falls::of(cohort, fractions);
    let found = residuals(&falls.radii, &falls.shares).unwrap_or_default();
    falls.places.into_iter().zip(found).collect()
}

/// Marks the cases that stand out among those with as many fractions.
pub(super) fn mark(cohort: &mut Cohort<'_>) {
    for group in cohort.fraction_groups() {
        let falls = Falls::of(cohort, group);
        let Ok(found) = scores(&falls.radii, &falls.shares) else { continue };
        for (place, score) in falls.places.into_iter().zip(found) {
            if let Some(case) = cohort.cases.get_mut(place).filter(|_| score.abs() >= STANDS_OUT) {
                case.stands_out = Some(score);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cohort::example_reading;

    fn case(gap_mm: f64, dose_gy: f64) -> Case<'static> {
        let mut case = Case::example("p");
        case.plan.prescription_dose_gy = Some(20.0);
        case.gap = Some((gap_mm, "GTV"));
        // A radius of 10 mm.
        case.nearest_volume_cc = Some(4.0 / 3.0 * std::f64::consts::PI);
        case.readings = vec![example_reading("D0.03cc[Gy]", dose_gy)];
        case
    }

    /// Twice the radius from the middle, half the dose: one radius away from the surface.
    #[test]
    fn dose_and_distance_are_taken_as_logarithms_of_shares() {
        let fall = Fall::of(&case(10.0, 10.0), "D0.03cc[Gy]").unwrap();
        assert!((fall.radii - 2.0_f64.ln()).abs() < 1e-12);
        assert!((fall.share + 2.0_f64.ln()).abs() < 1e-12);
        assert_eq!(Fall::of(&case(-1.0, 10.0), "D0.03cc[Gy]"), None, "inside");
        assert_eq!(Fall::of(&case(10.0, 10.0), "Max[Gy]"), None, "no such value");
        let unknown = Case { nearest_volume_cc: None, ..case(10.0, 10.0) };
        assert_eq!(Fall::of(&unknown, "D0.03cc[Gy]"), None);
    }

    /// Doses that fall with the square of the distance, a few per cent off by turns, and one of three
    /// times what its distance lets expect.
    #[test]
    fn a_high_dose_far_away_stands_out_though_others_are_higher() {
        let request = crate::Request::new("Brainstem", "D0.03cc[Gy]");
        let mut cases = Vec::new();
        for k in 0..15_i32 {
            let gap = 4.0 * f64::from(k) + 2.0;
            let usual = 20.0 / (1.0 + gap / 10.0).powi(2) * (1.0 + 0.05 * f64::from(k % 3 - 1));
            cases.push(case(gap, if k == 9 { 3.0 * usual } else { usual }));
        }
        let (limits_there, relations_there) = (true, true);
        let mut cohort =
            Cohort { request: &request, cases, unit: "Gy", limits_there, relations_there };
        mark(&mut cohort);
        let marked: Vec<usize> =
            (0..15).filter(|k| cohort.cases[*k].stands_out.is_some()).collect();
        assert_eq!(marked, [9]);
        assert!(cohort.cases[9].stands_out.is_some_and(|score| score > 0.0));
        cohort.cases.truncate(9);
        for case in &mut cohort.cases {
            case.stands_out = None;
        }
        mark(&mut cohort);
        assert!(cohort.cases.iter().all(|c| c.stands_out.is_none()), "nine are too few");
    }
}
