//! Table `dvh`: the points of the cumulative dose-volume histograms.

use std::borrow::Cow;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::DvhPoint;
use tidydose_case::{NamedRoi, Role};

pub(super) const TABLE: Table = Table {
    name: "dvh",
    grain: "one point of the cumulative dose-volume histogram of a structure",
    key: &["plan_id", "roi_number", "dose_gy", "volume_cc"],
    by_case: true,
    sheet,
};

struct DvhEntry<'a> {
    measured: Measured<'a>,
    name: Option<&'a NamedRoi>,
    point: DvhPoint,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    Sheet::new(columns(), study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<DvhEntry<'_>> {
    let points = measured.analysis.map_or(&[][..], |a| &a.dvh);
    let mut rows: Vec<_> = points
        .iter()
        .map(|&point| DvhEntry { measured, name: measured.name(point.roi_number), point })
        .collect();
    rows.sort_by(|a, b| {
        let by_structure = a.point.roi_number.cmp(&b.point.roi_number);
        let by_dose = a.point.dose_gy.total_cmp(&b.point.dose_gy);
        // The volume falls with dose; at a step two points share the dose.
        by_structure.then(by_dose).then(b.point.volume_cc.total_cmp(&a.point.volume_cc))
    });
    rows
}

fn columns<'a>() -> Vec<Column<DvhEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure, as in table structures", |r| {
            Some(Cow::Owned(structure_id(r.measured.case, r.point.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022)", |r| Some(r.point.roi_number)),
        Column::text("structure", "standard name (TG-263), else the original name", |r| {
            r.name.and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word("role", "what the structure is for", Role::VARIANTS, |r| {
            r.name.and_then(|n| borrowed(n.role.word()))
        }),
        Column::real("dose_gy", "Gy", "dose", |r| Some(r.point.dose_gy)),
        Column::real("volume_cc", "cc", "volume that receives at least this dose", |r| {
            Some(r.point.volume_cc)
        }),
        Column::real("volume_percent", "%", "the same as a share of the structure", |r| {
            Some(r.point.volume_percent)
        }),
    ]
}
