//! A solid grown or shrunk by a distance: all space that lies no farther outside of its surface, or as
//! deep inside of it. Knows no dose and no name.

use super::body::Body;
use super::distance::Lattice;
use super::occupancy::{Layer, Occupancy, Sheet};
use super::outline::cells_inside;
use super::polygon::Bounds;
use super::shares::bounds;
use super::slab::sheets;
use super::{ball_radius_mm, point::Point};

/// Nodes nearer to the wanted surface than this many cells are measured exactly: the farthest corners
/// of a cell that the surface crosses are √2 of an edge away from it at most.
const EXACT_CELLS: f64 = 1.5;

/// The solid grown by `margin_mm`, or shrunk where that is negative, in cells of the same edge; `body`
/// is that of `solid`.
///
/// Its cross-sections are the level of the signed distance at the middle of each sheet. The sheets end
/// where the solid ends, moved by the margin: exact for growing, and for shrinking no less than there
/// is.
///
/// **Units**: mm. **Absence**: none where nothing is left.
#[must_use]
pub fn offset(solid: &Occupancy, body: &Body, margin_mm: f64) -> Option<Occupancy> {
    let (low, high) = bounds(solid)?;
    let faces = solid.faces_mm();
    let (from, to) = (faces[0] - margin_mm, faces[1] + margin_mm);
    if from >= to {
        return None;
    }
    let pitch_mm = solid.pitch_mm;
    let reach = margin_mm.max(0.0) + pitch_mm;
    // `bounds` is along w, v and u.
    let plane = Bounds { low: [low[2], low[1]], high: [high[2], high[1]] }.grown(reach);
    let lattice = Lattice::around(plane, pitch_mm);
    let radius_mm = (ball_radius_mm(body.volume_mm3()) + margin_mm).max(pitch_mm);
    let mut layers = Vec::new();
    for sheet in moved_sheets(faces, [from, to], pitch_mm) {
        let place = |uv: [f64; 2]| solid.axes.point([uv[0], uv[1], sheet.w_mm]);
        let beyond = distances_beyond(body, &lattice, margin_mm, place)?;
        let footprint = cells_inside(&beyond, &lattice, radius_mm);
        if !(footprint.runs.is_empty() && footprint.cuts.is_empty()) {
            layers.push(Layer { footprint, shift_mm: [0.0; 2], sheets: vec![sheet] });
        }
    }
    (!layers.is_empty()).then_some(Occupancy { axes: solid.axes, pitch_mm, layers })
}

/// The sheets between two faces, with their outermost ones cut or others beyond them so that they end on
/// the moved faces: what lies inside has the same sheets whatever the margin, so that chance of where
/// samples lie is no difference.
fn moved_sheets(faces_mm: [f64; 2], moved_mm: [f64; 2], pitch_mm: f64) -> Vec<Sheet> {
    let ([low, high], [from, to]) = (faces_mm, moved_mm);
    let mut out = Vec::new();
    if from < low {
        out.extend(sheets(from, low, pitch_mm));
    }
    for sheet in sheets(low, high, pitch_mm) {
        let [a, b] = sheet.faces_mm();
        if from <= a && b <= to {
            out.push(sheet);
        } else if a.max(from) < b.min(to) {
            out.extend(sheets(a.max(from), b.min(to), pitch_mm));
        }
    }
    if high < to {
        out.extend(sheets(high, to, pitch_mm));
    }
    out
}

/// How far each node of a lattice lies outside of the wanted surface, mm; far from it only the side
/// is known.
fn distances_beyond(
    body: &Body,
    lattice: &Lattice,
    margin_mm: f64,
    place: impl Fn([f64; 2]) -> Point,
) -> Option<Vec<f64>> {
    let near = EXACT_CELLS * lattice.pitch_mm;
    let limits = [margin_mm - near, margin_mm + near];
    let mut distances = body.distances();
    let mut out = Vec::with_capacity(lattice.nodes());
    for row in 0..lattice.size[1] {
        for column in 0..lattice.size[0] {
            let point = place(lattice.position(column, row));
            out.push(distances.between_limits_mm(point, &limits)? - margin_mm);
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;
    use crate::slab::Spacing;
    use crate::smooth::{Variant, closed_caps};
    use crate::stack::PlaneStack;

    /// A ball of 6 mm, drawn on planes every millimetre.
    fn ball(pitch_mm: f64) -> Occupancy {
        let mut curves = Vec::new();
        for plane in -5_i32..=5 {
            let z = f64::from(plane) + 0.3;
            let radius = (36.0 - z * z).sqrt();
            let at = |i: i32| f64::from(i) * std::f64::consts::TAU / 240.0;
            curves
                .push((0..240).map(|i| [radius * at(i).cos(), radius * at(i).sin(), z]).collect());
        }
        let stack = PlaneStack::build(&curves, Combine::Nested).unwrap();
        let slabs = crate::slab::slabs(&stack, Spacing::default()).unwrap();
        closed_caps(&stack, &slabs, Spacing::default(), pitch_mm, Variant::default())
    }

    /// What shares smoothed over neighbouring cells move inward (7/12 of the square of an edge over the
    /// radius) is given back for one radius only, and straight lines between nodes cut off up to 1/8 of
    /// it along each of both axes and the diagonal. Twice the square of an edge over the radius holds all
    /// of it; what is left when it is compared with the margin of 0 is the difference for both radii.
    #[test]
    fn a_ball_grown_or_shrunk_is_a_ball_of_another_radius() {
        let pitch_mm = 6.0 / 9.0;
        let solid = ball(pitch_mm);
        let body = Body::of(&solid).unwrap();
        let radius = |mm: f64| ball_radius_mm(offset(&solid, &body, mm).unwrap().volume_mm3());
        let as_it_is = radius(0.0);
        for margin_mm in [-2.0, -0.5, 0.5, 1.0] {
            let off = (radius(margin_mm) - as_it_is - margin_mm).abs();
            let wanted = 6.0 + margin_mm;
            let allowed = 2.0 * pitch_mm * pitch_mm * (1.0 / 6.0 - 1.0 / wanted).abs();
            assert!(off < allowed, "{margin_mm}: {off} mm, {allowed}");
        }
    }

    #[test]
    fn nothing_is_left_of_a_ball_shrunk_by_more_than_its_radius() {
        let solid = ball(6.0 / 9.0);
        let body = Body::of(&solid).unwrap();
        assert_eq!(offset(&solid, &body, -6.5), None);
    }
}
