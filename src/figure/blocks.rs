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
/// From dark to blank; the third is hatched, since it is near to blank.
const TONES: [&str; 4] = ["#303030", "#8c8c8c", "#d2d2d2", "#fff"];
const HATCHED: usize = 2;
/// From one line of the hatching to the next, along the edge.
const HATCH: f64 = 9.0;

pub(super) fn map(map: &Map) -> String {
    let columns: usize = map.groups.iter().map(|(_, n)| n).sum();
    let (left, right) = (NAMES, WIDTH - ENDS);
    let width = (right - left) / count(columns.max(1));
    let x = |column: usize| left + width * count(column);
    // Only what occurs is explained.
    let occurs = |state: &usize| map.rows.iter().any(|(_, cells, _)| cells.contains(state));
    let states: Vec<usize> = (0..map.states.len()).filter(occurs).collect();
    let start = 20.0 + LINE * count(states.len());
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
        @for (rank, state) in states.iter().enumerate() {
            @let y = 12.0 + LINE * count(rank);
            (cell([left, y, 36.0, 22.0], *state))
            rect x=(at(left)) y=(at(y)) width="36" height="22" fill="none" stroke="#000" stroke-width="1.5" {}
            text x=(at(left + 48.0)) y=(at(y + 19.0)) { (map.states[*state]) }
        }
        @for (rank, (name, cells, end)) in map.rows.iter().enumerate() {
            @let y = top + ROW * count(rank);
            text x=(at(left - 8.0)) y=(at(y + 22.0)) text-anchor="end" { (fitting(name, NAMES - 8.0)) }
            @for (from, n, state) in runs(cells) {
                (cell([x(from), y + 2.0, width * count(n), ROW - 4.0], state))
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

/// An area in the tone of its state, hatched where it needs to be.
fn cell([x, y, width, height]: [f64; 4], state: usize) -> Markup {
    html! {
        rect x=(at(x)) y=(at(y)) width=(at(width)) height=(at(height)) fill=(TONES[state.min(TONES.len() - 1)]) {}
        @if state == HATCHED {
            path d=(hatching([x, y, width, height])) fill="none" stroke="#000" stroke-width="1.5" {}
        }
    }
}

/// Lines that rise by 45° through a box. They begin at multiples of the distance, so that those of
/// neighbouring boxes of one line go on into each other.
fn hatching([x, y, width, height]: [f64; 4]) -> String {
    let mut path = String::new();
    let mut foot = ((x - height) / HATCH).ceil() * HATCH;
    while foot < x + width {
        let (from, to) = (foot.max(x), (foot + height).min(x + width));
        if to > from {
            let rise = |place: f64| y + height - (place - foot);
            let (low, high) = (at(rise(from)), at(rise(to)));
            path.push_str(&format!("M{} {low}L{} {high}", at(from), at(to)));
        }
        foot += HATCH;
    }
    path
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
        let svg = example(vec![0, 0, 1]).svg();
        // Paper, two keys of two, two runs, one frame.
        assert_eq!(svg.matches("<rect").count(), 8, "{svg}");
        assert!(svg.contains("a &amp; b (2)") && svg.contains("2 of 3"));
    }

    fn example(cells: Vec<usize>) -> Map {
        Map {
            title: "There".to_owned(),
            description: "Cells.".to_owned(),
            states: ["covered", "partly covered", "not covered", "absent"]
                .map(str::to_owned)
                .to_vec(),
            groups: vec![("a & b".to_owned(), 2), ("c".to_owned(), 1)],
            rows: vec![("Organ".to_owned(), cells, "2 of 3".to_owned())],
            foot: "x".to_owned(),
        }
    }

    #[test]
    fn a_map_explains_what_occurs_and_hatches_what_is_not_covered() {
        let without = example(vec![0, 3, 0]).svg();
        let words: Vec<bool> = [">covered<", ">partly covered<", ">not covered<", ">absent<"]
            .iter()
            .map(|w| without.contains(w))
            .collect();
        assert_eq!(words, [true, false, false, true], "{without}");
        let drawn = hatching([0.0, 0.0, 36.0, 22.0]);
        assert!(!without.contains(&hatching([190.0, 44.0, 36.0, 22.0])));
        let with = example(vec![0, 2, 0]).svg();
        // In its key, second of two, and in its cell.
        assert!(with.contains(&hatching([190.0, 44.0, 36.0, 22.0])), "{with}");
        assert_eq!(with.matches("stroke-width=\"1.5\"").count(), 4, "{with}");
        assert!(drawn.matches('M').count() > 4, "{drawn}");
    }

    /// Each line of the hatching lies inside its box and rises by as much as it goes right.
    #[test]
    fn hatching_stays_in_its_box() {
        let path = hatching([100.0, 50.0, 40.0, 26.0]);
        let numbers: Vec<f64> = path
            .split(['M', 'L', ' '])
            .filter(|t| !t.is_empty())
            .map(|t| t.parse().unwrap())
            .collect();
        for line in numbers.chunks(4) {
            let [x1, y1, x2, y2] = line else { panic!("{path}") };
            assert!((100.0..=140.0).contains(x1) && (100.0..=140.0).contains(x2), "{path}");
            assert!((50.0..=76.0).contains(y1) && (50.0..=76.0).contains(y2), "{path}");
            assert!(((x2 - x1) - (y1 - y2)).abs() < 0.02, "{path}");
        }
        // One for each distance along the left and the lower edge: (40 + 26) / 9.
        assert_eq!(numbers.len() / 4, 7, "{path}");
    }

    #[test]
    fn a_long_name_is_cut() {
        assert_eq!(fitting("Brainstem", 200.0), "Brainstem");
        assert_eq!(fitting("Brainstem", 60.0), "Bra…");
    }
}
