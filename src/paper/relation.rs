//! What `relate` left in its folder, taken over into the folder of the paper: the calibration plot with
//! its numbers and its caption, and estimates by other software. What is of another run is left out, and
//! that is said: a paper has one run.

use super::figures::FOLDER;
use super::{Files, models};
use tidydose_table::user::models::ModelRow;

/// The figure that is taken over.
pub const CALIBRATION: &str = "calibration";

/// The folder of a relation.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Relation {
    /// Captions of its figures; empty without them.
    pub captions: String,
    /// Drawing and numbers of the calibration, where both are there.
    pub calibration: Option<[Vec<u8>; 2]>,
    /// Estimates of its subjects by other software.
    pub models: Vec<ModelRow>,
    /// Estimates of other subjects: counted only.
    pub others: usize,
}

/// Files of the paper, captions to be added to those of its figures, and what must be known.
pub(super) fn files(relation: &Relation, run: &str) -> (Files, String, Vec<String>) {
    let mut files = models::files(&relation.models, relation.others);
    let (mut captions, mut remarks) = (String::new(), Vec::new());
    if files.contains_key(&format!("{FOLDER}/models.svg")) {
        let words = models::caption(&relation.models);
        captions.push_str(&format!("\n## models.svg\n\n{words} {run}\n"));
    }
    let Some([svg, csv]) = &relation.calibration else { return (files, captions, remarks) };
    // A drawing without a caption is one that the last run of the relation did not make.
    let Some(caption) = section(&relation.captions) else { return (files, captions, remarks) };
    if !caption.contains(run) {
        remarks.push(
            "the relation is of another run of the study and its calibration is left out: run `tidydose \
             relate` again"
                .to_owned(),
        );
        return (files, captions, remarks);
    }
    files.insert(format!("{FOLDER}/{CALIBRATION}.svg"), svg.clone());
    files.insert(format!("{FOLDER}/{CALIBRATION}.csv"), csv.clone());
    captions.push_str(&format!("\n{}\n", caption.trim_end()));
    (files, captions, remarks)
}

/// The caption of the calibration among those of a relation.
fn section(captions: &str) -> Option<&str> {
    let start = captions.find(&format!("## {CALIBRATION}.svg"))?;
    let rest = &captions[start..];
    let end = rest[2..].find("\n## ").map_or(rest.len(), |at| at + 2);
    Some(&rest[..end])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn relation() -> Relation {
        let captions = "Caution.\n\n## calibration.svg\n\nCalibration. Run: a. Numbers: calibration.csv.\n\n\
                        ## flow.svg\n\nFlow. Run: a.\n";
        let calibration = Some([b"<svg/>".to_vec(), b"from,to\n".to_vec()]);
        Relation { captions: captions.to_owned(), calibration, ..Relation::default() }
    }

    #[test]
    fn the_calibration_of_this_run_comes_with_its_caption_alone() {
        let (files, captions, remarks) = files(&relation(), "Run: a.");
        let names: Vec<&str> = files.keys().map(String::as_str).collect();
        assert_eq!(names, ["figures/calibration.csv", "figures/calibration.svg"]);
        let words = "\n## calibration.svg\n\nCalibration. Run: a. Numbers: calibration.csv.\n";
        assert_eq!(captions, words);
        assert_eq!(remarks, Vec::<String>::new());
    }

    #[test]
    fn that_of_another_run_or_without_caption_is_left_out() {
        let (found, captions, remarks) = files(&relation(), "Run: b.");
        assert!(found.is_empty() && captions.is_empty());
        assert!(remarks.len() == 1 && remarks[0].contains("of another run"), "{remarks:?}");
        let without = Relation { captions: "## flow.svg\n\nRun: a.".to_owned(), ..relation() };
        let (found, captions, remarks) = files(&without, "Run: a.");
        assert!(found.is_empty() && captions.is_empty() && remarks.is_empty());
    }
}
