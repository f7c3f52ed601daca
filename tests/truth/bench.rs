//! A bench for one solid in one dose: contours and grid are made, the case is analysed, and the
//! metrics come back by name.

use std::collections::BTreeMap;

use ndarray::Array3;
use tidydose_analyse::{Settings, analyse};
use tidydose_case::{Case, NameBasis, NamedRoi, Prescription, PrescriptionBasis, Role};
use tidydose_geometry::units::Gray;
use tidydose_geometry::{Grid, Point};
use tidydose_metrics::{self as metrics, Outcome};
use tidydose_rt::identity::Token;
use tidydose_rt::{Contour, ContourType, Dose, Origin, Person, Roi, RoiHeader, StructureSet};

use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

/// One solid in one dose, as an exporter would write it.
#[derive(Debug, Clone)]
pub(crate) struct Setup {
    pub(crate) solid: Solid,
    pub(crate) field: Field,
    pub(crate) planes: PlaneStack,
    pub(crate) vertices: usize,
    pub(crate) lattice: Lattice,
    pub(crate) prescription_gy: Option<f64>,
    pub(crate) settings: Settings,
    /// Outlines instead of those of the solid.
    pub(crate) drawn: Option<Vec<Vec<Point>>>,
    /// Standard deviation of independent noise in every voxel, Gy.
    pub(crate) noise_gy: f64,
    /// Which noise.
    pub(crate) draw: u64,
    /// Voxels hold means over their volume, not values at their centres.
    pub(crate) averaged: bool,
}

/// Points per edge by which a mean over a voxel is taken.
const MEAN_POINTS: [f64; 2] = [-0.288_675_134_594_812_9, 0.288_675_134_594_812_9]; // Gauss, ±1/√12

/// A normal number from three coordinates and a draw: twelve uniform ones from a hash, summed.
fn normal(at: [usize; 3], draw: u64) -> f64 {
    let mut state = draw;
    for x in at {
        state = (state ^ x as u64).wrapping_mul(0x0100_0000_01B3).rotate_left(29) ^ 0x5DEE_CE66D;
    }
    let mut sum = -6.0;
    for _ in 0..12 {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
    }
    sum
}

/// A point of the unit cube: the additive recurrence on powers of the root of x⁴ = x + 1, which
/// fills the cube evenly and is the same on every machine.
pub(crate) fn placement(i: u32) -> Point {
    [0.819_172_513_396_164_4, 0.671_043_606_703_789_2, 0.549_700_477_901_97]
        .map(|a| (0.5 + a * f64::from(i)).fract())
}

/// A unit vector, another one for each number.
pub(crate) fn direction(i: u32) -> Point {
    let d = placement(i).map(|x| x - 0.5);
    let length = (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt();
    d.map(|x| x / length)
}

impl Setup {
    /// Axial planes and an axial grid around a solid, every 1 mm, 120 vertices.
    pub(crate) fn new(solid: Solid, field: Field, half_mm: f64) -> Self {
        let c = solid.centre();
        Self {
            planes: PlaneStack::axial(1.0, 0.0),
            vertices: 120,
            lattice: Lattice::around(c, [half_mm; 3], 1.0),
            prescription_gy: None,
            settings: Settings {
                metrics: metrics::List::Basic.metrics(),
                regions: false,
                ..Settings::default()
            },
            drawn: None,
            noise_gy: 0.0,
            draw: 0,
            averaged: false,
            solid,
            field,
        }
    }

    pub(crate) fn structure_set(&self) -> StructureSet {
        let sections = || self.solid.sections(&self.planes, self.vertices);
        let outlines = match &self.drawn {
            Some(drawn) => drawn.clone(),
            None => sections().into_iter().map(|o| o.points).collect(),
        };
        let contours: Vec<Contour> = outlines
            .into_iter()
            .map(|points| Contour { kind: ContourType::ClosedPlanar, points })
            .collect();
        let header = RoiHeader { contours: contours.len(), ..RoiHeader::named(1, "PTV1") };
        let roi = Roi { header, contours, refused: None };
        StructureSet { origin: origin(), frame: None, rois: vec![roi] }
    }

    pub(crate) fn dose(&self) -> Dose {
        let l = &self.lattice;
        let grid = Grid::new(
            l.origin,
            [l.row, l.column],
            l.spacing,
            l.offsets.clone(),
            [l.rows, l.columns],
        )
        .unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |(k, i, j)| {
            let noise = if self.noise_gy > 0.0 {
                self.noise_gy * normal([k, i, j], self.draw)
            } else {
                0.0
            };
            (self.voxel(l.position(k, i, j)) + noise) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    fn voxel(&self, p: Point) -> f64 {
        if !self.averaged {
            return self.field.dose(p);
        }
        // Gauss's two points an edge are exact for cubics; the grid is axial.
        let [row, column] = self.lattice.spacing;
        let plane = self.lattice.offsets[1] - self.lattice.offsets[0];
        let mut sum = 0.0;
        for a in MEAN_POINTS {
            for b in MEAN_POINTS {
                for c in MEAN_POINTS {
                    sum += self.field.dose([p[0] + a * column, p[1] + b * row, p[2] + c * plane]);
                }
            }
        }
        sum / 8.0
    }

    pub(crate) fn case(&self) -> Case {
        let name = NamedRoi {
            number: 1,
            original: "PTV1".to_owned(),
            standard: Some("PTV1".to_owned()),
            role: Role::Ptv,
            basis: NameBasis::Exact,
        };
        let prescriptions = self
            .prescription_gy
            .map(|d| Prescription {
                roi_number: 1,
                dose: Gray::gy(d),
                basis: PrescriptionBasis::PlanStructure,
            })
            .into_iter()
            .collect();
        Case { names: vec![name], prescriptions, ..Case::named(Token::new("case")) }
    }

    /// One more metric than the standard list.
    pub(crate) fn also(&mut self, metric: &str) {
        self.settings.metrics.push(tidydose_metrics::parse(metric).unwrap());
    }

    /// Code and words of every finding, one a line.
    pub(crate) fn notes(&self) -> String {
        let set = self.structure_set();
        let analysis = analyse(&self.case(), Some(&set), Some(self.dose()), &self.settings);
        analysis
            .findings
            .iter()
            .map(|f| format!("{} {}\n", f.code.definition().id, f.message))
            .collect()
    }

    /// All metrics of the solid, by name.
    pub(crate) fn measure(&self) -> BTreeMap<String, Outcome> {
        let set = self.structure_set();
        analyse(&self.case(), Some(&set), Some(self.dose()), &self.settings)
            .measurements
            .into_iter()
            .map(|m| (m.metric, m.outcome))
            .collect()
    }
}

fn origin() -> Origin {
    Origin {
        file: Token::new("file"),
        object: Token::new("object"),
        patient: None,
        digest: String::new(),
        person: Person::default(),
    }
}
