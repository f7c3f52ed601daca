//! Questions in SQL over the tables of a study: a question with its values and the tables in, rows
//! out. Reads tables only and knows nothing of how they were made; opens no file and prints nothing.
//!
//! The dialect is that of polars' SQL context: one `SELECT`, common table expressions, joins,
//! aggregates with `FILTER`, `MEDIAN`, `QUANTILE_CONT(x, q)`, ranks over partitions. It has no
//! scalar subqueries (join a one-row expression instead).

pub mod answer;
pub mod parameter;
pub mod question;
pub mod shipped;
mod text;

use std::collections::BTreeMap;

use polars::prelude::{DataFrame, IntoLazy};
use polars::sql::SQLContext;

pub use answer::{Answer, Format};
pub use parameter::{Parameter, ParameterKind};
pub use question::{Question, QuestionError};
pub use shipped::{shipped, shipped_question};

/// A question could not be answered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AskError {
    /// Its header or the values for it.
    #[error(transparent)]
    Question(#[from] QuestionError),
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

/// The names in `tables` that the text of a question mentions: those that have to be read for it.
#[must_use]
pub fn tables_named<'t>(sql: &str, tables: &[&'t str]) -> Vec<&'t str> {
    let words = text::words(sql);
    tables.iter().copied().filter(|t| words.iter().any(|(_, w)| w == t)).collect()
}

/// Answers a question over `tables`, with `values` for its parameters.
///
/// The rows come in the order of the question's `ORDER BY`; without one their order is not fixed.
///
/// # Errors
/// [`AskError`], with the line it is about and what there is instead.
pub fn ask(
    question: &Question,
    values: &BTreeMap<String, String>,
    tables: &BTreeMap<String, DataFrame>,
) -> Result<Answer, AskError> {
    let sql = question.with_values(values)?;
    refuse_other_than_questions(&sql)?;
    let mut context = SQLContext::new();
    for (name, frame) in tables {
        context.register(name, frame.clone().lazy());
    }
    let frame = context.execute(&sql).and_then(polars::prelude::LazyFrame::collect);
    frame.map(Answer).map_err(|e| fault(&sql, &e.to_string(), tables))
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
fn fault(sql: &str, reason: &str, tables: &BTreeMap<String, DataFrame>) -> AskError {
    let reason = reason.split("\n\nResolved plan until failure").next().unwrap_or(reason);
    let line = stated_line(reason).or_else(|| {
        let named = reason.split(['"', '\'', '`']).skip(1).step_by(2).next()?;
        let word = named.rsplit('.').next().unwrap_or(named);
        text::words(sql).into_iter().find(|(_, w)| *w == word).map(|(line, _)| line)
    });
    let shown = line.and_then(|n| sql.lines().nth(n - 1)).unwrap_or_default().to_owned();
    AskError::Sql { line, shown, reason: reason.to_owned(), catalogue: catalogue(tables) }
}

/// The line in `... at Line: 3, Column: 5`.
fn stated_line(reason: &str) -> Option<usize> {
    let (_, after) = reason.split_once("at Line: ")?;
    after.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok().filter(|n| *n > 0)
}

fn catalogue(tables: &BTreeMap<String, DataFrame>) -> String {
    let line = |(name, frame): (&String, &DataFrame)| {
        let columns: Vec<_> = frame.get_column_names().iter().map(ToString::to_string).collect();
        format!("  {name}: {}", columns.join(", "))
    };
    let list: Vec<String> = tables.iter().map(line).collect();
    format!("tables and columns:\n{}", list.join("\n"))
}

#[cfg(test)]
mod tests {
    use polars::prelude::{NamedFrom, Series};

    use super::*;

    fn tables() -> BTreeMap<String, DataFrame> {
        let plan = Series::new("plan_id".into(), ["a", "b", "c"]);
        let value = Series::new("value".into(), [Some(3.0), None, Some(1.0)]);
        let frame = DataFrame::new(3, vec![plan.into(), value.into()]).unwrap();
        BTreeMap::from([("metrics".to_owned(), frame)])
    }

    fn asked(sql: &str) -> Result<Answer, AskError> {
        ask(&Question::parse(sql).unwrap(), &BTreeMap::new(), &tables())
    }

    #[test]
    fn rows_come_back_in_the_order_asked_for() {
        let sql = "-- set least: number = 2\nWITH m AS (SELECT * FROM metrics)\nSELECT plan_id \
                   FROM m WHERE value < $least OR value IS NULL ORDER BY plan_id DESC;";
        let answer = asked(sql).unwrap();
        assert_eq!(answer.columns(), ["plan_id"]);
        let cells: Vec<_> = (0..answer.row_count()).map(|r| answer.cell(r, 0)).collect();
        let text = |t: &'static str| crate::table::Cell::Text(t.into());
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
