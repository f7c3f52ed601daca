//! Drawings made of boxes: the flow of a study and a map of states.

use maud::{Markup, html};

use super::draw::{LETTER, LINE, WIDTH, count, wrapped};
use super::{Map, Stage, at, document};

const BOX: f64 = 400.0;
const SIDE: f64 = 350.0;

pub(super) fn flow(title: &str, stages: &[Stage], foot: &str) -> String {
    let mut y = 12.0;
    let mut parts: Vec<Markup> = Vec::new();
    for (place, stage) in stages.iter().enumerate() {
        let left: Vec<String> = stage.left.iter().flat_map(|l| wrapped(l, 25)).collect();
        if place > 0 {
            let gap = if left.is_empty() { 34.0 } else { 30.0 + 27.0 * count(left.len()) + 24.0 };
            let middle = y + gap / 2.0;
            parts.push(html! {
                path d={ "M" (BOX / 2.0) " " (at(y)) "v" (at(gap)) "m-7 -12l7 12l7 -12" } fill="none" stroke="#000" stroke-width="2.5" {}
                @if !left.is_empty() {
                    path d={ "M" (BOX / 2.0) " " (at(middle)) "H" (WIDTH - SIDE - 6.0) "m-12 -7l12 7l-12 7" } fill="none" stroke="#000" stroke-width="2.5" {}
                    (boxed(WIDTH - SIDE - 4.0, middle - 13.5 * count(left.len()) - 10.0, SIDE, &left))
                }
            });
            y += gap;
        }
        let words: Vec<String> = stage.words.iter().flat_map(|w| wrapped(w, 28)).collect();
        parts.push(boxed(4.0, y, BOX - 8.0, &words));
        y += 27.0 * count(words.len()) + 20.0;
    }
    let description = "Boxes from top to bottom: what is left at each stage, what left before it.";
    document(title, &[description, foot], y + 6.0, &html! { @for part in &parts { (part) } })
}

fn boxed(x: f64, y: f64, width: f64, lines: &[String]) -> Markup {
    html! {
        rect x=(at(x)) y=(at(y)) width=(at(width)) height=(at(27.0 * count(lines.len()) + 20.0)) fill="#fff" stroke="#000" stroke-width="2.5" {}
        @for (i, line) in lines.iter().enumerate() {
            text x=(at(x + 12.0)) y=(at(y + 32.0 + 27.0 * count(i))) { (line) }
        }
    }
}

/// Paper for the names of the rows and for the words at their ends.
const NAMES: f64 = 190.0;
const ENDS: f64 = 150.0;
const ROW: f64 = 30.0;
/// From dark to blank.
const TONES: [&str; 4] = ["#303030", "#8c8c8c", "#d2d2d2", "#fff"];

pub(super) fn map(map: &Map) -> String {
    let columns: usize = map.groups.iter().map(|(_, n)| n).sum();
    let (left, right) = (NAMES, WIDTH - ENDS);
    let width = (right - left) / count(columns.max(1));
    let x = |column: usize| left + width * count(column);
    let start = 20.0 + LINE * count(map.states.len());
    // Names of narrow groups would run into each other: each second one stands a line higher.
    let top = start + 2.0 * LINE;
    let bottom = top + ROW * count(map.rows.len());
    let mut groups = Vec::new();
    let mut first = 0;
    for (rank, (name, n)) in map.groups.iter().enumerate() {
        let words = format!("{name} ({n})");
        let line = if rank % 2 == 0 { 1.0 } else { 0.0 };
        groups.push((x(first), start + LINE * (line + 0.7), words));
        first += n;
    }
    let drawing = html! {
        @for (rank, words) in map.states.iter().enumerate() {
            @let y = 12.0 + LINE * count(rank);
            rect x=(at(left)) y=(at(y)) width="36" height="22" fill=(tone(rank)) stroke="#000" stroke-width="1.5" {}
            text x=(at(left + 48.0)) y=(at(y + 19.0)) { (words) }
        }
        @for (rank, (name, cells, end)) in map.rows.iter().enumerate() {
            @let y = top + ROW * count(rank);
            text x=(at(left - 8.0)) y=(at(y + 22.0)) text-anchor="end" { (fitting(name, NAMES - 8.0)) }
            @for (from, n, state) in runs(cells) {
                rect x=(at(x(from))) y=(at(y + 2.0)) width=(at(width * count(n))) height=(at(ROW - 4.0)) fill=(tone(state)) {}
            }
            text x=(at(right + 8.0)) y=(at(y + 22.0)) { (end) }
        }
        rect x=(at(left)) y=(at(top)) width=(at(right - left)) height=(at(bottom - top)) fill="none" stroke="#000" stroke-width="2" {}
        @for (rank, (place, y, _)) in groups.iter().enumerate() {
            path d={ "M" (at(*place)) " " (at(*y - 18.0)) "V" (at(bottom)) } stroke="#000" stroke-width=(if rank == 0 { "1" } else { "3" }) {}
        }
        @for (place, y, words) in &groups {
            // White around the letters: no line crosses them.
            text x=(at(place + 5.0)) y=(at(*y)) paint-order="stroke" stroke="#fff" stroke-width="7" { (words) }
        }
    };
    document(&map.title, &[&map.description, &map.foot], bottom + 10.0, &drawing)
}

fn tone(state: usize) -> &'static str {
    TONES[state.min(TONES.len() - 1)]
}

/// Neighbours of one state: first cell, number of cells, state.
fn runs(cells: &[usize]) -> Vec<(usize, usize, usize)> {
    let mut runs: Vec<(usize, usize, usize)> = Vec::new();
    for (place, state) in cells.iter().enumerate() {
        match runs.last_mut() {
            Some((_, n, before)) if before == state => *n += 1,
            _ => runs.push((place, 1, *state)),
        }
    }
    runs
}

/// The name, cut where there is no room for more.
fn fitting(name: &str, room: f64) -> String {
    let letters = name.chars().count();
    if count(letters) * LETTER <= room {
        return name.to_owned();
    }
    let kept = name.chars().enumerate().take_while(|(i, _)| count(i + 2) * LETTER <= room);
    kept.map(|(_, c)| c).chain(std::iter::once('…')).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flow_has_a_box_for_each_stage() {
        let stage = |words: &str, left: &[&str]| Stage {
            words: vec![words.to_owned()],
            left: left.iter().map(|l| (*l).to_owned()).collect(),
        };
        let svg = flow(
            "Flow",
            &[stage("20 lesions", &[]), stage("12 lesions", &["8 without outcome"])],
            "x",
        );
        assert_eq!(svg.matches("<rect").count(), 4, "paper, two stages, one side box");
        assert!(svg.contains("8 without outcome"));
    }

    #[test]
    fn a_map_joins_neighbours_of_one_state() {
        assert_eq!(runs(&[0, 0, 3, 0]), [(0, 2, 0), (2, 1, 3), (3, 1, 0)]);
        let map = Map {
            title: "There".to_owned(),
            description: "Cells.".to_owned(),
            states: ["covered", "absent"].map(str::to_owned).to_vec(),
            groups: vec![("a & b".to_owned(), 2), ("c".to_owned(), 1)],
            rows: vec![("Organ".to_owned(), vec![0, 0, 1], "2 of 3".to_owned())],
            foot: "x".to_owned(),
        };
        let svg = map.svg();
        // Paper, two keys, two runs, one frame.
        assert_eq!(svg.matches("<rect").count(), 6, "{svg}");
        assert!(svg.contains("a &amp; b (2)") && svg.contains("2 of 3"));
    }

    #[test]
    fn a_long_name_is_cut() {
        assert_eq!(fitting("Brainstem", 200.0), "Brainstem");
        assert_eq!(fitting("Brainstem", 60.0), "Bra…");
    }
}
