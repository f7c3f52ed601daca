//! The walk-through for many machines as it stands in the notebook: its scripts are taken out of the
//! page and run, with a scheduler and three worker processes of which one is killed in the middle.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fs;
use std::path::Path;

use super::reference::python;
use crate::measured::{TABLE_FILES, cohort};
use crate::resume::program;

/// The scripts of the page in their order.
fn scripts() -> Vec<String> {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md/many-machines.md");
    let text = fs::read_to_string(page).unwrap();
    let blocks = text.split("```python\n").skip(1);
    blocks.map(|b| b.split("```").next().unwrap().to_owned()).collect()
}

#[test]
fn shares_over_worker_processes_make_the_bytes_of_one_machine() {
    let place = tempfile::tempdir().unwrap();
    let scripts = scripts();
    assert_eq!(scripts.len(), 2);
    let ran = |name: &str, text: &str, arguments: &[&str]| -> String {
        let path = place.path().join(name);
        fs::write(&path, text).unwrap();
        let output = python().arg(&path).args(arguments).output().unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{said}{error}");
        said
    };
    let work = place.path().join("work");
    fs::create_dir(&work).unwrap();
    let (work, cohort) = (work.to_string_lossy(), cohort());
    let program = program();
    let said = ran(
        "shares.py",
        &scripts[0],
        &[&program.to_string_lossy(), &cohort.to_string_lossy(), &work],
    );
    let equal = format!("{TABLE_FILES} tables equal, 0 not\n");
    assert!(said.ends_with(&equal), "{said}");
    assert_eq!(said.matches("share done: ").count(), 8, "{said}");
    let said = ran("dataset.py", &scripts[1], &[&work]);
    assert!(said.ends_with("the rows of the study, no more and no less\n"), "{said}");
    let volumes: usize = said.split(' ').next().unwrap().parse().unwrap();
    assert!(volumes > 100, "{said}");
}
