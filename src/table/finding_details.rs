//! Table `finding_details`: each structure, plan, object or file that a finding reaches, with what
//! was seen there. Table findings has the causes.

use std::borrow::Cow;

use strum::VariantNames;

use super::causes::Member;
use super::column::{Column, Sheet, borrowed};
use super::findings::{all, patients, token};
use super::study::Study;
use super::table::Table;
use super::user::states::State;
use tidydose_rt::finding::Severity;
use tidydose_rt::identity::Token;

pub(super) const TABLE: Table = Table {
    name: "finding_details",
    grain: "one thing that a finding reaches",
    key: &["detail_id"],
    by_case: false,
    sheet,
};

struct FindingDetailEntry<'a> {
    finding_id: String,
    state: State,
    patient: Option<&'a Token>,
    member: Member<'a>,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let patients = patients(study);
    let mut rows = Vec::new();
    for cause in all(study) {
        for member in cause.members {
            let subject = &member.finding.subject;
            let of_case = subject.case.as_ref().and_then(|c| patients.get(c).copied());
            let patient = subject.patient.as_ref().or(of_case);
            rows.push(FindingDetailEntry {
                finding_id: cause.id.clone(),
                state: cause.state,
                patient,
                member,
            });
        }
    }
    Sheet::new(columns(), rows)
}

fn columns<'a>() -> Vec<Column<FindingDetailEntry<'a>>> {
    vec![
        Column::text("finding_id", "the cause, as in table findings", |r| borrowed(&r.finding_id)),
        Column::text("detail_id", "stable name, from code and subject", |r| borrowed(&r.member.id)),
        Column::word(
            "severity",
            "note, check (look at it) or stop (refused)",
            Severity::VARIANTS,
            |r| borrowed(r.member.finding.severity().word()),
        ),
        Column::word("state", "what was decided in decisions.csv", State::VARIANTS, |r| {
            borrowed(r.state.word())
        }),
        Column::text("code", "kind of finding, see the dictionary", |r| {
            borrowed(r.member.finding.code.definition().id)
        }),
        Column::text("patient_id", "patient, as a pseudonym", |r| token(r.patient)),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| token(r.member.finding.subject.case.as_ref()),
        ),
        Column::integer("roi_number", "", "ROI Number of the structure", |r| {
            r.member.finding.subject.roi_number
        }),
        Column::text("structure", "standard name, else the name in the file", |r| {
            r.member.name.and_then(|n| borrowed(n.shown))
        }),
        Column::text("name_original", "ROI Name as in the file", |r| {
            r.member.name.and_then(|n| borrowed(n.original))
        }),
        Column::text("object_id", "SOP instance, as in table files", |r| {
            token(r.member.finding.subject.object.as_ref())
        }),
        Column::text("file_id", "the file, as in table files", |r| {
            token(r.member.finding.subject.file.as_ref())
        }),
        Column::text("attribute", "keyword of the DICOM attribute", |r| {
            r.member.finding.subject.attribute.as_deref().map(Cow::Borrowed)
        }),
        Column::text("message", "what was seen here, with quantities", |r| {
            borrowed(&r.member.finding.message)
        }),
    ]
}
