//! Whole runs over a realistic archive, against plain Python that computes the simple part of the
//! same by hand: `cargo bench --bench realistic -- [seed] [patients]` (7 and 24 where nothing is
//! said). One call makes the archive, runs both on it with two jobs and prints ratios of processor
//! time, clock and largest process, then where the time of the program went.
//!
//! The generator of the archive and the peer are no part of the repository: `realistic/archive.py`
//! and `baseline.py` of the folder in `TIDYDOSE_BENCH`, else `../shared/bench` beside the repo,
//! run by the interpreter in `TIDYDOSE_PYTHON`, else `python3`, with numpy, scipy and pydicom.
//! Development follows this bench; seeds that are named nowhere show whether it was followed well.
#![allow(missing_docs, unreachable_pub)] // a bench program has no readers of its items
#![allow(clippy::print_stdout, clippy::print_stderr, clippy::cast_precision_loss)]

#[path = "realistic/timings.rs"]
mod timings;

use std::ffi::{OsStr, OsString};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;
use wait4::Wait4;

const SEED: u64 = 7;
const PATIENTS: u64 = 24;
const JOBS: &str = "2";

fn main() -> ExitCode {
    let typed: Vec<String> = std::env::args().skip(1).collect();
    if !typed.iter().any(|word| word == "--bench") {
        println!("cargo bench --bench realistic -- [seed] [patients]");
        return ExitCode::SUCCESS;
    }
    let numbers: Vec<&String> = typed.iter().filter(|word| *word != "--bench").collect();
    match Bench::new(&numbers).and_then(|bench| bench.run()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(reason) => {
            eprintln!("realistic: {reason}");
            ExitCode::FAILURE
        }
    }
}

/// What is run, and where.
struct Bench {
    python: OsString,
    tools: PathBuf,
    seed: u64,
    patients: u64,
    /// Removed in the end.
    place: TempDir,
}

/// What a program took.
#[derive(Debug, Clone, Copy)]
struct Cost {
    processor: Duration,
    clock: Duration,
    /// Largest memory of its largest process, MB.
    largest_mb: f64,
}

impl Bench {
    fn new(typed: &[&String]) -> Result<Self, String> {
        let number = |place: usize, usual: u64| match typed.get(place) {
            None => Ok(usual),
            Some(text) => text.parse().map_err(|_| format!("`{text}` is no whole number")),
        };
        let beside = || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/bench");
        let tools = std::env::var_os("TIDYDOSE_BENCH").map_or_else(beside, PathBuf::from);
        let python = std::env::var_os("TIDYDOSE_PYTHON").unwrap_or_else(|| "python3".into());
        let bench = Self {
            python,
            tools,
            seed: number(0, SEED)?,
            patients: number(1, PATIENTS)?,
            place: tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?,
        };
        bench.check()?;
        Ok(bench)
    }

    /// Says what is missing before anything long begins.
    fn check(&self) -> Result<(), String> {
        for tool in [self.generator(), self.peer()] {
            if !tool.is_file() {
                return Err(format!(
                    "{} is not there; name the folder that has realistic/archive.py and \
                     baseline.py in TIDYDOSE_BENCH",
                    tool.display()
                ));
            }
        }
        let modules = Command::new(&self.python)
            .args(["-c", "import numpy, pydicom, scipy"])
            .output()
            .map_err(|e| {
                format!("{} cannot be run: {e}; see TIDYDOSE_PYTHON", self.interpreter())
            })?;
        if modules.status.success() {
            return Ok(());
        }
        let words = String::from_utf8_lossy(&modules.stderr);
        let last = words.lines().last().unwrap_or_default();
        Err(format!(
            "{} lacks numpy, pydicom or scipy ({last}); name an interpreter that has them in \
             TIDYDOSE_PYTHON",
            self.interpreter()
        ))
    }

    fn interpreter(&self) -> std::borrow::Cow<'_, str> {
        self.python.to_string_lossy()
    }

    fn generator(&self) -> PathBuf {
        self.tools.join("realistic").join("archive.py")
    }

    fn peer(&self) -> PathBuf {
        self.tools.join("baseline.py")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }

    fn run(&self) -> Result<(), String> {
        println!("archive of {} patients, seed {}", self.patients, self.seed);
        let (patients, seed) = (self.patients.to_string(), self.seed.to_string());
        let made = self.path("archive");
        let mut generator = Command::new(&self.python);
        generator.arg(self.generator()).arg(&made);
        generator.args(["--patients", &patients, "--seed", &seed, "--ct-slices", "20"]);
        cost(&mut generator, &self.path("generator.log"))?;
        let archive = made.join("export");

        let mut peer = Command::new(&self.python);
        peer.arg(self.peer()).arg(&archive).arg(self.path("peer.csv")).args(["--jobs", JOBS]);
        let peer = cost(&mut peer, &self.path("peer.log"))?;
        println!("\n{:34}{:>26}{:>18}{:>18}", "", "processor", "clock", "largest process");
        show("plain Python, simple part", peer, peer);
        let short = ["--metric-list", "basic"];
        let common =
            ["--metric-list", "basic", "--ends", "half_slice", "--interpolation", "trilinear"];
        let full = self.measure(&archive, "full", &[])?;
        show("full list", full, peer);
        show("full list, nothing changed", self.measure(&archive, "full", &[])?, peer);
        show("short list", self.measure(&archive, "short", &short)?, peer);
        show("short list, common convention", self.measure(&archive, "common", &common)?, peer);
        println!("(the peer has a process for each job, this program one for all)");
        // The second run of the full list has a file of its own.
        self.show_timings("full.csv", peer)
    }

    /// Measures the archive into the study `name`; the first time is kept in `name`.csv.
    fn measure(&self, archive: &Path, name: &str, options: &[&str]) -> Result<Cost, String> {
        let again = self.path(name).is_dir();
        let file = if again { format!("{name} again.csv") } else { format!("{name}.csv") };
        let mut program = Command::new(env!("CARGO_BIN_EXE_tidydose"));
        program.args([OsStr::new("measure"), archive.as_os_str()]).args(options);
        program.arg("--study").arg(self.path(name)).arg("--timings").arg(self.path(&file));
        program.args(["--jobs", JOBS, "--quiet"]);
        cost(&mut program, &self.path("program.log"))
    }

    /// Where the time of a run went.
    fn show_timings(&self, file: &str, peer: Cost) -> Result<(), String> {
        let text = fs::read_to_string(self.path(file)).map_err(|e| format!("{file}: {e}"))?;
        let rows = timings::read(&text).map_err(|e| format!("{file}: {e}"))?;
        let cases = timings::by_case(&rows);
        let all: f64 = rows.iter().map(|row| row.processor_s).sum();
        let of_peer = peer.processor.as_secs_f64();
        println!("\nfull list by stage       processor        share    of the peer");
        for (stage, seconds) in timings::by_stage(&rows) {
            let (share, ratio) = (100.0 * seconds / all, seconds / of_peer);
            println!("{stage:20}{seconds:12.2} s{share:11.1} %{ratio:13.3} ×");
        }
        let peer_plan_s = of_peer / cases.len().max(1) as f64;
        println!("\nby technology        plans   processor for each   of the peer's mean plan");
        for (technology, (plans, seconds)) in timings::by_technology(&cases) {
            let each = seconds / plans as f64;
            println!("{technology:20}{plans:6}{each:19.2} s{:23.3} ×", each / peer_plan_s);
        }
        println!("\ntime of a case against its size, slope of the logarithms (1: proportional)");
        type Size = fn(&timings::Case) -> f64;
        let sizes: [(&str, Size); 3] = [
            ("voxels", |case| case.voxels),
            ("structures", |case| case.structures),
            ("targets", |case| case.targets),
        ];
        for (name, of) in sizes {
            let points: Vec<(f64, f64)> = cases.iter().map(|(c, s)| (of(c), *s)).collect();
            match timings::slope(&points) {
                Some(slope) => println!("{name:20}{slope:6.2}"),
                None => println!("{name:20}   all cases are of one size"),
            }
        }
        Ok(())
    }
}

/// Runs a program to its end; what it says goes into a file, of which a failure shows the end.
fn cost(command: &mut Command, log: &Path) -> Result<Cost, String> {
    let name = command.get_program().to_string_lossy().into_owned();
    let refused = |e: std::io::Error| format!("{name}: {e}");
    let output = fs::File::create(log).map_err(refused)?;
    let (begin, errors) = (Instant::now(), output.try_clone().map_err(refused)?);
    let child = command.stdin(Stdio::null()).stdout(output).stderr(errors).spawn();
    let used = child.map_err(refused)?.wait4().map_err(refused)?;
    if !used.status.success() {
        let said = fs::read_to_string(log).unwrap_or_default();
        let last: Vec<&str> = said.lines().rev().take(5).collect();
        let last: Vec<&str> = last.into_iter().rev().collect();
        return Err(format!("{name} ended with {}:\n{}", used.status, last.join("\n")));
    }
    Ok(Cost {
        processor: used.rusage.utime + used.rusage.stime,
        clock: begin.elapsed(),
        largest_mb: used.rusage.maxrss as f64 / 1e6,
    })
}

/// One line: what was run, what it took, and the ratios to the peer.
fn show(what: &str, cost: Cost, peer: Cost) {
    let seconds = |of: fn(&Cost) -> Duration| {
        let [own, other] = [&cost, &peer].map(|c| of(c).as_secs_f64());
        format!("{own:8.1} s{:6.2} ×", own / other)
    };
    let (processor, clock) = (seconds(|c| c.processor), seconds(|c| c.clock));
    let memory = format!("{:7.0} MB{:6.2} ×", cost.largest_mb, cost.largest_mb / peer.largest_mb);
    println!("{what:34}{processor:>26}{clock:>18}{memory:>18}");
}
