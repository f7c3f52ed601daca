//! Rows of tables `plans`, `structures` and `lesions`.

use super::{PlanRole, Role, row};

row! {
    /// A case of table plans.
    PlanRow of "plans" {
        /// Patient.
        patient_id: &'t str,
        /// The case.
        plan_id: &'t str,
        /// Delivery technology.
        technology: &'t str,
        /// Day of the plan.
        day_plan: Option<i64>,
        /// Period of the archive.
        era: Option<i64>,
        /// Fractions planned.
        fractions_planned: Option<i64>,
        /// Highest prescription, Gy.
        prescription_dose_gy: Option<f64>,
        /// Part of the plan in the treatment.
        plan_role: Option<PlanRole>,
        /// Whether it counts.
        in_study: Option<bool>,
        /// First day of treatment.
        day_first_fraction: Option<i64>,
        /// Course of the patient, by time.
        course: Option<i64>,
        /// Courses of the patient.
        n_courses: Option<i64>,
        /// Days since the course before.
        days_since_course: Option<i64>,
        /// The doses, separated by blanks.
        dose_id: &'t str,
        /// The structure set.
        structure_set_id: &'t str,
        /// Whether it was measured.
        measured: Option<bool>,
        /// Why it was not, as the code of a finding.
        exclusion_code: Option<&'t str>,
        /// The same in words.
        exclusion_reason: Option<&'t str>,
    }
}

impl PlanRow<'_> {
    /// First day of treatment, else day of the plan.
    #[must_use]
    pub fn day(&self) -> Option<i64> {
        self.day_first_fraction.or(self.day_plan)
    }

    /// Whether it was measured.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        self.measured == Some(true)
    }

    /// Whether it counts.
    #[must_use]
    pub fn is_in_study(&self) -> bool {
        self.in_study == Some(true)
    }

    /// The word of its part in the treatment; empty where the table says nothing.
    #[must_use]
    pub fn role_word(&self) -> &'static str {
        self.plan_role.map_or("", PlanRole::word)
    }
}

row! {
    /// A structure of table structures.
    StructureRow of "structures" {
        /// The case.
        plan_id: &'t str,
        /// The structure.
        structure_id: &'t str,
        /// The name it goes by.
        structure: &'t str,
        /// Standard name.
        name_standard: Option<&'t str>,
        /// What it may be where nobody has decided: names, or `any`.
        may_be: Option<&'t str>,
        /// What it is for.
        role: Option<Role>,
        /// Share of it inside the dose grid, %.
        inside_grid_percent: Option<f64>,
        /// Volume, cc.
        volume_cc: Option<f64>,
    }
}

row! {
    /// A lesion of table lesions.
    LesionRow of "lesions" {
        /// The case.
        plan_id: &'t str,
        /// The lesion.
        lesion_id: &'t str,
        /// Name of its outermost target.
        structure: &'t str,
        /// Volume of that, cc.
        volume_cc: Option<f64>,
        /// What the clinic calls it.
        clinical_label: Option<&'t str>,
    }
}
