//! `decide.xlsx`: the questions of a study for people who live in a spreadsheet, with a list to choose
//! from in each answer. What is written there is read back by [`answers`](super::user::answers), also
//! after an office program has saved it. The same questions give the same bytes.

use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, DataValidationRule, DocProperties, ExcelDateTime,
    Format, FormatAlign, Formula, Workbook, Worksheet, XlsxError,
};

use super::run::CAUTION;
use super::user::answers::SHEET;
use super::user::questions::{Accepts, Key, Question, Suggestion, name_words};

/// The columns, with their widths in letters.
const COLUMNS: [(&str, f64); 15] = [
    ("cases", 7.0),
    ("question", 34.0),
    ("what is known", 60.0),
    ("proposed", 18.0),
    ("why", 30.0),
    ("answer", 24.0),
    ("comment", 24.0),
    ("decided_by", 12.0),
    ("decided_on", 12.0),
    ("accepted", 30.0),
    ("file", 18.0),
    ("subject", 24.0),
    ("patient_id", 12.0),
    ("plan_id", 12.0),
    ("roi_number", 10.0),
];
/// The place of column `answer`.
const ANSWER: u16 = 5;
/// So many letters may a list of words have that stands in a cell itself.
const LIST_LETTERS: usize = 255;
/// Rows for single things of one question; the others are on the page and in the file.
const PARTS: usize = 200;

/// The workbook as bytes.
///
/// # Errors
/// When the workbook cannot hold something.
pub fn decide_workbook(questions: &[Question]) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A time of its own would make every file differ.
    let time = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&time));
    let bold = Format::new().set_bold();
    let words = name_words();
    first_sheet(book.add_worksheet(), questions.len(), &bold)?;
    let names = format!("=words!$A$2:$A${}", words.len() + 1);
    fill(book.add_worksheet(), questions, &names, &bold)?;
    let sheet = book.add_worksheet();
    sheet.set_name("words")?;
    for (column, (name, width)) in
        (0..).zip([("word", 28.0), ("meaning", 70.0), ("volume_cc", 16.0)])
    {
        sheet.write_string_with_format(0, column, name, &bold)?;
        sheet.set_column_width(column, width)?;
    }
    for (row, word) in (1..).zip(&words) {
        sheet.write_string(row, 0, &word.word)?;
        sheet.write_string(row, 1, &word.meaning)?;
        if let Some([low, high]) = word.plausible_cc {
            sheet.write_string(row, 2, format!("{low} to {high}"))?;
        }
    }
    sheet.set_freeze_panes(1, 1)?;
    book.save_to_buffer()
}

fn first_sheet(sheet: &mut Worksheet, open: usize, bold: &Format) -> Result<(), XlsxError> {
    sheet.set_name("read_me")?;
    sheet.set_column_width(0, 18)?;
    sheet.set_column_width(1, 110)?;
    let lines = [
        ("caution", CAUTION.to_owned()),
        ("open", format!("{open} questions wait for an answer; those on top hold up most cases")),
        (
            "how",
            "on sheet questions choose or write into column answer; what you leave empty stays open. \
             Save as .xlsx in this place and run the same command again: the answers go into the \
             files that column file names, and this workbook is made anew with what is still open"
                .to_owned(),
        ),
        (
            "one structure",
            "to answer for one structure alone, copy the row of its name and write plan_id and \
             roi_number (tables/structures.csv) into the copy"
                .to_owned(),
        ),
        (
            "names",
            "sheet words has every standard name and role with its meaning; own:NAME is a name of \
             your own, NAME_PRV03 one with a margin of 3 mm, NAME~ a part, GTV1 and the like a target"
                .to_owned(),
        ),
        (
            "to keep",
            "the sheet questions with its first row, and columns file to roi_number, by which each \
             answer finds its place"
                .to_owned(),
        ),
    ];
    let wrapped = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    for (row, (name, words)) in (0..).zip(lines) {
        sheet.write_string_with_format(row, 0, name, bold)?;
        sheet.write_string_with_format(row, 1, words, &wrapped)?;
    }
    Ok(())
}

/// A row of sheet questions.
struct Row<'q> {
    cases: usize,
    title: String,
    known: String,
    suggestion: Option<&'q Suggestion>,
    accepts: &'q Accepts,
    key: &'q Key,
}

fn rows(question: &Question) -> Vec<Row<'_>> {
    let known = question.facts.iter().map(|fact| format!("{}: {}", fact.what, fact.seen));
    let known = known.collect::<Vec<_>>().join("\n");
    let about = format!("{}\n{}", question.title, question.asks);
    let suggestion = question.suggestions.first();
    let row = |title, known, suggestion, key| Row {
        cases: question.cases,
        title,
        known,
        suggestion,
        accepts: &question.accepts,
        key,
    };
    let mut rows = Vec::new();
    if let Some(key) = &question.all {
        let title = format!("{about}\nFor {}", question.all_words);
        rows.push(row(title, known.clone(), suggestion, key));
    }
    // Structures of one name are mostly decided together: they would bury the names.
    let each =
        question.all.is_none() || (question.accepts != Accepts::Name && question.parts.len() > 1);
    for part in question.parts.iter().filter(|_| each).take(PARTS) {
        let title = format!("{about}\nOnly {}", part.title);
        let known = if question.all.is_none() {
            [known.as_str(), &part.seen].join("\n")
        } else {
            part.seen.clone()
        };
        rows.push(row(title, known, None, &part.key));
    }
    rows
}

fn fill(
    sheet: &mut Worksheet,
    questions: &[Question],
    names: &str,
    bold: &Format,
) -> Result<(), XlsxError> {
    sheet.set_name(SHEET)?;
    for (column, (name, width)) in (0..).zip(COLUMNS) {
        sheet.write_string_with_format(0, column, name, bold)?;
        sheet.set_column_width(column, width)?;
    }
    let wrapped = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    let answer = wrapped.clone().set_background_color("#FFF6DD");
    let mut line = 0;
    for row in questions.iter().flat_map(rows) {
        line += 1;
        let cases = u32::try_from(row.cases).unwrap_or(u32::MAX);
        sheet.write_number_with_format(line, 0, cases, &wrapped)?;
        let key = row.key;
        let texts: [(u16, &str); 10] = [
            (1, &row.title),
            (2, &row.known),
            (3, row.suggestion.map_or("", |s| &s.answer)),
            (4, row.suggestion.map_or("", |s| &s.why)),
            (9, &accepted(row.accepts)),
            (10, key.place.file()),
            (11, &key.subject),
            (12, &key.patient_id),
            (13, &key.plan_id),
            (14, &key.roi_number),
        ];
        for (column, text) in texts {
            sheet.write_string_with_format(line, column, text, &wrapped)?;
        }
        sheet.write_blank(line, ANSWER, &answer)?;
        if let Some(validation) = validation(row.accepts, names)? {
            sheet.add_data_validation(line, ANSWER, line, ANSWER, &validation)?;
        }
    }
    sheet.set_freeze_panes(1, 2)?;
    Ok(())
}

fn accepted(accepts: &Accepts) -> String {
    match accepts {
        Accepts::Name => "a word of sheet words".to_owned(),
        Accepts::Number(unit) => format!("a number of {unit}"),
        Accepts::Words(words) => {
            let words = words.iter().map(|w| format!("{}: {}", w.word, w.meaning));
            words.collect::<Vec<_>>().join("\n")
        }
    }
}

/// The list to choose from. What else may be written is warned about only: the program checks it.
fn validation(accepts: &Accepts, names: &str) -> Result<Option<DataValidation>, XlsxError> {
    let list = DataValidation::new().set_error_style(DataValidationErrorStyle::Warning);
    Ok(match accepts {
        Accepts::Name => Some(list.allow_list_formula(Formula::new(names))),
        Accepts::Number(_) => Some(list.allow_decimal_number(DataValidationRule::GreaterThan(0.0))),
        Accepts::Words(words) => {
            let words: Vec<&str> = words.iter().map(|w| w.word.as_str()).collect();
            let fits = words.join(",").chars().count() <= LIST_LETTERS
                && !words.is_empty()
                && words.iter().all(|w| !w.contains(','));
            if fits { Some(list.allow_list_strings(&words)?) } else { None }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::user::answers::cells_of;
    use crate::user::questions::Place;

    fn question(accepts: Accepts, key: Key) -> Question {
        Question {
            place: key.place,
            title: "Größe & <x>".to_owned(),
            asks: "What is it?".to_owned(),
            cases: 3,
            facts: Vec::new(),
            accepts,
            suggestions: Vec::new(),
            all: Some(key),
            all_words: "all".to_owned(),
            parts: Vec::new(),
            volume_cc: None,
        }
    }

    #[test]
    fn keys_come_back_as_they_were_and_bytes_do_not_change() {
        let keys = [
            Key::of(Place::Names, " =1+1 _x0041_ Größe\t"),
            Key::of(Place::Prescriptions, "GTV").in_plan("1E5").of_roi(3),
            Key::of(Place::Findings, "all:plane-gap"),
        ];
        let accepts = [Accepts::Name, Accepts::Number("Gy"), Accepts::Words(Vec::new())];
        let questions: Vec<Question> =
            accepts.into_iter().zip(keys.clone()).map(|(a, k)| question(a, k)).collect();
        let bytes = decide_workbook(&questions).unwrap();
        assert_eq!(bytes, decide_workbook(&questions).unwrap());
        let rows = cells_of(&bytes).unwrap();
        let head: Vec<&str> = COLUMNS.iter().map(|(name, _)| *name).collect();
        assert_eq!(rows[0], head);
        for (row, key) in rows[1..].iter().zip(&keys) {
            let cell = |column: usize| row.get(column).cloned().unwrap_or_default();
            assert_eq!(cell(usize::from(ANSWER)), "");
            assert_eq!(
                [cell(10), cell(11), cell(13), cell(14)],
                [
                    key.place.file().to_owned(),
                    key.subject.clone(),
                    key.plan_id.clone(),
                    key.roi_number.clone()
                ]
            );
        }
        assert_eq!(rows.len(), 4);
    }
}
