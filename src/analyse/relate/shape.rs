//! One structure as it is and with its ends and cells varied, and what two of them yield.
//!
//! Bounds are the value ± 2u. u has the terms of [`crate::bounds`] that have no dose: the
//! free ends of both structures shrunk and grown together, outlines with and without the steps of
//! pixels, cells of twice the edge (two thirds of
//! the difference), and chance.

use std::sync::Arc;

use crate::settings::Ends;
use crate::structure::{NoSolid, Solid};
use tidydose_geometry::Occupancy;
use tidydose_geometry::body::{Body, gap_mm};
use tidydose_geometry::locate::{Keep, Locator, clipped};
use tidydose_geometry::point::Point;
use tidydose_geometry::smooth::{OutlineVariant, Variant};
use tidydose_metrics::{Outcome, Status};

/// A solid as cells and as a surface.
pub(crate) struct Shape {
    pub(crate) cells: Arc<Occupancy>,
    pub(crate) body: Body,
}

impl Shape {
    fn of(cells: Arc<Occupancy>) -> Option<Self> {
        let body = Body::of(&cells)?;
        Some(Self { cells, body })
    }
}

/// What two shapes yield together; absent without surface.
type Quantity<'f> = dyn Fn(&Shape, &Shape) -> Option<f64> + 'f;
/// Several at once.
type Quantities<'f, const N: usize> = dyn Fn(&Shape, &Shape) -> Option<[f64; N]> + 'f;

/// Uncertainty of a gap from where the cells happen to lie, as a share of a cell.
pub(crate) const GAP_CHANCE: f64 = 0.05;

/// A structure in all ways.
pub(crate) struct Shapes {
    nominal: Shape,
    coarse: Shape,
    /// With its free ends grown, and shrunk; absent where nothing is left of it.
    ends: [Option<Shape>; 2],
    /// With its other outlines, where they were traced around pixels.
    other: Option<Shape>,
}

/// The reason where a solid has no surface.
pub(crate) fn nothing() -> NoSolid {
    NoSolid { status: Status::Empty, reason: "the structure has no volume".to_owned() }
}

impl Shapes {
    pub(crate) fn of(solid: &Solid, ends: Ends) -> Option<Self> {
        let variants = [0.0, 1.0, -1.0].map(|by| Variant { ends: [by; 2], ..Variant::default() });
        let mut coarse = solid.occupancies(ends, 2.0, &variants).into_iter().map(Shape::of);
        Some(Self {
            nominal: Shape::of(solid.occupancy(ends, 1.0, Variant::default()))?,
            coarse: coarse.next().flatten()?,
            ends: [coarse.next().flatten(), coarse.next().flatten()],
            other: solid.pixels.and_then(|_| {
                let outlines = OutlineVariant::Other;
                let variant = Variant { outlines, ..Variant::default() };
                Shape::of(solid.occupancy(ends, 2.0, variant))
            }),
        })
    }

    pub(crate) const fn pitch_mm(&self) -> f64 {
        self.nominal.body.pitch_mm()
    }

    /// Of cells of twice the edge, as everything that is varied.
    pub(crate) const fn coarse(&self) -> &Shape {
        &self.coarse
    }

    pub(crate) const fn volume_cc(&self) -> f64 {
        self.coarse.body.volume_mm3() / 1000.0
    }

    /// The gap between two structures with its bounds.
    pub(crate) fn gap(a: &Self, b: &Self) -> Outcome {
        let chance = GAP_CHANCE * a.pitch_mm().max(b.pitch_mm());
        Self::compare(a, b, chance, &|x, y| gap_mm(&x.body, &y.body))
    }

    /// A quantity of two structures with its bounds.
    pub(crate) fn compare(a: &Self, b: &Self, chance: f64, of: &Quantity<'_>) -> Outcome {
        let [outcome] = Self::compare_several(a, b, chance, &|x, y| of(x, y).map(|value| [value]));
        outcome
    }

    /// Several quantities of two structures, each with its bounds.
    pub(crate) fn compare_several<const N: usize>(
        a: &Self,
        b: &Self,
        chance: f64,
        of: &Quantities<'_, N>,
    ) -> [Outcome; N] {
        let (Some(values), Some(bases)) = (of(&a.nominal, &b.nominal), of(&a.coarse, &b.coarse))
        else {
            return std::array::from_fn(|_| Outcome::none(Status::Empty, nothing().reason));
        };
        let varied: Vec<[f64; N]> =
            a.ends.iter().zip(&b.ends).filter_map(|(x, y)| of(x.as_ref()?, y.as_ref()?)).collect();
        let others = (a.other.is_some() || b.other.is_some())
            .then(|| {
                of(a.other.as_ref().unwrap_or(&a.coarse), b.other.as_ref().unwrap_or(&b.coarse))
            })
            .flatten();
        std::array::from_fn(|i| {
            let (value, base) = (values[i], bases[i]);
            let cells = ((value - base) * 2.0 / 3.0).hypot(chance);
            let ends = varied.iter().map(|v| (v[i] - base).abs()).fold(0.0, f64::max);
            let pixels = others.map_or(0.0, |v| (v[i] - base).abs());
            let reach = 2.0 * ends.hypot(cells).hypot(pixels);
            Outcome { low: Some(value - reach), high: Some(value + reach), ..Outcome::of(value) }
        })
    }
}

/// Volume that two solids share, mm³: cells of the smaller one, each counted by the share of the
/// larger one's cell in which its middle lies.
pub(crate) fn overlap_mm3(a: &Shape, b: &Shape) -> f64 {
    let (small, large) = if a.body.volume_mm3() <= b.body.volume_mm3() { (a, b) } else { (b, a) };
    clipped(&small.cells, &Locator::new(&large.cells), Keep::Inside).volume_mm3()
}

/// Uncertainty of an overlap from where cells happen to lie, cc: half a cell for each cell of a cut
/// through the smaller solid, at random.
pub(crate) fn overlap_chance(a: &Shapes, b: &Shapes) -> f64 {
    let small = if a.volume_cc() <= b.volume_cc() { a } else { b };
    #[allow(clippy::cast_precision_loss)] // some ten thousand cells
    let cells = 8.0 * small.coarse.cells.cells() as f64;
    0.5 * cells.cbrt() / cells * small.volume_cc()
}

/// Share of `organ` within each distance of the surface of `target`, percent. Its bounds are those
/// shares for distances less and greater by the uncertainty of the gap, and of the number of cells.
pub(crate) fn shares_within<const N: usize>(
    target: &Shapes,
    organ: &Shapes,
    distances_mm: [f64; N],
    gap: &Outcome,
) -> [Outcome; N] {
    let (Some(value), Some(low)) = (gap.value, gap.low) else {
        return distances_mm.map(|_| Outcome::none(gap.status, gap.reason.clone()));
    };
    let reach = value - low;
    let farthest = distances_mm.iter().copied().fold(0.0, f64::max) + reach;
    if low > farthest {
        return distances_mm.map(|_| Outcome {
            low: Some(0.0),
            high: Some(0.0),
            ..Outcome::of(0.0)
        });
    }
    let body = &target.nominal.body;
    let cells = middles(&organ.coarse.cells);
    let mut limits: Vec<f64> =
        distances_mm.iter().flat_map(|t| [t - reach, *t, t + reach]).collect();
    limits.sort_by(f64::total_cmp);
    let mut distances = body.distances();
    let mut near: Vec<(f64, f64)> = Vec::new();
    for (p, volume) in &cells {
        if body.distance_to_box_mm(*p) <= farthest
            && let Some(distance) = distances.between_limits_mm(*p, &limits)
        {
            near.push((distance, *volume));
        }
    }
    let all: f64 = cells.iter().map(|(_, v)| v).sum();
    let share = |t: f64| {
        let within = near.iter().filter(|(d, _)| *d <= t);
        within.map(|(_, v)| v).sum::<f64>().max(0.0) / all
    };
    #[allow(clippy::cast_precision_loss)] // some thousand cells
    let n = cells.len() as f64;
    // Half a cell for each cell of the boundary between near and far, at random.
    let chance = |p: f64| if p > 0.0 && p < 1.0 { n.cbrt() / n } else { 0.0 };
    distances_mm.map(|t| {
        let (value, less, more) = (share(t), share(t - reach), share(t + reach));
        Outcome {
            low: Some(100.0 * (less - chance(less)).max(0.0)),
            high: Some(100.0 * (more + chance(more)).min(1.0)),
            ..Outcome::of(100.0 * value)
        }
    })
}

/// The middle and the filled volume (mm³) of every cell.
fn middles(solid: &Occupancy) -> Vec<(Point, f64)> {
    let h = solid.pitch_mm;
    let mut out = Vec::new();
    for layer in &solid.layers {
        let [du, dv] = layer.shift_mm;
        let whole = layer.footprint.runs.iter().flat_map(|r| {
            let v = (f64::from(r.row) + 0.5) * h;
            (r.start..r.end).map(move |c| ([(f64::from(c) + 0.5) * h, v], h * h))
        });
        let cut = layer.footprint.cuts.iter().map(|c| (c.centre, c.area));
        let cells: Vec<([f64; 2], f64)> = whole.chain(cut).collect();
        for sheet in &layer.sheets {
            out.extend(cells.iter().map(|([u, v], area)| {
                let p = solid.axes.point([u + du, v + dv, sheet.w_mm]);
                (p, area * sheet.thickness_mm)
            }));
        }
    }
    out
}

/// Points of a surface by which a margin is measured, at least.
const MARGIN_POINTS: usize = 500;

/// The margin around `inner` that `outer` leaves, mm: smallest, mean and largest; absent without
/// surface.
pub(crate) fn margin_mm(inner: &Shape, outer: &Shape) -> Option<[f64; 3]> {
    let points = inner.body.points();
    let every = (points.len() / MARGIN_POINTS).max(1);
    let (mut of_inner, mut of_outer) = (inner.body.distances(), outer.body.distances());
    let out: Option<Vec<f64>> = points
        .iter()
        .step_by(every)
        .map(|p| Some(of_inner.signed_mm(*p)? - of_outer.signed_mm(*p)?))
        .collect();
    let out = out?;
    #[allow(clippy::cast_precision_loss)] // some hundred points
    let mean_mm = out.iter().sum::<f64>() / out.len() as f64;
    let range = [f64::min, f64::max].map(|f| out.iter().copied().reduce(f));
    let [Some(least), Some(most)] = range else { return None };
    Some([least, mean_mm, most])
}
