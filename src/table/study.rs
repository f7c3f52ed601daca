//! What the tables are made from: the results of one run, borrowed, and put in the one order in
//! which every table lists them. The order of the input slices has no influence on any table.

use std::collections::BTreeMap;

use super::analysis::ChosenColumns;
use super::tally::Tally;
use super::user::clinical_file::ConfirmedLabels;
use super::user::lesion_file::LesionDecisions;
use super::user::states::States;
use tidydose_analyse::{Analysis, SumMeasurement};
use tidydose_case::{Case, CountedFractions, NamedRoi, PlanSum};
use tidydose_metrics::Metric;
use tidydose_metrics::limits::Limit;
use tidydose_rt::Inventory;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Token;

/// What one metric means, as the dictionary shows it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct MetricDefinition {
    /// Name in TG-263 syntax, or the index name.
    pub name: String,
    /// Unit symbol.
    pub unit: String,
    /// Meaning in one sentence.
    pub meaning: String,
    /// Roles or structures it applies to.
    pub applies_to: String,
    /// Formula in plain text.
    pub formula: String,
    /// Report, paper or standard that defines it.
    pub reference: String,
}

impl From<&Metric> for MetricDefinition {
    fn from(metric: &Metric) -> Self {
        let definition = metric.definition;
        Self {
            name: metric.to_string(),
            unit: definition.unit.to_owned(),
            meaning: definition.meaning(metric.argument),
            applies_to: definition.applies_to.word().to_owned(),
            formula: definition.formula.to_owned(),
            reference: definition.source(),
        }
    }
}

/// One sum with what was computed for it.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredSum {
    /// What the user asked for.
    pub sum: PlanSum,
    /// The plan whose structures are measured.
    pub structures_of: Token,
    /// The plans with the fractions of each that are added up; empty for a sum that is refused.
    pub fractions: Vec<(Token, CountedFractions)>,
    /// The values.
    pub measurements: Vec<SumMeasurement>,
}

/// The results of one run.
#[derive(Debug, Clone, Copy)]
pub struct Study<'a> {
    /// Every file and object that was seen.
    pub inventory: &'a Inventory,
    /// The cases.
    pub cases: &'a [Case],
    /// What was computed, for the cases that were measured.
    pub analyses: &'a [Analysis],
    /// Sums of plans, as far as the user asked for any.
    pub sums: &'a [MeasuredSum],
    /// Findings of reading, linking and the run; those of the analyses are added by the tables.
    pub findings: &'a [Finding],
    /// What was decided about findings.
    pub states: &'a States,
    /// What was decided about lesions.
    pub lesion_decisions: &'a LesionDecisions,
    /// Labels of the clinic that were confirmed.
    pub confirmed_labels: &'a ConfirmedLabels,
    /// What came of plans, structures and values; the writer of all tables gathers it itself.
    pub tally: &'a Tally,
    /// The columns of table `analysis`.
    pub columns: &'a ChosenColumns,
    /// The limits of this run.
    pub limits: &'a [Limit],
    /// The metrics of this run.
    pub metrics: &'a [MetricDefinition],
    /// Digest of the settings, see [`super::run::settings_digest`].
    pub settings_digest: &'a str,
}

/// One case with what was computed for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured<'a> {
    pub(super) case: &'a Case,
    pub(super) analysis: Option<&'a Analysis>,
}

/// Cases by patient and case token.
pub(super) fn in_order(cases: &[Case]) -> Vec<&Case> {
    let mut list: Vec<&Case> = cases.iter().collect();
    list.sort_by_key(|case| (&case.patient, &case.id));
    list
}

impl<'a> Study<'a> {
    /// The cases by patient and case token.
    pub(super) fn measured(&self) -> Vec<Measured<'a>> {
        let analyses: BTreeMap<_, _> = self.analyses.iter().map(|a| (&a.case, a)).collect();
        let cases = in_order(self.cases).into_iter();
        cases.map(|case| Measured { case, analysis: analyses.get(&case.id).copied() }).collect()
    }

    /// The same without structure sets that were drawn after a treatment.
    pub(super) fn plans(&self) -> Vec<Measured<'a>> {
        let mut list = self.measured();
        list.retain(|m| !m.case.is_follow_up());
        list
    }

    /// Every finding once, in catalogue order of the codes, then by subject and message.
    pub(super) fn all_findings(&self) -> Vec<&'a Finding> {
        let computed = self.analyses.iter().flat_map(|a| &a.findings);
        let mut list: Vec<_> = self.findings.iter().chain(computed).collect();
        list.sort();
        list.dedup();
        list
    }
}

impl<'a> Measured<'a> {
    /// Who the structure is; absent for a number that the structure set does not list.
    pub(super) fn name(&self, roi_number: i64) -> Option<&'a NamedRoi> {
        self.case.name(roi_number)
    }

    /// Whether metrics were computed: the case is analysed and not left out.
    pub(super) fn is_measured(&self) -> bool {
        self.analysis.is_some() && self.case.left_out.is_none()
    }

    /// Whether the case counts: it was measured, and its plan counts by the one rule of
    /// [`tidydose_case::Standing`].
    pub(super) fn is_in_study(&self) -> bool {
        self.is_measured() && self.case.counts()
    }

    /// Why there are no metrics; absent when there are.
    pub(super) fn gap(&self) -> Option<&'a str> {
        match &self.case.left_out {
            Some((_, reason)) => Some(reason),
            None if self.analysis.is_none() => Some("not measured in this run"),
            None => None,
        }
    }

    pub(super) fn patient(&self) -> Option<&'a str> {
        self.case.patient.as_ref().map(Token::as_str)
    }
}
