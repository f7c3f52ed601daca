//! Which pieces of neighbouring planes belong to one solid.

use super::region::Region;
use super::stack::PlaneStack;

/// Some pieces of one plane, ascending.
pub(super) type Pieces = Vec<usize>;

/// Pairs of pieces of planes `k` and `k + 1` that overlap. A piece of either plane that overlaps
/// nothing is linked to the nearest such piece of the other within one gap: a leaning solid may
/// not overlap itself from plane to plane.
pub(super) fn links(stack: &PlaneStack, k: usize) -> Vec<(usize, usize)> {
    let (low, high) = (&stack.planes[k], &stack.planes[k + 1]);
    let gap = high.w_mm - low.w_mm;
    let parts =
        |r: &Region| -> Vec<Region> { (0..r.pieces()).map(|p| r.filtered(|q| q == p)).collect() };
    let (a, b) = (parts(&low.region), parts(&high.region));
    let mut found: Vec<(usize, usize)> = Vec::new();
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            if x.common_area(y) > 0.0 {
                found.push((i, j));
            }
        }
    }
    let free = |taken: Vec<usize>, n: usize| (0..n).filter(move |i| !taken.contains(i));
    let lone_low: Vec<usize> = free(found.iter().map(|l| l.0).collect(), a.len()).collect();
    let mut lone_high: Vec<usize> = free(found.iter().map(|l| l.1).collect(), b.len()).collect();
    for i in lone_low {
        let near = lone_high.iter().position(|&j| a[i].bounds().grown(gap).meets(&b[j].bounds()));
        if let Some(at) = near {
            found.push((i, lone_high.remove(at)));
        }
    }
    found.sort_unstable();
    found
}

/// Connected groups of linked pieces: those of the lower and those of the upper plane.
pub(super) fn groups(links: &[(usize, usize)]) -> Vec<(Pieces, Pieces)> {
    let mut out: Vec<(Pieces, Pieces)> = Vec::new();
    for &(i, j) in links {
        let mut joined = (vec![i], vec![j]);
        let mut rest = Vec::new();
        for g in out {
            if g.0.contains(&i) || g.1.contains(&j) {
                joined.0.extend(g.0);
                joined.1.extend(g.1);
            } else {
                rest.push(g);
            }
        }
        for side in [&mut joined.0, &mut joined.1] {
            side.sort_unstable();
            side.dedup();
        }
        rest.push(joined);
        out = rest;
    }
    out.sort();
    out
}
