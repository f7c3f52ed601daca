//! The cells inside the zero line of a field on a lattice.

use super::distance::Lattice;
use super::occupancy::{Cut, Footprint, Run};
use super::polygon::{self, Point2};

/// Cells where the field is negative, boundary cells cut by straight lines.
///
/// The field is first turned into a near-distance, √(φ + r²) − r, whose zero lies where linear
/// interpolation finds it.
pub(super) fn footprint(phi: &[f64], lattice: &Lattice) -> Footprint {
    let lowest = phi.iter().copied().fold(f64::INFINITY, f64::min);
    if lowest >= 0.0 {
        return Footprint::default();
    }
    let radius = (-lowest).sqrt();
    let near: Vec<f64> =
        phi.iter().map(|p| (p + radius * radius).max(0.0).sqrt() - radius).collect();
    cells_inside(&near, lattice, radius)
}

/// The same for distances from a boundary of about this radius, mm.
pub(super) fn cells_inside(near: &[f64], lattice: &Lattice, radius: f64) -> Footprint {
    let mut out = Footprint::default();
    let [columns, rows] = lattice.size;
    for row in 0..rows.saturating_sub(1) {
        let v = lattice.low[1] + i32::try_from(row).unwrap_or(0);
        let mut open: Option<i32> = None;
        for column in 0..columns.saturating_sub(1) {
            let u = lattice.low[0] + i32::try_from(column).unwrap_or(0);
            let at = row * columns + column;
            let corners = [near[at], near[at + 1], near[at + columns + 1], near[at + columns]];
            let whole = corners.iter().all(|c| *c <= 0.0);
            match (whole, open) {
                (true, None) => open = Some(u),
                (false, Some(start)) => {
                    out.runs.push(Run { row: v, start, end: u });
                    open = None;
                }
                _ => {}
            }
            if !whole && corners.iter().any(|c| *c < 0.0) {
                let low = [f64::from(u), f64::from(v)];
                out.cuts.extend(cut_cell(corners, low, lattice.pitch_mm, radius));
            }
        }
        if let Some(start) = open {
            let end = lattice.low[0] + i32::try_from(columns).unwrap_or(0) - 1;
            out.runs.push(Run { row: v, start, end });
        }
    }
    out
}

/// The negative part of a cell, as two triangles cut by straight lines, with what a boundary of
/// the given radius bulges beyond them: a chord of length c leaves c³/12r outside.
fn cut_cell(corners: [f64; 4], low: Point2, pitch: f64, radius: f64) -> Option<Cut> {
    const AT: [Point2; 4] = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    let (mut area, mut moment, mut bulge) = (0.0, [0.0; 2], 0.0);
    let mut rim = None;
    for [a, b, c] in [[0, 1, 2], [0, 2, 3]] {
        let (mut polygon, mut count) = ([[0.0; 2]; 4], 0);
        let (mut ends, mut crossed) = ([[0.0; 2]; 2], 0);
        for (i, j) in [(a, b), (b, c), (c, a)] {
            if corners[i] <= 0.0 {
                polygon[count] = AT[i];
                count += 1;
            }
            if (corners[i] <= 0.0) != (corners[j] <= 0.0) {
                let end = between(AT[i], AT[j], corners[i] / (corners[i] - corners[j]));
                (polygon[count], ends[crossed]) = (end, end);
                (count, crossed) = (count + 1, crossed + 1);
            }
        }
        if crossed == 2 {
            let [p, q] = ends;
            rim = Some(polygon::farthest(rim, ends));
            let square = (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
            bulge += square * square.sqrt() / (12.0 * radius / pitch);
        }
        let polygon = &polygon[..count];
        area += polygon::signed_area(polygon);
        let m = polygon::moments(polygon);
        moment = [moment[0] + m[0], moment[1] + m[1]];
    }
    (area > 1e-9).then(|| {
        let mass = moment.map(|m| m / area);
        let placed = |p: Point2| [0, 1].map(|x| (low[x] + p[x]) * pitch);
        Cut {
            centre: placed(mass),
            area: (area + bulge).min(1.0) * pitch * pitch,
            rim: rim.unwrap_or([mass; 2]).map(placed),
        }
    })
}

fn between(a: Point2, b: Point2, t: f64) -> Point2 {
    [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
}
