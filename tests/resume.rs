//! A cohort that can be left running: killed runs go on, finished cases are kept and used again,
//! work is shared, and whatever happens on the way the tables are the same bytes.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Instant;

use crate::phantom::large::{Size, patient};

/// The key of every run: 32 bytes in hexadecimal.
const KEY: &str = "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f";

/// How a run over the invented patients ends when all is well, though the small grids of some do not
/// reach the chiasm.
pub(crate) const DONE: i32 = 0;

/// A folder with an archive and room for studies.
pub(crate) struct Place(tempfile::TempDir);

impl Place {
    /// With so many invented patients.
    pub(crate) fn with(patients: usize) -> Self {
        Self::of_size(patients, Size::TINY)
    }

    pub(crate) fn of_size(patients: usize, size: Size) -> Self {
        let place = Self(tempfile::tempdir().unwrap());
        (0..patients).for_each(|number| place.add(number, size));
        place
    }

    fn add(&self, number: usize, size: Size) {
        for (name, bytes) in patient(number, size).unwrap() {
            let path = self.path().join("archive").join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        }
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    /// Gives a study the key of all studies.
    pub(crate) fn key(&self, study: &str) {
        let folder = self.path().join(format!("{study}-key"));
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("key.txt"), KEY).unwrap();
    }

    pub(crate) fn command(&self, study: &str, more: &[&str]) -> Command {
        let mut command = Command::new(program());
        command.current_dir(self.path());
        command.args(["measure", "archive", "--metric-list", "basic", "--study", study]);
        command.args(more);
        command
    }

    /// Exit code and stderr of a run to its end.
    pub(crate) fn measure(&self, study: &str, more: &[&str]) -> (i32, String) {
        let output = self.command(study, more).output().unwrap();
        assert!(output.stdout.is_empty());
        (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
    }

    /// Every file that a study is, by name, without the parts, the lock and the record of what the
    /// tables were made from.
    pub(crate) fn result(&self, study: &str) -> BTreeMap<PathBuf, Vec<u8>> {
        let root = self.path().join(study);
        let mut files = BTreeMap::new();
        for folder in [root.clone(), root.join("tables")] {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                let hidden = path.file_name().unwrap().to_string_lossy().starts_with('.');
                if path.is_file() && !hidden {
                    let name = path.strip_prefix(&root).unwrap().to_path_buf();
                    files.insert(name, fs::read(&path).unwrap());
                }
            }
        }
        files
    }

    /// The parts of a study by name, with the time of their last change.
    fn parts(&self, study: &str) -> BTreeMap<PathBuf, std::time::SystemTime> {
        let entries = fs::read_dir(self.path().join(study).join("cases")).unwrap();
        let paths = entries.map(|e| e.unwrap().path());
        paths.map(|p| (p.clone(), fs::metadata(&p).unwrap().modified().unwrap())).collect()
    }
}

/// The program under test.
pub(crate) fn program() -> PathBuf {
    assert_cmd::cargo::cargo_bin("tidydose")
}

/// Names the files that differ, not their bytes.
pub(crate) fn assert_same(a: &BTreeMap<PathBuf, Vec<u8>>, b: &BTreeMap<PathBuf, Vec<u8>>) {
    let names: Vec<_> = a.keys().chain(b.keys()).filter(|n| a.get(*n) != b.get(*n)).collect();
    assert!(names.is_empty(), "different or missing: {names:?}");
}

/// Killed at moments spread over the whole run, some two hundred times over several studies; each
/// goes on from what is there and ends as the run that nobody disturbed.
#[test]
fn a_killed_run_goes_on_and_ends_in_the_same_bytes() {
    let place = Place::of_size(6, Size::HOLLOW);
    place.key("calm");
    let begin = Instant::now();
    assert_eq!(place.measure("calm", &["--jobs", "2"]).0, DONE);
    let mut whole_run = begin.elapsed();
    let calm = place.result("calm");
    assert!(calm.len() > 20, "{:?}", calm.keys());
    let (mut kills, mut studies, mut bits) = (0, 0, 1_u32);
    while kills < 200 {
        studies += 1;
        let study = format!("killed{studies}");
        place.key(&study);
        for attempt in 0.. {
            let mut child = place.command(&study, &["--quiet"]).stderr(Stdio::null()).spawn();
            let child = child.as_mut().unwrap();
            // A multiplicative generator: moments from the start to a little beyond the end.
            bits = bits.wrapping_mul(747_796_405).wrapping_add(2_891_336_453);
            let moment = whole_run.mul_f64(1.1 * f64::from(bits >> 8) / f64::from(1 << 24));
            sleep(moment);
            if child.try_wait().unwrap().is_some_and(|status| status.code() == Some(DONE)) {
                // The calm run may have shared the processor with other tests: a whole run is shorter.
                whole_run = if attempt == 0 { whole_run.min(moment) } else { whole_run };
                break;
            }
            child.kill().unwrap();
            let status = child.wait().unwrap();
            if status.code() == Some(DONE) {
                break; // it ended between the look and the blow
            }
            assert_eq!(status.code(), None, "it ended by itself: {status}");
            kills += 1;
        }
        assert_same(&place.result(&study), &calm);
        fs::remove_dir_all(place.path().join(&study)).unwrap();
    }
    // The last study was put together from what many runs left.
    assert!(studies < kills, "{studies} studies, {kills} kills");
}

#[test]
fn what_is_done_is_not_done_again_and_only_what_is_new_is_added() {
    let place = Place::with(3);
    place.key("study");
    let (code, err) = place.measure("study", &[]);
    assert_eq!((code, err.contains("finished before")), (DONE, false), "{err}");
    let (first, parts) = (place.result("study"), place.parts("study"));
    assert_eq!(parts.len(), 3);
    let (_, err) = place.measure("study", &[]);
    assert!(err.contains("3 of the cases were finished before"), "{err}");
    assert_same(&place.result("study"), &first);
    assert_eq!(place.parts("study"), parts, "no part was written again");
    place.add(3, Size::TINY);
    let (_, err) = place.measure("study", &[]);
    assert!(err.contains("3 of the cases were finished before"), "{err}");
    let more = place.parts("study");
    assert!(more.len() == 4 && parts.iter().all(|(name, time)| more.get(name) == Some(time)));
    // Renamed files are the same content; their findings and tables follow the new names.
    fs::rename(place.path().join("archive/BN-00000"), place.path().join("archive/x")).unwrap();
    let (_, err) = place.measure("study", &[]);
    assert!(err.contains("4 of the cases were finished before"), "{err}");
    place.key("fresh");
    place.measure("fresh", &[]);
    for (name, bytes) in place.result("fresh") {
        let grown = name.extension().is_some_and(|e| e == "csv") && !name.starts_with("tables");
        assert!(grown || place.result("study")[&name] == bytes, "{}", name.display());
    }
}

#[test]
fn a_decision_concerns_its_case_a_setting_all_and_pruning_removes_the_rest() {
    let place = Place::with(3);
    place.key("study");
    place.measure("study", &[]);
    let names = place.path().join("study/names.csv");
    let head = fs::read_to_string(&names).unwrap().lines().next().unwrap().to_owned();
    let plan = {
        let plans = fs::read_to_string(place.path().join("study/tables/plans.csv")).unwrap();
        crate::measured::rows_of(&plans)[0]["plan_id"].clone()
    };
    let columns: Vec<&str> = head.split(',').collect();
    let cell = |column: &&str| match *column {
        "name_original" => "OpticChiasm".to_owned(),
        "plan_id" => plan.clone(),
        "roi_number" => "2".to_owned(),
        "name_standard" => "Pons".to_owned(),
        _ => String::new(),
    };
    let row: Vec<String> = columns.iter().map(cell).collect();
    let text = fs::read_to_string(&names).unwrap();
    fs::write(&names, format!("{text}{}\r\n", row.join(","))).unwrap();
    let (_, err) = place.measure("study", &[]);
    assert!(err.contains("2 of the cases were finished before"), "{err}");
    assert!(err.contains("1 parts in study/cases are not used; --prune"), "{err}");
    let (_, err) = place.measure("study", &["--interpolation", "trilinear", "--prune"]);
    assert!(!err.contains("finished before"), "{err}");
    assert!(err.contains("4 parts that are not used were removed"), "{err}");
    assert_eq!(place.parts("study").len(), 3);
}

/// A row in a file of the user: the columns that are not named stay empty.
fn add_row(file: &Path, cells: &[(&str, &str)]) {
    let text = fs::read_to_string(file).unwrap();
    let head = text.trim_start_matches('\u{feff}').lines().next().unwrap();
    let cell = |column: &str| cells.iter().find(|c| c.0 == column).map_or("", |c| c.1);
    let row: Vec<&str> = head.split(',').map(cell).collect();
    fs::write(file, format!("{}\r\n{}\r\n", text.trim_end(), row.join(","))).unwrap();
}

/// What a run says of the structures that were measured and of those that were known.
fn work(err: &str) -> Option<[usize; 2]> {
    let line = err.lines().find(|l| l.contains("after decisions "))?;
    let numbers = line.split_whitespace().filter_map(|word| word.parse().ok());
    numbers.collect::<Vec<_>>().try_into().ok()
}

/// A decision, one after the other in one study: the tables are those of a study in which all had
/// been decided before anything was measured, and only what depends on it was measured.
#[test]
fn after_a_decision_the_tables_are_those_of_a_fresh_study() {
    let place = Place::with(2);
    place.key("study");
    let (_, err) = place.measure("study", &[]);
    assert_eq!(work(&err), None, "{err}");
    let plan = {
        let plans = fs::read_to_string(place.path().join("study/tables/plans.csv")).unwrap();
        crate::measured::rows_of(&plans)[0]["plan_id"].clone()
    };
    let of_plan = |name, roi, standard, role| {
        let cells = [("name_original", name), ("plan_id", plan.as_str()), ("roi_number", roi)];
        [&cells[..], &[("name_standard", standard), ("role", role)]].concat()
    };
    // The plan has a target and an organ; of the other plan nothing is asked.
    let rounds = [
        ("names.csv", of_plan("OpticChiasm", "2", "Pons", ""), [0, 2]),
        ("prescriptions.csv", vec![("plan_id", &*plan), ("prescription_gy", "11")], [1, 1]),
    ];
    for (number, (file, cells, expected)) in rounds.into_iter().enumerate() {
        add_row(&place.path().join("study").join(file), &cells);
        let (_, err) = place.measure("study", &[]);
        assert!(err.contains("1 of the cases were finished before"), "{err}");
        assert_eq!(work(&err), Some(expected), "{file}: {err}");
        let fresh = format!("fresh{number}");
        place.key(&fresh);
        fs::create_dir_all(place.path().join(&fresh)).unwrap();
        for file in ["names.csv", "prescriptions.csv"] {
            let from = place.path().join("study").join(file);
            fs::copy(from, place.path().join(&fresh).join(file)).unwrap();
        }
        place.measure(&fresh, &[]);
        let tables = |study: &str| {
            let mut files = place.result(study);
            files.retain(|name, _| name.starts_with("tables"));
            files
        };
        assert!(tables("study").len() > 20);
        assert_same(&tables("study"), &tables(&fresh));
    }
}

#[test]
fn a_damaged_part_is_noticed_and_its_case_measured_again() {
    let place = Place::with(2);
    place.key("study");
    place.measure("study", &[]);
    let before = place.result("study");
    let part = place.parts("study").into_keys().next().unwrap();
    let whole = fs::read(&part).unwrap();
    let mut flipped = whole.clone();
    *flipped.last_mut().unwrap() ^= 1;
    for bytes in [&flipped[..], &whole[..whole.len() / 2], b""] {
        fs::write(&part, bytes).unwrap();
        let (code, err) = place.measure("study", &[]);
        assert_eq!(code, DONE);
        assert!(err.contains("is damaged (") && err.contains("measured again"), "{err}");
        assert!(err.contains("1 of the cases were finished before"), "{err}");
        assert!(fs::read(&part).unwrap() == whole, "the part is whole again");
        assert_same(&place.result("study"), &before);
    }
}

/// Three runs with studies of their own, as on three machines, and two at a time in one folder.
#[test]
fn shares_made_apart_make_the_tables_of_one_run() {
    let place = Place::with(5);
    place.key("single");
    place.measure("single", &[]);
    let (code, err) = place.measure("share1", &["--part", "1/3"]);
    assert_eq!(code, 2);
    assert!(err.contains("all shares need one key"), "{err}");
    place.key("merged");
    fs::create_dir_all(place.path().join("merged/cases")).unwrap();
    let mut parts = 0;
    for i in 1..=3 {
        let study = format!("share{i}");
        place.key(&study);
        let (code, err) = place.measure(&study, &["--part", &format!("{i}/3")]);
        assert_eq!(code, 0, "{err}");
        assert!(err.contains(&format!("share {i}/3: ")) && err.contains("of 5 cases"), "{err}");
        assert!(!place.path().join(&study).join("tables").exists());
        let from = place.path().join(&study).join("cases");
        for entry in fs::read_dir(from).into_iter().flatten() {
            let entry = entry.unwrap();
            fs::copy(entry.path(), place.path().join("merged/cases").join(entry.file_name()))
                .unwrap();
            parts += 1;
        }
    }
    assert_eq!(parts, 5, "every case is in one share");
    let (_, err) = place.measure("merged", &[]);
    assert!(err.contains("5 of the cases were finished before"), "{err}");
    assert_same(&place.result("merged"), &place.result("single"));
    place.key("together");
    let spawn = |share| place.command("together", &["--part", share, "--quiet"]).spawn().unwrap();
    let both = [spawn("1/2"), spawn("2/2")];
    assert!(both.into_iter().all(|mut child| child.wait().unwrap().success()));
    let (_, err) = place.measure("together", &[]);
    assert!(err.contains("5 of the cases were finished before"), "{err}");
    assert_same(&place.result("together"), &place.result("single"));
}

/// When each file that is made of the results was written; the user's own are left out.
fn written(place: &Place) -> BTreeMap<PathBuf, std::time::SystemTime> {
    let names = place.result("study").into_keys();
    let made = names.filter(|name| {
        name.starts_with("tables") || name.extension().is_none_or(|ending| ending != "csv")
    });
    let time = |name: &PathBuf| fs::metadata(place.path().join("study").join(name)).unwrap();
    made.map(|name| (name.clone(), time(&name).modified().unwrap())).collect()
}

#[test]
fn tables_are_left_alone_only_where_they_are_what_would_be_written() {
    let place = Place::with(2);
    place.key("study");
    place.measure("study", &[]);
    let (first, calm) = (written(&place), place.result("study"));
    assert!(first.len() > 30, "{:?}", first.keys());
    let (code, said) = place.measure("study", &[]);
    assert_eq!(code, DONE);
    assert_eq!(written(&place), first, "nothing was written again");
    assert!(said.contains(" metric values, ") && !said.contains(" 0 metric values"), "{said}");
    // One byte more, a file that is gone, a record that is none: all is as it was.
    let study = place.path().join("study");
    let metrics = study.join("tables/metrics.csv");
    fs::write(&metrics, [fs::read(&metrics).unwrap(), b"x".to_vec()].concat()).unwrap();
    place.measure("study", &[]);
    assert_same(&place.result("study"), &calm);
    fs::remove_file(study.join("study.sqlite")).unwrap();
    place.measure("study", &[]);
    assert_same(&place.result("study"), &calm);
    let before = written(&place);
    fs::write(study.join(".tables"), "{}").unwrap();
    place.measure("study", &[]);
    assert_same(&place.result("study"), &calm);
    // The page and the workbook that ask stay as long as they ask the same.
    let asks = |name: &Path| name.starts_with("decide.html") || name.starts_with("decide.xlsx");
    let again = written(&place);
    assert!(again.iter().all(|(name, time)| asks(name) || before[name] < *time));
    // Another setting gives other tables, and the first one those of the first run.
    place.measure("study", &["--uncertain-from", "1"]);
    assert_ne!(fs::read(&metrics).unwrap(), calm[Path::new("tables/metrics.csv")]);
    place.measure("study", &[]);
    assert_same(&place.result("study"), &calm);
}

#[test]
fn a_second_run_in_the_same_folder_is_refused() {
    let place = Place::with(1);
    place.key("study");
    place.measure("study", &[]);
    let before = place.result("study");
    let lock = fs::File::open(place.path().join("study/.lock")).unwrap();
    lock.lock().unwrap();
    for more in [&[][..], &["--part", "1/2"]] {
        let (code, err) = place.measure("study", more);
        assert_eq!(code, 2);
        assert!(err.contains("study: another run is working in this folder"), "{err}");
    }
    assert_same(&place.result("study"), &before);
    drop(lock);
    assert_eq!(place.measure("study", &[]).0, DONE);
}

#[test]
fn what_is_no_share_is_refused() {
    let place = Place::with(1);
    for share in ["0/2", "3/2", "two"] {
        let (code, err) = place.measure("study", &["--part", share]);
        assert_eq!(code, 2);
        assert!(err.contains("option --part: ") && err.contains("such as 2/8"), "{err}");
    }
    assert!(!place.path().join("study").exists());
}
