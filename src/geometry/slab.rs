//! The conventional solid between contour planes: each plane stands for half the distance to each
//! neighbour, the end planes reach out by half of their only gap. Named `half_slice`.
//!
//! Where the planes are not evenly spaced, the last gap does not tell how far away the next plane
//! would have been: a solid ends anywhere in a gap that may be any of those seen ([`FreeEnd`]). The
//! convention keeps half of the last gap all the same; its bounds count how far off that may be.

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
    /// Its plane, mm.
    pub plane_mm: f64,
    /// How far it may go on below and above, where no plane follows and the planes are uneven.
    pub free: [Option<FreeEnd>; 2],
}

/// How far a solid may go on beyond its outermost plane when the planes are not evenly spaced, mm.
///
/// The plane that would have come next was not drawn, so the solid ends before it. If its gap is
/// one of those seen, an end falls into a gap g as often as g is long, and anywhere in it: the mean
/// of what lies beyond is Σg²/2Σg, its mean square Σg³/3Σg (half a gap and a third of its square
/// when all are equal, as in an even stack).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreeEnd {
    /// The mean.
    pub reach_mm: f64,
    /// The standard uncertainty of it, as a share.
    pub doubt_share: f64,
    /// The widest gap seen.
    pub widest_mm: f64,
}

impl FreeEnd {
    /// The even gap of which a flat end would be as uncertain, mm.
    #[must_use]
    pub fn gap_mm(&self) -> f64 {
        2.0 * self.reach_mm * (self.doubt_share / EVEN_DOUBT)
    }

    /// Of the gaps of a run of planes; none where they are even. An even stack may lack a few planes:
    /// wide gaps are left out when they are few and all others equal.
    fn of(gaps: &[f64]) -> Option<Self> {
        let mut sorted = gaps.to_vec();
        sorted.sort_by(f64::total_cmp);
        let typical = *sorted.get(sorted.len() / 2)?;
        let usual = sorted.partition_point(|gap| *gap <= WIDE_GAP * typical);
        let lacking = (sorted.len() - usual) * FEW <= sorted.len() && are_even(&sorted[..usual]);
        if lacking || are_even(&sorted) {
            return None;
        }
        let sum = |power: i32| gaps.iter().map(|g| g.powi(power)).sum::<f64>();
        let reach_mm = sum(2) / (2.0 * sum(1));
        let variance = sum(3) / (3.0 * sum(1)) - reach_mm * reach_mm;
        let widest_mm = *sorted.last()?;
        Some(Self { reach_mm, doubt_share: variance.max(0.0).sqrt() / reach_mm, widest_mm })
    }
}

/// Standard uncertainty of a flat end of half a gap, as a share of it: a gap over √12.
pub const EVEN_DOUBT: f64 = 2.0 / 3.464_101_615_137_754_4;

/// One gap of this many may be wide in a stack that is even otherwise: of fewer nobody can tell what
/// is usual.
const FEW: usize = 3;

/// Whether gaps in order of size are equal but for the rounding of positions.
fn are_even(sorted: &[f64]) -> bool {
    match sorted {
        [narrowest, .., widest] => widest - narrowest <= UNEVEN_MM + UNEVEN_SHARE * widest,
        _ => true,
    }
}

/// Gaps that differ by no more than this and a share of the widest are equal: positions are rounded.
const UNEVEN_MM: f64 = 0.01;
const UNEVEN_SHARE: f64 = 1e-3;

impl Slab {
    /// From its plane to its lower (0) or upper (1) end, mm.
    fn half_mm(&self, side: usize) -> f64 {
        if side == 0 { self.plane_mm - self.low_mm } else { self.high_mm - self.plane_mm }
    }

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
        let gaps: Vec<f64> = w.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let free = FreeEnd::of(&gaps);
        for (i, plane) in segment.enumerate() {
            let below = if i > 0 { Some(w[i] - w[i - 1]) } else { None };
            let above = w.get(i + 1).map(|next| next - w[i]);
            let free = [free.filter(|_| below.is_none()), free.filter(|_| above.is_none())];
            let (below, above) = match (below, above) {
                (Some(b), Some(a)) => (b, a),
                (Some(b), None) => (b, b),
                (None, Some(a)) => (a, a),
                (None, None) => (typical?, typical?),
            };
            let (low_mm, high_mm) = (w[i] - below / 2.0, w[i] + above / 2.0);
            out.push(Slab { plane, low_mm, high_mm, plane_mm: w[i], free });
        }
    }
    Some(out)
}

/// The same slabs with their free ends below and above grown (positive) or shrunk by `times` the
/// standard uncertainty of a flat end: a gap over √12, or what [`FreeEnd`] leaves open together with
/// its distance from half the last gap.
#[must_use]
pub fn with_ends(slabs: &[Slab], times: [f64; 2]) -> Vec<Slab> {
    let touches = |x: f64, y: f64| (x - y).abs() < 1e-6;
    slabs
        .iter()
        .map(|s| {
            let of = |side: usize| {
                let even = s.thickness_mm() / 12.0_f64.sqrt();
                let uneven = |end: FreeEnd| {
                    let half = s.half_mm(side);
                    (end.reach_mm * end.doubt_share).hypot(end.reach_mm - half)
                };
                times[side] * s.free[side].map_or(even, uneven)
            };
            let by = [of(0), of(1)];
            let free =
                |end: f64, other: fn(&Slab) -> f64| !slabs.iter().any(|o| touches(other(o), end));
            Slab {
                low_mm: s.low_mm - if free(s.low_mm, |o| o.high_mm) { by[0] } else { 0.0 },
                high_mm: s.high_mm + if free(s.high_mm, |o| o.low_mm) { by[1] } else { 0.0 },
                ..*s
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

    /// Planes 1, 3 and 2 mm apart: 6 mm between them, and at the ends half of the last gaps. On
    /// average it is (1 + 9 + 4)/(2·6) mm, in root mean square √((1 + 27 + 8)/(3·6)) mm.
    #[test]
    fn uneven_planes_leave_open_how_far_away_the_next_would_be() {
        let s = stack(&[0.0, 1.0, 4.0, 6.0]);
        let slabs = slabs(&s, Spacing::default()).unwrap();
        let (reach, square) = (7.0 / 6.0, 2.0);
        assert!((volume_mm3(&s, &slabs) - 400.0 * 7.5).abs() < 1e-3);
        let end = slabs[0].free[0].unwrap();
        assert!((end.reach_mm - reach).abs() < 1e-12 && end.widest_mm == 3.0);
        let doubt_mm = (square - reach * reach).sqrt();
        assert!((end.doubt_share * reach - doubt_mm).abs() < 1e-12);
        assert_eq!((slabs[0].free[1], slabs[1].free, slabs[3].free[0]), (None, [None; 2], None));
        let grown = volume_mm3(&s, &with_ends(&slabs, [0.0, 1.0]));
        assert!((grown - 400.0 * (7.5 + doubt_mm.hypot(reach - 1.0))).abs() < 1e-3);
        // Rounding of positions is no unevenness, nor is one plane that was left out of many.
        for z in [&[0.0, 1.0, 2.005, 3.0][..], &[0.0, 1.0, 2.0, 4.0, 5.0, 6.0]] {
            let even = super::slabs(&stack(z), Spacing::default()).unwrap();
            assert!(even.iter().all(|slab| slab.free == [None; 2]), "{z:?}");
        }
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
