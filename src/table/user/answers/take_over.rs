//! Answers go into the rows of the files that keep decisions.

use std::collections::BTreeMap;
use std::path::Path;

use super::Answer;
use super::accepted::{Cells, decided, key, own_names};
use crate::user::questions::Place;
use crate::user::user_file::{ReadError, UserFile};
use crate::user::{
    choices, clinical_file, decisions, lesion_file, limits, names, prescriptions, sums_file,
};
use crate::write_file::{Access, WriteError};

/// What became of the answers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TakenOver {
    /// How many rows were filled in, by file.
    pub written: BTreeMap<&'static str, usize>,
    /// How many said what a row says already.
    pub known: usize,
    /// Answers to questions that are not open: no row asked for them. They have rows of their own
    /// now.
    pub not_asked: Vec<String>,
}

/// Answers could not be taken over.
#[derive(Debug, thiserror::Error)]
pub enum TakeOverError {
    /// A file cannot be read, or an answer is not accepted.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The columns of a file that keeps decisions.
const fn columns(place: Place) -> &'static [&'static str] {
    match place {
        Place::Names => names::COLUMNS,
        Place::Prescriptions => prescriptions::COLUMNS,
        Place::Choices => choices::COLUMNS,
        Place::Lesions => lesion_file::COLUMNS,
        Place::ClinicalLesions => clinical_file::COLUMNS,
        Place::Sums => sums_file::COLUMNS,
        Place::Findings => decisions::COLUMNS,
    }
}

/// Writes answers into the files of the study. Nothing is written when one of them is refused.
///
/// # Errors
/// When a file cannot be read or written, when an answer is not accepted or contradicts what is
/// decided already.
pub fn take_over(study: &Path, answers: &[Answer]) -> Result<TakenOver, TakeOverError> {
    let own = own_names(answers, &known_names(study)?);
    let mut done = TakenOver::default();
    let (mut files, mut faults) = (BTreeMap::<Place, UserFile>::new(), Vec::new());
    for answer in in_order(answers) {
        let place = answer.key.place;
        if let std::collections::btree_map::Entry::Vacant(entry) = files.entry(place) {
            let path = study.join(place.file());
            entry.insert(UserFile::read_decided(&path, [&[], columns(place)], |_| Ok(()))?.0);
        }
        let Some(file) = files.get_mut(&place) else { continue };
        let each = singly(answer, file);
        let taken =
            each.and_then(|list| list.iter().try_for_each(|one| put(one, file, &own, &mut done)));
        if let Err(reason) = taken {
            faults.push((answer, answer.fault(&reason)));
        }
    }
    if let Some((first, _)) = faults.first() {
        let path = first.path.clone();
        let own = faults.iter().filter(|(answer, _)| answer.path == path);
        let reasons: Vec<&str> = own.map(|(_, reason)| reason.as_str()).collect();
        let reason = format!(
            "{}\n  nothing of it was taken over; correct or empty these answers",
            reasons.join("\n  ")
        );
        return Err(ReadError { path, reason }.into());
    }
    for (place, file) in &files {
        let path = study.join(place.file());
        file.write(&path, Access::Shared)?;
        let now = UserFile::read(&path, &[], columns(*place))?;
        if !now.holds_the_same(file) {
            let reason = format!(
                "{} was saved by somebody else meanwhile; run the same command again",
                place.file()
            );
            return Err(ReadError { path, reason }.into());
        }
    }
    Ok(done)
}

/// Answers for one plan of a patient come before those for all plans, which leave them as they are.
fn in_order(answers: &[Answer]) -> Vec<&Answer> {
    let mut list: Vec<&Answer> = answers.iter().collect();
    list.sort_by_key(|answer| answer.key.place == Place::Sums && is_of_all_plans(answer));
    list
}

fn is_of_all_plans(answer: &Answer) -> bool {
    answer.key.plan_id == choices::ALL_PLANS
}

/// An answer as one for each row that it fills: whether plans are added up is said in a row for each
/// plan. Where nothing is open any more, it was taken over before: it stands in the rows that say so,
/// and contradicts the others only where none does.
///
/// # Errors
/// When the file has no plan of that patient.
fn singly(answer: &Answer, file: &UserFile) -> Result<Vec<Answer>, String> {
    if answer.key.place != Place::Sums || !is_of_all_plans(answer) {
        return Ok(vec![answer.clone()]);
    }
    let patient = &answer.key.patient_id;
    let own = |row: &usize| file.text(*row, "patient_id").eq_ignore_ascii_case(patient);
    let mut rows: Vec<usize> = sums_file::undecided(file).into_iter().filter(own).collect();
    if rows.is_empty() {
        let says = |row: &usize| file.text(*row, "basis").eq_ignore_ascii_case(&answer.answer);
        let all: Vec<usize> = (0..file.row_count()).filter(own).collect();
        rows = all.iter().copied().filter(says).collect();
        if rows.is_empty() {
            rows = all;
        }
    }
    if rows.is_empty() {
        return Err(format!("{} has no plan of patient_id `{patient}`", sums_file::FILE));
    }
    let of_row = |row: usize| {
        let key = answer.key.clone().in_plan(file.text(row, "plan_id"));
        Answer { key, ..answer.clone() }
    };
    Ok(rows.into_iter().map(of_row).collect())
}

/// Names that are no standard ones and are known to the study.
fn known_names(study: &Path) -> Result<Vec<String>, ReadError> {
    let mut known = limits::organs(&limits::read(&study.join(limits::FILE))?)?;
    let decided = names::NamesFile::read(&study.join(names::FILE), &known)?;
    known.extend(decided.standard_names().map(str::to_owned));
    Ok(known)
}

/// Puts an answer into its row.
///
/// # Errors
/// Why it is not accepted.
fn put(
    answer: &Answer,
    file: &mut UserFile,
    own: &[String],
    done: &mut TakenOver,
) -> Result<(), String> {
    let (key, decision) = (key(answer)?, decided(answer, own)?);
    let name = answer.key.place.file();
    let row = find(file, &key);
    // Of a file that is not there yet nobody knows what is open.
    if row.is_none() && file.is_kept() && !is_asked_for_all(answer, file) {
        let question =
            if answer.question.is_empty() { &answer.key.subject } else { &answer.question };
        done.not_asked.push(format!(
            "row {} of {}: `{question}` is no open question; the answer is kept in {name}",
            answer.line,
            answer.path.file_name().unwrap_or_default().to_string_lossy()
        ));
    }
    let row = match row {
        Some(row) => row,
        None => {
            let cells: Vec<_> = key.iter().map(|(c, text)| (*c, text.as_str())).collect();
            file.add(&cells);
            file.row_count() - 1
        }
    };
    let (same, empty) = stands(file, row, &decision, answer.key.place);
    if same {
        done.known += 1;
        return Ok(());
    }
    if !empty {
        let there: Vec<&str> = decision.iter().map(|(column, _)| file.text(row, column)).collect();
        return Err(format!(
            "row {} of {name} says `{}`; make both the same, or empty one of them",
            UserFile::line(row),
            there.join(" ").trim()
        ));
    }
    for (column, text) in &decision {
        file.refresh(row, column, text);
    }
    if answer.key.place == Place::Sums {
        sums_file::sums(file)?;
    }
    note(file, row, answer);
    *done.written.entry(name).or_insert(0) += 1;
    Ok(())
}

/// The row with these cells.
fn find(file: &UserFile, key: &Cells) -> Option<usize> {
    let same = |row: usize, column: &str, wanted: &str| match column {
        // Names differ by their blanks; identifiers of all plans may be left out.
        "name_original" => file.exact_text(row, column) == wanted,
        _ => file.text(row, column).eq_ignore_ascii_case(wanted),
    };
    let whole = key.iter().any(|(column, text)| *column == "finding_id" && text == "*");
    // A row for all findings of a code that speaks of one plan or structure is another one.
    let narrow = |row: usize| {
        ["plan_id", "roi_number", "structure"]
            .iter()
            .any(|column| !matches!(file.text(row, column), "" | "*"))
    };
    (0..file.row_count())
        .find(|row| key.iter().all(|(c, text)| same(*row, c, text)) && !(whole && narrow(*row)))
}

/// Whether a row that is not there belongs to a question that is put: one structure of a name that
/// is asked about, all findings of a code of which one is.
fn is_asked_for_all(answer: &Answer, file: &UserFile) -> bool {
    let any = |column: &str, wanted: &str| {
        (0..file.row_count()).any(|row| file.exact_text(row, column) == wanted)
    };
    match answer.key.place {
        Place::Names => any("name_original", &answer.key.subject),
        Place::Findings => answer
            .key
            .subject
            .strip_prefix(crate::user::questions::ALL_OF)
            .is_some_and(|code| any("code", code)),
        _ => false,
    }
}

/// Whether a row decides the same already, and whether it decides nothing.
fn stands(file: &UserFile, row: usize, decision: &Cells, place: Place) -> (bool, bool) {
    let same = decision.iter().all(|(c, text)| file.text(row, c).eq_ignore_ascii_case(text));
    // A finding that was left open on purpose may be judged later.
    let open = |text: &str| text.is_empty() || (place == Place::Findings && text == "open");
    (same, decision.iter().all(|(c, _)| open(file.text(row, c))))
}

/// Who answered, when and why, where the file has room and nothing stands there.
fn note(file: &mut UserFile, row: usize, answer: &Answer) {
    let of_finding = answer.key.place == Place::Findings;
    let comment = if of_finding { "why" } else { "comment" };
    let signed = [&answer.decided_by, &answer.decided_on];
    let said = if of_finding {
        answer.comment.clone()
    } else {
        let parts = signed.into_iter().chain([&answer.comment]).filter(|text| !text.is_empty());
        parts.map(String::as_str).collect::<Vec<_>>().join(", ")
    };
    let cells = [(comment, &said), ("decided_by", signed[0]), ("decided_on", signed[1])];
    for (column, text) in cells {
        if file.text(row, column).is_empty() && !text.is_empty() {
            file.refresh(row, column, text);
        }
    }
}
