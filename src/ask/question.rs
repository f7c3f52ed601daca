//! A question: SQL with a header of comments that says what is asked, in which tables, in which
//! units, with which caution and which parameters.
//!
//! ```sql
//! -- question: Which brainstems received more than the threshold?
//! -- tables:   metrics
//! -- units:    Gy
//! -- caution:  A numerical bound says nothing of delineation.
//! -- set threshold: number = 12.5  dose in Gy
//! SELECT plan_id, value FROM metrics WHERE metric = 'D0.03cc[Gy]' AND value > $threshold
//! ORDER BY value DESC
//! ```
//!
//! The header is optional in a question of one's own; only what is declared can be set. A line of
//! comment that begins with two blanks or more goes on with the entry above it.

use std::collections::BTreeMap;

use strum::VariantNames;

use super::parameter::{Parameter, ParameterKind};
use super::text::{Part, is_word, parts};

/// A question that can be put to the tables.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Question {
    /// What is asked, in one sentence; empty when the header does not say.
    pub question: String,
    /// The tables it reads, as the header says.
    pub tables: Vec<String>,
    /// Units of the answer, as the header says.
    pub units: String,
    /// What the answer does not say; may be empty.
    pub caution: String,
    /// The declared parameters in order.
    pub parameters: Vec<Parameter>,
    /// The whole text.
    pub sql: String,
}

/// A question or the values for it cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuestionError {
    /// A line of the header.
    #[error("line {line}: {reason}")]
    Header {
        /// From 1.
        line: usize,
        /// What was found and what would be accepted.
        reason: String,
    },
    /// A value from outside.
    #[error("parameter {name}: {reason}")]
    Value {
        /// The parameter.
        name: String,
        /// What was found and what would be accepted.
        reason: String,
    },
}

impl Question {
    /// Reads header and SQL.
    ///
    /// # Errors
    /// A declaration that cannot be understood, with its line.
    pub fn parse(text: &str) -> Result<Self, QuestionError> {
        let mut question = Self { sql: text.to_owned(), ..Self::default() };
        for (line, entry) in header(text) {
            let fault = |reason| QuestionError::Header { line, reason };
            let Some((key, value)) = entry.split_once(':') else { continue };
            let value = value.split_whitespace().collect::<Vec<_>>().join(" ");
            match key.trim() {
                "question" => question.question = value,
                "units" => question.units = value,
                "caution" => question.caution = value,
                "tables" => {
                    question.tables = value.split(',').map(|t| t.trim().to_owned()).collect();
                }
                key => {
                    let Some(name) = key.strip_prefix("set ") else { continue };
                    let parameter = declaration(name.trim(), &value).map_err(fault)?;
                    if question.parameters.iter().any(|p| p.name == parameter.name) {
                        return Err(fault(format!("{} is declared twice", parameter.name)));
                    }
                    question.parameters.push(parameter);
                }
            }
        }
        Ok(question)
    }

    /// The SQL with each `$name` replaced by its value: the one in `values`, else the default. Line
    /// numbers stay what they were.
    ///
    /// # Errors
    /// A value for a parameter that is not declared or that its type does not accept; a `$name` in
    /// the SQL that is not declared.
    pub fn with_values(&self, values: &BTreeMap<String, String>) -> Result<String, QuestionError> {
        let declared = || self.parameters.iter().map(|p| p.name.as_str());
        if let Some(name) = values.keys().find(|name| !declared().any(|d| d == *name)) {
            let list = declared().collect::<Vec<_>>().join(", ");
            let list = if list.is_empty() { "none".to_owned() } else { list };
            let reason = format!("is not declared in the question; there is {list}");
            return Err(QuestionError::Value { name: name.clone(), reason });
        }
        let mut literals = BTreeMap::new();
        for p in &self.parameters {
            let typed = p.value(values);
            let literal = p.kind.literal(typed).map_err(|accepted| QuestionError::Value {
                name: p.name.clone(),
                reason: format!("found `{typed}`, expected {accepted}"),
            })?;
            literals.insert(p.name.as_str(), literal);
        }
        self.replaced(&literals)
    }

    fn replaced(&self, literals: &BTreeMap<&str, String>) -> Result<String, QuestionError> {
        let mut out = String::with_capacity(self.sql.len());
        for (part, text) in parts(&self.sql) {
            if part != Part::Code {
                out.push_str(text);
                continue;
            }
            let mut pieces = text.split('$');
            out.push_str(pieces.next().unwrap_or_default());
            for piece in pieces {
                let end = piece.find(|c| !is_word(c)).unwrap_or(piece.len());
                let (name, after) = piece.split_at(end);
                let Some(literal) = literals.get(name) else {
                    let line = 1 + out.matches('\n').count();
                    let list = literals.keys().copied().collect::<Vec<_>>().join(", ");
                    let reason = format!(
                        "`${name}` is not declared; the header would say `-- set {name}: number = \
                         1`{}",
                        if list.is_empty() { String::new() } else { format!("; there is {list}") }
                    );
                    return Err(QuestionError::Header { line, reason });
                };
                out.push_str(literal);
                out.push_str(after);
            }
        }
        Ok(out)
    }
}

/// The entries of the header, each with its line from 1: the comments before the first line that
/// is neither comment nor blank.
fn header(text: &str) -> Vec<(usize, String)> {
    let mut entries: Vec<(usize, String)> = Vec::new();
    for (line, n) in text.lines().zip(1..) {
        let Some(comment) = line.trim_start().strip_prefix("--") else {
            if line.trim().is_empty() {
                continue;
            }
            break;
        };
        match entries.last_mut() {
            Some((_, entry)) if comment.starts_with("  ") => {
                entry.push(' ');
                entry.push_str(comment.trim());
            }
            _ => entries.push((n, comment.trim().to_owned())),
        }
    }
    entries
}

/// `number = 12.5  dose in Gy`; a default with blanks stands in single quotes.
fn declaration(name: &str, text: &str) -> Result<Parameter, String> {
    let kinds = ParameterKind::VARIANTS.join("|");
    let form = format!("expected `-- set name: {kinds} = default  meaning`");
    if name.is_empty() || !name.chars().all(is_word) {
        return Err(format!("`{name}` is no name of a parameter; {form}"));
    }
    let (kind, rest) = text.split_once('=').ok_or_else(|| format!("found `{text}`; {form}"))?;
    let kind = kind.trim();
    let kind: ParameterKind =
        kind.parse().map_err(|_| format!("`{kind}` is no type of a parameter; {form}"))?;
    let rest = rest.trim();
    let (default, meaning) = match rest.strip_prefix('\'').and_then(|r| r.split_once('\'')) {
        Some(both) => both,
        None => rest.split_once(' ').unwrap_or((rest, "")),
    };
    if default.ends_with(',') {
        return Err(format!("a default with blanks stands in single quotes; {form}"));
    }
    kind.literal(default)
        .map_err(|accepted| format!("the default of {name} is `{default}`, expected {accepted}"))?;
    Ok(Parameter {
        name: name.to_owned(),
        kind,
        default: default.to_owned(),
        meaning: meaning.trim().to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
-- question: Which brainstems received
--           more than the threshold?
-- tables: metrics, plans
-- units: Gy
-- set threshold: number = 12.5  dose in Gy
-- set organ: text = 'Optic chiasm' name of the organ

SELECT '$organ is text' AS note -- $threshold
FROM metrics WHERE structure = $organ AND value > $threshold
";

    fn values(list: &[(&str, &str)]) -> BTreeMap<String, String> {
        list.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    }

    #[test]
    fn the_header_is_read() {
        let q = Question::parse(TEXT).unwrap();
        assert_eq!(q.question, "Which brainstems received more than the threshold?");
        assert_eq!(q.tables, ["metrics", "plans"]);
        assert_eq!(q.units, "Gy");
        let p: Vec<_> = q.parameters.iter().map(|p| (p.name.as_str(), p.kind.word())).collect();
        assert_eq!(p, [("threshold", "number"), ("organ", "text")]);
        assert_eq!(q.parameters[0].meaning, "dose in Gy");
        assert_eq!(q.parameters[1].default, "Optic chiasm");
    }

    #[test]
    fn values_replace_names_in_code_only() {
        let q = Question::parse(TEXT).unwrap();
        let sql = q.with_values(&values(&[("threshold", "8")])).unwrap();
        assert!(sql.contains("structure = 'Optic chiasm' AND value > 8\n"), "{sql}");
        assert!(sql.contains("'$organ is text' AS note -- $threshold"), "{sql}");
        assert_eq!(sql.lines().count(), TEXT.lines().count());
    }

    #[test]
    fn what_is_not_declared_is_refused_with_its_place() {
        let q = Question::parse(TEXT).unwrap();
        let text = q.with_values(&values(&[("limit", "8")])).unwrap_err().to_string();
        assert_eq!(
            text,
            "parameter limit: is not declared in the question; there is threshold, organ"
        );
        let text = q.with_values(&values(&[("threshold", "8 Gy")])).unwrap_err().to_string();
        assert!(text.contains("found `8 Gy`, expected a decimal number"), "{text}");
        let loose = Question::parse("SELECT 1\nWHERE x > $y").unwrap();
        let text = loose.with_values(&BTreeMap::new()).unwrap_err().to_string();
        assert!(text.starts_with("line 2: `$y` is not declared"), "{text}");
    }

    #[test]
    fn a_wrong_declaration_names_its_line() {
        for (line, found) in [
            ("-- set x: real = 1", "`real` is no type"),
            ("-- set x: number", "found `number`"),
            ("-- set x: number = a", "the default of x is `a`"),
            ("-- set x y: number = 1", "`x y` is no name"),
            ("-- set x: list = a, b  names", "stands in single quotes"),
        ] {
            let text = Question::parse(&format!("-- question: q\n{line}\nSELECT 1")).unwrap_err();
            let text = text.to_string();
            assert!(text.starts_with("line 2: ") && text.contains(found), "{text}");
        }
        let twice = "-- set x: number = 1\n-- set x: number = 2\nSELECT 1";
        assert!(Question::parse(twice).unwrap_err().to_string().contains("declared twice"));
    }
}
