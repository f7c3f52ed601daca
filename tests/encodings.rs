//! One small case in every way of writing it down that DICOM (PS3.3, PS3.5, PS3.10) or its
//! everyday misuse allows: the numbers must not move. Bit for bit where the same decimal strings
//! and stored steps are read, else within what the change of points or steps can do.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;

use tidydose_analyse::Settings;
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, scale};
use tidydose_rt::finding::Code;

use crate::archive::{Archive, Course, Measured};
use crate::phantom::dicom::{Contour, CtImage, Encoding, Header, PlaneOffsets, Roi, Wrapping};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid, axes_turned};

const CENTRE: Point = [4.2, -3.1, 11.3];

fn target() -> Roi {
    let stack = PlaneStack::axial(1.0, 0.0);
    Roi::new(1, "PTV1", "PTV").outlining(&Solid::ball(CENTRE, 4.0), &stack, 40)
}

fn course() -> Course {
    let field = Field::fall_off(CENTRE, 20.0, 4.3, 2.5);
    let lattice = Lattice::around(CENTRE, [12.0; 3], 1.5);
    Course::new("CASE", vec![target()], (&field, &lattice), &[(1, 20.0)])
}

/// The values of the target; at least volume, doses and indices are there.
fn values(course: &Course) -> BTreeMap<String, f64> {
    let values = measured(course).values(1);
    for name in ["Volume[cc]", "D95%[Gy]", "Max[Gy]", "PaddickConformity", "PaddickGradient"] {
        assert!(values.contains_key(name), "{name} is missing: {values:?}");
    }
    values
}

fn measured(course: &Course) -> Measured {
    course.measure(&Settings::default())
}

/// All values alike within a share of each.
fn alike(a: &BTreeMap<String, f64>, b: &BTreeMap<String, f64>, share: f64) {
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, x) in a {
        assert!((x - b[name]).abs() <= share * x.abs(), "{name}: {x} and {}", b[name]);
    }
}

#[test]
fn transfer_syntax_and_wrapping_change_no_bit() {
    let plain = values(&course());
    for encoding in [Encoding::ImplicitLittle, Encoding::ExplicitBig, Encoding::Deflated] {
        let mut other = course();
        other.headers().into_iter().for_each(|h| h.encoding = encoding);
        assert_eq!(values(&other), plain, "{encoding:?}");
    }
    for wrapping in [Wrapping::NoPreamble, Wrapping::BareDataSet] {
        for encoding in [Encoding::ImplicitLittle, Encoding::ExplicitLittle, Encoding::ExplicitBig]
        {
            let mut other = course();
            other.headers().into_iter().for_each(|h| {
                h.encoding = encoding;
                h.wrapping = wrapping;
            });
            assert_eq!(values(&other), plain, "{wrapping:?} {encoding:?}");
        }
    }
}

/// Half a step of a 16-bit grid is 1/131070 of its maximum; no dose of the case lies below a
/// twentieth of that. Volumes answer with the slope: V ~ D^-1.5 or flatter, ten times is ample.
#[test]
fn sixteen_bits_are_as_good_as_their_step() {
    let mut coarse = course();
    coarse.dose.bits = 16;
    alike(&values(&coarse), &values(&course()), 10.0 * 20.0 / 131_070.0);
}

#[test]
fn the_order_of_contours_changes_no_bit() {
    let mut other = course();
    other.set.rois = vec![target().disordered()];
    assert_eq!(values(&other), values(&course()));
}

#[test]
fn a_repeated_first_point_changes_no_bit() {
    let mut other = course();
    for contour in &mut other.set.rois[0].contours {
        contour.points.push(contour.points[0]);
    }
    assert_eq!(values(&other), values(&course()));
}

/// Planes off by 1e-3 mm and two halves of one plane apart by as much: the volume of a ball of 4 mm
/// moves by at most 1e-3 mm of its height of 8 mm, and so do its doses by 1e-3 mm of slope.
#[test]
fn jitter_of_the_planes_is_rounding() {
    let mut other = course();
    other.set.rois = vec![target().jittered([0.0, 0.0, 1.0], 1e-3)];
    alike(&values(&other), &values(&course()), 1e-3);
}

/// PS3.3 C.8.8.3.2: offsets from the first plane, z of each plane, or planes from head to foot.
#[test]
fn plane_offsets_of_every_kind_are_the_same_planes() {
    let plain = values(&course());
    let mut absolute = course();
    absolute.dose.offsets = PlaneOffsets::Absolute;
    assert!(absolute.dose.lattice.origin[2] != 0.0);
    // z is written as origin + offset and read as a difference: the last bits of 20 mm.
    alike(&values(&absolute), &plain, 1e-9);
    let mut falling = course();
    let lattice = &mut falling.dose.lattice;
    let top = lattice.offsets[lattice.offsets.len() - 1];
    lattice.origin[2] += top;
    lattice.offsets = lattice.offsets.iter().map(|o| -o).collect();
    falling.dose.values.invert_axis(ndarray::Axis(0));
    lattice.offsets.sort_by(|a, b| b.total_cmp(a));
    alike(&values(&falling), &plain, 1e-9);
}

/// A square of 40 mm with a square hole of 20 mm is 1200 mm²; two planes 5 mm apart, each 5 mm
/// thick, are 12 cc by slabs.
fn ring(kind: &str, hole: impl Fn(f64) -> Vec<Vec<Point>>) -> Measured {
    let contours = [0.0, 5.0].into_iter().flat_map(hole).map(Contour::closed).collect();
    let mut roi = Roi::new(1, "PTV1", "PTV").typed(kind);
    roi.contours = contours;
    let roi = roi.typed(kind);
    let field = Field::Uniform(20.0);
    let lattice = Lattice::around([0.0, 0.0, 2.5], [30.0, 30.0, 15.0], 3.0);
    let settings = Settings { ends: tidydose_analyse::Ends::HalfSlice, ..Settings::default() };
    Course::new("RING", vec![roi], (&field, &lattice), &[(1, 10.0)]).measure(&settings)
}

fn square(half: f64, z: f64) -> Vec<Point> {
    vec![[-half, -half, z], [half, -half, z], [half, half, z], [-half, half, z]]
}

fn turned(mut ring: Vec<Point>) -> Vec<Point> {
    ring.reverse();
    ring
}

/// Areas come from a raster of whole numbers 2^30 across: good to 1e-8.
#[test]
fn a_hole_is_a_hole_however_it_is_drawn() {
    let winding = |z: f64| vec![square(20.0, z), turned(square(10.0, z))];
    let same_winding = |z: f64| vec![square(20.0, z), square(10.0, z)];
    let inner_first = |z: f64| vec![square(10.0, z), square(20.0, z)];
    let keyhole = |z: f64| {
        // Along the outer square, in along the channel, round the hole and back out.
        let mut path = square(20.0, z);
        path.push(path[0]);
        path.extend(turned(square(10.0, z)).iter().cycle().skip(3).take(5));
        path.push(square(20.0, z)[0]);
        vec![path]
    };
    let same_winding_keyhole = |z: f64| {
        let mut path = square(20.0, z);
        path.push(path[0]);
        path.extend(square(10.0, z).iter().cycle().take(5));
        path.push(square(20.0, z)[0]);
        vec![path]
    };
    for (what, measured) in [
        ("winding", ring("CLOSED_PLANAR", winding)),
        ("same winding", ring("CLOSED_PLANAR", same_winding)),
        ("inner first", ring("CLOSED_PLANAR", inner_first)),
        ("keyhole", ring("CLOSED_PLANAR", keyhole)),
        ("keyhole of one winding", ring("CLOSED_PLANAR", same_winding_keyhole)),
        ("exclusive-or", ring("CLOSEDPLANAR_XOR", same_winding)),
    ] {
        let got = measured.values(1);
        assert!((got["Volume[cc]"] - 12.0).abs() < 12.0 * 1e-6, "{what}: {}", got["Volume[cc]"]);
        assert!((got["Mean[Gy]"] - 20.0).abs() < 1e-5, "{what}");
        assert!((got["Coverage"] - 1.0).abs() < 1e-12, "{what}");
    }
}

#[test]
fn exclusive_or_takes_away_what_two_contours_share() {
    let shifted = |z: f64| square(20.0, z).into_iter().map(|p| add(p, [20.0, 0.0, 0.0])).collect();
    let pair = |z: f64| vec![square(20.0, z), shifted(z)];
    // Two squares of 1600 mm² share 800: without the shared part 1600 mm², with it 2400 mm².
    let apart = ring("CLOSEDPLANAR_XOR", pair).values(1)["Volume[cc]"];
    assert!((apart - 16.0).abs() < 16.0 * 1e-6, "{apart}");
    let united = ring("CLOSED_PLANAR", pair);
    let volume = united.values(1)["Volume[cc]"];
    assert!((volume - 24.0).abs() < 24.0 * 1e-6, "{volume}");
    assert!(united.has(Code::ContourOverlap));
}

/// A ball in a dose about its centre looks the same from every side. Planes and voxels meet it
/// elsewhere on another orientation, which the worked examples find to be worth 0.1 % of a volume
/// and of a dose at 10 mm; the shares grow with the inverse square of the radius.
#[test]
fn sagittal_and_oblique_planes_and_grids_see_the_same_ball() {
    let plain = values(&course());
    for turn in [[90.0, 0.0, 90.0], [0.0, 90.0, 0.0], [20.0, -35.0, 50.0]] {
        let [row, column, normal] = axes_turned(turn);
        let mut other = course();
        let stack = PlaneStack { normal, ..PlaneStack::axial(1.0, 0.2) };
        other.set.rois =
            vec![Roi::new(1, "PTV1", "PTV").outlining(&Solid::ball(CENTRE, 4.0), &stack, 40)];
        let lattice = Lattice::around(CENTRE, [12.0; 3], 1.5).turned(row, column);
        let field = Field::fall_off(CENTRE, 20.0, 4.3, 2.5);
        other.dose.values = field.sample(&lattice);
        other.dose.lattice = lattice;
        let got = values(&other);
        for name in ["Volume[cc]", "D95%[Gy]", "D50%[Gy]", "Mean[Gy]", "PIV[cc]", "PIV50%[cc]"] {
            let (a, b) = (plain[name], got[name]);
            assert!((a / b - 1.0).abs() < 0.01, "{turn:?} {name}: {a} and {b}");
        }
    }
}

/// Contours and dose turned together about the origin: only the last digits of decimal strings
/// and the direction of the cells differ, so values agree as well as the cells do.
#[test]
fn turning_everything_by_right_angles_changes_next_to_nothing() {
    // x -> y -> z -> x, exact in decimal strings.
    let turn = |p: Point| -> Point { [p[2], p[0], p[1]] };
    let mut other = course();
    for contour in &mut other.set.rois[0].contours {
        contour.points.iter_mut().for_each(|p| *p = turn(*p));
    }
    let l = &mut other.dose.lattice;
    (l.origin, l.row, l.column) = (turn(l.origin), turn(l.row), turn(l.column));
    // The cells are laid along other axes of the plane: the ball is cut otherwise, 0.1 % of it.
    let unmoved = |course: &Course| -> BTreeMap<String, f64> {
        // Where the centre lies is turned with everything else.
        values(course).into_iter().filter(|(name, _)| !name.starts_with("Centroid")).collect()
    };
    alike(&unmoved(&other), &unmoved(&course()), 2e-3);
    assert!(scale(turn([1.0, 0.0, 0.0]), 1.0) == [0.0, 1.0, 0.0]);
}

/// One contour of 40 mm by 40 mm on one slice of a CT with slices 2 mm apart: 3.2 cc. The spacing
/// is in the images alone, and the program must carry it to the measurement.
#[test]
fn a_single_plane_takes_its_thickness_from_the_images() {
    let mut roi = Roi::new(1, "PTV1", "PTV");
    roi.contours = vec![Contour::closed(square(20.0, 4.0))];
    let lattice = Lattice::around([0.0, 0.0, 4.0], [30.0, 30.0, 15.0], 3.0);
    let mut course =
        Course::new("SLICES", vec![roi], (&Field::Uniform(20.0), &lattice), &[(1, 10.0)]);
    let slices: Vec<CtImage> = (0..4)
        .map(|k| {
            let mut header = Header::new("SLICES", &format!("slice {k}"));
            header.series_uid = course.set.image_series_uid.clone();
            CtImage::new(header, 2.0 * f64::from(k), 2.0)
        })
        .collect();
    course.set.image_uids = slices.iter().map(|s| s.header.instance_uid.clone()).collect();
    let archive = Archive::new();
    archive.put("in/one", &course);
    for (k, slice) in slices.iter().enumerate() {
        archive.add(&format!("in/{k}"), &slice.bytes().unwrap());
    }
    let output = assert_cmd::Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(archive.path())
        .args(["measure", "in", "--ends", "half_slice", "--quiet"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let table = |name: &str| -> Vec<BTreeMap<String, String>> {
        let path = archive.path().join(format!("study/tables/{name}.csv"));
        csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
    };
    let metrics = table("metrics");
    let row = metrics.iter().find(|row| row["metric"] == "Volume[cc]").unwrap();
    let volume: f64 = row["value"].parse().unwrap_or_else(|_| panic!("{row:?}"));
    assert!((volume - 3.2).abs() < 3.2 * 1e-6, "{volume}");
    // What is said of a file names a file of the inventory.
    let files: Vec<String> = table("files").into_iter().map(|row| row["file_id"].clone()).collect();
    let findings = table("findings");
    for row in findings.iter().filter(|row| !row["file_id"].is_empty()) {
        assert!(files.contains(&row["file_id"]), "{row:?}");
    }
    assert_eq!(files.len(), 7);
    let library = Measured::of(&archive.path().join("in"), &Settings::default());
    assert!(library.has(Code::PlaneSingle) && library.metrics(1)["Volume[cc]"].value.is_some());
}
