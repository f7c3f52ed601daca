//! `prescriptions.csv`: which dose is prescribed to which target. The program adds a row for every
//! target with what the plan says, the user decides in the column `prescription_gy`; a row left
//! blank there is no decision. Without `roi_number` a decision holds for every target of the plan.
//! After a measurement it shows dose per fraction and isodose level beside the prescription, and
//! where there is none, the dose that covers the target as a candidate. A candidate is never taken.

use std::collections::BTreeMap;
use std::path::Path;

use super::unmatched::{CaseIndex, Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::structure_names::shown_name;
use crate::write_csv::number;
use crate::write_file::{Access, WriteError};
use tidydose_analyse::Analysis;
use tidydose_case::alike::Existing;
use tidydose_case::{Case, Decisions, NamedRoi, recognise};
use tidydose_geometry::units::Gray;
use tidydose_geometry::units::typed::{self, NotANumber};
use tidydose_metrics::Status;
use tidydose_rt::{Plan, RoiHeader};

pub(super) const COLUMNS: &[&str] = &[
    "plan_id",
    "roi_number",
    "structure",
    "proposed_gy",
    "basis",
    "dose_per_fraction_gy",
    "isodose_percent",
    "candidate_by_isodose",
    "prescription_gy",
    "comment",
];

const REQUIRED: &[&str] = &["plan_id", "roi_number", "prescription_gy"];

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct PrescriptionsFile {
    file: UserFile,
    decisions: Vec<Decided>,
}

/// A decided row.
#[derive(Debug, Clone, PartialEq)]
struct Decided {
    row: usize,
    plan: String,
    /// Absent where the dose holds for every target of the plan.
    roi_number: Option<i64>,
    dose: Gray,
}

/// The file.
pub const FILE: &str = "prescriptions.csv";

impl PrescriptionsFile {
    /// Reads `prescriptions.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a dose is no positive number, or two rows decide the same thing
    /// differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, decisions) = UserFile::read_decided(path, [REQUIRED, COLUMNS], decisions)?;
        Ok(Self { file, decisions })
    }

    /// The rows as text.
    pub(super) const fn rows(&self) -> &UserFile {
        &self.file
    }

    /// Adds what was decided here to `decisions`, and says which rows mean no plan or no structure of
    /// their plan.
    pub fn decide(&self, cases: &[Case], decisions: &mut Decisions) -> Vec<Unmatched> {
        let mut unmatched = Vec::new();
        let cases = CaseIndex::of(cases);
        for decided in &self.decisions {
            match self.meant(decided, &cases, decisions) {
                Ok(case) => {
                    let key = (case.id.clone(), decided.roi_number);
                    decisions.prescriptions.insert(key, decided.dose);
                }
                Err(row) => unmatched.push(row),
            }
        }
        unmatched
    }

    fn spot<'s>(&self, row: usize, column: &'static str, value: &'s str) -> Spot<'s> {
        Spot { file: FILE, line: UserFile::line(row), column, value }
    }

    /// The case of a row, whose structure it has and which its column `structure` does not deny.
    fn meant<'c>(
        &self,
        decided: &Decided,
        cases: &CaseIndex<'c>,
        decisions: &Decisions,
    ) -> Result<&'c Case, Unmatched> {
        let Decided { row, plan, roi_number, .. } = decided;
        let case = self.spot(*row, "plan_id", plan).case(cases)?;
        let Some(number) = roi_number else { return Ok(case) };
        let rois = case.structure_set.as_ref().map_or(&[][..], |set| &set.rois);
        // What a structure is or was called here: by the file, by the rules, by the user.
        let called = |roi: &RoiHeader| -> Existing {
            let decided = decisions.name(&case.id, roi.number, &roi.name);
            let by_user = decided.and_then(|d| d.standard.clone());
            let names = [Some(roi.name.clone()), recognise(&roi.name).standard, by_user];
            names.into_iter().flatten().collect()
        };
        let typed = self.file.text(*row, "structure");
        let has = |roi: &&RoiHeader| !typed.is_empty() && called(roi).one(typed).is_some();
        let own = rois.iter().find(|roi| roi.number == *number);
        let others = rois.iter().filter(has).map(|roi| roi.number.to_string());
        let others: Vec<String> = others.collect();
        let text = number.to_string();
        let spot = self.spot(*row, "roi_number", &text);
        match own {
            None => Err(spot.unmatched("the plan has no structure of this number", others)),
            Some(roi) if !others.is_empty() && !has(&roi) => {
                let reason = format!("the structure of this number is called `{}`", roi.name);
                Err(spot.unmatched(reason, others))
            }
            Some(_) => Ok(case),
        }
    }

    /// The rows whose structure is there and no target, or whose plan has none. To be called when
    /// names and roles are known.
    #[must_use]
    pub fn without_target(&self, cases: &[Case]) -> Vec<Unmatched> {
        let mut unmatched = Vec::new();
        let cases = CaseIndex::of(cases);
        for Decided { row, plan, roi_number, .. } in &self.decisions {
            let Ok(case) = self.spot(*row, "plan_id", plan).case(&cases) else { continue };
            let targets: Vec<&NamedRoi> =
                case.names.iter().filter(|n| n.role.is_target()).collect();
            let text = roi_number.map_or(String::new(), |n| n.to_string());
            let spot = self.spot(*row, "roi_number", &text);
            let named = roi_number.and_then(|number| case.name(number));
            if let Some(named) = named.filter(|n| !n.role.is_target()) {
                let (name, role) = (&named.original, named.role.word());
                let reason = format!(
                    "the structure `{name}` has the role {role}, which is no target; names.csv \
                     decides roles"
                );
                let numbers = targets.iter().map(|n| n.number.to_string()).collect();
                unmatched.push(spot.unmatched(reason, numbers));
            } else if roi_number.is_none() && targets.is_empty() {
                unmatched.push(spot.unmatched("the plan has no target", Vec::new()));
            }
        }
        unmatched
    }

    /// Adds a row for every single target that has none yet, and refreshes what was derived from
    /// the dose in the rows that are there.
    pub fn propose(&mut self, cases: &[Case], analyses: &[Analysis]) {
        let mut sorted: Vec<_> = cases.iter().collect();
        sorted.sort_by_key(|c| (&c.patient, &c.id));
        let ids: Existing = cases.iter().map(|c| c.id.as_str()).collect();
        let key = |row| {
            let plan = self.file.text(row, "plan_id");
            let plan = ids.one(plan).unwrap_or(plan);
            [plan, self.file.text(row, "roi_number")].map(str::to_owned)
        };
        let rows: BTreeMap<[String; 2], usize> =
            (0..self.file.row_count()).map(|row| (key(row), row)).collect();
        for case in sorted {
            let analysis = analyses.iter().find(|a| a.case == case.id);
            let mut targets: Vec<_> = case.names.iter().filter(|n| n.role.is_target()).collect();
            targets.sort_by_key(|n| n.number);
            for target in targets {
                let derived = Derived::of(case, target.number, analysis);
                match rows.get(&[case.id.to_string(), target.number.to_string()]) {
                    Some(row) => self.refresh(*row, &derived),
                    None => self.add(case, target, &derived),
                }
            }
        }
    }

    fn add(&mut self, case: &Case, target: &NamedRoi, derived: &Derived) {
        let known = case.prescriptions.iter().find(|p| p.roi_number == target.number);
        let dose = known.map_or(String::new(), |p| number(p.dose.value()));
        self.file.add(&[
            ("plan_id", case.id.as_str()),
            ("roi_number", &target.number.to_string()),
            ("structure", shown_name(target)),
            ("proposed_gy", &dose),
            ("basis", known.map_or("", |p| p.basis.word())),
            ("dose_per_fraction_gy", &derived.per_fraction),
            ("isodose_percent", &derived.isodose),
            ("candidate_by_isodose", &derived.candidate),
        ]);
    }

    fn refresh(&mut self, row: usize, derived: &Derived) {
        if !derived.measured {
            return;
        }
        self.file.refresh(row, "dose_per_fraction_gy", &derived.per_fraction);
        self.file.refresh(row, "isodose_percent", &derived.isodose);
        self.file.refresh(row, "candidate_by_isodose", &derived.candidate);
    }

    /// Writes the file if something was added or refreshed.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

/// What follows from a prescription and the dose in its target, as text.
#[derive(Debug, Default)]
struct Derived {
    measured: bool,
    per_fraction: String,
    isodose: String,
    candidate: String,
}

/// Share of the volume that the candidate dose covers: the metric that says it.
const COVERING: &str = "D95%[Gy]";
/// The largest dose, against which an isodose is named.
const LARGEST: &str = "Max[Gy]";

/// The metrics of targets that are shown here.
pub const SHOWN: [&str; 2] = [COVERING, LARGEST];

impl Derived {
    fn of(case: &Case, roi_number: i64, analysis: Option<&Analysis>) -> Self {
        let known = case.prescriptions.iter().find(|p| p.roi_number == roi_number);
        let fractions = case.plan.as_ref().and_then(Plan::fractions).filter(|n| *n > 0);
        let per_fraction = known.zip(fractions).map(|(p, n)| p.dose.value() / f64::from(n));
        let dose = |metric: &str| {
            let rows = &analysis?.measurements;
            let row = rows.iter().find(|m| m.roi_number == roi_number && m.metric == metric)?;
            row.outcome.value.filter(|v| row.outcome.status == Status::Ok && *v > 0.0)
        };
        let maximum = dose(LARGEST);
        let level = |dose_gy: f64| Some(100.0 * dose_gy / maximum?);
        let candidate =
            dose(COVERING).filter(|_| known.is_none()).and_then(|d| Some((d, level(d)?)));
        Self {
            measured: analysis.is_some(),
            per_fraction: per_fraction.map_or(String::new(), |d| rounded(d, 1000.0)),
            isodose: known
                .and_then(|p| level(p.dose.value()))
                .map_or(String::new(), |p| rounded(p, 10.0)),
            candidate: candidate.map_or(String::new(), |(dose_gy, percent)| {
                let (dose, percent) = (rounded(dose_gy, 10.0), rounded(percent, 1.0));
                format!("{dose} Gy covers 95 % of it, at {percent} % of its largest dose")
            }),
        }
    }
}

/// Rounded to one part in `steps`.
fn rounded(value: f64, steps: f64) -> String {
    number((value * steps).round() / steps)
}

fn decisions(file: &UserFile) -> Result<Vec<Decided>, String> {
    let mut decisions: Vec<Decided> = Vec::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let text = file.text(row, "prescription_gy");
        if text.is_empty() {
            continue;
        }
        let dose = dose(text)
            .map_err(|reason| format!("row {line}: prescription_gy `{text}` {reason}"))?;
        let plan = file.text(row, "plan_id").to_owned();
        if plan.is_empty() {
            return Err(format!("row {line}: plan_id is empty; copy it from table plans"));
        }
        let roi_number =
            match file.text(row, "roi_number") {
                "" => None,
                text => Some(text.parse().map_err(|_| {
                    format!("row {line}: roi_number `{text}` is not a whole number")
                })?),
            };
        let mut earlier = decisions.iter().filter(|d| d.plan == plan && d.roi_number == roi_number);
        if earlier.any(|e| e.dose != dose) {
            return Err(format!("row {line}: an earlier row has another dose; keep one of them"));
        }
        decisions.push(Decided { row, plan, roi_number, dose });
    }
    Ok(decisions)
}

/// Grids above this dose are not believed (finding `dose-implausible`); a prescription above it was
/// typed in centigray.
const LARGEST_GY: f64 = 300.0;

/// A dose as people type it, or why it is none.
pub(super) fn dose(text: &str) -> Result<Gray, String> {
    match typed::number(text) {
        Ok(value) if value > LARGEST_GY => Err(format!(
            "is more than {LARGEST_GY} Gy; the dose of all fractions in gray would be accepted, \
             not in centigray"
        )),
        Ok(value) if value > 0.0 => Ok(Gray::gy(value)),
        Err(ambiguous @ NotANumber::Ambiguous { .. }) => Err(ambiguous.to_string()),
        _ => Err("is not a positive number of Gy".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::example::Example;
    use crate::testing::case_of;
    use tidydose_analyse::Measurement;
    use tidydose_metrics::Outcome;

    fn read(rows: &str) -> Result<PrescriptionsFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("prescriptions.csv");
        std::fs::write(&path, format!("{}\r\n{rows}", COLUMNS.join(";"))).unwrap();
        PrescriptionsFile::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn point_and_comma_are_decimals() {
        let file =
            read("P1;2;met;20;plan;;;;22,5;\r\nP1;;;;;;;;18.0;all\r\nP2;1;met;20;plan;;;;;\r\n");
        let decisions = file.unwrap().decisions;
        let read: Vec<_> = decisions.iter().map(|d| (d.roi_number, d.dose)).collect();
        assert_eq!(read, [(Some(2), Gray::gy(22.5)), (None, Gray::gy(18.0))]);
    }

    #[test]
    fn faults_name_the_row() {
        for (rows, expected) in [
            ("P1;2;;;;;;;-3;\n", "row 2: prescription_gy `-3`"),
            ("P1;2;;;;;;;20 Gy;\n", "row 2: prescription_gy `20 Gy`"),
            ("P1;2;;;;;;;2.400;\n", "row 2: prescription_gy `2.400` can mean 2.4 or 2400; 2.4 or"),
            ("P1;2;;;;;;;18,000;\n", "row 2: prescription_gy `18,000` can mean 18 or 18000"),
            ("P1;2;;;;;;;2400;\n", "prescription_gy `2400` is more than 300 Gy; the dose of all"),
            (";2;;;;;;;20;\n", "row 2: plan_id is empty"),
            ("P1;x;;;;;;;20;\n", "row 2: roi_number `x`"),
            ("P1;2;;;;;;;20;\nP1;2;;;;;;;21;\n", "row 3: an earlier row"),
        ] {
            let message = read(rows).unwrap_err();
            assert!(message.contains(expected), "{message}");
        }
    }

    #[test]
    fn rows_of_no_plan_no_structure_or_no_target_are_said() {
        let rows = "plan;1;;;;;;;20;\nPLAN;2;;;;;;;18;\nplan;7;GTV1;;;;;;18;\n\
                    plan;2;GTV1;;;;;;19;\nplna;1;;;;;;;20;\nplan;3;;;;;;;9;\n";
        let file = read(rows).unwrap();
        let cases = [case_of(&["GTV1", "GTV2", "Pons"])];
        let mut decisions = Decisions::default();
        let mut said = file.decide(&cases, &mut decisions);
        said.extend(file.without_target(&cases));
        let said: Vec<String> = said.iter().map(Unmatched::sentence).collect();
        let wanted = [
            "row 4 of prescriptions.csv, column roi_number: `7`: the plan has no structure of this \
             number; the nearest is `1`",
            "row 5 of prescriptions.csv, column roi_number: `2`: the structure of this number is \
             called `GTV2`; the nearest is `1`",
            "row 6 of prescriptions.csv, column plan_id: `plna`: no plan of table plans is called \
             so; the nearest is `plan`",
            "row 7 of prescriptions.csv, column roi_number: `3`: the structure `Pons` has the role \
             organ, which is no target; names.csv decides roles; the nearest is `1`, `2`",
        ];
        assert_eq!(said, wanted);
        let plan = tidydose_rt::identity::Token::new("plan");
        assert_eq!(decisions.prescriptions[&(plan.clone(), Some(1))], Gray::gy(20.0));
        assert_eq!(decisions.prescriptions[&(plan, Some(2))], Gray::gy(18.0));
    }

    #[test]
    fn every_target_is_proposed_once() {
        let example = Example::new();
        let mut file = read("plan-1;2;met;20;plan;;;;24;mine\r\n").unwrap();
        file.propose(&example.cases, &example.analyses);
        assert_eq!(file.file.row_count(), 2, "plan-1 is there, plan-2 is added");
        assert_eq!(file.file.text(1, "plan_id"), "plan-2");
        assert_eq!(file.file.text(1, "structure"), "-met, \"left\"");
        assert_eq!(file.file.text(1, "proposed_gy"), "20");
        file.propose(&example.cases, &example.analyses);
        assert_eq!(file.file.row_count(), 2);
    }

    /// 20 Gy at 50 % of a largest dose of 40 Gy; without prescription the covering dose is offered.
    #[test]
    fn isodose_and_candidate_are_shown_and_never_taken() {
        let mut example = Example::new();
        let row = |metric: &str, value| Measurement {
            roi_number: 2,
            metric: metric.to_owned(),
            unit: "Gy",
            outcome: Outcome::of(value),
            uncertainty: None,
            method: String::new(),
        };
        let rows = [row("Max[Gy]", 40.0), row(COVERING, 18.26)];
        example.analyses[0].measurements.extend(rows);
        let mut file = read("").unwrap();
        file.propose(&example.cases, &example.analyses);
        assert_eq!(file.file.text(0, "isodose_percent"), "50");
        assert_eq!(file.file.text(0, "candidate_by_isodose"), "");
        example.cases[0].prescriptions.clear();
        file.propose(&example.cases, &example.analyses);
        let candidate = file.file.text(0, "candidate_by_isodose").to_owned();
        assert_eq!(candidate, "18.3 Gy covers 95 % of it, at 46 % of its largest dose");
        assert!(super::decisions(&file.file).unwrap().is_empty());
    }
}
