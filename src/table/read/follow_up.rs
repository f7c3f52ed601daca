//! Rows of the tables of the time after a treatment.

use super::{Status, row};

/// A number with its numerical bounds, as it stands in three columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WithBounds {
    /// The number.
    pub value: f64,
    /// Lower bound; absent where nothing bounds it on that side.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
}

impl WithBounds {
    /// Absent without a value.
    pub(super) fn of([value, low, high]: [Option<f64>; 3]) -> Option<Self> {
        Some(Self { value: value?, low, high })
    }
}

row! {
    /// A lesion at one time.
    LesionTimeRow of "follow_up" {
        /// Patient.
        patient_id: &'t str,
        /// The plan that treated it, or the structure set in which it was drawn later.
        plan_id: &'t str,
        /// The lesion at this time.
        lesion_id: &'t str,
        /// The structure that was measured.
        structure: &'t str,
        /// The treated lesion that it is, as the user says.
        treated_lesion_id: Option<&'t str>,
        /// `user`, `new` or `unmatched`.
        match_basis: &'t str,
        /// `treatment` or `follow_up`.
        time_point: &'t str,
        /// Its day.
        day: Option<i64>,
        /// Days since its treatment.
        days_since_treatment: Option<i64>,
        /// Volume, cc.
        volume_cc: Option<f64>,
        /// Its lower bound.
        volume_low_cc: Option<f64>,
        /// Its upper bound.
        volume_high_cc: Option<f64>,
        /// Longest diameter on one plane, mm.
        longest_mm: Option<f64>,
        /// Its lower bound.
        longest_low_mm: Option<f64>,
        /// Its upper bound.
        longest_high_mm: Option<f64>,
        /// Longest chord across it, mm.
        across_mm: Option<f64>,
        /// Its lower bound.
        across_low_mm: Option<f64>,
        /// Its upper bound.
        across_high_mm: Option<f64>,
        /// Why there is or is not a volume.
        volume_status: Option<Status>,
        /// Change of its volume since its treatment, %.
        volume_change_percent: Option<f64>,
        /// Its lower bound.
        volume_change_low_percent: Option<f64>,
        /// Its upper bound.
        volume_change_high_percent: Option<f64>,
        /// Change of its volume since it was smallest, %.
        volume_regrowth_percent: Option<f64>,
        /// Its lower bound.
        volume_regrowth_low_percent: Option<f64>,
        /// Its upper bound.
        volume_regrowth_high_percent: Option<f64>,
        /// Change of its longest diameter since its treatment, %.
        longest_change_percent: Option<f64>,
        /// Its lower bound.
        longest_change_low_percent: Option<f64>,
        /// Its upper bound.
        longest_change_high_percent: Option<f64>,
        /// Why a change is missing, or what to mind about it.
        reason: &'t str,
    }
}

impl LesionTimeRow<'_> {
    /// Its volume, cc.
    #[must_use]
    pub fn volume(&self) -> Option<WithBounds> {
        WithBounds::of([self.volume_cc, self.volume_low_cc, self.volume_high_cc])
    }

    /// Its longest diameter on one plane, mm.
    #[must_use]
    pub fn longest(&self) -> Option<WithBounds> {
        WithBounds::of([self.longest_mm, self.longest_low_mm, self.longest_high_mm])
    }

    /// The longest chord across that diameter, mm.
    #[must_use]
    pub fn across(&self) -> Option<WithBounds> {
        WithBounds::of([self.across_mm, self.across_low_mm, self.across_high_mm])
    }

    /// Change of its volume since its treatment, %.
    #[must_use]
    pub fn volume_change(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.volume_change_percent,
            self.volume_change_low_percent,
            self.volume_change_high_percent,
        ])
    }

    /// Change of its volume since it was smallest after its treatment, %.
    #[must_use]
    pub fn volume_regrowth(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.volume_regrowth_percent,
            self.volume_regrowth_low_percent,
            self.volume_regrowth_high_percent,
        ])
    }

    /// Change of its longest diameter since its treatment, %.
    #[must_use]
    pub fn longest_change(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.longest_change_percent,
            self.longest_change_low_percent,
            self.longest_change_high_percent,
        ])
    }

    /// Whether it was drawn after the treatment.
    #[must_use]
    pub fn is_later(&self) -> bool {
        self.time_point == "follow_up"
    }

    /// The structure that was measured, or that there is none any more.
    #[must_use]
    pub fn shown_name(&self) -> &str {
        if self.match_basis == "gone" { "gone" } else { self.structure }
    }

    /// Whether nobody has said which lesion it is.
    #[must_use]
    pub fn is_unmatched(&self) -> bool {
        self.match_basis == "unmatched"
    }
}

row! {
    /// What the images of a follow-up say by one criterion.
    ResponseRow of "responses" {
        /// Patient.
        patient_id: &'t str,
        /// The plan whose lesions are compared.
        treated_plan_id: &'t str,
        /// The follow-up.
        plan_id: &'t str,
        /// Its day.
        day: Option<i64>,
        /// Days since the plan was treated.
        days_since_treatment: Option<i64>,
        /// The criterion.
        criterion: &'t str,
        /// Lesions that are added up.
        n_lesions: Option<i64>,
        /// New lesions since the treatment.
        n_new: Option<i64>,
        /// Change of the sum since the treatment, %.
        change_percent: Option<f64>,
        /// Its lower bound.
        change_low_percent: Option<f64>,
        /// Its upper bound.
        change_high_percent: Option<f64>,
        /// Change of the sum since it was smallest, %.
        change_from_smallest_percent: Option<f64>,
        /// What the images say.
        response: &'t str,
        /// Why, where it is undecided or progressive.
        reason: &'t str,
        /// What the criterion asks for besides.
        not_computed: &'t str,
        /// Where the criterion is from.
        reference: &'t str,
    }
}

impl ResponseRow<'_> {
    /// Change of the sum since the treatment, %.
    #[must_use]
    pub fn change(&self) -> Option<WithBounds> {
        WithBounds::of([self.change_percent, self.change_low_percent, self.change_high_percent])
    }
}

row! {
    /// New lesions at one time.
    NewLesionsRow of "new_lesions" {
        /// Patient.
        patient_id: &'t str,
        /// The follow-up or the plan of the later course.
        plan_id: &'t str,
        /// `follow_up` or `later_course`.
        kind: &'t str,
        /// Its day.
        day: Option<i64>,
        /// Days since the first treatment.
        days_since_first_treatment: Option<i64>,
        /// New ones at this time.
        n_new: Option<i64>,
        /// Ones that nobody has decided about.
        n_undecided: Option<i64>,
        /// Volume of the new ones, cc.
        new_volume_cc: Option<f64>,
        /// Its lower bound.
        new_volume_low_cc: Option<f64>,
        /// Its upper bound.
        new_volume_high_cc: Option<f64>,
        /// New ones since the first treatment.
        n_new_so_far: Option<i64>,
        /// New ones a year.
        new_per_year: Option<f64>,
        /// Class of that.
        velocity_class: Option<&'t str>,
    }
}

impl NewLesionsRow<'_> {
    /// Volume of the new ones, cc.
    #[must_use]
    pub fn new_volume(&self) -> Option<WithBounds> {
        WithBounds::of([self.new_volume_cc, self.new_volume_low_cc, self.new_volume_high_cc])
    }
}
