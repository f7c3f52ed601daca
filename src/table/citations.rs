//! What methods cite: one list, from which `references.bib` has the entries that a text marks, such as
//! `[@firth1993]`. The entries were written from memory, which the file says: to be held against the
//! journal before printing.

use std::collections::BTreeSet;
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
        "aalen1978",
        "Aalen, O. O. and Johansen, S.",
        "An empirical transition matrix for non-homogeneous {Markov} chains based on censored observations",
        "Scand J Stat",
        "1978",
        "5",
        "141--150"
    ),
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
        "brookmeyer1982",
        "Brookmeyer, R. and Crowley, J.",
        "A confidence interval for the median survival time",
        "Biometrics",
        "1982",
        "38",
        "29--41"
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
        "dersimonian1986",
        "DerSimonian, R. and Laird, N.",
        "Meta-analysis in clinical trials",
        "Control Clin Trials",
        "1986",
        "7",
        "177--188"
    ),
    article!(
        "dinse1986",
        "Dinse, G. E. and Larson, M. G.",
        "A note on semi-{Markov} models for partially censored data",
        "Biometrika",
        "1986",
        "73",
        "379--386"
    ),
    article!(
        "efron1979",
        "Efron, B.",
        "Bootstrap methods: another look at the jackknife",
        "Ann Stat",
        "1979",
        "7",
        "1--26"
    ),
    article!(
        "firth1993",
        "Firth, D.",
        "Bias reduction of maximum likelihood estimates",
        "Biometrika",
        "1993",
        "80",
        "27--38"
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
        "greenwood1926",
        "Greenwood, M.",
        "The natural duration of cancer",
        "Rep Public Health Med Subj",
        "1926",
        "33",
        "1--26"
    ),
    article!(
        "hanley1982",
        "Hanley, J. A. and McNeil, B. J.",
        "The meaning and use of the area under a receiver operating characteristic ({ROC}) curve",
        "Radiology",
        "1982",
        "143",
        "29--36"
    ),
    article!(
        "harrell1996",
        "Harrell, F. E. and Lee, K. L. and Mark, D. B.",
        "Multivariable prognostic models: issues in developing models, evaluating assumptions and adequacy, and measuring and reducing errors",
        "Stat Med",
        "1996",
        "15",
        "361--387"
    ),
    article!(
        "hartung2001",
        "Hartung, J. and Knapp, G.",
        "A refined method for the meta-analysis of controlled clinical trials with binary outcome",
        "Stat Med",
        "2001",
        "20",
        "3875--3889"
    ),
    article!(
        "heinze2002",
        "Heinze, G. and Schemper, M.",
        "A solution to the problem of separation in logistic regression",
        "Stat Med",
        "2002",
        "21",
        "2409--2419"
    ),
    article!(
        "higgins2002",
        "Higgins, J. P. T. and Thompson, S. G.",
        "Quantifying heterogeneity in a meta-analysis",
        "Stat Med",
        "2002",
        "21",
        "1539--1558"
    ),
    article!(
        "higgins2009",
        "Higgins, J. P. T. and Thompson, S. G. and Spiegelhalter, D. J.",
        "A re-evaluation of random-effects meta-analysis",
        "J R Stat Soc A",
        "2009",
        "172",
        "137--159"
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
        "kaplan1958",
        "Kaplan, E. L. and Meier, P.",
        "Nonparametric estimation from incomplete observations",
        "J Am Stat Assoc",
        "1958",
        "53",
        "457--481"
    ),
    article!(
        "korn1998",
        "Korn, E. L. and Graubard, B. I.",
        "Confidence intervals for proportions with small expected number of positive counts estimated from survey data",
        "Surv Methodol",
        "1998",
        "24",
        "193--201"
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
        "mantel1966",
        "Mantel, N.",
        "Evaluation of survival data and two new rank order statistics arising in its consideration",
        "Cancer Chemother Rep",
        "1966",
        "50",
        "163--170"
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
        "puhr2017",
        "Puhr, R. and Heinze, G. and Nold, M. and Lusa, L. and Geroldinger, A.",
        "{Firth}'s logistic regression with rare events: accurate effect estimates and predictions?",
        "Stat Med",
        "2017",
        "36",
        "2302--2317"
    ),
    article!(
        "schemper1996",
        "Schemper, M. and Smith, T. L.",
        "A note on quantifying follow-up in studies of failure time",
        "Control Clin Trials",
        "1996",
        "17",
        "343--346"
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
    article!(
        "youden1950",
        "Youden, W. J.",
        "Index for rating diagnostic tests",
        "Cancer",
        "1950",
        "3",
        "32--35"
    ),
];

/// Keys of the marks in a text.
#[must_use]
pub fn marks(text: &str) -> BTreeSet<&str> {
    let key = |rest: &'_ str| rest.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(rest.len());
    text.split('@').skip(1).map(|rest| &rest[..key(rest)]).collect()
}

/// Whether the list has a work.
#[must_use]
pub fn is_known(key: &str) -> bool {
    WORKS.iter().any(|w| w.key == key)
}

/// The entries that a text marks, and the program itself.
#[must_use]
pub fn bibliography([program, version]: [&str; 2], text: &str) -> String {
    let mut out = String::from(
        "% Not yet checked against the journals: hold each entry against its journal before printing.\n",
    );
    let marks = marks(text);
    for work in WORKS.iter().filter(|w| marks.contains(w.key)) {
        let _ = write!(out, "\n@{}{{{},\n", work.kind, work.key);
        for (name, value) in work.fields {
            let _ = writeln!(out, "  {name} = {{{value}}},");
        }
        out.push_str("}\n");
    }
    let _ = write!(
        out,
        "\n@software{{{program},\n  title = {{{program}}},\n  version = {{{version}}},\n  note = {{Dose-volume \
         tables from DICOM radiotherapy objects}},\n}}\n"
    );
    out
}

/// Name and version of the program, from the content of `run.json`.
#[must_use]
pub fn program(run: &Value) -> [&str; 2] {
    let text = |name: &str| run.get(name).and_then(Value::as_str).unwrap_or("unknown");
    [text("program"), text("program_version")]
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn only_what_is_marked_is_listed_and_the_program_has_its_version() {
        let run = json!({"program": "tidydose", "program_version": "9.8"});
        let text = bibliography(program(&run), "By one [@firth1993; @heinze2002], and [@nobody].");
        assert_eq!(text.matches('{').count(), text.matches('}').count());
        assert_eq!(text.matches("\n@article{").count(), 2);
        assert!(text.contains("@article{firth1993,") && text.contains("version = {9.8}"), "{text}");
        assert!(is_known("firth1993") && !is_known("nobody"));
    }

    #[test]
    fn keys_are_sorted_and_no_work_is_there_twice() {
        assert!(WORKS.windows(2).all(|w| w[0].key < w[1].key));
        for work in WORKS {
            let pages =
                work.fields.iter().any(|(name, value)| *name == "pages" && !value.is_empty());
            assert!(pages && work.fields.len() == 6, "{}", work.key);
        }
    }
}
