//! The folder made of a few rows that can be counted by hand.

use serde_json::json;

use super::*;
use tidydose_table::curves::{Curve, CurvePoint};
use tidydose_table::frame::Cells;

pub(super) fn texts(list: &[&str]) -> Cells {
    Cells::texts(list.iter().map(|t| (!t.is_empty()).then_some(*t)))
}

pub(super) fn reals(list: &[f64]) -> Cells {
    Cells::Real(list.iter().map(|v| (!v.is_nan()).then_some(*v)).collect())
}

pub(super) fn flags(list: &[bool]) -> Cells {
    Cells::Boolean(list.iter().copied().map(Some).collect())
}

const NONE: f64 = f64::NAN;

/// A table under its name.
pub(super) fn table<const N: usize>(
    name: &str,
    columns: [(&str, Cells); N],
) -> (String, LoadedTable) {
    let columns = columns.map(|(column, cells)| (column.to_owned(), cells));
    (name.to_owned(), LoadedTable::new(columns.into()))
}

/// What is read of these tables, which are kept as long as the tests run.
pub(super) fn study_of(tables: Tables) -> Study<'static> {
    Study::read(Box::leak(Box::new(tables))).unwrap()
}

/// No relation.
static ALONE: Relation =
    Relation { captions: String::new(), calibration: None, models: Vec::new(), others: 0 };

/// Groups by a column, and nothing else.
pub(super) fn by(group: &str) -> Request<'_> {
    Request {
        group,
        checked: None,
        covariates: &[],
        outcomes: &[],
        relation: &ALONE,
        names: None,
        tiff: false,
    }
}

fn limit_checks_of_five() -> (String, LoadedTable) {
    table(
        "limit_checks",
        [
            ("plan_id", texts(&["a", "b", "c", "d", "e"])),
            ("structure", texts(&["Brainstem"; 5])),
            ("metric", texts(&["D0.03cc[Gy]"; 5])),
            ("operator", texts(&["<="; 5])),
            ("limit_value", reals(&[15.0, 15.0, 31.0, NONE, 15.0])),
            ("unit", texts(&["Gy"; 5])),
            ("tier", texts(&["mandatory"; 5])),
            ("limit_source", texts(&["S"; 5])),
            ("verdict", texts(&["above", "within", "undecided", "unknown", "above"])),
        ],
    )
}

/// Six plans of five patients; one not measured, one set aside.
pub(super) fn tables() -> Tables {
    Tables::from([
        table(
            "plans",
            [
                ("patient_id", texts(&["A", "B", "C", "D", "E", "E"])),
                ("plan_id", texts(&["a", "b", "c", "d", "e", "f"])),
                ("technology", texts(&["x", "x", "y", "y", "x", "y"])),
                (
                    "plan_role",
                    texts(&["treated", "treated", "treated", "unknown", "superseded", "treated"]),
                ),
                ("measured", flags(&[true, true, true, true, true, false])),
                ("in_study", flags(&[true, true, true, true, false, false])),
                ("exclusion_code", texts(&["", "", "", "", "", "dose-several"])),
                (
                    "fractions_planned",
                    Cells::Integer(vec![Some(1), Some(1), Some(5), None, Some(1), Some(1)]),
                ),
                ("prescription_dose_gy", reals(&[20.0, 22.0, 25.0, NONE, 20.0, 20.0])),
            ],
        ),
        table(
            "lesions",
            [
                ("plan_id", texts(&["a", "a", "b", "c", "e"])),
                ("lesion_id", texts(&["a/1", "a/2", "b/1", "c/1", "e/1"])),
                ("gtv_volume_cc", reals(&[1.0, 2.0, 3.0, 4.0, 9.0])),
            ],
        ),
        table(
            "metrics",
            [
                ("patient_id", texts(&["A", "B", "C", "A"])),
                ("plan_id", texts(&["a", "b", "c", "a"])),
                ("structure_id", texts(&["a/9", "b/9", "c/9", ""])),
                ("structure", texts(&["Brainstem", "Brainstem", "Brainstem", "all tissue"])),
                ("role", texts(&["organ", "organ", "organ", ""])),
                ("metric", texts(&["Mean[Gy]", "Mean[Gy]", "Mean[Gy]", "V12Gy[cc]"])),
                ("unit", texts(&["Gy", "Gy", "Gy", "cc"])),
                ("status", texts(&["ok", "ok", "outside_grid", "ok"])),
                ("value", reals(&[2.0, 4.0, NONE, 7.0])),
            ],
        ),
        table(
            "structures",
            [
                ("plan_id", texts(&["a", "b"])),
                ("role", texts(&["organ", "organ"])),
                ("name_standard", texts(&["Brainstem", "Brainstem"])),
                ("inside_grid_percent", reals(&[100.0, 3.7])),
            ],
        ),
        limit_checks_of_five(),
    ])
}

fn study() -> Study<'static> {
    study_of(tables())
}

/// Curves of the brainstem in two plans of group x.
pub(super) fn curves() -> Curves {
    let point = |dose_gy, volume_cc| CurvePoint { dose_gy, volume_cc, percent: 10.0 * volume_cc };
    let of = |last: f64| Curve::new(vec![point(0.0, 10.0), point(last, 0.0)]);
    let plan =
        |plan: &str, last| (plan.to_owned(), BTreeMap::from([(format!("{plan}/9"), of(last))]));
    let plans = BTreeMap::from([plan("a", 8.0), plan("b", 4.0)]);
    BTreeMap::from([("Brainstem".to_owned(), plans)])
}

pub(super) fn made() -> BTreeMap<String, String> {
    let run =
        json!({"program": "p", "program_version": "1", "method": "How.", "counts": {"cases": 6}});
    let files = study().made(&run, &by("technology"), &curves()).unwrap();
    texts_of(files)
}

/// The files that are texts.
fn texts_of(files: Files) -> BTreeMap<String, String> {
    let texts = files.into_iter().filter(|(name, _)| !name.ends_with(".docx"));
    texts.map(|(n, b)| (n, String::from_utf8(b).unwrap())).collect()
}

#[test]
fn table_one_counts_what_is_there_and_what_is_missing() {
    let table = &made()["table_one.csv"];
    for line in [
        "plan,fractions_planned,1,all,3,1,2,66.66666666666667,,,,",
        "plan,fractions_planned,5,y,1,1,1,100,,,,",
        // 20 and 22 Gy in one fraction, 25 in five; who has no dose has no number either.
        "plan,prescription_dose_gy,1,all,2,0,,,21,20.5,21.5,",
        "plan,prescription_dose_gy,5,all,1,",
        "lesion,gtv_volume_cc,,x,3,0,,,2,1.5,2.5,",
    ] {
        assert!(table.contains(line), "{line}\n{table}");
    }
    // No group has an era: a row with what is missing, and no number.
    assert!(!table.contains("NaN"));
    // People first, then plans and lesions; no names of columns.
    let read = &made()["table_one.md"];
    let rows: Vec<&str> = read.lines().filter(|l| l.starts_with("| ")).collect();
    assert_eq!(
        rows[..4],
        [
            "|  | All | X | Y | Difference |",
            "| Patients | 4 | 2 | 2 |  |",
            "| Plans | 4 | 2 | 2 |  |",
            "| Lesions | 4 | 3 | 1 |  |"
        ],
        "{read}"
    );
    // Never over several numbers of fractions.
    assert!(read.contains("| Prescription dose (Gy) |  |"), "{read}");
    assert!(read.contains("1 fraction | 21.0 (20.5 to 21.5), n = 2 |"), "{read}");
    assert!(!table.contains("plan,prescription_dose_gy,,all"), "{table}");
    assert!(!read.contains("prescription_dose") && read.contains("no p"), "{read}");
}

#[test]
fn the_flow_adds_up_to_what_is_included() {
    let flow = &made()["flow.csv"];
    let lines: Vec<&str> = flow.lines().skip(1).collect();
    assert_eq!(
        lines,
        [
            "cases in the archive,5,6,0,,technology",
            "measured,5,5,1,dose-several,technology",
            "in the study: treated as far as is known,4,4,1,superseded,technology",
        ]
    );
    let drawing = &made()["flow.svg"];
    assert!(drawing.contains("4 lesions") && drawing.contains("Excluded (n = 1)"), "{drawing}");
    assert!(!drawing.contains("dose-several"), "words, no codes: {drawing}");
}

#[test]
fn doses_keep_fractions_apart_and_say_why_values_are_missing() {
    let doses = &made()["doses.csv"];
    assert!(doses.contains("Brainstem,Mean[Gy],Gy,x,1,2,0,,3,2.5,3.5,2,4"), "{doses}");
    assert!(doses.contains("Brainstem,Mean[Gy],Gy,y,5,0,1,outside_grid 1,,,,,"), "{doses}");
    let there = &made()["completeness.csv"];
    assert!(
        there.contains("a,Brainstem,covered,100")
            && there.contains("b,Brainstem,partly covered,3.7")
    );
    assert!(there.contains("c,Brainstem,not drawn or not named,"));
}

/// A value whose bounds say nothing stands in the table of metrics and in no statistic.
#[test]
fn an_uncertain_value_counts_as_missing() {
    let mut tables = tables();
    let metrics = tables["metrics"]
        .clone()
        .with("status", texts(&["ok", "uncertain", "ok", "ok"]))
        .with("value", reals(&[2.0, 400.0, 8.0, 7.0]));
    tables.insert("metrics".to_owned(), metrics);
    let study = study_of(tables);
    let run =
        json!({"program": "p", "program_version": "1", "method": "How.", "counts": {"cases": 6}});
    let files = study.made(&run, &by("technology"), &curves()).unwrap();
    let text = |name: &str| {
        let (_, bytes) = files.iter().find(|(n, _)| *n == name).unwrap();
        String::from_utf8(bytes.clone()).unwrap()
    };
    let doses = text("doses.csv");
    assert!(doses.contains("Brainstem,Mean[Gy],Gy,x,1,1,1,uncertain 1,2,2,2,2,2"), "{doses}");
    assert!(!doses.contains("400") && !text("check_worksheet.csv").contains("400"));
}

#[test]
fn texts_state_facts_and_leave_gaps_open() {
    let methods = &made()["methods.txt"];
    assert!(
        methods.starts_with(CAUTION) && methods.contains("How.") && methods.contains("4 plans")
    );
    let lists = &made()["reporting.md"];
    assert!(lists.contains("**to be filled in**") && lists.contains("ICRU 91"));
    assert!(lists.contains("technologies: x 2, y 2"), "{lists}");
    // Every item of STROBE has its row, and what nobody knows is a question.
    for number in 1..=22 {
        assert_eq!(lists.matches(&format!("\n| {number} | ")).count(), 1, "item {number}\n{lists}");
    }
    assert!(lists.lines().filter(|l| l.contains('?')).count() >= 20, "{lists}");
    assert!(methods.contains("[@hodges1963]") && made()["references.bib"].contains("{hodges1963,"));
}

#[test]
fn tables_are_made_for_manuscripts_too() {
    let files = study().made(&json!({}), &by("technology"), &curves()).unwrap();
    for name in ["table_one", "doses", "comparisons"] {
        assert_eq!(files[&format!("{name}.docx")][..2], *b"PK", "{name}");
        let latex = String::from_utf8(files[&format!("{name}.tex")].clone()).unwrap();
        assert!(latex.contains("\\begin{longtable}") && !latex.contains("[Gy]"), "{latex}");
    }
    let doses = String::from_utf8(files["doses.tex"].clone()).unwrap();
    assert!(doses.contains("Mean dose (Gy) & x & 1 & 2 & 3.00 (2.50 to 3.50)"), "{doses}");
}

/// One plan is treated on day 0 and 61, its necrosis comes 30 days after the second; the other patient
/// dies on day 100.
#[test]
fn courses_events_and_death_lie_on_the_line_of_their_patient() {
    let mut tables = tables();
    let plans = tables["plans"].clone();
    let plans = plans
        .with("patient_id", texts(&["A", "A", "C", "D", "E", "E"]))
        .with("day_plan", Cells::Integer(vec![Some(0), Some(61), Some(7), None, None, None]));
    tables.insert("plans".to_owned(), plans);
    let row = |patient: &str, plan: Option<&str>| Outcome {
        patient_id: patient.to_owned(),
        plan_id: plan.map(str::to_owned),
        event_type: "necrosis".to_owned(),
        ..Outcome::default()
    };
    let outcomes = [
        Outcome { day_event: Some(30), day_last_contact: Some(60), ..row("A", Some("b")) },
        Outcome {
            event_type: "none".to_owned(),
            day_last_contact: Some(100),
            dead: Some(true),
            ..row("C", None)
        },
    ];
    let asked = Request { outcomes: &outcomes, ..by("technology") };
    let files = study_of(tables).made(&json!({}), &asked, &curves()).unwrap();
    let sheet = String::from_utf8(files["figures/courses.csv"].clone()).unwrap();
    let months = |patient: &str, what: &str| -> f64 {
        let row = sheet.lines().find(|l| l.starts_with(&format!("{patient},{what},"))).unwrap();
        row.rsplit(',').next().unwrap().parse().unwrap()
    };
    for (found, days) in [
        (months("A", "necrosis"), 91.0),
        (months("A", "last known"), 121.0),
        (months("C", "death"), 100.0),
    ] {
        assert!((found - days / 30.4375).abs() < 1e-9, "{found} {days}\n{sheet}");
    }
    assert_eq!(sheet.matches(",course,").count(), 3, "{sheet}");
    let captions = String::from_utf8(files["figures/captions.md"].clone()).unwrap();
    assert!(
        captions.contains("each of 2 patients") && captions.contains("Left out: 1 patient"),
        "{captions}"
    );
}

#[test]
fn a_grouping_that_is_no_column_is_named() {
    let text = study().made(&json!({}), &by("colour"), &Curves::new()).unwrap_err().to_string();
    assert!(text.contains("grouping colour") && text.contains("technology"), "{text}");
}

fn limit_checks_of_many(plans: &[&str], verdicts: &[&str]) -> (String, LoadedTable) {
    table(
        "limit_checks",
        [
            ("plan_id", texts(plans)),
            ("structure", texts(&["Brainstem"; 12])),
            ("metric", texts(&["D0.03cc[Gy]"; 12])),
            ("operator", texts(&["<="; 12])),
            ("limit_value", reals(&[7.0; 12])),
            ("unit", texts(&["Gy"; 12])),
            ("tier", texts(&["mandatory"; 12])),
            ("limit_source", texts(&["S"; 12])),
            ("verdict", texts(verdicts)),
        ],
    )
}

/// Twelve plans of eleven patients in two groups, all of one fraction, each with the brainstem.
fn many() -> (Study<'static>, Curves) {
    let names: [String; 12] = std::array::from_fn(|i| format!("p{i:02}"));
    let plans = names.each_ref().map(String::as_str);
    let ids = plans.map(|plan| format!("{plan}/9"));
    let ids = ids.each_ref().map(String::as_str);
    let mut patients = plans;
    patients[1] = "p00";
    let groups: Vec<&str> = (0..12).map(|i| if i < 6 { "x" } else { "y" }).collect();
    let values: Vec<f64> = (0..12).map(f64::from).collect();
    let verdicts: Vec<&str> = (0..12).map(|i| if i > 7 { "above" } else { "within" }).collect();
    let all = |word: &str| texts(&[word; 12]);
    let study = study_of(Tables::from([
        table(
            "plans",
            [
                ("patient_id", texts(&patients)),
                ("plan_id", texts(&plans)),
                ("technology", texts(&groups)),
                ("measured", flags(&[true; 12])),
                ("in_study", flags(&[true; 12])),
                ("plan_role", all("treated")),
                ("fractions_planned", Cells::Integer(vec![Some(1); 12])),
            ],
        ),
        table(
            "lesions",
            [
                ("plan_id", texts(&plans)),
                ("lesion_id", texts(&plans)),
                ("volume_cc", reals(&std::array::from_fn::<f64, 12, _>(|i| 24.0 - values[i]))),
            ],
        ),
        table(
            "metrics",
            [
                ("patient_id", texts(&patients)),
                ("plan_id", texts(&plans)),
                ("structure_id", texts(&ids)),
                ("structure", all("Brainstem")),
                ("role", all("organ")),
                ("metric", all("D0.03cc[Gy]")),
                ("unit", all("Gy")),
                ("status", all("ok")),
                ("value", reals(&values)),
            ],
        ),
        table(
            "structures",
            [
                ("plan_id", texts(&plans)),
                ("role", all("organ")),
                ("name_standard", all("Brainstem")),
                ("inside_grid_percent", reals(&[100.0; 12])),
            ],
        ),
        limit_checks_of_many(&plans, &verdicts),
    ]));
    let point = |dose_gy, volume_cc| CurvePoint { dose_gy, volume_cc, percent: volume_cc };
    let curve = |i: usize| Curve::new(vec![point(0.0, 10.0), point(1.0 + values[i], 0.0)]);
    let of = |i: usize| (names[i].clone(), BTreeMap::from([(ids[i].to_owned(), curve(i))]));
    (study, BTreeMap::from([("Brainstem".to_owned(), (0..12).map(of).collect())]))
}

pub(super) fn made_of_many() -> BTreeMap<String, String> {
    let (study, curves) = many();
    let files = study.made(&json!({"settings_sha256": "abc"}), &by("technology"), &curves).unwrap();
    texts_of(files)
}

/// Six values against six larger ones: every difference is between -11 and -1, their median -6; of
/// the 924 ways to choose six of twelve, two are as extreme.
#[test]
fn groups_are_compared_in_closed_form() {
    let sheet = &made_of_many()["comparisons.csv"];
    let row = sheet.lines().find(|l| l.contains("rank sum")).unwrap();
    assert!(row.contains(",x,y,6,6,,1,-6,"), "{row}");
    assert!(row.contains(&format!(",{},", 2.0 / 924.0)), "{row}");
    assert!(row.contains("1 patient with several values"), "{row}");
    // The volume falls by one as the value rises by one.
    let row = sheet.lines().find(|l| l.contains("Spearman")).unwrap();
    assert!(row.contains(",target volume,,12,,,1,-1,"), "{row}");
    assert!(sheet.lines().skip(1).all(|l| l.ends_with(",2")), "two tests:\n{sheet}");
}

/// None of six above against four of six: by hypergeometric counts p = 2·C(6,4)/C(12,4).
#[test]
fn shares_above_a_limit_have_exact_intervals_and_a_test() {
    let sheet = &made_of_many()["limit_shares.csv"];
    let x = sheet.lines().nth(1).unwrap();
    let y = sheet.lines().nth(2).unwrap();
    assert!(x.contains(",1,x,6,0,0,0,0,0,"), "{x}");
    assert!(x.contains("patients with several plans"), "{x}");
    assert!(y.contains(",1,y,6,4,0,0,0.66666"), "{y}");
    let p: f64 = y.split(',').rev().nth(2).unwrap().parse().unwrap();
    assert!((p - 2.0 * 15.0 / 495.0).abs() < 1e-12, "{p}");
    // The four with an undecided or unknown verdict are counted apart.
    let sheet = &made()["limit_shares.csv"];
    assert!(sheet.contains(",1,x,2,1,0,0,0.5,"), "{sheet}");
    assert!(sheet.contains(",5,y,0,0,1,0,,"), "{sheet}");
}

#[test]
fn an_aim_of_planning_has_no_share() {
    let mut tables = tables();
    let aims = tables["limit_checks"].clone().with("verdict", texts(&["not_a_limit"; 5]));
    tables.insert("limit_checks".to_owned(), aims);
    let run = json!({"program": "p", "program_version": "1", "method": "How.", "counts": {}});
    let files = study_of(tables).made(&run, &by("technology"), &curves()).unwrap();
    let sheet = String::from_utf8(files["limit_shares.csv"].clone()).unwrap();
    assert_eq!(sheet.lines().count(), 1, "{sheet}");
}

/// Lines that fall from 10 cc at no dose to nothing at 1, 2, ... 6 Gy: at 1 Gy the volumes are 0, 5,
/// 6.67, 7.5, 8 and 8.33 cc, and their median is half way between 6.67 and 7.5.
#[test]
fn bands_are_percentiles_of_the_volumes_and_nothing_beyond_the_maximum() {
    let files = made_of_many();
    let sheet = &files["figures/dvh_brainstem.csv"];
    let of_x: Vec<Vec<f64>> = sheet
        .lines()
        .filter(|l| l.starts_with("Brainstem,x,1,6,5,"))
        .map(|l| l.split(',').skip(5).map(|c| c.parse().unwrap()).collect())
        .collect();
    assert_eq!(of_x.len(), 101);
    assert_eq!(of_x[0], [0.0, 10.0, 10.0, 10.0, 10.0, 10.0]);
    assert_eq!(of_x[100], [6.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
    let at =
        |dose: f64| of_x.iter().min_by(|a, b| (a[0] - dose).abs().total_cmp(&(b[0] - dose).abs()));
    let near = at(1.02).unwrap();
    let shares = [2.0, 3.0, 4.0, 5.0, 6.0].map(|last| 10.0 * (1.0 - near[0] / last));
    assert!((near[3] - f64::midpoint(shares[1], shares[2])).abs() < 1e-9, "{near:?}");
    for name in ["dvh_brainstem", "dvh_brainstem_small_volumes", "completeness"] {
        let svg = &files[&format!("figures/{name}.svg")];
        let words = svg.split(['<', '>']).collect::<Vec<_>>().join(" ");
        assert!(words.contains("quality review") && !svg.contains("NaN"), "{name}");
    }
    // Two curves are too few for a figure.
    assert!(!made().contains_key("figures/dvh_brainstem.svg"));
}

#[test]
fn captions_say_how_many_who_is_left_out_and_which_run() {
    let files = made_of_many();
    let captions = &files["figures/captions.md"];
    for name in files.keys().filter_map(|n| n.strip_prefix("figures/")?.strip_suffix(".svg")) {
        assert!(captions.contains(&format!("## {name}.svg")), "{name}");
    }
    assert_eq!(captions.matches("settings abc").count(), captions.matches("\n## ").count());
    assert!(captions.contains("12 plans of 11 patients"), "{captions}");
    let made = made();
    let captions = &made["figures/captions.md"];
    assert!(captions.contains("Without a value: absent"), "{captions}");
    assert!(captions.contains("Organs by plan, for 4 plans in 2 groups"), "{captions}");
}

#[test]
fn every_value_of_a_spread_is_a_mark_and_a_row() {
    let files = made_of_many();
    let rows = files["figures/spread_brainstem_d0_03cc_gy.csv"].lines().count() - 1;
    assert_eq!(rows, 12);
    let svg = &files["figures/spread_brainstem_d0_03cc_gy.svg"];
    // Once by group and once against the volume; the groups have a look of their own.
    assert_eq!(svg.matches("fill=\"none\" stroke=\"#0072B2\" stroke-width=\"2.2\"").count(), 12);
    assert_eq!(svg.matches("fill=\"none\" stroke=\"#D55E00\" stroke-width=\"2.2\"").count(), 12);
}

#[test]
fn covariates_of_the_sheet_stand_in_table_1_and_beside_the_scripts() {
    use tidydose_table::user::outcome_sheet::covariates::{Grain, Values, add};
    let numbers = [("A", 50.0), ("E", 70.0)].map(|(k, v)| (k.to_owned(), v));
    let levels = [("a", "high"), ("b", "low"), ("f", "low")];
    let levels = levels.map(|(k, v)| (k.to_owned(), v.to_owned()));
    let covariate = |name: &str, grain, values| Covariate {
        name: name.to_owned(),
        column: name.to_owned(),
        grain,
        values,
    };
    let told = [
        covariate("age", Grain::Patient, Values::Numbers(numbers.into())),
        covariate("kps", Grain::Plan, Values::Levels(levels.into())),
    ];
    let mut tables = tables();
    add(&mut tables, &told);
    let asked = Request { covariates: &told, ..by("technology") };
    let run = json!({"settings_sha256": "abc"});
    let files = study_of(tables).made(&run, &asked, &curves()).unwrap();
    let text = |name: &str| String::from_utf8(files[name].clone()).unwrap();
    let table = text("table_one.csv");
    // Of four patients with a plan in the study one has an age.
    let age = table.lines().find(|l| l.starts_with("patient,age,,all,")).unwrap();
    assert!(age.starts_with("patient,age,,all,1,3,") && age.contains(",50,"), "{age}");
    assert!(table.lines().any(|l| l.starts_with("plan,kps,low,all,")), "{table}");
    assert!(text("table_one.md").contains("| **By patient** |"));
    let beside = text("plan_covariates.csv");
    assert_eq!(beside.lines().next(), Some("plan_id,first_of_patient,age,kps"));
    assert_eq!(beside.lines().filter(|l| l.contains(",true,")).count(), 4, "{beside}");
    assert!(text("table_one.py").contains("(\"patient\", \"age\", \"numbers\")"));
    assert!(text("table_one.R").contains("list(\"plan\", \"kps\", \"categories\")"));
    // Without a sheet the folder is what it was.
    assert!(!made().contains_key("plan_covariates.csv"));
}
