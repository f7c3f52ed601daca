//! The surface of a solid, from the shares of cells that it fills: triangles where the share passes
//! one half (marching tetrahedra). Counting the faces of cells would find a ball's surface half as
//! large again; the triangles follow it, whatever its direction, with an error that falls with the
//! square of the cells.

use ndarray::Array3;

use super::ball_radius_mm;
use super::occupancy::{Footprint, Occupancy};
use super::pieces::Pieces;
use super::point::{self, Point};

/// The surface of a solid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Surface {
    /// Area, mm².
    pub area_mm2: f64,
    /// Points of it, about one for each cell, mm.
    pub points: Vec<Point>,
    /// Its triangles, corners counter-clockwise as seen from outside, mm.
    pub facets: Vec<[Point; 3]>,
}

/// Lattice cells along the height of a flat solid, at least.
const CELLS_OF_HEIGHT: f64 = 6.0;
/// The level that is the surface.
const LEVEL: f32 = 0.5;

impl Surface {
    /// The surface of a solid; empty without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Self {
        let Some(shares) = Shares::of(solid) else { return Self::default() };
        let mut out = Self::default();
        let [nw, nv, nu] = shares.shape();
        let mut filled = vec![0_u8; nu];
        for k in 0..nw - 1 {
            for j in 0..nv - 1 {
                shares.count_filled([k, j], &mut filled);
                // Most cubes lie wholly inside or outside; those have no surface.
                let crossed = filled.windows(2).enumerate().filter(|(_, n)| {
                    let corners: u8 = n.iter().sum();
                    corners != 0 && corners != 8
                });
                for (i, _) in crossed {
                    shares.cube([k, j, i], &mut out);
                }
            }
        }
        let corners = out.facets.iter_mut().flatten();
        out.points.iter_mut().chain(corners).for_each(|p| *p = solid.axes.point(*p));
        out
    }

    /// Largest distance between two of its points, mm; 0 without points.
    #[must_use]
    pub fn longest_mm(&self) -> f64 {
        let mut best = 0.0_f64;
        for i in 0..DIRECTIONS {
            let (mut direction, mut before) = (spread_direction(i), -1.0);
            // From the extremes along a direction to those along the line between them.
            while let Some((a, b)) = self.extremes(direction) {
                let across = point::sub(b, a);
                let length = point::length(across);
                if length <= before + 1e-9 {
                    break;
                }
                (before, best) = (length, best.max(length));
                let Some(next) = point::unit(across) else { break };
                if length < best * (1.0 - 1e-3) {
                    break;
                }
                direction = next;
            }
        }
        best
    }

    fn extremes(&self, direction: Point) -> Option<(Point, Point)> {
        let mut found: Option<([f64; 2], [Point; 2])> = None;
        for p in &self.points {
            let x = point::dot(*p, direction);
            let (range, ends) = found.get_or_insert(([x; 2], [*p; 2]));
            if x < range[0] {
                (range[0], ends[0]) = (x, *p);
            }
            if x > range[1] {
                (range[1], ends[1]) = (x, *p);
            }
        }
        found.map(|(_, [a, b])| (a, b))
    }
}

/// Directions along which the longest chord is looked for.
const DIRECTIONS: u32 = 32;

/// Directions spread evenly over a half-sphere, by the golden angle.
fn spread_direction(i: u32) -> Point {
    let z = (f64::from(i) + 0.5) / f64::from(DIRECTIONS);
    let angle = f64::from(i) * std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let r = (1.0 - z * z).sqrt();
    [r * angle.cos(), r * angle.sin(), z]
}

/// Each number becomes a quarter of those in the same place of both neighbouring rows and half of
/// itself; rows lie one after the other, and beyond the first and last are zeros.
fn smooth_rows(rows: &mut [f32], length: usize) {
    let (mut before, zeros) = (vec![0.0; length], vec![0.0; length]);
    let mut rest = rows;
    while rest.len() >= length && length > 0 {
        let (row, next) = rest.split_at_mut(length);
        let after = next.get(..length).unwrap_or(&zeros);
        for ((here, before), after) in row.iter_mut().zip(&mut before).zip(after) {
            let own = *here;
            *here = (*before + 2.0 * own + after) / 4.0;
            *before = own;
        }
        rest = next;
    }
}

/// Filled shares of the cells of one lattice in local coordinates, with an empty cell all round.
struct Shares {
    /// Index of the first cell along w, v and u.
    low: [f64; 3],
    /// Edge lengths along w, v and u, mm.
    size: [f64; 3],
    filled: Array3<f32>,
}

impl Shares {
    fn of(solid: &Occupancy) -> Option<Self> {
        let h = solid.pitch_mm;
        let (low, high) = bounds(solid)?;
        let thickness = h.min((high[0] - low[0]) / CELLS_OF_HEIGHT);
        if !(h > 0.0 && thickness > 0.0) {
            return None;
        }
        let size = [thickness, h, h];
        let first: [f64; 3] = std::array::from_fn(|a| (low[a] / size[a]).floor() - 2.0);
        let count: [usize; 3] = std::array::from_fn(|a| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // finite, positive
            let n = ((high[a] / size[a]).ceil() - first[a]) as usize;
            n + 3
        });
        let mut out = Self { low: first, size, filled: Array3::zeros(count) };
        let mut plane = Plane::new(&out);
        for layer in &solid.layers {
            plane.fill(&layer.footprint, layer.shift_mm, &out);
            for sheet in &layer.sheets {
                let half = sheet.thickness_mm / 2.0;
                out.add(&plane, sheet.w_mm - half, sheet.w_mm + half);
            }
        }
        out.smooth();
        Some(out)
    }

    /// Each share becomes a quarter of both neighbours and half of itself, along each axis. Shares
    /// alone change from 0 to 1 within one cell, and where a sloping surface crosses a line of cells
    /// would be read off in ripples; so it is off by less than a hundredth of a cell.
    fn smooth(&mut self) {
        let [nw, nv, nu] = self.shape();
        let Some(cells) = self.filled.as_slice_mut() else { return };
        for (count, stride) in [(nw, nv * nu), (nv, nu), (nu, 1)] {
            for block in cells.chunks_exact_mut(count * stride) {
                smooth_rows(block, stride);
            }
        }
    }

    fn shape(&self) -> [usize; 3] {
        let (nw, nv, nu) = self.filled.dim();
        [nw, nv, nu]
    }

    /// For each cell along u, how many of it and its three neighbours along v and w are filled.
    fn count_filled(&self, [k, j]: [usize; 2], out: &mut [u8]) {
        out.fill(0);
        let (rows, length) = (self.filled.dim().1, out.len());
        let cells = self.filled.as_slice().unwrap_or_default();
        for [k, j] in [[k, j], [k, j + 1], [k + 1, j], [k + 1, j + 1]] {
            let start = (k * rows + j) * length;
            let row = cells.get(start..start + length).unwrap_or_default();
            out.iter_mut().zip(row).for_each(|(n, share)| *n += u8::from(*share >= LEVEL));
        }
    }

    /// Adds a cross-section between two positions.
    fn add(&mut self, plane: &Plane, from_mm: f64, to_mm: f64) {
        let at = |mm: f64| mm / self.size[0] - self.low[0];
        let (from, to) = (at(from_mm), at(to_mm));
        let [rows, columns] = plane.touched;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the lattice
        let (first, last) = (from.max(0.0) as usize, to.max(0.0) as usize);
        for k in first..=last.min(self.filled.shape()[0] - 1) {
            #[allow(clippy::cast_precision_loss)] // a handful of sheets
            let start = k as f64;
            let part = to.min(start + 1.0) - from.max(start);
            if part <= 0.0 {
                continue;
            }
            #[allow(clippy::cast_possible_truncation)]
            let part = part as f32;
            for j in rows[0]..rows[1] {
                for i in columns[0]..columns[1] {
                    self.filled[[k, j, i]] += part * plane.filled[j * plane.columns + i];
                }
            }
        }
    }

    /// Triangles and points of the cube between eight neighbouring cell centres.
    fn cube(&self, [k, j, i]: [usize; 3], out: &mut Surface) {
        let mut values = [0.0_f32; 8];
        for (corner, value) in values.iter_mut().enumerate() {
            let [dk, dj, di] = [corner >> 2 & 1, corner >> 1 & 1, corner & 1];
            *value = self.filled[[k + dk, j + dj, i + di]];
        }
        let inside = values.iter().filter(|v| **v >= LEVEL).count();
        if inside == 0 || inside == 8 {
            return;
        }
        #[allow(clippy::cast_precision_loss)] // lattice sizes are far below 2^52
        let base = [k as f64, j as f64, i as f64];
        for end in [1, 2, 4] {
            if (values[0] >= LEVEL) != (values[end] >= LEVEL) {
                out.points.push(self.crossing(base, values, [0, end]));
            }
        }
        for tetrahedron in TETRAHEDRA {
            self.cut(base, values, tetrahedron, out);
        }
    }

    fn cut(&self, base: [f64; 3], values: [f32; 8], corners: [usize; 4], out: &mut Surface) {
        let mut sides = corners;
        // Filled corners first.
        sides.sort_by_key(|c| values[*c] < LEVEL);
        let inside = corners.iter().filter(|c| values[**c] >= LEVEL).count();
        let [a, b, c, d] = sides;
        let at = |x, y| self.crossing(base, values, [x, y]);
        // From a filled corner to an empty one, along (u, v, w).
        let step = |bit: usize| match (a >> bit & 1, d >> bit & 1) {
            (0, 1) => self.size[2 - bit],
            (1, 0) => -self.size[2 - bit],
            _ => 0.0,
        };
        let outward = [0, 1, 2].map(step);
        let mut triangle = |p: Point, q: Point, r: Point| {
            let normal = point::cross(point::sub(q, p), point::sub(r, p));
            out.area_mm2 += point::length(normal) / 2.0;
            let turned = point::dot(normal, outward) < 0.0;
            out.facets.push(if turned { [p, r, q] } else { [p, q, r] });
        };
        match inside {
            1 => triangle(at(a, b), at(a, c), at(a, d)),
            3 => triangle(at(a, d), at(b, d), at(c, d)),
            2 => {
                let (p, q, r, s) = (at(a, c), at(a, d), at(b, c), at(b, d));
                triangle(p, q, s);
                triangle(p, s, r);
            }
            _ => {}
        }
    }

    /// Where the share passes the level between two corners, local coordinates (u, v, w), mm.
    fn crossing(&self, base: [f64; 3], values: [f32; 8], [from, to]: [usize; 2]) -> Point {
        let (a, b) = (f64::from(values[from]), f64::from(values[to]));
        let t = if (b - a).abs() > 0.0 { (f64::from(LEVEL) - a) / (b - a) } else { 0.5 };
        let index = |corner: usize, axis: usize| {
            base[axis] + if corner >> (2 - axis) & 1 == 1 { 1.0 } else { 0.0 }
        };
        let mm = |axis: usize| {
            let cells = index(from, axis) + t * (index(to, axis) - index(from, axis));
            (cells + 0.5 + self.low[axis]) * self.size[axis]
        };
        [mm(2), mm(1), mm(0)]
    }
}

/// Six tetrahedra about the diagonal from corner 0 to corner 7.
const TETRAHEDRA: [[usize; 4]; 6] =
    [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]];

/// Smallest and largest position along w, v and u, mm.
fn bounds(solid: &Occupancy) -> Option<([f64; 3], [f64; 3])> {
    let h = solid.pitch_mm;
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    let mut include = |axis: usize, from: f64, to: f64| {
        low[axis] = low[axis].min(from);
        high[axis] = high[axis].max(to);
    };
    for layer in &solid.layers {
        let [du, dv] = layer.shift_mm;
        for run in &layer.footprint.runs {
            include(1, f64::from(run.row) * h + dv, f64::from(run.row + 1) * h + dv);
            include(2, f64::from(run.start) * h + du, f64::from(run.end) * h + du);
        }
        for cut in &layer.footprint.cuts {
            include(1, cut.centre[1] - h + dv, cut.centre[1] + h + dv);
            include(2, cut.centre[0] - h + du, cut.centre[0] + h + du);
        }
        for s in &layer.sheets {
            include(0, s.w_mm - s.thickness_mm / 2.0, s.w_mm + s.thickness_mm / 2.0);
        }
    }
    (0..3).all(|a| low[a] < high[a]).then_some((low, high))
}

/// One cross-section on the common lattice.
struct Plane {
    columns: usize,
    rows: usize,
    filled: Vec<f32>,
    /// Rows and columns that are not empty.
    touched: [[usize; 2]; 2],
}

impl Plane {
    fn new(shares: &Shares) -> Self {
        let [rows, columns] = [shares.filled.shape()[1], shares.filled.shape()[2]];
        Self { columns, rows, filled: vec![0.0; rows * columns], touched: [[0, 0]; 2] }
    }

    /// Cells lie across those of the lattice, and share their area among them.
    fn fill(&mut self, footprint: &Footprint, shift_mm: [f64; 2], shares: &Shares) {
        self.filled.fill(0.0);
        self.touched = [[self.rows, 0], [self.columns, 0]];
        let h = shares.size[1];
        let (low_v, low_u) = (shares.low[1], shares.low[2]);
        let at_v = |cell: f64| cell + shift_mm[1] / h - low_v;
        let at_u = |cell: f64| cell + shift_mm[0] / h - low_u;
        for run in &footprint.runs {
            let (row, ends) = (f64::from(run.row), [run.start, run.end].map(f64::from));
            self.add([at_v(row), at_v(row + 1.0)], ends.map(at_u), 1.0);
        }
        for cut in &footprint.cuts {
            let [u, v] = cut.centre.map(|c| (c / h).floor());
            let share = cut.area / (h * h);
            self.add([at_v(v), at_v(v + 1.0)], [at_u(u), at_u(u + 1.0)], share);
        }
    }

    /// Adds a rectangle of which a share is filled.
    fn add(&mut self, v: [f64; 2], u: [f64; 2], share: f64) {
        for (row, height) in overlaps(v) {
            for (column, width) in overlaps(u) {
                if row >= self.rows || column >= self.columns {
                    continue;
                }
                #[allow(clippy::cast_possible_truncation)]
                let part = (share * height * width) as f32;
                self.filled[row * self.columns + column] += part;
                for (range, index) in self.touched.iter_mut().zip([row, column]) {
                    *range = [range[0].min(index), range[1].max(index + 1)];
                }
            }
        }
    }
}

/// The cells that an interval meets, with how much of each it covers.
fn overlaps([from, to]: [f64; 2]) -> impl Iterator<Item = (usize, f64)> {
    let (first, last) = (cells(from), cells(to));
    (first..=last).map(move |i| {
        #[allow(clippy::cast_precision_loss)] // lattice sizes are far below 2^52
        let start = i as f64;
        (i, (to.min(start + 1.0) - from.max(start)).max(0.0))
    })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // indices inside the lattice
fn cells(x: f64) -> usize {
    x.max(0.0) as usize
}

/// A surface with the middle of its solid, for distances from far points.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    points: Pieces<Point>,
    centre: Point,
    /// Smallest and largest distance of the surface from the centre, mm.
    radii: [f64; 2],
    /// How far the points lie inside the surface for its curvature, on average, mm.
    inward_mm: f64,
}

/// Variance of the smoothed shares of a flat surface, in squares of a cell: by so much over the
/// radius a curved surface is drawn inward.
pub(super) const VARIANCE: f64 = 1.0 / 12.0 + 1.0 / 2.0;

impl Shell {
    /// The shell of a solid; absent without volume.
    #[must_use]
    pub fn of(solid: &Occupancy) -> Option<Self> {
        let centre = solid.centroid()?;
        let points = Surface::of(solid).points;
        let radius = ball_radius_mm(solid.volume_mm3());
        let inward_mm = VARIANCE * solid.pitch_mm * solid.pitch_mm / radius;
        let distance = |p: &Point| point::length(point::sub(*p, centre)) + inward_mm;
        let fold = |f: fn(f64, f64) -> f64| points.iter().map(distance).reduce(f);
        let radii = [fold(f64::min)?, fold(f64::max)?];
        let points = Pieces::new(points, solid.pitch_mm);
        Some(Self { points, centre, radii, inward_mm })
    }

    /// The middle of the solid.
    #[must_use]
    pub const fn centre(&self) -> Point {
        self.centre
    }

    /// Largest distance of the surface from the middle, mm.
    #[must_use]
    pub const fn reach_mm(&self) -> f64 {
        self.radii[1]
    }

    /// Bounds of the distance from a point to the surface of a solid that holds its own centre, mm.
    #[must_use]
    pub fn about_mm(&self, p: Point) -> [f64; 2] {
        let d = point::length(point::sub(p, self.centre));
        [(d - self.radii[1]).max(0.0), (d - self.radii[0]).abs().max(0.0)]
    }

    /// Distance from a point to the surface, mm.
    #[must_use]
    pub fn distance_mm(&self, p: Point) -> f64 {
        let nearest = self.points.distance_2(p).unwrap_or(f64::INFINITY).sqrt();
        (nearest - self.inward_mm).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::slab::{Spacing, slabs};
    use crate::geometry::smooth::{Variant, closed_caps};
    use crate::geometry::{Combine, PlaneStack};
    use std::f64::consts::{PI, TAU};

    fn solid(outline: impl Fn(f64) -> Option<Vec<[f64; 2]>>, offset: f64, pitch: f64) -> Occupancy {
        let curves: Vec<Vec<Point>> = (-30..=30)
            .filter_map(|k| {
                let z = f64::from(k) + offset;
                Some(outline(z)?.into_iter().map(|p| [p[0], p[1], z]).collect())
            })
            .collect();
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let slabs = slabs(&stack, Spacing::default()).unwrap();
        closed_caps(&stack, &slabs, Spacing::default(), pitch, Variant::default())
    }

    fn circle(r: f64) -> Vec<[f64; 2]> {
        let point = |i: i32| {
            let a = f64::from(i) * TAU / 200.0;
            [0.2 + r * a.cos(), 0.1 + r * a.sin()]
        };
        (0..200).map(point).collect()
    }

    /// 4πr² and 2r: smoothing over 0.76 cells moves a sphere of 18 cells inward by
    /// 0.58/18 of a cell, which takes 0.4 % of the area; 2r to a tenth of a cell.
    #[test]
    fn the_surface_of_a_ball() {
        for (r, offset) in [(2.0, 0.3), (5.0, 0.05), (12.0, 0.5)] {
            let ball = |z: f64| (z.abs() < r).then(|| circle((r * r - z * z).sqrt()));
            let s = Surface::of(&solid(ball, offset, r / 18.0));
            let area = s.area_mm2 / (4.0 * PI * r * r);
            println!("ball {r}: {area} {}", s.longest_mm() / (2.0 * r));
            assert!((area - 1.0).abs() < 0.01, "{r}: {area}");
            assert!((s.longest_mm() / (2.0 * r) - 1.0).abs() < 6e-3, "{r}: {}", s.longest_mm());
        }
    }

    /// Edges are rounded over two cells, which takes three quarters of a cell of each edge: 4.2 % of
    /// a box of 36 cells, 2.8 % of a cylinder. The bounds allow for it: coarse cells lose twice that.
    #[test]
    fn the_surfaces_of_a_cylinder_and_a_box() {
        let high = |z: f64| z.abs() <= 11.6;
        let cylinder = |z: f64| high(z).then(|| circle(12.0));
        let s = Surface::of(&solid(cylinder, 0.5, 12.0 / 18.0));
        let exact = 2.0 * PI * 144.0 + TAU * 12.0 * 24.0;
        println!("cylinder {}", s.area_mm2 / exact);
        assert!((s.area_mm2 / exact - 1.0).abs() < 0.035, "{}", s.area_mm2 / exact);
        let square = vec![[-12.0, -12.0], [12.0, -12.0], [12.0, 12.0], [-12.0, 12.0]];
        let s = Surface::of(&solid(|z| high(z).then(|| square.clone()), 0.5, 12.0 / 18.0));
        let exact = 6.0 * 24.0 * 24.0;
        println!("box {}", s.area_mm2 / exact);
        assert!((s.area_mm2 / exact - 1.0).abs() < 0.05, "{}", s.area_mm2 / exact);
        // A right-angled corner is rounded by 1.3 cells along its diagonal, at both ends.
        let longest = s.longest_mm();
        let rounded = 2.0 * 1.3 * 12.0 / 18.0;
        assert!((longest - 24.0 * 3.0_f64.sqrt()).abs() < rounded, "{longest}");
    }

    #[test]
    fn distances_from_a_shell() {
        let ball = |z: f64| (z.abs() < 5.0).then(|| circle((25.0 - z * z).sqrt()));
        let shell = Shell::of(&solid(ball, 0.3, 0.28)).unwrap();
        for p in [[20.2, 0.1, 0.0], [0.2, 0.1, 9.0], [3.2, 4.1, 12.0]] {
            let exact = point::length(point::sub(p, [0.2, 0.1, 0.0])) - 5.0;
            let [least, most] = shell.about_mm(p);
            let got = shell.distance_mm(p);
            assert!((got - exact).abs() < 0.03, "{got} {exact}");
            assert!(least <= got + 1e-9 && got <= most + 1e-9, "{least} {got} {most}");
        }
        assert_eq!(Surface::default().longest_mm(), 0.0);
    }
}
