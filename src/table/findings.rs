//! Table `findings`: everything that was questionable or refused, one row for each cause, with what
//! it does to the numbers and what a person can do about it. What each row reaches is in table
//! finding_details.

use std::borrow::Cow;
use std::collections::BTreeMap;

use strum::VariantNames;

use super::causes::{Cause, causes};
use super::column::{Column, Sheet, borrowed, count};
use super::structure_names::StructureNames;
use super::study::Study;
use super::table::Table;
use super::user::states::State;
use tidydose_rt::finding::{Definition, Severity};
use tidydose_rt::identity::Token;

pub(super) const TABLE: Table = Table {
    name: "findings",
    grain: "one cause of something questionable or refused, as far as it was decided alike",
    key: &["finding_id"],
    by_case: false,
    sheet,
};

struct FindingEntry<'a> {
    cause: Cause<'a>,
    definition: Option<Definition>,
    patient: Option<&'a Token>,
}

/// All causes of a study.
pub(super) fn all<'a>(study: &Study<'a>) -> Vec<Cause<'a>> {
    let names = StructureNames::of(study.inventory, study.cases);
    causes(study.all_findings(), &names, study.states)
}

/// Patients by plan.
pub(super) fn patients<'a>(study: &Study<'a>) -> BTreeMap<&'a Token, &'a Token> {
    study.cases.iter().filter_map(|c| Some((&c.id, c.patient.as_ref()?))).collect()
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let patients = patients(study);
    let row = |cause: Cause<'a>| {
        let of_case = || cause.shared(|s| s.case.as_ref()).and_then(|c| patients.get(c).copied());
        let patient = cause.shared(|s| s.patient.as_ref()).or_else(of_case);
        FindingEntry {
            definition: cause.code().map(tidydose_rt::finding::Code::definition),
            patient,
            cause,
        }
    };
    let rows = all(study).into_iter().map(row).collect();
    let mut columns = subject_columns();
    columns.extend(text_columns());
    Sheet::new(columns, rows)
}

pub(super) fn token<'r>(token: Option<&'r Token>) -> Option<Cow<'r, str>> {
    token.map(|t| Cow::Borrowed(t.as_str()))
}

fn subject_columns<'a>() -> Vec<Column<FindingEntry<'a>>> {
    vec![
        Column::text(
            "finding_id",
            "stable name, from code and what all of it have in common",
            |r| borrowed(&r.cause.id),
        ),
        Column::word(
            "severity",
            "note, check (look at it) or stop (refused)",
            Severity::VARIANTS,
            |r| borrowed(r.cause.severity().word()),
        ),
        Column::word("state", "what was decided in decisions.csv", State::VARIANTS, |r| {
            borrowed(r.cause.state.word())
        }),
        Column::text("code", "kind of finding, see the dictionary", |r| {
            r.definition.and_then(|d| borrowed(d.id))
        }),
        Column::integer(
            "n_details",
            "",
            "rows of finding_details: structures, plans, objects or files that it reaches",
            |r| count(r.cause.members.len()),
        ),
        Column::text(
            "patient_id",
            "patient, as a pseudonym; missing where there are several",
            |r| token(r.patient),
        ),
        Column::text(
            "plan_id",
            "the case, as in table plans; missing where there are several",
            |r| token(r.cause.shared(|s| s.case.as_ref())),
        ),
        Column::integer(
            "roi_number",
            "",
            "ROI Number of the structure; missing where there are several",
            |r| r.cause.shared(|s| s.roi_number),
        ),
        Column::text("structure", "names of the structures, separated by semicolons", |r| {
            Some(r.cause.structures()).filter(|names| !names.is_empty()).map(Cow::Owned)
        }),
        Column::text("object_id", "SOP instance, as in table files", |r| {
            token(r.cause.shared(|s| s.object.as_ref()))
        }),
        Column::text("file_id", "the file, as in table files", |r| {
            token(r.cause.shared(|s| s.file.as_ref()))
        }),
        Column::text("attribute", "keyword of the DICOM attribute", |r| {
            r.cause.shared(|s| s.attribute.as_deref()).map(Cow::Borrowed)
        }),
    ]
}

fn text_columns<'a>() -> Vec<Column<FindingEntry<'a>>> {
    vec![
        Column::text("message", "what was seen here, with quantities", |r| {
            Some(Cow::Owned(r.cause.message()))
        }),
        Column::text("meaning", "what this kind of finding is", |r| {
            r.definition.and_then(|d| borrowed(d.meaning))
        }),
        Column::text("consequence", "what it does to the numbers", |r| {
            r.definition.and_then(|d| borrowed(d.consequence))
        }),
        Column::text("action", "what a person can do about it", |r| {
            r.definition.and_then(|d| borrowed(d.action))
        }),
    ]
}
