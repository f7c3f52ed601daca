//! The invented cohort: keepers of lights that never stood, their targets, organs and dose.
//!
//! `anatomy` has the head and its names, `follow_up` who was looked at again, `case` turns a description into objects, `patients` lists
//! the people and what is wrong with each one's files, `truth` states what should be measured.
#![allow(unreachable_pub)] // nothing outside this program sees it

mod anatomy;
mod case;
pub mod follow_up;
mod patients;
mod truth;

use crate::phantom::dicom::Result;
pub use truth::Row;

/// One file of the archive.
pub struct File {
    /// Path below the archive's folder.
    pub path: String,
    /// Content.
    pub bytes: Vec<u8>,
}

/// The whole archive.
#[derive(Default)]
pub struct Archive {
    /// Its files, in the order they are made.
    pub files: Vec<File>,
    /// The truth about its clean plans.
    pub truth: Vec<Row>,
}

/// Makes the archive.
///
/// # Errors
/// When an object cannot be encoded.
pub fn archive() -> Result<Archive> {
    let mut archive = Archive::default();
    patients::add_clean(&mut archive)?;
    patients::add_flawed(&mut archive)?;
    follow_up::add(&mut archive)?;
    Ok(archive)
}

/// The truth as CSV.
pub fn truth_table(rows: &[Row]) -> String {
    let mut text = String::from("patient,plan,structure,metric,value,unit,how\n");
    for row in rows {
        let line = [
            row.patient.as_str(),
            &row.plan,
            &row.structure,
            &row.metric,
            &row.value_text(),
            &row.unit,
            row.how,
        ];
        text.push_str(&line.join(","));
        text.push('\n');
    }
    text
}
