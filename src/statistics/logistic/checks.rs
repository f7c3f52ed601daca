//! What a model cannot be asked: whether predictors separate those with an event from those without, so
//! that the plain likelihood has no maximum, and whether predictors say nearly the same.

use super::super::{Undefined, real};
use super::Data;
use super::fit::{MOST, Matrix, inverse};

/// Whether predictors separate the outcomes, ties at the border allowed (quasi-complete).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Separation {
    /// They overlap: the plain likelihood has a maximum.
    No,
    /// Each of these alone does: 0 is the predictor, then the adjusters.
    Alone(Vec<usize>),
    /// Only several together do.
    Together,
    /// The search did not end.
    NotFound,
}

/// Looks for separation.
///
/// # Errors
/// As [`super::Model::fit`], but for predictors that say the same.
pub fn separation(data: &Data<'_>) -> Result<Separation, Undefined> {
    data.check()?;
    let alone: Vec<usize> =
        data.columns().enumerate().filter(|(_, c)| parts(c, data.event)).map(|(k, _)| k).collect();
    if !alone.is_empty() {
        return Ok(Separation::Alone(alone));
    }
    if data.adjusters.is_empty() {
        return Ok(Separation::No);
    }
    Ok(match together(data) {
        Some(true) => Separation::Together,
        Some(false) => Separation::No,
        None => Separation::NotFound,
    })
}

/// Whether one end of a column's values belongs to the events, the other to the rest.
fn parts(column: &[f64], event: &[bool]) -> bool {
    let ends = |wanted: bool| {
        let own = column.iter().zip(event).filter(|(_, e)| **e == wanted).map(|(v, _)| *v);
        own.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
    };
    let (with, without) = (ends(true), ends(false));
    with.0 >= without.1 || without.0 >= with.1
}

/// Whether some direction has every event on one side and the rest on the other, not all on the
/// border: a linear programme (Konis 2007). With s = 1 for an event and −1 else, the sum of s·x·β is
/// made as large as it gets while no s·x·β is negative and no coefficient leaves −1 to 1. Nothing but 0
/// can be had where the outcomes overlap.
fn together(data: &Data<'_>) -> Option<bool> {
    let columns: Vec<Vec<f64>> = data.columns().map(standardised).collect();
    let signs = data.event.iter().map(|e| if *e { 1.0 } else { -1.0 });
    let signed: Vec<Vec<f64>> = signs
        .enumerate()
        .map(|(i, s)| std::iter::once(s).chain(columns.iter().map(|c| s * c[i])).collect())
        .collect();
    let size = columns.len() + 1;
    let aim: Vec<f64> = (0..size).map(|k| signed.iter().map(|row| row[k]).sum()).collect();
    // A coefficient is the difference of two numbers of which none is negative.
    let both = |row: &[f64]| row.iter().copied().chain(row.iter().map(|v| -v)).collect::<Vec<_>>();
    let mut rows: Vec<(Vec<f64>, f64)> = Vec::new();
    for row in &signed {
        rows.push((both(&row.iter().map(|v| -v).collect::<Vec<_>>()), 0.0));
    }
    for k in 0..2 * size {
        let mut unit = vec![0.0; size];
        unit[k % size] = if k < size { 1.0 } else { -1.0 };
        rows.push((both(&unit), 1.0));
    }
    let largest = simplex(rows, &both(&aim))?;
    // Rounding grows with the number of rows that are added up.
    Some(largest > 1e-7 * real(data.event.len()))
}

fn standardised(column: &[f64]) -> Vec<f64> {
    let mean = column.iter().sum::<f64>() / real(column.len());
    let squares: f64 = column.iter().map(|v| (v - mean).powi(2)).sum();
    let scale = (squares / real(column.len())).sqrt();
    column.iter().map(|v| (v - mean) / scale).collect()
}

/// Pivots before the search is given up.
const PIVOTS: usize = 20_000;
/// Below it a number is rounding: columns are standardised.
const NOTHING: f64 = 1e-9;

/// The largest value of `aim`·z with rows·z ≤ ends and z ≥ 0, where no end is negative. Pivots follow
/// Bland's rule, which cannot go round in circles.
fn simplex(mut rows: Vec<(Vec<f64>, f64)>, aim: &[f64]) -> Option<f64> {
    let width = aim.len();
    let mut gain: Vec<f64> = aim.to_vec();
    let mut value = 0.0;
    // Which variable each column and each row stands for, for the order of Bland's rule.
    let mut free: Vec<usize> = (0..width).collect();
    let mut basic: Vec<usize> = (width..width + rows.len()).collect();
    for _ in 0..PIVOTS {
        let entering = (0..width).filter(|k| gain[*k] > NOTHING).min_by_key(|k| free[*k]);
        let Some(enter) = entering else { return Some(value) };
        let mut leave: Option<(usize, f64)> = None;
        for (i, (row, end)) in rows.iter().enumerate().filter(|(_, r)| r.0[enter] > NOTHING) {
            let reach = end / row[enter];
            let first = leave.is_none_or(|(at, least)| {
                reach < least - NOTHING || (reach <= least + NOTHING && basic[i] < basic[at])
            });
            if first {
                leave = Some((i, reach));
            }
        }
        let (leave, _) = leave?;
        let pivot = rows[leave].0[enter];
        let (row, end) = &mut rows[leave];
        row.iter_mut().for_each(|v| *v /= pivot);
        row[enter] = 1.0 / pivot;
        *end = (*end / pivot).max(0.0);
        let (row, end) = rows[leave].clone();
        for (_, (other, rest)) in rows.iter_mut().enumerate().filter(|(i, _)| *i != leave) {
            let factor = other[enter];
            if factor == 0.0 {
                continue;
            }
            other[enter] = 0.0;
            other.iter_mut().zip(&row).for_each(|(v, r)| *v -= factor * r);
            *rest = (*rest - factor * end).max(0.0);
        }
        let factor = gain[enter];
        gain[enter] = 0.0;
        gain.iter_mut().zip(&row).for_each(|(v, r)| *v -= factor * r);
        value += factor * end;
        std::mem::swap(&mut free[enter], &mut basic[leave]);
    }
    None
}

/// By how much the variance of each coefficient grows because the other predictors tell of its own: 1
/// where they do not; the predictor first, then the adjusters. Above 5 coefficients are hardly told
/// apart, above 10 not at all (common practice).
///
/// # Errors
/// As [`super::Model::fit`]; also when predictors say the same.
pub fn inflation(data: &Data<'_>) -> Result<Vec<f64>, Undefined> {
    data.check()?;
    let columns: Vec<Vec<f64>> = data.columns().map(standardised).collect();
    if columns.len() > MOST {
        return Err(Undefined::Constant("predictors say the same: their values"));
    }
    let mut correlations: Matrix = [[0.0; MOST]; MOST];
    for (j, a) in columns.iter().enumerate() {
        for (k, b) in columns.iter().enumerate().take(j + 1) {
            let sum: f64 = a.iter().zip(b).map(|(x, y)| x * y).sum();
            correlations[j][k] = sum / real(a.len());
        }
    }
    let same = Undefined::Constant("predictors say the same: their values");
    let (inverse, _) = inverse(&correlations, columns.len()).ok_or(same)?;
    Ok((0..columns.len()).map(|k| inverse[k][k]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(event: &[bool], predictor: &[f64], adjusters: &[Vec<f64>]) -> Separation {
        separation(&Data { event, predictor, adjusters }).unwrap()
    }

    #[test]
    fn one_predictor_separates_also_with_ties_at_the_border() {
        let event = [false, false, false, true, true];
        assert_eq!(of(&event, &[1.0, 2.0, 3.0, 4.0, 5.0], &[]), Separation::Alone(vec![0]));
        assert_eq!(of(&event, &[5.0, 4.0, 3.0, 3.0, 1.0], &[]), Separation::Alone(vec![0]));
        assert_eq!(of(&event, &[1.0, 2.0, 4.0, 3.0, 5.0], &[]), Separation::No);
        // No event where the factor is 0.
        assert_eq!(of(&event, &[0.0, 0.0, 1.0, 1.0, 1.0], &[]), Separation::Alone(vec![0]));
        let other = vec![1.0, 2.0, 2.5, 3.0, 4.0];
        assert_eq!(of(&event, &[3.0, 1.0, 2.0, 1.5, 2.5], &[other]), Separation::Alone(vec![1]));
    }

    /// Events where the sum of two predictors is large, neither of which separates.
    #[test]
    fn two_predictors_separate_together_until_one_observation_overlaps() {
        let a: Vec<f64> = (0..40).map(|i| f64::from(i * 17 % 40)).collect();
        let b: Vec<f64> = (0..40).map(|i| f64::from(i * 29 % 40)).collect();
        let mut event: Vec<bool> = a.iter().zip(&b).map(|(a, b)| a + b > 39.5).collect();
        assert_eq!(of(&event, &a, std::slice::from_ref(&b)), Separation::Together);
        let highest = (0..40).max_by(|i, j| (a[*i] + b[*i]).total_cmp(&(a[*j] + b[*j]))).unwrap();
        event[highest] = false;
        assert_eq!(of(&event, &a, &[b]), Separation::No);
    }

    /// With two predictors of correlation r both variances grow by 1 / (1 − r²).
    #[test]
    fn inflation_of_two_has_a_closed_form() {
        let a: Vec<f64> = (0..30).map(f64::from).collect();
        let b: Vec<f64> = (0..30).map(|i| f64::from(i) + 3.0 * f64::from(i % 4)).collect();
        let event: Vec<bool> = (0..30).map(|i| i % 3 == 0).collect();
        let found =
            inflation(&Data { event: &event, predictor: &a, adjusters: std::slice::from_ref(&b) });
        let (x, y) = (standardised(&a), standardised(&b));
        let r = x.iter().zip(&y).map(|(x, y)| x * y).sum::<f64>() / 30.0;
        for vif in found.unwrap() {
            assert!((vif - 1.0 / (1.0 - r * r)).abs() < 1e-9, "{vif} {r}");
        }
        let twice: Vec<f64> = a.iter().map(|v| 2.0 * v - 7.0).collect();
        let same = Data { event: &event, predictor: &a, adjusters: &[twice] };
        assert!(inflation(&same).unwrap_err().to_string().contains("say the same"));
    }
}
