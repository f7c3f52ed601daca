//! One case from its files to its analysis: reads the structure set and the dose, computes, and
//! lets both go. Whatever goes wrong here is a finding of this case and never ends the run.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::parallel::guarded;
use tidydose_analyse::stage::{Stage, during};
use tidydose_analyse::{self as analyse, Analysis, FollowUpPlace, Memory};
use tidydose_case::{Case, GivenDose};
use tidydose_dicom::{self as dicom, FileLocation};
use tidydose_dose as dose;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Token};
use tidydose_rt::{Dose, DoseHeader, Origin, Roi, StructureSet};

/// What came of one case.
#[derive(Debug, Clone, Default)]
pub(super) struct CaseResult {
    /// What was computed; absent when the case failed or nothing could be computed.
    pub(super) analysis: Option<Analysis>,
    /// Findings of reading, and of the failure.
    pub(super) findings: Vec<Finding>,
    /// Why there is no analysis though the case was to be measured.
    pub(super) failure: Option<String>,
}

/// What is needed to read and measure any case of the run.
#[derive(Debug, Clone, Copy)]
pub(super) struct RunContext<'a> {
    pub(super) paths: &'a BTreeMap<Token, FileLocation>,
    pub(super) identity: &'a Identity,
    pub(super) settings: &'a analyse::Settings,
    /// All cases: structures that were drawn after a treatment lie in the dose of another one.
    pub(super) cases: &'a [Case],
}

/// Whether there is anything to compute. A case that is left out for its dose still has structures
/// with volumes, and every dose metric has a row with the reason; structures of another patient
/// are left alone.
pub(super) fn is_worth_measuring(case: &Case) -> bool {
    let stranger = matches!(case.left_out, Some((Code::LinkPatientMismatch, _)));
    case.structure_set.is_some() && !stranger
}

/// The structures of a case, with the plane spacings that the scan knows; absent where they cannot
/// be read.
pub(super) fn read_structures(
    case: &Case,
    paths: &BTreeMap<Token, FileLocation>,
    identity: &Identity,
) -> Option<StructureSet> {
    let header = case.structure_set.as_ref()?;
    let path = paths.get(&header.origin.file)?;
    let reading = dicom::read_structure_set_as(path, identity, &header.origin.file).ok()?;
    let mut set = reading.value;
    set.take_image_planes(header);
    if let Some(frame) = case.dose.as_ref().and_then(|d| d.frame.as_ref()) {
        set.bring_into(frame, &case.frames.motions);
    }
    Some(set)
}

impl RunContext<'_> {
    /// Measures one case, as far as it is not remembered. What was measured goes with the result.
    pub(super) fn measure(&self, case: &Case, memory: Memory) -> (CaseResult, Memory) {
        match guarded(move || self.read_and_analyse(case, memory)) {
            Ok(Ok(done)) => done,
            Ok(Err(finding)) => {
                (failed(case, finding.message.clone(), Some(*finding)), Memory::default())
            }
            Err(panic) => (failed(case, panic, None), Memory::default()),
        }
    }

    fn read_and_analyse(
        &self,
        case: &Case,
        memory: Memory,
    ) -> Result<(CaseResult, Memory), Box<Finding>> {
        let mut findings = Vec::new();
        let structures = match &case.structure_set {
            None => None,
            Some(header) => {
                let path = self.path(&header.origin)?;
                let file = &header.origin.file;
                let read = || dicom::read_structure_set_as(path, self.identity, file);
                let mut reading = during(Stage::Read, read).map_err(|e| self.refusal(&e, case))?;
                findings.extend(reading.findings);
                reading.value.take_image_planes(header);
                if let Some(frame) = case.dose.as_ref().and_then(|d| d.frame.as_ref()) {
                    reading.value.bring_into(frame, &case.frames.motions);
                }
                Some(reading.value)
            }
        };
        let mut memory = memory.looking_ahead();
        let mut of_doses = None;
        let read = || during(Stage::Read, || self.doses(case, of_doses.insert(Vec::new())));
        let settings = self.settings_of(case);
        let mut analysis =
            analyse::analyse_remembered(case, structures.as_ref(), read, &settings, &mut memory)?;
        if let (Some(given), Some(set)) = (case.given(), &structures) {
            analysis.places = self.places(case, set, given)?;
        }
        // Of a case that is left out no dose is read: what was found in it is kept and not said.
        if case.left_out.is_none() {
            memory.findings = of_doses.unwrap_or(memory.findings);
            findings.extend(memory.findings.iter().cloned());
        }
        Ok((CaseResult { analysis: Some(analysis), findings, failure: None }, memory))
    }

    /// What is asked of a case: of structures drawn after a treatment only what has a meaning there.
    fn settings_of(&self, case: &Case) -> Cow<'_, analyse::Settings> {
        if case.is_follow_up() {
            Cow::Owned(self.settings.of_follow_up())
        } else {
            Cow::Borrowed(self.settings)
        }
    }

    /// Where the targets of a follow-up lie in what was treated.
    fn places(
        &self,
        case: &Case,
        set: &StructureSet,
        given: &GivenDose,
    ) -> Result<Vec<FollowUpPlace>, Box<Finding>> {
        let mut doses = self.doses(case, &mut Vec::new())?;
        // Grids of several regions are no one dose in which distances could be taken.
        let Some(dose) = doses.pop().filter(|_| doses.is_empty()) else { return Ok(Vec::new()) };
        let plan = self.cases.iter().find(|c| c.id == given.plan);
        let planned = plan.and_then(|plan| read_structures(plan, self.paths, self.identity));
        let is_target = |roi: &Roi| given.targets.iter().any(|t| t.roi_number == roi.header.number);
        let mut treated = planned.map_or_else(Vec::new, |set| set.rois);
        treated.retain(is_target);
        Ok(analyse::follow_up_places(case, set, &treated, dose, self.settings))
    }

    /// The dose that is measured, added up from its parts, then the grids of further regions.
    pub(super) fn doses(
        &self,
        case: &Case,
        findings: &mut Vec<Finding>,
    ) -> Result<Vec<Dose>, Box<Finding>> {
        if case.left_out.is_some() {
            return Ok(Vec::new());
        }
        let mut read = |header: &DoseHeader| -> Result<Dose, Box<Finding>> {
            let path = self.path(&header.origin)?;
            let reading = dicom::read_dose_as(path, self.identity, &header.origin.file)
                .map_err(|e| self.refusal(&e, case))?;
            findings.extend(reading.findings);
            Ok(reading.value)
        };
        let mut parts = Vec::new();
        for (header, factor) in case.dose_parts() {
            parts.push((read(header)?, factor));
        }
        let mut doses: Vec<Dose> = dose::sum(parts).into_iter().collect();
        for header in &case.dose_source.local {
            doses.push(read(header)?);
        }
        Ok(doses)
    }

    fn refusal(&self, error: &dicom::Error, case: &Case) -> Box<Finding> {
        let mut finding = error.to_finding(self.identity);
        finding.subject.case = Some(case.id.clone());
        Box::new(finding)
    }

    fn path(&self, origin: &Origin) -> Result<&FileLocation, Box<Finding>> {
        self.paths.get(&origin.file).ok_or_else(|| {
            let subject = Subject {
                patient: origin.patient.clone(),
                file: Some(origin.file.clone()),
                object: Some(origin.object.clone()),
                ..Subject::default()
            };
            let message = "the scan does not say where the file is";
            Box::new(Finding::new(Code::FileUnreadable, subject, message))
        })
    }
}

/// The result of a case that could not be measured: the cause, and that it cost the case.
fn failed(case: &Case, reason: String, cause: Option<Finding>) -> CaseResult {
    let subject = Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        ..Subject::default()
    };
    let mut findings: Vec<Finding> = cause.into_iter().collect();
    findings.push(Finding::new(Code::CaseFailed, subject, reason.clone()));
    CaseResult { analysis: None, findings, failure: Some(reason) }
}
