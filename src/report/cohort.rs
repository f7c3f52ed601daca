//! The cases of a study with what the page says about each: the organ's value with bounds, what the
//! limits say, the distance to the nearest target, and the structures that may be the organ where none
//! is called so. Read from tables; nothing is computed that a table holds.

use std::collections::{BTreeMap, BTreeSet};

use super::number::spaced;
use super::{Request, ReviewError, outliers, sheet};
use tidydose_rt::nearest::nearest;
use tidydose_table::open_names::{OpenNames, may_be};
use tidydose_table::read::{
    CellError, LimitCheckRow, MetricRow, PlanRow, RelationRow, Role, StructureRow, Tables, Verdict,
    rows, rows_where,
};

/// With more cases than this not every case has a sheet.
const ALL_SHEETS: usize = 60;
/// So many have one then, the worst.
const SOME_SHEETS: usize = 40;

/// What the limits say of a case; absent where no case was held against any.
pub(super) type CaseVerdict = Option<Verdict>;

/// Every verdict, for colours, counts and the choice of one. Cases are not sorted by it.
pub(super) const VERDICTS: [CaseVerdict; 6] = [
    Some(Verdict::Above),
    Some(Verdict::Undecided),
    Some(Verdict::NotApplicable),
    Some(Verdict::Unknown),
    Some(Verdict::Within),
    None,
];

/// The place of a verdict in [`VERDICTS`], by which it is coloured.
pub(super) fn verdict_place(verdict: CaseVerdict) -> usize {
    VERDICTS.iter().position(|v| *v == verdict).unwrap_or(VERDICTS.len())
}

/// A verdict in words for a reader.
pub(super) fn verdict_words(verdict: CaseVerdict) -> String {
    verdict.map_or_else(|| "not checked".to_owned(), |v| spaced(v.word()))
}

/// One case of table plans.
#[derive(Debug, Clone)]
pub(super) struct Case<'t> {
    pub(super) plan: PlanRow<'t>,
    /// Why it does not count.
    pub(super) exclusion: String,
    /// The organ is among the structures, by standard name.
    pub(super) contoured: bool,
    /// Whether a structure may be the organ whose name nobody has decided.
    pub(super) open: bool,
    /// All values of the organ, by metric.
    pub(super) readings: Vec<MetricRow<'t>>,
    pub(super) checks: Vec<LimitCheckRow<'t>>,
    /// Distance in mm from the nearest target and its name; negative when they overlap.
    pub(super) gap: Option<(f64, &'t str)>,
    /// Volume of that target.
    pub(super) nearest_volume_cc: Option<f64>,
    /// How far the dose lies above (below where negative) what its distance lets expect, where that is
    /// unusual.
    pub(super) stands_out: Option<f64>,
    /// What may be the organ, the highest dose first; nothing where a structure is called so.
    pub(super) candidates: Vec<Candidate<'t>>,
}

/// A structure that may be the organ as far as its words and its size say.
#[derive(Debug, Clone)]
pub(super) struct Candidate<'t> {
    pub(super) structure_id: &'t str,
    /// As it stands in the structure set.
    pub(super) name: &'t str,
    /// What its words allow, `any` where they say nothing.
    pub(super) may_be: &'t str,
    pub(super) volume_cc: Option<f64>,
    /// All its values.
    pub(super) readings: Vec<MetricRow<'t>>,
}

impl<'t> Candidate<'t> {
    /// Its value of `metric`.
    pub(super) fn reading(&self, metric: &str) -> Option<&MetricRow<'t>> {
        self.readings.iter().find(|r| r.metric == metric)
    }
}

impl<'t> Case<'t> {
    fn of(plan: PlanRow<'t>) -> Self {
        let exclusion = match (plan.exclusion_code, plan.exclusion_reason) {
            (Some(code), Some(reason)) => format!("{code}: {reason}"),
            (None, None) => UNDECIDED.to_owned(),
            (code, reason) => code.or(reason).unwrap_or_default().to_owned(),
        };
        let (readings, checks) = (Vec::new(), Vec::new());
        let (candidates, gap) = (Vec::new(), None);
        let (contoured, open) = (false, false);
        Self {
            plan,
            exclusion,
            contoured,
            open,
            readings,
            checks,
            gap,
            nearest_volume_cc: None,
            stands_out: None,
            candidates,
        }
    }

    /// Whether it is in the study: measured, and treated as far as is known.
    pub(super) fn counted(&self) -> bool {
        self.plan.is_in_study()
    }

    /// The value of `metric`.
    pub(super) fn reading(&self, metric: &str) -> Option<&MetricRow<'t>> {
        self.readings.iter().find(|r| r.metric == metric)
    }

    /// What the limit that decides says; a case without checks was not checked, or is unknown.
    pub(super) fn verdict(&self, limits_there: bool) -> CaseVerdict {
        match self.deciding() {
            Some(check) => Some(check.verdict),
            None => limits_there.then_some(Verdict::Unknown),
        }
    }

    /// The same in words. Where no structure is called the organ it is the name that is missing, with
    /// or without a value of what may be it.
    pub(super) fn verdict_words(&self, limits_there: bool) -> String {
        if self.counted() && self.waits_for_name() {
            return "name undecided".to_owned();
        }
        verdict_words(self.verdict(limits_there))
    }

    /// The number of fractions planned.
    pub(super) fn fractions(&self) -> Option<i64> {
        self.plan.fractions_planned
    }

    /// The number of fractions in words.
    pub(super) fn fractions_words(&self) -> String {
        fractions_words(self.fractions())
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
    pub(super) cases: Vec<Case<'r>>,
    /// Unit of the metric.
    pub(super) unit: &'r str,
    /// Whether the study has a table of limit checks, and one of relations.
    pub(super) limits_there: bool,
    pub(super) relations_there: bool,
}

impl<'r> Cohort<'r> {
    /// Reads the cases, worst first.
    ///
    /// # Errors
    /// When a table is missing, or organ or metric are not in the tables.
    pub(super) fn read(tables: &'r Tables, request: &'r Request<'r>) -> Result<Self, ReviewError> {
        let cohort = Self::read_any(tables, request)?;
        known(tables, request)?;
        Ok(cohort)
    }

    /// The same for tables that may know nothing of the organ or the metric.
    ///
    /// # Errors
    /// When a table is missing.
    pub(super) fn read_any(
        tables: &'r Tables,
        request: &'r Request<'r>,
    ) -> Result<Self, ReviewError> {
        for needed in ["plans", "structures", "metrics"] {
            if !tables.contains_key(needed) {
                return Err(ReviewError::Table(needed));
            }
        }
        let structures: Vec<StructureRow<'r>> = rows(tables)?;
        let mut cases: Vec<Case<'r>> = rows(tables)?.into_iter().map(Case::of).collect();
        fill(&mut cases, tables, &structures, request.organ)?;
        add_candidates(&mut cases, tables, &structures, request)?;
        // What is known of a plan that does not count is not held against anybody.
        for case in cases.iter_mut().filter(|c| !c.counted()) {
            case.readings.clear();
            case.checks.clear();
            case.candidates.clear();
        }
        let mut units = cases.iter().filter_map(|c| c.reading(request.metric)).map(|r| r.unit);
        let unit = units.next().unwrap_or_default();
        let mut cohort = Self {
            request,
            cases,
            unit,
            limits_there: tables.contains_key("limit_checks"),
            relations_there: tables.contains_key("relations"),
        };
        cohort.sort();
        outliers::mark(&mut cohort);
        Ok(cohort)
    }

    /// By the share of the limit that decides; without a table of limits by dose. What does not count
    /// stands last.
    fn sort(&mut self) {
        let (there, metric) = (self.limits_there, self.request.metric);
        let value =
            |c: &Case<'_>| c.reading(metric).and_then(|r| r.value).unwrap_or(f64::NEG_INFINITY);
        self.cases.sort_by(|a, b| {
            let mut order = b.counted().cmp(&a.counted());
            if there {
                order = order.then(b.sort_share().total_cmp(&a.sort_share()));
            }
            order.then(value(b).total_cmp(&value(a))).then(a.plan.plan_id.cmp(b.plan.plan_id))
        });
    }

    /// How many cases, from the worst on, have a sheet.
    pub(super) fn sheets(&self) -> usize {
        let all = self.cases.len();
        if all > ALL_SHEETS { SOME_SHEETS } else { all }
    }

    /// Where the sheet of the case at a place, from 1, is: on the page or in a file beside it; absent
    /// where it has none.
    pub(super) fn sheet_of(&self, place: usize) -> Option<String> {
        if place <= self.sheets() {
            return Some(format!("#case-{place}"));
        }
        let folder = self.request.sheets?.folder;
        Some(format!("{folder}/{}", sheet::file_of(place)))
    }

    /// The value of the page's metric.
    pub(super) fn reading<'c>(&self, case: &'c Case<'r>) -> Option<&'c MetricRow<'r>> {
        case.reading(self.request.metric)
    }

    /// The numbers of fractions there are, those not stated last.
    pub(super) fn fraction_groups(&self) -> Vec<Option<i64>> {
        let all: BTreeSet<_> =
            self.cases.iter().filter(|c| c.counted()).map(Case::fractions).collect();
        let (known, unknown): (Vec<_>, Vec<_>) = all.into_iter().partition(Option::is_some);
        known.into_iter().chain(unknown).collect()
    }

    /// Values of the metric of the measured cases with that many fractions, exact ones only, in
    /// ascending order.
    pub(super) fn comparable(&self, fractions: Option<i64>, metric: &str) -> Vec<f64> {
        let of_group = self.cases.iter().filter(|c| c.counted() && c.fractions() == fractions);
        let readings = of_group.filter_map(|c| c.reading(metric));
        let mut values: Vec<f64> = readings.filter_map(|r| r.usable().ok()).collect();
        values.sort_by(f64::total_cmp);
        values
    }
}

/// Why a plan that was measured does not count.
const UNDECIDED: &str = "plan-undecided: nothing tells whether it was treated, while another plan \
                         of its patient was; choices.csv asks";

/// Puts what the other tables say of the organ into the cases that it is about.
fn fill<'t>(
    cases: &mut [Case<'t>],
    tables: &'t Tables,
    structures: &[StructureRow<'t>],
    organ: &str,
) -> Result<(), CellError> {
    let places: BTreeMap<&str, usize> =
        cases.iter().enumerate().map(|(i, c)| (c.plan.plan_id, i)).collect();
    let mut of_plan = |plan: &str, work: &mut dyn FnMut(&mut Case<'t>)| {
        if let Some(case) = places.get(plan).and_then(|i| cases.get_mut(*i)) {
            work(case);
        }
    };
    let open = OpenNames::of(structures);
    for row in structures {
        of_plan(row.plan_id, &mut |case| {
            case.contoured |= row.structure == organ;
            case.open |= open.may_hold(row.plan_id, organ);
        });
    }
    for row in rows_where::<MetricRow<'t>>(tables, "structure", |s| s == organ)? {
        of_plan(row.plan_id, &mut |case| case.readings.push(row.clone()));
    }
    for row in rows_where::<LimitCheckRow<'t>>(tables, "structure", |s| s == organ)? {
        of_plan(row.plan_id, &mut |case| case.checks.push(row.clone()));
    }
    for row in rows_where::<RelationRow<'t>>(tables, "metric", |m| m == "Gap[mm]")? {
        let Some((gap, target)) = gap(&row, organ) else { continue };
        of_plan(row.plan_id, &mut |case| {
            if case.gap.is_none_or(|(least, _)| gap < least) {
                case.gap = Some((gap, target));
            }
        });
    }
    for row in structures {
        of_plan(row.plan_id, &mut |case| {
            if case.gap.is_some_and(|(_, name)| name == row.structure) {
                case.nearest_volume_cc = row.volume_cc;
            }
        });
    }
    Ok(())
}

/// Puts what may be the organ into the cases in which no structure is called so.
fn add_candidates<'t>(
    cases: &mut [Case<'t>],
    tables: &'t Tables,
    structures: &[StructureRow<'t>],
    request: &Request<'_>,
) -> Result<(), CellError> {
    let mut readings: BTreeMap<&str, Vec<MetricRow<'t>>> = BTreeMap::new();
    let open: BTreeSet<&str> =
        structures.iter().filter(|s| s.may_be.is_some()).map(|s| s.structure_id).collect();
    for row in rows_where::<MetricRow<'t>>(tables, "structure_id", |id| open.contains(id))? {
        readings.entry(row.structure_id).or_default().push(row);
    }
    let mut by_plan: BTreeMap<&str, Vec<Candidate<'t>>> = BTreeMap::new();
    for row in structures {
        let Some(words) = row.may_be else { continue };
        if may_be(words, row.volume_cc, request.organ) {
            by_plan.entry(row.plan_id).or_default().push(Candidate {
                structure_id: row.structure_id,
                name: row.structure,
                may_be: words,
                volume_cc: row.volume_cc,
                readings: readings.remove(row.structure_id).unwrap_or_default(),
            });
        }
    }
    let dose = |c: &Candidate<'_>| {
        c.reading(request.metric).and_then(|r| r.value).unwrap_or(f64::NEG_INFINITY)
    };
    for case in cases.iter_mut().filter(|c| c.waits_for_name()) {
        case.candidates = by_plan.remove(case.plan.plan_id).unwrap_or_default();
        case.candidates.sort_by(|a, b| dose(b).total_cmp(&dose(a)).then(a.name.cmp(b.name)));
    }
    Ok(())
}

/// Refuses an organ and a metric that no row is about, and names those nearest to it.
fn known(tables: &Tables, request: &Request<'_>) -> Result<(), ReviewError> {
    let structures: Vec<StructureRow<'_>> = rows(tables)?;
    let metrics: Vec<MetricRow<'_>> = rows_where(tables, "structure", |s| s == request.organ)?;
    let open = OpenNames::of(&structures).may_hold_anywhere(request.organ);
    if structures.iter().all(|s| s.structure != request.organ) && !open {
        let organs = structures.iter().filter(|s| s.role == Some(Role::Organ));
        return Err(ReviewError::Organ {
            wanted: request.organ.to_owned(),
            there: nearest(request.organ, organs.filter_map(|s| s.name_standard)),
        });
    }
    // An organ of which every name is undecided has no values yet, and a page that says so.
    if metrics.iter().any(|m| m.metric == request.metric) || metrics.is_empty() && open {
        return Ok(());
    }
    Err(ReviewError::Metric {
        wanted: request.metric.to_owned(),
        organ: request.organ.to_owned(),
        there: nearest(request.metric, metrics.iter().map(|m| m.metric)),
    })
}

/// The distance of a target from the organ, with the name of the target; absent where the row is about
/// something else.
fn gap<'t>(row: &RelationRow<'t>, organ: &str) -> Option<(f64, &'t str)> {
    let (target, role) = if row.structure == organ {
        (row.other_structure, row.other_role)
    } else if row.other_structure == organ {
        (row.structure, row.role)
    } else {
        return None;
    };
    Some((row.value.filter(|_| role.is_some_and(Role::is_target))?, target))
}

/// An exact value of the organ.
#[cfg(test)]
pub(super) fn example_reading(metric: &'static str, value: f64) -> MetricRow<'static> {
    MetricRow {
        patient_id: "P",
        plan_id: "p",
        structure_id: "p/1",
        roi_number: Some(1),
        structure: "Brainstem",
        role: Some(Role::Organ),
        metric,
        value: Some(value),
        low: Some(value),
        high: Some(value),
        unit: "Gy",
        status: tidydose_table::read::Status::Ok,
        reason: "",
        method: "",
    }
}

#[cfg(test)]
impl Case<'static> {
    /// A measured case of which nothing is known but that.
    pub(super) fn example(plan_id: &'static str) -> Self {
        Self::of(PlanRow {
            patient_id: "P",
            plan_id,
            technology: "cobalt_unit",
            day_plan: None,
            era: None,
            fractions_planned: Some(1),
            prescription_dose_gy: None,
            plan_role: None,
            in_study: Some(true),
            day_first_fraction: None,
            course: None,
            n_courses: None,
            days_since_course: None,
            dose_id: "",
            structure_set_id: "",
            measured: Some(true),
            exclusion_code: None,
            exclusion_reason: None,
        })
    }
}
