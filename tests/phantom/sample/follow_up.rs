//! The keepers who were looked at again after their treatment: one whose lesion shrinks, one whose
//! tumour comes back where it was, one at the edge of what was treated with a new lesion elsewhere.
//! The later structure sets lie in frames of reference of their own; a rigid registration leads from
//! each into that of the plan.

use tidydose_geometry::Point;

use super::case::{Course, Lesion, Technology};
use super::truth::Row;
use super::{Archive, File};
use crate::phantom::closed_form::Radial;
use crate::phantom::dicom::{
    CtImage, Header, Motion, Registration, Result, Roi, StructureSet, uid,
};
use crate::phantom::solid::{PlaneStack, Solid};

/// A ball that was drawn again.
pub struct Again {
    /// ROI Name.
    pub name: &'static str,
    /// Its centre in the frame of reference of the plan, mm.
    pub centre: Point,
    /// Its radius, mm.
    pub radius: f64,
}

/// One time after the treatment.
pub struct Look {
    /// Date, as DICOM writes it.
    pub date: &'static str,
    /// Days since the plan.
    pub days: i64,
    /// What was drawn.
    pub balls: Vec<Again>,
    /// Turn of the later frame about a tilted axis, degrees, and its shift, mm.
    pub motion: (f64, Point),
    /// Whether images are there that tell the day.
    pub imaged: bool,
}

/// A keeper with the times after the treatment.
pub struct Keeper {
    /// The treatment: one ball alone in its dose.
    pub course: Course,
    /// The times.
    pub looks: Vec<Look>,
}

impl Keeper {
    /// Centre of the treated ball, and the dose about it.
    pub fn dose(&self) -> &(Point, Radial) {
        &self.course.lesions[0].doses[0]
    }

    /// Radius of the treated ball, mm.
    pub fn radius(&self) -> f64 {
        match self.course.lesions[0].solid {
            Solid::Ball { radius, .. } => radius,
            _ => f64::NAN,
        }
    }
}

/// All three.
pub fn keepers() -> Vec<Keeper> {
    vec![shrinking(), in_field(), marginal()]
}

/// Adds them.
///
/// # Errors
/// When an object cannot be encoded.
pub fn add(archive: &mut Archive) -> Result<()> {
    for keeper in keepers() {
        archive.clean(&keeper.course)?;
        for (i, look) in keeper.looks.iter().enumerate() {
            archive.look(&keeper, i + 1, look)?;
        }
    }
    Ok(())
}

fn treated(
    patient: &str,
    keeper: &'static str,
    technology: Technology,
    (centre, radius): (Point, f64),
) -> Course {
    let lesion = Lesion::ball("GTV", (centre, radius), (20.0, 0.3), (technology, 0.04));
    let mut course = Course::new(patient, keeper, technology, vec![lesion]);
    course.organs = Vec::new();
    course.date = "20210412";
    course
}

const fn again(name: &'static str, centre: Point, radius: f64) -> Again {
    Again { name, centre, radius }
}

/// LK-21: 12 mm, then 9 and 6 mm.
fn shrinking() -> Keeper {
    let centre = [22.4, -31.7, 24.3];
    let look = |date, days, name, (centre, radius), degrees| Look {
        date,
        days,
        balls: vec![again(name, centre, radius)],
        motion: (degrees, [4.0, -7.5, 11.0]),
        imaged: false,
    };
    Keeper {
        course: treated("LK-21", "Kittiwake", Technology::Cobalt, (centre, 6.0)),
        looks: vec![
            look("20210705", 84, "GTV later", ([22.9, -31.3, 24.1], 4.5), 6.0),
            look("20211018", 189, "GTV later 2", ([23.1, -31.2, 23.8], 3.0), -4.0),
        ],
    }
}

/// LK-22: 14 mm, then 8 mm, then 13.2 mm: it grows again within what was treated.
fn in_field() -> Keeper {
    let centre = [-27.3, 21.4, 19.6];
    let look = |date, days, name, (centre, radius), degrees| Look {
        date,
        days,
        balls: vec![again(name, centre, radius)],
        motion: (degrees, [-6.0, 3.5, -8.0]),
        imaged: true,
    };
    Keeper {
        course: treated("LK-22", "Guillemot", Technology::Gantry, (centre, 7.0)),
        looks: vec![
            look("20210812", 122, "GTV again", ([-27.0, 21.0, 19.9], 4.0), 5.0),
            look("20220131", 294, "GTV again 2", ([-26.8, 21.1, 19.7], 6.6), 3.0),
        ],
    }
}

/// LK-23: 12 mm; later a ball across the prescription isodose, and a new one elsewhere.
fn marginal() -> Keeper {
    let centre = [19.8, 33.1, 12.2];
    Keeper {
        course: treated("LK-23", "Razorbill", Technology::Robot, (centre, 6.0)),
        looks: vec![Look {
            date: "20211208",
            days: 240,
            balls: vec![
                again("GTV recurrence", [19.8, 33.1 + 6.5, 12.2], 4.5),
                again("GTV new", [19.8, 21.9, 19.2], 3.5),
            ],
            motion: (7.0, [9.0, 2.0, -5.5]),
            imaged: true,
        }],
    }
}

impl Archive {
    fn look(&mut self, keeper: &Keeper, number: usize, look: &Look) -> Result<()> {
        let course = &keeper.course;
        let objects = course.objects();
        let label = format!("F{number}");
        let folder = format!("follow-up/{}/{label}", course.patient);
        let mut header = objects.set.header.clone();
        let own = |what: &str| uid(&format!("{}/{label}/{what}", course.patient));
        header.date = look.date.into();
        header.study_uid = own("study");
        header.frame_uid = own("frame");
        let of = |what: &str| Header {
            instance_uid: own(what),
            series_uid: own(&format!("{what} series")),
            ..header.clone()
        };
        let (degrees, shift) = look.motion;
        // From the later frame into that of the plan.
        let motion = Motion::new(degrees, shift);
        let back = motion.inverse();
        let mut rois = Vec::new();
        for (i, ball) in look.balls.iter().enumerate() {
            let solid = Solid::ball(back.apply(ball.centre), ball.radius);
            let roi = Roi::new(i as i32 + 1, ball.name, "GTV");
            rois.push(roi.outlining(&solid, &PlaneStack::axial(1.0, 0.3), 100).rounded(3));
            self.truth.push(Row {
                patient: course.patient.clone(),
                plan: label.clone(),
                structure: ball.name.into(),
                metric: "Volume[cc]".into(),
                value: solid.volume() / 1000.0,
                unit: "cc".into(),
                how: "closed_form",
            });
        }
        let mut set = StructureSet::new(of("structures"), rois);
        if look.imaged {
            let z = back.apply(look.balls[0].centre)[2];
            for k in 0..3 {
                let image = Header { series_uid: own("image series"), ..of(&format!("image {k}")) };
                set.image_uids.push(image.instance_uid.clone());
                let mut image = CtImage::new(image, z + f64::from(k), 1.0);
                image.instance_number = k + 1;
                let path = format!("{folder}/CT{}.dcm", k + 1);
                self.files.push(File { path, bytes: image.bytes()? });
            }
            set.image_series_uid = own("image series");
        }
        let frame = set.header.frame_uid.clone();
        let into = Header { frame_uid: objects.set.header.frame_uid.clone(), ..of("registration") };
        let registration = Registration::rigid(into, &frame, motion.0);
        let set = set.bytes()?;
        self.files.push(File { path: format!("{folder}/structures.dcm"), bytes: set });
        let bytes = registration.bytes()?;
        self.files.push(File { path: format!("{folder}/registration.dcm"), bytes });
        Ok(())
    }
}
