//! Every word that people may write into the files of a study, with what it means, and the words
//! that stand beside values: one list, from which a page is made.

use strum::IntoEnumIterator;

use super::user::states::State;
use super::user::{
    choices, clinical_file, columns_file, decisions, lesion_file, names, outcome_sheet, outcomes,
    prescriptions, sums_file,
};
use tidydose_case::{
    ELSEWHERE, NameBasis, Question, Role, SumBasis, meaning, standard_names, volume_window,
};
use tidydose_metrics::Status;
use tidydose_metrics::limits::{Checked, Tier};

/// A word with its meaning.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Word {
    /// As it is written; any letter case is accepted where people write it.
    pub word: String,
    /// What it means.
    pub meaning: String,
}

/// The words of one column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// The file or table.
    pub file: &'static str,
    /// The column.
    pub column: &'static str,
    /// What else may stand there; empty where nothing.
    pub also: &'static str,
    /// The words.
    pub list: Vec<Word>,
}

fn words<'w>(list: impl IntoIterator<Item = (&'w str, &'w str)>) -> Vec<Word> {
    let word = |(word, meaning): (&str, &str)| Word { word: word.into(), meaning: meaning.into() };
    list.into_iter().map(word).collect()
}

/// What people write, file by file, then what stands in tables.
#[must_use]
pub fn lists() -> Vec<Words> {
    let mut all = of_names();
    all.extend(of_decisions());
    all.extend(of_courses());
    all.extend(of_outcomes());
    all.extend(of_outcome_map());
    all.extend(of_limits());
    all.extend(of_tables());
    all
}

fn of_names() -> Vec<Words> {
    vec![
        Words {
            file: names::FILE,
            column: "role",
            also: "nothing (the role follows from the standard name, else from the rules)",
            list: words(Role::iter().map(|r| (r.word(), r.meaning()))),
        },
        Words {
            file: names::FILE,
            column: "name_standard",
            also: "one of the standard names below; nothing (the structure has none)",
            list: words([
                ("own:NAME", "a name of your own; written once so, other rows may have NAME alone"),
                ("NAME_PRV03", "a standard name with a margin in mm, two digits; before a side"),
                ("NAME~", "a part of an organ"),
                ("GTV1, CTV2, PTV_24Gy and the like", "a target"),
                ("zNAME", "an aid to planning"),
            ]),
        },
        Words {
            file: prescriptions::FILE,
            column: "prescription_gy",
            also: "",
            list: words([(
                "a number",
                "dose of all fractions in gray; point or comma before the decimals; \
                              three digits behind the only mark (2.400) are asked about",
            )]),
        },
    ]
}

fn of_decisions() -> Vec<Words> {
    let questions = Question::iter().map(|question| {
        let (asks, accepts) = (question.asks(), question.accepts());
        let meaning = format!("{asks} Accepted: {accepts}.");
        Word { word: question.word().to_owned(), meaning }
    });
    vec![
        Words {
            file: decisions::FILE,
            column: "state",
            also: "nothing (nobody has decided)",
            list: words(State::iter().map(|s| (s.word(), s.meaning()))),
        },
        Words { file: choices::FILE, column: "question", also: "", list: questions.collect() },
        Words {
            file: "answers.csv, decide.xlsx",
            column: "answer",
            also: "whatever the file accepts that keeps the answer; nothing (it stays open)",
            list: words([("role:WORD", "the structure has no name, and this role of `names.csv`")]),
        },
        Words {
            file: "answers.csv, decide.xlsx",
            column: "subject",
            also: "the ROI Name, question, lesion_id, label or finding_id that is asked about",
            list: words([("all:CODE", "all findings of a code, later ones too")]),
        },
    ]
}

fn of_courses() -> Vec<Words> {
    vec![
        Words {
            file: lesion_file::FILE,
            column: "same_as",
            also: "the lesion_id of an earlier lesion; nothing (nobody has decided)",
            list: words([("new", "it has not been treated before")]),
        },
        Words {
            file: clinical_file::FILE,
            column: "lesion_id",
            also: "the lesion_id that the label means; nothing (nobody has decided)",
            list: words([("none", "the label means no lesion that was drawn")]),
        },
        Words {
            file: sums_file::FILE,
            column: "basis",
            also: "",
            list: words(
                SumBasis::iter()
                    .map(|b| (b.word(), b.meaning()))
                    .chain([(sums_file::APART, sums_file::APART_MEANING)]),
            ),
        },
        Words {
            file: sums_file::FILE,
            column: "structures",
            also: "nothing, as `no`",
            list: words([
                ("yes", "the structures of this plan are measured in the sum"),
                ("no", "those of another plan are; where none says yes, those of the latest"),
            ]),
        },
    ]
}

fn of_outcomes() -> Vec<Words> {
    vec![
        Words {
            file: "outcomes.csv",
            column: "event_type",
            also: "a word of your own of a-z, 0-9 and _, such as necrosis",
            list: words([
                (outcomes::NONE, "nothing happened as long as the subject was followed"),
                (outcomes::LOST, "nobody knows"),
                (outcomes::DEATH, "death of the patient"),
            ]),
        },
        Words {
            file: "outcomes.csv",
            column: "basis",
            also: "nothing (not known)",
            list: words(outcomes::BASES.iter().copied()),
        },
        Words {
            file: "outcomes.csv",
            column: "vital_status",
            also: "nothing, as `unknown`",
            list: words(outcomes::VITAL.iter().copied()),
        },
        Words {
            file: "outcomes.csv",
            column: "symptomatic",
            also: "nothing (not known)",
            list: words([
                ("true, yes, 1", "there were symptoms"),
                ("false, no, 0", "there were none"),
            ]),
        },
    ]
}

fn of_outcome_map() -> Vec<Words> {
    let meanings = outcome_sheet::Meaning::iter().map(|m| (m.word(), m.words()));
    let forms = outcome_sheet::Form::iter().map(|f| (f.word(), f.words()));
    vec![
        Words {
            file: outcome_sheet::FILE,
            column: "meaning",
            also: "nothing, which waits for a decision",
            list: words(meanings),
        },
        Words {
            file: outcome_sheet::FILE,
            column: "form",
            also: "nothing, where the column is no moment",
            list: words(forms),
        },
    ]
}

fn of_limits() -> Vec<Words> {
    vec![
        Words {
            file: columns_file::FILE,
            column: "column",
            also: "a column that a new file lists; a metric of the lesion, such as D90%[Gy]",
            list: words([(
                "ORGAN:METRIC",
                "a metric of an organ or of a region that nobody drew, such as Lens_L:Max[Gy]",
            )]),
        },
        Words {
            file: columns_file::FILE,
            column: "in_use",
            also: "nothing, as `yes`",
            list: words([
                ("yes", "table `analysis` has the column"),
                ("no", "it is offered and not taken"),
            ]),
        },
        Words {
            file: "limits.csv",
            column: "operator",
            also: "nothing, as `<=`",
            list: words([("<=", "the limit itself is allowed"), ("<", "it is not")]),
        },
        Words {
            file: "limits.csv",
            column: "tier",
            also: "",
            list: words(Tier::iter().map(|tier| (tier.word(), tier.meaning()))),
        },
        Words {
            file: "limits.csv",
            column: "target_inside",
            also: "nothing: `allowed` for the brain, parts of it and the skin, else `judge`",
            list: words([
                (
                    "judge",
                    "a target in the organ is said, and whether the limit holds is left open",
                ),
                ("allowed", "the limit holds with targets inside, as for the brain"),
            ]),
        },
        Words {
            file: "limits.csv",
            column: "checked",
            also: "nothing, as `own`",
            list: words(Checked::iter().map(|checked| (checked.word(), checked.meaning()))),
        },
        Words {
            file: "limits.csv",
            column: "in_use",
            also: "nothing, as `yes`",
            list: words([
                ("yes", "values are compared with the limit"),
                ("no", "it only stands there; a row of the program's list is taken out by it"),
            ]),
        },
    ]
}

fn of_tables() -> Vec<Words> {
    vec![
        Words {
            file: "tables",
            column: "status",
            also: "",
            list: words(Status::iter().map(|status| (status.word(), status.meaning()))),
        },
        Words {
            file: names::FILE,
            column: "basis",
            also: "",
            list: words(NameBasis::iter().map(|b| (b.word(), b.meaning())).chain([(
                ELSEWHERE,
                "another study, given with `--names`, decided it so; not followed here until it is \
                 decided here",
            )])),
        },
    ]
}

/// A standard name for the page.
#[derive(Debug, Clone, PartialEq)]
pub struct StandardName {
    /// The name.
    pub name: String,
    /// What it stands for.
    pub meaning: String,
    /// The role that follows from it.
    pub role: &'static str,
    /// Volumes that are plausible in an adult, cc; empty where none are known.
    pub plausible_cc: String,
}

/// Every standard name of the catalogue.
#[must_use]
pub fn catalogue() -> Vec<StandardName> {
    let one = |(name, role): (String, tidydose_case::Role)| {
        let window = volume_window(&name);
        StandardName {
            meaning: meaning(&name).unwrap_or_default(),
            role: role.word(),
            plausible_cc: window
                .map_or(String::new(), |w| format!("{} to {}", w.low_cc, w.high_cc)),
            name,
        }
    };
    standard_names().into_iter().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_has_a_meaning_and_stands_once() {
        for list in lists() {
            let mut seen: Vec<&str> = list.list.iter().map(|w| w.word.as_str()).collect();
            assert!(!seen.is_empty(), "{} {}", list.file, list.column);
            assert!(list.list.iter().all(|w| !w.meaning.is_empty()), "{list:?}");
            seen.sort_unstable();
            let count = seen.len();
            seen.dedup();
            assert_eq!(seen.len(), count, "{} {}", list.file, list.column);
        }
        assert!(catalogue().iter().all(|n| !n.meaning.is_empty()));
    }
}
