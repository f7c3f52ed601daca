//! Captions of the figures: what is drawn, of how many, who is left out and why, which run.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::Request;
use super::analysis::Analysis;
use super::join::Stage;
use super::model_words::performance_words;
use super::words::small_groups;
use tidydose_table::run::CAUTION;

/// A caption for each figure among the files.
pub(super) fn file(
    analysis: &Analysis,
    request: &Request,
    files: &BTreeMap<String, Vec<u8>>,
) -> Vec<u8> {
    let mut out = format!("{CAUTION}\n");
    for name in files.keys().filter_map(|n| n.strip_suffix(".svg")) {
        let what = words(name, analysis, request);
        let sheet =
            if name == "dose_response" { "curve.csv, rates.csv and subjects" } else { name };
        let _ = writeln!(
            out,
            "\n## {name}.svg\n\n{what} {}{} Numbers: {sheet}.csv.",
            if name == "models" { String::new() } else { format!("{} ", left_out(analysis)) },
            request.run
        );
    }
    out.into_bytes()
}

fn words(name: &str, analysis: &Analysis, request: &Request) -> String {
    let event = request.event.replace('_', " ");
    let n = format!(
        "{} {}s of {} patients, {} with {event}",
        analysis.n(),
        request.grain.word(),
        analysis.lists.clusters.count(),
        analysis.events()
    );
    let predictor = analysis.joined.predictor.axis_title();
    match name {
        "dose_response" => format!(
            "Risk of {event} against {predictor}: {n}. Line: logistic model by Firth's penalised \
             likelihood, intercept corrected so that risks add up to the events (FLIC), drawn inside the \
             data only; bands: 68 and 95 %, bootstrap, resampling patients. Marks: rates of bands of the predictor \
             with exact 95 % intervals and their numbers. Ticks: single values, with event above, \
             without below. Values published elsewhere are drawn beside the data and are no advice{}.",
            unchecked(analysis)
        ),
        "calibration" => format!(
            "Calibration of the risk of {event} by the model of {predictor}: {n}, in parts of about equal \
             numbers by risk. Marks: share with the event against the mean risk of the model, with exact \
             95 % intervals for the effective number of patients and events / observations; line: model \
             and observation alike. {}",
            optimism(analysis)
        ),
        "incidence" => {
            let missing = analysis.over_time.as_ref().map_or(0, |o| o.without_day);
            format!(
                "Cumulative incidence of {event}, and of death before it, by Aalen and Johansen: {n}; \
                 {}. {missing} with the event but without its day are not in it. Shown while a \
                 tenth is at risk.",
                incidence_band(analysis)
            )
        }
        "models" => MODELS.to_owned(),
        "centres" => format!("Odds ratio of {event} by {predictor}: {n}. {CENTRES}"),
        "survival" => {
            let patients = analysis.survival.as_ref().map_or(0, |s| s.all.times.count());
            let small = analysis.survival.as_ref().ok().and_then(small_groups);
            let small = small.map_or_else(String::new, |words| format!(" Groups {words}."));
            format!(
                "Survival of {patients} patients by Kaplan and Meier, by {}; bands: pointwise 95 % by \
                 Greenwood's variance on the scale of log(−log survival); strokes: censored. Shown \
                 while a tenth is at risk.{small}",
                request.group.replace('_', " ")
            )
        }
        "roc" => format!(
            "Discrimination of {event} by {predictor}: {n}. Descriptive: a cut-off chosen from the data is \
             not a limit."
        ),
        _ => format!("Who is analysed, and who left at which stage for which reason: {n}."),
    }
}

/// What is drawn of the estimates of other software.
const MODELS: &str = "Ratios of odds and hazards for one unit of each predictor, estimated of subjects.csv \
                      by models.R and models.py, on a logarithmic axis with their 95 % intervals; \
                      dashed: no difference. An arrow: the interval goes on beyond the axis; not \
                      bounded: an estimate beyond 1000 or below its reciprocal, as where a predictor \
                      separates. Units \
                      differ between predictors, so that lengths are compared within one only.";

/// What is drawn of several centres.
const CENTRES: &str = "The same logistic model in each centre alone (events / rows) with 95 % intervals by \
                       profile, the summary by random effects (DerSimonian and Laird) with its interval \
                       by Hartung and Knapp, and that summary without each centre; logarithmic axis; \
                       dashed: no relation. An arrow: the interval goes on beyond the axis; not bounded: an \
                       estimate beyond 1000 or below its reciprocal. Rows of one patient are taken as \
                       independent.";

/// How the band of the incidence is made.
fn incidence_band(analysis: &Analysis) -> &'static str {
    let unseen = analysis.over_time.as_ref().is_ok_and(|o| o.unseen.is_some());
    if unseen || analysis.lists.clusters.repeat() {
        "band: pointwise 95 %, bootstrap, resampling patients"
    } else {
        "band: pointwise 95 % by the delta method (Dinse and Larson) on the scale of \
         log(−log incidence)"
    }
}

/// Discrimination and calibration of the model in its own data, and what is left without optimism.
fn optimism(analysis: &Analysis) -> String {
    let found = analysis.fitted.as_ref().ok().and_then(|f| f.performance.as_ref().ok());
    let Some(found) = found else { return String::new() };
    let [area, slope] = performance_words(found);
    format!(
        "In the data that the model was made of: {area}; {slope}. This is no validation in other patients."
    )
}

/// How many of the published values drawn nobody has seen in their source.
fn unchecked(analysis: &Analysis) -> String {
    let rows = &analysis.published.rows;
    let open = rows.iter().filter(|p| !p.is_checked()).count();
    if open == 0 {
        return String::new();
    }
    format!("; {open} of {} are not yet checked against the source (published.csv)", rows.len())
}

/// Everybody who is not analysed, with the reasons.
fn left_out(analysis: &Analysis) -> String {
    let mut reasons: Vec<String> = Vec::new();
    for stage in &analysis.stages {
        let at = stage.stage.map_or("", Stage::words);
        let list =
            stage.left.iter().map(|(why, n)| format!("{n} {} ({at})", why.replace('_', " ")));
        reasons.extend(list);
    }
    if reasons.is_empty() {
        "Nobody is left out.".to_owned()
    } else {
        format!("Left out: {}.", reasons.join(", "))
    }
}
