//! Groups compared, for each number of fractions apart: Hodges and Lehmann's shift with the rank sum
//! test, the test of Kruskal and Wallis over all groups, Spearman's correlation with the volume of the
//! target, and shares above a limit with exact intervals and Fisher's test. Observations, no verdict:
//! groups of a retrospective cohort differ in more than their group, and every test is counted.

use std::collections::{BTreeMap, BTreeSet};

use super::measures::{Measured, Observed, PlanGroup, QUANTITIES, Quantity, fraction_words};
use super::printed::{Kind, PrintedRow, PrintedTable, number_of, p_value, text_of, with_range};
use super::{Study, count, counted, number, sheet, word};
use tidydose_statistics::contingency::{fisher, fisher_rows};
use tidydose_statistics::correlation::spearman;
use tidydose_statistics::proportion::{Clustered, clustered};
use tidydose_statistics::rank::{kruskal_wallis, rank_sum};
use tidydose_statistics::{CONFIDENCE, Interval, Undefined};
use tidydose_table::Cell;
use tidydose_table::clinical_words;
use tidydose_table::read::Verdict;

const COLUMNS: &[&str] = &[
    "quantity",
    "unit",
    "grain",
    "fractions",
    "method",
    "first",
    "second",
    "n_first",
    "n_second",
    "without_value",
    "repeated_patients",
    "estimate",
    "low",
    "high",
    "p",
    "remark",
    "tests",
];

/// An estimate with its interval and p; each absent where the method gives none.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Found {
    estimate: Option<f64>,
    interval: Option<Interval>,
    /// The confidence that the interval has at most, where there are too few values for one of 95 %.
    attained: Option<f64>,
    p: Option<f64>,
}

/// A comparison before the tests are counted.
struct Comparison {
    quantity: String,
    unit: &'static str,
    grain: &'static str,
    fractions: String,
    method: &'static str,
    first: String,
    second: String,
    n: [usize; 2],
    without: String,
    repeated: usize,
    found: Result<Found, Undefined>,
}

/// What the rows of one quantity and number of fractions have in common.
struct QuantityAt<'m> {
    quantity: &'m Quantity,
    fractions: &'m str,
    without: String,
}

impl QuantityAt<'_> {
    fn row(
        &self,
        method: &'static str,
        [first, second]: [&str; 2],
        members: [&[&Observed]; 2],
        found: Result<Found, Undefined>,
    ) -> Comparison {
        Comparison {
            quantity: self.quantity.words(),
            unit: self.quantity.unit,
            grain: self.quantity.grain(),
            fractions: self.fractions.to_owned(),
            method,
            first: first.to_owned(),
            second: second.to_owned(),
            n: members.map(<[_]>::len),
            without: self.without.clone(),
            repeated: repeated(members),
            found,
        }
    }
}

/// The rows as CSV.
pub(super) fn table(rows: &[Vec<Cell<'static>>]) -> Vec<u8> {
    sheet(COLUMNS, rows.to_vec())
}

/// The rows as they are printed, below each other by quantity.
pub(super) fn printed(rows: &[Vec<Cell<'static>>]) -> PrintedTable {
    let mut out: Vec<PrintedRow> = Vec::new();
    let mut before = String::new();
    for row in rows {
        let [quantity, fractions, method, first, second] =
            [0, 3, 4, 5, 6].map(|i| text_of(row.get(i)));
        let (of, metric) = quantity.rsplit_once(' ').unwrap_or(("", quantity.as_str()));
        let words = clinical_words::quantity(of, metric);
        if words != before {
            out.push(PrintedRow { kind: Kind::Section, label: words.clone(), cells: Vec::new() });
            before = words;
        }
        let number = |place: usize| number_of(row.get(place));
        let sides = [first, second].map(|side| side.replace('_', " "));
        let compared = if sides[1].is_empty() { sides[0].clone() } else { sides.join(" less ") };
        let sizes = [7, 8].map(|i| text_of(row.get(i))).into_iter().filter(|n| !n.is_empty());
        let cells = vec![
            fractions,
            compared,
            sizes.collect::<Vec<_>>().join(", "),
            match text_of(row.get(15)) {
                remark if remark.starts_with(NO_INTERVAL) => {
                    format!("{}, {NO_INTERVAL}", with_range(number(11), [None, None]))
                }
                _ => with_range(number(11), [number(12), number(13)]),
            },
            number(14).map_or_else(|| "–".to_owned(), p_value),
        ];
        out.push(PrintedRow { kind: Kind::Main, label: clinical_words::capital(&method), cells });
    }
    let tests = rows.first().map_or_else(String::new, |row| text_of(row.get(16)));
    let heads = ["", "Fractions", "Compared", "n", "Estimate (95 % interval)", "p"];
    PrintedTable {
        name: "comparisons",
        title: "Groups compared, and correlation with the volume of the target".to_owned(),
        head: heads.map(str::to_owned).to_vec(),
        rows: out,
        note: format!(
            "{tests} tests in all, none corrected for their number. Where groups are too small for an exact \
             interval of 95 %, none is shown; comparisons.csv has the widest there is and its level. Where \
             patients have several values intervals are too narrow and p too small; comparisons.csv names these rows."
        ),
    }
}

/// Comparisons of all quantities. The last column counts the tests of the whole sheet.
pub(super) fn rows_of(all: &[(Quantity, Measured)]) -> Vec<Vec<Cell<'static>>> {
    let mut rows = Vec::new();
    for (quantity, measured) in all {
        for fractions in measured.fractions() {
            let values: Vec<&Observed> = measured.of_fractions(fractions).collect();
            let head = QuantityAt { quantity, fractions, without: measured.without_words() };
            rows.extend(of_groups(&values, &head));
            let placed: Vec<&Observed> =
                values.iter().copied().filter(|o| o.target_cc.is_some()).collect();
            let found = with_volume(&placed);
            rows.push(head.row("Spearman", ["target volume", ""], [&placed, &[]], found));
        }
    }
    let tests = rows.iter().filter(|r| matches!(&r.found, Ok(f) if f.p.is_some())).count();
    rows.into_iter().map(|r| r.cells(tests)).collect()
}

/// The rank sum test of each pair of groups and one test over more than two.
fn of_groups(values: &[&Observed], head: &QuantityAt<'_>) -> Vec<Comparison> {
    let mut groups: BTreeMap<&str, Vec<&Observed>> = BTreeMap::new();
    for o in values {
        groups.entry(o.group.as_str()).or_default().push(o);
    }
    let groups: Vec<(&str, Vec<&Observed>)> = groups.into_iter().collect();
    let numbers = |list: &[&Observed]| list.iter().map(|o| o.value).collect::<Vec<f64>>();
    let mut rows = Vec::new();
    for (place, (first, a)) in groups.iter().enumerate() {
        for (second, b) in groups.iter().skip(place + 1) {
            let found = rank_sum(&numbers(a), &numbers(b), CONFIDENCE).map(|r| Found {
                estimate: Some(r.shift),
                interval: Some(r.interval),
                attained: r.attained,
                p: Some(r.p),
            });
            rows.push(head.row("rank sum, Hodges-Lehmann shift", [first, second], [a, b], found));
        }
    }
    if groups.len() > 2 {
        let lists: Vec<Vec<f64>> = groups.iter().map(|(_, list)| numbers(list)).collect();
        let found = kruskal_wallis(&lists).map(|k| Found {
            estimate: Some(k.h),
            p: Some(k.p),
            ..Found::default()
        });
        rows.push(head.row("Kruskal-Wallis H", ["all groups", ""], [values, &[]], found));
    }
    rows
}

fn with_volume(placed: &[&Observed]) -> Result<Found, Undefined> {
    let volumes: Vec<f64> = placed.iter().filter_map(|o| o.target_cc).collect();
    let values: Vec<f64> = placed.iter().map(|o| o.value).collect();
    let found = spearman(&volumes, &values, CONFIDENCE)?;
    Ok(Found {
        estimate: Some(found.rho),
        interval: Some(found.interval),
        p: Some(found.p),
        attained: None,
    })
}

/// Patients with more than one of the observations.
fn repeated(members: [&[&Observed]; 2]) -> usize {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for o in members.into_iter().flatten() {
        *seen.entry(o.patient.as_str()).or_insert(0) += 1;
    }
    seen.values().filter(|n| **n > 1).count()
}

/// How the remark begins where an exact interval cannot have its level.
const NO_INTERVAL: &str = "no 95 % interval";

fn attained_words(level: f64) -> String {
    let percent = 100.0 * level;
    format!("{NO_INTERVAL}: with so few values the widest there is holds {percent:.1} % at most")
}

impl Comparison {
    fn cells(self, tests: usize) -> Vec<Cell<'static>> {
        let found = self.found.as_ref().copied().unwrap_or_default();
        let interval = found.interval;
        let remark = match &self.found {
            Err(why) => why.to_string(),
            Ok(found) => {
                let level = found.attained.map(attained_words);
                let repeated = (self.repeated > 0).then(|| {
                    let patients = counted(self.repeated, "patient");
                    format!("{patients} with several values: interval too narrow, p too small")
                });
                level.into_iter().chain(repeated).collect::<Vec<_>>().join("; ")
            }
        };
        let real = |v: Option<f64>| number(v.unwrap_or(f64::NAN));
        vec![
            word(&self.quantity),
            word(self.unit),
            word(self.grain),
            word(&self.fractions),
            word(self.method),
            word(&self.first),
            word(&self.second),
            count(self.n[0]),
            if self.second.is_empty() { Cell::Missing } else { count(self.n[1]) },
            word(&self.without),
            count(self.repeated),
            real(found.estimate),
            real(interval.map(|i| i.low)),
            real(interval.map(|i| i.high)),
            real(found.p),
            word(&remark),
            count(tests),
        ]
    }
}

/// Everything that is compared.
pub(super) fn measured(
    study: &Study<'_>,
    places: &BTreeMap<String, PlanGroup>,
) -> Vec<(Quantity, Measured)> {
    QUANTITIES.iter().map(|q| (*q, super::measures::measured(study, places, q))).collect()
}

const SHARES: &[&str] = &[
    "structure",
    "metric",
    "limit",
    "tier",
    "limit_source",
    "fractions",
    "group",
    "judged",
    "above",
    "undecided",
    "not_judged",
    "share_above",
    "low",
    "high",
    "interval_basis",
    "odds_ratio_to_rest",
    "odds_ratio_low",
    "odds_ratio_high",
    "fisher_p",
    "fisher_p_all_groups",
    "remark",
];

/// Counts of one limit in one group.
#[derive(Debug, Clone, Default)]
struct Judged {
    /// Above and judged, by patient.
    patients: BTreeMap<String, (usize, usize)>,
    undecided: usize,
    other: usize,
}

impl Judged {
    fn above(&self) -> usize {
        self.patients.values().map(|p| p.0).sum()
    }

    fn n(&self) -> usize {
        self.patients.values().map(|p| p.1).sum()
    }

    fn share(&self) -> Result<Clustered, Undefined> {
        let patients: Vec<(usize, usize)> = self.patients.values().copied().collect();
        clustered(&patients, CONFIDENCE)
    }
}

/// A limit with its number of fractions, in the order of the sheet.
type LimitKey = (String, String, String, String, String, String);
/// Each limit with the groups held against it.
type JudgedLimits = BTreeMap<LimitKey, BTreeMap<String, Judged>>;

/// The plans held against each limit, by group. Only `within` and `above` are judged: what the bounds
/// leave undecided is counted apart.
fn judged(study: &Study<'_>, places: &BTreeMap<String, PlanGroup>) -> JudgedLimits {
    let mut limits = JudgedLimits::new();
    for check in &study.limit_checks {
        let limit = check.limit_value.filter(|_| check.verdict != Verdict::NotALimit);
        let (Some(place), Some(limit)) = (places.get(check.plan_id), limit) else {
            continue;
        };
        let limit = format!("{} {limit} {}", check.operator, check.unit);
        let [structure, metric] = [check.structure, check.metric].map(str::to_owned);
        let [tier, source] = [check.tier_word(), check.limit_source].map(str::to_owned);
        let key = (structure, metric, limit, tier, source, place.fractions.clone());
        let judged = limits.entry(key).or_default().entry(place.group.clone()).or_default();
        let own = judged.patients.entry(place.patient.clone()).or_default();
        match check.verdict {
            Verdict::Above => *own = (own.0 + 1, own.1 + 1),
            Verdict::Within => own.1 += 1,
            Verdict::Undecided => judged.undecided += 1,
            Verdict::Unknown | Verdict::NotApplicable | Verdict::NotALimit => judged.other += 1,
        }
    }
    limits
}

/// Shares above each limit by group as CSV.
pub(super) fn shares(study: &Study<'_>, places: &BTreeMap<String, PlanGroup>) -> Vec<u8> {
    let limits = judged(study, places);
    let rows = limits.iter().flat_map(|(key, groups)| {
        let counts: Vec<(u64, u64)> = groups.values().map(cells_of).collect();
        let all = if groups.len() > 1 { fisher_rows(&counts).ok() } else { None };
        groups.iter().map(move |(group, judged)| share_row(key, group, judged, groups, all))
    });
    sheet(SHARES, rows.collect())
}

/// What a figure needs of a limit.
pub(super) struct LimitShares {
    pub(super) structure: String,
    pub(super) metric: String,
    /// Operator, limit and unit.
    pub(super) limit: String,
    /// Number of fractions in words.
    pub(super) fractions: String,
    pub(super) groups: Vec<GroupShare>,
}

/// A group held against a limit.
pub(super) struct GroupShare {
    pub(super) name: String,
    pub(super) judged: usize,
    pub(super) above: usize,
    pub(super) share: Option<f64>,
    /// Ends of the exact interval.
    pub(super) ends: Option<[f64; 2]>,
}

/// The same numbers for a figure, in the order of the sheet.
pub(super) fn limit_shares(
    study: &Study<'_>,
    places: &BTreeMap<String, PlanGroup>,
) -> Vec<LimitShares> {
    let group = |(name, judged): (&String, &Judged)| {
        let share = judged.share().ok();
        GroupShare {
            name: name.clone(),
            judged: judged.n(),
            above: judged.above(),
            share: share.as_ref().map(|s| quotient(s.events, s.n)),
            ends: share.map(|s| [s.interval.low, s.interval.high]),
        }
    };
    let limits = judged(study, places);
    let of = |(key, groups): (&LimitKey, &BTreeMap<String, Judged>)| LimitShares {
        structure: key.0.clone(),
        metric: key.1.clone(),
        limit: key.2.replace("<=", "≤").replace(" cc", " cm³"),
        fractions: fraction_words(&key.5),
        groups: groups.iter().map(group).collect(),
    };
    limits.iter().map(of).collect()
}

/// Above and not above.
fn cells_of(judged: &Judged) -> (u64, u64) {
    let whole = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    (whole(judged.above()), whole(judged.n() - judged.above()))
}

fn share_row(
    key: &LimitKey,
    group: &str,
    judged: &Judged,
    groups: &BTreeMap<String, Judged>,
    all: Option<f64>,
) -> Vec<Cell<'static>> {
    let (structure, metric, limit, tier, source, fractions) = key;
    let share = judged.share().ok();
    let rest = groups.iter().filter(|(name, _)| *name != group).map(|(_, j)| cells_of(j));
    let rest = rest.fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
    let own = cells_of(judged);
    let test = fisher([[own.0, own.1], [rest.0, rest.1]], CONFIDENCE).ok();
    let repeated = judged.patients.values().any(|p| p.1 > 1);
    let basis = match (&share, repeated) {
        (None, _) => "",
        (_, false) => "exact, Clopper and Pearson",
        (_, true) => "exact on the size that patients with several plans leave",
    };
    let real = |v: Option<f64>| number(v.unwrap_or(f64::NAN));
    let mut row =
        [structure.as_str(), metric, limit, tier, source, fractions, group].map(word).to_vec();
    row.extend([judged.n(), judged.above(), judged.undecided, judged.other].map(count));
    row.push(real(share.as_ref().map(|s| quotient(s.events, s.n))));
    row.push(real(share.as_ref().map(|s| s.interval.low)));
    row.push(real(share.as_ref().map(|s| s.interval.high)));
    row.push(word(basis));
    row.push(real(test.map(|t| t.odds_ratio)));
    row.push(real(test.map(|t| t.interval.low)));
    row.push(real(test.map(|t| t.interval.high)));
    row.push(real(test.map(|t| t.p)));
    row.push(real(all));
    let remark = match &test {
        None if groups.len() < 2 => "one group: nothing to compare",
        None => "no two groups and outcomes to compare",
        Some(t) if t.odds_ratio.is_infinite() => "all of one kind: the odds ratio is infinite",
        Some(t) if t.interval.high.is_infinite() => "the upper end of the odds ratio is infinite",
        Some(_) if repeated => "patients with several plans: p of Fisher too small",
        Some(_) => "",
    };
    row.push(word(remark));
    row
}

fn quotient(events: usize, n: usize) -> f64 {
    tidydose_statistics::real(events) / tidydose_statistics::real(n)
}

/// Names of groups in the included plans, by rank of their look in figures.
pub(super) fn groups(places: &BTreeMap<String, PlanGroup>) -> BTreeSet<&str> {
    places.values().map(|p| p.group.as_str()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two against two: of six arrangements one lies beyond each end, so that 1 − 2/6 is all there is.
    #[test]
    fn an_interval_that_cannot_have_its_level_is_not_shown() {
        let one = |(place, value): (usize, f64)| Observed {
            patient: format!("P{place}"),
            plan: format!("O{place}"),
            subject: format!("O{place}/1"),
            group: ["x", "y"][place / 2].to_owned(),
            fractions: "1".to_owned(),
            target_cc: None,
            value,
        };
        let values = [1.0, 2.0, 3.0, 5.0].into_iter().enumerate().map(one).collect();
        let rows = rows_of(&[(QUANTITIES[0], Measured { values, ..Measured::default() })]);
        let sheet = String::from_utf8(table(&rows)).unwrap();
        let words = "no 95 % interval: with so few values the widest there is holds 66.7 % at most";
        assert!(sheet.contains(words), "{sheet}");
        let page = printed(&rows).markdown();
        assert!(page.contains("| −2.50, no 95 % interval |"), "{page}");
        assert!(!page.contains("−4.00"), "no ends of another level: {page}");
    }
}
