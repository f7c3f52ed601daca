//! The part of a box on one side of a plane: exact for a quantity that is linear in the box.

/// What a plane cuts off a box of volume 1 in which a quantity is linear.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlaneCut {
    /// Share of the box in which the quantity is at least zero, 0 to 1.
    pub share: f64,
    /// Integral of the quantity over that share.
    pub excess: f64,
    /// By how much the share grows when the quantity is raised by one: the area of the cut over
    /// the slope.
    pub density: f64,
}

/// Share of a box in which a linear quantity is at least zero, with what belongs to it.
///
/// `centre` is the quantity at the middle of the box, `changes` its change from face to face along
/// each edge. **Units**: those of the quantity.
///
/// **Reference**: inclusion and exclusion over the corners, Σ ±(corner)₊³ / (6·w₁·w₂·w₃) and its
/// integral and derivative (own derivation, checked against quadrature; the same form is known for
/// sums of uniform variables).
#[must_use]
#[inline] // most boxes lie on one side
pub fn plane_cut(centre: f64, changes: [f64; 3]) -> PlaneCut {
    let w = changes.map(f64::abs);
    let reach = (w[0] + w[1] + w[2]) / 2.0;
    if centre >= reach {
        return PlaneCut { share: 1.0, excess: centre, density: 0.0 };
    }
    if centre <= -reach {
        return PlaneCut::default();
    }
    across(centre, w)
}

/// The same where the plane goes through the box.
fn across(centre: f64, w: [f64; 3]) -> PlaneCut {
    let largest = w[0].max(w[1]).max(w[2]);
    // Edges along which the quantity hardly changes do not cut; leaving them out avoids a
    // difference of nearly equal cubes.
    let mut edges = [0.0; 3];
    let mut n = 0;
    for x in w {
        if x > 1e-4 * largest {
            edges[n] = x;
            n += 1;
        }
    }
    let mut sums = [0.0; 3];
    for corner in 0..(1_u32 << n) {
        let (mut sign, mut top) = (1.0, centre);
        for (i, e) in edges[..n].iter().enumerate() {
            if corner >> i & 1 == 1 {
                sign = -sign;
                top -= e / 2.0;
            } else {
                top += e / 2.0;
            }
        }
        if top > 0.0 {
            let power = top.powi(i32::try_from(n).unwrap_or(3) - 1);
            sums[0] += sign * power;
            sums[1] += sign * power * top;
            sums[2] += sign * power * top * top;
        }
    }
    let below = [1.0, 1.0, 1.0, 2.0][n];
    let product = edges[..n].iter().product::<f64>();
    #[allow(clippy::cast_precision_loss)] // at most 3
    let count = n as f64;
    PlaneCut {
        density: (sums[0] / (below * product)).max(0.0),
        share: (sums[1] / (below * count * product)).clamp(0.0, 1.0),
        excess: (sums[2] / (below * count * (count + 1.0) * product)).max(0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against counting points of a lattice in the box: right to one layer of the lattice.
    #[test]
    fn shares_agree_with_counting() {
        let n = 60;
        for (centre, changes) in [
            (0.2, [1.0, 0.5, 0.3]),
            (-0.4, [0.7, -0.2, 1.1]),
            (0.1, [0.0, 0.0, 0.8]),
            (0.3, [1.0, 1e-9, 0.6]),
        ] {
            let mut count = 0;
            for i in 0..n * n * n {
                let at = |k: i32| (f64::from(k % n) + 0.5) / f64::from(n) - 0.5;
                let x = [at(i), at(i / n), at(i / n / n)];
                let q: f64 = centre + x.iter().zip(changes).map(|(x, c)| x * c).sum::<f64>();
                count += i32::from(q >= 0.0);
            }
            let plain = f64::from(count) / f64::from(n * n * n);
            // The share is the slope of the excess, the density that of the share.
            let (a, b) = (plane_cut(centre - 1e-5, changes), plane_cut(centre + 1e-5, changes));
            let now = plane_cut(centre, changes);
            assert!(((b.excess - a.excess) / 2e-5 - now.share).abs() < 1e-4, "{changes:?}");
            assert!(((b.share - a.share) / 2e-5 - now.density).abs() < 1e-3, "{changes:?}");
            assert!(
                (plane_cut(centre, changes).share - plain).abs() < 1.0 / f64::from(n) + 1e-9,
                "{changes:?}"
            );
        }
        assert_eq!(plane_cut(1.0, [0.0; 3]).share, 1.0);
        assert_eq!(plane_cut(-1.0, [0.0; 3]).share, 0.0);
        assert_eq!(plane_cut(0.0, [0.0, 2.0, 0.0]).share, 0.5);
    }
}
