//! Outlines of a solid as drawing programs trace them around the pixels of a mask.

use std::collections::BTreeMap;

use tidydose_geometry::Point;

use super::{PlaneStack, Solid};

/// How the outline runs through the pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trace {
    /// Along the edges of pixels.
    Edges,
    /// Through the middles of the edges.
    Middles,
    /// Along the edges, every second vertex left out.
    Thinned,
}

/// Pixels of a mask: axial, square, turned about the axis.
#[derive(Debug, Clone, Copy)]
pub struct Mask {
    /// Edge length of a pixel, mm.
    pub pixel: f64,
    /// A corner of pixels, x and y, mm.
    pub corner: [f64; 2],
    /// By how much the rows of pixels are turned about the axis, rad.
    pub turned: f64,
    /// How the outline runs.
    pub trace: Trace,
    /// To how many mm coordinates are rounded; 0 for not at all.
    pub rounded: f64,
}

type Corner = (i64, i64);

impl Mask {
    /// Pixels along x and y.
    pub fn new(pixel: f64, corner: [f64; 2], trace: Trace) -> Self {
        Self { pixel, corner, turned: 0.0, trace, rounded: 0.0 }
    }

    fn place(&self, i: f64, j: f64, z: f64) -> Point {
        let (s, c) = self.turned.sin_cos();
        let [u, v] = [i * self.pixel, j * self.pixel];
        [self.corner[0] + c * u - s * v, self.corner[1] + s * u + c * v, z]
    }

    /// Outlines on all planes; a pixel is inside when its centre is.
    pub fn outlines(&self, solid: &Solid, planes: &PlaneStack) -> Vec<Vec<Point>> {
        let [low, high] = solid.extent(planes.normal);
        let mut out = Vec::new();
        for z in planes.offsets(low, high) {
            for ring in self.rings(|p| solid.contains(p), solid.centre(), high - low, z) {
                let points: Vec<Point> = ring
                    .into_iter()
                    .map(|(i, j)| self.place(i as f64 / 2.0, j as f64 / 2.0, z))
                    .map(|p| self.round(p))
                    .collect();
                out.push(points);
            }
        }
        out
    }

    fn round(&self, p: Point) -> Point {
        if self.rounded <= 0.0 {
            return p;
        }
        [0, 1, 2].map(|a| if a == 2 { p[a] } else { (p[a] / self.rounded).round() * self.rounded })
    }

    /// Rings in half pixels. Extents across the axis are taken to be at most three times that along it.
    fn rings(
        &self,
        inside: impl Fn(Point) -> bool,
        centre: Point,
        extent: f64,
        z: f64,
    ) -> Vec<Vec<Corner>> {
        let reach = (3.0 * extent / self.pixel).ceil() as i64 + 2;
        let (s, c) = self.turned.sin_cos();
        let [x, y] = [centre[0] - self.corner[0], centre[1] - self.corner[1]];
        let (mi, mj) = ((c * x + s * y) / self.pixel, (c * y - s * x) / self.pixel);
        let (mi, mj) = (mi.round() as i64, mj.round() as i64);
        let is_in = |i: i64, j: i64| inside(self.place(i as f64 + 0.5, j as f64 + 0.5, z));
        // Sides of pixels with the inside on the left, by the corner where they begin.
        let mut sides: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
        for j in mj - reach..=mj + reach {
            for i in mi - reach..=mi + reach {
                if !is_in(i, j) {
                    continue;
                }
                let corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
                let beside = [(i, j - 1), (i + 1, j), (i, j + 1), (i - 1, j)];
                for k in 0..4 {
                    if !is_in(beside[k].0, beside[k].1) {
                        sides.entry(corners[k]).or_default().push(corners[(k + 1) % 4]);
                    }
                }
            }
        }
        let mut out = Vec::new();
        while let Some((&start, _)) = sides.iter().find(|(_, to)| !to.is_empty()) {
            let mut ring = vec![start];
            let mut at = start;
            let mut from: Option<Corner> = None;
            // Every side that ends somewhere is followed by one that begins there.
            while let Some(to) = sides.get_mut(&at).filter(|to| !to.is_empty()) {
                // Where two pixels touch at a corner the ring turns left and stays with its own pixel.
                let left = from.and_then(|f| {
                    let (di, dj) = (at.0 - f.0, at.1 - f.1);
                    to.iter().position(|t| (t.0 - at.0, t.1 - at.1) == (-dj, di))
                });
                let next = to.remove(left.unwrap_or(0));
                from = Some(at);
                at = next;
                if at == start {
                    break;
                }
                ring.push(at);
            }
            out.push(self.traced(&ring));
        }
        out
    }

    /// The vertices of a ring of pixel corners, in half pixels.
    fn traced(&self, ring: &[Corner]) -> Vec<Corner> {
        let n = ring.len();
        let points: Vec<Corner> = match self.trace {
            Trace::Middles => (0..n)
                .map(|i| {
                    let (a, b) = (ring[i], ring[(i + 1) % n]);
                    (a.0 + b.0, a.1 + b.1)
                })
                .collect(),
            Trace::Edges | Trace::Thinned => ring.iter().map(|p| (2 * p.0, 2 * p.1)).collect(),
        };
        let turns = |i: usize| {
            let (a, b, c) = (points[(i + n - 1) % n], points[i], points[(i + 1) % n]);
            (b.0 - a.0) * (c.1 - b.1) != (b.1 - a.1) * (c.0 - b.0)
        };
        let corners: Vec<Corner> = (0..n).filter(|i| turns(*i)).map(|i| points[i]).collect();
        let each = if self.trace == Trace::Thinned { 2 } else { 1 };
        corners.into_iter().step_by(each).collect()
    }
}
