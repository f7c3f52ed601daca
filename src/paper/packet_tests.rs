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
        packet::files(&tables, &[]).0.is_empty(),
        "without dictionary nothing is known of the columns"
    );
    tables.insert(name, dictionary);
    let (files, said) = packet::files(&tables, &[]);
    assert_eq!(said, Vec::<String>::new());
    let text = |name: &str| String::from_utf8(files[&format!("share/{name}")].clone()).unwrap();
    for name in files.keys().filter(|n| n.ends_with(".csv")) {
        assert!(!String::from_utf8_lossy(&files[name]).contains("Smith"), "{name}");
    }
    assert!(
        text("plans.csv").contains("technology")
            && text("README.md").contains("plans.exclusion_reason")
    );
    // Nobody said what the column is: it is none of the study, and no covariate.
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

/// Covariates travel with the tables, are in the dictionary, and levels of few patients are named.
#[test]
fn covariates_are_shared_where_they_are_no_free_text() {
    use tidydose_table::user::outcome_sheet::covariates::{Covariate, Grain, Values, add};
    let mut tables = tables();
    let (name, dictionary) = table(
        "dictionary",
        [
            ("table", texts(&["plans", "lesions"])),
            ("column", texts(&["plan_id", "lesion_id"])),
            ("meaning", texts(&["plan", "lesion"])),
            ("allowed_values", texts(&["", ""])),
        ],
    );
    tables.insert(name, dictionary);
    let covariate = |name: &str, grain, values| Covariate {
        name: name.to_owned(),
        column: name.to_owned(),
        grain,
        values,
    };
    let words = |pairs: &[(&str, &str)]| {
        Values::Levels(pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect())
    };
    let told = [
        covariate("age", Grain::Patient, Values::Numbers([("A".to_owned(), 61.0)].into())),
        covariate(
            "site",
            Grain::Lesion,
            words(&[("a/1", "frontal"), ("a/2", "frontal"), ("b/1", "stem")]),
        ),
        covariate("remark", Grain::Patient, words(&[("A", "told by her husband, who is a Smith")])),
    ];
    add(&mut tables, &told);
    let (files, said) = packet::files(&tables, &told);
    let text = |name: &str| String::from_utf8(files[&format!("share/{name}")].clone()).unwrap();
    assert!(text("plans.csv").lines().next().unwrap().ends_with(",age"), "{}", text("plans.csv"));
    assert!(text("lesions.csv").contains("a,a/1,frontal"), "{}", text("lesions.csv"));
    let dictionary = text("data_dictionary.csv");
    assert!(
        dictionary.contains("plans,age,,real,,what the department's sheet says of the patient")
    );
    assert!(dictionary.contains("lesions,site,,text,") && dictionary.contains("frontal | stem"));
    // Two lesions of one patient are one patient.
    let few = "site frontal (1), site stem (1)";
    assert!(said.len() == 1 && said[0].contains(few), "{said:?}");
    let readme = text("README.md");
    assert!(readme.contains(few) && readme.contains("plans.remark (free text)"), "{readme}");
    assert!(files.values().all(|bytes| !String::from_utf8_lossy(bytes).contains("Smith")));
}
