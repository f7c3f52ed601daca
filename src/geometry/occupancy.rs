//! Which part of space a solid fills, as thin layers of small square cells: whole cells in runs,
//! and cells on the boundary with their exact share and its centre of mass.
//!
//! Volume, centre of mass and every dose metric are sums over the same cells, so no part of a
//! structure can count in its volume and be missing from its doses.

use super::point::Point;
use super::stack::Axes;

/// Whole cells of one row: columns `start..end`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    /// Row index (along v).
    pub row: i32,
    /// First column (along u).
    pub start: i32,
    /// One past the last column.
    pub end: i32,
}

/// A cell on the boundary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Centre of mass of the filled part, mm.
    pub centre: [f64; 2],
    /// Filled area, mm².
    pub area: f64,
    /// Two points of the outline in the cell, as far from each other as any, mm; the centre of mass
    /// where none is known.
    pub rim: [[f64; 2]; 2],
}

/// The cells that one cross-section fills.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Footprint {
    /// Whole cells.
    pub runs: Vec<Run>,
    /// Boundary cells.
    pub cuts: Vec<Cut>,
}

impl Footprint {
    /// Area, mm², for cells of the given edge length.
    #[must_use]
    pub fn area(&self, pitch_mm: f64) -> f64 {
        let whole: f64 = self.runs.iter().map(|r| f64::from(r.end - r.start)).sum();
        whole * pitch_mm * pitch_mm + self.cuts.iter().map(|c| c.area).sum::<f64>()
    }
}

/// One cross-section with the thin sheets it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// The filled cells.
    pub footprint: Footprint,
    /// By how much the cells of this layer are moved in the plane, mm: a leaning solid keeps the
    /// same cells from layer to layer.
    pub shift_mm: [f64; 2],
    /// Middle and thickness of each sheet along the normal, mm.
    pub sheets: Vec<Sheet>,
}

impl Layer {
    /// Volume, mm³, for cells of the given edge length.
    #[must_use]
    pub fn volume_mm3(&self, pitch_mm: f64) -> f64 {
        let thickness: f64 = self.sheets.iter().map(|s| s.thickness_mm).sum();
        self.footprint.area(pitch_mm) * thickness
    }
}

/// A thin slice of space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Position of the middle, mm.
    pub w_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
}

/// Positions closer than this are the same face, mm.
const SAME_FACE_MM: f64 = 1e-6;

impl Sheet {
    /// Its lower and upper face, mm.
    #[must_use]
    pub fn faces_mm(&self) -> [f64; 2] {
        let half = self.thickness_mm / 2.0;
        [self.w_mm - half, self.w_mm + half]
    }

    /// Which of two faces it ends on: 0 for the lower, 1 for the upper one.
    #[must_use]
    pub fn touches(&self, faces_mm: [f64; 2]) -> Option<usize> {
        let own = self.faces_mm();
        (0..2).find(|i| (own[*i] - faces_mm[*i]).abs() < SAME_FACE_MM)
    }
}

/// A solid as layers of cells. Cell `(row, column)` covers
/// `[column·pitch, (column+1)·pitch] × [row·pitch, (row+1)·pitch]` in (u, v).
#[derive(Debug, Clone, PartialEq)]
pub struct Occupancy {
    /// Local axes of the cells.
    pub axes: Axes,
    /// Edge length of a cell in the plane, mm.
    pub pitch_mm: f64,
    /// Layers, ascending in w.
    pub layers: Vec<Layer>,
}

impl Occupancy {
    /// Volume, mm³.
    #[must_use]
    pub fn volume_mm3(&self) -> f64 {
        self.layers.iter().map(|l| l.volume_mm3(self.pitch_mm)).sum()
    }

    /// Where it ends below and above, mm; without sheets, infinitely far apart the wrong way round.
    #[must_use]
    pub fn faces_mm(&self) -> [f64; 2] {
        let mut faces = [f64::INFINITY, f64::NEG_INFINITY];
        for sheet in self.layers.iter().flat_map(|layer| &layer.sheets) {
            let [low, high] = sheet.faces_mm();
            faces = [faces[0].min(low), faces[1].max(high)];
        }
        faces
    }

    /// The same cells moved by a vector in patient coordinates, mm.
    #[must_use]
    pub fn moved(&self, by_mm: Point) -> Self {
        let [du, dv, dw] = self.axes.local(by_mm);
        let mut out = self.clone();
        for layer in &mut out.layers {
            layer.shift_mm = [layer.shift_mm[0] + du, layer.shift_mm[1] + dv];
            for sheet in &mut layer.sheets {
                sheet.w_mm += dw;
            }
        }
        out
    }

    /// Centre of mass in patient coordinates, mm; absent without volume.
    #[must_use]
    pub fn centroid(&self) -> Option<Point> {
        let h = self.pitch_mm;
        let (mut volume, mut moment) = (0.0, [0.0; 3]);
        for layer in &self.layers {
            let area = layer.footprint.area(h);
            let mut in_plane = [0.0; 2];
            for r in &layer.footprint.runs {
                let n = f64::from(r.end - r.start);
                in_plane[0] += n * h * h * f64::from(r.start + r.end) / 2.0 * h;
                in_plane[1] += n * h * h * (f64::from(r.row) + 0.5) * h;
            }
            for c in &layer.footprint.cuts {
                in_plane[0] += c.area * c.centre[0];
                in_plane[1] += c.area * c.centre[1];
            }
            for (moment, shift) in in_plane.iter_mut().zip(layer.shift_mm) {
                *moment += area * shift;
            }
            for s in &layer.sheets {
                volume += area * s.thickness_mm;
                moment[0] += in_plane[0] * s.thickness_mm;
                moment[1] += in_plane[1] * s.thickness_mm;
                moment[2] += area * s.thickness_mm * s.w_mm;
            }
        }
        (volume > 0.0).then(|| self.axes.point(moment.map(|m| m / volume)))
    }

    /// Number of cells, boundary cells included, over all sheets.
    #[must_use]
    pub fn cells(&self) -> usize {
        self.layers
            .iter()
            .map(|l| {
                let whole: usize = l
                    .footprint
                    .runs
                    .iter()
                    .map(|r| usize::try_from(r.end - r.start).unwrap_or(0))
                    .sum();
                (whole + l.footprint.cuts.len()) * l.sheets.len()
            })
            .sum()
    }
}
