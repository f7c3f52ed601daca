//! Table `findings`: everything that was questionable or refused, with what it does to the numbers
//! and what a person can do about it.

use std::borrow::Cow;
use std::collections::BTreeMap;

use sha2::{Digest, Sha256};

use super::Table;
use super::column::{Column, Sheet, borrowed};
use super::decisions::State;
use super::run::hexadecimal;
use super::study::Study;
use tidydose_rt::finding::{Finding, Severity, Subject};
use tidydose_rt::identity::Token;

pub(super) const TABLE: Table = Table {
    name: "findings",
    grain: "one questionable or refused thing",
    key: &["finding_id"],
    by_case: false,
    sheet,
};

const SEVERITIES: &[&str] = &[Severity::Note.word(), Severity::Check.word(), Severity::Stop.word()];

struct Row<'a> {
    id: String,
    state: State,
    patient: Option<&'a Token>,
    finding: &'a Finding,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let patients: BTreeMap<&Token, &Token> =
        study.cases.iter().filter_map(|c| Some((&c.id, c.patient.as_ref()?))).collect();
    let rows = named(study.all_findings()).into_iter().map(|(id, finding)| {
        let subject = &finding.subject;
        let of_case = subject.case.as_ref().and_then(|c| patients.get(c).copied());
        let state = study.states.get(&id).copied().unwrap_or(State::Open);
        Row { id, state, patient: subject.patient.as_ref().or(of_case), finding }
    });
    let rows = rows.collect();
    let mut columns = subject_columns();
    columns.extend(text_columns());
    Sheet::new(columns, rows)
}

/// Each finding of a sorted list with its stable name; one that has code and subject in common with
/// an earlier one gets a number behind it.
pub(super) fn named(sorted: Vec<&Finding>) -> Vec<(String, &Finding)> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let name = |finding| {
        let base = stable_id(finding);
        let times = seen.entry(base.clone()).or_insert(0);
        *times += 1;
        (if *times == 1 { base } else { format!("{base}-{times}") }, finding)
    };
    sorted.into_iter().map(name).collect()
}

/// A name of the finding that does not change with its message, with other findings or with the
/// name of the file: the start of SHA-256 over code and subject. The file counts only where nothing
/// else says what the finding is about.
fn stable_id(finding: &Finding) -> String {
    let Subject { patient, case, file, object, roi_number, attribute } = &finding.subject;
    let mut hash = Sha256::new();
    hash.update(finding.code.definition().id);
    let file = file.as_ref().filter(|_| case.is_none() && object.is_none());
    for part in [patient.as_ref(), case.as_ref(), file, object.as_ref()] {
        hash.update([0]);
        hash.update(part.map_or("", Token::as_str));
    }
    hash.update([0]);
    hash.update(roi_number.map_or(String::new(), |n| n.to_string()));
    hash.update([0]);
    hash.update(attribute.as_deref().unwrap_or(""));
    let mut id = hexadecimal(&hash.finalize());
    id.truncate(12);
    id
}

fn token<'r>(token: Option<&'r Token>) -> Option<Cow<'r, str>> {
    token.map(|t| Cow::Borrowed(t.as_str()))
}

fn subject_columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("finding_id", "stable name, from code and subject", |r| borrowed(&r.id)),
        Column::word("severity", "note, check (look at it) or stop (refused)", SEVERITIES, |r| {
            borrowed(r.finding.severity().word())
        }),
        Column::word("state", "what was decided in decisions.csv", State::WORDS, |r| {
            borrowed(r.state.word())
        }),
        Column::text("code", "kind of finding, see the dictionary", |r| {
            borrowed(r.finding.code.definition().id)
        }),
        Column::text("patient_id", "patient, as a pseudonym", |r| token(r.patient)),
        Column::text("plan_id", "the case, as in table plans", |r| {
            token(r.finding.subject.case.as_ref())
        }),
        Column::integer("roi_number", "", "ROI Number of the structure", |r| {
            r.finding.subject.roi_number
        }),
        Column::text("object_id", "SOP instance, as in table files", |r| {
            token(r.finding.subject.object.as_ref())
        }),
        Column::text("file_id", "the file, as in table files", |r| {
            token(r.finding.subject.file.as_ref())
        }),
        Column::text("attribute", "keyword of the DICOM attribute", |r| {
            r.finding.subject.attribute.as_deref().map(Cow::Borrowed)
        }),
    ]
}

fn text_columns<'a>() -> Vec<Column<Row<'a>>> {
    vec![
        Column::text("message", "what was seen here, with quantities", |r| {
            borrowed(&r.finding.message)
        }),
        Column::text("meaning", "what this kind of finding is", |r| {
            borrowed(r.finding.code.definition().meaning)
        }),
        Column::text("consequence", "what it does to the numbers", |r| {
            borrowed(r.finding.code.definition().consequence)
        }),
        Column::text("action", "what a person can do about it", |r| {
            borrowed(r.finding.code.definition().action)
        }),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::finding::Code;

    #[test]
    fn the_name_of_a_finding_depends_on_code_and_subject_only() {
        let subject = Subject { roi_number: Some(3), ..Subject::default() };
        let a = Finding::new(Code::PlanesFew, subject.clone(), "2 planes");
        let b = Finding::new(Code::PlanesFew, subject.clone(), "1 plane");
        assert_eq!(stable_id(&a), stable_id(&b));
        assert_ne!(stable_id(&a), stable_id(&Finding::new(Code::PlaneGap, subject, "2 planes")));
        let other = Subject { roi_number: Some(4), ..Subject::default() };
        assert_ne!(stable_id(&a), stable_id(&Finding::new(Code::PlanesFew, other, "2 planes")));
    }
}
