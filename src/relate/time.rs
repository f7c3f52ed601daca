//! When events came: incidence with death before it, survival and follow-up of the patients.

use std::collections::BTreeMap;

use super::join::{Known, Subject};
use tidydose_statistics::bootstrap::Clusters;
use tidydose_statistics::describe::summary;
use tidydose_statistics::incidence::{Incidence, Step, aalen_johansen, drawn};
use tidydose_statistics::survival::{End, KaplanMeier, LogRank, Times, kaplan_meier, log_rank};
use tidydose_statistics::two_windows::{self, Watch, Windows};
use tidydose_statistics::{CONFIDENCE, Interval, Undefined};
pub(super) use tidydose_table::user::outcome_sheet::cells::MONTH;

/// Months at which incidence and survival are stated.
pub(super) const LANDMARKS: [f64; 4] = [6.0, 12.0, 24.0, 36.0];

/// The incidence at a landmark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Landmark {
    pub(super) months: f64,
    pub(super) step: Step,
    /// By draws of patients where lesions share them, else on the scale of log(−log).
    pub(super) interval: Option<Interval>,
    pub(super) at_risk: usize,
}

/// Everything over time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OverTime {
    /// How many of those analysed have no day and are not here.
    pub(super) without_day: usize,
    /// Until when the event was looked for; those who died are no longer at risk from there on.
    pub(super) times: Times,
    pub(super) incidence: Incidence,
    pub(super) landmarks: Vec<Landmark>,
    pub(super) bands: Vec<(f64, f64, f64)>,
    /// Where looking ended before death.
    pub(super) unseen: Option<Unseen>,
}

/// Those who died after their last imaging, between which nobody looked for the event.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unseen {
    pub(super) count: usize,
    /// Median of the days between.
    pub(super) median: f64,
    /// The incidence where they count as without event until death.
    pub(super) counted: Incidence,
}

pub(super) fn over_time(rows: &[(&Subject, &Known)]) -> Result<OverTime, Undefined> {
    let timed: Vec<_> = rows.iter().filter(|(_, k)| k.time.is_some()).collect();
    let known: Vec<Observed> = timed.iter().filter_map(|(_, k)| Observed::of(k)).collect();
    let clusters = Clusters::new(timed.iter().map(|(s, _)| &s.patient_id));
    let without_day = rows.len() - timed.len();
    let counted = times_of(&known, |o| (o.time, o.end))?;
    let gaps: Vec<f64> = known.iter().map(Observed::gap).filter(|g| *g > 0.0).collect();
    let (times, incidence, windows) = if gaps.is_empty() {
        let incidence = aalen_johansen(&counted, CONFIDENCE)?;
        (counted.clone(), incidence, None)
    } else {
        let watches: Vec<Watch> = known.iter().map(Observed::watch).collect();
        let windows = Windows::new(&watches)?;
        let looked = times_of(&known, Observed::looked)?;
        (looked, two_windows::incidence(&windows), Some(windows))
    };
    let months: Vec<f64> = LANDMARKS.into_iter().filter(|m| m * MONTH <= times.last()).collect();
    let moments: Vec<f64> = incidence.steps.iter().map(|s| s.time).collect();
    let asked: Vec<f64> = months.iter().map(|m| m * MONTH).chain(moments.iter().copied()).collect();
    let intervals = match &windows {
        Some(windows) => two_windows::drawn(windows, &clusters, &asked, CONFIDENCE)?,
        None if clusters.repeat() => drawn(&times, &clusters, &asked, CONFIDENCE)?,
        None => asked.iter().map(|t| incidence.at(*t).and_then(|s| s.interval)).collect(),
    };
    let landmark = |(place, months): (usize, &f64)| {
        let day = months * MONTH;
        let step = *incidence.at(day)?;
        let interval = intervals.get(place).copied().flatten();
        Some(Landmark { months: *months, step, interval, at_risk: times.at_risk(day) })
    };
    let landmarks = months.iter().enumerate().filter_map(landmark).collect();
    let later = moments.iter().zip(intervals.iter().skip(months.len()));
    let bands = later.filter_map(|(t, i)| i.map(|i| (*t, i.low, i.high))).collect();
    let unseen = match summary(&gaps) {
        Ok(found) => Some(Unseen {
            count: gaps.len(),
            median: found.median,
            counted: aalen_johansen(&counted, CONFIDENCE)?,
        }),
        Err(_) => None,
    };
    Ok(OverTime { without_day, times, incidence, landmarks, bands, unseen })
}

/// The observation of one subject.
struct Observed {
    time: f64,
    end: End,
    /// Until when the event would have been seen.
    looked: f64,
    /// Until when life is known, and whether it ended.
    life: (f64, bool),
}

impl Observed {
    fn of(known: &Known) -> Option<Self> {
        let (time, end) = known.time?;
        // Where nothing says until when somebody looked, it was until the end.
        let looked = if end == End::Event { time } else { known.looked.unwrap_or(time).min(time) };
        // Another course ends what is told of this one, life included.
        let life = known.life.filter(|(days, _)| !known.by_course && *days >= time);
        let life = life.unwrap_or((time, end == End::Competing));
        Some(Self { time, end, looked, life })
    }

    /// Days between the last look and a death without the event.
    fn gap(&self) -> f64 {
        if self.end == End::Competing { self.time - self.looked } else { 0.0 }
    }

    fn watch(&self) -> Watch {
        let (life, dead) = self.life;
        Watch { looked: self.looked, event: self.end == End::Event, life, dead }
    }

    /// As far as the event is concerned: who died later was watched until the last look.
    fn looked(&self) -> (f64, End) {
        let end = if self.gap() > 0.0 { End::Censored } else { self.end };
        (self.looked, end)
    }
}

fn times_of(known: &[Observed], of: impl Fn(&Observed) -> (f64, End)) -> Result<Times, Undefined> {
    let (time, end): (Vec<f64>, Vec<End>) = known.iter().map(of).unzip();
    Times::new(&time, &end)
}

/// A group of patients over time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) times: Times,
    pub(super) curve: KaplanMeier,
}

/// Survival of the patients, each once.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Survival {
    pub(super) all: Group,
    /// Potential follow-up by the reverse method.
    pub(super) follow_up: KaplanMeier,
    /// Groups with at least [`LEAST`] patients; none when there is only one.
    pub(super) groups: Vec<Group>,
    /// Groups with fewer, and how many patients they have.
    pub(super) too_small: Vec<(String, usize)>,
    pub(super) test: Option<LogRank>,
}

/// Smaller groups have no curve of their own.
pub(super) const LEAST: usize = 5;

pub(super) fn survival(rows: &[(&Subject, &Known)]) -> Result<Survival, Undefined> {
    let mut lives: BTreeMap<&str, (f64, bool, &str)> = BTreeMap::new();
    for (subject, known) in rows {
        let Some((days, dead)) = known.life else { continue };
        let own = lives.entry(&subject.patient_id).or_insert((days, dead, &subject.group));
        if days > own.0 {
            *own = (days, dead, &subject.group);
        }
    }
    let group = |name: &str, own: &[(f64, bool)]| -> Result<Group, Undefined> {
        let end = |dead| if dead { End::Event } else { End::Censored };
        let (time, end): (Vec<f64>, Vec<End>) =
            own.iter().map(|(d, dead)| (*d, end(*dead))).unzip();
        let times = Times::new(&time, &end)?;
        let curve = kaplan_meier(&times, CONFIDENCE)?;
        Ok(Group { name: name.to_owned(), times, curve })
    };
    let everybody: Vec<(f64, bool)> = lives.values().map(|(d, dead, _)| (*d, *dead)).collect();
    let all = group("all", &everybody)?;
    let follow_up = kaplan_meier(&all.times.reversed(), CONFIDENCE)?;
    let mut by_group: BTreeMap<&str, Vec<(f64, bool)>> = BTreeMap::new();
    for (days, dead, name) in lives.values() {
        by_group.entry(name).or_default().push((*days, *dead));
    }
    let small = by_group.iter().filter(|(_, own)| own.len() < LEAST);
    let too_small = small.map(|(name, own)| ((*name).to_owned(), own.len())).collect();
    let large = by_group.iter().filter(|(_, own)| own.len() >= LEAST);
    let groups: Vec<Group> = large.map(|(name, own)| group(name, own)).collect::<Result<_, _>>()?;
    let groups = if groups.len() > 1 { groups } else { Vec::new() };
    let times: Vec<Times> = groups.iter().map(|g| g.times.clone()).collect();
    let test = log_rank(&times).ok();
    Ok(Survival { all, follow_up, groups, too_small, test })
}
