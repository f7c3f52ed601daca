//! Everything that can change a number, in one place; each setting is written into the output.

use super::limit_check;
use tidydose_dose::Interpolation;
use tidydose_metrics::limits::Limit;
use tidydose_metrics::{self as metrics, Metric, needs};

/// What the solid between contour planes is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Ends {
    /// Parabolas along the normal through the fields of neighbouring planes, with caps that close
    /// where the extrapolated field does.
    ClosedCaps,
    /// Each plane is a slab that reaches half-way to its neighbours and half a gap beyond the ends:
    /// the common convention.
    HalfSlice,
}

impl Ends {
    /// Every convention with the word that names it in settings and in the tables.
    pub const WORDS: &'static [(Self, &'static str)] =
        &[(Self::ClosedCaps, "closed_caps"), (Self::HalfSlice, "half_slice")];

    /// The word that names it.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(e, _)| *e == self).map_or("", |(_, w)| w)
    }
}

/// What is filled where outlines were traced around pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outlines {
    /// The smoothest outlines of the same mask.
    Smoothed,
    /// The outlines as they are in the file.
    AsDrawn,
}

impl Outlines {
    /// Every way with the word that names it in settings and in the tables.
    pub const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Smoothed, "smoothed"), (Self::AsDrawn, "as_drawn")];

    /// The word that names it.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(o, _)| *o == self).map_or("", |(_, w)| w)
    }
}

/// The settings of a measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// How dose is read between voxels.
    pub interpolation: Interpolation,
    /// What the solid between contour planes is.
    pub ends: Ends,
    /// What is filled where outlines were traced around pixels.
    pub outlines: Outlines,
    /// The metrics to compute, in table order.
    pub metrics: Vec<Metric>,
    /// The limits that values are held against; a metric that they need is computed for its organ.
    pub limits: Vec<Limit>,
    /// Whether regions that nobody drew are measured too: all tissue, the brain without targets, all
    /// targets together.
    pub regions: bool,
    /// α/β of the radiobiological models, Gy, by standard name or by the words `target` and
    /// `other`; what is not named keeps the defaults of [`metrics::organ_models`].
    pub alpha_beta: Vec<(String, f64)>,
    /// The share of its volume from which on a target counts as inside an organ, so that limits
    /// do not judge the organ unless they allow it; see [`limit_check`].
    pub target_inside_from: f64,
    /// How far structures are moved to see what their values hang on, mm; none where nobody asks.
    pub shifts_mm: Vec<f64>,
    /// By how much structures are grown, or shrunk where negative, for the same, mm.
    pub margins_mm: Vec<f64>,
    /// How far off the registration of a structure drawn after a treatment may be, mm, as the user
    /// states it; absent where bounds are to hold nothing of it.
    pub registration_mm: Option<f64>,
    /// Share of a value from which on its bounds are too wide to say anything; see
    /// [`metrics::weigh`]. Changes no number, but which values count.
    pub uncertain_from: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            interpolation: Interpolation::CubicBSpline,
            ends: Ends::ClosedCaps,
            outlines: Outlines::Smoothed,
            metrics: metrics::standard(),
            limits: Vec::new(),
            regions: true,
            alpha_beta: Vec::new(),
            target_inside_from: limit_check::INSIDE_FROM,
            shifts_mm: Vec::new(),
            margins_mm: Vec::new(),
            registration_mm: None,
            uncertain_from: metrics::weigh::UNCERTAIN_FROM,
        }
    }
}

impl Settings {
    /// The metrics of a structure: those of the study, then those that limits of the organ of this
    /// name need.
    #[must_use]
    pub fn metrics_of(&self, standard: Option<&str>) -> Vec<Metric> {
        self.with_limits(|limit| Some(limit.organ.as_str()) == standard)
    }

    /// Every metric of the run: those of the study, then those that only limits need.
    #[must_use]
    pub fn all_metrics(&self) -> Vec<Metric> {
        self.with_limits(|_| true)
    }

    /// What is asked of structures that were drawn after a treatment: sizes and doses. Isodoses,
    /// limits and regions belong to the plan, not to what grew later.
    #[must_use]
    pub fn of_follow_up(&self) -> Self {
        let sizes = [&metrics::VOLUME, &metrics::LONGEST_IN_PLANE, &metrics::ACROSS_IN_PLANE];
        let mut list: Vec<Metric> =
            sizes.map(|definition| Metric { definition, argument: 0.0 }).into();
        for metric in &self.metrics {
            let alone = metric.definition.is_of_dose_alone()
                || metric.definition.needs(metrics::Need::Form);
            if alone && !list.contains(metric) {
                list.push(*metric);
            }
        }
        Self { metrics: list, limits: Vec::new(), regions: false, ..self.clone() }
    }

    fn with_limits(&self, wanted: impl Fn(&Limit) -> bool) -> Vec<Metric> {
        let mut list = self.metrics.clone();
        for limit in self.limits.iter().filter(|l| wanted(l)) {
            if !list.contains(&limit.metric) {
                list.push(limit.metric);
            }
        }
        list
    }

    /// What has to be computed for some metrics: these, what they are made of, and what every
    /// finding of the computation rests on.
    #[must_use]
    pub fn needed(&self, asked: &[Metric]) -> Vec<Metric> {
        let mut list = needs::with_parts(asked);
        if self.regions {
            list = needs::with_parts_in_regions(&list);
        }
        let always = [&metrics::VOLUME, &metrics::MEAN, &metrics::MAX];
        for metric in always.map(|definition| Metric { definition, argument: 0.0 }) {
            if !list.contains(&metric) {
                list.push(metric);
            }
        }
        list
    }

    /// The method as it stands beside each number.
    #[must_use]
    pub fn method(&self) -> String {
        format!("{}; {}", self.interpolation.word(), self.ends.word())
    }
}
