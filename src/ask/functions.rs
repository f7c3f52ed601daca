//! Functions of SQL that statistics need and SQLite itself lacks. Their names are those of the SQL
//! standard where it has one.

use std::collections::BTreeSet;

use rusqlite::Connection;
use rusqlite::functions::{Aggregate, Context, FunctionFlags};

/// Each function as it is written, with what it gives.
pub const FUNCTIONS: &[(&str, &str)] = &[
    ("MEDIAN(x)", "the middle of the values that are there"),
    (
        "PERCENTILE_CONT(x, q)",
        "the value below which a share q (0 to 1) of the values lies, linear between neighbours",
    ),
    ("STDDEV_SAMP(x)", "standard deviation of a sample (n - 1)"),
    ("CORR(x, y)", "Pearson's coefficient of correlation, of rows in which both are there"),
    ("SQRT(x), EXP(x), LN(x), POWER(x, y)", "as in mathematics; missing where it is not defined"),
];

/// A function of one number.
type Plain = fn(f64) -> f64;

/// Makes the functions known to a connection.
///
/// # Errors
/// When the engine refuses.
pub(super) fn register(connection: &Connection) -> rusqlite::Result<()> {
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    connection.create_aggregate_function("median", 1, flags, Quantile)?;
    connection.create_aggregate_function("percentile_cont", 2, flags, Quantile)?;
    connection.create_aggregate_function("stddev_samp", 1, flags, Deviation)?;
    connection.create_aggregate_function("corr", 2, flags, Correlation)?;
    let plain: [(&str, Plain); 3] = [("sqrt", f64::sqrt), ("exp", f64::exp), ("ln", f64::ln)];
    for (name, of) in plain {
        connection.create_scalar_function(name, 1, flags, move |context| {
            Ok(number(context, 0)?.map(of).filter(|v| v.is_finite()))
        })?;
    }
    connection.create_scalar_function("power", 2, flags, |context| {
        let both = number(context, 0)?.zip(number(context, 1)?);
        Ok(both.map(|(x, y)| x.powf(y)).filter(|v| v.is_finite()))
    })
}

/// An argument as a number; absent where it is missing or a text.
fn number(context: &Context<'_>, index: usize) -> rusqlite::Result<Option<f64>> {
    use rusqlite::types::ValueRef;
    Ok(match context.get_raw(index) {
        #[expect(clippy::cast_precision_loss, reason = "counts and days, far below 2^53")]
        ValueRef::Integer(value) => Some(value as f64),
        ValueRef::Real(value) => Some(value),
        ValueRef::Null | ValueRef::Text(_) | ValueRef::Blob(_) => None,
    })
}

/// Values of a group, with the share that is asked for: a half for the median.
#[derive(Debug, Default)]
struct Ranked {
    values: Vec<f64>,
    shares: BTreeSet<u64>,
}

struct Quantile;

impl Aggregate<Ranked, Option<f64>> for Quantile {
    fn init(&self, _: &mut Context<'_>) -> rusqlite::Result<Ranked> {
        Ok(Ranked::default())
    }

    fn step(&self, context: &mut Context<'_>, ranked: &mut Ranked) -> rusqlite::Result<()> {
        ranked.values.extend(number(context, 0)?);
        let share = if context.len() > 1 { number(context, 1)? } else { Some(0.5) };
        match share.filter(|q| (0.0..=1.0).contains(q)) {
            Some(share) => ranked.shares.insert(share.to_bits()),
            None => return Err(refused("PERCENTILE_CONT takes a share from 0 to 1, such as 0.25")),
        };
        Ok(())
    }

    fn finalize(
        &self,
        _: &mut Context<'_>,
        ranked: Option<Ranked>,
    ) -> rusqlite::Result<Option<f64>> {
        let Some(Ranked { mut values, shares }) = ranked else { return Ok(None) };
        if shares.len() > 1 {
            return Err(refused("PERCENTILE_CONT takes one share for all rows of a group"));
        }
        values.sort_by(f64::total_cmp);
        let share = shares.first().map_or(0.5, |bits| f64::from_bits(*bits));
        Ok(quantile(&values, share))
    }
}

/// The value at a share of sorted values, linear between neighbours (type 7 of Hyndman and Fan, The
/// American Statistician 50 (1996) 361-365; from memory); absent without values.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    #[expect(clippy::cast_precision_loss, reason = "rows of a table, far below 2^53")]
    let place = share * last as f64;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "0 to the last row"
    )]
    let below = place.floor() as usize;
    let low = *sorted.get(below)?;
    let high = *sorted.get((below + 1).min(last))?;
    Some(low + (high - low) * place.fract())
}

struct Deviation;

impl Aggregate<Vec<f64>, Option<f64>> for Deviation {
    fn init(&self, _: &mut Context<'_>) -> rusqlite::Result<Vec<f64>> {
        Ok(Vec::new())
    }

    fn step(&self, context: &mut Context<'_>, values: &mut Vec<f64>) -> rusqlite::Result<()> {
        values.extend(number(context, 0)?);
        Ok(())
    }

    fn finalize(
        &self,
        _: &mut Context<'_>,
        values: Option<Vec<f64>>,
    ) -> rusqlite::Result<Option<f64>> {
        let values = values.unwrap_or_default();
        if values.len() < 2 {
            return Ok(None);
        }
        #[expect(clippy::cast_precision_loss, reason = "rows of a table, far below 2^53")]
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        Ok(Some((squares / (n - 1.0)).sqrt()))
    }
}

struct Correlation;

impl Aggregate<Vec<[f64; 2]>, Option<f64>> for Correlation {
    fn init(&self, _: &mut Context<'_>) -> rusqlite::Result<Vec<[f64; 2]>> {
        Ok(Vec::new())
    }

    fn step(&self, context: &mut Context<'_>, pairs: &mut Vec<[f64; 2]>) -> rusqlite::Result<()> {
        if let Some((x, y)) = number(context, 0)?.zip(number(context, 1)?) {
            pairs.push([x, y]);
        }
        Ok(())
    }

    fn finalize(
        &self,
        _: &mut Context<'_>,
        pairs: Option<Vec<[f64; 2]>>,
    ) -> rusqlite::Result<Option<f64>> {
        let pairs = pairs.unwrap_or_default();
        #[expect(clippy::cast_precision_loss, reason = "rows of a table, far below 2^53")]
        let n = pairs.len() as f64;
        let mean = |axis: usize| pairs.iter().map(|p| p[axis]).sum::<f64>() / n;
        let [x, y] = [mean(0), mean(1)];
        let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
        for pair in &pairs {
            let (dx, dy) = (pair[0] - x, pair[1] - y);
            xx += dx * dx;
            yy += dy * dy;
            xy += dx * dy;
        }
        // Without spread in one of them there is no coefficient.
        let scale = (xx * yy).sqrt();
        Ok((scale > 0.0).then(|| xy / scale))
    }
}

fn refused(reason: &str) -> rusqlite::Error {
    rusqlite::Error::UserFunctionError(reason.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(expression: &str) -> rusqlite::Result<Option<f64>> {
        let connection = Connection::open_in_memory().unwrap();
        register(&connection).unwrap();
        let rows = "SELECT 1 AS x, 2.0 AS y UNION ALL SELECT 4, 7.5 UNION ALL SELECT 2, NULL
                    UNION ALL SELECT NULL, 3 UNION ALL SELECT 9, 1.0";
        connection.query_row(&format!("SELECT {expression} FROM ({rows})"), [], |row| row.get(0))
    }

    /// Worked by hand on x = 1, 2, 4, 9.
    #[test]
    fn quantiles_are_linear_between_neighbours_and_leave_out_what_is_missing() {
        assert_eq!(asked("MEDIAN(x)").unwrap(), Some(3.0));
        assert_eq!(asked("PERCENTILE_CONT(x, 0.25)").unwrap(), Some(1.75));
        assert_eq!(asked("PERCENTILE_CONT(x, 1)").unwrap(), Some(9.0));
        assert_eq!(asked("MEDIAN(CASE WHEN x > 99 THEN x END)").unwrap(), None);
        assert!(asked("PERCENTILE_CONT(x, 25)").unwrap_err().to_string().contains("0 to 1"));
    }

    /// Deviations from the mean 4 of x: −3, −2, 0, 5. Pairs (1, 2), (4, 7.5), (9, 1): means 14/3 and
    /// 3.5; sums of products 98/3, 24.5 and −8.
    #[test]
    fn spread_and_correlation_are_those_of_the_formulas() {
        let deviation = asked("STDDEV_SAMP(x)").unwrap().unwrap();
        assert!((deviation - (38.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        let corr = asked("CORR(x, y)").unwrap().unwrap();
        assert!((corr - -8.0 / (98.0_f64 / 3.0 * 24.5).sqrt()).abs() < 1e-12, "{corr}");
        assert_eq!(asked("CORR(x, 1)").unwrap(), None, "without spread");
        assert_eq!(asked("STDDEV_SAMP(CASE WHEN x = 1 THEN x END)").unwrap(), None);
    }

    #[test]
    fn plain_functions_are_missing_where_they_are_not_defined() {
        assert_eq!(asked("SQRT(16)").unwrap(), Some(4.0));
        assert_eq!(asked("POWER(2, 10)").unwrap(), Some(1024.0));
        assert_eq!(asked("LN(EXP(2))").unwrap(), Some(2.0));
        assert_eq!(asked("SQRT(-1)").unwrap(), None);
        assert_eq!(asked("LN(0)").unwrap(), None);
    }
}
