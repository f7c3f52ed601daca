//! Rows of table `recurrences`: targets drawn after a treatment, in the dose that was given.

use super::follow_up::WithBounds;
use super::{Status, row};

row! {
    /// A target drawn after a treatment, in the dose that was given.
    RecurrenceRow of "recurrences" {
        /// Patient.
        patient_id: &'t str,
        /// The structure set in which it was drawn.
        plan_id: &'t str,
        /// The lesion at this time.
        lesion_id: &'t str,
        /// The structure that was measured.
        structure: &'t str,
        /// Whether people call it a recurrence: `yes`, `no` or `undecided`.
        recurrence: &'t str,
        /// Its day.
        day: Option<i64>,
        /// The plan whose dose lies under it.
        treated_plan_id: Option<&'t str>,
        /// What 100 % is, Gy.
        prescription_dose_gy: Option<f64>,
        /// How structures and dose came into one frame.
        frame_link: &'t str,
        /// By how much the registration moves the head, mm.
        registration_moves_mm: Option<f64>,
        /// Day on which the registration was made.
        registration_day: Option<i64>,
        /// Share inside 95 % of the prescription, %.
        inside_95_percent: Option<f64>,
        /// Its lower bound.
        inside_95_low_percent: Option<f64>,
        /// Its upper bound.
        inside_95_high_percent: Option<f64>,
        /// The least when shifted by up to 1 mm.
        inside_95_1mm_least_percent: Option<f64>,
        /// The most when shifted by up to 1 mm.
        inside_95_1mm_most_percent: Option<f64>,
        /// The least when shifted by up to 2 mm.
        inside_95_2mm_least_percent: Option<f64>,
        /// The most when shifted by up to 2 mm.
        inside_95_2mm_most_percent: Option<f64>,
        /// Share inside 100 % of the prescription, %.
        inside_100_percent: Option<f64>,
        /// Its lower bound.
        inside_100_low_percent: Option<f64>,
        /// Its upper bound.
        inside_100_high_percent: Option<f64>,
        /// The least when shifted by up to 1 mm.
        inside_100_1mm_least_percent: Option<f64>,
        /// The most when shifted by up to 1 mm.
        inside_100_1mm_most_percent: Option<f64>,
        /// The least when shifted by up to 2 mm.
        inside_100_2mm_least_percent: Option<f64>,
        /// The most when shifted by up to 2 mm.
        inside_100_2mm_most_percent: Option<f64>,
        /// Share inside 50 % of the prescription, %.
        inside_50_percent: Option<f64>,
        /// Its lower bound.
        inside_50_low_percent: Option<f64>,
        /// Its upper bound.
        inside_50_high_percent: Option<f64>,
        /// The least when shifted by up to 1 mm.
        inside_50_1mm_least_percent: Option<f64>,
        /// The most when shifted by up to 1 mm.
        inside_50_1mm_most_percent: Option<f64>,
        /// The least when shifted by up to 2 mm.
        inside_50_2mm_least_percent: Option<f64>,
        /// The most when shifted by up to 2 mm.
        inside_50_2mm_most_percent: Option<f64>,
        /// Class by Gebhardt et al. 2014.
        pattern_gebhardt_2014: Option<&'t str>,
        /// Class by McDonald et al. 2011.
        pattern_mcdonald_2011: Option<&'t str>,
        /// Class by Lee et al. 1999.
        pattern_lee_1999: Option<&'t str>,
        /// `local`, `near`, `distant` or `undecided`.
        site: Option<&'t str>,
        /// Dose at its centre of mass, Gy.
        centre_dose_gy: Option<f64>,
        /// Its lower bound.
        centre_dose_low_gy: Option<f64>,
        /// Its upper bound.
        centre_dose_high_gy: Option<f64>,
        /// Distance of its centre from the surface of the nearest treated target, mm.
        centre_to_target_mm: Option<f64>,
        /// Its lower bound.
        centre_to_target_low_mm: Option<f64>,
        /// Its upper bound.
        centre_to_target_high_mm: Option<f64>,
        /// Smallest distance between both surfaces, mm.
        gap_to_target_mm: Option<f64>,
        /// Its lower bound.
        gap_to_target_low_mm: Option<f64>,
        /// Its upper bound.
        gap_to_target_high_mm: Option<f64>,
        /// Distance of its centre from the isodose of the prescription, mm.
        centre_to_isodose_mm: Option<f64>,
        /// Its lower bound.
        centre_to_isodose_low_mm: Option<f64>,
        /// Its upper bound.
        centre_to_isodose_high_mm: Option<f64>,
        /// Smallest distance of its surface from that isodose, mm.
        gap_to_isodose_mm: Option<f64>,
        /// Its lower bound.
        gap_to_isodose_low_mm: Option<f64>,
        /// Its upper bound.
        gap_to_isodose_high_mm: Option<f64>,
        /// Why there is or is not a share.
        status: Status,
        /// The same in words.
        reason: &'t str,
    }
}

/// The share of a target inside one isodose, %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareRow {
    /// The isodose, % of the prescription.
    pub isodose_percent: u32,
    /// The share with its numerical bounds; absent without a usable dose.
    pub share: Option<WithBounds>,
    /// Least and most when it is shifted by up to 1 mm, then by up to 2 mm.
    pub shifted: [[Option<f64>; 2]; 2],
}

impl RecurrenceRow<'_> {
    /// Shares inside 95, 100 and 50 % of the prescription.
    #[must_use]
    pub fn shares(&self) -> [ShareRow; 3] {
        [
            ShareRow {
                isodose_percent: 95,
                share: WithBounds::of([
                    self.inside_95_percent,
                    self.inside_95_low_percent,
                    self.inside_95_high_percent,
                ]),
                shifted: [
                    [self.inside_95_1mm_least_percent, self.inside_95_1mm_most_percent],
                    [self.inside_95_2mm_least_percent, self.inside_95_2mm_most_percent],
                ],
            },
            ShareRow {
                isodose_percent: 100,
                share: WithBounds::of([
                    self.inside_100_percent,
                    self.inside_100_low_percent,
                    self.inside_100_high_percent,
                ]),
                shifted: [
                    [self.inside_100_1mm_least_percent, self.inside_100_1mm_most_percent],
                    [self.inside_100_2mm_least_percent, self.inside_100_2mm_most_percent],
                ],
            },
            ShareRow {
                isodose_percent: 50,
                share: WithBounds::of([
                    self.inside_50_percent,
                    self.inside_50_low_percent,
                    self.inside_50_high_percent,
                ]),
                shifted: [
                    [self.inside_50_1mm_least_percent, self.inside_50_1mm_most_percent],
                    [self.inside_50_2mm_least_percent, self.inside_50_2mm_most_percent],
                ],
            },
        ]
    }

    /// Each published definition with the class by it.
    #[must_use]
    pub fn patterns(&self) -> [(&'static str, Option<&str>); 3] {
        [
            ("Gebhardt et al. 2014", self.pattern_gebhardt_2014),
            ("McDonald et al. 2011", self.pattern_mcdonald_2011),
            ("Lee et al. 1999", self.pattern_lee_1999),
        ]
    }

    /// Dose at its centre of mass, Gy.
    #[must_use]
    pub fn centre_dose(&self) -> Option<WithBounds> {
        WithBounds::of([self.centre_dose_gy, self.centre_dose_low_gy, self.centre_dose_high_gy])
    }

    /// Distance of its centre from the surface of the nearest treated target, mm; negative inside.
    #[must_use]
    pub fn centre_to_target(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.centre_to_target_mm,
            self.centre_to_target_low_mm,
            self.centre_to_target_high_mm,
        ])
    }

    /// Smallest distance between both surfaces, mm; negative where they overlap.
    #[must_use]
    pub fn gap_to_target(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.gap_to_target_mm,
            self.gap_to_target_low_mm,
            self.gap_to_target_high_mm,
        ])
    }

    /// Distance of its centre from the isodose of the prescription, mm; negative inside.
    #[must_use]
    pub fn centre_to_isodose(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.centre_to_isodose_mm,
            self.centre_to_isodose_low_mm,
            self.centre_to_isodose_high_mm,
        ])
    }

    /// Smallest distance of its surface from that isodose, mm; negative where it reaches inside.
    #[must_use]
    pub fn gap_to_isodose(&self) -> Option<WithBounds> {
        WithBounds::of([
            self.gap_to_isodose_mm,
            self.gap_to_isodose_low_mm,
            self.gap_to_isodose_high_mm,
        ])
    }
}
