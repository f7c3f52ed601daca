//! The ends of a solid that is joined from fields, grown or shrunk; what lies between them is the same
//! for all.

use std::rc::Rc;

use super::mix2;
use crate::distance::Lattice;
use crate::occupancy::{Layer, Occupancy, Sheet};
use crate::outline::footprint;
use crate::rasterise;
use crate::region::Region;
use crate::slab::{self, FreeEnd};
use crate::stack::Axes;
use crate::strand::Strand;

/// A solid of which only the ends are still to be chosen.
pub struct Joined {
    pub(super) axes: Axes,
    pub(super) pitch_mm: f64,
    pub(super) parts: Vec<JoinedPart>,
}

/// What a solid is joined from.
pub(super) enum JoinedPart {
    /// A layer between two planes.
    Between(Layer),
    /// An end that closes.
    Cap(Cap),
    /// One that does not.
    Flat(FlatEnd),
}

/// An end that closes.
pub(super) struct Cap {
    pub(super) layers: Vec<Layer>,
    /// Position of the last plane, mm.
    pub(super) from_w: f64,
    pub(super) upward: bool,
    /// Standard uncertainty as a share of its volume.
    pub(super) doubt_share: f64,
}

/// An end that does not close.
pub(super) struct FlatEnd {
    pub(super) beyond: Beyond,
    pub(super) region: Rc<Region>,
    /// The fields that go on beyond it, where there are more than one.
    pub(super) strand: Option<Strand>,
    /// Position of the last plane, mm.
    pub(super) from_w: f64,
    pub(super) free: FreeEnd,
}

impl Joined {
    /// The solid with its ends below and above grown (positive) or shrunk by so many standard
    /// uncertainties ([`super::Variant::ends`]).
    #[must_use]
    pub fn with_ends(&self, ends: [f64; 2]) -> Occupancy {
        let mut layers = Vec::new();
        for part in &self.parts {
            match part {
                JoinedPart::Between(layer) => layers.push(layer.clone()),
                JoinedPart::Cap(cap) => {
                    let factor = 1.0 + ends[usize::from(cap.upward)] * cap.doubt_share;
                    if factor > 0.0 {
                        layers.extend(cap.layers.iter().map(|l| stretched(l, cap.from_w, factor)));
                    }
                }
                JoinedPart::Flat(end) => {
                    layers.extend(end.layers(ends[usize::from(end.beyond.upward)]));
                }
            }
        }
        layers.sort_by(|a, b| first_w(a).total_cmp(&first_w(b)));
        Occupancy { axes: self.axes, pitch_mm: self.pitch_mm, layers }
    }
}

fn first_w(layer: &Layer) -> f64 {
    layer.sheets.first().map_or(0.0, |s| s.w_mm)
}

/// A layer moved away from or toward its plane by a factor.
fn stretched(layer: &Layer, from_w: f64, factor: f64) -> Layer {
    let mut layer = layer.clone();
    for s in &mut layer.sheets {
        s.w_mm = from_w + (s.w_mm - from_w) * factor;
        s.thickness_mm *= factor;
    }
    layer
}

impl FlatEnd {
    /// Its layers, grown by `times` standard uncertainties.
    fn layers(&self, times: f64) -> Vec<Layer> {
        let reach_mm = self.free.reach_mm * (1.0 + times * self.free.doubt_share).max(0.0);
        if reach_mm <= 0.0 {
            return Vec::new();
        }
        let open = self.strand.as_ref().and_then(|s| self.beyond.open_end(s, reach_mm));
        open.unwrap_or_else(|| self.straight(reach_mm))
    }

    /// The last plane carried straight on for `reach_mm`.
    fn straight(&self, reach_mm: f64) -> Vec<Layer> {
        let w = self.from_w;
        let (low, high) = if self.beyond.upward { (w, w + reach_mm) } else { (w - reach_mm, w) };
        let pitch_mm = self.beyond.lattice.pitch_mm;
        vec![Layer {
            footprint: rasterise::footprint(&self.region, pitch_mm),
            shift_mm: [0.0; 2],
            sheets: slab::sheets(low, high, pitch_mm),
        }]
    }
}

/// The last sheet of a cap is whole or missing; thinner sheets keep that below 0.02 % of a ball.
const CAP_FINENESS: f64 = 3.0;
/// A cap that has shrunk to this share of its plane when the gap ends counts as closed; what is
/// left out is less than this share of one sheet.
const CLOSED_SHARE: f64 = 0.02;
/// A cap that opens again after shrinking to this share had a pointed tip there.
const TIP_SHARE: f64 = 0.1;

/// What lies beyond the last plane of a strand, its first one.
#[derive(Clone, Copy)]
pub(super) struct Beyond {
    pub(super) lattice: Lattice,
    /// Area of the last plane, mm².
    pub(super) area: f64,
    pub(super) upward: bool,
}

impl Beyond {
    /// The layers of a cap that closes within `reach_mm`; none when it does not.
    pub(super) fn closed_cap(&self, strand: &Strand, reach_mm: f64) -> Option<Vec<Layer>> {
        let pitch = self.lattice.pitch_mm;
        let mut layers: Vec<Layer> = Vec::new();
        let mut previous = self.area;
        for sheet in slab::sheets(0.0, reach_mm, pitch / CAP_FINENESS) {
            let layer = self.layer(strand, sheet);
            let now = layer.footprint.area(pitch);
            if now > previous * (1.0 + 1e-3) {
                // The field opens again: it touched closing before (the tip of a cone), or never.
                return (previous < TIP_SHARE * self.area).then_some(layers);
            }
            if now <= 0.0 {
                return Some(layers);
            }
            previous = now;
            layers.push(layer);
        }
        (previous < CLOSED_SHARE * self.area).then_some(layers)
    }

    /// The last plane carried on for `reach_mm` as the field goes on, so that a solid that widens
    /// or narrows toward its flat end keeps doing so; none when the area would change by more than
    /// half or double.
    fn open_end(&self, strand: &Strand, reach_mm: f64) -> Option<Vec<Layer>> {
        let pitch = self.lattice.pitch_mm;
        let sheets = slab::sheets(0.0, reach_mm, pitch);
        let layer = |sheet| {
            let layer = self.layer(strand, sheet);
            let share = layer.footprint.area(pitch) / self.area;
            (0.5..=2.0).contains(&share).then_some(layer)
        };
        sheets.into_iter().map(layer).collect()
    }

    /// The layer of a sheet at a distance beyond the first plane of a strand.
    fn layer(&self, strand: &Strand, mut sheet: Sheet) -> Layer {
        let sign = if self.upward { 1.0 } else { -1.0 };
        sheet.w_mm = strand.w[0] + sign * sheet.w_mm;
        let phi = strand.mix(&strand.beyond(sheet.w_mm));
        let t = (sheet.w_mm - strand.w[0]) / (strand.w[0] - strand.w[1]);
        Layer {
            footprint: footprint(&phi, &self.lattice),
            shift_mm: mix2(strand.centres[0], strand.centres[1], -t),
            sheets: vec![sheet],
        }
    }
}
