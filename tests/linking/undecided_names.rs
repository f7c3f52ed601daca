//! Organs whose names nobody has decided: not absent as long as a structure may be them, with the
//! candidates and their doses where a person looks for the organ.

use super::program::Study;
use super::*;
use crate::measured::Row;

/// The target in a plan with one more structure of this name, and a second one beside.
fn archive(names: &[&str]) -> Archive {
    let mut course = course(1);
    for (number, name) in (2..).zip(names) {
        let centre = [CENTRE[0] + 2.0 * f64::from(number), CENTRE[1], CENTRE[2]];
        let stack = PlaneStack::axial(1.0, 0.0);
        // 12.5 cm³: of the size of a brainstem, and of no chiasm or cochlea.
        let solid = Solid::ball(centre, 14.4);
        course.set.rois.push(Roi::new(number, name, "ORGAN").outlining(&solid, &stack, 60));
    }
    let lattice = Lattice::around(CENTRE, [34.0; 3], 2.0);
    course.dose.values = whole().sample(&lattice);
    course.dose.lattice = lattice;
    let archive = Archive::new();
    archive.put("one", &course);
    archive
}

fn measured(names: &[&str]) -> Study {
    let study = Study::new();
    let ended = study.measure(&archive(names));
    assert!(ended.code < 2, "{ended:?}");
    study
}

fn status(study: &Study, column: &str) -> String {
    study.table("plans_wide")[0][column].clone()
}

#[test]
fn an_organ_is_undecided_while_an_open_name_may_be_it() {
    let study = measured(&["Tronco"]);
    assert_eq!(status(&study, "brainstem_d0p03cc_status"), "name_undecided");
    assert_eq!(status(&study, "brainstem_gap_status"), "name_undecided");
    assert_eq!(status(&study, "chiasm_d0p03cc_status"), "absent", "Tronco is no chiasm");
    assert_eq!(study.table("patients_wide")[0]["brainstem_mean_status"], "name_undecided");
    assert_eq!(study.table("lesions_wide")[0]["brainstem_gap_status"], "name_undecided");
    let names = status(&study, "undecided_names");
    let metrics = study.table("metrics");
    let of_tronco = |r: &&Row| r["structure"] == "Tronco" && r["metric"] == "D0.03cc[Gy]";
    let dose: f64 = metrics.iter().find(of_tronco).unwrap()["value"].parse().unwrap();
    assert_eq!(names, format!("Tronco {dose:.1} Gy (Brainstem External)"));
    let structures = study.table("structures");
    let row = structures.iter().find(|r| r["structure"] == "Tronco").unwrap();
    assert_eq!(row["may_be"], "Brainstem External");

    let checks = study.table("limit_checks");
    let own: Vec<&Row> = checks.iter().filter(|r| r["structure"] == "Brainstem").collect();
    assert!(!own.is_empty());
    for row in own {
        assert_eq!((row["verdict"].as_str(), row["roi_number"].as_str()), ("unknown", "2"));
        assert!(row["reason"].starts_with("name_undecided") && row["reason"].contains("Tronco"));
        if row["metric"] == "D0.03cc[Gy]" {
            let value: f64 = row["value"].parse().unwrap();
            assert!((value - dose).abs() < 1e-9, "{value} for {dose}");
        }
    }
    let asked = study.run(&["ask", "open-organs"]);
    assert!(asked.code == 0 && asked.out.contains("Tronco"), "{asked:?}");
    let page = study.run(&["review"]);
    assert_eq!(page.code, 0, "an organ of which every name is open has its page: {page:?}");
    let html = std::fs::read_to_string(study.root().join("review.html")).unwrap();
    assert!(html.contains("an undecided name may be it"));

    study.answer("names.csv", "name_standard", "Brainstem", |r| r["name_original"] == "Tronco");
    study.measure(&archive(&["Tronco"]));
    assert_eq!(status(&study, "brainstem_d0p03cc_status"), "ok");
    assert_eq!(status(&study, "undecided_names"), "");
}

#[test]
fn an_organ_is_absent_where_no_open_name_may_be_it() {
    let study = measured(&["Pele", "Cerebellum"]);
    assert_eq!(status(&study, "brainstem_d0p03cc_status"), "absent");
    let checks = study.table("limit_checks");
    let row = checks.iter().find(|r| r["structure"] == "Brainstem").unwrap();
    assert!(row["reason"].starts_with("absent"), "{row:?}");
    // An unknown word of the size of a brainstem may be one; of no size of a brain.
    let unknown = measured(&["Pień"]);
    assert_eq!(status(&unknown, "brainstem_d0p03cc_status"), "name_undecided");
    assert_eq!(status(&unknown, "brain_v12gy_status"), "absent");
}

#[test]
fn an_organ_called_old_is_that_organ_when_nothing_else_is_it_and_this_is_said() {
    let lone = measured(&["Brainstem old"]);
    assert_eq!(status(&lone, "brainstem_d0p03cc_status"), "ok");
    let asked = |study: &Study| {
        study.table("findings").iter().filter(|f| f["code"] == "name-ambiguous").count()
    };
    assert_eq!(asked(&lone), 1);
    let names = lone.rows("names.csv");
    let row = names.iter().find(|r| r["name_original"] == "Brainstem old").unwrap();
    assert_eq!((row["basis"].as_str(), row["proposed_standard"].as_str()), ("rule", "Brainstem"));
    assert_eq!(row["name_standard"], "");
    let both = measured(&["Brainstem old", "Brainstem"]);
    assert_eq!(status(&both, "brainstem_d0p03cc_status"), "ok");
    assert_eq!(asked(&both), 0);
}
