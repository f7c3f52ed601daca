//! The numbers of the invented cohort in short, beside the version under which they were measured.
//! A commit that moves one of them without a new version would leave cohorts in progress with
//! numbers of two programs side by side: it fails here, and says what to do.
//!
//! The numbers of a table and metric are added up, each by a logarithm so that small ones count as
//! large ones do. That is compared within [`TOLERANCE`], because different system libraries differ
//! in the last binary digits, which a digest of the digits would not bear.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

use crate::measured::{Row, measured, updating};
use tidydose_analyse::NUMBERS;
use tidydose_metrics::List;

/// Largest mean difference of a number, as a share of it: what `golden` gives a single one.
const TOLERANCE: f64 = 1e-9;

/// The tables with the columns by which their rows are put together, and those with numbers.
///
/// Those of `limit_checks` are those of `metrics`, held against a list that may grow and shrink.
const TABLES: [(&str, &str, &[&str]); 4] = [
    (
        "structures",
        "role",
        &["volume_cc", "volume_low_cc", "volume_high_cc", "inside_grid_percent"],
    ),
    ("metrics", "metric", &["value", "low", "high"]),
    ("dvh", "", &["dose_gy", "volume_cc"]),
    ("relations", "metric", &["value", "low", "high"]),
];

/// The numbers of some rows in short.
#[derive(Debug, Default, Clone, PartialEq)]
struct Short {
    cells: usize,
    sum: f64,
}

impl Short {
    fn add(&mut self, number: f64) {
        self.cells += 1;
        // Neither zero nor a sign is lost, and a change of a share of 1e-6 moves it by as much.
        self.sum += number.signum() * (1e6 * number.abs()).ln_1p();
    }

    fn is_near(&self, other: &Self) -> bool {
        let allowed = TOLERANCE * self.cells as f64;
        self.cells == other.cells && (self.sum - other.sum).abs() <= allowed
    }
}

type Numbers = BTreeMap<String, Short>;

fn numbers_of(rows: &[Row], (table, by, columns): (&str, &str, &[&str]), into: &mut Numbers) {
    for row in rows {
        let group = row.get(by).map_or("", String::as_str);
        let status = row.get("status").map_or("", String::as_str);
        for column in columns {
            let short = into.entry(format!("{table};{group};{status};{column}")).or_default();
            if let Ok(number) = row[*column].parse::<f64>() {
                short.add(number);
            }
        }
    }
}

fn now() -> Numbers {
    let mut numbers = Numbers::new();
    // What only a limit asks for comes and goes with the list of limits, which is a setting.
    let listed: BTreeSet<String> = List::Full.metrics().iter().map(ToString::to_string).collect();
    for table in TABLES {
        let mut rows = measured().rows(table.0);
        rows.retain(|row| table.0 != "metrics" || listed.contains(&row["metric"]));
        numbers_of(&rows, table, &mut numbers);
    }
    numbers
}

fn file() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/numbers_version.txt")
}

fn written(version: u32, numbers: &Numbers) -> String {
    let mut text = format!("version {version}\n");
    for (key, Short { cells, sum }) in numbers {
        writeln!(text, "{key};{cells};{sum:?}").unwrap();
    }
    text
}

fn read(text: &str) -> Option<(u32, Numbers)> {
    let mut lines = text.lines();
    let version = lines.next()?.strip_prefix("version ")?.parse().ok()?;
    let mut numbers = Numbers::new();
    for line in lines {
        let (rest, sum) = line.rsplit_once(';')?;
        let (key, cells) = rest.rsplit_once(';')?;
        let short = Short { cells: cells.parse().ok()?, sum: sum.parse().ok()? };
        numbers.insert(key.to_owned(), short);
    }
    Some((version, numbers))
}

/// What has moved, by table and metric.
fn moved(kept: &Numbers, now: &Numbers) -> Vec<String> {
    let near =
        |key: &String| kept.get(key).zip(now.get(key)).is_some_and(|(kept, now)| kept.is_near(now));
    let keys: BTreeSet<&String> = kept.keys().chain(now.keys()).collect();
    keys.into_iter().filter(|key| !near(key)).cloned().collect()
}

/// What is to be done about numbers that were kept under a version and are now what they are.
#[derive(Debug, PartialEq)]
enum Verdict {
    Fine,
    /// The kept numbers have to be written anew.
    Write,
    Fail(String),
}

fn verdict(kept: Option<(u32, Numbers)>, (version, now): (u32, &Numbers), update: bool) -> Verdict {
    let Some((kept_version, kept)) = kept else { return Verdict::Write };
    let moved = moved(&kept, now);
    if kept_version > version {
        return Verdict::Fail(format!("NUMBERS is {version}, and was {kept_version} before"));
    }
    match (moved.is_empty(), kept_version == version) {
        (true, true) => Verdict::Fine,
        (false, true) => Verdict::Fail(format!(
            "numbers moved: {moved:?}; raise NUMBERS in src/analyse/numbers.rs to {}, then run \
             UPDATE=1 cargo test --test tests numbers_version",
            version + 1
        )),
        (_, false) if update => Verdict::Write,
        (_, false) => Verdict::Fail(format!(
            "NUMBERS is {version}, the numbers kept are those of {kept_version}; run UPDATE=1 \
             cargo test --test tests numbers_version"
        )),
    }
}

#[test]
fn numbers_move_with_a_new_version_only() {
    let kept = fs::read_to_string(file()).ok();
    let kept = kept.map(|text| read(&text).unwrap());
    let update = updating();
    assert!(kept.is_some() || update, "{} is not there", file().display());
    let now = now();
    assert!(now.len() > 300 && now.values().map(|s| s.cells).sum::<usize>() > 20_000);
    match verdict(kept, (NUMBERS, &now), update) {
        Verdict::Fine => {}
        Verdict::Write => fs::write(file(), written(NUMBERS, &now)).unwrap(),
        Verdict::Fail(why) => panic!("{why}"),
    }
}

#[test]
fn every_number_counts_and_no_update_goes_without_a_version() {
    let row = |value: &str| -> Row {
        let cells = [("metric", "V12Gy[cc]"), ("status", "ok"), ("value", value)];
        cells.into_iter().map(|(column, cell)| (column.to_owned(), cell.to_owned())).collect()
    };
    let of = |values: &[&str]| {
        let rows: Vec<Row> = values.iter().map(|v| row(v)).collect();
        let mut numbers = Numbers::new();
        numbers_of(&rows, ("metrics", "metric", &["value"]), &mut numbers);
        numbers
    };
    let base = of(&["1.5", "1000", ""]);
    assert_eq!(read(&written(3, &base)).unwrap(), (3, base.clone()));
    for other in [&["1.50001", "1000", ""], &["1.5", "1000.001", ""], &["1.5", "1000", "0"]] {
        assert_eq!(moved(&base, &of(other)).len(), 1, "{other:?}");
        let again =
            |version, update| verdict(Some((3, base.clone())), (version, &of(other)), update);
        for update in [false, true] {
            let said = again(3, update);
            assert!(
                matches!(&said, Verdict::Fail(why) if why.contains("raise NUMBERS")),
                "{said:?}"
            );
        }
        assert_eq!(again(4, true), Verdict::Write);
        assert!(matches!(again(4, false), Verdict::Fail(_)));
        assert!(matches!(again(2, true), Verdict::Fail(_)));
    }
    // What another system library makes of the same files.
    assert!(moved(&base, &of(&["1.500000000001", "1000.0000000001", ""])).is_empty());
    assert_eq!(verdict(Some((3, base.clone())), (3, &base), true), Verdict::Fine);
}
