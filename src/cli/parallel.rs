//! Working through a list on a fixed number of threads, stopping early when asked, and surviving a
//! fault in one item. Knows nothing of cases.
//!
//! Plain threads take the items, not a work-stealing pool: a pool thread that waits for the inner
//! loops of its case would begin another case meanwhile, and the number of dose grids in memory
//! would have no bound.

use std::panic::{AssertUnwindSafe, PanicHookInfo, catch_unwind, set_hook};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;

/// Deeply nested data sets are read by recursion.
pub(super) const STACK_BYTES: usize = 16 << 20;

/// Calls `work` for every index below `count` on `jobs` threads. The result is by index; absent
/// for those that were not begun because `stop` was raised.
pub(super) fn map_indices<T: Send>(
    jobs: usize,
    count: usize,
    stop: &AtomicBool,
    work: &(dyn Fn(usize) -> T + Sync),
) -> Vec<Option<T>> {
    let next = AtomicUsize::new(0);
    let take = || {
        let mut done = Vec::new();
        while !stop.load(Ordering::SeqCst) {
            let index = next.fetch_add(1, Ordering::SeqCst);
            if index >= count {
                break;
            }
            done.push((index, work(index)));
        }
        done
    };
    let mut results: Vec<Option<T>> = (0..count).map(|_| None).collect();
    let lists = thread::scope(|scope| {
        let spawn = |_| thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, take);
        let threads: Vec<_> = (0..jobs.min(count)).map(spawn).collect();
        // Where the system has no thread left, this one does the work.
        let own = if threads.iter().all(Result::is_err) { take() } else { Vec::new() };
        let joined = threads.into_iter().flatten().filter_map(|t| t.join().ok());
        joined.chain([own]).collect::<Vec<_>>()
    });
    for (index, value) in lists.into_iter().flatten() {
        if let Some(slot) = results.get_mut(index) {
            *slot = Some(value);
        }
    }
    results
}

/// Runs `work`; a panic inside becomes an error that names the place in the source.
///
/// # Errors
/// When `work` panics.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|_| {
        let own = PLACE.take();
        // A panic of an inner loop began on a thread of the pool.
        let other = || ELSEWHERE.lock().map_or(String::new(), |place| place.clone());
        let place = if own.is_empty() { other() } else { own };
        format!("the program failed at {place}; this is a fault of the program")
    })
}

thread_local! {
    /// Where the last panic of this thread began: file name and line.
    static PLACE: std::cell::RefCell<String> = const { std::cell::RefCell::new(String::new()) };
}

/// Where the last panic of any thread began.
static ELSEWHERE: Mutex<String> = Mutex::new(String::new());

/// Lets panics be told by [`guarded`] instead of being printed. The text of a panic may hold data
/// of a patient, so only its place is kept.
pub(super) fn quieten_panics() {
    set_hook(Box::new(|info: &PanicHookInfo<'_>| {
        let place = info.location().map_or(String::new(), |l| {
            let name = Path::new(l.file()).file_name().unwrap_or_default();
            format!("{} line {}", name.to_string_lossy(), l.line())
        });
        if let Ok(mut elsewhere) = ELSEWHERE.lock() {
            elsewhere.clone_from(&place);
        }
        PLACE.set(place);
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_index_is_done_once_and_in_its_place() {
        let stop = AtomicBool::new(false);
        for jobs in [1, 2, 7] {
            let squares = map_indices(jobs, 100, &stop, &|i| i * i);
            assert!(squares.iter().enumerate().all(|(i, s)| *s == Some(i * i)));
        }
        assert!(map_indices(3, 0, &stop, &|i| i).is_empty());
    }

    #[test]
    fn what_is_running_is_finished_and_the_rest_is_not_begun() {
        let stop = AtomicBool::new(false);
        let results = map_indices(1, 10, &stop, &|i| {
            stop.store(i == 3, Ordering::SeqCst);
            i
        });
        assert_eq!(results.iter().flatten().copied().collect::<Vec<_>>(), [0, 1, 2, 3]);
    }

    #[test]
    fn a_panic_ends_one_item_only() {
        let stop = AtomicBool::new(false);
        let results = map_indices(2, 4, &stop, &|i| guarded(|| [1, 2, 3].get(i).copied().unwrap()));
        let failed: Vec<_> = results.into_iter().flatten().map(|r| r.is_err()).collect();
        assert_eq!(failed, [false, false, false, true]);
    }
}
