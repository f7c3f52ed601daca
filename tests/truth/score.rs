//! Errors and bounds of one metric over many placements.

use std::collections::BTreeMap;

use rayon::prelude::*;
use tidydose_metrics::Outcome;

/// What one placement gave for one metric.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Score {
    /// Relative error.
    pub(crate) error: f64,
    /// Whether the bounds hold the truth.
    pub(crate) held: bool,
    /// Half width of the bounds over the size of the error.
    pub(crate) width: f64,
}

pub(crate) type Scores = BTreeMap<String, Vec<Score>>;

/// Compares measured outcomes with the truth, metric by metric.
///
/// A metric without truth must have no value and the reverse.
pub(crate) fn compare(
    got: &BTreeMap<String, Outcome>,
    truth: &[(&str, Option<f64>)],
) -> Vec<(String, Score)> {
    let mut out = Vec::new();
    for (name, want) in truth {
        let o = &got[*name];
        assert_eq!(want.is_some(), o.value.is_some(), "{name}: {want:?} {o:?}");
        if let (Some(want), Some(value)) = (want, o.value) {
            let (low, high) = (o.low.unwrap(), o.high.unwrap());
            out.push((
                (*name).to_owned(),
                Score {
                    error: value / want - 1.0,
                    held: low <= want * (1.0 + 1e-12) && *want <= high * (1.0 + 1e-12),
                    width: (high - low) / 2.0 / (value - want).abs().max(1e-12),
                },
            ));
        }
    }
    out
}

/// Runs `each` for placements 0 to n in parallel and gathers the scores by metric.
pub(crate) fn gather(n: u32, each: impl Fn(u32) -> Vec<(String, Score)> + Sync + Send) -> Scores {
    let all: Vec<_> = (0..n).into_par_iter().map(each).collect();
    let mut out = Scores::new();
    for (name, score) in all.into_iter().flatten() {
        out.entry(name).or_default().push(score);
    }
    out
}

pub(crate) fn worst(scores: &[Score]) -> f64 {
    scores.iter().map(|s| s.error.abs()).fold(0.0, f64::max)
}

/// Mean, smallest and largest error, in percent.
pub(crate) fn spread(scores: &[Score]) -> [f64; 3] {
    let percent: Vec<f64> = scores.iter().map(|s| 100.0 * s.error).collect();
    let mean = percent.iter().sum::<f64>() / percent.len() as f64;
    let low = percent.iter().copied().fold(f64::INFINITY, f64::min);
    let high = percent.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    [mean, low, high]
}

pub(crate) fn held_share(scores: &[Score]) -> f64 {
    scores.iter().filter(|s| s.held).count() as f64 / scores.len() as f64
}

pub(crate) fn median_width(scores: &[Score]) -> f64 {
    let mut w: Vec<f64> = scores.iter().map(|s| s.width).collect();
    w.sort_by(f64::total_cmp);
    w[w.len() / 2]
}

/// Prints a table of scores; shown when a test fails or with `--nocapture`.
pub(crate) fn print(title: &str, scores: &Scores) {
    println!("{title}");
    for (name, s) in scores {
        let [mean, low, high] = spread(s);
        println!(
            "  {name:20} {mean:8.3} [{low:8.3}, {high:8.3}] %   held {:3.0} %   width/error {:.1}",
            100.0 * held_share(s),
            median_width(s)
        );
    }
}
