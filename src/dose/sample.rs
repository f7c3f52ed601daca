//! Samples of the dose under an occupancy: one for each cell, more where the dose changes much
//! within the cell.

use super::field::DoseField;
use crate::geometry::Occupancy;
use crate::geometry::occupancy::{Layer, Sheet};
use crate::geometry::point::{Point, dot};

/// Doses with the volumes they stand for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Samples {
    /// Dose in Gy and volume in mm³.
    pub parts: Vec<(f32, f32)>,
    /// Volume outside the dose grid, mm³.
    pub outside_mm3: f64,
    /// Smallest and largest dose found in the structure, Gy, the ends of its outermost cells
    /// included.
    pub extremes_gy: [f64; 2],
}

impl Samples {
    /// Volume inside the grid, mm³.
    #[must_use]
    pub fn inside_mm3(&self) -> f64 {
        self.parts.iter().map(|p| f64::from(p.1)).sum()
    }
}

/// A cell is sampled so finely that the dose changes by no more than about this from one sample to
/// the next, Gy.
pub const SAMPLE_STEP_GY: f64 = 0.4;
/// Where it changes more, the parts are no longer than this along any axis, mm: across the fall-off
/// isodoses curve, and a long part would read them at its middle only.
const SPLIT_MM: f64 = 0.35;
/// No cell is split more often than this along an axis.
const MAX_SPLITS: f64 = 8.0;

/// Samples `field` under `occupancy`.
///
/// **Absence**: parts of the structure outside the grid are counted in `outside_mm3` and have no
/// samples.
#[must_use]
pub fn sample(field: &DoseField, occupancy: &Occupancy) -> Samples {
    let mut sampler = Sampler::new(field, occupancy);
    for layer in &occupancy.layers {
        for sheet in &layer.sheets {
            sampler.sheet(layer, *sheet);
        }
    }
    let low_high = sampler.extremes;
    sampler.out.extremes_gy = if low_high[0] <= low_high[1] { low_high } else { [0.0; 2] };
    sampler.out
}

struct Sampler<'a> {
    field: &'a DoseField,
    occupancy: &'a Occupancy,
    /// Local steps of the field per mm along u, v, w.
    steps: [[f64; 3]; 3],
    out: Samples,
    extremes: [f64; 2],
}

/// A box to be sampled: middle in field coordinates, edge lengths along u, v, w in mm, volume, and
/// the extent within which extremes are looked for.
struct Cell {
    local: [f64; 3],
    size: [f64; 3],
    volume: f64,
    reach: [f64; 3],
}

impl<'a> Sampler<'a> {
    fn new(field: &'a DoseField, occupancy: &'a Occupancy) -> Self {
        let grid = field.grid();
        let [normal, down, along] = grid.directions();
        let [row, column] = grid.spacing_mm();
        let steps = occupancy
            .axes
            .directions
            .map(|d: Point| [dot(d, normal), dot(d, down) / row, dot(d, along) / column]);
        let out = Samples::default();
        Self { field, occupancy, steps, out, extremes: [f64::INFINITY, f64::NEG_INFINITY] }
    }

    fn local(&self, u: f64, v: f64, w: f64) -> [f64; 3] {
        self.field.local(self.occupancy.axes.point([u, v, w]))
    }

    fn sheet(&mut self, layer: &Layer, sheet: Sheet) {
        let h = self.occupancy.pitch_mm;
        let t = sheet.thickness_mm;
        let [du, dv] = layer.shift_mm;
        for run in &layer.footprint.runs {
            let v = (f64::from(run.row) + 0.5) * h + dv;
            let mut local = self.local((f64::from(run.start) + 0.5) * h + du, v, sheet.w_mm);
            for _ in run.start..run.end {
                self.cell(&Cell { local, size: [h, h, t], volume: h * h * t, reach: [h, h, t] });
                for (l, s) in local.iter_mut().zip(self.steps[0]) {
                    *l += s * h;
                }
            }
        }
        for cut in &layer.footprint.cuts {
            let local = self.local(cut.centre[0] + du, cut.centre[1] + dv, sheet.w_mm);
            let side = cut.area.sqrt().min(h);
            // The filled part reaches about half its depth, area over edge, from its centre.
            let depth = cut.area / h;
            let volume = cut.area * t;
            self.cell(&Cell { local, size: [side, side, t], volume, reach: [depth, depth, 0.0] });
        }
    }

    fn cell(&mut self, cell: &Cell) {
        let Some((dose, slope)) = self.field.with_slope(cell.local) else {
            self.out.outside_mm3 += cell.volume;
            return;
        };
        let gradient: [f64; 3] = std::array::from_fn(|a| {
            let s = self.steps[a];
            s[0] * slope[0] + s[1] * slope[1] + s[2] * slope[2]
        });
        let change: [f64; 3] = std::array::from_fn(|a| gradient[a] * cell.size[a]);
        let reach = (0..3).map(|a| (gradient[a] * cell.reach[a]).abs()).sum::<f64>() / 2.0;
        if dose + reach > self.extremes[1] || dose - reach < self.extremes[0] {
            self.ends(cell, gradient);
        }
        let by_dose = change.map(|c| (c.abs() / SAMPLE_STEP_GY).ceil());
        let steep = by_dose.iter().any(|n| *n > 1.0);
        let splits: [u32; 3] = std::array::from_fn(|a| {
            let by_size = if steep { (cell.size[a] / SPLIT_MM).ceil() } else { 1.0 };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
            let n = by_dose[a].max(by_size).clamp(1.0, MAX_SPLITS) as u32;
            n
        });
        if splits == [1, 1, 1] {
            self.push(dose, cell.volume);
        } else {
            self.split(cell, splits);
        }
    }

    fn push(&mut self, dose: f64, volume: f64) {
        self.extremes = [self.extremes[0].min(dose), self.extremes[1].max(dose)];
        #[allow(clippy::cast_possible_truncation)] // samples are stored in single precision
        self.out.parts.push((dose as f32, volume as f32));
    }

    fn split(&mut self, cell: &Cell, [nu, nv, nw]: [u32; 3]) {
        let volume = cell.volume / f64::from(nu * nv * nw);
        let at = |i: u32, n: u32| (f64::from(i) + 0.5) / f64::from(n) - 0.5;
        for k in 0..nw {
            for j in 0..nv {
                for i in 0..nu {
                    let offset = [at(i, nu), at(j, nv), at(k, nw)];
                    let local = self.moved(cell, offset);
                    match self.field.at_local(local) {
                        Some(dose) => self.push(dose, volume),
                        None => self.out.outside_mm3 += volume,
                    }
                }
            }
        }
    }

    /// A point of a cell, `offset` from its middle in cell sizes.
    fn moved(&self, cell: &Cell, offset: [f64; 3]) -> [f64; 3] {
        let mut local = cell.local;
        for ((step, size), part) in self.steps.iter().zip(cell.size).zip(offset) {
            for (l, s) in local.iter_mut().zip(step) {
                *l += s * size * part;
            }
        }
        local
    }

    /// The dose at the two ends of a cell, up and down its gradient: whole cells are in the
    /// structure up to their corners, cut ones about as deep as they are filled.
    fn ends(&mut self, cell: &Cell, gradient: [f64; 3]) {
        let whole = cell.reach[2] > 0.0;
        let steepest = gradient[0].hypot(gradient[1]).max(f64::MIN_POSITIVE);
        for sign in [0.5, -0.5] {
            let offset: [f64; 3] = std::array::from_fn(|a| {
                let along = if whole { gradient[a].signum() } else { gradient[a] / steepest };
                sign * along * cell.reach[a] / cell.size[a].max(f64::MIN_POSITIVE)
            });
            if let Some(dose) = self.field.at_local(self.moved(cell, offset)) {
                self.extremes = [self.extremes[0].min(dose), self.extremes[1].max(dose)];
            }
        }
    }
}
