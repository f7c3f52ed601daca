//! Dose-volume curves read back from table `dvh`.

use std::collections::BTreeMap;

use super::read::{CellError, DvhRow, Tables, rows_where};

/// A point of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Dose, Gy.
    pub dose_gy: f64,
    /// Volume that receives at least this dose, cc.
    pub volume_cc: f64,
    /// The same as a share of the structure, %.
    pub percent: f64,
}

/// The cumulative curve of one structure, by rising dose.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve(Vec<CurvePoint>);

impl Curve {
    /// A curve of points by rising dose.
    #[must_use]
    pub fn new(mut points: Vec<CurvePoint>) -> Self {
        points.sort_by(|a, b| a.dose_gy.total_cmp(&b.dose_gy));
        Self(points)
    }

    /// Its points.
    #[must_use]
    pub fn points(&self) -> &[CurvePoint] {
        &self.0
    }

    /// The highest dose of it, Gy; 0 without points.
    #[must_use]
    pub fn last_gy(&self) -> f64 {
        self.0.last().map_or(0.0, |p| p.dose_gy)
    }

    /// Volume at a dose, cc: linear between the rows of the table, 0 beyond the last.
    #[must_use]
    pub fn volume_cc(&self, dose_gy: f64) -> f64 {
        self.at(dose_gy, |p| p.volume_cc)
    }

    /// Share of the structure at a dose, %: see [`Curve::volume_cc`].
    #[must_use]
    pub fn percent(&self, dose_gy: f64) -> f64 {
        self.at(dose_gy, |p| p.percent)
    }

    fn at(&self, dose: f64, of: fn(&CurvePoint) -> f64) -> f64 {
        let next = self.0.partition_point(|p| p.dose_gy < dose);
        let before = next.checked_sub(1).and_then(|i| self.0.get(i));
        match (before, self.0.get(next)) {
            (Some(a), Some(b)) => {
                of(a) + (of(b) - of(a)) * (dose - a.dose_gy) / (b.dose_gy - a.dose_gy)
            }
            (None, Some(b)) => of(b),
            _ => 0.0,
        }
    }
}

/// Curves by plan and structure.
pub type CurvesByPlan = BTreeMap<String, BTreeMap<String, Curve>>;

/// The curves of the structures of one name: plan, then structure, then curve.
///
/// # Errors
/// A cell that is not understood.
pub fn curves(tables: &Tables, structure: &str) -> Result<CurvesByPlan, CellError> {
    let mut found: BTreeMap<&str, BTreeMap<&str, Vec<CurvePoint>>> = BTreeMap::new();
    let rows: Vec<DvhRow<'_>> = rows_where(tables, "structure", |s| s == structure)?;
    for row in rows {
        let (Some(dose_gy), Some(volume_cc), Some(percent)) =
            (row.dose_gy, row.volume_cc, row.volume_percent)
        else {
            continue;
        };
        let point = CurvePoint { dose_gy, volume_cc, percent };
        let of_plan = found.entry(row.plan_id).or_default();
        of_plan.entry(row.structure_id).or_default().push(point);
    }
    let whole = |list: BTreeMap<&str, Vec<CurvePoint>>| {
        list.into_iter().map(|(id, points)| (id.to_owned(), Curve::new(points))).collect()
    };
    Ok(found.into_iter().map(|(plan, list)| (plan.to_owned(), whole(list))).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Cells, LoadedTable};

    #[test]
    fn a_curve_is_read_between_its_rows_and_ends() {
        let point =
            |dose_gy, percent: f64| CurvePoint { dose_gy, volume_cc: percent / 10.0, percent };
        let curve = Curve::new(vec![point(1.0, 50.0), point(0.0, 100.0), point(2.0, 0.0)]);
        assert_eq!(
            [0.0, 0.5, 1.0, 1.5, 3.0].map(|d| curve.percent(d)),
            [100.0, 75.0, 50.0, 25.0, 0.0]
        );
        assert_eq!((curve.volume_cc(0.5), curve.last_gy()), (7.5, 2.0));
        assert_eq!((Curve::default().percent(1.0), Curve::default().last_gy()), (0.0, 0.0));
    }

    #[test]
    fn curves_are_those_of_the_name_by_plan_and_structure() {
        let text = |name: &str, list: [&str; 4]| (name.into(), Cells::texts(list.map(Some)));
        let real = |name: &str, list: [f64; 4]| (name.into(), Cells::Real(list.map(Some).into()));
        let columns = vec![
            text("structure", ["a", "a", "b", "a"]),
            text("plan_id", ["p", "p", "p", "q"]),
            text("structure_id", ["p/1", "p/2", "p/3", "q/1"]),
            real("dose_gy", [0.0; 4]),
            real("volume_cc", [1.0, 2.0, 3.0, 4.0]),
            real("volume_percent", [100.0; 4]),
        ];
        let tables = Tables::from([("dvh".to_owned(), LoadedTable::new(columns))]);
        let found = curves(&tables, "a").unwrap();
        assert_eq!(found.keys().collect::<Vec<_>>(), ["p", "q"]);
        assert_eq!(found["p"].keys().collect::<Vec<_>>(), ["p/1", "p/2"]);
        assert_eq!(found["q"]["q/1"].volume_cc(0.0), 4.0);
    }
}
