//! tidydose turns an archive of DICOM radiotherapy plans into tidy dose-volume tables.
//!
//! For research and quality review only; never for treatment decisions.
pub mod analyse;
pub mod case;
pub mod cli;
pub mod dicom;
pub mod dose;
pub mod finding;
pub mod geometry;
pub mod identity;
pub mod metrics;
pub mod rt;
pub mod table;
pub mod units;
