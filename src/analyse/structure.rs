//! One structure's contours become a solid, with findings for what was doubtful on the way.

use std::borrow::Cow;
use std::sync::{Arc, Mutex, PoisonError};

use super::settings::{Ends, Outlines};
use tidydose_geometry::diameter::Diameters;
use tidydose_geometry::locate::{self, Keep, Locator};
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::pixels::{self, Pixels};
use tidydose_geometry::slab::{self, Slab, Spacing};
use tidydose_geometry::smooth::{self, Joined, OutlineVariant, Variant};
use tidydose_geometry::stack::Plane;
use tidydose_geometry::{Combine, PlaneStack, Point, ball_radius_mm};
use tidydose_metrics::Status;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::{ContourType, Roi};

/// A structure as a solid, ready to be filled with cells.
#[derive(Debug, Clone)]
pub struct Solid {
    /// The planes it is made from.
    pub stack: PlaneStack,
    spacing: Spacing,
    slabs: Vec<Slab>,
    /// Edge length of the cells, mm.
    pub pitch_mm: f64,
    /// Diameters on its planes.
    pub diameters: Option<Diameters>,
    /// The pixels that its outlines were traced around, where they were.
    pub pixels: Option<Pixels>,
    /// The outlines without the steps of these pixels, where they are measured so.
    smoothed: Option<Arc<PlaneStack>>,
    /// Other solids of which only the inside, or only the outside, is meant.
    clips: Vec<(Arc<Occupancy>, Keep)>,
    kept: Kept,
}

/// Cells with nothing varied, which volumes, doses, relations and pictures all ask for, by
/// convention and edge length; shared by all copies of a solid.
#[derive(Debug, Clone, Default)]
struct Kept(Arc<Mutex<Vec<Cells>>>);

/// Convention, edge length in mm, and what is filled.
type Cells = (Ends, f64, Arc<Occupancy>);

impl Kept {
    fn take_or(
        &self,
        ends: Ends,
        pitch_mm: f64,
        make: impl FnOnce() -> Occupancy,
    ) -> Arc<Occupancy> {
        // What another thread left half done is not in the list.
        let list = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        #[allow(clippy::float_cmp)] // the same edge length, not one near it
        let found = list().iter().find(|k| k.0 == ends && k.1 == pitch_mm).map(|k| k.2.clone());
        found.unwrap_or_else(|| {
            let made = Arc::new(make());
            list().push((ends, pitch_mm, made.clone()));
            made
        })
    }
}

impl Solid {
    /// Each plane with the part of the normal that it stands for.
    pub fn planes(&self) -> impl Iterator<Item = (&Plane, &Slab)> {
        self.slabs.iter().filter_map(|s| Some((self.stack.planes.get(s.plane)?, s)))
    }

    /// With cells fine enough for a dose that changes by up to `steepest_gy_per_mm` in it.
    #[must_use]
    pub fn refined(mut self, steepest_gy_per_mm: f64) -> Self {
        let wanted = CELL_CHANGE_GY / steepest_gy_per_mm.max(f64::MIN_POSITIVE);
        let least = (slab::volume_mm3(&self.stack, &self.slabs) / MAX_FINE_CELLS).cbrt();
        self.pitch_mm = self.pitch_mm.min(wanted.max(least));
        self
    }

    /// What of it lies inside, or outside, another solid.
    #[must_use]
    pub fn clipped(mut self, other: Arc<Occupancy>, keep: Keep) -> Self {
        self.clips.push((other, keep));
        (self.diameters, self.kept) = (None, Kept::default());
        self
    }

    /// The cells it fills by the named convention, `coarse` times as large as usual, with
    /// something varied.
    #[must_use]
    pub fn occupancy(&self, ends: Ends, coarse: f64, variant: Variant) -> Arc<Occupancy> {
        let pitch_mm = self.pitch_mm * coarse;
        self.kept_or(ends, pitch_mm, variant, || {
            self.unfilled(ends, pitch_mm, variant).with_ends(variant.ends)
        })
    }

    /// Cells with nothing varied are kept.
    fn kept_or(
        &self,
        ends: Ends,
        pitch_mm: f64,
        variant: Variant,
        fill: impl FnOnce() -> Occupancy,
    ) -> Arc<Occupancy> {
        if variant == Variant::default() {
            return self.kept.take_or(ends, pitch_mm, fill);
        }
        Arc::new(fill())
    }

    /// The same for several variants: what those that follow each other and differ in their ends only
    /// have in common is found once.
    #[must_use]
    pub fn occupancies(
        &self,
        ends: Ends,
        coarse: f64,
        variants: &[Variant],
    ) -> Vec<Arc<Occupancy>> {
        let pitch_mm = self.pitch_mm * coarse;
        let apart_from_ends = |v: &Variant| Variant { ends: [0.0; 2], ..*v };
        let mut out = Vec::new();
        for alike in variants.chunk_by(|a, b| apart_from_ends(a) == apart_from_ends(b)) {
            let Some(first) = alike.first() else { continue };
            let unfilled = self.unfilled(ends, pitch_mm, *first);
            out.extend(alike.iter().map(|variant| {
                self.kept_or(ends, pitch_mm, *variant, || unfilled.with_ends(variant.ends))
            }));
        }
        out
    }

    /// Filled by its outlines as they were drawn, or without the steps of pixels where it has any.
    #[must_use]
    pub fn by(mut self, outlines: Outlines) -> Self {
        let pixels = self.pixels.filter(|_| outlines == Outlines::Smoothed);
        if let Some(pixels) = pixels {
            let smoothed = pixels::smoothed(&self.stack, &pixels);
            (self.diameters, self.kept) = (Diameters::of(&smoothed), Kept::default());
            self.smoothed = Some(Arc::new(smoothed));
        }
        self
    }

    /// Whether the steps of pixels are taken out of its outlines.
    #[must_use]
    pub const fn is_smoothed(&self) -> bool {
        self.smoothed.is_some()
    }

    /// Diameters on its planes with other outlines.
    #[must_use]
    pub fn diameters_of(&self, outlines: OutlineVariant) -> Option<Diameters> {
        match outlines {
            OutlineVariant::Measured => self.diameters,
            // A part of a solid has none.
            _ => self.diameters.and_then(|_| Diameters::of(&self.outlines(outlines))),
        }
    }

    /// The outlines that are filled.
    fn outlines(&self, which: OutlineVariant) -> Cow<'_, PlaneStack> {
        let measured = self.smoothed.as_deref().unwrap_or(&self.stack);
        let Some(pixels) = &self.pixels else { return Cow::Borrowed(measured) };
        let with = |more: &dyn Fn(usize) -> f64| Cow::Owned(pixels::larger(measured, pixels, more));
        match which {
            OutlineVariant::Measured => Cow::Borrowed(measured),
            OutlineVariant::Other if self.is_smoothed() => {
                Cow::Owned(pixels::stepped(&self.stack, pixels))
            }
            OutlineVariant::Other => Cow::Owned(pixels::smoothed(&self.stack, pixels)),
            OutlineVariant::Larger(by) => {
                let by = by * pixels.volume_share(self.stack.planes.len());
                with(&|_| by)
            }
            OutlineVariant::Moved => {
                let share = pixels.volume_share(self.stack.planes.len());
                Cow::Owned(pixels::moved(measured, pixels, share))
            }
            // Not one by one: that the fit between planes would take out again.
            OutlineVariant::Uneven => with(&|plane| if plane % 4 < 2 { 1.0 } else { -1.0 }),
        }
    }

    /// What is filled once the ends are known.
    fn unfilled(&self, ends: Ends, pitch_mm: f64, variant: Variant) -> Unfilled<'_> {
        let stack = self.outlines(variant.outlines);
        let by = match ends {
            Ends::HalfSlice => Convention::HalfSlice { stack, pitch_mm },
            Ends::ClosedCaps => {
                let (slabs, spacing) = (&self.slabs, self.spacing);
                Convention::ClosedCaps(smooth::joined(&stack, slabs, spacing, pitch_mm, variant))
            }
        };
        Unfilled { solid: self, by }
    }
}

/// A solid of which only the ends are still to be chosen.
struct Unfilled<'a> {
    solid: &'a Solid,
    by: Convention<'a>,
}

enum Convention<'a> {
    HalfSlice { stack: Cow<'a, PlaneStack>, pitch_mm: f64 },
    ClosedCaps(Joined),
}

impl Unfilled<'_> {
    fn with_ends(&self, ends: [f64; 2]) -> Occupancy {
        let mut cells = match &self.by {
            Convention::HalfSlice { stack, pitch_mm } => {
                let slabs = slab::with_ends(&self.solid.slabs, ends);
                slab::half_slice(stack, &slabs, *pitch_mm)
            }
            Convention::ClosedCaps(joined) => joined.with_ends(ends),
        };
        for (other, keep) in &self.solid.clips {
            cells = locate::clipped(&cells, &Locator::new(other), *keep);
        }
        cells
    }
}

/// Why a structure has no solid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoSolid {
    /// The status of all its metrics.
    pub status: Status,
    /// The reason, in words.
    pub reason: String,
}

/// Number of closed contours.
#[must_use]
pub fn closed_contours(roi: &Roi) -> usize {
    roi.contours.iter().filter(|c| is_closed(c.kind)).count()
}

const fn is_closed(kind: ContourType) -> bool {
    matches!(kind, ContourType::ClosedPlanar | ContourType::ClosedPlanarXor)
}

/// Builds the solid of a structure.
///
/// # Errors
/// The status and reason that all its metrics get instead.
pub fn build(roi: &Roi, subject: &Subject, out: &mut Vec<Finding>) -> Result<Solid, NoSolid> {
    let no = |status, reason: String| NoSolid { status, reason };
    if let Some(reason) = &roi.refused {
        return Err(no(Status::Excluded, reason.clone()));
    }
    let closed: Vec<_> = roi.contours.iter().filter(|c| is_closed(c.kind)).collect();
    let mut note = |code, text: String| out.push(Finding::new(code, subject.clone(), text));
    if roi.contours.is_empty() {
        note(Code::RoiWithoutContours, "the structure has no contours".into());
        return Err(no(Status::Empty, "the structure has no contours".into()));
    }
    if closed.is_empty() {
        return Err(no(Status::NotApplicable, "points and open lines enclose nothing".into()));
    }
    if closed.len() < roi.contours.len() {
        note(Code::ContourOpen, format!("{} of them", roi.contours.len() - closed.len()));
    }
    let exclusive = closed.iter().filter(|c| c.kind == ContourType::ClosedPlanarXor).count();
    if exclusive > 0 && exclusive < closed.len() {
        let text = format!("{exclusive} of {} contours are CLOSEDPLANAR_XOR", closed.len());
        note(Code::ContourXorMixed, text);
        return Err(no(
            Status::Excluded,
            "contours of types CLOSEDPLANAR_XOR and CLOSED_PLANAR are mixed".into(),
        ));
    }
    let combine = if exclusive > 0 { Combine::ExclusiveOr } else { Combine::Nested };
    let curves: Vec<Vec<Point>> = closed.iter().map(|c| c.points.clone()).collect();
    let stack = PlaneStack::build(&curves, combine).map_err(|e| {
        let code = match e {
            tidydose_geometry::StackError::MixedOrientation { .. } => Code::RoiOrientationMixed,
            tidydose_geometry::StackError::NotPlanar { .. } => Code::ContourRefused,
        };
        note(code, e.to_string());
        no(Status::Excluded, e.to_string())
    })?;
    report(&stack, roi, &mut note);
    let solid = fill(stack, roi);
    if let Ok(Solid { pixels: Some(pixels), .. }) = &solid {
        out.push(Finding::new(Code::OutlineFromPixels, subject.clone(), pixels.words()));
    }
    solid.inspect_err(|n| {
        if n.status == Status::BelowResolution {
            out.push(Finding::new(Code::PlaneSingle, subject.clone(), n.reason.clone()));
        }
    })
}

/// Fills the space between the planes.
fn fill(stack: PlaneStack, roi: &Roi) -> Result<Solid, NoSolid> {
    if stack.planes.is_empty() {
        let reason = "no closed contour of the structure has an area".to_owned();
        return Err(NoSolid { status: Status::Empty, reason });
    }
    let spacing = Spacing {
        stated_mm: roi.header.plane_spacing.map(|s| s.distance.value()),
        gaps_are_real: roi.header.planes_complete,
    };
    let Some(slabs) = slab::slabs(&stack, spacing) else {
        let reason = "a single plane, and neither its items, the other structures of the set nor \
                      the images there tell the distance between planes";
        return Err(NoSolid { status: Status::BelowResolution, reason: reason.to_owned() });
    };
    let pitch_mm = pitch_mm(&stack, slab::volume_mm3(&stack, &slabs));
    let diameters = Diameters::of(&stack);
    let pixels = Pixels::of(&stack);
    Ok(Solid {
        stack,
        pixels,
        smoothed: None,
        spacing,
        slabs,
        pitch_mm,
        diameters,
        clips: Vec::new(),
        kept: Kept::default(),
    })
}

/// Cells per equivalent radius of a small structure ...
const CELLS_PER_RADIUS: f64 = 18.0;
/// ... and the most cells that a large one is given, about.
const MAX_CELLS: f64 = 4e5;

/// The dose may change by this along a cell, Gy, as long as that takes ...
const CELL_CHANGE_GY: f64 = 0.8;
/// ... no more cells than this, about.
const MAX_FINE_CELLS: f64 = 2e5;

/// Edge length of the cells: fine against the smaller of the equivalent radius of the volume and
/// of the largest plane, but no more than about [`MAX_CELLS`] cells in all.
fn pitch_mm(stack: &PlaneStack, volume_mm3: f64) -> f64 {
    let pi = std::f64::consts::PI;
    let widest = stack.planes.iter().map(|p| p.region.area()).fold(0.0, f64::max);
    let radius = ball_radius_mm(volume_mm3).min((widest / pi).sqrt());
    (radius / CELLS_PER_RADIUS).max((volume_mm3 / MAX_CELLS).cbrt()).max(1e-3)
}

fn report(stack: &PlaneStack, roi: &Roi, note: &mut impl FnMut(Code, String)) {
    let odd = stack.report.oddities;
    let mut count = |code, n: usize, [one, many]: [&str; 2]| match n {
        0 => {}
        1 => note(code, format!("1 {one}")),
        _ => note(code, format!("{n} {many}")),
    };
    count(
        Code::ContourDegenerate,
        odd.degenerate,
        ["contour without area", "contours without area"],
    );
    count(
        Code::ContourDuplicate,
        odd.duplicate,
        ["contour repeats another on its plane", "contours repeat another on their plane"],
    );
    count(
        Code::ContourCrossing,
        odd.crossing,
        ["contour crosses itself", "contours cross themselves"],
    );
    count(
        Code::ContourOverlap,
        odd.overlapping,
        ["pair of contours overlaps partly", "pairs of contours overlap partly"],
    );
    count(Code::ContourNested, odd.holes, ["contour read as a hole", "contours read as holes"]);
    count(
        Code::ContourTiny,
        odd.tiny,
        [
            "contour below 1 mm² beside one of 100 times the area",
            "contours below 1 mm² beside one of 100 times the area",
        ],
    );
    if stack.report.not_planar > 0 {
        let text = format!(
            "{} contours, off their plane by up to {:.3} mm",
            stack.report.not_planar, stack.report.spread_mm
        );
        note(Code::ContourNotPlanar, text);
    }
    let between = roi.header.image_planes.map_or(0, |planes| {
        let normal = stack.axes.directions[2];
        stack.planes.iter().filter(|p| planes.are_off(normal, p.w_mm)).count()
    });
    if between > 0 {
        let text = format!("{between} of {} planes", stack.planes.len());
        note(Code::PlaneBetweenImages, text);
    }
    spacing_report(stack, roi, note);
}

fn spacing_report(stack: &PlaneStack, roi: &Roi, note: &mut impl FnMut(Code, String)) {
    let n = stack.planes.len();
    match (n, roi.header.plane_spacing) {
        // Without any thickness it is refused, with the reason.
        (1, Some(spacing)) => {
            note(Code::PlaneSingle, format!("its thickness is {}", spacing.words()));
        }
        (2, _) => note(Code::PlanesFew, "2 planes".to_owned()),
        _ => {}
    }
    let Some(typical) = stack.typical_gap_mm() else { return };
    let gaps = stack.gaps_mm();
    let widest = gaps.iter().copied().fold(0.0, f64::max);
    let narrowest = gaps.iter().copied().fold(f64::INFINITY, f64::min);
    if widest > slab::WIDE_GAP * typical && !roi.header.planes_complete {
        let bridged = slab::slabs(stack, Spacing::default());
        let open = slab::slabs(stack, Spacing { gaps_are_real: true, ..Spacing::default() });
        let cc =
            |s: Option<Vec<slab::Slab>>| s.map_or(0.0, |s| slab::volume_mm3(stack, &s) / 1000.0);
        note(
            Code::PlaneGap,
            format!(
                "a gap of {widest:.2} mm where {typical:.2} mm is usual; about {:.3} cc with the gap \
                 filled, as it is measured, and {:.3} cc with it left empty",
                cc(bridged),
                cc(open)
            ),
        );
    } else if widest - narrowest > 0.01 + 1e-3 * typical {
        note(Code::PlaneSpacingUneven, format!("{narrowest:.2} to {widest:.2} mm"));
    }
}
