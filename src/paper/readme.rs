//! `README.md` of the folder: what each file is, and what journals do not want inside of a figure.

use std::fmt::Write as _;

use super::Files;
use tidydose_table::run::CAUTION;

/// Beginnings of names with what the file holds; the first that fits counts.
const FILES: &[(&str, &str)] = &[
    ("CITATION.cff", "how the data of the study are cited; title and names to be filled in"),
    ("agreement_rows.csv", "each row of the blind check with what became of it"),
    ("agreement", "what the blind check came to"),
    ("check_worksheet.csv", "worksheet of the blind check, to be filled in from planning reports"),
    ("comparisons", "groups compared, number of fractions by number of fractions"),
    ("completeness.csv", "which organs are drawn and covered by the dose, plan by plan"),
    ("doses", "doses by structure, group and number of fractions"),
    ("figures/captions.md", "captions: what is drawn, of how many, who is left out, which run"),
    ("figures/", "figures, and the numbers behind them"),
    ("flow", "who is in, and who left where for which reason"),
    ("lesion_covariates.csv", "what the department's sheet tells of lesions"),
    ("limit_shares.csv", "shares above each limit"),
    ("methods.txt", "methods, with the versions and the statistics"),
    ("models", "estimates by R and Python of the relation in the study"),
    ("plan_covariates.csv", "what the department's sheet tells of patients and plans"),
    ("references.bib", "what the methods cite, as BibTeX"),
    ("reporting.md", "STROBE and ICRU 91 as far as the program knows, the rest as questions"),
    ("share/", "tables without free text, their dictionary and checksums, to be shared"),
    ("table_one.R", "makes Table 1 again and compares"),
    ("table_one.py", "makes Table 1 again and compares"),
    ("table_one", "Table 1"),
];

/// What a file holds; absent for one that the list lacks.
fn holds(name: &str) -> Option<&'static str> {
    FILES.iter().find(|(start, _)| name.starts_with(start)).map(|(_, words)| *words)
}

/// The page.
pub(super) fn page(files: &Files, run_words: &str) -> String {
    let mut out = format!(
        "# Folder of the paper\n\n{CAUTION} This stands in captions and here, not inside of figures, \
         since journals print none of it there.\n\n{run_words}\n\n| file | holds |\n|---|---|\n"
    );
    let mut before = "";
    for name in files.keys() {
        let words = holds(name).unwrap_or("");
        // One line for the forms of a table and the figures of a folder.
        if words != before || words.is_empty() {
            let shown = name.split_once('/').map_or(name.as_str(), |(folder, _)| folder);
            let shown = if words.starts_with("captions") { name.as_str() } else { shown };
            let _ = writeln!(out, "| `{shown}` | {words} |");
        }
        before = words;
    }
    out.push_str(
        "\nTables are CSV for programs, Markdown for the screen, DOCX and LaTeX for the manuscript; \
         figures are SVG and PDF as wide as one column (85 mm), with `--tiff` pictures of 600 dots to \
         the inch too.\n",
    );
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_of_a_table_shares_a_line() {
        let names =
            ["table_one.csv", "table_one.docx", "table_one.py", "figures/a.svg", "figures/b.pdf"];
        let files: Files = names.map(|n| (n.to_owned(), Vec::new())).into();
        let page = page(&files, "Run: x.");
        assert!(page.contains(CAUTION) && page.contains("Run: x."));
        assert_eq!(page.matches("| `table_one").count(), 2, "{page}");
        assert_eq!(page.matches("| `figures` |").count(), 1, "{page}");
    }
}
