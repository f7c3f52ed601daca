//! Comma-separated values as RFC 4180 has them: a header line, CRLF line ends, fields quoted only
//! where they must be, doubled quotes; UTF-8 without byte-order mark. A missing value is an empty
//! field. Numbers are printed in the shortest form that reads back to the same number.
//!
//! Text that a spreadsheet would execute as a formula gets a leading apostrophe
//! ([`without_formula`]); numbers are never touched. The Parquet twin holds the text unchanged.

use std::borrow::Cow;
use std::io::{self, Write};

use super::column::{Cell, Definition, Sheet};

/// Writes `sheet` as CSV.
///
/// # Errors
/// When `output` does.
pub fn write_csv(sheet: &Sheet<'_>, output: &mut dyn Write) -> io::Result<()> {
    let mut writer = writer(output);
    write_names(sheet.columns(), &mut writer)?;
    write_rows(sheet, &mut writer)?;
    writer.flush()
}

/// Writes the line of column names.
pub(super) fn write_names(
    columns: &[Definition],
    writer: &mut csv::Writer<impl Write>,
) -> io::Result<()> {
    writer.write_record(columns.iter().map(|c| c.name.as_bytes())).map_err(as_io)
}

/// Writes the rows of a sheet without names.
pub(super) fn write_rows(
    sheet: &Sheet<'_>,
    writer: &mut csv::Writer<impl Write>,
) -> io::Result<()> {
    for row in 0..sheet.row_count() {
        for column in 0..sheet.columns().len() {
            writer.write_field(field(&sheet.cell(row, column)).as_bytes()).map_err(as_io)?;
        }
        writer.write_record(None::<&[u8]>).map_err(as_io)?;
    }
    Ok(())
}

/// Writes rows of cells below their names, by the conventions of this page.
///
/// # Errors
/// When `output` does.
pub fn write_records<'c>(
    names: &[impl AsRef<[u8]>],
    rows: impl Iterator<Item = Vec<Cell<'c>>>,
    output: &mut dyn Write,
) -> io::Result<()> {
    let mut writer = writer(output);
    writer.write_record(names).map_err(as_io)?;
    for row in rows {
        for cell in &row {
            writer.write_field(field(cell).as_bytes()).map_err(as_io)?;
        }
        writer.write_record(None::<&[u8]>).map_err(as_io)?;
    }
    writer.flush()
}

/// A CSV writer with the conventions of this program.
pub(super) fn writer<W: Write>(output: W) -> csv::Writer<W> {
    csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .quote_style(csv::QuoteStyle::Necessary)
        .from_writer(output)
}

pub(super) fn as_io(error: csv::Error) -> io::Error {
    io::Error::other(error)
}

fn field<'c>(cell: &'c Cell<'_>) -> Cow<'c, str> {
    match cell {
        Cell::Missing => Cow::Borrowed(""),
        Cell::Text(text) => without_formula(text),
        Cell::Integer(value) => Cow::Owned(value.to_string()),
        Cell::Real(value) => Cow::Owned(number(*value)),
        Cell::Boolean(value) => Cow::Borrowed(if *value { "true" } else { "false" }),
    }
}

/// The shortest decimal form that reads back to the same double, with an exponent only outside
/// 10⁻⁵ to 10¹⁶. Negative zero is printed as 0.
#[must_use]
pub fn number(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 {
        "0".to_owned()
    } else if (1e-5..1e16).contains(&size) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

/// `text` with a leading apostrophe where a spreadsheet would read it as a formula: it begins with
/// `=`, `+`, `-`, `@` (plain or full-width), tab, carriage return or line feed, also behind white
/// space or invisible characters.
#[must_use]
pub fn without_formula(text: &str) -> Cow<'_, str> {
    let begins_as_control = text.starts_with(['\t', '\r', '\n']);
    let visible = text.trim_start_matches(|c: char| {
        c.is_whitespace()
            || c.is_control()
            || matches!(c, '\u{200B}'..='\u{200F}' | '\u{2060}' | '\u{FEFF}')
    });
    let begins_as_formula = visible.starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
    if begins_as_control || begins_as_formula {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::column::Column;

    type Thing = (&'static str, Option<f64>);

    fn written(rows: Vec<Thing>) -> String {
        let columns: Vec<Column<Thing>> = vec![
            Column::text("name", "a text", |r| Some(Cow::Borrowed(r.0))),
            Column::real("x", "mm", "a number", |r| r.1),
        ];
        let mut bytes = Vec::new();
        write_csv(&Sheet::new(columns, rows), &mut bytes).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    /// RFC 4180 section 2, rules 1 (CRLF), 3 (header), 5 to 7 (quotes only where needed, line
    /// breaks and commas inside quotes, doubled quotes), with the RFC's own field contents.
    #[test]
    fn rfc_4180_examples() {
        assert_eq!(
            written(vec![("aaa", Some(1.0)), ("b\r\nbb", None), ("b\"bb", None), ("c,cc", None)]),
            "name,x\r\naaa,1\r\n\"b\r\nbb\",\r\n\"b\"\"bb\",\r\n\"c,cc\",\r\n"
        );
    }

    #[test]
    fn a_row_of_missing_values_is_still_a_row() {
        assert_eq!(written(vec![("", None)]), "name,x\r\n,\r\n");
    }

    #[test]
    fn written_text_reads_back() {
        let hard = ["Größe, \"x\"", "a\nb", "  padded ", "日本", "'quoted'", "semi;colon"];
        let text = written(hard.iter().map(|h| (*h, Some(0.1 + 0.2))).collect());
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let back: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(back.len(), hard.len());
        for (record, expected) in back.iter().zip(hard) {
            assert_eq!(&record[0], expected);
            assert_eq!(record[1].parse::<f64>().unwrap(), 0.1 + 0.2);
        }
    }

    #[test]
    fn negative_numbers_are_not_touched_but_negative_text_is() {
        assert_eq!(written(vec![("-1", Some(-1.5))]), "name,x\r\n'-1,-1.5\r\n");
    }

    /// The leading characters named by the OWASP page on CSV injection (from memory), with white
    /// space and invisible characters before them and in full width.
    #[test]
    fn formulas_are_defused() {
        for bad in [
            "=1+1",
            "+1",
            "-1",
            "@SUM(A1)",
            "\tx",
            "\rx",
            "\nx",
            " =1",
            "\u{a0}=1",
            "\u{feff}=1",
            "\u{200b}@x",
            "＝1+1",
            "＋1",
            "－1",
            "＠x",
            " \t＝1",
            "=HYPERLINK(\"a\",\"b\")",
        ] {
            assert_eq!(without_formula(bad), format!("'{bad}"), "{bad:?}");
        }
        for good in ["", "Brainstem", "a=b", "V12Gy[cc]", "'x", "5-3", " spaced", "(=1)"] {
            assert_eq!(without_formula(good), good);
        }
    }

    #[test]
    fn numbers_are_short_and_read_back() {
        assert_eq!(number(-0.0), "0");
        assert_eq!(number(0.1), "0.1");
        assert_eq!(number(20.0), "20");
        assert_eq!(number(1e-7), "1e-7");
        assert_eq!(number(1e300), "1e300");
        let mut bits: u64 = 0x9e37_79b9_7f4a_7c15;
        for _ in 0..10_000 {
            bits = bits.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let value = f64::from_bits(bits);
            if value.is_finite() {
                assert_eq!(number(value).parse::<f64>().unwrap(), value);
            }
        }
    }
}
