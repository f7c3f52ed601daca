//! What an uncertain registration adds to bounds, where the user states how far off it may be. The
//! structure lies somewhere within that length of where it is drawn, and the range of a value over
//! that ball and its numerical bound are taken as independent: both reaches add up in squares.

use tidydose_metrics::Outcome;

/// A signed distance to something that stays: it changes by no more than the shift.
pub(super) fn of_distance(outcome: Outcome, off_mm: Option<f64>) -> Outcome {
    let Some(off_mm) = off_mm else { return outcome };
    widened(outcome, [off_mm; 2])
}

/// A value of which the least and the most over shifts are known; nothing changes without them.
pub(super) fn of_range(outcome: Outcome, range: Option<[f64; 2]>) -> Outcome {
    let (Some([least, most]), Some(value)) = (range, outcome.value) else { return outcome };
    widened(outcome, [(value - least).max(0.0), (most - value).max(0.0)])
}

fn widened(outcome: Outcome, [below, above]: [f64; 2]) -> Outcome {
    let Some(value) = outcome.value else { return outcome };
    let low = outcome.low.map(|low| value - (value - low).hypot(below));
    let high = outcome.high.map(|high| value + (high - value).hypot(above));
    Outcome { low, high, ..outcome }
}
