//! The cases of a study with what the page says about each: the organ's value with bounds, what the
//! limits say, the distance to the nearest target. Read from tables; nothing is computed that a
//! table holds.

use std::collections::{BTreeMap, BTreeSet};

use super::{Request, ReviewError};
use tidydose_rt::nearest::nearest;
use tidydose_table::frame::{LoadedTable, flags, integers, reals, rows_where, texts};
use tidydose_table::open_names::OpenNames;

/// Roles of single targets in the tables.
const TARGET_ROLES: [&str; 4] = ["gtv", "ctv", "ptv", "target"];

/// With more cases than this not every case has a sheet.
const ALL_SHEETS: usize = 60;
/// So many have one then, the worst.
const SOME_SHEETS: usize = 40;

/// What the limits say, as a committee meets them: a target inside the organ is judged by people and
/// so comes early; what is not known never stands below what is within.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Verdict {
    Above,
    Undecided,
    NotApplicable,
    Unknown,
    Within,
    NotChecked,
}

impl Verdict {
    /// Every verdict, in the order of the cases.
    pub(super) const ALL: [Self; 6] = [
        Self::Above,
        Self::Undecided,
        Self::NotApplicable,
        Self::Unknown,
        Self::Within,
        Self::NotChecked,
    ];

    /// The verdict that a table calls `word`; anything else is unknown.
    fn from_word(word: &str) -> Self {
        match word {
            "above" => Self::Above,
            "undecided" => Self::Undecided,
            "not_applicable" => Self::NotApplicable,
            "within" => Self::Within,
            _ => Self::Unknown,
        }
    }

    /// In words for a reader.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Above => "above",
            Self::Undecided => "undecided",
            Self::Unknown => "unknown",
            Self::NotApplicable => "not applicable",
            Self::Within => "within",
            Self::NotChecked => "not checked",
        }
    }
}

/// One limit against one value.
#[derive(Debug, Clone)]
pub(super) struct Check {
    pub(super) metric: String,
    pub(super) operator: String,
    pub(super) limit: Option<f64>,
    pub(super) unit: String,
    pub(super) fractions: String,
    pub(super) tier: String,
    pub(super) source: String,
    pub(super) evidence: String,
    pub(super) value: Option<f64>,
    pub(super) low: Option<f64>,
    pub(super) high: Option<f64>,
    pub(super) margin: Option<f64>,
    pub(super) verdict: Verdict,
    pub(super) reason: String,
}

impl Check {
    /// Room to the limit as a share of it: comparable between metrics of different units.
    pub(super) fn relative_margin(&self) -> Option<f64> {
        Some(self.margin? / self.limit.filter(|l| *l > 0.0)?)
    }
}

/// A value of the organ, or why there is none.
#[derive(Debug, Clone, Default)]
pub(super) struct Reading {
    pub(super) metric: String,
    pub(super) value: Option<f64>,
    pub(super) low: Option<f64>,
    pub(super) high: Option<f64>,
    pub(super) unit: String,
    pub(super) status: String,
    pub(super) reason: String,
    pub(super) method: String,
    pub(super) structure_id: String,
}

/// One case of table plans.
#[derive(Debug, Clone, Default)]
pub(super) struct Case {
    pub(super) plan_id: String,
    pub(super) patient_id: String,
    pub(super) fractions: Option<i64>,
    pub(super) day: Option<i64>,
    pub(super) era: Option<i64>,
    pub(super) course: Option<i64>,
    pub(super) courses: Option<i64>,
    pub(super) days_since_course: Option<i64>,
    pub(super) technology: String,
    pub(super) prescription_gy: Option<f64>,
    /// Whether it is in the study: measured, and treated as far as is known.
    pub(super) counted: bool,
    pub(super) exclusion: String,
    /// The organ is among the structures, by standard name.
    pub(super) contoured: bool,
    /// Whether a structure may be the organ whose name nobody has decided.
    pub(super) open: bool,
    /// All values of the organ, by metric.
    pub(super) readings: Vec<Reading>,
    pub(super) checks: Vec<Check>,
    /// Distance in mm from the nearest target and its name; negative when they overlap.
    pub(super) gap: Option<(f64, String)>,
}

impl Case {
    /// The value of `metric`.
    pub(super) fn reading(&self, metric: &str) -> Option<&Reading> {
        self.readings.iter().find(|r| r.metric == metric)
    }

    /// The check that decides the place of the case: worst verdict, then least relative margin.
    pub(super) fn worst(&self) -> Option<&Check> {
        let room = |c: &Check| c.relative_margin().unwrap_or(f64::INFINITY);
        self.checks
            .iter()
            .min_by(|a, b| a.verdict.cmp(&b.verdict).then(room(a).total_cmp(&room(b))))
    }

    /// The verdict of [`Self::worst`]; a case without checks was not checked, or is unknown.
    pub(super) fn verdict(&self, limits_there: bool) -> Verdict {
        match self.worst() {
            Some(check) => check.verdict,
            None if limits_there => Verdict::Unknown,
            None => Verdict::NotChecked,
        }
    }

    /// The number of fractions in words.
    pub(super) fn fractions_words(&self) -> String {
        fractions_words(self.fractions)
    }
}

/// A number of fractions in words.
pub(super) fn fractions_words(fractions: Option<i64>) -> String {
    match fractions {
        Some(1) => "1 fraction".to_owned(),
        Some(n) => format!("{n} fractions"),
        None => "fractions not stated".to_owned(),
    }
}

/// What the page is made from.
#[derive(Debug)]
pub(super) struct Cohort<'r> {
    pub(super) request: &'r Request<'r>,
    /// Worst first.
    pub(super) cases: Vec<Case>,
    /// Unit of the metric.
    pub(super) unit: String,
    /// Whether the study has a table of limit checks, and one of relations.
    pub(super) limits_there: bool,
    pub(super) relations_there: bool,
}

impl<'r> Cohort<'r> {
    /// Reads the cases, worst first.
    ///
    /// # Errors
    /// When a table is missing, or organ or metric are not in the tables.
    pub(super) fn read(
        tables: &BTreeMap<String, LoadedTable>,
        request: &'r Request<'r>,
    ) -> Result<Self, ReviewError> {
        let table = |name: &'static str| tables.get(name).ok_or(ReviewError::Table(name));
        let mut cases = cases(table("plans")?);
        let structures = table("structures")?;
        let metrics = rows_where(table("metrics")?, "structure", |s| s == request.organ);
        known(structures, &metrics, request)?;
        let place: BTreeMap<String, usize> =
            cases.iter().enumerate().map(|(i, c)| (c.plan_id.clone(), i)).collect();
        let mut at = |plan: Option<&str>, work: &mut dyn FnMut(&mut Case)| {
            if let Some(case) = plan.and_then(|p| place.get(p)).and_then(|i| cases.get_mut(*i)) {
                work(case);
            }
        };
        contoured(structures, request.organ, &mut at);
        readings(&metrics, &mut at);
        let limits = tables.get("limit_checks");
        if let Some(frame) = limits {
            checks(&rows_where(frame, "structure", |s| s == request.organ), &mut at);
        }
        if let Some(frame) = tables.get("relations") {
            gaps(frame, request.organ, &mut at);
        }
        // What is known of a plan that does not count is not held against anybody.
        for case in cases.iter_mut().filter(|c| !c.counted) {
            case.readings.clear();
            case.checks.clear();
        }
        let mut units = cases.iter().filter_map(|c| c.reading(request.metric)).map(|r| &r.unit);
        let unit = units.next().cloned().unwrap_or_default();
        let mut cohort = Self {
            request,
            cases,
            unit,
            limits_there: limits.is_some(),
            relations_there: tables.contains_key("relations"),
        };
        cohort.sort();
        Ok(cohort)
    }

    fn sort(&mut self) {
        let (there, metric) = (self.limits_there, self.request.metric);
        let room = |c: &Case| c.worst().and_then(Check::relative_margin).unwrap_or(f64::INFINITY);
        let value = |c: &Case| c.reading(metric).and_then(|r| r.value).unwrap_or(f64::NEG_INFINITY);
        self.cases.sort_by(|a, b| {
            let verdict = a.verdict(there).cmp(&b.verdict(there));
            let by_room = verdict.then(room(a).total_cmp(&room(b)));
            let by_value = by_room.then(value(b).total_cmp(&value(a)));
            by_value.then(a.plan_id.cmp(&b.plan_id))
        });
    }

    /// How many cases, from the worst on, have a sheet.
    pub(super) fn sheets(&self) -> usize {
        let all = self.cases.len();
        if all > ALL_SHEETS { SOME_SHEETS } else { all }
    }

    /// The value of the page's metric.
    pub(super) fn reading<'c>(&self, case: &'c Case) -> Option<&'c Reading> {
        case.reading(self.request.metric)
    }

    /// The numbers of fractions there are, those not stated last.
    pub(super) fn fraction_groups(&self) -> Vec<Option<i64>> {
        let all: BTreeSet<_> =
            self.cases.iter().filter(|c| c.counted).map(|c| c.fractions).collect();
        let (known, unknown): (Vec<_>, Vec<_>) = all.into_iter().partition(Option::is_some);
        known.into_iter().chain(unknown).collect()
    }

    /// Values of the metric of the measured cases with that many fractions, exact ones only, in
    /// ascending order.
    pub(super) fn comparable(&self, fractions: Option<i64>, metric: &str) -> Vec<f64> {
        let of_group = self.cases.iter().filter(|c| c.counted && c.fractions == fractions);
        let readings = of_group.filter_map(|c| c.reading(metric)).filter(|r| r.status == "ok");
        let mut values: Vec<f64> = readings.filter_map(|r| r.value).collect();
        values.sort_by(f64::total_cmp);
        values
    }
}

/// How a reader of rows hands what it found to the case of that plan.
pub(super) type At<'a> = dyn FnMut(Option<&str>, &mut dyn FnMut(&mut Case)) + 'a;

fn owned(text: Option<&str>) -> String {
    text.unwrap_or_default().to_owned()
}

/// Why a plan that was measured does not count.
const UNDECIDED: &str = "plan-undecided: nothing tells whether it was treated, while another plan \
                         of its patient was; choices.csv asks";

fn cases(plans: &LoadedTable) -> Vec<Case> {
    let text = |name| texts(plans, name);
    let whole = |name| integers(plans, name);
    let (plan, patient, technology) = (text("plan_id"), text("patient_id"), text("technology"));
    let (fractions, day, era) = (whole("fractions_planned"), whole("day_plan"), whole("era"));
    let (course, courses) = (whole("course"), whole("n_courses"));
    let since = whole("days_since_course");
    let (dose, in_study) = (reals(plans, "prescription_dose_gy"), flags(plans, "in_study"));
    let (code, reason) = (text("exclusion_code"), text("exclusion_reason"));
    let case = |i: usize| Case {
        plan_id: owned(cell(&plan, i)),
        patient_id: owned(cell(&patient, i)),
        fractions: cell(&fractions, i),
        day: cell(&day, i),
        era: cell(&era, i),
        course: cell(&course, i),
        courses: cell(&courses, i),
        days_since_course: cell(&since, i),
        technology: owned(cell(&technology, i)),
        prescription_gy: cell(&dose, i),
        counted: cell(&in_study, i) == Some(true),
        exclusion: match (cell(&code, i), cell(&reason, i)) {
            (Some(code), Some(reason)) => format!("{code}: {reason}"),
            (None, None) => UNDECIDED.to_owned(),
            (code, reason) => owned(code.or(reason)),
        },
        ..Case::default()
    };
    (0..plans.height()).map(case).collect()
}

/// The cell of a row; missing where there is none.
pub(super) fn cell<T: Copy>(column: &[Option<T>], row: usize) -> Option<T> {
    column.get(row).copied().flatten()
}

/// Refuses an organ and a metric that no row is about, and names those nearest to it.
fn known(
    structures: &LoadedTable,
    metrics: &LoadedTable,
    request: &Request<'_>,
) -> Result<(), ReviewError> {
    let names = texts(structures, "structure");
    let open = OpenNames::of(structures).may_hold_anywhere(request.organ);
    if !names.contains(&Some(request.organ)) && !open {
        let (standard, role) = (texts(structures, "name_standard"), texts(structures, "role"));
        let organs = standard.iter().zip(&role).filter(|(_, role)| **role == Some("organ"));
        return Err(ReviewError::Organ {
            wanted: request.organ.to_owned(),
            there: nearest(request.organ, organs.filter_map(|(name, _)| *name)),
        });
    }
    let there = texts(metrics, "metric");
    // An organ of which every name is undecided has no values yet, and a page that says so.
    let no_values = there.iter().all(Option::is_none);
    if there.contains(&Some(request.metric)) || no_values && open {
        return Ok(());
    }
    Err(ReviewError::Metric {
        wanted: request.metric.to_owned(),
        organ: request.organ.to_owned(),
        there: nearest(request.metric, there.into_iter().flatten()),
    })
}

fn contoured(structures: &LoadedTable, organ: &str, at: &mut At<'_>) {
    let (plan, name) = (texts(structures, "plan_id"), texts(structures, "structure"));
    let open = OpenNames::of(structures);
    for (plan, name) in plan.iter().zip(&name) {
        at(*plan, &mut |case| {
            case.contoured |= *name == Some(organ);
            case.open |= plan.is_some_and(|plan| open.may_hold(plan, organ));
        });
    }
}

fn readings(metrics: &LoadedTable, at: &mut At<'_>) {
    let text = |name| texts(metrics, name);
    let (plan, metric, unit) = (text("plan_id"), text("metric"), text("unit"));
    let (status, reason, method) = (text("status"), text("reason"), text("method"));
    let structure_id = text("structure_id");
    let (value, low, high) =
        (reals(metrics, "value"), reals(metrics, "low"), reals(metrics, "high"));
    for i in 0..metrics.height() {
        at(cell(&plan, i), &mut |case| {
            case.readings.push(Reading {
                metric: owned(cell(&metric, i)),
                value: cell(&value, i),
                low: cell(&low, i),
                high: cell(&high, i),
                unit: owned(cell(&unit, i)),
                status: owned(cell(&status, i)),
                reason: owned(cell(&reason, i)),
                method: owned(cell(&method, i)),
                structure_id: owned(cell(&structure_id, i)),
            });
        });
    }
}

pub(super) fn checks(frame: &LoadedTable, at: &mut At<'_>) {
    let text = |name| texts(frame, name);
    let (plan, metric, operator) = (text("plan_id"), text("metric"), text("operator"));
    let (unit, fractions, tier) = (text("unit"), text("limit_fractions"), text("tier"));
    let (source, evidence) = (text("limit_source"), text("evidence"));
    let (verdict, reason) = (text("verdict"), text("reason"));
    let (limit, value) = (reals(frame, "limit_value"), reals(frame, "value"));
    let (low, high, margin) = (reals(frame, "low"), reals(frame, "high"), reals(frame, "margin"));
    for i in 0..frame.height() {
        at(cell(&plan, i), &mut |case| {
            case.checks.push(Check {
                metric: owned(cell(&metric, i)),
                operator: owned(cell(&operator, i)),
                limit: cell(&limit, i),
                unit: owned(cell(&unit, i)),
                fractions: owned(cell(&fractions, i)),
                tier: owned(cell(&tier, i)),
                source: owned(cell(&source, i)),
                evidence: owned(cell(&evidence, i)),
                value: cell(&value, i),
                low: cell(&low, i),
                high: cell(&high, i),
                margin: cell(&margin, i),
                verdict: Verdict::from_word(cell(&verdict, i).unwrap_or_default()),
                reason: owned(cell(&reason, i)),
            });
        });
    }
}

fn gaps(relations: &LoadedTable, organ: &str, at: &mut At<'_>) {
    let frame = rows_where(relations, "metric", |m| m == "Gap[mm]");
    let text = |name| texts(&frame, name);
    let (plan, name, role) = (text("plan_id"), text("structure"), text("role"));
    let (other, other_role) = (text("other_structure"), text("other_role"));
    let value = reals(&frame, "value");
    for i in 0..frame.height() {
        let (a, b) = ((cell(&name, i), cell(&role, i)), (cell(&other, i), cell(&other_role, i)));
        let target = if a.0 == Some(organ) { b } else { a };
        let between = a.0 == Some(organ) || b.0 == Some(organ);
        let of_target = target.1.is_some_and(|role| TARGET_ROLES.contains(&role));
        let Some(gap) = cell(&value, i).filter(|_| between && of_target) else { continue };
        at(cell(&plan, i), &mut |case| {
            if case.gap.as_ref().is_none_or(|(least, _)| gap < *least) {
                case.gap = Some((gap, owned(target.0)));
            }
        });
    }
}
