//! Moved, grown and shrunk balls in doses of which all is known in closed form.

use ndarray::Array3;

use super::*;
use crate::analyse;
use crate::testing::{ball, case_of, set_of};
use tidydose_geometry::Grid;
use tidydose_geometry::units::Gray;
use tidydose_metrics::parse;
use tidydose_rt::Dose;

const RADIUS_MM: f64 = 6.0;
/// Dose in the middle, Gy.
const MIDDLE_GY: f64 = 16.0;
/// Edge of the coarse cells of such a ball.
const CELL_MM: f64 = RADIUS_MM / 9.0;

fn dose(of: impl Fn(Point) -> f64) -> Dose {
    let offsets = (0..30).map(f64::from).collect();
    let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
    let grid = Grid::new([-14.5; 3], axes, [1.0; 2], offsets, [30, 30]).unwrap();
    #[allow(clippy::cast_possible_truncation)] // doses are stored in single precision
    let values = Array3::from_shape_fn(grid.shape(), |at| of(grid.position(at.into())) as f32);
    Dose { grid, values, step: Gray::gy(1e-6) }
}

/// 1 Gy/mm to the left.
fn linear() -> Dose {
    dose(|p| MIDDLE_GY + p[0])
}

fn moved(name: &str, metrics: &[&str], dose: Dose) -> Vec<Sensitivity> {
    let (case, set) = (case_of(&[name]), set_of(vec![ball(1, [0.0; 3], RADIUS_MM)]));
    let settings = Settings {
        metrics: metrics.iter().map(|m| parse(m).unwrap()).collect(),
        regions: false,
        shifts_mm: vec![1.0],
        margins_mm: vec![-0.5, 0.5, -7.0],
        ..Settings::default()
    };
    analyse(&case, Some(&set), Some(dose), &settings).sensitivities
}

fn row_of<'r>(rows: &'r [Sensitivity], metric: &str, motion: Motion, mm: f64) -> &'r Sensitivity {
    rows.iter()
        .find(|r| r.metric == metric && r.motion == motion && (r.mm - mm).abs() < 1e-9)
        .unwrap()
}

/// By how much a margin may be off, mm: see the test of `geometry/offset.rs`.
fn off_mm(margin_mm: f64) -> f64 {
    2.0 * CELL_MM * CELL_MM * (1.0 / RADIUS_MM - 1.0 / (RADIUS_MM + margin_mm)).abs()
}

/// Mean of xᵃyᵇzᶜ over the sphere: 1/3 for x², 1/5 for x⁴, 1/15 for x²y², 0 for odd powers.
#[test]
fn the_mean_over_directions_is_that_over_the_sphere_to_the_fifth_degree() {
    let mean = |powers: [i32; 3]| -> f64 {
        let of = |d: Direction| {
            let v = d.vector(1.0);
            d.weight() * (0..3).map(|i| v[i].powi(powers[i])).product::<f64>()
        };
        Direction::ALL.into_iter().map(of).sum()
    };
    for (powers, wanted) in [
        ([0, 0, 0], 1.0),
        ([1, 0, 0], 0.0),
        ([2, 0, 0], 1.0 / 3.0),
        ([0, 1, 1], 0.0),
        ([0, 4, 0], 1.0 / 5.0),
        ([2, 0, 2], 1.0 / 15.0),
        ([1, 2, 2], 0.0),
    ] {
        assert!((mean(powers) - wanted).abs() < 1e-12, "{powers:?}: {}", mean(powers));
    }
}

#[test]
fn directions_are_of_the_patient() {
    let words: Vec<String> = Direction::ALL.into_iter().map(Direction::words).collect();
    assert_eq!(words[..6], ["left", "right", "posterior", "anterior", "superior", "inferior"]);
    assert_eq!(words[8], "left-anterior-superior");
    assert!(Direction::ALL.iter().all(|d| {
        let [x, y, z] = d.vector(0.5);
        (x.hypot(y).hypot(z) - 0.5).abs() < 1e-12
    }));
}

/// In a linear dose every dose of a moved solid changes by slope times way. The samples move with the
/// cells; what is left are the bins of the histogram, 0.02 Gy being a fiftieth of the change.
#[test]
fn a_target_in_a_linear_dose_gets_worse_away_from_it() {
    let rows = moved("GTV", &["D95%[Gy]", "Mean[Gy]", "Max[Gy]", "Volume[cc]"], linear());
    for metric in ["D95%[Gy]", "Mean[Gy]", "Max[Gy]"] {
        let row = row_of(&rows, metric, Motion::Shift, 1.0);
        let value = row.value.unwrap();
        let change = |moved: Option<f64>| moved.unwrap() - value;
        assert!((change(row.lowest) + 1.0).abs() < 0.02, "{row:?}");
        assert!((change(row.highest) - 1.0).abs() < 0.02, "{row:?}");
        assert!(change(row.average).abs() < 0.02, "{row:?}");
        assert_eq!(row.lowest_direction.unwrap().words(), "right");
        assert_eq!(row.highest_direction.unwrap().words(), "left");
    }
    let d95 = row_of(&rows, "D95%[Gy]", Motion::Shift, 1.0);
    assert_eq!((d95.worst(), d95.worst_direction()), (d95.lowest, d95.lowest_direction));
    let volume = row_of(&rows, "Volume[cc]", Motion::Shift, 1.0);
    assert_eq!((volume.worst(), volume.lowest_direction), (None, None));
    assert!((volume.highest.unwrap() / volume.value.unwrap() - 1.0).abs() < 1e-9);
}

/// The share of a ball beyond a plane at distance t from its middle is (2 + t/R)(1 − t/R)²/4.
#[test]
fn an_organ_in_a_linear_dose_gets_worse_toward_it() {
    let rows = moved("Brainstem", &["Max[Gy]", "V16Gy[%]"], linear());
    let max = row_of(&rows, "Max[Gy]", Motion::Shift, 1.0);
    assert_eq!(max.worst_direction().unwrap().words(), "left");
    let share = row_of(&rows, "V16Gy[%]", Motion::Shift, 1.0);
    let t = -1.0 / RADIUS_MM;
    let wanted = 100.0 * (2.0 + t) * (1.0 - t).powi(2) / 4.0;
    // 0.02 mm of way, at 3/4R of the volume for each mm.
    let allowed = 0.02 * 100.0 * 0.75 / RADIUS_MM;
    assert!((share.worst().unwrap() - wanted).abs() < allowed, "{share:?}, {wanted}");
}

/// A ball with a margin is a ball of another radius, in a concentric Gaussian dose as in none.
#[test]
fn a_ball_with_a_margin_has_the_values_of_a_larger_or_smaller_one() {
    let width_mm = 6.0;
    let gaussian = |r: f64| 20.0 * (-0.5 * (r / width_mm).powi(2)).exp();
    let field = dose(|p| gaussian((p[0] * p[0] + p[1] * p[1] + p[2] * p[2]).sqrt()));
    let rows = moved("Brainstem", &["Volume[cc]", "D95%[Gy]", "V16Gy[%]"], field);
    let inner = |radius: f64| 0.95_f64.cbrt() * radius;
    let volume = |radius: f64| 4.0 / 3.0 * std::f64::consts::PI * radius.powi(3) / 1000.0;
    let reach = width_mm * (2.0 * (20.0_f64 / 16.0).ln()).sqrt();
    let share = |radius: f64| 100.0 * (reach / radius).powi(3);
    for margin_mm in [-0.5, 0.5] {
        let radius = RADIUS_MM + margin_mm;
        // A twentieth of the cell is what the histogram of so few cells leaves of a dose.
        let off = off_mm(margin_mm) + 0.05 * CELL_MM * margin_mm.abs();
        let slope = gaussian(radius) * radius / (width_mm * width_mm);
        for (metric, of, per_mm) in [
            ("Volume[cc]", &volume as &dyn Fn(f64) -> f64, 3.0 * volume(radius) / radius),
            ("D95%[Gy]", &|radius| gaussian(inner(radius)), slope),
            ("V16Gy[%]", &share, 3.0 * share(radius) / radius),
        ] {
            let row = row_of(&rows, metric, Motion::Margin, margin_mm);
            let (wanted, got) =
                (of(radius) - of(RADIUS_MM), row.average.unwrap() - row.value.unwrap());
            assert!((got - wanted).abs() < off * per_mm, "{metric} {margin_mm}: {got}, {wanted}");
            assert_eq!(
                (row.lowest, row.highest, row.lowest_direction),
                (row.average, row.average, None)
            );
        }
    }
}

#[test]
fn what_cannot_be_moved_has_a_row_with_the_reason() {
    let metrics = ["D95%[Gy]", "SurfaceArea[cm2]", "PaddickConformity"];
    let rows = moved("GTV", &metrics, linear());
    assert_eq!(rows.len(), metrics.len() * 4);
    let gone = row_of(&rows, "D95%[Gy]", Motion::Margin, -7.0);
    assert_eq!((gone.status, gone.average), (Status::Empty, None));
    assert!(gone.reason.contains("nothing is left") && gone.value.is_some(), "{}", gone.reason);
    let surface = row_of(&rows, "SurfaceArea[cm2]", Motion::Shift, 1.0);
    assert_eq!((surface.status, surface.average), (Status::NotApplicable, None));
    let index = row_of(&rows, "PaddickConformity", Motion::Shift, 1.0);
    assert_eq!((index.value, index.status), (None, Status::NotApplicable));
    assert!(index.reason.contains("prescription"), "{}", index.reason);
    assert!(moved("what", &metrics, linear()).is_empty(), "no target and no organ with a name");
}
