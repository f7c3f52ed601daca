//! The filled area of one plane: drawn rings, with their crossings, holes and repetitions, become
//! simple rings that do not cross.
//!
//! Rules. A ring that crosses itself is filled by even-odd, which also reads a keyhole (a channel
//! that runs in, round a hole and back) whatever its winding (DICOM PS3.3 C.8.8.6.3 names the
//! keyhole; even-odd for it is common practice). A ring inside another is a hole by parity; rings
//! that overlap partly are united; the same ring drawn twice counts once. With
//! [`Combine::ExclusiveOr`] all rings are combined by exclusive-or instead, as the standard says
//! of `CLOSEDPLANAR_XOR`.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::single::SingleFloatOverlay;

use super::polygon::{self, Bounds, NO_AREA_MM2, Point2};

/// How the rings of one plane belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Combine {
    /// Nested rings are holes, overlapping rings are united.
    Nested,
    /// Exclusive-or of all.
    ExclusiveOr,
}

/// What was met while the rings of a plane were combined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Oddities {
    /// Rings without area.
    pub degenerate: usize,
    /// Rings that repeat another.
    pub duplicate: usize,
    /// Rings that cross themselves.
    pub crossing: usize,
    /// Pairs of rings that overlap partly.
    pub overlapping: usize,
    /// Rings inside an odd number of others: holes.
    pub holes: usize,
    /// Rings below 1 mm² beside one of a hundred times their area.
    pub tiny: usize,
}

impl std::ops::AddAssign for Oddities {
    fn add_assign(&mut self, o: Self) {
        self.degenerate += o.degenerate;
        self.duplicate += o.duplicate;
        self.crossing += o.crossing;
        self.overlapping += o.overlapping;
        self.holes += o.holes;
        self.tiny += o.tiny;
    }
}

/// A simple ring: one outer boundary (counter-clockwise) or one hole (clockwise).
pub type Ring = Vec<Point2>;
type Shape = Vec<Ring>;

/// A filled area made of simple rings that do not cross: outer ones turn counter-clockwise, holes
/// clockwise, so signed sums over all rings give area and moments.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Region {
    rings: Vec<Ring>,
    piece_of_ring: Vec<usize>,
}

impl Region {
    /// The rings.
    #[must_use]
    pub fn rings(&self) -> &[Ring] {
        &self.rings
    }

    /// Which connected piece each ring bounds; pieces are numbered from 0.
    #[must_use]
    pub fn piece_of_ring(&self) -> &[usize] {
        &self.piece_of_ring
    }

    /// Number of connected pieces.
    #[must_use]
    pub fn pieces(&self) -> usize {
        self.piece_of_ring.last().map_or(0, |p| p + 1)
    }

    /// Only the pieces for which `keep` says so.
    #[must_use]
    pub fn filtered(&self, keep: impl Fn(usize) -> bool) -> Self {
        let mut shapes: Vec<Shape> = Vec::new();
        let mut last = None;
        for (ring, &piece) in self.rings.iter().zip(&self.piece_of_ring) {
            if keep(piece) {
                if last != Some(piece) {
                    shapes.push(Vec::new());
                    last = Some(piece);
                }
                if let Some(shape) = shapes.last_mut() {
                    shape.push(ring.clone());
                }
            }
        }
        Self::of(shapes)
    }

    /// The same pieces with other outlines, one for each ring and in its direction.
    #[must_use]
    pub fn with_rings(&self, rings: Vec<Ring>) -> Self {
        Self { rings, piece_of_ring: self.piece_of_ring.clone() }
    }

    /// Moved by `by`, mm.
    #[must_use]
    pub fn moved(&self, by: Point2) -> Self {
        let mut moved = self.clone();
        for p in moved.rings.iter_mut().flatten() {
            *p = [p[0] + by[0], p[1] + by[1]];
        }
        moved
    }

    /// Area that two regions share, mm².
    #[must_use]
    pub fn common_area(&self, other: &Self) -> f64 {
        if !self.bounds().meets(&other.bounds()) {
            return 0.0;
        }
        area_of(&self.rings.overlay(&other.rings, OverlayRule::Intersect, FillRule::EvenOdd))
    }

    fn of(shapes: Vec<Shape>) -> Self {
        let piece_of_ring =
            shapes.iter().enumerate().flat_map(|(i, s)| s.iter().map(move |_| i)).collect();
        Self { rings: shapes.into_iter().flatten().collect(), piece_of_ring }
    }

    /// Whether it encloses nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rings.is_empty()
    }

    /// Area, mm².
    #[must_use]
    pub fn area(&self) -> f64 {
        self.rings.iter().map(|r| polygon::signed_area(r)).sum()
    }

    /// First moments ∫u dA and ∫v dA, mm³.
    #[must_use]
    pub fn moments(&self) -> Point2 {
        self.rings
            .iter()
            .map(|r| polygon::moments(r))
            .fold([0.0; 2], |s, m| [s[0] + m[0], s[1] + m[1]])
    }

    /// Bounding box; [`Bounds::EMPTY`] without rings.
    #[must_use]
    pub fn bounds(&self) -> Bounds {
        Bounds::of(self.rings.iter().flatten())
    }

    /// Combines drawn rings into a filled area; drawn rings may cross, repeat, overlap and nest.
    #[must_use]
    pub fn fill(drawn: &[Vec<Point2>], combine: Combine) -> (Self, Oddities) {
        let mut odd = Oddities::default();
        let mut pieces: Vec<Piece> = Vec::new();
        let mut seen: Vec<Vec<Point2>> = Vec::new();
        for ring in drawn {
            let ring = polygon::clean(ring);
            let Some(piece) = Piece::of(&ring, &mut odd) else { continue };
            let repeated = pieces
                .iter()
                .zip(&seen)
                .any(|(p, r)| close(p.area, piece.area) && polygon::same_ring(r, &ring));
            if repeated {
                odd.duplicate += 1;
                continue;
            }
            pieces.push(piece);
            seen.push(ring);
        }
        odd.tiny += tiny(&pieces);
        let shapes = match combine {
            Combine::ExclusiveOr => {
                odd.overlapping += overlapping_pairs(&pieces);
                even_odd(pieces.into_iter().flat_map(|p| p.shapes).collect())
            }
            Combine::Nested => nest(pieces, &mut odd),
        };
        (Self::of(shapes), odd)
    }
}

/// One drawn ring, resolved.
struct Piece {
    shapes: Vec<Shape>,
    bounds: Bounds,
    area: f64,
}

impl Piece {
    fn of(ring: &[Point2], odd: &mut Oddities) -> Option<Self> {
        let drawn_area = polygon::signed_area(ring).abs();
        let shapes = if ring.len() < 3 { Vec::new() } else { resolve(ring) };
        let area = area_of(&shapes);
        if area < NO_AREA_MM2 {
            odd.degenerate += 1;
            return None;
        }
        if (area - drawn_area).abs() > CROSSING_SHARE * area {
            odd.crossing += 1;
        }
        Some(Self { bounds: Bounds::of(shapes.iter().flatten().flatten()), shapes, area })
    }
}

/// No larger than a voxel of common images (1 mm wide), ...
const TINY_MM2: f64 = 1.0;
/// ... and this share of the largest ring at most: a slip of the pen, no structure of its own.
const TINY_SHARE: f64 = 0.01;

fn tiny(pieces: &[Piece]) -> usize {
    let largest = pieces.iter().map(|p| p.area).fold(0.0, f64::max);
    pieces.iter().filter(|p| p.area < TINY_MM2.min(TINY_SHARE * largest)).count()
}

/// A ring whose shoelace area differs from its even-odd area by more than this share crosses
/// itself; below it lie the snapping of coordinates and the width of keyhole channels.
const CROSSING_SHARE: f64 = 1e-3;
/// Two areas are the same within this share.
const SAME_AREA_SHARE: f64 = 1e-6;
/// Overlaps smaller than this share of the smaller ring are touching, not overlapping: outlines
/// traced along one another share slivers.
const TOUCHING_SHARE: f64 = 1e-3;

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME_AREA_SHARE * a.abs().max(b.abs())
}

fn area_of(shapes: &[Shape]) -> f64 {
    shapes.iter().flatten().map(|r| polygon::signed_area(r)).sum()
}

fn resolve(ring: &[Point2]) -> Vec<Shape> {
    let none: Vec<Ring> = Vec::new();
    vec![ring.to_vec()].overlay(&none, OverlayRule::Subject, FillRule::EvenOdd)
}

fn even_odd(shapes: Vec<Shape>) -> Vec<Shape> {
    let none: Vec<Ring> = Vec::new();
    let rings: Vec<Ring> = shapes.into_iter().flatten().collect();
    rings.overlay(&none, OverlayRule::Subject, FillRule::EvenOdd)
}

fn union(a: &[Shape], b: &[Shape]) -> Vec<Shape> {
    a.to_vec().overlay(&b.to_vec(), OverlayRule::Union, FillRule::EvenOdd)
}

/// Unites partly overlapping pieces, then reads nesting as holes by parity.
fn nest(mut pieces: Vec<Piece>, odd: &mut Oddities) -> Vec<Shape> {
    let mut i = 0;
    while i < pieces.len() {
        match (0..i).find(|&j| partly_overlap(&pieces[i], &pieces[j])) {
            Some(j) => {
                odd.overlapping += 1;
                let taken = pieces.remove(i);
                let shapes = union(&pieces[j].shapes, &taken.shapes);
                let united = Piece {
                    bounds: pieces[j].bounds.union(taken.bounds),
                    area: area_of(&shapes),
                    shapes,
                };
                // The union may now overlap earlier pieces: look at it again, last in line.
                pieces.remove(j);
                pieces.push(united);
                i = i.saturating_sub(1);
            }
            None => i += 1,
        }
    }
    if pieces.len() == 1 {
        return pieces.into_iter().flat_map(|p| p.shapes).collect();
    }
    odd.holes += (0..pieces.len())
        .filter(|&i| {
            (0..pieces.len()).filter(|&j| j != i && inside(&pieces[i], &pieces[j])).count() % 2 == 1
        })
        .count();
    even_odd(pieces.into_iter().flat_map(|p| p.shapes).collect())
}

fn common_area(a: &Piece, b: &Piece) -> f64 {
    if !a.bounds.meets(&b.bounds) {
        return 0.0;
    }
    area_of(&a.shapes.overlay(&b.shapes, OverlayRule::Intersect, FillRule::EvenOdd))
}

fn partly_overlap(a: &Piece, b: &Piece) -> bool {
    let (common, small) = (common_area(a, b), a.area.min(b.area));
    common > TOUCHING_SHARE * small && common < (1.0 - TOUCHING_SHARE) * small
}

fn overlapping_pairs(pieces: &[Piece]) -> usize {
    let before = |i: usize| pieces.iter().take(i);
    let pairs = pieces.iter().enumerate().flat_map(|(i, a)| before(i).map(move |b| (a, b)));
    pairs.filter(|(a, b)| partly_overlap(a, b)).count()
}

fn inside(a: &Piece, b: &Piece) -> bool {
    a.area < b.area && common_area(a, b) > (1.0 - TOUCHING_SHARE) * a.area
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(centre: Point2, side: f64) -> Vec<Point2> {
        let h = side / 2.0;
        [[-h, -h], [h, -h], [h, h], [-h, h]].map(|p| [p[0] + centre[0], p[1] + centre[1]]).to_vec()
    }

    fn area(drawn: &[Vec<Point2>], combine: Combine) -> (f64, Oddities) {
        let (region, odd) = Region::fill(drawn, combine);
        (region.area(), odd)
    }

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-4
    }

    /// Check values of a 40 mm square with a 20 mm square hole: 1200 mm² by even-odd, where
    /// shoelace gives 2000 and non-zero filling 1600 when both wind alike (own arithmetic).
    #[test]
    fn keyholes_of_either_winding_enclose_1200() {
        let outer = square([0.0, 0.0], 40.0);
        let inner = square([0.0, 0.0], 20.0);
        for reverse in [false, true] {
            let mut hole = inner.clone();
            if reverse {
                hole.reverse();
                hole.rotate_right(1);
            }
            let mut ring = outer.clone();
            ring.push(outer[0]);
            ring.extend(&hole);
            ring.push(hole[0]);
            let (a, _) = area(&[ring], Combine::Nested);
            assert!(near(a, 1200.0), "{a}");
        }
    }

    #[test]
    fn nested_rings_are_holes_and_islands() {
        let rings = [square([0.0, 0.0], 40.0), square([0.0, 0.0], 20.0), square([0.0, 0.0], 10.0)];
        let (a, odd) = area(&rings, Combine::Nested);
        assert!(near(a, 1600.0 - 400.0 + 100.0));
        assert_eq!(odd.holes, 1);
        assert!(near(area(&rings, Combine::ExclusiveOr).0, 1300.0));
    }

    #[test]
    fn a_ring_drawn_twice_counts_once() {
        let a = square([0.0, 0.0], 40.0);
        let mut b = a.clone();
        b.reverse();
        let (area, odd) = area(&[a, b], Combine::Nested);
        assert!(near(area, 1600.0));
        assert_eq!(odd.duplicate, 1);
    }

    /// Two squares of 1600 mm² that share 400 mm²: union 2800, exclusive-or 2400.
    #[test]
    fn partly_overlapping_rings_are_united() {
        let rings = [square([0.0, 0.0], 40.0), square([20.0, 20.0], 40.0)];
        let (a, odd) = area(&rings, Combine::Nested);
        assert!(near(a, 2800.0));
        assert_eq!(odd.overlapping, 1);
        assert!(near(area(&rings, Combine::ExclusiveOr).0, 2400.0));
    }

    /// A bow-tie of two triangles of 400 mm² has shoelace area 0 and even-odd area 800.
    #[test]
    fn a_bow_tie_is_two_triangles() {
        let (a, odd) =
            area(&[vec![[0.0, 0.0], [40.0, 40.0], [40.0, 0.0], [0.0, 40.0]]], Combine::Nested);
        assert!(near(a, 800.0), "{a}");
        assert_eq!(odd.crossing, 1);
    }

    #[test]
    fn lines_and_points_enclose_nothing() {
        let drawn = [vec![[0.0, 0.0]], vec![[0.0, 0.0], [5.0, 5.0], [9.0, 9.0]]];
        let (region, odd) = Region::fill(&drawn, Combine::Nested);
        assert!(region.is_empty());
        assert_eq!(odd.degenerate, 2);
    }

    #[test]
    fn a_chain_of_overlaps_becomes_one_piece() {
        let rings: Vec<_> = (0..5).map(|i| square([f64::from(i) * 8.0, 0.0], 10.0)).collect();
        let (a, odd) = area(&rings, Combine::Nested);
        assert!(near(a, 420.0), "{a}");
        assert_eq!(odd.overlapping, 4);
    }
}
