//! Sheets as departments write them, against what a person would read in them.

use std::collections::BTreeMap;

use super::account::Became;
use super::covariates::{Grain, Values};
use super::*;
use crate::user::outcomes::{self, Outcome};
use chrono::NaiveDate;
use tidydose_rt::identity::{Identity, Token};

const SECRET: [u8; 32] = [7; 32];

/// Day of the study for a date of a patient, as the door of the program makes it.
fn day(patient: &str, date: &str) -> i64 {
    let date = NaiveDate::parse_from_str(date, "%Y-%m-%d").unwrap();
    let since = date.signed_duration_since(NaiveDate::default()).num_days();
    Identity::keyed(SECRET).day(&Token::new(patient), since).0
}

fn plan(patient: &str, id: &str, course: i64, date: &str) -> PlanFact {
    PlanFact {
        patient_id: patient.into(),
        plan_id: id.into(),
        day: Some(day(patient, date)),
        course: Some(course),
        in_study: true,
        measured: true,
    }
}

/// Three patients, the second with two courses.
fn facts(with_key: bool) -> Facts {
    let plans = vec![
        plan("Pa", "a1", 1, "2019-08-24"),
        plan("Pb", "b1", 1, "2021-10-16"),
        plan("Pb", "b2", 2, "2022-05-03"),
        plan("Pc", "c1", 1, "2020-02-05"),
    ];
    let lesions = vec![
        LesionFact {
            plan_id: "a1".into(),
            lesion_id: "a1/1".into(),
            names: vec!["gtv 1".into(), "a1/1".into()],
        },
        LesionFact {
            plan_id: "a1".into(),
            lesion_id: "a1/2".into(),
            names: vec!["gtv 2".into(), "a1/2".into()],
        },
    ];
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(PATIENT_KEY);
    let key = "patient_id,original_patient_id\nPa,H/1\nPb,H/2\nPc,H/3\n";
    std::fs::write(&path, key).unwrap();
    let names = StudyNames::new(Identity::keyed(SECRET), &path).unwrap();
    Facts::new(plans, lesions, with_key.then_some(names))
}

fn grid(text: &str) -> Grid {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sheet.csv");
    std::fs::write(&path, text).unwrap();
    Grid::read(&path).unwrap()
}

/// Read as proposed, with some rows of the map changed before.
fn read_changed(text: &str, facts: &Facts, change: &dyn Fn(&mut MapRow)) -> SheetRead {
    let grid = grid(text);
    let mut map = propose(&grid, facts);
    map.iter_mut().for_each(change);
    for row in &map {
        assert_eq!(row.open(), None, "{row:?}");
    }
    let found = read(&grid, &map, facts);
    assert_eq!(found.account.len(), grid.rows.len() * grid.columns.len(), "a row for each cell");
    let accounted = found.account.iter().all(|a| match a.became {
        Became::Used | Became::Empty => true,
        Became::NotUsed | Became::HeldBack | Became::NotUnderstood | Became::NoPartner => {
            !a.reason.is_empty()
        }
    });
    assert!(accounted, "{:?}", found.account);
    found
}

fn read_proposed(text: &str, facts: &Facts) -> SheetRead {
    read_changed(text, facts, &|_| ())
}

/// What is written back reads again as it is, without any map.
fn written_and_read(rows: &[Outcome]) -> Vec<Outcome> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("outcomes_read.csv");
    std::fs::write(&path, outcomes::csv(rows)).unwrap();
    let mut again = outcomes::read(&path).unwrap();
    for (row, own) in again.iter_mut().zip(rows) {
        row.row = own.row;
    }
    again
}

const WIDE: &str = "\
patient_id,plan,treatment_date,diagnosis,age,sex,followup_months,radionecrosis,\
months_to_radionecrosis,local_failure,months_to_local_failure,dead
H/1,CO1 final,20190824,metastases,61,M,16.1,1,13.1,0,,1
H/2,CO1 final,2021-10-16,metastases,56,F,12.7,0,,0,,0
H/2,VM2 SRS,03.05.2022,metastases,56,F,10,0,,1,2.5,0
H/3,CO1,05.02.2020,avm,,F,n/a,?,,0,,
H/3,CO1,24.12.2020,avm,,F,9,0,,0,,0
H/9,CO1,20190825,avm,33,F,9,0,,0,,0
";

#[test]
fn the_sheet_of_a_department_is_read_as_proposed() {
    let facts = facts(true);
    let map: BTreeMap<String, MapRow> =
        propose(&grid(WIDE), &facts).into_iter().map(|r| (r.column.clone(), r)).collect();
    let meaning = |c: &str| map[c].meaning.unwrap();
    for (column, wanted) in [
        ("patient_id", Meaning::Patient),
        ("plan", Meaning::NotUsed),
        ("treatment_date", Meaning::TreatmentDate),
        ("diagnosis", Meaning::Covariate),
        ("age", Meaning::Covariate),
        ("followup_months", Meaning::LastContact),
        ("radionecrosis", Meaning::Event),
        ("months_to_radionecrosis", Meaning::Time),
        ("dead", Meaning::Dead),
    ] {
        assert_eq!(meaning(column), wanted, "{column}");
    }
    assert_eq!(map["months_to_local_failure"].of, "local_failure");
    assert_eq!(map["treatment_date"].form, Some(Form::DateDayFirst));
    assert!(
        map["treatment_date"].evidence.contains("2 of them with day and month to be exchanged")
    );
    assert!(!map["treatment_date"].evidence.contains("2019"), "no date gets out");

    let found = read_proposed(WIDE, &facts);
    assert_eq!((found.grain, found.rows, found.without_partner), (Grain::Plan, 6, 2));
    let rows: Vec<(&str, &str, Option<i64>)> = found
        .outcomes
        .iter()
        .map(|o| (o.plan_id.as_deref().unwrap(), o.event_type.as_str(), o.day_event))
        .collect();
    // 13.1, 2.5 and 16.1 months of 30.4375 days: 398.7, 76.1 and 490.0.
    assert_eq!(
        rows,
        [
            ("a1", "radionecrosis", Some(399)),
            ("b1", "none", None),
            ("b2", "local_failure", Some(76)),
            ("c1", "none", None),
            ("a1", "death", Some(490)),
        ]
    );
    assert_eq!(found.outcomes[3].event_unknown, ["radionecrosis"]);
    assert_eq!(written_and_read(&found.outcomes), found.outcomes);
    let stray = found.account.iter().find(|a| a.row == 6 && a.column == "dead").unwrap();
    assert_eq!(stray.became, Became::NoPartner);
    assert!(stray.reason.contains("no plan of this day"), "{}", stray.reason);
    let shown: Vec<&str> = found.account.iter().map(|a| a.cell.as_str()).collect();
    assert!(!shown.iter().any(|c| c.contains("H/") || c.contains("2019")), "{shown:?}");
}

#[test]
fn covariates_stand_at_the_coarsest_grain_that_does_not_contradict_itself() {
    let found = read_proposed(WIDE, &facts(true));
    let of = |name: &str| found.covariates.iter().find(|c| c.name == name).unwrap();
    assert_eq!((of("age").grain, of("sex").grain), (Grain::Patient, Grain::Patient));
    let Values::Numbers(ages) = &of("age").values else { panic!("numbers") };
    assert_eq!(
        ages.iter().map(|(k, v)| (k.as_str(), *v)).collect::<Vec<_>>(),
        [("Pa", 61.0), ("Pb", 56.0)]
    );
    let other = WIDE.replace("VM2 SRS,03.05.2022,metastases,56", "VM2,03.05.2022,metastases,57");
    let found = read_proposed(&other, &facts(true));
    let age = found.covariates.iter().find(|c| c.name == "age").unwrap();
    assert_eq!(age.grain, Grain::Plan);
}

#[test]
fn what_can_be_two_things_is_asked() {
    let facts = facts(true);
    let text = "MRN;SRS date;necrosis;date necrosis;FU\nH/1;24.08.2019;x;03.05.2020;600\n\
                H/3;05.02.2020;;;700\n";
    let map = propose(&grid(text), &facts);
    let open: Vec<Option<String>> = map.iter().map(MapRow::open).collect();
    assert_eq!(open[1], None, "one date of the column can only begin with the day");
    assert_eq!(open[2].as_deref(), Some("`necrosis`: values say nothing of (blank)"));
    assert!(map[2].to_decide.contains("does an empty cell mean no"), "{}", map[2].to_decide);
    assert_eq!(open[3].as_deref(), Some("`date necrosis`: column form is empty"));
    assert!(map[3].to_decide.contains("date_day_first or date_month_first"));
    assert_eq!(open[4].as_deref(), Some("`FU`: column form is empty"), "days or months?");
    for (form, day) in [(Form::DateDayFirst, 253), (Form::DateMonthFirst, 194)] {
        let found = read_changed(text, &facts, &|row| match row.column.as_str() {
            "necrosis" => {
                row.values.insert("(blank)".into(), "no".into());
            }
            "date necrosis" => row.form = Some(form),
            "FU" => row.form = Some(Form::Days),
            _ => (),
        });
        assert_eq!(found.outcomes[0].day_event, Some(day));
        assert_eq!(found.outcomes[1].event_type, "none");
    }
    // `date` holds back what can be both, with the reason.
    let found = read_changed(text, &facts, &|row| {
        row.values.values_mut().for_each(|v| *v = "unknown".to_owned());
        if row.column.contains("date n") {
            row.form = Some(Form::Date);
        }
        if row.column == "FU" {
            row.form = Some(Form::Days);
        }
    });
    let cell = found.account.iter().find(|a| a.column == "date necrosis").unwrap();
    assert!(cell.became == Became::NotUnderstood && cell.reason.contains("exchanged"), "{cell:?}");
    assert_eq!(found.outcomes[1].event_unknown, ["necrosis"]);
}

/// Each sequence that cannot have happened is named, and stays in the tidy sheet with its reason.
#[test]
fn impossible_sequences_are_held_back_and_named() {
    let header = "id,course,necrosis,days to necrosis,last MRI days,follow-up days,dead,death days";
    for (row, reason) in [
        ("H/1,1,1,-3,,400,0,", "necrosis before the treatment"),
        ("H/1,1,1,500,,400,0,", "necrosis after the last contact"),
        ("H/1,1,1,350,300,400,0,", "necrosis after the last imaging"),
        ("H/1,1,1,350,,,1,300", "necrosis after death"),
        ("H/1,1,0,,350,,1,300", "last imaging after death"),
        ("H/1,1,0,,,350,1,300", "last contact after death"),
        ("H/1,1,0,,400,350,0,", "last imaging after the last contact"),
        ("H/1,1,0,200,,350,0,", "no necrosis, with its time"),
        ("H/1,1,?,200,,350,0,", "a time of necrosis, and no yes or no"),
        ("H/1,1,0,,,350,0,300", "alive, with a day of death"),
    ] {
        let found = read_proposed(&format!("{header}\n{row}\nH/3,1,0,,10,20,0,\n"), &facts(true));
        assert_eq!(found.held, [(2, reason.to_owned())], "{row}");
        let held: Vec<&Outcome> = found.outcomes.iter().filter(|o| o.held_back.is_some()).collect();
        assert!(!held.is_empty() && held.iter().all(|o| o.row == 2), "{row}");
        assert!(found.account.iter().any(|a| a.became == Became::HeldBack && a.reason == reason));
        assert_eq!(written_and_read(&found.outcomes), found.outcomes, "{row}");
    }
    // Of one patient over two courses: dead in the first row, seen later in the second.
    let text = format!("{header}\nH/2,1,0,,,60,1,\nH/2,2,0,,,20,0,\n");
    let found = read_proposed(&text, &facts(true));
    assert_eq!(found.held.len(), 2);
    let reason = "known of after death (dead in row 2, later in row 3)";
    assert!(found.held.iter().all(|(_, r)| r == reason), "{:?}", found.held);
    assert!(found.outcomes.iter().all(|o| o.held_back.is_some()));
}

#[test]
fn a_long_sheet_with_dates_needs_the_key_or_the_date_of_treatment() {
    let text = "Patient ID\tevent\tdate\tCTCAE grade\nPa\tNecrosis\t2020-03-01\tG3\n\
                Pa\tEdema\t2020-04-01\t1\nPc\tnone\t\t\n";
    let decided = |row: &mut MapRow| {
        if row.column == "date" {
            (row.meaning, row.form) = (Some(Meaning::Time), Some(Form::Date));
        }
    };
    let found = read_changed(text, &facts(true), &decided);
    let told: Vec<_> =
        found.outcomes.iter().map(|o| (o.event_type.as_str(), o.day_event, o.grade)).collect();
    assert_eq!(
        told,
        [("necrosis", Some(190), Some(3)), ("edema", Some(221), Some(1)), ("none", None, None)]
    );
    let found = read_changed(text, &facts(false), &decided);
    let cell = found.account.iter().find(|a| a.column == "date").unwrap();
    assert!(cell.became == Became::NotUnderstood && cell.reason.contains("--key"), "{cell:?}");
    assert_eq!(found.outcomes[0].day_event, None);
    // The date of treatment in the same row does as well, where the patient has one plan.
    let text = "id,SRS date,necrosis,date of necrosis\nPa,2019-08-24,1,2020-03-01\n";
    let found = read_proposed(text, &facts(false));
    assert_eq!(found.outcomes[0].day_event, Some(190));
}

#[test]
fn rows_of_lesions_find_their_lesion_and_a_repeated_row_is_held_back() {
    let text = "patient,GTV,local failure,months to local failure,follow-up months\n\
                H/1,GTV 1,yes,6,12\nH/1,GTV 2,no,,12\nH/1,gtv 2,no,,12\nH/1,GTV 3,no,,12\n";
    let found = read_proposed(text, &facts(true));
    assert_eq!(found.grain, Grain::Lesion);
    let lesions: Vec<_> = found.outcomes.iter().map(|o| o.lesion_id.as_deref().unwrap()).collect();
    assert_eq!(lesions, ["a1/1", "a1/2", "a1/2"]);
    assert_eq!(found.held, [(4, "row 3 says the same of this subject".to_owned())]);
    let stray = found.account.iter().find(|a| a.row == 5 && a.column == "GTV").unwrap();
    assert_eq!(
        (stray.became, stray.reason.as_str()),
        (Became::NoPartner, "the study has no such lesion")
    );
}

#[test]
fn no_column_is_passed_over() {
    let text = "patient_id,surname,DOB,KPS,notes,prior WBRT,alive,referrer date\n\
                H/1,A,1950-01-01,90,long text,yes,1,2019-01-01\n\
                H/2,B,1951-01-01,80,other text,no,0,2019-01-01\n\
                H/3,C,1952-01-01,70,third text,no,1,2019-01-01\n";
    let map = propose(&grid(text), &facts(true));
    let told: Vec<_> = map.iter().map(|r| r.meaning.unwrap()).collect();
    use Meaning::{Covariate, Dead, NotUsed, Patient};
    assert_eq!(told, [Patient, NotUsed, NotUsed, Covariate, NotUsed, Covariate, Dead, NotUsed]);
    assert!(map.iter().all(|r| !r.evidence.is_empty()));
    assert!(map[4].to_decide.contains("free text") && map[7].to_decide.contains("of what?"));
    assert!(!map.iter().any(|r| r.evidence.contains("long text") || r.evidence.contains("1950")));
    let found = read_proposed(text, &facts(true));
    // "alive" asks the other way round.
    assert_eq!(found.outcomes.iter().filter(|o| o.event_type == "death").count(), 1);
    assert_eq!(found.outcomes.iter().find(|o| o.event_type == "death").unwrap().patient_id, "Pb");
}
