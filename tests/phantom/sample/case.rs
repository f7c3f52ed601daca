//! One course of treatment: from lesions and a technology to structure set, plan and dose.

use tidydose_geometry::Point;
use tidydose_geometry::point::{add, scale};

use super::anatomy::{Names, ORGANS, Organ, STANDARD};
use crate::phantom::closed_form::Radial;
use crate::phantom::dicom::{Beam, Dose, DoseReference, Header, Plan, Roi, StructureSet, uid};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

/// How the dose is delivered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Technology {
    /// A multi-source cobalt unit.
    Cobalt,
    /// A robot-arm linac.
    Robot,
    /// A gantry linac.
    Gantry,
}

impl Technology {
    /// Folder of its exports.
    pub const fn folder(self) -> &'static str {
        match self {
            Self::Cobalt => "cobalt-unit",
            Self::Robot => "robot-arm",
            Self::Gantry => "gantry",
        }
    }

    /// Name and model of the exporting software, and its fixation.
    const fn export(self) -> (&'static str, &'static str) {
        match self {
            Self::Cobalt => ("Planner 1", "HEADFRAME"),
            Self::Robot => ("Planner 2", "MASK"),
            Self::Gantry => ("Planner 3", "MASK"),
        }
    }
}

/// A target with its own part of the dose.
#[derive(Debug, Clone)]
pub struct Lesion {
    /// ROI Name.
    pub name: String,
    /// The target.
    pub solid: Solid,
    /// Dose about each centre: one for a ball, one for each lobe otherwise.
    pub doses: Vec<(Point, Radial)>,
    /// Prescription, Gy.
    pub prescription: f64,
}

impl Lesion {
    /// A ball of a radius with the prescription at `margin` outside its surface.
    pub fn ball(
        name: &str,
        (centre, radius): (Point, f64),
        (prescription, margin): (f64, f64),
        delivery: Delivery,
    ) -> Self {
        let dose = radial(prescription, radius, margin, delivery);
        Self {
            name: name.into(),
            solid: Solid::ball(centre, radius),
            doses: vec![(centre, dose)],
            prescription,
        }
    }
}

/// A technology, and the peak of the low-dose bath of a target of 1 mm radius as a share of the
/// prescription.
pub type Delivery = (Technology, f64);

/// The radial dose with the prescription `margin` outside a radius, and half of it a fall-off of
/// 1.37 mm + 0.23 R further out (Desai et al. 2021), low-dose bath included.
pub fn radial(
    prescription: f64,
    radius: f64,
    margin: f64,
    (technology, share): Delivery,
) -> Radial {
    let isodose = radius + margin;
    let half = isodose + 1.37 + 0.23 * isodose;
    let bath = Radial::Gaussian { peak: share * prescription * radius.cbrt(), width: 45.0 };
    let (a, b) = (prescription - bath.dose(isodose), 0.5 * prescription - bath.dose(half));
    let sharp = match technology {
        Technology::Cobalt => {
            let square = (half * half - isodose * isodose) / (2.0 * (a / b).ln());
            let peak = a * (isodose * isodose / (2.0 * square)).exp();
            Radial::Gaussian { peak, width: square.sqrt() }
        }
        // A flat top: the prescription is 70 or 80 per cent of it.
        Technology::Robot => flat(prescription / 0.7, (isodose, a), (half, b)),
        Technology::Gantry => flat(prescription / 0.8, (isodose, a), (half, b)),
    };
    Radial::Sum(vec![sharp, bath])
}

/// Several balls, each dose lowered by what the others' baths add at its prescription isodose.
pub fn balanced(places: &[Place], margin: f64, delivery: Delivery) -> Vec<Lesion> {
    let mut own: Vec<f64> = places.iter().map(|p| p.prescription).collect();
    let lesions = |own: &[f64]| -> Vec<Lesion> {
        let lesion = |(p, dose): (&Place, &f64)| {
            let made = Lesion::ball(&p.name, (p.centre, p.radius), (*dose, margin), delivery);
            Lesion { prescription: p.prescription, ..made }
        };
        places.iter().zip(own).map(lesion).collect()
    };
    for _ in 0..6 {
        let now = lesions(&own);
        let field = field_of(&now);
        for (dose, place) in own.iter_mut().zip(places) {
            let r = place.radius + margin;
            let six = [[r, 0.0, 0.0], [0.0, r, 0.0], [0.0, 0.0, r]]
                .into_iter()
                .flat_map(|d| [d, scale(d, -1.0)]);
            let mean = six.map(|d| field.dose(add(place.centre, d))).sum::<f64>() / 6.0;
            *dose += place.prescription - mean;
        }
    }
    lesions(&own)
}

/// Where one of several targets lies.
pub struct Place {
    /// ROI Name.
    pub name: String,
    /// Its centre.
    pub centre: Point,
    /// Its radius, mm.
    pub radius: f64,
    /// Prescription, Gy.
    pub prescription: f64,
}

/// The dose of several lesions.
fn field_of(lesions: &[Lesion]) -> Field {
    let terms = lesions.iter().flat_map(|l| &l.doses);
    let term =
        |(centre, dose): &(Point, Radial)| Field::Radial { centre: *centre, dose: dose.clone() };
    Field::Sum(terms.map(term).collect())
}

/// The Fermi function of a plateau through two points.
fn flat(plateau: f64, (r, a): (f64, f64), (s, b): (f64, f64)) -> Radial {
    let (p, q) = ((plateau / a - 1.0).ln(), (plateau / b - 1.0).ln());
    let width = (s - r) / (q - p);
    Radial::Fermi { plateau, radius: r - width * p, width }
}

/// One course.
#[derive(Debug, Clone)]
pub struct Course {
    /// Patient ID.
    pub patient: String,
    /// Family name of the invented keeper.
    pub keeper: &'static str,
    /// RT Plan Label.
    pub label: String,
    /// Date, as DICOM writes it.
    pub date: &'static str,
    /// How it is delivered.
    pub technology: Technology,
    /// Number of fractions.
    pub fractions: i32,
    /// The targets.
    pub lesions: Vec<Lesion>,
    /// What the parts are called.
    pub names: &'static Names,
    /// Which parts are drawn.
    pub organs: Vec<Organ>,
    /// Centre of the brain, and size of the head.
    pub head: (Point, f64),
    /// Where the dose is computed.
    pub lattice: Lattice,
    /// Bits of a stored dose.
    pub bits: u16,
    /// Distance of the target's contours, mm.
    pub slice_mm: f64,
    /// Regions that are neither target nor organ.
    pub helpers: Vec<Roi>,
}

/// The three objects of a course.
#[derive(Debug, Clone)]
pub struct Objects {
    pub set: StructureSet,
    pub plan: Plan,
    pub dose: Dose,
}

impl Course {
    /// A single-fraction course of an ordinary head, all organs drawn, with a 1 mm grid of 16 bits
    /// that reaches 16 mm beyond the targets.
    pub fn new(
        patient: &str,
        keeper: &'static str,
        technology: Technology,
        lesions: Vec<Lesion>,
    ) -> Self {
        let lattice = around(&lesions, 16.0, 1.0);
        Self {
            patient: patient.into(),
            keeper,
            label: "A".into(),
            date: "20140305",
            technology,
            fractions: 1,
            lesions,
            names: &STANDARD,
            organs: ORGANS.to_vec(),
            head: ([0.0; 3], 1.0),
            lattice,
            bits: 16,
            slice_mm: 1.0,
            helpers: Vec::new(),
        }
    }

    /// The dose, Gy.
    pub fn field(&self) -> Field {
        field_of(&self.lesions)
    }

    /// The part as this head has it.
    pub fn organ(&self, organ: Organ) -> Solid {
        organ.solid(self.head.1, self.head.0)
    }

    /// The grid over the whole brain.
    #[must_use]
    pub fn over_the_head(mut self, spacing: f64) -> Self {
        let (at, size) = self.head;
        self.lattice = Lattice::around(
            add(at, [0.0, 0.0, -3.0]),
            [72.0, 88.0, 68.0].map(|h| h * size),
            spacing,
        );
        self
    }

    fn header(&self, object: &str) -> Header {
        let mut header = Header::new(&self.patient, &format!("{}/{object}", self.label));
        header.study_uid = uid(&format!("{}/{}/study", self.patient, self.label));
        header.frame_uid = uid(&format!("{}/{}/frame", self.patient, self.label));
        header.patient_name = format!("{}^Keeper", self.keeper);
        header.date = self.date.into();
        header.manufacturer = "Invented Lights".into();
        header.model = self.technology.export().0.into();
        header
    }

    /// The objects that belong together.
    pub fn objects(&self) -> Objects {
        let set = StructureSet::new(self.header("structures"), self.regions());
        let mut plan =
            Plan::new(self.header("plan"), &set.header.instance_uid, self.fractions, self.beams());
        plan.label = self.label.clone();
        plan.fixation = self.technology.export().1.into();
        plan.position = "HFS".into();
        plan.dose_references = self
            .lesions
            .iter()
            .enumerate()
            .map(|(i, l)| {
                let number = i as i32 + 1;
                DoseReference::target(number, number, l.prescription, &l.name)
            })
            .collect();
        let uid = plan.header.instance_uid.clone();
        let mut dose = Dose::new(self.header("dose"), &self.field(), &self.lattice, &uid);
        dose.bits = self.bits;
        Objects { set, plan, dose }
    }

    fn regions(&self) -> Vec<Roi> {
        let mut rois = Vec::new();
        for lesion in &self.lesions {
            let stack = PlaneStack::axial(self.slice_mm, 0.3);
            let vertices = if self.lesions.len() > 3 { 80 } else { 120 };
            let roi = Roi::new(rois.len() as i32 + 1, &lesion.name, "GTV");
            rois.push(roi.outlining(&lesion.solid, &stack, vertices).rounded(3));
        }
        for organ in &self.organs {
            let (spacing, vertices) = organ.drawing();
            let name = organ.name(self.names);
            let roi = Roi::new(rois.len() as i32 + 1, name, organ.interpreted_type());
            let stack = PlaneStack::axial(spacing, 0.3);
            rois.push(roi.outlining(&self.organ(*organ), &stack, vertices).rounded(2));
        }
        for helper in &self.helpers {
            rois.push(Roi { number: rois.len() as i32 + 1, ..helper.clone() });
        }
        rois
    }

    fn beams(&self) -> Vec<Beam> {
        match self.technology {
            Technology::Cobalt => self.shots(),
            Technology::Robot => self.nodes(),
            Technology::Gantry => self.arcs(),
        }
    }

    fn shots(&self) -> Vec<Beam> {
        let mut shots = Vec::new();
        for lesion in &self.lesions {
            for (lobe, (centre, _)) in lesion.doses.iter().enumerate() {
                let radius = match &lesion.solid {
                    Solid::Ball { radius, .. } => *radius,
                    Solid::TwoBalls { radii, .. } => radii[lobe],
                    other => 0.5 * other.volume().cbrt(),
                };
                let opening = [(2.2, 4.0), (4.2, 8.0)].into_iter().find(|(r, _)| radius < *r);
                let opening = opening.map_or(16.0, |(_, opening)| opening);
                let number = shots.len() as i32 + 1;
                let minutes = (lesion.prescription * 80.0 + radius * 10.0).round() / 100.0;
                shots.push(Beam::shot(number, *centre, opening, minutes));
                if opening > 10.0 {
                    // Two smaller shots beside the middle one.
                    for side in [-1.0, 1.0] {
                        let at = add(*centre, [0.4 * side * radius, 0.0, 1.0]);
                        let number = shots.len() as i32 + 1;
                        shots.push(Beam::shot(number, at, 8.0, 0.25 * minutes));
                    }
                }
            }
        }
        shots
    }

    /// Directions on a golden spiral over the upper half of a sphere.
    fn nodes(&self) -> Vec<Beam> {
        let count = 112 + 6 * self.fractions;
        let node = |i: i32| {
            let lesion = &self.lesions[i as usize % self.lesions.len()];
            let (centre, dose) = &lesion.doses[0];
            let opening = [5.0, 7.5, 10.0, 12.5, 15.0]
                .into_iter()
                .find(|d| *d >= 1.6 * dose.radius(lesion.prescription))
                .unwrap_or(15.0);
            let tenth = |x: f64| (x * 10.0).round() / 10.0;
            let height = 1.0 - (f64::from(i) + 0.5) / f64::from(count);
            let round = tenth((137.507_764 * f64::from(i)).rem_euclid(360.0));
            let polar = tenth(height.acos().to_degrees());
            let off =
                scale([round.to_radians().cos(), round.to_radians().sin(), height - 0.5], 0.8);
            let target = add(*centre, off).map(tenth);
            let mu = tenth(60.0 + 35.0 * height + 4.0 * f64::from(i % 7));
            Beam::node(i + 1, target, [round, polar], (opening, mu))
        };
        (0..count).map(node).collect()
    }

    fn arcs(&self) -> Vec<Beam> {
        let sum = self.lesions.iter().fold([0.0; 3], |s, l| add(s, l.doses[0].0));
        let tenth = |x: f64| (x * 10.0).round() / 10.0;
        let isocentre = scale(sum, 1.0 / self.lesions.len() as f64).map(tenth);
        let mu = 900.0 + 60.0 * self.lesions.len() as f64;
        let table = [
            (0.0, 181.0, 539.0),
            (45.0, 181.0, 360.0),
            (315.0, 0.0, 179.0),
            (90.0, 181.0, 340.0),
            (30.0, 20.0, 175.0),
        ];
        let count = if self.lesions.len() > 1 { 5 } else { 4 };
        let arc = |(i, (couch, from, to)): (usize, (f64, f64, f64))| {
            Beam::arc(i as i32 + 1, isocentre, couch, (from, to, mu))
        };
        table.into_iter().take(count).enumerate().map(arc).collect()
    }
}

/// The grid that reaches so far beyond all targets.
pub fn around(lesions: &[Lesion], beyond: f64, spacing: f64) -> Lattice {
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let extent = axes.map(|n| {
        lesions
            .iter()
            .map(|l| l.solid.extent(n))
            .fold([f64::INFINITY, f64::NEG_INFINITY], |e, f| [e[0].min(f[0]), e[1].max(f[1])])
    });
    let centre = extent.map(|e| 0.5 * (e[0] + e[1]));
    Lattice::around(centre, extent.map(|e| 0.5 * (e[1] - e[0]) + beyond), spacing)
}
