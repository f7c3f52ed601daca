//! Dose fields as formulas of the position, and lattices of points to sample them on.
//!
//! Positions mm, doses Gy. Knows nothing of solids or DICOM.

use ndarray::Array3;
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, cross, dot, length, scale, sub};

use super::closed_form::Radial;

/// A dose field.
#[derive(Debug, Clone, PartialEq)]
pub enum Field {
    /// The same dose everywhere.
    Uniform(f64),
    /// `dose + gradient·(p − centre)`, Gy and Gy/mm.
    Linear { centre: Point, dose: f64, gradient: Point },
    /// A dose that falls with the distance from a centre.
    Radial { centre: Point, dose: Radial },
    /// A Gaussian with three widths along perpendicular unit vectors.
    Gaussian { centre: Point, axes: [Point; 3], peak: f64, widths: [f64; 3] },
    /// The sum of several fields.
    Sum(Vec<Field>),
    /// A field times a factor.
    Scaled(f64, Box<Field>),
}

impl Field {
    /// An isotropic Gaussian.
    pub fn gaussian(centre: Point, peak: f64, width: f64) -> Self {
        Self::Radial { centre, dose: Radial::Gaussian { peak, width } }
    }

    /// A flat top with a soft edge.
    pub fn fermi(centre: Point, plateau: f64, radius: f64, width: f64) -> Self {
        Self::Radial { centre, dose: Radial::Fermi { plateau, radius, width } }
    }

    /// The Gaussian with the prescription at `radius` from the centre and half of it `fall_off`
    /// further out.
    pub fn fall_off(centre: Point, prescription: f64, radius: f64, fall_off: f64) -> Self {
        Self::Radial { centre, dose: Radial::from_fall_off(prescription, radius, fall_off) }
    }

    /// Dose at a point, Gy.
    pub fn dose(&self, p: Point) -> f64 {
        match self {
            Self::Uniform(dose) => *dose,
            Self::Linear { centre, dose, gradient } => dose + dot(*gradient, sub(p, *centre)),
            Self::Radial { centre, dose } => dose.dose(length(sub(p, *centre))),
            Self::Gaussian { centre, axes, peak, widths } => {
                let q = sub(p, *centre);
                let square: f64 = (0..3).map(|i| (dot(q, axes[i]) / widths[i]).powi(2)).sum();
                peak * (-0.5 * square).exp()
            }
            Self::Sum(fields) => fields.iter().map(|f| f.dose(p)).sum(),
            Self::Scaled(factor, field) => factor * field.dose(p),
        }
    }

    /// Dose at every point of a lattice, Gy, as `[plane, row, column]`.
    pub fn sample(&self, lattice: &Lattice) -> Array3<f64> {
        let shape = [lattice.offsets.len(), lattice.rows, lattice.columns];
        Array3::from_shape_fn(shape, |(k, i, j)| self.dose(lattice.position(k, i, j)))
    }
}

/// Where the voxel centres of a dose grid are (DICOM PS3.3 C.8.8.3.2), written out apart from the
/// crate's own grid so that a mistake there is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Lattice {
    /// Centre of the first voxel, mm.
    pub origin: Point,
    /// Unit vector along a row: the column index grows.
    pub row: Point,
    /// Unit vector down a column: the row index grows.
    pub column: Point,
    /// Distance between rows, then between columns, mm.
    pub spacing: [f64; 2],
    /// Offset of each plane along `row × column`, mm.
    pub offsets: Vec<f64>,
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
}

impl Lattice {
    /// An axial lattice with the same spacing three ways that reaches `half` mm from `centre` at
    /// least, its first point on a whole multiple of the spacing.
    pub fn around(centre: Point, half: [f64; 3], spacing: f64) -> Self {
        let low = [0, 1, 2].map(|i| ((centre[i] - half[i]) / spacing).floor() * spacing);
        let count =
            [0, 1, 2].map(|i| ((centre[i] + half[i] - low[i]) / spacing).ceil() as usize + 1);
        Self {
            origin: low,
            row: [1.0, 0.0, 0.0],
            column: [0.0, 1.0, 0.0],
            spacing: [spacing; 2],
            offsets: (0..count[2]).map(|k| k as f64 * spacing).collect(),
            rows: count[1],
            columns: count[0],
        }
    }

    /// The same number of points about the same middle, with rows and columns along other unit
    /// vectors.
    #[must_use]
    pub fn turned(&self, row: Point, column: Point) -> Self {
        let offsets = (self.offsets[0], self.offsets[self.offsets.len() - 1]);
        let middle = |r: Point, c: Point| {
            let n = scale(cross(r, c), 0.5 * (offsets.0 + offsets.1));
            let down = scale(c, 0.5 * self.spacing[0] * (self.rows - 1) as f64);
            add(n, add(down, scale(r, 0.5 * self.spacing[1] * (self.columns - 1) as f64)))
        };
        let centre = add(self.origin, middle(self.row, self.column));
        Self { origin: sub(centre, middle(row, column)), row, column, ..self.clone() }
    }

    /// The lattice moved by a vector.
    #[must_use]
    pub fn shifted(&self, by: Point) -> Self {
        Self { origin: add(self.origin, by), ..self.clone() }
    }

    /// Centre of the voxel in plane `k`, row `i`, column `j`.
    pub fn position(&self, k: usize, i: usize, j: usize) -> Point {
        let plane = scale(cross(self.row, self.column), self.offsets[k]);
        let down = scale(self.column, i as f64 * self.spacing[0]);
        let along = scale(self.row, j as f64 * self.spacing[1]);
        add(add(self.origin, plane), add(down, along))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::solid::axes_turned;

    #[test]
    fn fields_have_their_value_at_the_known_points() {
        let c = [1.0, 2.0, 3.0];
        let line = Field::Linear { centre: c, dose: 16.0, gradient: [0.0, 0.0, 1.0] };
        assert_eq!(line.dose([9.0, 9.0, 5.0]), 18.0);
        let round = Field::fall_off(c, 20.0, 5.0, 2.5);
        assert!((round.dose([6.0, 2.0, 3.0]) - 20.0).abs() < 1e-12);
        assert!((round.dose([1.0, 9.5, 3.0]) - 10.0).abs() < 1e-12);
        let axes = axes_turned([10.0, 20.0, 30.0]);
        let same = Field::Gaussian { centre: c, axes, peak: 30.0, widths: [3.0; 3] };
        let p = [2.0, 0.0, 4.0];
        assert!((same.dose(p) - Field::gaussian(c, 30.0, 3.0).dose(p)).abs() < 1e-12);
        let half = Field::Scaled(0.5, Box::new(Field::Sum(vec![line, Field::Uniform(2.0)])));
        assert_eq!(half.dose([9.0, 9.0, 5.0]), 10.0);
    }

    #[test]
    fn a_turned_lattice_keeps_its_middle() {
        let l = Lattice::around([0.3, 0.2, 0.1], [4.0, 5.0, 6.0], 1.0);
        let [row, column, _] = axes_turned([90.0, 0.0, 0.0]);
        let t = l.turned(row, column);
        let (k, i, j) = (l.offsets.len() - 1, l.rows - 1, l.columns - 1);
        let middle = |m: &Lattice| scale(add(m.position(0, 0, 0), m.position(k, i, j)), 0.5);
        assert!(length(sub(middle(&l), middle(&t))) < 1e-12);
        let sampled =
            Field::Linear { centre: [0.0; 3], dose: 0.0, gradient: [1.0, 0.0, 0.0] }.sample(&l);
        assert_eq!(sampled[[0, 0, 1]] - sampled[[0, 0, 0]], 1.0);
    }
}
