//! Outlines that a drawing program traced around the pixels of a mask: seen by their vertices, which
//! lie on a lattice. What the pixel size is, how the outline runs through the pixels, and which way
//! each of its points may be moved without any pixel changing sides. [`smoothed`] undoes the steps.
//!
//! Three ways to trace a mask are told apart; how common each is, is common practice and from
//! memory:
//!
//! | style | vertices | a pixel is inside |
//! |---|---|---|
//! | `edges` | corners of pixels; sides run along pixel edges | when its centre is |
//! | `middles` | middles of pixel edges, as contouring a mask at half height gives | when its centre is |
//! | `corners` | any points of a lattice: outlines rounded, thinned, or traced through pixel centres | not known |

mod smoothed;

use super::polygon::{self, Point2};
use super::region::Region;
use super::stack::PlaneStack;
pub(crate) use smoothed::{FIT_PIXELS, parabola_weights, within_half_a_pixel};
pub use smoothed::{larger, moved, smoothed, stepped};

/// How an outline runs through the pixels of its mask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Along their edges.
    Edges,
    /// Through the middles of their edges.
    Middles,
    /// From one point of a lattice to another.
    Corners,
}

/// The lattice on which the vertices of a structure lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pixels {
    /// Edge length of a pixel along both directions of the lattice, mm.
    pub size_mm: [f64; 2],
    /// Unit vector of the first direction, in the plane; the second is a quarter turn further.
    pub direction: Point2,
    /// How the outlines run through the pixels.
    pub style: Style,
}

/// Finer lattices move a surface by less than a drawn outline is uncertain, mm.
const LEAST_STEP_MM: f64 = 0.15;
/// No image of a head has coarser pixels, mm: larger steps are the sides of a box.
const LARGEST_PIXEL_MM: f64 = 3.0;
/// Coordinates of one column differ by their rounding only: not a step, mm.
const SAME_PLACE_MM: f64 = 0.03;
/// An outline with fewer corners may be a box.
const LEAST_CORNERS: usize = 8;
/// Standard deviation of a place on a lattice where it is chance, in steps: uniform over one.
const BY_CHANCE: f64 = 0.288_675;

/// A lattice that outlines may lie on.
#[derive(Clone, Copy)]
struct Fit {
    pixels: Pixels,
    /// Standard deviation of the places about it, in steps.
    spread: f64,
}

impl Fit {
    /// Whether it says more of the same outlines than another lattice.
    fn is_better_than(&self, other: &Self) -> bool {
        // Few different lengths may come near to the multiples of some step by chance.
        let [own, best] = [self.spread, other.spread].map(|s| s.max(EXACT_SPREAD));
        if own < best / 3.0 || best < own / 3.0 {
            return own < best;
        }
        // Any lattice is also that of the middles of pixels turned by an eighth: then the axes of the
        // patient, along which images lie, decide. Edges leave no doubt.
        let upright = other.pixels.direction == [1.0, 0.0];
        match self.pixels.style {
            Style::Edges => other.pixels.style != Style::Edges,
            style => !upright && (style as u8) < other.pixels.style as u8,
        }
    }
}

/// Spreads below this are the rounding of numbers.
const EXACT_SPREAD: f64 = 1e-3;
/// Places may scatter about the lattice by this share of a step: coordinates with one decimal do by
/// 0.041 mm.
const MOST_SPREAD: f64 = 0.1;

impl Pixels {
    /// The lattice of a structure's outlines; absent where they were not traced on one.
    #[must_use]
    pub fn of(stack: &PlaneStack) -> Option<Self> {
        let rings = || stack.planes.iter().flat_map(|p| p.region.rings());
        if rings().map(|r| corners(r)).max()? < LEAST_CORNERS {
            return None;
        }
        let along = longest_side(rings())?;
        let half = std::f64::consts::FRAC_1_SQRT_2;
        let between = [half * (along[0] - along[1]), half * (along[0] + along[1])];
        let mut found: Option<Fit> = None;
        for direction in [[1.0, 0.0], along, between] {
            let Some(fit) = Self::along(direction, rings()) else { continue };
            if found.is_none_or(|best| fit.is_better_than(&best)) {
                found = Some(fit);
            }
        }
        found.map(|fit| fit.pixels)
    }

    fn along<'r>(
        direction: Point2,
        rings: impl Iterator<Item = &'r Vec<Point2>> + Clone,
    ) -> Option<Fit> {
        let frame = Self { size_mm: [1.0; 2], direction, style: Style::Corners };
        let sides = || rings.clone().flat_map(|r| polygon::edges(r));
        let steps: Vec<Point2> = sides().map(|(a, b)| frame.turned(sub(b, a))).collect();
        let step = |axis: usize| step_mm(steps.iter().map(|s| s[axis].abs()).collect());
        let both = [step(0)?, step(1)?];
        let step_mm = both.map(|s| s.mm);
        let spread = f64::max(both[0].spread, both[1].spread);
        let counted: Vec<[i64; 2]> =
            steps.iter().map(|s| [0, 1].map(|i| whole(s[i] / step_mm[i]))).collect();
        let straight = counted.iter().all(|c| c[0] == 0 || c[1] == 0);
        let slanted = counted.iter().all(|c| c[0] == 0 || c[1] == 0 || c[0].abs() == c[1].abs());
        let even = counted.iter().all(|c| (c[0] + c[1]) % 2 == 0);
        let (style, pixel) = match (straight, slanted && even) {
            (true, _) => (Style::Edges, 1.0),
            (false, true) => (Style::Middles, 2.0),
            (false, false) => (Style::Corners, 1.0),
        };
        let size_mm = step_mm.map(|s| s * pixel);
        let fits = size_mm.iter().all(|s| *s <= LARGEST_PIXEL_MM);
        fits.then_some(Fit { pixels: Self { size_mm, direction, style }, spread })
    }

    /// Edge length of a square pixel of the same area, mm.
    #[must_use]
    pub fn pixel_mm(&self) -> f64 {
        (self.size_mm[0] * self.size_mm[1]).sqrt()
    }

    /// What was seen, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let [a, b] = self.size_mm;
        let how = match self.style {
            Style::Edges => "along the edges of pixels",
            Style::Middles => "through the middles of the edges of pixels",
            Style::Corners => "from point to point of a lattice",
        };
        format!("outlines run {how} of {a:.3} by {b:.3} mm")
    }

    /// A vector of the plane along the directions of the lattice.
    fn turned(&self, [u, v]: Point2) -> Point2 {
        let [c, s] = self.direction;
        [c * u + s * v, c * v - s * u]
    }

    /// The reverse of [`Self::turned`].
    fn back(&self, [a, b]: Point2) -> Point2 {
        let [c, s] = self.direction;
        [c * a - s * b, s * a + c * b]
    }

    /// Standard deviation of the area of outlines of this length on one plane, mm².
    ///
    /// Where pixels were chosen by their centres each pixel edge on the outline lies uniformly within
    /// half a pixel of the true surface along its link (the line between the centres of the pixel
    /// inside and the one outside), a variance of 1/12 of the pixel area squared, and there are 4/π
    /// links per pixel length of a smooth outline on average over its directions. Links are taken as
    /// independent, which for circles agrees with counting (test below).
    ///
    /// Points on a lattice may all lie on one side, as when they are the centres of the outermost
    /// pixels: then the whole outline is uniformly within half a pixel.
    #[must_use]
    pub fn area_doubt_mm2(&self, length_mm: f64) -> f64 {
        let [a, b] = self.size_mm;
        if self.style == Style::Corners {
            return length_mm * self.pixel_mm() / 12.0_f64.sqrt();
        }
        let links = 4.0 / std::f64::consts::PI * length_mm / self.pixel_mm();
        a * b * (links / 12.0).sqrt()
    }

    /// The same for all of so many planes at once, as a share of that of each plane.
    #[must_use]
    pub fn volume_share(&self, planes: usize) -> f64 {
        match self.style {
            Style::Corners => 1.0,
            // The areas of planes are wrong independently of each other.
            #[allow(clippy::cast_precision_loss)] // planes
            Style::Edges | Style::Middles => 1.0 / (planes.max(1) as f64).sqrt(),
        }
    }
}

fn sub(a: Point2, b: Point2) -> Point2 {
    [a[0] - b[0], a[1] - b[1]]
}

#[allow(clippy::cast_possible_truncation)] // steps of an outline
fn whole(x: f64) -> i64 {
    x.round() as i64
}

/// Vertices at which a ring turns by more than its rounding.
fn corners(ring: &[Point2]) -> usize {
    let n = ring.len();
    (0..n)
        .filter(|&i| {
            let (d, e) = (sub(ring[i], ring[(i + n - 1) % n]), sub(ring[(i + 1) % n], ring[i]));
            let turn = (d[0] * e[1] - d[1] * e[0]).atan2(d[0] * e[0] + d[1] * e[1]);
            turn.abs() > 0.2
        })
        .count()
}

/// Direction of the longest side of all.
fn longest_side<'r>(rings: impl Iterator<Item = &'r Vec<Point2>>) -> Option<Point2> {
    let mut longest = [0.0; 2];
    for (a, b) in rings.flat_map(|r| polygon::edges(r)) {
        let side = sub(b, a);
        if side[0].hypot(side[1]) > f64::hypot(longest[0], longest[1]) {
            longest = side;
        }
    }
    let length = longest[0].hypot(longest[1]);
    (length > 0.0).then(|| longest.map(|x| x / length))
}

/// A step of which lengths are whole multiples.
#[derive(Clone, Copy)]
struct Step {
    mm: f64,
    /// Standard deviation of the places about its multiples, in steps.
    spread: f64,
}

/// The step of which all these lengths are whole multiples, mm; absent where there is none.
fn step_mm(mut lengths: Vec<f64>) -> Option<Step> {
    lengths.retain(|l| *l > SAME_PLACE_MM);
    lengths.sort_by(f64::total_cmp);
    // The shortest ones are single steps, but for a few that overlaying rings cut off; of few sides
    // the shortest may be two or three steps long.
    let short = *lengths.get(lengths.len() / 50)?;
    let like = |l: &f64| (0.7 * short..1.4 * short).contains(l);
    let alike: Vec<f64> = lengths.iter().copied().filter(like).collect();
    let typical = *alike.get(alike.len() / 2)?;
    [1.0, 2.0, 3.0].into_iter().find_map(|count| multiples_of(typical / count, &lengths))
}

/// The step near to this one of which the lengths are whole multiples.
fn multiples_of(about: f64, lengths: &[f64]) -> Option<Step> {
    let mut step = about;
    for most in [1.5, 4.5, 16.5, 64.5] {
        let (mut over, mut under) = (0.0, 0.0);
        for l in lengths.iter().filter(|l| **l < most * step) {
            let count = (l / step).round();
            over += count * l;
            under += count * count;
        }
        if under > 0.0 {
            step = over / under;
        }
    }
    #[allow(clippy::cast_precision_loss)] // sides of outlines
    let n = lengths.len() as f64;
    let square = |l: &f64| (l / step - (l / step).round()).powi(2);
    let spread = (lengths.iter().map(square).sum::<f64>() / n).sqrt();
    // The variance of n places that lie by chance has a standard deviation of √(0.8/n) of itself:
    // six of these below it is no chance.
    let least = (1.0 - 6.0 * (0.8 / n).sqrt()).max(0.02);
    let most = (BY_CHANCE * least.sqrt()).min(MOST_SPREAD);
    (step >= LEAST_STEP_MM && spread < most).then_some(Step { mm: step, spread })
}

/// One point of an outline and the line on which it may lie.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Link {
    /// The point as it was traced.
    at: Point2,
    /// From the last place that is certainly inside to the first that is certainly outside.
    across: Point2,
}

impl Pixels {
    /// The links that a ring crosses, in its order. Material lies on the left of a ring, whether it
    /// is an outer one or a hole.
    fn links(&self, ring: &[Point2]) -> Vec<Link> {
        match self.style {
            Style::Edges => self.links_of_edges(ring),
            Style::Middles => self.links_of_middles(ring),
            Style::Corners => self.links_of_corners(ring),
        }
    }

    /// Pixel edges, one after the other: each is crossed by the link of the two pixels beside it.
    fn links_of_edges(&self, ring: &[Point2]) -> Vec<Link> {
        let mut out = Vec::new();
        for (a, b) in polygon::edges(ring) {
            let side = self.turned(sub(b, a));
            let axis = usize::from(side[1].abs() > side[0].abs());
            let count = whole(side[axis] / self.size_mm[axis]).unsigned_abs();
            // To the right of the direction in which the ring runs.
            let sign = side[axis].signum();
            let across = if axis == 0 {
                [0.0, -sign * self.size_mm[1]]
            } else {
                [sign * self.size_mm[0], 0.0]
            };
            let across = self.back(across);
            for k in 0..count {
                #[allow(clippy::cast_precision_loss)] // pixels along an outline
                let t = (k as f64 + 0.5) / count as f64;
                out.push(Link { at: mix(a, b, t), across });
            }
        }
        out
    }

    /// Middles of pixel edges, also those that were left out where the outline runs straight on.
    fn links_of_middles(&self, ring: &[Point2]) -> Vec<Link> {
        let half = self.size_mm.map(|s| s / 2.0);
        let Some(&first) = ring.first() else { return Vec::new() };
        // Along a side that follows one direction the links run along the other. Which of the two
        // kinds a point is follows from its distance from the first in half pixels.
        let mut even_axis = None;
        for (a, b) in polygon::edges(ring) {
            let steps = [0, 1].map(|i| whole(self.turned(sub(b, a))[i] / half[i]));
            if (steps[0] == 0) != (steps[1] == 0) {
                let axis = usize::from(steps[1] == 0);
                let is_even = whole(self.turned(sub(a, first))[0] / half[0]) % 2 == 0;
                even_axis = Some(if is_even { axis } else { 1 - axis });
                break;
            }
        }
        let mut out = Vec::new();
        for (a, b) in polygon::edges(ring) {
            let side = self.turned(sub(b, a));
            let steps = [0, 1].map(|i| whole(side[i] / half[i]).unsigned_abs());
            let slanted = steps[0] > 0 && steps[1] > 0;
            let count = if slanted { steps[0] } else { steps[0].max(steps[1]) / 2 };
            for k in 0..count {
                #[allow(clippy::cast_precision_loss)] // pixels along an outline
                let at = mix(a, b, k as f64 / count as f64);
                let is_even = whole(self.turned(sub(at, first))[0] / half[0]) % 2 == 0;
                let axis = even_axis.map(|even| if is_even { even } else { 1 - even });
                // Without a straight side a point may lie on a link of either direction: half of each.
                let right = [side[1].signum(), -side[0].signum()];
                let across = match axis {
                    Some(0) => [right[0] * self.size_mm[0], 0.0],
                    Some(_) => [0.0, right[1] * self.size_mm[1]],
                    None => [right[0] * half[0], right[1] * half[1]],
                };
                out.push(Link { at, across: self.back(across) });
            }
        }
        self.with_directions(out)
    }

    /// Where a side runs straight the link is square to it, but at a corner its sense may be that of
    /// the next side: what has no extent gets the one of its neighbour.
    fn with_directions(&self, mut links: Vec<Link>) -> Vec<Link> {
        let n = links.len();
        for i in 0..n {
            let (before, after) = (links[(i + n - 1) % n].at, links[(i + 1) % n].at);
            let run = sub(after, before);
            let right = [run[1], -run[0]];
            let link = &mut links[i];
            let length = self.size_mm[0].hypot(self.size_mm[1]);
            if link.across[0].abs() + link.across[1].abs() < 1e-3 * length {
                let size = right[0].hypot(right[1]).max(f64::MIN_POSITIVE);
                let pixel = self.pixel_mm();
                link.across = right.map(|x| x / size * pixel);
            }
            let dot = link.across[0] * right[0] + link.across[1] * right[1];
            if dot < 0.0 {
                link.across = link.across.map(|x| -x);
            }
        }
        links
    }

    /// Points about a pixel apart along the outline, which the lattice leaves open by half a pixel to
    /// either side.
    fn links_of_corners(&self, ring: &[Point2]) -> Vec<Link> {
        let pixel = self.pixel_mm();
        let mut points = Vec::new();
        for (a, b) in polygon::edges(ring) {
            let side = sub(b, a);
            let count = whole(side[0].hypot(side[1]) / pixel).max(1);
            #[allow(clippy::cast_precision_loss)] // pixels along an outline
            points.extend((0..count).map(|k| mix(a, b, k as f64 / count as f64)));
        }
        let n = points.len();
        (0..n)
            .map(|i| {
                let run = sub(points[(i + 1) % n], points[(i + n - 1) % n]);
                let size = run[0].hypot(run[1]).max(f64::MIN_POSITIVE);
                Link { at: points[i], across: [run[1] / size * pixel, -run[0] / size * pixel] }
            })
            .collect()
    }

    /// Area that a ring encloses as its mask has it, mm², signed as the ring is.
    fn mask_area_mm2(&self, ring: &[Point2]) -> f64 {
        let drawn = polygon::signed_area(ring);
        match self.style {
            // Every corner of the mask loses an eighth of a pixel, every inward one gains as much,
            // and a ring has four more of the former.
            Style::Middles => drawn + 0.5 * self.size_mm[0] * self.size_mm[1] * drawn.signum(),
            Style::Edges | Style::Corners => drawn,
        }
    }
}

fn mix(a: Point2, b: Point2, t: f64) -> Point2 {
    [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
}

/// Length of all outlines of a region, mm.
#[must_use]
pub fn outline_mm(region: &Region) -> f64 {
    let sides = region.rings().iter().flat_map(|r| polygon::edges(r));
    sides.map(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1])).sum()
}

#[cfg(test)]
mod tests;
