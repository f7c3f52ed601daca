//! What is read from `names.csv`, what is refused, and what is written into it.

use super::*;
use crate::testing::case_of;

fn read(text: &str) -> Result<NamesFile, String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    std::fs::write(&path, text).unwrap();
    NamesFile::read(&path, &[]).map_err(|e| e.reason)
}

fn file(rows: &str) -> String {
    format!("{}\r\n{rows}", COLUMNS.join(","))
}

/// What a file decides for cases, and its rows that mean nothing.
fn decided(names: &NamesFile, cases: &[Case]) -> (Decisions, Vec<Unmatched>) {
    let all = cases.iter().flat_map(|c| c.structure_set.iter().flat_map(|s| &s.rois));
    let roi_names = all.map(|roi| roi.name.as_str()).collect();
    let mut decisions = Decisions::default();
    let known = Known { roi_names, ..Known::default() };
    let unmatched = names.decide(&known, cases, &mut decisions);
    (decisions, unmatched)
}

fn proposal(original: &str) -> Proposal {
    Proposal {
        original: original.to_owned(),
        seen: 3,
        standard: Some("Brainstem".to_owned()),
        role: Role::Organ,
        basis: NameBasis::Rule,
        elsewhere: false,
    }
}

#[test]
fn decisions_are_read_and_blank_rows_are_none() {
    let names = read(&file(
        "Stamm,,,3,Brainstem,organ,rule,,,,,,,Brainstem,,\r\n\
         x,,,1,,unknown,none,,,,,,,,Helper,\r\n\
         y,,,1,,,none,,,,,,,,,\r\nStamm,P1,4,,,,,,,,,,,BrainStem_PRV03,prv,\r\n",
    ))
    .unwrap();
    let mut case = case_of(&["Stamm", "x", "y", "Stamm"]);
    case.id = Token::new("P1");
    let (decisions, unmatched) = decided(&names, &[case]);
    assert_eq!(unmatched, []);
    assert_eq!((decisions.names.len(), decisions.structures.len()), (2, 1));
    let stamm = &decisions.names["Stamm"];
    assert_eq!((stamm.standard.as_deref(), stamm.role), (Some("Brainstem"), None));
    let x = &decisions.names["x"];
    assert_eq!((x.standard.as_deref(), x.role), (None, Some(Role::Helper)));
    let one = &decisions.structures[&(Token::new("P1"), 4)];
    assert_eq!(one.role, Some(Role::Prv));
}

#[test]
fn faults_name_the_row_and_the_remedy() {
    let message = |rows: &str| read(&file(rows)).unwrap_err();
    assert!(
        message("a,,,,,,,,,,,,,,orgn,\n").contains("row 2: role `orgn` is unknown; one of gtv")
    );
    assert!(message("a,P1,,,,,,,,,,,,Pons,,\n").contains("both or not at all"));
    assert!(message("a,P1,x,,,,,,,,,,,Pons,,\n").contains("`x` is not a whole number"));
    assert!(
        message("a,,,,,,,,,,,,,Pons,,\na,,,,,,,,,,,,,Brain,,\n").contains("row 3: `a` is decided")
    );
}

/// A file of a version without evidence keeps its columns and gets the new ones behind them.
#[test]
fn a_file_of_an_earlier_version_is_read_and_its_decisions_hold() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    let old = "name_original;plan_id;roi_number;name_standard;role;my note\r\n\
               b;;;Pons;organ;mine\r\nc;;;;;\r\n";
    std::fs::write(&path, old).unwrap();
    let mut names = NamesFile::read(&path, &[]).unwrap();
    let seen = BTreeMap::from([("c".to_owned(), Seen::of([(24.5, None)]))]);
    names.propose(&[proposal("b"), proposal("c")], &seen);
    names.write(&path).unwrap();
    let after = std::fs::read_to_string(&path).unwrap();
    assert!(after.contains("\r\nb;;;Pons;organ;mine;3;;;"), "{after}");
    assert!(after.contains("\r\nc;;;;;;3;Brainstem;organ;rule;24.5;24.5;"), "{after}");
    let (decisions, _) = decided(&NamesFile::read(&path, &[]).unwrap(), &[case_of(&["b", "c"])]);
    assert_eq!(decisions.names.len(), 1);
    assert_eq!(decisions.names["b"].standard.as_deref(), Some("Pons"));
}

#[test]
fn a_second_proposal_changes_nothing_and_a_new_one_is_added_below() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    let seen = || BTreeMap::from([("b".to_owned(), Seen::of([(24.5, None), (26.0, None)]))]);
    let decided = file(
        "b,,,3,Brainstem,organ,rule,25.25,24.5 to 26,,,12 to 60,\"adult anatomy, \
         not yet checked against a source\",Pons,organ,sure\r\n",
    );
    std::fs::write(&path, &decided).unwrap();
    let mut names = NamesFile::read(&path, &[]).unwrap();
    names.propose(&[proposal("b"), proposal("=a")], &seen());
    names.write(&path).unwrap();
    let after = std::fs::read_to_string(&path).unwrap();
    assert_eq!(
        after,
        format!(
            "{decided}'=a,,,3,Brainstem,organ,rule,,,,,12 to 60,\"21 cc on average, \
             Cereb Cortex 1996;6:726\",,,\r\n"
        )
    );
    let mut names = NamesFile::read(&path, &[]).unwrap();
    names.propose(&[proposal("=a"), proposal("b")], &seen());
    names.write(&path).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), after);
}

/// The row of a user with its standard name and role.
fn row(name: &str, standard: &str, role: &str) -> String {
    format!("{name},,,,,,,,,,,,,{standard},{role},\n")
}

#[test]
fn a_name_is_meant_in_any_case_and_with_any_blanks() {
    let rows = [
        row("tronco ", "Brainstem", ""),
        row("Gro\u{308}ße", "Pons", ""),
        row("GTV 1", "", "gtv"),
        row("Gtv 1", "", "ptv"),
        row("Trnco", "Brain", ""),
        row("GrÃ¶ÃŸe", "Pons", ""),
    ];
    let names = read(&file(&rows.concat())).unwrap();
    let case = case_of(&["Tronco", "Größe", "GTV 1", "gtv 1"]);
    let (decisions, unmatched) = decided(&names, &[case]);
    let standard = |name: &str| decisions.names[name].standard.as_deref();
    assert_eq!((standard("Tronco"), standard("Größe")), (Some("Brainstem"), Some("Pons")));
    assert_eq!(decisions.names["GTV 1"].role, Some(Role::Gtv));
    assert_eq!(decisions.names.len(), 3, "no row decides `gtv 1`");
    let said: Vec<String> = unmatched.iter().map(Unmatched::sentence).collect();
    assert_eq!(said.len(), 3, "{said:?}");
    let several = said.iter().find(|s| s.contains("`Gtv 1`: several are called so")).unwrap();
    assert!(several.ends_with("the nearest is `GTV 1`, `gtv 1`"), "{several}");
    for (typed, nearest) in [
        ("row 6 of names.csv, column name_original: `Trnco`", "`Tronco`"),
        ("row 7 of names.csv, column name_original: `GrÃ¶ÃŸe`", "`Größe`"),
    ] {
        let one = said.iter().find(|s| s.starts_with(typed)).unwrap();
        assert!(one.ends_with(&format!("the nearest is {nearest}")), "{one}");
    }
}

/// The user's way of writing a name stays, and no second row is made for it.
#[test]
fn a_name_that_is_alike_keeps_its_row() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    let before = file(&row("B ", "Pons", "organ"));
    std::fs::write(&path, &before).unwrap();
    let mut names = NamesFile::read(&path, &[]).unwrap();
    names.propose(&[proposal("b"), proposal("c")], &BTreeMap::new());
    assert_eq!(names.file.row_count(), 2);
    assert_eq!(names.file.exact_text(0, "name_original"), "B ");
    assert_eq!((names.file.text(0, "n_seen"), names.file.text(1, "name_original")), ("3", "c"));
}

#[test]
fn a_structure_of_another_plan_or_number_is_said() {
    let rows = "Stamm,plan,7,,,,,,,,,,,Pons,,\nStamm,plan,2,,,,,,,,,,,Pons,,\n\
                ,plna,1,,,,,,,,,,,Pons,,\nStamm,PLAN,1,,,,,,,,,,,Pons,,\n";
    let names = read(&file(rows)).unwrap();
    let (decisions, unmatched) = decided(&names, &[case_of(&["Stamm", "Auge"])]);
    assert_eq!(decisions.structures.len(), 1);
    assert!(decisions.structures.contains_key(&(Token::new("plan"), 1)));
    let mut said: Vec<String> = unmatched.iter().map(Unmatched::sentence).collect();
    said.sort();
    let wanted = [
        "row 2 of names.csv, column roi_number: `7`: the plan has no structure of this number; the \
         nearest is `1`",
        "row 3 of names.csv, column roi_number: `2`: the structure of this number is called `Auge`; \
         the nearest is `1`",
        "row 4 of names.csv, column plan_id: `plna`: no plan of table plans is called so; the \
         nearest is `plan`",
    ];
    assert_eq!(said, wanted);
}

#[test]
fn a_misspelt_standard_name_is_refused_with_the_nearest_and_the_way_to_keep_it() {
    let message = |rows: &str| read(&file(rows)).unwrap_err();
    let said = message(&row("Stamm", "Brainstm", ""));
    assert!(
        said.starts_with("row 2: name_standard `Brainstm` is no standard name, the nearest is")
    );
    assert!(said.contains("`Brainstem`") && said.ends_with("accepted as `own:Brainstm`"), "{said}");
    // All at once, so that one round of corrections is enough.
    let said = message(&[row("a", "Brainstm", ""), row("b", "Pnos", "organ")].concat());
    assert!(said.contains("row 2: ") && said.contains("row 3: "), "{said}");
}

#[test]
fn own_names_are_marked_once_and_organs_of_limits_and_targets_need_no_mark() {
    let rows = [
        row("a", "own:Vein", ""),
        row("b", "vein", ""),
        row("c", "brainstem", ""),
        row("d", "left frontal", "gtv"),
        row("e", "nail", "organ"),
        row("f", "zRing", ""),
    ];
    let text = file(&rows.concat());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    std::fs::write(&path, text).unwrap();
    assert!(
        NamesFile::read(&path, &[]).unwrap_err().reason.contains("row 6: name_standard `nail`")
    );
    let names = NamesFile::read(&path, &["Nail".to_owned()]).unwrap();
    let (decisions, _) = decided(&names, &[case_of(&["a", "b", "c", "d", "e", "f"])]);
    let standard: Vec<_> =
        decisions.names.values().map(|d| d.standard.clone().unwrap_or_default()).collect();
    assert_eq!(standard, ["Vein", "Vein", "Brainstem", "left frontal", "Nail", "zRing"]);
}

#[test]
fn what_another_study_decided_is_a_proposal_and_no_decision() {
    let other = read(&file(
        "stamm,,,3,,,ambiguous,,,,,,,Brainstem,,\r\nHelfer,,,1,,,none,,,,,,,,helper,\r\n\
         Hirn,,,1,,,rule,,,,,,,Cerebrum,,\r\n",
    ))
    .unwrap();
    let open = |original| Proposal {
        standard: None,
        role: Role::Unknown,
        basis: NameBasis::Ambiguous,
        ..proposal(original)
    };
    let certain = Proposal { standard: Some("Brain".to_owned()), ..proposal("Hirn") };
    let mut proposals = [open("Stamm"), open("Helfer"), certain, open("Neues")];
    other.propose_elsewhere(&mut proposals);
    let of = |i: usize| (proposals[i].standard.as_deref(), proposals[i].role);
    assert_eq!(of(0), (Some("Brainstem"), Role::Organ));
    assert_eq!(of(1), (None, Role::Helper));
    assert_eq!(of(2), (Some("Brain"), Role::Organ), "the rules decide it");
    assert_eq!(of(3), (None, Role::Unknown));
    assert!(proposals[0].elsewhere && !proposals[2].elsewhere && !proposals[3].elsewhere);

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("names.csv");
    let mut here = NamesFile::read(&path, &[]).unwrap();
    here.propose(&proposals, &BTreeMap::new());
    // A run without the other file keeps what it proposed.
    here.propose(&[open("Stamm"), open("Helfer"), open("Neues")], &BTreeMap::new());
    here.write(&path).unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    let row = text.lines().find(|l| l.starts_with("Stamm,")).unwrap();
    assert!(row.starts_with("Stamm,,,3,Brainstem,organ,elsewhere,"), "{row}");
    let here = NamesFile::read(&path, &[]).unwrap();
    assert!(here.decisions.is_empty(), "nothing is decided by it");
}
