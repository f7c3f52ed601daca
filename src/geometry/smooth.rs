//! The solid between contour planes from fields: parabolas along the normal through the fields of
//! neighbouring planes, carried along the line of their centres, with caps that close where the
//! extrapolated field does. Named `closed_caps`.
//!
//! For a ball or an ellipsoid in any orientation the fields lie exactly on parabolas and the solid
//! is exact but for the sides of the drawn polygons. An end whose field does not close within about
//! one gap (where planes are uneven, the widest) is flat and reaches out by half a gap, as the slab
//! convention has it, widening or narrowing as the field does.
//!
//! Connected pieces of neighbouring planes are linked when they overlap. Linked groups are bridged
//! together (branches, islands, holes), a piece without a link ends with a cap of its own.

mod ends;
mod fields;

use std::collections::BTreeMap;
use std::rc::Rc;

use super::distance::Lattice;
use super::links::{Pieces, groups, links};
use super::occupancy::{Footprint, Layer, Occupancy, Sheet};
use super::outline::footprint;
use super::plane_field::{self, Kind};
use super::polygon::{Bounds, Point2};
use super::region::Region;
use super::slab::{self, EVEN_DOUBT, FreeEnd, Slab, Spacing};
use super::stack::PlaneStack;
use super::strand::Strand;
use ends::{Beyond, Cap, FlatEnd, JoinedPart};

pub use ends::Joined;

/// What is varied to find out how far the solid can be trusted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variant {
    /// Ends below and above grown (positive) or shrunk (negative) by this many standard
    /// uncertainties: a flat end by 1/√12 of a gap, a closed cap by 1/√3 of its difference to the
    /// flat one, a tenth of a gap at least.
    pub ends: [f64; 2],
    /// Straight lines between the fields of neighbouring planes instead of parabolas: 0 for
    /// parabolas, 1 for lines.
    pub straight: f64,
    /// Regions grown by this many times the area that straight edges cut off a smooth outline.
    pub bulge: f64,
    /// A solid drawn on two planes only closes within a gap beyond them as an ellipsoid does, instead of
    /// having the curvature of a ball: of an elongated one that lies flat the widest section was not
    /// drawn.
    pub round: bool,
    /// The fields may use the gauge form where it exists.
    pub gauge: bool,
    /// Which outlines are filled, where they were traced around pixels.
    pub outlines: OutlineVariant,
}

/// Which of the outlines that one mask may stand for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum OutlineVariant {
    /// Those that are measured.
    #[default]
    Measured,
    /// Instead of those without steps the steps of the mask; instead of those as drawn the ones
    /// without.
    Other,
    /// Those that are measured, every area larger by this many standard deviations of the volume of
    /// the mask.
    Larger(f64),
    /// Those that are measured, moved within their planes by the standard deviation of the place of the
    /// mask along both axes.
    Moved,
    /// Those that are measured, the areas of two planes larger and of the next two smaller, each by the standard
    /// deviation of its mask.
    Uneven,
}

impl Default for Variant {
    fn default() -> Self {
        Self {
            ends: [0.0; 2],
            straight: 0.0,
            bulge: 0.0,
            round: false,
            gauge: true,
            outlines: OutlineVariant::Measured,
        }
    }
}

/// Builds the solid; `slabs` are those of the same stack and stand for flat ends.
#[must_use]
pub fn closed_caps(
    stack: &PlaneStack,
    slabs: &[Slab],
    spacing: Spacing,
    pitch_mm: f64,
    variant: Variant,
) -> Occupancy {
    joined(stack, slabs, spacing, pitch_mm, variant).with_ends(variant.ends)
}

/// The same, with its ends still to be chosen; those of `variant` do not count.
#[must_use]
pub fn joined(
    stack: &PlaneStack,
    slabs: &[Slab],
    spacing: Spacing,
    pitch_mm: f64,
    variant: Variant,
) -> Joined {
    let mut builder = Builder::new(stack, slabs, pitch_mm, variant);
    for segment in slab::segments(stack, spacing) {
        builder.segment(segment);
    }
    Joined { axes: stack.axes, pitch_mm, parts: builder.joined }
}

/// A plane with the pieces that take part.
type Part = (usize, Pieces);

#[derive(Clone, Copy)]
struct PartForm {
    has_gauge: bool,
    centre: Point2,
}

struct Builder<'a> {
    stack: &'a PlaneStack,
    slabs: &'a [Slab],
    variant: Variant,
    lattice: Lattice,
    /// `links[k]`: pairs of pieces of planes k and k + 1 that overlap.
    links: Vec<Vec<(usize, usize)>>,
    regions: BTreeMap<Part, Rc<Region>>,
    /// Whether a part has a gauge field, and its centre of mass.
    forms: BTreeMap<Part, PartForm>,
    /// As drawn.
    drawn: BTreeMap<(Part, Kind), Rc<Vec<f64>>>,
    /// As they are used.
    fields: BTreeMap<(Part, Kind), Rc<Vec<f64>>>,
    /// The planes that are being joined.
    planes: std::ops::Range<usize>,
    joined: Vec<JoinedPart>,
}

impl<'a> Builder<'a> {
    fn new(stack: &'a PlaneStack, slabs: &'a [Slab], pitch_mm: f64, variant: Variant) -> Self {
        let n = stack.planes.len();
        let links = (0..n.saturating_sub(1)).map(|k| links(stack, k)).collect();
        let lattice = Lattice { low: [0; 2], size: [0; 2], pitch_mm };
        Self {
            stack,
            slabs,
            variant,
            lattice,
            links,
            regions: BTreeMap::new(),
            forms: BTreeMap::new(),
            drawn: BTreeMap::new(),
            fields: BTreeMap::new(),
            planes: 0..n,
            joined: Vec::new(),
        }
    }

    fn segment(&mut self, planes: std::ops::Range<usize>) {
        self.drawn.clear();
        self.fields.clear();
        self.planes = planes.clone();
        self.lattice = self.common_lattice(&planes);
        for k in planes.clone() {
            let last = k + 1 == planes.end;
            if !last {
                for (below, above) in groups(&self.links[k]) {
                    self.bridge(&planes, (k, below), (k + 1, above));
                }
            }
            for piece in 0..self.stack.planes[k].region.pieces() {
                let up = !last && self.links[k].iter().any(|l| l.0 == piece);
                let down = k > planes.start && self.links[k - 1].iter().any(|l| l.1 == piece);
                if !up {
                    self.cap(&planes, (k, vec![piece]), Side::Above);
                }
                if !down {
                    self.cap(&planes, (k, vec![piece]), Side::Below);
                }
            }
        }
    }

    /// A lattice about the origin that holds every group of pieces that is bridged or capped,
    /// each put with its centre of mass at the origin.
    fn common_lattice(&mut self, planes: &std::ops::Range<usize>) -> Lattice {
        let pitch = self.lattice.pitch_mm;
        let mut bounds = Bounds::of(&[[0.0, 0.0]]);
        let mut parts: Vec<Part> = Vec::new();
        for k in planes.clone() {
            parts.extend((0..self.stack.planes[k].region.pieces()).map(|p| (k, vec![p])));
            if k + 1 < planes.end {
                for (below, above) in groups(&self.links[k]) {
                    parts.push((k, below));
                    parts.push((k + 1, above));
                }
            }
        }
        for part in parts {
            let region = self.region(&part);
            let (b, c) = (region.bounds(), plane_field::centre(&region));
            bounds = bounds
                .include([b.low[0] - c[0], b.low[1] - c[1]])
                .include([b.high[0] - c[0], b.high[1] - c[1]]);
        }
        // Between two planes a rounded solid is wider than in either, by h²/8R at most.
        let w = self.stack.planes[planes.clone()].iter().map(|p| p.w_mm);
        let gap = w.clone().zip(w.skip(1)).map(|(a, b)| b - a).fold(0.0, f64::max);
        Lattice::around(bounds.grown(0.25 * gap + 2.0 * pitch), pitch)
    }

    fn w(&self, plane: usize) -> f64 {
        self.stack.planes[plane].w_mm
    }

    /// The pieces of the plane below that are linked to `part`.
    fn below(&self, planes: &std::ops::Range<usize>, part: &Part) -> Option<Part> {
        let k = part.0.checked_sub(1).filter(|k| *k >= planes.start)?;
        let mut found: Pieces =
            self.links[k].iter().filter(|l| part.1.contains(&l.1)).map(|l| l.0).collect();
        found.sort_unstable();
        found.dedup();
        (!found.is_empty()).then_some((k, found))
    }

    /// The pieces of the plane above that are linked to `part`.
    fn above(&self, planes: &std::ops::Range<usize>, part: &Part) -> Option<Part> {
        if part.0 + 1 >= planes.end {
            return None;
        }
        let mut found: Pieces =
            self.links[part.0].iter().filter(|l| part.1.contains(&l.0)).map(|l| l.1).collect();
        found.sort_unstable();
        found.dedup();
        (!found.is_empty()).then_some((part.0 + 1, found))
    }

    /// The fields of some planes, all of one kind, with their positions and centres.
    fn strand(&mut self, parts: &[Part]) -> Strand {
        let all_gauge = self.variant.gauge && parts.iter().all(|p| self.form(p).has_gauge);
        let kind = if all_gauge { Kind::Gauge } else { Kind::Distance };
        let curvature = match parts {
            [a, b] if self.variant.round => {
                let area = f64::midpoint(self.region(a).area(), self.region(b).area());
                let gap = self.w(a.0) - self.w(b.0);
                // The field −A/π is 0 at a distance e beyond the planes when it curves by
                // A/(π e (e + gap)), and between them the solid is then wider by a factor of
                // √(1 + gap²/(4 e (e + gap))): √2 on average over all e up to a gap.
                (4.0 * area / (std::f64::consts::PI * gap * gap)).max(1.0)
            }
            _ => 1.0,
        };
        Strand {
            curvature,
            w: parts.iter().map(|p| self.w(p.0)).collect(),
            centres: parts.iter().map(|p| self.centre(p, kind)).collect(),
            fields: parts.iter().map(|p| self.field(p, kind)).collect(),
        }
    }

    fn bridge(&mut self, planes: &std::ops::Range<usize>, low: Part, high: Part) {
        let before = self.below(planes, &low);
        let after = self.above(planes, &high);
        let first = usize::from(before.is_some());
        let parts: Vec<Part> = before.into_iter().chain([low, high]).chain(after).collect();
        let strand = self.strand(&parts);
        let (a, b) = (strand.w[first], strand.w[first + 1]);
        for sheet in slab::sheets(a, b, self.lattice.pitch_mm) {
            let weights = strand.between(first, sheet.w_mm, self.variant.straight);
            let phi = strand.mix(&weights);
            let t = (sheet.w_mm - a) / (b - a);
            let shift = mix2(strand.centres[first], strand.centres[first + 1], t);
            self.push(footprint(&phi, &self.lattice), shift, vec![sheet]);
        }
    }

    fn cap(&mut self, planes: &std::ops::Range<usize>, end: Part, side: Side) {
        let inward = |b: &Self, p: &Part| match side {
            Side::Above => b.below(planes, p),
            Side::Below => b.above(planes, p),
        };
        let second = inward(self, &end);
        let third = second.as_ref().and_then(|p| inward(self, p));
        let region = self.region(&end);
        let (area, from_w) = (region.area(), self.w(end.0));
        let (free, upward) = self.free_end(end.0, side);
        let parts: Vec<Part> = [Some(end), second, third].into_iter().flatten().collect();
        let strand = (parts.len() > 1).then(|| self.strand(&parts));
        let widest_mm = free.widest_mm * CLOSING_GAPS;
        let beyond = Beyond { lattice: self.lattice, area, upward };
        let closed = strand.as_ref().and_then(|s| beyond.closed_cap(s, widest_mm));
        self.joined.push(match closed {
            Some(layers) => {
                let pitch_mm = self.lattice.pitch_mm;
                let volume: f64 = layers.iter().map(|l| l.volume_mm3(pitch_mm)).sum();
                // A cap about one gap high has the volume of a flat end; it is not certain for that.
                let doubt = ((area * free.reach_mm - volume).abs() / 3.0_f64.sqrt())
                    .max(CAP_DOUBT * area * free.gap_mm());
                let doubt_share = if volume > 0.0 { doubt / volume } else { 0.0 };
                JoinedPart::Cap(Cap { layers, from_w, upward, doubt_share })
            }
            None => JoinedPart::Flat(FlatEnd { beyond, region, strand, from_w, free }),
        });
    }

    /// How far a flat end reaches, and in which direction: half of the gap to the next plane, or
    /// what the uneven gaps of the stack tell where none follows; uncertain by a gap over √12.
    fn free_end(&self, plane: usize, side: Side) -> (FreeEnd, bool) {
        let slab = self.slabs.iter().find(|s| s.plane == plane);
        let w = self.w(plane);
        let (free, half, upward) = match side {
            Side::Above => {
                (slab.and_then(|s| s.free[1]), slab.map_or(0.0, |s| s.high_mm - w), true)
            }
            Side::Below => {
                (slab.and_then(|s| s.free[0]), slab.map_or(0.0, |s| w - s.low_mm), false)
            }
        };
        let even = FreeEnd { reach_mm: half, doubt_share: EVEN_DOUBT, widest_mm: 2.0 * half };
        (free.unwrap_or(even), upward)
    }

    fn push(&mut self, footprint: Footprint, shift_mm: Point2, sheets: Vec<Sheet>) {
        if !(footprint.runs.is_empty() && footprint.cuts.is_empty()) {
            self.joined.push(JoinedPart::Between(Layer { footprint, shift_mm, sheets }));
        }
    }
}

/// Least standard uncertainty of a closed cap, as a share of area times gap: a third of a flat end's.
const CAP_DOUBT: f64 = 0.1;
/// A field that closes within this many gaps makes a cap: a little more than one, since the outline
/// in a tip may be too small to have been drawn on the next plane.
const CLOSING_GAPS: f64 = 1.2;

#[derive(Clone, Copy)]
enum Side {
    Above,
    Below,
}

fn mix2(a: Point2, b: Point2, t: f64) -> Point2 {
    [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Combine;
    use crate::slab::{half_slice, slabs, volume_mm3};
    use std::f64::consts::{PI, TAU};

    /// Contours of the ellipsoid x'Mx = 1 (M symmetric) on planes z = offset + k·gap.
    fn ellipsoid(m: [[f64; 3]; 3], offset: f64, gap: f64, n: u32) -> Vec<Vec<[f64; 3]>> {
        let mut curves = Vec::new();
        for k in -40..=40 {
            let z = offset + f64::from(k) * gap;
            // In the plane: A (x − c)² form with centre c = −A⁻¹ b z.
            let det = m[0][0] * m[1][1] - m[0][1] * m[0][1];
            let c = [
                -(m[1][1] * m[0][2] - m[0][1] * m[1][2]) * z / det,
                -(m[0][0] * m[1][2] - m[0][1] * m[0][2]) * z / det,
            ];
            let b = [m[0][2] * z, m[1][2] * z];
            let rest = 1.0 - m[2][2] * z * z - (b[0] * c[0] + b[1] * c[1]);
            if rest <= 0.0 {
                continue;
            }
            let curve = (0..n)
                .map(|i| {
                    let t = f64::from(i) * TAU / f64::from(n) + 0.1;
                    let d = [t.cos(), t.sin()];
                    let q =
                        m[0][0] * d[0] * d[0] + 2.0 * m[0][1] * d[0] * d[1] + m[1][1] * d[1] * d[1];
                    let r = (rest / q).sqrt();
                    [c[0] + r * d[0], c[1] + r * d[1], z]
                })
                .collect();
            curves.push(curve);
        }
        curves
    }

    fn ball(r: f64) -> [[f64; 3]; 3] {
        let q = 1.0 / (r * r);
        [[q, 0.0, 0.0], [0.0, q, 0.0], [0.0, 0.0, q]]
    }

    /// Semi-axes a, b, c turned by `angle` about x, then by as much about z.
    fn tilted([a, b, c]: [f64; 3], angle: f64) -> [[f64; 3]; 3] {
        let (s, k) = angle.sin_cos();
        let rx = [[1.0, 0.0, 0.0], [0.0, k, -s], [0.0, s, k]];
        let rz = [[k, -s, 0.0], [s, k, 0.0], [0.0, 0.0, 1.0]];
        let d = [1.0 / (a * a), 1.0 / (b * b), 1.0 / (c * c)];
        let mul = |x: [[f64; 3]; 3], y: [[f64; 3]; 3]| -> [[f64; 3]; 3] {
            std::array::from_fn(|i| {
                std::array::from_fn(|j| (0..3).map(|l| x[i][l] * y[l][j]).sum())
            })
        };
        let r = mul(rz, rx);
        std::array::from_fn(|i| {
            std::array::from_fn(|j| (0..3).map(|l| r[i][l] * d[l] * r[j][l]).sum())
        })
    }

    fn volumes(curves: &[Vec<[f64; 3]>], pitch: f64, variant: Variant) -> (f64, f64) {
        let stack = PlaneStack::build(curves, Combine::Nested).unwrap();
        let slabs = slabs(&stack, Spacing::default()).unwrap();
        let smooth = closed_caps(&stack, &slabs, Spacing::default(), pitch, variant);
        let plain = half_slice(&stack, &slabs, pitch).volume_mm3();
        assert!((plain / volume_mm3(&stack, &slabs) - 1.0).abs() < 1e-6);
        (smooth.volume_mm3(), plain)
    }

    fn worst(m: [[f64; 3]; 3], exact: f64, gap: f64, variant: Variant) -> (f64, f64) {
        let mut out = (0.0_f64, 0.0_f64);
        for i in 0..12 {
            let offset = (f64::from(i) + 0.37) / 12.0 * gap;
            let pitch = (exact * 0.75 / PI).cbrt() / 18.0;
            let (smooth, slab) = volumes(&ellipsoid(m, offset, gap, 200), pitch, variant);
            out.0 = out.0.max((smooth / exact - 1.0).abs());
            out.1 = out.1.max((slab / exact - 1.0).abs());
        }
        out
    }

    #[test]
    fn balls_are_exact_where_slabs_are_not() {
        for (r, share) in [(1.5, 2e-3), (2.0, 1e-3), (3.5, 1e-3), (10.0, 1e-3)] {
            let exact = 4.0 / 3.0 * PI * r * r * r;
            let (smooth, slab) = worst(ball(r), exact, 1.0, Variant::default());
            println!("ball {r}: closed caps {smooth:.5}, slabs {slab:.5}");
            assert!(smooth < share, "{r}: {smooth}");
        }
    }

    #[test]
    fn tilted_ellipsoids_are_exact_too() {
        for (axes, gap) in [([2.0, 3.0, 4.0], 1.0), ([2.0, 2.0, 4.0], 1.0), ([2.0, 2.0, 4.0], 2.0)]
        {
            let exact = 4.0 / 3.0 * PI * axes[0] * axes[1] * axes[2];
            let m = tilted(axes, 0.9);
            let (gauge, slab) = worst(m, exact, gap, Variant::default());
            let plain = Variant { gauge: false, ..Variant::default() };
            let (distance, _) = worst(m, exact, gap, plain);
            println!("{axes:?} gap {gap}: gauge {gauge:.5} distance {distance:.5} slab {slab:.5}");
            assert!(gauge < 2e-3, "{axes:?}: {gauge}");
            assert!(distance < 3e-2, "{axes:?}: {distance}");
        }
    }
}
