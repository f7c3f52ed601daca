//! The share of a box on one side of a plane: exact for a quantity that is linear in the box.

/// Share of a box in which a linear quantity is at least zero.
///
/// `centre` is the quantity at the middle of the box, `changes` its change from face to face along
/// each edge. **Units**: those of the quantity; the result is between 0 and 1.
///
/// **Reference**: inclusion and exclusion over the corners, Σ ±(corner)₊³ / (6·w₁·w₂·w₃) (own
/// derivation, checked against quadrature; the same form is known for sums of uniform variables).
#[must_use]
pub fn share_above(centre: f64, changes: [f64; 3]) -> f64 {
    let w = changes.map(f64::abs);
    let reach = (w[0] + w[1] + w[2]) / 2.0;
    if centre >= reach {
        return 1.0;
    }
    if centre <= -reach {
        return 0.0;
    }
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
    let mut sum = 0.0;
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
            sum += sign * top.powi(i32::try_from(n).unwrap_or(3));
        }
    }
    let factorial = [1.0, 1.0, 2.0, 6.0][n];
    (sum / (factorial * edges[..n].iter().product::<f64>())).clamp(0.0, 1.0)
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
            assert!(
                (share_above(centre, changes) - plain).abs() < 1.0 / f64::from(n) + 1e-9,
                "{changes:?}"
            );
        }
        assert_eq!(share_above(1.0, [0.0; 3]), 1.0);
        assert_eq!(share_above(-1.0, [0.0; 3]), 0.0);
        assert_eq!(share_above(0.0, [0.0, 2.0, 0.0]), 0.5);
    }
}
