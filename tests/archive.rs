//! A folder of DICOM files and all that the library makes of it, in the order in which the program
//! does it: scan, link, identify, read, analyse. Checks put files in and look at what comes out;
//! this module judges nothing.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use tidydose_analyse::{Analysis, Settings, analyse_grids, strict};
use tidydose_case::{Case, Decisions, identify, link_decided};
use tidydose_dicom::{self as dicom, FileLocation, Scan};
use tidydose_dose as dose;
use tidydose_metrics::Outcome;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::{Identity, Token};
use tidydose_rt::{Dose as DoseValues, DoseHeader, FileStatus};

use crate::phantom::dicom::{Beam, Dose, DoseReference, Header, Plan, Roi, StructureSet};
use crate::phantom::field::{Field, Lattice};

/// One course of treatment: three objects that refer to each other.
#[derive(Debug, Clone)]
pub struct Course {
    pub set: StructureSet,
    pub plan: Plan,
    pub dose: Dose,
}

impl Course {
    /// A plan of one fraction on these structures, with prescriptions (ROI Number, Gy) in dose
    /// references of their own.
    pub fn new(
        patient: &str,
        rois: Vec<Roi>,
        (field, lattice): (&Field, &Lattice),
        prescriptions: &[(i32, f64)],
    ) -> Self {
        let header = |object: &str| Header::new(patient, object);
        let set = StructureSet::new(header("structures"), rois);
        let beam = Beam::shot(1, [0.0; 3], 8.0, 10.0);
        let mut plan = Plan::new(header("plan"), &set.header.instance_uid, 1, vec![beam]);
        plan.dose_references = (1..)
            .zip(prescriptions)
            .map(|(number, (roi, dose))| DoseReference::target(number, *roi, *dose, ""))
            .collect();
        let dose = Dose::new(header("dose"), field, lattice, &plan.header.instance_uid);
        Self { set, plan, dose }
    }

    /// The headers of the three objects, to be changed together.
    pub fn headers(&mut self) -> [&mut Header; 3] {
        [&mut self.set.header, &mut self.plan.header, &mut self.dose.header]
    }

    /// The three files by name.
    pub fn files(&self) -> [(&'static str, Vec<u8>); 3] {
        [
            ("structures.dcm", self.set.bytes().unwrap()),
            ("plan.dcm", self.plan.bytes().unwrap()),
            ("dose.dcm", self.dose.bytes().unwrap()),
        ]
    }

    /// Alone in an archive, measured.
    pub fn measure(&self, settings: &Settings) -> Measured {
        let archive = Archive::new();
        archive.put("one", self);
        archive.measure(settings)
    }
}

/// A folder that goes when the check is over.
#[derive(Debug)]
pub struct Archive(tempfile::TempDir);

impl Archive {
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file, in folders where the name has them.
    pub fn add(&self, name: &str, bytes: &[u8]) {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    /// Writes the three files of a course into a folder.
    pub fn put(&self, folder: &str, course: &Course) {
        for (name, bytes) in course.files() {
            self.add(&format!("{folder}/{name}"), &bytes);
        }
    }

    pub fn measure(&self, settings: &Settings) -> Measured {
        Measured::of(self.path(), settings)
    }

    /// As [`Self::measure`], after the user decided about the cases that came out first.
    pub fn measure_decided(&self, settings: &Settings, decisions: &Decisions) -> Measured {
        Measured::decided(self.path(), settings, decisions)
    }
}

/// What the library makes of a folder. Tokens are the identifiers themselves.
#[derive(Debug)]
pub struct Measured {
    pub scan: Scan,
    /// Of the scan, of linking, naming, reading and analysing.
    pub findings: Vec<Finding>,
    pub cases: Vec<Case>,
    /// By case; none for a case without anything to compute.
    pub analyses: BTreeMap<Token, Analysis>,
}

impl Measured {
    pub fn of(folder: &Path, settings: &Settings) -> Self {
        Self::decided(folder, settings, &Decisions::default())
    }

    fn decided(folder: &Path, settings: &Settings, decisions: &Decisions) -> Self {
        let identity = Identity::kept();
        let stop = AtomicBool::new(false);
        let scan = dicom::scan(&[folder.to_path_buf()], &identity, &|_| {}, &stop).unwrap();
        let mut findings = scan.findings.clone();
        let (mut cases, of_links) = link_decided(&scan.inventory, decisions);
        findings.extend(of_links);
        findings.extend(identify(&mut cases, decisions));
        let mut analyses = BTreeMap::new();
        for case in &cases {
            let stranger = matches!(case.left_out, Some((Code::LinkPatientMismatch, _)));
            let Some(header) = case.structure_set.as_ref().filter(|_| !stranger) else { continue };
            let path = |token: &Token| -> &FileLocation { &scan.paths[token] };
            let file = &header.origin.file;
            let set = dicom::read_structure_set_as(path(file), &identity, file);
            let Ok(mut set) = set else { continue };
            set.value.take_image_planes(header);
            if let Some(frame) = case.dose.as_ref().and_then(|d| d.frame.as_ref()) {
                set.value.bring_into(frame, &case.frames.motions);
            }
            let read = |header: &DoseHeader| {
                let file = &header.origin.file;
                dicom::read_dose_as(path(file), &identity, file).ok().map(|r| r.value)
            };
            let Some(doses) = doses(case, &read) else { continue };
            let analysis = analyse_grids(case, Some(&set.value), doses, settings);
            findings.extend(set.findings);
            findings.extend(analysis.findings.clone());
            analyses.insert(case.id.clone(), analysis);
        }
        Self { scan, findings, cases, analyses }
    }

    /// The metrics of one structure of the only case, by name.
    pub fn metrics(&self, roi_number: i64) -> BTreeMap<String, Outcome> {
        assert_eq!(self.cases.len(), 1, "{:#?}", self.findings);
        let analysis = self.analyses.values().next().unwrap();
        by_name(analysis, roi_number)
    }

    /// The metrics of a region of the only case, by name.
    pub fn region(&self, region: &str) -> BTreeMap<String, Outcome> {
        assert_eq!(self.cases.len(), 1, "{:#?}", self.findings);
        let analysis = self.analyses.values().next().unwrap();
        let own = analysis.regions.iter().filter(|m| m.region == region);
        own.map(|m| (m.metric.clone(), m.outcome.clone())).collect()
    }

    /// The method of a metric of a structure of the only case.
    pub fn method(&self, roi_number: i64, metric: &str) -> String {
        let mut rows = self.analyses.values().flat_map(|a| &a.measurements);
        let found = rows.find(|m| m.roi_number == roi_number && m.metric == metric);
        found.map_or_else(String::new, |m| m.method.clone())
    }

    /// The values of [`Self::metrics`]; a metric without a value is left out.
    pub fn values(&self, roi_number: i64) -> BTreeMap<String, f64> {
        let all = self.metrics(roi_number).into_iter();
        all.filter_map(|(name, outcome)| Some((name, outcome.value?))).collect()
    }

    pub fn has(&self, code: Code) -> bool {
        self.findings.iter().any(|finding| finding.code == code)
    }

    /// The same after a strict run.
    pub fn strictly(mut self) -> Self {
        let mut analyses: Vec<Analysis> =
            std::mem::take(&mut self.analyses).into_values().collect();
        strict::refuse(&mut self.cases, &mut analyses, &self.findings);
        self.analyses = analyses.into_iter().map(|a| (a.case.clone(), a)).collect();
        self
    }

    /// What became of a file.
    pub fn status(&self, name: &str) -> FileStatus {
        let row = self.scan.inventory.files.iter().find(|row| row.file.as_str() == name);
        assert!(row.is_some(), "no row for {name}");
        row.unwrap().status
    }
}

/// The grids that a case is measured in; nothing when one of them cannot be read.
fn doses(case: &Case, read: &dyn Fn(&DoseHeader) -> Option<DoseValues>) -> Option<Vec<DoseValues>> {
    if case.left_out.is_some() {
        return Some(Vec::new());
    }
    let parts = case.dose_parts().into_iter().map(|(header, factor)| Some((read(header)?, factor)));
    let mut doses: Vec<_> = dose::sum(parts.collect::<Option<_>>()?).into_iter().collect();
    for header in &case.dose_source.local {
        doses.push(read(header)?);
    }
    Some(doses)
}

/// The metrics of one structure of an analysis, by name.
pub fn by_name(analysis: &Analysis, roi_number: i64) -> BTreeMap<String, Outcome> {
    let own = analysis.measurements.iter().filter(|m| m.roi_number == roi_number);
    own.map(|m| (m.metric.clone(), m.outcome.clone())).collect()
}

/// Every file below a folder, sorted.
pub fn files_below(folder: &Path) -> Vec<PathBuf> {
    let walk = walkdir::WalkDir::new(folder).sort_by_file_name();
    let entries = walk.into_iter().map(Result::unwrap);
    entries.filter(|e| e.file_type().is_file()).map(walkdir::DirEntry::into_path).collect()
}
