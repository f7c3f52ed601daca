//! The first sheet of an XLSX workbook (ECMA-376) as texts: what a person sees in a cell, with dates as
//! YYYY-MM-DD. Formulas give the value that was saved with them.

use std::io::{Cursor, Read};

use chrono::{Days, NaiveDate};
use roxmltree::{Document, Node};
use zip::ZipArchive;

/// The rows of a sheet; row and column 1 come first, gaps are empty.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub(super) rows: Vec<Vec<String>>,
    /// What had to be chosen.
    pub(super) notes: Vec<String>,
}

/// A part of a workbook that is larger than this, in bytes, is no sheet of a department.
const LARGEST: u64 = 1 << 28;
/// Rows and columns that the format allows; a reference beyond them is damage.
const MOST_ROWS: usize = 1 << 20;
const MOST_COLUMNS: usize = 1 << 14;

type Workbook<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// How numbers of this workbook become texts.
struct Styles {
    /// Whether each style of cells shows a date.
    dates: Vec<bool>,
    /// Whether day 0 is the first of 1904.
    from_1904: bool,
}

/// Reads the first sheet that is not hidden.
pub(super) fn first_sheet(bytes: &[u8]) -> Result<Rows, String> {
    let fault = |what: String| format!("is no .xlsx workbook that can be read ({what})");
    let mut book = ZipArchive::new(Cursor::new(bytes)).map_err(|e| fault(e.to_string()))?;
    let workbook = part(&mut book, "xl/workbook.xml").map_err(fault)?;
    let workbook = Document::parse(&workbook).map_err(|e| fault(e.to_string()))?;
    let sheets: Vec<Node<'_, '_>> = named(workbook.root(), "sheet").collect();
    let shown = sheets.iter().find(|s| s.attribute("state").is_none_or(|w| w == "visible"));
    let sheet = shown.ok_or_else(|| fault("no sheet".to_owned()))?;
    let link = sheet.attributes().find(|a| a.name() == "id").map_or("", |a| a.value());
    let links = part(&mut book, "xl/_rels/workbook.xml.rels").map_err(fault)?;
    let links = Document::parse(&links).map_err(|e| fault(e.to_string()))?;
    let target = named(links.root(), "Relationship").find(|r| r.attribute("Id") == Some(link));
    let target = target.and_then(|r| r.attribute("Target")).unwrap_or("worksheets/sheet1.xml");
    let path = match target.strip_prefix('/') {
        Some(absolute) => absolute.to_owned(),
        None => format!("xl/{target}"),
    };
    let from_1904 = named(workbook.root(), "workbookPr")
        .any(|n| matches!(n.attribute("date1904"), Some("1" | "true")));
    let shared = part(&mut book, "xl/sharedStrings.xml").map(|t| strings(&t)).unwrap_or_default();
    let dates = part(&mut book, "xl/styles.xml").map(|t| date_styles(&t)).unwrap_or_default();
    let text = part(&mut book, &path).map_err(fault)?;
    let document = Document::parse(&text).map_err(|e| fault(e.to_string()))?;
    let rows = rows(&document, &shared, &Styles { dates, from_1904 })?;
    let mut notes = Vec::new();
    if sheets.len() > 1 {
        let name = sheet.attribute("name").unwrap_or_default();
        notes.push(format!("only sheet `{name}` of {} is read", sheets.len()));
    }
    Ok(Rows { rows, notes })
}

fn part(book: &mut Workbook<'_>, name: &str) -> Result<String, String> {
    let member = book.by_name(name).map_err(|_| format!("it has no {name}"))?;
    let mut text = String::new();
    let read = member.take(LARGEST).read_to_string(&mut text).map_err(|e| e.to_string())?;
    if read as u64 >= LARGEST {
        return Err(format!("{name} is too large"));
    }
    Ok(text)
}

fn named<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    node.descendants().filter(move |n| n.is_element() && n.tag_name().name() == name)
}

/// The letters of a text; phonetic helps beside it are not part of it.
fn letters(node: Node<'_, '_>) -> String {
    let own = |n: &Node<'_, '_>| !n.ancestors().any(|a| a.tag_name().name() == "rPh");
    named(node, "t").filter(own).filter_map(|n| n.text()).collect()
}

fn strings(text: &str) -> Vec<String> {
    let Ok(document) = Document::parse(text) else { return Vec::new() };
    named(document.root(), "si").map(letters).collect()
}

/// Which styles show dates: by the numbers of the built-in formats, else by the letters of day and
/// year in their own.
fn date_styles(text: &str) -> Vec<bool> {
    let Ok(document) = Document::parse(text) else { return Vec::new() };
    let own: Vec<(&str, bool)> = named(document.root(), "numFmt")
        .filter_map(|n| Some((n.attribute("numFmtId")?, shows_date(n.attribute("formatCode")?))))
        .collect();
    let is_date = |id: &str| match own.iter().find(|(number, _)| *number == id) {
        Some((_, date)) => *date,
        None => matches!(id, "14" | "15" | "16" | "17" | "22"),
    };
    let styles = named(document.root(), "cellXfs").next();
    let formats = styles.into_iter().flat_map(|s| named(s, "xf"));
    formats.map(|x| x.attribute("numFmtId").is_some_and(is_date)).collect()
}

fn shows_date(code: &str) -> bool {
    let (mut quoted, mut bracket) = (false, false);
    code.chars().any(|c| {
        match c {
            '"' => quoted = !quoted,
            '[' => bracket = true,
            ']' => bracket = false,
            _ => {}
        }
        !quoted && !bracket && matches!(c, 'd' | 'y' | 'D' | 'Y')
    })
}

fn rows(
    document: &Document<'_>,
    shared: &[String],
    styles: &Styles,
) -> Result<Vec<Vec<String>>, String> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for (number, row) in named(document.root(), "row").enumerate() {
        let written = row.attribute("r").and_then(|r| r.parse::<usize>().ok());
        let line = written.unwrap_or(number + 1);
        let mut cells = Vec::new();
        for cell in row.children().filter(|n| n.tag_name().name() == "c") {
            let at = cell.attribute("r").map_or(Some(cells.len()), column_of);
            let at = at.filter(|at| *at < MOST_COLUMNS && (1..=MOST_ROWS).contains(&line));
            let at = at.ok_or_else(|| format!("row {line}: a cell lies outside of any sheet"))?;
            cells.resize(cells.len().max(at + 1), String::new());
            cells[at] = shown(cell, shared, styles);
        }
        rows.resize(rows.len().max(line), Vec::new());
        rows[line - 1] = cells;
    }
    Ok(rows)
}

/// The column, from 0, of a reference such as `AB12`.
fn column_of(reference: &str) -> Option<usize> {
    let letters = reference.bytes().take_while(u8::is_ascii_uppercase);
    let number = letters.take(4).fold(0, |n, b| 26 * n + usize::from(b - b'A') + 1);
    number.checked_sub(1)
}

fn shown(cell: Node<'_, '_>, shared: &[String], styles: &Styles) -> String {
    let value = named(cell, "v").next().and_then(|v| v.text()).unwrap_or_default().trim();
    match cell.attribute("t") {
        Some("s") => value.parse().ok().and_then(|n: usize| shared.get(n)).cloned(),
        Some("inlineStr") => Some(letters(cell)),
        Some("b") => Some(if value == "1" { "true" } else { "false" }.to_owned()),
        Some("str" | "e") => Some(value.to_owned()),
        // A date as text of ISO 8601.
        Some("d") => value.split('T').next().map(str::to_owned),
        _ => {
            let style = cell.attribute("s").and_then(|s| s.parse::<usize>().ok()).unwrap_or(0);
            let date = styles.dates.get(style).copied().unwrap_or(false);
            Some(number(value, date.then_some(styles.from_1904)))
        }
    }
    .unwrap_or_default()
}

/// A number in its shortest form; a date where `from_1904` says from when days count.
fn number(value: &str, from_1904: Option<bool>) -> String {
    let Ok(found) = value.parse::<f64>() else { return value.to_owned() };
    if let Some(from_1904) = from_1904
        && let Some(date) = date_of(found, from_1904)
    {
        return date.format("%Y-%m-%d").to_string();
    }
    let text = found.to_string();
    // Three digits behind a point could be thousands to whoever reads what a person typed; here the
    // point is a decimal one for certain.
    match text.split_once('.') {
        Some((_, behind)) if behind.len() == 3 => format!("{text}0"),
        _ => text,
    }
}

/// Days count from 1899-12-30 (so that 1900, which spreadsheets take for a leap year, is right from
/// March on), or from 1904-01-01.
fn date_of(serial: f64, from_1904: bool) -> Option<NaiveDate> {
    let start = if from_1904 {
        NaiveDate::from_ymd_opt(1904, 1, 1)
    } else {
        NaiveDate::from_ymd_opt(1899, 12, 30)
    };
    // Up to the last day of 9999.
    if !(1.0..2_958_466.0).contains(&serial) {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range above")]
    start?.checked_add_days(Days::new(serial.floor() as u64))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

    #[test]
    fn cells_are_read_as_they_are_shown() {
        let mut book = Workbook::new();
        let sheet = book.add_worksheet();
        let date = Format::new().set_num_format("dd\\.mm\\.yyyy");
        let percent = Format::new().set_num_format("0.0\" days\"");
        sheet.write(1, 0, "ID").unwrap();
        sheet.write(1, 2, "größe & rest").unwrap();
        sheet.write(2, 0, 16.1).unwrap();
        sheet.write(2, 1, 1.125).unwrap();
        sheet.write(2, 2, true).unwrap();
        let day = ExcelDateTime::from_ymd(2022, 5, 3).unwrap();
        sheet.write_with_format(3, 0, day, &date).unwrap();
        sheet.write_with_format(3, 1, 20.5, &percent).unwrap();
        book.add_worksheet();
        let found = first_sheet(&book.save_to_buffer().unwrap()).unwrap();
        assert_eq!(found.rows[0], [""; 0]);
        assert_eq!(found.rows[1], ["ID", "", "größe & rest"]);
        assert_eq!(found.rows[2], ["16.1", "1.1250", "true"]);
        assert_eq!(found.rows[3], ["2022-05-03", "20.5"]);
        assert_eq!(found.notes, ["only sheet `Sheet1` of 2 is read"]);
    }

    #[test]
    fn days_count_from_either_start() {
        let day = |serial, mac| date_of(serial, mac).map(|d| d.to_string());
        assert_eq!(day(44684.0, false).as_deref(), Some("2022-05-03"));
        assert_eq!(day(43222.0, true).as_deref(), Some("2022-05-03"));
        assert_eq!(day(61.0, false).as_deref(), Some("1900-03-01"));
        assert_eq!(day(-1.0, false), None);
        assert_eq!(column_of("AB12"), Some(27));
    }
}
