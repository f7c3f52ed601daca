//! What a study waits for, as questions that a person answers on one page or in one sheet: names and
//! roles, what only a person can tell about a plan, prescriptions, lesions, labels of the clinic and
//! findings to judge. Each has its evidence, what is accepted, and the cells by which its row is
//! found in the file that keeps the answer. Opens no file and decides nothing.

use std::cmp::Reverse;

use serde::Serialize;
use strum::{EnumIter, IntoEnumIterator, IntoStaticStr};

use super::{choices, clinical_file, decisions, lesion_file, names, prescriptions, sums_file};
use crate::clinical_words::counted;
use crate::words::Word;
use tidydose_rt::identity::Token;

mod alike_shapes;
mod name_words;
mod odds;
mod of_cases;
mod of_findings;
mod of_names;
mod of_sums;
mod suggestions;

pub use name_words::{NameWord, name_words};
pub use of_cases::{of_choices, of_clinical_labels, of_lesions, of_prescriptions};
pub use of_findings::of_findings;
pub use of_names::of_names;
pub use of_sums::of_sums;

/// The file that keeps the answer to a question. In the order in which questions are put: first
/// those that hold back values, last what is to be judged.
#[derive(EnumIter, IntoStaticStr, Serialize)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// What only a person can tell about a plan.
    Choices,
    /// Names and roles of structures.
    Names,
    /// Prescribed doses.
    Prescriptions,
    /// Lesions that an earlier course may have treated.
    Lesions,
    /// Lesions as the clinic calls them.
    ClinicalLesions,
    /// Plans of a patient that may be added up.
    Sums,
    /// Findings.
    Findings,
}

impl Place {
    /// The file in the study folder.
    #[must_use]
    pub const fn file(self) -> &'static str {
        match self {
            Self::Choices => choices::FILE,
            Self::Names => names::FILE,
            Self::Prescriptions => prescriptions::FILE,
            Self::Lesions => lesion_file::FILE,
            Self::ClinicalLesions => clinical_file::FILE,
            Self::Sums => sums_file::FILE,
            Self::Findings => decisions::FILE,
        }
    }

    /// The place of that file.
    #[must_use]
    pub fn of_file(file: &str) -> Option<Self> {
        Self::iter().find(|place| place.file().eq_ignore_ascii_case(file))
    }

    /// What its questions are about, as the heading of a group.
    #[must_use]
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Choices => "Plans",
            Self::Names => "Names of structures",
            Self::Prescriptions => "Prescriptions",
            Self::Lesions => "Lesions of an earlier course",
            Self::ClinicalLesions => "Labels of the clinic",
            Self::Sums => "Plans to add up",
            Self::Findings => "Findings to judge",
        }
    }

    /// Whether values are missing or uncertain as long as nobody answers.
    #[must_use]
    pub const fn holds_back(self) -> bool {
        matches!(self, Self::Choices | Self::Names | Self::Prescriptions)
    }
}

/// The cells by which the row of an answer is found; what a file has no column for is empty.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Key {
    /// The file.
    pub place: Place,
    /// The ROI Name, the question of `choices.csv`, the lesion_id, the clinical label, the patient
    /// of `sums.csv`, or the finding_id; `all:CODE` for all findings of a code.
    pub subject: String,
    /// Only for labels of the clinic and for sums.
    pub patient_id: String,
    /// The plan, `*` for all.
    pub plan_id: String,
    /// The structure.
    pub roi_number: String,
}

impl Key {
    /// A key of a subject alone.
    #[must_use]
    pub fn of(place: Place, subject: impl Into<String>) -> Self {
        let [patient_id, plan_id, roi_number] = [const { String::new() }; 3];
        Self { place, subject: subject.into(), patient_id, plan_id, roi_number }
    }

    /// The same in one plan.
    #[must_use]
    pub fn in_plan(self, plan_id: impl Into<String>) -> Self {
        Self { plan_id: plan_id.into(), ..self }
    }

    /// The same for one structure.
    #[must_use]
    pub fn of_roi(self, number: i64) -> Self {
        Self { roi_number: number.to_string(), ..self }
    }
}

/// Stands before the code of findings that are all decided at once.
pub const ALL_OF: &str = "all:";

/// Stands before a role where a standard name may stand as well.
pub const ROLE: &str = "role:";

/// What is accepted as an answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Accepts {
    /// A standard name, a name of one's own, or a role.
    Name,
    /// A positive number, with its unit.
    Number(&'static str),
    /// One of these words.
    Words(Vec<Word>),
}

/// Something that is known and speaks for or against an answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fact {
    /// What it is.
    pub what: &'static str,
    /// What was seen.
    pub seen: String,
}

/// An answer that is proposed; nothing is taken from it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Suggestion {
    /// As it would be written.
    pub answer: String,
    /// What speaks for it, and what against.
    pub why: String,
    /// Whether one key may take it; a guess by spelling alone is first to be chosen.
    pub likely: bool,
}

/// One of the things that a question is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Part {
    /// The row that an answer for this one alone goes to.
    pub key: Key,
    /// What it is called here.
    pub title: String,
    /// What is known of it.
    pub seen: String,
    /// The structure that a picture shows.
    #[serde(skip)]
    pub structure: Option<(Token, i64)>,
}

/// Something that a person is to decide.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Question {
    /// Where the answer is kept.
    pub place: Place,
    /// What it is about, in a few words.
    pub title: String,
    /// What is asked, as a sentence.
    pub asks: String,
    /// How many cases wait for it.
    pub cases: usize,
    /// What is known.
    pub facts: Vec<Fact>,
    /// What is accepted.
    pub accepts: Accepts,
    /// What is proposed, the best first.
    pub suggestions: Vec<Suggestion>,
    /// The row of an answer that holds for all; absent where each part is written for itself.
    pub all: Option<Key>,
    /// What one answer for all means, in words.
    pub all_words: String,
    /// The single things.
    pub parts: Vec<Part>,
    /// Typical volume of the structures, cc, against which names are held.
    pub volume_cc: Option<f64>,
}

/// Questions in the order in which they are put: those that hold back values first, and of these
/// the ones that most cases wait for.
pub fn sort(questions: &mut [Question]) {
    questions.sort_by(|a, b| {
        let rank = |q: &Question| {
            let last = if q.place.holds_back() { Place::Choices } else { q.place };
            (last, Reverse(q.cases), q.place)
        };
        rank(a).cmp(&rank(b)).then_with(|| a.title.cmp(&b.title))
    });
}

#[cfg(test)]
mod tests;
