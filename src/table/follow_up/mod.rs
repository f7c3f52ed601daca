//! What the tables of the time after a treatment are made from: every lesion at every time at which
//! it was drawn, with the treated lesion that the user says it is. Nothing is taken from a proposal.
//! The criteria are in `tidydose_metrics::follow_up`; here they meet lesions and days.

mod lesion_times;
mod new_lesions;
mod proposed_outcomes;
mod recurrences;
mod responses;

use std::collections::{BTreeMap, BTreeSet};

use super::column;
use super::lesions::{self, LesionEntry};
use super::study::{Measured, Study};
use tidydose_analyse::{Analysis, Lesion, Measurement, StructureResult};
use tidydose_case::Case;
use tidydose_metrics::follow_up::Bounded;
use tidydose_metrics::follow_up::response::MEASURABLE_MM;
use tidydose_metrics::{ACROSS_IN_PLANE, LONGEST_IN_PLANE, Outcome};
use tidydose_rt::identity::Token;

pub(super) use lesion_times::TABLE as FOLLOW_UP;
pub(super) use new_lesions::TABLE as NEW_LESIONS;
pub use proposed_outcomes::write_proposed_outcomes;
pub(super) use recurrences::TABLE as RECURRENCES;
pub(super) use responses::TABLE as RESPONSES;

/// Who a lesion of a later structure set is.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Identity {
    /// A lesion that a plan treated, by its lesion_id.
    Treated(String),
    /// One that was not there before, by the lesion_id of its first time.
    New(String),
    /// Nobody has decided.
    Undecided,
}

impl Identity {
    /// The word for column `match_basis`.
    const fn word(&self) -> &'static str {
        match self {
            Self::Treated(_) => "user",
            Self::New(_) => "new",
            Self::Undecided => "unmatched",
        }
    }
}

/// A lesion as it was drawn at one time.
struct Drawn<'a> {
    entry: LesionEntry<'a>,
    day: Option<i64>,
    identity: Identity,
    sizes: Sizes,
}

/// What was measured of the structure that stands for the visible tumour: the innermost GTV, else
/// the innermost target of unstated kind, CTV or PTV.
struct Sizes {
    roi_number: i64,
    planes: usize,
    volume: Option<Outcome>,
    longest: Option<Outcome>,
    across: Option<Outcome>,
}

impl Sizes {
    /// Of a lesion of which nothing is left.
    fn nothing() -> Self {
        let none = || Some(Outcome { low: Some(0.0), high: Some(0.0), ..Outcome::of(0.0) });
        Self { roi_number: 0, planes: 0, volume: none(), longest: none(), across: none() }
    }

    fn of(analysis: Option<&Analysis>, lesion: &Lesion) -> Self {
        let roi_number = visible(lesion);
        let result =
            |a: &Analysis| a.structures.iter().find(|r| r.roi_number == roi_number).cloned();
        let structure: Option<StructureResult> = analysis.and_then(result);
        let metric = |name: &str| {
            let found = |a: &Analysis| {
                let own = |m: &&Measurement| m.roi_number == roi_number && m.metric == name;
                a.measurements.iter().find(own).map(|m| m.outcome.clone())
            };
            analysis.and_then(found)
        };
        let spacing_mm = structure.as_ref().and_then(|s| s.plane_spacing_mm);
        let between = |outcome: Outcome| between_planes(outcome, spacing_mm);
        Self {
            roi_number,
            planes: structure.as_ref().map_or(0, |s| s.planes),
            volume: structure.map(|s| s.volume),
            longest: metric(LONGEST_IN_PLANE.name).map(between),
            across: metric(ACROSS_IN_PLANE.name).map(between),
        }
    }

    fn bounded(of: Option<&Outcome>) -> Option<Bounded> {
        Bounded::of(of?)
    }

    fn volume(&self) -> Option<Bounded> {
        Self::bounded(self.volume.as_ref())
    }

    fn longest(&self) -> Option<Bounded> {
        Self::bounded(self.longest.as_ref())
    }

    /// Whether the criteria for the brain measure it: at least 10 mm long, 5 mm across, on two planes.
    fn is_measurable(&self) -> Option<bool> {
        let long = self.longest.as_ref()?.value?;
        let across = self.across.as_ref()?.value?;
        Some(self.planes >= 2 && long >= MEASURABLE_MM[0] && across >= MEASURABLE_MM[1])
    }
}

/// A diameter that may have been larger between two drawn planes: of a ball the nearest plane lies
/// within half the spacing s of the middle, so that its chord c and diameter D hold D² ≤ c² + s².
fn between_planes(outcome: Outcome, spacing_mm: Option<f64>) -> Outcome {
    let (Some(value), Some(high), Some(spacing)) = (outcome.value, outcome.high, spacing_mm) else {
        return outcome;
    };
    Outcome { high: Some(high.max(value.hypot(spacing))), ..outcome }
}

/// Value and bounds of an outcome as columns have them.
const fn bounded(outcome: &Outcome) -> column::Bounded {
    [outcome.value, outcome.low, outcome.high]
}

/// ROI Number of the structure that stands for the visible tumour.
fn visible(lesion: &Lesion) -> i64 {
    let lists = [&lesion.gtv, &lesion.other, &lesion.ctv, &lesion.ptv];
    lists.into_iter().find_map(|list| list.last().copied()).unwrap_or(lesion.roi_number)
}

/// What these tables need of the analysis of a patient with a follow-up: the sizes of lesions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LesionSizes {
    /// The structures that stand for the visible tumours.
    pub structures: Vec<StructureResult>,
    /// Their diameters.
    pub measurements: Vec<Measurement>,
}

impl LesionSizes {
    /// Those of an analysis.
    #[must_use]
    pub fn of(analysis: &Analysis) -> Self {
        let numbers: BTreeSet<i64> = analysis.lesions.iter().map(visible).collect();
        let names = [LONGEST_IN_PLANE.name, ACROSS_IN_PLANE.name];
        let is_size = |m: &&Measurement| names.contains(&m.metric.as_str());
        let structures = analysis.structures.iter().filter(|r| numbers.contains(&r.roi_number));
        let measurements =
            analysis.measurements.iter().filter(|m| numbers.contains(&m.roi_number) && is_size(m));
        Self {
            structures: structures.cloned().collect(),
            measurements: measurements.cloned().collect(),
        }
    }
}

/// Everything drawn of a patient who has a follow-up, by lesion_id.
struct Patient<'a> {
    drawn: BTreeMap<String, Drawn<'a>>,
    /// The plans that count, with their day, the earliest first.
    plans: Vec<(i64, &'a Case)>,
    /// The follow-ups, the earliest first.
    follow_ups: Vec<(i64, Measured<'a>)>,
}

/// The patients who have a follow-up, by their pseudonym.
fn patients<'a>(study: &Study<'a>) -> Vec<Patient<'a>> {
    let later = study.cases.iter().filter(|c| c.is_follow_up());
    let followed: BTreeSet<&Token> = later.filter_map(|c| c.patient.as_ref()).collect();
    if followed.is_empty() {
        return Vec::new();
    }
    let mut by_patient: BTreeMap<&Token, Patient<'a>> = BTreeMap::new();
    for measured in study.measured() {
        let Some(patient) = measured.case.patient.as_ref().filter(|p| followed.contains(p)) else {
            continue;
        };
        let new = || Patient { drawn: BTreeMap::new(), plans: Vec::new(), follow_ups: Vec::new() };
        let own = by_patient.entry(patient).or_insert_with(new);
        match (day_of(measured.case), measured.case.is_follow_up()) {
            (Some(day), true) => own.follow_ups.push((day, measured)),
            (Some(day), false) if measured.case.counts() => own.plans.push((day, measured.case)),
            _ => {}
        }
    }
    for entry in lesions::rows(study) {
        let case = entry.measured.case;
        let patient = case.patient.as_ref().and_then(|p| by_patient.get_mut(p));
        let Some(patient) = patient.filter(|_| case.is_follow_up() || case.counts()) else {
            continue;
        };
        let sizes = Sizes::of(entry.measured.analysis, entry.lesion);
        let (id, day) = (entry.id.clone(), day_of(case));
        let identity = Identity::Undecided;
        patient.drawn.insert(id, Drawn { entry, day, identity, sizes });
    }
    let mut list: Vec<Patient<'a>> = by_patient.into_values().collect();
    for patient in &mut list {
        patient.plans.sort_by_key(|(day, case)| (*day, &case.id));
        patient.follow_ups.sort_by_key(|(day, m)| (*day, &m.case.id));
        patient.identify();
    }
    list
}

/// The day of a follow-up, else of the first treatment or of the plan.
fn day_of(case: &Case) -> Option<i64> {
    if let Some(follow_up) = &case.follow_up {
        return Some(follow_up.day.0);
    }
    let treated = case.treatment.delivery.and_then(|d| d.first_day);
    treated.or_else(|| case.plan.as_ref()?.day).map(|day| day.0)
}

impl<'a> Patient<'a> {
    /// Follows what `lesions.csv` says from one time to the earlier one.
    fn identify(&mut self) {
        let identities: BTreeMap<String, Identity> =
            self.drawn.keys().map(|id| (id.clone(), self.identity(id))).collect();
        for (id, identity) in identities {
            if let Some(drawn) = self.drawn.get_mut(&id) {
                drawn.identity = identity;
            }
        }
    }

    fn identity(&self, id: &str) -> Identity {
        let mut at = id;
        // Each step leads to another lesion; more steps than lesions are a circle.
        for _ in 0..=self.drawn.len() {
            let Some(drawn) = self.drawn.get(at) else { return Identity::Undecided };
            if !drawn.entry.measured.case.is_follow_up() {
                return Identity::Treated(at.to_owned());
            }
            match drawn.entry.decision {
                Some(decision) if decision.new => return Identity::New(at.to_owned()),
                Some(decision) => match &decision.same_as {
                    Some(earlier) => at = earlier,
                    None => return Identity::Undecided,
                },
                None => return Identity::Undecided,
            }
        }
        Identity::Undecided
    }

    /// The lesions of one follow-up or plan.
    fn drawn_in<'s>(&'s self, case: &'s Case) -> impl Iterator<Item = (&'s String, &'s Drawn<'a>)> {
        self.drawn.iter().filter(move |(_, d)| d.entry.measured.case.id == case.id)
    }

    /// The same lesion at all times from its treatment on, the earliest first.
    fn times_of(&self, treated_id: &str) -> Vec<&Drawn<'a>> {
        let same =
            |d: &&Drawn<'a>| matches!(&d.identity, Identity::Treated(id) if id == treated_id);
        let mut times: Vec<&Drawn<'a>> = self.drawn.values().filter(same).collect();
        times.sort_by_key(|d| (d.day, &d.entry.id));
        times
    }

    /// The day from which on `lesions.csv` says that nothing is left of a treated lesion.
    fn gone_day(&self, treated_id: &str) -> Option<i64> {
        let gone = self.drawn.get(treated_id)?.entry.decision?.gone_since.as_deref()?;
        let found = self.follow_ups.iter().find(|(_, m)| m.case.id.as_str() == gone);
        found.map(|(day, _)| *day)
    }

    /// The follow-ups from then on in which it was not drawn again.
    fn gone_in(&self, treated_id: &str) -> Vec<(i64, &'a Case)> {
        let Some(gone) = self.gone_day(treated_id) else { return Vec::new() };
        let drawn: BTreeSet<&Token> =
            self.times_of(treated_id).iter().map(|d| &d.entry.measured.case.id).collect();
        let mut list = Vec::new();
        for (day, measured) in &self.follow_ups {
            if *day >= gone && !drawn.contains(&measured.case.id) {
                list.push((*day, measured.case));
            }
        }
        list
    }

    /// What a lesion was when it was treated, and its smallest size since and before a day.
    fn before(
        &self,
        treated_id: &str,
        day: i64,
        size: impl Fn(&Sizes) -> Option<Bounded>,
    ) -> Option<Before> {
        let baseline = size(&self.drawn.get(treated_id)?.sizes)?;
        let mut nadir = baseline;
        if self.gone_in(treated_id).iter().any(|(gone, _)| *gone < day) {
            nadir = Bounded::exactly(0.0);
        }
        for earlier in self.times_of(treated_id) {
            let is_before = earlier.day.is_some_and(|d| d < day);
            if let Some(then) = size(&earlier.sizes).filter(|_| is_before)
                && then.value < nadir.value
            {
                nadir = then;
            }
        }
        Some(Before { baseline, nadir })
    }
}

/// What a size was before.
#[derive(Debug, Clone, Copy)]
struct Before {
    /// When it was treated.
    baseline: Bounded,
    /// The smallest since, the time of treatment included.
    nadir: Bounded,
}

#[cfg(test)]
mod tests {
    use crate::example::Example;
    use crate::read::{LesionTimeRow, ResponseRow, Tables, rows};
    use crate::user::lesion_file::LesionDecision;
    use crate::{Destination, database, read_study, write_tables};

    /// The tables where the follow-up has no lesion drawn, with what the user says of the treated one.
    fn nothing_drawn(decision: LesionDecision) -> Tables {
        let mut example = Example::new().followed();
        example.lesion_decisions.clear();
        example.lesion_decisions.insert("plan-1/2".to_owned(), decision);
        example.analyses.last_mut().unwrap().lesions.clear();
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join(database::FILE);
        let to = Destination { folder: folder.path(), database: Some(&database) };
        let names = ["follow_up", "responses"];
        write_tables(&example.study(), &names, to).unwrap();
        read_study::StudyTables::of_study(folder.path()).unwrap().read_all(&names).unwrap()
    }

    #[test]
    fn a_lesion_that_is_gone_has_no_volume_left_and_a_complete_response() {
        let gone_since = Some("later-1".to_owned());
        let tables = nothing_drawn(LesionDecision { gone_since, ..LesionDecision::default() });
        let times: Vec<LesionTimeRow<'_>> = rows(&tables).unwrap();
        let gone = times.iter().find(|t| t.match_basis == "gone").unwrap();
        assert_eq!((gone.plan_id, gone.lesion_id), ("later-1", "plan-1/2"));
        assert_eq!(gone.volume().map(|v| [Some(v.value), v.low, v.high]), Some([Some(0.0); 3]));
        assert_eq!(gone.volume_change().map(|c| c.value), Some(-100.0));
        assert_eq!((times.len(), gone.days_since_treatment), (2, Some(100)));
        let responses: Vec<ResponseRow<'_>> = rows(&tables).unwrap();
        let volumes = responses.iter().find(|r| r.criterion == "volume_of_spheres").unwrap();
        assert_eq!((volumes.response, volumes.reason), ("complete", ""));
    }

    #[test]
    fn a_lesion_that_is_not_drawn_again_may_be_gone_or_not_looked_at() {
        let tables = nothing_drawn(LesionDecision::default());
        assert_eq!(rows::<LesionTimeRow<'_>>(&tables), Ok(Vec::new()));
        for row in rows::<ResponseRow<'_>>(&tables).unwrap() {
            assert_eq!(row.response, "undecided");
            let says = row.reason.contains("gone_since") || row.reason.contains("measurable");
            assert!(says, "{}", row.reason);
        }
    }
}
