//! Dose grids of one lattice added up, each times a factor. Whether they may be added is for those
//! to say who know what they hold.

use tidydose_geometry::units::Gray;
use tidydose_rt::Dose;

/// The sum, on the lattice of the first; a stored step of the sum is the sum of the steps. Nothing
/// when there is no dose, or the lattices have different numbers of voxels.
#[must_use]
pub fn sum(parts: Vec<(Dose, f64)>) -> Option<Dose> {
    let mut parts = parts.into_iter();
    let (mut total, factor) = parts.next()?;
    #[allow(clippy::float_cmp)] // a dose that counts once stays as it is, to the bit
    if factor != 1.0 {
        total.values.mapv_inplace(|value| scaled(value, factor));
    }
    let mut step_gy = factor * total.step.value();
    for (part, factor) in parts {
        if part.values.shape() != total.values.shape() {
            return None;
        }
        total.values.zip_mut_with(&part.values, |sum, value| *sum += scaled(*value, factor));
        step_gy += factor * part.step.value();
    }
    total.step = Gray::gy(step_gy);
    Some(total)
}

/// In double precision, rounded once.
#[allow(clippy::cast_possible_truncation)] // doses are far below the range of f32
fn scaled(value: f32, factor: f64) -> f32 {
    (f64::from(value) * factor) as f32
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use tidydose_geometry::Grid;

    fn dose(shape: [usize; 3], value: f32) -> Dose {
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let offsets = (0..shape[0]).map(|k| k as f64).collect();
        let grid =
            Grid::new([0.0; 3], directions, [1.0; 2], offsets, [shape[1], shape[2]]).unwrap();
        Dose { grid, values: Array3::from_elem(shape, value), step: Gray::gy(0.25) }
    }

    #[test]
    fn parts_add_up_with_their_factors() {
        let parts = vec![(dose([2, 3, 4], 1.5), 1.0), (dose([2, 3, 4], 2.0), 5.0)];
        let total = sum(parts).unwrap();
        assert!(total.values.iter().all(|v| *v == 11.5));
        assert_eq!(total.step, Gray::gy(1.5));
        assert_eq!(sum(vec![(dose([1, 1, 1], 3.0), 1.0)]).unwrap(), dose([1, 1, 1], 3.0));
    }

    #[test]
    fn other_lattices_do_not_add_up() {
        assert!(sum(vec![(dose([2, 3, 4], 1.0), 1.0), (dose([2, 4, 3], 1.0), 1.0)]).is_none());
        assert!(sum(Vec::new()).is_none());
    }
}
