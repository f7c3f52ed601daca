//! Points and directions of the patient coordinate system, as three numbers in mm.

/// A point or a direction: x to the patient's left, y to the back, z to the head; mm.
pub type Point = [f64; 3];

/// `a + b`.
#[must_use]
pub fn add(a: Point, b: Point) -> Point {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// `a − b`.
#[must_use]
pub fn sub(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// `a` stretched by `factor`.
#[must_use]
pub fn scale(a: Point, factor: f64) -> Point {
    [a[0] * factor, a[1] * factor, a[2] * factor]
}

/// Halfway between two points.
#[must_use]
pub fn midpoint(a: Point, b: Point) -> Point {
    scale(add(a, b), 0.5)
}

/// Scalar product.
#[must_use]
pub fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Vector product `a × b`.
#[must_use]
pub fn cross(a: Point, b: Point) -> Point {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Square of the distance between two points.
#[must_use]
pub fn distance_2(a: Point, b: Point) -> f64 {
    let d = sub(a, b);
    dot(d, d)
}

/// Euclidean length, in the unit of the components.
#[must_use]
pub fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

/// The direction of `a` with length one, or nothing when `a` has no direction.
#[must_use]
pub fn unit(a: Point) -> Option<Point> {
    let l = length(a);
    (l > 0.0 && l.is_finite()).then(|| scale(a, 1.0 / l))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn x_cross_y_is_z() {
        assert_eq!(cross([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]), [0.0, 0.0, 1.0]);
        assert_eq!(unit([0.0, 0.0, 0.0]), None);
        assert_eq!(unit([0.0, 0.0, 4.0]), Some([0.0, 0.0, 1.0]));
    }
}
