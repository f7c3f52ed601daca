//! How structures come into the frame of reference of the dose: they state the same one, or one
//! rigid Spatial Registration (DICOM PS3.3 C.20.2) of the patient joins the two. Registrations are
//! not chained. Where identifiers say nothing, plain geometry tells what the user may decide.

use std::collections::{BTreeMap, BTreeSet};

use super::archive::structure_frames;
use super::subject;
use crate::FrameLink;
use tidydose_geometry::point::midpoint;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseHeader, Origin, Registration, Rigid, StructureSetHeader};

/// Two registrations that put no point of a head further apart than this say the same, mm.
const SAME_MOTION_MM: f64 = 0.01;

/// What the identifiers and registrations yield.
pub(super) struct Joined<'a> {
    /// The way that was taken.
    pub(super) link: FrameLink,
    /// Motion into the frame of the dose, by frame of the structures.
    pub(super) motions: BTreeMap<Token, Rigid>,
    /// The registrations that are followed, with a sentence.
    pub(super) used: Vec<(&'a Origin, String)>,
    /// Why others are not.
    pub(super) refused: Vec<String>,
}

/// Finds the motions of all frames in which there are structures.
pub(super) fn join<'a>(
    dose: &DoseHeader,
    set: &StructureSetHeader,
    registrations: &'a [Registration],
) -> Joined<'a> {
    let mut joined = Joined {
        link: FrameLink::None,
        motions: BTreeMap::new(),
        used: Vec::new(),
        refused: Vec::new(),
    };
    let Some(into) = &dose.frame else { return joined };
    let own: Vec<&Registration> = registrations
        .iter()
        .filter(|r| r.origin.patient.is_some() && r.origin.patient == dose.origin.patient)
        .collect();
    for frame in structure_frames(set) {
        if frame == into {
            joined.link = joined.link.min(FrameLink::Same);
            continue;
        }
        match motion(frame, into, &own) {
            None => {}
            Some(Ok((registration, motion))) => {
                let shift = motion.distance_mm(&Rigid::IDENTITY);
                let text = format!(
                    "structures of frame {frame} are moved into that of the dose; within a cube \
                     of 200 mm by up to {shift:.3} mm"
                );
                joined.used.push((&registration.origin, text));
                joined.motions.insert(frame.clone(), motion);
            }
            Some(Err(reason)) => joined.refused.push(reason),
        }
    }
    if !joined.motions.is_empty() {
        joined.link = FrameLink::Registration;
    }
    joined
}

type StatedMotion<'a> = Result<(&'a Registration, Rigid), String>;

/// The motion of points from the first frame into the second: none at all within one frame, else
/// what the patient's registrations state; absent where none speaks of both frames.
///
/// # Errors
/// Which registrations are not used and why: they are not rigid, or contradict each other.
#[must_use]
pub fn registered_motion(
    patient: &Token,
    [from, into]: [&Token; 2],
    registrations: &[Registration],
) -> Option<Result<Rigid, String>> {
    if from == into {
        return Some(Ok(Rigid::IDENTITY));
    }
    let own = registrations.iter().filter(|r| r.origin.patient.as_ref() == Some(patient));
    let own: Vec<&Registration> = own.collect();
    motion(from, into, &own).map(|found| found.map(|(_, motion)| motion))
}

/// A finding for each registration that is not used, whether or not a case needs it: sums and
/// lesions of later courses may.
pub(super) fn refused(registrations: &[Registration]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut say = |registration: &Registration, text: String| {
        let about = subject(&registration.origin, None);
        findings.push(Finding::new(Code::RegistrationRefused, about, text));
    };
    for registration in registrations {
        if registration.origin.patient.is_none() {
            say(registration, "it carries no Patient ID, so it joins nothing".to_owned());
        }
        let into = &registration.frame;
        for item in &registration.items {
            if let Err(reason) = &item.motion {
                say(registration, format!("from frame {} into {into}: {reason}", item.frame));
            }
        }
        let mut seen = BTreeSet::new();
        for frame in registration.items.iter().map(|i| &i.frame).filter(|f| !seen.insert(*f)) {
            say(registration, format!("it registers frame {frame} twice"));
        }
    }
    for (one, other, text) in contradictions(registrations) {
        say(one, format!("it contradicts registration {}: {text}", other.origin.object));
        say(other, format!("it contradicts registration {}: {text}", one.origin.object));
    }
    findings
}

/// Pairs of registrations of one patient that state different motions between the same frames.
fn contradictions(all: &[Registration]) -> Vec<(&Registration, &Registration, String)> {
    let mut pairs = Vec::new();
    for (i, one) in all.iter().enumerate() {
        let of_patient = all.iter().skip(i + 1).filter(|other| {
            one.origin.patient.is_some()
                && one.origin.patient == other.origin.patient
                && one.origin.object != other.origin.object
        });
        for other in of_patient {
            let frames: BTreeSet<&Token> =
                one.items.iter().map(|i| &i.frame).chain([&one.frame]).collect();
            let frames: Vec<&Token> = frames.into_iter().collect();
            for (k, from) in frames.iter().enumerate() {
                for into in frames.iter().skip(k + 1) {
                    let motions = [one, other].map(|r| r.between(from, into)?.ok());
                    let [Some(a), Some(b)] = motions else { continue };
                    let apart = a.distance_mm(&b);
                    if apart > SAME_MOTION_MM {
                        let text = format!(
                            "between frames {from} and {into} they differ by up to {apart:.2} mm \
                             within a cube of 200 mm"
                        );
                        pairs.push((one, other, text));
                    }
                }
            }
        }
    }
    pairs
}

/// The motion between two frames, if registrations speak of them at all.
fn motion<'a>(from: &Token, into: &Token, all: &[&'a Registration]) -> Option<StatedMotion<'a>> {
    let mut usable: Vec<(&Registration, Rigid)> = Vec::new();
    let mut reasons = Vec::new();
    for registration in all {
        match registration.between(from, into) {
            None => {}
            Some(Ok(motion)) => usable.push((registration, motion)),
            Some(Err(reason)) => reasons
                .push(format!("registration {} is not used: {reason}", registration.origin.object)),
        }
    }
    let Some((first, motion)) = usable.first().copied() else {
        return (!reasons.is_empty()).then(|| Err(reasons.join("; ")));
    };
    let agree = usable.iter().all(|(_, other)| other.distance_mm(&motion) <= SAME_MOTION_MM);
    if agree {
        return Some(Ok((first, motion)));
    }
    let names = super::list(usable.iter().map(|(r, _)| &r.origin.object));
    Some(Err(format!("registrations contradict each other ({names}); one would be accepted")))
}

/// No motion for every frame of the structures that is not that of the dose.
pub(super) fn all_alike(dose: &DoseHeader, set: &StructureSetHeader) -> BTreeMap<Token, Rigid> {
    let frames: BTreeSet<&Token> = structure_frames(set);
    let others = frames.into_iter().filter(|f| Some(*f) != dose.frame.as_ref());
    others.map(|frame| (frame.clone(), Rigid::IDENTITY)).collect()
}

/// Whether the coordinates alone allow structures and dose to lie in one frame: the hottest voxel
/// lies within the box around all structures (around the outline of the patient, where there is
/// one) and at least half of the structures lie with their middle inside the dose grid. The
/// sentence gives what was measured, whichever way it goes.
pub(super) fn plausible(dose: &DoseHeader, set: &StructureSetHeader) -> Result<String, String> {
    let Some((grid, hottest)) = dose.grid.as_ref().zip(dose.hottest) else {
        return Err("the dose has no voxel grid to compare with".to_owned());
    };
    if set.frame.is_none() && set.rois.iter().any(|r| r.frame.is_none()) || dose.frame.is_none() {
        return Err("an object names no frame of reference at all".to_owned());
    }
    let outline = set.rois.iter().find(|r| r.interpreted_type.as_deref() == Some("EXTERNAL"));
    let outline = outline.and_then(|r| set.extents.get(&r.number));
    let around = set.extents.values().copied().reduce(|[low, high], [l, h]| {
        [0, 1].map(|end| {
            [0, 1, 2].map(|a| if end == 0 { low[a].min(l[a]) } else { high[a].max(h[a]) })
        })
    });
    let Some(around) = outline.copied().or(around) else {
        return Err("the structures have no contours to compare with".to_owned());
    };
    let inside = |p: [f64; 3], [low, high]: [[f64; 3]; 2]| {
        (0..3).all(|a| (low[a]..=high[a]).contains(&p[a]))
    };
    let held = set.extents.values().filter(|[low, high]| grid.contains(midpoint(*low, *high)));
    let (held, all) = (held.count(), set.extents.len());
    let hot = if inside(hottest, around) { "inside" } else { "outside" };
    let what = if outline.is_some() { "the outline of the patient" } else { "all structures" };
    let evidence = format!(
        "by coordinates, {held} of {all} structures have their middle inside the dose grid and \
         the hottest voxel lies {hot} the box around {what}"
    );
    if hot == "inside" && 2 * held >= all { Ok(evidence) } else { Err(evidence) }
}
