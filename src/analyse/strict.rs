//! A strict run: a finding of severity `check` refuses what it is about.
//!
//! About a structure, it refuses that structure. About a file or an object, it refuses every case
//! that uses it. About a case, it refuses the case. Notes refuse nothing. Objects are linked and
//! structures named as in any run, and only then are values taken away: a strict run gives no number
//! that a lenient one does not give, and no other. Must not know how a value was computed.

use std::collections::BTreeMap;

use super::result::Analysis;
use super::sum::SumMeasurement;
use tidydose_case::{Case, NamedRoi, Role};
use tidydose_metrics::limits::Verdict;
use tidydose_metrics::{Outcome, Status};
use tidydose_rt::finding::{Code, Finding, Severity, Subject};
use tidydose_rt::identity::Token;

/// How the reason begins that a strict run gives.
pub const PREFIX: &str = "strict run: ";

/// Why something is refused.
type Reason = (Code, String);

/// What the findings of a strict run take away; by default nothing.
#[derive(Debug, Clone, Default)]
pub struct Refusals {
    whole: BTreeMap<Token, Reason>,
    parts: BTreeMap<(Token, i64), Reason>,
    /// Cases in which a structure is refused that has a part in numbers without a structure.
    shared: BTreeMap<Token, Reason>,
}

impl Refusals {
    /// What the findings put in doubt.
    pub fn of<'f>(cases: &[Case], findings: impl IntoIterator<Item = &'f Finding>) -> Self {
        let mut all = Self::default();
        for finding in findings.into_iter().filter(|f| f.severity() == Severity::Check) {
            for case in cases.iter().filter(|case| concerns(&finding.subject, case)) {
                let reason = || {
                    let Finding { code, message, .. } = finding;
                    (*code, format!("{PREFIX}{}: {message}", code.definition().meaning))
                };
                let Some(roi) = finding.subject.roi_number else {
                    all.whole.entry(case.id.clone()).or_insert_with(reason);
                    continue;
                };
                all.parts.entry((case.id.clone(), roi)).or_insert_with(reason);
                if case.name(roi).is_some_and(is_shared) {
                    all.shared.entry(case.id.clone()).or_insert_with(reason);
                }
            }
        }
        all
    }

    /// Leaves out the cases that are refused as a whole.
    pub fn leave_out(&self, cases: &mut [Case]) {
        for case in cases {
            if let Some(reason) = self.whole.get(&case.id) {
                case.left_out.get_or_insert_with(|| reason.clone());
            }
        }
    }

    /// Takes the values away. A row that has no value keeps its own reason.
    pub fn take_away(&self, analysis: &mut Analysis) {
        let case = analysis.case.clone();
        let words = |(_, why): &Reason| why.clone();
        let all = self.whole.get(&case).map(words);
        let shared = all.clone().or_else(|| self.shared.get(&case).map(words));
        let of_roi = |roi| all.clone().or_else(|| self.of_structure(&case, roi));
        take_numbers(analysis, &of_roi);
        take_relations(analysis, shared.as_deref(), &of_roi);
        take_limits(analysis, all.as_deref(), &of_roi);
        take_pictures(analysis, &of_roi);
        analysis.dose = analysis.dose.filter(|_| all.is_none());
    }

    /// The same for the values of a sum, of which `case` has the structures.
    pub fn take_away_of_sum(&self, case: &Token, rows: &mut [SumMeasurement]) {
        for row in rows {
            refuse_value(&mut row.outcome, self.of_structure(case, row.roi_number));
        }
    }

    /// The structures that are refused, by case and ROI Number.
    pub fn structures(&self) -> impl Iterator<Item = (&Token, i64)> {
        self.parts.keys().map(|(case, roi)| (case, *roi))
    }

    /// Whether nothing is refused.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.whole.is_empty() && self.parts.is_empty()
    }

    /// Whether a case keeps a structure.
    #[must_use]
    pub fn spares(&self, case: &Case) -> bool {
        let refused = |name: &NamedRoi| self.parts.contains_key(&(case.id.clone(), name.number));
        !self.whole.contains_key(&case.id) && !case.names.iter().all(refused)
    }

    fn of_structure(&self, case: &Token, roi: i64) -> Option<String> {
        self.parts.get(&(case.clone(), roi)).map(|(_, why)| why.clone())
    }
}

/// Whether a structure has a part in the numbers of regions that nobody drew.
fn is_shared(name: &NamedRoi) -> bool {
    name.role.is_target() || name.role == Role::External || name.is_brain_or_its_rest()
}

/// Takes away what the findings put in doubt, from all cases at once.
pub fn refuse<'f>(
    cases: &mut [Case],
    analyses: &mut [Analysis],
    findings: impl IntoIterator<Item = &'f Finding>,
) {
    let refusals = Refusals::of(cases, findings);
    refusals.leave_out(cases);
    analyses.iter_mut().for_each(|analysis| refusals.take_away(analysis));
}

/// Whether a finding is about the case, or about an object that it uses.
fn concerns(about: &Subject, case: &Case) -> bool {
    if let Some(id) = &about.case {
        return *id == case.id;
    }
    let mut origins = vec![
        case.plan.as_ref().map(|plan| &plan.origin),
        case.structure_set.as_ref().map(|set| &set.origin),
    ];
    origins.extend(case.all_doses().map(|dose| Some(&dose.origin)));
    let set_only = about.roi_number.is_some();
    let used = origins.into_iter().enumerate().filter(|(i, _)| !set_only || *i == 1);
    used.filter_map(|(_, origin)| origin).any(|origin| match (&about.file, &about.object) {
        (Some(file), _) => *file == origin.file,
        (None, Some(object)) => *object == origin.object,
        (None, None) => false,
    })
}

/// Why the structure of a ROI Number is refused; absent when it is not.
type OfRoi<'a> = &'a dyn Fn(i64) -> Option<String>;

fn refuse_value(outcome: &mut Outcome, reason: Option<String>) {
    if let Some(reason) = reason.filter(|_| outcome.value.is_some()) {
        *outcome = Outcome::none(Status::Excluded, reason);
    }
}

fn take_numbers(analysis: &mut Analysis, of_roi: OfRoi<'_>) {
    for row in &mut analysis.measurements {
        refuse_value(&mut row.outcome, of_roi(row.roi_number));
        row.uncertainty = row.uncertainty.take().filter(|_| row.outcome.value.is_some());
    }
    for row in &mut analysis.structures {
        refuse_value(&mut row.volume, of_roi(row.roi_number));
        if of_roi(row.roi_number).is_some() {
            row.centroid_mm = None;
            row.inside_grid_percent = None;
        }
    }
    analysis.dvh.retain(|point| of_roi(point.roi_number).is_none());
    for row in &mut analysis.sensitivities {
        if let Some(reason) = of_roi(row.roi_number).filter(|_| row.value.is_some()) {
            row.refuse(reason);
        }
    }
}

/// Rows about two structures go with either; those about all targets or a region go with any
/// structure that has a part in them.
fn take_relations(analysis: &mut Analysis, shared: Option<&str>, of_roi: OfRoi<'_>) {
    for row in &mut analysis.regions {
        refuse_value(&mut row.outcome, shared.map(str::to_owned));
    }
    for row in &mut analysis.relations {
        let other = match row.other_roi_number {
            Some(other) => of_roi(other),
            None => shared.map(str::to_owned),
        };
        refuse_value(&mut row.outcome, of_roi(row.roi_number).or(other));
    }
}

fn take_limits(analysis: &mut Analysis, all: Option<&str>, of_roi: OfRoi<'_>) {
    for row in &mut analysis.limit_checks {
        let own = row.roi_number.and_then(of_roi);
        let Some(reason) = all.map(str::to_owned).or(own) else { continue };
        if let Some(outcome) = &mut row.outcome {
            refuse_value(outcome, Some(reason.clone()));
        }
        row.target_inside_percent = None;
        // An aim of planning judges nothing, with or without a value.
        if !matches!(row.verdict, Verdict::Unknown | Verdict::NotALimit) {
            (row.verdict, row.reason) = (Verdict::Unknown, reason);
        }
    }
}

fn take_pictures(analysis: &mut Analysis, of_roi: OfRoi<'_>) {
    analysis.traces.retain(|trace| of_roi(trace.roi_number).is_none());
    analysis.pictures.retain(|picture| of_roi(picture.roi_number).is_none());
    for picture in &mut analysis.pictures {
        picture.lines.retain(|line| line.roi_number.and_then(of_roi).is_none());
    }
}

#[cfg(test)]
mod tests {
    use ndarray::Array3;

    use super::*;
    use crate::relate::Relation;
    use crate::testing::{ball, case_of, set_of};
    use crate::{Settings, analyse};
    use tidydose_case::{Prescription, PrescriptionBasis};
    use tidydose_geometry::Grid;
    use tidydose_geometry::units::Gray;
    use tidydose_metrics::List;
    use tidydose_metrics::limits::{Limit, row};
    use tidydose_rt::{Dose, FractionGroup, StructureSet};

    fn limit(organ: &str) -> Limit {
        row::read(|column| match column {
            "organ" => organ,
            "metric" => "Max[Gy]",
            "operator" => "<=",
            "limit" => "8",
            "unit" => "Gy",
            "fractions" => "1",
            "tier" => "local",
            "target_inside" => "judge",
            "source" | "evidence" => "invented",
            _ => "",
        })
        .unwrap()
        .limit
    }

    fn dose() -> Dose {
        let offsets = (0..40).map(f64::from).map(|k| 2.0 * k).collect();
        let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new([-40.0; 3], axes, [2.0; 2], offsets, [40, 40]).unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let r2: f64 = grid.position(at.into()).iter().map(|x| x * x).sum();
            (25.0 * (-r2 / 128.0).exp()) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    /// A target between a chiasm and a brainstem, in a brain.
    fn plan() -> (Case, StructureSet) {
        let mut case = case_of(&["GTV", "OpticChiasm", "Brainstem", "Brain"]);
        let dose = Gray::gy(12.0);
        let basis = PrescriptionBasis::User;
        case.prescriptions = vec![Prescription { roi_number: 1, dose, basis }];
        let group = FractionGroup { number: 1, fractions: Some(1), beams: Vec::new() };
        case.plan.as_mut().unwrap().fraction_groups.push(group);
        let rois = vec![
            ball(1, [0.0; 3], 6.0),
            ball(2, [0.0, -12.0, 0.0], 3.0),
            ball(3, [0.0, 14.0, 0.0], 5.0),
            ball(4, [0.0; 3], 30.0),
        ];
        (case, set_of(rois))
    }

    fn analysed(about: Option<i64>) -> (Analysis, Analysis) {
        let (mut case, set) = plan();
        let subject =
            Subject { case: Some(case.id.clone()), roi_number: about, ..Subject::default() };
        let limits = ["OpticChiasm", "Brainstem"].map(limit).to_vec();
        let settings = Settings { metrics: List::Basic.metrics(), limits, ..Settings::default() };
        let lenient = analyse(&case, Some(&set), Some(dose()), &settings);
        let finding = Finding::new(Code::VolumeDiffers, subject, "planted");
        let mut strict = [lenient.clone()];
        refuse(std::slice::from_mut(&mut case), &mut strict, [&finding]);
        let [strict] = strict;
        (lenient, strict)
    }

    fn values(analysis: &Analysis, of: impl Fn(i64) -> bool) -> usize {
        let rows = analysis.measurements.iter().filter(|m| of(m.roi_number));
        rows.filter(|m| m.outcome.value.is_some()).count()
    }

    fn related(analysis: &Analysis, roi: i64) -> usize {
        let about = |r: &&Relation| r.roi_number == roi || r.other_roi_number == Some(roi);
        let rows = analysis.relations.iter().filter(about);
        rows.filter(|r| r.outcome.value.is_some()).count()
    }

    fn regions(analysis: &Analysis) -> usize {
        analysis.regions.iter().filter(|r| r.outcome.value.is_some()).count()
    }

    #[test]
    fn a_refused_organ_takes_all_that_is_about_it_and_nothing_else() {
        let (lenient, strict) = analysed(Some(2));
        assert!(values(&lenient, |roi| roi == 2) > 10 && related(&lenient, 2) > 3);
        assert_eq!((values(&strict, |roi| roi == 2), related(&strict, 2)), (0, 0));
        let other = |roi| roi != 2;
        assert_eq!(values(&strict, other), values(&lenient, other));
        assert_eq!(related(&strict, 3), related(&lenient, 3));
        assert_eq!(strict.regions, lenient.regions);
        assert!(regions(&lenient) > 5);
        let checks = |analysis: &Analysis, roi| {
            let own = analysis.limit_checks.iter().filter(|c| c.roi_number == Some(roi));
            own.map(|c| (c.verdict, c.outcome.as_ref().and_then(|o| o.value))).collect::<Vec<_>>()
        };
        let before = checks(&lenient, 2);
        assert!(before.iter().any(|(v, x)| *v != Verdict::Unknown && x.is_some()), "{before:?}");
        assert!(checks(&strict, 2).iter().all(|c| *c == (Verdict::Unknown, None)));
        assert_eq!(checks(&strict, 3), checks(&lenient, 3));
        assert!(lenient.pictures.iter().any(|p| p.roi_number == 2));
        let drawn = |roi| {
            strict.pictures.iter().flat_map(|p| &p.lines).any(move |l| l.roi_number == Some(roi))
        };
        assert!(!drawn(2) && drawn(3));
        assert!(strict.traces.iter().all(|t| t.roi_number != 2) && strict.traces.len() == 3);
    }

    #[test]
    fn a_refused_target_takes_the_numbers_of_regions_too() {
        let (lenient, strict) = analysed(Some(1));
        assert!(regions(&lenient) > 5);
        assert_eq!((regions(&strict), related(&strict, 1)), (0, 0));
        assert_eq!(values(&strict, |roi| roi == 3), values(&lenient, |roi| roi == 3));
    }

    #[test]
    fn a_refused_case_leaves_no_number() {
        let (lenient, strict) = analysed(None);
        assert!(values(&lenient, |_| true) > 50 && lenient.dose.is_some());
        assert_eq!((values(&strict, |_| true), regions(&strict)), (0, 0));
        assert!(strict.relations.iter().all(|r| r.outcome.value.is_none()));
        assert!(strict.limit_checks.iter().all(|c| c.verdict == Verdict::Unknown));
        assert!(strict.limit_checks.iter().any(|c| c.reason.starts_with(PREFIX)));
        assert!(strict.pictures.is_empty() && strict.traces.is_empty() && strict.dvh.is_empty());
        assert!(strict.dose.is_none());
    }

    #[test]
    fn a_sum_loses_what_its_structures_lose() {
        let (case, _) = plan();
        let subject =
            Subject { case: Some(case.id.clone()), roi_number: Some(2), ..Subject::default() };
        let finding = Finding::new(Code::VolumeDiffers, subject, "planted");
        let row = |roi_number| SumMeasurement {
            roi_number,
            metric: "Max[Gy]".to_owned(),
            unit: "Gy",
            alpha_beta_gy: None,
            outcome: Outcome::of(1.0),
            method: String::new(),
        };
        let mut rows = [row(1), row(2)];
        let cases = [case];
        Refusals::of(&cases, [&finding]).take_away_of_sum(&cases[0].id, &mut rows);
        assert_eq!(rows[0].outcome, Outcome::of(1.0));
        assert_eq!((rows[1].outcome.value, rows[1].outcome.status), (None, Status::Excluded));
    }
}
