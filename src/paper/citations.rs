//! What the methods cite: one list, from which the paragraph has its marks and `references.bib` its
//! entries, and `CITATION.cff` for the data of the study. The entries were written from memory, which
//! each says: to be held against the journal before printing.

use std::fmt::Write as _;

use serde_json::Value;

/// A work that is cited.
struct Work {
    key: &'static str,
    kind: &'static str,
    fields: &'static [(&'static str, &'static str)],
}

macro_rules! article {
    ($key:literal, $author:literal, $title:literal, $journal:literal, $year:literal, $volume:literal, $pages:literal) => {
        Work {
            key: $key,
            kind: "article",
            fields: &[
                ("author", $author),
                ("title", $title),
                ("journal", $journal),
                ("year", $year),
                ("volume", $volume),
                ("pages", $pages),
            ],
        }
    };
}

/// Every work, by key.
const WORKS: &[Work] = &[
    article!(
        "austin2009",
        "Austin, P. C.",
        "Balance diagnostics for comparing the distribution of baseline covariates between treatment groups in propensity-score matched samples",
        "Stat Med",
        "2009",
        "28",
        "3083--3107"
    ),
    article!(
        "bland1999",
        "Bland, J. M. and Altman, D. G.",
        "Measuring agreement in method comparison studies",
        "Stat Methods Med Res",
        "1999",
        "8",
        "135--160"
    ),
    article!(
        "bland2007",
        "Bland, J. M. and Altman, D. G.",
        "Agreement between methods of measurement with multiple observations per individual",
        "J Biopharm Stat",
        "2007",
        "17",
        "571--582"
    ),
    article!(
        "clopper1934",
        "Clopper, C. J. and Pearson, E. S.",
        "The use of confidence or fiducial limits illustrated in the case of the binomial",
        "Biometrika",
        "1934",
        "26",
        "404--413"
    ),
    article!(
        "fisher1935",
        "Fisher, R. A.",
        "The logic of inductive inference",
        "J R Stat Soc",
        "1935",
        "98",
        "39--82"
    ),
    article!(
        "hodges1963",
        "Hodges, J. L. and Lehmann, E. L.",
        "Estimates of location based on rank tests",
        "Ann Math Stat",
        "1963",
        "34",
        "598--611"
    ),
    article!(
        "icru91",
        "{International Commission on Radiation Units and Measurements}",
        "{ICRU} Report 91: Prescribing, recording, and reporting of stereotactic treatments with small photon beams",
        "J ICRU",
        "2014",
        "14(2)",
        "1--160"
    ),
    article!(
        "kruskal1952",
        "Kruskal, W. H. and Wallis, W. A.",
        "Use of ranks in one-criterion variance analysis",
        "J Am Stat Assoc",
        "1952",
        "47",
        "583--621"
    ),
    article!(
        "mann1947",
        "Mann, H. B. and Whitney, D. R.",
        "On a test of whether one of two random variables is stochastically larger than the other",
        "Ann Math Stat",
        "1947",
        "18",
        "50--60"
    ),
    article!(
        "mayo2018",
        "Mayo, C. S. and others",
        "American Association of Physicists in Medicine Task Group 263: standardizing nomenclatures in radiation oncology",
        "Int J Radiat Oncol Biol Phys",
        "2018",
        "100",
        "1057--1066"
    ),
    article!(
        "paddick2000",
        "Paddick, I.",
        "A simple scoring ratio to index the conformity of radiosurgical treatment plans",
        "J Neurosurg",
        "2000",
        "93 Suppl 3",
        "219--222"
    ),
    article!(
        "paddick2006",
        "Paddick, I. and Lippitz, B.",
        "A simple dose gradient measurement tool to complement the conformity index",
        "J Neurosurg",
        "2006",
        "105 Suppl",
        "194--201"
    ),
    article!(
        "spearman1904",
        "Spearman, C.",
        "The proof and measurement of association between two things",
        "Am J Psychol",
        "1904",
        "15",
        "72--101"
    ),
    article!(
        "vonelm2007",
        "von Elm, E. and others",
        "The Strengthening the Reporting of Observational Studies in Epidemiology ({STROBE}) statement: guidelines for reporting observational studies",
        "Lancet",
        "2007",
        "370",
        "1453--1457"
    ),
];

/// The statistics of the folder in sentences, each method with its mark.
pub(super) fn statistics(checked: bool) -> String {
    let mut text = "Groups are described by medians with quartiles and counts with percent of those \
         known, and compared by standardised differences [@austin2009]. Doses of groups with equal \
         numbers of fractions are compared by the shift of Hodges and Lehmann [@hodges1963] with the \
         rank sum test [@mann1947], over more than two groups by the test of Kruskal and Wallis \
         [@kruskal1952]; the correlation with the volume of the target is Spearman's [@spearman1904]. \
         Shares above a limit have exact intervals [@clopper1934] and Fisher's exact test [@fisher1935]. \
         Intervals are of 95 %, tests two-sided and not corrected for their number, which each table \
         states. Names follow AAPM TG-263 [@mayo2018], conformity and gradient are Paddick's \
         [@paddick2000; @paddick2006], doses are reported as ICRU Report 91 asks [@icru91], and the \
         report follows STROBE [@vonelm2007]."
        .to_owned();
    if checked {
        text.push_str(
            " Agreement with planning reports is stated as limits of agreement, patients with several \
             values drawn again as a whole [@bland1999; @bland2007].",
        );
    }
    text
}

/// All entries, and the program itself.
pub(super) fn bibliography(run: &Value) -> String {
    let mut out = String::from(
        "% Not yet checked against the journals: hold each entry against its journal before printing.\n",
    );
    for work in WORKS {
        let _ = write!(out, "\n@{}{{{},\n", work.kind, work.key);
        for (name, value) in work.fields {
            let _ = writeln!(out, "  {name} = {{{value}}},");
        }
        out.push_str("}\n");
    }
    let (program, version) = program(run);
    let _ = write!(
        out,
        "\n@software{{{program},\n  title = {{{program}}},\n  version = {{{version}}},\n  note = {{Dose-volume \
         tables from DICOM radiotherapy objects}},\n}}\n"
    );
    out
}

fn program(run: &Value) -> (&str, &str) {
    let text = |name: &str| run.get(name).and_then(Value::as_str).unwrap_or("unknown");
    (text("program"), text("program_version"))
}

/// How the data of the study are cited (Citation File Format 1.2.0); a person fills in names and title.
pub(super) fn citation_file(run: &Value) -> String {
    let (program, version) = program(run);
    let digest = |name: &str| run.get(name).and_then(Value::as_str).unwrap_or("unknown");
    format!(
        "# Fill in title, authors and, once the data have one, doi and date-released.\n\
         cff-version: 1.2.0\n\
         message: \"If you use these data, please cite them as below.\"\n\
         type: dataset\n\
         title: \"to be filled in\"\n\
         authors:\n  - name: \"to be filled in\"\n\
         abstract: \"Dose-volume tables; settings {}, inputs {} (SHA-256).\"\n\
         references:\n  - type: software\n    title: \"{program}\"\n    version: \"{version}\"\n    \
         authors:\n      - name: \"the authors of {program}\"\n",
        digest("settings_sha256"),
        digest("inputs_sha256")
    )
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use serde_json::json;

    use super::*;

    /// Every mark has its entry, and every entry is cited.
    #[test]
    fn marks_and_entries_are_the_same() {
        let text = statistics(true);
        let marks: BTreeSet<&str> = text
            .split('@')
            .skip(1)
            .map(|rest| rest.split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap())
            .collect();
        let keys: BTreeSet<&str> = WORKS.iter().map(|w| w.key).collect();
        assert_eq!(marks, keys);
        assert_eq!(keys.len(), WORKS.len());
        assert!(!statistics(false).contains("bland"), "nothing was checked");
    }

    #[test]
    fn entries_are_whole_and_the_program_has_its_version() {
        let run = json!({"program": "tidydose", "program_version": "9.8", "settings_sha256": "ab"});
        let bibliography = bibliography(&run);
        assert_eq!(bibliography.matches('{').count(), bibliography.matches('}').count());
        assert_eq!(bibliography.matches("\n@article{").count(), WORKS.len());
        assert!(bibliography.contains("version = {9.8}"));
        let citation = citation_file(&run);
        for line in ["cff-version: 1.2.0", "type: dataset", "    version: \"9.8\""] {
            assert!(citation.lines().any(|l| l == line), "{line}\n{citation}");
        }
        assert!(citation.contains("settings ab"));
    }
}
