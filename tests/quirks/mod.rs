//! Defects and quirks of real archives, one small file (or a pair) for each row of the catalogue,
//! read leniently and strictly. The number of a row is its place in the catalogue: 1 to 45 are
//! contours and structures, 46 to 56 and 82 to 85 what a dose is of, 57 to 81 the dose grid as it is
//! stored, 86 to 106 plans and people, 107 to 145 files and encodings.
//!
//! Every row changes one thing in the same sound course: a box of 20 × 20 × 10 mm³ (five squares 2
//! mm apart, half a gap beyond each end) in a dose that rises along x, y and z. Its volume is 4 cc
//! by arithmetic, its mean dose that of its centre.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

mod contours;
mod doses;
mod encodings;
mod files;
mod grids;
mod plans;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use tidydose_analyse::{Ends, Settings};
use tidydose_dose::Interpolation;
use tidydose_geometry::Point;
use tidydose_metrics::{self as metrics, Status};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use crate::archive::{Archive, Course, Measured};
use crate::phantom::dicom::{Contour, Roi};
use crate::phantom::field::{Field, Lattice};

/// Files by name.
type Files = BTreeMap<String, Vec<u8>>;

/// What a row changes.
enum Change {
    /// The description from which the files are written.
    Course(fn(&mut Course)),
    /// The files.
    Files(fn(&mut Files)),
}

/// What comes of it.
#[derive(Debug, Clone, Copy)]
enum Effect {
    /// Volume and mean dose of the box are those of the sound course.
    Same,
    /// The box has this volume in cc, to a share of 1e-6.
    Volume(f64),
    /// The volume is that of the sound course to this share.
    Near(f64),
    /// The box has no volume, with this status.
    NoVolume(Status),
    /// The box keeps its volume, its doses have this status.
    NoDose(Status),
    /// The case is left out for this: the box keeps its volume and has no dose.
    Left(Code),
    /// Whatever this asserts.
    Told(fn(&Measured)),
    /// The file becomes this, and no dose of the box has a value.
    File(&'static str, FileStatus),
    /// The file becomes this, and the box is measured all the same.
    Beside(&'static str, FileStatus),
}

/// One row of the catalogue.
struct Row {
    number: u32,
    /// What the file does.
    does: &'static str,
    change: Change,
    /// The finding that tells of it; none where the standard allows it or no reader can see it.
    finding: Option<Code>,
    lenient: Effect,
    /// What a strict run makes of it.
    strict: Effect,
}

/// A row on which both runs agree.
const fn row(
    number: u32,
    does: &'static str,
    change: Change,
    finding: Option<Code>,
    effect: Effect,
) -> Row {
    Row { number, does, change, finding, lenient: effect, strict: effect }
}

/// A row that only a strict run refuses, as a structure.
const fn doubtful_structure(
    number: u32,
    does: &'static str,
    change: Change,
    finding: Code,
    lenient: Effect,
) -> Row {
    let strict = Effect::NoVolume(Status::Excluded);
    Row { number, does, change, finding: Some(finding), lenient, strict }
}

/// A row that only a strict run refuses, as an object and with it the case.
const fn doubtful_object(
    number: u32,
    does: &'static str,
    change: Change,
    finding: Code,
    lenient: Effect,
) -> Row {
    doubtful_structure(number, does, change, finding, lenient)
}

fn square(half: f64, z: f64) -> Vec<Point> {
    vec![[-half, -half, z], [half, -half, z], [half, half, z], [-half, half, z]]
}

const PLANES: [f64; 5] = [0.0, 2.0, 4.0, 6.0, 8.0];
const PATIENT: &str = "QUIRK";
/// Dose at the centre of the box, Gy, and its slope along x, y and z, Gy/mm.
const MEAN_GY: f64 = 20.0;
const SLOPE: Point = [0.2, 0.1, -0.3];

fn field() -> Field {
    Field::Linear { centre: [0.0, 0.0, 4.0], dose: MEAN_GY, gradient: SLOPE }
}

fn course() -> Course {
    let mut roi = Roi::new(1, "Larynx", "ORGAN");
    roi.contours = PLANES.iter().map(|z| Contour::closed(square(10.0, *z))).collect();
    let lattice = Lattice::around([0.0, 0.0, 4.0], [18.0; 3], 3.0);
    Course::new(PATIENT, vec![roi], (&field(), &lattice), &[])
}

fn settings() -> Settings {
    let list = ["Volume[cc]", "Mean[Gy]", "PIV[cc]"];
    let metrics = list.iter().map(|name| metrics::parse(name).unwrap()).collect();
    let mut settings = Settings { metrics, ends: Ends::HalfSlice, ..Settings::default() };
    settings.interpolation = Interpolation::Trilinear;
    settings
}

impl Row {
    fn files(&self) -> Files {
        let mut course = course();
        if let Change::Course(change) = self.change {
            change(&mut course);
        }
        let named = course.files().into_iter();
        let mut files = named.map(|(name, bytes)| (name.to_owned(), bytes)).collect();
        if let Change::Files(change) = self.change {
            change(&mut files);
        }
        files
    }

    fn check(&self) {
        let archive = Archive::new();
        for (name, bytes) in self.files() {
            archive.add(&name, &bytes);
        }
        let lenient = archive.measure(&settings());
        let what = format!("row {} ({})", self.number, self.does);
        let codes: BTreeSet<Code> = lenient.findings.iter().map(|f| f.code).collect();
        match self.finding {
            Some(code) => assert!(codes.contains(&code), "{what}: {codes:?}"),
            None => assert!(codes.iter().all(|c| expected_anyway(*c)), "{what}: {codes:?}"),
        }
        self.lenient.check(&lenient, &format!("{what}, lenient"));
        self.strict.check(&lenient.strictly(), &format!("{what}, strict"));
    }
}

/// Said of nearly every invented course: its plan is not marked as approved, and so on.
fn expected_anyway(code: Code) -> bool {
    use tidydose_rt::finding::Severity::Note;
    static SOUND: std::sync::OnceLock<BTreeSet<Code>> = std::sync::OnceLock::new();
    let sound = SOUND
        .get_or_init(|| course().measure(&settings()).findings.iter().map(|f| f.code).collect());
    assert!(sound.iter().all(|c| c.definition().severity == Note), "{sound:?}");
    sound.contains(&code)
}

impl Effect {
    fn check(self, measured: &Measured, what: &str) {
        let all: Vec<_> = measured.analyses.values().flat_map(|a| &a.measurements).collect();
        let outcome = |metric: &str| {
            let mut own = all.iter().filter(|m| m.roi_number == 1 && m.metric == metric);
            own.next().map(|m| &m.outcome)
        };
        let value = |metric: &str| outcome(metric).and_then(|o| o.value);
        let near = |metric: &str, want: f64, share: f64| {
            let got = value(metric);
            let fits = got.is_some_and(|v| (v / want - 1.0).abs() <= share);
            assert!(fits, "{what}: {metric} {got:?}, not {want}: {:#?}", measured.findings);
        };
        match self {
            Self::Same => {
                near("Volume[cc]", 4.0, 1e-6);
                // Stored steps and single precision: 2^-24 of the dose of each cell.
                near("Mean[Gy]", MEAN_GY, 1e-5);
            }
            Self::Volume(cc) => near("Volume[cc]", cc, 1e-6),
            Self::Near(share) => near("Volume[cc]", 4.0, share),
            Self::NoVolume(status) => {
                let got = outcome("Volume[cc]").map(|o| (o.value, o.status));
                assert_eq!(got, Some((None, status)), "{what}");
            }
            Self::NoDose(status) => {
                near("Volume[cc]", 4.0, 1e-6);
                let got = outcome("Mean[Gy]").map(|o| (o.value, o.status));
                assert_eq!(got, Some((None, status)), "{what}");
            }
            Self::Left(code) => {
                let found = measured.cases[0].left_out.as_ref().map(|(code, _)| *code);
                assert_eq!(found, Some(code), "{what}: {:#?}", measured.findings);
                near("Volume[cc]", 4.0, 1e-6);
                assert_eq!(value("Mean[Gy]"), None, "{what}");
            }
            Self::Told(asserts) => asserts(measured),
            Self::File(name, status) => {
                assert_eq!(measured.status(name), status, "{what}: {:#?}", measured.findings);
                assert_eq!(value("Mean[Gy]"), None, "{what}");
            }
            Self::Beside(name, status) => {
                assert_eq!(measured.status(name), status, "{what}: {:#?}", measured.findings);
                Self::Same.check(measured, what);
            }
        }
    }
}

const CATALOGUE: RangeInclusive<u32> = 1..=145;

fn rows() -> Vec<&'static Row> {
    let tables = [
        contours::TABLES,
        doses::TABLES,
        grids::TABLES,
        plans::TABLES,
        encodings::TABLES,
        files::TABLES,
    ];
    tables.into_iter().flatten().copied().flatten().collect()
}

/// Volume and mean dose are those of the sound course.
fn sound(measured: &Measured) {
    Effect::Same.check(measured, "beside");
}

#[test]
fn the_sound_course_is_sound() {
    let measured = course().measure(&settings());
    Effect::Same.check(&measured, "sound");
    Effect::Same.check(&measured.strictly(), "sound, strict");
}

#[test]
fn every_row_is_there() {
    let numbers: BTreeSet<u32> = rows().iter().map(|row| row.number).collect();
    assert_eq!(numbers, CATALOGUE.collect());
}

/// Checks all rows before it fails, so that one run tells of every row.
fn check(tables: &[&[Row]]) {
    let fails = |row: &&Row| std::panic::catch_unwind(|| row.check()).is_err();
    let rows = tables.iter().copied().flatten();
    let failed: Vec<u32> = rows.filter(fails).map(|row| row.number).collect();
    assert!(failed.is_empty(), "rows {failed:?}");
}

#[test]
fn contours() {
    check(contours::TABLES);
}

#[test]
fn doses() {
    check(doses::TABLES);
}

#[test]
fn plans() {
    check(plans::TABLES);
}

#[test]
fn grids() {
    check(grids::TABLES);
}

#[test]
fn encodings() {
    check(encodings::TABLES);
}

#[test]
fn files() {
    check(files::TABLES);
}

/// The files of rows by number, each in a folder of its own.
#[cfg(feature = "outside")]
pub fn archive_of(numbers: &[u32]) -> Archive {
    let archive = Archive::new();
    for (index, row) in rows().iter().enumerate().filter(|(_, r)| numbers.contains(&r.number)) {
        for (name, bytes) in row.files() {
            archive.add(&format!("{} {index}/{name}", row.number), &bytes);
        }
    }
    archive
}
