//! What the sum of slices makes of a sphere: exact error terms.

use std::f64::consts::PI;

use super::ball;

/// Planes `(k + shift)·spacing` that cut a ball about the origin, increasing.
pub fn slices(radius: f64, spacing: f64, shift: f64) -> Vec<f64> {
    let from = (-radius / spacing - shift).floor() as i64 - 1;
    let to = (radius / spacing - shift).ceil() as i64 + 1;
    let all = (from..=to).map(|k| (k as f64 + shift) * spacing);
    all.filter(|z| z.abs() < radius).collect()
}

/// Volume of a ball as the sum of exact areas times slice spacing.
pub fn slab_sum(radius: f64, spacing: f64, shift: f64) -> f64 {
    let areas = slices(radius, spacing, shift);
    spacing * areas.iter().map(|z| PI * (radius * radius - z * z)).sum::<f64>()
}

/// Exact relative error of [`slab_sum`]: Euler–Maclaurin at the two poles, with the Bernoulli
/// polynomials of the distance, in slices, from each pole to the first plane.
pub fn slab_sum_error(radius: f64, spacing: f64, shift: f64) -> f64 {
    let fraction = |x: f64| x - x.floor();
    let poles = [fraction(radius / spacing + shift), fraction(radius / spacing - shift)];
    let second = |x: f64| x * x - x + 1.0 / 6.0;
    let third = |x: f64| x.powi(3) - 1.5 * x * x + 0.5 * x;
    let sum = |f: &dyn Fn(f64) -> f64| poles.iter().map(|x| f(*x)).sum::<f64>();
    (-spacing.powi(2) * PI * radius * sum(&second) + spacing.powi(3) * PI / 3.0 * sum(&third))
        / ball(radius)
}

/// Share of the area that a regular polygon inscribed in a circle or ellipse lacks.
pub fn polygon_area_deficit(vertices: usize) -> f64 {
    let angle = 2.0 * PI / vertices as f64;
    1.0 - angle.sin() / angle
}
