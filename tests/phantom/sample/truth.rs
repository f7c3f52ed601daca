//! What a perfect measurement of a course finds.
//!
//! `closed_form`: a formula, at most with the root of a monotone function. `quadrature`: an integral
//! computed twice, the second time finer; a row is left out unless both agree to a millionth.
//! Contours and grids play no part.

use std::f64::consts::{PI, TAU};

use tidydose_geometry::Point;
use tidydose_geometry::point::{add, cross, dot, length, scale, sub};

use super::anatomy::Organ;
use super::case::{Course, Lesion};
use crate::phantom::closed_form::{Radial, RadialBall, RadialRevolution, common_ellipsoids};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::numeric::{gauss_legendre, integral, root, root_within};
use crate::phantom::solid::{Solid, axes_along};

/// A row of the truth table.
#[derive(Debug, Clone)]
pub struct Row {
    pub patient: String,
    pub plan: String,
    pub structure: String,
    pub metric: String,
    pub value: f64,
    pub unit: String,
    pub how: &'static str,
}

impl Row {
    /// The value with eight significant digits.
    pub fn value_text(&self) -> String {
        let rounded: f64 = format!("{:.7e}", self.value).parse().unwrap_or(self.value);
        format!("{rounded}")
    }
}

const FORMULA: &str = "closed_form";
const QUADRATURE: &str = "quadrature";

/// All rows of a course.
pub fn rows(course: &Course) -> Vec<Row> {
    let mut table = Table { course, field: course.field(), rows: Vec::new() };
    for index in 0..course.lesions.len() {
        table.lesion(index);
    }
    for organ in &course.organs {
        table.organ(*organ);
    }
    table.tissue();
    table.rows
}

struct Table<'a> {
    course: &'a Course,
    field: Field,
    rows: Vec<Row>,
}

impl Table<'_> {
    fn add(&mut self, structure: &str, metric: &str, (value, how): (f64, &'static str)) {
        let unit = metric.split_once('[').map_or("1", |(_, unit)| unit.trim_end_matches(']'));
        self.rows.push(Row {
            patient: self.course.patient.clone(),
            plan: self.course.label.clone(),
            structure: structure.into(),
            metric: metric.into(),
            value,
            unit: unit.into(),
            how,
        });
    }

    /// A row of a quadrature, when a coarse and a fine run agree.
    fn add_converged(&mut self, structure: &str, metric: &str, runs: [f64; 2]) {
        if runs[1] != 0.0 && (runs[0] / runs[1] - 1.0).abs() < 1e-6 {
            self.add(structure, metric, (runs[1], QUADRATURE));
        }
    }

    /// The one centre of the dose, when there is only one.
    fn centre(&self) -> Option<(Point, Radial)> {
        let mut doses = self.course.lesions.iter().flat_map(|l| &l.doses);
        doses.next().cloned().filter(|_| doses.next().is_none())
    }

    fn lesion(&mut self, index: usize) {
        let lesion = self.course.lesions[index].clone();
        self.add(&lesion.name, "Volume[cc]", (lesion.solid.volume() / 1000.0, FORMULA));
        match (&lesion.solid, self.centre()) {
            (Solid::Ball { radius, .. }, Some((_, dose))) => {
                self.alone(&lesion, RadialBall { dose, radius: *radius, distance: 0.0 });
            }
            (Solid::Ellipsoid { semi, .. }, Some((_, dose))) => {
                self.ellipsoid(&lesion, *semi, &dose);
            }
            (Solid::TwoBalls { .. }, _) => self.lobed(&lesion),
            _ => self.among_others(&lesion),
        }
    }

    /// A ball about the only centre of the dose: formulas throughout.
    fn alone(&mut self, lesion: &Lesion, target: RadialBall) {
        let (name, dose) = (lesion.name.as_str(), lesion.prescription);
        for share in SHARES {
            let value = target.dose_at_share(share / 100.0);
            self.add(name, &format!("D{share}%[Gy]"), (value, FORMULA));
        }
        if let Some(value) = target.dose_at_volume(30.0) {
            self.add(name, "D0.03cc[Gy]", (value, FORMULA));
        }
        let how = if self.gaussian() { FORMULA } else { QUADRATURE };
        self.add(name, "Mean[Gy]", (target.mean(), how));
        self.add(name, "Max[Gy]", (target.dose.dose(0.0), FORMULA));
        self.add(name, "Min[Gy]", (target.dose.dose(target.radius), FORMULA));
        let indices = target.indices(dose);
        self.add(name, &format!("V{dose}Gy[%]"), (100.0 * indices.coverage(), FORMULA));
        self.add(name, "PaddickCI", (indices.paddick(), FORMULA));
        self.add(name, "GI", (indices.gradient(), FORMULA));
    }

    /// An ellipsoid about the only centre of the dose: its share within a ball is one quadrature.
    fn ellipsoid(&mut self, lesion: &Lesion, semi: [f64; 3], dose: &Radial) {
        let (name, whole) = (lesion.name.as_str(), lesion.solid.volume());
        let longest = semi.iter().copied().fold(0.0, f64::max);
        let dose_to = |mm3: f64| {
            let missing = |r: f64| common_ellipsoids(semi, [r; 3]) - mm3;
            dose.dose(root_within(missing, [0.0, longest], 1e-12))
        };
        for share in SHARES {
            let value = dose_to(whole * share / 100.0);
            self.add(name, &format!("D{share}%[Gy]"), (value, QUADRATURE));
        }
        self.add(name, "D0.03cc[Gy]", (dose_to(30.0), QUADRATURE));
        let covered = common_ellipsoids(semi, [dose.radius(lesion.prescription); 3]);
        let metric = format!("V{}Gy[%]", lesion.prescription);
        self.add(name, &metric, (100.0 * covered / whole, QUADRATURE));
        let mean = [16, 24].map(|order| mean_in_star(&self.field, &lesion.solid, order));
        self.add_converged(name, "Mean[Gy]", mean);
    }

    fn gaussian(&self) -> bool {
        let mut doses = self.course.lesions.iter().flat_map(|l| &l.doses);
        doses.all(|(_, dose)| match dose {
            Radial::Sum(parts) => parts.iter().all(|p| matches!(p, Radial::Gaussian { .. })),
            other => matches!(other, Radial::Gaussian { .. }),
        })
    }

    /// A ball or ellipsoid among other centres: rays from its own centre.
    fn among_others(&mut self, lesion: &Lesion) {
        let (name, whole) = (lesion.name.as_str(), lesion.solid.volume());
        let centre = lesion.doses[0].0;
        let within = |dose: f64, order: u32| {
            let solid = &lesion.solid;
            isodose(&self.field, (centre, dose), &|along| solid.reach(centre, along), order)
        };
        let hottest = self.field.dose(centre) * (1.0 - 1e-9);
        let dose_to = |volume: f64| {
            [14, 20].map(|order| {
                let far = lesion.solid.extent(axes_along([0.3, 0.5, 0.8])[2]);
                let coldest = self.coldest(&lesion.solid, far[1] - far[0]);
                let bracket = [coldest, hottest];
                root_within(|d| within(d, order) / whole - volume / whole, bracket, 1e-10)
            })
        };
        let mut found: Vec<(String, [f64; 2])> = SHARES
            .iter()
            .map(|share| (format!("D{share}%[Gy]"), dose_to(whole * share / 100.0)))
            .collect();
        if whole >= 30.0 {
            found.push(("D0.03cc[Gy]".into(), dose_to(30.0)));
        }
        let mean = [12, 18].map(|order| mean_in_star(&self.field, &lesion.solid, order));
        found.push(("Mean[Gy]".into(), mean));
        for (metric, runs) in found {
            self.add_converged(name, &metric, runs);
        }
    }

    /// A dose no point of a solid goes below, of the size given.
    fn coldest(&self, solid: &Solid, size: f64) -> f64 {
        let all = directions(12).into_iter().map(|(along, _)| {
            let reach = solid.reach(solid.centre(), along).min(size);
            self.field.dose(add(solid.centre(), scale(along, reach)))
        });
        0.9 * all.fold(f64::INFINITY, f64::min)
    }

    /// A target of two lobes with the dose about the same axis: discs along it.
    fn lobed(&mut self, lesion: &Lesion) {
        let Solid::TwoBalls { centres: [a, b], radii } = lesion.solid else { return };
        let axis = axes_along(sub(b, a));
        let apart = length(sub(b, a));
        let at = |z: f64, rho: f64| add(a, add(scale(axis[2], z), scale(axis[0], rho)));
        let profile = |z: f64| {
            let disc = |r: f64, h: f64| (r * r - h * h).max(0.0).sqrt();
            disc(radii[0], z).max(disc(radii[1], z - apart))
        };
        // The dose falls away from the axis, so each disc is hot out to one radius.
        let hot = |z: f64, dose: f64| {
            let edge = profile(z);
            let above = |rho: f64| self.field.dose(at(z, rho)) - dose;
            match (above(0.0) > 0.0, above(edge) > 0.0) {
                (false, _) => 0.0,
                (true, true) => edge,
                (true, false) => root(above, 0.0, edge),
            }
        };
        let waist = (apart * apart + radii[0].powi(2) - radii[1].powi(2)) / (2.0 * apart);
        let pieces = [[-radii[0], waist], [waist, apart + radii[1]]];
        let volume = |f: &dyn Fn(f64) -> f64, tolerance: f64| -> f64 {
            pieces.iter().map(|p| integral(f, p[0], p[1], tolerance)).sum()
        };
        let whole = lesion.solid.volume();
        let dose_to = |share: f64, tolerance: f64| {
            let above = |d: f64| volume(&|z| PI * hot(z, d).powi(2), tolerance * whole) / whole;
            let highest = self.field.dose(a).max(self.field.dose(b)) * 1.2;
            root_within(|d| above(d) - share, [0.5 * lesion.prescription, highest], 1e-9)
        };
        let shares = SHARES.iter().map(|s| (format!("D{s}%[Gy]"), s / 100.0));
        let fixed = [("D0.03cc[Gy]".to_string(), 30.0 / whole)];
        let found: Vec<(String, [f64; 2])> = shares
            .chain(fixed)
            .map(|(metric, share)| (metric, [1e-8, 1e-9].map(|t| dose_to(share, t))))
            .collect();
        for (metric, runs) in found {
            self.add_converged(&lesion.name, &metric, runs);
        }
    }

    fn organ(&mut self, organ: Organ) {
        let solid = self.course.organ(organ);
        let name = organ.name(self.course.names);
        self.add(name, "Volume[cc]", (solid.volume() / 1000.0, FORMULA));
        if !covers(&self.course.lattice, &solid) {
            return;
        }
        if organ == Organ::Brain {
            let runs = [32, 48].map(|order| self.mean_about_lesions(&solid, order));
            self.add_converged(name, "Mean[Gy]", runs);
            return;
        }
        let runs = [20, 30].map(|order| mean_in_star(&self.field, &solid, order));
        self.add_converged(name, "Mean[Gy]", runs);
        let Some((centre, dose)) = self.centre() else { return };
        match &solid {
            Solid::Ball { centre: c, radius } => {
                let distance = length(sub(*c, centre));
                let ball = RadialBall { dose, radius: *radius, distance };
                if let Some(value) = ball.dose_at_volume(30.0) {
                    self.add(name, "D0.03cc[Gy]", (value, FORMULA));
                }
                self.add_level(name, ball.volume_at(12.0), FORMULA);
            }
            other => self.revolution(name, other, (centre, &dose)),
        }
    }

    fn add_level(&mut self, name: &str, volume: f64, how: &'static str) {
        if volume > 0.0 {
            self.add(name, "V12Gy[cc]", (volume / 1000.0, how));
        }
    }

    /// A solid of revolution beside or around the only centre of the dose.
    fn revolution(&mut self, name: &str, solid: &Solid, (centre, dose): (Point, &Radial)) {
        let Some(shape) = Revolution::of(solid) else { return };
        let q = sub(centre, shape.origin);
        let height = dot(q, shape.axis);
        let organ = RadialRevolution {
            dose,
            profile: &*shape.profile,
            heights: shape.heights,
            dose_centre: [height, length(sub(q, scale(shape.axis, height)))],
            volume: solid.volume(),
        };
        if let Some(value) = organ.dose_at_volume(30.0) {
            self.add(name, "D0.03cc[Gy]", (value, QUADRATURE));
        }
        let volume = organ.volume_at(12.0);
        if volume > 1e-3 {
            self.add_level(name, volume, QUADRATURE);
        }
    }

    /// Mean over a solid that holds all centres: for each, rays out to the surface.
    fn mean_about_lesions(&self, solid: &Solid, order: u32) -> f64 {
        let nodes = gauss_legendre(16);
        let doses = self.course.lesions.iter().flat_map(|l| &l.doses);
        let sum: f64 = doses
            .map(|(centre, dose)| {
                let along_ray = |reach: f64| {
                    let panel = reach / 16.0;
                    let cell = |k: i32| {
                        nodes.iter().map(move |(x, w)| {
                            let r = panel * (f64::from(k) + 0.5 * (x + 1.0));
                            0.5 * w * panel * r * r * dose.dose(r)
                        })
                    };
                    (0..16).flat_map(cell).sum::<f64>()
                };
                let ray = |(along, w): (Point, f64)| w * along_ray(solid.reach(*centre, along));
                directions(order).into_iter().map(ray).sum::<f64>()
            })
            .sum();
        sum / solid.volume()
    }

    /// Isodose volumes in all tissue, and V12 of the brain with and without the targets.
    fn tissue(&mut self) {
        let mut levels = vec![12.0];
        for lesion in &self.course.lesions {
            for dose in [lesion.prescription, 0.5 * lesion.prescription] {
                if !levels.contains(&dose) {
                    levels.push(dose);
                }
            }
        }
        for dose in levels {
            let (runs, inside_brain) = match self.centre() {
                Some((centre, radial)) => {
                    let r = radial.radius(dose);
                    let ball = Solid::ball(centre, r.max(1e-9));
                    let value = radial.isodose_volume(dose) / 1000.0;
                    if !covers(&self.course.lattice, &ball) || value == 0.0 {
                        continue;
                    }
                    self.add("all tissue", &format!("V{dose}Gy[cc]"), (value, FORMULA));
                    ([value; 2], self.inside_brain(centre, &|_| r))
                }
                None => match self.apart(dose) {
                    Some((runs, inside)) => {
                        self.add_converged("all tissue", &format!("V{dose}Gy[cc]"), runs);
                        (runs, inside)
                    }
                    None => continue,
                },
            };
            if dose == 12.0 && inside_brain && self.course.organs.contains(&Organ::Brain) {
                self.brain(runs);
            }
        }
    }

    fn brain(&mut self, runs: [f64; 2]) {
        let name = Organ::Brain.name(self.course.names);
        let how = if self.centre().is_some() { FORMULA } else { QUADRATURE };
        if (runs[0] / runs[1] - 1.0).abs() < 1e-6 {
            self.add(name, "V12Gy[cc]", (runs[1], how));
            // Targets lie inside their own 12 Gy isodose.
            let covered = self.course.lesions.iter().all(|l| l.prescription > 12.0);
            let targets: f64 = self.course.lesions.iter().map(|l| l.solid.volume()).sum();
            if covered {
                self.add(
                    &format!("{name}-targets"),
                    "V12Gy[cc]",
                    (runs[1] - targets / 1000.0, how),
                );
            }
        }
    }

    fn inside_brain(&self, centre: Point, reach: &dyn Fn(Point) -> f64) -> bool {
        let brain = self.course.organ(Organ::Brain);
        directions(12)
            .into_iter()
            .all(|(along, _)| brain.contains(add(centre, scale(along, reach(along)))))
    }

    /// The volume of isodoses that keep apart, cc, from a coarse and a fine run, and whether all
    /// lie in the brain.
    fn apart(&self, dose: f64) -> Option<([f64; 2], bool)> {
        let centres: Vec<Point> =
            self.course.lesions.iter().flat_map(|l| &l.doses).map(|(c, _)| *c).collect();
        let mut inside = true;
        let mut runs = [0.0; 2];
        for centre in &centres {
            let others = centres.iter().filter(|c| *c != centre);
            let free = others.map(|c| 0.5 * length(sub(*c, *centre))).fold(40.0, f64::min);
            let reach = |along: Point| reach_of_dose(&self.field, (*centre, dose), along, free);
            let farthest = directions(12).iter().map(|(a, _)| reach(*a)).fold(0.0, f64::max);
            if farthest > 0.95 * free || self.field.dose(*centre) <= dose {
                return None;
            }
            let ball = Solid::ball(*centre, farthest);
            if !covers(&self.course.lattice, &ball) {
                return None;
            }
            inside &= self.inside_brain(*centre, &reach);
            for (run, order) in runs.iter_mut().zip([20, 28]) {
                *run += isodose(&self.field, (*centre, dose), &|_| free, order) / 1000.0;
            }
        }
        Some((runs, inside))
    }
}

/// Shares of a target of which the dose is listed, per cent.
const SHARES: [f64; 4] = [98.0, 95.0, 50.0, 2.0];

/// Whether the grid reaches all round a solid.
fn covers(lattice: &Lattice, solid: &Solid) -> bool {
    let last = lattice.position(lattice.offsets.len() - 1, lattice.rows - 1, lattice.columns - 1);
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].into_iter().enumerate().all(|(i, n)| {
        let [low, high] = solid.extent(n);
        lattice.origin[i] <= low && high <= last[i]
    })
}

/// Unit vectors with weights that add up to 4π: Gauss–Legendre in the height, even in the angle.
fn directions(order: u32) -> Vec<(Point, f64)> {
    let turns = 2 * order;
    let ring = |(height, weight): (f64, f64)| {
        let rho = (1.0 - height * height).sqrt();
        (0..turns).map(move |k| {
            let (s, c) = (TAU * (f64::from(k) + 0.5) / f64::from(turns)).sin_cos();
            ([rho * c, rho * s, height], weight * TAU / f64::from(turns))
        })
    };
    gauss_legendre(order).into_iter().flat_map(ring).collect()
}

/// Distance along a ray at which the dose falls to a value, at most `limit`.
fn reach_of_dose(field: &Field, (from, dose): (Point, f64), along: Point, limit: f64) -> f64 {
    let above = |r: f64| field.dose(add(from, scale(along, r))) - dose;
    if above(limit) >= 0.0 {
        return limit;
    }
    if above(0.0) <= 0.0 { 0.0 } else { root_within(above, [0.0, limit], 1e-13) }
}

/// Volume about a centre that receives a dose, each ray cut where `limit` says.
fn isodose(
    field: &Field,
    (centre, dose): (Point, f64),
    limit: &dyn Fn(Point) -> f64,
    order: u32,
) -> f64 {
    let ray = |(along, weight): (Point, f64)| {
        weight * reach_of_dose(field, (centre, dose), along, limit(along)).powi(3) / 3.0
    };
    directions(order).into_iter().map(ray).sum()
}

/// Mean over a solid: a solid of revolution by discs, another one by rays from its centre.
fn mean_in_star(field: &Field, solid: &Solid, order: u32) -> f64 {
    match Revolution::of(solid) {
        Some(shape) => shape.mean(field, order) / solid.volume(),
        None => {
            let centre = solid.centre();
            let nodes = gauss_legendre(order);
            let ray = |(along, weight): (Point, f64)| {
                let reach = solid.reach(centre, along);
                let cell = |(x, w): &(f64, f64)| {
                    let r = 0.5 * reach * (x + 1.0);
                    0.5 * reach * w * r * r * field.dose(add(centre, scale(along, r)))
                };
                weight * nodes.iter().map(cell).sum::<f64>()
            };
            directions(order).into_iter().map(ray).sum::<f64>() / solid.volume()
        }
    }
}

/// A solid of revolution as a radius along an axis.
struct Revolution {
    origin: Point,
    axis: Point,
    heights: [f64; 2],
    /// Heights where the profile is not smooth.
    joints: Vec<f64>,
    profile: Box<dyn Fn(f64) -> f64>,
}

impl Revolution {
    fn of(solid: &Solid) -> Option<Self> {
        match solid.clone() {
            Solid::Ellipsoid { centre, axes, semi } if semi[0] == semi[1] => Some(Self {
                origin: centre,
                axis: axes[2],
                heights: [-semi[2], semi[2]],
                joints: Vec::new(),
                profile: Box::new(move |z| semi[0] * (1.0 - (z / semi[2]).powi(2)).max(0.0).sqrt()),
            }),
            Solid::Cylinder { centre, axis, radius, height } => Some(Self {
                origin: centre,
                axis,
                heights: [-0.5 * height, 0.5 * height],
                joints: Vec::new(),
                profile: Box::new(move |z| if z.abs() <= 0.5 * height { radius } else { 0.0 }),
            }),
            Solid::Capsule { ends: [a, b], radius } => {
                let half = 0.5 * length(sub(b, a));
                Some(Self {
                    origin: scale(add(a, b), 0.5),
                    axis: axes_along(sub(b, a))[2],
                    heights: [-half - radius, half + radius],
                    joints: vec![-half, half],
                    profile: Box::new(move |z| {
                        let past = (z.abs() - half).max(0.0);
                        (radius * radius - past * past).max(0.0).sqrt()
                    }),
                })
            }
            _ => None,
        }
    }

    /// Integral of a field over the solid: Gauss–Legendre along the axis and in the squared radius,
    /// even angles round it.
    fn mean(&self, field: &Field, order: u32) -> f64 {
        let (u, nodes) = (axes_along(self.axis)[0], gauss_legendre(order));
        let v = cross(self.axis, u);
        let disc = |z: f64| {
            let edge = (self.profile)(z).powi(2);
            let ring = |(x, w): &(f64, f64)| {
                let rho = (0.5 * edge * (x + 1.0)).sqrt();
                let point = |k: u32| {
                    let (s, c) = (TAU * f64::from(k) / f64::from(order)).sin_cos();
                    let across = add(scale(u, rho * c), scale(v, rho * s));
                    field.dose(add(self.origin, add(scale(self.axis, z), across)))
                };
                let round: f64 = (0..order).map(point).sum();
                0.25 * edge * w * TAU / f64::from(order) * round
            };
            nodes.iter().map(ring).sum::<f64>()
        };
        let mut ends = vec![self.heights[0]];
        ends.extend(&self.joints);
        ends.push(self.heights[1]);
        let piece = |p: &[f64]| -> f64 {
            let (middle, half) = (0.5 * (p[0] + p[1]), 0.5 * (p[1] - p[0]));
            nodes.iter().map(|(x, w)| half * w * disc(middle + half * x)).sum()
        };
        ends.windows(2).map(piece).sum()
    }
}
