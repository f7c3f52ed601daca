//! The result in words: every number with its interval, its denominator and what it rests on; what
//! the program leaves to others, and why.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::analysis::Analysis;
use super::join::Stage;
use super::methods::METHODS;
use super::model_words::{effect, model};
use super::sheets::share;
use super::time::{LEAST, MONTH, OverTime, Survival};
use super::{Grain, Request};
use tidydose_statistics::proportion::NoEvents;
use tidydose_statistics::rank::RankSum;
use tidydose_statistics::survival::End;
use tidydose_statistics::{Interval, Undefined};
pub(super) use tidydose_table::clinical_words::counted;
use tidydose_table::run::CAUTION;

/// What is left to others on purpose.
const LEFT_OUT: &str = "\
Left to R or Python on purpose, since they are choices of a model that a reviewer wants from citable
software: mixed models, estimating equations or robust variances for lesions in patients (geepack,
statsmodels GEE); Cox models and their checks (survival, lifelines); Gray's test and the model of Fine
and Gray (cmprsk); imputation of what is missing (mice). models.R and models.py beside subjects.csv
run the first three with the names of this relation, and write models.csv, which the next run shows.";

pub(super) fn summary(analysis: &Analysis, request: &Request) -> String {
    let unmatched = analysis.joined.unmatched.len();
    let slope = match (&analysis.fitted, &analysis.none) {
        (Ok(fitted), _) => effect(analysis, fitted, request),
        (Err(_), Some(none)) => nobody_had_it(none, request),
        (Err(reason), None) => format!("no model: {reason}"),
    };
    format!(
        "{} of {} {}s analysed, {} with {}; {slope}; {unmatched} unmatched.",
        analysis.n(),
        analysis.joined.subjects.len(),
        request.grain.word(),
        analysis.events(),
        request.event
    )
}

/// Where everybody left, and what would keep them; nothing when somebody is analysed.
pub(super) fn nobody(analysis: &Analysis, request: &Request) -> Option<String> {
    if analysis.n() > 0 {
        return None;
    }
    let mut parts = Vec::new();
    for count in &analysis.stages {
        let Some(stage) = count.stage else { continue };
        let left: usize = count.left.values().sum();
        if left > 0 {
            let reasons: Vec<String> =
                count.left.iter().map(|(reason, n)| format!("{n} {}", spaced(reason))).collect();
            parts.push(format!(
                "{left} left at `{}`: {} ({})",
                stage.words(),
                reasons.join(", "),
                stage.remedy()
            ));
        }
    }
    let found = analysis.joined.subjects.len();
    let grain = request.grain.word();
    Some(format!("nobody is analysed, of {found} {grain}s. {}", parts.join("; ")))
}

/// What is known where nobody had the event.
pub(super) fn nobody_had_it(none: &NoEvents, request: &Request) -> String {
    format!(
        "{} patients were followed and none had {}: the risk is below {} with 95 % confidence \
         (exact, one-sided); the two-sided 95 % interval is 0 to {}",
        none.n,
        request.event,
        percent(none.one_sided),
        percent(none.two_sided)
    )
}

fn spaced(word: &str) -> String {
    word.replace('_', " ")
}

/// Degrees of freedom.
pub(super) fn freedom(degrees: usize) -> String {
    format!("{} of freedom", counted(degrees, "degree"))
}

/// Three digits that count.
pub(super) fn shown(value: f64) -> String {
    let size = value.abs();
    let digits = match size {
        s if s >= 100.0 || s == 0.0 => 0,
        s if s >= 10.0 => 1,
        s if s >= 0.1 => 2,
        s if s >= 0.01 => 3,
        s if s >= 0.001 => 4,
        _ => return format!("{value:.1e}"),
    };
    format!("{value:.digits$}")
}

pub(super) fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

pub(super) fn percents(i: Interval) -> String {
    format!("{:.1} to {:.1} %", 100.0 * i.low, 100.0 * i.high)
}

pub(super) fn p(value: f64) -> String {
    if value < 0.001 { format!("{value:.1e}") } else { format!("{value:.3}") }
}

pub(super) fn report(
    analysis: &Analysis,
    request: &Request,
    warnings: &[String],
    others: Vec<String>,
) -> String {
    let mut text = format!("{CAUTION}\n\n");
    let mut part = |title: &str, lines: Vec<String>| {
        // Writing to a text does not fail.
        let _ = writeln!(text, "{title}\n");
        for line in lines {
            let _ = writeln!(text, "- {line}");
        }
        let _ = writeln!(text);
    };
    part("What was asked", asked(analysis, request));
    part("Warnings", if warnings.is_empty() { vec!["none".to_owned()] } else { warnings.to_vec() });
    part("Who is analysed", flow(analysis, request));
    part("Rates", rates(analysis));
    part("Model", model(analysis, request));
    if let Some(centres) = &analysis.centres {
        part("Centres", super::centres::words(centres, analysis, request));
    }
    part(
        "Discrimination: descriptive, a cut-off chosen from the data is not a limit",
        roc(analysis),
    );
    part("Over time", time(analysis, request));
    part("Models by other software, of subjects.csv", others);
    part("Published values, beside the data and no advice", published(analysis, request));
    let _ = writeln!(text, "Methods, with the marks of references.bib\n\n{METHODS}\n\n{LEFT_OUT}");
    text
}

fn asked(analysis: &Analysis, request: &Request) -> Vec<String> {
    let kinds = analysis.joined.kinds.iter().map(|(kind, n)| format!("{kind} {n}"));
    let mut list = vec![
        format!("event: {}, one row a {}", request.event, request.grain.word()),
        format!("predictor: {}", request.predictor),
    ];
    if request.doubling {
        list.push("the model takes the binary logarithm of the predictor".to_owned());
    }
    if !request.adjust.is_empty() {
        list.push(format!("adjusted for {}", request.adjust.join(", ")));
    }
    list.extend(request.fractions.iter().map(|n| {
        format!(
            "only plans of {}",
            if *n == 1 { "1 fraction".to_owned() } else { format!("{n} fractions") }
        )
    }));
    list.extend(request.least_grade.iter().map(|n| format!("events count from grade {n} on")));
    let follow = request.least_follow_up.iter();
    list.extend(follow.map(|d| {
        format!(
            "without event only with {d} days of follow-up or more, in rates and model; incidence and \
             survival need no such rule and have everybody"
        )
    }));
    list.push(format!("rows of the sheet: {}", kinds.collect::<Vec<_>>().join(", ")));
    let analyses: BTreeSet<&super::Tried> = request.tried.iter().collect();
    list.push(format!(
        "analyses tried in this study, this one included: {} (tried.csv: event, grade, predictor, \
         adjusters and filters)",
        analyses.len()
    ));
    list.push(
        "days count from the first fraction, or from the plan where that is not known".to_owned(),
    );
    list.push("who has a row was followed for every kind of event of the sheet".to_owned());
    list.push(match request.grain {
        Grain::Lesion => "another course of the same lesion ends its follow-up".to_owned(),
        Grain::Patient => {
            "each patient with the plan of the first course; a later course ends the \
                           follow-up, and what comes after it is not told of the first dose"
                .to_owned()
        }
        Grain::Plan => "each plan; an event belongs to the course that precedes it, and a later \
                        course ends the follow-up"
            .to_owned(),
    });
    let ended = analysis.joined.subjects.iter().filter_map(|s| s.state.as_ref().ok());
    let ended = ended.filter(|k| k.by_course).count();
    if ended > 0 {
        list.push(format!("{ended} were followed until a later course"));
    }
    list
}

fn flow(analysis: &Analysis, request: &Request) -> Vec<String> {
    let line = |s: &super::analysis::StageCount| {
        let words = s.stage.map_or("in the tables", Stage::words);
        let left: Vec<String> = s.left.iter().map(|(r, n)| format!("{n} {r}")).collect();
        let left =
            if left.is_empty() { String::new() } else { format!(" (left: {})", left.join(", ")) };
        if request.grain == Grain::Patient {
            format!("{words}: {} patients{left}", s.patients)
        } else {
            let grain = request.grain.word();
            format!("{words}: {} {grain}s of {} patients{left}", s.subjects, s.patients)
        }
    };
    let mut list: Vec<String> = analysis.stages.iter().map(line).collect();
    let side = |side: &str| analysis.joined.unmatched.iter().filter(|u| u.side == side).count();
    list.push(format!(
        "unmatched (unmatched.csv): {} of the sheet, {} of the study",
        counted(side("sheet"), "row"),
        counted(side("study"), request.grain.word())
    ));
    list
}

fn rates(analysis: &Analysis) -> Vec<String> {
    let rate = |r: &tidydose_statistics::proportion::Clustered| {
        format!(
            "{}/{} = {} (95 % {}, exact for an effective number of {:.1})",
            r.events,
            r.n,
            percent(share(r.events, r.n)),
            percents(r.interval),
            r.effective_n
        )
    };
    let mut list = vec![match &analysis.rate {
        Ok(r) => format!("all: {}", rate(r)),
        Err(reason) => format!("none: {reason}"),
    }];
    for r in &analysis.rates {
        list.push(format!("{} to {}: {}", shown(r.from), shown(r.to), rate(&r.rate)));
    }
    match &analysis.compared {
        Ok(c) => {
            let of = |s: &tidydose_statistics::describe::Summary| {
                format!(
                    "{} ({} to {}, n = {})",
                    shown(s.median),
                    shown(s.lower),
                    shown(s.upper),
                    s.n
                )
            };
            list.push(format!(
                "predictor, median (quartiles): with event {}, without {}",
                of(&c.with),
                of(&c.without)
            ));
            list.push(match &c.test {
                Some(t) => format!(
                    "difference by Hodges and Lehmann {} ({}), rank-sum p = {}",
                    shown(t.shift),
                    shift_interval(t),
                    p(t.p)
                ),
                None => "no rank test: lesions of one patient are not independent".to_owned(),
            });
        }
        Err(reason) => {
            list.push(format!("no comparison of those with and without event: {reason}"))
        }
    }
    list
}

fn roc(analysis: &Analysis) -> Vec<String> {
    if analysis.none.is_some() {
        return vec!["none: nobody had the event".to_owned()];
    }
    let found = match &analysis.discrimination {
        Ok(found) => found,
        Err(reason) => return vec![format!("none: {reason}")],
    };
    let area = found.area.map_or_else(String::new, |i| {
        format!(" (95 % bootstrap, resampling patients {:.2} to {:.2})", i.low, i.high)
    });
    let best = found.best;
    let spread = found.cut.map_or_else(String::new, |i| {
        format!("; in 95 % of the draws it lies between {} and {}", shown(i.low), shown(i.high))
    });
    let gain = found.optimism.map_or_else(String::new, |o| {
        let honest = best.youden() - o;
        format!("; {o:.2} of that is optimism, {honest:.2} is left")
    });
    vec![
        format!("area under the curve {:.2}{area}", found.roc.area),
        format!(
            "largest sensitivity + specificity − 1 = {:.2} at {} or more ({:.2} and {:.2}){gain}{spread}",
            best.youden(),
            shown(best.score),
            best.sensitivity,
            best.specificity
        ),
    ]
}

/// The interval of a shift, with the level it has.
fn shift_interval(test: &RankSum) -> String {
    let ends = format!("{} to {}", shown(test.interval.low), shown(test.interval.high));
    match test.attained {
        None => format!("95 % {ends}"),
        Some(level) => format!(
            "no 95 % interval: with so few values the widest there is, {ends}, holds {} at most",
            percent(level)
        ),
    }
}

fn time(analysis: &Analysis, request: &Request) -> Vec<String> {
    let mut list = Vec::new();
    match &analysis.over_time {
        Ok(found) => incidence(found, request, &mut list),
        Err(reason) => list.push(format!("no incidence: {reason}")),
    }
    let months = |days: f64| format!("{:.1} months", days / MONTH);
    match &analysis.survival {
        Ok(s) => {
            let dead = s.all.times.ended(End::Event, f64::INFINITY);
            let median = s.all.curve.median().map_or_else(|| "not reached".to_owned(), months);
            let interval = s.all.curve.median_interval().map_or_else(String::new, |i| {
                let high = if i.high.is_finite() { months(i.high) } else { "open".to_owned() };
                format!(" (95 % {} to {high})", months(i.low))
            });
            list.push(format!(
                "survival of {} patients, {dead} dead: median {median}{interval}",
                s.all.times.count()
            ));
            list.extend(small_groups(s));
            let follow = s.follow_up.median().map_or_else(|| "not reached".to_owned(), months);
            list.push(format!("median follow-up by the reverse method: {follow}"));
            if let Some(test) = &s.test {
                list.push(format!(
                    "log-rank over {} groups of {}: chi-squared {} with {}, p = {}; groups differ in more \
                     than their name, see the warnings",
                    s.groups.len(),
                    request.group,
                    shown(test.chi_squared),
                    freedom(test.degrees),
                    p(test.p)
                ));
            }
        }
        Err(reason) => list.push(format!("no survival: {}", said(reason))),
    }
    list
}

/// Groups that have no curve of their own.
pub(super) fn small_groups(survival: &Survival) -> Option<String> {
    let small = &survival.too_small;
    let names: Vec<String> =
        small.iter().map(|(name, n)| format!("{} ({n})", spaced(name))).collect();
    (!small.is_empty()).then(|| {
        format!("too small for a curve of their own, below {LEAST} patients: {}", names.join(", "))
    })
}

fn said(reason: &Undefined) -> String {
    format!("{reason}; day_last_contact is needed")
}

fn incidence(found: &OverTime, request: &Request, list: &mut Vec<String>) {
    list.push(format!(
        "cumulative incidence of {} with death as competing event (Aalen and Johansen), {} with a day",
        request.event,
        found.times.count()
    ));
    for l in &found.landmarks {
        let interval = l.interval.map_or_else(String::new, |i| format!(" (95 % {})", percents(i)));
        list.push(format!(
            "at {:.0} months: {}{interval}, death before it {}; {} at risk",
            l.months,
            percent(l.step.event),
            percent(l.step.competing),
            l.at_risk
        ));
    }
    let Some(unseen) = &found.unseen else { return };
    list.push(format!(
        "{} died without the event after their last imaging, by {:.1} months in the median: in that \
         time nobody looked for it, so they are at risk of it until the last imaging and of death \
         until death, which counts as likely with the event as without; intervals by draws of \
         patients",
        unseen.count,
        unseen.median / MONTH
    ));
    for l in &found.landmarks {
        let counted = unseen.counted.at(l.months * MONTH);
        list.extend(counted.map(|s| {
            format!(
                "at {:.0} months, if that time counted as without event: {}, too low where the event \
                 would have been seen on images",
                l.months,
                percent(s.event)
            )
        }));
    }
}

fn published(analysis: &Analysis, request: &Request) -> Vec<String> {
    let row = |p: &super::published::Published| {
        let range = match p.range {
            (a, b) if a == b => shown(a),
            (a, b) if b.is_finite() => format!("{} to {}", shown(a), shown(b)),
            (a, _) => format!("above {}", shown(a)),
        };
        let risk = match p.risk {
            Some((a, b)) if a == b => percent(a),
            Some((a, b)) => format!("{} to {}", percent(a), percent(b)),
            None => p.note.clone(),
        };
        format!(
            "{} {} {range}: {risk}, {} ({}; {}; {})",
            p.organ,
            p.metric,
            p.endpoint,
            p.source,
            p.evidence,
            p.against_source()
        )
    };
    let beside = &analysis.published;
    let mut list: Vec<String> = beside.rows.iter().map(row).collect();
    if list.is_empty() {
        list.push(
            "none for this event, structure, metric and single number of fractions; values for others \
             are not shown, since definitions differ"
                .to_owned(),
        );
    }
    if !beside.other_endpoints.is_empty() {
        list.push(format!(
            "for other endpoints than {} there are: {}; they are shown where the event of the sheet is \
             called like one of them",
            request.event,
            beside.other_endpoints.join("; ")
        ));
    }
    list
}
