//! How much processor time each stage of a case takes, for whoever looks where time goes. What is
//! measured has no part in any result; what runs on other threads is not seen here.

use std::cell::RefCell;
use std::time::Duration;

use cpu_time::ThreadTime;
use strum::{IntoStaticStr, VariantArray};

/// What a case is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Stage {
    /// Files to plain values.
    Read,
    /// The dose made ready to be interpolated, as it is and varied.
    Dose,
    /// Contours to solids, solids to cells.
    Geometry,
    /// The dose in the cells of each structure, once.
    Sampling,
    /// The same with something varied, and every metric from each.
    Bounds,
    /// Isodoses of all space and of each target.
    Isodoses,
    /// What is made of several structures: the brain without targets, totals of the plan.
    Regions,
    /// How structures lie to each other, and what their shapes say.
    Relations,
    /// Outlines and isodose lines for pictures.
    Pictures,
    /// Everything else, such as parts that are read and written.
    Other,
}

impl Stage {
    /// Its word, as in files.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// Processor time by stage.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct StageTimes([Duration; Stage::VARIANTS.len()]);

impl StageTimes {
    /// Every stage with its time, those without any among them.
    pub fn each(&self) -> impl Iterator<Item = (Stage, Duration)> + '_ {
        Stage::VARIANTS.iter().copied().zip(self.0)
    }

    fn add(&mut self, stage: Stage, time: Duration) {
        if let Some(sum) = self.0.get_mut(stage as usize) {
            *sum += time;
        }
    }
}

/// The stage that a thread is in.
struct Clock {
    stage: Stage,
    /// When it began; absent where the system does not tell.
    since: Option<ThreadTime>,
    times: StageTimes,
}

thread_local! {
    static CLOCK: RefCell<Clock> = RefCell::new(Clock::new());
}

impl Clock {
    fn new() -> Self {
        Self {
            stage: Stage::Other,
            since: ThreadTime::try_now().ok(),
            times: StageTimes::default(),
        }
    }

    /// Ends the stage and begins another; says which it was.
    fn go_to(&mut self, stage: Stage) -> Stage {
        let now = ThreadTime::try_now().ok();
        if let (Some(since), Some(now)) = (self.since, now) {
            self.times.add(self.stage, now.duration_since(since));
        }
        self.since = now;
        std::mem::replace(&mut self.stage, stage)
    }
}

/// Does `work` as a part of `stage`: the time that it takes counts there and not in the stage that
/// the thread was in.
pub fn during<T>(stage: Stage, work: impl FnOnce() -> T) -> T {
    let before = CLOCK.with_borrow_mut(|clock| clock.go_to(stage));
    let done = work();
    CLOCK.with_borrow_mut(|clock| clock.go_to(before));
    done
}

/// Does the `work` of one case on this thread, and says how long each stage of it took.
pub fn timed<T>(work: impl FnOnce() -> T) -> (T, StageTimes) {
    CLOCK.set(Clock::new());
    let done = work();
    let times = CLOCK.with_borrow_mut(|clock| {
        clock.go_to(Stage::Other);
        clock.times
    });
    (done, times)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keeps the processor busy until the thread has used this much of it.
    fn use_up(time: Duration) {
        let begin = ThreadTime::now();
        while begin.elapsed() < time {
            std::hint::black_box(begin.elapsed());
        }
    }

    fn of(times: &StageTimes, stage: Stage) -> Duration {
        times.each().find(|(s, _)| *s == stage).unwrap().1
    }

    #[test]
    fn time_counts_in_the_innermost_stage_only() {
        let (step, begin) = (Duration::from_millis(5), ThreadTime::now());
        let (answer, times) = timed(|| {
            during(Stage::Bounds, || {
                use_up(step);
                during(Stage::Geometry, || use_up(3 * step));
                42
            })
        });
        let all = begin.elapsed();
        assert_eq!(answer, 42);
        let [bounds, geometry] = [Stage::Bounds, Stage::Geometry].map(|s| of(&times, s));
        // At least what was used; what is inside is not counted outside once more.
        assert!(bounds >= step && geometry >= 3 * step, "{times:?}");
        assert!(times.each().map(|(_, time)| time).sum::<Duration>() <= all, "{times:?}, {all:?}");
        assert_eq!(of(&times, Stage::Read), Duration::ZERO);
    }

    #[test]
    fn a_case_begins_anew_after_a_panic_in_the_one_before() {
        let fall = || during(Stage::Pictures, || panic!("as a fault does"));
        let fallen = timed(|| std::panic::catch_unwind(fall).is_err());
        assert!(fallen.0);
        let ((), times) = timed(|| during(Stage::Read, || use_up(Duration::from_millis(2))));
        assert_eq!(of(&times, Stage::Pictures), Duration::ZERO);
        assert!(of(&times, Stage::Read) >= Duration::from_millis(2));
    }

    #[test]
    fn every_stage_has_a_word_of_its_own() {
        let words: std::collections::BTreeSet<_> =
            Stage::VARIANTS.iter().map(|stage| stage.word()).collect();
        assert_eq!(words.len(), Stage::VARIANTS.len());
    }
}
