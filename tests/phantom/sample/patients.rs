//! The keepers, one by one: first those whose files are as they should be, then those that each
//! show one defect of real archives.

use tidydose_geometry::Point;

use super::anatomy::{CAPITALS, DUTCH, FRENCH, GERMAN, LOOSE, Organ, SPANISH, STANDARD};
use super::case::{Course, Lesion, Objects, Place, Technology, around, balanced, radial};
use super::truth;
use super::{Archive, File};
use crate::phantom::dicom::{CtImage, Dose, Encoding, Header, PlaneOffsets, Result, Roi, Wrapping};
use crate::phantom::field::Field;
use crate::phantom::solid::{PlaneStack, Solid, axes_turned};
use Technology::{Cobalt, Gantry, Robot};

impl Archive {
    fn file(&mut self, path: &str, bytes: Vec<u8>) {
        self.files.push(File { path: path.into(), bytes });
    }

    /// The objects under the habits of each technology's export.
    fn objects(&mut self, course: &Course, objects: &Objects) -> Result<()> {
        let (folder, patient) = (course.technology.folder(), &course.patient);
        let label = &course.label;
        let paths = match course.technology {
            Cobalt => {
                ["RTSTRUCT", "RTPLAN", "RTDOSE"].map(|k| format!("{patient}/{label}/{k}.dcm"))
            }
            Robot => ["1", "2", "3"].map(|k| format!("{patient}_{label}/IM00000{k}")),
            Gantry => ["structures", "plan", "dose"].map(|k| format!("{patient}/{label}-{k}.dcm")),
        };
        let all = [objects.set.bytes()?, objects.plan.bytes()?, objects.dose.bytes()?];
        for (path, bytes) in paths.iter().zip(all) {
            self.file(&format!("{folder}/{path}"), bytes);
        }
        Ok(())
    }

    /// A course without defect, and the truth about it.
    pub(super) fn clean(&mut self, course: &Course) -> Result<()> {
        self.truth.extend(truth::rows(course));
        self.objects(course, &course.objects())
    }
}

/// A region that is an isodose or a ring, as planners leave them behind.
fn helper(name: &str, solid: &Solid, interpreted_type: &str) -> Roi {
    let stack = PlaneStack::axial(2.0, 0.3);
    Roi::new(0, name, interpreted_type).outlining(solid, &stack, 40).rounded(2)
}

/// Adds the keepers whose files are as they should be.
///
/// # Errors
/// When an object cannot be encoded.
pub fn add_clean(archive: &mut Archive) -> Result<()> {
    archive.clean(&smallest())?;
    archive.clean(&schwannoma())?;
    archive.clean(&six())?;
    archive.clean(&single_by_robot())?;
    archive.clean(&meningioma())?;
    archive.clean(&ten())?;
    archive.clean(&in_the_brainstem())?;
    let [first, second] = two_courses();
    archive.clean(&first)?;
    archive.clean(&second)
}

/// LK-01: one metastasis of 4 mm, one shot of the 4 mm opening, standard names.
fn smallest() -> Course {
    let lesion = Lesion::ball("GTV", ([31.2, 18.7, 20.4], 2.0), (24.0, 0.25), (Cobalt, 0.04));
    Course::new("LK-01", "Fulmar", Cobalt, vec![lesion])
}

/// LK-02: a schwannoma of two lobes from the canal towards the brainstem, German names, 32 bits.
fn schwannoma() -> Course {
    let at: [Point; 2] = [[23.0, 9.0, -34.0], [17.6, 12.1, -33.2]];
    let radii = [2.6, 4.4];
    let doses = [0, 1].map(|i| {
        // Each lobe gives a part, so that their sum wraps the whole at the prescription.
        (at[i], radial([6.8, 9.6][i], radii[i], 0.9, (Cobalt, 0.03)))
    });
    let lesion = Lesion {
        name: "AKN links".into(),
        solid: Solid::TwoBalls { centres: at, radii },
        doses: doses.to_vec(),
        prescription: 12.5,
    };
    let mut course = Course::new("LK-02", "Gannet", Cobalt, vec![lesion]);
    course.names = &GERMAN;
    course.date = "20110914";
    course.bits = 32;
    course
}

/// LK-03: six metastases, French names, grid of 1.5 mm round them.
fn six() -> Course {
    let places: [(Point, f64); 6] = [
        ([-28.3, -20.1, 25.4], 1.5),
        ([-12.2, 31.5, 30.8], 2.0),
        ([17.4, -30.6, 12.3], 2.5),
        ([33.8, 22.9, 27.1], 3.5),
        ([8.6, 3.2, 38.7], 1.8),
        ([-35.1, 12.4, 2.6], 5.0),
    ];
    let place = |(i, (centre, radius)): (usize, &(Point, f64))| Place {
        name: format!("Meta {}", i + 1),
        centre: *centre,
        radius: *radius,
        prescription: if *radius > 4.0 { 20.0 } else { 22.0 },
    };
    let places: Vec<Place> = places.iter().enumerate().map(place).collect();
    let lesions = balanced(&places, 0.3, (Cobalt, 0.02));
    let mut course = Course::new("LK-03", "Puffin", Cobalt, lesions);
    course.names = &FRENCH;
    course.date = "20130221";
    course.lattice = around(&course.lesions, 14.0, 1.5);
    course
}

/// LK-04: one metastasis by the robot arm, free English names, grid over the head.
fn single_by_robot() -> Course {
    let lesion =
        Lesion::ball("met R parietal", ([-33.6, 29.3, 28.1], 7.5), (20.0, 0.4), (Robot, 0.04));
    let mut course = Course::new("LK-04", "Skua", Robot, vec![lesion]);
    course.names = &LOOSE;
    course.date = "20170630";
    course.head = ([0.4, -0.7, 1.1], 1.02);
    course.organs.push(Organ::External);
    let ring = Solid::Shell { centre: [-33.6, 29.3, 28.1], outer: 14.0, inner: 9.0 };
    let at_12 = Solid::ball([-33.6, 29.3, 28.1], 9.6);
    course.helpers =
        vec![helper("zRing", &ring, "CONTROL"), helper("12Gy isodose", &at_12, "DOSE_REGION")];
    course.over_the_head(2.0)
}

/// LK-05: a meningioma near the chiasm in five fractions, Spanish names, 1.5 mm, 32 bits.
fn meningioma() -> Course {
    let centre = [13.5, -20.5, -13.0];
    let lesion = Lesion {
        name: "Meningioma".into(),
        solid: Solid::Ellipsoid {
            centre,
            axes: axes_turned([15.0, 25.0, 40.0]),
            semi: [7.2, 6.0, 5.2],
        },
        doses: vec![(centre, radial(25.0, 6.8, 0.6, (Robot, 0.03)))],
        prescription: 25.0,
    };
    let mut course = Course::new("LK-05", "Petrel", Robot, vec![lesion]);
    course.names = &SPANISH;
    course.date = "20181112";
    course.fractions = 5;
    course.bits = 32;
    course.lattice = around(&course.lesions, 36.0, 1.5);
    course
}

/// LK-06: ten metastases about one isocentre, totals and helpers beside them, grid over the head.
fn ten() -> Course {
    let places: [(Point, f64); 10] = [
        ([-41.2, -22.6, 10.3], 2.5),
        ([-22.4, 41.7, 18.2], 4.0),
        ([2.3, -48.1, 22.5], 3.0),
        ([36.9, -27.3, 18.8], 6.5),
        ([43.1, 14.2, 4.6], 3.5),
        ([20.7, 52.3, -1.4], 5.0),
        ([-15.8, 8.9, 44.1], 3.0),
        ([18.2, 10.4, 38.9], 4.5),
        ([-45.3, 15.6, -8.2], 3.5),
        ([-20.6, -45.2, -3.7], 5.5),
    ];
    let place = |(i, (centre, radius)): (usize, &(Point, f64))| Place {
        name: format!("GTV{}", i + 1),
        centre: *centre,
        radius: *radius,
        prescription: if *radius < 5.0 { 22.0 } else { 20.0 },
    };
    let all: Vec<Place> = places.iter().enumerate().map(place).collect();
    let lesions = balanced(&all, 0.5, (Gantry, 0.012));
    let mut course = Course::new("LK-06", "Tern", Gantry, lesions);
    course.date = "20200817";
    course.head = ([-0.6, 0.9, 0.2], 1.0);
    course.organs.push(Organ::External);
    let mut total = Roi::new(0, "PTV_Total", "PTV");
    let mut ring = Roi::new(0, "zRing", "CONTROL");
    for (centre, radius) in places {
        let stack = PlaneStack::axial(1.0, 0.3);
        total = total.outlining(&Solid::ball(centre, radius + 1.0), &stack, 60);
        let shell = Solid::Shell { centre, outer: radius + 6.0, inner: radius + 3.0 };
        ring = ring.outlining(&shell, &PlaneStack::axial(3.0, 0.3), 32);
    }
    course.helpers = vec![total.rounded(2), ring.rounded(1)];
    course.over_the_head(2.0)
}

/// LK-07: a target inside the brainstem, capitals.
fn in_the_brainstem() -> Course {
    let lesion = Lesion::ball("PONS MET", ([1.4, 21.3, -33.2], 4.0), (15.0, 0.4), (Gantry, 0.04));
    let mut course = Course::new("LK-07", "Eider", Gantry, vec![lesion]);
    course.names = &CAPITALS;
    course.date = "20190506";
    course.lattice = around(&course.lesions, 42.0, 1.5);
    course
}

/// LK-08: a cobalt course and, two years later, a new target by the gantry linac in another frame.
fn two_courses() -> [Course; 2] {
    let first =
        Lesion::ball("GTV L frontal", ([24.6, -37.3, 21.9], 5.0), (22.0, 0.3), (Cobalt, 0.04));
    let mut one = Course::new("LK-08", "Curlew", Cobalt, vec![first]);
    one.date = "20120312";
    let second =
        Lesion::ball("GTV R occipital", ([-22.8, 47.1, 6.4], 6.0), (20.0, 0.4), (Gantry, 0.04));
    let mut two = Course::new("LK-08", "Curlew", Gantry, vec![second]);
    two.label = "B".into();
    two.date = "20140527";
    two.names = &DUTCH;
    two.head = ([3.1, -2.2, 4.0], 1.0);
    [one, two.over_the_head(2.5)]
}

/// A small course: one ball, brainstem and two cochleae, as the bearer of a defect.
fn bearer(number: u32, keeper: &'static str, technology: Technology) -> Course {
    let step = f64::from(number - 9);
    let centre = [-30.0 + 4.3 * step, 14.2 - 2.1 * step, 12.4 + 1.7 * step];
    let lesion = Lesion::ball("GTV", (centre, 3.0 + 0.25 * step), (20.0, 0.3), (technology, 0.04));
    let mut course = Course::new(&format!("LK-{number:02}"), keeper, technology, vec![lesion]);
    course.names = &STANDARD;
    course.organs = vec![Organ::Brainstem, Organ::CochleaLeft, Organ::CochleaRight];
    course
}

/// Adds the keepers of whom each shows one defect.
///
/// # Errors
/// When an object cannot be encoded.
pub fn add_flawed(archive: &mut Archive) -> Result<()> {
    encoding_defects(archive)?;
    linking_defects(archive)?;
    content_defects(archive)?;
    stray_files(archive)
}

fn encoding_defects(archive: &mut Archive) -> Result<()> {
    // Readable all the same: the truth stands.
    let course = bearer(9, "Dunlin", Cobalt);
    let mut objects = course.objects();
    objects.set.header.wrapping = Wrapping::NoPreamble;
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;

    let course = bearer(10, "Heron", Robot);
    let mut objects = course.objects();
    for header in [&mut objects.set.header, &mut objects.plan.header, &mut objects.dose.header] {
        header.encoding = Encoding::ImplicitLittle;
    }
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;

    let course = bearer(11, "Plover", Cobalt);
    let mut objects = course.objects();
    objects.set.rois = objects.set.rois.into_iter().map(Roi::disordered).collect();
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;

    let course = bearer(12, "Teal", Gantry);
    let mut objects = course.objects();
    objects.dose.offsets = PlaneOffsets::Absolute;
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)
}

fn linking_defects(archive: &mut Archive) -> Result<()> {
    // The plan was never exported.
    let course = bearer(13, "Whimbrel", Cobalt);
    let objects = course.objects();
    archive.truth.extend(truth::rows(&course));
    archive.file("cobalt-unit/LK-13/A/RTSTRUCT.dcm", objects.set.bytes()?);
    archive.file("cobalt-unit/LK-13/A/RTDOSE.dcm", objects.dose.bytes()?);

    // Two doses claim to be the whole plan; they differ by three per cent.
    let course = bearer(14, "Godwit", Gantry);
    let objects = course.objects();
    archive.objects(&course, &objects)?;
    let scaled = Field::Scaled(1.03, Box::new(course.field()));
    let mut again = Dose::new(
        Header::new("LK-14", "A/dose again"),
        &scaled,
        &course.lattice,
        &objects.plan.header.instance_uid,
    );
    let instance = (again.header.instance_uid.clone(), again.header.series_uid.clone());
    again.header = objects.dose.header.clone();
    (again.header.instance_uid, again.header.series_uid) = instance;
    again.bits = 16;
    archive.file("gantry/LK-14/A-dose-2.dcm", again.bytes()?);

    // Beside the plan its copy for a measuring phantom, with a dose of its own.
    let course = bearer(15, "Sanderling", Gantry);
    let objects = course.objects();
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;
    let mut check = Course { label: "QA".into(), ..course.clone() }.objects();
    check.plan.intent = "VERIFICATION".into();
    check.plan.geometry = "TREATMENT_DEVICE".into();
    check.plan.approval = "UNAPPROVED".into();
    check.plan.structure_set_uid = String::new();
    check.plan.dose_references.clear();
    check.plan.related_plan =
        Some((objects.plan.header.instance_uid.clone(), "VERIFIED_PLAN".into()));
    archive.file("gantry/LK-15/QA-plan.dcm", check.plan.bytes()?);
    archive.file("gantry/LK-15/QA-dose.dcm", check.dose.bytes()?);
    Ok(())
}

fn content_defects(archive: &mut Archive) -> Result<()> {
    // The plan file breaks off.
    let course = bearer(16, "Turnstone", Robot);
    let objects = course.objects();
    archive.truth.extend(truth::rows(&course));
    archive.file("robot-arm/LK-16_A/IM000001", objects.set.bytes()?);
    let mut plan = objects.plan.bytes()?;
    plan.truncate(plan.len() * 3 / 5);
    archive.file("robot-arm/LK-16_A/IM000002", plan);
    archive.file("robot-arm/LK-16_A/IM000003", objects.dose.bytes()?);

    // The chiasm has a name and no contours.
    let course = bearer(17, "Avocet", Cobalt);
    let mut objects = course.objects();
    objects.set.rois.push(Roi::new(5, "OpticChiasm", "ORGAN"));
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;

    // Nothing says what was prescribed.
    let course = bearer(18, "Dotterel", Gantry);
    let mut objects = course.objects();
    objects.plan.dose_references.clear();
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;

    single_plane(archive)
}

/// LK-19: a target of 2.8 mm on images 3 mm apart, drawn on one of them only.
fn single_plane(archive: &mut Archive) -> Result<()> {
    let lesion = Lesion::ball("GTV", ([15.3, -12.1, 12.6], 1.4), (24.0, 0.3), (Cobalt, 0.04));
    let mut course = Course::new("LK-19", "Lapwing", Cobalt, vec![lesion]);
    course.organs = vec![Organ::Brainstem];
    course.slice_mm = 3.0;
    let mut objects = course.objects();
    let series = Header::new("LK-19", "images").series_uid;
    for k in 0..5 {
        let mut header = Header::new("LK-19", &format!("image {k}"));
        header.study_uid = objects.set.header.study_uid.clone();
        header.frame_uid = objects.set.header.frame_uid.clone();
        header.patient_name = objects.set.header.patient_name.clone();
        header.date = objects.set.header.date.clone();
        header.series_uid = series.clone();
        objects.set.image_uids.push(header.instance_uid.clone());
        let mut image = CtImage::new(header, 6.3 + 3.0 * f64::from(k), 3.0);
        image.instance_number = k + 1;
        archive.file(&format!("cobalt-unit/LK-19/A/CT{}.dcm", k + 1), image.bytes()?);
    }
    objects.set.image_series_uid = series;
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)
}

fn stray_files(archive: &mut Archive) -> Result<()> {
    // The same bytes twice, under another name.
    let course = bearer(20, "Redshank", Cobalt);
    let objects = course.objects();
    archive.truth.extend(truth::rows(&course));
    archive.objects(&course, &objects)?;
    archive.file("cobalt-unit/LK-20/A/copy of RTDOSE.dcm", objects.dose.bytes()?);
    let note = "Exported for the registry of invented lights.\nNothing in this folder is real.\n";
    archive.file("notes.txt", note.as_bytes().to_vec());
    archive.file("robot-arm/empty.dcm", Vec::new());
    Ok(())
}
