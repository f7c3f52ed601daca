//! What single patients do to the slope: the model without each of them, with all that belongs to one.

use rayon::prelude::*;

use super::super::Undefined;
use super::super::bootstrap::Clusters;
use super::Data;
use super::fit::{Fit, Rows};

/// The slope without one patient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Without {
    /// The patient, as a place among [`Clusters::members`].
    pub patient: usize,
    /// The slope then.
    pub slope: f64,
}

/// The slopes without each patient.
#[derive(Debug, Clone, PartialEq)]
pub struct Influence {
    /// The lowest of them.
    pub lowest: Without,
    /// The highest.
    pub highest: Without,
    /// The one furthest from the slope of all.
    pub largest: Without,
    /// Patients without whom there is no model: no event is left, or the predictor does not vary.
    pub needed: Vec<usize>,
}

/// Fits the model without each patient in turn.
///
/// # Errors
/// When there is no model of all, or none without any one patient.
pub fn influence(data: &Data<'_>, clusters: &Clusters) -> Result<Influence, Undefined> {
    data.check()?;
    if clusters.observations() != data.event.len() {
        return Err(Undefined::Lengths("patients and outcomes"));
    }
    let rows = Rows::new(data, None)?;
    let all = Fit::of(&rows)?;
    let slope = rows.original(all.beta)[1];
    let one = |(patient, members): (usize, &Vec<usize>)| {
        let mut weights = vec![1.0; data.event.len()];
        members.iter().for_each(|i| weights[*i] = 0.0);
        let events: f64 = weights.iter().zip(data.event).filter(|(_, e)| **e).map(|(w, _)| w).sum();
        let left: f64 = weights.iter().sum();
        // Firth's likelihood has a maximum also where all that is left says the same.
        if events <= 0.0 || events >= left {
            return Err(patient);
        }
        let fit = Rows::new(data, Some(&weights))
            .and_then(|rows| Ok((Fit::from(&rows, all.beta, &[])?, rows)));
        let (fit, rows) = fit.map_err(|_| patient)?;
        Ok(Without { patient, slope: rows.original(fit.beta)[1] })
    };
    let found: Vec<Result<Without, usize>> =
        clusters.members().par_iter().enumerate().map(one).collect();
    let needed = found.iter().filter_map(|f| f.err()).collect();
    let found: Vec<Without> = found.into_iter().filter_map(Result::ok).collect();
    let most =
        |of: &dyn Fn(&Without) -> f64| found.iter().copied().max_by(|a, b| of(a).total_cmp(&of(b)));
    let none = Undefined::NoConvergence("the model without any one patient");
    let lowest = most(&|w| -w.slope).ok_or_else(|| none.clone())?;
    let highest = most(&|w| w.slope).ok_or_else(|| none.clone())?;
    let largest = most(&|w| (w.slope - slope).abs()).ok_or(none)?;
    Ok(Influence { lowest, highest, largest, needed })
}

#[cfg(test)]
mod tests {
    use super::super::Model;
    use super::*;

    fn fit(event: &[bool], predictor: &[f64]) -> f64 {
        Model::fit(&Data { event, predictor, adjusters: &[] }, 0.95).unwrap().slope.estimate
    }

    /// The slope without a patient is that of the data without its rows, fitted afresh.
    #[test]
    fn one_patient_far_from_all_others_is_found() {
        let x: Vec<f64> = (0..30).map(|i| f64::from(i % 7)).chain([100.0, 90.0]).collect();
        let event: Vec<bool> = (0..30).map(|i| i % 3 == 0).chain([true, true]).collect();
        let patients: Vec<usize> = (0..30).map(|i| i / 2).chain([15, 15]).collect();
        let clusters = Clusters::new(&patients);
        let data = Data { event: &event, predictor: &x, adjusters: &[] };
        let found = influence(&data, &clusters).unwrap();
        assert_eq!((found.largest.patient, found.needed.len()), (15, 0));
        assert!((found.largest.slope - fit(&event[..30], &x[..30])).abs() < 1e-7);
        assert!(found.lowest.slope < found.highest.slope);
        let all = fit(&event, &x);
        assert!((found.largest.slope - all).abs() >= (found.lowest.slope - all).abs());
    }

    #[test]
    fn the_only_event_is_needed() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let event: Vec<bool> = (0..12).map(|i| i == 9).collect();
        let data = Data { event: &event, predictor: &x, adjusters: &[] };
        assert_eq!(influence(&data, &Clusters::single(12)).unwrap().needed, [9]);
    }
}
