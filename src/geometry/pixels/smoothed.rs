//! Steps of pixels taken out of an outline: the smoothest ring that still crosses every link from a
//! pixel inside to a pixel outside, and encloses the area of the mask.
//!
//! A ring has one point on each link, at t from −½ to ½ of it. The points minimise
//! Σ (t − r)² + λ Σ |second difference|² / pixel², a smoothing spline on an uneven lattice, with r the
//! same small push outward for all, found so that the area is kept. Since no point leaves its link,
//! and the links that meet in one cell between pixel centres are sides of that cell, no two rings
//! cross: no hole closes, no thin wall opens, no piece is lost.

use super::{Link, Pixels, Style, sub};
use crate::polygon::{self, Point2};
use crate::stack::PlaneStack;

/// Weight of the second differences. Waves along the outline shorter than about five pixels are
/// steps: at this weight half of such a wave is left.
const STIFFNESS: f64 = 4.0;
/// Sweeps over a ring. A sweep reaches two points further, and steps are a few points long.
const SWEEPS: usize = 60;
/// The area is set right so often while the points settle.
const SWEEPS_PER_AREA: usize = 6;
/// Steps that set the area right in the end; points that have reached the end of their link no longer
/// follow, so it takes a few.
const LAST_STEPS: usize = 3;
/// Points stay this share of half a link away from its ends, so that two rings that share a pixel
/// centre do not touch.
const WITHIN: f64 = 0.98;

/// A stack with its steps taken out.
#[must_use]
pub fn smoothed(stack: &PlaneStack, pixels: &Pixels) -> PlaneStack {
    let mut out = stack.clone();
    out.pixel_mm = Some(pixels.pixel_mm());
    for plane in &mut out.planes {
        let smooth =
            |ring: &Vec<Point2>| ring_of(&pixels.links(ring), pixels.mask_area_mm2(ring), pixels);
        plane.region = plane.region.with_rings(plane.region.rings().iter().map(smooth).collect());
    }
    out
}

/// A stack whose planes, counted from the first, are larger by so many standard deviations of the area
/// of their masks as `more` tells: every outline moved outward by the same small distance.
#[must_use]
pub fn larger(stack: &PlaneStack, pixels: &Pixels, more: impl Fn(usize) -> f64) -> PlaneStack {
    let mut out = stack.clone();
    for (k, plane) in out.planes.iter_mut().enumerate() {
        let rings: Vec<Vec<Point2>> = plane
            .region
            .rings()
            .iter()
            .map(|ring| {
                let around: f64 = polygon::edges(ring).map(|(a, b)| length(sub(b, a))).sum();
                moved_outward(ring, more(k) * pixels.area_doubt_mm2(around) / around)
            })
            .collect();
        plane.region = plane.region.with_rings(rings);
    }
    out
}

/// A stack moved along both axes of its planes by this share of what the pixels of a plane leave open
/// of its centre.
///
/// When the outline of a disc of radius r is off independently all round, by an area of σ altogether,
/// its centre is off by σ / (√2 π r) along either axis.
#[must_use]
pub fn moved(stack: &PlaneStack, pixels: &Pixels, share: f64) -> PlaneStack {
    let mut out = stack.clone();
    for plane in &mut out.planes {
        let around = super::outline_mm(&plane.region);
        let radius = (plane.region.area() / std::f64::consts::PI).sqrt();
        let doubt = pixels.area_doubt_mm2(around);
        let by = share * doubt / (std::f64::consts::SQRT_2 * std::f64::consts::PI * radius);
        plane.region = plane.region.moved([by; 2]);
    }
    out
}

/// Every vertex moved to the right of the way between its neighbours, which leads out of the material.
fn moved_outward(ring: &[Point2], by_mm: f64) -> Vec<Point2> {
    let n = ring.len();
    let moved = |i: usize| {
        let run = sub(ring[(i + 1) % n], ring[(i + n - 1) % n]);
        let along = length(run);
        let by = if along > 0.0 { by_mm / along } else { 0.0 };
        [ring[i][0] + by * run[1], ring[i][1] - by * run[0]]
    };
    (0..n).map(moved).collect()
}

/// A stack with the steps of its pixels, however its outlines were traced: of points that may lie
/// anywhere on a lattice, the outlines as they are.
#[must_use]
pub fn stepped(stack: &PlaneStack, pixels: &Pixels) -> PlaneStack {
    let mut out = stack.clone();
    if pixels.style != Style::Middles {
        return out;
    }
    for plane in &mut out.planes {
        let rings = plane.region.rings().iter().map(|ring| steps_of(&pixels.links(ring), pixels));
        plane.region = plane.region.with_rings(rings.collect());
    }
    out
}

/// The corners between the pixel edges that links cross.
fn steps_of(links: &[Link], pixels: &Pixels) -> Vec<Point2> {
    let corner = |link: &Link| {
        // A pixel edge runs to the left of the way out, as far as the pixel is wide there.
        let [a, b] = pixels.turned(link.across);
        let [wide, high] = pixels.size_mm;
        let along = if a.abs() > b.abs() {
            pixels.back([0.0, a.signum() * high])
        } else {
            pixels.back([-b.signum() * wide, 0.0])
        };
        [link.at[0] + along[0] / 2.0, link.at[1] + along[1] / 2.0]
    };
    links.iter().map(corner).collect()
}

fn length([u, v]: Point2) -> f64 {
    u.hypot(v)
}

fn ring_of(links: &[Link], area_mm2: f64, pixels: &Pixels) -> Vec<Point2> {
    let n = links.len();
    let mut ring: Vec<Point2> = links.iter().map(|l| l.at).collect();
    if n < 5 {
        return ring;
    }
    let square = pixels.size_mm[0] * pixels.size_mm[1];
    let mut shift = vec![0.0_f64; n];
    let mut push = 0.0;
    for sweep in 0..SWEEPS {
        if sweep % SWEEPS_PER_AREA == 0 {
            push += push_for(&ring, links, area_mm2);
        }
        for i in 0..n {
            let at = |d: usize| ring[(i + n + d - 2) % n];
            let link = links[i];
            let mut pull = 0.0;
            let mut own = 0.0;
            for axis in 0..2 {
                let rest = at(0)[axis] - 4.0 * at(1)[axis] + 6.0 * link.at[axis]
                    - 4.0 * at(3)[axis]
                    + at(4)[axis];
                pull += link.across[axis] * rest;
                own += link.across[axis] * link.across[axis];
            }
            let weight = STIFFNESS / square;
            let t = (push - weight * pull) / (1.0 + 6.0 * weight * own);
            shift[i] = t.clamp(-0.5 * WITHIN, 0.5 * WITHIN);
            ring[i] = [0, 1].map(|a| link.at[a] + shift[i] * link.across[a]);
        }
    }
    // What is left to the area is small: last steps without smoothing.
    for _ in 0..LAST_STEPS {
        let last = push_for(&ring, links, area_mm2);
        for i in 0..n {
            shift[i] = (shift[i] + last).clamp(-0.5 * WITHIN, 0.5 * WITHIN);
            ring[i] = [0, 1].map(|a| links[i].at[a] + shift[i] * links[i].across[a]);
        }
    }
    ring
}

/// By how much of a link all points have to go outward for the area.
fn push_for(ring: &[Point2], links: &[Link], area_mm2: f64) -> f64 {
    let n = ring.len();
    let mut per_push = 0.0;
    for i in 0..n {
        // A point moved by d changes the area by half the cross product of d with the way between
        // its neighbours.
        let run = sub(ring[(i + 1) % n], ring[(i + n - 1) % n]);
        per_push += (links[i].across[0] * run[1] - links[i].across[1] * run[0]) / 2.0;
    }
    let missing = area_mm2 - polygon::signed_area(ring);
    if per_push > 0.0 { (missing / per_push).clamp(-0.3, 0.3) } else { 0.0 }
}

/// Planes as near as this many pixels are fitted together: as far as the smoothing along an outline
/// reaches.
pub(crate) const FIT_PIXELS: f64 = 2.1;

/// Weights by which values at places w, the first of which is 0, give the best parabola's value at 0,
/// by least squares; empty where a parabola goes through all of them.
pub(crate) fn parabola_weights(w: &[f64]) -> Vec<f64> {
    if w.len() <= 3 {
        return Vec::new();
    }
    let scale = w.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    let x: Vec<f64> = w.iter().map(|w| w / scale).collect();
    // Sums of powers, and the first row of the inverse of the normal equations.
    let s = |k: i32| x.iter().map(|x| x.powi(k)).sum::<f64>();
    let (s0, s1, s2, s3, s4) = (s(0), s(1), s(2), s(3), s(4));
    let [a, b, c] = [s2 * s4 - s3 * s3, s2 * s3 - s1 * s4, s1 * s3 - s2 * s2];
    let determinant = s0 * a + s1 * b + s2 * c;
    if determinant <= f64::EPSILON {
        return Vec::new();
    }
    x.iter().map(|x| (a + b * x + c * x * x) / determinant).collect()
}

/// A fitted field, nowhere further from the drawn one than half a pixel.
pub(crate) fn within_half_a_pixel(drawn: &[f64], fitted: Vec<f64>, pixel_mm: f64) -> Vec<f64> {
    // With the radius r of its deepest point a field has values d (d + 2 r) at a distance d from
    // its outline.
    let lowest = drawn.iter().copied().fold(0.0, f64::min);
    let radius = (-lowest).sqrt();
    let half = 0.5 * WITHIN * pixel_mm;
    let mut out = fitted;
    for (x, own) in out.iter_mut().zip(drawn) {
        let near = (own - lowest).max(0.0).sqrt() - radius;
        let [low, high] = [near - half, near + half].map(|d| d * (d + 2.0 * radius));
        // Deeper than half a pixel below the middle there is nothing to keep.
        if near - half > -radius {
            *x = x.clamp(low, high);
        }
    }
    out
}
