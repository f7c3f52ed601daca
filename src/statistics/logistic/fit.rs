//! Maximises Firth's penalised likelihood ℓ(β) + ½ log |I(β)| by scoring with halved steps, and by
//! Newton's steps where scoring is slow. Predictors are brought to mean 0 and deviation 1 before, which
//! moves the likelihood by a constant only.

use super::super::special::root;
use super::super::{Undefined, real};
use super::{Data, probability};

/// Most coefficients: intercept, predictor, six adjusters, and two that bend the predictor's line.
pub(super) const MOST: usize = 10;
pub(super) type Vector = [f64; MOST];
pub(super) type Matrix = [[f64; MOST]; MOST];

/// Steps of an iteration, and halvings of a step, before it is given up.
const ROUNDS: usize = 200;
const HALVINGS: usize = 30;
/// From this round on steps are Newton's. Scoring takes the curvature of the likelihood without that of
/// the penalty: of few patients, or with one far from all others, the penalty bends as much as the
/// likelihood, and scoring needs hundreds of rounds.
const SCORING: usize = 15;
/// Reach of the differences of the score that its curvature is taken from, in standardised units.
const REACH: f64 = 1e-5;
/// No coefficient moves further in one step, in units of log odds for one deviation.
const LONGEST: f64 = 5.0;
/// The iteration ends when no coefficient moves further,
const SMALL: f64 = 1e-10;
/// or when no step gains anything and none could gain more than this in log likelihood.
const ROUNDING: f64 = 1e-10;

/// Observations with standardised predictors.
#[derive(Debug, Clone)]
pub(super) struct Rows {
    x: Vec<Vector>,
    event: Vec<f64>,
    weight: Vec<f64>,
    centre: Vector,
    scale: Vector,
    /// Number of coefficients.
    pub(super) size: usize,
}

impl Rows {
    /// The rows of `data`, each counted as often as its weight says.
    pub(super) fn new(data: &Data<'_>, weights: Option<&[f64]>) -> Result<Self, Undefined> {
        let n = data.event.len();
        let columns: Vec<&[f64]> = data.columns().collect();
        if columns.len() >= MOST {
            let accepted = "at most nine";
            let found = real(columns.len());
            return Err(Undefined::Outside { what: "number of predictors", found, accepted });
        }
        let (mut centre, mut scale) = ([0.0; MOST], [1.0; MOST]);
        for (k, column) in columns.iter().enumerate() {
            let mean = column.iter().sum::<f64>() / real(n);
            let squares: f64 = column.iter().map(|v| (v - mean).powi(2)).sum();
            centre[k + 1] = mean;
            scale[k + 1] = (squares / real(n)).sqrt();
        }
        if scale.iter().any(|s| *s <= 0.0 || !s.is_finite()) {
            return Err(Undefined::Constant("values of a predictor"));
        }
        let row = |i: usize| {
            let mut x = [0.0; MOST];
            x[0] = 1.0;
            for (k, column) in columns.iter().enumerate() {
                x[k + 1] = (column[i] - centre[k + 1]) / scale[k + 1];
            }
            x
        };
        Ok(Self {
            x: (0..n).map(row).collect(),
            event: data.event.iter().map(|e| f64::from(u8::from(*e))).collect(),
            weight: weights.map_or_else(|| vec![1.0; n], <[f64]>::to_vec),
            centre,
            scale,
            size: columns.len() + 1,
        })
    }

    /// Coefficients in the units of the predictors.
    pub(super) fn original(&self, beta: Vector) -> Vector {
        let mut out = beta;
        for k in 1..self.size {
            out[k] /= self.scale[k];
            out[0] -= out[k] * self.centre[k];
        }
        out
    }

    /// One standardised unit of a coefficient in the units of its predictor.
    pub(super) fn unit(&self, which: usize) -> f64 {
        1.0 / self.scale[which]
    }

    /// Standard error of the intercept in the units of the predictors.
    pub(super) fn intercept_error(&self, fit: &Fit) -> f64 {
        let part = |k: usize| if k == 0 { 1.0 } else { -self.centre[k] / self.scale[k] };
        let sum = |k: usize| -> f64 {
            (0..self.size).map(|j| part(k) * part(j) * fit.covariance[k][j]).sum()
        };
        (0..self.size).map(sum).sum::<f64>().sqrt()
    }

    pub(super) fn odds(&self, beta: Vector) -> impl Iterator<Item = f64> {
        let size = self.size;
        let sum = move |x: &Vector| (0..size).map(|k| x[k] * beta[k]).sum();
        self.x.iter().map(sum)
    }

    /// What the FLIC correction adds to the intercept: then the risks sum up to the events.
    pub(super) fn correction(&self, beta: Vector) -> Result<f64, Undefined> {
        let odds: Vec<f64> = self.odds(beta).collect();
        let events: f64 = self.weight.iter().zip(&self.event).map(|(w, e)| w * e).sum();
        let all: f64 = self.weight.iter().sum();
        if events <= 0.0 {
            return Ok(f64::NEG_INFINITY);
        }
        if events >= all {
            return Ok(f64::INFINITY);
        }
        let excess = |shift: f64| {
            let risks = odds.iter().zip(&self.weight).map(|(o, w)| w * probability(o + shift));
            risks.sum::<f64>() - events
        };
        let largest = odds.iter().fold(0.0_f64, |a, o| a.max(o.abs()));
        let reach = largest + (all / events.min(all - events)).ln() + 1.0;
        root(excess, -reach, reach)
    }

    /// How fast the score of the penalised likelihood falls, by central differences; the lower half.
    fn curvature(&self, beta: Vector) -> Option<Matrix> {
        let mut slopes: Matrix = [[0.0; MOST]; MOST];
        for (k, slope) in slopes.iter_mut().enumerate().take(self.size) {
            let (mut up, mut down) = (beta, beta);
            up[k] += REACH;
            down[k] -= REACH;
            let (up, down) = (self.at(up)?.score, self.at(down)?.score);
            for j in 0..self.size {
                slope[j] = (down[j] - up[j]) / (2.0 * REACH);
            }
        }
        let mut out: Matrix = [[0.0; MOST]; MOST];
        for j in 0..self.size {
            for k in 0..=j {
                out[j][k] = 0.5 * (slopes[j][k] + slopes[k][j]);
            }
        }
        Some(out)
    }

    /// Likelihood, score and inverse information at a point; absent where the information has no
    /// inverse.
    fn at(&self, beta: Vector) -> Option<Point> {
        let p: Vec<f64> = self.odds(beta).map(probability).collect();
        let mut information: Matrix = [[0.0; MOST]; MOST];
        let mut log_likelihood = 0.0;
        for (i, x) in self.x.iter().enumerate() {
            let share = self.weight[i] * p[i] * (1.0 - p[i]);
            for j in 0..self.size {
                for k in 0..=j {
                    information[j][k] += share * x[j] * x[k];
                }
            }
        }
        for (i, odds) in self.odds(beta).enumerate() {
            // log p and log (1 − p) without loss for large odds.
            let signed = if self.event[i] > 0.0 { odds } else { -odds };
            log_likelihood -=
                self.weight[i] * (signed.min(0.0).abs() + (-signed.abs()).exp().ln_1p());
        }
        let (inverse, log_determinant) = inverse(&information, self.size)?;
        let mut score = [0.0; MOST];
        for (i, x) in self.x.iter().enumerate() {
            let share = self.weight[i] * p[i] * (1.0 - p[i]);
            let leverage = share * form(&inverse, x, self.size);
            let pull = self.weight[i] * (self.event[i] - p[i]) + leverage * (0.5 - p[i]);
            for (s, x) in score.iter_mut().zip(x).take(self.size) {
                *s += pull * x;
            }
        }
        Some(Point {
            log_likelihood: log_likelihood + 0.5 * log_determinant,
            score,
            information,
            inverse,
        })
    }
}

struct Point {
    log_likelihood: f64,
    score: Vector,
    information: Matrix,
    inverse: Matrix,
}

/// Where the penalised likelihood is largest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    pub(super) beta: Vector,
    pub(super) log_likelihood: f64,
    /// Inverse of the information.
    pub(super) covariance: Matrix,
}

impl Fit {
    /// Over all coefficients.
    pub(super) fn of(rows: &Rows) -> Result<Self, Undefined> {
        Self::from(rows, [0.0; MOST], &[])
    }

    /// Over all coefficients but those `held`, which keep their values in `start`.
    pub(super) fn from(rows: &Rows, start: Vector, held: &[usize]) -> Result<Self, Undefined> {
        let mut beta = start;
        let mut here = rows.at(beta).ok_or(SAME)?;
        for round in 0..ROUNDS {
            let newton = if round < SCORING { None } else { rows.curvature(beta) };
            let newton = newton.and_then(|c| step(&c, &here.score, rows.size, held));
            let scoring = || step(&here.information, &here.score, rows.size, held);
            let step = newton.or_else(scoring).ok_or(SAME)?;
            let largest = step.iter().fold(0.0_f64, |a, s| a.max(s.abs()));
            let mut share = if largest > LONGEST { LONGEST / largest } else { 1.0 };
            let slack = 1e-13 * (1.0 + here.log_likelihood.abs());
            let mut moved = None;
            for _ in 0..HALVINGS {
                let mut next = beta;
                next.iter_mut().zip(step).for_each(|(b, s)| *b += share * s);
                match rows.at(next) {
                    Some(p) if p.log_likelihood >= here.log_likelihood - slack => {
                        moved = Some((next, p));
                        break;
                    }
                    _ => share *= 0.5,
                }
            }
            // What the step can still gain; below it only rounding decides.
            let gain: f64 = step.iter().zip(here.score).map(|(s, u)| s * u).sum();
            let stuck = moved.is_none();
            if let Some((next, point)) = moved {
                (beta, here) = (next, point);
            }
            if largest * share < SMALL || (stuck && gain < ROUNDING) {
                let (log_likelihood, covariance) = (here.log_likelihood, here.inverse);
                return Ok(Self { beta, log_likelihood, covariance });
            }
            if stuck {
                break;
            }
        }
        Err(Undefined::NoConvergence("the penalised likelihood"))
    }
}

const SAME: Undefined = Undefined::Constant("predictors say the same: their values");

/// The step of the coefficients that are free, by a curvature of which the lower half is given;
/// absent where it is not positive.
fn step(curvature: &Matrix, score: &Vector, size: usize, held: &[usize]) -> Option<Vector> {
    let free: Vec<usize> = (0..size).filter(|k| !held.contains(k)).collect();
    let mut part: Matrix = [[0.0; MOST]; MOST];
    for (j, row) in free.iter().enumerate() {
        for (k, column) in free.iter().enumerate().take(j + 1) {
            part[j][k] = curvature[*row.max(column)][*row.min(column)];
        }
    }
    let (inverse, _) = inverse(&part, free.len())?;
    let mut step = [0.0; MOST];
    for (j, row) in free.iter().enumerate() {
        step[*row] = free.iter().enumerate().map(|(k, c)| inverse[j][k] * score[*c]).sum();
    }
    Some(step)
}

fn form(matrix: &Matrix, x: &Vector, size: usize) -> f64 {
    let mut sum = 0.0;
    for j in 0..size {
        for k in 0..size {
            sum += matrix[j][k] * x[j] * x[k];
        }
    }
    sum
}

/// Inverse and log determinant of a symmetric matrix of which the lower half is given, by Cholesky's
/// factors; absent where it is not positive.
pub(super) fn inverse(matrix: &Matrix, size: usize) -> Option<(Matrix, f64)> {
    let mut lower: Matrix = [[0.0; MOST]; MOST];
    let mut log_determinant = 0.0;
    for j in 0..size {
        for k in 0..=j {
            let known: f64 = (0..k).map(|m| lower[j][m] * lower[k][m]).sum();
            let rest = matrix[j][k] - known;
            if j == k {
                // A pivot that is lost in rounding belongs to predictors that say the same.
                if rest.is_nan() || rest <= 1e-13 * matrix[j][j].abs() || rest < 1e-290 {
                    return None;
                }
                lower[j][j] = rest.sqrt();
                log_determinant += rest.ln();
            } else {
                lower[j][k] = rest / lower[k][k];
            }
        }
    }
    let mut turned: Matrix = [[0.0; MOST]; MOST];
    for j in 0..size {
        let column = |k: usize| (k..j).map(|m| lower[j][m] * turned[m][k]).sum::<f64>();
        let row: Vector =
            std::array::from_fn(|k| if k < j { -column(k) / lower[j][j] } else { 0.0 });
        turned[j] = row;
        turned[j][j] = 1.0 / lower[j][j];
    }
    let mut inverse: Matrix = [[0.0; MOST]; MOST];
    for j in 0..size {
        for k in 0..size {
            inverse[j][k] = (j.max(k)..size).map(|m| turned[m][j] * turned[m][k]).sum();
        }
    }
    Some((inverse, log_determinant))
}
