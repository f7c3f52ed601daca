//! Rows 1 to 45: contours and structures (PS3.3 C.8.8.5, C.8.8.6, C.8.8.8).

use tidydose_geometry::Point;
use tidydose_metrics::Status;
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;

use super::Change::{Course as C, Files as F};
use super::Effect::{File, Near, NoDose, NoVolume, Same, Volume};
use super::{Files, PLANES, Row, doubtful_object, doubtful_structure, row, square};
use crate::archive::Course;
use crate::phantom::dicom::{Contour, CtImage, Header, Tag, raw, tags};

fn contours(course: &mut Course) -> &mut Vec<Contour> {
    &mut course.set.rois[0].contours
}

/// Each plane drawn anew.
fn redrawn(course: &mut Course, rings: impl Fn(f64) -> Vec<Vec<Point>>) {
    *contours(course) = PLANES.into_iter().flat_map(rings).map(Contour::closed).collect();
}

fn typed(course: &mut Course, kind: &str) {
    contours(course).iter_mut().for_each(|c| c.geometric_type = kind.into());
}

fn moved(course: &mut Course, how: impl Fn(Point) -> Point) {
    contours(course).iter_mut().flat_map(|c| &mut c.points).for_each(|p| *p = how(*p));
}

/// In along a channel, round the hole against the sense of the outline, and back.
fn keyhole(z: f64) -> Vec<Vec<Point>> {
    let (outer, mut inner) = (square(10.0, z), square(5.0, z));
    inner[1..].reverse();
    let path = [&outer[..], &outer[..1], &inner[..], &inner[..1]].concat();
    vec![path]
}

/// The same, round the hole in the sense of the outline.
fn winding_keyhole(z: f64) -> Vec<Vec<Point>> {
    let (outer, inner) = (square(10.0, z), square(5.0, z));
    let path = [&outer[..], &outer[..1], &inner[..], &inner[..1]].concat();
    vec![path]
}

fn shifted(ring: Vec<Point>, x: f64) -> Vec<Point> {
    ring.into_iter().map(|[a, b, c]| [a + x, b, c]).collect()
}

/// Half a degree about x: the planes are no longer those of the patient's axes.
fn tilted([x, y, z]: Point) -> Point {
    let (sin, cos) = 0.5_f64.to_radians().sin_cos();
    [x, y * cos - z * sin, y * sin + z * cos]
}

fn set(files: &mut Files) -> &mut Vec<u8> {
    files.get_mut("structures.dcm").unwrap()
}

/// Adds a series to which the structures refer, its slices so far above the contour planes.
pub(super) fn images(files: &mut Files, above: f64, date: &str) {
    let mut course = super::course();
    for (k, z) in PLANES.into_iter().enumerate() {
        let mut header = Header::new(super::PATIENT, &format!("slice {k}"));
        header.series_uid.clone_from(&course.set.image_series_uid);
        header.date = date.into();
        course.set.image_uids.push(header.instance_uid.clone());
        let slice = CtImage::new(header, z + above, 2.0);
        files.insert(format!("slice {k}.dcm"), slice.bytes().unwrap());
    }
    *set(files) = course.set.bytes().unwrap();
}

/// The first square with `n` points on each side, as the text of Contour Data.
fn many_points(n: i32) -> String {
    let corners = square(10.0, 0.0);
    let ring = corners.iter().zip(corners.iter().cycle().skip(1));
    let points = ring.flat_map(|(p, q)| {
        let (p, q) = (*p, *q);
        (0..n).map(move |i| [0, 1, 2].map(|x| p[x] + (q[x] - p[x]) * f64::from(i) / f64::from(n)))
    });
    let texts: Vec<String> =
        points.map(|p| format!("{:.3}\\{:.3}\\{:.1}", p[0], p[1], p[2])).collect();
    let text = texts.join("\\");
    if text.len() % 2 == 1 { text + " " } else { text }
}

fn with_long_contour(files: &mut Files, head: impl Fn(&[u8]) -> Vec<u8>) {
    let text = many_points(1000);
    assert!(text.len() > 65_535, "{}", text.len());
    let bytes = set(files);
    raw::replace(bytes, tags::CONTOUR_DATA, &head(text.as_bytes()));
    raw::set(bytes, tags::NUMBER_OF_CONTOUR_POINTS, b"IS", "4000");
}

const EXCLUDED: super::Effect = NoVolume(Status::Excluded);

pub const TABLES: &[&[Row]] = &[DRAWN, SPACED, STRUCTURES];

const DRAWN: &[Row] = &[
    row(1, "keyhole", C(|c| redrawn(c, keyhole)), None, Volume(3.0)),
    doubtful_structure(
        1,
        "keyhole of one winding",
        C(|c| redrawn(c, winding_keyhole)),
        Code::ContourCrossing,
        Volume(3.0),
    ),
    row(
        2,
        "CLOSEDPLANAR_XOR with a hole",
        C(|c| {
            redrawn(c, |z| vec![square(5.0, z), square(10.0, z)]);
            typed(c, "CLOSEDPLANAR_XOR");
        }),
        None,
        Volume(3.0),
    ),
    row(
        3,
        "a plain contour inside another",
        C(|c| {
            redrawn(c, |z| vec![square(10.0, z), square(5.0, z)]);
        }),
        Some(Code::ContourNested),
        Volume(3.0),
    ),
    doubtful_structure(
        4,
        "the same contour twice",
        C(|c| {
            redrawn(c, |z| {
                let mut other = square(10.0, z);
                other.rotate_left(1);
                other.reverse();
                vec![square(10.0, z), other]
            });
        }),
        Code::ContourDuplicate,
        Same,
    ),
    doubtful_structure(
        5,
        "contours that overlap partly",
        C(|c| {
            redrawn(c, |z| vec![square(10.0, z), shifted(square(10.0, z), 10.0)]);
        }),
        Code::ContourOverlap,
        Volume(6.0),
    ),
    doubtful_structure(
        5,
        "exclusive-or contours that overlap partly",
        C(|c| {
            redrawn(c, |z| vec![square(10.0, z), shifted(square(10.0, z), 15.0)]);
            typed(c, "CLOSEDPLANAR_XOR");
        }),
        Code::ContourOverlap,
        Volume(6.0),
    ),
    row(
        6,
        "exclusive-or and plain contours mixed",
        C(|c| {
            contours(c)[1].geometric_type = "CLOSEDPLANAR_XOR".into();
        }),
        Some(Code::ContourXorMixed),
        EXCLUDED,
    ),
    row(
        7,
        "first point repeated as last",
        C(|c| {
            contours(c).iter_mut().for_each(|c| c.points.push(c.points[0]));
        }),
        None,
        Same,
    ),
    row(
        8,
        "every point twice",
        C(|c| {
            contours(c).iter_mut().for_each(|c| {
                c.points = c.points.iter().flat_map(|p| [*p, *p]).collect();
            });
        }),
        None,
        Same,
    ),
    row(
        9,
        "a closed contour of two points",
        C(|c| {
            contours(c).push(Contour::closed(square(3.0, 4.0)[..2].to_vec()));
        }),
        Some(Code::ContourDegenerate),
        Same,
    ),
    row(
        10,
        "a closed contour of points on a line",
        C(|c| {
            let line = vec![[0.0, 0.0, 4.0], [2.0, 2.0, 4.0], [5.0, 5.0, 4.0]];
            contours(c).push(Contour::closed(line));
        }),
        Some(Code::ContourDegenerate),
        Same,
    ),
    doubtful_structure(
        11,
        "a micro-contour beside the outline",
        C(|c| {
            redrawn(c, |z| vec![square(10.0, z), shifted(square(0.25, z), 12.0)]);
        }),
        Code::ContourTiny,
        Volume(4.0025),
    ),
    doubtful_structure(
        12,
        "a bow-tie",
        C(|c| {
            redrawn(c, |z| {
                vec![vec![[-10.0, -10.0, z], [10.0, 10.0, z], [10.0, -10.0, z], [-10.0, 10.0, z]]]
            })
        }),
        Code::ContourCrossing,
        Volume(2.0),
    ),
    row(
        13,
        "a stroke out and back",
        C(|c| {
            contours(c).iter_mut().for_each(|c| {
                let z = c.points[0][2];
                let spike = [[10.0, 0.0, z], [15.0, 0.0, z], [10.0, 0.0, z]];
                c.points.splice(2..2, spike);
            })
        }),
        None,
        Same,
    ),
    doubtful_structure(
        14,
        "a point off its plane",
        C(|c| {
            contours(c)[2].points[1][2] += 0.3;
        }),
        Code::ContourNotPlanar,
        Near(0.01),
    ),
    row(
        14,
        "a point far off its plane",
        C(|c| {
            contours(c)[2].points[1][2] += 1.5;
        }),
        Some(Code::ContourRefused),
        EXCLUDED,
    ),
    row(
        15,
        "OPEN_PLANAR for a region",
        C(|c| typed(c, "OPEN_PLANAR")),
        None,
        NoVolume(Status::NotApplicable),
    ),
    row(
        16,
        "OPEN_NONPLANAR beside a region",
        C(|c| {
            let line = vec![[0.0, 0.0, 0.0], [1.0, 2.0, 3.0], [4.0, 4.0, 9.0]];
            let mut line = Contour::closed(line);
            line.geometric_type = "OPEN_NONPLANAR".into();
            contours(c).push(line);
        }),
        Some(Code::ContourOpen),
        Same,
    ),
    row(
        17,
        "a POINT beside a region",
        C(|c| {
            let mut point = Contour::closed(vec![[0.0, 0.0, 4.0]]);
            point.geometric_type = "POINT".into();
            contours(c).push(point);
        }),
        Some(Code::ContourOpen),
        Same,
    ),
    row(
        18,
        "a structure without contours",
        C(|c| contours(c).clear()),
        Some(Code::RoiWithoutContours),
        NoVolume(Status::Empty),
    ),
    row(
        19,
        "Number of Contour Points off by one",
        C(|c| {
            c.set.rois[0] = c.set.rois[0].clone().miscounted(1);
        }),
        Some(Code::ContourRefused),
        EXCLUDED,
    ),
];

const SPACED: &[Row] = &[
    row(
        20,
        "contours beside images that are not there",
        C(|c| {
            c.set.image_uids = vec!["2.25.77".into()];
            moved(c, |[x, y, z]| [x, y, z + 0.37]);
        }),
        None,
        Volume(4.0),
    ),
    doubtful_structure(
        20,
        "contours between the image planes",
        F(|files| images(files, 0.37, "20200102")),
        Code::PlaneBetweenImages,
        Same,
    ),
    row(20, "contours on the image planes", F(|files| images(files, 0.0, "20200102")), None, Same),
    row(21, "no Contour Image Sequence", C(|_| {}), None, Same),
    row(
        22,
        "contours in no order",
        C(|c| {
            c.set.rois[0] = c.set.rois[0].clone().disordered();
        }),
        None,
        Same,
    ),
    doubtful_structure(
        23,
        "a missing plane",
        C(|c| drop(contours(c).remove(2))),
        Code::PlaneGap,
        Same,
    ),
    row(
        24,
        "uneven planes",
        C(|c| {
            moved(c, |[x, y, z]| [x, y, if z > 3.0 { z + 0.5 } else { z }]);
            moved(c, |[x, y, z]| [x, y, if z > 6.0 { z + 0.5 } else { z }]);
        }),
        Some(Code::PlaneSpacingUneven),
        Volume(4.4),
    ),
    doubtful_structure(
        25,
        "two planes, both of them ends",
        C(|c| contours(c).truncate(2)),
        Code::PlanesFew,
        Volume(1.6),
    ),
    row(
        26,
        "one plane of unknown thickness",
        C(|c| contours(c).truncate(1)),
        Some(Code::PlaneSingle),
        NoVolume(Status::BelowResolution),
    ),
    row(27, "sagittal planes", C(|c| moved(c, |[x, y, z]| [z - 4.0, x, y + 4.0])), None, Same),
    row(
        28,
        "planes of two orientations",
        C(|c| {
            let turned = |p: &Point| [p[2], p[0], p[1]];
            let sagittal = square(10.0, 2.0).iter().map(turned).collect();
            contours(c).push(Contour::closed(sagittal));
        }),
        Some(Code::RoiOrientationMixed),
        EXCLUDED,
    ),
    row(29, "planes tilted by half a degree", C(|c| moved(c, tilted)), None, Volume(4.0)),
    row(
        30,
        "halves of a plane 0.001 mm apart",
        C(|c| {
            redrawn(c, |z| {
                let half = |x: f64, z: f64| {
                    vec![[x, -10.0, z], [x + 10.0, -10.0, z], [x + 10.0, 10.0, z], [x, 10.0, z]]
                };
                vec![half(-10.0, z), half(0.0, z + 1e-3)]
            })
        }),
        None,
        Near(1e-3),
    ),
    row(
        31,
        "contours beyond image and dose",
        C(|c| moved(c, |[x, y, z]| [x + 500.0, y, z])),
        Some(Code::GridMissesStructure),
        NoDose(Status::OutsideGrid),
    ),
    doubtful_structure(
        32,
        "contours partly outside the dose grid",
        C(|c| {
            moved(c, |[x, y, z]| [x + 15.0, y, z]);
        }),
        Code::GridMissesPart,
        Volume(4.0),
    ),
    row(
        33,
        "a structure smaller than a voxel",
        C(|c| moved(c, |[x, y, z]| [x / 20.0, y / 20.0, z / 4.0])),
        None,
        Volume(0.0025),
    ),
];

const STRUCTURES: &[Row] = &[
    doubtful_structure(
        34,
        "two structures of one name",
        C(|c| {
            let mut other = c.set.rois[0].clone();
            other.number = 2;
            c.set.rois.push(other);
        }),
        Code::RoiNameRepeated,
        Same,
    ),
    row(
        36,
        "ROI Numbers 0 and below, with gaps",
        C(|c| {
            for (number, name, size) in
                [(0, "Trachea", 0.9), (-3, "Tongue", 0.8), (400, "Lips", 0.7)]
            {
                let mut other = c.set.rois[0].clone().typed("CLOSED_PLANAR");
                for [x, y, _] in other.contours.iter_mut().flat_map(|c| &mut c.points) {
                    (*x, *y) = (*x * size, *y * size);
                }
                (other.number, other.name) = (number, name.into());
                other.interpreted_type = "ORGAN".into();
                c.set.rois.insert(0, other);
            }
        }),
        None,
        Same,
    ),
    row(
        37,
        "contours of a number that is not listed",
        F(|files| {
            raw::set(set(files), tags::REFERENCED_ROI_NUMBER, b"IS", "9");
        }),
        Some(Code::RoiUnmatched),
        NoVolume(Status::Empty),
    ),
    doubtful_structure(
        39,
        "a stated volume that is not the computed one",
        F(|files| {
            let volume = raw::element(tags::ROI_VOLUME, b"DS", b"54.8");
            raw::insert(set(files), tags::ROI_GENERATION_ALGORITHM, &volume);
        }),
        Code::VolumeDiffers,
        Same,
    ),
    doubtful_object(
        40,
        "Contour Slab Thickness and Offset Vector, both retired",
        F(|files| {
            let offset = raw::element(Tag(0x3006, 0x0045), b"DS", b"0\\0\\1 ");
            raw::insert(set(files), tags::NUMBER_OF_CONTOUR_POINTS, &offset);
            let slab = raw::element(Tag(0x3006, 0x0044), b"DS", b"5 ");
            raw::insert(set(files), Tag(0x3006, 0x0045), &slab);
        }),
        Code::AttributeDoubtful,
        Same,
    ),
    row(
        41,
        "coordinates of more than 16 characters",
        F(|files| {
            let text = "-10.000000000000000000\\-10.0\\0\\10.0000000000000000000000\\-10\\0\\10\\10\\0\
                        \\-10.00\\10\\0.0000000000000000000";
            raw::set(set(files), tags::CONTOUR_DATA, b"DS", text);
        }),
        Some(Code::NumberOverlong),
        Same,
    ),
    row(
        42,
        "Contour Data beyond 64 KiB, as UN",
        F(|files| {
            with_long_contour(files, |text| raw::element(tags::CONTOUR_DATA, b"UN", text));
        }),
        Some(Code::UnknownRepresentation),
        Same,
    ),
    row(
        43,
        "Contour Data beyond 64 KiB, its length cut to 16 bits",
        F(|files| {
            with_long_contour(files, |text| raw::element(tags::CONTOUR_DATA, b"DS", text));
        }),
        Some(Code::FileDamaged),
        File("structures.dcm", FileStatus::Refused),
    ),
    row(
        44,
        "the steps of voxels",
        C(|c| {
            redrawn(c, |z| {
                vec![
                    [
                        [-8.0, -10.0],
                        [8.0, -10.0],
                        [8.0, -8.0],
                        [10.0, -8.0],
                        [10.0, 8.0],
                        [8.0, 8.0],
                        [8.0, 10.0],
                        [-8.0, 10.0],
                        [-8.0, 8.0],
                        [-10.0, 8.0],
                        [-10.0, -8.0],
                        [-8.0, -8.0],
                    ]
                    .map(|[x, y]| [x, y, z])
                    .to_vec(),
                ]
            })
        }),
        Some(Code::OutlineFromPixels),
        Volume(3.84),
    ),
    row(
        45,
        "contours off by half a voxel, which one object cannot show",
        C(|c| {
            moved(c, |[x, y, z]| [x + 1.5, y + 1.5, z]);
        }),
        None,
        Volume(4.0),
    ),
];
