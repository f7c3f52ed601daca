//! Rows of tables `findings`, `finding_details`, `files` and `dictionary`, and of the questions in
//! `choices.csv`.

use std::borrow::Cow;

use super::{Severity, State, row};

row! {
    /// One cause of something questionable or refused.
    FindingRow of "findings" {
        /// How much it weighs.
        severity: Severity,
        /// What was decided about it.
        state: State,
        /// Kind of finding.
        code: &'t str,
        /// Things that it reaches.
        n_details: Option<i64>,
        /// The case; missing where there are several.
        plan_id: Option<&'t str>,
        /// What was seen.
        message: &'t str,
        /// What this kind of finding is.
        meaning: &'t str,
        /// What it does to the numbers.
        consequence: &'t str,
        /// What a person can do about it.
        action: &'t str,
    }
}

row! {
    /// One thing that a finding reaches.
    FindingDetailRow of "finding_details" {
        /// How much it weighs.
        severity: Severity,
        /// What was decided about it.
        state: State,
        /// Kind of finding.
        code: &'t str,
        /// The case.
        plan_id: Option<&'t str>,
        /// ROI Number of the structure.
        roi_number: Option<i64>,
        /// SOP instance.
        object_id: Option<&'t str>,
        /// The file.
        file_id: Option<&'t str>,
        /// What was seen there.
        message: &'t str,
    }
}

row! {
    /// A file of the archive.
    FileRow of "files" {
        /// The file.
        file_id: &'t str,
        /// SOP instance in it.
        object_id: Option<&'t str>,
        /// Digest of the file.
        sha256: &'t str,
        /// What became of it.
        status: &'t str,
    }
}

row! {
    /// What a column, or a value that it may hold, means.
    DictionaryRow of "dictionary" {
        /// The table.
        table: &'t str,
        /// The column.
        column: &'t str,
        /// The value; missing for the column itself.
        value: Option<&'t str>,
        /// The meaning.
        meaning: &'t str,
        /// Formula of a metric.
        formula: &'t str,
        /// Source of the definition.
        reference: Option<&'t str>,
    }
}

row! {
    /// A question of `choices.csv`.
    ChoiceRow of "choices" {
        /// The case.
        plan_id: Cow<'t, str>,
        /// What is asked.
        question: Cow<'t, str>,
        /// What is known.
        evidence: Cow<'t, str>,
        /// What was answered; empty where nobody has.
        decision: Cow<'t, str>,
    }
}
