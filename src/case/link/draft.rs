//! One case in the making: its objects, the findings about them, and the first reason to leave
//! it out.

use std::collections::BTreeSet;

use super::archive::{ObjectsByUid, structure_frames};
use super::choice::{Asked, choose};
use super::frames;
use super::owner::Owners;
use super::{frame_sentence, list, subject};
use crate::{Case, Decisions, DoseSource, FrameJoin, FrameLink, LinkMethod};
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, Origin, Person, Plan, Registration, StructureSetHeader};

/// Plan Intent (300A,000A) values that are no treatment of a patient.
const NOT_TREATMENT: [&str; 4] = ["VERIFICATION", "MACHINE_QA", "RESEARCH", "SERVICE"];

/// What a case is made from beside the objects themselves.
#[derive(Clone, Copy)]
pub(super) struct DraftInputs<'a> {
    /// The objects by token.
    pub(super) archive: &'a ObjectsByUid<'a>,
    /// What the user decided.
    pub(super) decisions: &'a Decisions,
    /// Every registration of the archive.
    pub(super) registrations: &'a [Registration],
}

impl DraftInputs<'_> {
    fn asked<'a>(&'a self, case: &'a Token, plan: Option<&'a Plan>) -> Asked<'a> {
        Asked {
            case,
            plan,
            decided: self.decisions.dose.get(case),
            relative_unit: self.decisions.relative_unit.get(case).copied(),
        }
    }
}

/// A case with its findings.
pub(super) struct Draft {
    /// The case.
    pub(super) case: Case,
    /// What there is to say about its joins.
    pub(super) findings: Vec<Finding>,
}

impl Draft {
    /// The case of a plan.
    pub(super) fn of_plan(inputs: DraftInputs<'_>, owners: &Owners<'_>, plan: &Plan) -> Self {
        let archive = inputs.archive;
        let mut draft = Self::new(&plan.origin);
        draft.case.plan = Some(plan.clone());
        let said = inputs.decisions.treated.get(&plan.origin.object) == Some(&true);
        draft.refuse_other_intents(plan, said);
        let no_treatment = draft.case.left_out.is_some();
        let doses: &[_] = owners.by_plan.get(&plan.origin.object).map_or(&[], Vec::as_slice);
        let undecided: &[_] = owners.undecided.get(&plan.origin.object).map_or(&[], Vec::as_slice);
        match doses {
            [] if no_treatment => {}
            [] => draft.refuse_without_dose(archive, &plan.origin, undecided),
            doses => draft.take_dose(inputs, plan, doses),
        }
        let mut frames = archive.plan_frames(plan);
        if frames.is_empty() {
            frames = doses.iter().filter_map(|(d, _)| d.frame.as_ref()).collect();
        }
        if !no_treatment || plan.structure_set.is_some() {
            draft.take_structures(archive, plan.structure_set.as_ref(), &frames);
        }
        draft.check(inputs);
        draft
    }

    /// The case of a structure set whose patient has neither plan nor dose: volumes only.
    pub(super) fn of_structures(set: &StructureSetHeader) -> Self {
        let mut draft = Self::new(&set.origin);
        draft.case.structure_set = Some(set.clone());
        let message = "there is no plan and no dose of the patient; volumes are computed all the \
                       same";
        draft.stop(Code::LinkMissing, &set.origin, message.to_owned());
        draft
    }

    /// The case of doses that have no plan, or the findings why there is none.
    pub(super) fn of_orphans(
        inputs: DraftInputs<'_>,
        doses: &[&DoseHeader],
    ) -> Result<Self, Vec<Finding>> {
        let Some(first) = doses.iter().copied().min_by_key(|d| &d.origin.object) else {
            return Err(Vec::new());
        };
        let first = choose(doses, inputs.asked(&first.origin.object, None)).dose.unwrap_or(first);
        let choice = choose(doses, inputs.asked(&first.origin.object, None));
        let mut draft = Self::new(&first.origin);
        draft.case.doses_seen = doses.len();
        draft.findings.extend(choice.remarks);
        draft.case.dose = choice.dose.cloned();
        draft.case.dose_source = choice.source;
        if choice.refusal.as_ref().is_some_and(|(code, _)| *code == Code::DoseSummationUnused) {
            return Err(draft.disbanded());
        }
        if let Some((code, message)) = choice.refusal {
            draft.stop(code, &first.origin, message);
        }
        let frames = doses.iter().filter_map(|d| d.frame.as_ref()).collect();
        draft.take_structures(inputs.archive, None, &frames);
        if draft.case.structure_set.is_none() {
            return Err(draft.disbanded());
        }
        let plan = first.plans.first().map_or_else(
            || "no plan is named".to_owned(),
            |plan| format!("the plan it refers to ({plan}) is not in the archive"),
        );
        let message = format!("{plan}; dose and structures were joined without it");
        draft.remark(Code::LinkByFrame, &first.origin, message);
        draft.check(inputs);
        Ok(draft)
    }

    /// A case of which nothing is known but the object that stands for it.
    pub(super) fn new(origin: &Origin) -> Self {
        let named = Case::named(origin.object.clone());
        let case = Case { patient: origin.patient.clone(), ..named };
        Self { case, findings: Vec::new() }
    }

    pub(super) fn remark(&mut self, code: Code, origin: &Origin, message: String) {
        let about = subject(origin, Some(&self.case.id));
        self.findings.push(Finding::new(code, about, message));
    }

    /// Records a reason to leave the case out; the first one stays its reason.
    pub(super) fn stop(&mut self, code: Code, origin: &Origin, message: String) {
        self.remark(code, origin, message.clone());
        self.case.left_out.get_or_insert((code, message));
    }

    /// The findings of a case that does not come about.
    fn disbanded(self) -> Vec<Finding> {
        let without_case = |mut finding: Finding| {
            finding.subject.case = None;
            finding
        };
        self.findings.into_iter().map(without_case).collect()
    }

    /// Refuses what is no treatment of a patient. Of an intent the user may know better (archives
    /// for research call all plans RESEARCH), of the frame of a device nobody does.
    fn refuse_other_intents(&mut self, plan: &Plan, said_treated: bool) {
        if plan.on_device {
            let message = "RT Plan Geometry is TREATMENT_DEVICE; PATIENT would be accepted";
            self.stop(Code::PlanGeometryDevice, &plan.origin, message.to_owned());
        }
        let intent = plan.intent.as_deref().unwrap_or_default().trim().to_ascii_uppercase();
        if NOT_TREATMENT.contains(&intent.as_str()) && !said_treated {
            let message = format!(
                "Plan Intent is {intent}; CURATIVE, PALLIATIVE, PROPHYLACTIC or none, or `yes` to \
                 question treated in choices.csv, would be accepted"
            );
            self.stop(Code::PlanNotTreatment, &plan.origin, message);
        }
    }

    fn refuse_without_dose(
        &mut self,
        archive: &ObjectsByUid,
        plan: &Origin,
        undecided: &[&DoseHeader],
    ) {
        if undecided.is_empty() {
            let mut message =
                "no dose refers to the plan and none fits it by frame of reference".to_owned();
            let refused = match archive.refused_doses(plan.patient.as_ref()) {
                0 => String::new(),
                1 => "; a dose of the patient was refused, see table files".to_owned(),
                n => format!("; {n} doses of the patient were refused, see table files"),
            };
            message.push_str(&refused);
            self.stop(Code::LinkMissing, plan, message);
            return;
        }
        let message = format!(
            "no dose refers to the plan; these would fit it by frame of reference, but other \
             plans as well: {}",
            list(undecided.iter().map(|d| &d.origin.object))
        );
        self.stop(Code::LinkAmbiguous, plan, message);
    }

    fn take_dose(
        &mut self,
        inputs: DraftInputs<'_>,
        plan: &Plan,
        doses: &[(&DoseHeader, LinkMethod)],
    ) {
        let headers: Vec<&DoseHeader> = doses.iter().map(|(d, _)| *d).collect();
        let choice = choose(&headers, inputs.asked(&self.case.id, Some(plan)));
        self.case.doses_seen = doses.len();
        self.findings.extend(choice.remarks);
        self.case.dose_source = choice.source;
        if let Some(dose) = choice.dose {
            let method = doses.iter().find(|(d, _)| d.origin == dose.origin).map(|(_, m)| *m);
            self.case.dose_link = method.unwrap_or(LinkMethod::None);
            self.case.dose = Some(dose.clone());
            if let Some(text) = frame_sentence("plan", dose.plans.first(), self.case.dose_link) {
                self.remark(Code::LinkByFrame, &dose.origin, text);
            }
        }
        if let Some((code, message)) = choice.refusal {
            let origin = choice.dose.map_or(&plan.origin, |d| &d.origin);
            self.stop(code, origin, message);
        }
    }

    /// Joins the structure set: the one named by the plan, else the one named by the stored DVHs
    /// of the dose, else the only one of the patient in the frames of reference.
    fn take_structures(
        &mut self,
        archive: &ObjectsByUid,
        named: Option<&Token>,
        frames: &BTreeSet<&Token>,
    ) {
        let stored = self.case.dose.as_ref().and_then(|d| d.structure_set.as_ref());
        let by_reference = [named, stored].into_iter().flatten();
        if let Some(set) = by_reference.filter_map(|t| archive.structure_sets.get(t)).next() {
            self.case.structure_link = LinkMethod::Reference;
            self.case.structure_set = Some((*set).clone());
            return;
        }
        let from = self.origin();
        let candidates = archive.structure_sets_in(self.case.patient.as_ref(), frames);
        match candidates.as_slice() {
            [] => self.stop(Code::LinkMissing, &from, missing_structures(named)),
            [set] => {
                self.case.structure_link = LinkMethod::Frame;
                self.case.structure_set = Some((*set).clone());
                if let Some(text) = frame_sentence("structure set", named, LinkMethod::Frame) {
                    self.remark(Code::LinkByFrame, &from, text);
                }
            }
            several => self.stop(Code::LinkAmbiguous, &from, several_structures(several)),
        }
    }

    /// Origin of the object that stands for the case.
    fn origin(&self) -> Origin {
        let plan = self.case.plan.as_ref().map(|p| &p.origin);
        let dose = self.case.dose.as_ref().map(|d| &d.origin);
        plan.or(dose).cloned().unwrap_or_else(|| Origin {
            file: self.case.id.clone(),
            object: self.case.id.clone(),
            patient: self.case.patient.clone(),
            digest: String::new(),
            person: Person::default(),
        })
    }

    fn check(&mut self, inputs: DraftInputs<'_>) {
        self.check_patients();
        self.check_frames(inputs);
        if self.case.dose.is_none() {
            self.case.dose_source = DoseSource::default();
        }
    }

    /// Demands one patient in all objects; an object of another patient is taken out of the case.
    fn check_patients(&mut self) {
        let patient = self.case.patient.clone();
        let differs = |origin: &Origin| origin.patient != patient;
        let dose = self.case.dose.take_if(|d| differs(&d.origin)).map(|d| d.origin);
        let set = self.case.structure_set.take_if(|s| differs(&s.origin)).map(|s| s.origin);
        let word = |p: Option<&Token>| p.map_or("none", Token::as_str).to_owned();
        for (origin, what) in [(dose, "dose"), (set, "structure set")] {
            let Some(origin) = origin else { continue };
            let message = format!(
                "the {what} carries patient {}, the case patient {}; the same would be accepted",
                word(origin.patient.as_ref()),
                word(patient.as_ref())
            );
            self.stop(Code::LinkPatientMismatch, &origin, message);
        }
    }

    /// Brings structures and dose into one frame of reference, or refuses, and names the
    /// structures that stay in another.
    fn check_frames(&mut self, inputs: DraftInputs<'_>) {
        let (Some(dose), Some(set)) = (self.case.dose.clone(), self.case.structure_set.clone())
        else {
            return;
        };
        let joined = frames::join(&dose, &set, inputs.registrations);
        let mut refused = joined.refused;
        self.case.frames = FrameJoin { link: joined.link, motions: joined.motions };
        for (object, message) in joined.used {
            self.remark(Code::LinkByRegistration, object, message);
        }
        if self.shares_frame(&set) {
            self.name_foreign_rois(&set, &refused);
            return;
        }
        let plausible = frames::plausible(&dose, &set);
        if inputs.decisions.same_frame.contains(&self.case.id) {
            match &plausible {
                Ok(evidence) => {
                    self.case.frames = FrameJoin {
                        link: FrameLink::User,
                        motions: frames::all_alike(&dose, &set),
                    };
                    self.remark(Code::LinkByUser, &dose.origin, evidence.clone());
                    self.name_foreign_rois(&set, &refused);
                    return;
                }
                Err(_) => refused.push("the user's decision is not followed".to_owned()),
            }
        }
        self.case.frames = FrameJoin::default();
        let stated = dose.frame.as_ref().map_or("none", Token::as_str);
        let (Ok(evidence) | Err(evidence)) = plausible;
        refused.push(evidence);
        let message = format!(
            "frame of reference of the dose: {stated}, of the structures: {}; the same, or one \
             rigid registration between them, would be accepted. {}",
            list(structure_frames(&set)),
            refused.join("; ")
        );
        self.stop(Code::LinkFrameMismatch, &dose.origin, message);
    }

    /// Whether any structure lies in the frame of the dose by now.
    fn shares_frame(&self, set: &StructureSetHeader) -> bool {
        let empty = set.rois.is_empty()
            && set.frame.is_some()
            && set.frame == self.case.dose.as_ref().and_then(|d| d.frame.clone());
        empty || set.rois.iter().any(|r| self.case.in_dose_frame(r))
    }

    fn name_foreign_rois(&mut self, set: &StructureSetHeader, refused: &[String]) {
        for roi in set.rois.iter().filter(|r| !self.case.in_dose_frame(r)) {
            let mut about = subject(&set.origin, Some(&self.case.id));
            about.roi_number = Some(roi.number);
            let frame = roi.frame.as_ref().map_or("none", Token::as_str);
            let mut message = format!("its frame of reference ({frame}) is not that of the dose");
            if !refused.is_empty() {
                message.push_str(&format!("; {}", refused.join("; ")));
            }
            self.findings.push(Finding::new(Code::RoiFrameMismatch, about, message));
        }
    }
}

fn missing_structures(named: Option<&Token>) -> String {
    let named = named.map_or_else(
        || "no structure set is named".to_owned(),
        |token| format!("the structure set it refers to ({token}) is not in the archive"),
    );
    format!("{named}, and none of the same patient and frame of reference is there")
}

fn several_structures(sets: &[&StructureSetHeader]) -> String {
    format!(
        "{} structure sets of the same patient and frame of reference; one would be accepted: {}",
        sets.len(),
        list(sets.iter().map(|s| &s.origin.object))
    )
}
