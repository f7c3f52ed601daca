//! Dose-volume curves of an organ as bands, a panel for each number of fractions and group: doses in
//! one fraction and in five are never pooled.

use std::collections::{BTreeMap, BTreeSet};

use super::{Drawn, Source, named, too_small};
use crate::doses::organ_states;
use crate::measures::{fraction_words, plain};
use crate::{count, counted, number, sheet, word};
use tidydose_figure::{Axis, Figure, Layer, Look, panels};
use tidydose_statistics::describe::quantile;
use tidydose_table::Cell;
use tidydose_table::clinical_words;
use tidydose_table::curves::Curve;
use tidydose_table::run::CAUTION;

/// Plans from which on a panel has a median and the band of its middle half.
const LEAST: usize = 5;
/// Plans from which on it has the outer band, and no single lines.
const MANY: usize = 20;
/// Doses at which a band is computed.
const STEPS: u32 = 100;
/// Volumes that matter in small organs, cc.
const SMALL_CC: (f64, f64) = (0.01, 10.0);
const SHARES: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];

const COLUMNS: &[&str] = &[
    "structure",
    "group",
    "fractions",
    "plans",
    "patients",
    "dose_gy",
    "p05_cc",
    "p25_cc",
    "median_cc",
    "p75_cc",
    "p95_cc",
];

/// The curves of one panel.
struct Panel<'s> {
    group: &'s str,
    fractions: &'s str,
    patients: BTreeSet<&'s str>,
    curves: Vec<&'s Curve>,
}

/// A panel with its percentiles by dose: drawn twice and written once, computed once.
struct Banded<'s> {
    panel: Panel<'s>,
    rows: Vec<(f64, [f64; 5])>,
}

/// Two figures for each organ: on an even axis of volumes, and on a logarithmic one for small volumes.
pub(super) fn figures(source: &Source<'_>) -> Vec<Drawn> {
    let mut covered: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    let states = organ_states(source.study, source.included);
    for cell in states.iter().filter(|c| c.state == 0) {
        covered.entry(cell.organ).or_default().insert(cell.plan);
    }
    let of_organ = |(organ, plans): (&&str, &BTreeSet<&str>)| organ_figures(source, organ, plans);
    covered.iter().flat_map(of_organ).collect()
}

fn organ_figures(source: &Source<'_>, organ: &str, covered: &BTreeSet<&str>) -> Vec<Drawn> {
    let Some(curves) = source.curves.get(organ) else { return Vec::new() };
    let mut found: BTreeMap<(&str, &str), Panel<'_>> = BTreeMap::new();
    let mut several = 0;
    for (plan, place) in source.places {
        let Some(list) = curves.get(plan).filter(|_| covered.contains(plan.as_str())) else {
            continue;
        };
        if list.len() > 1 {
            several += 1;
            continue;
        }
        let (group, fractions) = (place.group.as_str(), place.fractions.as_str());
        let panel = found.entry((fractions, group)).or_insert_with(|| Panel {
            group,
            fractions,
            patients: BTreeSet::new(),
            curves: Vec::new(),
        });
        panel.patients.insert(&place.patient);
        panel.curves.extend(list.values());
    }
    let mut panels_of_organ: Vec<Panel<'_>> = found.into_values().collect();
    // Not by pseudonym: the same plans give the same figure under any key.
    for panel in &mut panels_of_organ {
        panel.curves.sort_by(|a, b| {
            let by_volume = a.volume_cc(0.0).total_cmp(&b.volume_cc(0.0));
            a.last_gy().total_cmp(&b.last_gy()).then(by_volume)
        });
    }
    let drawn: usize = panels_of_organ.iter().map(|p| p.curves.len()).sum();
    if drawn < LEAST {
        return Vec::new();
    }
    let banded = |panel| Banded { rows: bands(&panel), panel };
    let panels_of_organ: Vec<Banded<'_>> = panels_of_organ.into_iter().map(banded).collect();
    let caption = caption(organ, drawn, source.places.len() - drawn - several, several)
        + &small(&panels_of_organ);
    let mut out = Vec::new();
    for small in [false, true] {
        let axes = axes(&panels_of_organ, organ, small);
        let draw = |p| drawing(source, p, organ, &axes);
        let figures: Vec<Figure> = panels_of_organ.iter().map(draw).collect();
        let foot = format!("Pointwise: no single plan follows the median. {CAUTION}");
        let title = format!("Volume of {organ} that receives at least a dose");
        let description = format!("{} of curves.", counted(figures.len(), "panel"));
        let (end, scale, csv) = if small {
            let note = "The same on a logarithmic axis from 0.01 to 10 cc; numbers in the CSV of the \
                        other.";
            ("_small_volumes", note, Vec::new())
        } else {
            ("", "Volumes in cc.", table(organ, &panels_of_organ))
        };
        out.push(Drawn {
            name: format!("dvh_{}{end}", plain(organ)),
            svg: panels(&title, &description, &figures, &foot),
            csv,
            caption: format!("{caption} {scale}"),
        });
    }
    out
}

/// Panels without a median, in a sentence.
fn small(panels: &[Banded<'_>]) -> String {
    let mut groups: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for Banded { panel, .. } in panels {
        groups.insert((panel.fractions, panel.group), panel.curves.len());
    }
    too_small(&groups, LEAST, "a median and bands")
}

fn caption(organ: &str, drawn: usize, left: usize, several: usize) -> String {
    let mut text = format!(
        "Cumulative dose-volume curves of {organ}, {}, a panel for each number of fractions and group. \
         Thick line: pointwise median; dark band: 25th to 75th percentile, from {LEAST} plans on; light \
         band: 5th to 95th, from {MANY} on; thin lines: single plans, below {MANY}. No single plan \
         follows the median. Beyond its own maximum a plan counts with 0. Left out: {} without the organ \
         or with a part of it outside the dose grid.",
        counted(drawn, "plan"),
        counted(left, "plan")
    );
    if several > 0 {
        text.push_str(&format!(" {} with several organs of the name.", counted(several, "plan")));
    }
    text
}

/// Percentiles at a dose, in the order of [`SHARES`].
fn at_dose(panel: &Panel<'_>, dose: f64) -> [f64; 5] {
    let mut volumes: Vec<f64> = panel.curves.iter().map(|c| c.volume_cc(dose)).collect();
    volumes.sort_by(f64::total_cmp);
    SHARES.map(|s| quantile(&volumes, s))
}

fn bands(panel: &Panel<'_>) -> Vec<(f64, [f64; 5])> {
    let last = panel.curves.iter().map(|c| c.last_gy()).fold(0.0, f64::max);
    let dose = |step: u32| last * f64::from(step) / f64::from(STEPS);
    (0..=STEPS).map(dose).map(|d| (d, at_dose(panel, d))).collect()
}

/// Axes of all panels of an organ, which are compared by eye: dose, and volume.
fn axes(panels: &[Banded<'_>], organ: &str, small: bool) -> [Axis; 2] {
    let last = panels.iter().filter_map(|p| p.rows.last()).map(|r| r.0).fold(0.0, f64::max);
    let whole = panels.iter().flat_map(|p| &p.panel.curves).map(|c| c.volume_cc(0.0));
    let y = if small {
        Axis::log("Volume (cm³)", SMALL_CC.0, SMALL_CC.1)
    } else {
        Axis::new("Volume (cm³)", 0.0, whole.fold(0.0, f64::max))
    };
    let words = clinical_words::capital(&clinical_words::structure(organ));
    [Axis::new(&format!("{words}, dose (Gy)"), 0.0, last), y]
}

fn drawing(source: &Source<'_>, banded: &Banded<'_>, organ: &str, [x, y]: &[Axis; 2]) -> Figure {
    let Banded { panel, rows } = banded;
    let n = panel.curves.len();
    let look = source.look(panel.group);
    Figure {
        title: format!(
            "{}, {} ({} of {})",
            fraction_words(panel.fractions),
            named(panel.group),
            counted(n, "plan"),
            counted(panel.patients.len(), "patient")
        ),
        description: organ.to_owned(),
        x: x.clone(),
        y: y.clone(),
        layers: layers(panel, rows, look),
        legend: Vec::new(),
        below: Vec::new(),
        foot: String::new(),
    }
}

fn layers(panel: &Panel<'_>, rows: &[(f64, [f64; 5])], look: Look) -> Vec<Layer> {
    let n = panel.curves.len();
    let band = |low: usize, high: usize, inner: bool| Layer::Band {
        points: rows.iter().map(|(d, v)| (*d, v[low], v[high])).collect(),
        steps: false,
        inner,
    };
    let mut layers = Vec::new();
    if n >= MANY {
        layers.push(band(0, 4, false));
    } else {
        layers.extend(panel.curves.iter().map(|c| Layer::Thin {
            points: c.points().iter().map(|p| (p.dose_gy, p.volume_cc)).collect(),
        }));
    }
    if n >= LEAST {
        layers.push(band(1, 3, true));
        let points = rows.iter().map(|(d, v)| (*d, v[2])).collect();
        layers.push(Layer::Line { points, look });
    }
    layers
}

fn table(organ: &str, panels: &[Banded<'_>]) -> Vec<u8> {
    let rows = panels.iter().flat_map(|Banded { panel, rows }| {
        rows.iter().map(move |(dose, volumes)| {
            let mut row: Vec<Cell<'static>> =
                [organ, panel.group, panel.fractions].map(word).to_vec();
            row.extend([panel.curves.len(), panel.patients.len()].map(count));
            row.push(number(*dose));
            row.extend(volumes.map(number));
            row
        })
    });
    sheet(COLUMNS, rows.collect())
}
