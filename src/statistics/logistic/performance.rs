//! How well the risks of a model fit: discrimination and calibration in the data it was made of, and
//! what is left of them by Harrell's bootstrap. Each draw of patients has a model of its own; what that
//! model is better at in its draw than in all data is optimism.

use rayon::prelude::*;

use super::super::bootstrap::{Clusters, DRAWS};
use super::super::roc::roc;
use super::super::{Undefined, real};
use super::fit::{Fit, Rows};
use super::{Data, Model, probability};

/// Discrimination and calibration of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    /// The risk of each observation with the FLIC correction.
    pub risks: Vec<f64>,
    /// Area under the curve of these risks.
    pub area: f64,
    /// What is left of it without optimism.
    pub area_left: Option<f64>,
    /// Slope of the log odds of the events against those of the model: below 1, risks are spread too
    /// far. Absent where the model separates the events from the rest.
    pub slope: Option<f64>,
    /// What is left of it without optimism: below 1 in other data, by how much the model exaggerates.
    pub slope_left: Option<f64>,
    /// Draws in which the model had a solution.
    pub draws: usize,
}

/// What one draw says.
struct Drawn {
    /// Optimism of the area.
    area: f64,
    /// Optimism of the slope; absent where the draw is separated.
    slope: Option<f64>,
}

/// Describes a model that was fitted to the same data.
///
/// # Errors
/// When the clusters are not those of the data, or all outcomes are equal.
pub fn performance(
    model: &Model,
    data: &Data<'_>,
    clusters: &Clusters,
) -> Result<Performance, Undefined> {
    if clusters.observations() != data.event.len() {
        return Err(Undefined::Lengths("patients and outcomes"));
    }
    let rows = Rows::new(data, None)?;
    let fit = Fit::of(&rows)?;
    let odds: Vec<f64> = rows.odds(fit.beta).collect();
    let shift = model.risk_intercept - model.intercept;
    let risks = odds.iter().map(|o| probability(o + shift)).collect();
    let area = roc(&odds, data.event, None)?.area;
    let ones = vec![1.0; odds.len()];
    let slope = plain_slope(&odds, data.event, &ones);
    let found: Vec<Drawn> = (0..DRAWS as u64)
        .into_par_iter()
        .filter_map(|draw| drawn(data, &clusters.draw(draw), &ones))
        .collect();
    let enough = |n: usize| 10 * n >= 9 * DRAWS;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / real(values.len());
    let areas: Vec<f64> = found.iter().map(|d| d.area).collect();
    let slopes: Vec<f64> = found.iter().filter_map(|d| d.slope).collect();
    Ok(Performance {
        risks,
        area,
        area_left: enough(areas.len()).then(|| area - mean(&areas)),
        slope_left: slope.filter(|_| enough(slopes.len())).map(|s| s - mean(&slopes)),
        slope,
        draws: found.len(),
    })
}

fn drawn(data: &Data<'_>, weights: &[f64], ones: &[f64]) -> Option<Drawn> {
    let rows = Rows::new(data, Some(weights)).ok()?;
    let odds: Vec<f64> = rows.odds(Fit::of(&rows).ok()?.beta).collect();
    let area = |w: Option<&[f64]>| Some(roc(&odds, data.event, w).ok()?.area);
    let slope = |w: &[f64]| plain_slope(&odds, data.event, w);
    let both = slope(weights).zip(slope(ones));
    Some(Drawn { area: area(Some(weights))? - area(None)?, slope: both.map(|(a, b)| a - b) })
}

/// Steps of the plain model of two coefficients.
const ROUNDS: usize = 50;
/// Log odds of one deviation beyond which the plain likelihood has no maximum that could be told from
/// none.
const ENDLESS: f64 = 20.0;

/// The slope of a plain logistic model of the events on log odds.
fn plain_slope(odds: &[f64], event: &[bool], weight: &[f64]) -> Option<f64> {
    let all: f64 = weight.iter().sum();
    let mean = odds.iter().zip(weight).map(|(o, w)| o * w).sum::<f64>() / all;
    let squares: f64 = odds.iter().zip(weight).map(|(o, w)| w * (o - mean).powi(2)).sum();
    let scale = (squares / all).sqrt();
    if scale <= 0.0 || !scale.is_finite() {
        return None;
    }
    let (mut a, mut b) = (0.0, 0.0);
    for _ in 0..ROUNDS {
        let [mut u, mut v, mut aa, mut ab, mut bb] = [0.0; 5];
        for ((o, event), w) in odds.iter().zip(event).zip(weight) {
            let x = (o - mean) / scale;
            let p = probability(a + b * x);
            let pull = w * (f64::from(u8::from(*event)) - p);
            let share = w * p * (1.0 - p);
            (u, v) = (u + pull, v + pull * x);
            (aa, ab, bb) = (aa + share, ab + share * x, bb + share * x * x);
        }
        let determinant = aa * bb - ab * ab;
        if determinant <= 1e-12 * aa * bb {
            return None;
        }
        // No step is longer than 2: the plain likelihood has one maximum, and shorter steps reach it.
        let step = |s: f64| s.clamp(-2.0, 2.0);
        let (da, db) =
            (step((bb * u - ab * v) / determinant), step((aa * v - ab * u) / determinant));
        (a, b) = (a + da, b + db);
        if b.abs() > ENDLESS || !b.is_finite() {
            return None;
        }
        if da.abs().max(db.abs()) < 1e-10 {
            return Some(b / scale);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example(useful: bool) -> (Vec<bool>, Vec<f64>) {
        let x: Vec<f64> = (0..90).map(|i| f64::from(i * 67 % 90)).collect();
        let with = |x: f64, i: i32| useful && x > 45.0 && i % 3 != 0 || i % 9 == 0;
        ((0..90).map(|i| with(x[usize::try_from(i).unwrap()], i)).collect(), x)
    }

    #[test]
    fn a_predictor_without_meaning_has_nothing_left() {
        let (event, x) = example(false);
        let data = Data { event: &event, predictor: &x, adjusters: &[] };
        let model = Model::fit(&data, 0.95).unwrap();
        let found = performance(&model, &data, &Clusters::single(90)).unwrap();
        assert!(found.area_left.unwrap() < found.area, "{:?}", found.area_left);
        assert!(found.area_left.unwrap() < 0.56);
        assert!(found.slope_left.unwrap() < 0.5, "{:?}", found.slope_left);
    }

    #[test]
    fn risks_add_up_to_the_events_and_a_good_model_keeps_its_slope() {
        let (event, x) = example(true);
        let data = Data { event: &event, predictor: &x, adjusters: &[] };
        let model = Model::fit(&data, 0.95).unwrap();
        let found = performance(&model, &data, &Clusters::single(90)).unwrap();
        let sum: f64 = found.risks.iter().sum();
        assert!((sum - real(data.events())).abs() < 1e-8);
        assert!((found.area - roc(&x, &event, None).unwrap().area).abs() < 1e-12);
        assert!(found.slope_left.unwrap() > 0.8, "{:?}", found.slope_left);
        assert!(found.area_left.unwrap() > found.area - 0.05);
    }

    /// The plain slope of a table of four is its log odds ratio.
    #[test]
    fn the_plain_slope_has_a_closed_form_and_ends_where_groups_part() {
        let counts = [(1.0, true, 7), (1.0, false, 5), (0.0, true, 2), (0.0, false, 9)];
        let rows = counts.iter().flat_map(|(x, e, n)| vec![(*x, *e); *n]);
        let (x, event): (Vec<f64>, Vec<bool>) = rows.unzip();
        let slope = plain_slope(&x, &event, &vec![1.0; x.len()]).unwrap();
        assert!((slope - (7.0_f64 * 9.0 / (5.0 * 2.0)).ln()).abs() < 1e-9);
        let parted: Vec<bool> = x.iter().map(|x| *x > 0.5).collect();
        assert_eq!(plain_slope(&x, &parted, &vec![1.0; x.len()]), None);
    }
}
