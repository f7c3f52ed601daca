//! Dose grids in any direction give the numbers of an axial one, to 0.1 %.

use super::bench::{Setup, placement};
use crate::phantom::closed_form::Radial;
use crate::phantom::field::Field;
use crate::phantom::solid::{PlaneStack, Solid, axes_turned};

const METRICS: [&str; 9] = [
    "Volume[cc]",
    "D99%[Gy]",
    "D95%[Gy]",
    "D50%[Gy]",
    "D2%[Gy]",
    "D0.03cc[Gy]",
    "Mean[Gy]",
    "PIV[cc]",
    "PIV50%[cc]",
];

fn setup(i: u32, diameter: f64) -> Setup {
    let (centre, radius) = (placement(i), diameter / 2.0);
    let dose = Radial::from_fall_off(20.0, radius, 1.37 + 0.23 * radius);
    let prescription = dose.dose(radius + 0.15);
    let field = Field::Radial { centre, dose };
    let mut setup = Setup::new(Solid::ball(centre, radius), field, 1.7 * radius + 12.0);
    setup.prescription_gy = Some(prescription);
    setup
}

fn alike(a: &Setup, b: &Setup, what: &str) {
    let (a, b) = (a.measure(), b.measure());
    for name in METRICS {
        let (x, y) = (a[name].value.unwrap(), b[name].value.unwrap());
        assert!((x / y - 1.0).abs() < 1e-3, "{what}, {name}: {x} and {y}");
    }
}

#[test]
fn oblique_coronal_and_sagittal_grids_give_the_axial_numbers() {
    for diameter in [7.0, 10.0, 20.0] {
        for i in 0..4 {
            let axial = setup(i, diameter);
            for (name, degrees) in [
                ("sagittal", [0.0, 90.0, 0.0]),
                ("coronal", [90.0, 0.0, 0.0]),
                ("oblique", [23.0, -37.0, 61.0]),
                ("reversed", [180.0, 0.0, 0.0]),
            ] {
                let [row, column, _] = axes_turned(degrees);
                let mut turned = axial.clone();
                turned.lattice = axial.lattice.turned(row, column);
                alike(&axial, &turned, &format!("{diameter} mm, {name} grid"));
            }
        }
    }
}

/// Contours on sagittal planes in an axial grid, and on oblique planes.
#[test]
fn sagittal_and_oblique_contours_give_the_axial_numbers() {
    for diameter in [10.0, 20.0] {
        for i in 0..4 {
            let axial = setup(i, diameter);
            for normal in [[1.0, 0.0, 0.0], axes_turned([20.0, 35.0, 0.0])[2]] {
                let mut other = axial.clone();
                other.planes = PlaneStack { normal, ..PlaneStack::axial(1.0, 0.2) };
                alike(&axial, &other, &format!("{diameter} mm, contours {normal:?}"));
            }
        }
    }
}
