//! A look at the contours of every case, for `survey`: what they say beside the name proposals. What
//! cannot be read is passed over here; `measure` reports it.

use std::sync::atomic::AtomicBool;

use super::one_case::{is_worth_measuring, read_structures};
use super::parallel::{guarded, map_indices};
use super::prepare::PreparedStudy;
use super::settings::Settings;
use super::terminal::Terminal;
use tidydose_analyse::{self as analyse, ShapeReview};
use tidydose_rt::identity::Token;

/// What the shapes of each case say; cases without readable contours are not there.
pub(super) fn shape_reviews(
    prepared: &PreparedStudy,
    settings: &Settings,
    terminal: &Terminal,
    stop: &AtomicBool,
) -> Vec<(Token, ShapeReview)> {
    let bar = terminal.progress("structures", prepared.cases.len());
    let results = map_indices(settings.jobs, prepared.cases.len(), stop, &|index| {
        let case = prepared.cases.get(index).filter(|c| is_worth_measuring(c))?;
        let look = || {
            let set = read_structures(case, &prepared.scan.paths, &prepared.identity)?;
            Some(analyse::review_shapes(case, &set))
        };
        let seen = guarded(look).ok().flatten();
        bar.inc(1);
        seen.map(|review| (case.id.clone(), review))
    });
    bar.finish_and_clear();
    results.into_iter().flatten().flatten().collect()
}
