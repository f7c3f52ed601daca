//! Tables `analysis` and `analysis_bounds`: one row for each lesion with the columns that the user
//! chose for a paper. The first holds values that count and nothing else, the second says of each how
//! far its bounds reach and why it is or is not there. Nothing is computed here.

mod chosen;
mod facts;

pub use chosen::{AnalysisColumn, ChosenColumns};
pub(crate) use chosen::{ColumnFault, meant, offered, units_like};

use std::borrow::Cow;

use chosen::ColumnSource;
use facts::{AnalysisEntry, KEYS, facts};

use crate::column::{Column, Sheet};
use crate::lesions;
use crate::study::Study;
use crate::table::Table;
use crate::wide::values::{Found, Source, status_words, values_of};
use tidydose_metrics::Status;

pub(super) const TABLE: Table = Table {
    name: "analysis",
    grain: "one lesion of a case, with the columns that columns.csv asks for; values that count",
    key: &["lesion_id"],
    by_case: true,
    sheet,
};

pub(super) const BOUNDS: Table = Table {
    name: "analysis_bounds",
    grain: "one lesion of a case, with the bounds and the state of each value of table analysis",
    key: &["lesion_id"],
    by_case: true,
    sheet: bounds_sheet,
};

fn entries<'a>(study: &Study<'a>) -> Vec<AnalysisEntry<'a>> {
    let sources: Vec<Source<'a>> = study.columns.values().map(|(_, source)| source).collect();
    let entry = |row: lesions::LesionEntry<'a>| {
        let values = row.measured.analysis.map_or_else(Vec::new, |analysis| {
            values_of((row.measured.case, analysis), row.lesion, sources.iter().copied())
        });
        AnalysisEntry { row, values }
    };
    lesions::of_plans(study).into_iter().map(entry).collect()
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut known: Vec<Option<Column<AnalysisEntry<'a>>>> = facts().into_iter().map(Some).collect();
    let mut take = |name: &str| {
        let own = |c: &Option<Column<_>>| c.as_ref().is_some_and(|c| c.definition().name == name);
        let place = known.iter().position(own)?;
        known.get_mut(place)?.take()
    };
    let mut columns: Vec<_> = KEYS.iter().filter_map(|name| take(name)).collect();
    let mut place = 0;
    for chosen in study.columns.all() {
        let column = match chosen.source {
            ColumnSource::Fact => take(&chosen.name),
            ColumnSource::Value(_) => {
                place += 1;
                Some(value_column(chosen, place - 1))
            }
        };
        let shown =
            |c: Column<_>| c.labelled(chosen.label.clone()).in_unit(chosen.shown_unit.clone());
        columns.extend(column.map(shown));
    }
    Sheet::new(columns, entries(study))
}

/// The value at `place` of the chosen ones. One that is uncertain, or a bound, would be taken for a
/// number like the others: it stands in the second table alone.
fn value_column<'a>(chosen: &AnalysisColumn, place: usize) -> Column<AnalysisEntry<'a>> {
    let [_, _, status] = chosen.bound_names();
    let meaning = format!(
        "{}; missing unless it counts: see {status} in table {}",
        chosen.meaning, BOUNDS.name
    );
    let read = |r: &AnalysisEntry<'a>, p: usize| {
        let found: &Found = r.values.get(p)?;
        found.numbers[0].filter(|_| found.status == Status::Ok.word())
    };
    Column::real_at(chosen.name.clone(), chosen.unit.clone(), meaning, place, read)
}

/// How a number is taken from a row, by its place among the chosen values.
type ReadReal<'a> = fn(&AnalysisEntry<'a>, usize) -> Option<f64>;

fn bounds_sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let is_key = |c: &Column<AnalysisEntry<'a>>| KEYS.contains(&&*c.definition().name);
    let mut columns: Vec<_> = facts().into_iter().filter(is_key).collect();
    let words = status_words();
    for (place, (chosen, _)) in study.columns.values().enumerate() {
        let [low, high, status] = chosen.bound_names();
        let (name, label, unit) = (&chosen.name, &chosen.label, &chosen.shown_unit);
        let number = |own: String, which: &str, read: ReadReal<'a>| {
            let meaning = format!("{which} numerical bound of {name}");
            Column::real_at(own, unit.clone(), meaning, place, read)
                .labelled(format!("{label}, {which} bound"))
        };
        columns.push(number(low, "lower", |r: &AnalysisEntry<'a>, p| r.values.get(p)?.numbers[1]));
        columns.push(number(high, "upper", |r: &AnalysisEntry<'a>, p| r.values.get(p)?.numbers[2]));
        let meaning = format!("why there is or is not a value in {name}");
        let state = Column::word_at(status, meaning, &words, place, |r: &AnalysisEntry<'a>, p| {
            r.values.get(p).map(|f| Cow::Borrowed(f.status))
        });
        columns.push(state.labelled(format!("{label}, state")));
    }
    Sheet::new(columns, entries(study))
}

#[cfg(test)]
mod tests;
