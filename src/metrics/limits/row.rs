//! One row of a list of limits, from text: what is wrong is said with column, value and what would
//! be accepted. Where the text comes from is not known here.

use strum::VariantNames;

use super::{Limit, Tier};
use crate as metrics;
use tidydose_geometry::units::typed::{self, NotANumber};

/// The columns of a list of limits.
pub const COLUMNS: &[&str] = &[
    "organ",
    "metric",
    "operator",
    "limit",
    "unit",
    "fractions",
    "tier",
    "target_inside",
    "source",
    "evidence",
    "endpoint",
    "risk",
    "note",
];

/// What is wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("column `{column}`: `{value}` cannot be used; accepted: {accepted}")]
pub struct RowFault {
    /// The column.
    pub column: &'static str,
    /// What stands there.
    pub value: String,
    /// What would be accepted.
    pub accepted: String,
}

/// Reads a row; `cell` gives the text under a column.
///
/// # Errors
/// The first cell that cannot be used.
pub fn read<'a>(cell: impl Fn(&'static str) -> &'a str) -> Result<Limit, RowFault> {
    let fault = |column: &'static str, accepted: &str| RowFault {
        column,
        value: cell(column).to_owned(),
        accepted: accepted.to_owned(),
    };
    let text = |column: &'static str, accepted: &str| match cell(column) {
        "" => Err(fault(column, accepted)),
        text => Ok(text.to_owned()),
    };
    let organ = text("organ", "a standard name (TG-263) such as Brainstem")?;
    let metric = metrics::parse(cell("metric")).map_err(|e| fault("metric", &e.to_string()))?;
    let unit = metric.definition.unit;
    if cell("unit") != unit {
        return Err(fault("unit", &format!("{unit}, the unit of {metric}")));
    }
    let inclusive = match cell("operator") {
        "<=" => true,
        "<" => false,
        _ => return Err(fault("operator", "<= or <")),
    };
    let value = number(cell("limit")).map_err(|accepted| fault("limit", &accepted))?;
    let fractions = fractions(cell("fractions"))
        .ok_or_else(|| fault("fractions", "a number such as 3, or a range such as 25-40"))?;
    let tier: Tier = cell("tier").parse().map_err(|_| fault("tier", &Tier::VARIANTS.join(", ")))?;
    let target_may_lie_inside = match cell("target_inside") {
        "allowed" => true,
        "judge" => false,
        _ => return Err(fault("target_inside", "judge, or allowed as for the brain")),
    };
    Ok(Limit {
        organ,
        metric,
        inclusive,
        value,
        fractions,
        tier,
        target_may_lie_inside,
        source: text("source", "the paper, report or protocol the limit comes from")?,
        evidence: text("evidence", "words such as `read on page` or `from memory`")?,
        endpoint: cell("endpoint").to_owned(),
        risk: cell("risk").to_owned(),
        note: cell("note").to_owned(),
    })
}

/// A number as people type it, or what would be accepted.
fn number(text: &str) -> Result<f64, String> {
    match typed::number(text) {
        Ok(value) if value >= 0.0 => Ok(value),
        Err(NotANumber::Ambiguous { small, large }) if small >= 0.0 => {
            Err(format!("{small} or {large}, whichever is meant"))
        }
        _ => Err("a number of 0 or more".to_owned()),
    }
}

fn fractions(text: &str) -> Option<[u32; 2]> {
    let one = |t: &str| t.trim().parse::<u32>().ok().filter(|n| *n > 0);
    let [low, high] = match text.split_once('-') {
        Some((low, high)) => [one(low)?, one(high)?],
        None => [one(text)?; 2],
    };
    (low <= high).then_some([low, high])
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A row that is right, with one cell changed.
    pub(crate) fn row(column: &str, value: &str) -> Result<Limit, RowFault> {
        let right = [
            ("organ", "Brainstem"),
            ("metric", "D0.1cc[Gy]"),
            ("operator", "<="),
            ("limit", "12,5"),
            ("unit", "Gy"),
            ("fractions", "1"),
            ("tier", "optimal"),
            ("target_inside", "judge"),
            ("source", "a paper"),
            ("evidence", "read"),
        ];
        read(|name| match right.iter().find(|(n, _)| *n == name) {
            Some(_) if name == column => value,
            Some((_, text)) => text,
            None => "",
        })
    }

    #[test]
    fn a_row_is_read() {
        let limit = row("", "").unwrap();
        assert_eq!((limit.value, limit.fractions), (12.5, [1, 1]));
        assert_eq!(row("fractions", "25 - 40").unwrap().fractions, [25, 40]);
        assert!(!row("operator", "<").unwrap().inclusive);
        assert!(row("target_inside", "allowed").unwrap().target_may_lie_inside);
    }

    #[test]
    fn each_wrong_cell_is_named_with_what_would_be_accepted() {
        for (column, value, accepted) in [
            ("organ", "", "TG-263"),
            ("metric", "Dmax", "Max[Gy]"),
            ("operator", ">=", "<= or <"),
            ("limit", "-1", "0 or more"),
            ("limit", "NaN", "0 or more"),
            ("limit", "12,500", "12.5 or 12500, whichever is meant"),
            ("unit", "cGy", "Gy, the unit of D0.1cc[Gy]"),
            ("fractions", "5-3", "25-40"),
            ("fractions", "0", "25-40"),
            ("tier", "hard", "optimal, mandatory"),
            ("target_inside", "yes", "judge"),
            ("source", "", "paper"),
            ("evidence", "", "from memory"),
        ] {
            let text = row(column, value).unwrap_err().to_string();
            let start = format!("column `{column}`: `{value}` cannot be used");
            assert!(text.starts_with(&start) && text.contains(accepted), "{text}");
        }
    }
}
