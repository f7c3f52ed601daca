//! Numbers of regions that nobody drew: all tissue, the brain without targets, and all targets
//! together. Each region has a name, so that a volume at 12 Gy never stands without one.

use std::sync::Arc;

use super::bounds::{self, Circumstances, Views};
use super::result::RegionMeasurement;
use super::structure::Solid;
use super::target::lesions;
use super::{Bench, Part};
use tidydose_case::Role;
use tidydose_dose::Isodose;
use tidydose_geometry::locate::{Keep, Locator, clipped};
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::plan_wide::{PlanTotals, Sums};
use tidydose_metrics::{AppliesTo, Metric, Outcome, Status, Subject};

/// All space that the dose grid covers, within the outline of the patient where there is one.
const TISSUE: &str = "all tissue";
/// The union of the targets with a prescription.
const TARGETS: &str = "all targets";
/// Standard name of the organ that targets are taken out of.
pub(super) const BRAIN: &str = "Brain";

/// The brain without targets of one kind, or of any.
const WITHOUT: [&str; 3] = ["Brain-GTV", "Brain-PTV", "Brain-targets"];

/// The regions that have rows of their own in table metrics.
pub const REGIONS: [&str; 5] = [TISSUE, TARGETS, WITHOUT[0], WITHOUT[1], WITHOUT[2]];
/// Whether a region is what is left of the brain.
pub(super) fn rests_on_brain(region: &str) -> bool {
    region.strip_prefix(BRAIN).is_some_and(|rest| rest.starts_with('-'))
}

/// Metrics of a part are those of the whole less those of the rest.
fn adds_up(metric: &Metric) -> bool {
    matches!(metric.definition.name, "Volume[cc]" | "V{x}Gy[cc]" | "IntegralDose[Gy*cc]")
}

impl Bench<'_> {
    /// The rows of all regions.
    pub(super) fn regions(
        &self,
        parts: &[Part<'_>],
        measured: &[super::Measurement],
    ) -> Vec<RegionMeasurement> {
        let mut out = self.tissue();
        out.extend(self.plan(measured));
        out.extend(self.brain(parts, measured));
        out
    }

    fn region_row(
        &self,
        region: &str,
        metric: &Metric,
        outcome: Outcome,
        rule: &str,
    ) -> RegionMeasurement {
        let method = self.settings.method();
        RegionMeasurement {
            region: region.to_owned(),
            metric: metric.to_string(),
            unit: metric.definition.unit,
            outcome,
            method: if rule.is_empty() { method } else { format!("{method}; {rule}") },
        }
    }

    fn outline_words(&self) -> &'static str {
        match self.spaces {
            Some(s) if s[0].map.is_within_body() => "within the outline of the patient",
            _ => "no outline of the patient, all space between the outermost voxel centres",
        }
    }

    fn tissue(&self) -> Vec<RegionMeasurement> {
        let volumes = self.settings.metrics.iter().filter(|m| m.definition.name == "V{x}Gy[cc]");
        volumes
            .map(|metric| {
                let outcome = match self.spaces {
                    None => {
                        let (status, reason) = super::reason_without_dose(self.case);
                        Outcome::none(status, reason)
                    }
                    Some(spaces) => {
                        let isodoses = spaces.each_ref().map(|s| s.map.whole(metric.argument));
                        self.of_isodoses(isodoses, |i| i.volume_mm3 / 1000.0)
                    }
                };
                self.region_row(TISSUE, metric, outcome, self.outline_words())
            })
            .collect()
    }

    /// A number of an isodose, with bounds from the dose at every second voxel.
    fn of_isodoses(&self, [nominal, a, b]: [Isodose; 3], of: fn(&Isodose) -> f64) -> Outcome {
        let value = of(&nominal);
        let u = self.isodose_doubt([nominal, a, b], of);
        let (low, high) = (Some((value - 2.0 * u).max(0.0)), Some(value + 2.0 * u));
        if nominal.cut_by_grid {
            let reason = "the isodose reaches the edge of the dose grid";
            return Outcome { low, ..Outcome::at_least(value, reason) };
        }
        Outcome { low, high, ..Outcome::of(value) }
    }

    /// Standard uncertainty of a number of an isodose.
    fn isodose_doubt(&self, [nominal, a, b]: [Isodose; 3], of: fn(&Isodose) -> f64) -> f64 {
        let differences = [a, b].map(|i| (of(&i) - of(&nominal)).abs());
        let share = bounds::dose_share(self.settings.interpolation);
        (share * differences[0].max(differences[1])).hypot(bounds::CHANCE_SHARE * of(&nominal))
    }

    fn plan(&self, measured: &[super::Measurement]) -> Vec<RegionMeasurement> {
        let metrics = &self.settings.metrics;
        let plan = metrics.iter().filter(|m| m.definition.applies_to == AppliesTo::Plan);
        let totals = self.totals(measured);
        plan.map(|metric| match &totals {
            Err(outcome) => self.region_row(TARGETS, metric, outcome.clone(), ""),
            Ok((totals, doubts)) => {
                let none = (Status::NotApplicable, "not a structure".to_owned());
                let at = |totals: &PlanTotals| {
                    let without = Subject::new(0.0, Err(none.clone()));
                    metric.compute(&Subject { totals: Some(totals), ..without })
                };
                let mut outcome = at(totals);
                if let Some(value) = outcome.value {
                    let mut squares = 0.0;
                    for (i, doubt) in doubts.iter().enumerate() {
                        let mut varied = totals.clone();
                        varied.sums[i] += doubt;
                        let moved = at(&varied).value.unwrap_or(value);
                        squares += (moved - value).powi(2);
                    }
                    let reach = 2.0 * squares.sqrt();
                    let [least, most] = metric.definition.limits;
                    outcome.low = Some((value - reach).max(least));
                    outcome.high = Some((value + reach).min(most));
                }
                self.region_row(TARGETS, metric, outcome, &totals.prescriptions)
            }
        })
        .collect()
    }

    /// What the plan adds up to, with the standard uncertainty of each sum.
    fn totals(&self, measured: &[super::Measurement]) -> Result<(PlanTotals, Sums), Outcome> {
        let Some(spaces) = self.spaces else {
            let (status, reason) = super::reason_without_dose(self.case);
            return Err(Outcome::none(status, reason));
        };
        let mut own: Vec<usize> = lesions(self.targets);
        own.sort_unstable();
        own.dedup();
        if own.is_empty() {
            let reason = "no target has a prescription";
            return Err(Outcome::none(Status::NotApplicable, reason));
        }
        let (mut sums, mut squares): (Sums, Sums) = Default::default();
        let mut add = |i: usize, (value, doubt): (f64, f64)| {
            sums[i] += value;
            squares[i] += doubt * doubt;
        };
        let mut doses: Vec<f64> = Vec::new();
        for target in own.iter().filter_map(|i| self.targets.get(*i)) {
            let of = |metric: &str| of_structure(measured, target.roi_number, metric);
            add(0, of("Volume[cc]")?);
            add(1, of("V100%[cc]")?);
            add(2, of("PIVNearest[cc]")?);
            add(5, of("IntegralDose[Gy*cc]")?);
            doses.push(target.dose_gy);
        }
        doses.sort_by(f64::total_cmp);
        doses.dedup();
        let common = doses.first().copied().filter(|_| doses.len() == 1);
        let mut cut = [false; 3];
        let levels = [(0, common), (1, common.map(|d| d / 2.0)), (2, Some(12.0))];
        for (i, dose_gy) in levels {
            let Some(dose_gy) = dose_gy else { continue };
            let isodoses = spaces.each_ref().map(|s| s.map.whole(dose_gy));
            cut[i] = isodoses[0].cut_by_grid;
            let volume = |x: &Isodose| x.volume_mm3 / 1000.0;
            let dose = |x: &Isodose| x.integral_gy_mm3 / 1000.0;
            if i < 2 {
                add(3 + i, (volume(&isodoses[0]), self.isodose_doubt(isodoses, volume)));
            }
            if i > 0 {
                add(5 + i, (dose(&isodoses[0]), self.isodose_doubt(isodoses, dose)));
            }
        }
        let step = self.fields.map_or(0.0, |f| f.step_gy);
        add(8, (spaces[0].map.maximum_gy(), step / 2.0));
        let words = doses.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
        let prescriptions = format!("Rx {words} Gy");
        let totals = PlanTotals { lesions: own.len(), dose_gy: common, prescriptions, cut, sums };
        Ok((totals, squares.map(f64::sqrt)))
    }

    fn brain(&self, parts: &[Part<'_>], measured: &[super::Measurement]) -> Vec<RegionMeasurement> {
        let is_brain = |p: &&Part<'_>| {
            p.name.and_then(|n| n.standard.as_deref()) == Some(BRAIN) && p.role() == Role::Organ
        };
        let brains: Vec<&Part<'_>> = parts.iter().filter(is_brain).collect();
        let mut out = Vec::new();
        for region in WITHOUT {
            let takes = |role: Role| match region {
                "Brain-GTV" => role == Role::Gtv,
                "Brain-PTV" => role == Role::Ptv,
                _ => role.is_target(),
            };
            let targets: Vec<&Part<'_>> =
                parts.iter().filter(|p| takes(p.role()) && p.solid.is_ok()).collect();
            let rest = match brains.as_slice() {
                [] => Err(Outcome::none(Status::Absent, "no structure is the whole brain")),
                [_] if targets.is_empty() => {
                    Err(Outcome::none(Status::Absent, "no target of this kind is contoured"))
                }
                [brain] => Ok((*brain, self.inside(brain, targets, measured))),
                _ => Err(Outcome::none(Status::Ambiguous, "several structures are the brain")),
            };
            out.extend(self.remainder(region, rest, measured));
        }
        out
    }

    /// The metrics of what of some targets lies in an organ, each part of space once.
    fn inside(
        &self,
        organ: &Part<'_>,
        mut targets: Vec<&Part<'_>>,
        measured: &[super::Measurement],
    ) -> Vec<Vec<Outcome>> {
        let Ok(whole) = &organ.solid else { return Vec::new() };
        let cells = |s: &Solid| s.occupancy(self.settings.ends, 2.0, Variant::default());
        let organ_cells = whole.occupancy(self.settings.ends, 1.0, Variant::default());
        let volume = |p: &&Part<'_>| {
            let solid = p.solid.as_ref().ok();
            solid.map_or(0.0, |s| cells(s).volume_mm3())
        };
        targets.sort_by(|a, b| {
            volume(b).total_cmp(&volume(a)).then(a.roi.header.number.cmp(&b.roi.header.number))
        });
        let mut before: Vec<Arc<tidydose_geometry::Occupancy>> = Vec::new();
        let mut out = Vec::new();
        for part in targets {
            let Ok(solid) = &part.solid else { continue };
            let own = cells(solid);
            let whole_mm3 = own.volume_mm3();
            let mut rest = clipped(&own, &Locator::new(&organ_cells), Keep::Inside);
            for other in &before {
                rest = clipped(&rest, &Locator::new(other), Keep::Outside);
            }
            let left = rest.volume_mm3() / whole_mm3.max(f64::MIN_POSITIVE);
            if left > 1.0 - NOTHING {
                let of = |m: &Metric| outcome_of(measured, part.roi.header.number, m);
                out.push(self.settings.metrics.iter().filter(|m| adds_up(m)).map(of).collect());
            } else if left > NOTHING {
                let mut clip = solid.clone().clipped(Arc::clone(&organ_cells), Keep::Inside);
                for other in &before {
                    clip = clip.clipped(Arc::clone(other), Keep::Outside);
                }
                out.push(self.additive(part, &clip));
            }
            before.push(own);
        }
        out
    }

    fn additive(&self, part: &Part<'_>, solid: &Solid) -> Vec<Outcome> {
        let fields = self.fields.filter(|_| !part.in_other_frame(self.case));
        let isodoses = vec![None; fields.map_or(0, |f| f.others().count())];
        let views = Views::of(solid, self.settings.ends, fields, isodoses, None);
        let around = Circumstances {
            no_dose: fields.is_none().then(|| self.reason_without_dose(part)),
            isodoses: Err(String::new()),
            biology: self.biology(part),
        };
        let metrics = self.settings.metrics.iter().filter(|m| adds_up(m));
        metrics.map(|m| views.measure(m, &around)).collect()
    }

    /// The rows of an organ without what is inside it.
    fn remainder(
        &self,
        region: &str,
        rest: Result<(&Part<'_>, Vec<Vec<Outcome>>), Outcome>,
        measured: &[super::Measurement],
    ) -> Vec<RegionMeasurement> {
        let metrics: Vec<&Metric> = self.settings.metrics.iter().filter(|m| adds_up(m)).collect();
        let mut rows: Vec<(&Metric, Outcome)> = metrics
            .iter()
            .enumerate()
            .map(|(i, metric)| {
                let outcome = match &rest {
                    Err(outcome) => outcome.clone(),
                    Ok((organ, inside)) => {
                        let whole = outcome_of(measured, organ.roi.header.number, metric);
                        less(whole, inside.iter().filter_map(|o| o.get(i)))
                    }
                };
                (*metric, outcome)
            })
            .collect();
        rows.extend(self.ratios(&rows));
        rows.into_iter().map(|(m, o)| self.region_row(region, m, o, "")).collect()
    }

    /// Mean dose and shares from volumes and integral dose.
    fn ratios(&self, sums: &[(&Metric, Outcome)]) -> Vec<(&Metric, Outcome)> {
        let of = |name: &str, argument: f64| {
            let same = |m: &Metric| m.definition.name == name && m.argument == argument;
            sums.iter().find(|(m, _)| same(m)).map(|(_, o)| o.clone())
        };
        let volume = of("Volume[cc]", 0.0);
        let quotient = |metric, over: Option<Outcome>, scale: f64| {
            let outcome = divided(over?, volume.as_ref()?, scale);
            Some((metric, outcome))
        };
        let metrics = self.settings.metrics.iter();
        metrics
            .filter_map(|m| match m.definition.name {
                "Mean[Gy]" => quotient(m, of("IntegralDose[Gy*cc]", 0.0), 1.0),
                "V{x}Gy[%]" => quotient(m, of("V{x}Gy[cc]", m.argument), 100.0),
                _ => None,
            })
            .collect()
    }
}

/// Shares of a target up to this are the rounding of cells.
const NOTHING: f64 = 1e-6;

fn outcome_of(measured: &[super::Measurement], roi_number: i64, metric: &Metric) -> Outcome {
    let name = metric.to_string();
    let found = measured.iter().find(|m| m.roi_number == roi_number && m.metric == name);
    found.map_or_else(
        || Outcome::none(Status::NotApplicable, "the structure was not measured"),
        |m| m.outcome.clone(),
    )
}

/// Value and standard uncertainty of a structure's metric.
fn of_structure(
    measured: &[super::Measurement],
    roi_number: i64,
    metric: &str,
) -> Result<(f64, f64), Outcome> {
    let found = measured.iter().find(|m| m.roi_number == roi_number && m.metric == metric);
    let missing = || {
        let text = format!("{metric} of ROI {roi_number} is not among the metrics");
        Outcome::none(Status::NotApplicable, text)
    };
    let o = &found.ok_or_else(missing)?.outcome;
    match (o.status, o.value) {
        (Status::Ok, Some(value)) => {
            let doubt = (o.high.unwrap_or(value) - o.low.unwrap_or(value)) / 4.0;
            Ok((value, doubt))
        }
        _ => Err(Outcome::none(o.status, format!("ROI {roi_number}: {}", o.reason)))
            .map_err(|e: Outcome| Outcome { value: None, low: None, high: None, ..e }),
    }
}

/// How far the bounds reach below and above a value.
fn reaches(o: &Outcome) -> Option<(f64, [f64; 2])> {
    let value = o.value?;
    Some((value, [value - o.low.unwrap_or(value), o.high.unwrap_or(value) - value]))
}

/// A quantity less some others; the bounds of independent quantities add up in squares.
fn less<'o>(whole: Outcome, others: impl Iterator<Item = &'o Outcome>) -> Outcome {
    let Some((mut value, [low, high])) = reaches(&whole) else { return whole };
    let mut squares = [low * low, high * high];
    for other in others {
        let Some((v, [below, above])) = reaches(other).filter(|_| other.status == Status::Ok)
        else {
            let reason = format!("of a target: {}", other.reason);
            return Outcome::none(other.status, reason);
        };
        value -= v;
        squares = [squares[0] + above * above, squares[1] + below * below];
    }
    let value = value.max(0.0);
    Outcome {
        value: Some(value),
        low: Some((value - squares[0].sqrt()).max(0.0)),
        high: whole.high.map(|_| value + squares[1].sqrt()),
        ..whole
    }
}

/// A quotient of two quantities, bounds added up in squares.
fn divided(over: Outcome, under: &Outcome, scale: f64) -> Outcome {
    let (Some((a, [below, above])), Some((b, [less, more]))) = (reaches(&over), reaches(under))
    else {
        return if over.value.is_some() { under.clone() } else { over };
    };
    if b <= 0.0 {
        return Outcome::none(Status::Empty, "nothing of the organ is left");
    }
    let value = scale * a / b;
    let reach = |x: f64, y: f64| (scale * x / b).hypot(value * y / b);
    Outcome {
        value: Some(value),
        low: Some((value - reach(below, more)).max(0.0)),
        high: over.high.map(|_| value + reach(above, less)),
        ..over
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(value: f64, reach: f64) -> Outcome {
        Outcome { low: Some(value - reach), high: Some(value + reach), ..Outcome::of(value) }
    }

    /// 11.2 cc with a target of 4.1 cc: 7.1 cc, on the other side of 10 cc.
    #[test]
    fn a_difference_keeps_the_bounds_of_both() {
        let got = less(known(11.2, 0.3), [known(4.1, 0.4)].iter());
        let near = |x: Option<f64>, want: f64| assert!((x.unwrap() - want).abs() < 1e-9);
        near(got.value, 7.1);
        near(got.low, 6.6);
        near(got.high, 7.6);
        let unknown = Outcome::none(Status::Empty, "no contours");
        assert_eq!(less(known(11.2, 0.3), [unknown].iter()).status, Status::Empty);
        let lower = Outcome { low: Some(10.9), ..Outcome::at_least(11.2, "cut") };
        let got = less(lower, [known(4.1, 0.4)].iter());
        assert_eq!((got.status, got.high), (Status::Bound, None));
        near(got.low, 6.6);
    }

    #[test]
    fn a_quotient_keeps_the_bounds_of_both() {
        let got = divided(known(10.0, 0.3), &known(5.0, 0.2), 1.0);
        assert_eq!(got.value, Some(2.0));
        assert!((got.high.unwrap() - 2.1).abs() < 1e-9, "{got:?}");
        assert_eq!(divided(known(1.0, 0.0), &known(0.0, 0.0), 1.0).status, Status::Empty);
    }
}
