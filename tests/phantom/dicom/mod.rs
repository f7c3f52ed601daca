//! DICOM objects from plain descriptions: structure set, dose, plan, record,
//! registration, image header.
//!
//! Each description is a struct with public fields and a `new` that sets what an ordinary export
//! has; a test changes a field to get the defect it wants. `bytes` gives the file. The same
//! description always gives the same bytes. Knows nothing of how the crate reads them.

mod beam;
mod dose;
mod encode;
mod image;
mod plan;
pub mod plant;
pub mod raw;
mod record;
mod registration;
mod structure_set;

pub use dicom_core::Tag;
pub use dicom_dictionary_std::tags;

pub use beam::{Applicator, Beam, ControlPoint};
pub use dose::{Dose, Dvh, PlaneOffsets};
pub use encode::{Encoding, Header, Wrapping, decimal, uid};
pub use image::CtImage;
pub use plan::{BeamReference, DoseReference, FractionGroup, Plan};
pub use record::{Record, SessionBeam};
pub use registration::{Motion, Registration};
pub use structure_set::{Contour, Roi, StructureSet};

/// What goes wrong when an object is written.
pub type Result<T> = std::result::Result<T, Box<dyn std::error::Error>>;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::field::{Field, Lattice};
    use crate::phantom::solid::{PlaneStack, Solid};
    use dicom_object::from_reader;

    fn header() -> Header {
        Header::new("TEST", "object")
    }

    /// A grid of 32 bits in big endian holds the same doses as in little endian (PS3.5 7.3).
    #[test]
    fn dose_survives_every_encoding() {
        let field = Field::gaussian([0.5, 0.5, 0.5], 24.0, 3.0);
        let lattice = Lattice::around([0.0; 3], [3.0; 3], 1.0);
        for encoding in [
            Encoding::ImplicitLittle,
            Encoding::ExplicitLittle,
            Encoding::ExplicitBig,
            Encoding::Deflated,
        ] {
            for bits in [16, 32] {
                let mut dose = Dose::new(header(), &field, &lattice, "1.2.3");
                dose.header.encoding = encoding;
                dose.bits = bits;
                let object = from_reader(dose.bytes().unwrap().as_slice()).unwrap();
                let words: Vec<u16> =
                    object.element(tags::PIXEL_DATA).unwrap().to_multi_int().unwrap();
                let stored = |i: usize| match (bits, encoding) {
                    (16, _) => f64::from(words[i]),
                    (_, Encoding::ExplicitBig) => {
                        f64::from(words[2 * i]) * 65_536.0 + f64::from(words[2 * i + 1])
                    }
                    _ => f64::from(words[2 * i]) + f64::from(words[2 * i + 1]) * 65_536.0,
                };
                for (i, d) in dose.values.iter().enumerate() {
                    assert!((stored(i) * dose.scaling() - d).abs() <= 0.51 * dose.scaling());
                }
            }
        }
    }

    #[test]
    fn options_of_a_region_reach_the_file() {
        let solid = Solid::Shell { centre: [0.0; 3], outer: 6.0, inner: 3.0 };
        let stack = PlaneStack::axial(1.0, 0.25);
        let roi = Roi::new(0, "zRing", "CONTROL")
            .outlining(&solid, &stack, 24)
            .typed("CLOSEDPLANAR_XOR")
            .rounded(2)
            .disordered()
            .miscounted(-1);
        let count = roi.contours.len();
        assert_eq!(count, 18);
        let set = StructureSet::new(header(), vec![roi]);
        let object = from_reader(set.bytes().unwrap().as_slice()).unwrap();
        let regions = object.element(tags::ROI_CONTOUR_SEQUENCE).unwrap().items().unwrap();
        let contours = regions[0].element(tags::CONTOUR_SEQUENCE).unwrap().items().unwrap();
        assert_eq!(contours.len(), count);
        let z = |i: usize| {
            let data = contours[i].element(tags::CONTOUR_DATA).unwrap();
            let numbers = data.to_multi_float64().unwrap();
            assert_eq!(numbers.len(), 72);
            numbers[2]
        };
        let all: Vec<f64> = (0..count).map(z).collect();
        assert!(!all.is_sorted());
        let stated = contours[0].element(tags::NUMBER_OF_CONTOUR_POINTS).unwrap();
        assert_eq!(stated.to_int::<i32>().unwrap(), 23);
        let kind = contours[0].element(tags::CONTOUR_GEOMETRIC_TYPE).unwrap();
        assert_eq!(kind.to_str().unwrap(), "CLOSEDPLANAR_XOR");
    }

    /// What surrounds the data set: 132 bytes of preamble and prefix, then group 0002, then 0008.
    #[test]
    fn wrappings_leave_out_what_they_say() {
        let beams = vec![Beam::arc(1, [0.0; 3], 45.0, (181.0, 359.0, 800.0))];
        let mut plan = Plan::new(header(), "1.2.3", 5, beams);
        plan.dose_references.push(DoseReference::target(1, 3, 25.0, "PTV"));
        let full = plan.bytes().unwrap();
        plan.header.wrapping = Wrapping::NoPreamble;
        let no_preamble = plan.bytes().unwrap();
        plan.header.wrapping = Wrapping::BareDataSet;
        let bare = plan.bytes().unwrap();
        assert_eq!(&full[128..136], b"DICM\x02\x00\x00\x00");
        assert_eq!(no_preamble, full[132..]);
        assert_eq!(&bare[..4], b"\x08\x00\x05\x00");
        assert!(full.ends_with(&bare));
    }
}
