//! Size, shape and place of a structure: diameters, surface, sphericity, centre of mass and
//! isocentre.

use super::{Definition, Need, Outcome, PhysicalRange, Provenance, Scale, Status, Subject};
use tidydose_geometry::Point;
use tidydose_geometry::diameter::Diameters;

/// Size, shape and place of a solid.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Form {
    /// Area of its surface, mm².
    pub surface_mm2: f64,
    /// Largest distance between two points of its surface, mm.
    pub longest_mm: f64,
    /// Extent along the normal of its planes, mm.
    pub height_mm: f64,
    /// Diameters on its planes; absent without an area.
    pub in_plane: Option<Diameters>,
    /// Whether the planes are axial.
    pub axial: bool,
    /// Centre of mass, mm; absent without volume.
    pub centre: Option<Point>,
    /// Dose there, Gy; absent outside the dose grid or without a dose.
    pub centre_gy: Option<f64>,
    /// The isocentre nearest to the centre of mass.
    pub isocentre: Option<Isocentre>,
}

/// The isocentre nearest to a structure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Isocentre {
    /// Distance from the structure's centre of mass, mm.
    pub distance_mm: f64,
    /// Dose there, Gy; absent outside the dose grid or without a dose.
    pub dose_gy: Option<f64>,
    /// How many isocentres the plan has.
    pub of: usize,
}

const SIZE: Definition = Definition {
    unit: "mm",
    undefined: "no closed contours, or a single plane of unknown thickness",
    needs: &[Need::Form],
    ..Definition::PLAIN
};

fn form<'a>(s: &Subject<'a>) -> Result<&'a Form, Outcome> {
    s.form.ok_or_else(|| Outcome::none(Status::NotApplicable, "the shape is not known"))
}

fn diameters(s: &Subject<'_>) -> Result<Diameters, Outcome> {
    let none = || Outcome::none(Status::Empty, "no closed contour of the structure has an area");
    form(s)?.in_plane.ok_or_else(none)
}

fn of_diameters(s: &Subject<'_>, value: fn(&Diameters) -> f64) -> Outcome {
    Outcome::from_result(diameters(s).map(|d| value(&d)))
}

fn of_form(s: &Subject<'_>, value: fn(&Subject<'_>, &Form) -> Result<f64, Outcome>) -> Outcome {
    Outcome::from_result(form(s).and_then(|f| value(s, f)))
}

/// The planes where they are not axial, and a chord that leaves the outline.
fn plane_words(s: &Subject<'_>) -> String {
    let Some(form) = s.form else { return String::new() };
    let planes = if form.axial { "axial planes" } else { "drawn planes, not axial" };
    match form.in_plane {
        Some(d) if d.inside < CONVEX => {
            let outside = 100.0 * (1.0 - d.inside);
            format!("{planes}; {outside:.0} % of the longest chord lie outside the outline")
        }
        _ => planes.to_owned(),
    }
}

/// A chord of which less than this share lies inside leaves its outline.
const CONVEX: f64 = 0.99;

pub(super) static EQUIVALENT: Definition = Definition {
    name: "EquivalentDiameter[mm]",
    title: "diameter of the sphere of the same volume",
    formula: "(6V/π)^⅓",
    reference: "effective radius in Wagner et al. 2003",
    needs: &[],
    compute: |s, _| Outcome::of((6.0 * 1000.0 * s.volume_cc / std::f64::consts::PI).cbrt()),
    ..SIZE
};

const IN_PLANE: Definition = Definition { rule: |s, _| plane_words(s), ..SIZE };

/// Longest diameter on one plane.
pub static LONGEST_IN_PLANE: Definition = Definition {
    name: "LongestDiameterAxial[mm]",
    title: "longest diameter on one plane: largest distance between two points of one outline",
    formula: "max over planes and connected pieces of |p − q|",
    reference: "RECIST 1.1; RANO-BM (Lin et al. 2015)",
    compute: |s, _| of_diameters(s, |d| d.longest_mm),
    ..IN_PLANE
};

/// Longest chord across it on the same plane.
pub static ACROSS_IN_PLANE: Definition = Definition {
    name: "PerpendicularDiameterAxial[mm]",
    title: "longest chord inside the outline at right angles to the longest diameter, on its plane",
    formula: "max chord ⟂ longest diameter",
    reference: "RANO-BM (Lin et al. 2015)",
    compute: |s, _| of_diameters(s, |d| d.across_mm),
    ..IN_PLANE
};

pub(super) static LONGEST: Definition = Definition {
    name: "LongestDiameter3D[mm]",
    title: "largest distance between two points of the surface",
    formula: "max |p − q|",
    reference: "the \"maximum diameter\" of size classes, which rarely say axial or 3-D",
    provenance: Provenance::Memory,
    compute: |s, _| of_form(s, |_, f| Ok(f.longest_mm)),
    ..SIZE
};

/// The product of the longest diameter, the one across it and the height, mm³.
fn three_diameters(s: &Subject<'_>) -> Result<f64, Outcome> {
    let d = diameters(s)?;
    Ok(d.longest_mm * d.across_mm * form(s)?.height_mm)
}

const OF_THREE_DIAMETERS: Definition = Definition {
    unit: "cc",
    reference: "clinical convention",
    provenance: Provenance::CommonPractice,
    ..SIZE
};

pub(super) static ELLIPSOID: Definition = Definition {
    name: "EllipsoidVolume[cc]",
    title: "volume of the ellipsoid of three diameters; not the volume of the structure",
    formula: "π/6 · A · B · C: longest and perpendicular diameter, extent along the planes' normal",
    compute: |s, _| {
        let cc = |mm3: f64| std::f64::consts::PI / 6.0 * mm3 / 1000.0;
        Outcome::from_result(three_diameters(s).map(cc))
    },
    ..OF_THREE_DIAMETERS
};

pub(super) static HALF_PRODUCT: Definition = Definition {
    name: "ABC/2[cc]",
    title: "half the product of three diameters; not the volume of the structure",
    formula: "A · B · C / 2",
    compute: |s, _| Outcome::from_result(three_diameters(s).map(|mm3| mm3 / 2000.0)),
    ..OF_THREE_DIAMETERS
};

pub(super) static SURFACE: Definition = Definition {
    name: "SurfaceArea[cm2]",
    unit: "cm2",
    title: "area of the surface",
    formula: "sum of triangles where the filled share of cells passes one half",
    reference: "IBSI reference manual (shape features)",
    provenance: Provenance::Memory,
    compute: |s, _| of_form(s, |_, f| Ok(f.surface_mm2 / 100.0)),
    ..SIZE
};

pub(super) static SPHERICITY: Definition = Definition {
    name: "Sphericity",
    physical_range: PhysicalRange::SHARE,
    unit: "1",
    title: "surface of the sphere of the same volume over the surface; 1 for a sphere",
    formula: "π^⅓ · (6V)^⅔ / A",
    reference: "Wadell 1935; IBSI reference manual",
    provenance: Provenance::Memory,
    compute: |s, _| {
        of_form(s, |s, f| {
            if f.surface_mm2 <= 0.0 {
                return Err(Outcome::none(Status::Empty, "the structure has no surface"));
            }
            let v = 1000.0 * s.volume_cc;
            let ball = std::f64::consts::PI.cbrt() * (6.0 * v).powf(2.0 / 3.0);
            Ok((ball / f.surface_mm2).min(1.0))
        })
    },
    ..SIZE
};

const PLACE: Definition = Definition {
    physical_range: PhysicalRange::ANY,
    formula: "∫ r dV / V",
    reference: "DICOM PS3.3 C.7.6.2.1.1 (patient coordinates)",
    scatters: false,
    scale: Scale::Size,
    ..SIZE
};

fn centre(s: &Subject<'_>, axis: usize) -> Outcome {
    let none = || Outcome::none(Status::Empty, "the structure has no volume");
    let value = form(s).and_then(|f| f.centre.ok_or_else(none));
    Outcome::from_result(value.map(|c| c[axis]))
}

pub(super) static CENTRE_X: Definition = Definition {
    name: "CentroidX[mm]",
    title: "centre of mass, towards the patient's left",
    compute: |s, _| centre(s, 0),
    ..PLACE
};

pub(super) static CENTRE_Y: Definition = Definition {
    name: "CentroidY[mm]",
    title: "centre of mass, towards the back",
    compute: |s, _| centre(s, 1),
    ..PLACE
};

pub(super) static CENTRE_Z: Definition = Definition {
    name: "CentroidZ[mm]",
    title: "centre of mass, towards the head",
    compute: |s, _| centre(s, 2),
    ..PLACE
};

fn isocentre(s: &Subject<'_>) -> Result<Isocentre, Outcome> {
    let none = || Outcome::none(Status::NotApplicable, "the plan states no isocentre");
    form(s)?.isocentre.ok_or_else(none)
}

fn isocentre_words(s: &Subject<'_>) -> String {
    let of = s.form.and_then(|f| f.isocentre).map(|i| i.of);
    of.map_or_else(String::new, |n| format!("nearest of {n} isocentres"))
}

pub(super) static ISOCENTRE_DISTANCE: Definition = Definition {
    name: "IsocentreDistance[mm]",
    title: "distance from the centre of mass to the nearest isocentre of the plan",
    formula: "min |centre of mass − isocentre|",
    reference: "papers on one isocentre for several targets",
    undefined: "the plan states no isocentre, or the structure has no volume",
    compute: |s, _| Outcome::from_result(isocentre(s).map(|i| i.distance_mm)),
    rule: |s, _| isocentre_words(s),
    scale: Scale::Size,
    ..SIZE
};

const OUTSIDE: &str = "the point lies outside the dose grid, or there is no dose";

const DOSE_AT_A_POINT: Definition = Definition {
    unit: "Gy",
    formula: "interpolated dose at one point",
    reference: "older papers",
    provenance: Provenance::Memory,
    scale: Scale::Dose,
    ..SIZE
};

pub(super) static CENTRE_DOSE: Definition = Definition {
    name: "DoseAtCentroid[Gy]",
    title: "dose at the centre of mass",
    undefined: "the centre of mass lies outside the dose grid, or there is no dose",
    compute: |s, _| {
        let none = || Outcome::none(Status::OutsideGrid, OUTSIDE);
        let value = s.any_dvh().and_then(|_| form(s)?.centre_gy.ok_or_else(none));
        Outcome::from_result(value)
    },
    ..DOSE_AT_A_POINT
};

pub(super) static ISOCENTRE_DOSE: Definition = Definition {
    name: "DoseAtIsocentre[Gy]",
    title: "dose at the isocentre nearest to the centre of mass",
    undefined: "the plan states no isocentre, or it lies outside the dose grid",
    compute: |s, _| {
        let none = || Outcome::none(Status::OutsideGrid, OUTSIDE);
        let value = || {
            s.any_dvh()?;
            isocentre(s)?.dose_gy.ok_or_else(none)
        };
        Outcome::from_result(value())
    },
    rule: |s, _| isocentre_words(s),
    ..DOSE_AT_A_POINT
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::REGISTRY;

    /// Whose outcome changes with the form says so. (A dose at the centre of mass needs a dose
    /// first, so that it does not show here.)
    #[test]
    fn nobody_asks_for_a_form_that_is_not_computed() {
        let none = || Err((Status::Unlinked, String::new()));
        let asks = |definition: &Definition, form: Option<&Form>| {
            let subject = Subject { form, ..Subject::new(4.0, none()) };
            format!("{:?}", (definition.compute)(&subject, 1.0))
        };
        let form = Form { longest_mm: 3.0, ..Form::default() };
        let mut seen = 0;
        for &definition in REGISTRY.definitions() {
            let needs = asks(definition, None) != asks(definition, Some(&form));
            assert!(!needs || definition.needs(Need::Form), "{}", definition.name);
            seen += usize::from(needs);
        }
        assert!(seen >= 10, "{seen}");
    }
}
