//! Table `bounds`: what the numerical bounds of each value of a structure are made of, term by term,
//! so that a wide pair of bounds can be told from its cause.

use std::borrow::Cow;

use super::allowed::UNITS;
use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::Measurement;
use tidydose_analyse::trace::{Uncertainty, UncertaintyTerm};

pub(super) const TABLE: Table = Table {
    name: "bounds",
    grain: "one value of a structure, with the standard uncertainty that each term adds to it",
    key: &["plan_id", "roi_number", "metric", "method"],
    by_case: true,
    sheet,
};

struct BoundsEntry<'a> {
    measured: Measured<'a>,
    measurement: &'a Measurement,
    uncertainty: &'a Uncertainty,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(columns_of_shape());
    columns.extend(columns_of_dose());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<BoundsEntry<'_>> {
    let list = measured.analysis.map_or(&[][..], |a| &a.measurements);
    let with_terms = list.iter().filter_map(|m| Some((m, m.uncertainty.as_ref()?)));
    let mut rows: Vec<_> = with_terms
        .map(|(measurement, uncertainty)| BoundsEntry { measured, measurement, uncertainty })
        .collect();
    rows.sort_by_key(|r| {
        let m = r.measurement;
        (m.roi_number, &m.metric, &m.method)
    });
    rows
}

fn subject_columns<'a>() -> Vec<Column<BoundsEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &BoundsEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            Some(Cow::Owned(structure_id(r.measured.case, r.measurement.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| {
            Some(r.measurement.roi_number)
        }),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            r.measured.name(r.measurement.roi_number).and_then(|n| borrowed(shown_name(n)))
        }),
        Column::text("metric", "metric, as in table metrics", |r| borrowed(&r.measurement.metric)),
        Column::text("method", "method, as in table metrics", |r| borrowed(&r.measurement.method)),
        Column::word("unit", "unit of all terms", UNITS, |r| borrowed(r.measurement.unit)),
    ]
}

/// Terms of the solid.
fn columns_of_shape<'a>() -> Vec<Column<BoundsEntry<'a>>> {
    vec![
        Column::real(
            "ends",
            "",
            "from where the structure ends beyond its last contours: its free ends, above and \
             below, shrunk and grown by their own uncertainty",
            |r: &BoundsEntry<'a>| Some(r.uncertainty.of(UncertaintyTerm::Ends)),
        ),
        Column::real(
            "slices",
            "",
            "from what lies between contour planes: a quarter of the way from parabolas to \
             straight lines; with two planes only, an ellipsoid that closes within a gap beyond \
             them",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Slices)),
        ),
        Column::real(
            "chords",
            "",
            "from outlines between their points: they bulge as a smooth curve would",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Chords)),
        ),
        Column::real(
            "pixels",
            "",
            "from outlines that were traced around pixels: drawn with their steps and without, and \
             what the choice of pixels leaves open of the volume; 0 for other outlines",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Pixels)),
        ),
    ]
}

/// Terms of the dose and of the computation, and all terms together.
fn columns_of_dose<'a>() -> Vec<Column<BoundsEntry<'a>>> {
    vec![
        Column::real(
            "dose",
            "",
            "from dose between voxels: only every second voxel of the grid, even or odd, a share \
             of the larger difference that belongs to the interpolation",
            |r: &BoundsEntry<'a>| Some(r.uncertainty.of(UncertaintyTerm::Dose)),
        ),
        Column::real(
            "summit",
            "",
            "from a largest dose between voxels: raised by what it rises above its voxels, which \
             counts on one side only",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Summit)),
        ),
        Column::real(
            "cells",
            "",
            "from the size of the cells: cells of twice the edge, two thirds of the difference",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Cells)),
        ),
        Column::real(
            "step",
            "",
            "from rounding of the stored dose: moved by half a stored step",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Step)),
        ),
        Column::real(
            "scatter",
            "",
            "from noise of the dose from voxel to voxel: the noise drawn four times more, and voxels \
             read as means; 0 for a dose without noise",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Scatter)),
        ),
        Column::real(
            "chance",
            "",
            "from where cells and samples happen to lie: 0.04 % of the value",
            |r| Some(r.uncertainty.of(UncertaintyTerm::Chance)),
        ),
        Column::real("together", "", "root of the sum of squares", |r| Some(r.uncertainty.total())),
        Column::real(
            "below",
            "",
            "the same of the terms that count below the value; the lower bound lies twice this \
             away, within what the metric can be at all and what other values of the structure \
             leave open",
            |r| Some(r.uncertainty.sides()[0]),
        ),
        Column::real("above", "", "the same above the value", |r| Some(r.uncertainty.sides()[1])),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Cell;
    use crate::example::Example;

    #[test]
    fn every_term_has_its_column_and_values_without_bounds_have_no_row() {
        let example = Example::new();
        let sheet = sheet(&example.study());
        let names: Vec<_> = sheet.columns().iter().map(|c| &*c.name).collect();
        let terms = UncertaintyTerm::ALL.map(|d| format!("{d:?}").to_lowercase());
        assert_eq!(names[8..8 + terms.len()], terms);
        assert_eq!(sheet.row_count(), 1);
        let column = |name: &str| names.iter().position(|n| *n == name).unwrap();
        assert_eq!(sheet.cell(0, column("dose")), Cell::Real(0.3));
        assert_eq!(sheet.cell(0, column("step")), Cell::Real(0.4));
        assert_eq!(sheet.cell(0, column("ends")), Cell::Real(0.0));
        for name in ["together", "below", "above"] {
            assert_eq!(sheet.cell(0, column(name)), Cell::Real(0.5));
        }
    }
}
