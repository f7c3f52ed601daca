//! Numerical bounds: every metric is computed again with one thing varied at a time, and the
//! differences add up to a standard uncertainty u; the bounds are the value ± 2u, and then agree with
//! those of the other values of the structure (`coherent.rs`).
//!
//! | term | varied | counted |
//! |---|---|---|
//! | ends | free ends above, and below, shrunk and grown by their own uncertainty | the larger difference of each, added |
//! | slices | a quarter of the way from parabolas to straight lines between planes; with two planes only, an ellipsoid as much wider between them as it is on average | whole, the larger |
//! | chords | outlines bulge between vertices as a smooth curve would | whole |
//! | pixels | where outlines were traced around pixels: the outlines as drawn instead of smoothed, or the reverse; the areas of all planes larger and smaller by the standard deviation of the mask's volume; two planes larger and the next two smaller, each by that of its own area; all moved by that of the mask's place | 1.25 of each, in squares, 1.5 where the outlines are measured as drawn |
//! | dose | every second voxel of the grid, even or odd: the larger difference | a sixth for the spline, a quarter for local cubic, a third for linear interpolation; a half where the dose jumps in the structure |
//! | summit | the largest dose, raised by what it rises above its voxels | whole, upward only |
//! | cells | cells of twice the edge | two thirds: a third for an error that falls with the square of the edge, as much for chance |
//! | cells | smallest and largest dose moved by what the place of the surface in a cell leaves open, volumes by the chance with which cells fall to either side of an isodose | whole |
//! | step | doses moved by half a stored step | whole |
//! | scatter | of a noisy dose: the noise drawn four times more, √3 times its size; voxels as means instead of values | 0.4 of each, which is Student's factor; 1/√3 |
//! | chance | nothing: where cells and samples happen to lie | 0.04 % of the value |
//!
//! All but the cells are compared at the coarse cells, where a difference costs an eighth. A term
//! counts on both sides of the value, but for two: a peak between voxels can only be higher than the
//! interpolation has it, and voxels that hold means can only be off in one direction. The sign of the
//! others says nothing: a thinned dose may err to either side, a real end be flat or pointed, and
//! an outline have been drawn on either side of a smooth curve.

use std::sync::Arc;

use super::fields::Fields;
use super::form;
use super::settings::{Ends, Settings};
use super::stage::{Stage, during};
use super::structure::Solid;
use super::trace::{Uncertainty, UncertaintyTerm};
use tidydose_dose::{
    DoseField, Dvh, Interpolation, Samples, sample, sample_variants, steepest_gy_per_mm,
};
use tidydose_geometry::smooth::{OutlineVariant, Variant};
use tidydose_geometry::{Occupancy, Point};
use tidydose_metrics::size::Form;
use tidydose_metrics::{
    Biology, Metric, Outcome, PhysicalRange, PrescriptionIsodoses, Status, Subject,
};

/// One way of computing a structure.
#[derive(Debug, Clone)]
pub struct View {
    /// Volume, cc.
    pub volume_cc: f64,
    /// Histogram, where there is any dose.
    pub dvh: Option<Dvh>,
    /// Share inside the dose grid.
    pub cover: f64,
    /// Share in which the dose jumps, so that the interpolation had to be held.
    pub jumps: f64,
    /// Isodoses of the prescription read in this way, where they differ from the nominal ones.
    pub isodoses: Option<PrescriptionIsodoses>,
    /// Size, shape and place.
    pub form: Option<Form>,
}

impl View {
    /// The same with another histogram.
    fn with_dvh(&self, other: impl Fn(&Dvh) -> Dvh) -> Self {
        // Not `..self.clone()`, which would copy all samples to drop them.
        let Self { volume_cc, ref dvh, cover, jumps, ref isodoses, form } = *self;
        let (dvh, isodoses) = (dvh.as_ref().map(other), isodoses.clone());
        Self { volume_cc, dvh, cover, jumps, isodoses, form }
    }
}

/// Ways of computing that differ from `base` in one thing.
#[derive(Debug, Clone)]
struct Term {
    kind: UncertaintyTerm,
    /// The largest difference of each group counts; those of several groups add up.
    groups: Vec<Vec<View>>,
    /// Share of the difference that counts.
    scale: f64,
    /// Compared with the nominal view instead of the coarse one.
    against_nominal: bool,
    /// Counts only on the side on which the views lie.
    one_sided: bool,
}

impl Term {
    /// One view that is compared with the coarse one.
    fn of(kind: UncertaintyTerm, view: View, scale: f64) -> Self {
        Self::of_groups(kind, vec![vec![view]], scale)
    }

    /// Groups of views that are compared with the coarse one.
    const fn of_groups(kind: UncertaintyTerm, groups: Vec<Vec<View>>, scale: f64) -> Self {
        Self { kind, groups, scale, against_nominal: false, one_sided: false }
    }

    /// The same, counting only on the side on which the view lies.
    fn toward(kind: UncertaintyTerm, view: View, scale: f64) -> Self {
        Self { one_sided: true, ..Self::of(kind, view, scale) }
    }

    /// Adds what varying does to a quantity.
    fn add_to(
        &self,
        uncertainty: &mut Uncertainty,
        base: Option<f64>,
        of: impl Fn(&View) -> Option<f64>,
    ) {
        if !self.one_sided {
            return uncertainty.add(self.kind, self.scale * self.difference(base, of));
        }
        for view in self.groups.iter().flatten() {
            if let (Some(value), Some(base)) = (of(view), base) {
                uncertainty.add_toward(self.kind, self.scale * (value - base));
            }
        }
    }

    /// What varying does to a quantity; views without a value do not count.
    fn difference(&self, base: Option<f64>, of: impl Fn(&View) -> Option<f64>) -> f64 {
        let largest = |group: &Vec<View>| {
            group.iter().filter_map(|v| Some((of(v)? - base?).abs())).fold(0.0, f64::max)
        };
        self.groups.iter().map(largest).sum()
    }
}

/// A structure computed once as it is and several times with something varied.
#[derive(Debug, Clone)]
pub struct Views {
    /// As it is.
    pub nominal: View,
    coarse: View,
    terms: Vec<Term>,
    /// Interpolation of the dose, where there is one.
    method: Option<Interpolation>,
    /// Whether the steps of pixels were taken out of the outlines.
    smoothed: bool,
}

/// What is the same for every view of a structure.
#[derive(Debug, Clone)]
pub struct MetricInputs {
    /// Status and reason where there is no usable dose for the structure.
    pub no_dose: Option<(Status, String)>,
    /// The isodoses of its prescription, or why there are none.
    pub isodoses: Result<PrescriptionIsodoses, String>,
    /// Fractions, α/β and organ models.
    pub biology: Biology,
}

impl MetricInputs {
    /// A view as the metrics see it.
    pub(super) fn subject<'a>(&'a self, view: &'a View) -> Subject<'a> {
        let without = || {
            let outside = "the structure lies outside the dose grid";
            self.no_dose.clone().unwrap_or_else(|| (Status::OutsideGrid, outside.to_owned()))
        };
        let isodoses = match &view.isodoses {
            Some(own) => Ok(own),
            None => self.isodoses.as_ref().map_err(Clone::clone),
        };
        Subject {
            volume_cc: view.volume_cc,
            dvh: view.dvh.as_ref().ok_or_else(without),
            cover: view.cover,
            prescription: isodoses,
            biology: Some(&self.biology),
            form: view.form.as_ref(),
            totals: None,
        }
    }
}

/// Share of the difference between the dose and its thinned self that counts as a standard
/// uncertainty. Halving the spacing of a smooth dose divides the error of the spline by 16, of the
/// local cubic by 8, of straight lines by 4; the shares leave room for doses that are less smooth.
pub(super) const fn dose_share(method: Interpolation) -> f64 {
    match method {
        Interpolation::CubicBSpline => 1.0 / 6.0,
        Interpolation::Tricubic => 1.0 / 4.0,
        Interpolation::Trilinear => 1.0 / 3.0,
    }
}

/// Share of what the steps of pixels and the doubt of their areas do that counts. Smoothing leaves 0.65
/// of the height of steps along an outline, 0.45 where five planes or more are fitted together
/// (`geometry/pixels/tests.rs`; 0.7 for a fit of five planes), so 0.8 to 1.9 times of what it took out:
/// twice this share holds both.
const PIXEL_SHARE: f64 = 1.25;
/// The same where the steps are measured as drawn: they are off by what smoothing takes out and by what
/// it leaves, 1.8 to 2.9 times the former.
const DRAWN_PIXEL_SHARE: f64 = 1.5;

/// The same where the dose jumps: the thinned dose has the jump half a voxel off at most, and half
/// a voxel is what the voxels leave open.
const JUMP_SHARE: f64 = 1.0 / 2.0;

/// Standard uncertainty of any value from where cells and samples happen to lie, as a share of it:
/// the scatter seen over random placements of the lattice.
pub(super) const CHANCE_SHARE: f64 = 4e-4;

/// Cells of the coarse views are larger by this factor.
const COARSE: f64 = 2.0;

/// A solid as cells, which doses are read in.
struct Filled<'a> {
    fill: FillSettings<'a>,
    occupancy: Arc<Occupancy>,
    volume_cc: f64,
    form: Option<Form>,
}

impl<'a> Filled<'a> {
    fn of(solid: &Solid, fill: FillSettings<'a>) -> Self {
        Self::by(solid, fill, solid.occupancy(fill.ends, fill.coarse, fill.variant))
    }

    /// Of several variants.
    fn all(solid: &Solid, fill: FillSettings<'a>, variants: &[Variant]) -> Vec<Self> {
        let cells = solid.occupancies(fill.ends, fill.coarse, variants);
        let with = |variant: &Variant| FillSettings { variant: *variant, ..fill };
        variants.iter().zip(cells).map(|(v, cells)| Self::by(solid, with(v), cells)).collect()
    }

    fn by(solid: &Solid, fill: FillSettings<'a>, occupancy: Arc<Occupancy>) -> Self {
        let volume_cc = occupancy.volume_mm3() / 1000.0;
        let of = |isocentres| form::of(solid, &occupancy, fill.variant, isocentres);
        let form = fill.isocentres.map(of);
        Self { fill, occupancy, volume_cc, form }
    }

    fn view(&self, field: Option<&DoseField>) -> View {
        let samples = field.map(|field| sample(field, &self.occupancy, self.fill.coarse));
        self.view_of(field, samples)
    }

    fn view_of(&self, field: Option<&DoseField>, samples: Option<Samples>) -> View {
        let (volume_cc, form) = (self.volume_cc, self.form);
        let Some((field, samples)) = field.zip(samples) else {
            return View { volume_cc, dvh: None, cover: 0.0, jumps: 0.0, isodoses: None, form };
        };
        let told = self.form.zip(self.fill.isocentres);
        let form = told.map(|(form, isocentres)| form::with_doses(form, field, isocentres));
        let inside = samples.inside_mm3();
        let whole = inside + samples.outside_mm3;
        let share = |part: f64| if whole > 0.0 { part / whole } else { 0.0 };
        let (cover, jumps) = (share(inside), share(samples.held_mm3));
        View { volume_cc, dvh: Dvh::of(&samples), cover, jumps, isodoses: None, form }
    }

    /// Its view, and those of variants of the same solid.
    fn with_variants(&self, varied: &[Self], field: Option<&DoseField>) -> (View, Vec<View>) {
        let all = || std::iter::once(self).chain(varied);
        let mut samples = Vec::new();
        if let Some(field) = field {
            let cells: Vec<&Occupancy> = all().map(|filled| &*filled.occupancy).collect();
            samples = sample_variants(field, &cells, COARSE);
        }
        let mut samples = samples.into_iter();
        let base = self.view_of(field, samples.next());
        (base, varied.iter().map(|filled| filled.view_of(field, samples.next())).collect())
    }
}

/// The cells that variants are compared in.
pub(super) fn coarse_cells(solid: &Solid, ends: Ends) -> Arc<Occupancy> {
    solid.occupancy(ends, COARSE, Variant::default())
}

/// What other cells of that size hold in a dose, without size and shape.
pub(super) fn coarse_view(
    solid: &Solid,
    ends: Ends,
    cells: Arc<Occupancy>,
    field: Option<&DoseField>,
) -> View {
    let fill = FillSettings { ends, coarse: COARSE, variant: Variant::default(), isocentres: None };
    Filled::by(solid, fill, cells).view(field)
}

/// The solid with cells fine enough for the dose in it, as a coarse look at the dose tells.
#[must_use]
pub fn refined(solid: &Solid, ends: Ends, fields: Option<Fields<'_>>) -> Solid {
    let Some(f) = fields else { return solid.clone() };
    let cells = solid.occupancy(ends, COARSE, Variant::default());
    solid.clone().refined(steepest_gy_per_mm(f.nominal, &cells))
}

#[derive(Clone, Copy)]
struct FillSettings<'a> {
    ends: Ends,
    coarse: f64,
    variant: Variant,
    isocentres: Option<&'a [Point]>,
}

/// What the ends, the space between planes and the sides of outlines leave open: variants in groups,
/// as [`Term`] has their views.
fn variants_of_shape(solid: &Solid, ends: Ends) -> Vec<(UncertaintyTerm, Vec<Vec<Variant>>)> {
    let plain = Variant::default();
    // Both ends may err in step, when the height is a whole number of gaps.
    let below = [1.0, -1.0].map(|t| Variant { ends: [t, 0.0], ..plain });
    let above = [1.0, -1.0].map(|t| Variant { ends: [0.0, t], ..plain });
    let mut out = vec![(UncertaintyTerm::Ends, vec![below.to_vec(), above.to_vec()])];
    if ends == Ends::ClosedCaps {
        let mut between = vec![Variant { straight: 0.25, ..plain }];
        if solid.stack.planes.len() == 2 {
            between.push(Variant { round: true, ..plain });
        }
        out.push((UncertaintyTerm::Slices, vec![between]));
        let bulging = vec![vec![Variant { bulge: 1.0, ..plain }]];
        out.push((UncertaintyTerm::Chords, bulging));
    }
    if solid.pixels.is_some() {
        let with = |outlines| Variant { outlines, ..plain };
        let larger = [1.0, -1.0].map(|by| with(OutlineVariant::Larger(by)));
        out.push((UncertaintyTerm::Pixels, vec![vec![with(OutlineVariant::Other)]]));
        out.push((UncertaintyTerm::Pixels, vec![larger.to_vec()]));
        out.push((UncertaintyTerm::Pixels, vec![vec![with(OutlineVariant::Uneven)]]));
        out.push((UncertaintyTerm::Pixels, vec![vec![with(OutlineVariant::Moved)]]));
    }
    out
}

/// What the dose and the reading of it leave open; `others` are the views of its other fields.
fn terms_of_dose(fields: Fields<'_>, others: Vec<View>, nominal: &View, base: &View) -> Vec<Term> {
    let mut others = others.into_iter();
    let thinned = others.by_ref().take(fields.thinned.len()).collect();
    let share = match nominal.jumps > 0.0 {
        true => JUMP_SHARE,
        false => dose_share(fields.nominal.method()),
    };
    let mut terms = vec![Term::of_groups(UncertaintyTerm::Dose, vec![thinned], share)];
    terms.extend(others.zip(fields.scattered).map(|(view, other)| Term {
        one_sided: other.one_sided,
        ..Term::of(UncertaintyTerm::Scatter, view, other.share)
    }));
    let raised = base.with_dvh(|dvh| dvh.raised(fields.step_gy / 2.0));
    terms.push(Term::of(UncertaintyTerm::Step, raised, 1.0));
    let open = nominal.with_dvh(Dvh::with_cells_left_open);
    let cells = Term::of(UncertaintyTerm::Cells, open, 1.0);
    terms.push(Term { against_nominal: true, ..cells });
    let sharper = base.with_dvh(Dvh::with_sharper_summit);
    terms.push(Term::toward(UncertaintyTerm::Summit, sharper, 1.0));
    terms
}

impl Views {
    /// Computes a structure in all ways. `fields` is absent when there is no usable dose;
    /// `isodoses` are those of its [`Fields::others`], in that order. The form is computed where
    /// `isocentres` are given, from which its place is told.
    #[must_use]
    pub fn of(
        solid: &Solid,
        ends: Ends,
        fields: Option<Fields<'_>>,
        isodoses: Vec<Option<PrescriptionIsodoses>>,
        isocentres: Option<&[Point]>,
    ) -> Self {
        let plain = Variant::default();
        let field = fields.map(|f| f.nominal);
        let fill = FillSettings { ends, coarse: COARSE, variant: plain, isocentres };
        let fine = FillSettings { coarse: 1.0, ..fill };
        let cells = during(Stage::Geometry, || Filled::of(solid, fine));
        let nominal = during(Stage::Sampling, || cells.view(field));
        drop(cells);
        let shape = variants_of_shape(solid, ends);
        let variants: Vec<Variant> = std::iter::once(plain)
            .chain(shape.iter().flat_map(|(_, groups)| groups).flatten().copied())
            .collect();
        let mut all = Filled::all(solid, fill, &variants).into_iter();
        let filled = all.next().unwrap_or_else(|| Filled::of(solid, fill));
        let varied: Vec<Filled<'_>> = all.collect();
        let (base, views) = filled.with_variants(&varied, field);
        let mut views = views.into_iter();
        let mut terms = vec![Term {
            against_nominal: true,
            ..Term::of(UncertaintyTerm::Cells, base.clone(), 2.0 / 3.0)
        }];
        for (term, groups) in shape {
            let share = match (term, solid.is_smoothed()) {
                (UncertaintyTerm::Pixels, true) => PIXEL_SHARE,
                (UncertaintyTerm::Pixels, false) => DRAWN_PIXEL_SHARE,
                _ => 1.0,
            };
            let views_of = |group: Vec<Variant>| views.by_ref().take(group.len()).collect();
            let groups = groups.into_iter().map(views_of).collect();
            terms.push(Term::of_groups(term, groups, share));
        }
        if let Some(f) = fields {
            let others = f.others().zip(isodoses);
            let others = others
                .map(|(field, isodoses)| View { isodoses, ..filled.view(Some(field)) })
                .collect();
            terms.extend(terms_of_dose(f, others, &nominal, &base));
        }
        let method = fields.map(|f| f.nominal.method());
        Self { nominal, coarse: base, terms, method, smoothed: solid.is_smoothed() }
    }

    /// The method as it stands beside each number: the interpolation in use, what stands for the
    /// solid, and whether the overshoot guard of the interpolation acted in the structure.
    #[must_use]
    pub fn method(&self, settings: &Settings) -> String {
        let asked = settings.interpolation;
        let used = Settings { interpolation: self.method.unwrap_or(asked), ..settings.clone() };
        let fallback = if used.interpolation == asked { "" } else { "; fallback_for_noise" };
        let guard = if self.nominal.jumps > 0.0 { "; overshoot_guard" } else { "" };
        let smoothed = if self.smoothed { "; pixel_steps_removed" } else { "" };
        used.method() + smoothed + fallback + guard
    }

    /// The metric with its bounds.
    #[must_use]
    pub fn measure(&self, metric: &Metric, around: &MetricInputs) -> Outcome {
        self.traced(metric, around).0
    }

    /// The metric with its bounds, and what they are made of; absent without a value.
    #[must_use]
    pub fn traced(&self, metric: &Metric, around: &MetricInputs) -> (Outcome, Option<Uncertainty>) {
        let mut outcome = metric.compute(&around.subject(&self.nominal));
        // A model that holds for the value tells what it would be a little beyond, too.
        let compute = |view: &View| metric.compute_anywhere(&around.subject(view));
        let Some(value) = outcome.value else { return (outcome, None) };
        let coarse = compute(&self.coarse).value;
        let mut uncertainty = Uncertainty::default();
        for term in &self.terms {
            let base = if term.against_nominal { Some(value) } else { coarse };
            term.add_to(&mut uncertainty, base, |v| compute(v).value);
        }
        if metric.definition.scatters {
            uncertainty.add(UncertaintyTerm::Chance, CHANCE_SHARE * value);
        }
        let [below, above] = uncertainty.sides().map(|u| 2.0 * u);
        let PhysicalRange { least, most } = metric.definition.physical_range;
        outcome.low = Some((value - below).max(least));
        outcome.high = match outcome.status {
            Status::Bound => None,
            _ => Some((value + above).min(most)),
        };
        (outcome, Some(uncertainty))
    }

    /// The rule or parameter by which the metric was computed; empty when there is none.
    #[must_use]
    pub fn rule(&self, metric: &Metric, around: &MetricInputs) -> String {
        metric.rule(&around.subject(&self.nominal))
    }
}
