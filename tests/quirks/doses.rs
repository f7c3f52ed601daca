//! Rows 46 to 56, 76, 77, 82 to 85, 135 and 136: what a dose is of, and what it belongs to (PS3.3
//! C.8.8.3, C.20.2).

use tidydose_case::{FrameLink, LinkMethod};
use tidydose_metrics::Status;
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use super::Change::{Course as C, Files as F};
use super::Effect::{File, Left, NoDose, Same, Told};
use super::{
    Effect, Files, PATIENT, Row, course, doubtful_object, doubtful_structure, field, row, sound,
};
use crate::archive::{Course, Measured};
use crate::phantom::dicom::{Beam, Dose, Header, Plan, Registration, Tag, raw, tags, uid};
use crate::phantom::field::{Field, Lattice};

const SPATIAL_TRANSFORM_OF_DOSE: Tag = Tag(0x3004, 0x0005);

fn scaled(course: &mut Course, factor: f64) {
    course.dose.values *= factor;
}

/// A dose object of the course beside its own.
fn another(name: &str, factor: f64, lattice: &Lattice) -> Dose {
    let sound = course();
    let field = Field::Scaled(factor, Box::new(field()));
    Dose::new(Header::new(PATIENT, name), &field, lattice, &sound.plan.header.instance_uid)
}

fn add(files: &mut Files, name: &str, dose: &Dose) {
    files.insert(format!("{name}.dcm"), dose.bytes().unwrap());
}

/// The plan with two beams instead of one; a dose for each that the list names, a quarter and three
/// quarters of the whole, instead of the dose of the plan.
fn by_beam(files: &mut Files, beams: &[i32]) {
    let mut two = course();
    let own = [1, 2].map(|n| Beam::shot(n, [0.0; 3], 8.0, 10.0)).to_vec();
    two.plan = Plan::new(two.plan.header.clone(), &two.set.header.instance_uid, 1, own);
    files.insert("plan.dcm".into(), two.plan.bytes().unwrap());
    files.remove("dose.dcm");
    for beam in beams {
        let factor = if *beam == 1 { 0.25 } else { 0.75 };
        let mut dose = another(&format!("beam {beam}"), factor, &two.dose.lattice);
        dose.summation = "BEAM".into();
        dose.fraction_group = Some(1);
        dose.beams = vec![*beam];
        add(files, &format!("beam {beam}"), &dose);
    }
}

/// The only dose is of one fraction group, or of one session of it.
fn of_group(course: &mut Course, summation: &str, fractions: i32) {
    course.plan.fraction_groups[0].fractions = Some(fractions);
    course.dose.summation = summation.into();
    course.dose.fraction_group = Some(1);
}

fn dose_frame() -> String {
    uid("quirk/frame of the dose")
}

/// A registration from the frame of the structures into that of the dose, both in one place.
fn registered(files: &mut Files, kind: &str) {
    let mut apart = course();
    apart.dose.header.frame_uid = dose_frame();
    files.insert("dose.dcm".into(), apart.dose.bytes().unwrap());
    let mut header = Header::new(PATIENT, "registration");
    header.frame_uid = dose_frame();
    let identity = std::array::from_fn(|i| if i % 5 == 0 { 1.0 } else { 0.0 });
    let mut registration = Registration::rigid(header, &apart.set.header.frame_uid, identity);
    registration.items[1].2 = kind.into();
    files.insert("registration.dcm".into(), registration.bytes().unwrap());
}

/// A second matrix about another place, in the same frame and of the same plan.
fn second_matrix(files: &mut Files) {
    let mut lattice = course().dose.lattice;
    lattice.origin[0] += 80.0;
    let mut dose = another("far", 1.0, &lattice);
    dose.values = field().sample(&lattice);
    add(files, "far", &dose);
}

/// The box is a target, its prescription below the dose at the edge of the grid.
fn wide_isodose(course: &mut Course) {
    let roi = &mut course.set.rois[0];
    (roi.name, roi.interpreted_type) = ("PTV".into(), "PTV".into());
    prescribed(course, 12.0);
}

fn prescribed(course: &mut Course, dose: f64) {
    use crate::phantom::dicom::DoseReference;
    course.plan.dose_references = vec![DoseReference::target(1, 1, dose, "")];
}

fn two_plans(course: &mut Course) {
    course.dose.summation = "MULTI_PLAN".into();
    course.dose.plan_uids.push(uid("quirk/another plan"));
}

/// As two_plans, and the other plan of three fractions is there.
fn two_fractionations(files: &mut Files) {
    let mut both = course();
    two_plans(&mut both);
    files.insert("dose.dcm".into(), both.dose.bytes().unwrap());
    both.plan.header.instance_uid = uid("quirk/another plan");
    both.plan.fraction_groups[0].fractions = Some(3);
    files.insert("plan 3.dcm".into(), both.plan.bytes().unwrap());
}

fn joined_by_frame(measured: &Measured) {
    sound(measured);
    let case = &measured.cases[0];
    assert_eq!((case.plan.is_some(), case.structure_link), (false, LinkMethod::Frame));
}

/// Refused, with both identifiers and what the coordinates say.
fn asked_about_frames(measured: &Measured) {
    Left(Code::LinkFrameMismatch).check(measured, "frames");
    let (_, message) = measured.cases[0].left_out.clone().unwrap();
    assert!(message.contains(&dose_frame()), "{message}");
    assert!(message.contains(&course().set.header.frame_uid), "{message}");
    assert!(message.contains("1 of 1 structures have their middle inside"), "{message}");
}

pub const TABLES: &[&[Row]] = &[DOSES, LINKS];

const REFUSED: Effect = File("dose.dcm", FileStatus::Refused);

const DOSES: &[Row] = &[
    row(
        46,
        "a dose in relative units",
        C(|c| c.dose.units = "RELATIVE".into()),
        Some(Code::DoseRelative),
        Left(Code::DoseRelative),
    ),
    row(
        47,
        "centigray labelled as gray",
        C(|c| scaled(c, 100.0)),
        Some(Code::DoseImplausible),
        Told(|measured| {
            REFUSED.check(measured, "centigray");
            let (code, why) = measured.cases[0].left_out.clone().unwrap();
            assert_eq!(code, Code::LinkMissing);
            assert!(why.ends_with("; a dose of the patient was refused, see table files"), "{why}");
        }),
    ),
    doubtful_object(
        48,
        "biologically weighted dose",
        C(|c| c.dose.dose_type = "EFFECTIVE".into()),
        Code::DoseEffective,
        Same,
    ),
    row(
        48,
        "a difference of doses",
        C(|c| c.dose.dose_type = "ERROR".into()),
        Some(Code::DoseErrorType),
        Left(Code::DoseErrorType),
    ),
    row(
        49,
        "doses of all beams, none of the plan",
        F(|files| by_beam(files, &[1, 2])),
        Some(Code::DoseSummed),
        Same,
    ),
    row(
        49,
        "the dose of one beam of two",
        F(|files| by_beam(files, &[2])),
        Some(Code::DoseSummationUnused),
        Left(Code::DoseSummationUnused),
    ),
    row(
        50,
        "doses of the beams beside that of the plan",
        F(|files| {
            by_beam(files, &[1, 2]);
            files.insert("dose.dcm".into(), course().dose.bytes().unwrap());
        }),
        Some(Code::DoseSummationUnused),
        Same,
    ),
    row(51, "the dose of a fraction group", C(|c| of_group(c, "FRACTION", 5)), None, Same),
    doubtful_object(
        51,
        "the dose of one of five sessions",
        C(|c| {
            of_group(c, "FRACTION_SESSION", 5);
            scaled(c, 0.2);
        }),
        Code::DoseMultiplied,
        Same,
    ),
    doubtful_object(
        52,
        "a dose of the plan that looks like one of three fractions",
        C(|c| {
            let roi = &mut c.set.rois[0];
            (roi.name, roi.interpreted_type) = ("PTV".into(), "PTV".into());
            prescribed(c, 60.0);
            c.plan.fraction_groups[0].fractions = Some(3);
        }),
        Code::DoseLikeOneFraction,
        Same,
    ),
    row(
        53,
        "two doses of one plan",
        F(|files| add(files, "again", &another("again", 1.1, &course().dose.lattice))),
        Some(Code::DoseSeveral),
        Left(Code::DoseSeveral),
    ),
    doubtful_object(
        76,
        "small matrices, each about another place",
        F(second_matrix),
        Code::DoseGridsLocal,
        Same,
    ),
    doubtful_structure(
        76,
        "a matrix that ends within the box",
        C(|c| {
            let lattice = Lattice::around([-8.0, 0.0, 4.0], [14.0, 18.0, 18.0], 3.0);
            c.dose.values = field().sample(&lattice);
            c.dose.lattice = lattice;
        }),
        Code::GridMissesPart,
        NoDose(Status::PartlyOutsideGrid),
    ),
    doubtful_object(
        77,
        "an isodose that reaches the edge of the grid",
        C(wide_isodose),
        Code::IsodoseCut,
        Told(|measured| {
            sound(measured);
            let volume = &measured.metrics(1)["PIV[cc]"];
            assert_eq!((volume.status, volume.high), (Status::Bound, None));
        }),
    ),
    doubtful_object(
        82,
        "a dose that was deformed",
        F(|files| {
            let transform = raw::element(SPATIAL_TRANSFORM_OF_DOSE, b"CS", b"NON_RIGID ");
            raw::insert(files.get_mut("dose.dcm").unwrap(), tags::DOSE_SUMMATION_TYPE, &transform);
        }),
        Code::DoseTransformed,
        Same,
    ),
    row(
        82,
        "a sum over two plans",
        C(two_plans),
        Some(Code::DoseSummationUnused),
        Left(Code::LinkMissing),
    ),
    row(
        83,
        "a sum over plans of one and of three fractions",
        F(two_fractionations),
        Some(Code::DoseSummationUnused),
        Left(Code::LinkMissing),
    ),
    row(
        84,
        "no dose outside the patient",
        C(|c| {
            // All but 5 mm about the box: the interpolation beside it still knows its neighbours.
            for ((_, _, column), dose) in c.dose.values.indexed_iter_mut() {
                let x = c.dose.lattice.origin[0] + 3.0 * column as f64;
                *dose = if x.abs() > 15.0 { 0.0 } else { *dose };
            }
        }),
        None,
        Same,
    ),
    row(
        85,
        "a calculation in water",
        F(|files| {
            let dose = files.get_mut("dose.dcm").unwrap();
            raw::set(dose, tags::TISSUE_HETEROGENEITY_CORRECTION, b"CS", "WATER");
        }),
        None,
        Told(|measured| {
            sound(measured);
            let dose = measured.cases[0].dose.as_ref().unwrap();
            assert_eq!(dose.heterogeneity.as_deref(), Some("WATER"));
        }),
    ),
];

const LINKS: &[Row] = &[
    doubtful_object(
        54,
        "a dose whose plan is not there",
        F(|files| {
            files.remove("plan.dcm");
        }),
        Code::LinkByFrame,
        Told(joined_by_frame),
    ),
    row(
        55,
        "dose and structures in different frames",
        C(|c| c.dose.header.frame_uid = dose_frame()),
        Some(Code::LinkFrameMismatch),
        Left(Code::LinkFrameMismatch),
    ),
    doubtful_object(
        55,
        "a rigid registration between the frames",
        F(|files| registered(files, "RIGID")),
        Code::LinkByRegistration,
        Told(|measured| {
            sound(measured);
            assert_eq!(measured.cases[0].frames.link, FrameLink::Registration);
        }),
    ),
    row(
        55,
        "a registration that scales",
        F(|files| registered(files, "RIGID_SCALE")),
        Some(Code::LinkFrameMismatch),
        Left(Code::LinkFrameMismatch),
    ),
    row(
        56,
        "frames that differ in name only",
        C(|c| c.dose.header.frame_uid = dose_frame()),
        Some(Code::LinkFrameMismatch),
        Told(asked_about_frames),
    ),
    doubtful_object(
        135,
        "identifiers replaced in the objects but not in their references",
        C(|c| {
            c.set.header.instance_uid = uid("quirk/other set");
            c.plan.header.instance_uid = uid("quirk/other plan");
        }),
        Code::LinkByFrame,
        Told(|measured| {
            sound(measured);
            let case = &measured.cases[0];
            assert_eq!([case.dose_link, case.structure_link], [LinkMethod::Frame; 2]);
        }),
    ),
    row(
        136,
        "a frame of its own for each series",
        C(|c| {
            c.dose.header.frame_uid = dose_frame();
            c.plan.header.frame_uid = uid("quirk/frame of the plan");
        }),
        Some(Code::LinkFrameMismatch),
        Told(asked_about_frames),
    ),
];
