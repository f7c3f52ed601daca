//! Table `traces`: the places that the numbers of a structure rest on: each contour plane, its
//! hottest point, and the voxel of the dose grid nearest to that.

use strum::{EnumString, IntoStaticStr, VariantNames};

use std::borrow::Cow;

use super::column::{Column, Sheet, borrowed, count};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::trace::{StructureTrace, TracedPlane, TracedPoint};

pub(super) const TABLE: Table = Table {
    name: "traces",
    grain: "one place that the numbers of a structure rest on",
    key: &["plan_id", "roi_number", "kind", "number"],
    by_case: true,
    sheet,
};

/// What a place is.
#[derive(EnumString, IntoStaticStr, VariantNames, Debug, Clone, Copy, PartialEq, Eq)]
pub enum TraceKind {
    /// A contour plane in use.
    #[strum(serialize = "contour_plane")]
    Plane,
    /// The middle of the hottest cell.
    #[strum(serialize = "hottest_point")]
    Hottest,
    /// The voxel whose centre is nearest to that.
    #[strum(serialize = "nearest_voxel")]
    Voxel,
}

impl TraceKind {
    /// The word used in the table.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// What a row of the table stands for.
#[derive(Clone, Copy)]
enum TracePlace<'a> {
    Plane(&'a TracedPlane),
    Hottest(&'a TracedPoint),
    Voxel(&'a TracedPoint, [usize; 3]),
}

struct TraceEntry<'a> {
    measured: Measured<'a>,
    roi_number: i64,
    number: usize,
    place: TracePlace<'a>,
}

impl<'a> TraceEntry<'a> {
    const fn plane(&self) -> Option<&'a TracedPlane> {
        match self.place {
            TracePlace::Plane(plane) => Some(plane),
            TracePlace::Hottest(_) | TracePlace::Voxel(..) => None,
        }
    }

    const fn dose_gy(&self) -> Option<f64> {
        match self.place {
            TracePlace::Plane(_) => None,
            TracePlace::Hottest(point) | TracePlace::Voxel(point, _) => Some(point.dose_gy),
        }
    }

    /// Plane, row or column of a voxel, from 1.
    fn index(&self, axis: usize) -> Option<i64> {
        match self.place {
            TracePlace::Voxel(_, index) => count(*index.get(axis)? + 1),
            TracePlace::Plane(_) | TracePlace::Hottest(_) => None,
        }
    }

    const fn position(&self) -> [f64; 3] {
        match self.place {
            TracePlace::Plane(plane) => plane.centre_mm,
            TracePlace::Hottest(point) | TracePlace::Voxel(point, _) => point.point_mm,
        }
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(place_columns());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<TraceEntry<'_>> {
    let mut traces: Vec<_> = measured.analysis.map_or(&[][..], |a| &a.traces).iter().collect();
    traces.sort_by_key(|t| t.roi_number);
    traces.into_iter().flat_map(|trace| rows_of_structure(measured, trace)).collect()
}

fn rows_of_structure<'a>(measured: Measured<'a>, trace: &'a StructureTrace) -> Vec<TraceEntry<'a>> {
    let row =
        |(number, place)| TraceEntry { measured, roi_number: trace.roi_number, number, place };
    let hottest = trace.hottest.iter().map(|p| (1, TracePlace::Hottest(p)));
    let voxel = trace.voxel.iter().zip(trace.voxel_index);
    let voxel = voxel.map(|(p, index)| (1, TracePlace::Voxel(p, index)));
    let planes = (1..).zip(trace.planes.iter().map(TracePlace::Plane));
    planes.chain(hottest).chain(voxel).map(row).collect()
}

fn subject_columns<'a>() -> Vec<Column<TraceEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &TraceEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            Some(Cow::Owned(structure_id(r.measured.case, r.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| Some(r.roi_number)),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            r.measured.name(r.roi_number).and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word(
            "kind",
            "contour plane in use; middle of the hottest cell; voxel whose centre is nearest to it",
            TraceKind::VARIANTS,
            |r| {
                let kind = match r.place {
                    TracePlace::Plane(_) => TraceKind::Plane,
                    TracePlace::Hottest(_) => TraceKind::Hottest,
                    TracePlace::Voxel(..) => TraceKind::Voxel,
                };
                borrowed(kind.word())
            },
        ),
        Column::integer(
            "number",
            "",
            "number of the contour plane, counted by position; 1 for a point",
            |r| count(r.number),
        ),
    ]
}

fn place_columns<'a>() -> Vec<Column<TraceEntry<'a>>> {
    vec![
        Column::real("plane_mm", "mm", "position of a contour plane along its normal", |r| {
            r.plane().map(|p| p.position_mm)
        }),
        Column::real("thickness_mm", "mm", "thickness that the contour plane stands for", |r| {
            r.plane().map(|p| p.thickness_mm)
        }),
        Column::integer("n_outlines", "", "outlines on a contour plane, holes included", |r| {
            count(r.plane()?.outlines)
        }),
        Column::real(
            "area_mm2",
            "mm2",
            "area inside the outlines of a contour plane, without holes",
            |r| r.plane().map(|p| p.area_mm2),
        ),
        Column::real(
            "x_mm",
            "mm",
            "the place (of a plane: centre of its area), to the left",
            |r| Some(r.position()[0]),
        ),
        Column::real("y_mm", "mm", "the place, towards the back", |r: &TraceEntry<'a>| {
            Some(r.position()[1])
        }),
        Column::real("z_mm", "mm", "the place, towards the head", |r| Some(r.position()[2])),
        Column::real(
            "dose_gy",
            "Gy",
            "dose there: interpolated at a hottest point, as stored at a voxel",
            |r| r.dose_gy(),
        ),
        Column::integer(
            "voxel_plane",
            "",
            "plane of the voxel by ascending position in the dose grid, from 1",
            |r| r.index(0),
        ),
        Column::integer("voxel_row", "", "row of the voxel, from 1", |r| r.index(1)),
        Column::integer("voxel_column", "", "column of the voxel, from 1", |r| r.index(2)),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Cell;
    use crate::example::Example;

    #[test]
    fn planes_come_first_and_voxels_count_from_one() {
        let example = Example::new();
        let sheet = sheet(&example.study());
        let column = |name| sheet.columns().iter().position(|c| c.name == name).unwrap();
        let kinds: Vec<_> = (0..sheet.row_count()).map(|r| sheet.cell(r, column("kind"))).collect();
        use TraceKind::{Hottest, Plane, Voxel};
        assert_eq!(kinds, [Plane, Plane, Hottest, Voxel].map(|k| Cell::Text(k.word().into())));
        assert_eq!(sheet.cell(1, column("number")), Cell::Integer(2));
        assert_eq!(sheet.cell(0, column("dose_gy")), Cell::Missing);
        assert_eq!(sheet.cell(2, column("dose_gy")), Cell::Real(12.5));
        assert_eq!(sheet.cell(2, column("voxel_row")), Cell::Missing);
        let voxel = ["voxel_plane", "voxel_row", "voxel_column"].map(|c| sheet.cell(3, column(c)));
        assert_eq!(voxel, [1, 2, 3].map(Cell::Integer));
    }
}
