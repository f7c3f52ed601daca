//! The files that people fill in: what stands in each of them, how it is read, and which rows and
//! proposals the program adds to it. The written tables are one folder up.
//!
//! | file | what a person says there | here |
//! |---|---|---|
//! | `names.csv` | standard name and role of a structure name | [`names`], beside what was [`seen`] |
//! | `prescriptions.csv` | the dose prescribed to a target | [`prescriptions`] |
//! | `choices.csv` | what only a person can tell about a case: treated, which dose | [`choices`] |
//! | `lesions.csv` | which lesion of an earlier course a lesion is | [`lesion_file`] |
//! | `clinical_lesions.csv` | which lesion a label of the clinic means | [`clinical_file`] |
//! | `sums.csv` | which plans of a patient are added up | [`sums_file`] |
//! | `decisions.csv` | what was decided about a finding | [`decisions`], kept as [`states`] |
//! | `limits.csv` | limits of the user's own | [`limits`] |
//! | `columns.csv` | which columns table `analysis` has | [`columns_file`] |
//! | `outcomes.csv` | what became of the patients | [`outcomes`] |
//! | any sheet of outcomes, with `outcomes_map.csv` | what its columns mean | [`outcome_sheet`] |
//! | `reviews.csv` | what a committee said about a case | [`reviews`] |
//! | `answers.csv`, `decide.xlsx` | answers to what is asked on the page or in the workbook of questions | [`answers`] to [`questions`] |
//! | `check_worksheet.csv` | what the planning report states | [`worksheet`] |
//!
//! What they have in common: [`user_file`] reads and completes a file without changing what a person
//! wrote, [`unmatched`] names rows that mean nothing, [`decided`] tells whether something was decided
//! since the tables were made.

pub mod answers;
pub mod choices;
pub mod clinical_file;
pub mod columns_file;
pub mod decided;
pub mod decisions;
pub mod groups;
pub mod lesion_file;
pub mod limits;
pub mod models;
pub mod names;
pub mod outcome_sheet;
pub mod outcomes;
pub mod prescriptions;
pub mod questions;
pub mod reviews;
pub mod seen;
pub mod states;
pub mod sums_file;
pub mod unmatched;
pub mod user_file;
pub mod worksheet;
pub mod xlsx;
