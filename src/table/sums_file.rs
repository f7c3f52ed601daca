//! `sums.csv`: which plans of a patient are to be added up. The program lists the plans of every
//! patient who has more than one with a usable dose; the user gives those that belong together one
//! name in `sum` and says in `basis` what is added. Without that nothing is added: the plans stand
//! side by side in the tables.

use std::collections::BTreeMap;
use std::path::Path;

use super::user_file::{ReadError, UserFile};
use super::write_file::{Access, WriteError};
use tidydose_case::{Case, PlanSum, SumBasis, can_be_summed, courses, frames_join};
use tidydose_rt::identity::Token;
use tidydose_rt::{Plan, Registration};

const COLUMNS: &[&str] = &[
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
        let mut known = self.file.keys(&["plan_id"]);
        for (patient, mut own) in by_patient {
            own.sort_by_key(|c| (day(c), &c.id));
            let Some(latest) = own.last().copied().filter(|_| own.len() > 1) else { continue };
            for case in own {
                if !known.insert(vec![case.id.to_string()]) {
                    continue;
                }
                let number = |n: Option<i64>| n.map_or(String::new(), |n| n.to_string());
                let fractions = case.plan.as_ref().and_then(Plan::fractions);
                let course = courses.get(&case.id).and_then(|c| i64::try_from(c.number).ok());
                let joined = frames_join(latest, case, registrations).is_some();
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

fn sums(file: &UserFile) -> Result<Vec<PlanSum>, String> {
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
        let known = SumBasis::ALL.into_iter().find(|b| b.word().eq_ignore_ascii_case(word));
        let basis = known.ok_or_else(|| {
            let accepted = SumBasis::ALL.map(SumBasis::word).join(", ");
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
    fn faults_name_the_row() {
        for (rows, expected) in [
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
