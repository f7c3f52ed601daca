//! Under which name the results of a case are kept: two digests of all that they follow from. The
//! first is of what is measured: the contents of the case's objects, interpolation and ends, and the
//! version of the numbers. The second is of what was decided about it and of the settings that say
//! what is asked for. Parts of one first digest share what was measured. Where the files lie and how
//! they are called has no part in either.
//!
//! Every struct is taken apart by name, so that a new field does not compile until somebody has
//! decided in which digest it has its place, or in none.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use tidydose_analyse::{self as analyse, NUMBERS};
use tidydose_case::{
    Case, Delivery, DosePart, DoseSource, FollowUp, FrameJoin, GivenDose, NamedRoi, Prescription,
    TreatedTarget, Treatment,
};
use tidydose_metrics::Metric;
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::{DoseHeader, Origin, RoiHeader};
use tidydose_table as table;

/// 128 bits for each digest: as good as never the same for two.
const DIGITS: usize = 32;

/// The key of a case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PartKey(String);

impl PartKey {
    /// As a file is called.
    pub(super) fn text(&self) -> &str {
        &self.0
    }

    /// The same.
    pub(super) fn into_text(self) -> String {
        self.0
    }

    /// What the keys of all decisions about the same files begin with.
    pub(super) fn inputs(&self) -> &str {
        self.0.get(..=DIGITS).unwrap_or(&self.0)
    }
}

/// A text of named values, and its digest.
struct Text(String);

impl Text {
    fn add(&mut self, name: &str, value: impl std::fmt::Debug) {
        // Writing into a text does not fail.
        let _ = writeln!(self.0, "{name} {value:?}");
    }

    fn digits(&self) -> String {
        let mut digits = hexadecimal(&Sha256::digest(&self.0));
        digits.truncate(DIGITS);
        digits
    }
}

/// What the keys of one run have in common.
#[derive(Debug, Clone)]
pub(super) struct PartKeys {
    measured: String,
    asked: String,
}

impl PartKeys {
    /// For the settings of the run.
    pub(super) fn new(settings: &analyse::Settings) -> Self {
        Self::of_version(NUMBERS, settings)
    }

    fn of_version(numbers: u32, settings: &analyse::Settings) -> Self {
        let analyse::Settings {
            interpolation,
            ends,
            outlines,
            metrics,
            limits,
            regions,
            alpha_beta,
            target_inside_from,
            uncertain_from,
            shifts_mm,
            margins_mm,
            registration_mm,
        } = settings;
        let mut measured = Text(String::new());
        measured.add("numbers", numbers);
        measured.add("interpolation", interpolation.word());
        measured.add("ends", ends.word());
        measured.add("outlines", outlines.word());
        let mut asked = Text(String::new());
        asked.add("metrics", metrics.iter().map(Metric::to_string).collect::<Vec<_>>());
        asked.add("limits", table::user::limits::digest(limits));
        asked.add("regions", regions);
        asked.add("alpha_beta", alpha_beta);
        asked.add("target_inside_from", target_inside_from);
        asked.add("uncertain_from", uncertain_from);
        // Without either, parts of runs that moved nothing keep their names.
        for (name, lengths) in [("shifts_mm", shifts_mm), ("margins_mm", margins_mm)] {
            if !lengths.is_empty() {
                asked.add(name, lengths);
            }
        }
        if let Some(mm) = registration_mm {
            asked.add("registration_mm", mm);
        }
        Self { measured: measured.0, asked: asked.0 }
    }

    /// The key of a case as it was joined and named, before it is measured.
    pub(super) fn of(&self, case: &Case) -> PartKey {
        let (mut inputs, mut decisions) = (Text(self.measured.clone()), Text(self.asked.clone()));
        add_case(case, &mut inputs, &mut decisions);
        PartKey(format!("{}-{}", inputs.digits(), decisions.digits()))
    }
}

fn add_case(case: &Case, inputs: &mut Text, decisions: &mut Text) {
    let Case {
        id,
        patient,
        plan,
        structure_set,
        dose,
        dose_source,
        frames,
        treatment,
        follow_up,
        // How things were joined and what they are called in other tables.
        doses_seen: _,
        dose_link: _,
        structure_link: _,
        technology: _,
        technology_basis: _,
        names,
        prescriptions,
        left_out,
    } = case;
    inputs.add("case", (id.as_str(), patient));
    inputs.add("plan", plan.as_ref().map(|p| of_origin(&p.origin)));
    inputs.add("structure set", structure_set.as_ref().map(|s| of_origin(&s.origin)));
    for roi in structure_set.iter().flat_map(|s| &s.rois) {
        add_roi(roi, inputs);
    }
    inputs.add("dose", dose.as_ref().map(of_dose));
    add_dose_source(dose_source, inputs);
    let FrameJoin { link: _, motions } = frames;
    inputs.add("motions", motions);
    // Which plan was treated, and who counts, has no part in the numbers of a case.
    let Treatment { reason: _, delivery, other_treated: _, asked: _ } = treatment;
    decisions.add("delivered", delivery.as_ref().map(of_delivery));
    if let Some(given) =
        follow_up.as_ref().and_then(|FollowUp { day: _, day_source: _, given }| given.as_ref())
    {
        add_given(given, inputs, decisions);
    }
    for NamedRoi { number, original, standard, role, basis } in names {
        decisions.add("name", (number, original, standard, role.word(), basis.word()));
    }
    for Prescription { roi_number, dose, basis } in prescriptions {
        decisions.add("prescription", (roi_number, dose.value(), basis.word()));
    }
    decisions.add("left out", left_out.as_ref().map(|(code, why)| (code.definition().id, why)));
}

/// The plan whose targets distances are taken from. Where a target lies follows from the content of
/// its structure set; which structures are targets, and which dose is prescribed, is decided.
fn add_given(given: &GivenDose, inputs: &mut Text, decisions: &mut Text) {
    let GivenDose { plan, structures_digest, registration_day: _, fractions: _, targets } = given;
    inputs.add("given", (plan.as_str(), structures_digest));
    for TreatedTarget { roi_number, middle_mm: _, prescription: _ } in targets {
        decisions.add("treated target", roi_number);
    }
}

/// All else that an object says follows from its content.
fn of_origin(origin: &Origin) -> (&str, &str) {
    let Origin { file: _, object, patient: _, digest, person: _ } = origin;
    (object.as_str(), digest)
}

fn of_dose(dose: &DoseHeader) -> ((&str, &str), Option<&str>) {
    (of_origin(&dose.origin), dose.frame.as_ref().map(|f| f.as_str()))
}

/// What the scan adds to a structure from other objects; the rest is in the content of its file.
fn add_roi(roi: &RoiHeader, inputs: &mut Text) {
    let RoiHeader {
        number,
        name: _,
        interpreted_type: _,
        generation_algorithm: _,
        frame,
        stated_volume: _,
        plane_spacing,
        image_planes,
        planes_complete,
        contours: _,
    } = roi;
    inputs.add("roi", (number, frame, plane_spacing, image_planes, planes_complete));
}

fn add_dose_source(source: &DoseSource, inputs: &mut Text) {
    let DoseSource { parts, local, words: _ } = source;
    for DosePart { dose, factor } in parts {
        inputs.add("part of dose", (of_dose(dose), factor));
    }
    for dose in local {
        inputs.add("further grid", of_dose(dose));
    }
}

fn of_delivery(delivery: &Delivery) -> (Option<u32>, u32, [Option<i64>; 2], &'static str) {
    let Delivery { fractions, partial, first_day, last_day, source } = delivery;
    (*fractions, *partial, [first_day, last_day].map(|d| d.map(|d| d.0)), source.word())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_case::{NameBasis, PrescriptionBasis, RoleReason};
    use tidydose_geometry::units::Gray;
    use tidydose_rt::identity::Token;

    fn keys() -> PartKeys {
        PartKeys::new(&analyse::Settings::default())
    }

    #[test]
    fn a_key_has_two_parts_and_where_files_lie_has_none_in_it() {
        let case = case_of(&["GTV", "Brainstem"]);
        let key = keys().of(&case);
        assert_eq!((key.text().len(), key.inputs().len()), (2 * DIGITS + 1, DIGITS + 1));
        assert!(key.text().starts_with(key.inputs()));
        let mut renamed = case.clone();
        for origin in renamed.structure_set.iter_mut().map(|s| &mut s.origin) {
            origin.file = Token::new("elsewhere");
        }
        assert_eq!(keys().of(&renamed), key);
        let mut treated = case;
        treated.treatment.reason = RoleReason::UserYes;
        treated.treatment.other_treated = true;
        assert_eq!(keys().of(&treated), key, "what was treated costs no measurement");
    }

    #[test]
    fn a_decision_leaves_what_was_measured() {
        let case = case_of(&["GTV", "Brainstem"]);
        let key = keys().of(&case);
        let same_inputs = |other: &Case| {
            let other = keys().of(other);
            assert_ne!(other, key);
            other.inputs() == key.inputs()
        };
        let mut named = case.clone();
        named.names[1].basis = NameBasis::User;
        assert!(same_inputs(&named));
        let mut prescribed = case.clone();
        let (dose, basis) = (Gray::gy(21.0), PrescriptionBasis::User);
        prescribed.prescriptions.push(Prescription { roi_number: 1, dose, basis });
        assert!(same_inputs(&prescribed));
        let mut other = case.clone();
        for origin in other.structure_set.iter_mut().map(|s| &mut s.origin) {
            origin.digest = "changed".to_owned();
        }
        assert!(!same_inputs(&other), "another content");
        let mut spaced = case;
        for roi in spaced.structure_set.iter_mut().flat_map(|s| &mut s.rois) {
            roi.planes_complete = true;
        }
        assert!(!same_inputs(&spaced), "planes that other objects tell of");
    }

    #[test]
    fn what_is_asked_for_is_no_input_and_how_it_is_measured_is() {
        let case = case_of(&["GTV"]);
        let settings = analyse::Settings::default();
        let key = PartKeys::new(&settings).of(&case);
        let moved = analyse::Settings { shifts_mm: vec![1.0], ..settings.clone() };
        let grown = analyse::Settings { margins_mm: vec![1.0], ..settings.clone() };
        let [plain, moved, grown] =
            [&settings, &moved, &grown].map(|s| PartKeys::new(s).of(&case).into_text());
        assert!(plain != moved && plain != grown && moved != grown);
        let joined = analyse::Settings { registration_mm: Some(1.0), ..settings.clone() };
        assert_ne!(PartKeys::new(&joined).of(&case), key);
        let less = analyse::Settings { regions: false, ..settings.clone() };
        let less = PartKeys::new(&less).of(&case);
        assert!(less != key && less.inputs() == key.inputs());
        let ends = analyse::Settings { ends: analyse::Ends::HalfSlice, ..settings.clone() };
        assert_ne!(PartKeys::new(&ends).of(&case).inputs(), key.inputs());
        let outlines = analyse::Outlines::AsDrawn;
        let drawn = analyse::Settings { outlines, ..settings.clone() };
        assert_ne!(PartKeys::new(&drawn).of(&case).inputs(), key.inputs());
        let next = PartKeys::of_version(NUMBERS + 1, &settings).of(&case);
        assert_ne!(next.inputs(), key.inputs(), "another version of the numbers");
    }
}
