//! Columns of a table as lists of cells, and rows picked by the text of a column. Knows the engine,
//! and nothing of what the tables are about.

use polars::prelude::{BooleanChunked, Column, DataFrame, DataType, NewChunkedArray};

/// The texts of a column; missing everywhere when the table has no such column or it holds none.
#[must_use]
pub fn texts<'f>(frame: &'f DataFrame, name: &str) -> Vec<Option<&'f str>> {
    let cells = frame.column(name).ok().and_then(|c| c.str().ok());
    cells.map_or_else(|| vec![None; frame.height()], |c| c.iter().collect())
}

/// The numbers of a column, integers included; see [`texts`] for what is not there.
#[must_use]
pub fn reals(frame: &DataFrame, name: &str) -> Vec<Option<f64>> {
    let cast = |c: &Column| c.cast(&DataType::Float64).ok();
    let column = frame.column(name).ok().filter(|c| c.dtype().is_primitive_numeric());
    let column = column.and_then(cast);
    let cells = column.as_ref().and_then(|c| c.f64().ok());
    let finite = |v: Option<f64>| v.filter(|v| v.is_finite());
    cells.map_or_else(|| vec![None; frame.height()], |c| c.iter().map(finite).collect())
}

/// The whole numbers of a column; see [`texts`] for what is not there.
#[must_use]
pub fn integers(frame: &DataFrame, name: &str) -> Vec<Option<i64>> {
    let column = frame.column(name).ok().filter(|c| c.dtype().is_integer());
    let column = column.and_then(|c| c.cast(&DataType::Int64).ok());
    let cells = column.as_ref().and_then(|c| c.i64().ok());
    cells.map_or_else(|| vec![None; frame.height()], |c| c.iter().collect())
}

/// The answers yes and no of a column; see [`texts`] for what is not there.
#[must_use]
pub fn flags(frame: &DataFrame, name: &str) -> Vec<Option<bool>> {
    let cells = frame.column(name).ok().and_then(|c| c.bool().ok());
    cells.map_or_else(|| vec![None; frame.height()], |c| c.iter().collect())
}

/// The rows of which the column `name` holds a text that `wanted` accepts.
#[must_use]
pub fn rows_where(frame: &DataFrame, name: &str, wanted: impl Fn(&str) -> bool) -> DataFrame {
    let cells = texts(frame, name);
    let mask = cells.iter().map(|c| Some(c.is_some_and(&wanted)));
    let mask = BooleanChunked::from_iter_options("mask".into(), mask);
    frame.filter(&mask).unwrap_or_else(|_| frame.head(Some(0)))
}

#[cfg(test)]
mod tests {
    use polars::prelude::{NamedFrom, Series};

    use super::*;

    #[test]
    fn cells_keep_their_type_and_what_is_missing() {
        let name = Series::new("name".into(), [Some("a"), None, Some("b")]);
        let dose = Series::new("dose".into(), [Some(1.5), Some(f64::NAN), None]);
        let day = Series::new("day".into(), [Some(3_i64), None, Some(-1)]);
        let done = Series::new("done".into(), [Some(true), None, Some(false)]);
        let columns = vec![name.into(), dose.into(), day.into(), done.into()];
        let frame = DataFrame::new(3, columns).unwrap();
        assert_eq!(texts(&frame, "name"), [Some("a"), None, Some("b")]);
        assert_eq!(texts(&frame, "dose"), [None, None, None]);
        assert_eq!(reals(&frame, "dose"), [Some(1.5), None, None]);
        assert_eq!(reals(&frame, "day"), [Some(3.0), None, Some(-1.0)]);
        assert_eq!(integers(&frame, "day"), [Some(3), None, Some(-1)]);
        assert_eq!(integers(&frame, "nowhere"), [None, None, None]);
        assert_eq!(flags(&frame, "done"), [Some(true), None, Some(false)]);
        let picked = rows_where(&frame, "name", |t| t == "b");
        assert_eq!((picked.height(), integers(&picked, "day")), (1, vec![Some(-1)]));
    }
}
