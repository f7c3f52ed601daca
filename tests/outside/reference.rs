//! What the checks are held against from outside: pydicom with its test files, libraries for
//! statistics, and one real structure set from the Debian package octave-dicom. Fetched when a test first asks for it, into
//! the folder that `TIDYDOSE_REFERENCE` names, else below the build's own folder for tests, and
//! used again from there. Nothing of it is part of the repository.
//!
//! A virtual environment of Python 3 is made and `requirements.txt` installed in it; the Debian
//! package is unpacked, not installed.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use sha2::{Digest, Sha256};

use crate::archive::files_below;

const REQUIREMENTS: &str = include_str!("requirements.txt");

/// Where the reference lies.
#[derive(Debug)]
pub struct Reference {
    python: PathBuf,
    /// The test files of pydicom (MIT licence).
    pub pydicom_files: PathBuf,
}

impl Reference {
    /// Python with what `requirements.txt` lists.
    pub fn python(&self) -> &Path {
        &self.python
    }
}

/// SHA-256 in hexadecimal.
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

fn folder() -> PathBuf {
    std::env::var_os("TIDYDOSE_REFERENCE")
        .map_or_else(|| Path::new(env!("CARGO_TARGET_TMPDIR")).join("reference"), PathBuf::from)
}

/// Python with pydicom, fetched once.
pub fn reference() -> &'static Reference {
    static READY: OnceLock<Reference> = OnceLock::new();
    READY.get_or_init(|| {
        let folder = folder();
        fs::create_dir_all(&folder).unwrap();
        let venv = folder.join("python");
        let python = venv.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python" });
        let mark = format!("requirements {}\n", digest(REQUIREMENTS.as_bytes()));
        once(&folder, "python", &mark, || {
            let _ = fs::remove_dir_all(&venv);
            let base = if cfg!(windows) { "python" } else { "python3" };
            run(Command::new(base).args(["-m", "venv"]).arg(&venv))?;
            let list = folder.join("requirements.txt");
            fs::write(&list, REQUIREMENTS).map_err(|e| e.to_string())?;
            let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r"];
            run(Command::new(&python).args(pip).arg(&list)).map(|_| ())
        })
        .unwrap();
        let ask = "import os, pydicom; print(os.path.dirname(pydicom.__file__))";
        let package = run(Command::new(&python).args(["-c", ask])).unwrap();
        let pydicom_files = Path::new(package.trim()).join("data/test_files");
        Reference { python, pydicom_files }
    })
}

/// A package with the script of an accessibility checker (Mozilla Public License 2.0), and nothing of
/// what that package depends on.
const CHECKER: &str = "axe-playwright-python==0.1.8";

/// The script of the accessibility checker, fetched once.
pub fn accessibility_checker() -> PathBuf {
    let folder = folder();
    let target = folder.join("checker");
    let python = &reference().python;
    once(&folder, "checker", &format!("{CHECKER}\n"), || {
        let _ = fs::remove_dir_all(&target);
        let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps"];
        run(Command::new(python).args(pip).arg("--target").arg(&target).arg(CHECKER)).map(|_| ())
    })
    .unwrap();
    target.join("axe_playwright_python/axe.min.js")
}

/// lifelines with what it imports and `requirements.txt` lacks, without their own requirements: lifelines
/// asks for pandas below 3 and works with the one that is pinned.
const SURVIVAL: &[&str] = &[
    "lifelines==0.30.3",
    "autograd==1.9.1",
    "autograd-gamma==0.5.0",
    "formulaic==1.2.2",
    "interface-meta==2.0.1",
    "narwhals==2.29.0",
    "wrapt==2.5.2",
];

/// The folder of lifelines, to be put before what Python finds itself; fetched once.
pub fn survival_library() -> PathBuf {
    let folder = folder();
    let target = folder.join("survival");
    let python = &reference().python;
    once(&folder, "survival", &format!("{}\n", SURVIVAL.join(" ")), || {
        let _ = fs::remove_dir_all(&target);
        let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps"];
        run(Command::new(python).args(pip).arg("--target").arg(&target).args(SURVIVAL)).map(|_| ())
    })
    .unwrap();
    target
}

/// The structure set of octave-dicom, or why it cannot be had here.
pub fn octave_structure_set() -> Result<PathBuf, String> {
    let folder = folder();
    fs::create_dir_all(&folder).map_err(|e| e.to_string())?;
    let unpacked = folder.join("octave-dicom");
    once(&folder, "octave-dicom", "octave-dicom\n", || {
        let _ = fs::remove_dir_all(&unpacked);
        fs::create_dir_all(&unpacked).map_err(|e| e.to_string())?;
        let apt = |word: &[&str]| run(Command::new("apt-get").args(word).current_dir(&unpacked));
        apt(&["--version"])?;
        let download = ["download", "--quiet", "octave-dicom"];
        if apt(&download).is_err() {
            apt(&["update", "--quiet"])?;
            apt(&download)?;
        }
        let packages = files_below(&unpacked);
        let package = packages.iter().find(|p| p.extension().is_some_and(|e| e == "deb"));
        let package = package.ok_or("apt-get left no package")?;
        run(Command::new("dpkg-deb").arg("-x").arg(package).arg(&unpacked)).map(|_| ())
    })?;
    let files = files_below(&unpacked);
    let found = files.into_iter().find(|p| p.ends_with("imdata/rtstruct.dcm"));
    found.ok_or_else(|| "the package holds no imdata/rtstruct.dcm".to_owned())
}

/// Facts that pydicom states about every RT object below a folder: by file, then by name.
pub fn facts(folder: &Path) -> BTreeMap<String, BTreeMap<String, String>> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/facts.py");
    let out = run(Command::new(&reference().python).arg(script).arg(folder)).unwrap();
    let mut all: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    for line in out.lines() {
        let parts: Vec<&str> = line.split('\t').collect();
        let [file, what, value] = parts[..] else { panic!("{line}") };
        all.entry(file.into()).or_default().insert(what.into(), value.into());
    }
    all
}

/// Python with everything of `requirements.txt`, to be given a script.
pub fn python() -> Command {
    Command::new(&reference().python)
}

/// What other libraries make of a list of tasks, see `statistics.py`: results by name.
pub fn statistics(tasks: &serde_json::Value) -> serde_json::Value {
    let place = tempfile::tempdir().unwrap();
    let file = place.path().join("tasks.json");
    fs::write(&file, tasks.to_string()).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/statistics.py");
    let out = run(Command::new(&reference().python).arg(script).arg(file)).unwrap();
    serde_json::from_str(&out).unwrap()
}

/// Does something that leaves files behind, once for all processes: the lock is held meanwhile,
/// and the mark is written when it has succeeded.
fn once(
    folder: &Path,
    name: &str,
    mark: &str,
    work: impl FnOnce() -> Result<(), String>,
) -> Result<(), String> {
    let say = |e: std::io::Error| format!("{}: {e}", folder.display());
    let lock = File::create(folder.join(format!("{name}.lock"))).map_err(say)?;
    lock.lock().map_err(say)?;
    let ready = folder.join(format!("{name}.ready"));
    if fs::read_to_string(&ready).is_ok_and(|text| text == mark) {
        return Ok(());
    }
    work()?;
    fs::write(&ready, mark).map_err(say)
}

/// What a command prints; its complaint when it fails or cannot be started.
fn run(command: &mut Command) -> Result<String, String> {
    let output = command.output().map_err(|e| format!("{command:?}: {e}"))?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).into_owned());
    }
    Err(format!("{command:?}: {}", String::from_utf8_lossy(&output.stderr)))
}
