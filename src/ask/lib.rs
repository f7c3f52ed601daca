//! Questions in SQL over the tables of a study: a question with its values and the tables in, rows
//! out. Reads tables only and knows nothing of how they were made; opens no file and prints nothing.
//!
//! The SQL is that of SQLite, read only: one `SELECT`, or `WITH ... SELECT`. `functions.rs` names
//! what is there besides, such as `MEDIAN(x)`. A truth value is 1 or 0 in a condition.

pub mod answer;
mod functions;
pub mod names;
pub mod parameter;
pub mod question;
pub mod shipped;
mod text;

use std::collections::BTreeMap;

use tidydose_table::read_study::{StudyTables, answered};
use tidydose_table::user::user_file::ReadError;

pub use answer::{Answer, Format};
pub use functions::FUNCTIONS;
pub use parameter::{Parameter, ParameterKind};
pub use question::{Question, QuestionError};
pub use shipped::{shipped, shipped_question};

/// A question could not be answered.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// Its header or the values for it.
    #[error(transparent)]
    Question(#[from] QuestionError),
    /// A table that it names.
    #[error(transparent)]
    Table(#[from] ReadError),
    /// It is something else than a question.
    #[error("line {line}: {found} is no question; one SELECT, or WITH ... SELECT, is accepted")]
    NoQuestion {
        /// From 1.
        line: usize,
        /// The word found.
        found: String,
    },
    /// The SQL cannot be understood or names what is not there.
    #[error("{}{reason}\n{catalogue}", place(*line, shown))]
    Sql {
        /// From 1; absent when the fault has no place in the text.
        line: Option<usize>,
        /// That line.
        shown: String,
        /// What is wrong.
        reason: String,
        /// The tables and columns there are.
        catalogue: String,
    },
}

fn place(line: Option<usize>, shown: &str) -> String {
    line.map_or_else(String::new, |n| format!("line {n}: {}\n", shown.trim()))
}

/// Answers a question over `tables`, with `values` for its parameters. Files of the user that it names
/// become part of `tables`.
///
/// The rows come in the order of the question's `ORDER BY`; without one their order is not fixed.
///
/// # Errors
/// [`AskError`], with the line it is about and what there is instead.
pub fn ask(
    question: &Question,
    values: &BTreeMap<String, String>,
    tables: &mut StudyTables,
) -> Result<Answer, AskError> {
    let sql = question.with_values(values)?;
    refuse_other_than_questions(&sql)?;
    let named: Vec<String> =
        tables_named(&sql, &tables.names()).into_iter().map(str::to_owned).collect();
    for name in named {
        tables.load(&name)?;
    }
    functions::register(tables.connection()).map_err(|e| fault(&sql, &e, tables))?;
    let mut statement = match tables.connection().prepare(&sql) {
        Ok(statement) => statement,
        Err(e) => return Err(fault(&sql, &e, tables)),
    };
    if !statement.readonly() {
        return Err(AskError::NoQuestion { line: 1, found: "a change of the tables".to_owned() });
    }
    answered(&mut statement).map(Answer).map_err(|e| fault(&sql, &e, tables))
}

/// The names in `tables` that the text of a question mentions.
#[must_use]
pub fn tables_named<'t>(sql: &str, tables: &[&'t str]) -> Vec<&'t str> {
    let words = text::words(sql);
    let named = |table: &&str| words.iter().any(|(_, word)| word.eq_ignore_ascii_case(table));
    tables.iter().copied().filter(named).collect()
}

/// Whether the question fixes the order of its rows.
#[must_use]
pub fn is_ordered(question: &Question) -> bool {
    let words: Vec<_> = text::words(&question.sql).into_iter().map(|(_, w)| w).collect();
    words.windows(2).any(|w| w[0].eq_ignore_ascii_case("ORDER") && w[1].eq_ignore_ascii_case("BY"))
}

fn refuse_other_than_questions(sql: &str) -> Result<(), AskError> {
    let words = text::words(sql);
    let no = |line, found: &str| Err(AskError::NoQuestion { line, found: found.to_owned() });
    let Some((line, first)) = words.first() else { return no(1, "an empty text") };
    if !["SELECT", "WITH"].iter().any(|w| first.eq_ignore_ascii_case(w)) {
        return no(*line, first);
    }
    let mut line = 1;
    let mut ended = false;
    for (part, text) in text::parts(sql) {
        for c in text.chars() {
            match c {
                '\n' => line += 1,
                ';' if part == text::Part::Code => ended = true,
                c if ended && part != text::Part::Comment && !c.is_whitespace() => {
                    return no(line, "a second statement");
                }
                _ => {}
            }
        }
    }
    Ok(())
}

/// The engine's words with the line that they are about.
fn fault(sql: &str, error: &rusqlite::Error, tables: &StudyTables) -> AskError {
    let (reason, offset) = match error {
        rusqlite::Error::SqlInputError { msg, offset, .. } => {
            (msg.clone(), usize::try_from(*offset).ok())
        }
        other => (other.to_string(), None),
    };
    let before = |offset: usize| sql.get(..offset).map(|text| 1 + text.matches('\n').count());
    // Of a table that is not there the engine does not say where it stands.
    let mention = || {
        let (_, name) = reason.rsplit_once(": ")?;
        text::words(sql).into_iter().find(|(_, word)| *word == name).map(|(line, _)| line)
    };
    let line = offset.and_then(before).or_else(mention);
    let shown = line.and_then(|n| sql.lines().nth(n - 1)).unwrap_or_default().to_owned();
    AskError::Sql { line, shown, catalogue: catalogue(tables), reason }
}

fn catalogue(tables: &StudyTables) -> String {
    let mut text = String::from("tables and columns:");
    for name in tables.names() {
        let columns = tables.columns(name).unwrap_or_default();
        text.push_str(&format!("\n  {name}: {}", columns.join(", ")));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_table::frame::{Cells, LoadedTable};

    fn tables() -> StudyTables {
        let frame = LoadedTable::new(vec![
            ("plan_id".into(), Cells::texts(["a", "b", "c"].map(Some))),
            ("value".into(), Cells::Real(vec![Some(3.0), None, Some(1.0)])),
        ]);
        StudyTables::in_memory(&[("metrics", frame)]).unwrap()
    }

    fn asked(sql: &str) -> Result<Answer, AskError> {
        ask(&Question::parse(sql).unwrap(), &BTreeMap::new(), &mut tables())
    }

    #[test]
    fn rows_come_back_in_the_order_asked_for() {
        let sql = "-- set least: number = 2\nWITH m AS (SELECT * FROM metrics)\nSELECT plan_id \
                   FROM m WHERE value < $least OR value IS NULL ORDER BY plan_id DESC;";
        let answer = asked(sql).unwrap();
        assert_eq!(answer.columns(), ["plan_id"]);
        let cells: Vec<_> = (0..answer.row_count()).map(|r| answer.cell(r, 0)).collect();
        let text = |t: &'static str| tidydose_table::Cell::Text(t.into());
        assert_eq!(cells, [text("c"), text("b")]);
        assert!(is_ordered(&Question::parse(sql).unwrap()));
        assert!(!is_ordered(&Question::parse("SELECT 1 -- ORDER BY x").unwrap()));
    }

    #[test]
    fn a_fault_points_at_its_line_and_lists_what_there_is() {
        for (sql, line) in [
            ("SELECT plan_id\nFROM metrics\nWHERE valve > 1", 3),
            ("SELECT plan_id\nFROM metric", 2),
            ("SELECT plan_id\nFROM metrics\nWHERE value >\nORDER BY", 4),
        ] {
            let text = asked(sql).unwrap_err().to_string();
            assert!(text.starts_with(&format!("line {line}: ")), "{text}");
            assert!(text.ends_with("tables and columns:\n  metrics: plan_id, value"), "{text}");
        }
    }

    #[test]
    fn only_one_question_is_accepted() {
        for (sql, found) in [
            ("DELETE FROM metrics", "DELETE"),
            ("SELECT 1;\nDROP TABLE metrics", "a second statement"),
            ("-- nothing", "an empty text"),
            ("CREATE TABLE x AS SELECT 1", "CREATE"),
            ("WITH m AS (SELECT 1) DELETE FROM metrics", "a change of the tables"),
        ] {
            let text = asked(sql).unwrap_err().to_string();
            assert!(text.contains(&format!("{found} is no question")), "{text}");
        }
        assert!(asked("SELECT ';' AS x FROM metrics; -- end").is_ok());
    }

    #[test]
    fn only_named_tables_are_wanted() {
        let all = ["metrics", "plans", "dvh"];
        let sql = "SELECT * FROM metrics m JOIN \"plans\" p ON 1=1 -- dvh\nWHERE 'dvh' = 'dvh'";
        assert_eq!(tables_named(sql, &all), ["metrics", "plans"]);
    }
}
