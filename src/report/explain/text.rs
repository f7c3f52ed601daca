//! An account as plain text: headings, aligned columns, lines of a hundred letters at most where
//! nothing longer stands in a table.

use super::account::{Account, DosePoint, ObjectRead};
use crate::cohort::verdict_words;
use crate::elsewhere;
use crate::number::{counted, fractions_of_limit, position, rounded, spaced};
use tidydose_table::read::TraceRow;
use tidydose_table::run::CAUTION;

/// Letters of a line of words.
const WIDTH: usize = 98;
/// More contour planes than this are told by the first and last few.
const LISTED: usize = 12;

/// The whole text.
pub(super) fn text(account: &Account<'_>) -> String {
    let mut out = head(account);
    for (heading, lines) in [
        ("What it is", definition(account)),
        ("Where it comes from", sources(&account.sources)),
        ("Case", facts(&account.case)),
        ("Structure", facts(&account.structure)),
        ("Contour planes", planes(&account.planes)),
        ("Hottest point", places(account)),
        ("Bounds, term by term", terms(account)),
        (elsewhere::HEADING, shifts(account)),
        ("Limits on this metric", limits(account)),
        ("Findings", findings(account)),
        ("Picture", picture(account)),
    ] {
        // Only who asked for shifts and margins has a part on them.
        if heading == elsewhere::HEADING && lines.is_empty() {
            continue;
        }
        out.push_str(&format!("\n{heading}\n"));
        for line in lines {
            out.push_str(&format!("  {}\n", line.trim_end()));
        }
    }
    out.push_str(&format!("\n{}\n", wrapped(CAUTION).join("\n")));
    without_commands(&out)
}

/// No text of a file reaches the terminal as a command.
fn without_commands(text: &str) -> String {
    text.chars().filter(|c| *c == '\n' || !c.is_control()).collect()
}

fn head(account: &Account<'_>) -> String {
    let v = &account.value;
    let full = |x: Option<f64>| x.map_or_else(|| "none".to_owned(), |x| x.to_string());
    let unit = if v.unit == "1" { "(no unit)" } else { v.unit };
    let number = v.roi_number.map_or_else(String::new, |n| format!(", ROI Number {n}"));
    let role = v.role.map_or_else(String::new, |r| format!(", {}", spaced(r.word())));
    let mut lines = vec![
        format!("{} of {}{role}{number}", v.metric, v.structure),
        format!("patient {}, case {}", v.patient_id, v.plan_id),
        format!("value {} {unit}, low {}, high {}", full(v.value), full(v.low), full(v.high)),
    ];
    let why = if v.reason.is_empty() { String::new() } else { format!(": {}", v.reason) };
    lines.extend(wrapped(&format!("status {}{why}", spaced(v.status.word()))));
    lines.join("\n") + "\n"
}

fn definition(account: &Account<'_>) -> Vec<String> {
    let mut told = Vec::new();
    if let Some(d) = &account.definition {
        told.extend([("meaning", d.meaning), ("formula", d.formula)]);
        told.push(("source", d.reference.unwrap_or_default()));
    }
    told.push(("method", account.value.method));
    let told = told.into_iter().filter(|(_, t)| !t.is_empty());
    told.flat_map(|(word, text)| beside(word, 8, text)).collect()
}

/// A word, and beside it a text over as many lines as it takes.
fn beside(word: &str, width: usize, text: &str) -> Vec<String> {
    let lines = wrapped_to(text, WIDTH - width - 4);
    let first = lines.into_iter().enumerate();
    first.map(|(n, l)| format!("{:width$}  {l}", if n == 0 { word } else { "" })).collect()
}

fn sources(list: &[ObjectRead<'_>]) -> Vec<String> {
    if list.is_empty() {
        return vec!["The study has no table files, or no object of the case in it.".to_owned()];
    }
    let mut lines = Vec::new();
    for s in list {
        lines.push(format!("{:16}  object {}  file {}", s.kind, s.object_id, s.file_id));
        lines.push(format!("{:16}  sha256 {}", "", s.sha256));
    }
    let note = "Objects are SOP Instance UIDs and files are paths, both as keyed pseudonyms unless \
                identifiers were kept; the key folder beside the study lists the original identifiers.";
    lines.extend(wrapped(note));
    lines
}

fn facts(list: &super::account::Facts) -> Vec<String> {
    let width = list.iter().map(|(w, _)| w.chars().count()).max().unwrap_or_default();
    let lines = list.iter().flat_map(|(word, text)| beside(word, width, text));
    some_or(lines.collect(), "Nobody drew it: it is a region made of the dose and of structures.")
}

fn some_or(lines: Vec<String>, without: &str) -> Vec<String> {
    if lines.is_empty() { vec![without.to_owned()] } else { lines }
}

fn planes(list: &[TraceRow<'_>]) -> Vec<String> {
    let short = |x: Option<f64>| x.map_or_else(|| "-".to_owned(), rounded);
    let row = |p: &TraceRow<'_>| {
        vec![
            p.number.unwrap_or_default().to_string(),
            p.plane_mm.map_or_else(|| "-".to_owned(), position),
            short(p.thickness_mm),
            p.n_outlines.map_or_else(|| "-".to_owned(), |n| n.to_string()),
            short(p.area_mm2),
        ]
    };
    if list.is_empty() {
        return vec!["No contour plane is in use.".to_owned()];
    }
    let ends = LISTED / 2;
    let left_out = list.len().saturating_sub(2 * ends);
    let shown = list
        .iter()
        .enumerate()
        .filter(|(i, _)| list.len() <= LISTED || *i < ends || *i >= list.len() - ends);
    let rows: Vec<Vec<String>> = shown.map(|(_, p)| row(p)).collect();
    let mut lines = aligned(&["plane", "at mm", "stands for mm", "outlines", "area mm2"], &rows);
    if list.len() > LISTED {
        lines.insert(ends + 1, format!("... {} more, in table traces", left_out));
    }
    lines
}

fn places(account: &Account<'_>) -> Vec<String> {
    let at = |p: &DosePoint| p.position_mm.map(position).join(" ");
    let Some(hottest) = &account.hottest else {
        return vec!["None: there is no dose in the structure.".to_owned()];
    };
    let mut lines = vec![format!(
        "{} Gy at x y z = {} mm, the middle of the hottest cell; between cells it may be higher",
        rounded(hottest.dose_gy),
        at(hottest)
    )];
    if let Some((voxel, [plane, row, column])) =
        account.voxel.as_ref().and_then(|v| Some((v, v.index?)))
    {
        lines.push(format!(
            "nearest voxel: plane {plane}, row {row}, column {column} of the dose grid, each counted \
             from 1, centre {} mm, {} Gy as stored",
            at(voxel),
            rounded(voxel.dose_gy)
        ));
    }
    lines.into_iter().flat_map(|l| wrapped(&l)).collect()
}

fn shifts(account: &Account<'_>) -> Vec<String> {
    if account.elsewhere.is_empty() {
        return Vec::new();
    }
    let rows: Vec<Vec<String>> = account.elsewhere.iter().map(elsewhere::cells).collect();
    let mut lines = aligned(&elsewhere::HEADS, &rows);
    lines.extend(wrapped(elsewhere::NOTE));
    lines
}

fn terms(account: &Account<'_>) -> Vec<String> {
    let Some(all) = &account.terms else {
        let why = if account.value.roi_number.is_none() {
            "The terms of regions are not kept: their bounds come from the dose read at every \
                 second \
             voxel, from the bounds of what they are made of, and from chance."
        } else {
            "There is no value, and so there are no bounds."
        };
        return wrapped(why);
    };
    let row = |name: &str, u: f64, percent: f64, meaning: &str| {
        vec![name.to_owned(), rounded(u), format!("{percent:.0} %"), meaning.to_owned()]
    };
    let mut lines = Vec::new();
    for t in &all.list {
        let cells = row(t.name, t.value, t.percent, t.meaning);
        let start = format!("{:8} {:>10} {:>6}  ", cells[0], cells[1], cells[2]);
        let words = wrapped_to(&cells[3], WIDTH - start.chars().count());
        for (n, line) in words.iter().enumerate() {
            let gap = " ".repeat(start.chars().count());
            lines.push(format!("{}{line}", if n == 0 { &start } else { &gap }));
        }
    }
    lines.insert(0, format!("{:8} {:>10} {:>6}  {}", "term", "u", "share", "what is varied"));
    lines.push(format!(
        "together {:>10} {:>6}  root of the sum of squares; bounds at the value less {} and plus {}",
        rounded(all.together),
        "",
        rounded(2.0 * all.sides[0]),
        rounded(2.0 * all.sides[1])
    ));
    lines
}

fn limits(account: &Account<'_>) -> Vec<String> {
    let none = "The list of limits has none on this metric of this structure for its fractions.";
    let mut lines = Vec::new();
    for c in &account.checks {
        let Some(limit) = c.limit_value else { continue };
        let margin = c.margin.map_or_else(|| "unknown".to_owned(), rounded);
        lines.push(format!(
            "{} {} {} {} for {}: {}, margin {margin}",
            c.metric,
            c.operator,
            limit,
            c.unit,
            fractions_of_limit(c.limit_fractions),
            verdict_words(Some(c.verdict))
        ));
        let source = format!("{}; tier {}; {}", c.limit_source, spaced(c.tier_word()), c.evidence);
        lines.extend(wrapped_to(&source, WIDTH - 4).into_iter().map(|l| format!("  {l}")));
        lines.extend(wrapped_to(c.reason, WIDTH - 4).into_iter().map(|l| format!("  {l}")));
    }
    let mut lines = some_or(lines, none);
    if !account.also_limited.is_empty() {
        let others = account.also_limited.join(", ");
        lines.extend(wrapped(&format!("Other metrics of it that have a limit: {others}.")));
    }
    lines
}

fn findings(account: &Account<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for f in &account.findings {
        let (severity, state) = (f.row.severity.word(), f.row.state.word());
        let (code, message) = (f.row.code, f.row.message);
        let line = format!("{severity} {code} ({}, {state}): {message}", f.about);
        lines.extend(wrapped(&line));
        lines.extend(wrapped_to(f.consequence, WIDTH - 4).into_iter().map(|l| format!("  {l}")));
    }
    some_or(lines, "None about this structure, its case or its objects.")
}

fn picture(account: &Account<'_>) -> Vec<String> {
    let planes = counted(account.planes.len(), "contour plane");
    let Some(drawn) = account.pictures.iter().find(|p| p.as_drawn) else {
        return vec!["None: pictures are of organs with dose and of targets.".to_owned()];
    };
    let mut lines = wrapped(&drawn.words(None));
    lines.push(format!(
        "One of {planes}; --picture FILE.svg or FILE.png writes it with the planes across."
    ));
    lines
}

fn wrapped(text: &str) -> Vec<String> {
    wrapped_to(text, WIDTH)
}

/// Lines of at most so many letters; a longer word stands alone.
fn wrapped_to(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Rows below their heads, numbers to the right.
fn aligned(heads: &[&str], rows: &[Vec<String>]) -> Vec<String> {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|r| r.get(column)).map(|c| c.chars().count());
        cells.chain(heads.get(column).map(|h| h.chars().count())).max().unwrap_or_default()
    };
    let line = |cells: &[&str]| {
        let padded = cells.iter().enumerate().map(|(i, c)| format!("{c:>w$}", w = width(i)));
        padded.collect::<Vec<_>>().join("  ")
    };
    let body = rows.iter().map(|r| line(&r.iter().map(String::as_str).collect::<Vec<_>>()));
    std::iter::once(line(heads)).chain(body).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_beside_and_nothing_commands_the_terminal() {
        assert_eq!(beside("a", 3, "b c"), ["a    b c"]);
        assert_eq!(wrapped_to("one two three", 7), ["one two", "three"]);
        assert_eq!(without_commands("one\n\u{1b}[2Jtwo"), "one\n[2Jtwo");
        let lines = aligned(&["n", "mm"], &[vec!["10".to_owned(), "0.5".to_owned()]]);
        assert_eq!(lines, [" n   mm", "10  0.5"]);
    }
}
