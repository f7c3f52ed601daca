//! The cells of one sheet of a workbook as text, as office programs save it: zip, with one XML file for
//! the list of sheets, one for shared texts and one for each sheet (ECMA-376, part 1, clause 18).
//! Numbers are as they are written there; formulas are not computed, their last value is read.
//! Knows nothing of what the cells mean.

use std::io::{Cursor, Read};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use zip::ZipArchive;

/// Members of a workbook of questions are far smaller; a larger one is none.
const LARGEST: u64 = 256 << 20;
/// Cells further out than this are of no sheet of questions.
const COLUMNS: usize = 256;

/// The rows of the sheet of that name, each with its cells from the first column on; rows and cells
/// that are left out in the file are empty.
///
/// # Errors
/// When it is no workbook, is damaged, or has no such sheet.
pub fn rows(bytes: &[u8], sheet: &str) -> Result<Vec<Vec<String>>, String> {
    let no_workbook = |e| format!("is no workbook: {e}; save it as .xlsx");
    let mut book = ZipArchive::new(Cursor::new(bytes)).map_err(no_workbook)?;
    let target = part_of(&mut book, sheet)?;
    let shared = match member(&mut book, "xl/sharedStrings.xml")? {
        Some(text) => shared_texts(&text)?,
        None => Vec::new(),
    };
    let text = member(&mut book, &target)?.ok_or_else(|| format!("lacks {target}"))?;
    cells(&text, &shared)
}

type Book<'b> = ZipArchive<Cursor<&'b [u8]>>;

fn member(book: &mut Book<'_>, name: &str) -> Result<Option<String>, String> {
    let Some(index) = book.index_for_name(name) else { return Ok(None) };
    let damaged = |e: &dyn std::fmt::Display| format!("{name} cannot be read: {e}");
    let file = book.by_index(index).map_err(|e| damaged(&e))?;
    let mut text = String::new();
    let read = file.take(LARGEST).read_to_string(&mut text).map_err(|e| damaged(&e))?;
    if u64::try_from(read).is_ok_and(|n| n >= LARGEST) {
        return Err(format!("{name} is larger than any sheet of questions"));
    }
    Ok(Some(text))
}

/// The member that holds the sheet of a name.
fn part_of(book: &mut Book<'_>, sheet: &str) -> Result<String, String> {
    let list =
        member(book, "xl/workbook.xml")?.ok_or("is no workbook: it lacks xl/workbook.xml")?;
    let links = member(book, "xl/_rels/workbook.xml.rels")?.unwrap_or_default();
    let (mut named, mut there) = (None, Vec::new());
    for element in elements(&list, b"sheet")? {
        let name = attribute(&element, b"name")?.unwrap_or_default();
        if name.eq_ignore_ascii_case(sheet) {
            named = attribute(&element, b"id")?;
        }
        there.push(name);
    }
    let id = named.ok_or_else(|| {
        format!("has no sheet `{sheet}`, only {}; keep the sheet and its name", there.join(", "))
    })?;
    for element in elements(&links, b"Relationship")? {
        if attribute(&element, b"Id")?.as_deref() == Some(&id) {
            let target = attribute(&element, b"Target")?.unwrap_or_default();
            return Ok(match target.strip_prefix('/') {
                Some(whole) => whole.to_owned(),
                None => format!("xl/{target}"),
            });
        }
    }
    Err(format!("lacks the place of sheet `{sheet}`"))
}

/// All elements of a name, whatever their prefix.
fn elements<'x>(text: &'x str, name: &[u8]) -> Result<Vec<BytesStart<'x>>, String> {
    let mut reader = Reader::from_str(text);
    let mut found = Vec::new();
    loop {
        match reader.read_event().map_err(damaged)? {
            Event::Start(e) | Event::Empty(e) if e.local_name().as_ref() == name => found.push(e),
            Event::Eof => return Ok(found),
            _ => {}
        }
    }
}

fn damaged(e: impl std::fmt::Display) -> String {
    format!("is damaged: {e}")
}

/// An attribute by its name without prefix.
fn attribute(element: &BytesStart<'_>, name: &[u8]) -> Result<Option<String>, String> {
    for attribute in element.attributes() {
        let attribute = attribute.map_err(damaged)?;
        if attribute.key.local_name().as_ref() == name {
            let value = attribute.unescape_value().map_err(damaged)?;
            return Ok(Some(value.into_owned()));
        }
    }
    Ok(None)
}

/// Texts in `t` elements, joined; those of a reading aid (`rPh`) are none of the cell.
#[derive(Default)]
struct Texts {
    text: String,
    inside: bool,
    aid: bool,
}

impl Texts {
    fn take(&mut self, event: &Event<'_>) -> Result<(), String> {
        match event {
            Event::Start(e) if e.local_name().as_ref() == b"rPh" => self.aid = true,
            Event::End(e) if e.local_name().as_ref() == b"rPh" => self.aid = false,
            Event::Start(e) => self.inside = matches!(e.local_name().as_ref(), b"t" | b"v"),
            Event::End(_) => self.inside = false,
            Event::Text(text) if self.inside && !self.aid => {
                self.text.push_str(&text.decode().map_err(damaged)?);
            }
            Event::CData(text) if self.inside && !self.aid => {
                self.text.push_str(&text.decode().map_err(damaged)?);
            }
            Event::GeneralRef(name) if self.inside && !self.aid => {
                let letter = match name.resolve_char_ref().map_err(damaged)? {
                    Some(letter) => Some(letter),
                    None => match name.decode().map_err(damaged)?.as_ref() {
                        "amp" => Some('&'),
                        "lt" => Some('<'),
                        "gt" => Some('>'),
                        "quot" => Some('"'),
                        "apos" => Some('\''),
                        _ => None,
                    },
                };
                self.text.push(letter.ok_or("is damaged: an unknown entity")?);
            }
            _ => {}
        }
        Ok(())
    }

    fn done(&mut self) -> String {
        std::mem::take(self).text
    }
}

fn shared_texts(text: &str) -> Result<Vec<String>, String> {
    let mut reader = Reader::from_str(text);
    let (mut list, mut current) = (Vec::new(), Texts::default());
    loop {
        let event = reader.read_event().map_err(damaged)?;
        match &event {
            Event::End(e) if e.local_name().as_ref() == b"si" => {
                list.push(unescaped(&current.done()))
            }
            Event::Empty(e) if e.local_name().as_ref() == b"si" => list.push(String::new()),
            Event::Eof => return Ok(list),
            event => current.take(event)?,
        }
    }
}

/// A cell while it is read.
#[derive(Default)]
struct Cell {
    column: usize,
    kind: String,
    texts: Texts,
}

fn cells(text: &str, shared: &[String]) -> Result<Vec<Vec<String>>, String> {
    let mut reader = Reader::from_str(text);
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut cell: Option<Cell> = None;
    loop {
        let event = reader.read_event().map_err(damaged)?;
        match &event {
            Event::Start(e) | Event::Empty(e) if e.local_name().as_ref() == b"row" => {
                begin_row(&mut rows, attribute(e, b"r")?)?;
            }
            Event::Start(e) if e.local_name().as_ref() == b"c" => {
                let next = rows.last().map_or(0, Vec::len);
                let place = attribute(e, b"r")?;
                let column = place.map_or(next, |place| column_of(&place));
                let kind = attribute(e, b"t")?.unwrap_or_default();
                cell = Some(Cell { column, kind, texts: Texts::default() });
            }
            Event::End(e) if e.local_name().as_ref() == b"c" => {
                if let (Some(done), Some(row)) = (cell.take(), rows.last_mut()) {
                    put(row, done, shared)?;
                }
            }
            Event::Eof => return Ok(rows),
            event => {
                if let Some(cell) = &mut cell {
                    cell.texts.take(event)?;
                }
            }
        }
    }
}

/// Rows that are left out in the file are empty ones, so that a row is counted as a person counts.
fn begin_row(rows: &mut Vec<Vec<String>>, number: Option<String>) -> Result<(), String> {
    let next = rows.len() + 1;
    let number = match number {
        Some(text) => text.parse().map_err(|_| format!("is damaged: row `{text}`"))?,
        None => next,
    };
    const MOST: usize = 1 << 20;
    if number < next || number > MOST {
        return Err(format!("is damaged: row {number} behind row {}", rows.len()));
    }
    rows.resize(number, Vec::new());
    Ok(())
}

/// The column, from 0, of a cell such as `AB7`.
fn column_of(place: &str) -> usize {
    let letters = place.bytes().take_while(u8::is_ascii_alphabetic);
    let number = letters.fold(0_usize, |sum, letter| {
        sum.saturating_mul(26).saturating_add(usize::from(letter.to_ascii_uppercase() - b'A') + 1)
    });
    number.saturating_sub(1)
}

fn put(row: &mut Vec<String>, mut cell: Cell, shared: &[String]) -> Result<(), String> {
    if cell.column >= COLUMNS {
        return Ok(());
    }
    let text = cell.texts.done();
    let text = match cell.kind.as_str() {
        "s" => {
            let index: Option<usize> = text.trim().parse().ok();
            let there = index.and_then(|i| shared.get(i));
            there.cloned().ok_or_else(|| format!("is damaged: shared text `{text}`"))?
        }
        "b" => if text.trim() == "1" { "yes" } else { "no" }.to_owned(),
        "inlineStr" | "str" => unescaped(&text),
        // An error such as #N/A is no answer that anybody gave.
        _ => text,
    };
    if row.len() <= cell.column {
        row.resize(cell.column + 1, String::new());
    }
    if let Some(place) = row.get_mut(cell.column) {
        *place = text;
    }
    Ok(())
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

    #[test]
    fn columns_by_their_letters_and_letters_that_xml_cannot_hold() {
        assert_eq!(["A1", "Z9", "AA10", "AB7"].map(column_of), [0, 25, 26, 27]);
        assert_eq!(unescaped("a_x000D_b_x41_x0041_"), "a\rb_x41A");
        assert_eq!(unescaped("_xé"), "_xé");
    }

    #[test]
    fn cells_of_every_kind_are_text_at_their_place() {
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
        let rows = cells(sheet, &shared).unwrap();
        assert_eq!(rows[0], Vec::<String>::new());
        assert_eq!(rows[1], ["plain & é", "", "in <line>", "22.5"]);
        assert_eq!(rows[2], ["rich ", "yes", "x"]);
    }

    #[test]
    fn what_is_no_workbook_is_said() {
        assert!(rows(b"PK nothing", "questions").unwrap_err().contains("is no workbook"));
        assert!(cells("<row><c t='s'><v>9</v></c></row>", &[]).unwrap_err().contains("damaged"));
        assert!(cells("<row r='4'/><row r='2'/>", &[]).unwrap_err().contains("row 2"));
    }
}
