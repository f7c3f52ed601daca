//! A number or word that a question takes from outside: declared in its header with a type and a
//! default, written `$name` in the SQL. Knows no table; whether the name of a structure or a metric
//! means anything is found out in [`super::names`].

use std::collections::BTreeMap;

use strum::{EnumString, IntoStaticStr, VariantNames};

/// What a parameter holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum ParameterKind {
    /// A decimal number.
    Number,
    /// A whole number.
    Integer,
    /// Text.
    Text,
    /// Texts separated by commas, for `IN ($name)`.
    List,
    /// The name of a structure, as in column `structure`.
    Structure,
    /// Names of structures separated by commas.
    Structures,
    /// The name of a metric.
    Metric,
    /// Names of metrics separated by commas.
    Metrics,
}

impl ParameterKind {
    /// The word that names it.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// Whether it is the name of something that exists or not.
    #[must_use]
    pub const fn is_name(self) -> bool {
        matches!(self, Self::Structure | Self::Structures | Self::Metric | Self::Metrics)
    }

    /// `typed` as a literal of SQL.
    ///
    /// # Errors
    /// What would be accepted, in words.
    pub(super) fn literal(self, typed: &str) -> Result<String, &'static str> {
        match self {
            Self::Number => typed
                .parse::<f64>()
                .ok()
                .filter(|v| v.is_finite())
                .map(|v| if v < 0.0 { format!("({v})") } else { v.to_string() })
                .ok_or("a decimal number with a point, such as 12.5"),
            Self::Integer => typed
                .parse::<i64>()
                .map(|v| if v < 0 { format!("({v})") } else { v.to_string() })
                .map_err(|_| "a whole number, such as 3"),
            Self::Text | Self::Structure | Self::Metric => quoted(typed),
            Self::List | Self::Structures | Self::Metrics => {
                let items: Result<Vec<_>, _> =
                    typed.split(',').map(|item| quoted(item.trim())).collect();
                items.map(|list| list.join(", "))
            }
        }
    }
}

fn quoted(text: &str) -> Result<String, &'static str> {
    if text.contains(char::is_control) {
        return Err("text on one line");
    }
    Ok(format!("'{}'", text.replace('\'', "''")))
}

/// A declared parameter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parameter {
    /// Name, without the `$`.
    pub name: String,
    /// What it holds.
    pub kind: ParameterKind,
    /// Its value unless another is given, as typed.
    pub default: String,
    /// Meaning, with the unit.
    pub meaning: String,
}

impl Parameter {
    /// What was typed for it, else its default.
    #[must_use]
    pub fn value<'v>(&'v self, values: &'v BTreeMap<String, String>) -> &'v str {
        values.get(&self.name).unwrap_or(&self.default)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_become_literals_that_cannot_leave_their_quotes() {
        assert_eq!(ParameterKind::Number.literal("12.50").unwrap(), "12.5");
        assert_eq!(ParameterKind::Number.literal("-3").unwrap(), "(-3)");
        assert_eq!(ParameterKind::Integer.literal("5").unwrap(), "5");
        assert_eq!(ParameterKind::Text.literal("a' OR 1=1 --").unwrap(), "'a'' OR 1=1 --'");
        assert_eq!(ParameterKind::List.literal("a, b'c").unwrap(), "'a', 'b''c'");
        for (kind, typed) in [
            (ParameterKind::Number, "12,5"),
            (ParameterKind::Number, "inf"),
            (ParameterKind::Integer, "1.5"),
            (ParameterKind::Text, "a\nb"),
        ] {
            assert!(kind.literal(typed).is_err(), "{typed}");
        }
    }
}
