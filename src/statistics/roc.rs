//! How well a score tells observations with an event from those without: the area under the curve of
//! sensitivity against specificity, and the cut where Youden's J is largest. Descriptive: a cut that
//! is sought in the data looks better there than elsewhere, and by how much is estimated beside it.

use rayon::prelude::*;

use super::bootstrap::{Clusters, DRAWS, percentile_interval};
use super::logistic::Data;
use super::{Interval, Undefined, finite, real};

/// One cut: a score at or above it counts as positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// The score.
    pub score: f64,
    /// Share of the positive among those with event.
    pub sensitivity: f64,
    /// Share of the negative among those without.
    pub specificity: f64,
}

impl Cut {
    /// Sensitivity + specificity − 1.
    #[must_use]
    pub fn youden(&self) -> f64 {
        self.sensitivity + self.specificity - 1.0
    }
}

/// All cuts of a score.
#[derive(Debug, Clone, PartialEq)]
pub struct Roc {
    /// By falling score; the first is above all, none is positive there.
    pub cuts: Vec<Cut>,
    /// The share of pairs in which the one with event has the higher score, ties by half.
    pub area: f64,
}

/// Every cut of a score, each observation counted with its weight.
///
/// # Errors
/// When lists differ in length, a score is not finite, or all have the same outcome.
pub fn roc(score: &[f64], event: &[bool], weight: Option<&[f64]>) -> Result<Roc, Undefined> {
    if score.len() != event.len() {
        return Err(Undefined::Lengths("scores and outcomes"));
    }
    finite(score, "scores")?;
    let weight = |i: usize| weight.map_or(1.0, |w| w[i]);
    let sum = |wanted: bool| -> f64 {
        (0..score.len()).filter(|i| event[*i] == wanted).map(weight).sum()
    };
    let (with, without) = (sum(true), sum(false));
    if with <= 0.0 || without <= 0.0 {
        return Err(Undefined::Constant("outcomes"));
    }
    let mut order: Vec<usize> = (0..score.len()).filter(|i| weight(*i) > 0.0).collect();
    order.sort_by(|a, b| score[*b].total_cmp(&score[*a]));
    let mut cuts = vec![Cut { score: f64::INFINITY, sensitivity: 0.0, specificity: 1.0 }];
    let (mut hits, mut alarms, mut area) = (0.0, 0.0, 0.0);
    for group in order.chunk_by(|a, b| score[*a] == score[*b]) {
        let (before_hits, before_alarms) = (hits, alarms);
        for i in group {
            *if event[*i] { &mut hits } else { &mut alarms } += weight(*i);
        }
        area += (alarms - before_alarms) * f64::midpoint(hits, before_hits);
        let specificity = 1.0 - alarms / without;
        cuts.push(Cut { score: score[group[0]], sensitivity: hits / with, specificity });
    }
    Ok(Roc { cuts, area: area / (with * without) })
}

impl Roc {
    /// The cut with the largest J, the highest of several.
    #[must_use]
    pub fn best(&self) -> Cut {
        let first = self.cuts[0];
        // Sums of shares differ by rounding.
        let better =
            |best: Cut, cut: &Cut| if cut.youden() > best.youden() + 1e-12 { *cut } else { best };
        self.cuts.iter().fold(first, better)
    }

    fn youden_at(&self, score: f64) -> f64 {
        self.cuts.iter().rev().find(|c| c.score >= score).map_or(0.0, Cut::youden)
    }
}

/// How well the predictor of a model discriminates, with what draws of patients say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Discrimination {
    /// All cuts of the predictor.
    pub roc: Roc,
    /// Interval of the area.
    pub area: Option<Interval>,
    /// Largest J, where it is.
    pub best: Cut,
    /// How far apart such cuts lie in the draws: their 2.5th and 97.5th percentile.
    pub cut: Option<Interval>,
    /// By how much J at a cut sought in a draw is larger there than in all data (Harrell's
    /// optimism).
    pub optimism: Option<f64>,
}

/// Describes the predictor; adjusters have no part in it.
///
/// # Errors
/// As [`roc`], and when the clusters are not those of the data.
pub fn discrimination(data: &Data<'_>, clusters: &Clusters) -> Result<Discrimination, Undefined> {
    if clusters.observations() != data.event.len() {
        return Err(Undefined::Lengths("patients and outcomes"));
    }
    let whole = roc(data.predictor, data.event, None)?;
    let one = |draw: u64| {
        let drawn = roc(data.predictor, data.event, Some(&clusters.draw(draw))).ok()?;
        let best = drawn.best();
        Some([drawn.area, best.score, best.youden() - whole.youden_at(best.score)])
    };
    let found: Vec<[f64; 3]> = (0..DRAWS as u64)
        .into_par_iter()
        .map(one)
        .collect::<Vec<_>>()
        .into_iter()
        .flatten()
        .collect();
    let enough = 10 * found.len() >= 9 * DRAWS;
    let column =
        |k: usize| found.iter().map(|f| f[k]).filter(|v| v.is_finite()).collect::<Vec<_>>();
    let interval = |k: usize| {
        enough.then(|| percentile_interval(&column(k), clusters.count(), 0.95)).flatten()
    };
    let gains = column(2);
    let optimism = enough.then(|| gains.iter().sum::<f64>() / real(gains.len()));
    Ok(Discrimination {
        area: interval(0),
        cut: interval(1),
        optimism,
        best: whole.best(),
        roc: whole,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_area_is_the_share_of_pairs_in_order() {
        let score = [1.0, 2.0, 2.0, 3.0, 4.0];
        let event = [false, false, true, true, false];
        // Pairs (with, without): 2 against 1, 2, 4: 1 + ½ + 0; 3 against 1, 2, 4: 1 + 1 + 0.
        let found = roc(&score, &event, None).unwrap();
        assert!((found.area - 3.5 / 6.0).abs() < 1e-15);
        let doubled = roc(&score, &event, Some(&[2.0; 5])).unwrap();
        assert!((doubled.area - found.area).abs() < 1e-15);
        assert_eq!(found.cuts.len(), 5);
        assert!((found.best().score - 2.0).abs() < 1e-15);
        assert!((found.best().youden() - 1.0 / 3.0).abs() < 1e-15);
    }

    /// A cut that is sought in scores without meaning looks good and is not: the optimism says so.
    #[test]
    fn a_meaningless_score_has_no_area_left_but_optimism() {
        let score: Vec<f64> = (0..120).map(|i| f64::from(i * 67 % 120)).collect();
        let event: Vec<bool> = (0..120).map(|i| i % 6 == 0).collect();
        let data = Data { event: &event, predictor: &score, adjusters: &[] };
        let found = discrimination(&data, &Clusters::single(120)).unwrap();
        assert!(found.area.unwrap().holds(0.5), "{:?}", found.area);
        let apparent = found.best.youden();
        assert!(found.optimism.unwrap() > 0.05, "{found:?}");
        assert!(found.optimism.unwrap() < apparent + 0.2);
        assert!(found.cut.unwrap().high > found.cut.unwrap().low);
    }

    #[test]
    fn one_outcome_has_no_curve() {
        assert!(roc(&[1.0, 2.0], &[true, true], None).is_err());
        assert!(roc(&[1.0], &[true, true], None).is_err());
    }
}
