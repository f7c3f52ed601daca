//! The statistics of the folder in sentences with the marks of what they cite, and `CITATION.cff` for the
//! data of the study.

use serde_json::Value;

use tidydose_table::citations::program;

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

/// How the data of the study are cited (Citation File Format 1.2.0); a person fills in names and title.
pub(super) fn citation_file(run: &Value) -> String {
    let [program, version] = program(run);
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
    use serde_json::json;

    use super::*;
    use tidydose_table::citations::{is_known, marks};

    #[test]
    fn every_mark_has_its_entry() {
        assert!(marks(&statistics(true)).into_iter().all(is_known));
        assert!(!statistics(false).contains("bland"), "nothing was checked");
    }

    #[test]
    fn the_data_are_cited_with_the_version_of_the_program() {
        let run = json!({"program": "tidydose", "program_version": "9.8", "settings_sha256": "ab"});
        let citation = citation_file(&run);
        for line in ["cff-version: 1.2.0", "type: dataset", "    version: \"9.8\""] {
            assert!(citation.lines().any(|l| l == line), "{line}\n{citation}");
        }
        assert!(citation.contains("settings ab"));
    }
}
