//! The list that comes with the program, and what is read from a list of people.

use super::*;
use tidydose_metrics::limits::{Tier, holds_targets};

const HEADER: &str = "organ;metric;operator;limit;unit;fractions;tier;target_inside;source;\
                      evidence;endpoint;risk;note";

fn read_text(rows: &str) -> Result<Vec<ListedLimit>, String> {
    read_whole(&format!("{HEADER}\n{rows}"))
}

fn read_whole(text: &str) -> Result<Vec<ListedLimit>, String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("limits.csv");
    std::fs::write(&path, text).unwrap();
    read(&path).map_err(|e| e.to_string())
}

/// The rows of the program's list.
fn listed() -> Vec<ListedLimit> {
    built_in().unwrap()
}

#[test]
fn the_list_that_comes_with_the_program_is_whole() {
    let list = listed();
    assert!(list.len() > 150, "{}", list.len());
    let rows: BTreeSet<_> = list.iter().map(|l| (l.limit.key(), l.limit.value.to_bits())).collect();
    assert_eq!(rows.len(), list.len(), "a row twice");
    for limit in list.iter().map(|l| &l.limit) {
        assert_eq!(limit.target_may_lie_inside, holds_targets(&limit.organ), "{limit:?}");
        let known = standard_name(&limit.organ).as_ref() == Some(&limit.organ);
        // A part that no list of standard names has, and one that many write for the outline: no
        // rule gives these names, they are decided in names.csv.
        let decided = ["PituitaryStalk", "Skin"].contains(&limit.organ.as_str());
        assert!(known || decided, "{}", limit.organ);
    }
    // UK consensus, as the poster gives it.
    assert!(list.iter().map(|l| &l.limit).any(|l| l.organ == "Brainstem"
        && l.metric.to_string() == "D0.1cc[Gy]"
        && l.tier == Tier::Mandatory
        && l.is_for(3)
        && l.value == 23.1));
}

/// Both sides of a paired organ have the same limits, from the same sources.
#[test]
fn every_limit_of_one_side_has_its_twin() {
    let list = listed();
    let mut pairs = 0;
    for row in &list {
        let organ = &row.limit.organ;
        let other = match (organ.strip_suffix("_L"), organ.strip_suffix("_R")) {
            (Some(stem), _) => format!("{stem}_R"),
            (_, Some(stem)) => format!("{stem}_L"),
            _ => continue,
        };
        let mut twin = row.clone();
        twin.limit.organ = other;
        assert!(list.contains(&twin), "{twin:?} is missing");
        pairs += 1;
    }
    assert!(pairs > 80, "{pairs}");
}

/// Source by source, and in each the most binding first.
#[test]
fn the_list_is_in_the_order_of_sources_and_tiers() {
    let list = listed();
    let mut sources: Vec<&str> = list.iter().map(|l| l.limit.source.as_str()).collect();
    for pair in list.windows(2).map(|pair| [&pair[0].limit, &pair[1].limit]) {
        let [a, b] = pair;
        assert!(a.source != b.source || a.tier <= b.tier, "{a:?} before {b:?}");
    }
    sources.dedup();
    let distinct: BTreeSet<&str> = sources.iter().copied().collect();
    assert_eq!(distinct.len(), sources.len(), "a source in two places");
}

/// What nobody has read in any source is said to be so, is off, and judges nothing.
#[test]
fn rows_that_nobody_checked_are_off() {
    let list = listed();
    for row in &list {
        let limit = &row.limit;
        assert_eq!(row.in_use, limit.checked != Checked::NotChecked, "{row:?}");
        assert_ne!(limit.checked, Checked::Own, "{row:?}");
        let said = limit.evidence.starts_with("not yet checked against the source");
        assert_eq!(said, limit.checked == Checked::NotChecked, "{row:?}");
        let words = [&limit.source, &limit.note].map(|text| text.to_lowercase());
        let of_planning =
            words.iter().any(|t| t.contains("planning a") || t.contains("planning t"));
        assert!(!of_planning || limit.tier == Tier::Objective, "{row:?}");
    }
    let usual = in_use(list.clone(), Vec::new());
    assert!(usual.len() > 100 && usual.len() < list.len(), "{}", usual.len());
    assert!(usual.iter().all(|l| l.checked != Checked::NotChecked));
    assert_eq!(in_use(with_unchecked(list.clone()), Vec::new()).len(), list.len());
    // A row of one's own switches one on.
    let mut own = list.iter().find(|l| !l.in_use).unwrap().clone();
    own.in_use = true;
    let with_one = in_use(list, vec![own.clone()]);
    assert!(with_one.len() > usual.len() && with_one.contains(&own.limit), "{}", with_one.len());
}

#[test]
fn a_fault_names_file_row_column_value_and_remedy() {
    let right = "Brainstem;D1cc[Gy];<=;9,5;Gy;1;local;judge;ours;read;;;\n";
    let text =
        read_text(&format!("{right};;;;;;;;;;;;\n{}", right.replace("<=", "="))).unwrap_err();
    assert!(text.contains("limits.csv: row 4, column `operator`: `=`"), "{text}");
    assert!(text.contains("<= or <"), "{text}");
    let text = read_text(&right.replace("D1cc", "D1ccm")).unwrap_err();
    assert!(text.contains("row 2, column `metric`: `D1ccm[Gy]`"), "{text}");
}

#[test]
fn an_organ_that_nothing_is_called_is_said_with_its_nearest() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("limits.csv");
    let row = |organ: &str| format!("{organ};D1cc[Gy];<=;9;Gy;1;local;judge;ours;read;;;\n");
    let rows = [row("Pons"), row("Brainstm"), row("Skin"), row("Vein")].concat();
    std::fs::write(&path, format!("{HEADER}\n{rows}")).unwrap();
    let mut case = crate::testing::case_of(&["x"]);
    case.names[0].standard = Some("Vein".to_owned());
    let said = unmatched(&path, &[case]).unwrap();
    let said: Vec<String> = said.iter().map(Unmatched::sentence).collect();
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].starts_with("row 3 of limits.csv, column organ: `Brainstm`"), "{said:?}");
    assert!(said[0].contains("the nearest is `Brainstem`"), "{said:?}");
}

#[test]
fn the_users_rows_add_replace_or_take_out() {
    let right = "Brainstem;D1cc[Gy];<=;9,5;Gy;1;local;judge;ours;read;;;\n";
    let base = || read_text(right).unwrap();
    let more = [right.replace("9,5", "8"), right.replace("Brainstem", "Pons")].concat();
    let list = in_use(base(), read_text(&more).unwrap());
    let seen: Vec<_> = list.iter().map(|l| (l.organ.as_str(), l.value)).collect();
    assert_eq!(seen, [("Brainstem", 8.0), ("Pons", 9.5)]);
    let off = read_whole(&format!("{HEADER};in_use\n{}", right.replace("\n", ";no\n"))).unwrap();
    assert!(in_use(base(), off).is_empty());
}

/// Six columns are enough, in any convention of a spreadsheet, and the organ may be called name.
#[test]
fn a_short_list_is_read_in_every_convention() {
    let text = "name,tier,metric,fractions,source,note\n\
                Brainstem,mandatory,D0.1cc[Gy] <= 12.5,3 to 5,our protocol,\n";
    for text in [
        text.to_owned(),
        text.replace(',', "\t"),
        format!("\u{feff}{}", text.replace(',', ";").replace("12.5", "12,5")),
        text.replace('\n', "\r\n").replace("name,", "organ,"),
    ] {
        let [row] = read_whole(&text).unwrap().try_into().unwrap();
        assert_eq!((row.limit.value, row.limit.fractions, row.in_use), (12.5, [3, 5], true));
        assert_eq!((row.limit.tier, row.limit.checked), (Tier::Mandatory, Checked::Own));
    }
    let fault = read_whole(&text.replace("name,", "structure,")).unwrap_err();
    assert!(fault.contains("column `organ`, or `name`, is missing; found structure, "), "{fault}");
    let fault = read_whole(&text.replace("tier,", "binding,")).unwrap_err();
    assert!(fault.contains("column `tier` is missing"), "{fault}");
    let fault = read_whole(&text.replace("Brainstem", "")).unwrap_err();
    assert!(fault.contains("row 2, column `name`: `` cannot be used"), "{fault}");
    let fault = read_whole(&text.replace("3 to 5", "05. Mar")).unwrap_err();
    assert!(fault.contains("row 2, column `fractions`: `05. Mar`"), "{fault}");
}
