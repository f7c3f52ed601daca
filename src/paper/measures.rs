//! The quantities that figures and comparisons are about, each with the plan or lesion it belongs to,
//! and how many have no value for which reason.

use std::collections::{BTreeMap, BTreeSet};

use super::Study;

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
    /// For an axis or a heading.
    pub(super) fn words(&self) -> String {
        format!("{} {}", self.structure.unwrap_or("lesion"), self.metric)
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
pub(super) struct Place {
    pub(super) patient: String,
    pub(super) group: String,
    pub(super) fractions: String,
}

/// The included plans.
pub(super) fn places(
    study: &Study,
    included: &BTreeSet<String>,
    group: &str,
) -> BTreeMap<String, Place> {
    let plans = &study.plans;
    let of = |r: usize, name: &str| plans.level(r, name).unwrap_or_else(|| "unknown".to_owned());
    let place = |r: usize| {
        let plan = plans.text(r, "plan_id").filter(|p| included.contains(*p))?;
        let place = Place {
            patient: of(r, "patient_id"),
            group: of(r, group),
            fractions: of(r, "fractions_planned"),
        };
        Some((plan.to_owned(), place))
    };
    (0..plans.count()).filter_map(place).collect()
}

/// Words for a number of fractions as it stands in the tables.
pub(super) fn fraction_words(fractions: &str) -> String {
    match fractions {
        "unknown" => "fractions not stated".to_owned(),
        "1" => "1 fraction".to_owned(),
        n => format!("{n} fractions"),
    }
}

/// Lesions with their plan and volume.
fn lesions(study: &Study) -> BTreeMap<&str, (&str, Option<f64>)> {
    let rows = 0..study.lesions.count();
    let lesion = |r: usize| {
        let text = |name| study.lesions.text(r, name);
        Some((text("lesion_id")?, (text("plan_id")?, study.lesions.real(r, "volume_cc"))))
    };
    rows.filter_map(lesion).collect()
}

/// Volume of all lesions of each plan; absent where that of one is.
fn totals(study: &Study) -> BTreeMap<&str, Option<f64>> {
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
    study: &Study,
    places: &BTreeMap<String, Place>,
    quantity: &Quantity,
) -> Measured {
    let (lesions, totals) = (lesions(study), totals(study));
    let mut rows: BTreeMap<&str, Vec<usize>> = match quantity.structure {
        Some(_) => places.keys().map(|p| (p.as_str(), Vec::new())).collect(),
        None => {
            let inside = lesions.iter().filter(|(_, (plan, _))| places.contains_key(*plan));
            inside.map(|(lesion, _)| (*lesion, Vec::new())).collect()
        }
    };
    for r in 0..study.metrics.count() {
        let text = |name| study.metrics.text(r, name).unwrap_or_default();
        if text("metric") != quantity.metric {
            continue;
        }
        let subject = match quantity.structure {
            Some(name) if text("structure") == name => text("plan_id"),
            Some(_) => continue,
            None => text("structure_id"),
        };
        if let Some(list) = rows.get_mut(subject) {
            list.push(r);
        }
    }
    let mut out = Measured::default();
    for (subject, list) in rows {
        let plan = lesions.get(subject).map_or(subject, |(plan, _)| *plan);
        let Some(place) = places.get(plan) else { continue };
        let status = |r: usize| study.metrics.text(r, "status").unwrap_or("absent").to_owned();
        let value = match list[..] {
            [] if quantity.structure.is_some_and(|organ| study.open.may_hold(plan, organ)) => {
                Err("name_undecided".to_owned())
            }
            [] => Err("absent".to_owned()),
            [r] if status(r) == "ok" => study.metrics.real(r, "value").ok_or_else(|| status(r)),
            [r] => Err(status(r)),
            _ => Err("several of the name".to_owned()),
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
            Err(reason) => *out.without.entry(reason).or_insert(0) += 1,
        }
    }
    out
}
