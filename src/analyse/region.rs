//! Numbers of regions that nobody drew: all tissue, the brain without targets, and all targets
//! together. Each region has a name, so that a volume at 12 Gy never stands without one.

use std::sync::Arc;

use super::bounds::{self, MetricInputs, Views};
use super::coherent;
use super::known::{Gathered, GridPass, Values};
use super::missing::Missing;
use super::part::Part;
use super::rows::RegionMeasurement;
use super::structure::Solid;
use super::target::{Space, Target, lesions};
use super::{GridMeasurement, Settings};
use tidydose_case::{NamedRoi, Role, volume_window};
use tidydose_dose::Isodose;
use tidydose_geometry::locate::{Keep, Locator, clipped};
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::place::HOLDING;
use tidydose_metrics::plan_wide::{PlanTotals, Total};
use tidydose_metrics::{
    self as metrics, Definition, InRegions, Metric, Need, Outcome, PhysicalRange, Status, Subject,
    needs,
};

/// All space that the dose grid covers, within the outline of the patient where there is one.
const TISSUE: &str = "all tissue";
/// The union of the targets with a prescription.
const TARGETS: &str = "all targets";
/// Standard name of the organ that targets are taken out of.
pub(super) const BRAIN: &str = "Brain";

/// The brain without targets of one kind, or of any.
const WITHOUT: [&str; 3] = ["Brain-GTV", "Brain-PTV", "Brain-targets"];

/// The last of them: without any target.
const WITHOUT_TARGETS: &str = WITHOUT[2];
/// What is said of it where no structure is certainly the whole brain.
const REST_RULE: &str = "of a structure that is the brain with or without targets";

/// The regions that have rows of their own in table metrics.
pub const REGIONS: [&str; 5] = [TISSUE, TARGETS, WITHOUT[0], WITHOUT[1], WITHOUT[2]];

/// Whether a region is what is left of the brain.
pub(super) fn rests_on_brain(region: &str) -> bool {
    region.strip_prefix(BRAIN).is_some_and(|rest| rest.starts_with('-'))
}

fn is_brain_or_its_rest(part: &Part<'_>) -> bool {
    part.name.is_some_and(NamedRoi::is_brain_or_its_rest)
}

/// The structures that are the brain with or without targets and have the size of one.
fn rests_of_brain<'p, 'a>(parts: &'p [Part<'a>], values: &Values) -> Vec<&'p Part<'a>> {
    let volume = Metric { definition: &metrics::VOLUME, argument: 0.0 };
    let window = volume_window(BRAIN);
    let has_size = |p: &&Part<'_>| {
        let cc = outcome_of(values, p.roi.header.number, &volume).value;
        cc.zip(window).is_some_and(|(cc, w)| (w.low_cc..=w.high_cc).contains(&cc))
    };
    parts.iter().filter(|p| is_brain_or_its_rest(p)).filter(has_size).collect()
}

/// A number of the plan with its standard uncertainty, or the outcome that stands for it.
type Quantity = Result<(f64, f64), Outcome>;

impl GridMeasurement<'_> {
    /// The rows of the plan, and those of the regions where they are wanted.
    pub(super) fn regions(
        &self,
        parts: &[Part<'_>],
        gathered: &Gathered,
    ) -> Result<Vec<RegionMeasurement>, Missing> {
        let make = || {
            let mut out = self.plan(gathered);
            if self.settings.regions {
                out.extend(self.tissue());
                out.extend(self.brain(parts, &gathered.values));
            }
            out
        };
        match (self.dose, self.spaces) {
            (None, _) => Ok(make()),
            (Some(_), spaces) => {
                let make = || spaces.map(|_| make()).ok_or(Missing);
                self.notes.regions_or(self.key(parts), make)
            }
        }
    }

    /// What the rows follow from besides the dose: every target by kind, the brain, and what is asked
    /// for.
    fn key(&self, parts: &[Part<'_>]) -> String {
        let Settings { metrics, regions, uncertain_from, .. } = self.settings;
        let takes_part = |p: &&Part<'_>| p.role().is_target() || is_brain_or_its_rest(p);
        let who = |p: &Part<'_>| (p.number(), p.role().word(), p.prescription.map(|rx| rx.0));
        let who: Vec<_> = parts.iter().filter(takes_part).map(who).collect();
        let metrics: Vec<String> = metrics.iter().map(Metric::to_string).collect();
        let GridPass { grids, holds_all, .. } = self.turn;
        format!(
            "{}; {who:?}; {grids} grids {holds_all}; {regions} {uncertain_from} {}",
            self.arrangement,
            metrics.join(" ")
        )
    }

    /// The isodoses of all space, or the outcome that stands for all that needs them.
    fn all_space(&self) -> Result<&[Space<'_>; 3], Outcome> {
        let Some(spaces) = self.spaces else {
            let (status, reason) = super::reason_without_dose(self.case);
            return Err(Outcome::none(status, reason));
        };
        if self.turn.holds_all {
            return Ok(spaces);
        }
        let reason = format!(
            "the dose lies in {} grids of parts of the patient, and none of them holds the others",
            self.turn.grids
        );
        Err(Outcome::none(Status::PartlyOutsideGrid, reason))
    }

    fn region_row(
        &self,
        region: &str,
        metric: &Metric,
        (outcome, volume_cc): (Outcome, f64),
        rule: &str,
    ) -> RegionMeasurement {
        let method = self.settings.method();
        let none = (Status::NotApplicable, "not a structure".to_owned());
        let subject = Subject::new(volume_cc, Err(none));
        let from = self.settings.uncertain_from;
        let outcome = metric.definition.weighed(outcome, &subject, from);
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
        let is_isodose = |m: &&Metric| matches!(m.definition.in_regions, InRegions::Isodose);
        let asked = self.settings.metrics.iter().filter(is_isodose);
        let mut rows: Vec<(Metric, Outcome)> = asked
            .map(|metric| {
                let outcome = match self.all_space() {
                    Err(outcome) => outcome,
                    Ok(spaces) => {
                        let isodoses = spaces.each_ref().map(|s| s.whole(metric.argument));
                        self.of_isodoses(isodoses, |i| i.volume_mm3 / 1000.0)
                    }
                };
                (*metric, outcome)
            })
            .collect();
        coherent::of_region(&mut rows);
        let rule = self.outline_words();
        rows.into_iter().map(|(m, o)| self.region_row(TISSUE, &m, (o, 0.0), rule)).collect()
    }

    /// A number of an isodose, with bounds from the dose at every second voxel.
    fn of_isodoses(&self, [nominal, a, b]: [Isodose; 3], of: fn(&Isodose) -> f64) -> Outcome {
        let value = of(&nominal);
        let u = self.isodose_uncertainty([nominal, a, b], of);
        let (low, high) = (Some((value - 2.0 * u).max(0.0)), Some(value + 2.0 * u));
        if nominal.cut_by_grid {
            let reason = "the isodose reaches the edge of the dose grid";
            return Outcome { low, ..Outcome::at_least(value, reason) };
        }
        Outcome { low, high, ..Outcome::of(value) }
    }

    /// Standard uncertainty of a number of an isodose.
    fn isodose_uncertainty(&self, [nominal, a, b]: [Isodose; 3], of: fn(&Isodose) -> f64) -> f64 {
        let differences = [a, b].map(|i| (of(&i) - of(&nominal)).abs());
        let share = bounds::dose_share(self.settings.interpolation);
        (share * differences[0].max(differences[1])).hypot(bounds::CHANCE_SHARE * of(&nominal))
    }

    fn plan(&self, gathered: &Gathered) -> Vec<RegionMeasurement> {
        let metrics = &self.settings.metrics;
        if !needs::any_needs(metrics, Need::Totals) {
            return Vec::new();
        }
        let plan = metrics.iter().filter(|m| m.definition.needs(Need::Totals));
        let totals = self.totals(gathered);
        plan.map(|metric| match &totals {
            Err(outcome) => self.region_row(TARGETS, metric, (outcome.clone(), 0.0), ""),
            Ok((totals, uncertainties)) => {
                let outcome = of_totals(metric, totals, uncertainties);
                self.region_row(TARGETS, metric, (outcome, 0.0), &totals.prescriptions)
            }
        })
        .collect()
    }

    /// What the plan adds up to, with the standard uncertainty of each quantity.
    fn totals(
        &self,
        gathered: &Gathered,
    ) -> Result<(PlanTotals, [f64; Total::ALL.len()]), Outcome> {
        if self.spaces.is_none() {
            let (status, reason) = super::reason_without_dose(self.case);
            return Err(Outcome::none(status, reason));
        }
        let mut own: Vec<usize> = lesions(self.targets);
        own.sort_unstable();
        own.dedup();
        if own.is_empty() {
            let reason = "no target has a prescription";
            return Err(Outcome::none(Status::NotApplicable, reason));
        }
        let targets: Vec<&Target> = own.iter().filter_map(|i| self.targets.get(*i)).collect();
        let mut doses: Vec<f64> = targets.iter().map(|t| t.dose_gy).collect();
        doses.sort_by(f64::total_cmp);
        doses.dedup();
        let common = doses.first().copied().filter(|_| doses.len() == 1);
        let words = doses.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
        let mut quantities = self.of_space(common);
        for total in Total::ALL {
            if let Some((definition, argument)) = total.of_targets() {
                let metric = Metric { definition, argument };
                quantities[total as usize] = sum(&gathered.values, &targets, &metric);
            }
        }
        let maximum = Ok((gathered.maximum_gy, gathered.step_gy / 2.0));
        quantities[Total::Maximum as usize] = maximum;
        let uncertainties =
            quantities.each_ref().map(|q| q.as_ref().map_or(0.0, |(_, uncertainty)| *uncertainty));
        let totals = PlanTotals {
            lesions: own.len(),
            dose_gy: common,
            prescriptions: format!("Rx {words} Gy"),
            totals: quantities.map(|q| q.map(|(value, _)| value)),
        };
        Ok((totals, uncertainties))
    }

    /// The quantities of isodoses of all space; nothing where the grid cuts one.
    fn of_space(&self, common: Option<f64>) -> [Quantity; Total::ALL.len()] {
        let unknown = Outcome::none(Status::NotApplicable, "the quantity was not computed");
        let mut out = Total::ALL.map(|_| Err(unknown.clone()));
        let mut set = |total: Total, quantity: Quantity| out[total as usize] = quantity;
        let levels = [
            (common, Some(Total::Whole), None),
            (common.map(|d| d / 2.0), Some(Total::Half), Some(Total::HalfDose)),
            (Some(12.0), None, Some(Total::TwelveDose)),
        ];
        for (dose_gy, of_volume, of_dose) in levels {
            let Some(dose_gy) = dose_gy else { continue };
            let isodoses = self.all_space().and_then(|spaces| {
                let isodoses = spaces.each_ref().map(|s| s.whole(dose_gy));
                let cut = || Outcome::none(Status::PartlyOutsideGrid, metrics::CUT);
                if isodoses[0].cut_by_grid { Err(cut()) } else { Ok(isodoses) }
            });
            let quantity = |of: fn(&Isodose) -> f64| {
                let isodoses = isodoses.clone()?;
                Ok((of(&isodoses[0]), self.isodose_uncertainty(isodoses, of)))
            };
            if let Some(total) = of_volume {
                set(total, quantity(|i| i.volume_mm3 / 1000.0));
            }
            if let Some(total) = of_dose {
                set(total, quantity(|i| i.integral_gy_mm3 / 1000.0));
            }
        }
        out
    }

    /// The metrics of regions that add up over parts of space, those not asked for among them.
    fn additive_metrics(&self) -> Vec<Metric> {
        let mut list = needs::with_parts_in_regions(&self.settings.metrics);
        list.retain(|m| m.definition.in_regions.adds_up());
        // Every structure has them, and they hold the bounds of the others.
        for metric in HOLDING.iter().filter(|m| m.definition.in_regions.adds_up()) {
            if !list.contains(metric) {
                list.push(*metric);
            }
        }
        list
    }

    fn brain(&self, parts: &[Part<'_>], values: &Values) -> Vec<RegionMeasurement> {
        let is_brain = |p: &&Part<'_>| {
            p.name.and_then(|n| n.standard.as_deref()) == Some(BRAIN) && p.role() == Role::Organ
        };
        let brains: Vec<&Part<'_>> = parts.iter().filter(is_brain).collect();
        let rests = if brains.is_empty() { rests_of_brain(parts, values) } else { Vec::new() };
        let mut out = Vec::new();
        for region in WITHOUT {
            let takes = |role: Role| match region {
                "Brain-GTV" => role == Role::Gtv,
                "Brain-PTV" => role == Role::Ptv,
                _ => role.is_target(),
            };
            let targets: Vec<&Part<'_>> =
                parts.iter().filter(|p| takes(p.role()) && p.solid.is_ok()).collect();
            // Without all targets, the brain and what is left of it are the same.
            let holds = |brain: &&Part<'_>| self.holds_wholly(brain, &targets);
            let is_rest = region == WITHOUT_TARGETS && rests.iter().any(holds);
            let (brains, rule) = if is_rest { (&rests, REST_RULE) } else { (&brains, "") };
            let rest = match brains.as_slice() {
                [] => Err(Outcome::none(Status::Absent, "no structure is the whole brain")),
                [_] if targets.is_empty() => {
                    Err(Outcome::none(Status::Absent, "no target of this kind is contoured"))
                }
                [brain] => Ok((*brain, self.inside(brain, targets, values))),
                _ => Err(Outcome::none(Status::Ambiguous, "several structures are the brain")),
            };
            out.extend(self.remainder((region, rule), rest, values));
        }
        out
    }

    /// Whether every target lies inside: none was left out as the structure was drawn. Around a hole
    /// what is between the slices differs from the target by slivers that no bound holds.
    fn holds_wholly(&self, organ: &Part<'_>, targets: &[&Part<'_>]) -> bool {
        let cells = |p: &Part<'_>, finer: f64| {
            let solid = p.solid.as_ref().ok()?;
            Some(solid.occupancy(self.settings.ends, finer, Variant::default()))
        };
        let Some(around) = cells(organ, 1.0) else { return false };
        let around = Locator::new(&around);
        targets.iter().filter_map(|t| cells(t, 2.0)).all(|own| {
            let inside = clipped(&own, &around, Keep::Inside).volume_mm3();
            inside >= (1.0 - NOTHING) * own.volume_mm3()
        })
    }

    /// The metrics of what of some targets lies in an organ, each part of space once.
    fn inside(
        &self,
        organ: &Part<'_>,
        mut targets: Vec<&Part<'_>>,
        values: &Values,
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
                let of = |m: &Metric| outcome_of(values, part.roi.header.number, m);
                out.push(self.additive_metrics().iter().map(of).collect());
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
        let fields = self.fields_of(part);
        let isodoses = vec![None; fields.map_or(0, |f| f.others().count())];
        let views = Views::of(solid, self.settings.ends, fields, isodoses, None);
        let around = MetricInputs {
            no_dose: fields.is_none().then(|| self.reason_without_dose(part)),
            isodoses: Err(String::new()),
            biology: part.who().biology(self.case, self.settings),
        };
        self.additive_metrics().iter().map(|m| views.measure(m, &around)).collect()
    }

    /// The rows of an organ without what is inside it.
    fn remainder(
        &self,
        (region, rule): (&str, &str),
        rest: Result<(&Part<'_>, Vec<Vec<Outcome>>), Outcome>,
        values: &Values,
    ) -> Vec<RegionMeasurement> {
        let mut rows: Vec<(Metric, Outcome)> = self
            .additive_metrics()
            .into_iter()
            .enumerate()
            .map(|(i, metric)| {
                let outcome = match &rest {
                    Err(outcome) => outcome.clone(),
                    Ok((organ, inside)) => {
                        let whole = outcome_of(values, organ.roi.header.number, &metric);
                        less(whole, inside.iter().filter_map(|o| o.get(i)))
                    }
                };
                (metric, outcome)
            })
            .collect();
        rows.extend(self.ratios(&rows));
        coherent::of_region(&mut rows);
        let is_volume = |m: &Metric| std::ptr::eq(m.definition, &metrics::VOLUME);
        let volume_cc = rows.iter().find(|(m, _)| is_volume(m)).and_then(|(_, o)| o.value);
        let volume_cc = volume_cc.unwrap_or_default();
        let asked = rows.into_iter().filter(|(m, _)| self.settings.metrics.contains(m));
        asked.map(|(m, o)| self.region_row(region, &m, (o, volume_cc), rule)).collect()
    }

    /// Mean dose and shares from volumes and integral dose.
    fn ratios(&self, sums: &[(Metric, Outcome)]) -> Vec<(Metric, Outcome)> {
        let of = |definition: &'static Definition, argument: f64| {
            let wanted = Metric { definition, argument };
            sums.iter().find(|(m, _)| *m == wanted).map(|(_, o)| o.clone())
        };
        let volume = of(&metrics::VOLUME, 0.0);
        let ratio = |m: &Metric| match m.definition.in_regions {
            InRegions::PerVolume { of: over, factor } => {
                let over = of(over, m.argument)?;
                Some((
                    *m,
                    divided(over, volume.as_ref()?, (factor, m.definition.physical_range.most)),
                ))
            }
            _ => None,
        };
        let asked = &self.settings.metrics;
        asked
            .iter()
            .chain(HOLDING.iter().filter(|m| !asked.contains(m)))
            .filter_map(ratio)
            .collect()
    }
}

/// A metric of the plan with its bounds.
fn of_totals(metric: &Metric, totals: &PlanTotals, uncertainties: &[f64]) -> Outcome {
    let none = (Status::NotApplicable, "not a structure".to_owned());
    let at = |totals: &PlanTotals| {
        let without = Subject::new(0.0, Err(none.clone()));
        metric.compute(&Subject { totals: Some(totals), ..without })
    };
    let mut outcome = at(totals);
    let Some(value) = outcome.value else { return outcome };
    let mut squares = 0.0;
    for (i, uncertainty) in uncertainties.iter().enumerate() {
        let mut varied = totals.clone();
        if let Ok(quantity) = &mut varied.totals[i] {
            *quantity += uncertainty;
        }
        let moved = at(&varied).value.unwrap_or(value);
        squares += (moved - value).powi(2);
    }
    let reach = 2.0 * squares.sqrt();
    let PhysicalRange { least, most } = metric.definition.physical_range;
    outcome.low = Some((value - reach).max(least));
    outcome.high = Some((value + reach).min(most));
    outcome
}

/// A metric added up over targets; the standard uncertainties of independent values in squares.
fn sum(values: &Values, targets: &[&Target], metric: &Metric) -> Quantity {
    let (mut total, mut squares) = (0.0, 0.0);
    for target in targets {
        let (value, uncertainty) = of_structure(values, target.roi_number, metric)?;
        total += value;
        squares += uncertainty * uncertainty;
    }
    Ok((total, f64::sqrt(squares)))
}

/// Shares of a target up to this are the rounding of cells.
const NOTHING: f64 = 1e-6;

fn outcome_of(values: &Values, roi_number: i64, metric: &Metric) -> Outcome {
    values.of(roi_number, metric).map_or_else(
        || Outcome::none(Status::NotApplicable, "the structure was not measured"),
        |known| known.outcome.clone(),
    )
}

/// Value and standard uncertainty of a structure's metric.
fn of_structure(values: &Values, roi_number: i64, metric: &Metric) -> Quantity {
    let o = outcome_of(values, roi_number, metric);
    match (o.status, o.value) {
        (status, Some(value)) if status.has_both_bounds() => {
            let uncertainty = (o.high.unwrap_or(value) - o.low.unwrap_or(value)) / 4.0;
            Ok((value, uncertainty))
        }
        // A lower bound adds up to no value of the whole.
        (Status::Bound, _) => {
            let reason = format!("ROI {roi_number}: {}", o.reason);
            Err(Outcome::none(Status::PartlyOutsideGrid, reason))
        }
        _ => Err(Outcome::none(o.status, format!("ROI {roi_number}: {}", o.reason))),
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
        let Some((v, [below, above])) = reaches(other).filter(|_| other.status.has_both_bounds())
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
fn divided(over: Outcome, under: &Outcome, (scale, most): (f64, f64)) -> Outcome {
    let (Some((a, [below, above])), Some((b, [less, more]))) = (reaches(&over), reaches(under))
    else {
        return if over.value.is_some() { under.clone() } else { over };
    };
    if b <= 0.0 {
        return Outcome::none(Status::Empty, "nothing of the organ is left");
    }
    // A share of at most the whole, but for the last digits.
    let value = (scale * a / b).min(most);
    let reach = |x: f64, y: f64| (scale * x / b).hypot(value * y / b);
    Outcome {
        value: Some(value),
        low: Some((value - reach(below, more)).max(0.0)),
        high: over.high.map(|_| (value + reach(above, less)).min(most)),
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
        let got = divided(known(10.0, 0.3), &known(5.0, 0.2), (1.0, f64::INFINITY));
        assert_eq!(got.value, Some(2.0));
        assert!((got.high.unwrap() - 2.1).abs() < 1e-9, "{got:?}");
        assert_eq!(
            divided(known(1.0, 0.0), &known(0.0, 0.0), (1.0, f64::INFINITY)).status,
            Status::Empty
        );
    }
}
