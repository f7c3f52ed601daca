//! Answers of a page and of a workbook, taken over and refused.

use super::*;
use crate::user::names::NamesFile;

const HEAD: &str = "file,subject,patient_id,plan_id,roi_number,answer,comment,decided_by,decided_on,\
                    question\n";

const NAMES: &str = "name_original,plan_id,roi_number,n_seen,name_standard,role,comment\n\
                     Stamm,,,3,,,\nx1,,,1,,,\nPons?,,,1,Pons,,\n";
const FINDINGS: &str = "finding_id,code,plan_id,roi_number,structure,message,state,decided_by,\
                        decided_on,why\nF1,plane-gap,P,1,,gap,,,,\n";
const CHOICES: &str = "plan_id,question,evidence,decision,comment\nP,treated,,,\n";

fn study() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (file, text) in
        [("names.csv", NAMES), ("decisions.csv", FINDINGS), ("choices.csv", CHOICES)]
    {
        std::fs::write(folder.path().join(file), text).unwrap();
    }
    folder
}

fn answers(study: &Path, rows: &str) -> Result<Vec<Answer>, String> {
    let path = study.join("answers.csv");
    std::fs::write(&path, format!("{HEAD}{rows}")).unwrap();
    read(&path).map_err(|e| e.to_string())
}

fn taken(study: &Path, rows: &str) -> Result<TakenOver, String> {
    take_over(study, &answers(study, rows)?).map_err(|e| e.to_string())
}

fn cell(study: &Path, file: &str, row: usize, column: &str) -> String {
    let file = UserFile::read(&study.join(file), &[], &[]).unwrap();
    file.text(row, column).to_owned()
}

#[test]
fn answers_fill_the_rows_of_the_files_that_keep_them_and_nothing_else() {
    let folder = study();
    let rows = "names.csv,Stamm,,,,Brainstem,sure,reader 1,2024-05-01,What?\n\
                names.csv,x1,,,,role:Helper,,,,\n\
                names.csv,Stamm,,P,7,own:Vein,,,,\n\
                choices.csv,treated,,P,,yes,,,,\n\
                choices.csv,treated,,*,,no,,,,\n\
                decisions.csv,F1,,,,accepted,looked,reader 1,2024-05-01,\n\
                decisions.csv,all:plane-gap,,,,waived,,,,\n\
                names.csv,later,,,,,,,,\n";
    let done = taken(folder.path(), rows).unwrap();
    let wanted = [("choices.csv", 2), ("decisions.csv", 2), ("names.csv", 3)];
    assert_eq!(done.written.into_iter().collect::<Vec<_>>(), wanted);
    let at = |file, row, column| cell(folder.path(), file, row, column);
    assert_eq!(at("names.csv", 0, "name_standard"), "Brainstem");
    assert_eq!(at("names.csv", 0, "comment"), "reader 1, 2024-05-01, sure");
    assert_eq!(
        (at("names.csv", 1, "role"), at("names.csv", 1, "name_standard")),
        ("helper".into(), String::new())
    );
    assert_eq!(
        (at("names.csv", 3, "plan_id"), at("names.csv", 3, "roi_number")),
        ("P".into(), "7".into())
    );
    assert_eq!(
        (at("decisions.csv", 0, "state"), at("decisions.csv", 0, "why")),
        ("accepted".into(), "looked".into())
    );
    assert_eq!(
        (at("decisions.csv", 1, "finding_id"), at("decisions.csv", 1, "state")),
        ("*".into(), "waived".into())
    );
    assert_eq!(at("names.csv", 2, "name_standard"), "Pons", "what was decided before");
    assert!(NamesFile::read(&folder.path().join("names.csv"), &[]).is_ok());
    // The whole archive had no row of its own: that one is said, and kept.
    assert_eq!(done.not_asked.len(), 1, "{:?}", done.not_asked);
    assert!(done.not_asked[0].contains("`treated` is no open question; the answer is kept"));
    let again = taken(folder.path(), rows).unwrap();
    assert_eq!((again.written.len(), again.known), (0, 7));
}

#[test]
fn a_wrong_answer_refuses_all_with_file_question_value_and_what_is_accepted() {
    for (row, wanted) in [
        (
            "names.csv,Stamm,,,,Brainstm,,,,What is it?\n",
            "question `What is it?`, answer `Brainstm`: name_standard `Brainstm` is no standard name, the nearest is `Brainstem`",
        ),
        (
            "names.csv,Stamm,,,,role:orgn,,,,\n",
            "question `Stamm`, answer `role:orgn`: the role is unknown; one of role:gtv",
        ),
        ("choices.csv,treated,,P,,maybe,,,,\n", "answer `maybe`: it is not yes or no"),
        ("choices.csv,same_frame,,*,,yes,,,,\n", "one plan is to be named"),
        ("choices.csv,treatd,,P,,yes,,,,\n", "question `treatd` is put nowhere"),
        ("prescriptions.csv,GTV,,P,2,2400,,,,\n", "answer `2400`: is more than 300 Gy"),
        ("prescriptions.csv,GTV,,,2,24,,,,\n", "plan_id is empty"),
        ("decisions.csv,F1,,,,done,,,,\n", "answer `done`: the state is unknown; open, accepted"),
        (
            "decisions.csv,all:plan-gap,,,,waived,,,,\n",
            "no finding has the code `plan-gap`; nearest: plan",
        ),
        ("lesions.csv,a/1,,,,a/1,,,,\n", "same_as is the lesion itself"),
        ("names.csv,Pons?,,,,Brainstem,,,,\n", "row 4 of names.csv says `Pons`"),
        ("name.csv,Stamm,,,,Brainstem,,,,\n", "column `file`: `name.csv`: one of choices.csv"),
    ] {
        let folder = study();
        let rows = format!("names.csv,x1,,,,role:helper,,,,\n{row}");
        let said = taken(folder.path(), &rows).unwrap_err();
        assert!(said.contains("answers.csv: row 3"), "{said}");
        assert!(said.contains(wanted), "{said}");
        let now = std::fs::read_to_string(folder.path().join("names.csv")).unwrap();
        assert_eq!(now, NAMES, "nothing is written");
    }
}

#[test]
fn files_of_answers_are_found_and_a_missing_column_is_said() {
    let folder = study();
    for name in ["answers (1).csv", "Answers.CSV", "my answers.csv", WORKBOOK] {
        std::fs::write(folder.path().join(name), "file,subject\n").unwrap();
    }
    let found = files_in(folder.path()).unwrap();
    let names: Vec<_> = found.iter().map(|p| p.file_name().unwrap().to_string_lossy()).collect();
    assert_eq!(names, ["Answers.CSV", "answers (1).csv", WORKBOOK]);
    let said = read(&found[0]).unwrap_err().to_string();
    assert!(said.contains("column `plan_id` is missing"), "{said}");
    assert_eq!(files_in(&folder.path().join("nowhere")).unwrap(), Vec::<PathBuf>::new());
}

/// Two saves of one page that say different things: neither is followed silently.
#[test]
fn two_answers_to_one_question_are_refused_when_they_differ() {
    let folder = study();
    let rows = "names.csv,Stamm,,,,Brainstem,,,,\nnames.csv,Stamm,,,,Pons,,,,\n";
    let said = taken(folder.path(), rows).unwrap_err();
    assert!(said.contains("row 2 of names.csv says `Brainstem`; make both the same"), "{said}");
}

const SUMS: &str = "patient_id,plan_id,fractions,sum,basis,structures,comment\n\
                    Q,a,1,,,,\nQ,b,5,,,,\nQ,c,1,,,,\nR,d,1,,,,\n";

#[test]
fn one_answer_fills_the_rows_of_all_plans_of_a_patient_but_those_answered_alone() {
    let folder = study();
    std::fs::write(folder.path().join("sums.csv"), SUMS).unwrap();
    let rows = "sums.csv,Q,Q,*,,eqd2,,reader 1,,\nsums.csv,Q,Q,c,,apart,,,,\n";
    let done = taken(folder.path(), rows).unwrap();
    assert_eq!(done.written.into_iter().collect::<Vec<_>>(), [("sums.csv", 3)]);
    assert_eq!(done.not_asked, Vec::<String>::new());
    let at = |row, column| cell(folder.path(), "sums.csv", row, column);
    let all: Vec<[String; 2]> = (0..4).map(|row| [at(row, "sum"), at(row, "basis")]).collect();
    assert_eq!(all, [["all", "eqd2"], ["all", "eqd2"], ["", "apart"], ["", ""]]);
    assert_eq!(at(0, "comment"), "reader 1");
    let again = taken(folder.path(), rows).unwrap();
    assert_eq!((again.written.len(), again.known), (0, 3), "the same file once more");
    let said = taken(folder.path(), "sums.csv,R,R,d,,sum,,,,\n").unwrap_err();
    assert!(said.contains("it is not physical, eqd2 or apart"), "{said}");
    let said = taken(folder.path(), "sums.csv,T,T,*,,eqd2,,,,\n").unwrap_err();
    assert!(said.contains("sums.csv has no plan of patient_id `T`"), "{said}");
    // Another basis in the same sum.
    let said = taken(folder.path(), "sums.csv,Q,Q,a,,physical,,,,\n").unwrap_err();
    assert!(said.contains("row 2 of sums.csv says `all eqd2`"), "{said}");
}
