//! Which share of space at a point a solid fills, and what two solids have in common: cell by cell,
//! by the exact shares of the cells of the one at the middles of the cells of the other.

use super::occupancy::{Cut, Footprint, Layer, Occupancy, Run};
use super::point::Point;

/// A solid ready to be asked about points.
#[derive(Debug, Clone)]
pub struct Locator<'a> {
    solid: &'a Occupancy,
    /// Lower and upper end of each sheet, with its layer; by ascending lower end.
    sheets: Vec<(f64, f64, usize)>,
    thickest: f64,
    /// Cells of each layer by row.
    rows: Vec<Rows>,
}

/// Where the cells of a row stand in a footprint.
#[derive(Debug, Clone, Default)]
struct Rows {
    first: i32,
    runs: Vec<usize>,
    cuts: Vec<usize>,
}

impl Rows {
    fn of(footprint: &Footprint, pitch_mm: f64) -> Self {
        let of_cut = |c: &Cut| cell(c.centre[1] / pitch_mm);
        let rows = footprint.runs.iter().map(|r| r.row).chain(footprint.cuts.iter().map(of_cut));
        let (low, high) = rows.fold((i32::MAX, i32::MIN), |(l, h), r| (l.min(r), h.max(r)));
        if low > high {
            return Self::default();
        }
        let starts = |before: &dyn Fn(i32) -> usize| (low..=high + 1).map(before).collect();
        Self {
            first: low,
            runs: starts(&|row| footprint.runs.partition_point(|r| r.row < row)),
            cuts: starts(&|row| footprint.cuts.partition_point(|c| of_cut(c) < row)),
        }
    }

    fn range(starts: &[usize], row: usize) -> std::ops::Range<usize> {
        match (starts.get(row), starts.get(row + 1)) {
            (Some(a), Some(b)) => *a..*b,
            _ => 0..0,
        }
    }
}

#[allow(clippy::cast_possible_truncation)] // patient coordinates over a cell's edge
fn cell(x: f64) -> i32 {
    x.floor() as i32
}

impl<'a> Locator<'a> {
    /// Prepares a solid.
    #[must_use]
    pub fn new(solid: &'a Occupancy) -> Self {
        let mut sheets: Vec<(f64, f64, usize)> = Vec::new();
        for (i, layer) in solid.layers.iter().enumerate() {
            sheets.extend(layer.sheets.iter().map(|s| {
                let [low, high] = s.faces_mm();
                (low, high, i)
            }));
        }
        sheets.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        let thickest = sheets.iter().map(|s| s.1 - s.0).fold(0.0, f64::max);
        let rows = solid.layers.iter().map(|l| Rows::of(&l.footprint, solid.pitch_mm)).collect();
        Self { solid, sheets, thickest, rows }
    }

    /// Share of the solid's cell at a point that is filled, 0 to 1.
    #[must_use]
    pub fn share_at(&self, point: Point) -> f64 {
        let [u, v, w] = self.solid.axes.local(point);
        let from = self.sheets.partition_point(|s| s.0 < w - self.thickest);
        let here = self.sheets.get(from..).unwrap_or_default();
        let share: f64 = here
            .iter()
            .take_while(|s| s.0 <= w)
            .filter(|s| w < s.1)
            .map(|s| self.in_layer(s.2, [u, v]))
            .sum();
        share.min(1.0)
    }

    fn in_layer(&self, index: usize, [u, v]: [f64; 2]) -> f64 {
        let (Some(layer), Some(rows)) = (self.solid.layers.get(index), self.rows.get(index)) else {
            return 0.0;
        };
        let h = self.solid.pitch_mm;
        let column = cell((u - layer.shift_mm[0]) / h);
        let row = cell((v - layer.shift_mm[1]) / h);
        let Ok(at) = usize::try_from(row - rows.first) else { return 0.0 };
        let runs = layer.footprint.runs.get(Rows::range(&rows.runs, at)).unwrap_or_default();
        if runs.iter().any(|r| r.start <= column && column < r.end) {
            return 1.0;
        }
        let cuts = layer.footprint.cuts.get(Rows::range(&rows.cuts, at)).unwrap_or_default();
        let own = cuts.iter().filter(|c| cell(c.centre[0] / h) == column);
        own.map(|c| c.area / (h * h)).sum()
    }
}

/// Which part of a solid is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// What lies in the other solid.
    Inside,
    /// What lies outside it.
    Outside,
}

/// The cells of a solid that lie inside (or outside) another one.
#[must_use]
pub fn clipped(solid: &Occupancy, other: &Locator<'_>, keep: Keep) -> Occupancy {
    let mut layers = Vec::new();
    for layer in &solid.layers {
        for sheet in &layer.sheets {
            let share = |u: f64, v: f64| {
                let at = [u + layer.shift_mm[0], v + layer.shift_mm[1], sheet.w_mm];
                let inside = other.share_at(solid.axes.point(at));
                if keep == Keep::Inside { inside } else { 1.0 - inside }
            };
            let footprint = clip_footprint(&layer.footprint, solid.pitch_mm, share);
            if !(footprint.runs.is_empty() && footprint.cuts.is_empty()) {
                layers.push(Layer { footprint, shift_mm: layer.shift_mm, sheets: vec![*sheet] });
            }
        }
    }
    Occupancy { axes: solid.axes, pitch_mm: solid.pitch_mm, layers }
}

/// Shares closer to 0 or 1 than this are rounding.
const ROUNDING: f64 = 1e-9;

fn clip_footprint(old: &Footprint, h: f64, share: impl Fn(f64, f64) -> f64) -> Footprint {
    let mut out = Footprint::default();
    let mut new_cuts: Vec<Cut> = Vec::new();
    for run in &old.runs {
        let v = (f64::from(run.row) + 0.5) * h;
        let mut open: Option<i32> = None;
        for column in run.start..run.end {
            let u = (f64::from(column) + 0.5) * h;
            let s = share(u, v);
            if s > 1.0 - ROUNDING {
                open.get_or_insert(column);
                continue;
            }
            if let Some(start) = open.take() {
                out.runs.push(Run { row: run.row, start, end: column });
            }
            if s > ROUNDING {
                new_cuts.push(Cut { centre: [u, v], area: s * h * h, rim: [[u, v]; 2] });
            }
        }
        if let Some(start) = open {
            out.runs.push(Run { row: run.row, start, end: run.end });
        }
    }
    for cut in &old.cuts {
        let s = share(cut.centre[0], cut.centre[1]);
        if s > ROUNDING {
            new_cuts.push(Cut { area: s.min(1.0) * cut.area, ..*cut });
        }
    }
    new_cuts.sort_by(|a, b| {
        let key = |c: &Cut| (cell(c.centre[1] / h), cell(c.centre[0] / h));
        key(a).cmp(&key(b))
    });
    out.cuts = new_cuts;
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::slab::{Spacing, slabs};
    use crate::smooth::{Variant, closed_caps};
    use crate::{Combine, PlaneStack};
    use std::f64::consts::{PI, TAU};

    fn ball(x: f64, r: f64, pitch: f64) -> Occupancy {
        let circle = |z: f64| -> Vec<Point> {
            let q = (r * r - z * z).sqrt();
            let at = |i: i32| f64::from(i) * TAU / 150.0;
            (0..150).map(|i| [x + q * at(i).cos(), q * at(i).sin(), z]).collect()
        };
        let z = (-20..=20).map(|k| f64::from(k) + 0.4).filter(|z| z.abs() < r);
        let curves: Vec<_> = z.map(circle).collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let slabs = slabs(&stack, Spacing::default()).unwrap();
        closed_caps(&stack, &slabs, Spacing::default(), pitch, Variant::default())
    }

    /// The lens of two balls in closed form, and the rest; the middles of cells decide at the
    /// rim, by chance to either side: half a percent of the lens.
    #[test]
    fn the_lens_of_two_balls() {
        let (a, b, d) = (6.0, 4.0, 5.0);
        let (x, y) = (ball(0.0, a, 0.35), ball(d, b, 0.25));
        let lens = PI * (a + b - d).powi(2) * (d * d + 2.0 * d * (a + b) - 3.0 * (a - b).powi(2))
            / (12.0 * d);
        let of = Locator::new(&x);
        let inside = clipped(&y, &of, Keep::Inside).volume_mm3();
        let outside = clipped(&y, &of, Keep::Outside).volume_mm3();
        assert!((inside / lens - 1.0).abs() < 5e-3, "{inside} {lens}");
        assert!((inside + outside - y.volume_mm3()).abs() < 1e-6);
        let other = clipped(&x, &Locator::new(&y), Keep::Inside).volume_mm3();
        assert!((other / lens - 1.0).abs() < 5e-3, "{other} {lens}");
    }

    #[test]
    fn a_solid_inside_another_stays_whole() {
        let (large, small) = (ball(0.0, 8.0, 0.4), ball(1.0, 3.0, 0.2));
        let kept = clipped(&small, &Locator::new(&large), Keep::Inside);
        assert!((kept.volume_mm3() - small.volume_mm3()).abs() < 1e-9);
        assert_eq!(clipped(&small, &Locator::new(&large), Keep::Outside).layers.len(), 0);
        let of = Locator::new(&large);
        assert_eq!((of.share_at([0.0; 3]), of.share_at([0.0, 0.0, 9.0])), (1.0, 0.0));
        assert_eq!(of.share_at([20.0, 0.0, 0.0]), 0.0);
    }
}
