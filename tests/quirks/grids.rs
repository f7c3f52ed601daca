//! Rows 57 to 81: the dose grid as it is stored (PS3.3 C.8.8.3, C.7.6.3), and the histograms beside it
//! (C.8.8.4).

use tidydose_geometry::Point;
use tidydose_metrics::Status;
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use super::Change::{Course as C, Files as F};
use super::Effect::{File, NoDose, Same};
use super::{Files, Row, doubtful_object, doubtful_structure, field, row};
use crate::archive::Course;
use crate::phantom::dicom::{Dvh, PlaneOffsets, Tag, raw, tags};
use crate::phantom::field::Lattice;

fn dose(files: &mut Files) -> &mut Vec<u8> {
    files.get_mut("dose.dcm").unwrap()
}

/// Adds a stored histogram of the box, 4 cc with a mean of 20 Gy.
fn stored(course: &mut Course, kind: &str, scaling: f64, data: Vec<[f64; 2]>, mean: Option<f64>) {
    course.dose.structure_set_uid.clone_from(&course.set.header.instance_uid);
    course.dose.dvhs = vec![Dvh { roi: 1, kind: kind.into(), scaling, data, mean }];
}

fn sampled(course: &mut Course, lattice: Lattice) {
    course.dose.values = field().sample(&lattice);
    course.dose.lattice = lattice;
}

fn turned(course: &mut Course, row: Point, column: Point) {
    let lattice = Lattice::around([0.0, 0.0, 4.0], [18.0; 3], 3.0).turned(row, column);
    sampled(course, lattice);
}

/// Run-length encoded frames (PS3.5 annex G) of 32-bit samples, most significant byte first, in
/// literal runs.
fn run_length_encoded(files: &mut Files) {
    let bytes = dose(files);
    let frame = usize::from(u16::from_le_bytes(raw::value(bytes, tags::ROWS).try_into().unwrap()))
        * usize::from(u16::from_le_bytes(raw::value(bytes, tags::COLUMNS).try_into().unwrap()));
    let samples = raw::value(bytes, tags::PIXEL_DATA);
    let item = Tag(0xFFFE, 0xE000);
    let mut fragments = raw::head(tags::PIXEL_DATA, b"OB", u32::MAX);
    let add = |fragments: &mut Vec<u8>, tag: Tag, value: &[u8]| {
        fragments.extend(tag.group().to_le_bytes());
        fragments.extend(tag.element().to_le_bytes());
        fragments.extend((value.len() as u32).to_le_bytes());
        fragments.extend(value);
    };
    add(&mut fragments, item, &[]);
    for stored in samples.chunks(frame * 4) {
        let segments = (0..4).rev().map(|byte| {
            let plane: Vec<u8> = stored.iter().skip(byte).step_by(4).copied().collect();
            let runs = plane.chunks(128);
            runs.flat_map(|run| [&[(run.len() - 1) as u8], run].concat()).collect::<Vec<u8>>()
        });
        let segments: Vec<Vec<u8>> = segments.collect();
        let mut value = 4_u32.to_le_bytes().to_vec();
        let mut at = 64;
        for segment in &segments {
            value.extend((at as u32).to_le_bytes());
            at += segment.len();
        }
        value.resize(64, 0);
        value.extend(segments.concat());
        value.resize(value.len().next_multiple_of(2), 0);
        add(&mut fragments, item, &value);
    }
    add(&mut fragments, Tag(0xFFFE, 0xE0DD), &[]);
    raw::replace(bytes, tags::PIXEL_DATA, &fragments);
    // As long as that of explicit little endian, so that the meta group keeps its length.
    raw::set(bytes, tags::TRANSFER_SYNTAX_UID, b"UI", "1.2.840.10008.1.2.5");
}

fn without(files: &mut Files, tag: Tag) {
    raw::take(dose(files), tag);
}

fn short(files: &mut Files, tag: Tag, value: u16) {
    raw::replace(dose(files), tag, &raw::element(tag, b"US", &value.to_le_bytes()));
}

pub const TABLES: &[&[Row]] = &[PLACES, SAMPLES];

const REFUSED: super::Effect = File("dose.dcm", FileStatus::Refused);

const PLACES: &[Row] = &[
    row(
        57,
        "plane offsets as z coordinates",
        C(|c| {
            c.dose.offsets = PlaneOffsets::Absolute;
        }),
        None,
        Same,
    ),
    row(
        58,
        "planes from head to foot",
        C(|c| {
            let mut lattice = c.dose.lattice.clone();
            lattice.origin[2] += lattice.offsets[lattice.offsets.len() - 1];
            lattice.offsets.iter_mut().for_each(|o| *o = -*o);
            sampled(c, lattice);
        }),
        None,
        Same,
    ),
    row(
        59,
        "uneven planes",
        C(|c| {
            let mut lattice = c.dose.lattice.clone();
            lattice.offsets[3] += 1.0;
            sampled(c, lattice);
        }),
        Some(Code::DosePlanesUneven),
        Same,
    ),
    doubtful_object(
        60,
        "a single plane with many offsets",
        F(|files| {
            let bytes = dose(files);
            let whole = raw::value(bytes, tags::PIXEL_DATA);
            let plane = &whole[..whole.len() / 14];
            raw::replace(bytes, tags::PIXEL_DATA, &raw::element(tags::PIXEL_DATA, b"OW", plane));
            raw::set(bytes, tags::NUMBER_OF_FRAMES, b"IS", "1");
        }),
        Code::DoseGridRepaired,
        NoDose(Status::OutsideGrid),
    ),
    row(
        61,
        "no Grid Frame Offset Vector",
        F(|files| {
            without(files, tags::GRID_FRAME_OFFSET_VECTOR);
        }),
        Some(Code::DoseGridInvalid),
        REFUSED,
    ),
    doubtful_object(
        62,
        "no Frame Increment Pointer",
        F(|files| {
            without(files, tags::FRAME_INCREMENT_POINTER);
        }),
        Code::DoseGridRepaired,
        Same,
    ),
    doubtful_object(
        62,
        "Frame Increment Pointer to something else",
        F(|files| {
            let value = raw::element(tags::FRAME_INCREMENT_POINTER, b"AT", &[0x18, 0, 0x63, 0x10]);
            raw::replace(dose(files), tags::FRAME_INCREMENT_POINTER, &value);
        }),
        Code::DoseGridRepaired,
        Same,
    ),
    doubtful_object(
        63,
        "no Number of Frames",
        F(|files| {
            without(files, tags::NUMBER_OF_FRAMES);
        }),
        Code::DoseGridRepaired,
        Same,
    ),
    doubtful_object(
        64,
        "Number of Frames that is no number",
        F(|files| {
            raw::set(dose(files), tags::NUMBER_OF_FRAMES, b"IS", "1A");
        }),
        Code::DoseGridRepaired,
        Same,
    ),
    row(
        72,
        "rows and columns of unequal spacing",
        C(|c| {
            let mut lattice = c.dose.lattice.clone();
            lattice.spacing = [3.0, 2.0];
            lattice.columns = 19;
            sampled(c, lattice);
        }),
        None,
        Same,
    ),
    row(73, "sagittal planes", C(|c| turned(c, [0.0, 1.0, 0.0], [0.0, 0.0, 1.0])), None, Same),
    row(
        74,
        "a patient lying prone",
        C(|c| turned(c, [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0])),
        None,
        Same,
    ),
    doubtful_object(
        75,
        "direction cosines that are not quite of length one",
        F(|files| {
            let text = "0.9999\\0\\0\\0\\0.9999\\0";
            raw::set(dose(files), tags::IMAGE_ORIENTATION_PATIENT, b"DS", text);
        }),
        Code::DoseGridRepaired,
        Same,
    ),
    row(
        75,
        "direction cosines of no meaning",
        F(|files| {
            raw::set(dose(files), tags::IMAGE_ORIENTATION_PATIENT, b"DS", "1\\0\\0\\1\\0\\0");
        }),
        Some(Code::DoseGridInvalid),
        REFUSED,
    ),
];

const SAMPLES: &[Row] = &[
    row(
        65,
        "bytes behind the last voxel",
        F(|files| {
            let bytes = dose(files);
            let mut value = raw::value(bytes, tags::PIXEL_DATA);
            value.extend([7; 10]);
            raw::replace(bytes, tags::PIXEL_DATA, &raw::element(tags::PIXEL_DATA, b"OW", &value));
        }),
        Some(Code::DosePixelsPadded),
        Same,
    ),
    row(
        66,
        "fewer voxels than declared",
        F(|files| {
            let bytes = dose(files);
            let value = raw::value(bytes, tags::PIXEL_DATA);
            let short = raw::element(tags::PIXEL_DATA, b"OW", &value[..value.len() - 8]);
            raw::replace(bytes, tags::PIXEL_DATA, &short);
        }),
        Some(Code::DosePixelsShort),
        REFUSED,
    ),
    row(
        67,
        "samples of eight bits",
        F(|files| short(files, tags::BITS_ALLOCATED, 8)),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    row(
        67,
        "32 bits allocated, 24 stored, more used",
        F(|files| {
            short(files, tags::BITS_STORED, 24);
            short(files, tags::HIGH_BIT, 23);
        }),
        Some(Code::DoseGridInvalid),
        REFUSED,
    ),
    doubtful_object(
        67,
        "32 bits allocated, 30 stored and no more used",
        F(|files| {
            let bytes = dose(files);
            let mut value = raw::value(bytes, tags::PIXEL_DATA);
            let (words, _) = value.as_chunks_mut::<4>();
            words.iter_mut().for_each(|w| *w = (u32::from_le_bytes(*w) / 4).to_le_bytes());
            raw::replace(bytes, tags::PIXEL_DATA, &raw::element(tags::PIXEL_DATA, b"OW", &value));
            let text = String::from_utf8(raw::value(bytes, tags::DOSE_GRID_SCALING)).unwrap();
            let scaling = 4.0 * text.trim().parse::<f64>().unwrap();
            raw::set(bytes, tags::DOSE_GRID_SCALING, b"DS", &format!("{scaling:.9e}"));
            short(files, tags::BITS_STORED, 30);
            short(files, tags::HIGH_BIT, 29);
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        67,
        "samples that do not begin at the lowest bit",
        F(|files| {
            short(files, tags::BITS_STORED, 24);
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    doubtful_object(
        68,
        "steps of 0.1 Gy",
        C(|c| c.dose.scaling = Some(0.1)),
        Code::DoseStepCoarse,
        super::Effect::Volume(4.0),
    ),
    doubtful_object(
        69,
        "signed samples, none below zero",
        F(|files| {
            short(files, tags::PIXEL_REPRESENTATION, 1);
            let bytes = dose(files);
            let mut value = raw::value(bytes, tags::PIXEL_DATA);
            let (words, _) = value.as_chunks_mut::<4>();
            words.iter_mut().for_each(|w| *w = (u32::from_le_bytes(*w) / 2).to_le_bytes());
            raw::replace(bytes, tags::PIXEL_DATA, &raw::element(tags::PIXEL_DATA, b"OW", &value));
            let text = String::from_utf8(raw::value(bytes, tags::DOSE_GRID_SCALING)).unwrap();
            let scaling = 2.0 * text.trim().parse::<f64>().unwrap();
            raw::set(bytes, tags::DOSE_GRID_SCALING, b"DS", &format!("{scaling:.9e}"));
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        69,
        "signed samples below zero",
        F(|files| {
            short(files, tags::PIXEL_REPRESENTATION, 1);
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    row(
        70,
        "Dose Grid Scaling of zero",
        F(|files| {
            raw::set(dose(files), tags::DOSE_GRID_SCALING, b"DS", "0");
        }),
        Some(Code::AttributeInvalid),
        REFUSED,
    ),
    row(
        70,
        "Dose Grid Scaling that is not there",
        F(|files| {
            without(files, tags::DOSE_GRID_SCALING);
        }),
        Some(Code::AttributeMissing),
        REFUSED,
    ),
    doubtful_object(
        71,
        "Rescale Slope",
        F(|files| {
            let slope = raw::element(tags::RESCALE_SLOPE, b"DS", b"2 ");
            raw::insert(dose(files), tags::DOSE_UNITS, &slope);
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(78, "run-length encoding", F(run_length_encoded), None, Same),
    row(
        78,
        "compression that is not read",
        F(|files| {
            run_length_encoded(files);
            raw::set(dose(files), tags::TRANSFER_SYNTAX_UID, b"UI", "1.2.840.10008.1.2.4");
        }),
        Some(Code::FileEncodingUnsupported),
        REFUSED,
    ),
    row(
        79,
        "no pixel data",
        F(|files| without(files, tags::PIXEL_DATA)),
        Some(Code::DoseWithoutGrid),
        File("dose.dcm", FileStatus::Read),
    ),
    doubtful_structure(
        80,
        "a stored histogram of another volume",
        C(|c| stored(c, "DIFFERENTIAL", 1.0, vec![[19.5, 0.0], [1.0, 5.0]], None)),
        Code::DvhDiffers,
        Same,
    ),
    doubtful_structure(
        80,
        "a stored histogram of another dose",
        C(|c| stored(c, "DIFFERENTIAL", 1.0, vec![[39.5, 0.0], [1.0, 4.0]], None)),
        Code::DvhDiffers,
        Same,
    ),
    doubtful_structure(
        80,
        "another mean dose beside a histogram",
        C(|c| stored(c, "CUMULATIVE", 1.0, vec![[0.5, 4.0]; 40], Some(24.0))),
        Code::DvhDiffers,
        Same,
    ),
    row(
        81,
        "a cumulative histogram",
        C(|c| stored(c, "CUMULATIVE", 1.0, vec![[0.5, 4.0]; 40], None)),
        None,
        Same,
    ),
    row(
        81,
        "bins of different widths in hundredths of a gray",
        C(|c| stored(c, "DIFFERENTIAL", 0.01, vec![[1500.0, 0.0], [1000.0, 4.0]], None)),
        None,
        Same,
    ),
    row(
        81,
        "a natural histogram, which is left",
        C(|c| stored(c, "NATURAL", 1.0, vec![[1.0, 9.0]], None)),
        None,
        Same,
    ),
    row(
        81,
        "half a pair, which is left",
        F(|files| {
            let mut course = super::course();
            stored(&mut course, "DIFFERENTIAL", 1.0, vec![[1.0, 9.0]], None);
            *dose(files) = course.dose.bytes().unwrap();
            raw::set(dose(files), tags::DVH_DATA, b"DS", "1\\9\\1 ");
        }),
        None,
        Same,
    ),
];
