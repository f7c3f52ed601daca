//! One structure in its dose: what is known of it is taken from the notes, and the rest is measured,
//! once and only when something is missing. Rows are made from both alike.

use std::cell::OnceCell;

use super::bounds::{self, MetricInputs, Views};
use super::coherent;
use super::fields::Fields;
use super::known::{Gathered, Known};
use super::memory::{Facts, Raw};
use super::missing::Missing;
use super::part::{Part, Who};
use super::sensitivity::{self, Mover, Moving, Swung};
use super::stage::{Stage, during};
use super::structure::Solid;
use super::trace::StructureTrace;
use super::{Analysis, GridMeasurement, look_ahead};
use tidydose_geometry::smooth::Variant;
use tidydose_metrics::local::Surroundings;
use tidydose_metrics::place::HOLDING;
use tidydose_metrics::weigh::Extent;
use tidydose_metrics::{
    self as metrics, AppliesTo, Biology, Definition, Metric, Need, Outcome, PrescriptionIsodoses,
    Status, Subject, needs,
};

/// A structure that is looked up, and measured where that does not do.
pub(super) struct Sampling<'b, 'a> {
    context: &'b GridMeasurement<'a>,
    part: &'b Part<'a>,
    solid: &'b Solid,
    /// Status and reason where there is no usable dose for it.
    no_dose: Option<(Status, String)>,
    /// What it is found under.
    key: String,
    seen: OnceCell<Seen>,
}

/// A structure that was measured.
struct Seen {
    /// With cells fine enough for the dose.
    solid: Solid,
    views: Views,
    isodoses: Result<PrescriptionIsodoses, String>,
}

impl<'b, 'a> Sampling<'b, 'a> {
    pub(super) fn of(
        context: &'b GridMeasurement<'a>,
        part: &'b Part<'a>,
        solid: &'b Solid,
    ) -> Self {
        let usable = context.dose.is_some() && !part.in_other_frame(context.case);
        let no_dose = (!usable).then(|| context.reason_without_dose(part));
        let key = format!("{} {no_dose:?}", part.number());
        Self { context, part, solid, no_dose, key, seen: OnceCell::new() }
    }

    /// Whether anything had to be measured.
    fn is_measured(&self) -> bool {
        self.seen.get().is_some()
    }

    /// The structure in all ways.
    fn seen(&self) -> Result<&Seen, Missing> {
        if let Some(seen) = self.seen.get() {
            return Ok(seen);
        }
        let context = self.context;
        let fields = context.fields.filter(|_| self.no_dose.is_none());
        let has_isodoses = self.prescribed_gy().is_some();
        if self.no_dose.is_none() && (fields.is_none() || has_isodoses && context.spaces.is_none())
        {
            return Err(Missing);
        }
        let solid =
            during(Stage::Sampling, || bounds::refined(self.solid, context.settings.ends, fields));
        let spaces = context.spaces.filter(|_| fields.is_some());
        let no_dose = self.no_dose.as_ref();
        let isodoses_in = |space, no_dose| {
            during(Stage::Isodoses, || context.isodoses(self.part, space, no_dose))
        };
        let isodoses = isodoses_in(spaces.map(|s| &s[0]), no_dose);
        let of = |s| isodoses_in(Some(s), None).ok().filter(|_| isodoses.is_ok());
        let other = match spaces {
            Some([_, even, odd]) => {
                [even, odd].into_iter().chain(context.scattered).map(of).collect()
            }
            None => vec![None; fields.map_or(0, |f| f.others().count())],
        };
        let needed = context.settings.needed(&context.settings.all_metrics());
        let isocentres = needs::any_needs(&needed, Need::Form).then_some(context.isocentres);
        let views = during(Stage::Bounds, || {
            Views::of(&solid, context.settings.ends, fields, other, isocentres)
        });
        let _ = self.seen.set(Seen { solid, views, isodoses });
        self.seen.get().ok_or(Missing)
    }

    /// The dose prescribed to it where it has isodoses, Gy.
    fn prescribed_gy(&self) -> Option<f64> {
        self.part.target_dose_gy().filter(|_| self.no_dose.is_none())
    }

    /// What its isodoses follow from.
    fn arrangement(&self) -> &str {
        if self.prescribed_gy().is_some() { &self.context.arrangement } else { "none" }
    }

    fn facts(&self) -> Result<Facts, Missing> {
        let notes = self.context.notes;
        if let Some(facts) = notes.facts(&self.key) {
            return Ok(facts);
        }
        let Seen { solid, views, .. } = self.seen()?;
        let nominal = &views.nominal;
        let cells = solid.occupancy(self.context.settings.ends, 2.0, Variant::default());
        let field = self.context.fields.filter(|_| self.no_dose.is_none()).map(|f| f.nominal);
        let curve = nominal.dvh.as_ref().map(|dvh| super::curve(self.part.number(), dvh));
        let facts = Facts {
            volume_cc: nominal.volume_cc,
            max_gy: nominal.dvh.as_ref().map(tidydose_dose::Dvh::max_gy),
            cover: nominal.cover,
            jumps: nominal.jumps,
            method: views.method(self.context.settings),
            trace: during(Stage::Sampling, || {
                StructureTrace::of(self.part.number(), solid, &cells, field)
            }),
            curve: curve.unwrap_or_default(),
        };
        notes.keep_facts(&self.key, facts.clone());
        Ok(facts)
    }

    /// Its isodoses that the grid cuts.
    fn cuts(&self) -> Result<Vec<String>, Missing> {
        if self.prescribed_gy().is_none() {
            return Ok(Vec::new());
        }
        let (notes, arrangement) = (self.context.notes, self.arrangement());
        if let Some(cuts) = notes.cuts(&self.key, arrangement) {
            return Ok(cuts);
        }
        let cuts = super::cut_isodoses(self.seen()?.isodoses.as_ref().ok());
        notes.keep_cuts(&self.key, arrangement, cuts.clone());
        Ok(cuts)
    }

    /// What a value follows from besides the structure and its dose.
    fn value_key(&self, metric: &Metric, biology: &Biology) -> String {
        let mut key = metric.to_string();
        if metric.definition.needs(Need::Biology) {
            let organ = biology.organ.map_or("", |o| o.organ);
            key += &format!(
                "; {:?} fractions, {:?} days, {} Gy {}, {organ}, target {}",
                biology.fractions,
                biology.days,
                biology.alpha_beta_gy,
                biology.alpha_beta_basis,
                biology.is_target
            );
        }
        if metric.definition.applies_to == AppliesTo::Target {
            key += &format!("; {}", self.arrangement());
        }
        key
    }

    /// One value, as the structure would have it if it were `who`.
    fn value(&self, metric: &Metric, who: Who<'_>) -> Result<Raw, Missing> {
        let biology = who.biology(self.context.case, self.context.settings);
        let key = self.value_key(metric, &biology);
        let notes = self.context.notes;
        if let Some(raw) = notes.value(&self.key, &key) {
            return Ok(raw);
        }
        let Seen { views, isodoses, .. } = self.seen()?;
        let (no_dose, isodoses) = (self.no_dose.clone(), isodoses.clone());
        let around = MetricInputs { no_dose, isodoses, biology };
        let (outcome, uncertainty) = during(Stage::Bounds, || views.traced(metric, &around));
        let raw = Raw { outcome, uncertainty, rule: views.rule(metric, &around) };
        notes.keep_value(&self.key, key, raw.clone());
        Ok(raw)
    }

    /// All values that the structure has if it is `who`, each with its rule: as they were measured.
    pub(super) fn values(
        &self,
        who: Who<'_>,
        subject: &Subject<'_>,
    ) -> Result<Vec<(Known, String)>, Missing> {
        let needed = self.context.settings.needed(&who.metrics(self.context.settings));
        let holds = |m: &&Metric| {
            !needed.contains(m) && (m.definition.place)(subject, m.argument).is_some()
        };
        let alone = |d: &Definition| who.takes(d) && !d.needs(Need::Organs);
        let all = needed.iter().chain(HOLDING.iter().filter(holds));
        let mut out = Vec::new();
        for metric in all.filter(|m| alone(m.definition)) {
            let Raw { outcome, uncertainty, rule } = self.value(metric, who)?;
            out.push((Known { metric: *metric, outcome, uncertainty }, rule));
        }
        Ok(out)
    }

    /// What a motion changes of some values of the structure, each as it has them if it is `who`.
    fn swings(
        &self,
        moving: Moving,
        metrics: &[Metric],
        who: Who<'_>,
    ) -> Result<Vec<Swung>, Missing> {
        let (notes, biology) =
            (self.context.notes, who.biology(self.context.case, self.context.settings));
        let key = |metric: &Metric| format!("{moving:?}; {}", self.value_key(metric, &biology));
        let known = |metric: &Metric| notes.swung(&self.key, &key(metric));
        let unknown: Vec<Metric> = metrics.iter().filter(|m| known(m).is_none()).copied().collect();
        if !unknown.is_empty() {
            let Seen { solid, isodoses, .. } = self.seen()?;
            let field = self.context.fields.filter(|_| self.no_dose.is_none()).map(|f| f.nominal);
            let around = |metric: &Metric| {
                let (no_dose, isodoses) = (self.no_dose.clone(), isodoses.clone());
                (*metric, MetricInputs { no_dose, isodoses, biology: biology.clone() })
            };
            let asked: Vec<(Metric, MetricInputs)> = unknown.iter().map(around).collect();
            let swings = during(Stage::Bounds, || {
                Mover::of(solid, self.context.settings.ends, field).swings(moving, &asked)
            });
            for (metric, swung) in unknown.iter().zip(swings) {
                notes.keep_swung(&self.key, key(metric), swung);
            }
        }
        Ok(metrics.iter().filter_map(known).collect())
    }

    /// A share of the structure that some dose reaches.
    pub(super) fn share(&self, metric: &Metric, who: Who<'_>) -> Result<Raw, Missing> {
        self.value(metric, who)
    }
}

impl<'a> GridMeasurement<'a> {
    /// Adds the rows of a structure, and to what is gathered all its values and what of it lies in
    /// the isodoses of the prescriptions.
    pub(super) fn measure(
        &self,
        part: &Part<'a>,
        gathered: &mut Gathered,
        out: &mut Analysis,
    ) -> Result<(), Missing> {
        let solid = match &part.solid {
            Ok(solid) => solid,
            Err(none) => {
                self.rows_without_solid(part, none, out);
                return Ok(());
            }
        };
        let sampling = Sampling::of(self, part, solid);
        let facts = sampling.facts()?;
        super::report(part, &facts, sampling.no_dose.is_none(), out);
        super::report_cut_isodoses(part, &sampling.cuts()?, out);
        let rx = sampling.prescribed_gy().map(prescription_alone);
        let subject = subject(&facts, rx.as_ref());
        let (mut values, rules): (Vec<Known>, Vec<String>) =
            sampling.values(part.who(), &subject)?.into_iter().unzip();
        coherent::of_structure(&mut values, &subject);
        let extent = Extent { volume_cc: facts.volume_cc, max_gy: facts.max_gy.unwrap_or(0.0) };
        for known in &mut values {
            let (outcome, from) = (known.outcome.clone(), self.settings.uncertain_from);
            known.outcome = known.metric.definition.weighed_by(outcome, extent, from);
        }
        let asked = part.who().metrics(self.settings);
        for (known, rule) in values.iter().zip(&rules).filter(|(k, _)| asked.contains(&k.metric)) {
            let Known { metric, outcome, uncertainty } = known.clone();
            let method = [facts.method.as_str(), rule];
            out.measurements.push(super::row(part, &metric, outcome, uncertainty, method));
        }
        self.add_moved(part, &sampling, &values, out)?;
        gathered.values.add(part.number(), values);
        let volume = gathered.values.plain(part.number(), &metrics::VOLUME);
        out.structures.push(self.structure_row(part, solid, &facts, volume));
        out.dvh.extend(&facts.curve);
        out.traces.push(facts.trace);
        gathered.shares.extend(self.organ_shares(part.who(), &sampling)?);
        if self.notes.looks_ahead() && sampling.is_measured() {
            for name in look_ahead::names(part, self.settings) {
                let who = Who { name: Some(&name) };
                sampling.values(who, &subject)?;
                self.organ_shares(who, &sampling)?;
            }
        }
        self.notes.count(part.number(), sampling.is_measured());
        Ok(())
    }

    /// Adds what the values would be if the structure were moved, where that is asked for.
    fn add_moved(
        &self,
        part: &Part<'a>,
        sampling: &Sampling<'_, 'a>,
        values: &[Known],
        out: &mut Analysis,
    ) -> Result<(), Missing> {
        if !part.is_moved() {
            return Ok(());
        }
        let asked = part.who().metrics(self.settings);
        let asked = asked.iter().filter(|m| part.takes(m.definition));
        let outcome = |metric: &Metric| {
            let known = values.iter().find(|k| k.metric == *metric);
            known.map_or_else(
                || sensitivity::refusal(metric).unwrap_or_else(sensitivity::not_computed),
                |k| k.outcome.clone(),
            )
        };
        let list: Vec<(Metric, Outcome)> = asked.map(|m| (*m, outcome(m))).collect();
        let can_move = |(metric, outcome): &&(Metric, Outcome)| {
            outcome.value.is_some() && sensitivity::refusal(metric).is_none()
        };
        let movable: Vec<Metric> = list.iter().filter(can_move).map(|(m, _)| *m).collect();
        for moving in Moving::all(self.settings) {
            let mut swings = sampling.swings(moving, &movable, part.who())?.into_iter();
            for one in &list {
                let (metric, outcome) = one;
                let swung = if can_move(&one) { swings.next() } else { None };
                let none = || sensitivity::refusal(metric).unwrap_or_else(|| outcome.clone());
                let swung = swung.unwrap_or_else(|| Err(none()));
                let of = (metric, outcome, part.role().is_target());
                out.sensitivities.push(sensitivity::row(part.number(), of, moving, &swung));
            }
        }
        Ok(())
    }

    /// The same rows of a structure without a solid.
    pub(super) fn add_moved_without_solid(
        &self,
        part: &Part<'_>,
        metric: &Metric,
        outcome: &Outcome,
        out: &mut Analysis,
    ) {
        for moving in Moving::all(self.settings).into_iter().filter(|_| part.is_moved()) {
            let of = (metric, outcome, part.role().is_target());
            let swung = Err(outcome.clone());
            out.sensitivities.push(sensitivity::row(part.number(), of, moving, &swung));
        }
    }

    /// The dose of the context as a structure has it.
    pub(super) fn fields_of(&self, part: &Part<'_>) -> Option<Fields<'a>> {
        self.fields.filter(|_| !part.in_other_frame(self.case))
    }
}

/// A structure as places on curves and widths of bounds see it: size, prescription dose and nothing
/// else.
fn subject<'s>(facts: &Facts, rx: Option<&'s PrescriptionIsodoses>) -> Subject<'s> {
    let none = (Status::NotApplicable, "the histogram is not at hand".to_owned());
    let alone = Subject::new(facts.volume_cc, Err(none));
    match rx {
        Some(rx) => Subject { prescription: Ok(rx), ..alone },
        None => alone,
    }
}

/// A prescription dose without its isodoses.
fn prescription_alone(dose_gy: f64) -> PrescriptionIsodoses {
    let none = || Err("the isodose is not at hand".to_owned());
    let (whole, half, around) = (none(), none(), Surroundings::default());
    PrescriptionIsodoses { dose_gy, whole, half, penumbra: None, around }
}
