//! Patients drawn again, with all that belongs to them. The generator starts from a fixed seed and
//! the number of the draw: nothing from outside has a part in a result, and draws can be made in any
//! order.

use rayon::prelude::*;
use std::collections::BTreeMap;

use rand_pcg::Pcg64;
use rand_pcg::rand_core::Rng;

use super::describe::quantile;
use super::special::{normal_upper, student_reach};
use super::{Interval, real};

/// How many draws an interval rests on. With 2000, the ends of a 95 % interval move by about a
/// twentieth of its width from seed to seed.
pub const DRAWS: usize = 2000;

/// The digits of π after the point: a seed with nothing up its sleeve.
const SEED: u128 = 0x243f_6a88_85a3_08d3_1319_8a2e_0370_7344;

/// Which observations belong to one patient.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clusters {
    members: Vec<Vec<usize>>,
    observations: usize,
}

impl Clusters {
    /// Observations with equal keys belong together.
    pub fn new<K: Ord>(keys: impl IntoIterator<Item = K>) -> Self {
        let mut members: BTreeMap<K, Vec<usize>> = BTreeMap::new();
        let mut observations = 0;
        for (place, key) in keys.into_iter().enumerate() {
            members.entry(key).or_default().push(place);
            observations = place + 1;
        }
        Self { members: members.into_values().collect(), observations }
    }

    /// Every observation is a patient of its own.
    #[must_use]
    pub fn single(observations: usize) -> Self {
        Self::new(0..observations)
    }

    /// Number of patients.
    #[must_use]
    pub fn count(&self) -> usize {
        self.members.len()
    }

    /// Number of observations.
    #[must_use]
    pub const fn observations(&self) -> usize {
        self.observations
    }

    /// Whether a patient has more than one observation.
    #[must_use]
    pub fn repeat(&self) -> bool {
        self.members.len() < self.observations
    }

    /// The observations of each patient.
    #[must_use]
    pub fn members(&self) -> &[Vec<usize>] {
        &self.members
    }

    /// How often each observation is drawn in draw number `draw`: as many patients as there are,
    /// with replacement.
    #[must_use]
    pub fn draw(&self, draw: u64) -> Vec<f64> {
        let mut weights = vec![0.0; self.observations];
        let mut generator = Pcg64::new(SEED, u128::from(draw));
        for _ in 0..self.members.len() {
            let place = below(&mut generator, self.members.len());
            for member in &self.members[place] {
                weights[*member] += 1.0;
            }
        }
        weights
    }
}

/// So many different whole numbers below `n`, in ascending order, each set as likely; always the
/// same ones.
#[must_use]
pub fn draw_without(n: usize, size: usize) -> Vec<usize> {
    let mut generator = Pcg64::new(SEED, u128::MAX >> 1);
    let mut all: Vec<usize> = (0..n).collect();
    let size = size.min(n);
    for place in 0..size {
        let other = place + below(&mut generator, n - place);
        all.swap(place, other);
    }
    all.truncate(size);
    all.sort_unstable();
    all
}

/// A whole number below `n`, each as likely but for 2⁻⁶⁴·n (Lemire 2019, without his last step).
#[expect(clippy::cast_possible_truncation, reason = "below n")]
fn below(generator: &mut Pcg64, n: usize) -> usize {
    ((u128::from(generator.next_u64()) * n as u128) >> 64) as usize
}

/// Intervals of several statistics, such as a share at each of some times, by draws of patients:
/// `statistics` gives `count` of them for the weights of the observations in a draw.
#[must_use]
pub fn intervals(
    clusters: &Clusters,
    count: usize,
    level: f64,
    statistics: impl Fn(&[f64]) -> Vec<f64> + Sync,
) -> Vec<Option<Interval>> {
    let one = |draw: u64| statistics(&clusters.draw(draw));
    let all: Vec<Vec<f64>> = (0..DRAWS as u64).into_par_iter().map(one).collect();
    let interval = |place: usize| {
        let column: Vec<f64> = all.iter().map(|row| row[place]).collect();
        percentile_interval(&column, clusters.count(), level)
    };
    (0..count).map(interval).collect()
}

/// The interval between the quantiles of what was found in draws of so many patients: the percentile
/// method, expanded so that few patients do not make it too narrow (Hesterberg 2015, Am Stat 69:371).
/// Values that are not numbers are left out; absent with fewer than two patients, below 100 values,
/// or where a tenth of them is missing.
#[must_use]
pub fn percentile_interval(found: &[f64], patients: usize, level: f64) -> Option<Interval> {
    let mut sorted: Vec<f64> = found.iter().copied().filter(|v| !v.is_nan()).collect();
    if patients < 2 || sorted.len() < 100 || real(sorted.len()) < 0.9 * real(found.len()) {
        return None;
    }
    sorted.sort_by(f64::total_cmp);
    let freedom = real(patients - 1);
    let reach = student_reach(level, freedom)? * (real(patients) / freedom).sqrt();
    let tail = normal_upper(reach);
    Some(Interval { low: quantile(&sorted, tail), high: quantile(&sorted, 1.0 - tail) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patient_is_drawn_with_all_lesions_and_draws_repeat() {
        let clusters = Clusters::new(["b", "a", "b", "c", "b"]);
        assert_eq!((clusters.count(), clusters.observations(), clusters.repeat()), (3, 5, true));
        for draw in 0..200 {
            let w = clusters.draw(draw);
            assert!(w[0] == w[2] && w[2] == w[4], "{w:?}");
            assert_eq!(w[0] + w[1] + w[3], 3.0);
            assert_eq!(w, clusters.draw(draw));
        }
        assert!(!Clusters::single(4).repeat());
    }

    /// Each of 50 is drawn once a draw on average; over 4000 draws the mean count has a standard
    /// deviation of √(0.98 / 4000) = 0.016, of which five are allowed.
    #[test]
    fn every_patient_is_drawn_as_often() {
        let clusters = Clusters::single(50);
        let mut sum = vec![0.0; 50];
        for draw in 0..4000 {
            sum.iter_mut().zip(clusters.draw(draw)).for_each(|(s, w)| *s += w);
        }
        assert!(sum.iter().all(|s| (s / 4000.0 - 1.0).abs() < 0.08), "{sum:?}");
    }

    #[test]
    fn a_sample_holds_each_at_most_once() {
        let drawn = draw_without(100, 20);
        let mut once = drawn.clone();
        once.dedup();
        assert_eq!((drawn.len(), once.len()), (20, 20));
        assert!(drawn.iter().all(|i| *i < 100) && drawn == draw_without(100, 20));
        assert_eq!(draw_without(3, 9), [0, 1, 2]);
    }

    #[test]
    fn an_interval_needs_enough_draws_and_is_wider_for_few_patients() {
        let found: Vec<f64> = (0..=1000).map(f64::from).collect();
        let many = percentile_interval(&found, 1_000_000, 0.9).unwrap();
        assert!((many.low - 50.0).abs() < 1e-2 && (many.high - 950.0).abs() < 1e-2, "{many:?}");
        let few = percentile_interval(&found, 10, 0.9).unwrap();
        assert!(few.low < 30.0 && few.high > 970.0, "{few:?}");
        assert_eq!(percentile_interval(&found, 1, 0.9), None);
        assert_eq!(percentile_interval(&found[..50], 99, 0.9), None);
        let hole = |v: &f64| if *v < 200.0 { f64::NAN } else { *v };
        let holes: Vec<f64> = found.iter().map(hole).collect();
        assert_eq!(percentile_interval(&holes, 99, 0.9), None);
    }
}
