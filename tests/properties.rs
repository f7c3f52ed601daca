//! What must hold for any structure in any dose, in memory: values do not depend on where the
//! patient lies or on how contours are written down, parts add up, a finer grid is nearer to the
//! truth, and a histogram is a histogram.
//!
//! Tolerances. The cells are laid on a raster of their own, so that moving or turning everything
//! cuts a ball otherwise: with cells of R/18 a volume or a dose moves by less than 0.1 %, found
//! with closed forms in `truth` and `worked_examples`; 0.2 % is asked for here.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;

use tidydose_analyse::{Ends, Settings, analyse, structure};
use tidydose_dose::{DoseField, Dvh, Interpolation, sample};
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, dot};
use tidydose_geometry::smooth::Variant;
use tidydose_metrics as metrics;
use tidydose_rt::finding::Subject;
use tidydose_rt::{Contour, StructureSet};

use crate::phantom::closed_form::{Radial, RadialBall};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid, axes_turned};
use crate::truth::bench::{Setup, placement};

const LIST: [&str; 8] = [
    "Volume[cc]",
    "Mean[Gy]",
    "D98%[Gy]",
    "D50%[Gy]",
    "D2%[Gy]",
    "V12Gy[cc]",
    "PIV[cc]",
    "Coverage",
];

fn settings() -> Settings {
    let metrics = LIST.iter().map(|name| metrics::parse(name).unwrap()).collect();
    Settings { metrics, ..Settings::default() }
}

/// An ellipsoid in a Gaussian dose of three widths off its centre: no symmetry to lean on.
fn setup() -> Setup {
    let centre = placement(7);
    let solid = Solid::ellipsoid(centre, [5.0, 4.0, 3.5]);
    let field = Field::Gaussian {
        centre: add(centre, [1.0, -0.5, 0.7]),
        axes: axes_turned([25.0, 40.0, -15.0]),
        peak: 30.0,
        widths: [5.0, 6.0, 7.0],
    };
    let mut setup = Setup::new(solid, field, 12.0);
    setup.prescription_gy = Some(18.0);
    setup.settings = settings();
    setup
}

fn values(setup: &Setup, set: &StructureSet, lattice: &Lattice) -> BTreeMap<String, f64> {
    // The voxel values are those of the untouched frame; only their place is another.
    let mut dose = setup.dose();
    let l = lattice;
    let shape = [l.rows, l.columns];
    dose.grid = tidydose_geometry::Grid::new(
        l.origin,
        [l.row, l.column],
        l.spacing,
        l.offsets.clone(),
        shape,
    )
    .unwrap();
    let analysis = analyse(&setup.case(), Some(set), Some(dose), &setup.settings);
    let rows = analysis.measurements.into_iter();
    let values: BTreeMap<_, _> = rows.map(|m| (m.metric, m.outcome.value.unwrap())).collect();
    assert_eq!(values.len(), LIST.len());
    values
}

fn alike(a: &BTreeMap<String, f64>, b: &BTreeMap<String, f64>, share: f64, what: &str) {
    for (name, x) in a {
        assert!((x - b[name]).abs() <= share * x.abs(), "{what} {name}: {x} and {}", b[name]);
    }
}

fn changed(set: &StructureSet, how: impl Fn(&mut Vec<Contour>)) -> StructureSet {
    let mut set = set.clone();
    set.rois.iter_mut().for_each(|roi| how(&mut roi.contours));
    set
}

fn moved(set: &StructureSet, how: impl Fn(Point) -> Point) -> StructureSet {
    changed(set, |contours| {
        contours.iter_mut().flat_map(|c| &mut c.points).for_each(|p| *p = how(*p));
    })
}

#[test]
fn moving_the_whole_frame_moves_no_value() {
    let setup = setup();
    let set = setup.structure_set();
    let plain = values(&setup, &set, &setup.lattice);
    for by in [[0.37, -0.21, 0.73], [-150.2, 310.4, -761.87], [0.0, 0.0, 1e4 / 3.0]] {
        let lattice = setup.lattice.shifted(by);
        let got = values(&setup, &moved(&set, |p| add(p, by)), &lattice);
        alike(&plain, &got, 2e-3, &format!("{by:?}"));
    }
}

#[test]
fn turning_the_whole_frame_turns_no_value() {
    let setup = setup();
    let set = setup.structure_set();
    let plain = values(&setup, &set, &setup.lattice);
    for degrees in [[90.0, 0.0, 0.0], [0.0, 180.0, 0.0], [31.0, -17.0, 64.0]] {
        let axes = axes_turned(degrees);
        let turn = |p: Point| [0, 1, 2].map(|i| dot(p, [axes[0][i], axes[1][i], axes[2][i]]));
        let mut lattice = setup.lattice.clone();
        for part in [&mut lattice.origin, &mut lattice.row, &mut lattice.column] {
            *part = turn(*part);
        }
        alike(&plain, &values(&setup, &moved(&set, turn), &lattice), 2e-3, &format!("{degrees:?}"));
    }
}

/// Order, sense and start of the contours are the exporter's whim: no bit may depend on the order
/// of contours, nothing beyond rounding on the order of points.
#[test]
fn the_way_contours_are_written_changes_nothing() {
    let setup = setup();
    let set = setup.structure_set();
    let plain = values(&setup, &set, &setup.lattice);
    let of = |set: &StructureSet| values(&setup, set, &setup.lattice);
    assert_eq!(of(&changed(&set, |c| c.reverse())), plain);
    assert_eq!(of(&changed(&set, |c| c.rotate_left(3))), plain);
    let every = |how: fn(&mut Vec<Point>)| {
        changed(&set, |contours| contours.iter_mut().for_each(|c| how(&mut c.points)))
    };
    alike(&plain, &of(&every(|p| p.reverse())), 1e-9, "winding");
    alike(&plain, &of(&every(|p| p.rotate_left(17))), 1e-9, "start");
    alike(&plain, &of(&every(|p| p.push(p[0]))), 1e-9, "closing point");
    let doubled = every(|p| *p = p.iter().flat_map(|q| [*q, *q]).collect());
    alike(&plain, &of(&doubled), 1e-9, "every point twice");
}

/// Two balls at one height, once as one structure and once as two. By slabs, areas add exactly (to
/// 1e-6 of them, the raster of the polygon operations); histograms add as well as the cells do,
/// which are of one size when the parts are measured as finely as the whole.
#[test]
fn parts_add_up_to_the_whole() {
    let centres = [[-8.3, 0.2, 0.4], [7.1, 1.0, 0.4]];
    let solid = Solid::TwoBalls { centres, radii: [4.0, 4.0] };
    let field = Field::Linear { centre: [0.0; 3], dose: 15.0, gradient: [0.5, 0.2, 0.3] };
    for (ends, share) in [(Ends::HalfSlice, 1e-6), (Ends::ClosedCaps, 2e-3)] {
        let mut setup = Setup::new(solid.clone(), field.clone(), 10.0);
        setup.lattice = Lattice::around([0.0; 3], [15.0, 8.0, 8.0], 1.0);
        setup.settings = Settings { ends, ..settings() };
        let whole = setup.structure_set();
        let part = |left: bool| {
            changed(&whole, |c| c.retain(|contour| (contour.points[0][0] < 0.0) == left))
        };
        let of = |set: &StructureSet, name: &str| {
            let analysis = analyse(&setup.case(), Some(set), Some(setup.dose()), &setup.settings);
            let mut rows = analysis.measurements.iter();
            let row = rows.find(|m| m.metric == name).unwrap();
            row.outcome.value.unwrap()
        };
        for (name, share) in [("Volume[cc]", share), ("V12Gy[cc]", 2e-3)] {
            let [all, left, right] = [&whole, &part(true), &part(false)].map(|s| of(s, name));
            assert!(left > 0.0 && right > left.min(right) / 2.0);
            let sum = left + right;
            assert!((all - sum).abs() <= share * all, "{ends:?} {name}: {all} and {sum}");
        }
    }
}

/// Halving the grid divides the error of linear interpolation by four (its order is h²) and that
/// of a cubic spline by about sixteen (h⁴, until the cells and contours show): at least by 2.5 and
/// by 4 is asked for, at grids where the error is still that of the grid.
#[test]
fn a_finer_grid_is_nearer_to_the_truth() {
    let dose = Radial::from_fall_off(20.0, 4.0, 2.3);
    let truth = RadialBall { dose: dose.clone(), radius: 4.0, distance: 0.0 };
    let centre = [0.31, 0.17, 0.43];
    let rx = 18.0;
    let isodose = truth.indices(rx).isodose / 1000.0;
    for (interpolation, ratio) in
        [(Interpolation::Trilinear, 2.5), (Interpolation::CubicBSpline, 4.0)]
    {
        let error = |spacing: f64| {
            let field = Field::Radial { centre, dose: dose.clone() };
            let mut setup = Setup::new(Solid::ball(centre, 4.0), field, 12.0);
            setup.lattice = Lattice::around(centre, [12.0; 3], spacing);
            setup.prescription_gy = Some(rx);
            let metrics = vec![metrics::parse("PIV[cc]").unwrap()];
            setup.settings = Settings { interpolation, metrics, ..Settings::default() };
            (setup.measure()["PIV[cc]"].value.unwrap() / isodose - 1.0).abs()
        };
        let errors = [2.5, 1.25, 0.625].map(error);
        for pair in errors.windows(2) {
            assert!(pair[1] < pair[0] / ratio, "{interpolation:?}: {errors:?}");
        }
    }
}

fn histogram(setup: &Setup) -> Dvh {
    let set = setup.structure_set();
    let solid = structure::build(&set.rois[0], &Subject::default(), &mut Vec::new()).unwrap();
    let cells = solid.occupancy(Ends::ClosedCaps, 1.0, Variant::default());
    let field = DoseField::new(setup.dose(), Interpolation::CubicBSpline);
    Dvh::of(&sample(&field, &cells, 1.0)).unwrap()
}

#[test]
fn a_histogram_never_rises_and_ends_at_nothing() {
    let dvh = histogram(&setup());
    let whole = dvh.volume_mm3();
    assert_eq!(dvh.volume_at_dose(0.0), whole);
    assert_eq!(dvh.volume_at_dose(dvh.max_gy() + 1e-3), 0.0);
    let curve: Vec<f64> = (0..=3200).map(|i| dvh.volume_at_dose(f64::from(i) * 0.01)).collect();
    assert!(curve.windows(2).all(|w| w[1] <= w[0]));
    assert!(curve.iter().all(|v| (0.0..=whole).contains(v)));
    assert!(dvh.min_gy() <= dvh.mean_gy() && dvh.mean_gy() <= dvh.max_gy());
    // The area under the curve is the mean dose (rectangles of 0.01 Gy: half of that).
    let area: f64 = curve.iter().sum::<f64>() * 0.01 / whole;
    assert!((area - dvh.mean_gy()).abs() < 0.006, "{area} {}", dvh.mean_gy());
}

/// D at V and V at D undo each other wherever the curve falls. Doses are stored in single
/// precision: 30 Gy to 2e-6.
#[test]
fn dose_at_volume_undoes_volume_at_dose() {
    let dvh = histogram(&setup());
    let whole = dvh.volume_mm3();
    let doses: Vec<f64> =
        (1..100).map(|i| dvh.dose_at_volume(whole * f64::from(i) / 100.0).unwrap()).collect();
    assert!(doses.windows(2).all(|d| d[1] <= d[0]));
    for dose in doses {
        let volume = dvh.volume_at_dose(dose);
        let back = dvh.dose_at_volume(volume).unwrap();
        assert!((back - dose).abs() < 1e-5, "{dose} Gy, {volume} mm³, {back} Gy");
    }
    assert_eq!(dvh.dose_at_volume(whole * 1.001), None);
}

/// The planes in another direction than the grid's are as good: a stack of sagittal contours.
#[test]
fn contour_planes_may_cross_the_dose_planes() {
    let mut sagittal = setup();
    sagittal.planes = PlaneStack { normal: [1.0, 0.0, 0.0], ..PlaneStack::axial(1.0, 0.1) };
    let plain = setup();
    let a = values(&plain, &plain.structure_set(), &plain.lattice);
    let b = values(&sagittal, &sagittal.structure_set(), &sagittal.lattice);
    // Other planes cut the solid elsewhere; a semi-axis of 3.5 mm is caught by 7 planes of 1 mm.
    alike(&a, &b, 5e-3, "sagittal");
}
