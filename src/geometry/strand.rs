//! Fields of consecutive planes and how they mix between and beyond them: parabolas along the
//! normal.

use std::rc::Rc;

use super::polygon::Point2;

/// Fields of consecutive planes.
pub(super) struct Strand {
    pub(super) w: Vec<f64>,
    pub(super) centres: Vec<Point2>,
    pub(super) fields: Vec<Rc<Vec<f64>>>,
    /// Half the second derivative along the normal where there are two planes only: 1 for a ball.
    pub(super) curvature: f64,
}

impl Strand {
    pub(super) fn mix(&self, weights: &Mix) -> Vec<f64> {
        let mut out = vec![weights.constant; self.fields.first().map_or(0, |f| f.len())];
        for (f, w) in self.fields.iter().zip(&weights.of_plane) {
            if *w != 0.0 {
                for (x, y) in out.iter_mut().zip(f.iter()) {
                    *x += w * y;
                }
            }
        }
        out
    }

    /// Weights between planes `k` and `k + 1`: the mean of the parabolas with either neighbour, or
    /// the only one; without neighbours that of [`Self::curvature`].
    pub(super) fn between(&self, k: usize, w: f64, straight: f64) -> Mix {
        let n = self.w.len();
        let mut line = Mix { constant: 0.0, of_plane: vec![0.0; n] };
        let t = (w - self.w[k]) / (self.w[k + 1] - self.w[k]);
        line.of_plane[k] = 1.0 - t;
        line.of_plane[k + 1] = t;
        let mut starts: Vec<usize> = Vec::new();
        if k > 0 {
            starts.push(k - 1);
        }
        if k + 2 < n {
            starts.push(k);
        }
        let mut curve = Mix { constant: 0.0, of_plane: vec![0.0; n] };
        if starts.is_empty() {
            curve = line.clone();
            curve.constant = self.curvature * (w - self.w[k]) * (w - self.w[k + 1]);
        }
        #[allow(clippy::cast_precision_loss)] // one or two
        let share = 1.0 / starts.len().max(1) as f64;
        for s in starts {
            for (i, l) in lagrange([self.w[s], self.w[s + 1], self.w[s + 2]], w).iter().enumerate()
            {
                curve.of_plane[s + i] += share * l;
            }
        }
        curve.toward(&line, straight)
    }

    /// Weights beyond the first plane: the parabola through three planes, or with two that of
    /// [`Self::curvature`].
    pub(super) fn beyond(&self, w: f64) -> Mix {
        match self.w[..] {
            [a, b, c, ..] => Mix { constant: 0.0, of_plane: lagrange([a, b, c], w).to_vec() },
            [a, b] => {
                let t = (w - a) / (b - a);
                let constant = self.curvature * (w - a) * (w - b);
                Mix { constant, of_plane: vec![1.0 - t, t] }
            }
            _ => Mix { constant: 0.0, of_plane: vec![1.0] },
        }
    }
}

/// A field as a weighted sum of plane fields and a constant.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mix {
    constant: f64,
    of_plane: Vec<f64>,
}

impl Mix {
    fn toward(mut self, other: &Self, share: f64) -> Self {
        self.constant += share * (other.constant - self.constant);
        for (a, b) in self.of_plane.iter_mut().zip(&other.of_plane) {
            *a += share * (b - *a);
        }
        self
    }
}

fn lagrange(x: [f64; 3], at: f64) -> [f64; 3] {
    std::array::from_fn(|i| {
        (0..3).filter(|j| *j != i).map(|j| (at - x[j]) / (x[i] - x[j])).product()
    })
}
