//! What may be shared, made of a few rows.

use super::tests::{reals, table, tables, texts};
use super::*;

/// The dictionary of two tables: words that are listed stay, texts of people do not.
#[test]
fn what_is_shared_has_no_words_of_people_and_its_sums_are_right() {
    let mut tables = tables();
    let told = tables["plans"]
        .clone()
        .with("exclusion_reason", texts(&["", "", "", "", "", "Smith said so"]));
    let told = told.with("age", reals(&[81.0; 6]));
    tables.insert("plans".to_owned(), told);
    let named = tables["metrics"]
        .clone()
        .with("structure", texts(&["Brainstem", "Met Smith", "Brainstem", "all tissue"]))
        .with("role", texts(&["organ", "ptv", "organ", ""]));
    tables.insert("metrics".to_owned(), named);
    let (name, dictionary) = table(
        "dictionary",
        [
            ("table", texts(&["plans", "plans", "plans", "metrics"])),
            ("column", texts(&["technology", "plan_role", "exclusion_reason", "status"])),
            ("meaning", texts(&["how", "part", "why", "state"])),
            ("allowed_values", texts(&["x; y", "treated", "", "ok"])),
        ],
    );
    assert!(
        packet::files(&tables).is_empty(),
        "without dictionary nothing is known of the columns"
    );
    tables.insert(name, dictionary);
    let files = packet::files(&tables);
    let text = |name: &str| String::from_utf8(files[&format!("share/{name}")].clone()).unwrap();
    for name in files.keys().filter(|n| n.ends_with(".csv")) {
        assert!(!String::from_utf8_lossy(&files[name]).contains("Smith"), "{name}");
    }
    assert!(
        text("plans.csv").contains("technology")
            && text("README.md").contains("plans.exclusion_reason")
    );
    // A covariate of the sheet is no column of the study.
    assert!(!text("plans.csv").contains("age"), "{}", text("plans.csv"));
    let metrics = text("metrics.csv");
    assert!(metrics.contains("b/9,ptv,Mean[Gy],") && metrics.contains("all tissue"), "{metrics}");
    assert_eq!(text("data_dictionary.csv").lines().count(), 4, "header and what is shared");
    let sums = text("SHA256SUMS");
    assert_eq!(sums.lines().count(), files.len() - 1);
    let line = sums.lines().find(|l| l.ends_with("  plans.csv")).unwrap();
    use sha2::{Digest, Sha256};
    let digest = tidydose_rt::digest::hexadecimal(&Sha256::digest(&files["share/plans.csv"]));
    assert_eq!(line.split("  ").next(), Some(&*digest));
}
