//! `clinical_lesions.csv`: the clinic's own list of lesions, matched to the drawn ones. The user
//! writes `patient_id` and `clinical_label` ("left frontal met 3, 12 mm"); the program ranks the
//! lesions of that patient by side, region, size and number and writes the best three beside it,
//! each with its reasons. Only what the user then writes into `lesion_id` counts.

use std::collections::BTreeMap;
use std::path::Path;

use super::lesion_file::LesionsByCase;
use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::structure_names::{shown_name, structure_id};
use crate::write_file::{Access, WriteError};
use tidydose_analyse::{Fit, fit};
use tidydose_case::alike::Existing;
use tidydose_case::{Case, ClinicalLabel, clinical_label};
use tidydose_rt::finding::Code;
use tidydose_rt::identity::Token;

pub(super) const COLUMNS: &[&str] = &[
    "patient_id",
    "plan_id",
    "clinical_label",
    "suggestion_1",
    "why_1",
    "suggestion_2",
    "why_2",
    "suggestion_3",
    "why_3",
    "lesion_id",
    "comment",
];
const REQUIRED: &[&str] = &["patient_id", "clinical_label", "lesion_id"];

/// The file.
pub const FILE: &str = "clinical_lesions.csv";

/// The columns of a suggestion and of its reasons, by rank.
pub(super) const RANKS: [[&str; 2]; 3] =
    [["suggestion_1", "why_1"], ["suggestion_2", "why_2"], ["suggestion_3", "why_3"]];

/// What the user writes for a label that belongs to no drawn lesion.
pub(super) const NO_LESION: &str = "none";

/// The labels that the user confirmed, by lesion_id.
pub type ConfirmedLabels = BTreeMap<String, String>;

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct ClinicalFile {
    file: UserFile,
    confirmed: ConfirmedLabels,
}

/// A lesion that a label could mean.
struct Candidate<'a> {
    id: String,
    case: &'a Case,
    fit: Fit,
}

impl ClinicalFile {
    /// Reads `clinical_lesions.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a decision lacks its label, or two rows give one lesion two labels.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, confirmed) = UserFile::read_decided(path, [REQUIRED, COLUMNS], confirmed)?;
        Ok(Self { file, confirmed })
    }

    /// The rows as text.
    pub(super) const fn rows(&self) -> &UserFile {
        &self.file
    }

    /// The labels that the user confirmed.
    #[must_use]
    pub const fn confirmed(&self) -> &ConfirmedLabels {
        &self.confirmed
    }

    /// How many labels wait for a decision.
    #[must_use]
    pub fn open(&self) -> usize {
        let waits = |row: &usize| {
            let has = |column| !self.file.text(*row, column).is_empty();
            has("clinical_label") && !has("lesion_id")
        };
        (0..self.file.row_count()).filter(waits).count()
    }

    /// Writes suggestions beside every label, and says which rows cannot be followed.
    pub fn suggest(&mut self, cases: &[Case], lesions: &LesionsByCase) -> Vec<Unmatched> {
        let patients: Existing =
            cases.iter().filter_map(|c| Some(c.patient.as_ref()?.as_str())).collect();
        let mut unmatched = Vec::new();
        for row in 0..self.file.row_count() {
            let text = |column| self.file.text(row, column).to_owned();
            let (patient, plan) = (text("patient_id"), text("plan_id"));
            let (label, decided) = (text("clinical_label"), text("lesion_id"));
            if label.is_empty() {
                continue;
            }
            let spot =
                |column, value| Spot { file: FILE, line: UserFile::line(row), column, value };
            let of_patient = spot("patient_id", patient.as_str())
                .among(&patients, "patient of this patient_id in table plans");
            let own: Vec<&Case> = cases
                .iter()
                .filter(|c| {
                    c.patient.as_ref().map(Token::as_str) == of_patient.as_ref().ok().copied()
                })
                .filter(|c| c.patient.is_some())
                .collect();
            let plans: Existing = own.iter().map(|c| c.id.as_str()).collect();
            let of_plan = match plan.as_str() {
                "" => Ok(None),
                plan => spot("plan_id", plan)
                    .among(&plans, "plan of this plan_id of the patient in table plans")
                    .map(Some),
            };
            let meant: Vec<&Case> = match &of_plan {
                Ok(plan) => own
                    .iter()
                    .filter(|c| plan.is_none_or(|p| c.id.as_str() == p))
                    .copied()
                    .collect(),
                Err(_) => Vec::new(),
            };
            let ranked = ranked(&clinical_label(&label), &meant, lesions);
            let none = match (own.is_empty(), meant.is_empty()) {
                (true, _) => "no patient of this patient_id in table plans",
                (false, true) => "no plan of this plan_id of the patient in table plans",
                (false, false) => "no lesion was drawn",
            };
            self.show(row, &ranked, none);
            let fault = of_patient.err().or(of_plan.err()).or_else(|| {
                self.settle(&decided, &ranked).err().map(|(reason, near)| {
                    spot("lesion_id", decided.as_str()).unmatched(reason, near)
                })
            });
            unmatched.extend(fault.map(|f| Unmatched {
                code: Code::ClinicalLabelUnused,
                patient: own.first().and_then(|c| c.patient.clone()).map(Box::new),
                ..f
            }));
        }
        unmatched
    }

    /// Takes a decided lesion in any letter case.
    ///
    /// # Errors
    /// Why it is none of the patient's, with the nearest.
    fn settle(
        &mut self,
        decided: &str,
        ranked: &[Candidate<'_>],
    ) -> Result<(), (String, Vec<String>)> {
        if decided.is_empty() || decided.eq_ignore_ascii_case(NO_LESION) {
            return Ok(());
        }
        let known: Existing = ranked.iter().map(|c| c.id.as_str()).collect();
        if let Some(id) = known.one(decided) {
            if let Some(label) = self.confirmed.remove(decided) {
                self.confirmed.insert(id.to_owned(), label);
            }
            return Ok(());
        }
        let near = known.nearest(decided, RANKS.len()).into_iter().map(str::to_owned).collect();
        let reason = match ranked.len() {
            0 => "no lesion was drawn".to_owned(),
            n => format!(
                "none of the {n} lesions of the patient; one of those, or `{NO_LESION}`, would be \
                 accepted"
            ),
        };
        Err((reason, near))
    }

    fn show(&mut self, row: usize, ranked: &[Candidate<'_>], none: &str) {
        for (rank, [suggestion, why]) in RANKS.into_iter().enumerate() {
            let candidate = ranked.get(rank);
            let reasons = match candidate {
                None if rank == 0 => none.to_owned(),
                None => String::new(),
                Some(c) => c.reasons(ranked),
            };
            self.file.refresh(row, suggestion, candidate.map_or("", |c| &c.id));
            self.file.refresh(row, why, &reasons);
        }
    }

    /// Writes the file if it is new or suggestions changed.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

impl Candidate<'_> {
    /// Why it stands where it stands, in words.
    fn reasons(&self, all: &[Self]) -> String {
        let mut parts = self.fit.why.clone();
        if parts.is_empty() {
            parts.push("the label says nothing that can be compared".to_owned());
        }
        let alike = |other: &&Self| (other.fit.score - self.fit.score).abs() < SAME_SCORE;
        match all.iter().filter(alike).count() {
            0 | 1 => {}
            n => parts.push(format!("{n} lesions fit equally well")),
        }
        if let Some(day) = self.case.plan.as_ref().and_then(|p| p.day) {
            parts.push(format!("plan of day {}", day.0));
        }
        parts.join("; ")
    }
}

/// Scores closer than this are the same.
const SAME_SCORE: f64 = 1e-9;

/// The lesions of these cases, the one that fits best first, equal ones by their lesion_id.
fn ranked<'a>(
    label: &ClinicalLabel,
    cases: &[&'a Case],
    lesions: &LesionsByCase,
) -> Vec<Candidate<'a>> {
    let mut list: Vec<Candidate<'_>> = Vec::new();
    for &case in cases {
        for lesion in lesions.get(&case.id).into_iter().flatten() {
            let named = case.name(lesion.roi_number);
            let fit = lesion
                .site
                .as_ref()
                .map_or_else(Fit::default, |site| fit(label, site, named.map_or("", shown_name)));
            list.push(Candidate { id: structure_id(case, lesion.roi_number), case, fit });
        }
    }
    list.sort_by(|a, b| b.fit.score.total_cmp(&a.fit.score).then_with(|| a.id.cmp(&b.id)));
    list
}

fn confirmed(file: &UserFile) -> Result<ConfirmedLabels, String> {
    let mut confirmed = ConfirmedLabels::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let (label, id) = (file.text(row, "clinical_label"), file.text(row, "lesion_id"));
        if id.is_empty() || id.eq_ignore_ascii_case(NO_LESION) {
            continue;
        }
        if label.is_empty() {
            return Err(format!(
                "row {line}: clinical_label is empty; write what the clinic calls the lesion"
            ));
        }
        if let Some(earlier) = confirmed.insert(id.to_owned(), label.to_owned())
            && earlier != label
        {
            return Err(format!(
                "row {line}: an earlier row gives this lesion another label; keep one of them"
            ));
        }
    }
    Ok(confirmed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{ball, case_of, set_of};
    use tidydose_analyse::{LesionSite, review_shapes};

    /// A brain, a lesion in the front of its left and one in the back of its right.
    fn patient() -> (Vec<Case>, LesionsByCase) {
        let mut case = case_of(&["Brain", "GTV1", "GTV2"]);
        case.id = Token::new("plan");
        case.patient = Some(Token::new("P1"));
        let set = set_of(vec![
            ball(1, [0.0, 0.0, 0.0], 60.0),
            ball(2, [30.0, -30.0, 20.0], 6.0),
            ball(3, [-20.0, 40.0, -35.0], 4.0),
        ]);
        let lesions = review_shapes(&case, &set).lesions;
        assert!(lesions.iter().all(|l| l.site.as_ref().is_some_and(has_place)));
        let by_case = LesionsByCase::from([(case.id.clone(), lesions)]);
        (vec![case], by_case)
    }

    fn has_place(site: &LesionSite) -> bool {
        site.place.is_some()
    }

    fn suggested(rows: &str) -> (UserFile, Vec<Unmatched>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("clinical_lesions.csv");
        std::fs::write(&path, format!("patient_id,clinical_label,lesion_id\n{rows}")).unwrap();
        let mut file = ClinicalFile::read(&path).unwrap();
        let (cases, lesions) = patient();
        let findings = file.suggest(&cases, &lesions);
        file.write(&path).unwrap();
        (UserFile::read(&path, REQUIRED, COLUMNS).unwrap(), findings)
    }

    #[test]
    fn lesions_are_ranked_and_none_is_taken() {
        let (file, findings) = suggested(
            "P1,left frontal met,\nP1,\"right cerebellar, 8 mm\",\nP1,R frontal,\nP1,the third,\n",
        );
        assert_eq!(findings, []);
        let first = |row| file.text(row, "suggestion_1").to_owned();
        assert_eq!([first(0), first(1), first(2)], ["plan/2", "plan/3", "plan/3"]);
        assert_eq!(file.text(0, "why_1"), "left side; frontal by its place in the brain");
        assert!(file.text(2, "why_2").contains("side contradicts: it lies left"));
        assert!(file.text(1, "why_1").contains("8 mm said, 8.0 mm drawn"));
        assert_eq!(
            file.text(3, "why_1"),
            "the label says nothing that can be compared; 2 lesions fit equally well"
        );
        assert!((0..4).all(|row| file.text(row, "lesion_id").is_empty()));
        assert_eq!(file.text(0, "suggestion_3"), "");
    }

    #[test]
    fn rows_that_cannot_be_followed_are_findings() {
        let (file, findings) =
            suggested("P1,left,plan/2\nP1,right,plan/9\nP2,left,plan/2\nP1,lost,none\nP3,left,\n");
        let messages: Vec<String> = findings.iter().map(|f| f.finding().message).collect();
        assert_eq!(messages.len(), 3, "{messages:?}");
        let lesion =
            "row 3 of clinical_lesions.csv, column lesion_id: `plan/9`: none of the 2 lesions";
        assert!(messages[0].starts_with(lesion), "{messages:?}");
        assert!(messages[0].ends_with("the nearest is `plan/2`, `plan/3`"), "{messages:?}");
        assert!(messages[1].starts_with("row 4") && messages[1].contains("no patient"));
        assert!(messages[2].starts_with("row 6") && messages[2].contains("no patient"));
        assert!(findings.iter().all(|f| f.code == Code::ClinicalLabelUnused));
        assert!(file.text(2, "why_1").contains("no patient"));
    }

    #[test]
    fn decisions_are_read_counted_and_checked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("clinical_lesions.csv");
        let read = |rows: &str| {
            std::fs::write(&path, format!("patient_id,clinical_label,lesion_id\n{rows}")).unwrap();
            ClinicalFile::read(&path).map_err(|e| e.reason)
        };
        let file = read("P1,left,plan/2\nP1,open,\nP1,lost,None\n").unwrap();
        assert_eq!(file.confirmed()["plan/2"], "left");
        assert_eq!((file.confirmed().len(), file.open()), (1, 1));
        assert!(read("P1,,plan/2\n").unwrap_err().contains("row 2: clinical_label is empty"));
        assert!(read("P1,a,p/2\nP1,b,p/2\n").unwrap_err().contains("row 3: an earlier row"));
    }
}
