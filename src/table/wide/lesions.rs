//! Table `lesions_wide`: one row for each lesion of a measured plan.

use std::borrow::Cow;

use super::values::{Found, HasValues, OF_LESION, columns as value_columns, of_lesion};
use crate::column::{Column, Sheet, borrowed, count};
use crate::lesions::{self, LesionEntry};
use crate::study::Study;
use crate::table::Table;

pub(crate) const TABLE: Table = Table {
    name: "lesions_wide",
    grain: "one lesion of a case, with the values that are asked for most",
    key: &["lesion_id"],
    by_case: true,
    sheet,
};

struct WideLesionEntry<'a> {
    row: LesionEntry<'a>,
    values: Vec<Found>,
}

impl HasValues for WideLesionEntry<'_> {
    fn found(&self, place: usize) -> Option<&Found> {
        self.values.get(place)
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let wide = |row: LesionEntry<'a>| {
        let values = row
            .measured
            .analysis
            .map_or_else(Vec::new, |a| of_lesion(row.measured.case, a, row.lesion));
        WideLesionEntry { row, values }
    };
    let mut columns = vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &WideLesionEntry<'a>| {
            r.row.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.row.measured.case.id.as_str()),
        ),
        Column::text(
            "lesion_id",
            "the lesion: structure_id of its largest target, which is the PTV, else the CTV, \
             else the GTV",
            |r| borrowed(&r.row.id),
        ),
    ];
    columns.extend(case_mix());
    columns.extend(value_columns(OF_LESION));
    Sheet::new(columns, lesions::rows(study).into_iter().map(wide).collect())
}

fn case_mix<'a>() -> Vec<Column<WideLesionEntry<'a>>> {
    vec![
        Column::text("technology", "delivery technology", |r| {
            borrowed(r.row.measured.case.technology.word())
        }),
        Column::integer("era", "", "first year of the five-year band of RT Plan Date", |r| {
            r.row.measured.case.plan.as_ref()?.era.map(i64::from)
        }),
        Column::text(
            "plan_role",
            "whether the plan was treated, replaced, not treated or for checks only",
            |r| borrowed(r.row.measured.case.role().word()),
        ),
        Column::boolean("in_study", "whether its plan counts, see plans.in_study", |r| {
            Some(r.row.measured.is_in_study())
        }),
        Column::integer(
            "fractions_planned",
            "",
            "fractions planned, all fraction groups together",
            |r| lesions::fractions(&r.row).map(i64::from),
        ),
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose, all fractions together",
            |r| r.row.prescription.map(|p| p.dose.value()),
        ),
        Column::real(
            "prescription_isodose_percent",
            "%",
            "prescribed dose as a percentage of the largest dose in the target",
            |r| lesions::isodose_percent(&r.row),
        ),
        Column::integer("n_lesions_of_plan", "", "lesions of the plan, this one included", |r| {
            count(r.row.measured.analysis?.lesions.len())
        }),
        Column::text("side", "on which side of the brain's middle plane its centre lies", |r| {
            lesions::side(&r.row)
        }),
        Column::real(
            "gtv_volume_cc",
            "cc",
            "volume of its GTV, the largest where there are several",
            |r| lesions::volume(&r.row, &r.row.lesion.gtv),
        ),
        Column::real(
            "ptv_volume_cc",
            "cc",
            "volume of its PTV, the largest where there are several",
            |r| lesions::volume(&r.row, &r.row.lesion.ptv),
        ),
        Column::text(
            "earlier_lesion_id",
            "the same lesion in an earlier course, where lesions.csv says so",
            |r| r.row.decision.and_then(|d| d.same_as.as_deref()).map(Cow::Borrowed),
        ),
    ]
}
