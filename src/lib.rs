//! tidydose turns an archive of DICOM radiotherapy plans into tidy dose-volume tables.
//!
//! For research and quality review only, not for treatment decisions; local protocol and licensed
//! practice decide.
//!
//! # The flow
//!
//! 1. [`cli`] turns arguments into settings and runs what follows; only it prints.
//! 2. [`dicom::scan()`] looks at every file and gives an [`rt::Inventory`] of headers, with
//!    [`finding::Finding`]s; identifiers have become [`identity::Token`]s by then.
//! 3. [`case::link`] joins plan, structure set and dose to a [`case::Case`]; [`case::identify`] says
//!    what each structure is and which dose is prescribed to it.
//! 4. [`dicom::read_structure_set`] and [`dicom::read_dose`] read contours and voxels, one case at a
//!    time, as [`rt::StructureSet`] and [`rt::Dose`].
//! 5. [`analyse::analyse`] makes an [`analyse::Analysis`] of them: [`geometry`] gives solids, [`dose`]
//!    samples and histograms, [`metrics`] the values with status; bounds come from recomputation.
//! 6. [`table::write_tables()`] writes one file per table and format from a [`table::Study`].
//! 7. [`ask::ask`] answers a question in SQL over those tables, [`report::review`] makes a page of
//!    them, [`report::explain::explain`] traces one value back through them, [`relate::relate`] joins
//!    outcomes to them and describes one relation with the estimates of [`statistics`] and the figures
//!    of [`figure`], [`paper::paper`] makes a registrar's folder.
//!
//! [`limits`] holds published dose limits and says what a value with bounds means for one.
//!
//! Conventions (axes, voxel centres, holes, slice ends, units) are on the page of [`geometry`]. Rooms
//! stand below in the order in which they may use each other; `tests/architecture.rs` holds the rule.

pub mod units;

pub mod identity;

pub mod finding;

pub mod geometry;

pub mod rt;

pub mod dicom;

pub mod case;

pub mod dose;

pub mod metrics;

pub mod limits;

pub mod analyse;

pub mod table;

pub mod ask;

pub mod statistics;

pub mod figure;

pub mod relate;

pub mod paper;

pub mod report;

pub mod cli;
