//! What was typed, validated word by word. What it means together is in [`super::settings`]; the
//! rest of the program sees only that.

use super::help::{
    ANONYMISE_HELP, ASK_HELP, DIFF_HELP, EXPLAIN_HELP, FOLLOW_UP_HELP, LIMITS_HELP, MEASURE_HELP,
    PAPER_HELP, POOL_HELP, RELATE_HELP, REVIEW_HELP, SHELL_HELP, SURVEY_HELP, TOP_HELP,
};
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::OnceLock;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ColorChoice, Parser, Subcommand};

use super::outcome::FailOn;
use tidydose_analyse::{Ends, NUMBERS, Outlines};
use tidydose_ask::Format;
use tidydose_dose::Interpolation;
use tidydose_metrics::List;
use tidydose_relate::Grain;
use tidydose_table::spreadsheet_csv::Convention;

/// From archives of DICOM radiotherapy plans to tidy dose-volume tables.
#[derive(Debug, Clone, Parser)]
#[command(
    name = "tidydose",
    version = version(),
    about = "From archives of DICOM radiotherapy plans to tidy dose-volume tables",
    color = ColorChoice::Never,
    max_term_width = 100,
    disable_help_subcommand = true,
    after_help = TOP_HELP
)]
pub(super) struct Arguments {
    /// Say everything on stderr as JSON, an object a line with level and text, for scripts; the last
    /// one has the exit code
    #[arg(long, global = true)]
    pub(super) json: bool,
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Command,
}

/// The commands.
#[derive(Debug, Clone, Subcommand)]
pub(super) enum Command {
    /// See what an archive holds and what is wrong with it; computes no dose
    #[command(after_help = SURVEY_HELP)]
    Survey(Common),
    /// Survey an archive, compute all metrics and write the tables
    #[command(after_help = MEASURE_HELP)]
    Measure(Measure),
    /// Put a question in SQL to the tables of a measured study
    #[command(after_help = ASK_HELP)]
    Ask(Ask),
    /// Make the page of a quality committee from a measured study
    #[command(after_help = REVIEW_HELP)]
    Review(Review),
    /// Make the page of the time after the treatment: sizes, responses, recurrences, new lesions
    #[command(after_help = FOLLOW_UP_HELP)]
    FollowUp(FollowUp),
    /// Say what changed between two studies, by how much and why
    #[command(after_help = DIFF_HELP)]
    Diff(Diff),
    /// Say where one value of a measured study comes from, and draw its structure
    #[command(after_help = EXPLAIN_HELP)]
    Explain(Explain),
    /// Join outcomes to a measured study and describe one relation between a dose and an event
    #[command(after_help = RELATE_HELP)]
    Relate(Relate),
    /// Make the folder for a paper: Table 1, doses, flow, methods, scripts
    #[command(after_help = PAPER_HELP)]
    Paper(Paper),
    /// Put measured studies of several centres together as one study, without what names anybody
    #[command(after_help = POOL_HELP)]
    Pool(Pool),
    /// Write a list of dose limits to fill in, or the list that comes with the program
    #[command(after_help = LIMITS_HELP)]
    Limits(LimitList),
    /// Write completions for shells and manual pages
    #[command(after_help = SHELL_HELP)]
    Shell(ShellFiles),
    /// Write de-identified copies of radiotherapy objects by PS3.15 Annex E
    #[command(after_help = ANONYMISE_HELP)]
    Anonymise(Anonymise),
}

/// Version, commit and the version of the numbers: two programs with the same one compute the same.
fn version() -> &'static str {
    static TEXT: OnceLock<String> = OnceLock::new();
    TEXT.get_or_init(|| {
        let (version, commit) = (env!("CARGO_PKG_VERSION"), env!("TIDYDOSE_COMMIT"));
        format!("{version}, commit {commit}, numbers {NUMBERS}")
    })
}

/// Completions and manual pages.
#[derive(Debug, Clone, Args)]
pub(super) struct ShellFiles {
    /// Folder for the files; it is made where there is none
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// A list of dose limits to start from.
#[derive(Debug, Clone, Args)]
pub(super) struct LimitList {
    /// New CSV file
    #[arg(value_name = "FILE.csv")]
    pub(super) file: PathBuf,
    /// All limits of the program's list, those too that are off, instead of a few examples
    #[arg(long)]
    pub(super) program_list: bool,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// De-identified copies.
#[derive(Debug, Clone, Args)]
pub(super) struct Anonymise {
    /// Folder, zip or tar archive with DICOM objects; folders are searched to the bottom
    #[arg(value_name = "ARCHIVE")]
    pub(super) archive: PathBuf,
    /// New or empty folder for the copies, outside of the archive
    #[arg(value_name = "OUT")]
    pub(super) output: PathBuf,
    /// Study whose key gives pseudonyms, UIDs and days; the key is made in DIR-key where there is none
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Keep labels of plans and structure sets that name nobody, instead of pseudonyms
    #[arg(long)]
    pub(super) keep_labels: bool,
    /// Keep manufacturer and model name
    #[arg(long)]
    pub(super) keep_device: bool,
    /// Keep sex, age, size and weight of the patient; ages above 89 become 90
    #[arg(long)]
    pub(super) keep_characteristics: bool,
    /// Keep the names of institution and department where they name nobody
    #[arg(long)]
    pub(super) keep_institution: bool,
    /// Empty all dates instead of shifting them by the hidden days of the patient
    #[arg(long)]
    pub(super) drop_dates: bool,
    /// End with exit code 1 when a file that should have been copied was left out
    #[arg(long, value_name = "WHAT", value_parser = words(FailOn::ONLY_LEFT_OUT))]
    pub(super) fail_on: Option<FailOn>,
    /// No progress and no talk on stderr; warnings, errors and what was left out stay
    #[arg(long)]
    pub(super) quiet: bool,
}

/// What all commands that read an archive have in common.
#[derive(Debug, Clone, Args)]
pub(super) struct Common {
    /// Folders, files, zip or tar archives with DICOM objects; folders are searched to the bottom
    #[arg(required = true, value_name = "ARCHIVE")]
    pub(super) archive: Vec<PathBuf>,
    /// Folder for the tables; the key goes beside it, into DIR-key
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// names.csv of another study or centre; what it decides is proposed, and not followed until
    /// it is decided here
    #[arg(long, value_name = "FILE")]
    pub(super) names: Option<PathBuf>,
    /// Answers to what was asked: the file that decide.html saved, or a decide.xlsx. Such files in
    /// the study folder are taken over without being named
    #[arg(long, value_name = "FILE")]
    pub(super) decisions: Option<PathBuf>,
    /// How many cases are worked on at the same time [default: number of processors]
    #[arg(long, value_name = "N")]
    pub(super) jobs: Option<NonZeroUsize>,
    /// No progress and no summary on stderr; warnings, errors and what was left out stay
    #[arg(long)]
    pub(super) quiet: bool,
    /// Keep patient IDs, UIDs, paths and dates readable in the tables instead of pseudonyms
    #[arg(long)]
    pub(super) keep_ids: bool,
    /// Refuse every structure, object and case that has a finding of severity check
    #[arg(long)]
    pub(super) strict: bool,
    /// End with exit code 1 when something was refused (left-out), or also when something to look
    /// at is undecided (check)
    #[arg(long, value_name = "WHAT", value_parser = words(FailOn::WORDS))]
    pub(super) fail_on: Option<FailOn>,
}

/// What `measure` has besides.
#[derive(Debug, Clone, Args)]
pub(super) struct Measure {
    /// What it shares with the other commands.
    #[command(flatten)]
    pub(super) common: Common,
    /// Further metrics in TG-263 syntax, separated by commas, or a file with one on each line
    #[arg(long, value_name = "FILE_OR_LIST")]
    pub(super) metrics: Option<String>,
    /// The list of metrics to start from: all there are, or the short one [default: full]
    #[arg(long, value_name = "NAME", value_parser = words(List::WORDS))]
    pub(super) metric_list: Option<List>,
    /// Alpha/beta in Gy of the radiobiological models, by standard name, `target` or `other`
    #[arg(long, value_name = "NAME=GY,...")]
    pub(super) alpha_beta: Option<String>,
    /// List of dose limits instead of the one that comes with the program; rows of limits.csv in
    /// the study folder are added to either. `tidydose limits` writes one to start from
    #[arg(long, value_name = "FILE")]
    pub(super) limits: Option<PathBuf>,
    /// Use also those limits of the program's list that nobody has checked against their source
    #[arg(long, conflicts_with = "limits")]
    pub(super) unchecked_limits: bool,
    /// From this share of its volume on, in percent, a target counts as inside an organ, and limits
    /// do not judge the organ unless they allow it [default: 50]
    #[arg(long, value_name = "PERCENT")]
    pub(super) target_inside_from: Option<f64>,
    /// How dose is interpolated between grid points
    #[arg(long, value_name = "NAME", value_parser = words(Interpolation::WORDS))]
    pub(super) interpolation: Option<Interpolation>,
    /// How a structure ends beyond its first and last contour plane: rounded off between the planes
    /// and closed beyond them (closed_caps), or half a slice further (half_slice)
    #[arg(long, value_name = "NAME", value_parser = words(Ends::WORDS))]
    pub(super) ends: Option<Ends>,
    /// Outlines that a drawing program traced around the pixels of a mask: measure the smoothest
    /// outlines of the same mask [default], or the steps as they are drawn
    #[arg(long, value_name = "NAME", value_parser = words(Outlines::WORDS))]
    pub(super) outlines: Option<Outlines>,
    /// Bounds that reach this far from a value, in percent of it, make it `uncertain`, so that it
    /// enters no statistic [default: 50]
    #[arg(long, value_name = "PERCENT")]
    pub(super) uncertain_from: Option<f64>,
    /// Table sensitivity: every value of targets and named organs with the structure moved so far, in
    /// mm, while the dose stays, in the worst of 14 directions and on average; for example 0.5,1
    #[arg(long, value_name = "MM,...", allow_hyphen_values = true)]
    pub(super) shift: Option<String>,
    /// The same with the structure grown, or shrunk where negative, by so much; for example -0.5,0.5
    #[arg(long, value_name = "MM,...", allow_hyphen_values = true)]
    pub(super) margin: Option<String>,
    /// How far off the registration of a structure set drawn after a treatment may be, in mm: bounds in
    /// table recurrences hold it then; for example 1
    #[arg(long, value_name = "MM")]
    pub(super) registration_doubt: Option<String>,
    /// Write the tables in CSV once more into DIR/spreadsheet, with a byte-order mark: cells and
    /// numbers with comma and decimal point, or with semicolon and decimal comma
    #[arg(long, value_name = "NAME", value_parser = words(Convention::WORDS))]
    pub(super) spreadsheet_csv: Option<Convention>,
    /// Do only the I-th of N shares of the cases and write no tables; run once more without it when
    /// the parts of all shares lie in DIR/cases
    #[arg(long, value_name = "I/N", conflicts_with = "prune")]
    pub(super) part: Option<String>,
    /// Write the tables of the share's own cases into DIR/shares/I-of-N; all shares together are a
    /// dataset for engines that read many files
    #[arg(long, requires = "part")]
    pub(super) share_tables: bool,
    /// Remove the parts in DIR/cases that this run does not use, such as those of other settings
    #[arg(long)]
    pub(super) prune: bool,
    /// Write the processor time of each stage of each case into this CSV file, which no result
    /// follows from
    #[arg(long, value_name = "FILE", conflicts_with = "part")]
    pub(super) timings: Option<PathBuf>,
}

/// A question to a study.
#[derive(Debug, Clone, Args)]
pub(super) struct Ask {
    /// File with SQL, a question that comes with the program, or - for standard input; without it
    /// the questions of the program are listed
    #[arg(value_name = "QUERY.sql")]
    pub(super) question: Option<String>,
    /// Folder of the study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Value for a parameter that the question declares; may be repeated
    #[arg(long, value_name = "NAME=VALUE")]
    pub(super) set: Vec<String>,
    /// A CSV file as a further table of that name; may be repeated
    #[arg(long, value_name = "NAME=FILE")]
    pub(super) with: Vec<String>,
    /// How the answer is written [default: table on a terminal, else by the ending, else csv]
    #[arg(long, value_name = "NAME", value_parser = words(Format::WORDS))]
    pub(super) format: Option<Format>,
    /// Write the answer into this file
    #[arg(long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Nothing but the answer; warnings and errors stay
    #[arg(long)]
    pub(super) quiet: bool,
}

/// The page of a quality committee.
#[derive(Debug, Clone, Args)]
pub(super) struct Review {
    /// Folder of the study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Standard name of the organ that the page is about; repeated: a page for each, and a table of
    /// all cases by all organs on each page
    #[arg(long, value_name = "NAME", default_value = "Brainstem")]
    pub(super) organ: Vec<String>,
    /// Instead of --organ: every organ of the study that has a limit
    #[arg(long, conflicts_with = "organ")]
    pub(super) all_organs: bool,
    /// Metric of the organ that the figures show, in TG-263 syntax
    #[arg(long, value_name = "METRIC", default_value = "D0.03cc[Gy]")]
    pub(super) metric: String,
    /// Column by which cases at the same distance are compared: of table plans, or one of your own in
    /// groups.csv in the study folder (plan_id and any columns, such as physician or machine)
    #[arg(long, value_name = "NAME", default_value = "technology")]
    pub(super) group: String,
    /// Folder of the study of an earlier meeting, made with the same key: marks what is new since
    #[arg(long, value_name = "DIR")]
    pub(super) since: Option<PathBuf>,
    /// Who meets, for the head of the minutes
    #[arg(long, value_name = "TEXT")]
    pub(super) committee: Option<String>,
    /// Which time the cases are from, for the head of the minutes
    #[arg(long, value_name = "TEXT")]
    pub(super) period: Option<String>,
    /// When the committee meets, best as year-month-day, for the head of the minutes
    #[arg(long, value_name = "DATE")]
    pub(super) date: Option<String>,
    /// File of the page [default: review.html in the folder of the study]; pages of further organs
    /// lie beside it, with the name of the organ in theirs
    #[arg(long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Archive with the CT or MR slices of the cases, to be shown behind outlines inside of the brain;
    /// takes the key of the study beside it. The page then holds images of patients
    #[arg(long, value_name = "DIR")]
    pub(super) images: Vec<PathBuf>,
    /// Write a sheet of every case, each as a page of its own, into a folder beside the page
    #[arg(long)]
    pub(super) all_sheets: bool,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// The page of the time after the treatment.
#[derive(Debug, Clone, Args)]
pub(super) struct FollowUp {
    /// Folder of a measured study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// File of the page [default: follow_up.html in the folder of the study]
    #[arg(long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// Two studies to be compared.
#[derive(Debug, Clone, Args)]
pub(super) struct Diff {
    /// Folder of the first study, A
    #[arg(value_name = "STUDY_A")]
    pub(super) before: PathBuf,
    /// Folder of the second study, B, made with the same key
    #[arg(value_name = "STUDY_B")]
    pub(super) after: PathBuf,
    /// Write every change as a row of this CSV file
    #[arg(long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Nothing but the summary; warnings and errors stay
    #[arg(long)]
    pub(super) quiet: bool,
}

/// Studies put together.
#[derive(Debug, Clone, Args)]
pub(super) struct Pool {
    /// Folder of a measured study with an invented label of its centre; a folder alone where it
    /// was put together before
    #[arg(required = true, value_name = "NAME=STUDY")]
    pub(super) studies: Vec<String>,
    /// New or empty folder for the study of all, or one that this command made before
    #[arg(long, value_name = "DIR")]
    pub(super) output: PathBuf,
    /// Let texts go along that people or machines wrote: names of structures as written, reasons,
    /// messages, codes of the files
    #[arg(long)]
    pub(super) keep_texts: bool,
    /// The report for the privacy office [default: DIR-sharing.csv beside the folder]
    #[arg(long, value_name = "FILE")]
    pub(super) report: Option<PathBuf>,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// One value traced back.
#[derive(Debug, Clone, Args)]
pub(super) struct Explain {
    /// Pseudonym of the patient or the plan, as in table metrics
    #[arg(value_name = "CASE")]
    pub(super) case: String,
    /// The structure: column `structure`, its ROI Number or its structure_id
    #[arg(value_name = "STRUCTURE")]
    pub(super) structure: Option<String>,
    /// The metric, as in column `metric`
    #[arg(value_name = "METRIC")]
    pub(super) metric: Option<String>,
    /// Folder of the study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Write the explanation as a page too
    #[arg(long, value_name = "FILE.html")]
    pub(super) page: Option<PathBuf>,
    /// Draw the structure; without METRIC nothing else
    #[arg(long, value_name = "FILE.svg|png")]
    pub(super) picture: Option<PathBuf>,
    /// Draw all organs and targets of the case on one sheet; without STRUCTURE nothing else
    #[arg(long, value_name = "FILE.svg|png")]
    pub(super) contact_sheet: Option<PathBuf>,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// A relation between a dose and an event.
#[derive(Debug, Clone, Args)]
pub(super) struct Relate {
    /// Folder of the study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Sheet of outcomes as the department keeps it, CSV or XLSX (see below)
    #[arg(long, value_name = "FILE")]
    pub(super) outcomes: PathBuf,
    /// Folder of the study's key, for hospital IDs and dates; only pseudonyms and days get out
    /// [default: DIR-key beside the study, where it is]
    #[arg(long, value_name = "DIR", alias = "patient-key")]
    pub(super) key: Option<PathBuf>,
    /// Kind of event: a word of the column event_type, or the name of an event in the map
    #[arg(long, value_name = "WORD")]
    pub(super) event: String,
    /// STRUCTURE:METRIC, a metric of the lesion itself, a column of lesions or plans (of the wide
    /// tables too, where it holds one metric), a covariate of the sheet; one of two levels counts as
    /// 0 and 1, NAME=LEVEL picks one of several
    #[arg(long, value_name = "NAME")]
    pub(super) predictor: String,
    /// A further predictor to adjust for; may be given up to six times
    #[arg(long, value_name = "NAME")]
    pub(super) adjust: Vec<String>,
    /// What one row is [default: lesion or plan where the sheet names them, else patient]
    #[arg(long, value_name = "NAME", value_parser = words(Grain::WORDS))]
    pub(super) grain: Option<Grain>,
    /// Only plans of so many fractions
    #[arg(long, value_name = "N")]
    pub(super) fractions: Option<i64>,
    /// Only events of this grade or a higher one
    #[arg(long, value_name = "N")]
    pub(super) least_grade: Option<i64>,
    /// In rates and model, count without the event only those who were followed for at least so many
    /// days; incidence and survival have everybody
    #[arg(long, value_name = "DAYS")]
    pub(super) least_follow_up: Option<i64>,
    /// Fit the model to the binary logarithm of the predictor: odds for each doubling
    #[arg(long)]
    pub(super) doubling: bool,
    /// Column of plans that makes the groups of survival
    #[arg(long, value_name = "NAME", default_value = "technology")]
    pub(super) group: String,
    /// Figures as TIFF of 600 dots to the inch too, beside SVG and PDF
    #[arg(long)]
    pub(super) tiff: bool,
    /// Folder for what is written [default: relate in the folder of the study]
    #[arg(long, value_name = "DIR")]
    pub(super) output: Option<PathBuf>,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// The folder for a paper.
#[derive(Debug, Clone, Args)]
pub(super) struct Paper {
    /// Folder of the study
    #[arg(long, value_name = "DIR", default_value = "study")]
    pub(super) study: PathBuf,
    /// Column of plans that makes the groups
    #[arg(long, value_name = "NAME", default_value = "technology")]
    pub(super) group: String,
    /// Sheet of outcomes and covariates as the department keeps it, CSV or XLSX, as for relate
    #[arg(long, value_name = "FILE")]
    pub(super) outcomes: Option<PathBuf>,
    /// Folder of the study's key, for hospital IDs and dates; only pseudonyms and days get out
    /// [default: DIR-key beside the study, where it is]
    #[arg(long, value_name = "DIR")]
    pub(super) key: Option<PathBuf>,
    /// Worksheet of the blind check, with the values of the planning reports filled in
    #[arg(long, value_name = "FILE")]
    pub(super) checked: Option<PathBuf>,
    /// Figures as TIFF of 600 dots to the inch too, beside SVG and PDF
    #[arg(long)]
    pub(super) tiff: bool,
    /// Folder for what is written [default: paper in the folder of the study]
    #[arg(long, value_name = "DIR")]
    pub(super) output: Option<PathBuf>,
    /// Nothing on stderr but warnings and errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// One of the words of a list, as what it stands for. The list is that of the room that owns the
/// type, so that help, faults and column `method` say the same word and no other room knows of
/// arguments.
fn words<T: Copy + Send + Sync + 'static>(
    list: &'static [(T, &'static str)],
) -> impl TypedValueParser<Value = T> {
    let word = PossibleValuesParser::new(list.iter().map(|(_, word)| *word));
    word.try_map(|typed| {
        let known = list.iter().find(|(_, word)| *word == typed).map(|(meaning, _)| *meaning);
        known.ok_or("is not in the list")
    })
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_definition_is_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn a_word_comes_as_what_it_stands_for() {
        let measure = |list: &[&str]| {
            let typed = Arguments::try_parse_from(["tidydose", "measure", "a"].iter().chain(list));
            match typed.map(|typed| typed.command) {
                Ok(Command::Measure(measure)) => Ok(measure),
                Ok(other) => panic!("{other:?}"),
                Err(fault) => Err(fault.to_string()),
            }
        };
        for (method, word) in Interpolation::WORDS {
            let typed = measure(&["--interpolation", word]).unwrap();
            assert_eq!(typed.interpolation, Some(*method));
        }
        assert_eq!(measure(&["--fail-on", "check"]).unwrap().common.fail_on, Some(FailOn::Check));
        let fault = measure(&["--ends", "round"]).unwrap_err();
        assert!(Ends::WORDS.iter().all(|(_, word)| fault.contains(word)), "{fault}");
    }

    #[test]
    fn every_command_helps_with_examples_and_the_caution() {
        let caution = tidydose_table::run::CAUTION.replace(' ', "");
        let mut top = Arguments::command();
        let mut pages = vec![top.render_help().to_string()];
        pages.extend(top.get_subcommands_mut().map(|c| c.render_help().to_string()));
        for page in pages {
            let dense: String = page.split_whitespace().collect();
            assert!(dense.contains(&caution), "{page}");
            assert!(page.contains("Examples:"), "{page}");
        }
    }
}
