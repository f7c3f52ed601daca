//! Archives of any size for benches and fault tests: patients made from a number, each with one
//! plan on one ball, a few organs and, on request, image slices. Nothing is stated about the truth.
#![allow(unreachable_pub)] // nothing outside this program sees it

use tidydose_geometry::Point;

use super::dicom::{Beam, CtImage, Dose, DoseReference, Header, Plan, Result, Roi, StructureSet};
use super::field::{Field, Lattice};
use super::solid::{PlaneStack, Solid};

/// How large each patient is.
#[derive(Debug, Clone, Copy)]
pub struct Size {
    /// Spacing of the dose grid, mm.
    pub spacing_mm: f64,
    /// Points of the dose grid: columns, rows, planes.
    pub points: [usize; 3],
    /// How many organs are drawn, up to three: chiasm, brainstem, brain.
    pub organs: usize,
    /// Distance between contour planes, mm.
    pub planes_mm: f64,
    /// Number of image slices.
    pub slices: usize,
}

impl Size {
    /// As little as makes a case.
    pub const TINY: Self =
        Self { spacing_mm: 3.0, points: [12, 12, 10], organs: 1, planes_mm: 2.0, slices: 0 };
    /// Structures without contours: a case that costs next to nothing.
    pub const HOLLOW: Self = Self { planes_mm: 500.0, ..Self::TINY };
    /// A grid round the target.
    pub const SMALL: Self =
        Self { spacing_mm: 2.0, points: [24, 24, 20], organs: 2, planes_mm: 1.0, slices: 0 };
    /// A grid over the whole head, as large as they come.
    pub const WHOLE_HEAD: Self =
        Self { spacing_mm: 1.0, points: [256, 256, 180], organs: 3, planes_mm: 1.0, slices: 0 };
}

/// The files of one patient, by name; the same number gives the same bytes.
///
/// # Errors
/// When an object cannot be encoded.
pub fn patient(number: usize, size: Size) -> Result<Vec<(String, Vec<u8>)>> {
    let id = format!("BN-{number:05}");
    let header = |object: &str| Header::new(&id, object);
    let mut chance = Chance(number as u64);
    let radius = chance.between(2.5, 8.0);
    let centre: Point = [-1.0, 1.0, 1.0].map(|s| s * chance.between(10.0, 24.0));
    let set = StructureSet::new(header("structures"), regions(centre, radius, size));
    let beam = Beam::shot(1, centre, 8.0, 10.0);
    let mut plan = Plan::new(header("plan"), &set.header.instance_uid, 1, vec![beam]);
    let prescription = chance.between(12.0, 24.0).round();
    plan.dose_references = vec![DoseReference::target(1, 1, prescription, "")];
    let field = Field::fall_off(centre, prescription, radius, 0.6 * radius + 2.0);
    // Two points less than are asked for, since the lattice reaches outwards to whole multiples.
    let half = size.points.map(|n| 0.5 * size.spacing_mm * (n as f64 - 2.0));
    // The head's middle for a grid over all of it, else the target's.
    let middle = if half[0] > 100.0 { [0.0; 3] } else { centre };
    let lattice = Lattice::around(middle, half, size.spacing_mm);
    let mut dose = Dose::new(header("dose"), &field, &lattice, &plan.header.instance_uid);
    dose.bits = 16;
    let mut files = vec![
        (format!("{id}/structures.dcm"), set.bytes()?),
        (format!("{id}/plan.dcm"), plan.bytes()?),
        (format!("{id}/dose.dcm"), dose.bytes()?),
    ];
    for slice in 0..size.slices {
        let mut image = CtImage::new(header(&format!("ct{slice}")), slice as f64 - 90.0, 1.0);
        image.header.series_uid = header("ct").series_uid;
        image.size = [256, 256];
        files.push((format!("{id}/ct/{slice:04}.dcm"), image.bytes()?));
    }
    Ok(files)
}

fn regions(centre: Point, radius: f64, size: Size) -> Vec<Roi> {
    let planes = PlaneStack::axial(size.planes_mm, 0.5);
    let drawn = |number, name, solid: &Solid, kind| {
        Roi::new(number, name, kind).outlining(solid, &planes, 40).rounded(2)
    };
    let organs = [
        ("OpticChiasm", Solid::ellipsoid([0.0, -8.0, -12.0], [7.0, 4.0, 2.5])),
        ("Brainstem", Solid::ellipsoid([0.0, 22.0, -22.0], [12.0, 11.0, 22.0])),
        ("Brain", Solid::ellipsoid([0.0; 3], [68.0, 84.0, 62.0])),
    ];
    let target = drawn(1, "GTV", &Solid::ball(centre, radius), "GTV");
    let others = organs.iter().take(size.organs).zip(2..);
    let others = others.map(|((name, solid), number)| drawn(number, name, solid, "ORGAN"));
    std::iter::once(target).chain(others).collect()
}

/// Numbers that look like chance and follow from a seed: the low bits of SplitMix64.
struct Chance(u64);

impl Chance {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let share = ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
        low + share * (high - low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_always_gives_the_same_patient_and_another_one_another() {
        let size = Size { slices: 2, ..Size::SMALL };
        let first = patient(7, size).unwrap();
        assert_eq!(first.len(), 5);
        assert!(first == patient(7, size).unwrap());
        let other = patient(8, size).unwrap();
        assert!(first.iter().zip(&other).all(|(a, b)| a != b));
    }
}
