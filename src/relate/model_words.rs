//! The model in words: its effect for a step that somebody takes, what checks it, and how well its risks
//! fit.

use super::Request;
use super::analysis::Analysis;
use super::checks::name;
use super::model::{Fitted, Step};
use super::sheets::share;
use super::words::{freedom, p, percent, percents, shown};
use tidydose_statistics::Interval;
use tidydose_statistics::bootstrap::DRAWS;
use tidydose_statistics::logistic::{Performance, Reached, Separation};

/// The effect of the predictor with the interval that counts.
pub(super) fn effect(analysis: &Analysis, fitted: &Fitted, request: &Request) -> String {
    let step = Stepped::of(analysis, request);
    let slope = &fitted.model.slope;
    let draws = fitted.curve.slope.filter(|_| by_draws(analysis));
    format!(
        "odds ratio {} for {} ({})",
        step.ratio(slope.estimate),
        step.words,
        step.interval(draws, Some(slope.interval))
    )
}

/// An interval of a ratio whose ends differ by this factor or more says that there is a relation, and
/// nothing of its size: three powers of ten.
const UNBOUNDED: f64 = 1000.0;

/// What goes with an interval of the effect that no reader takes for one. Where the predictor separates,
/// that is said already.
pub(super) fn unbounded(analysis: &Analysis, request: &Request) -> Option<String> {
    let fitted = analysis.fitted.as_ref().ok()?;
    if !matches!(analysis.checks.separation, Ok(Separation::No | Separation::NotFound)) {
        return None;
    }
    let step = Stepped::of(analysis, request);
    let draws = fitted.curve.slope.filter(|_| by_draws(analysis));
    let interval = draws.unwrap_or(fitted.model.slope.interval);
    let factor = ((interval.high - interval.low) * step.size).exp();
    (factor >= UNBOUNDED).then(|| {
        format!(
            "the data do not bound the odds ratio for {}: the ends of its interval, {} and {}, differ by \
             a factor of {UNBOUNDED} or more; {} events of {} say hardly anything of how strong the \
             relation is",
            step.words,
            step.ratio(interval.low),
            step.ratio(interval.high),
            fitted.model.events,
            fitted.model.n
        )
    })
}

/// Whether the interval by draws of patients counts: where rows share patients, and no draw is
/// separated because all data are.
fn by_draws(analysis: &Analysis) -> bool {
    let overlap = matches!(analysis.checks.separation, Ok(Separation::No | Separation::NotFound));
    analysis.lists.clusters.repeat() && overlap
}

/// A step of the predictor, and how it is called.
pub(super) struct Stepped {
    pub(super) size: f64,
    pub(super) words: String,
    /// The same without the name of the predictor.
    pub(super) short: String,
}

impl Stepped {
    pub(super) fn of(analysis: &Analysis, request: &Request) -> Self {
        let name = &request.predictor;
        let of = |size: f64, short: &str, more: String| Self {
            size,
            words: format!("{short} of {name}{more}"),
            short: short.to_owned(),
        };
        let none = String::new;
        if request.doubling {
            return of(1.0, "each doubling", none());
        }
        match (analysis.lists.step(), analysis.lists.deviation()) {
            (Step::Tenth, _) => of(0.1, "0.1", none()),
            (Step::Deviation, Some(d)) => {
                of(d, "one standard deviation", format!(" ({})", shown(d)))
            }
            _ => of(1.0, "one unit", none()),
        }
    }

    pub(super) fn ratio(&self, log_odds: f64) -> String {
        shown((log_odds * self.size).exp())
    }

    fn interval(&self, draws: Option<Interval>, profile: Option<Interval>) -> String {
        let (words, interval) = match draws {
            Some(i) => ("95 % bootstrap, resampling patients", Some(i)),
            None => ("95 % by profile", profile),
        };
        interval.map_or_else(
            || "no interval".to_owned(),
            |i| format!("{words} {} to {}", self.ratio(i.low), self.ratio(i.high)),
        )
    }
}

pub(super) fn model(analysis: &Analysis, request: &Request) -> Vec<String> {
    if let Some(none) = &analysis.none {
        return vec![format!("none: {}", super::words::nobody_had_it(none, request))];
    }
    let fitted = match &analysis.fitted {
        Ok(fitted) => fitted,
        Err(reason) => return vec![format!("none: {reason}")],
    };
    let m = &fitted.model;
    let mut list = vec![format!(
        "logistic by Firth's penalised likelihood, {} events of {}; intercept {} (standard error \
         {}), {} for risks (FLIC)",
        m.events,
        m.n,
        shown(m.intercept),
        shown(m.intercept_error),
        shown(m.risk_intercept)
    )];
    effects(analysis, fitted, request, &mut list);
    adjusters(fitted, request, &mut list);
    checks(analysis, request, &mut list);
    fit(fitted, &mut list);
    list.extend(fitted.reached.iter().map(|r| reached(r, request)));
    list.push(format!(
        "bootstrap intervals, resampling patients: {} of {DRAWS} draws, percentiles expanded for few patients",
        fitted.curve.draws
    ));
    list
}

fn effects(analysis: &Analysis, fitted: &Fitted, request: &Request, list: &mut Vec<String>) {
    let slope = &fitted.model.slope;
    let step = Stepped::of(analysis, request);
    let draws = step.interval(fitted.curve.slope, None);
    let profile = step.interval(None, Some(slope.interval));
    let both = if by_draws(analysis) { [draws, profile] } else { [profile, draws] };
    list.push(format!(
        "odds ratio for {}: {} ({})",
        step.words,
        step.ratio(slope.estimate),
        both.join("; ")
    ));
    // Of two levels a deviation says nothing that the step does not say better.
    let levels = analysis.lists.predictor.iter().all(|x| *x == 0.0 || *x == 1.0);
    let deviation = analysis.lists.deviation().filter(|d| !levels && *d != step.size);
    if let Some(size) = deviation {
        let words = format!("one standard deviation ({})", shown(size));
        let step = Stepped { size, short: words.clone(), words };
        let draws = fitted.curve.slope.filter(|_| by_draws(analysis));
        list.push(format!(
            "odds ratio for {}: {} ({})",
            step.words,
            step.ratio(slope.estimate),
            step.interval(draws, Some(slope.interval))
        ));
    }
    list.push(format!(
        "penalised likelihood ratio {} with {}, p = {}{}",
        shown(slope.ratio),
        freedom(1),
        p(slope.p),
        independent(analysis)
    ));
}

/// What goes with a p where rows share patients.
fn independent(analysis: &Analysis) -> &'static str {
    if analysis.lists.clusters.repeat() { ", as if lesions were independent" } else { "" }
}

fn adjusters(fitted: &Fitted, request: &Request, list: &mut Vec<String>) {
    let drawn = fitted.curve.adjustments.iter().zip(&fitted.curve.adjuster_means);
    let fits = fitted.model.adjustments.iter().zip(drawn);
    for (name, (c, (draws, mean))) in request.adjust.iter().zip(fits) {
        let step = Stepped { size: 1.0, words: String::new(), short: String::new() };
        list.push(format!(
            "odds ratio for one unit of {name}: {} ({}; {}); the curve stands at its mean {}",
            step.ratio(c.estimate),
            step.interval(*draws, None),
            step.interval(None, Some(c.interval)),
            shown(*mean)
        ));
    }
}

fn checks(analysis: &Analysis, request: &Request, list: &mut Vec<String>) {
    let checks = &analysis.checks;
    list.push(match &checks.separation {
        Ok(Separation::No) => "separation: none, events and the rest overlap".to_owned(),
        Ok(Separation::Alone(_) | Separation::Together) => {
            "separation: see the warnings".to_owned()
        }
        Ok(Separation::NotFound) => "separation: the search did not end".to_owned(),
        Err(reason) => format!("separation: {reason}"),
    });
    if !request.adjust.is_empty() {
        list.push(match &checks.inflation {
            Ok(factors) => {
                let each = factors.iter().enumerate();
                let each = each.map(|(k, f)| format!("{} {f:.1}", name(k, request)));
                format!("inflation of variances: {}", each.collect::<Vec<_>>().join(", "))
            }
            Err(reason) => format!("inflation of variances: {reason}"),
        });
    }
    list.push(match &checks.influence {
        Ok(found) => {
            let step = Stepped::of(analysis, request);
            format!(
                "without one patient at a time the odds ratio for {} is {} to {}; without {} it moves \
                 most, to {}",
                step.words,
                step.ratio(found.lowest.slope),
                step.ratio(found.highest.slope),
                analysis.lists.token(found.largest.patient),
                step.ratio(found.largest.slope)
            )
        }
        Err(reason) => format!("without one patient at a time: {reason}"),
    });
    list.push(match &checks.linearity {
        Ok(found) => {
            let knots: Vec<String> = found.knots.iter().map(|k| shown(*k)).collect();
            let few = if analysis.events() < 10 {
                "; with so few events only a strong bend would be seen"
            } else {
                ""
            };
            format!(
                "a line against a restricted cubic spline with knots at {} (Harrell's quantiles): \
                 penalised likelihood ratio {} with {}, p = {}{}{few}",
                knots.join(", "),
                shown(found.ratio),
                freedom(found.degrees),
                p(found.p),
                independent(analysis)
            )
        }
        Err(reason) => format!("no test of the line: {reason}"),
    });
}

/// Discrimination and calibration.
fn fit(fitted: &Fitted, list: &mut Vec<String>) {
    let found = match &fitted.performance {
        Ok(found) => found,
        Err(reason) => {
            list.push(format!("no calibration: {reason}"));
            return;
        }
    };
    let [area, slope] = performance_words(found);
    list.push(area);
    list.push(format!(
        "{slope}: below 1 the risks of other patients would be exaggerated; this is no validation elsewhere"
    ));
    list.extend(fitted.calibration.iter().map(|c| {
        format!(
            "risk {} to {} by the model, {} in the mean: {}/{} had it = {} (95 % {})",
            percent(c.from),
            percent(c.to),
            percent(c.risk),
            c.rate.events,
            c.rate.n,
            percent(share(c.rate.events, c.rate.n)),
            percents(c.rate.interval)
        )
    }));
}

/// Discrimination and slope of calibration, each with what is left of it without optimism.
pub(super) fn performance_words(found: &Performance) -> [String; 2] {
    let left =
        |value: Option<f64>| value.map_or_else(|| "not known".to_owned(), |v| format!("{v:.2}"));
    [
        format!(
            "area under the curve of the model {:.2}, without optimism {} (bootstrap, resampling patients)",
            found.area,
            left(found.area_left)
        ),
        format!(
            "slope of calibration {}, without optimism {}",
            left(found.slope),
            left(found.slope_left)
        ),
    ]
}

fn reached(r: &Reached, request: &Request) -> String {
    let risk = format!("risk of {:.0} %", 100.0 * r.risk);
    let Some(value) = r.value else {
        return format!("{risk}: not reached within the data, no value is given");
    };
    let end = |v: f64, open: &str| if v.is_finite() { shown(v) } else { open.to_owned() };
    let interval = r.interval.map_or_else(String::new, |i| {
        let (low, high) = (end(i.low, "below the data"), end(i.high, "beyond the data"));
        format!(" (95 % band: {low} to {high})")
    });
    format!("{risk} at {} {}{interval}", request.predictor, shown(value))
}
