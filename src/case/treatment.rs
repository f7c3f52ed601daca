//! Which part a plan had in the treatment, what the records say was delivered of it, and what is
//! questionable about either. Knows no other plan; versions are told apart where objects are joined.

use std::collections::{BTreeMap, BTreeSet};

use super::Case;
use tidydose_geometry::units::Day;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::{DoseSummation, DoseType, Plan, SessionBeam, TreatmentRecord};

/// Which part a plan had in the treatment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum PlanRole {
    /// It was treated, by the rule that the reason names.
    Treated,
    /// It may have been treated.
    Candidate,
    /// Another version took its place.
    Superseded,
    /// It verifies another plan or a machine.
    Qa,
    /// There is no plan.
    #[default]
    Unknown,
}

impl PlanRole {
    /// The word used in the tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Treated => "treated",
            Self::Candidate => "candidate",
            Self::Superseded => "superseded",
            Self::Qa => "qa",
            Self::Unknown => "unknown",
        }
    }
}

/// Where the number of delivered fractions came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DeliverySource {
    /// Records of the sessions.
    SessionRecords,
    /// A treatment summary.
    Summary,
}

impl DeliverySource {
    /// The word used in the tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::SessionRecords => "session_records",
            Self::Summary => "treatment_summary",
        }
    }
}

/// What was delivered of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delivery {
    /// Fractions delivered whole; absent when the records leave it open.
    pub fractions: Option<u32>,
    /// Fractions begun but not delivered whole.
    pub partial: u32,
    /// First day of treatment.
    pub first_day: Option<Day>,
    /// Last day of treatment so far.
    pub last_day: Option<Day>,
    /// Which records say so.
    pub source: DeliverySource,
}

/// Which part a plan had in the treatment, and what was delivered of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Treatment {
    /// The part.
    pub role: PlanRole,
    /// The rule by which it is known, in words.
    pub reason: String,
    /// What was delivered; absent without records.
    pub delivery: Option<Delivery>,
}

impl Treatment {
    /// Days from the first treatment to the last, both counted, where records state them.
    #[must_use]
    pub fn days(&self) -> Option<u32> {
        let delivery = self.delivery.as_ref()?;
        let nights = delivery.last_day?.0 - delivery.first_day?.0;
        u32::try_from(nights).ok().map(|nights| nights + 1)
    }
}

/// A beam counts as delivered whole from this share of its meterset on: records round it.
const WHOLE: f64 = 0.99;

/// What the records say was delivered of a plan; nothing without records. Session records beat a
/// summary, which may be older than the last session.
pub(super) fn delivery(plan: &Plan, records: &[&TreatmentRecord]) -> Option<Delivery> {
    let sessions: Vec<&TreatmentRecord> =
        records.iter().copied().filter(|r| r.summary.is_none()).collect();
    if !sessions.is_empty() {
        return Some(of_sessions(plan, &sessions));
    }
    let summaries = records.iter().filter_map(|r| r.summary);
    let latest = summaries.max_by_key(|s| (s.last_day, s.fractions))?;
    Some(Delivery {
        fractions: latest.fractions,
        partial: 0,
        first_day: latest.first_day,
        last_day: latest.last_day,
        source: DeliverySource::Summary,
    })
}

/// What tells fractions apart: their number, else the day.
type FractionKey = (Option<i64>, Option<Day>);

fn of_sessions(plan: &Plan, sessions: &[&TreatmentRecord]) -> Delivery {
    let mut fractions: BTreeMap<FractionKey, Vec<&SessionBeam>> = BTreeMap::new();
    let mut days = BTreeSet::new();
    for session in sessions {
        let beams = session.beams.iter().filter(|b| b.treats && b.delivered != Some(0.0));
        for beam in beams {
            let day = session.day.filter(|_| beam.fraction.is_none());
            fractions.entry((beam.fraction, day)).or_default().push(beam);
            days.extend(session.day);
        }
    }
    let open = fractions.keys().any(|key| *key == (None, None));
    let whole = fractions.values().filter(|beams| is_whole(plan, beams)).count();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Delivery {
        fractions: (!open).then_some(count(whole)),
        partial: count(fractions.len() - whole),
        first_day: days.first().copied(),
        last_day: days.last().copied(),
        source: DeliverySource::SessionRecords,
    }
}

/// Whether every treatment beam of one fraction group was delivered whole, in one go or in several.
fn is_whole(plan: &Plan, beams: &[&SessionBeam]) -> bool {
    let delivered = |number: i64| {
        let mut own = beams.iter().filter(|b| b.beam == Some(number)).peekable();
        own.peek().is_some() && beam_is_whole(&own.copied().collect::<Vec<_>>())
    };
    let treats = |number: i64| {
        plan.beams.iter().find(|b| b.number == number).is_none_or(super::technology::is_treatment)
    };
    let groups = plan.fraction_groups.iter().map(|group| {
        group.beams.iter().map(|b| b.beam_number).filter(|n| treats(*n)).collect::<Vec<_>>()
    });
    let stated: Vec<Vec<i64>> = groups.filter(|group| !group.is_empty()).collect();
    if stated.is_empty() || beams.iter().all(|b| b.beam.is_none()) {
        return beam_is_whole(beams);
    }
    stated.iter().any(|group| group.iter().all(|number| delivered(*number)))
}

/// Whether what was delivered of one beam adds up to what was to be delivered.
fn beam_is_whole(parts: &[&SessionBeam]) -> bool {
    let delivered: Option<f64> = parts.iter().map(|p| p.delivered).sum();
    let specified = parts.iter().filter_map(|p| p.specified).reduce(f64::max);
    match delivered.zip(specified) {
        Some((delivered, specified)) => delivered >= WHOLE * specified,
        None => parts.iter().all(|p| p.ended_normally),
    }
}

/// What is questionable about the plan, its delivery and its dose, once prescriptions are known.
pub(super) fn review(case: &Case) -> Vec<Finding> {
    let about = |object: Option<&tidydose_rt::identity::Token>| Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        object: object.cloned(),
        ..Subject::default()
    };
    let mut findings = Vec::new();
    if case.left_out.is_some() {
        return findings;
    }
    if let Some(plan) = &case.plan {
        let subject = || about(Some(&plan.origin.object));
        let mut note = |code, text: String| findings.push(Finding::new(code, subject(), text));
        match plan.approval.as_deref().map(str::trim) {
            Some("APPROVED") => {}
            None | Some("") => note(Code::PlanUnapproved, "no Approval Status is stated".into()),
            Some(other) => note(Code::PlanUnapproved, format!("Approval Status is {other}")),
        }
        match plan.fractions() {
            None => {
                let text = "Number of Fractions Planned is empty in a fraction group, or there is \
                            none";
                note(Code::PlanFractionsMissing, text.into());
            }
            Some(planned) => {
                if let Some(text) = delivery_differs(case, planned) {
                    note(Code::RecordDiffers, text);
                }
            }
        }
        if let Some(text) = dates_disordered(case, plan) {
            note(Code::DatesDisordered, text);
        }
        if let Some(partial) = case.treatment.delivery.map(|d| d.partial).filter(|n| *n > 0) {
            note(Code::RecordPartial, format!("{partial} fractions not delivered whole"));
        }
    }
    if let Some(dose) = &case.dose {
        let subject = || about(Some(&dose.origin.object));
        if dose.kind == DoseType::Effective {
            let text = "Dose Type of the measured dose is EFFECTIVE";
            findings.push(Finding::new(Code::DoseEffective, subject(), text));
        }
        if let Some(text) = like_one_fraction(case) {
            findings.push(Finding::new(Code::DoseLikeOneFraction, subject(), text));
        }
    }
    findings
}

/// What of images, structures, plan and treatment is dated in the wrong order; nothing where dates
/// are missing. The days between them are the same for shifted dates.
fn dates_disordered(case: &Case, plan: &Plan) -> Option<String> {
    let planned = plan.day;
    let imaged = case.structure_set.as_ref().and_then(|s| s.imaged);
    let drawn = case.structure_set.as_ref().and_then(|s| s.day);
    let treated = case.treatment.delivery.and_then(|d| d.first_day);
    let later = |later: Option<Day>, than: Option<Day>, what: &str| {
        let days = later?.0 - than?.0;
        (days > 0).then(|| format!("{what} by {days} d"))
    };
    let texts = [
        later(imaged, drawn, "the images are dated after Structure Set Date"),
        later(drawn, planned, "Structure Set Date is after RT Plan Date"),
        later(planned, treated, "RT Plan Date is after the first treatment"),
    ];
    let texts: Vec<String> = texts.into_iter().flatten().collect();
    (!texts.is_empty()).then(|| texts.join("; "))
}

fn delivery_differs(case: &Case, planned: u32) -> Option<String> {
    let delivered = case.treatment.delivery?.fractions.filter(|n| *n != planned)?;
    Some(format!("{planned} fractions planned, {delivered} delivered"))
}

/// A dose of the whole plan reaches its prescription somewhere; radiosurgery prescribes to 40 % of
/// the largest dose or more. One that does neither as it is, but both when multiplied by the
/// fractions, is suspect.
fn like_one_fraction(case: &Case) -> Option<String> {
    let dose = case.dose.as_ref().filter(|d| d.summation == DoseSummation::Plan)?;
    let maximum = dose.maximum.filter(|_| case.dose_source.parts.is_empty())?;
    let fractions = case.plan.as_ref()?.fractions().filter(|n| *n > 1)?;
    let lowest = case.prescriptions.iter().map(|p| p.dose.value()).reduce(f64::min)?;
    let all = maximum * f64::from(fractions);
    (maximum < lowest && (lowest..=2.5 * lowest).contains(&all)).then(|| {
        format!(
            "the largest dose is {maximum:.3} Gy, the lowest prescription {lowest} Gy; times \
             {fractions} fractions it would be {all:.3} Gy"
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{beam, plan, token};
    use tidydose_rt::{BeamShare, FractionGroup, Origin, Person, Summary};

    fn two_beams() -> Plan {
        let mut p = plan("p", "s");
        let share = |beam_number| BeamShare { beam_number, dose: None, meterset: None };
        p.fraction_groups = vec![FractionGroup {
            number: 1,
            fractions: Some(2),
            beams: vec![share(1), share(2), share(9)],
        }];
        p.beams = [1, 2, 9].map(|n| beam(n, "STATIC", "MU")).to_vec();
        p.beams[2].delivery_type = Some("SETUP".into());
        p
    }

    fn session(day: i64, beams: &[(i64, i64, f64)]) -> TreatmentRecord {
        let beam = |(fraction, beam, delivered): &(i64, i64, f64)| SessionBeam {
            beam: Some(*beam),
            fraction: Some(*fraction),
            treats: true,
            ended_normally: *delivered >= 100.0,
            specified: Some(100.0),
            delivered: Some(*delivered),
        };
        TreatmentRecord {
            origin: Origin {
                file: token("f"),
                object: token("r"),
                patient: None,
                digest: String::new(),
                person: Person::default(),
            },
            plans: vec![token("p")],
            day: Some(Day(day)),
            beams: beams.iter().map(beam).collect(),
            summary: None,
        }
    }

    fn of(records: &[TreatmentRecord]) -> Delivery {
        delivery(&two_beams(), &records.iter().collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn a_fraction_counts_when_all_its_beams_are_whole() {
        let all = of(&[
            session(10, &[(1, 1, 100.0), (1, 2, 99.6)]),
            session(12, &[(2, 1, 100.0), (2, 2, 100.0)]),
        ]);
        assert_eq!((all.fractions, all.partial), (Some(2), 0));
        assert_eq!((all.first_day, all.last_day), (Some(Day(10)), Some(Day(12))));
        let missing = of(&[session(10, &[(1, 1, 100.0)])]);
        assert_eq!((missing.fractions, missing.partial), (Some(0), 1));
        let stopped = of(&[session(10, &[(1, 1, 100.0), (1, 2, 40.0)])]);
        assert_eq!((stopped.fractions, stopped.partial), (Some(0), 1));
    }

    #[test]
    fn what_was_stopped_and_continued_adds_up() {
        let parts = [session(10, &[(1, 1, 100.0), (1, 2, 40.0)]), session(11, &[(1, 2, 60.0)])];
        assert_eq!((of(&parts).fractions, of(&parts).last_day), (Some(1), Some(Day(11))));
    }

    #[test]
    fn a_summary_stands_where_there_are_no_sessions() {
        let mut summary = session(9, &[]);
        summary.beams.clear();
        let stated =
            Summary { first_day: Some(Day(3)), last_day: Some(Day(7)), fractions: Some(3) };
        summary.summary = Some(stated);
        let alone = of(&[summary.clone()]);
        assert_eq!((alone.fractions, alone.source), (Some(3), DeliverySource::Summary));
        let both = of(&[summary, session(10, &[(1, 1, 100.0), (1, 2, 100.0)])]);
        assert_eq!((both.fractions, both.source), (Some(1), DeliverySource::SessionRecords));
    }
}
