//! The quantities that figures and comparisons are about, each with the plan or lesion it belongs to,
//! and how many have no value for which reason.

use std::collections::{BTreeMap, BTreeSet};

use super::Study;
use tidydose_table::clinical_words;
use tidydose_table::read::{MetricRow, Status, level};

/// What is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Quantity {
    /// Standard name of an organ or region; absent for the outermost target of each lesion.
    pub(super) structure: Option<&'static str>,
    /// Metric.
    pub(super) metric: &'static str,
    /// Its unit; empty for a ratio.
    pub(super) unit: &'static str,
    /// Whether it spans powers of ten.
    pub(super) log: bool,
}

const fn of(
    structure: Option<&'static str>,
    metric: &'static str,
    unit: &'static str,
    log: bool,
) -> Quantity {
    Quantity { structure, metric, unit, log }
}

/// Few and named beforehand: whoever compares many picks the one that differs by chance.
pub(super) const QUANTITIES: [Quantity; 9] = [
    of(Some("Brainstem"), "D0.03cc[Gy]", "Gy", false),
    of(Some("OpticChiasm"), "D0.03cc[Gy]", "Gy", false),
    of(Some("Cochlea_L"), "Mean[Gy]", "Gy", false),
    of(Some("Cochlea_R"), "Mean[Gy]", "Gy", false),
    of(Some("Brain-targets"), "V12Gy[cc]", "cc", true),
    of(Some("all tissue"), "V12Gy[cc]", "cc", true),
    of(None, "Coverage", "", false),
    of(None, "PaddickConformity", "", false),
    of(None, "PaddickGradient", "", false),
];

impl Quantity {
    /// As tables name it.
    pub(super) fn words(&self) -> String {
        format!("{} {}", self.structure.unwrap_or("lesion"), self.metric)
    }

    /// As the clinic says it, with its unit.
    pub(super) fn clinical(&self) -> String {
        clinical_words::quantity(self.structure.unwrap_or("lesion"), self.metric)
    }

    /// For the name of a file.
    pub(super) fn plain(&self) -> String {
        plain(&self.words())
    }

    /// What a value belongs to.
    pub(super) const fn grain(&self) -> &'static str {
        if self.structure.is_some() { "plan" } else { "lesion" }
    }
}

/// Letters, digits and single underscores.
pub(super) fn plain(words: &str) -> String {
    let word = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { ' ' };
    let spaced: String = words.chars().map(word).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join("_")
}

/// One value with what it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observed {
    pub(super) patient: String,
    pub(super) plan: String,
    /// Lesion or structure.
    pub(super) subject: String,
    pub(super) group: String,
    pub(super) fractions: String,
    /// Volume of the lesion, of all lesions of the plan together for a quantity of the plan, cc.
    pub(super) target_cc: Option<f64>,
    pub(super) value: f64,
}

/// All values of a quantity.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Measured {
    pub(super) values: Vec<Observed>,
    /// Plans or lesions without a value, by reason.
    pub(super) without: BTreeMap<String, usize>,
}

impl Measured {
    pub(super) fn fractions(&self) -> BTreeSet<&str> {
        self.values.iter().map(|o| o.fractions.as_str()).collect()
    }

    pub(super) fn of_fractions<'m>(
        &'m self,
        fractions: &'m str,
    ) -> impl Iterator<Item = &'m Observed> {
        self.values.iter().filter(move |o| o.fractions == fractions)
    }

    /// Reasons with their counts in words; empty for none.
    pub(super) fn without_words(&self) -> String {
        let list: Vec<String> =
            self.without.iter().map(|(r, n)| format!("{} {n}", r.replace('_', " "))).collect();
        list.join(", ")
    }
}

/// A plan as groups need it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PlanGroup {
    pub(super) patient: String,
    pub(super) group: String,
    pub(super) fractions: String,
}

/// What stands where the table says nothing.
pub(super) const UNKNOWN: &str = "unknown";

/// The plans by name, each with its group.
pub(super) fn plan_groups(study: &Study<'_>, group: &str) -> BTreeMap<String, PlanGroup> {
    let named = |text: Option<String>| text.unwrap_or_else(|| UNKNOWN.to_owned());
    let mut groups = BTreeMap::new();
    for (number, plan) in study.plans.iter().enumerate() {
        let patient = Some(plan.patient_id).filter(|p| !p.is_empty());
        let of_plan = PlanGroup {
            patient: named(patient.map(str::to_owned)),
            group: named(level(study.plan_table, group, number)),
            fractions: named(plan.fractions_planned.map(|n| n.to_string())),
        };
        groups.insert(plan.plan_id.to_owned(), of_plan);
    }
    groups
}

/// Those of the included plans.
pub(super) fn places(
    study: &Study<'_>,
    included: &BTreeSet<String>,
    group: &str,
) -> BTreeMap<String, PlanGroup> {
    let mut groups = plan_groups(study, group);
    groups.retain(|plan, _| included.contains(plan));
    groups
}

/// Words for a number of fractions as it stands in the tables.
pub(super) fn fraction_words(fractions: &str) -> String {
    match fractions {
        UNKNOWN => "fractions not stated".to_owned(),
        "1" => "1 fraction".to_owned(),
        n => format!("{n} fractions"),
    }
}

/// Lesions with their plan and volume.
fn lesions<'t>(study: &Study<'t>) -> BTreeMap<&'t str, (&'t str, Option<f64>)> {
    study.lesions.iter().map(|l| (l.lesion_id, (l.plan_id, l.volume_cc))).collect()
}

/// Volume of all lesions of each plan; absent where that of one is.
fn totals<'t>(study: &Study<'t>) -> BTreeMap<&'t str, Option<f64>> {
    let mut totals: BTreeMap<&str, Option<f64>> = BTreeMap::new();
    for (plan, volume) in lesions(study).into_values() {
        let total = totals.entry(plan).or_insert(Some(0.0));
        *total = total.zip(volume).map(|(t, v)| t + v);
    }
    totals
}

/// The values of one quantity in the included plans. A plan or lesion with several rows of it (two
/// organs of one name) has none.
pub(super) fn measured(
    study: &Study<'_>,
    places: &BTreeMap<String, PlanGroup>,
    quantity: &Quantity,
) -> Measured {
    let (lesions, totals) = (lesions(study), totals(study));
    let mut found: BTreeMap<&str, Vec<&MetricRow<'_>>> = BTreeMap::new();
    if quantity.structure.is_some() {
        found.extend(places.keys().map(|plan| (plan.as_str(), Vec::new())));
    } else {
        let inside = lesions.iter().filter(|(_, (plan, _))| places.contains_key(*plan));
        found.extend(inside.map(|(lesion, _)| (*lesion, Vec::new())));
    }
    for row in study.metrics.iter().filter(|m| m.metric == quantity.metric) {
        let subject = match quantity.structure {
            Some(name) if row.structure == name => row.plan_id,
            Some(_) => continue,
            None => row.structure_id,
        };
        if let Some(list) = found.get_mut(subject) {
            list.push(row);
        }
    }
    let mut out = Measured::default();
    for (subject, list) in found {
        let plan = lesions.get(subject).map_or(subject, |(plan, _)| *plan);
        let Some(place) = places.get(plan) else { continue };
        let value = match list[..] {
            [] if quantity.structure.is_some_and(|organ| study.open.may_hold(plan, organ)) => {
                Err(Status::NameUndecided.word())
            }
            [] => Err(Status::Absent.word()),
            [row] => row.usable().map_err(Status::word),
            _ => Err("several of the name"),
        };
        match value {
            Ok(value) => out.values.push(Observed {
                patient: place.patient.clone(),
                plan: plan.to_owned(),
                subject: subject.to_owned(),
                group: place.group.clone(),
                fractions: place.fractions.clone(),
                target_cc: lesions
                    .get(subject)
                    .map_or_else(|| totals.get(plan).copied().flatten(), |(_, v)| *v),
                value,
            }),
            Err(reason) => *out.without.entry(reason.to_owned()).or_insert(0) += 1,
        }
    }
    out
}
