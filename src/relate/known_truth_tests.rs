//! Archives of a known logistic truth, simulated from tables, with the sheet that a department keeps:
//! three ways of writing a date, gaps, months, 0 and 1. The sheet goes in by the door of the program, with
//! one round of the map, and the interval that counts holds the true slope about as often as it says.
//! Of 200 archives a true 95 % shows as 92 to 98 % in nineteen of twenty lists of seeds (binomial).

use std::fmt::Write as _;

use super::Grain;
use super::example::request;
use super::join::join;
use super::model::Lists;
use super::study::Cohort;
use tidydose_statistics::bootstrap::percentile_interval;
use tidydose_statistics::logistic::{Model, draw_slopes};
use tidydose_statistics::{CONFIDENCE, Interval};
use tidydose_table::frame::{Cells, LoadedTable};
use tidydose_table::read::Tables;
use tidydose_table::user::outcome_sheet::{
    Facts, Form, Grid, MapRow, Meaning, StudyNames, propose, read,
};
use tidydose_table::user::outcomes::Outcome;

const ARCHIVES: u64 = 200;
/// Log odds of a radionecrosis: intercept, and slope for each cc of the brain without targets that has
/// 12 Gy.
const TRUTH: [f64; 2] = [-3.2, 0.11];
const PREDICTOR: &str = "Brain-targets:V12Gy[cc]";

/// A linear congruential generator (Knuth's MMIX numbers).
struct Numbers(u64);

impl Numbers {
    fn uniform(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }
}

/// A plan with what the sheet says of it.
struct Treated {
    patient: String,
    /// Days since 1970.
    day: i64,
    volume: f64,
}

/// So many patients, each with so many courses a year and a half apart, and the sheet of their outcomes.
fn archive(seed: u64, patients: usize, courses: usize) -> (Tables, String) {
    let mut numbers = Numbers(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x2545_f491_4f6c_dd1d);
    let mut sheet = "patient_id,treatment_date,age,followup_months,radionecrosis,\
                     months_to_radionecrosis,dead\n"
        .to_owned();
    let mut treated = Vec::new();
    for patient in 0..patients {
        let name = format!("H-{patient:03}");
        let age = 30 + patient % 50;
        let started = (17_000.0 + 700.0 * numbers.uniform()) as i64;
        for course in 0..courses {
            let day = started + 550 * course as i64;
            // As wide as in archives that mix single and many targets.
            let volume = (2.0 + 1.1 * numbers.normal()).exp().min(60.0);
            let odds = TRUTH[0] + TRUTH[1] * volume;
            let event = numbers.uniform() < 1.0 / (1.0 + (-odds).exp());
            // A later course ends the follow-up of the first: it came before that.
            let months = 3.0 + 13.0 * numbers.uniform();
            let when = if event {
                format!("{:.1}", 1.0 + (months - 1.5) * numbers.uniform())
            } else {
                String::new()
            };
            let blank = numbers.uniform() < 0.03;
            let follow = if blank { String::new() } else { format!("{months:.1}") };
            let dead = u8::from(course + 1 == courses && numbers.uniform() < 0.3);
            let date = written(day, (numbers.uniform() * 3.0) as usize);
            let event = u8::from(event);
            let _ = writeln!(sheet, "{name},{date},{age},{follow},{event},{when},{dead}");
            treated.push(Treated { patient: name.clone(), day, volume });
        }
    }
    (tables(&treated), sheet)
}

/// A date as one of three people writes it.
fn written(day: i64, way: usize) -> String {
    let date = StudyNames::kept().date("", day).unwrap().to_string();
    let part: Vec<&str> = date.split('-').collect();
    match way {
        0 => date,
        1 => [part[2], part[1], part[0]].join("."),
        _ => part.concat(),
    }
}

fn tables(treated: &[Treated]) -> Tables {
    let n = treated.len();
    let same = |word: &str| Cells::texts(vec![Some(word); n]);
    let ids: Vec<String> = (0..n).map(|i| format!("O{i:03}")).collect();
    let plans = || ("plan_id".to_owned(), Cells::texts(ids.iter().map(|t| Some(t.as_str()))));
    let own = |i: usize| treated[..i].iter().filter(|t| t.patient == treated[i].patient).count();
    let whole = |of: &dyn Fn(usize) -> i64| Cells::Integer((0..n).map(|i| Some(of(i))).collect());
    let table = |columns: Vec<(&str, Cells)>| {
        let named = columns.into_iter().map(|(name, cells)| (name.to_owned(), cells));
        LoadedTable::new(std::iter::once(plans()).chain(named).collect())
    };
    let rows = table(vec![
        ("patient_id", Cells::texts(treated.iter().map(|t| Some(t.patient.as_str())))),
        ("plan_role", same("treated")),
        ("measured", Cells::Boolean(vec![Some(true); n])),
        ("in_study", Cells::Boolean(vec![Some(true); n])),
        ("course", whole(&|i| own(i) as i64 + 1)),
        ("day_plan", whole(&|i| treated[i].day)),
        ("fractions_planned", whole(&|_| 1)),
        ("technology", same("gantry_linac")),
    ]);
    let metrics = table(vec![
        ("structure_id", same("1")),
        ("structure", same("Brain-targets")),
        ("metric", same("V12Gy[cc]")),
        ("value", Cells::Real(treated.iter().map(|t| Some(t.volume)).collect())),
        ("status", same("ok")),
    ]);
    let empty = |name: &str| (name.to_owned(), Cells::texts(Vec::<Option<&str>>::new()));
    let lesions = LoadedTable::new(vec![empty("plan_id"), empty("lesion_id"), empty("structure")]);
    [("plans", rows), ("lesions", lesions), ("metrics", metrics)]
        .map(|(name, table)| (name.to_owned(), table))
        .into()
}

/// The sheet at the door: read by the map, which is proposed once and decided once.
fn outcomes(tables: &Tables, sheet: &str, map: &mut Vec<MapRow>) -> Vec<Outcome> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sheet.csv");
    std::fs::write(&path, sheet).unwrap();
    let grid = Grid::read(&path).unwrap();
    let facts = Facts::of(tables, Some(StudyNames::kept())).unwrap();
    if map.is_empty() {
        *map = propose(&grid, &facts);
        for row in map.iter_mut() {
            // The only thing that a person decides: the day comes first in dates with points.
            if row.meaning == Some(Meaning::TreatmentDate) {
                row.form = Some(Form::DateDayFirst);
            }
        }
        let open: Vec<String> = map.iter().filter_map(MapRow::open).collect();
        assert_eq!(open, Vec::<String>::new());
    }
    let found = read(&grid, map, &facts);
    assert_eq!((found.held.len(), found.without_partner), (0, 0), "{:?}", found.held);
    found.outcomes
}

/// How often the interval that `of` gives of one archive holds the true slope.
fn share(courses: usize, of: impl Fn(&Lists) -> Option<Interval>) -> f64 {
    let (mut map, mut held, mut answers) = (Vec::new(), 0, 0);
    for seed in 0..ARCHIVES {
        let (tables, sheet) = archive(seed, 90 / courses, courses);
        let sheet = outcomes(&tables, &sheet, &mut map);
        let mut asked = request(if courses > 1 { Grain::Plan } else { Grain::Patient });
        (asked.event, asked.predictor) = ("radionecrosis".to_owned(), PREDICTOR.to_owned());
        let cohort = Cohort::read(&tables, "technology").unwrap();
        let joined = join(&cohort, &sheet, &asked).unwrap();
        let known = joined.subjects.iter().filter_map(|s| Some((s, s.state.as_ref().ok()?)));
        let lists = Lists::of(&known.collect::<Vec<_>>(), &asked);
        assert!(lists.event.len() > 80, "seed {seed}: {} of 90", lists.event.len());
        let Some(interval) = of(&lists) else { continue };
        answers += 1;
        held += usize::from(interval.holds(TRUTH[1]));
    }
    assert!(answers as u64 >= ARCHIVES - 4, "only {answers} archives had an answer");
    held as f64 / answers as f64
}

#[test]
fn the_interval_by_profile_holds_the_truth_of_archives_with_one_course() {
    let found = share(1, |lists| {
        assert!(!lists.clusters.repeat());
        Some(Model::fit(&lists.data(), CONFIDENCE).ok()?.slope.interval)
    });
    assert!((0.90..=0.98).contains(&found), "{found}");
}

#[test]
fn the_interval_by_draws_holds_the_truth_of_archives_with_two_courses() {
    let found = share(2, |lists| {
        assert!(lists.clusters.repeat());
        let slopes = draw_slopes(&lists.data(), &lists.clusters, 200);
        percentile_interval(&slopes, lists.clusters.count(), CONFIDENCE)
    });
    assert!((0.90..=0.98).contains(&found), "{found}");
}
