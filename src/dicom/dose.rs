//! RT Dose (PS3.3 A.18 and C.8.8.3) to [`rt::Dose`] and its header. Anything that leaves the size
//! or the place of a voxel's dose open is refused; must not judge whether the dose is the one that
//! was treated.

use std::borrow::Cow;

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use ndarray::Array3;
use sha2::{Digest, Sha256};

use super::attribute::{Attributes, invalid, missing};
use super::dose_grid::{Planes, frames, grid};
use super::error::Error;
use super::object::Object;
use super::pixels::{SampleFormat, Size, StoredSamples};
use super::quirks::stored_bits;
use super::stored_dvh::stored_dvhs;
use tidydose_geometry::units::Gray;
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Kind;
use tidydose_rt::{Dose, DoseGroup, DoseHeader, DoseSummation, DoseType, DoseUnits};

/// No radiosurgery plan reaches this dose, Gy; a grid in centigray does.
const PLAUSIBLE_GY: f32 = 300.0;
/// Steps above this are worth a remark, Gy.
const COARSE_STEP_GY: f64 = 0.05;

/// Reads header and voxels, and tells of the voxels in the header.
///
/// # Errors
/// As [`dose`].
pub(super) fn described(object: &Object<'_>) -> Result<(DoseHeader, Option<Dose>), Error> {
    let (mut header, voxels) = dose(object)?;
    if let Some(voxels) = &voxels {
        describe(&mut header, voxels);
    }
    Ok((header, voxels))
}

/// Reads header and voxels, which the header tells nothing of; no voxels where the object has no
/// pixel data.
///
/// # Errors
/// When an attribute that the numbers depend on is absent, contradictory or out of range.
pub(super) fn dose(object: &Object<'_>) -> Result<(DoseHeader, Option<Dose>), Error> {
    let root = object.root();
    let mut header = description(object, &root)?;
    if header.kind == DoseType::Error {
        root.note(Code::DoseErrorType, tags::DOSE_TYPE, "Dose Type is ERROR");
    }
    if header.kind == DoseType::Effective {
        root.note(Code::DoseEffective, tags::DOSE_TYPE, "Dose Type is EFFECTIVE");
    }
    let voxels = voxels(object, &root, &header)?;
    let Some(voxels) = voxels else {
        root.note(Code::DoseWithoutGrid, tags::PIXEL_DATA, "the object has no pixel data");
        return Ok((header, None));
    };
    if header.units == DoseUnits::Relative {
        root.note(Code::DoseRelative, tags::DOSE_UNITS, "Dose Units is RELATIVE");
    }
    header.grid = Some(voxels.grid.clone());
    header.step = Some(voxels.step);
    Ok((header, Some(voxels)))
}

fn description(object: &Object<'_>, root: &Attributes<'_>) -> Result<DoseHeader, Error> {
    let units = match root.code(tags::DOSE_UNITS).as_deref() {
        Some("GY") => DoseUnits::Gray,
        Some("RELATIVE") => DoseUnits::Relative,
        found => return Err(not_one_of(tags::DOSE_UNITS, found, "GY or RELATIVE")),
    };
    let kind = match root.code(tags::DOSE_TYPE).as_deref() {
        Some("PHYSICAL") => DoseType::Physical,
        Some("EFFECTIVE") => DoseType::Effective,
        Some("ERROR") => DoseType::Error,
        found => {
            return Err(not_one_of(tags::DOSE_TYPE, found, "PHYSICAL, EFFECTIVE or ERROR"));
        }
    };
    let plans = root.references(tags::REFERENCED_RT_PLAN_SEQUENCE);
    let stored = root.references(tags::REFERENCED_STRUCTURE_SET_SEQUENCE);
    let frame = root.uid(tags::FRAME_OF_REFERENCE_UID);
    let heterogeneity = root.codes(tags::TISSUE_HETEROGENEITY_CORRECTION).join("\\");
    note_transformations(root);
    Ok(DoseHeader {
        origin: object.origin()?,
        frame: frame.map(|uid| object.token(Kind::Frame, uid)),
        units,
        kind,
        summation: summation(root)?,
        plans: plans.iter().map(|uid| object.token(Kind::Object, uid)).collect(),
        structure_set: stored.first().map(|uid| object.token(Kind::Object, uid)),
        stored_dvhs: stored_dvhs(root),
        groups: groups(root),
        overview_fractions: overview_fractions(root),
        grid: None,
        step: None,
        bits: root.optional_integer(tags::BITS_ALLOCATED).and_then(|b| u16::try_from(b).ok()),
        heterogeneity: (!heterogeneity.is_empty()).then_some(heterogeneity),
        maximum: None,
        hottest: None,
        voxels: None,
    })
}

fn not_one_of(tag: Tag, found: Option<&str>, accepted: &str) -> Error {
    found.map_or_else(|| missing(tag, accepted), |found| invalid(tag, found, accepted))
}

fn summation(root: &Attributes<'_>) -> Result<DoseSummation, Error> {
    let tag = tags::DOSE_SUMMATION_TYPE;
    let code = root.code(tag);
    let found = code.as_deref();
    let term = DoseSummation::TERMS.iter().find(|(_, term)| Some(*term) == found);
    term.map(|(summation, _)| *summation)
        .ok_or_else(|| not_one_of(tag, found, "PLAN, BEAM or another defined term"))
}

/// Fraction groups and their beams below the referenced plans, as stated.
fn groups(root: &Attributes<'_>) -> Vec<DoseGroup> {
    let plans = root.items(tags::REFERENCED_RT_PLAN_SEQUENCE);
    let groups = plans.flat_map(|p| p.items(tags::REFERENCED_FRACTION_GROUP_SEQUENCE));
    let group = |item: Attributes<'_>| {
        let beams = item.items(tags::REFERENCED_BEAM_SEQUENCE);
        let mut beams: Vec<i64> =
            beams.filter_map(|b| b.optional_integer(tags::REFERENCED_BEAM_NUMBER)).collect();
        beams.sort_unstable();
        beams.dedup();
        DoseGroup { number: item.optional_integer(tags::REFERENCED_FRACTION_GROUP_NUMBER), beams }
    };
    let mut list: Vec<DoseGroup> = groups.map(group).collect();
    list.sort();
    list
}

/// Number of Fractions Included, if all items of the plan overview agree on it.
fn overview_fractions(root: &Attributes<'_>) -> Option<u32> {
    let items = root.items(tags::PLAN_OVERVIEW_SEQUENCE);
    let mut counts = items.map(|i| i.optional_integer(tags::NUMBER_OF_FRACTIONS_INCLUDED));
    let first = counts.next()??;
    let agree = counts.all(|count| count == Some(first));
    u32::try_from(first).ok().filter(|_| agree)
}

/// What can be said of the voxels without keeping them.
fn describe(header: &mut DoseHeader, dose: &Dose) {
    let mut hash = Sha256::new();
    let mut hottest = ([0; 3], f32::NEG_INFINITY);
    let mut bytes = Vec::new();
    for (at, row) in dose.values.lanes(ndarray::Axis(2)).into_iter().enumerate() {
        let row = row.to_slice().map_or_else(|| row.to_vec().into(), Cow::Borrowed);
        bytes.clear();
        bytes.resize(4 * row.len(), 0);
        let (groups, _) = bytes.as_chunks_mut::<4>();
        groups.iter_mut().zip(row.iter()).for_each(|(to, value)| *to = value.to_le_bytes());
        hash.update(&bytes);
        let highest = range(&row)[1];
        if highest > hottest.1 {
            let column = row.iter().position(|value| *value >= highest).unwrap_or_default();
            let rows = dose.values.dim().1;
            hottest = ([at / rows, at % rows, column], highest);
        }
    }
    header.voxels = Some(tidydose_rt::digest::hexadecimal(&hash.finalize()));
    if hottest.1.is_finite() {
        header.maximum = Some(f64::from(hottest.1));
        header.hottest = Some(dose.grid.position(hottest.0));
    }
}

/// Lowest and highest of some numbers, several side by side; what is no number does not count.
fn range(values: &[f32]) -> [f32; 2] {
    let (mut low, mut high) = ([f32::INFINITY; LANES], [f32::NEG_INFINITY; LANES]);
    let (groups, rest) = values.as_chunks::<LANES>();
    for group in groups {
        for ((low, high), value) in low.iter_mut().zip(&mut high).zip(group) {
            *low = if *value < *low { *value } else { *low };
            *high = if *value > *high { *value } else { *high };
        }
    }
    let all = || rest.iter().copied();
    [
        low.into_iter().chain(all()).fold(f32::INFINITY, f32::min),
        high.into_iter().chain(all()).fold(f32::NEG_INFINITY, f32::max),
    ]
}

const LANES: usize = 8;

fn note_transformations(root: &Attributes<'_>) {
    let tag = tags::SPATIAL_TRANSFORM_OF_DOSE;
    if let Some(transform) = root.code(tag).filter(|code| code != "NONE") {
        let rigid = if transform == "RIGID" { "rigidly" } else { "not rigidly" };
        let message = format!("the dose was moved {rigid} before it was stored");
        root.note(Code::DoseTransformed, tag, message);
    }
    if root.first_item(tags::DERIVATION_CODE_SEQUENCE).is_some() {
        let message = "the dose was derived from other objects";
        root.note(Code::DoseTransformed, tags::DERIVATION_CODE_SEQUENCE, message);
    }
}

fn voxels(
    object: &Object<'_>,
    root: &Attributes<'_>,
    header: &DoseHeader,
) -> Result<Option<Dose>, Error> {
    if object.file().pixels.is_none() {
        return Ok(None);
    }
    let (size, signed) = format(root, header)?;
    let Some(samples) = StoredSamples::of(object.file(), size)? else { return Ok(None) };
    let scaling = scaling(root, header)?;
    let planes = frames(root, size, samples.len())?;
    let count = sample_count(size, planes.count, samples.len())?;
    let (grid, order) = grid(root, size, &planes)?;
    note_padding(root, size, &planes, samples.len());
    stored_bits::check(root, &samples, count, size.sample)?;
    let stored = samples.scaled(count, SampleFormat { sample: size.sample, signed, scaling });
    check_range(&stored, header)?;
    let shape = grid.shape();
    let mut values = Array3::from_shape_vec(shape, stored)
        .map_err(|_| Error::new(Code::DoseGridInvalid, "the voxels do not fill the grid"))?;
    if order.reversed {
        values.invert_axis(ndarray::Axis(0));
        values = values.as_standard_layout().into_owned();
    }
    Ok(Some(Dose { grid, values, step: Gray::gy(scaling) }))
}

/// Size of a frame and whether samples are signed (PS3.3 C.8.8.3.4).
fn format(root: &Attributes<'_>, header: &DoseHeader) -> Result<(Size, bool), Error> {
    let bits = root.required_u16(tags::BITS_ALLOCATED)?;
    if !matches!(bits, 16 | 32) {
        return Err(invalid(tags::BITS_ALLOCATED, &bits.to_string(), "16 or 32"));
    }
    if let Some(n) = root.integer(tags::SAMPLES_PER_PIXEL)?.filter(|n| *n != 1) {
        return Err(invalid(tags::SAMPLES_PER_PIXEL, &n.to_string(), "1"));
    }
    for (tag, usual) in [(tags::RESCALE_SLOPE, 1.0), (tags::RESCALE_INTERCEPT, 0.0)] {
        if root.optional_number(tag).is_some_and(|value| value != usual) {
            let message = "not part of an RT Dose; ignored, Dose Grid Scaling is used";
            root.note(Code::AttributeDoubtful, tag, message);
        }
    }
    let signed = match root.integer(tags::PIXEL_REPRESENTATION)? {
        None | Some(0) => false,
        Some(1) => true,
        Some(n) => {
            return Err(invalid(tags::PIXEL_REPRESENTATION, &n.to_string(), "0 or 1"));
        }
    };
    if signed && header.kind != DoseType::Error {
        let message = "signed samples in a dose that is no difference";
        root.note(Code::AttributeDoubtful, tags::PIXEL_REPRESENTATION, message);
    }
    let rows = root.required_u16(tags::ROWS)?;
    let columns = root.required_u16(tags::COLUMNS)?;
    if rows == 0 || columns == 0 {
        let tag = if rows == 0 { tags::ROWS } else { tags::COLUMNS };
        return Err(invalid(tag, "0", "1 to 65535"));
    }
    Ok((Size { rows, columns, sample: usize::from(bits / 8) }, signed))
}

fn scaling(root: &Attributes<'_>, header: &DoseHeader) -> Result<f64, Error> {
    let tag = tags::DOSE_GRID_SCALING;
    let scaling = root.required_number(tag)?;
    if scaling <= 0.0 {
        return Err(invalid(tag, &scaling.to_string(), "a number above 0"));
    }
    if header.units == DoseUnits::Gray && scaling > COARSE_STEP_GY {
        root.note(Code::DoseStepCoarse, tag, format!("one stored step is {scaling} Gy"));
    }
    Ok(scaling)
}

/// Voxels of the whole grid, once it is certain that the bytes are there.
fn sample_count(size: Size, frames: usize, available: usize) -> Result<usize, Error> {
    let needed = size.frame_bytes().checked_mul(frames);
    match needed {
        Some(needed) if needed <= available => Ok(size.frame_samples() * frames),
        _ => {
            let message = format!(
                "{frames} planes of {} by {} samples need {} bytes, the pixel data has {available}",
                size.rows,
                size.columns,
                needed.map_or_else(|| "too many".to_owned(), |n| n.to_string()),
            );
            Err(Error::new(Code::DosePixelsShort, message).about(tags::PIXEL_DATA))
        }
    }
}

fn note_padding(root: &Attributes<'_>, size: Size, planes: &Planes, available: usize) {
    let excess = available - size.frame_bytes() * planes.count;
    if excess > 1 {
        let message = format!("{excess} bytes follow the last voxel");
        root.note(Code::DosePixelsPadded, tags::PIXEL_DATA, message);
    }
}

fn check_range(values: &[f32], header: &DoseHeader) -> Result<(), Error> {
    let [lowest, highest] = range(values);
    if header.kind != DoseType::Error && lowest < 0.0 {
        let message = format!("the lowest dose is {lowest}; accepted is 0 or more");
        return Err(Error::new(Code::AttributeInvalid, message).about(tags::PIXEL_DATA));
    }
    if header.units == DoseUnits::Gray && (highest > PLAUSIBLE_GY || !highest.is_finite()) {
        let message = format!("the highest dose is {highest} Gy; accepted is up to 300 Gy");
        return Err(Error::new(Code::DoseImplausible, message).about(tags::PIXEL_DATA));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, remove, set, text};
    use super::*;
    use tidydose_rt::finding::Finding;

    type Read = Result<(DoseHeader, Option<Dose>, Vec<Finding>), Error>;

    fn read_in(parts: &[Element], encoding: Encoding) -> Read {
        let read = fixtures::read(fixtures::file(parts, encoding, false), dose)?;
        Ok((read.value.0, read.value.1, read.findings))
    }

    fn read(change: impl FnOnce(&mut Vec<Element>)) -> Read {
        let mut parts = fixtures::dose();
        change(&mut parts);
        read_in(&parts, Encoding::EXPLICIT)
    }

    fn has(findings: &[Finding], code: Code) -> bool {
        findings.iter().any(|finding| finding.code == code)
    }

    fn code(read: Read) -> Code {
        read.unwrap_err().code()
    }

    #[test]
    fn every_encoding_gives_the_same_dose() {
        for encoding in [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let (header, dose, findings) = read_in(&fixtures::dose(), encoding).unwrap();
            let dose = dose.unwrap();
            assert_eq!(findings, []);
            assert_eq!(header.units, DoseUnits::Gray);
            assert_eq!(header.bits, Some(32));
            assert_eq!(dose.values.shape(), [2, 2, 3]);
            assert_eq!(dose.values[[0, 0, 0]], 6.5537);
            assert_eq!(dose.values[[1, 1, 2]], 0.0113);
            assert_eq!(dose.grid.position([1, 1, 2]), [7.0, 4.0, -0.5]);
        }
    }

    #[test]
    fn lowest_and_highest_are_found_wherever_they_are() {
        for n in [1, 7, 8, 9, 40] {
            for place in 0..n {
                let mut values = vec![2.0; n + 1];
                values[place] = -1.5;
                values[n] = 7.5;
                assert_eq!(range(&values), [-1.5, 7.5]);
                values.reverse();
                assert_eq!(range(&values), [-1.5, 7.5]);
            }
        }
        assert_eq!(range(&[f32::NAN, 3.0, f32::NAN]), [3.0, 3.0]);
        assert_eq!(range(&[]), [f32::INFINITY, f32::NEG_INFINITY]);
    }

    #[test]
    fn sixteen_bits_are_read_in_either_order() {
        let mut parts = fixtures::dose();
        for (tag, bits) in
            [(tags::BITS_ALLOCATED, 16), (tags::BITS_STORED, 16), (tags::HIGH_BIT, 15)]
        {
            set(&mut parts, Element::Words(tag, VR::US, vec![bits]));
        }
        set(&mut parts, Element::Words(tags::PIXEL_DATA, VR::OW, (1..=12).collect()));
        for encoding in [Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let dose = read_in(&parts, encoding).unwrap().1.unwrap();
            assert_eq!(dose.values[[1, 1, 2]], 0.0012);
        }
    }

    #[test]
    fn absolute_plane_positions_are_recognised() {
        let change = |v: &str| {
            let part = text(tags::GRID_FRAME_OFFSET_VECTOR, VR::DS, v);
            read(|parts| set(parts, part))
        };
        let dose = change("-3\\-0.5").unwrap().1.unwrap();
        assert_eq!(dose.grid.offsets_mm(), [0.0, 2.5]);
        assert_eq!(code(change("1\\2")), Code::DoseGridInvalid);
        assert_eq!(code(change("0\\1\\2")), Code::DoseGridInvalid);
        assert_eq!(code(change("0\\0")), Code::DoseGridInvalid);
        let oblique = read(|parts| {
            set(parts, text(tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "0\\1\\0\\0\\0\\1"));
            set(parts, text(tags::GRID_FRAME_OFFSET_VECTOR, VR::DS, "-3\\-0.5"));
        });
        assert_eq!(code(oblique), Code::DoseGridInvalid);
    }

    /// The planes go against row × column: position and dose of a voxel must stay together.
    #[test]
    fn decreasing_offsets_turn_planes_and_dose() {
        let part = text(tags::GRID_FRAME_OFFSET_VECTOR, VR::DS, "0\\-2.5");
        let dose = read(|parts| set(parts, part)).unwrap().1.unwrap();
        assert_eq!(dose.grid.offsets_mm(), [0.0, 2.5]);
        assert_eq!(dose.grid.position([1, 0, 0]), [1.0, 2.0, -3.0]);
        assert_eq!(dose.values[[1, 0, 0]], 6.5537);
        assert_eq!(dose.grid.position([0, 1, 2])[2], -5.5);
        assert_eq!(dose.values[[0, 1, 2]], 0.0113);
        assert!(dose.values.is_standard_layout());
    }

    #[test]
    fn the_number_of_frames_may_be_found_from_the_rest() {
        for stated in ["", "2A", "two"] {
            let part = text(tags::NUMBER_OF_FRAMES, VR::IS, stated);
            let (_, dose, findings) = read(|parts| set(parts, part)).unwrap();
            assert_eq!(dose.unwrap().values.shape(), [2, 2, 3]);
            assert!(has(&findings, Code::DoseGridRepaired), "{stated}");
        }
        let (_, dose, findings) = read(|parts| {
            remove(parts, tags::NUMBER_OF_FRAMES);
            set(parts, Element::Samples(tags::PIXEL_DATA, vec![1, 2, 3, 4, 5, 6]));
        })
        .unwrap();
        assert_eq!(dose.unwrap().values.shape(), [1, 2, 3]);
        assert!(has(&findings, Code::DoseGridRepaired));
        assert_eq!(
            code(read(|parts| {
                remove(parts, tags::NUMBER_OF_FRAMES);
                remove(parts, tags::GRID_FRAME_OFFSET_VECTOR);
            })),
            Code::DoseGridInvalid
        );
        let one = text(tags::NUMBER_OF_FRAMES, VR::IS, "1");
        assert_eq!(code(read(|parts| set(parts, one))), Code::DoseGridInvalid);
    }

    #[test]
    fn scaling_must_be_a_positive_number() {
        for value in ["0", "-1", "nan", "inf", "1,2,3", "1D-3"] {
            let part = text(tags::DOSE_GRID_SCALING, VR::DS, value);
            assert_eq!(code(read(|parts| set(parts, part))), Code::AttributeInvalid, "{value}");
        }
        let gone = read(|parts| remove(parts, tags::DOSE_GRID_SCALING));
        assert_eq!(code(gone), Code::AttributeMissing);
        let part = text(tags::DOSE_GRID_SCALING, VR::DS, "0,0001");
        let (_, dose, findings) = read(|parts| set(parts, part)).unwrap();
        assert_eq!(dose.unwrap().values[[0, 0, 0]], 6.5537);
        assert!(has(&findings, Code::AttributeDoubtful));
    }

    #[test]
    fn pixel_data_must_fill_the_grid() {
        let short = Element::Samples(tags::PIXEL_DATA, vec![1; 11]);
        assert_eq!(code(read(|parts| set(parts, short))), Code::DosePixelsShort);
        let padded = Element::Samples(tags::PIXEL_DATA, vec![1; 13]);
        let (_, dose, findings) = read(|parts| set(parts, padded)).unwrap();
        assert_eq!(dose.unwrap().values.len(), 12);
        assert!(has(&findings, Code::DosePixelsPadded));
        let (header, dose, findings) = read(|parts| remove(parts, tags::PIXEL_DATA)).unwrap();
        assert!(dose.is_none() && header.grid.is_none());
        assert!(has(&findings, Code::DoseWithoutGrid));
        let huge = read(|parts| {
            set(parts, Element::Words(tags::ROWS, VR::US, vec![65_535]));
            set(parts, Element::Words(tags::COLUMNS, VR::US, vec![65_535]));
            set(parts, text(tags::NUMBER_OF_FRAMES, VR::IS, "9223372036854775807"));
        });
        assert!(matches!(code(huge), Code::DosePixelsShort | Code::DoseGridInvalid));
    }

    #[test]
    fn implausible_and_negative_doses_are_refused() {
        let part = text(tags::DOSE_GRID_SCALING, VR::DS, "0.01");
        assert_eq!(code(read(|parts| set(parts, part))), Code::DoseImplausible);
        let (header, dose, findings) = read(|parts| {
            set(parts, text(tags::DOSE_GRID_SCALING, VR::DS, "0.01"));
            set(parts, text(tags::DOSE_UNITS, VR::CS, "RELATIVE"));
        })
        .unwrap();
        assert_eq!(header.units, DoseUnits::Relative);
        assert_eq!(dose.unwrap().values[[0, 0, 0]], 655.37);
        assert!(has(&findings, Code::DoseRelative));
        let negative = |kind: &'static str| {
            read(move |parts| {
                set(parts, Element::Words(tags::PIXEL_REPRESENTATION, VR::US, vec![1]));
                set(parts, Element::Samples(tags::PIXEL_DATA, vec![u32::MAX; 12]));
                set(parts, text(tags::DOSE_TYPE, VR::CS, kind));
            })
        };
        assert_eq!(code(negative("PHYSICAL")), Code::AttributeInvalid);
        let dose = negative("ERROR").unwrap().1.unwrap();
        assert_eq!(dose.values[[0, 0, 0]], -0.0001);
    }

    #[test]
    fn run_length_encoded_samples_are_decoded() {
        let mut parts = fixtures::dose();
        remove(&mut parts, tags::PIXEL_DATA);
        set(&mut parts, text(tags::NUMBER_OF_FRAMES, VR::IS, "1"));
        set(&mut parts, text(tags::GRID_FRAME_OFFSET_VECTOR, VR::DS, "0"));
        let e = Encoding::EXPLICIT;
        let mut frame = vec![0; 64];
        frame[0] = 4;
        for (index, at) in [64_u8, 66, 68, 70].iter().enumerate() {
            frame[4 + index * 4] = *at;
        }
        // Six samples 0x00000102: the bytes 0, 0, 1, 2, each in a run of six.
        frame.extend([251, 0, 251, 0, 251, 1, 251, 2]);
        let item = Tag(0xFFFE, 0xE000);
        let size = u32::try_from(frame.len()).unwrap();
        let data = [
            fixtures::data_set(&parts, e, false),
            fixtures::head(tags::PIXEL_DATA, VR::OB, u32::MAX, e),
            fixtures::head(item, VR::UN, 0, e),
            fixtures::head(item, VR::UN, size, e),
            frame,
            fixtures::head(Tag(0xFFFE, 0xE0DD), VR::UN, 0, e),
        ]
        .concat();
        let run_length = fixtures::with_meta("1.2.840.10008.1.2.5", &data);
        let (_, dose_read) = fixtures::read(run_length, dose).unwrap().value;
        assert_eq!(dose_read.unwrap().values[[0, 1, 2]], 0.0258);
        let jpeg = fixtures::with_meta("1.2.840.10008.1.2.4.70", &data);
        let error = fixtures::read(jpeg, dose).unwrap_err();
        assert_eq!(error.code(), Code::FileEncodingUnsupported);
    }
}
