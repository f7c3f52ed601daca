//! Table `analysis` on the invented example: what it holds, and what `columns.csv` may ask for.

use super::*;
use crate::Cell;
use crate::example::Example;

fn cells(sheet: &Sheet<'_>, row: usize) -> Vec<(String, Cell<'static>)> {
    let columns = sheet.columns().iter().enumerate();
    let owned = |cell: Cell<'_>| match cell {
        Cell::Text(t) => Cell::Text(Cow::Owned(t.into_owned())),
        Cell::Integer(v) => Cell::Integer(v),
        Cell::Real(v) => Cell::Real(v),
        Cell::Boolean(v) => Cell::Boolean(v),
        Cell::Missing => Cell::Missing,
    };
    columns.map(|(place, c)| (c.name.to_string(), owned(sheet.cell(row, place)))).collect()
}

fn cell(sheet: &Sheet<'_>, name: &str) -> Cell<'static> {
    let found = cells(sheet, 0).into_iter().find(|(n, _)| n == name);
    found.unwrap_or_else(|| panic!("no column {name}")).1
}

fn of_columns(example: &Example, names: &[&str]) -> [Vec<String>; 2] {
    let columns = names.iter().map(|name| meant(name).unwrap()).collect();
    let columns = ChosenColumns::new(columns);
    let study = Study { columns: &columns, ..example.study() };
    let names = |sheet: Sheet<'_>| sheet.columns().iter().map(|c| c.name.to_string()).collect();
    [names((TABLE.sheet)(&study)), names((BOUNDS.sheet)(&study))]
}

#[test]
fn the_usual_columns_are_those_of_a_paper() {
    let example = Example::new();
    let study = example.study();
    let (values, bounds) = ((TABLE.sheet)(&study), (BOUNDS.sheet)(&study));
    let labels: Vec<String> = values.columns().iter().map(|c| c.label().to_owned()).collect();
    let wanted = [
        "Patient",
        "Plan",
        "Lesion",
        "Structure",
        "Technology",
        "Day of the plan",
        "Fractions",
        "Prescription",
        "Volume",
        "D95%",
        "Paddick CI",
        "Gradient index",
        "Metric of the gradient index",
        "V12Gy of brain without targets",
        "Brainstem D0.03cc",
        "Counts in the study",
    ];
    assert_eq!(labels, wanted);
    assert_eq!(values.row_count(), bounds.row_count());
    assert_eq!(bounds.columns().len(), 3 + 3 * 6, "the key, and three columns for each value");
    assert_eq!(cell(&values, "lesion_id"), cell(&bounds, "lesion_id"));
}

#[test]
fn columns_stand_in_the_order_in_which_they_were_chosen() {
    let example = Example::new();
    let [values, bounds] = of_columns(&example, &["Lens_L:Max[Gy]", "side", "D2%[Gy]", "plan_id"]);
    let key = ["patient_id", "plan_id", "lesion_id"];
    assert_eq!(values[..3], key);
    assert_eq!(values[3..], ["lens_l_max_gy", "side", "d2_gy"]);
    assert_eq!(bounds[..3], key);
    let wanted = ["lens_l_max_low_gy", "lens_l_max_high_gy", "lens_l_max_status", "d2_low_gy"];
    assert_eq!(bounds[3..7], wanted);
}

/// What does not count is not among the values, and the other table says why and how far it reaches.
#[test]
fn only_values_that_count_are_values() {
    let mut example = Example::new();
    let lesion = example.analyses[0].lesions[0].roi_number;
    let metric =
        |m: &&mut tidydose_analyse::Measurement| m.roi_number == lesion && m.metric == "D2%[Gy]";
    let columns = ChosenColumns::new(vec![meant("D2%[Gy]").unwrap()]);
    for (status, counts) in [(Status::Ok, true), (Status::Uncertain, false), (Status::Bound, false)]
    {
        let outcome =
            &mut example.analyses[0].measurements.iter_mut().find(metric).unwrap().outcome;
        (outcome.value, outcome.low, outcome.high) = (Some(2.0), Some(1.5), Some(2.75));
        outcome.status = status;
        let study = Study { columns: &columns, ..example.study() };
        let (values, bounds) = ((TABLE.sheet)(&study), (BOUNDS.sheet)(&study));
        let wanted = if counts { Cell::Real(2.0) } else { Cell::Missing };
        assert_eq!(cell(&values, "d2_gy"), wanted, "{status:?}");
        assert_eq!(cell(&bounds, "d2_low_gy"), Cell::Real(1.5));
        assert_eq!(cell(&bounds, "d2_high_gy"), Cell::Real(2.75));
        assert_eq!(cell(&bounds, "d2_status"), Cell::Text(status.word().into()));
    }
}

/// Where the isodose is shared the index of the nearest part stands in, and the row says so.
#[test]
fn a_merged_isodose_gives_way_to_the_nearest_part() {
    let mut example = Example::new();
    let lesion = example.analyses[0].lesions[0].roi_number;
    let pattern = example.analyses[0].measurements[0].clone();
    example.analyses[0].measurements.retain(|m| !m.metric.starts_with("PaddickGradient"));
    for (metric, value) in [("PaddickGradient", 2.5), ("PaddickGradientNearest", 3.5)] {
        let mut row = pattern.clone();
        (row.roi_number, row.metric) = (lesion, metric.into());
        (row.outcome.value, row.outcome.status) = (Some(value), Status::Ok);
        example.analyses[0].measurements.push(row);
    }
    let seen = |example: &Example| {
        let sheet = (TABLE.sheet)(&example.study());
        let metric = cell(&sheet, "gradient_metric");
        (cell(&sheet, "gradient_index"), metric)
    };
    assert_eq!(seen(&example), (Cell::Real(2.5), Cell::Text("PaddickGradient".into())));
    let own = |m: &&mut tidydose_analyse::Measurement| m.metric == "PaddickGradient";
    let first = &mut example.analyses[0].measurements.iter_mut().find(own).unwrap().outcome;
    (first.value, first.status) = (None, Status::NotApplicable);
    assert_eq!(seen(&example), (Cell::Real(3.5), Cell::Text("PaddickGradientNearest".into())));
    // A grid that ends too early is no merged isodose.
    let first = &mut example.analyses[0].measurements.iter_mut().find(own).unwrap().outcome;
    first.status = Status::PartlyOutsideGrid;
    assert_eq!(seen(&example), (Cell::Missing, Cell::Missing));
}

#[test]
fn every_offered_column_has_its_name_and_unit() {
    let columns: Vec<AnalysisColumn> = offered().into_iter().map(|(column, _)| column).collect();
    assert!(columns.len() > 40, "{}", columns.len());
    for column in &columns {
        assert_eq!(&meant(&column.name).unwrap(), column);
        assert!(!column.label.is_empty() && !column.meaning.is_empty(), "{}", column.name);
        assert!(units_like(&column.unit).contains(&&*column.unit), "{}", column.name);
        let [low, high, status] = column.bound_names();
        assert!(low != high && low.len() <= 34, "{low}");
        assert!(status.ends_with("_status"));
    }
}
