//! What the Markdown files say, held against the program: console blocks are run and compared, pages
//! made from the registries are compared, paths and links must exist.
//!
//! `UPDATE=1 cargo test documents` rewrites the pages and the table of README.md,
//! `TRYCMD=overwrite cargo test documents` the output below the commands.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use strum::{IntoEnumIterator, VariantNames};

use tidydose_metrics::{REGISTRY, Registry, Status};
use tidydose_rt::finding::{Code, Severity};
use tidydose_table::run::CAUTION;
use tidydose_table::words;

use crate::measured::{cohort, measured, rows_of, updating};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

/// README, DEVELOPERS and the notebooks, by path from the root.
fn documents() -> Vec<String> {
    let mut list = vec!["README.md".to_owned(), "DEVELOPERS.md".to_owned()];
    for entry in fs::read_dir(root().join("notebooks-md")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".md") {
            list.push(format!("notebooks-md/{name}"));
        }
    }
    list.sort();
    list
}

pub(crate) fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn console_blocks_show_what_the_program_prints() {
    let place = tempfile::tempdir().unwrap();
    let mut run = Vec::new();
    for (number, name) in documents().into_iter().enumerate() {
        if !text(&name).contains("```console") {
            continue;
        }
        // A folder `x.in` beside `x.md` is where its commands start, `x.out` makes that a copy.
        let page = place.path().join(format!("page-{number}.md"));
        fs::copy(root().join(&name), &page).unwrap();
        let begin = page.with_extension("in");
        copy(&cohort(), &begin.join("sample-anonymised"));
        // The invented outcomes are named as they lie in the repository.
        let sheet = "notebooks-md/outcomes.csv";
        fs::create_dir(begin.join("notebooks-md")).unwrap();
        fs::copy(root().join(sheet), begin.join(sheet)).unwrap();
        fs::create_dir(page.with_extension("out")).unwrap();
        fs::write(page.with_extension("out").join(".keep"), "").unwrap();
        run.push((page, name));
    }
    assert!(run.iter().any(|(_, name)| name == "README.md"), "README.md shows no run");
    trycmd::TestCases::new()
        .case(place.path().join("*.md"))
        .timeout(Duration::from_secs(900))
        .run();
    if std::env::var("TRYCMD").is_ok_and(|v| v == "overwrite") {
        for (page, name) in run {
            fs::copy(page, root().join(name)).unwrap();
        }
    }
}

/// The lines of the fenced blocks of a language.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        match line.strip_prefix("```") {
            Some(tag) => inside = !inside && tag == language,
            None if inside => lines.push(line.to_owned()),
            None => {}
        }
    }
    lines
}

#[test]
fn the_first_command_of_the_readme_is_the_run_it_shows() {
    let readme = text("README.md");
    let typed = blocks(&readme, "sh");
    let shown = blocks(&readme, "console");
    let run = typed.iter().find_map(|line| line.strip_prefix("cargo run -- ")).unwrap();
    assert!(shown.contains(&format!("$ tidydose {run}")), "{run} is not shown");
    assert!(typed.contains(&"cargo test".to_owned()));
    let first = readme.find("cargo run -- ").unwrap();
    assert!(readme[..first].lines().count() < 20, "the first command stands too far down");
}

#[test]
fn the_readme_states_the_caution_and_the_tables_every_status() {
    let readme = text("README.md");
    let dense = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(dense(&readme).contains(CAUTION));
    let words = text("notebooks-md/words.md");
    for word in Status::VARIANTS {
        assert!(words.contains(&format!("`{word}`")), "status {word} is not explained");
    }
    // Two minutes of reading.
    assert!(readme.lines().count() <= 140, "{}", readme.lines().count());
    for page in documents().iter().filter(|p| p.starts_with("notebooks-md/")) {
        let developers =
            ["notebooks-md/newcomer.md", "notebooks-md/recipes.md"].contains(&page.as_str());
        assert!(developers || dense(&text(page)).contains(CAUTION), "{page} has no caution");
    }
    for page in ["DEVELOPERS.md", "notebooks-md/recipes.md"] {
        assert!(text(page).lines().count() <= 120, "{page} is more than a page");
    }
}

#[test]
fn what_is_said_of_defects_happens_on_the_sample() {
    let page = text("notebooks-md/tables.md");
    let codes = quoted(&page).into_iter().filter(|q| Code::from_id(q).is_some());
    let kept = fs::read_to_string(cohort().join("expected/findings.csv")).unwrap();
    let found = rows_of(&kept);
    let mut checked = 0;
    for code in codes {
        assert!(found.iter().any(|row| row["code"] == code), "{code} is not among the findings");
        checked += 1;
    }
    assert!(checked >= 5, "only {checked} codes are named");
}

/// The words in single back quotes.
fn quoted(text: &str) -> Vec<&str> {
    let prose = text.lines().filter(|line| !line.starts_with("```"));
    prose.flat_map(|line| line.split('`').skip(1).step_by(2)).collect()
}

#[test]
fn every_path_named_for_developers_exists() {
    let page = text("DEVELOPERS.md") + &text("notebooks-md/recipes.md");
    let endings = [".rs", ".md", ".csv", ".toml", "/"];
    let paths: Vec<&str> = quoted(&page)
        .into_iter()
        .filter(|q| q.contains('/') || endings.iter().any(|e| q.ends_with(e)))
        .filter(|q| !q.contains([' ', '<', '{', '*']))
        .collect();
    assert!(paths.len() > 30, "only {} paths were found", paths.len());
    for path in paths {
        assert!(root().join(path).exists(), "{path} does not exist");
    }
}

#[test]
fn every_room_is_in_the_code_map() {
    let page = text("DEVELOPERS.md");
    let mut rooms = 0;
    for entry in fs::read_dir(root().join("src")).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            let room = entry.file_name().to_string_lossy().into_owned();
            assert!(page.contains(&format!("| `src/{room}/` |")), "{room} is not in the code map");
            rooms += 1;
        }
    }
    assert!(rooms > 10, "{rooms} rooms");
}

#[test]
fn links_lead_to_files() {
    let mut pages = documents();
    pages.push("sample-anonymised/README.md".to_owned());
    for page in pages {
        let folder = root().join(&page).parent().map(PathBuf::from).unwrap();
        for part in text(&page).split("](").skip(1) {
            let target = part.split([')', '#']).next().unwrap();
            let here = target.is_empty() || folder.join(target).exists();
            assert!(here || target.starts_with("https://"), "{page}: {target} does not exist");
        }
    }
}

/// Compares a file with what it should hold, or writes it.
fn hold(name: &str, wanted: &str) {
    if updating() {
        fs::write(root().join(name), wanted).unwrap();
    }
    let hint = "differs from its source; `UPDATE=1 cargo test documents` rewrites it";
    assert!(fs::read_to_string(root().join(name)).is_ok_and(|t| t == wanted), "{name} {hint}");
}

/// The figures in the notebooks are those that `paper` makes of the sample, byte by byte: they hold no
/// pseudonym and do not depend on the key.
#[test]
fn figures_of_the_notebooks_are_made_again() {
    let place = tempfile::tempdir().unwrap();
    let study = measured().study();
    let output = assert_cmd::Command::cargo_bin("tidydose")
        .unwrap()
        .args(["paper", "--study", &study.to_string_lossy(), "--output"])
        .arg(place.path())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let made =
        ["figures/completeness.svg", "figures/spread_lesion_paddickconformity.svg", "flow.svg"];
    for name in made {
        let wanted = fs::read_to_string(place.path().join(name)).unwrap();
        let file = name.rsplit('/').next().unwrap();
        hold(&format!("notebooks-md/figures/{file}"), &wanted);
    }
    hold("notebooks-md/figures/brainstem.svg", &planes_through_a_brainstem(place.path()));
    let kept = fs::read_dir(root().join("notebooks-md/figures")).unwrap().count();
    assert_eq!(kept, made.len() + 1, "a figure that no test makes");
}

/// The picture of README.md: of a case that is measured with its own identifiers, so that its name in the
/// picture is the same for everybody.
fn planes_through_a_brainstem(place: &Path) -> String {
    let run = |arguments: &[&str]| {
        let output = assert_cmd::Command::cargo_bin("tidydose")
            .unwrap()
            .current_dir(place)
            .args(arguments)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    };
    let archive = cohort().join("gantry/LK-07");
    run(&["measure", &archive.to_string_lossy(), "--study", "named", "--keep-ids", "--quiet"]);
    run(&["explain", "--study", "named", "LK-07", "Brainstem", "--picture", "brainstem.svg"]);
    fs::read_to_string(place.join("brainstem.svg")).unwrap()
}

/// The beginning of a page: title, caution, and who it is for.
fn opening(title: &str, who: &str) -> String {
    format!("# {title}\n\n{CAUTION}\n\n{who}\n\n")
}

/// A cell of a Markdown table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

/// The page of metrics of a registry.
pub fn page_of_metrics(registry: Registry<'_>) -> String {
    let mut page = opening(
        "Metrics",
        "For whoever meets a metric. At the end you know what it is, how it is computed and where its formula comes from.",
    );
    page.push_str(
        "Made from the registry (`src/metrics/lib.rs`) by `tests/documents.rs`; not \
         written by hand.\n\n`{x}` stands for a number; any number in the range can be asked for \
         with `--metrics`. \"Evidence\" says whether the formula was read in its source. The full list \
         is computed unless `--metric-list basic` asks for the short one. A value is `uncertain` when \
         one of its bounds lies farther away than is said here (`--uncertain-from` sets another share \
         of the value than 50 %): a judgement, see `src/metrics/weigh.rs`.\n\nRows of table `metrics` \
         without ROI Number are of regions that nobody drew: `all tissue` (all space in the dose \
         grid, within the outline of the patient where there is one), `Brain-GTV`, `Brain-PTV` and \
         `Brain-targets` (the structure Brain without these targets, each part of space once), and \
         `all targets` (the metrics for all targets of a plan together).\n\n",
    );
    for d in registry.definitions() {
        writeln!(page, "## {}\n", d.title).unwrap();
        writeln!(page, "| | |\n|---|---|\n| name | `{}` |", d.name).unwrap();
        writeln!(page, "| unit | {} |", d.unit).unwrap();
        writeln!(page, "| for | {} |", d.applies_to.word()).unwrap();
        let lists = if d.basic { "full, basic" } else { "full" };
        writeln!(page, "| lists | {lists} |").unwrap();
        writeln!(page, "| formula | {} |", cell(d.formula)).unwrap();
        writeln!(page, "| undefined | {} |", cell(d.undefined)).unwrap();
        if let Some(range) = &d.holds {
            writeln!(page, "| holds for | {}; beyond not applicable |", cell(range.words)).unwrap();
        }
        writeln!(page, "| uncertain beyond | {} |", d.scale.rule()).unwrap();
        if d.takes_number() {
            let list: Vec<String> = d.standard.iter().map(ToString::to_string).collect();
            writeln!(page, "| computed for | {} |", list.join(", ")).unwrap();
            writeln!(page, "| range | {} to {} |", d.arguments[0], d.arguments[1]).unwrap();
        }
        writeln!(page, "| reference | {} |", cell(d.reference)).unwrap();
        writeln!(page, "| evidence | {} |\n", d.provenance.words()).unwrap();
    }
    format!("{}\n", page.trim_end())
}

#[test]
fn every_notebook_opens_with_who_it_is_for_and_what_they_have_at_the_end() {
    let mut seen = 0;
    for entry in fs::read_dir(root().join("notebooks-md")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "md") {
            let text = fs::read_to_string(&path).unwrap();
            let opening: String = text.lines().take(12).collect::<Vec<_>>().join(" ");
            assert!(opening.contains("For "), "{}: for whom?", path.display());
            let end = opening.to_lowercase().contains("at the end");
            assert!(end, "{}: what do they have at the end?", path.display());
            seen += 1;
        }
    }
    assert!(seen > 12, "{seen} notebooks");
}

#[test]
fn the_page_of_metrics_is_the_registry() {
    hold("notebooks-md/metrics.md", &page_of_metrics(REGISTRY));
}

#[test]
fn the_page_of_findings_is_the_catalogue() {
    let mut page = opening(
        "Findings",
        "For whoever has a finding. At the end you know what was seen, what it does to the numbers and what to do.",
    );
    page.push_str(
        "Made from the catalogue (`src/rt/finding.rs`) by `tests/documents.rs`; not \
         written by hand.\n\n| severity | meaning |\n|---|---|\n",
    );
    for severity in Severity::iter() {
        writeln!(page, "| `{}` | {} |", severity.word(), severity.meaning()).unwrap();
    }
    page.push_str(
        "\nOne cause is \
         one finding, with the names of all that it reaches; the second column says for what there is \
         one (for the archive: for each attribute, where one is named).\n\n\
         | code | one for | severity | what was seen | what it does to the numbers | what to do |\n\
         |---|---|---|---|---|---|\n",
    );
    for code in Code::ALL {
        let d = code.definition();
        let one = code.reach().word();
        let cells = [d.id, one, d.severity.word(), d.meaning, d.consequence, d.action].map(cell);
        writeln!(page, "| {} |", cells.join(" | ")).unwrap();
    }
    hold("notebooks-md/findings.md", &page);
}

#[test]
fn the_page_of_words_is_what_the_program_accepts() {
    let mut page = opening(
        "Words",
        "For whoever fills in a file of the study. At the end you know every word that is accepted.",
    );
    page.push_str(
        "What people may write into the files of a study, and the words that stand in its \
         tables. Made from the program (`src/table/words.rs`) by `tests/documents.rs`; not written by \
         hand.\n\nLetter case does not matter, nor do blanks around a word. A row that means nothing \
         that is there (a name in another spelling, an identifier that a spreadsheet has changed) is \
         not followed; it is named on the terminal and in table `findings` with the nearest thing \
         that exists.\n",
    );
    for list in words::lists() {
        writeln!(page, "\n## `{}`, column `{}`\n", list.file, list.column).unwrap();
        if !list.also.is_empty() {
            writeln!(page, "Also accepted: {}.\n", list.also).unwrap();
        }
        writeln!(page, "| word | meaning |\n|---|---|").unwrap();
        for word in &list.list {
            writeln!(page, "| `{}` | {} |", word.word, cell(&word.meaning)).unwrap();
        }
    }
    page.push_str(
        "\n## Standard names\n\nThe names of AAPM TG-263 for the head and neck, not yet checked \
         against the published list: check the spelling before it is cited. The volumes are those \
         beyond which an organ of an adult is looked at, in cc.\n\n\
         | name | meaning | role | volume |\n|---|---|---|---|\n",
    );
    for name in words::catalogue() {
        let cells = [&name.meaning, name.role, &name.plausible_cc].map(cell);
        writeln!(page, "| `{}` | {} |", name.name, cells.join(" | ")).unwrap();
    }
    hold("notebooks-md/words.md", &page);
}

/// The rows that README.md shows: patient, structure and metric.
const SHOWN: [[&str; 3]; 10] = [
    ["LK-01", "GTV", "Volume[cc]"],
    ["LK-01", "GTV", "D95%[Gy]"],
    ["LK-01", "GTV", "D0.03cc[Gy]"],
    ["LK-01", "GTV", "D0.1cc[Gy]"],
    ["LK-01", "GTV", "PaddickConformity"],
    ["LK-01", "Brain", "V12Gy[cc]"],
    ["LK-01", "Brainstem", "D0.03cc[Gy]"],
    ["LK-07", "Brainstem", "D0.03cc[Gy]"],
    ["LK-14", "GTV", "Mean[Gy]"],
    ["LK-17", "OpticChiasm", "Mean[Gy]"],
];

/// Four significant digits, as a person reads a table.
fn short(number: &str) -> String {
    let Ok(value) = number.parse::<f64>() else { return number.to_owned() };
    let rounded: f64 = format!("{value:.3e}").parse().unwrap();
    rounded.to_string()
}

#[test]
fn the_table_of_the_readme_has_rows_of_the_kept_tables() {
    let run = crate::measured::measured().patients();
    let token = |patient: &str| run.iter().find(|(_, id)| *id == patient).unwrap().0.clone();
    let kept = fs::read_to_string(cohort().join("expected/metrics.csv")).unwrap();
    let rows = rows_of(&kept);
    let columns = ["patient_id", "structure", "metric"];
    let numbers = ["value", "low", "high"];
    let words = ["unit", "status", "reason"];
    let all: Vec<&str> = columns.into_iter().chain(numbers).chain(words).collect();
    let mut table = format!("| {} |\n|{}\n", all.join(" | "), "---|".repeat(all.len()));
    for [patient, structure, metric] in SHOWN {
        let wanted = [&token(patient), structure, metric];
        let row = rows.iter().find(|r| columns.map(|c| r[c].as_str()) == wanted).unwrap();
        let mut cells: Vec<String> = columns.iter().map(|c| row[*c].clone()).collect();
        cells.extend(numbers.iter().map(|c| short(&row[*c])));
        cells.extend(words.iter().map(|c| row[*c].split(':').next().unwrap().to_owned()));
        writeln!(table, "| {} |", cells.iter().map(|c| cell(c)).collect::<Vec<_>>().join(" | "))
            .unwrap();
    }
    let readme = text("README.md");
    let (begin, end) = ("<!-- rows of metrics.csv -->\n", "<!-- end of rows -->");
    let from = readme.find(begin).unwrap() + begin.len();
    let to = readme.find(end).unwrap();
    hold("README.md", &format!("{}{table}{}", &readme[..from], &readme[to..]));
}

/// Whether a source file declares a name, or a style sheet has it as a selector.
fn declares(source: &str, name: &str) -> bool {
    let is_end = |c: char| !(c.is_alphanumeric() || c == '_');
    let begins = |text: &str| text.strip_prefix(name).is_some_and(|rest| rest.starts_with(is_end));
    let kinds = ["fn ", "struct ", "enum ", "const ", "static "];
    source.lines().any(|line| {
        begins(line.trim_start()) || kinds.iter().any(|k| line.split(k).skip(1).any(begins))
    })
}

/// The numbered steps of a text, each in one line.
fn steps(text: &str) -> Vec<String> {
    let mut steps: Vec<String> = Vec::new();
    for line in text.lines() {
        if line.starts_with(&format!("{}. ", steps.len() + 1)) {
            steps.push(line.to_owned());
        } else if let Some((step, rest)) = steps.last_mut().zip(line.strip_prefix("   ")) {
            step.push(' ');
            step.push_str(rest);
        }
    }
    steps
}

/// Each walk of the page for newcomers opens at most three files; these exist, and every name that a
/// step quotes is declared in its file.
#[test]
fn the_walks_of_a_newcomer_lead_through_three_files() {
    let page = text("notebooks-md/newcomer.md");
    let walks: Vec<&str> = page.split("\n## ").skip(1).collect();
    assert_eq!(walks.len(), 4, "a dose, a finding, a prescription, a colour");
    for walk in walks {
        let (title, steps) = (walk.lines().next().unwrap(), steps(walk));
        assert!((2..=3).contains(&steps.len()), "{title}: {} files", steps.len());
        for step in steps {
            let mut quoted = step.split('`').skip(1).step_by(2);
            let file = quoted.next().unwrap();
            assert!(root().join(file).is_file(), "{title}: there is no {file}");
            let (source, names) = (text(file), quoted.collect::<Vec<_>>());
            assert!(!names.is_empty(), "{title}: nothing to look for in {file}");
            for name in names {
                assert!(declares(&source, name), "{title}: {file} declares no {name}");
            }
        }
        let (_, left_out) = walk.split_once("\n\nLeft out:").unwrap();
        for file in left_out.split('`').filter(|quoted| quoted.starts_with("src/")) {
            assert!(root().join(file).is_file(), "{title}: there is no {file}");
        }
    }
}
