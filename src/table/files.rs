//! Table `files`: one row per file of the archive, read or not, and why not. Paths are in the study
//! key, not here.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed};
use super::study::Study;
use super::table::Table;
use tidydose_rt::{FileRecord, FileStatus};

pub(super) const TABLE: Table = Table {
    name: "files",
    grain: "one file of the archive",
    key: &["file_id"],
    by_case: false,
    sheet,
};

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut rows: Vec<&FileRecord> = study.inventory.files.iter().collect();
    rows.sort_by_key(|f| (&f.file, &f.digest));
    Sheet::new(columns(), rows)
}

fn columns<'a>() -> Vec<Column<&'a FileRecord>> {
    vec![
        Column::text("file_id", "the file, as a pseudonym of its path", |f| {
            borrowed(f.file.as_str())
        }),
        Column::text("patient_id", "patient, as a pseudonym; missing when not read", |f| {
            f.patient.as_ref().and_then(|p| borrowed(p.as_str()))
        }),
        Column::text("object_id", "SOP instance, as a pseudonym; missing when not read", |f| {
            f.object.as_ref().and_then(|o| borrowed(o.as_str()))
        }),
        Column::text("sop_class", "kind of object; missing when unknown", |f| {
            f.sop_class.map(Cow::Borrowed)
        }),
        Column::integer("size_bytes", "", "size in bytes", |f| i64::try_from(f.bytes).ok()),
        Column::text("sha256", "SHA-256 of the bytes; radiotherapy objects only", |f| {
            f.digest.as_deref().map(Cow::Borrowed)
        }),
        Column::word("status", "what became of it", FileStatus::VARIANTS, |f| {
            borrowed(f.status.word())
        }),
        Column::text("reason", "why, in words; missing when read without remark", |f| {
            (!f.reason.is_empty()).then_some(Cow::Borrowed(f.reason.as_str()))
        }),
    ]
}
