//! Which part a plan had in the treatment, what the records say was delivered of it, and what is
//! questionable about either. Knows no other plan; versions are told apart where objects are joined.

use std::collections::{BTreeMap, BTreeSet};

use strum::{IntoStaticStr, VariantNames};

use super::Case;
use super::role::{PlanRole, RoleReason, Standing};
use tidydose_geometry::units::Day;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::{DoseSummation, DoseType, Plan, SessionBeam, Summary, TreatmentRecord};

/// Where the number of delivered fractions came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum DeliverySource {
    /// Records of the sessions.
    SessionRecords,
    /// A treatment summary.
    #[strum(serialize = "treatment_summary")]
    Summary,
}

impl DeliverySource {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
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

impl Delivery {
    /// Whether anything was delivered. A summary without a number of fractions tells of a treatment
    /// when it has a day of one.
    #[must_use]
    pub fn is_something(&self) -> bool {
        match self.fractions {
            Some(0) => self.partial > 0,
            Some(_) => true,
            // Sessions leave the number open only where there were beams that cannot be told apart.
            None => {
                let dated = self.first_day.is_some() || self.last_day.is_some();
                dated || self.source == DeliverySource::SessionRecords
            }
        }
    }
}

/// Which part a plan had in the treatment, and what was delivered of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Treatment {
    /// The rule by which its part is known.
    pub reason: RoleReason,
    /// What was delivered; absent without records.
    pub delivery: Option<Delivery>,
    /// Whether another plan of the patient is known to have been treated.
    pub other_treated: bool,
    /// Whether only the user can tell: `choices.csv` has the question.
    pub asked: bool,
}

impl Treatment {
    /// The part of the plan.
    #[must_use]
    pub const fn role(&self) -> PlanRole {
        self.reason.role()
    }

    /// Whether the plan counts in a study as far as its part goes.
    #[must_use]
    pub const fn standing(&self) -> Standing {
        Standing::of(self.role(), self.other_treated)
    }

    /// Whether records tell that something was delivered.
    #[must_use]
    pub fn was_delivered(&self) -> bool {
        self.delivery.is_some_and(|d| d.is_something())
    }

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
/// summary, which may be older than the last session; records of set-up beams alone, or of nothing
/// delivered, beat nothing.
pub(super) fn delivery(plan: &Plan, records: &[&TreatmentRecord]) -> Option<Delivery> {
    if records.is_empty() {
        return None;
    }
    let sessions = telling(records);
    if let (true, Some(latest)) = (sessions.is_empty(), latest_summary(records)) {
        return Some(Delivery {
            fractions: latest.fractions,
            partial: 0,
            first_day: latest.first_day,
            last_day: latest.last_day,
            source: DeliverySource::Summary,
        });
    }
    Some(of_sessions(plan, &sessions))
}

/// The session records that tell of a treatment beam of which something was delivered.
fn telling<'r>(records: &[&'r TreatmentRecord]) -> Vec<&'r TreatmentRecord> {
    let tells = |r: &&TreatmentRecord| r.summary.is_none() && r.beams.iter().any(is_delivered);
    records.iter().copied().filter(tells).collect()
}

/// Whether a beam treats and was not ended before anything was delivered.
fn is_delivered(beam: &SessionBeam) -> bool {
    beam.treats && beam.delivered != Some(0.0)
}

fn latest_summary(records: &[&TreatmentRecord]) -> Option<Summary> {
    let summaries = records.iter().filter_map(|r| r.summary);
    summaries.max_by_key(|s| (s.last_day, s.fractions))
}

/// In what session records and the latest summary of a plan contradict each other; nothing where
/// one of them is missing. A summary of fewer fractions that ends before the last session is only
/// older.
pub(super) fn contradiction(plan: &Plan, records: &[&TreatmentRecord]) -> Option<String> {
    let sessions = telling(records);
    let summary = latest_summary(records).filter(|_| !sessions.is_empty())?;
    let told = of_sessions(plan, &sessions);
    let older = summary.last_day.zip(told.last_day).is_some_and(|(a, b)| a < b);
    let mut texts = Vec::new();
    if let (Some(whole), Some(stated)) = (told.fractions, summary.fractions) {
        let fits = (whole..=whole + told.partial).contains(&stated);
        if !(fits || older && stated < whole) {
            texts.push(format!("{whole} whole fractions, the treatment summary {stated}"));
        }
    }
    let apart = |a: Option<Day>, b: Option<Day>| a.zip(b).map(|(a, b)| a.0 - b.0);
    if let Some(days) = apart(summary.first_day, told.first_day).filter(|d| *d != 0) {
        texts.push(format!("a first day that differs by {} d from the summary's", days.abs()));
    }
    if let Some(days) = apart(summary.last_day, told.last_day).filter(|d| *d > 0) {
        texts.push(format!("a last day {days} d before the summary's"));
    }
    (!texts.is_empty()).then(|| {
        format!(
            "session records tell of {}; the session records are followed, one of them may be \
             missing",
            texts.join(", and of ")
        )
    })
}

/// What tells fractions apart: their number, else the day.
type FractionKey = (Option<i64>, Option<Day>);

fn of_sessions(plan: &Plan, sessions: &[&TreatmentRecord]) -> Delivery {
    let mut fractions: BTreeMap<FractionKey, Vec<&SessionBeam>> = BTreeMap::new();
    let mut days = BTreeSet::new();
    for session in sessions {
        for beam in session.beams.iter().filter(|b| is_delivered(b)) {
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
        if let Some((code, text)) = unproven(case, plan) {
            note(code, text);
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

/// That nothing tells whether the plan was treated, and whether it counts all the same.
fn unproven(case: &Case, plan: &Plan) -> Option<(Code, String)> {
    let approval = plan.approval.as_deref().map(str::trim).filter(|a| !a.is_empty());
    let stated = approval.map_or_else(
        || "no Approval Status is stated".to_owned(),
        |word| format!("Approval Status is {word}"),
    );
    match case.treatment.standing() {
        Standing::Presumed => {
            let text = format!(
                "{stated}, no treatment record names the plan and no other plan of the patient is \
                 known to have been treated: it counts unless choices.csv says no"
            );
            Some((Code::PlanUnapproved, text))
        }
        Standing::Undecided => {
            let text = format!(
                "{stated}, no treatment record names the plan, and another plan of the patient is \
                 known to have been treated: it does not count unless choices.csv says yes"
            );
            Some((Code::PlanUndecided, text))
        }
        Standing::Counts | Standing::Aside => None,
    }
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
