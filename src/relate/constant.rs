//! Adjusters that are the same for everybody who is analysed: they say nothing of anybody, and no model
//! has an estimate for them. Each is named and held back, and the rest is described without it.

use super::join::{Joined, join};
use super::predictor::Predictor;
use super::study::Cohort;
use super::words::shown;
use super::{RelateError, Request};
use tidydose_table::user::outcomes::Outcome;

/// The join without such adjusters, and the request as it is followed.
///
/// # Errors
/// As for [`join`].
pub(super) fn joined(
    cohort: &Cohort<'_>,
    outcomes: &[Outcome],
    request: &Request,
) -> Result<(Joined, Request), RelateError> {
    let mut followed = request.clone();
    let mut held = Vec::new();
    loop {
        let mut joined = join(cohort, outcomes, &followed)?;
        // Without an adjuster those come in of whom it is not known; among them another one may differ.
        let Some((place, value, n)) = first_constant(&joined) else {
            joined.notes.extend(held);
            return Ok((joined, followed));
        };
        let name = followed.adjust.remove(place);
        held.push(format!(
            "adjuster {name} is held back: {} for all {n} that would be analysed, so that it says \
             nothing; the model does without it",
            words(&joined.adjusters[place], value)
        ));
    }
}

/// The first adjuster with one value among all analysed: its place, the value, how many there are.
fn first_constant(joined: &Joined) -> Option<(usize, f64, usize)> {
    let known: Vec<_> = joined.subjects.iter().filter_map(|s| s.state.as_ref().ok()).collect();
    let first = known.first()?;
    let same = |(place, value): (usize, &f64)| {
        let all = known.iter().all(|k| k.adjusters.get(place) == Some(value));
        all.then_some((place, *value, known.len()))
    };
    first.adjusters.iter().enumerate().find_map(same)
}

fn words(predictor: &Predictor, value: f64) -> String {
    match predictor {
        Predictor::Level { level, .. } if value > 0.0 => format!("it is {level}"),
        Predictor::Level { level, .. } => format!("it is other than {level}"),
        _ if value.fract() == 0.0 => format!("it is {value}"),
        _ => format!("it is {}", shown(value)),
    }
}
