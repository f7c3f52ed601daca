//! The figures of a relation: dose-response, calibration, incidence, survival, discrimination, flow,
//! estimates by other software and of centres.

use std::collections::BTreeMap;

use super::Request;
use super::analysis::{Analysis, StageCount};
use super::join::Stage;
use super::model::Fitted;
use super::published::Published;
use super::sheets::share;
use super::time::{Group, MONTH, OverTime, Survival};
use super::words::counted;
use tidydose_figure::{
    Axis, Below, Calibrated, Figure, Layer, Look, Ratio, Stage as Box, calibration, flow, ratios,
};
use tidydose_statistics::survival::End;
use tidydose_table::clinical_words;
use tidydose_table::run::CAUTION;
use tidydose_table::user::models::ModelRow;

/// Curves over time end where fewer than this share is left.
const LEFT: f64 = 0.1;
/// Dose ticks are drawn up to so many.
const TICKS: usize = 400;

/// Names of all figures, without the ending of their files.
pub const FIGURES: [&str; 8] =
    ["flow", "dose_response", "calibration", "incidence", "survival", "roc", "models", "centres"];

/// All figures by name of the file; those without data are left out. `models` are estimates of these
/// subjects by other software.
pub(super) fn files(
    analysis: &Analysis,
    request: &Request,
    models: &[&ModelRow],
) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut add = |name: &str, svg: String| files.insert(format!("{name}.svg"), svg.into_bytes());
    add("flow", flow("Who is analysed", &boxes(analysis, request), CAUTION));
    if analysis.n() > 0 {
        add("dose_response", dose_response(analysis, request).svg());
    }
    if let Some(figure) = calibrated(analysis, request) {
        add("calibration", figure.svg());
    }
    if let Ok(found) = &analysis.over_time {
        add("incidence", incidence(found, request).svg());
    }
    if let Ok(found) = &analysis.survival {
        add("survival", survival(found).svg());
    }
    if let Some(figure) = roc(analysis, request) {
        add("roc", figure.svg());
    }
    if let Some(forest) = super::centres::forest(analysis, request) {
        add("centres", forest.svg());
    }
    if let Some(forest) = forest(models) {
        add("models", forest.svg());
    }
    files
}

/// Risks of the model against what was observed, part by part.
fn calibrated(analysis: &Analysis, request: &Request) -> Option<Figure> {
    let parts = &analysis.fitted.as_ref().ok()?.calibration;
    let bands: Vec<Calibrated> = parts
        .iter()
        .map(|c| Calibrated {
            predicted: c.risk,
            observed: share(c.rate.events, c.rate.n),
            interval: (c.rate.interval.low, c.rate.interval.high),
            events: (c.rate.events, c.rate.n),
        })
        .collect();
    let event = request.event.replace('_', " ");
    (!bands.is_empty()).then(|| calibration(&event, &bands, CAUTION))
}

/// What the ready scripts estimated, model by model.
fn forest(models: &[&ModelRow]) -> Option<tidydose_figure::Forest> {
    let row = |r: &&ModelRow| Ratio {
        model: r.heading(),
        label: clinical_words::predictor(&r.term),
        estimate: r.estimate,
        ends: [r.low, r.high],
    };
    let rows: Vec<Ratio> = models.iter().map(row).collect();
    ratios("Estimates by other software", "one unit", &rows, CAUTION)
}

fn boxes(analysis: &Analysis, request: &Request) -> Vec<Box> {
    let words = |s: &StageCount| {
        let what = s.stage.map_or("in the tables of the study", Stage::words);
        let patients = counted(s.patients, "patient");
        if request.grain == super::Grain::Patient {
            vec![what.to_owned(), patients]
        } else {
            let subjects = counted(s.subjects, request.grain.word());
            vec![what.to_owned(), format!("{subjects} of {patients}")]
        }
    };
    let left = |s: &StageCount| {
        let mut list: Vec<String> = s
            .left
            .iter()
            .map(|(why, n)| format!("{} (n = {n})", clinical_words::reason(why)))
            .collect();
        if !list.is_empty() {
            let all: usize = s.left.values().sum();
            list.insert(0, format!("Excluded (n = {all})"));
        }
        if s.stage == Some(Stage::FollowUp) && s.died > 0 {
            list.push(format!("({} of them dead)", s.died));
        }
        list
    };
    // A stage at which nobody leaves says nothing; the last one is what is analysed.
    let last = analysis.stages.len() - 1;
    let kept = analysis.stages.iter().enumerate();
    let kept = kept.filter(|(i, s)| *i == 0 || *i == last || !s.left.is_empty());
    let mut boxes: Vec<Box> = kept.map(|(_, s)| Box { words: words(s), left: left(s) }).collect();
    if let Some(end) = boxes.last_mut() {
        end.words[0] = format!("analysed, {} with {}", analysis.events(), request.event);
    }
    boxes
}

fn dose_response(analysis: &Analysis, request: &Request) -> Figure {
    let doses = &analysis.lists.dose;
    let (low, high) =
        doses.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(*d), b.max(*d)));
    let rates = analysis.rates.iter().map(|r| r.rate.interval.high);
    let fitted = analysis.fitted.as_ref().ok();
    let bands =
        fitted.into_iter().flat_map(|f| &f.curve.points).filter_map(|p| Some(p.outer?.high));
    let highest = rates.chain(bands).fold(0.0, f64::max);
    let of = |wanted: bool| -> Vec<f64> {
        let pairs = doses.iter().zip(&analysis.lists.event);
        pairs.filter(|(_, e)| **e == wanted).map(|(d, _)| *d).take(TICKS).collect()
    };
    let mut layers = fitted.map(curve_layers).unwrap_or_default();
    layers.push(Layer::Rug { x: of(true), top: true });
    layers.push(Layer::Rug { x: of(false), top: false });
    layers.extend(analysis.rates.iter().map(|r| Layer::Mark {
        at: (r.median, share(r.rate.events, r.rate.n)),
        whisker: Some((r.rate.interval.low, r.rate.interval.high)),
        look: Look(0),
        words: format!("{}/{}", r.rate.events, r.rate.n),
    }));
    let rows = &analysis.published.rows;
    let beside: Vec<Layer> = rows.iter().filter_map(|p| published(p, (low, high))).collect();
    let mut legend = vec![(Look(0), "observed, with 95 % interval; model".to_owned())];
    if !beside.is_empty() {
        // A line of the legend holds about fifty letters.
        let open = rows.iter().any(|p| !p.is_checked());
        let words = if open {
            "published, some not yet checked; no advice"
        } else {
            "published elsewhere, no advice"
        };
        legend.push((Look(1), words.to_owned()));
    }
    layers.extend(beside);
    let n = analysis.n();
    let foot = format!(
        "{} with {} among {} of {} patients. Bands: 68 and 95 %, bootstrap, resampling patients. Ticks: with \
         event above, without below. {CAUTION}",
        analysis.events(),
        request.event,
        counted(n, request.grain.word()),
        analysis.lists.clusters.count()
    );
    Figure {
        title: format!("Risk of {} against {}", request.event, request.predictor),
        description: format!("{} events of {n}.", analysis.events()),
        x: Axis::new(&analysis.joined.predictor.axis_title(), low, high),
        y: Axis::shares(&format!("Risk of {}", request.event.replace('_', " ")), highest),
        layers,
        legend,
        below: Vec::new(),
        foot,
    }
}

/// A published risk where the data are: a mark for a level of the predictor, and for a range of it a
/// line, or the border of the area where the risk is a range too. What has no upper end stays open.
fn published(p: &Published, (low, high): (f64, f64)) -> Option<Layer> {
    // An association without a risk has no place in the figure; the report has it.
    let risk = p.risk?;
    let (from, to) = (p.range.0.max(low), p.range.1.min(high));
    if from > to || p.range.0 > high {
        return None;
    }
    let look = Look(1);
    if p.range.0 == p.range.1 {
        let at = (from, f64::midpoint(risk.0, risk.1));
        let whisker = (risk.0 < risk.1).then_some(risk);
        return Some(Layer::Mark { at, whisker, look, words: String::new() });
    }
    if risk.0 == risk.1 {
        return Some(Layer::Line { points: vec![(from, risk.0), (to, risk.0)], look });
    }
    let mut points = vec![(to, risk.0), (from, risk.0), (from, risk.1), (to, risk.1)];
    if p.range.1 <= high {
        points.push((to, risk.0));
    }
    Some(Layer::Line { points, look })
}

fn curve_layers(fitted: &Fitted) -> Vec<Layer> {
    let points = &fitted.curve.points;
    let outer = points.iter().filter_map(|p| p.outer.map(|i| (p.x, i.low, i.high))).collect();
    let inner = points.iter().filter_map(|p| p.inner.map(|i| (p.x, i.low, i.high))).collect();
    vec![
        Layer::Band { points: outer, steps: false, inner: false },
        Layer::Band { points: inner, steps: false, inner: true },
        Layer::Line { points: points.iter().map(|p| (p.x, p.risk)).collect(), look: Look(0) },
    ]
}

/// The last time at which enough are left, in days.
fn shown_until(times: &tidydose_statistics::survival::Times) -> f64 {
    let least = LEFT * tidydose_statistics::real(times.count());
    let enough = |day: &f64| tidydose_statistics::real(times.at_risk(*day)) >= least.max(1.0);
    let last = times.last();
    (0..=100_u32).rev().map(|i| last * f64::from(i) / 100.0).find(enough).unwrap_or(last).max(1.0)
}

/// Months with a number below the axis.
fn columns(end: f64) -> Vec<f64> {
    Axis::months("", end).ticks().into_iter().map(|t| t.0).collect()
}

fn below(times: &tidydose_statistics::survival::Times, end: f64, prefix: &str) -> Vec<Below> {
    let row = |label: &str, of: &dyn Fn(f64) -> usize| Below {
        label: format!("{prefix}{label}"),
        cells: columns(end).into_iter().map(|m| (m, of(m * MONTH).to_string())).collect(),
    };
    vec![
        row("at risk", &|d| times.at_risk(d)),
        row("censored", &|d| times.ended(End::Censored, d)),
        row("events", &|d| times.ended(End::Event, d)),
    ]
}

fn incidence(found: &OverTime, request: &Request) -> Figure {
    let until = shown_until(&found.times);
    let end = until / MONTH;
    let steps: Vec<_> = found.incidence.steps.iter().filter(|s| s.time <= until).collect();
    let line = |of: &dyn Fn(&tidydose_statistics::incidence::Step) -> f64| {
        let mut points = vec![(0.0, 0.0)];
        points.extend(steps.iter().map(|s| (s.time / MONTH, of(s))));
        points.push((end, points.last().map_or(0.0, |p| p.1)));
        points
    };
    let mut band: Vec<(f64, f64, f64)> =
        found.bands.iter().copied().filter(|b| b.0 <= until).collect();
    band.extend(band.last().map(|b| (until, b.1, b.2)));
    let highest = band.iter().map(|b| b.2).chain(steps.iter().map(|s| s.competing));
    let highest = highest.fold(0.0, f64::max);
    let mut rows = below(&found.times, end, "");
    rows.push(Below {
        label: "died first".to_owned(),
        cells: columns(end)
            .into_iter()
            .map(|m| (m, found.times.ended(End::Competing, m * MONTH).to_string()))
            .collect(),
    });
    Figure {
        title: format!("Incidence of {} and of death before it", request.event),
        description: "Two rising lines of steps.".to_owned(),
        x: Axis::months("Months since treatment", end),
        y: Axis::shares("Cumulative incidence", highest),
        layers: vec![
            Layer::Band {
                points: band.iter().map(|b| (b.0 / MONTH, b.1, b.2)).collect(),
                steps: true,
                inner: false,
            },
            Layer::Steps { points: line(&|s| s.competing), look: Look(1) },
            Layer::Steps { points: line(&|s| s.event), look: Look(0) },
        ],
        legend: vec![
            (Look(0), format!("{}, with 95 % band", request.event.replace('_', " "))),
            (Look(1), "death before it".to_owned()),
        ],
        below: rows,
        foot: format!("Aalen and Johansen. Shown while a tenth is at risk. {CAUTION}"),
    }
}

fn survival(found: &Survival) -> Figure {
    let groups: Vec<&Group> =
        if found.groups.is_empty() { vec![&found.all] } else { found.groups.iter().collect() };
    let end = groups.iter().map(|g| shown_until(&g.times)).fold(1.0, f64::max) / MONTH;
    let mut layers = Vec::new();
    layers.extend(groups.iter().enumerate().map(|(rank, group)| band_of(group, rank)));
    for (rank, group) in groups.iter().enumerate() {
        let until = shown_until(&group.times);
        let inside: Vec<_> = group.curve.steps.iter().filter(|s| s.time <= until).collect();
        let mut points = vec![(0.0, 1.0)];
        points.extend(inside.iter().map(|s| (s.time / MONTH, s.survival)));
        points.push((until / MONTH, points.last().map_or(1.0, |p| p.1)));
        layers.push(Layer::Steps { points, look: Look(rank) });
        let gone = inside.iter().filter(|s| s.censored > 0.0);
        let points = gone.map(|s| (s.time / MONTH, s.survival)).collect();
        layers.push(Layer::Crosses { points });
    }
    let named = |(rank, g): (usize, &&Group)| {
        (Look(rank), format!("{} (n = {})", g.name.replace('_', " "), g.times.count()))
    };
    let single = groups.len() == 1;
    let prefix = |g: &Group| if single { String::new() } else { format!("{} ", short(&g.name)) };
    let rows = groups.iter().flat_map(|g| {
        let mut rows = below(&g.times, end, &prefix(g));
        if !single {
            rows.truncate(1);
        }
        rows
    });
    Figure {
        title: "Survival of the patients".to_owned(),
        description: "Falling lines of steps, one for each group.".to_owned(),
        x: Axis::months("Months since treatment", end),
        y: Axis::shares("Survival", 1.0),
        layers,
        legend: groups.iter().enumerate().map(named).collect(),
        below: rows.collect(),
        foot: format!(
            "Kaplan and Meier, with 95 % bands; strokes: censored. Shown while a tenth is at risk. {CAUTION}"
        ),
    }
}

/// The band of a group as far as its curve is drawn. Before the first death nobody has died: no band.
fn band_of(group: &Group, rank: usize) -> Layer {
    let until = shown_until(&group.times);
    let inside = group.curve.steps.iter().filter(|s| s.time <= until);
    let points = inside.filter_map(|s| s.interval.map(|i| (s.time / MONTH, i.low, i.high)));
    let mut points: Vec<(f64, f64, f64)> = points.collect();
    let end = points.last().map(|last| (until / MONTH, last.1, last.2));
    points.extend(end);
    Layer::Tint { points, steps: true, look: Look(rank) }
}

fn short(name: &str) -> String {
    name.split('_').next().unwrap_or(name).chars().take(8).collect()
}

fn roc(analysis: &Analysis, request: &Request) -> Option<Figure> {
    let found = analysis.discrimination.as_ref().ok()?;
    let points = found.roc.cuts.iter().map(|c| (1.0 - c.specificity, c.sensitivity)).collect();
    let best = found.best;
    Some(Figure {
        title: format!("Discrimination of {} by {}", request.event, request.predictor),
        description: format!("Area {:.2}.", found.roc.area),
        x: Axis::shares("1 − specificity", 1.0),
        y: Axis::shares("Sensitivity", 1.0),
        layers: vec![
            Layer::Line { points: vec![(0.0, 0.0), (1.0, 1.0)], look: Look(4) },
            Layer::Line { points, look: Look(0) },
            Layer::Mark {
                at: (1.0 - best.specificity, best.sensitivity),
                whisker: None,
                look: Look(1),
                words: String::new(),
            },
        ],
        legend: vec![
            (Look(0), analysis.joined.predictor.axis_title()),
            (Look(1), "largest sensitivity + specificity".to_owned()),
        ],
        below: Vec::new(),
        foot: format!("Descriptive: a cut-off chosen from the data is not a limit. {CAUTION}"),
    })
}
