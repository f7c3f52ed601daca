//! What is known of the study that a sheet is about: its patients, plans and lesions by the names of
//! the tables, and where the key is at hand, by those of the hospital.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::{NaiveDate, TimeDelta};

use crate::read::{CellError, LesionRow, PlanRow, Tables, rows};
use crate::user::user_file::{ReadError, UserFile};
use tidydose_rt::identity::{Identity, Token};

/// What the sheet can be about.
#[derive(Debug, Clone)]
pub struct Facts {
    /// All plans of known patients, in the order of the table.
    pub plans: Vec<PlanFact>,
    /// All lesions.
    pub lesions: Vec<LesionFact>,
    key: Option<StudyNames>,
    patients: BTreeSet<String>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanFact {
    /// Pseudonym of the patient.
    pub patient_id: String,
    /// As in table plans.
    pub plan_id: String,
    /// First day of treatment, else of the plan.
    pub day: Option<i64>,
    /// Number of the course.
    pub course: Option<i64>,
    /// Whether it counts.
    pub in_study: bool,
    /// Whether it was measured.
    pub measured: bool,
}

impl PlanFact {
    /// Plans that can be used come first, then those of earlier days.
    #[must_use]
    pub fn order(&self) -> (bool, bool, i64, &str) {
        (!self.in_study, !self.measured, self.day.unwrap_or(i64::MAX), &self.plan_id)
    }
}

/// A lesion.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LesionFact {
    /// Its plan.
    pub plan_id: String,
    /// As in table lesions.
    pub lesion_id: String,
    /// Its structure and the label of the clinic, in small letters.
    pub names: Vec<String>,
}

/// How names and dates of the hospital become those of the tables.
#[derive(Debug, Clone)]
pub struct StudyNames {
    identity: Identity,
    /// Pseudonyms by the IDs of the hospital.
    patients: BTreeMap<String, String>,
    /// What the clinic calls plans, by plan_id.
    plan_labels: BTreeMap<String, String>,
}

/// The file of pseudonyms in the folder of the key.
pub const PATIENT_KEY: &str = "patient_key.csv";
/// The file of plan labels there. They are in no table: people write names into them.
pub const PLAN_KEY: &str = "plan_key.csv";

impl StudyNames {
    /// With the secret of the key, its file of pseudonyms, and the labels of plans beside it, where they
    /// are there.
    ///
    /// # Errors
    /// When a file cannot be read.
    pub fn new(identity: Identity, patient_key: &Path) -> Result<Self, ReadError> {
        let fault = |reason: String| ReadError { path: patient_key.to_path_buf(), reason };
        std::fs::metadata(patient_key).map_err(|e| fault(e.to_string()))?;
        let file = UserFile::read(patient_key, &["patient_id", "original_patient_id"], &[])?;
        let pair = |row| {
            let original = file.text(row, "original_patient_id").to_owned();
            (original, file.text(row, "patient_id").to_owned())
        };
        let patients = (0..file.row_count()).map(pair).collect();
        let labels = ["plan_id", "plan_label"];
        let file = UserFile::read(&patient_key.with_file_name(PLAN_KEY), &labels, &labels)?;
        let pair = |row| labels.map(|column| file.text(row, column).to_owned()).into();
        Ok(Self { identity, patients, plan_labels: (0..file.row_count()).map(pair).collect() })
    }

    /// What the clinic calls a plan; absent where the key does not know it.
    #[must_use]
    pub fn plan_label(&self, plan: &str) -> Option<&str> {
        self.plan_labels.get(plan).map(String::as_str)
    }

    /// What the hospital calls the patient of a pseudonym; absent where the key does not know it.
    #[must_use]
    pub fn hospital_id(&self, patient: &str) -> Option<&str> {
        let found = self.patients.iter().find(|(_, pseudonym)| *pseudonym == patient);
        found.map(|(original, _)| original.as_str())
    }

    /// The pseudonym of an ID of the hospital; the ID itself where nothing stands for it.
    #[must_use]
    pub fn pseudonym<'n>(&'n self, hospital_id: &'n str) -> &'n str {
        self.patients.get(hospital_id).map_or(hospital_id, String::as_str)
    }

    /// The date of a day of the study, which is hidden by a shift for each patient.
    #[must_use]
    pub fn date(&self, patient: &str, day: i64) -> Option<NaiveDate> {
        let epoch_of_patient = self.identity.day(&Token::new(patient), 0).0;
        epoch().checked_add_signed(TimeDelta::try_days(day.checked_sub(epoch_of_patient)?)?)
    }

    /// Of a study that kept its identifiers: nothing stands for anything else.
    #[must_use]
    pub const fn kept() -> Self {
        Self { identity: Identity::kept(), patients: BTreeMap::new(), plan_labels: BTreeMap::new() }
    }
}

/// Days of a study count from 1970-01-01, less the hidden shift of the patient.
fn epoch() -> NaiveDate {
    NaiveDate::default()
}

impl Facts {
    /// From tables plans and lesions.
    ///
    /// # Errors
    /// A cell that is not understood.
    pub fn of(tables: &Tables, key: Option<StudyNames>) -> Result<Self, CellError> {
        let plans: Vec<PlanRow<'_>> = rows(tables)?;
        let lesions: Vec<LesionRow<'_>> = rows(tables)?;
        let plan = |p: PlanRow<'_>| PlanFact {
            patient_id: p.patient_id.to_owned(),
            plan_id: p.plan_id.to_owned(),
            day: p.day(),
            course: p.course,
            in_study: p.is_in_study(),
            measured: p.is_measured(),
        };
        let lesion = |l: LesionRow<'_>| {
            let names = l.clinical_label.into_iter().chain([l.structure, l.lesion_id]);
            LesionFact {
                plan_id: l.plan_id.to_owned(),
                lesion_id: l.lesion_id.to_owned(),
                names: names.map(str::to_lowercase).collect(),
            }
        };
        let known = plans.into_iter().filter(|p| !p.patient_id.is_empty());
        Ok(Self::new(known.map(plan).collect(), lesions.into_iter().map(lesion).collect(), key))
    }

    /// Of these plans and lesions.
    #[must_use]
    pub fn new(plans: Vec<PlanFact>, lesions: Vec<LesionFact>, key: Option<StudyNames>) -> Self {
        Self { patients: plans.iter().map(|p| p.patient_id.clone()).collect(), plans, lesions, key }
    }

    /// Whether names and dates of the hospital can be understood.
    #[must_use]
    pub const fn has_key(&self) -> bool {
        self.key.is_some()
    }

    /// The patient that a cell names: as in the tables, or as in the hospital.
    #[must_use]
    pub fn patient(&self, text: &str) -> Option<&str> {
        let text = text.trim();
        let original = || self.key.as_ref()?.patients.get(text);
        self.patients.get(text).or_else(|| self.patients.get(original()?)).map(String::as_str)
    }

    /// Day of the study on which a date lies for a patient; absent without the key.
    #[must_use]
    pub fn day(&self, patient: &str, date: NaiveDate) -> Option<i64> {
        let since = date.signed_duration_since(epoch()).num_days();
        Some(self.key.as_ref()?.identity.day(&Token::new(patient), since).0)
    }

    /// The plans of a patient, places in [`Self::plans`].
    pub fn plans_of<'f>(&'f self, patient: &'f str) -> impl Iterator<Item = usize> + 'f {
        let own = move |(_, p): &(usize, &PlanFact)| p.patient_id == patient;
        self.plans.iter().enumerate().filter(own).map(|(place, _)| place)
    }

    /// The plan that days of a patient count from: that of the first course.
    #[must_use]
    pub fn first_plan(&self, patient: &str) -> Option<usize> {
        self.plans_of(patient).min_by_key(|p| self.plans[*p].order())
    }

    /// The lesion that a name means among the plans at these places: one, or none or several.
    ///
    /// # Errors
    /// Why it is not one.
    pub fn lesion(&self, name: &str, plans: &[usize]) -> Result<&LesionFact, &'static str> {
        let name = name.trim().to_lowercase();
        let of = |l: &&LesionFact| {
            let mut own = plans.iter().filter_map(|p| self.plans.get(*p));
            own.any(|p| p.plan_id == l.plan_id) && l.names.contains(&name)
        };
        let found: Vec<&LesionFact> = self.lesions.iter().filter(of).collect();
        match found.as_slice() {
            [one] => Ok(one),
            [] => Err("the study has no such lesion"),
            _ => Err("several lesions have this name"),
        }
    }
}
