//! One sheet of an XLSX workbook (ECMA-376, part 1, clause 18), as office programs save it: its cells by
//! kind, so that each reader says what a number, a date or a yes means to it. Formulas give the value
//! that was saved with them.

use std::io::{Cursor, Read};

use chrono::{Days, NaiveDate};
use roxmltree::{Document, Node};
use zip::ZipArchive;

/// Which sheet of a workbook is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which<'s> {
    /// The first that is not hidden.
    FirstShown,
    /// That of a name, in any letter case.
    Named(&'s str),
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Cell {
    /// Nothing.
    #[default]
    Empty,
    /// Letters.
    Text(String),
    /// A number, as the file writes it.
    Number {
        /// The number.
        written: String,
        /// The day it stands for, where the cell shows a date.
        date: Option<NaiveDate>,
    },
    /// True or false.
    Truth(bool),
}

/// A sheet.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sheet {
    /// Its name.
    pub name: String,
    /// How many sheets the workbook has.
    pub sheets: usize,
    /// Rows from 1 on, each from the first column on; gaps are empty.
    pub rows: Vec<Vec<Cell>>,
}

/// A part of a workbook that is larger than this, in bytes, is no sheet that people fill in.
const LARGEST: u64 = 1 << 28;
/// Rows and columns that the format allows; what lies beyond them is damage.
const MOST_ROWS: usize = 1 << 20;
const MOST_COLUMNS: usize = 1 << 14;

type Workbook<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// How numbers of this workbook are shown.
#[derive(Default)]
struct Styles {
    /// Whether each style of cells shows a date.
    dates: Vec<bool>,
    /// Whether day 0 is the first of 1904.
    from_1904: bool,
}

/// Reads a sheet.
///
/// # Errors
/// When it is no workbook, is damaged, or has no such sheet.
pub fn read(bytes: &[u8], which: Which<'_>) -> Result<Sheet, String> {
    let no_workbook = |e| format!("is no workbook: {e}; save it as .xlsx");
    let mut book = ZipArchive::new(Cursor::new(bytes)).map_err(no_workbook)?;
    let workbook = part(&mut book, "xl/workbook.xml")?;
    let workbook = workbook.ok_or("is no workbook: it lacks xl/workbook.xml; save it as .xlsx")?;
    let workbook = Document::parse(&workbook).map_err(damaged)?;
    let sheets: Vec<Node<'_, '_>> = named(workbook.root(), "sheet").collect();
    let sheet = chosen(&sheets, which)?;
    let path = place_of(&mut book, sheet)?;
    let from_1904 = named(workbook.root(), "workbookPr")
        .any(|n| matches!(n.attribute("date1904"), Some("1" | "true")));
    let shared = match part(&mut book, "xl/sharedStrings.xml")? {
        Some(text) => shared_texts(&text)?,
        None => Vec::new(),
    };
    let dates = match part(&mut book, "xl/styles.xml")? {
        Some(text) => date_styles(&text)?,
        None => Vec::new(),
    };
    let text = part(&mut book, &path)?.ok_or_else(|| format!("lacks {path}"))?;
    let rows = rows(&text, &shared, &Styles { dates, from_1904 })?;
    Ok(Sheet { name: name_of(sheet).to_owned(), sheets: sheets.len(), rows })
}

fn damaged(e: impl std::fmt::Display) -> String {
    format!("is damaged: {e}")
}

/// A member as text; absent where there is none of that name.
fn part(book: &mut Workbook<'_>, name: &str) -> Result<Option<String>, String> {
    let Some(index) = book.index_for_name(name) else { return Ok(None) };
    let fault = |e: &dyn std::fmt::Display| format!("{name} cannot be read: {e}");
    let member = book.by_index(index).map_err(|e| fault(&e))?;
    let mut text = String::new();
    let read = member.take(LARGEST).read_to_string(&mut text).map_err(|e| fault(&e))?;
    if u64::try_from(read).is_ok_and(|n| n >= LARGEST) {
        return Err(format!("{name} is larger than any sheet that people fill in"));
    }
    Ok(Some(text))
}

/// All elements of a name, whatever their prefix.
fn named<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    node.descendants().filter(move |n| n.is_element() && n.tag_name().name() == name)
}

fn name_of<'a>(sheet: Node<'a, '_>) -> &'a str {
    sheet.attribute("name").unwrap_or_default()
}

fn chosen<'a, 'i>(sheets: &[Node<'a, 'i>], which: Which<'_>) -> Result<Node<'a, 'i>, String> {
    let is_shown = |s: &&Node<'_, '_>| s.attribute("state").is_none_or(|word| word == "visible");
    let found = match which {
        Which::FirstShown => sheets.iter().find(is_shown),
        Which::Named(name) => sheets.iter().find(|s| name_of(**s).eq_ignore_ascii_case(name)),
    };
    found.copied().ok_or_else(|| {
        let there: Vec<&str> = sheets.iter().map(|s| name_of(*s)).collect();
        match which {
            Which::FirstShown => "has no sheet that is shown".to_owned(),
            Which::Named(name) => format!(
                "has no sheet `{name}`, only {}; keep the sheet and its name",
                there.join(", ")
            ),
        }
    })
}

/// The member that holds a sheet.
fn place_of(book: &mut Workbook<'_>, sheet: Node<'_, '_>) -> Result<String, String> {
    // The attribute stands in a namespace of its own, of which there are two versions.
    let link = sheet.attributes().find(|a| a.name() == "id").map_or("", |a| a.value());
    let links = part(book, "xl/_rels/workbook.xml.rels")?.unwrap_or_default();
    let links = Document::parse(&links).map_err(damaged)?;
    let target = named(links.root(), "Relationship").find(|r| r.attribute("Id") == Some(link));
    let target = target.and_then(|r| r.attribute("Target"));
    let target = target.ok_or_else(|| format!("lacks the place of sheet `{}`", name_of(sheet)))?;
    Ok(match target.strip_prefix('/') {
        Some(whole) => whole.to_owned(),
        None => format!("xl/{target}"),
    })
}

/// The letters of a text; a reading aid beside it is not part of it.
fn letters(node: Node<'_, '_>) -> String {
    let own = |n: &Node<'_, '_>| !n.ancestors().any(|a| a.tag_name().name() == "rPh");
    let text: String = named(node, "t").filter(own).filter_map(|n| n.text()).collect();
    unescaped(&text)
}

fn shared_texts(text: &str) -> Result<Vec<String>, String> {
    let document = Document::parse(text).map_err(damaged)?;
    Ok(named(document.root(), "si").map(letters).collect())
}

/// Which styles show dates: by the numbers of the built-in formats, else by the letters of day and
/// year in their own.
fn date_styles(text: &str) -> Result<Vec<bool>, String> {
    let document = Document::parse(text).map_err(damaged)?;
    let own: Vec<(&str, bool)> = named(document.root(), "numFmt")
        .filter_map(|n| Some((n.attribute("numFmtId")?, shows_date(n.attribute("formatCode")?))))
        .collect();
    let is_date = |id: &str| match own.iter().find(|(number, _)| *number == id) {
        Some((_, date)) => *date,
        None => matches!(id, "14" | "15" | "16" | "17" | "22"),
    };
    let styles = named(document.root(), "cellXfs").next();
    let formats = styles.into_iter().flat_map(|s| named(s, "xf"));
    Ok(formats.map(|x| x.attribute("numFmtId").is_some_and(is_date)).collect())
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

/// Rows that are left out in the file are empty ones, so that a row is counted as a person counts.
fn rows(text: &str, shared: &[String], styles: &Styles) -> Result<Vec<Vec<Cell>>, String> {
    let document = Document::parse(text).map_err(damaged)?;
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for row in named(document.root(), "row") {
        let next = rows.len() + 1;
        let line = match row.attribute("r") {
            Some(text) => text.parse().map_err(|_| format!("is damaged: row `{text}`"))?,
            None => next,
        };
        if line < next || line > MOST_ROWS {
            return Err(format!("is damaged: row {line} behind row {}", rows.len()));
        }
        let mut cells = Vec::new();
        for cell in row.children().filter(|n| n.tag_name().name() == "c") {
            let at = cell.attribute("r").map_or(Some(cells.len()), column_of);
            let at = at.filter(|at| *at < MOST_COLUMNS);
            let at = at.ok_or_else(|| format!("row {line}: a cell lies outside of any sheet"))?;
            cells.resize(cells.len().max(at + 1), Cell::Empty);
            cells[at] = cell_of(cell, shared, styles)?;
        }
        rows.resize(line - 1, Vec::new());
        rows.push(cells);
    }
    Ok(rows)
}

/// The column, from 0, of a reference such as `AB12`.
fn column_of(reference: &str) -> Option<usize> {
    let letters = reference.bytes().take_while(u8::is_ascii_alphabetic).take(4);
    let number = letters.fold(0, |n, b| 26 * n + usize::from(b.to_ascii_uppercase() - b'A') + 1);
    number.checked_sub(1)
}

fn cell_of(cell: Node<'_, '_>, shared: &[String], styles: &Styles) -> Result<Cell, String> {
    if cell.attribute("t") == Some("inlineStr") {
        return Ok(Cell::Text(letters(cell)));
    }
    let Some(value) = named(cell, "v").next().and_then(|v| v.text()) else {
        return Ok(Cell::Empty);
    };
    Ok(match cell.attribute("t") {
        Some("s") => {
            let text = value.trim().parse().ok().and_then(|n: usize| shared.get(n)).cloned();
            Cell::Text(text.ok_or_else(|| format!("is damaged: shared text `{value}`"))?)
        }
        Some("b") => Cell::Truth(value.trim() == "1"),
        Some("str") => Cell::Text(unescaped(value)),
        // An error such as #N/A.
        Some("e") => Cell::Text(value.to_owned()),
        // A date as text of ISO 8601.
        Some("d") => Cell::Text(value.split('T').next().unwrap_or_default().trim().to_owned()),
        _ => {
            let style = cell.attribute("s").and_then(|s| s.parse::<usize>().ok()).unwrap_or(0);
            let shows_date = styles.dates.get(style).copied().unwrap_or(false);
            let written = value.trim().to_owned();
            let day = || date_of(written.parse().ok()?, styles.from_1904);
            let date = if shows_date { day() } else { None };
            Cell::Number { written, date }
        }
    })
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

/// Letters that XML cannot hold are written as `_x000D_` (clause 22.9.2.19).
fn unescaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find("_x") {
        let (before, from) = rest.split_at(at);
        out.push_str(before);
        let code = from.get(2..6).filter(|_| from.get(6..7) == Some("_"));
        let letter = code.and_then(|c| u32::from_str_radix(c, 16).ok()).and_then(char::from_u32);
        match letter {
            Some(letter) => {
                out.push(letter);
                rest = &from[7..];
            }
            None => {
                out.push_str("_x");
                rest = &from[2..];
            }
        }
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(text: &str) -> Cell {
        Cell::Text(text.to_owned())
    }

    fn number(written: &str) -> Cell {
        Cell::Number { written: written.to_owned(), date: None }
    }

    #[test]
    fn columns_by_their_letters_and_letters_that_xml_cannot_hold() {
        assert_eq!(["A1", "Z9", "AA10", "AB7"].map(column_of), [0, 25, 26, 27].map(Some));
        assert_eq!(column_of("AB12"), Some(27));
        assert_eq!(unescaped("a_x000D_b_x41_x0041_"), "a\rb_x41A");
        assert_eq!(unescaped("_xé"), "_xé");
    }

    #[test]
    fn cells_of_every_kind_stand_at_their_place() {
        let shared = shared_texts(
            "<sst><si><t>plain &amp; &#233;</t></si><si><r><t>ri</t></r><r><t xml:space='preserve'>ch \
             </t></r><rPh sb='0' eb='1'><t>aid</t></rPh></si></sst>",
        );
        let shared = shared.unwrap();
        assert_eq!(shared, ["plain & é", "rich "]);
        let sheet = "<worksheet><sheetData><row r='2'><c r='A2' t='s'><v>0</v></c>\
                     <c r='C2' t='inlineStr'><is><t>in &lt;line&gt;</t></is></c><c r='D2'><v>22.5</v></c>\
                     </row><row><c t='s'><v>1</v></c><c t='b'><v>1</v></c><c t='str'><f>A1</f><v>x</v></c>\
                     </row></sheetData></worksheet>";
        let rows = rows(sheet, &shared, &Styles::default()).unwrap();
        assert_eq!(rows[0], []);
        assert_eq!(rows[1], [text("plain & é"), Cell::Empty, text("in <line>"), number("22.5")]);
        assert_eq!(rows[2], [text("rich "), Cell::Truth(true), text("x")]);
    }

    #[test]
    fn days_count_from_either_start() {
        let day = |serial, mac| date_of(serial, mac).map(|d| d.to_string());
        assert_eq!(day(44684.0, false).as_deref(), Some("2022-05-03"));
        assert_eq!(day(43222.0, true).as_deref(), Some("2022-05-03"));
        assert_eq!(day(61.0, false).as_deref(), Some("1900-03-01"));
        assert_eq!(day(-1.0, false), None);
    }

    #[test]
    fn what_is_no_workbook_is_said() {
        let said = read(b"PK nothing", Which::Named("questions")).unwrap_err();
        assert!(said.contains("is no workbook"), "{said}");
        let of = |text: &str| rows(text, &[], &Styles::default()).unwrap_err();
        assert!(of("<row><c t='s'><v>9</v></c></row>").contains("damaged"));
        assert!(of("<x><row r='4'/><row r='2'/></x>").contains("row 2"));
    }
}
