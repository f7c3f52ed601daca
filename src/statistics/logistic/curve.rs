//! The curve of risk against the predictor, within the data and nowhere else, with bands from draws
//! of patients, and the values at which it reaches a risk.

use rayon::prelude::*;

use super::super::bootstrap::{Clusters, DRAWS, percentile_interval};
use super::super::{Interval, Undefined, real};
use super::fit::{Fit, MOST, Rows};
use super::{Data, Model, probability};

/// Points of a curve.
const POINTS: usize = 61;

/// The curve at one value of the predictor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// The predictor.
    pub x: f64,
    /// Risk with the FLIC correction, each adjuster at its mean.
    pub risk: f64,
    /// Pointwise 68 % interval by draws of patients.
    pub inner: Option<Interval>,
    /// Pointwise 95 % interval.
    pub outer: Option<Interval>,
}

/// Where the curve reaches a risk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// The risk.
    pub risk: f64,
    /// The predictor there; absent when the curve does not reach it within the data.
    pub value: Option<f64>,
    /// The values at which the 95 % band holds the risk. A side is infinite where the band still
    /// holds it at the end of the data.
    pub interval: Option<Interval>,
}

/// A curve with what was drawn for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// From the least to the largest value of the predictor.
    pub points: Vec<Band>,
    /// 95 % interval of the slope by draws of patients.
    pub slope: Option<Interval>,
    /// The same for each adjuster.
    pub adjustments: Vec<Option<Interval>>,
    /// Draws in which the model had a solution.
    pub draws: usize,
    /// The adjusters' means, at which the curve stands.
    pub adjuster_means: Vec<f64>,
}

/// Draws the curve of a model that was fitted to the same data.
///
/// # Errors
/// When the clusters are not those of the data.
pub fn curve(model: &Model, data: &Data<'_>, clusters: &Clusters) -> Result<Curve, Undefined> {
    if clusters.observations() != data.event.len() {
        return Err(Undefined::Lengths("patients and outcomes"));
    }
    let end = |f: fn(f64, f64) -> f64, start| data.predictor.iter().copied().fold(start, f);
    let (least, largest) = (end(f64::min, f64::INFINITY), end(f64::max, f64::NEG_INFINITY));
    let step = (largest - least) / real(POINTS - 1);
    let x: Vec<f64> = (0..POINTS).map(|i| least + step * real(i)).collect();
    let mean = |a: &Vec<f64>| a.iter().sum::<f64>() / real(a.len());
    let adjuster_means: Vec<f64> = data.adjusters.iter().map(mean).collect();
    let at = adjuster_means.as_slice();
    let drawn: Vec<Option<Drawn>> =
        (0..DRAWS as u64).into_par_iter().map(|draw| drawn(data, clusters, draw, at)).collect();
    let drawn: Vec<Drawn> = drawn.into_iter().flatten().collect();
    let enough = |values: Vec<f64>, level| {
        (10 * values.len() >= 9 * DRAWS)
            .then(|| percentile_interval(&values, clusters.count(), level))
            .flatten()
    };
    let band = |x: f64| {
        let risks: Vec<f64> = drawn.iter().map(|d| d.risk(x)).collect();
        Band {
            x,
            risk: model.risk(x, at),
            inner: enough(risks.clone(), 0.68),
            outer: enough(risks, 0.95),
        }
    };
    let points = x.into_iter().map(band).collect();
    let of = |which: usize| enough(drawn.iter().map(|d| d.beta[which]).collect(), 0.95);
    let adjustments = (2..2 + data.adjusters.len()).map(of).collect();
    Ok(Curve { points, slope: of(1), adjustments, draws: drawn.len(), adjuster_means })
}

/// Slopes of the models of so many draws of patients, without those that have no solution.
#[must_use]
pub fn draw_slopes(data: &Data<'_>, clusters: &Clusters, draws: usize) -> Vec<f64> {
    let one = |draw| Some(drawn(data, clusters, draw, &[])?.beta[1]);
    (0..draws as u64).into_par_iter().filter_map(one).collect()
}

/// A model of one draw.
struct Drawn {
    beta: [f64; MOST],
    /// Intercept of the risks, with the adjusters in it.
    intercept: f64,
}

impl Drawn {
    fn risk(&self, x: f64) -> f64 {
        probability(self.intercept + self.beta[1] * x)
    }
}

/// The model of one draw; absent where the predictor does not vary in it.
fn drawn(data: &Data<'_>, clusters: &Clusters, draw: u64, at: &[f64]) -> Option<Drawn> {
    let rows = Rows::new(data, Some(&clusters.draw(draw))).ok()?;
    let fit = Fit::of(&rows).ok()?;
    let beta = rows.original(fit.beta);
    let shift = rows.correction(fit.beta).ok()?;
    let more: f64 = beta[2..].iter().zip(at).map(|(b, a)| b * a).sum();
    Some(Drawn { beta, intercept: beta[0] + shift + more })
}

impl Curve {
    /// Where the curve reaches a risk, on the straight line between its points.
    #[must_use]
    pub fn reaches(&self, risk: f64) -> Reached {
        let value = crossing(&self.points, risk, |p| Some(p.risk));
        let inside = |p: &&Band| p.outer.is_some_and(|i| i.holds(risk));
        let first = self.points.iter().find(inside);
        let last = self.points.iter().rev().find(inside);
        let ends = (self.points.first(), self.points.last());
        let open = |p: &Band, end: Option<&Band>| end.is_some_and(|e| e.x == p.x);
        let interval = value.and(first.zip(last)).map(|(a, b)| Interval {
            low: if open(a, ends.0) { f64::NEG_INFINITY } else { a.x },
            high: if open(b, ends.1) { f64::INFINITY } else { b.x },
        });
        Reached { risk, value, interval }
    }
}

fn crossing(points: &[Band], risk: f64, of: impl Fn(&Band) -> Option<f64>) -> Option<f64> {
    points.windows(2).find_map(|pair| {
        let [a, b] = pair else { return None };
        let (ya, yb) = (of(a)?, of(b)?);
        let between = (ya <= risk && risk <= yb) || (yb <= risk && risk <= ya);
        let straight = if ya == yb { 0.0 } else { (risk - ya) / (yb - ya) };
        between.then_some(a.x + straight * (b.x - a.x))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> (Vec<bool>, Vec<f64>) {
        let x: Vec<f64> = (0..80).map(|i| f64::from(i) * 0.25).collect();
        let event = (0..80).map(|i| (i * 37 % 80) * 2 < i).collect();
        (event, x)
    }

    #[test]
    fn the_curve_stays_within_the_data_and_its_band() {
        let (event, predictor) = example();
        let data = Data { event: &event, predictor: &predictor, adjusters: &[] };
        let model = Model::fit(&data, 0.95).unwrap();
        let curve = curve(&model, &data, &Clusters::single(80)).unwrap();
        assert_eq!((curve.points[0].x, curve.points[60].x), (0.0, 19.75));
        for p in &curve.points {
            let (inner, outer) = (p.inner.unwrap(), p.outer.unwrap());
            assert!(outer.low <= inner.low && inner.high <= outer.high);
            assert!(outer.holds(p.risk), "{p:?}");
        }
        assert!(curve.slope.unwrap().holds(model.slope.estimate));
        assert_eq!(curve, super::curve(&model, &data, &Clusters::single(80)).unwrap());
    }

    #[test]
    fn a_risk_beyond_the_data_has_no_dose() {
        let (event, predictor) = example();
        let data = Data { event: &event, predictor: &predictor, adjusters: &[] };
        let model = Model::fit(&data, 0.95).unwrap();
        let curve = curve(&model, &data, &Clusters::single(80)).unwrap();
        let there = curve.reaches(0.3);
        let value = there.value.unwrap();
        assert!((model.risk(value, &[]) - 0.3).abs() < 1e-3, "{there:?}");
        assert!(there.interval.unwrap().holds(value));
        assert_eq!(curve.reaches(0.99).value, None);
        assert_eq!(curve.reaches(0.99).interval, None);
    }
}
