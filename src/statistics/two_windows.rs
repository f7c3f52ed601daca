//! How often an event has happened by a time when it is looked for in one window and death is known in
//! another: images end months before death, so that whoever dies is no longer at risk of an event that
//! only images show. Each hazard is estimated among those who are watched for it, and both together
//! give the cumulative incidence:
//!
//! F(t) = Σ S(s−) dE(s) / Y_E(s),  S(s) = S(s−) (1 − dE(s) / Y_E(s) − dD(s) / Y_D(s)),
//!
//! with Y_E those whose looking has not ended and Y_D all who live, with or without the event. Nobody
//! leaves Y_D at the event: it is seen only in those who live on for some months after it, so that who
//! is left would die more often than everybody. The estimate takes death to be as likely with the event
//! as without, and the end of looking to say nothing of the event.

use super::bootstrap::{Clusters, intervals};
use super::incidence::{Incidence, Step};
use super::{Interval, Undefined, at_least, confidence, finite};

/// How long somebody was watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    /// Until when the event was looked for; the time of the event where there was one.
    pub looked: f64,
    /// Whether there was the event.
    pub event: bool,
    /// Until when life was known.
    pub life: f64,
    /// Whether it ended by death.
    pub dead: bool,
}

/// Everybody, with the moments at which something changes in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Windows {
    moments: Vec<Moment>,
    count: usize,
}

/// What happens to somebody at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moment {
    time: f64,
    who: usize,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    /// The event.
    Event,
    Death,
    /// Nobody looks any longer.
    LookEnds,
    /// Nothing more is known.
    LifeEnds,
}

/// The state at one time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Row {
    time: f64,
    at_risk: f64,
    event: f64,
    competing: f64,
}

impl Windows {
    /// Puts moments in order.
    ///
    /// # Errors
    /// When there is nobody, or a time is negative, not finite, or later than the end of life.
    pub fn new(watches: &[Watch]) -> Result<Self, Undefined> {
        at_least(1, watches.len(), "times")?;
        let mut moments = Vec::new();
        for (who, w) in watches.iter().enumerate() {
            finite(&[w.looked, w.life], "times")?;
            if w.looked < 0.0 || w.looked > w.life {
                let accepted = "0 or more, and no later than the end of life";
                return Err(Undefined::Outside { what: "time", found: w.looked, accepted });
            }
            let looked = if w.event { What::Event } else { What::LookEnds };
            let life = if w.dead { What::Death } else { What::LifeEnds };
            moments.push(Moment { time: w.looked, who, what: looked });
            moments.push(Moment { time: w.life, who, what: life });
        }
        moments.sort_by(|a, b| a.time.total_cmp(&b.time).then(a.who.cmp(&b.who)));
        Ok(Self { moments, count: watches.len() })
    }

    fn rows(&self, weights: Option<&[f64]>) -> Vec<Row> {
        let weight = |who: usize| weights.map_or(1.0, |w| w[who]);
        let everybody: f64 = (0..self.count).map(weight).sum();
        let (mut looked, mut living) = (everybody, everybody);
        let (mut free, mut event, mut competing) = (1.0_f64, 0.0, 0.0);
        let mut rows = Vec::new();
        for at_once in self.moments.chunk_by(|a, b| a.time == b.time) {
            let of = |what: What| -> f64 {
                at_once.iter().filter(|m| m.what == what).map(|m| weight(m.who)).sum()
            };
            let (events, deaths) = (of(What::Event), of(What::Death));
            // Events come before the ends of windows: who leaves at a time is still at risk there.
            let of_event = if looked > 0.0 { events / looked } else { 0.0 };
            let of_death = if living > 0.0 { deaths / living } else { 0.0 };
            event += free * of_event;
            competing += free * of_death;
            let time = at_once.first().map_or(0.0, |m| m.time);
            rows.push(Row { time, at_risk: looked, event, competing });
            // Two shares of different numbers of people can exceed one where few are left.
            free = (free * (1.0 - of_event - of_death)).max(0.0);
            looked -= events + of(What::LookEnds);
            living -= deaths + of(What::LifeEnds);
        }
        rows
    }
}

/// Estimates both incidences. Intervals come from [`drawn`]; the steps have none, and their error is
/// not a number.
#[must_use]
pub fn incidence(windows: &Windows) -> Incidence {
    let step = |r: Row| Step {
        time: r.time,
        at_risk: r.at_risk,
        event: r.event,
        competing: r.competing,
        error: f64::NAN,
        interval: None,
    };
    Incidence { steps: windows.rows(None).into_iter().map(step).collect() }
}

/// Intervals of the event's share at times, by draws of patients; one for each time.
///
/// # Errors
/// When the clusters are not those of the windows, or the confidence is not between 0 and 1.
pub fn drawn(
    windows: &Windows,
    clusters: &Clusters,
    at: &[f64],
    level: f64,
) -> Result<Vec<Option<Interval>>, Undefined> {
    confidence(level)?;
    if clusters.observations() != windows.count {
        return Err(Undefined::Lengths("patients and times"));
    }
    let shares = |weights: &[f64]| -> Vec<f64> {
        let rows = windows.rows(Some(weights));
        let share = |time: &f64| {
            let before = rows.partition_point(|r| r.time <= *time);
            before.checked_sub(1).and_then(|last| rows.get(last)).map_or(0.0, |r| r.event)
        };
        at.iter().map(share).collect()
    };
    Ok(intervals(clusters, at.len(), level, shares))
}

#[cfg(test)]
mod tests {
    use super::super::incidence::aalen_johansen;
    use super::super::survival::{End, Times};
    use super::*;
    use rand_pcg::Pcg64;
    use rand_pcg::rand_core::Rng;

    /// Hazards a month of the event and of death without it. Of two constant hazards the incidence is
    /// F(t) = e / (e + d) (1 − exp(−(e + d) t)): 27.1 % at 12 months and 40.0 % at 24.
    const EVENT: f64 = 0.032;
    const DEATH: f64 = 0.030;
    const PATIENTS: usize = 20_000;

    fn truth(time: f64) -> f64 {
        EVENT / (EVENT + DEATH) * (1.0 - (-(EVENT + DEATH) * time).exp())
    }

    /// Imaging ends 4 to 18 months before death, or up to 6 before the last contact of the living,
    /// who are followed for 24 to 72 months.
    fn cohort() -> Vec<Watch> {
        let mut generator = Pcg64::new(7, 1);
        let mut uniform = move || (generator.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        let mut between = move |low: f64, high: f64| low + (high - low) * uniform();
        let mut one = |_| {
            let event = -between(0.0, 1.0).max(1e-300).ln() / EVENT;
            let death = -between(0.0, 1.0).max(1e-300).ln() / DEATH;
            let end = between(24.0, 72.0);
            let life = death.min(end);
            let dead = death < end;
            let gap = if dead { between(4.0, 18.0) } else { between(0.0, 6.0) };
            let images = (life - gap).max(0.0);
            Watch { looked: event.min(images), event: event <= images, life, dead }
        };
        (0..PATIENTS).map(&mut one).collect()
    }

    /// As if those who died had been looked at until death.
    fn counted_until_death(watches: &[Watch]) -> Times {
        let end = |w: &Watch| match (w.event, w.dead) {
            (true, _) => (w.looked, End::Event),
            (false, true) => (w.life, End::Competing),
            (false, false) => (w.looked, End::Censored),
        };
        let (time, end): (Vec<f64>, Vec<End>) = watches.iter().map(end).unzip();
        Times::new(&time, &end).unwrap()
    }

    #[test]
    fn imaging_that_ends_before_death_does_not_lower_the_incidence() {
        let watches = cohort();
        let found = incidence(&Windows::new(&watches).unwrap());
        let naive = aalen_johansen(&counted_until_death(&watches), 0.95).unwrap();
        assert!((truth(12.0) - 0.271).abs() < 0.001 && (truth(24.0) - 0.400).abs() < 0.001);
        for time in [12.0, 24.0] {
            // Three standard errors of a share of half of the patients: of the others the images
            // end before the time.
            let share = truth(time);
            let tolerance = 3.0 * (share * (1.0 - share) / (PATIENTS as f64 / 2.0)).sqrt();
            let step = found.at(time).unwrap();
            assert!((step.event - share).abs() < tolerance, "{time}: {} {share}", step.event);
            // Whoever is counted as without event until death hides what nobody looked for: 4 to 18
            // months at the hazard of death leave 72 % of the events.
            let hidden = naive.at(time).unwrap().event;
            assert!(hidden < share - 5.0 * tolerance, "{time}: {hidden}");
        }
    }

    /// Where nothing is known of anybody after the event, and looking ends with life.
    #[test]
    fn windows_that_end_together_give_aalen_and_johansen() {
        let list = [(1.0, 1), (2.0, 2), (2.0, 0), (3.0, 1), (3.0, 2), (5.0, 0), (6.0, 1)];
        let watch = |(t, e): (f64, u8)| Watch { looked: t, event: e == 1, life: t, dead: e == 2 };
        let watches: Vec<Watch> = list.into_iter().map(watch).collect();
        let found = incidence(&Windows::new(&watches).unwrap());
        let wanted = aalen_johansen(&counted_until_death(&watches), 0.95).unwrap();
        assert_eq!(found.steps.len(), wanted.steps.len());
        for (a, b) in found.steps.iter().zip(&wanted.steps) {
            assert_eq!((a.time, a.at_risk), (b.time, b.at_risk));
            assert!((a.event - b.event).abs() < 1e-15 && (a.competing - b.competing).abs() < 1e-15);
        }
    }

    /// By hand: four are looked at, one dies unseen at 3, whose images ended at 1.
    #[test]
    fn who_is_no_longer_looked_at_is_not_at_risk() {
        let watches = [
            Watch { looked: 1.0, event: false, life: 3.0, dead: true },
            Watch { looked: 2.0, event: true, life: 2.0, dead: false },
            Watch { looked: 4.0, event: true, life: 4.0, dead: false },
            Watch { looked: 5.0, event: false, life: 5.0, dead: false },
        ];
        let found = incidence(&Windows::new(&watches).unwrap());
        let at = |t| found.at(t).unwrap();
        assert!((at(2.0).event - 1.0 / 3.0).abs() < 1e-15);
        // One of three who live without the event dies at 3.
        assert!((at(3.0).competing - 2.0 / 3.0 / 3.0).abs() < 1e-15);
        assert!((at(4.0).event - (1.0 / 3.0 + 4.0 / 9.0 / 2.0)).abs() < 1e-15);
    }

    #[test]
    fn draws_of_patients_hold_the_estimate_and_damage_is_refused() {
        let watches: Vec<Watch> = cohort().into_iter().take(120).collect();
        let windows = Windows::new(&watches).unwrap();
        let interval = drawn(&windows, &Clusters::single(120), &[12.0], 0.95).unwrap()[0].unwrap();
        assert!(interval.holds(incidence(&windows).at(12.0).unwrap().event), "{interval:?}");
        assert!(drawn(&windows, &Clusters::single(3), &[12.0], 0.95).is_err());
        let damaged = Watch { looked: 5.0, event: false, life: 4.0, dead: true };
        assert!(Windows::new(&[damaged]).is_err() && Windows::new(&[]).is_err());
    }
}
