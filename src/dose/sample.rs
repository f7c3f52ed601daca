//! Samples of the dose under an occupancy: one for each cell, more where the dose changes much
//! within the cell.

use super::bins::Bins;
use super::block::{Block, Spots};
use super::field::DoseField;
use super::line::Line;
use tidydose_geometry::Occupancy;
use tidydose_geometry::occupancy::{Cut, Layer, Run, Sheet};
use tidydose_geometry::point::{Point, dot};
use tidydose_geometry::shared_cells::{self, SharedCells, SharedSheet};

/// Doses with the volumes they stand for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Samples {
    /// The doses, with the volumes inside the grid that they stand for.
    pub doses: Bins,
    /// Volume outside the dose grid, mm³.
    pub outside_mm3: f64,
    /// By how much the largest dose rises above the voxels around it, Gy.
    pub summit_gy: f64,
    /// Volume in whose cells the dose jumps so that the interpolation had to be held, mm³.
    pub held_mm3: f64,
    /// Smallest and largest dose found in the structure, Gy: in the middle of cells, on the outline
    /// of each sheet and on the outer faces of the outermost ones.
    pub extremes_gy: [f64; 2],
    /// Standard uncertainty of either, since the surface is known to a part of a cell only, Gy.
    pub surface_gy: [f64; 2],
}

impl Samples {
    /// Volume inside the grid, mm³.
    #[must_use]
    pub fn inside_mm3(&self) -> f64 {
        self.doses.volume_mm3()
    }
}

/// A cell in which the dose changes by more than twice this along an axis is split into parts in
/// which it changes by no more than about this, Gy.
pub const SAMPLE_STEP_GY: f64 = 0.4;
/// Where it changes more, the parts are no longer than this along any axis, mm: across the fall-off
/// isodoses curve, and a long part would read them at its middle only.
const SPLIT_MM: f64 = 0.5;
/// Standard uncertainty of the place of the surface in a cell, as a share of its edge. The outline is
/// known where it enters and leaves a cell; a corner between the two reaches (√2 − 1)/2 farther at
/// most, evenly spread.
const SURFACE_SHARE: f64 = 0.119_6;
/// The same between the sheets: half a sheet to either side, evenly spread.
const SHEET_SHARE: f64 = 0.288_7;
/// A dose on the outline is read where the slope says that it may be an extreme, or would if it were
/// larger by this.
const SLOPE_MARGIN: f64 = 1.5;
/// The climb to the summit ends outside of its cell after so many cells: there is none nearby.
const CLIMB_CELLS: f64 = 1.0;
/// The golden ratio less one: its multiples fill the unit interval most evenly.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Half the width of an even spread in standard deviations.
const SQRT_3: f64 = 1.732_050_807_568_877_2;
/// A whole cell over which the dose has a larger standard deviation gives two samples, Gy.
const SPREAD_GY: f64 = 0.03;
/// ... or than this share of the dose there: a small hot spot of a structure far from the target has
/// few cells, and falls off by much of its dose in each.
const SPREAD_SHARE: f64 = 0.01;
/// A cut cell in which the dose changes by more than this is sampled in as many parts, Gy.
const CUT_STEP_GY: f64 = 0.05;
/// ... or by more than this share of the dose there.
const CUT_STEP_SHARE: f64 = 0.03;
const CUT_PARTS: u32 = 4;
/// The guard of the interpolation holds a dose for certain when it moves it by more than this, Gy.
const HELD_GY: f64 = 0.05;
/// No cell is split more often than this along an axis.
const MAX_SPLITS: f64 = 8.0;

/// Samples `field` under `occupancy`; `coarse` is 1 for the usual fineness of the samples, 2 where
/// parts of steep cells may be twice as long.
///
/// **Absence**: parts of the structure outside the grid are counted in `outside_mm3` and have no
/// samples.
#[must_use]
pub fn sample(field: &DoseField, occupancy: &Occupancy, coarse: f64) -> Samples {
    let mut sampler = Sampler::new(field, occupancy, coarse);
    sampler.solid(&SharedCells::default());
    sampler.finished()
}

/// Samples variants of one solid, of one pitch: each as [`sample`] does but for the order, which
/// leaves open by chance where in their cells some samples lie. What all share is sampled once.
#[must_use]
pub fn sample_variants(field: &DoseField, variants: &[&Occupancy], coarse: f64) -> Vec<Samples> {
    let Some(first) = variants.first() else { return Vec::new() };
    let shared_cells = SharedCells::of(variants);
    let mut core = Sampler::new(field, first, coarse);
    for SharedSheet { sheet, shift_mm, runs } in &shared_cells.sheets {
        for run in runs {
            core.run(Row { run: *run, cells: *run, inner: true }, *shift_mm, *sheet);
        }
    }
    let mut out = Vec::new();
    for variant in variants {
        let mut sampler = Sampler { occupancy: variant, ..core.clone() };
        sampler.solid(&shared_cells);
        out.push(sampler.finished());
    }
    out
}

/// Steepest change of dose along an axis of the cells, in the middle of cells, Gy/mm; 0 outside the
/// grid.
#[must_use]
pub fn steepest_gy_per_mm(field: &DoseField, occupancy: &Occupancy) -> f64 {
    let mut sampler = Sampler::new(field, occupancy, 1.0);
    sampler.only_steepness = true;
    sampler.solid(&SharedCells::default());
    sampler.steepest
}

/// Not `hypot` and `floor`, which are slow for numbers that do not occur here.
fn length([x, y]: [f64; 2]) -> f64 {
    (x * x + y * y).sqrt()
}

fn whole_below(x: f64) -> f64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // cells of a structure
    let whole = x as i64 as f64;
    if whole > x { whole - 1.0 } else { whole }
}

#[derive(Clone)]
struct Sampler<'a> {
    field: &'a DoseField,
    occupancy: &'a Occupancy,
    /// Local steps of the field per mm along u, v, w.
    steps: [[f64; 3]; 3],
    /// Whether u goes along the rows of the dose: not by a hair, or each cell would be read beside
    /// its middle.
    aligned: bool,
    /// Whether v goes along its columns and w across its planes as well.
    squared: bool,
    block: Block,
    out: Samples,
    extremes: [f64; 2],
    surface_gy: [f64; 2],
    /// The end of the solid that the present sheet touches, as a step from its middle, mm.
    face: Option<f64>,
    steepest: f64,
    /// Whether nothing else is asked for.
    only_steepness: bool,
    coarse: f64,
    /// Where in its even sequence the distance of the next two samples is, 0 to 1.
    spread_phase: f64,
    /// The line of the present run of cells, and whether there is one.
    line: Line,
    on_line: bool,
    /// Dose, middle and size of the hottest cell.
    hottest: Option<(f64, [f64; 3], [f64; 3])>,
}

/// A box to be sampled: middle in field coordinates, edge lengths along u, v, w in mm, volume, and
/// whether it lies deep inside the solid.
struct Cell {
    local: [f64; 3],
    size: [f64; 3],
    volume: f64,
    deep: bool,
}

/// Whole cells of a row that are to be sampled.
#[derive(Debug, Clone, Copy)]
struct Row {
    /// All whole cells side by side.
    run: Run,
    /// Those of them that are to be sampled.
    cells: Run,
    /// Whether there are whole cells on either side in any case.
    inner: bool,
}

impl<'a> Sampler<'a> {
    fn new(field: &'a DoseField, occupancy: &'a Occupancy, coarse: f64) -> Self {
        let grid = field.grid();
        let [normal, down, along] = grid.directions();
        let [row, column] = grid.spacing_mm();
        let steps = occupancy
            .axes
            .directions
            .map(|d: Point| [dot(d, normal), dot(d, down) / row, dot(d, along) / column]);
        let out = Samples::default();
        let extremes = [f64::INFINITY, f64::NEG_INFINITY];
        #[allow(clippy::float_cmp)]
        let aligned = steps[0][..2] == [0.0; 2];
        #[allow(clippy::float_cmp)]
        let squared = aligned && [steps[1][0], steps[1][2], steps[2][1], steps[2][2]] == [0.0; 4];
        Self {
            field,
            occupancy,
            steps,
            aligned,
            squared,
            block: Block::default(),
            out,
            extremes,
            surface_gy: [0.0; 2],
            face: None,
            steepest: 0.0,
            only_steepness: false,
            coarse,
            spread_phase: 0.5,
            line: Line::default(),
            on_line: false,
            hottest: None,
        }
    }

    fn local(&self, u: f64, v: f64, w: f64) -> [f64; 3] {
        self.field.local(self.occupancy.axes.point([u, v, w]))
    }

    /// What was found, once all is sampled.
    fn finished(mut self) -> Samples {
        self.climb();
        let low_high = self.extremes;
        self.out.surface_gy = self.surface_gy;
        self.out.extremes_gy = if low_high[0] <= low_high[1] { low_high } else { [0.0; 2] };
        self.out
    }

    /// Starts the line of a run of cells, where it goes along the rows of the dose.
    fn start_line(&mut self, from: [f64; 3], cells: usize) -> bool {
        #[allow(clippy::cast_precision_loss)] // some hundred cells
        let to = from[2] + self.steps[0][2] * self.occupancy.pitch_mm * cells as f64;
        self.aligned && self.line.start(self.field, from, to, cells)
    }

    /// Samples the solid, but for the cells that were sampled before.
    fn solid(&mut self, sampled: &SharedCells) {
        let occupancy = self.occupancy;
        let faces = occupancy.faces_mm();
        for layer in &occupancy.layers {
            for sheet in &layer.sheets {
                let ends = [-0.5, 0.5].map(|side| side * sheet.thickness_mm);
                self.face = sheet.touches(faces).map(|i| ends[i]);
                self.sheet(layer, *sheet, sampled.runs(layer, *sheet));
            }
        }
    }

    fn sheet(&mut self, layer: &Layer, sheet: Sheet, sampled: &[Run]) {
        for run in &layer.footprint.runs {
            for cells in shared_cells::outside(*run, sampled) {
                self.run(Row { run: *run, cells, inner: false }, layer.shift_mm, sheet);
            }
        }
        let [du, dv] = layer.shift_mm;
        for cut in &layer.footprint.cuts {
            let local = self.local(cut.centre[0] + du, cut.centre[1] + dv, sheet.w_mm);
            let rim = cut.rim.map(|p| [p[0] - cut.centre[0], p[1] - cut.centre[1]]);
            self.cut(cut, local, sheet.thickness_mm, rim);
        }
    }

    /// Samples the cells of a row.
    fn run(&mut self, row: Row, [du, dv]: [f64; 2], sheet: Sheet) {
        let Row { run, cells, inner } = row;
        let h = self.occupancy.pitch_mm;
        let t = sheet.thickness_mm;
        let v = (f64::from(cells.row) + 0.5) * h + dv;
        let mut local = self.local((f64::from(cells.start) + 0.5) * h + du, v, sheet.w_mm);
        self.on_line = self.start_line(local, cells.end.abs_diff(cells.start) as usize);
        for column in cells.start..cells.end {
            // Cells next to the outline may stand for space that the outline leaves above or below
            // the middle of the sheet: only deeper ones are split.
            let deep = inner || column > run.start && column + 1 < run.end;
            let (size, volume) = ([h, h, t], h * h * t);
            self.cell(&Cell { local, size, volume, deep });
            for (l, s) in local.iter_mut().zip(self.steps[0]) {
                *l += s * h;
            }
        }
        self.on_line = false;
    }

    /// A cell on the outline: its filled part lies about its centre of mass, as deep as area over
    /// edge across the outline and a whole edge along it. Parts along the slope of the dose give
    /// the outermost shell its own, coldest (or hottest) doses.
    fn cut(&mut self, cut: &Cut, local: [f64; 3], t: f64, rim: [[f64; 2]; 2]) {
        let volume = cut.area * t;
        let Some((dose, slope)) = self.read(local, volume) else { return };
        let h = self.occupancy.pitch_mm;
        let gradient = self.gradient(slope);
        self.steepest = gradient.iter().fold(self.steepest, |m, g| m.max(g.abs()));
        if self.only_steepness {
            return;
        }
        let doubt = doubt_gy(gradient, [h, h, t]);
        self.meet(dose, doubt);
        for [u, v] in rim {
            self.look(local, dose, gradient, ([u, v, 0.0], doubt));
        }
        let steep = length([gradient[0], gradient[1]]);
        // From the cell's middle to the centre of mass points inward.
        let inward = cut.centre.map(|c| c - (whole_below(c / h) + 0.5) * h);
        let depth = length(inward);
        let cosine = if steep > 0.0 && depth > 0.0 {
            ((gradient[0] * inward[0] + gradient[1] * inward[1]) / (steep * depth)).abs()
        } else {
            0.0
        };
        let sine = (1.0 - cosine * cosine).max(0.0).sqrt();
        let extent = (cosine * cut.area / h).max(sine * cut.area / h);
        if steep * extent <= CUT_STEP_GY.min(CUT_STEP_SHARE * dose) {
            // The dose changes across the sheet or not at all.
            return self.spread(dose, volume, deviation_gy([0.0, 0.0, gradient[2] * t]));
        }
        let parts = CUT_PARTS;
        for i in 0..parts {
            let at = ((f64::from(i) + 0.5) / f64::from(parts) - 0.5) * extent / steep;
            let place = self.beside(local, [at * gradient[0], at * gradient[1], 0.0]);
            match self.field.at_local(place) {
                Some(dose) => self.push(dose, volume / f64::from(parts)),
                None => self.out.outside_mm3 += volume / f64::from(parts),
            }
        }
    }

    /// Dose and slope at the middle of a cell, which is counted where there is none and where the
    /// guard holds it.
    fn read(&mut self, local: [f64; 3], volume: f64) -> Option<(f64, [f64; 3])> {
        let found = match self.on_line {
            true => self.line.read(self.field, local[2]),
            false => self.field.read(local),
        };
        let Some(read) = found else {
            self.out.outside_mm3 += volume;
            return None;
        };
        let held = (read.unguarded_gy - read.dose_gy).abs();
        if held > HELD_GY {
            self.out.held_mm3 += volume;
        }
        Some((read.dose_gy, if held > 0.0 { [0.0; 3] } else { read.slope }))
    }

    /// Change of dose per mm along u, v and w.
    fn gradient(&self, slope: [f64; 3]) -> [f64; 3] {
        self.steps.map(|s| s[0] * slope[0] + s[1] * slope[1] + s[2] * slope[2])
    }

    /// Keeps a dose in the structure where it is the smallest or the largest so far.
    fn meet(&mut self, dose: f64, doubt_gy: f64) {
        if dose < self.extremes[0] {
            (self.extremes[0], self.surface_gy[0]) = (dose, doubt_gy);
        }
        if dose > self.extremes[1] {
            (self.extremes[1], self.surface_gy[1]) = (dose, doubt_gy);
        }
    }

    /// Reads the dose at `offset` in mm from a place in the structure where it is `dose`, and on the
    /// outer face of an outermost sheet, when the slope says that it may be an extreme.
    fn look(
        &mut self,
        local: [f64; 3],
        dose: f64,
        gradient: [f64; 3],
        (offset, doubt_gy): ([f64; 3], f64),
    ) {
        let faces = [Some(0.0), self.face];
        for face in faces.into_iter().flatten() {
            let at = [offset[0], offset[1], offset[2] + face];
            let reach: f64 = at.iter().zip(gradient).map(|(x, g)| (x * g).abs()).sum();
            let reach = SLOPE_MARGIN * reach;
            if reach == 0.0
                || (dose + reach <= self.extremes[1] && dose - reach >= self.extremes[0])
            {
                continue;
            }
            if let Some(dose) = self.field.at_local(self.beside(local, at)) {
                self.meet(dose, doubt_gy);
            }
        }
    }

    /// Adds the samples of a cell.
    fn cell(&mut self, cell: &Cell) {
        let Some((dose, slope)) = self.read(cell.local, cell.volume) else { return };
        let gradient = self.gradient(slope);
        self.steepest = gradient.iter().fold(self.steepest, |m, g| m.max(g.abs()));
        if self.only_steepness {
            return;
        }
        let change: [f64; 3] = std::array::from_fn(|a| gradient[a] * cell.size[a]);
        let doubt = doubt_gy(gradient, cell.size);
        self.meet(dose, doubt);
        if self.face.is_some() {
            self.look(cell.local, dose, gradient, ([0.0; 3], doubt));
        }
        let by_dose = change.map(|c| (c.abs() / (SAMPLE_STEP_GY * self.coarse)).ceil());
        let steep = cell.deep && by_dose.iter().any(|n| *n > 2.0);
        let splits: [u32; 3] = std::array::from_fn(|a| {
            let n = if steep {
                by_dose[a].max((cell.size[a] / (SPLIT_MM * self.coarse)).ceil())
            } else {
                1.0
            };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped
            let n = n.clamp(1.0, MAX_SPLITS) as u32;
            n
        });
        if splits == [1, 1, 1] {
            self.spread(dose, cell.volume, deviation_gy(change));
            if self.hottest.as_ref().is_none_or(|(d, ..)| dose > *d) {
                self.hottest = Some((dose, cell.local, cell.size));
            }
        } else {
            self.split(cell, splits, change, doubt);
        }
    }

    /// Two samples on either side of the middle of a cell. Their distance changes from cell to
    /// cell by the golden ratio, so that many cells together have the even spread of a dose that
    /// is linear in each, with its mean and variance, even where all middles have one dose.
    #[inline]
    fn spread(&mut self, dose: f64, volume: f64, deviation: f64) {
        if deviation < SPREAD_GY.min(SPREAD_SHARE * dose) {
            return self.push(dose, volume);
        }
        self.spread_phase += GOLDEN;
        if self.spread_phase >= 1.0 {
            self.spread_phase -= 1.0;
        }
        let by = SQRT_3 * deviation * self.spread_phase;
        self.push(dose - by, volume / 2.0);
        self.push(dose + by, volume / 2.0);
    }

    /// Climbs from the middle of the hottest cell to the summit, where there is one in it or next
    /// to it: on a slope the climb goes on, and the largest dose is that on the surface.
    fn climb(&mut self) {
        let Some((mut dose, local, size)) = self.hottest else { return };
        let cell = Cell { local, size, volume: 0.0, deep: true };
        let mut at: [f64; 3] = [0.0; 3];
        let mut step: f64 = 0.25;
        while step > 0.02 {
            let mut moved = false;
            for axis in 0..3 {
                for sign in [step, -step] {
                    let mut next = at;
                    next[axis] += sign;
                    if let Some(d) = self.field.at_local(self.moved(&cell, next))
                        && d > dose
                    {
                        (dose, at, moved) = (d, next, true);
                    }
                }
            }
            if at.iter().any(|x| x.abs() > CLIMB_CELLS) {
                return;
            }
            if !moved {
                step /= 2.0;
            }
        }
        if dose >= self.extremes[1] {
            let around = self.field.largest_voxel_around(self.moved(&cell, at));
            // Below the voxels around it there is no summit.
            self.out.summit_gy = around.map_or(0.0, |v| (dose - v).max(0.0));
            self.extremes[1] = dose;
        }
    }

    fn push(&mut self, dose: f64, volume: f64) {
        self.out.doses.add(dose, volume);
    }

    fn split(&mut self, cell: &Cell, [nu, nv, nw]: [u32; 3], change: [f64; 3], doubt_gy: f64) {
        let within =
            [change[0] / f64::from(nu), change[1] / f64::from(nv), change[2] / f64::from(nw)];
        let volume = cell.volume / f64::from(nu * nv * nw);
        let deviation = deviation_gy(within);
        if self.squared
            && self.split_along_the_grid(cell, [nw, nv, nu], |sampler, dose| {
                sampler.meet(dose, doubt_gy);
                sampler.spread(dose, volume, deviation);
            })
        {
            return;
        }
        let at = |i: u32, n: u32| (f64::from(i) + 0.5) / f64::from(n) - 0.5;
        let field = self.field;
        for k in 0..nw {
            for j in 0..nv {
                for i in 0..nu {
                    let local = self.moved(cell, [at(i, nu), at(j, nv), at(k, nw)]);
                    match field.at_local(local) {
                        Some(dose) => {
                            self.meet(dose, doubt_gy);
                            self.spread(dose, volume, deviation);
                        }
                        None => self.out.outside_mm3 += volume,
                    }
                }
            }
        }
    }

    /// The parts of a cell whose axes are those of the grid, by planes, rows and columns. False where
    /// they have to be looked at one by one.
    fn split_along_the_grid(
        &mut self,
        cell: &Cell,
        parts: [u32; 3],
        take: impl Fn(&mut Self, f64),
    ) -> bool {
        let spots = [2, 1, 0].map(|axis: usize| {
            let count = parts[2 - axis];
            let step = self.steps[axis][2 - axis] * cell.size[axis] / f64::from(count);
            let first = cell.local[2 - axis] - step * (f64::from(count) - 1.0) / 2.0;
            Spots { first, step, count: count as usize }
        });
        let mut block = std::mem::take(&mut self.block);
        let done = block.read(self.field, spots, |dose| take(self, dose));
        self.block = block;
        done
    }

    /// A point of a cell, `offset` from its middle in cell sizes.
    fn moved(&self, cell: &Cell, offset: [f64; 3]) -> [f64; 3] {
        self.beside(cell.local, [0, 1, 2].map(|axis| cell.size[axis] * offset[axis]))
    }

    /// A point `offset` from another along u, v, w, mm.
    fn beside(&self, mut local: [f64; 3], offset: [f64; 3]) -> [f64; 3] {
        for (step, x) in self.steps.iter().zip(offset) {
            for (l, s) in local.iter_mut().zip(step) {
                *l += s * x;
            }
        }
        local
    }
}

/// Standard deviation of a dose that changes by so much along each axis of a box, Gy.
fn deviation_gy(change: [f64; 3]) -> f64 {
    (change.iter().map(|c| c * c).sum::<f64>() / 12.0).sqrt()
}

/// Standard uncertainty of an extreme on a slope for the place of the surface in a cell, Gy.
fn doubt_gy(gradient: [f64; 3], size: [f64; 3]) -> f64 {
    let in_plane = SURFACE_SHARE * size[0] * gradient[0].abs().max(gradient[1].abs());
    length([in_plane, SHEET_SHARE * size[2] * gradient[2]])
}
