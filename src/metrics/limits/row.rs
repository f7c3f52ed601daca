//! One row of a list of limits, from text: what is wrong is said with column, value and what would
//! be accepted. Where the text comes from is not known here.

use strum::VariantNames;

use super::{Checked, Limit, Tier, holds_targets};
use crate as metrics;
use crate::Metric;
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
    "checked",
    "in_use",
    "endpoint",
    "risk",
    "note",
];

/// Those that no list can do without, besides `organ`, which may be called `name`.
pub const REQUIRED: &[&str] = &["metric", "fractions", "tier", "source"];

/// What is the evidence of a row that does not say it.
pub const OWN_EVIDENCE: &str = "stated in a list of your own";

/// A row of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct ListedLimit {
    /// The limit.
    pub limit: Limit,
    /// Whether values are held against it; if not it stands in the list for whoever wants it.
    pub in_use: bool,
}

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

impl RowFault {
    fn new(column: &'static str, value: &str, accepted: &str) -> Self {
        Self { column, value: value.to_owned(), accepted: accepted.to_owned() }
    }
}

/// Reads a row; `cell` gives the text under a column, empty for a column that is not there.
///
/// # Errors
/// The first cell that cannot be used.
pub fn read<'a>(cell: impl Fn(&'static str) -> &'a str) -> Result<ListedLimit, RowFault> {
    let fault =
        |column: &'static str, accepted: &str| RowFault::new(column, cell(column), accepted);
    let text = |column: &'static str, accepted: &str| match cell(column) {
        "" => Err(fault(column, accepted)),
        text => Ok(text.to_owned()),
    };
    let organ = text("organ", "a standard name (TG-263) such as Brainstem")?;
    let threshold = Threshold::read(&cell)?;
    let fractions = fractions(cell("fractions"))
        .ok_or_else(|| fault("fractions", "a number such as 3, or a range such as 25 to 40"))?;
    let tier: Tier =
        lower(cell("tier")).parse().map_err(|_| fault("tier", &Tier::VARIANTS.join(", ")))?;
    let target_may_lie_inside = match lower(cell("target_inside")).as_str() {
        "allowed" => true,
        "judge" => false,
        "" => holds_targets(&organ),
        _ => return Err(fault("target_inside", "judge; allowed, as for the brain; or nothing")),
    };
    let checked = match lower(cell("checked")).as_str() {
        "" => Checked::Own,
        word => word.parse().map_err(|_| {
            fault("checked", &format!("{}, or nothing", Checked::VARIANTS.join(", ")))
        })?,
    };
    let in_use = match lower(cell("in_use")).as_str() {
        "yes" | "" => true,
        "no" => false,
        _ => return Err(fault("in_use", "yes, no, or nothing for yes")),
    };
    let evidence = match cell("evidence") {
        "" => OWN_EVIDENCE,
        text => text,
    };
    let limit = Limit {
        organ,
        metric: threshold.metric,
        inclusive: threshold.inclusive,
        value: threshold.value,
        fractions,
        tier,
        target_may_lie_inside,
        source: text("source", "the paper, report or protocol the limit comes from")?,
        evidence: evidence.to_owned(),
        checked,
        endpoint: cell("endpoint").to_owned(),
        risk: cell("risk").to_owned(),
        note: cell("note").to_owned(),
    };
    Ok(ListedLimit { limit, in_use })
}

fn lower(text: &str) -> String {
    text.to_lowercase()
}

/// What may be written for [`Limit::inclusive`], longest first; nothing is as `<=`.
const OPERATORS: [(&str, bool); 3] = [("<=", true), ("≤", true), ("<", false)];

/// A metric with the value that it is to keep.
struct Threshold {
    metric: Metric,
    inclusive: bool,
    value: f64,
}

impl Threshold {
    /// From columns of their own, or from the column of the metric alone: `D0.1cc[Gy] <= 15`.
    fn read<'a>(cell: &impl Fn(&'static str) -> &'a str) -> Result<Self, RowFault> {
        let typed = cell("metric");
        let alone = OPERATORS
            .iter()
            .find_map(|(sign, inclusive)| Some((typed.split_once(sign)?, *inclusive)));
        let (name, inclusive, value, from) = match alone {
            Some(((name, value), inclusive)) => {
                let twice = ["operator", "limit"].into_iter().find(|c| !cell(c).is_empty());
                if let Some(column) = twice {
                    let accepted = "nothing, since the limit stands behind the metric already";
                    return Err(RowFault::new(column, cell(column), accepted));
                }
                (name.trim(), inclusive, value.trim(), "metric")
            }
            None => (typed, operator(cell("operator"))?, cell("limit"), "limit"),
        };
        let metric =
            metrics::parse(name).map_err(|e| RowFault::new("metric", typed, &e.to_string()))?;
        let unit = metric.definition.unit;
        let stated = cell("unit");
        if !stated.is_empty() && stated != unit {
            let accepted = format!("{unit}, the unit of {metric}, or nothing");
            return Err(RowFault::new("unit", stated, &accepted));
        }
        let number = match value.rsplit_once(char::is_whitespace) {
            Some((number, last)) if last == unit => number,
            _ => value,
        };
        let value =
            self::number(number).map_err(|accepted| RowFault::new(from, cell(from), &accepted))?;
        Ok(Self { metric, inclusive, value })
    }
}

fn operator(typed: &str) -> Result<bool, RowFault> {
    if typed.is_empty() {
        return Ok(true);
    }
    let known = OPERATORS.iter().find(|(sign, _)| *sign == typed).map(|(_, inclusive)| *inclusive);
    known.ok_or_else(|| RowFault::new("operator", typed, "<= or <; nothing is as <="))
}

/// A number as people type it, or what would be accepted.
fn number(text: &str) -> Result<f64, String> {
    match typed::number(text) {
        Ok(value) if value >= 0.0 => Ok(value),
        Err(NotANumber::Ambiguous { small, large }) if small >= 0.0 => {
            Err(format!("{small} or {large}, whichever is meant"))
        }
        _ => {
            Err("a number of 0 or more, here or behind the metric as in `D0.1cc[Gy] <= 15`"
                .to_owned())
        }
    }
}

/// `3`, `25-40`, or `25 to 40`, which no spreadsheet takes for a date.
fn fractions(text: &str) -> Option<[u32; 2]> {
    let one = |t: &str| t.trim().parse::<u32>().ok().filter(|n| *n > 0);
    let range = ["-", "–", "to"].into_iter().find_map(|sign| text.split_once(sign));
    let [low, high] = match range {
        Some((low, high)) => [one(low)?, one(high)?],
        None => [one(text)?; 2],
    };
    (low <= high).then_some([low, high])
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A row that is right, with one cell changed.
    pub(crate) fn row(column: &'static str, value: &'static str) -> Result<Limit, RowFault> {
        listed(&[(column, value)]).map(|listed| listed.limit)
    }

    fn listed(changes: &[(&'static str, &'static str)]) -> Result<ListedLimit, RowFault> {
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
            ("checked", "source"),
            ("in_use", "yes"),
        ];
        read(|name| {
            let cells = changes.iter().chain(&right);
            cells.copied().find(|(n, _)| *n == name).map_or("", |(_, text)| text)
        })
    }

    #[test]
    fn a_row_is_read() {
        let limit = row("", "").unwrap();
        assert_eq!((limit.value, limit.fractions), (12.5, [1, 1]));
        for range in ["25-40", "25 - 40", "25 to 40", "25–40"] {
            assert_eq!(row("fractions", range).unwrap().fractions, [25, 40], "{range}");
        }
        assert!(!row("operator", "<").unwrap().inclusive);
        assert!(row("operator", "≤").unwrap().inclusive);
        assert!(row("target_inside", "Allowed").unwrap().target_may_lie_inside);
        assert_eq!(row("tier", "Mandatory").unwrap().tier, Tier::Mandatory);
        assert!(!listed(&[("in_use", "no")]).unwrap().in_use);
        assert_eq!(row("checked", "not_checked").unwrap().checked, Checked::NotChecked);
    }

    /// Six columns are enough; what the others would say has its usual meaning.
    #[test]
    fn a_short_row_is_read() {
        const FURTHER: [&str; 8] =
            ["operator", "limit", "unit", "target_inside", "evidence", "checked", "in_use", "note"];
        let short = |organ, metric| {
            let none = FURTHER.map(|column| (column, ""));
            listed(&[&none[..], &[("organ", organ), ("metric", metric)]].concat())
        };
        for metric in ["D0.1cc[Gy] <= 12.5", "D0.1cc[Gy]≤12,5 Gy", "D0.1cc[Gy]  <=12.5"] {
            let ListedLimit { limit, in_use } = short("Brainstem", metric).unwrap();
            assert_eq!((limit.value, limit.inclusive, in_use), (12.5, true, true), "{metric}");
            assert_eq!((limit.checked, limit.evidence.as_str()), (Checked::Own, OWN_EVIDENCE));
            assert!(!limit.target_may_lie_inside);
        }
        assert!(!short("Brainstem", "Max[Gy] < 12").unwrap().limit.inclusive);
        assert!(short("Brain", "V12Gy[cc] <= 10 cc").unwrap().limit.target_may_lie_inside);
        let fault = short("Brainstem", "D0.1cc[Gy] <= 12 cc").unwrap_err();
        assert_eq!((fault.column, fault.value.as_str()), ("metric", "D0.1cc[Gy] <= 12 cc"));
        let fault = short("Brainstem", "D0.1cc[Gy]").unwrap_err();
        assert_eq!(fault.column, "limit");
        assert!(fault.accepted.contains("D0.1cc[Gy] <= 15"), "{fault}");
        let twice = listed(&[("metric", "D0.1cc[Gy] <= 12"), ("operator", "")]).unwrap_err();
        assert_eq!((twice.column, twice.value.as_str()), ("limit", "12,5"));
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
            ("fractions", "5-3", "25 to 40"),
            ("fractions", "0", "25 to 40"),
            ("fractions", "05. Mar", "25 to 40"),
            ("tier", "hard", "mandatory, local, optimal"),
            ("target_inside", "yes", "judge"),
            ("source", "", "paper"),
            ("checked", "maybe", "source, quotation, own, not_checked, or nothing"),
            ("in_use", "x", "yes, no"),
        ] {
            let text = row(column, value).unwrap_err().to_string();
            let start = format!("column `{column}`: `{value}` cannot be used");
            assert!(text.starts_with(&start) && text.contains(accepted), "{text}");
        }
    }
}
