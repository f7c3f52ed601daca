//! From archives of DICOM radiotherapy plans to tidy dose-volume tables.
//!
//! For research and quality review only, not for treatment decisions; local protocol and licensed
//! practice decide.
//!
//! # The flow
//!
//! Each step is a crate of its own in a folder of `src/`, and may use only those that stand above it;
//! its manifest names them.
//!
//! 1. `tidydose-cli` turns arguments into settings and runs what follows; only it prints.
//! 2. `tidydose-dicom` looks at every file and gives an inventory of headers, with findings;
//!    identifiers have become tokens by then.
//! 3. `tidydose-case` joins plan, structure set and dose to cases, and says what each structure is and
//!    which dose is prescribed to it.
//! 4. `tidydose-dicom` reads contours and voxels, one case at a time, as values of `tidydose-rt`.
//! 5. `tidydose-analyse` makes an analysis of them: `tidydose-geometry` gives solids, `tidydose-dose`
//!    samples and histograms, `tidydose-metrics` the values with status; bounds come from recomputation.
//! 6. `tidydose-table` writes one file per table and format, and one database with all of them.
//! 7. `tidydose-ask` answers a question in SQL over those tables, `tidydose-report` makes a page of them
//!    and traces one value back through them, `tidydose-relate` joins outcomes to them and describes one
//!    relation with the estimates of `tidydose-statistics` and the figures of `tidydose-figure`,
//!    `tidydose-paper` makes a registrar's folder.
//!
//! Conventions (axes, voxel centres, holes, slice ends, units) are on the page of `tidydose-geometry`.
//!
//! # As a library
//!
//! [`dvh`] measures one structure in one dose: the same numbers, with the same bounds, as a study has.
//!
//! ```
//! use tidydose::Settings;
//!
//! let folder = "sample-anonymised/gantry/LK-07";
//! let set = tidydose::read_structure_set(format!("{folder}/A-structures.dcm"))?;
//! let dose = tidydose::read_dose(format!("{folder}/A-dose.dcm"))?;
//! let dvh = tidydose::dvh(set.roi("Brainstem")?, &dose, &Settings::default())?;
//! let d = dvh.value("D0.03cc[Gy]")?;
//! println!("{:?} Gy, {:?} to {:?}, {}", d.value, d.low, d.high, d.status.word());
//! # Ok::<(), tidydose::Error>(())
//! ```

mod library;

pub use library::{
    Dose, Dvh, Error, Plan, Roi, StructureSet, dvh, read_dose, read_plan, read_structure_set,
};
pub use tidydose_analyse::{Ends, Settings};
pub use tidydose_dose::Interpolation;
pub use tidydose_metrics::{Outcome, Status, parse as metric};
pub use tidydose_rt::finding::Finding;
