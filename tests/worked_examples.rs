//! Worked examples, from DICOM files to metrics: balls in doses whose volumes and doses are known
//! in closed form. The figures are plain arithmetic on the published formulas (Paddick 2000;
//! Paddick and Lippitz 2006; ICRU Report 91) and were worked out apart from this crate.
//!
//! Tolerances. Contours have 120 vertices on the true circle, which makes areas 4.6e-4 too small
//! (1 - sin(2π/n)/(2π/n)), planes are 1 mm apart and the dose grid is 1 mm, with 32 bits:
//! * a volume of a ball of 10 mm: 4.6e-4 from the vertices, 0.2 % in all;
//! * an isodose volume: its area times what the interpolation shifts it: below 0.005 mm
//!   for a smooth dose by cubic spline, and 4πr² · 0.005 mm is 0.15 % at 10 mm;
//! * a dose in the ball: the gradient of 1 Gy/mm times a shift of 0.02 mm.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;

use tidydose_analyse::Settings;
use tidydose_dose::{Dvh, Isodose, Samples};
use tidydose_geometry::Point;
use tidydose_metrics::local::Surroundings;
use tidydose_metrics::{
    self as metrics, Biology, Metric, Outcome, PrescriptionIsodoses, Status, Subject,
};

use crate::archive::{Course, Measured};
use crate::phantom::closed_form::Radial;
use crate::phantom::dicom::Roi;
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

const VERTICES: usize = 120;

fn names(list: &[&str]) -> Settings {
    let metrics: Vec<Metric> = list.iter().map(|name| metrics::parse(name).unwrap()).collect();
    Settings { metrics, ..Settings::default() }
}

fn ball(number: i32, name: &str, centre: Point, radius: f64) -> Roi {
    Roi::new(number, name, "PTV").outlining(
        &Solid::ball(centre, radius),
        &PlaneStack::axial(1.0, 0.0),
        VERTICES,
    )
}

/// A place that favours no voxel and no plane.
const CENTRE: Point = [12.31, -7.43, 25.57];

/// A ball of 10 mm as target in a dose, through files.
fn one_ball(field: &Field, reach: f64, prescription: f64, list: &[&str]) -> Measured {
    let lattice = Lattice::around(CENTRE, [reach; 3], 1.0);
    let rois = vec![ball(1, "PTV1", CENTRE, 10.0)];
    Course::new("BALL", rois, (field, &lattice), &[(1, prescription)]).measure(&names(list))
}

fn check(got: &BTreeMap<String, Outcome>, expected: &[(&str, f64, f64)]) {
    for (name, want, tolerance) in expected {
        let outcome = &got[*name];
        let value = outcome.value.unwrap_or_else(|| panic!("{name}: {outcome:?}"));
        assert!((value - want).abs() <= *tolerance, "{name}: {value} for {want} ± {tolerance}");
        // The stated bounds hold the truth, but for the figures' own rounding and that of decimal
        // strings in the files.
        let rounding = 2e-6 * want.abs();
        let (low, high) = (outcome.low.unwrap() - rounding, outcome.high.unwrap() + rounding);
        assert!(low <= *want && *want <= high, "{name}: {want} not in [{low}, {high}]");
    }
}

/// TV 4.0, PIV 4.8, TV_PIV 3.8, half isodose 16.0 cc, given as such: exact to rounding.
#[test]
fn indices_follow_from_volumes() {
    // 3.8 cc at 30 Gy and 0.2 cc at 10 Gy: the curve falls in a straight line between the middles
    // of the two parts, and passes 3.8 cc where 1.9 of the 2.0 cc between them have gone.
    let samples = Samples {
        doses: [(30.0, 3800.0), (10.0, 200.0)].into_iter().collect(),
        extremes_gy: [10.0, 30.0],
        ..Samples::default()
    };
    let dvh = Dvh::of(&samples).unwrap();
    let isodose = |volume_mm3| Ok(Isodose { volume_mm3, ..Isodose::default() });
    let rx = PrescriptionIsodoses {
        dose_gy: 30.0 - 20.0 * 1900.0 / 2000.0,
        whole: isodose(4800.0),
        half: isodose(16_000.0),
        penumbra: Some([isodose(500.0), isodose(32_000.0)]),
        around: Surroundings::default(),
    };
    let subject = Subject { prescription: Ok(&rx), ..Subject::new(4.0, Ok(&dvh)) };
    for (name, want) in [
        ("Coverage", 0.95),
        ("Selectivity", 0.791_667),
        ("PaddickConformity", 0.752_083),
        ("PIV[cc]", 4.8),
        ("PIV50%[cc]", 16.0),
        ("PaddickGradient", 3.333_333),
        // Spheres of 0.5 and of 32 cc, a volume 64 times as large: radii of 4.923 725 mm and four
        // times that.
        ("Penumbra80-20[mm]", 14.771_175),
    ] {
        let got = metrics::parse(name).unwrap().compute(&subject).value.unwrap();
        assert!((got - want).abs() < 1e-6, "{name}: {got}");
    }
}

/// A target beside the dose grid has no penumbra, rather than one of nothing.
#[test]
fn a_target_without_dose_has_no_penumbra() {
    let field = Field::gaussian(CENTRE, 24.0, 6.0);
    let aside = [CENTRE[0] + 60.0, CENTRE[1], CENTRE[2]];
    let rois = vec![ball(1, "PTV1", aside, 5.0)];
    let lattice = Lattice::around(CENTRE, [20.0; 3], 1.0);
    let course = Course::new("ASIDE", rois, (&field, &lattice), &[(1, 12.0)]);
    let got = course.measure(&names(&["Penumbra80-20[mm]"])).metrics(1);
    let outcome = &got["Penumbra80-20[mm]"];
    assert_eq!(outcome.value, None, "{outcome:?}");
    assert!(outcome.status != Status::Ok && !outcome.reason.is_empty(), "{outcome:?}");
}

/// A Gaussian dose has its isodose of a share p at width · √(−2 ln p): closed form, two widths. Both
/// isodoses within 0.02 % in radius, as isodose volumes on a 1 mm grid are known to 0.05 %.
#[test]
fn the_penumbra_of_a_gaussian_follows_from_its_width() {
    for width in [6.0, 8.0] {
        let at = |share: f64| width * (-2.0 * share.ln()).sqrt();
        let field = Field::gaussian(CENTRE, 24.0, width);
        let reach = at(0.2) + 4.0;
        let got = one_ball(&field, reach, 12.0, &["Penumbra80-20[mm]"]).metrics(1);
        let want = at(0.2) - at(0.8);
        check(&got, &[("Penumbra80-20[mm]", want, 2e-4 * (at(0.2) + at(0.8)))]);
        // A grid that ends between the isodoses refuses it.
        let cut = one_ball(&field, 10.5, 12.0, &["Penumbra80-20[mm]"]).metrics(1);
        let refused = &cut["Penumbra80-20[mm]"];
        assert_eq!((refused.status, refused.value), (Status::PartlyOutsideGrid, None));
    }
}

/// 60 Gy in 30 fractions with α/β 10 Gy in 42 days, repopulation from day 28 on with a doubling time
/// of 5 days and α 0.3 /Gy: own arithmetic of the textbook form, 72 − ln 2 · 14 / 1.5 Gy. A course that
/// ends earlier keeps its dose.
#[test]
fn a_long_course_loses_dose_to_repopulation() {
    let none = || Err(String::new());
    let (whole, half, around) = (none(), none(), Surroundings::default());
    let rx = PrescriptionIsodoses { dose_gy: 60.0, whole, half, penumbra: None, around };
    let of = |days: Option<u32>| {
        let biology = Biology { fractions: Some(30), days, ..Biology::default() };
        let dvh = Err((Status::NotApplicable, String::new()));
        let subject =
            Subject { prescription: Ok(&rx), biology: Some(&biology), ..Subject::new(4.0, dvh) };
        metrics::parse("RxBED_Repopulation[Gy]").unwrap().compute(&subject)
    };
    let long = of(Some(42)).value.unwrap();
    assert!((long - 65.530_63).abs() < 1e-5, "{long}");
    assert!((of(Some(28)).value.unwrap() - 72.0).abs() < 1e-9);
    let unknown = of(None);
    assert_eq!((unknown.status, unknown.value), (Status::NotApplicable, None));
    assert!(unknown.reason.contains("no treatment record"), "{}", unknown.reason);
}

/// Two targets in one isodose: an index of each against the whole isodose would be 0.3077 and
/// 0.4313 in the worked example, which is wrong. There is none for either.
#[test]
fn a_shared_isodose_gives_no_index_of_one_target() {
    let centres = [[-7.0, 0.0, 0.0], [7.0, 0.0, 0.0]];
    let field = Field::Sum(centres.map(|c| Field::gaussian(c, 24.0, 6.0)).to_vec());
    // Half way between: 2 · 24 exp(-49/72) = 24.3 Gy, so that 20 Gy hold both.
    assert!(field.dose([0.0; 3]) > 24.0);
    let lattice = Lattice::around([0.0; 3], [32.0, 25.0, 25.0], 1.0);
    let rois = vec![ball(1, "PTV1", centres[0], 5.0), ball(2, "PTV2", centres[1], 5.0)];
    let course = Course::new("TWO", rois, (&field, &lattice), &[(1, 20.0), (2, 20.0)]);
    let measured = course.measure(&names(&[
        "Coverage",
        "Selectivity",
        "PaddickConformity",
        "PIV[cc]",
        "PaddickGradient",
    ]));
    for (own, other) in [(1, "ROI 2"), (2, "ROI 1")] {
        let got = measured.metrics(own);
        assert!(got["Coverage"].value.is_some(), "{:?}", got["Coverage"]);
        for name in ["Selectivity", "PaddickConformity", "PIV[cc]", "PaddickGradient"] {
            let outcome = &got[name];
            assert_eq!((outcome.status, outcome.value), (Status::NotApplicable, None), "{name}");
            assert!(outcome.reason.contains(other), "{name}: {}", outcome.reason);
        }
    }
}

/// Target and isodose are balls, `apart` mm from centre to centre, so that their common volume is
/// a lens. The dose is a Gaussian, 20 Gy at the isodose and 10 Gy 5 mm further out.
fn offset(isodose: f64, apart: f64) -> Measured {
    let direction = [0.48, 0.6, 0.64];
    let centre = [0, 1, 2].map(|i| CENTRE[i] + apart * direction[i]);
    let field = Field::fall_off(centre, 20.0, isodose, 5.0);
    one_ball(
        &field,
        isodose + apart + 8.0,
        20.0,
        &["Volume[cc]", "PIV[cc]", "Coverage", "Selectivity", "PaddickConformity"],
    )
}

/// Balls of 10 mm with isodoses of 10, 11 and 12 mm off centre. An isodose that lies 0.02 mm wrong
/// moves the common volume by at most 0.02 mm times half the ball's surface: 0.3 % of the ball,
/// so 0.003 in coverage and selectivity and twice that in their product.
#[test]
fn offset_balls_have_the_indices_of_their_lens() {
    for (isodose, apart, coverage, selectivity, paddick) in [
        (10.0, 5.0, 0.632_812, 0.632_812, 0.400_452),
        (11.0, 2.0, 0.958_906, 0.720_440, 0.690_835),
        (12.0, 1.0, 1.0, 0.578_704, 0.578_704),
        (10.0, 10.0, 0.312_5, 0.312_5, 0.097_656),
    ] {
        let got = offset(isodose, apart).metrics(1);
        let piv = 4.0 / 3.0 * std::f64::consts::PI * (isodose / 10.0_f64).powi(3);
        check(
            &got,
            &[
                ("Volume[cc]", 4.188_790, 0.002 * 4.188_790),
                ("PIV[cc]", piv, 0.002 * piv),
                ("Coverage", coverage, 0.003),
                ("Selectivity", selectivity, 0.003),
                ("PaddickConformity", paddick, 0.006),
            ],
        );
    }
}

/// Two balls of 10 mm, 30 mm apart: isodose and target have the same volume, and nothing in
/// common. A ratio of volumes would be perfect.
#[test]
fn a_miss_is_no_hit_however_equal_the_volumes() {
    let got = offset(10.0, 30.0).metrics(1);
    let value = |name: &str| got[name].value;
    let volume = value("Volume[cc]").unwrap();
    assert!((volume / 4.188_790 - 1.0).abs() < 0.002, "{volume}");
    assert_eq!(value("Coverage"), Some(0.0));
    for (name, want) in [("PIV[cc]", 4.188_790), ("Selectivity", 0.0), ("PaddickConformity", 0.0)] {
        let got = value(name).unwrap_or_else(|| panic!("{name}: {:?}", got[name]));
        assert!((got - want).abs() <= 0.002 * want, "{name}: {got}");
    }
}

/// The ball with a larger one about it, of which V12Gy is that of all space.
fn with_surroundings(field: &Field, target: f64, around: f64, rx: f64, list: &[&str]) -> Measured {
    let lattice = Lattice::around(CENTRE, [around + 2.0; 3], 1.0);
    let rois = vec![ball(1, "PTV1", CENTRE, target), ball(2, "zAround", CENTRE, around)];
    Course::new("BALL", rois, (field, &lattice), &[(1, rx)]).measure(&names(list))
}

/// Metric, figure of the worked example and tolerance; see [`a_linear_dose_in_a_ball`].
const LINEAR: &[(&str, f64, f64)] = &[
    ("Volume[cc]", 4.188_790, 0.002 * 4.188_790),
    ("Min[Gy]", 20.0, 0.48),
    ("Mean[Gy]", 22.5, 0.02),
    ("Max[Gy]", 29.65, 0.35),
    ("D50%[Gy]", 22.062_995, 0.02),
    ("D1%[Gy]", 27.845_565, 0.05),
    ("D2%[Gy]", 27.285_582, 0.02),
    ("D5%[Gy]", 26.315_969, 0.02),
    ("D95%[Gy]", 20.169_524, 0.05),
    ("D98%[Gy]", 20.067_116, 0.05),
    ("D0.03cc[Gy]", 28.072_427, 0.1),
    ("D0.035cc[Gy]", 27.970_792, 0.1),
    ("D0.1cc[Gy]", 27.120_588, 0.02),
    ("D0.5cc[Gy]", 25.076_275, 0.02),
    // The isodoses: 0.02 mm of 10 and of 20 mm are 0.6 and 0.3 % of the volume.
    ("PIV[cc]", 4.188_790, 0.006 * 4.188_790),
    ("PIV50%[cc]", 33.510_322, 0.003 * 33.510_322),
    ("PaddickGradient", 8.0, 0.009 * 8.0),
    // What the reports derive from them, with the tolerances above.
    ("SD[Gy]", 1.936_492, 0.02),
    ("NearMax[Gy]", 27.285_582, 0.02),
    ("NearMin[Gy]", 20.067_116, 0.05),
    ("D1mm3[Gy]", 29.379_65, 0.4),
    ("DC0.5cc[Gy]", 20.415_917, 0.05),
    ("CV22Gy[cc]", 2.044_129, 0.012),
    ("CV22Gy[%]", 48.8, 0.3),
    ("V110%[cc]", 2.144_66, 0.012),
    ("V110%[%]", 51.2, 0.3),
    ("D95%[%]", 100.847_62, 0.25),
    ("ICRU83Homogeneity", 0.327_175, 0.07 / 22.0),
    ("HomogeneityD5/D95", 1.304_739, 0.07 / 20.0),
    ("HomogeneityMax/Min", 1.5, 0.06),
    ("HomogeneityD1-D98[%]", 38.892_2, 0.1 / 0.2),
    ("HomogeneityD5-D95[%]", 30.732_2, 0.07 / 0.2),
    ("RTOGHomogeneity", 1.5, 0.7 / 20.0),
    ("HomogeneityMax/Rx", 1.5, 0.7 / 20.0),
    ("SigmaIndex[%]", 9.682_458, 0.1),
    ("PrescriptionIsodose[%]", 66.666_7, 1.6),
    ("IntegralDose[Gy*cc]", 94.247_78, 0.003 * 94.3),
    ("R50%", 8.0, 0.009 * 8.0),
    ("ModifiedGradient", 8.0, 0.009 * 8.0),
    ("FallOffDistance[mm]", 10.0, 0.04),
    ("EffectiveGradient[%/mm]", 5.0, 0.02),
    ("WagnerCGIg", 30.0, 0.4),
    ("RTOGQuality", 1.0, 0.48 / 20.0),
];

/// D(r) = 30 Gy − 1 Gy/mm · r about the centre of a ball of 10 mm, 20 Gy prescribed: a cone.
///
/// Away from the tip the dose is nearly linear, and what is off is where things lie: doses near the
/// surface by 1 Gy/mm times the 0.05 mm by which the solid may differ there. No interpolation of a
/// 1 mm grid follows the tip: the voxel centre nearest to [`CENTRE`] is 0.68 mm away, so up to 0.7
/// Gy of it are missing. The rounding of the tip fades by 0.27 a voxel (the spline's own decay), to
/// 0.02 Gy in 3 mm, where D2% lies (2.7 mm), and reaches 0.1 Gy in the 1.9 mm of D0.03cc.
///
/// The smallest dose is looked for at the corners of cells of 10/18 mm that the surface cuts: half
/// a diagonal of such a cell, 0.48 mm, is as far outside as it can lie.
#[test]
fn a_linear_dose_in_a_ball() {
    let field = Field::Radial { centre: CENTRE, dose: Radial::Cone { peak: 30.0, slope: 1.0 } };
    let mut list: Vec<&str> = LINEAR.iter().map(|row| row.0).collect();
    list.push("V12Gy[cc]");
    let measured = with_surroundings(&field, 10.0, 21.0, 20.0, &list);
    let got = measured.values(1);
    for (name, want, tolerance) in LINEAR {
        assert!((got[*name] - want).abs() <= *tolerance, "{name}: {} for {want}", got[*name]);
    }
    let all_space = measured.values(2)["V12Gy[cc]"];
    assert!((all_space / 24.429_02 - 1.0).abs() < 0.004, "{all_space}");
    let besides = all_space - got["V12Gy[cc]"];
    assert!((besides / 20.240_23 - 1.0).abs() < 0.006, "{besides}");
}

/// Gaussian doses (peak Gy, prescription Gy, width mm): smooth, so the spline is good to a few
/// thousandths of a mm and volumes to 0.2 %, V12Gy of contours with 120 vertices too.
#[test]
fn gaussian_doses_in_a_ball() {
    for (peak, rx, width, piv, half, gradient, v12) in [
        (40.0, 20.0, 10.0, 6.837_098, 19.338_233, 2.828_427, 15.651_596),
        (30.0, 15.0, 8.0, 3.500_594, 9.901_175, 2.828_427, 5.320_513),
        (25.0, 20.0, 10.0, 1.248_850, 10.391_627, 8.320_960, 7.449_898),
    ] {
        let field = Field::gaussian(CENTRE, peak, width);
        let target = width * (2.0 * (peak / rx).ln()).sqrt();
        let around = width * (2.0 * (peak / rx * 2.0).ln()).sqrt() + 1.0;
        let list = ["Volume[cc]", "PIV[cc]", "PIV50%[cc]", "PaddickGradient", "V12Gy[cc]"];
        let measured = with_surroundings(&field, target, around, rx, &list);
        let own = measured.metrics(1);
        check(
            &own,
            &[
                ("Volume[cc]", piv, 0.002 * piv),
                ("PIV[cc]", piv, 0.002 * piv),
                ("PIV50%[cc]", half, 0.002 * half),
                ("PaddickGradient", gradient, 0.004 * gradient),
            ],
        );
        let all_space = measured.values(2)["V12Gy[cc]"];
        assert!((all_space / v12 - 1.0).abs() < 0.002, "{all_space} for {v12}");
    }
}

/// The first of them with the isodose as target: mean dose 26.836331 Gy, and 0.509206 of the
/// integral dose to the half isodose lies in the target.
#[test]
fn the_mean_of_a_gaussian_dose() {
    let field = Field::gaussian(CENTRE, 40.0, 10.0);
    let half = 10.0 * (2.0 * 4.0_f64.ln()).sqrt();
    let radius = 10.0 * (2.0 * 2.0_f64.ln()).sqrt();
    let list = ["Volume[cc]", "Mean[Gy]"];
    let measured = with_surroundings(&field, radius, half, 20.0, &list);
    // The gradient at the surface is 2.4 Gy/mm, 0.01 mm of it 0.02 Gy.
    check(&measured.metrics(1), &[("Mean[Gy]", 26.836_331, 0.02)]);
    let integral = |roi: i64| {
        let got = measured.values(roi);
        got["Mean[Gy]"] * got["Volume[cc]"]
    };
    let share = integral(1) / integral(2);
    assert!((share - 0.509_206).abs() < 0.002, "{share}");
}
