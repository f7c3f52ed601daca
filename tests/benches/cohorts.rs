//! Benches of whole cohorts: `cargo bench --bench cohorts`. How long measuring takes against reading
//! the same objects, how it grows with the number of cases, and what a second run costs. Runs of the
//! program use two jobs; what memory they took at most is printed in the end where the system tells.
#![allow(missing_docs, unreachable_pub, dead_code)] // a bench program has no readers of its items
#![allow(clippy::unwrap_used, clippy::print_stdout)]

#[path = "../phantom/mod.rs"]
mod phantom;

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use divan::Bencher;
use rayon::prelude::*;
use tempfile::TempDir;
use tidydose_case::{self as case, Case};
use tidydose_dicom as dicom;
use tidydose_rt::identity::{Identity, Token};

use phantom::large::{Size, patient};

fn main() {
    divan::main();
    for (what, megabytes) in PEAKS.lock().unwrap().iter() {
        println!("{what}: {megabytes} MB at most");
    }
    MADE.lock().unwrap().clear();
}

/// Archives that were written; removed in the end.
static MADE: Mutex<BTreeMap<Archive, TempDir>> = Mutex::new(BTreeMap::new());

/// Largest memory of each kind of run, MB.
static PEAKS: Mutex<BTreeMap<String, u64>> = Mutex::new(BTreeMap::new());

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Archive {
    /// The invented cohort of the repository.
    Sample,
    /// So many patients with a grid round the target.
    Small(usize),
    /// So many patients with a grid of 256 × 256 × 180 voxels.
    WholeHead(usize),
}

impl Archive {
    /// Its folder, written when it is first asked for.
    fn folder(self) -> PathBuf {
        let (size, patients) = match self {
            Self::Sample => return Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-anonymised"),
            Self::Small(n) => (Size::SMALL, n),
            Self::WholeHead(n) => (Size::WHOLE_HEAD, n),
        };
        let mut made = MADE.lock().unwrap();
        let folder = made.entry(self).or_insert_with(|| {
            let folder = tempfile::tempdir().unwrap();
            for number in 0..patients {
                for (name, content) in patient(number, size).unwrap() {
                    let path = folder.path().join(name);
                    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                    std::fs::write(path, content).unwrap();
                }
            }
            folder
        });
        folder.path().to_path_buf()
    }

    /// Runs the program over it.
    fn measure(self, study: &Path, options: &[&str]) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tidydose"))
            .args([OsStr::new("measure"), self.folder().as_os_str()])
            .args([OsStr::new("--study"), study.as_os_str()])
            .args(["--jobs", "2", "--quiet"])
            .args(options)
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        let (status, done) = (format!("/proc/{}/status", child.id()), AtomicBool::new(false));
        let peak = std::thread::scope(|scope| {
            let watch = scope.spawn(|| {
                let mut peak = 0;
                while !done.load(Ordering::Relaxed) {
                    peak = peak.max(peak_megabytes(&status).unwrap_or(0));
                    std::thread::sleep(Duration::from_millis(5));
                }
                peak
            });
            let code = child.wait().unwrap().code();
            done.store(true, Ordering::Relaxed);
            assert_eq!(code, Some(0));
            watch.join().unwrap()
        });
        let mut peaks = PEAKS.lock().unwrap();
        let known = peaks.entry(format!("{self:?} {}", options.join(" "))).or_default();
        *known = peak.max(*known);
    }
}

/// The largest memory of a process so far; absent where the system does not tell.
fn peak_megabytes(status: &str) -> Option<u64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? / 1024)
}

/// Measuring against reading the same structure sets and doses once, which any program must.
#[divan::bench_group(sample_count = 3, sample_size = 1)]
mod against_reading {
    use super::*;

    const ARCHIVES: [Archive; 3] = [Archive::Small(40), Archive::WholeHead(4), Archive::Sample];

    /// Scan, then read every structure set and dose of a case once, on all processors.
    #[divan::bench(args = ARCHIVES)]
    fn read(bencher: Bencher<'_, '_>, archive: Archive) {
        let roots = [archive.folder()];
        bencher.bench(|| {
            let identity = Identity::keyed([1; 32]);
            let scan = dicom::scan(&roots, &identity, &|_| (), &AtomicBool::new(false)).unwrap();
            let (cases, _) = case::link(&scan.inventory);
            cases.par_iter().map(|c| objects(c, &scan, &identity)).sum::<usize>()
        });
    }

    /// Number of objects of a case that could be read.
    fn objects(case: &Case, scan: &dicom::Scan, identity: &Identity) -> usize {
        let path = |t: &Token| scan.paths.get(t);
        let set = case.structure_set.as_ref().and_then(|s| {
            let file = &s.origin.file;
            dicom::read_structure_set_as(path(file)?, identity, file).ok()
        });
        let doses = case.dose_parts();
        let doses = doses.into_iter().filter_map(|(header, _)| {
            let file = &header.origin.file;
            dicom::read_dose_as(path(file)?, identity, file).ok()
        });
        usize::from(set.is_some()) + doses.count()
    }

    fn run(bencher: Bencher<'_, '_>, archive: Archive, options: &[&str]) {
        archive.folder();
        let fresh = || tempfile::tempdir().unwrap();
        bencher.with_inputs(fresh).bench_values(|study| {
            archive.measure(study.path(), options);
            study
        });
    }

    #[divan::bench(args = ARCHIVES)]
    fn measure_basic_list(bencher: Bencher<'_, '_>, archive: Archive) {
        run(bencher, archive, &["--metric-list", "basic"]);
    }

    #[divan::bench(args = ARCHIVES)]
    fn measure_full_list(bencher: Bencher<'_, '_>, archive: Archive) {
        run(bencher, archive, &[]);
    }

    /// By the common convention: slabs and trilinear dose.
    #[divan::bench(args = ARCHIVES)]
    fn measure_half_slice_trilinear(bencher: Bencher<'_, '_>, archive: Archive) {
        let convention = ["--ends", "half_slice", "--interpolation", "trilinear"];
        run(bencher, archive, &[&["--metric-list", "basic"], &convention[..]].concat());
    }
}

/// From ten cases to a thousand: time grows with their number, memory does not.
#[divan::bench_group(sample_count = 1, sample_size = 1)]
mod growth {
    use super::*;

    const CASES: [usize; 3] = [10, 100, 1000];
    const BASIC: [&str; 2] = ["--metric-list", "basic"];

    #[divan::bench(args = CASES)]
    fn first_run(bencher: Bencher<'_, '_>, cases: usize) {
        let archive = Archive::Small(cases);
        archive.folder();
        let fresh = || tempfile::tempdir().unwrap();
        bencher.with_inputs(fresh).bench_values(|study| {
            archive.measure(study.path(), &BASIC);
            study
        });
    }

    /// Again over the same archive into the same study.
    #[divan::bench(args = CASES)]
    fn unchanged(bencher: Bencher<'_, '_>, cases: usize) {
        let archive = Archive::Small(cases);
        let study = tempfile::tempdir().unwrap();
        archive.measure(study.path(), &BASIC);
        bencher.bench(|| archive.measure(study.path(), &BASIC));
    }
}
