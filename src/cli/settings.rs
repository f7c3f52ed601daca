//! What the arguments mean together: defaults filled in, lists read. The rest of the
//! program sees only this.

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use super::args::{Common, Measure};
use super::fault::Fault;
use super::outcome::FailOn;
use super::share::Share;
use tidydose_analyse as analyse;
use tidydose_case::{is_standard_name, standard_names};
use tidydose_metrics::limits::Limit;
use tidydose_metrics::{self as metrics, Metric};
use tidydose_rt::nearest::nearest;
use tidydose_table::spreadsheet_csv::Convention;
use tidydose_table::user::limits;
use tidydose_table::user::names::{self, NamesFile};

/// How to read an archive and where to write.
#[derive(Debug, Clone)]
pub(super) struct Settings {
    /// Folders or files to read.
    pub(super) archive: Vec<PathBuf>,
    /// The study folder.
    pub(super) study: PathBuf,
    /// Decisions about names that another study has taken.
    pub(super) names: Option<PathBuf>,
    /// A file of answers to what was asked.
    pub(super) decisions: Option<PathBuf>,
    /// Cases at the same time.
    pub(super) jobs: usize,
    /// No talk but warnings.
    pub(super) quiet: bool,
    /// Identifiers stay readable.
    pub(super) keep_ids: bool,
    /// Findings to look at refuse what they are about.
    pub(super) strict: bool,
    /// What ends the run with exit code 1; absent when only an empty result does.
    pub(super) fail_on: Option<FailOn>,
}

impl From<Common> for Settings {
    fn from(typed: Common) -> Self {
        let processors = || std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
        Self {
            archive: typed.archive,
            study: typed.study,
            names: typed.names,
            decisions: typed.decisions,
            jobs: typed.jobs.unwrap_or_else(processors).get(),
            quiet: typed.quiet,
            keep_ids: typed.keep_ids,
            strict: typed.strict,
            fail_on: typed.fail_on,
        }
    }
}

/// What and how to measure.
#[derive(Debug, Clone)]
pub(super) struct Measuring {
    /// What can change a number.
    pub(super) analysis: analyse::Settings,
    /// The share of the cases that this run takes; absent for all.
    pub(super) share: Option<Share>,
    /// Whether the share writes tables of its own.
    pub(super) share_tables: bool,
    /// Whether parts that are not used are removed.
    pub(super) prune: bool,
    /// How the tables are written once more for spreadsheets.
    pub(super) spreadsheet: Option<Convention>,
    /// The file for the processor time of each stage, where it is wanted.
    pub(super) timings: Option<PathBuf>,
}

impl Measuring {
    /// What was typed.
    ///
    /// # Errors
    /// When a name is unknown or a list cannot be read; the message lists what is accepted.
    pub(super) fn of(typed: &Measure) -> Result<Self, Fault> {
        let share = |text: &String| {
            text.parse().map_err(|reason| Fault::Option { option: "--part", reason })
        };
        Ok(Self {
            analysis: analysis(typed)?,
            share: typed.part.as_ref().map(share).transpose()?,
            share_tables: typed.share_tables,
            prune: typed.prune,
            spreadsheet: typed.spreadsheet_csv,
            timings: typed.timings.clone(),
        })
    }
}

/// The limits in use: of a list that was typed or the one of the program, and the study's rows.
///
/// # Errors
/// When a list cannot be read; the message names row, column, value and what is accepted.
fn limits_in_use(typed: &Measure, of_study: &Path) -> Result<Vec<Limit>, Fault> {
    let base = match &typed.limits {
        Some(path) if !path.is_file() => {
            let reason = format!("{} is no file; give a list of limits", path.display());
            return Err(Fault::Option { option: "--limits", reason });
        }
        Some(path) => limits::read(path)?,
        None if typed.unchecked_limits => limits::with_unchecked(limits::built_in()?),
        None => limits::built_in()?,
    };
    Ok(limits::in_use(base, limits::read(of_study)?))
}

/// The settings of the analysis.
///
/// # Errors
/// When a name is unknown or a list cannot be read; the message lists what is accepted.
fn analysis(typed: &Measure) -> Result<analyse::Settings, Fault> {
    let limits = limits_in_use(typed, &typed.common.study.join(limits::FILE))?;
    let mut settings = analyse::Settings { limits, ..analyse::Settings::default() };
    if let Some(interpolation) = typed.interpolation {
        settings.interpolation = interpolation;
    }
    if let Some(ends) = typed.ends {
        settings.ends = ends;
    }
    if let Some(outlines) = typed.outlines {
        settings.outlines = outlines;
    }
    if let Some(list) = typed.metric_list {
        settings.metrics = list.metrics();
        settings.regions = list == metrics::List::Full;
    }
    if let Some(percent) = typed.target_inside_from {
        settings.target_inside_from = target_inside_from(percent)?;
    }
    if let Some(percent) = typed.uncertain_from {
        settings.uncertain_from = uncertain_from(percent)?;
    }
    if let Some(list) = &typed.shift {
        settings.shifts_mm = lengths_mm("--shift", list, |mm| mm > 0.0, "0.5,1")?;
    }
    if let Some(list) = &typed.margin {
        settings.margins_mm = lengths_mm("--margin", list, |mm| mm != 0.0, "-0.5,0.5")?;
    }
    if let Some(length) = &typed.registration_doubt {
        let lengths = lengths_mm("--registration-doubt", length, |mm| mm > 0.0, "1")?;
        // Of several the largest holds all.
        settings.registration_mm = lengths.last().copied();
    }
    if let Some(list) = &typed.alpha_beta {
        settings.alpha_beta = alpha_beta(list, &own_names(&typed.common.study)?)?;
    }
    if let Some(list) = &typed.metrics {
        for metric in metric_list(list)? {
            if !settings.metrics.contains(&metric) {
                settings.metrics.push(metric);
            }
        }
    }
    Ok(settings)
}

/// The names that the user decided upon, and those of the study's own limits.
fn own_names(study: &Path) -> Result<Vec<String>, Fault> {
    let mut names = limits::organs(&limits::read(&study.join(limits::FILE))?)?;
    let decided = NamesFile::read(&study.join(names::FILE), &names)?;
    names.extend(decided.standard_names().map(str::to_owned));
    Ok(names)
}

/// A share of a value from percent of it.
fn uncertain_from(percent: f64) -> Result<f64, Fault> {
    if percent.is_finite() && percent > 0.0 {
        return Ok(percent / 100.0);
    }
    let reason = format!("`{percent}` is not accepted; a number above 0 is, for example 50");
    Err(Fault::Option { option: "--uncertain-from", reason })
}

/// No structure is moved farther than this, mm: it is about doubts, not about other plans.
const FARTHEST_MM: f64 = 20.0;

/// Lengths in mm, ascending, each once.
fn lengths_mm(
    option: &'static str,
    typed: &str,
    accepted: impl Fn(f64) -> bool,
    example: &str,
) -> Result<Vec<f64>, Fault> {
    let wrong = |part: &str| Fault::Option {
        option,
        reason: format!(
            "`{part}` is not accepted; lengths in mm of up to {FARTHEST_MM} and not 0 are, for \
             example {example}"
        ),
    };
    let mut lengths = Vec::new();
    for part in typed.split(',').map(str::trim) {
        let mm: f64 = part.parse().map_err(|_| wrong(part))?;
        // Of what is no number, no comparison holds.
        if !(mm.abs() <= FARTHEST_MM && accepted(mm)) {
            return Err(wrong(part));
        }
        lengths.push(mm);
    }
    lengths.sort_by(f64::total_cmp);
    lengths.dedup();
    Ok(lengths)
}

/// A share of a target's volume from percent of it.
fn target_inside_from(percent: f64) -> Result<f64, Fault> {
    if percent > 0.0 && percent <= 100.0 {
        return Ok(percent / 100.0);
    }
    let reason =
        format!("`{percent}` is not accepted; a number above 0 and up to 100 is, for example 50");
    Err(Fault::Option { option: "--target-inside-from", reason })
}

/// The words of `--alpha-beta` that are no names of structures.
const CLASSES: [&str; 2] = ["target", "other"];

/// Names with a number of Gy each. A name is a standard one, with or without side, one that the user
/// gave in `names.csv` (`own`), or the word of a class; another would never be looked up.
fn alpha_beta(typed: &str, own: &[String]) -> Result<Vec<(String, f64)>, Fault> {
    let fault = |reason| Fault::Option { option: "--alpha-beta", reason };
    let wrong =
        |part: &str| fault(format!("`{part}` is not accepted; NAME=GY is, for example target=10"));
    let mut names: Vec<String> = standard_names().into_iter().map(|(name, _)| name).collect();
    let sides = names.iter().filter_map(|n| n.strip_suffix("_L").map(str::to_owned));
    let without_side: Vec<String> = sides.collect();
    names.extend(without_side);
    names.extend(CLASSES.map(str::to_owned));
    names.extend_from_slice(own);
    let known = |name: &str| is_standard_name(name) || names.iter().any(|n| n == name);
    let parts = typed.split(',').map(str::trim).filter(|part| !part.is_empty());
    let pair = |part: &str| {
        let (name, gy) = part.split_once('=').ok_or_else(|| wrong(part))?;
        let gy: f64 = gy.trim().parse().map_err(|_| wrong(part))?;
        let name = name.trim();
        if !gy.is_finite() || gy <= 0.0 || name.is_empty() {
            return Err(wrong(part));
        }
        if !known(name) {
            let near = nearest(name, names.iter().map(String::as_str));
            return Err(fault(format!(
                "`{name}` is no standard name, none of names.csv and not `target` or `other`; \
                 nearest: {near}"
            )));
        }
        Ok((name.to_owned(), gy))
    };
    parts.map(pair).collect()
}

/// A list that was typed, or a file with one metric on each line and comments after `#`.
fn metric_list(typed: &str) -> Result<Vec<Metric>, Fault> {
    let fault = |reason| Fault::Option { option: "--metrics", reason };
    let text = if Path::new(typed).is_file() {
        std::fs::read_to_string(typed).map_err(|e| fault(format!("cannot read {typed}: {e}")))?
    } else {
        typed.to_owned()
    };
    let names = text
        .lines()
        .map(|line| line.split('#').next().unwrap_or_default())
        .flat_map(|line| line.split(','))
        .map(str::trim)
        .filter(|name| !name.is_empty());
    let list: Vec<Metric> =
        names.map(metrics::parse).collect::<Result<_, _>>().map_err(|e| fault(e.to_string()))?;
    if list.is_empty() {
        return Err(fault(format!("`{typed}` names no metric")));
    }
    Ok(list)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(typed: &str) -> String {
        let list = metric_list(typed).unwrap();
        list.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn metrics_come_from_a_list_or_a_file() {
        assert_eq!(names("D90%[Gy], V15Gy[cc]"), "D90%[Gy] V15Gy[cc]");
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("metrics.txt");
        std::fs::write(&path, "# ours\r\nD90%[Gy] # cover\r\n\r\nV15Gy[cc],V10Gy[%]\n").unwrap();
        assert_eq!(names(path.to_str().unwrap()), "D90%[Gy] V15Gy[cc] V10Gy[%]");
    }

    #[test]
    fn alpha_beta_is_a_name_with_a_number() {
        let alpha_beta = |typed| alpha_beta(typed, &["Nidus".to_owned()]);
        let list = alpha_beta("target=8, Lens = 1.5,Nidus=2,Brainstem_PRV03=2,Lens_L=1").unwrap();
        assert_eq!(list[..2], [("target".to_owned(), 8.0), ("Lens".to_owned(), 1.5)]);
        assert_eq!(list.len(), 5);
        let text = alpha_beta("target=8,Brainstm=3").unwrap_err().to_string();
        assert!(text.contains("`Brainstm` is no standard name"), "{text}");
        assert!(text.contains("nearest: Brainstem, "), "{text}");
        assert!(alpha_beta("Foo=3").is_err());
        for typed in ["target", "target=", "target=0", "target=-2", "=3", "target=inf"] {
            let text = alpha_beta(typed).unwrap_err().to_string();
            assert!(text.contains("--alpha-beta") && text.contains("target=10"), "{text}");
        }
    }

    #[test]
    fn bounds_are_too_wide_from_a_percentage_on() {
        assert_eq!(uncertain_from(20.0).unwrap(), 0.2);
        for percent in [0.0, -5.0, f64::NAN, f64::INFINITY] {
            let text = uncertain_from(percent).unwrap_err().to_string();
            assert!(text.contains("--uncertain-from") && text.contains("for example 50"), "{text}");
        }
    }

    #[test]
    fn lengths_are_millimetres_other_than_0() {
        let shifts = |typed| lengths_mm("--shift", typed, |mm| mm > 0.0, "0.5,1");
        assert_eq!(shifts("1, 0.5,1").unwrap(), [0.5, 1.0]);
        for typed in ["", "0", "-1", "1,,2", "nan", "inf", "25", "1mm"] {
            let text = shifts(typed).unwrap_err().to_string();
            assert!(text.contains("--shift") && text.contains("for example 0.5,1"), "{text}");
        }
        let margins = lengths_mm("--margin", "0.5,-0.5", |mm| mm != 0.0, "-0.5,0.5").unwrap();
        assert_eq!(margins, [-0.5, 0.5]);
    }

    #[test]
    fn a_target_is_inside_from_a_percentage_on() {
        assert_eq!(target_inside_from(100.0).unwrap(), 1.0);
        for percent in [0.0, -5.0, 100.5, f64::NAN] {
            let text = target_inside_from(percent).unwrap_err().to_string();
            assert!(text.contains("--target-inside-from") && text.contains("up to 100"), "{text}");
        }
    }

    #[test]
    fn an_unknown_word_is_answered_with_the_known_ones() {
        let text = metric_list("D90").unwrap_err().to_string();
        assert!(
            text.starts_with("option --metrics: \"D90\" is no metric; nearest: D90%[Gy]"),
            "{text}"
        );
        assert!(metric_list(" , ").unwrap_err().to_string().contains("names no metric"));
    }
}
