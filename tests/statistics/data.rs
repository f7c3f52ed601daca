//! Fixed data for the comparisons: a small generator of numbers that never changes, and lists made
//! of it with what real cohorts have: ties, empty cells, separated groups, lesions in patients.

/// A linear congruential generator (Knuth's MMIX numbers): good enough to look irregular.
#[derive(Debug, Clone)]
pub struct Numbers(u64);

impl Numbers {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x2545_f491_4f6c_dd1d)
    }

    /// Uniform in 0 to 1, both ends left out.
    pub fn uniform(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Standard normal, by Box and Muller.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }

    pub fn list(&mut self, n: usize, mut one: impl FnMut(&mut Self) -> f64) -> Vec<f64> {
        (0..n).map(|_| one(self)).collect()
    }
}

/// A cohort of a logistic model.
#[derive(Debug, Clone)]
pub struct Cohort {
    pub event: Vec<bool>,
    pub predictor: Vec<f64>,
    pub adjuster: Vec<f64>,
    pub patient: Vec<usize>,
}

/// Volumes of log-normal size, events of log odds `intercept` + `slope` · volume (+ what a patient's
/// lesions have in common, of deviation `common`).
pub fn cohort(seed: u64, patients: usize, lesions: usize, truth: [f64; 3]) -> Cohort {
    let [intercept, slope, common] = truth;
    let mut numbers = Numbers::new(seed);
    let mut made = Cohort { event: vec![], predictor: vec![], adjuster: vec![], patient: vec![] };
    for patient in 0..patients {
        let shared = common * numbers.normal();
        for _ in 0..lesions {
            let volume = (1.2 + 0.6 * numbers.normal()).exp();
            let odds = intercept + slope * volume + shared;
            made.event.push(numbers.uniform() < 1.0 / (1.0 + (-odds).exp()));
            made.predictor.push(volume);
            made.adjuster.push(numbers.normal() + 0.1 * volume);
            made.patient.push(patient);
        }
    }
    made
}

/// Times in whole days with ends: 0 censored, 1 event, 2 death before it.
pub fn follow_up(seed: u64, n: usize, round_to: f64) -> (Vec<f64>, Vec<u8>) {
    let mut numbers = Numbers::new(seed);
    let one = |numbers: &mut Numbers| {
        let wait = |numbers: &mut Numbers, mean: f64| -mean * numbers.uniform().ln();
        let [event, death, end] = [900.0, 600.0, 700.0].map(|mean| wait(numbers, mean));
        let time = event.min(death).min(end);
        let how = if time == event {
            1
        } else if time == death {
            2
        } else {
            0
        };
        ((time / round_to).ceil() * round_to, how)
    };
    (0..n).map(|_| one(&mut numbers)).unzip()
}
