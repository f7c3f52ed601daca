//! `sums.csv`: which plans of a patient are to be added up. The program lists the plans of every
//! patient who has more than one with a usable dose; the user gives those that belong together one
//! name in `sum` and says in `basis` what is added. Without that nothing is added: the plans stand
//! side by side in the tables.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use strum::VariantNames;

use super::unmatched::{CaseIndex, Known, Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::write_file::{Access, WriteError};
use tidydose_case::alike::Existing;
use tidydose_case::{Case, PlanSum, SumBasis, can_be_summed, courses, frames_join};
use tidydose_rt::identity::Token;
use tidydose_rt::{Plan, Registration};

pub(super) const COLUMNS: &[&str] = &[
    "patient_id",
    "plan_id",
    "day_plan",
    "course",
    "fractions",
    "frame_of_latest",
    "sum",
    "basis",
    "structures",
    "comment",
];
const REQUIRED: &[&str] = &["patient_id", "plan_id", "sum", "basis"];

/// What stands in column `basis`, with no name in `sum`, of a plan that is added to nothing.
pub const APART: &str = "apart";
/// What it means.
pub const APART_MEANING: &str = "not added to another plan; it is not asked about again";
/// The sum that an answer on the page of questions makes, as one patient mostly has one.
pub(super) const SUM_OF_ANSWERS: &str = "all";

/// The file.
pub const FILE: &str = "sums.csv";

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct SumsFile {
    file: UserFile,
    sums: Vec<PlanSum>,
}

impl SumsFile {
    /// Reads `sums.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a basis is unknown or differs within a sum, or two plans of a sum
    /// give its structures.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, sums) = UserFile::read_decided(path, [REQUIRED, COLUMNS], sums)?;
        Ok(Self { file, sums })
    }

    /// What is to be added up, by patient and name.
    #[must_use]
    pub fn sums(&self) -> &[PlanSum] {
        &self.sums
    }

    /// The rows.
    pub(super) const fn rows(&self) -> &UserFile {
        &self.file
    }

    /// The rows of plans of which nobody has said whether they are added to others.
    pub(super) fn undecided(&self) -> Vec<usize> {
        undecided(&self.file)
    }

    /// Takes plans and patients in any letter case, and says which rows mean none that is there.
    pub fn settle(&mut self, known: &Known, cases: &[Case]) -> Vec<Unmatched> {
        let mut unmatched = Vec::new();
        let index = CaseIndex::of(cases);
        for row in 0..self.file.row_count() {
            if self.file.text(row, "sum").is_empty() {
                continue;
            }
            let spot = |column| {
                let value = self.file.text(row, column);
                Spot { file: FILE, line: UserFile::line(row), column, value }
            };
            let patient = spot("patient_id").among(&known.patients, "patient is called so");
            unmatched.extend(patient.err());
            unmatched.extend(spot("plan_id").case(&index).err());
        }
        let plans: Existing = cases.iter().map(|c| c.id.as_str()).collect();
        let meant = |all: &Existing, t: &Token| all.one(t.as_str()).map_or(t.clone(), Token::new);
        for sum in &mut self.sums {
            sum.patient = meant(&known.patients, &sum.patient);
            sum.plans = sum.plans.iter().map(|p| meant(&plans, p)).collect();
            sum.structures_of = sum.structures_of.as_ref().map(|p| meant(&plans, p));
        }
        unmatched
    }

    /// Adds a row for every plan that could be part of a sum and has none yet.
    pub fn propose(&mut self, cases: &[Case], registrations: &[Registration]) {
        let courses = courses(cases);
        let day = |c: &Case| c.plan.as_ref().and_then(|p| p.day);
        let mut by_patient: BTreeMap<&Token, Vec<&Case>> = BTreeMap::new();
        for case in cases.iter().filter(|c| can_be_summed(c).is_ok()) {
            if let Some(patient) = &case.patient {
                by_patient.entry(patient).or_default().push(case);
            }
        }
        let plans: Existing = cases.iter().map(|c| c.id.as_str()).collect();
        let typed = (0..self.file.row_count()).map(|row| self.file.text(row, "plan_id"));
        let mut known: BTreeSet<String> =
            typed.filter_map(|id| plans.one(id)).map(str::to_owned).collect();
        for (patient, mut own) in by_patient {
            own.sort_by_key(|c| (day(c), &c.id));
            let Some(latest) = own.last().copied().filter(|_| own.len() > 1) else { continue };
            for case in own {
                if !known.insert(case.id.to_string()) {
                    continue;
                }
                let number = |n: Option<i64>| n.map_or(String::new(), |n| n.to_string());
                let fractions = case.plan.as_ref().and_then(Plan::fractions);
                let course = courses.get(&case.id).and_then(|c| i64::try_from(c.number).ok());
                let joined = frames_join(latest, case, registrations).is_ok();
                self.file.add(&[
                    ("patient_id", patient.as_str()),
                    ("plan_id", case.id.as_str()),
                    ("day_plan", &number(day(case).map(|d| d.0))),
                    ("course", &number(course)),
                    ("fractions", &number(fractions.map(i64::from))),
                    ("frame_of_latest", if joined { "yes" } else { "no" }),
                ]);
            }
        }
    }

    /// Writes the file if rows were added; a study without patients of several plans has none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        if self.file.row_count() == 0 {
            return Ok(());
        }
        self.file.write(path, Access::Shared)
    }
}

/// The rows of a file of sums that neither name a sum nor stand apart.
pub(super) fn undecided(file: &UserFile) -> Vec<usize> {
    let open = |row: &usize| {
        file.text(*row, "sum").is_empty() && !file.text(*row, "basis").eq_ignore_ascii_case(APART)
    };
    (0..file.row_count()).filter(open).collect()
}

/// What the rows of a file say.
///
/// # Errors
/// When a basis is unknown or differs within a sum, or two plans of a sum give its structures.
pub(super) fn sums(file: &UserFile) -> Result<Vec<PlanSum>, String> {
    let mut sums: BTreeMap<(Token, String), PlanSum> = BTreeMap::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let text = |column| file.text(row, column);
        let name = text("sum");
        if name.is_empty() {
            continue;
        }
        let (patient, plan) = (Token::new(text("patient_id")), Token::new(text("plan_id")));
        if patient.as_str().is_empty() || plan.as_str().is_empty() {
            return Err(format!(
                "row {line}: patient_id or plan_id is empty; copy both from table plans"
            ));
        }
        let word = text("basis");
        let basis: SumBasis = word.parse().map_err(|_| {
            let accepted = SumBasis::VARIANTS.join(", ");
            if word.eq_ignore_ascii_case(APART) {
                return format!("row {line}: the plan is `{APART}` and in sum `{name}`; empty one");
            }
            format!("row {line}: basis `{word}` is unknown; {accepted} is accepted")
        })?;
        let sum = sums.entry((patient.clone(), name.to_owned())).or_insert_with(|| PlanSum {
            patient,
            name: name.to_owned(),
            basis,
            plans: [].into(),
            structures_of: None,
        });
        if sum.basis != basis {
            return Err(format!("row {line}: an earlier row of this sum has another basis"));
        }
        sum.plans.insert(plan.clone());
        match text("structures").to_ascii_lowercase().as_str() {
            "" | "no" => {}
            "yes" if sum.structures_of.is_none() => sum.structures_of = Some(plan),
            "yes" => {
                return Err(format!("row {line}: an earlier row of this sum has structures, too"));
            }
            other => {
                return Err(format!("row {line}: structures `{other}` is not yes or no"));
            }
        }
    }
    Ok(sums.into_values().collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_geometry::units::Day;

    fn read(rows: &str) -> Result<SumsFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sums.csv");
        std::fs::write(&path, format!("patient_id,plan_id,sum,basis,structures\n{rows}")).unwrap();
        SumsFile::read(&path).map_err(|e| e.reason)
    }

    #[test]
    fn rows_of_one_name_are_a_sum() {
        let file = read("P,b,all,eqd2,\nP,a,all,EQD2,yes\nP,c,,,\nQ,d,all,physical,\n").unwrap();
        let [first, second] = file.sums() else { panic!("{:?}", file.sums()) };
        assert_eq!(first.plans, [Token::new("a"), Token::new("b")].into());
        assert_eq!((first.basis, &first.structures_of), (SumBasis::Eqd2, &Some(Token::new("a"))));
        assert_eq!((second.basis, second.plans.len()), (SumBasis::Physical, 1));
    }

    #[test]
    fn plans_are_meant_in_any_case_and_others_are_said() {
        let mut case = case_of(&["GTV"]);
        case.id = Token::new("Oabc12");
        let known = Known { patients: ["patient"].into_iter().collect(), ..Known::default() };
        let mut file =
            read("Patient,OABC12,all,eqd2,yes\npatent,Oabc21,all2,eqd2,\nx,y,,,\n").unwrap();
        let said: Vec<String> =
            file.settle(&known, &[case]).iter().map(Unmatched::sentence).collect();
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(said[0].starts_with("row 3 of sums.csv, column patient_id: `patent`"), "{said:?}");
        assert!(said[1].ends_with("the nearest is `Oabc12`"), "{said:?}");
        let sum = file.sums().iter().find(|s| s.name == "all").unwrap();
        assert_eq!((sum.patient.as_str(), sum.plans.len()), ("patient", 1));
        assert_eq!(sum.structures_of, Some(Token::new("Oabc12")));
    }

    #[test]
    fn a_plan_apart_is_in_no_sum_and_not_asked_about() {
        let file = read("P,a,all,eqd2,\nP,b,,apart,\nP,c,,,\n").unwrap();
        assert_eq!((file.sums().len(), file.undecided()), (1, vec![2]));
    }

    #[test]
    fn faults_name_the_row() {
        for (rows, expected) in [
            ("P,a,x,apart,\n", "row 2: the plan is `apart` and in sum `x`; empty one"),
            ("P,a,x,,\n", "row 2: basis `` is unknown; physical, eqd2 is accepted"),
            ("P,a,x,eqd2,\nP,b,x,physical,\n", "row 3: an earlier row of this sum has another"),
            ("P,a,x,eqd2,yes\nP,b,x,eqd2,yes\n", "row 3: an earlier row of this sum has str"),
            ("P,a,x,eqd2,maybe\n", "row 2: structures `maybe`"),
            ("P,,x,eqd2,\n", "row 2: patient_id or plan_id is empty"),
        ] {
            let message = read(rows).unwrap_err();
            assert!(message.contains(expected), "{message}");
        }
    }

    #[test]
    fn a_patient_of_one_plan_is_not_asked() {
        let mut case = case_of(&["GTV"]);
        case.patient = Some(Token::new("P"));
        case.left_out = None;
        let mut file = read("").unwrap();
        file.propose(std::slice::from_ref(&case), &[]);
        assert_eq!(file.file.row_count(), 0);
        case.dose = crate::example::Example::new().cases[0].dose.clone();
        let mut later = case.clone();
        later.id = Token::new("later");
        if let Some(plan) = &mut later.plan {
            plan.day = Some(Day(900));
        }
        file.propose(&[later.clone(), case.clone()], &[]);
        file.propose(&[later, case], &[]);
        assert_eq!(file.file.row_count(), 2);
        assert_eq!(file.file.text(1, "plan_id"), "later");
        assert_eq!(file.file.text(0, "frame_of_latest"), "yes");
        assert!(file.sums().is_empty());
    }
}
