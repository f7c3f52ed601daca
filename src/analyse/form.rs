//! Size, shape and place of one computed solid, for the metrics of [`tidydose_metrics::size`], and the
//! isocentres that places are told from.

use super::structure::Solid;
use tidydose_case::Case;
use tidydose_dose::DoseField;
use tidydose_geometry::occupancy::Occupancy;
use tidydose_geometry::point::{self, Point};
use tidydose_geometry::smooth::Variant;
use tidydose_geometry::surface::Surface;
use tidydose_metrics::size::{Form, Isocentre};
use tidydose_rt::Beam;

/// The form of a solid as `occupancy` fills it with something varied, without doses.
#[must_use]
pub(super) fn of(
    solid: &Solid,
    occupancy: &Occupancy,
    variant: Variant,
    isocentres: &[Point],
) -> Form {
    let surface = Surface::of(occupancy);
    let centre = occupancy.centroid();
    let mut in_plane = solid.diameters_of(variant.outlines);
    if let Some(d) = &mut in_plane {
        // Both ends of a chord may lie on a bulge.
        let longer = 2.0 * variant.bulge * d.bulge_mm;
        d.longest_mm += longer;
        d.across_mm += longer;
    }
    Form {
        surface_mm2: surface.area_mm2,
        longest_mm: surface.longest_mm(),
        height_mm: height_mm(occupancy),
        in_plane,
        axial: occupancy.axes.is_axial(),
        centre,
        centre_gy: None,
        isocentre: centre.and_then(|c| nearest(c, isocentres, |_| None)),
    }
}

/// The same with the doses of `field`.
#[must_use]
pub(super) fn with_doses(form: Form, field: &DoseField, isocentres: &[Point]) -> Form {
    let dose = |p: Point| field.at(p);
    Form {
        centre_gy: form.centre.and_then(dose),
        isocentre: form.centre.and_then(|c| nearest(c, isocentres, dose)),
        ..form
    }
}

fn nearest(
    centre: Point,
    isocentres: &[Point],
    dose: impl Fn(Point) -> Option<f64>,
) -> Option<Isocentre> {
    let distance = |p: &Point| point::length(point::sub(*p, centre));
    let found = isocentres.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    let of = isocentres.len();
    Some(Isocentre { distance_mm: distance(found), dose_gy: dose(*found), of })
}

/// From the lowest to the highest end of the sheets, mm.
fn height_mm(occupancy: &Occupancy) -> f64 {
    let [low, high] = occupancy.faces_mm();
    (high - low).max(0.0)
}

/// Distinct isocentres of the beams that treat, in order of first use, mm.
pub(super) fn isocentres(case: &Case) -> Vec<Point> {
    let beams = case.plan.iter().flat_map(|p| &p.beams);
    let treats = |b: &&Beam| {
        let kind = b.delivery_type.as_deref();
        kind.is_none_or(|k| matches!(k, "TREATMENT" | "CONTINUATION" | ""))
    };
    let mut out: Vec<Point> = Vec::new();
    for p in beams.filter(treats).flat_map(|b| &b.isocentres) {
        let near = |q: &Point| point::length(point::sub(*p, *q)) < SAME_ISOCENTRE_MM;
        if !out.iter().any(near) {
            out.push(*p);
        }
    }
    out
}

/// Positions closer than this are one isocentre, mm.
const SAME_ISOCENTRE_MM: f64 = 0.1;
