//! A table as a document of a word processor (ISO/IEC 29500, WordprocessingML): a zip of a few pieces
//! of XML. Three lines as journals have them: above, below the head, below. No clock is in it: the same
//! table has the same bytes.

use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

use zip::write::SimpleFileOptions;
use zip::{DateTime, ZipWriter};

use super::{Kind, PrintedTable};
use tidydose_table::run::CAUTION;

const TYPES: &str = r#"<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/word/document.xml" ContentType="application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"/></Types>"#;
const RELATIONS: &str = r#"<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="word/document.xml"/></Relationships>"#;
const HEAD: &str = r#"<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<w:document xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main"><w:body>"#;

/// Columns from which on the page lies on its side.
const WIDE: usize = 6;
/// The shorter and the longer side of a page of A4, and its margin, in twentieths of a point.
const PAGE: [u32; 2] = [11_906, 16_838];
const MARGIN: u32 = 1_134;
/// Height of letters in halves of a point.
const LETTERS: u32 = 18;

/// The document.
pub(super) fn document(table: &PrintedTable) -> Result<Vec<u8>, String> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().last_modified_time(DateTime::default());
    let parts = [
        ("[Content_Types].xml", TYPES.to_owned()),
        ("_rels/.rels", RELATIONS.to_owned()),
        ("word/document.xml", body(table)),
    ];
    for (name, text) in parts {
        zip.start_file(name, options).map_err(|e| e.to_string())?;
        zip.write_all(text.as_bytes()).map_err(|e| e.to_string())?;
    }
    Ok(zip.finish().map_err(|e| e.to_string())?.into_inner())
}

fn body(table: &PrintedTable) -> String {
    let columns = table.head.len();
    let (width, height, side) = if columns > WIDE {
        (PAGE[1], PAGE[0], r#" w:orient="landscape""#)
    } else {
        (PAGE[0], PAGE[1], "")
    };
    let mut out = HEAD.to_owned();
    out.push_str(&paragraph(&table.title, true, 0));
    let line = |place: &str| format!(r#"<w:{place} w:val="single" w:sz="8" w:space="0"/>"#);
    let _ = write!(
        out,
        r#"<w:tbl><w:tblPr><w:tblW w:w="5000" w:type="pct"/><w:tblBorders>{}{}</w:tblBorders></w:tblPr><w:tblGrid>"#,
        line("top"),
        line("bottom")
    );
    let each = (width - 2 * MARGIN) / u32::try_from(columns.max(1)).unwrap_or(1);
    out.push_str(&format!(r#"<w:gridCol w:w="{each}"/>"#).repeat(columns));
    out.push_str("</w:tblGrid><w:tr><w:trPr><w:cantSplit/><w:tblHeader/></w:trPr>");
    let below = format!("<w:tcBorders>{}</w:tcBorders>", line("bottom"));
    for head in &table.head {
        out.push_str(&cell(&paragraph(head, true, 0), &below));
    }
    out.push_str("</w:tr>");
    for row in &table.rows {
        out.push_str("<w:tr><w:trPr><w:cantSplit/></w:trPr>");
        let (bold, indent) = match row.kind {
            Kind::Section => (true, 0),
            Kind::Main => (false, 0),
            Kind::Level => (false, 227),
        };
        out.push_str(&cell(&paragraph(&row.label, bold, indent), ""));
        for text in table.padded(row) {
            out.push_str(&cell(&paragraph(&text, false, 0), ""));
        }
        out.push_str("</w:tr>");
    }
    out.push_str("</w:tbl>");
    out.push_str(&paragraph(&table.note, false, 0));
    out.push_str(&paragraph(CAUTION, false, 0));
    let _ = write!(
        out,
        r#"<w:sectPr><w:pgSz w:w="{width}" w:h="{height}"{side}/><w:pgMar w:top="{MARGIN}" w:right="{MARGIN}" w:bottom="{MARGIN}" w:left="{MARGIN}" w:header="0" w:footer="0" w:gutter="0"/></w:sectPr></w:body></w:document>"#
    );
    out
}

fn cell(paragraph: &str, borders: &str) -> String {
    format!(r#"<w:tc><w:tcPr><w:tcW w:w="0" w:type="auto"/>{borders}</w:tcPr>{paragraph}</w:tc>"#)
}

fn paragraph(text: &str, bold: bool, indent: u32) -> String {
    let bold = if bold { "<w:b/>" } else { "" };
    format!(
        r#"<w:p><w:pPr><w:spacing w:before="20" w:after="20"/><w:ind w:left="{indent}"/></w:pPr><w:r><w:rPr><w:rFonts w:ascii="Arial" w:hAnsi="Arial" w:cs="Arial"/>{bold}<w:sz w:val="{LETTERS}"/></w:rPr><w:t xml:space="preserve">{}</w:t></w:r></w:p>"#,
        escaped(text)
    )
}

/// Characters that XML does not have are left out.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\t' => out.push(' '),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::super::example;
    use super::*;

    #[test]
    fn a_document_has_the_cells_of_the_table_and_no_clock() {
        let bytes = document(&example()).unwrap();
        assert_eq!(bytes, document(&example()).unwrap());
        let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        let mut text = String::new();
        zip.by_name("word/document.xml").unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(text.matches("<w:tr>").count(), 4, "{text}");
        assert_eq!(text.matches("<w:tc>").count(), 12, "{text}");
        assert!(text.contains("Patients &amp; &lt;plans&gt;") && text.contains("GTV volume (cm³)"));
        assert!(text.contains(CAUTION) && !text.contains("landscape"));
        for tag in ["w:p", "w:tbl", "w:tr", "w:tc", "w:r", "w:body"] {
            let open = text.matches(&format!("<{tag}>")).count();
            assert_eq!(open, text.matches(&format!("</{tag}>")).count(), "{tag}");
        }
    }
}
