//! The program as its users install it: as a Python wheel, in an environment with nothing else, with the
//! tables that it writes there.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::reference::reference;
use crate::archive::files_below;
use crate::measured::cohort;
use crate::resume::program;

fn run(command: &mut Command) -> String {
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{command:?}: {said}{error}");
    said
}

/// The wheel, of the build that the tests run; its recipe is the one of an installation.
fn wheel(folder: &Path) -> PathBuf {
    let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join(".wheel");
    let python = reference().python();
    let tools = python.parent().unwrap();
    let path = std::env::var("PATH").unwrap();
    let pip = ["-m", "pip", "wheel", "--quiet", "--disable-pip-version-check", "--no-deps"];
    run(Command::new(python)
        .args(pip)
        .arg("--no-build-isolation")
        .args([recipe.as_os_str(), "--wheel-dir".as_ref(), folder.as_os_str()])
        .env("PATH", format!("{}:{path}", tools.display()))
        .env("MATURIN_PEP517_ARGS", "--profile dev --locked --offline --features outside"));
    let made = files_below(folder);
    assert_eq!(made.len(), 1, "{made:?}");
    made.into_iter().next().unwrap()
}

#[test]
fn the_wheel_runs_in_an_empty_environment() {
    let place = tempfile::tempdir().unwrap();
    let folder = |name: &str| place.path().join(name);
    let wheel = wheel(&folder("wheels"));
    run(Command::new("python3").args(["-m", "venv"]).arg(folder("empty")));
    let bin = folder("empty").join("bin");
    let pip = ["install", "--quiet", "--disable-pip-version-check", "--no-index"];
    run(Command::new(bin.join("pip")).args(pip).arg(&wheel));
    let installed = bin.join("tidydose");
    let version = |program: &Path| run(Command::new(program).arg("--version"));
    assert_eq!(version(&installed), version(&program()));
    let archive = cohort().join("gantry/LK-07");
    let key = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f";
    let mut tables = Vec::new();
    for (program, name) in [(installed, "wheel"), (program(), "build")] {
        let study = folder(name);
        fs::create_dir(folder(&format!("{name}-key"))).unwrap();
        fs::write(folder(&format!("{name}-key/key.txt")), key).unwrap();
        run(Command::new(program).arg("measure").arg(&archive).arg("--study").arg(&study));
        tables.push(fs::read(study.join("tables/metrics.csv")).unwrap());
    }
    assert!(tables[0] == tables[1] && tables[0].len() > 10_000);
    // No Python is in the wheel: the program and what names it.
    let list = "import sys, zipfile; print('\\n'.join(zipfile.ZipFile(sys.argv[1]).namelist()))";
    let names = run(Command::new(reference().python()).args(["-c", list]).arg(&wheel));
    assert!(names.lines().any(|n| n.ends_with("scripts/tidydose")), "{names}");
    assert!(!names.contains(".py\n"), "{names}");
}
