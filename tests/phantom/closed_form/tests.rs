//! The formulas against published and separately computed values.
//!
//! Tables T1 to T4 were computed with a different program and checked there against adaptive
//! quadrature and 2^19 quasi-random points; the worked examples are textbook arithmetic.

use super::*;

#[track_caller]
fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

/// Published linear-gradient phantoms (Nelms et al. 2015, Med Phys 42:4435; sizes from memory):
/// 24 mm wide and high, 1 Gy/mm, 16 Gy in the middle. D99, D95, D50, D5, D1, D0.03cc, mean.
#[test]
fn linear_dose_has_the_values_of_table_1() {
    let cylinder = PI * 144.0 * 24.0;
    let rows: [(Shape, f64, [f64; 7]); 7] = [
        (Shape::Ball, ball(12.0), [5.4137, 7.2484, 16.0, 24.7516, 26.5863, 27.0965, 16.0]),
        (Shape::Slab, cylinder, [4.24, 5.2, 16.0, 26.8, 27.76, 27.9337, 16.0]),
        (Shape::CylinderAcross, cylinder, [4.788, 6.3354, 16.0, 25.6646, 27.212, 27.667, 16.0]),
        (Shape::Slab, 13824.0, [4.24, 5.2, 16.0, 26.8, 27.76, 27.9479, 16.0]),
        (
            Shape::ConeApexHot,
            cylinder / 3.0,
            [4.0803, 4.4069, 8.9512, 19.1583, 22.8294, 23.1428, 10.0],
        ),
        (
            Shape::ConeApexCold,
            cylinder / 3.0,
            [9.1706, 12.8417, 23.0488, 27.5931, 27.9197, 27.9335, 22.0],
        ),
        (
            Shape::ConeAcross,
            cylinder / 3.0,
            [6.2111, 8.2957, 16.0, 23.7043, 25.7889, 25.9518, 16.0],
        ),
    ];
    for (shape, volume, expected) in rows {
        let solid =
            LinearDose { shape, volume, half_extent: 12.0, centre_dose: 16.0, gradient: 1.0 };
        for (v, e) in [0.99, 0.95, 0.5, 0.05, 0.01].iter().zip(expected) {
            near(solid.dose_at_share(*v), e, 6e-5);
            near(solid.volume_at(solid.dose_at_share(*v)) / volume, *v, 1e-12);
        }
        near(solid.dose_at_volume(30.0).unwrap(), expected[5], 6e-5);
        near(solid.mean(), expected[6], 1e-12);
    }
}

#[test]
fn an_oblique_gradient_has_the_known_shares() {
    near(box_tail([2.0; 3], [0.0, 0.0, 1.0], 0.5), 0.25, 1e-12);
    near(box_tail([1.0, 2.0, 3.0], [0.7, -0.2, 1.1], 0.0), 0.5, 1e-12);
    near(ellipsoid_half_extent([2.0, 3.5, 5.0], [0.0, 0.6, 0.8]), 2.1f64.hypot(4.0), 1e-12);
}

/// Targets of 3 to 20 mm with the fall-off of Desai et al. 2021 (JACMP 22(2)): half the dose
/// 1.37 mm + 0.23 R beyond the surface; 20 Gy at the surface.
#[test]
fn concentric_gaussian_has_the_values_of_table_2() {
    // diameter; width; peak; D99; D95; D50; D2; D0.03cc; D1mm3; GI; V12 cm3
    let rows = [
        [3.0, 2.4152, 24.2545, 20.0258, 20.1301, 21.4796, 23.9122, 0.0, 23.4674, 9.846, 0.09852],
        [
            4.0, 2.7742, 25.9354, 20.0347, 20.1755, 22.0188, 25.4435, 20.3731, 25.2950, 7.023,
            0.17114,
        ],
        [
            5.0, 3.1215, 27.5621, 20.0429, 20.2168, 22.5201, 26.9185, 22.7778, 27.0232, 5.621,
            0.27325,
        ],
        [
            7.0, 3.7941, 30.6070, 20.0569, 20.2881, 23.4105, 29.6623, 26.9012, 30.2006, 4.263,
            0.58625,
        ],
        [
            10.0, 4.7706, 34.6387, 20.0735, 20.3727, 24.5073, 33.2649, 31.9235, 34.3470, 3.402,
            1.40396,
        ],
        [
            15.0, 6.3560, 40.1220, 20.0932, 20.4736, 25.8769, 38.1158, 38.3187, 39.9313, 2.819,
            4.03413,
        ],
        [
            20.0, 7.9160, 44.4185, 20.1069, 20.5437, 26.8696, 41.8823, 43.1209, 44.2823, 2.554,
            8.79896,
        ],
    ];
    for row in rows {
        let radius = 0.5 * row[0];
        let dose = Radial::from_fall_off(20.0, radius, 1.37 + 0.23 * radius);
        let Radial::Gaussian { peak, width } = dose else { panic!("not a Gaussian") };
        near(width, row[1], 6e-5);
        near(peak, row[2], 6e-5);
        let target = RadialBall { dose: dose.clone(), radius, distance: 0.0 };
        for (v, e) in [0.99, 0.95, 0.5, 0.02].iter().zip(&row[3..7]) {
            near(target.dose_at_share(*v), *e, 6e-5);
        }
        match target.dose_at_volume(30.0) {
            None => near(row[7], 0.0, 0.0),
            Some(d) => near(d, row[7], 6e-5),
        }
        near(target.dose_at_volume(1.0).unwrap(), row[8], 6e-5);
        near(target.indices(20.0).gradient(), row[9], 6e-4);
        near(target.indices(20.0).r50(), row[9], 6e-4);
        near(target.indices(20.0).paddick(), 1.0, 1e-9);
        near(dose.isodose_volume(12.0) / 1000.0, row[10], 6e-6);
        near(gaussian_gradient_index(peak, 20.0), row[9], 6e-4);
    }
}

/// Table T3: D99, D95, D0.03cc, CI, GI, V12.
#[test]
fn gaussian_with_three_widths_has_the_values_of_table_3() {
    let rows = [
        ([2.0, 2.0, 2.0], [3.0, 3.0, 4.0], [24.2110, 24.5785, 24.9398, 0.30431, 0.374_099]),
        ([3.0, 3.0, 2.0], [3.5, 3.5, 3.5], [21.0704, 21.6463, 25.7786, 0.57490, 0.445_541]),
        ([2.0, 3.0, 4.0], [3.0, 4.0, 4.5], [20.9747, 21.8761, 26.3419, 0.60861, 0.561_148]),
    ];
    for (semi, widths, e) in rows {
        let target = GaussianEllipsoid { peak: 30.0, widths, semi };
        near(target.dose_at_share(0.99), e[0], 6e-5);
        near(target.dose_at_share(0.95), e[1], 6e-5);
        near(target.dose_at_volume(30.0).unwrap(), e[2], 6e-5);
        near(target.indices(20.0).paddick(), e[3], 6e-6);
        near(target.indices(20.0).gradient(), 4.46002, 6e-6);
        near(gaussian_isodose_volume(30.0, widths, 12.0) / 1000.0, e[4], 6e-7);
    }
    near(common_ellipses([2.0, 1.0], [1.0, 2.0]), 8.0 * 0.5f64.atan(), 1e-9);
    let by_quadrature = common_ellipsoids([2.0, 2.0, 4.0], [3.0, 3.0, 2.5]);
    near(by_quadrature, common_spheroids([2.0, 4.0], [3.0, 2.5]), 1e-7);
}

/// Table T4: a ball of 6 mm radius 9 mm from the centre of a Gaussian (30 Gy, 4 mm).
#[test]
fn an_organ_beside_the_target_has_the_values_of_table_4() {
    let dose = Radial::Gaussian { peak: 30.0, width: 4.0 };
    let organ = RadialBall { dose, radius: 6.0, distance: 9.0 };
    near(organ.volume(), 904.779, 6e-4);
    near(organ.dose_at_volume(30.0).unwrap(), 14.0008, 6e-5);
    near(organ.dose_at_share(0.02), 15.7783, 6e-5);
    near(organ.dose_at_share(0.5), 1.3533, 6e-5);
    near(organ.mean(), 3.1034, 6e-5);
    near(organ.volume_at(12.0), 48.422, 6e-4);
    near(organ.volume_at(5.0), 193.295, 6e-4);
}

/// The same organ as a solid of revolution about an axis across the line of centres.
#[test]
fn a_ball_as_a_solid_of_revolution_gives_the_lens() {
    let dose = Radial::Gaussian { peak: 30.0, width: 4.0 };
    let organ = RadialRevolution {
        dose: &dose,
        profile: &|z| (36.0 - z * z).max(0.0).sqrt(),
        heights: [-6.0, 6.0],
        dose_centre: [0.9, (81.0f64 - 0.81).sqrt()],
        volume: ball(6.0),
    };
    let exact = RadialBall { dose: dose.clone(), radius: 6.0, distance: 9.0 };
    for d in [2.0, 5.0, 12.0] {
        near(organ.volume_at(d) / exact.volume_at(d), 1.0, 1e-7);
    }
    near(organ.dose_at_volume(30.0).unwrap(), exact.dose_at_volume(30.0).unwrap(), 1e-7);
}

/// Worked examples W44 to W48: `30 − 10 r` (r in cm) over a ball of 1 cm, prescription 20 Gy.
#[test]
fn a_cone_of_dose_has_the_worked_values() {
    let target =
        RadialBall { dose: Radial::Cone { peak: 30.0, slope: 1.0 }, radius: 10.0, distance: 0.0 };
    near(target.mean(), 22.5, 1e-6);
    near(target.dose_at_share(0.5), 22.062_995, 1e-6);
    for (v, e) in [
        (0.02, 27.285_582),
        (0.98, 20.067_116),
        (0.05, 26.315_969),
        (0.95, 20.169_524),
        (0.01, 27.845_565),
    ] {
        near(target.dose_at_share(v), e, 1e-6);
    }
    for (mm3, e) in [
        (30.0, 28.072_427),
        (35.0, 27.970_792),
        (100.0, 27.120_588),
        (500.0, 25.076_275),
        (target.volume() - 35.0, 20.027_930),
    ] {
        near(target.dose_at_volume(mm3).unwrap(), e, 1e-6);
    }
    let indices = target.indices(20.0);
    near(indices.isodose / 1000.0, 4.18879, 1e-5);
    near(indices.half_isodose / 1000.0, 33.51032, 1e-5);
    near(indices.gradient(), 8.0, 1e-9);
    near(target.dose.isodose_volume(12.0) / 1000.0, 24.42902, 1e-5);
    near((target.dose.isodose_volume(12.0) - target.volume_at(12.0)) / 1000.0, 20.24023, 1e-5);
    // W49: integral dose in the target, Gy·cc.
    near(target.mean() * target.volume() / 1000.0, 94.24778, 1e-5);
}

/// Worked examples W50 to W53: PIV, half PIV, GI, V12 of Gaussians.
#[test]
fn gaussians_have_the_worked_values() {
    let rows = [
        ((40.0, 20.0, 10.0), [6.837_098, 19.338_233, 2.828_427, 15.651_596]),
        ((30.0, 15.0, 8.0), [3.500_594, 9.901_175, 2.828_427, 5.320_513]),
        ((25.0, 20.0, 10.0), [1.248_850, 10.391_627, 8.320_960, 7.449_898]),
    ];
    for ((peak, prescription, width), e) in rows {
        let dose = Radial::Gaussian { peak, width };
        near(dose.isodose_volume(prescription) / 1000.0, e[0], 1e-6);
        near(dose.isodose_volume(0.5 * prescription) / 1000.0, e[1], 1e-6);
        near(dose.gradient_index(prescription), e[2], 1e-6);
        near(dose.isodose_volume(12.0) / 1000.0, e[3], 1e-6);
    }
    let dose = Radial::Gaussian { peak: 40.0, width: 10.0 };
    let radius = dose.radius(20.0);
    let mean = |r: f64| RadialBall { dose: dose.clone(), radius: r, distance: 0.0 }.mean();
    near(mean(radius), 26.836_331, 1e-6);
    let half = dose.radius(10.0);
    near(mean(radius) * ball(radius) / (mean(half) * ball(half)), 0.509_206, 1e-6);
    near((half - radius) / 10.0, 0.487_699, 1e-6);
}

/// Worked examples W40 to W43: offset spheres of which one is the target, one the isodose.
#[test]
fn offset_spheres_have_the_worked_lens() {
    near(lens(1.0, 1.0, 0.5), 2.650_719, 1e-6);
    near(lens(1.0, 1.1, 0.2), 4.016_657, 1e-6);
    near(lens(1.0, 1.2, 0.1), 4.188_790, 1e-6);
    near(lens(1.0, 1.0, 1.0), 1.308_997, 1e-6);
}

#[test]
fn the_indices_have_the_worked_values() {
    let i = Indices { target: 4.0, covered: 3.8, isodose: 4.8, half_isodose: 16.0 };
    near(i.coverage(), 0.95, 1e-6);
    near(i.selectivity(), 0.791_667, 1e-6);
    near(i.paddick(), 0.752_083, 1e-6);
    near(i.gradient(), 3.333_333, 1e-6);
    near(i.r50(), 4.0, 1e-12);
}

/// Fermi and power-law doses, and a sum: inverse, and `GI = 2^(3/p)` of the power law.
#[test]
fn other_radial_doses_invert() {
    let fermi = Radial::Fermi { plateau: 30.0, radius: 4.0, width: 0.8 };
    let sum = Radial::Sum(vec![fermi.clone(), Radial::Gaussian { peak: 2.0, width: 30.0 }]);
    for dose in [3.0, 12.0, 20.0] {
        near(fermi.dose(fermi.radius(dose)), dose, 1e-10);
        near(sum.dose(sum.radius(dose)), dose, 1e-10);
    }
    let power = Radial::Power { dose: 20.0, radius: 5.0, exponent: 2.0 };
    near(power.gradient_index(20.0), 2f64.powf(1.5), 1e-12);
    let away = RadialBall { dose: fermi.clone(), radius: 3.0, distance: 0.0 };
    let exact = integral(&|r| 4.0 * PI * r * r * fermi.dose(r), 0.0, 3.0, 1e-12) / ball(3.0);
    near(away.mean(), exact, 1e-9);
    let gaussian = Radial::Gaussian { peak: 30.0, width: 4.0 };
    let target = RadialBall { dose: gaussian.clone(), radius: 3.0, distance: 0.0 };
    let eighth = integral(&|r| 4.0 * PI * r * r * gaussian.dose(r).powi(8), 0.0, 3.0, 1e-3);
    let expected = (eighth / ball(3.0)).powf(0.125);
    near(target.gaussian_equivalent_uniform_dose(8.0).unwrap(), expected, 1e-9);
}

#[test]
fn slab_sums_of_a_sphere_have_the_exact_error() {
    for (radius, spacing) in [(2.0, 1.0), (1.5, 1.0), (5.0, 1.0), (2.5, 2.0)] {
        for step in 0..41 {
            let shift = f64::from(step) / 40.0 + 1e-9;
            let error = slab_sum(radius, spacing, shift) / ball(radius) - 1.0;
            near(error, slab_sum_error(radius, spacing, shift), 1e-8);
        }
    }
    near(polygon_area_deficit(12), 0.045, 5e-4);
    near(polygon_area_deficit(100), 0.00066, 5e-6);
}
