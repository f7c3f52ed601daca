//! Rows of the tables that hold values: `metrics`, `bounds`, `limit_checks`, `relations` and `dvh`.

use tidydose_metrics::limits::isodose_gy;

use super::{Checked, Role, Status, Tier, Verdict, row};

row! {
    /// A value of table metrics.
    MetricRow of "metrics" {
        /// Patient.
        patient_id: &'t str,
        /// The case.
        plan_id: &'t str,
        /// The structure or region.
        structure_id: &'t str,
        /// ROI Number; missing for a region.
        roi_number: Option<i64>,
        /// The name it goes by.
        structure: &'t str,
        /// What it is for; missing for a region.
        role: Option<Role>,
        /// The metric.
        metric: &'t str,
        /// The value, in the unit of `unit`.
        value: Option<f64>,
        /// Lower numerical bound.
        low: Option<f64>,
        /// Upper numerical bound.
        high: Option<f64>,
        /// Unit symbol.
        unit: &'t str,
        /// Why there is or is not a value.
        status: Status,
        /// The reason in words; empty when ok.
        reason: &'t str,
        /// Interpolation, slice ends, rule or parameter.
        method: &'t str,
    }
}

row! {
    /// A value of table sensitivity.
    SensitivityRow of "sensitivity" {
        /// The structure.
        structure_id: &'t str,
        /// The metric.
        metric: &'t str,
        /// Whether the structure was moved, or given a margin.
        kind: &'t str,
        /// By how much, mm.
        by_mm: f64,
        /// Mean over directions, or the value with the margin.
        average: Option<f64>,
        /// The worst of the directions, where one side is worse.
        worst: Option<f64>,
        /// In which direction that is.
        worst_direction: Option<&'t str>,
        /// The lowest of the directions.
        lowest: Option<f64>,
        /// The highest of them.
        highest: Option<f64>,
        /// Why there is or is not a value.
        status: Status,
        /// The reason in words; empty when ok.
        reason: &'t str,
    }
}

impl MetricRow<'_> {
    /// The value where it may be used in a statistic: with two-sided bounds that say something.
    ///
    /// # Errors
    /// Why there is none.
    pub fn usable(&self) -> Result<f64, Status> {
        match (self.status, self.value) {
            (Status::Ok, Some(value)) => Ok(value),
            (Status::Ok, None) => Err(Status::Absent),
            (status, _) => Err(status),
        }
    }

    /// The word of its role; empty for a region.
    #[must_use]
    pub fn role_word(&self) -> &'static str {
        self.role.map_or("", Role::word)
    }
}

row! {
    /// What the bounds of one value are made of, in the unit of the value.
    BoundsRow of "bounds" {
        /// The structure.
        structure_id: &'t str,
        /// The metric.
        metric: &'t str,
        /// The method of the value.
        method: &'t str,
        /// Where the structure ends beyond its outermost contours.
        ends: Option<f64>,
        /// Spacing of the contours.
        slices: Option<f64>,
        /// Points along the contours.
        chords: Option<f64>,
        /// Interpolation of the dose.
        dose: Option<f64>,
        /// Height of the dose between its samples.
        summit: Option<f64>,
        /// Pixels that outlines were traced around.
        pixels: Option<f64>,
        /// Size of the cells.
        cells: Option<f64>,
        /// Step of the stored dose.
        step: Option<f64>,
        /// Scatter of the dose.
        scatter: Option<f64>,
        /// Chance of single cells.
        chance: Option<f64>,
        /// All terms together.
        together: Option<f64>,
        /// Those that count below the value.
        below: Option<f64>,
        /// Those that count above it.
        above: Option<f64>,
    }
}

impl BoundsRow<'_> {
    /// The terms with the names of their columns, in their order there.
    #[must_use]
    pub const fn terms(&self) -> [(&'static str, Option<f64>); 10] {
        [
            ("ends", self.ends),
            ("slices", self.slices),
            ("chords", self.chords),
            ("pixels", self.pixels),
            ("dose", self.dose),
            ("summit", self.summit),
            ("cells", self.cells),
            ("step", self.step),
            ("scatter", self.scatter),
            ("chance", self.chance),
        ]
    }
}

row! {
    /// A limit for one organ of a case, or the lack of one.
    LimitCheckRow of "limit_checks" {
        /// The case.
        plan_id: &'t str,
        /// The structure.
        structure_id: &'t str,
        /// The organ.
        structure: &'t str,
        /// The limited metric; empty without a limit.
        metric: &'t str,
        /// The sign between metric and limit.
        operator: &'t str,
        /// The limit, in the unit of `unit`.
        limit_value: Option<f64>,
        /// Unit symbol of all numbers.
        unit: &'t str,
        /// Numbers of fractions it is for.
        limit_fractions: &'t str,
        /// How binding it is in its source.
        tier: Option<Tier>,
        /// Where it comes from.
        limit_source: &'t str,
        /// Where it was read.
        evidence: &'t str,
        /// How far it was checked against its source; missing without a limit.
        checked: Option<Checked>,
        /// The harm it is about; empty when not stated.
        endpoint: &'t str,
        /// The risk stated for it; empty when not stated.
        stated_risk: &'t str,
        /// What else is to be known of it; empty for nothing.
        limit_note: &'t str,
        /// The value.
        value: Option<f64>,
        /// Its lower bound.
        low: Option<f64>,
        /// Its upper bound.
        high: Option<f64>,
        /// Limit less value.
        margin: Option<f64>,
        /// What the value says about the limit.
        verdict: Verdict,
        /// Why, in words; empty when value and limit say it.
        reason: &'t str,
        /// Whether a target lies inside the organ, so that the limit alone says little.
        judge_clinically: Option<bool>,
        /// Largest share of a target's volume inside the organ, percent.
        target_inside_percent: Option<f64>,
    }
}

impl LimitCheckRow<'_> {
    /// The dose whose isodose shows in a picture what is limited, Gy; absent without a limit, and for
    /// a mean.
    #[must_use]
    pub fn isodose_gy(&self) -> Option<f64> {
        isodose_gy(&tidydose_metrics::parse(self.metric).ok()?, self.limit_value?)
    }

    /// The word of its tier; empty without a limit.
    #[must_use]
    pub fn tier_word(&self) -> &'static str {
        self.tier.map_or("", Tier::word)
    }
}

row! {
    /// How a target lies to an organ or to another target.
    RelationRow of "relations" {
        /// The case.
        plan_id: &'t str,
        /// The target.
        structure: &'t str,
        /// What it is for.
        role: Option<Role>,
        /// The other structure.
        other_structure: &'t str,
        /// What that is for.
        other_role: Option<Role>,
        /// What is measured between them.
        metric: &'t str,
        /// The value.
        value: Option<f64>,
    }
}

row! {
    /// A point of a cumulative dose-volume histogram.
    DvhRow of "dvh" {
        /// The case.
        plan_id: &'t str,
        /// The structure.
        structure_id: &'t str,
        /// The name it goes by.
        structure: &'t str,
        /// Dose, Gy.
        dose_gy: Option<f64>,
        /// Volume that receives at least this dose, cc.
        volume_cc: Option<f64>,
        /// The same as share of the volume, %.
        volume_percent: Option<f64>,
    }
}
