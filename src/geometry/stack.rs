//! Closed curves in space, drawn on parallel planes of any orientation, become a stack of filled
//! planes in order.
//!
//! The normal is taken from the curves themselves (never from an assumption about z), planes whose
//! positions differ by rounding are one plane, and what cannot be a stack is refused.

use super::point::{self, Point, add, cross, dot, scale};
use super::polygon::Point2;
use super::region::{Combine, Oddities, Region};

/// Points of one curve may lie this far apart along the normal and still count as planar, mm.
pub const PLANAR_MM: f64 = 0.01;
/// Planes closer than this share of the typical gap are one plane.
pub const SAME_PLANE_SHARE: f64 = 0.1;
/// A curve whose own normal departs further from the common one lies on another orientation.
const SAME_ORIENTATION_COSINE: f64 = 0.985; // ten degrees

/// Right-handed local axes: `u` and `v` in the planes, `w` along their normal. A point is
/// `u·U + v·V + w·W`; the origin is that of the patient coordinate system.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axes {
    /// Unit vectors U, V, W in patient coordinates.
    pub directions: [Point; 3],
}

impl Axes {
    /// Axes with the given normal (a unit vector). An axial stack keeps U = x, V = y.
    #[must_use]
    pub fn of_normal(w: Point) -> Self {
        let mut smallest = [0.0; 3];
        let axis = (0..3).min_by(|&a, &b| w[a].abs().total_cmp(&w[b].abs())).unwrap_or(0);
        smallest[axis] = 1.0;
        let projected = point::sub(smallest, scale(w, dot(smallest, w)));
        let u = point::unit(projected).unwrap_or([1.0, 0.0, 0.0]);
        Self { directions: [u, cross(w, u), w] }
    }

    /// Whether the planes are axial.
    #[must_use]
    pub fn is_axial(&self) -> bool {
        self.directions[2][2].abs() > 1.0 - 1e-6
    }

    /// Local coordinates (u, v, w) of a point, mm.
    #[must_use]
    pub fn local(&self, p: Point) -> Point {
        self.directions.map(|d| dot(d, p))
    }

    /// The point at local coordinates (u, v, w), mm.
    #[must_use]
    pub fn point(&self, [u, v, w]: Point) -> Point {
        let [du, dv, dw] = self.directions;
        add(add(scale(du, u), scale(dv, v)), scale(dw, w))
    }
}

/// One plane of the stack.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// Position along the normal, mm.
    pub w_mm: f64,
    /// The filled area.
    pub region: Region,
}

/// Filled planes of one orientation by ascending position.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneStack {
    /// Local axes of the planes.
    pub axes: Axes,
    /// The planes; those without area are left out.
    pub planes: Vec<Plane>,
    /// What was met on the way.
    pub report: StackReport,
    /// Edge length of the pixels whose steps were taken out of the outlines, mm: between planes
    /// nearer to each other than a few pixels the outlines are then fitted, not joined.
    pub pixel_mm: Option<f64>,
}

/// What was met while a stack was built.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StackReport {
    /// Oddities of the rings, summed over all planes.
    pub oddities: Oddities,
    /// Curves that leave their plane by more than [`PLANAR_MM`].
    pub not_planar: usize,
    /// By how much at most, mm.
    pub spread_mm: f64,
}

/// Why curves are not a stack.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StackError {
    /// Curves on planes of different orientation.
    #[error(
        "contours lie on planes of different orientation ({others} of {all} depart from the common normal)"
    )]
    MixedOrientation {
        /// Curves that depart.
        others: usize,
        /// All curves with area.
        all: usize,
    },
    /// A curve that leaves its plane by more than half the distance between planes.
    #[error(
        "a contour leaves its plane by {spread_mm:.2} mm, more than half the plane distance of {gap_mm:.2} mm"
    )]
    NotPlanar {
        /// By how much, mm.
        spread_mm: f64,
        /// Typical distance between planes, mm.
        gap_mm: f64,
    },
}

impl PlaneStack {
    /// Builds the stack from closed curves in any order.
    ///
    /// # Errors
    /// [`StackError`] when the curves do not lie on parallel planes.
    pub fn build(curves: &[Vec<Point>], combine: Combine) -> Result<Self, StackError> {
        let drawn: Vec<&Vec<Point>> = curves.iter().filter(|c| has_area(c)).collect();
        let lines = curves.len() - drawn.len();
        let axes = Axes::of_normal(common_normal(&drawn));
        let mut placed: Vec<Placed> = drawn.iter().map(|c| Placed::of(c, &axes)).collect();
        placed.sort_by(|a, b| a.w_mm.total_cmp(&b.w_mm));
        let gap_mm = typical_gap(&placed);
        let mut report = check(&placed, gap_mm)?;
        let mut planes = Vec::new();
        for group in clusters(placed, gap_mm) {
            let w_mm = mean_w(&group);
            let rings: Vec<Vec<Point2>> = group.into_iter().map(|p| p.ring).collect();
            let (region, odd) = Region::fill(&rings, combine);
            report.oddities += odd;
            if !region.is_empty() {
                planes.push(Plane { w_mm, region });
            }
        }
        report.oddities.degenerate += lines;
        Ok(Self { axes, planes, report, pixel_mm: None })
    }

    /// Distances between neighbouring planes, mm.
    #[must_use]
    pub fn gaps_mm(&self) -> Vec<f64> {
        self.planes.windows(2).map(|p| p[1].w_mm - p[0].w_mm).collect()
    }

    /// Median distance between neighbouring planes, mm; absent with fewer than two planes.
    #[must_use]
    pub fn typical_gap_mm(&self) -> Option<f64> {
        let mut gaps = self.gaps_mm();
        gaps.sort_by(f64::total_cmp);
        gaps.get(gaps.len() / 2).copied()
    }
}

/// Where closed curves lie along the normal they share, found without filling them.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanePlaces {
    /// Unit normal.
    pub normal: Point,
    /// Position of each plane along it, mm, ascending.
    pub places_mm: Vec<f64>,
}

impl PlanePlaces {
    /// Of curves in any order; absent without a curve that has area, and where they are no stack.
    #[must_use]
    pub fn of(curves: &[&Vec<Point>]) -> Option<Self> {
        let drawn: Vec<&Vec<Point>> = curves.iter().copied().filter(|c| has_area(c)).collect();
        let axes = Axes::of_normal(common_normal(&drawn));
        let mut placed: Vec<Placed> = drawn.iter().map(|c| Placed::of(c, &axes)).collect();
        placed.sort_by(|a, b| a.w_mm.total_cmp(&b.w_mm));
        let gap_mm = typical_gap(&placed);
        check(&placed, gap_mm).ok()?;
        let places_mm: Vec<f64> = clusters(placed, gap_mm).iter().map(|g| mean_w(g)).collect();
        (!places_mm.is_empty()).then_some(Self { normal: axes.directions[2], places_mm })
    }

    /// Median distance between neighbouring planes, mm; absent with fewer than two planes.
    #[must_use]
    pub fn typical_gap_mm(&self) -> Option<f64> {
        let mut gaps: Vec<f64> = self.places_mm.windows(2).map(|p| p[1] - p[0]).collect();
        gaps.sort_by(f64::total_cmp);
        gaps.get(gaps.len() / 2).copied()
    }
}

struct Placed {
    w_mm: f64,
    spread_mm: f64,
    cosine: f64,
    ring: Vec<Point2>,
}

impl Placed {
    fn of(curve: &[Point], axes: &Axes) -> Self {
        let local: Vec<Point> = curve.iter().map(|p| axes.local(*p)).collect();
        let (low, high) = range(local.iter().map(|p| p[2]));
        let own = point::unit(area_vector(curve)).unwrap_or(axes.directions[2]);
        Self {
            w_mm: f64::midpoint(low, high),
            spread_mm: high - low,
            cosine: dot(own, axes.directions[2]).abs(),
            ring: local.iter().map(|p| [p[0], p[1]]).collect(),
        }
    }
}

/// Position of the plane that some curves share, mm.
fn mean_w(group: &[Placed]) -> f64 {
    #[allow(clippy::cast_precision_loss)] // a handful of curves
    let count = group.len() as f64;
    group.iter().map(|p| p.w_mm).sum::<f64>() / count
}

fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
}

/// Twice the area, directed along the normal (Newell's sum, about the first point).
fn area_vector(curve: &[Point]) -> Point {
    let Some(&o) = curve.first() else { return [0.0; 3] };
    curve
        .windows(2)
        .fold([0.0; 3], |sum, w| add(sum, cross(point::sub(w[0], o), point::sub(w[1], o))))
}

/// Whether the points span a plane. A figure of eight does, though its halves cancel in the area
/// vector; points on a line do not.
fn has_area(curve: &[Point]) -> bool {
    let Some(&first) = curve.first() else { return false };
    let arms: Vec<Point> = curve.iter().map(|p| point::sub(*p, first)).collect();
    let longest = arms.iter().copied().max_by(|a, b| dot(*a, *a).total_cmp(&dot(*b, *b)));
    let longest = longest.unwrap_or_default();
    let spanned = |arm: &Point| point::length(cross(*arm, longest));
    arms.iter().map(spanned).fold(0.0, f64::max) > 2.0 * super::polygon::NO_AREA_MM2
}

/// The normal that most curves share: a patient axis when at least half of them are flat along
/// it, else the area-weighted mean.
fn common_normal(curves: &[&Vec<Point>]) -> Point {
    for axis in [2, 0, 1] {
        let flat = curves.iter().filter(|c| {
            let (low, high) = range(c.iter().map(|p| p[axis]));
            high - low <= PLANAR_MM
        });
        if 2 * flat.count() >= curves.len() {
            let mut n = [0.0; 3];
            n[axis] = 1.0;
            return n;
        }
    }
    let vectors: Vec<Point> = curves.iter().map(|c| area_vector(c)).collect();
    let largest = vectors
        .iter()
        .copied()
        .max_by(|a, b| dot(*a, *a).total_cmp(&dot(*b, *b)))
        .unwrap_or([0.0, 0.0, 1.0]);
    let sum = vectors
        .iter()
        .fold([0.0; 3], |s, v| if dot(*v, largest) < 0.0 { point::sub(s, *v) } else { add(s, *v) });
    let n = point::unit(sum).unwrap_or([0.0, 0.0, 1.0]);
    // One sense for one orientation, whatever the winding of the largest curve.
    let lead = n.into_iter().rev().find(|c| c.abs() > 1e-6).unwrap_or(1.0);
    if lead < 0.0 { scale(n, -1.0) } else { n }
}

fn typical_gap(sorted: &[Placed]) -> f64 {
    let mut gaps: Vec<f64> =
        sorted.windows(2).map(|p| p[1].w_mm - p[0].w_mm).filter(|g| *g > PLANAR_MM).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(f64::INFINITY)
}

fn check(placed: &[Placed], gap_mm: f64) -> Result<StackReport, StackError> {
    let mut report = StackReport::default();
    let others = placed
        .iter()
        .filter(|p| p.spread_mm > PLANAR_MM && p.cosine < SAME_ORIENTATION_COSINE)
        .count();
    if others > 0 {
        return Err(StackError::MixedOrientation { others, all: placed.len() });
    }
    for p in placed.iter().filter(|p| p.spread_mm > PLANAR_MM) {
        report.not_planar += 1;
        report.spread_mm = report.spread_mm.max(p.spread_mm);
    }
    if report.spread_mm > gap_mm / 2.0 {
        return Err(StackError::NotPlanar { spread_mm: report.spread_mm, gap_mm });
    }
    Ok(report)
}

fn clusters(sorted: Vec<Placed>, gap_mm: f64) -> Vec<Vec<Placed>> {
    let tolerance =
        if gap_mm.is_finite() { PLANAR_MM.max(SAME_PLANE_SHARE * gap_mm) } else { PLANAR_MM };
    let mut groups: Vec<Vec<Placed>> = Vec::new();
    for p in sorted {
        match groups.last_mut() {
            Some(g) if g.first().is_some_and(|f| p.w_mm - f.w_mm <= tolerance) => g.push(p),
            _ => groups.push(vec![p]),
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc(axes: &Axes, w: f64, radius: f64) -> Vec<Point> {
        (0..40)
            .map(|i| {
                let a = f64::from(i) * std::f64::consts::TAU / 40.0;
                axes.point([radius * a.cos(), radius * a.sin(), w])
            })
            .collect()
    }

    #[test]
    fn planes_are_sorted_and_rounding_is_merged() {
        let axes = Axes::of_normal([0.0, 0.0, 1.0]);
        assert_eq!(axes.directions[0], [1.0, 0.0, 0.0]);
        assert_eq!(axes.directions[1], [0.0, 1.0, 0.0]);
        let mut shifted = disc(&axes, 2.001, 1.0);
        for p in &mut shifted {
            p[0] += 10.0;
        }
        let curves = [disc(&axes, 4.0, 3.0), disc(&axes, 0.0, 3.0), disc(&axes, 2.0, 3.0), shifted];
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let w: Vec<f64> = stack.planes.iter().map(|p| p.w_mm).collect();
        assert_eq!(w.len(), 3);
        assert!((w[1] - 2.0005).abs() < 1e-9);
        assert_eq!(stack.planes[1].region.pieces(), 2);
    }

    #[test]
    fn places_are_those_of_the_stack() {
        for n in [[0.0, 0.0, 1.0], [0.6, 0.48, 0.64]] {
            let axes = Axes::of_normal(n);
            let mut curves: Vec<_> = (0..5).map(|k| disc(&axes, 2.0 * f64::from(k), 3.0)).collect();
            curves.push(disc(&axes, 4.0, 1.0));
            let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
            let places = PlanePlaces::of(&curves.iter().collect::<Vec<_>>()).unwrap();
            let filled: Vec<f64> = stack.planes.iter().map(|p| p.w_mm).collect();
            assert_eq!((places.normal, places.places_mm.clone()), (axes.directions[2], filled));
            assert_eq!(places.typical_gap_mm(), stack.typical_gap_mm());
        }
        assert_eq!(PlanePlaces::of(&[&vec![[0.0; 3], [1.0, 0.0, 0.0]]]), None);
    }

    #[test]
    fn any_orientation_gives_the_same_areas() {
        for n in [[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.6, 0.48, 0.64]] {
            let axes = Axes::of_normal(n);
            let curves: Vec<_> = (0..5).map(|k| disc(&axes, f64::from(k), 3.0)).collect();
            let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
            assert_eq!(stack.planes.len(), 5, "{n:?}");
            let exact = 20.0 * 9.0 * (std::f64::consts::TAU / 40.0).sin();
            for p in &stack.planes {
                assert!((p.region.area() - exact).abs() < 1e-4, "{}", p.region.area());
            }
            assert!((stack.typical_gap_mm().unwrap() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn mixed_orientations_are_refused() {
        let axial = Axes::of_normal([0.0, 0.0, 1.0]);
        let sagittal = Axes::of_normal([1.0, 0.0, 0.0]);
        let curves = [disc(&axial, 0.0, 3.0), disc(&axial, 1.0, 3.0), disc(&sagittal, 0.0, 3.0)];
        assert_eq!(
            PlaneStack::build(&curves, Combine::Nested),
            Err(StackError::MixedOrientation { others: 1, all: 3 })
        );
    }

    #[test]
    fn a_contour_off_its_plane_is_reported_or_refused() {
        let axes = Axes::of_normal([0.0, 0.0, 1.0]);
        let mut curves: Vec<_> = (0..5).map(|k| disc(&axes, f64::from(k), 3.0)).collect();
        curves[2][7][2] += 0.2;
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        assert_eq!(stack.report.not_planar, 1);
        curves[2][7][2] += 0.5;
        assert!(matches!(
            PlaneStack::build(&curves, Combine::Nested),
            Err(StackError::NotPlanar { .. })
        ));
    }

    /// The two triangles of 400 mm² turn against each other: their area vectors cancel.
    #[test]
    fn a_figure_of_eight_keeps_its_area() {
        let eight = |z: f64| vec![[0.0, 0.0, z], [40.0, 40.0, z], [40.0, 0.0, z], [0.0, 40.0, z]];
        let stack = PlaneStack::build(&[eight(0.0), eight(2.0)], Combine::Nested).unwrap();
        let areas: Vec<f64> = stack.planes.iter().map(|p| p.region.area()).collect();
        assert!(areas.len() == 2 && areas.iter().all(|a| (a - 800.0).abs() < 1e-4), "{areas:?}");
        let line = vec![[0.0; 3], [5.0, 5.0, 5.0], [9.0, 9.0, 9.0]];
        assert!(PlaneStack::build(&[line], Combine::Nested).unwrap().planes.is_empty());
    }

    #[test]
    fn nothing_gives_an_empty_stack() {
        let stack = PlaneStack::build(&[], Combine::Nested).unwrap();
        assert!(stack.planes.is_empty());
    }
}
