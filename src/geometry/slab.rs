//! The conventional solid between contour planes: each plane stands for half the distance to each
//! neighbour, the end planes reach out by half of their only gap. Named `half_slice`.

use super::occupancy::{Layer, Occupancy, Sheet};
use super::rasterise::footprint;
use super::stack::PlaneStack;

/// A gap above this multiple of the typical one looks like missing planes.
pub const WIDE_GAP: f64 = 1.5;

/// The part of the normal that one plane stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slab {
    /// Index of the plane in the stack.
    pub plane: usize,
    /// Lower end, mm.
    pub low_mm: f64,
    /// Upper end, mm.
    pub high_mm: f64,
}

impl Slab {
    /// Thickness, mm.
    #[must_use]
    pub fn thickness_mm(&self) -> f64 {
        self.high_mm - self.low_mm
    }
}

/// What is known of the planes besides the contours.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spacing {
    /// Distance between the planes that could have been drawn on, mm.
    pub stated_mm: Option<f64>,
    /// Whether a plane without contours is known to be empty; else wide gaps are bridged.
    pub gaps_are_real: bool,
}

/// Runs of plane indices without a true gap in between.
#[must_use]
pub fn segments(stack: &PlaneStack, spacing: Spacing) -> Vec<std::ops::Range<usize>> {
    let n = stack.planes.len();
    let typical = spacing.stated_mm.or_else(|| stack.typical_gap_mm());
    let mut out = Vec::new();
    let mut start = 0;
    for (i, gap) in stack.gaps_mm().into_iter().enumerate() {
        if spacing.gaps_are_real && typical.is_some_and(|t| gap > WIDE_GAP * t) {
            out.push(start..i + 1);
            start = i + 1;
        }
    }
    if start < n {
        out.push(start..n);
    }
    out
}

/// The slabs of all planes; `None` when a plane stands alone and no spacing is known.
#[must_use]
pub fn slabs(stack: &PlaneStack, spacing: Spacing) -> Option<Vec<Slab>> {
    let typical = spacing.stated_mm.or_else(|| stack.typical_gap_mm());
    let mut out = Vec::new();
    for segment in segments(stack, spacing) {
        let w: Vec<f64> = stack.planes[segment.clone()].iter().map(|p| p.w_mm).collect();
        for (i, plane) in segment.enumerate() {
            let below = if i > 0 { Some(w[i] - w[i - 1]) } else { None };
            let above = w.get(i + 1).map(|next| next - w[i]);
            let (below, above) = match (below, above) {
                (Some(b), Some(a)) => (b, a),
                (Some(b), None) => (b, b),
                (None, Some(a)) => (a, a),
                (None, None) => (typical?, typical?),
            };
            out.push(Slab { plane, low_mm: w[i] - below / 2.0, high_mm: w[i] + above / 2.0 });
        }
    }
    Some(out)
}

/// The same slabs with their free ends below and above grown (positive) or shrunk by `times` the
/// standard uncertainty of a flat end, a gap over √12.
#[must_use]
pub fn with_ends(slabs: &[Slab], times: [f64; 2]) -> Vec<Slab> {
    let touches = |x: f64, y: f64| (x - y).abs() < 1e-6;
    slabs
        .iter()
        .map(|s| {
            let by = times.map(|t| t * s.thickness_mm() / 12.0_f64.sqrt());
            let free =
                |end: f64, other: fn(&Slab) -> f64| !slabs.iter().any(|o| touches(other(o), end));
            Slab {
                plane: s.plane,
                low_mm: s.low_mm - if free(s.low_mm, |o| o.high_mm) { by[0] } else { 0.0 },
                high_mm: s.high_mm + if free(s.high_mm, |o| o.low_mm) { by[1] } else { 0.0 },
            }
        })
        .collect()
}

/// Volume of the slabs, mm³: the sum of area times thickness.
#[must_use]
pub fn volume_mm3(stack: &PlaneStack, slabs: &[Slab]) -> f64 {
    slabs
        .iter()
        .filter_map(|s| Some(stack.planes.get(s.plane)?.region.area() * s.thickness_mm()))
        .sum()
}

/// The solid as cells of edge length `pitch_mm`; sheets are no thicker than that.
#[must_use]
pub fn half_slice(stack: &PlaneStack, slabs: &[Slab], pitch_mm: f64) -> Occupancy {
    let layers = slabs
        .iter()
        .filter_map(|slab| {
            let region = &stack.planes.get(slab.plane)?.region;
            Some(Layer {
                footprint: footprint(region, pitch_mm),
                shift_mm: [0.0; 2],
                sheets: sheets(slab.low_mm, slab.high_mm, pitch_mm),
            })
        })
        .collect();
    Occupancy { axes: stack.axes, pitch_mm, layers }
}

/// Equal sheets between two positions, none thicker than `pitch_mm`.
#[must_use]
pub fn sheets(low_mm: f64, high_mm: f64, pitch_mm: f64) -> Vec<Sheet> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at least one, few
    let n = ((high_mm - low_mm) / pitch_mm - 1e-9).ceil().max(1.0) as u32;
    let t = (high_mm - low_mm) / f64::from(n);
    (0..n).map(|i| Sheet { w_mm: low_mm + (f64::from(i) + 0.5) * t, thickness_mm: t }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;

    fn square(side: f64, z: f64) -> Vec<[f64; 3]> {
        let h = side / 2.0;
        vec![[-h, -h, z], [h, -h, z], [h, h, z], [-h, h, z]]
    }

    fn stack(z: &[f64]) -> PlaneStack {
        let curves: Vec<_> = z.iter().map(|z| square(20.0, *z)).collect();
        PlaneStack::build(&curves, Combine::Nested).unwrap()
    }

    #[test]
    fn three_planes_ten_apart_are_thirty_high() {
        let s = stack(&[-200.0, -190.0, -180.0]);
        let slabs = slabs(&s, Spacing::default()).unwrap();
        assert!((volume_mm3(&s, &slabs) - 12_000.0).abs() < 1e-3);
        let o = half_slice(&s, &slabs, 0.7);
        assert!((o.volume_mm3() - 12_000.0).abs() < 1e-3);
        let c = o.centroid().unwrap();
        assert!(c[0].abs() < 1e-5 && c[1].abs() < 1e-5 && (c[2] + 190.0).abs() < 1e-5);
    }

    #[test]
    fn a_single_plane_needs_a_stated_spacing() {
        let s = stack(&[5.0]);
        assert_eq!(slabs(&s, Spacing::default()), None);
        let known = Spacing { stated_mm: Some(2.0), gaps_are_real: false };
        assert!((volume_mm3(&s, &slabs(&s, known).unwrap()) - 800.0).abs() < 1e-3);
    }

    #[test]
    fn wide_gaps_are_bridged_unless_known_to_be_real() {
        let s = stack(&[0.0, 1.0, 2.0, 6.0, 7.0]);
        let bridged = slabs(&s, Spacing::default()).unwrap();
        assert!((volume_mm3(&s, &bridged) - 400.0 * 8.0).abs() < 1e-3);
        let real = Spacing { stated_mm: None, gaps_are_real: true };
        let open = slabs(&s, real).unwrap();
        assert!((volume_mm3(&s, &open) - 400.0 * 5.0).abs() < 1e-3);
    }
}
