//! The fields that a solid is joined from: those of its planes, or where the steps of pixels were taken
//! out of its outlines parabolas fitted through them.

use std::rc::Rc;

use super::{Builder, Part, PartForm};
use crate::pixels;
use crate::plane_field::{self, Kind};
use crate::polygon::Point2;
use crate::region::Region;

impl Builder<'_> {
    pub(super) fn region(&mut self, part: &Part) -> Rc<Region> {
        let stack = self.stack;
        Rc::clone(self.regions.entry(part.clone()).or_insert_with(|| {
            let whole = &stack.planes[part.0].region;
            if part.1.len() == whole.pieces() {
                Rc::new(whole.clone())
            } else {
                Rc::new(whole.filtered(|p| part.1.contains(&p)))
            }
        }))
    }

    pub(super) fn form(&mut self, part: &Part) -> PartForm {
        if let Some(form) = self.forms.get(part) {
            return *form;
        }
        let region = self.region(part);
        let form = PartForm {
            has_gauge: plane_field::has_gauge(&region),
            centre: plane_field::centre(&region),
        };
        self.forms.insert(part.clone(), form);
        form
    }

    fn drawn_field(&mut self, part: &Part, kind: Kind) -> Rc<Vec<f64>> {
        if let Some(f) = self.drawn.get(&(part.clone(), kind)) {
            return Rc::clone(f);
        }
        let region = self.region(part);
        let mut field = plane_field::field(&region, kind, &self.lattice);
        if self.variant.bulge != 0.0 {
            let grown = self.variant.bulge * chord_area(&region) / std::f64::consts::PI;
            field.iter_mut().for_each(|x| *x -= grown);
        }
        let f = Rc::new(field);
        self.drawn.insert((part.clone(), kind), Rc::clone(&f));
        f
    }

    /// The field of a plane: its own, or where its outlines had the steps of pixels taken out the
    /// parabola that fits those of the planes around best, as far as no point moves by more than the
    /// mask left open.
    pub(super) fn field(&mut self, part: &Part, kind: Kind) -> Rc<Vec<f64>> {
        if let Some(f) = self.fields.get(&(part.clone(), kind)) {
            return Rc::clone(f);
        }
        let drawn = self.drawn_field(part, kind);
        let fit = self.fit(part, kind);
        let field = match self.stack.pixel_mm.filter(|_| !fit.is_empty()) {
            None => drawn,
            Some(pixel_mm) => {
                let mut sum = vec![0.0; drawn.len()];
                for (near, weight) in &fit {
                    let field = self.drawn_field(near, kind);
                    for (x, y) in sum.iter_mut().zip(field.iter()) {
                        *x += weight * y;
                    }
                }
                Rc::new(pixels::within_half_a_pixel(&drawn, sum, pixel_mm))
            }
        };
        self.fields.insert((part.clone(), kind), Rc::clone(&field));
        field
    }

    /// The parts that belong to the one given within reach, with the weights by which a parabola
    /// through them has its value on its plane; empty where there are too few.
    fn fit(&mut self, part: &Part, kind: Kind) -> Vec<(Part, f64)> {
        let Some(pixel_mm) = self.stack.pixel_mm else { return Vec::new() };
        let planes = self.planes.clone();
        let mut parts = vec![part.clone()];
        for up in [true, false] {
            let mut at = part.clone();
            loop {
                let next = if up { self.above(&planes, &at) } else { self.below(&planes, &at) };
                let Some(next) = next else { break };
                let away = (self.w(next.0) - self.w(part.0)).abs();
                let serves = kind == Kind::Distance || self.form(&next).has_gauge;
                if away > pixels::FIT_PIXELS * pixel_mm || !serves {
                    break;
                }
                parts.push(next.clone());
                at = next;
            }
        }
        let w: Vec<f64> = parts.iter().map(|p| self.w(p.0) - self.w(part.0)).collect();
        let weights = pixels::parabola_weights(&w);
        parts.into_iter().zip(weights).collect()
    }

    /// Where the field of a part has its origin.
    pub(super) fn centre(&mut self, part: &Part, kind: Kind) -> Point2 {
        let fit = self.fit(part, kind);
        if fit.is_empty() {
            return self.form(part).centre;
        }
        let mut sum = [0.0; 2];
        for (near, weight) in fit {
            let centre = self.form(&near).centre;
            sum = [sum[0] + weight * centre[0], sum[1] + weight * centre[1]];
        }
        sum
    }
}

/// Area between the straight edges of a region and a smooth outline through its vertices, mm²: an
/// arc over an edge of length L that turns by θ encloses L²·θ/12. Where a vertex turns by more than
/// half a radian it may be a corner: there the product of its two sides counts, which is small
/// where a short side cuts the corner off, and beyond one radian nothing (a hexagon or a box).
fn chord_area(region: &Region) -> f64 {
    let mut sum = 0.0;
    for ring in region.rings() {
        let n = ring.len();
        for i in 0..n {
            let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
            let (d, e) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
            let turn = (d[0] * e[1] - d[1] * e[0]).atan2(d[0] * e[0] + d[1] * e[1]);
            if turn.abs() < 1.0 {
                let (p, q) = (d[0] * d[0] + d[1] * d[1], e[0] * e[0] + e[1] * e[1]);
                let square = if turn.abs() < 0.5 { f64::midpoint(p, q) } else { (p * q).sqrt() };
                sum += square * turn / 12.0;
            }
        }
    }
    sum
}
