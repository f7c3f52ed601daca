//! How two frames of reference lie to each other: the matrices of a Spatial Registration, and the
//! rigid motions that may be used of them. Knows nothing of contours and doses.

use super::Origin;
use crate::identity::Token;
use tidydose_geometry::Point;
use tidydose_geometry::point::{add, dot, sub};
use tidydose_geometry::units::Day;

/// Largest departure of rotation rows from orthonormal ones that is accepted. A matrix of decimal
/// strings with seven digits keeps every point of a head (200 mm) within 0.02 mm at that.
pub const RIGID_TOLERANCE: f64 = 1e-4;

/// A rotation and a shift: lengths and handedness stay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rigid {
    rows: [Point; 3],
    shift: Point,
}

impl Rigid {
    /// No motion: both frames are one.
    pub const IDENTITY: Self =
        Self { rows: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], shift: [0.0; 3] };

    /// The motion of a homogeneous matrix of 16 numbers, row by row (PS3.3 C.20.2.1.1).
    ///
    /// # Errors
    /// A sentence with the measured departure when the matrix is not rigid.
    pub fn from_matrix(m: &[f64; 16]) -> Result<Self, String> {
        if let Some(bad) = m.iter().find(|x| !x.is_finite()) {
            return Err(format!("it holds {bad}"));
        }
        let last = m[12].abs().max(m[13].abs()).max(m[14].abs()).max((m[15] - 1.0).abs());
        if last > 1e-9 {
            return Err(format!("its last row is off 0 0 0 1 by {last:.1e}"));
        }
        let rows = [[m[0], m[1], m[2]], [m[4], m[5], m[6]], [m[8], m[9], m[10]]];
        let off = (0..9)
            .map(|i| {
                let (a, b) = (i / 3, i % 3);
                (dot(rows[a], rows[b]) - if a == b { 1.0 } else { 0.0 }).abs()
            })
            .fold(0.0, f64::max);
        if off > RIGID_TOLERANCE {
            return Err(format!(
                "its rows are off an orthonormal set by {off:.1e}; up to {RIGID_TOLERANCE:.0e} \
                 would be accepted"
            ));
        }
        let [a, b, c] = rows;
        let determinant = dot(a, tidydose_geometry::point::cross(b, c));
        if determinant < 0.0 {
            return Err(format!("it mirrors (determinant {determinant:.3}); +1 would be accepted"));
        }
        Ok(Self { rows, shift: [m[3], m[7], m[11]] })
    }

    /// Where a point comes to lie.
    #[must_use]
    pub fn apply(&self, point: Point) -> Point {
        add(self.rows.map(|row| dot(row, point)), self.shift)
    }

    /// The way back.
    #[must_use]
    pub fn inverse(&self) -> Self {
        let [a, b, c] = self.rows;
        let rows = [[a[0], b[0], c[0]], [a[1], b[1], c[1]], [a[2], b[2], c[2]]];
        let shift = rows.map(|row| -dot(row, self.shift));
        Self { rows, shift }
    }

    /// First `self`, then `next`.
    #[must_use]
    pub fn then(&self, next: &Self) -> Self {
        let column = |j: usize| [self.rows[0][j], self.rows[1][j], self.rows[2][j]];
        let rows = next.rows.map(|row| [0, 1, 2].map(|j| dot(row, column(j))));
        Self { rows, shift: next.apply(self.shift) }
    }

    /// Largest distance, mm, between where two motions put the corners of a cube of 200 mm about
    /// the origin.
    #[must_use]
    pub fn distance_mm(&self, other: &Self) -> f64 {
        let corner = |i: usize| [0, 1, 2].map(|a| if i >> a & 1 == 1 { 100.0 } else { -100.0 });
        let apart = |p: Point| {
            let d = sub(self.apply(p), other.apply(p));
            dot(d, d).sqrt()
        };
        (0..8).map(|i| apart(corner(i))).fold(0.0, f64::max)
    }
}

/// One item of the Registration Sequence (0070,0308).
#[derive(Debug, Clone, PartialEq)]
pub struct RegisteredFrame {
    /// Frame of reference of the item.
    pub frame: Token,
    /// Takes a point of this frame into the frame of the object; otherwise why it may not be used.
    pub motion: Result<Rigid, String>,
}

/// A Spatial Registration.
#[derive(Debug, Clone, PartialEq)]
pub struct Registration {
    /// File, SOP instance and patient.
    pub origin: Origin,
    /// Content Date (0008,0023), else Series Date or Study Date: when it was made.
    pub day: Option<Day>,
    /// The frame into which the items are registered (0020,0052).
    pub frame: Token,
    /// The registered frames.
    pub items: Vec<RegisteredFrame>,
}

impl Registration {
    /// The motion from one frame into another, if this object alone states it.
    #[must_use]
    pub fn between(&self, from: &Token, to: &Token) -> Option<Result<Rigid, String>> {
        let into_own = |frame: &Token| {
            if *frame == self.frame {
                return Some(Ok(Rigid::IDENTITY));
            }
            let mut found = self.items.iter().filter(|i| i.frame == *frame);
            let first = found.next()?.motion.clone();
            Some(match found.next() {
                None => first,
                Some(_) => Err("it registers one frame of reference twice".to_owned()),
            })
        };
        let (from, to) = (into_own(from)?, into_own(to)?);
        Some(from.and_then(|a| to.map(|b| a.then(&b.inverse()))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Person;

    /// A quarter turn about z, x to y, then a shift.
    const TURN: [f64; 16] =
        [0.0, -1.0, 0.0, 10.0, 1.0, 0.0, 0.0, 20.0, 0.0, 0.0, 1.0, 30.0, 0.0, 0.0, 0.0, 1.0];

    #[test]
    fn a_quarter_turn_goes_there_and_back() {
        let turn = Rigid::from_matrix(&TURN).unwrap();
        assert_eq!(turn.apply([1.0, 0.0, 0.0]), [10.0, 21.0, 30.0]);
        assert_eq!(turn.inverse().apply([10.0, 21.0, 30.0]), [1.0, 0.0, 0.0]);
        assert!(turn.then(&turn.inverse()).distance_mm(&Rigid::IDENTITY) < 1e-12);
        assert_eq!(
            turn.then(&turn).apply([1.0, 0.0, 0.0]),
            turn.apply(turn.apply([1.0, 0.0, 0.0]))
        );
    }

    #[test]
    fn what_is_not_rigid_says_why() {
        let with = |i: usize, x: f64| {
            let mut m = TURN;
            m[i] = x;
            Rigid::from_matrix(&m)
        };
        assert!(with(10, -1.0).unwrap_err().contains("mirrors"));
        assert!(with(10, 1.001).unwrap_err().contains("orthonormal"));
        assert!(with(12, 0.1).unwrap_err().contains("last row"));
        assert!(with(0, f64::NAN).is_err());
        assert!(with(10, 1.00001).is_ok());
    }

    #[test]
    fn one_object_joins_its_frames_in_either_direction() {
        let token = Token::new;
        let turn = Rigid::from_matrix(&TURN).unwrap();
        let registration = Registration {
            origin: Origin {
                file: token("f"),
                object: token("r"),
                patient: None,
                digest: String::new(),
                person: Person::default(),
            },
            day: None,
            frame: token("a"),
            items: vec![
                RegisteredFrame { frame: token("a"), motion: Ok(Rigid::IDENTITY) },
                RegisteredFrame { frame: token("b"), motion: Ok(turn) },
                RegisteredFrame { frame: token("c"), motion: Err("scaled".into()) },
            ],
        };
        let between = |a: &str, b: &str| registration.between(&Token::new(a), &Token::new(b));
        assert_eq!(between("b", "a").unwrap().unwrap(), turn);
        assert!(between("a", "b").unwrap().unwrap().distance_mm(&turn.inverse()) < 1e-12);
        assert_eq!(between("c", "b").unwrap().unwrap_err(), "scaled");
        assert!(between("b", "elsewhere").is_none());
    }
}
