//! Pictures as SVG files of their own: one picture, or all of a case on one sheet, each with its
//! words below and the caution at the end. Opens no file.

use maud::{Markup, PreEscaped, html};

use super::picture::{HEIGHT, Picture, WIDTH};
use tidydose_table::run::CAUTION;

/// Space around pictures.
const MARGIN: f64 = 16.0;
/// Height of a line of words.
const LINE: f64 = 15.0;
/// Height of the heading of a file, and of that of a picture.
const HEADING: [f64; 2] = [24.0, 22.0];
/// Letters that fit below a picture; the letters are about six units wide.
const LETTERS: usize = 58;
/// Pictures in a row of a sheet: the planes of one structure.
const COLUMNS: usize = 3;

/// The planes of one structure.
pub(super) fn of_structure(plan_id: &str, planes: &[&Picture<'_>]) -> String {
    document(&format!("Case {plan_id}"), planes, COLUMNS.min(planes.len()))
}

/// All pictures of a case.
pub(super) fn sheet(plan_id: &str, pictures: &[Picture<'_>]) -> String {
    let all: Vec<&Picture<'_>> = pictures.iter().collect();
    document(&format!("Case {plan_id}: contact sheet"), &all, COLUMNS.min(all.len()))
}

fn document(heading: &str, pictures: &[&Picture<'_>], columns: usize) -> String {
    let words: Vec<Vec<String>> =
        pictures.iter().map(|p| wrapped(&p.words(None), LETTERS)).collect();
    let caution = wrapped(CAUTION, columns * LETTERS);
    let lines = words.iter().map(Vec::len).max().unwrap_or_default();
    let name = wrapped(heading, columns * LETTERS * 2 / 3);
    let [line, title] = HEADING;
    let top = line * real(name.len());
    let tile = [WIDTH + MARGIN, title + HEIGHT + LINE * (real(lines) + 1.0)];
    let rows = pictures.len().div_ceil(columns.max(1));
    let width = MARGIN + tile[0] * real(columns);
    let below = MARGIN + top + tile[1] * real(rows);
    let height = below + LINE * (real(caution.len()) + 1.0);
    let place = |n: usize| {
        let (row, column) = (n / columns.max(1), n % columns.max(1));
        [MARGIN + tile[0] * real(column), MARGIN + top + tile[1] * real(row)]
    };
    let drawing = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(width) height=(height)
            viewBox={ "0 0 " (width) " " (height) } role="img" {
            title { (heading) }
            style { (PreEscaped(include_str!("picture.css"))) (PreEscaped(STYLE)) }
            rect.paper width=(width) height=(height) {}
            @for (n, words) in name.iter().enumerate() {
                text.heading x=(MARGIN) y=(MARGIN + 12.0 + line * real(n)) { (words) }
            }
            @for (n, (picture, words)) in pictures.iter().zip(&words).enumerate() {
                (tile_of(picture, words, place(n)))
            }
            (lines_at(&caution, [MARGIN, below + LINE / 2.0]))
        }
    };
    without_controls(&drawing.into_string())
}

/// Letters need a little weight: the font of the PNG is a light one.
const STYLE: &str = "
text { font-family: sans-serif; fill: #16191d; stroke: #16191d; stroke-width: .25; }
.heading { font-size: 17px; } .name { font-size: 14px; } .words { font-size: 11.5px; }
.paper { fill: #fff; }
";

fn tile_of(picture: &Picture<'_>, words: &[String], [x, y]: [f64; 2]) -> Markup {
    let [_, title] = HEADING;
    html! {
        text.name x=(x) y=(y + 12.0) { (picture.structure) }
        svg x=(x) y=(y + title) width=(WIDTH) height=(HEIGHT)
            viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } { (picture.canvas(None, None)) }
        (lines_at(words, [x, y + title + HEIGHT + LINE]))
    }
}

fn lines_at(lines: &[String], [x, y]: [f64; 2]) -> Markup {
    html! {
        @for (n, line) in lines.iter().enumerate() {
            text.words x=(x) y=(y + LINE * real(n)) { (line) }
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of pictures and lines")]
const fn real(n: usize) -> f64 {
    n as f64
}

/// Lines of at most so many letters; a longer word is cut.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let mut rest: Vec<char> = word.chars().collect();
        while !rest.is_empty() {
            let used = lines.last().map_or(0, |l| l.chars().count());
            let gap = usize::from(used > 0);
            if used + gap + rest.len() > letters && used > 0 {
                lines.push(String::new());
                continue;
            }
            let piece: String = rest.drain(..rest.len().min(letters)).collect();
            if let Some(line) = lines.last_mut() {
                line.push_str(if gap == 1 { " " } else { "" });
                line.push_str(&piece);
            }
        }
    }
    lines
}

/// XML knows no control characters, not even escaped: each becomes a mark.
fn without_controls(text: &str) -> String {
    let legal = |c: char| {
        matches!(c, '\n' | '\t') || !(c.is_control() || c > '\u{fffd}' && c < '\u{10000}')
    };
    text.chars().map(|c| if legal(c) { c } else { '\u{fffd}' }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_wrapped_and_long_ones_cut() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("abcdefgh i", 5), ["abcde", "fgh i"]);
        assert_eq!(wrapped("a abcdefgh", 5), ["a", "abcde", "fgh"]);
    }

    #[test]
    fn control_characters_become_marks() {
        assert_eq!(
            without_controls("a\u{1}b\n\u{ffff}é\u{1f600}"),
            "a\u{fffd}b\n\u{fffd}é\u{1f600}"
        );
    }
}
