//! Questions about single plans and lesions: what only a person can tell, missing prescriptions,
//! lesions that may have been treated before, labels of the clinic.

use super::{Accepts, Fact, Key, Part, Place, Question, Suggestion, counted};
use crate::structure_names::shown_name;
use crate::user::choices::{self, ALL_PLANS};
use crate::user::clinical_file::{ClinicalFile, NO_LESION, RANKS};
use crate::user::lesion_file::LesionFile;
use crate::user::prescriptions::PrescriptionsFile;
use crate::user::unmatched::Known;
use crate::words::Word;
use tidydose_case::{Case, NamedRoi, Question as Asked, RoleReason};
use tidydose_rt::Plan;
use tidydose_rt::identity::Token;

fn word(word: &str, meaning: &str) -> Word {
    Word { word: word.to_owned(), meaning: meaning.to_owned() }
}

fn yes_or_no() -> Accepts {
    Accepts::Words(vec![word("yes", "it is so"), word("no", "it is not so")])
}

/// What only a person can tell about a plan. Plans of which nothing tells whether they were treated
/// are one question.
#[must_use]
pub fn of_choices(cases: &[Case], known: &Known) -> Vec<Question> {
    let mut questions = Vec::new();
    let mut unproven = Vec::new();
    for case in cases {
        for (asked, evidence) in choices::questions(case) {
            let alike = asked == Asked::Treated
                && case.left_out.is_none()
                && case.treatment.reason == RoleReason::Unproven;
            if alike {
                unproven.push(part_of_plan(case, asked, evidence));
            } else {
                questions.push(choice(case, asked, evidence, known));
            }
        }
    }
    if !unproven.is_empty() {
        questions.push(treated(unproven));
    }
    questions
}

fn part_of_plan(case: &Case, asked: Asked, evidence: String) -> Part {
    let patient = case.patient.as_ref().map_or(String::new(), |p| format!(" of patient {p}"));
    Part {
        key: Key::of(Place::Choices, asked.word()).in_plan(case.id.as_str()),
        title: format!("plan {}{patient}", case.id),
        seen: evidence,
        structure: None,
    }
}

fn treated(parts: Vec<Part>) -> Question {
    let n = parts.len();
    let all = Key::of(Place::Choices, Asked::Treated.word()).in_plan(ALL_PLANS);
    let facts = vec![Fact {
        what: "Why it is asked",
        seen: "neither an approval nor a treatment record tells; without an answer a plan counts \
               unless another one of its patient is known to have been treated"
            .to_owned(),
    }];
    Question {
        place: Place::Choices,
        title: format!("Was it treated? {}", counted(n, "plan")),
        asks: "Were these plans the ones treated?".to_owned(),
        cases: n,
        facts,
        accepts: yes_or_no(),
        suggestions: Vec::new(),
        // One plan alone is answered for itself.
        all: if n > 1 { Some(all) } else { parts.first().map(|p| p.key.clone()) },
        all_words: format!("{} of which nothing tells, and later ones", counted(n, "plan")),
        parts,
        volume_cc: None,
    }
}

fn choice(case: &Case, asked: Asked, evidence: String, known: &Known) -> Question {
    let part = part_of_plan(case, asked, evidence.clone());
    let named = |all: &tidydose_case::alike::Existing| -> Vec<Word> {
        let texts = evidence.split(|c: char| !(c.is_alphanumeric() || "._-".contains(c)));
        let mut list: Vec<Word> = Vec::new();
        for text in texts.map(|t| t.trim_matches('.')) {
            let there = all.one(text).filter(|name| *name == text && text != case.id.as_str());
            if let Some(name) = there.filter(|name| !list.iter().any(|w| w.word == **name)) {
                list.push(word(name, "named in the evidence"));
            }
        }
        list
    };
    let accepts = match asked {
        Asked::SameFrame | Asked::Treated => yes_or_no(),
        Asked::RelativeUnit => Accepts::Number("Gy"),
        Asked::Dose => Accepts::Words(named(&known.objects)),
        Asked::Patient => Accepts::Words(named(&known.patients)),
    };
    Question {
        place: Place::Choices,
        title: part.title.clone(),
        asks: asked.asks().to_owned(),
        cases: 1,
        facts: vec![Fact { what: "What is known", seen: evidence }],
        accepts,
        suggestions: Vec::new(),
        all: Some(part.key.clone()),
        all_words: "this plan".to_owned(),
        parts: vec![part],
        volume_cc: None,
    }
}

/// Plans with targets of which no prescription is known.
#[must_use]
pub fn of_prescriptions(file: &PrescriptionsFile, cases: &[Case]) -> Vec<Question> {
    let mut questions = Vec::new();
    for case in cases.iter().filter(|c| c.left_out.is_none()) {
        let prescribed = |n: &NamedRoi| case.prescriptions.iter().any(|p| p.roi_number == n.number);
        let open: Vec<&NamedRoi> =
            case.names.iter().filter(|n| n.role.is_target() && !prescribed(n)).collect();
        if !open.is_empty() {
            questions.push(prescription(case, &open, file));
        }
    }
    questions
}

fn prescription(case: &Case, open: &[&NamedRoi], file: &PrescriptionsFile) -> Question {
    let rows = file.rows();
    let candidate = |number: i64| {
        let of = |row: &usize| {
            rows.text(*row, "plan_id") == case.id.as_str()
                && rows.text(*row, "roi_number") == number.to_string()
        };
        let row = (0..rows.row_count()).find(of);
        row.map_or(String::new(), |row| rows.text(row, "candidate_by_isodose").to_owned())
    };
    let mut parts = Vec::new();
    for target in open {
        let name = shown_name(target);
        let key = Key::of(Place::Prescriptions, name).in_plan(case.id.as_str());
        parts.push(Part {
            key: key.of_roi(target.number),
            title: format!("{name}, ROI Number {}", target.number),
            seen: candidate(target.number),
            structure: Some((case.id.clone(), target.number)),
        });
    }
    let mut facts = Vec::new();
    let patient = case.patient.as_ref().map(Token::to_string);
    let fractions = case.plan.as_ref().and_then(Plan::fractions).map(|n| n.to_string());
    for (what, seen) in [("Patient", patient), ("Fractions of the plan", fractions)] {
        facts.extend(seen.map(|seen| Fact { what, seen }));
    }
    let others = case.prescriptions.iter().filter_map(|p| {
        Some(format!("{} {} Gy", shown_name(case.name(p.roi_number)?), p.dose.value()))
    });
    let others = others.collect::<Vec<_>>().join(", ");
    if !others.is_empty() {
        facts.push(Fact { what: "Other targets", seen: others });
    }
    Question {
        place: Place::Prescriptions,
        title: format!("plan {}", case.id),
        asks: "Which dose is prescribed, over all fractions?".to_owned(),
        cases: 1,
        facts,
        accepts: Accepts::Number("Gy"),
        suggestions: Vec::new(),
        // A row of the plan would also hold for the targets of which a prescription is known.
        all: None,
        all_words: counted(parts.len(), "target"),
        parts,
        volume_cc: None,
    }
}

/// Lesions that lie where an earlier course has one.
#[must_use]
pub fn of_lesions(file: &LesionFile) -> Vec<Question> {
    let rows = file.rows();
    let mut questions = Vec::new();
    for row in 0..rows.row_count() {
        let text = |column| rows.text(row, column);
        let (id, earlier) = (text("lesion_id"), text("proposed_same_as"));
        if earlier.is_empty() || !text("same_as").is_empty() {
            continue;
        }
        let key = Key::of(Place::Lesions, id);
        let distance = match text("distance_mm") {
            "" => "not known: nothing joins the frames of reference".to_owned(),
            mm => format!("{mm} mm"),
        };
        let why = match text("proposed_by") {
            "name" => "it is the only one that was treated under this name".to_owned(),
            _ => format!("its centre lies {distance} away"),
        };
        questions.push(Question {
            place: Place::Lesions,
            title: format!("{} of plan {}", text("structure"), text("plan_id")),
            asks: "Is it a lesion that was treated or seen before?".to_owned(),
            cases: 1,
            facts: vec![
                Fact { what: "Lesion", seen: id.to_owned() },
                Fact { what: "Lesion that was treated or seen before", seen: earlier.to_owned() },
                Fact { what: "Distance of the centres", seen: distance },
            ],
            accepts: Accepts::Words(vec![
                word(earlier, "it is this earlier lesion"),
                word("new", "it has not been treated before"),
            ]),
            suggestions: vec![Suggestion { answer: earlier.to_owned(), why, likely: true }],
            all_words: "this lesion".to_owned(),
            parts: vec![Part {
                key: key.clone(),
                title: id.to_owned(),
                seen: String::new(),
                structure: structure_of(id),
            }],
            all: Some(key),
            volume_cc: None,
        });
    }
    questions
}

/// The case and the ROI Number that a lesion_id names.
fn structure_of(lesion_id: &str) -> Option<(Token, i64)> {
    let (plan, number) = lesion_id.rsplit_once('/')?;
    Some((Token::new(plan), number.parse().ok()?))
}

/// Labels of the clinic that are matched to no lesion yet.
#[must_use]
pub fn of_clinical_labels(file: &ClinicalFile) -> Vec<Question> {
    let rows = file.rows();
    let mut questions = Vec::new();
    for row in 0..rows.row_count() {
        let text = |column| rows.text(row, column);
        let label = text("clinical_label");
        if label.is_empty() || !text("lesion_id").is_empty() {
            continue;
        }
        let mut suggestions = Vec::new();
        let mut words = Vec::new();
        for [suggestion, why] in RANKS {
            let (id, why) = (text(suggestion), text(why));
            if !id.is_empty() {
                words.push(word(id, why));
                let (answer, why) = (id.to_owned(), why.to_owned());
                // Several may fit equally well: none is taken by one key.
                suggestions.push(Suggestion { answer, why, likely: false });
            }
        }
        words.push(word(NO_LESION, "the label means no lesion that was drawn"));
        let key = Key {
            patient_id: text("patient_id").to_owned(),
            ..Key::of(Place::ClinicalLesions, label).in_plan(text("plan_id"))
        };
        questions.push(Question {
            place: Place::ClinicalLesions,
            title: format!("{label}, patient {}", text("patient_id")),
            asks: "Which drawn lesion does this label of the clinic mean?".to_owned(),
            cases: 1,
            facts: Vec::new(),
            accepts: Accepts::Words(words),
            parts: vec![Part {
                key: key.clone(),
                title: label.to_owned(),
                seen: String::new(),
                structure: suggestions.first().and_then(|s| structure_of(&s.answer)),
            }],
            suggestions,
            all: Some(key),
            all_words: "this label".to_owned(),
            volume_cc: None,
        });
    }
    questions
}
