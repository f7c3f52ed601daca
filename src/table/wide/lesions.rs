//! Table `lesions_wide`: one row for each lesion of a measured plan.

use std::borrow::Cow;

use strum::VariantNames;

use super::values::{Found, HasValues, OF_LESION, columns as value_columns, of_lesion};
use crate::column::{Column, Sheet, borrowed, count};
use crate::lesions::{self, LesionEntry};
use crate::study::Study;
use crate::table::Table;
use tidydose_analyse::SeenSide;
use tidydose_case::{PlanRole, Technology};

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
        })
        .labelled("Patient"),
        Column::text(
            "plan_id",
            "the plan, as in table plans. Where dose and structures came without a plan, one of them \
             stands here instead and plan_role is unknown: do not count these rows as plans",
            |r: &WideLesionEntry<'a>| borrowed(r.row.measured.case.id.as_str()),
        )
        .labelled("Plan"),
        Column::text(
            "lesion_id",
            "the lesion, as in table lesions: the pseudonym of its plan and the ROI Number of the \
             target that stands for it, which is the largest one drawn for it (as a rule the PTV, see \
             target_kind). In another plan the same lesion has another lesion_id",
            |r: &WideLesionEntry<'a>| borrowed(&r.row.id),
        )
        .labelled("Lesion"),
        Column::word(
            "target_kind",
            "what kind of target lesion_id is: PTV, CTV, GTV, or a target whose kind nobody states; \
             all values of the row are of this target, but for gtv_volume_cc, ptv_volume_cc and side",
            lesions::TARGET_KINDS,
            |r: &WideLesionEntry<'a>| lesions::target_kind(&r.row),
        )
        .labelled("Kind of target"),
    ];
    columns.extend(case_mix());
    columns.extend(value_columns(OF_LESION));
    Sheet::new(columns, lesions::of_plans(study).into_iter().map(wide).collect())
}

fn case_mix<'a>() -> Vec<Column<WideLesionEntry<'a>>> {
    let mut columns = of_plan();
    columns.extend(of_lesion_itself());
    columns
}

fn of_plan<'a>() -> Vec<Column<WideLesionEntry<'a>>> {
    vec![
        Column::word(
            "technology",
            "kind of machine that the plan is made for, recognised by its beams; not the technique, \
             such as arcs",
            Technology::VARIANTS,
            |r: &WideLesionEntry<'a>| borrowed(r.row.measured.case.technology.word()),
        )
        .labelled("Technology"),
        Column::integer(
            "era",
            "",
            "first of the five years in which RT Plan Date lies: 2010 stands for 2010 to 2014, and \
             not for the year of treatment; empty without a plan or its date",
            |r: &WideLesionEntry<'a>| r.row.measured.case.plan.as_ref()?.era.map(i64::from),
        )
        .labelled("Five years from"),
        Column::word(
            "plan_role",
            "what is known of the plan: whether it was treated, replaced by another version, not \
             treated, or a plan of quality assurance; words as in table plans",
            PlanRole::VARIANTS,
            |r: &WideLesionEntry<'a>| borrowed(r.row.measured.case.role().word()),
        )
        .labelled("Part of the plan"),
        Column::boolean(
            "in_study",
            "true where the program takes the row into Table 1, relations and pages: the plan was \
             measured, and it was treated or nothing speaks against that (not approved, but no other \
             plan of the patient is known as treated; or a dose without a plan). No proof of \
             treatment, see plan_role; no word on eligibility",
            |r: &WideLesionEntry<'a>| Some(r.row.measured.is_in_study()),
        )
        .labelled("Counts in the study"),
        Column::integer(
            "fractions_planned",
            "",
            "fractions of the whole plan, as planned and not as delivered; empty where the plan \
             does not state them",
            |r: &WideLesionEntry<'a>| lesions::fractions(&r.row).map(i64::from),
        )
        .labelled("Fractions"),
        Column::integer(
            "n_lesions_of_plan",
            "",
            "lesions drawn in this plan, this one included: targets within each other are one, sums \
             of targets are none. Not the number of metastases of the patient, who may have more \
             plans, or lesions in no plan",
            |r: &WideLesionEntry<'a>| count(r.row.measured.analysis?.lesions.len()),
        )
        .labelled("Lesions of the plan"),
    ]
}

fn of_lesion_itself<'a>() -> Vec<Column<WideLesionEntry<'a>>> {
    vec![
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose of this lesion, all fractions together: stated for its target, else for \
             the whole plan, else the sum of the beam doses, which may not be the prescription; \
             see prescription_basis in table plans. Which isodose or point it is prescribed to is \
             not known from it. Empty where none is stated",
            |r: &WideLesionEntry<'a>| r.row.prescription.map(|p| p.dose.value()),
        )
        .labelled("Prescription"),
        Column::real(
            "prescription_isodose_percent",
            "%",
            "prescribed dose divided by the largest dose in the target, as computed here; it is not \
             read from the plan and differs from an isodose that refers to the largest dose of the \
             whole plan. Empty without a prescription or where the largest dose is not known well",
            |r: &WideLesionEntry<'a>| lesions::isodose_percent(&r.row),
        )
        .labelled("Prescription isodose"),
        Column::word(
            "side",
            "side of the patient on which the centre of the lesion lies, of its GTV where it has \
             one: left, right, or middle, which is within 3 mm of the middle plane. That plane \
             follows from Brain and paired organs; empty where none of them is drawn",
            SeenSide::VARIANTS,
            |r: &WideLesionEntry<'a>| lesions::side(&r.row),
        )
        .labelled("Side"),
        Column::real(
            "gtv_volume_cc",
            "cc",
            "volume of the GTV of this lesion; of several GTVs that of the largest alone, not their \
             sum. Empty where no structure was taken for its GTV, or its volume is too uncertain",
            |r: &WideLesionEntry<'a>| lesions::volume(&r.row, &r.row.lesion.gtv),
        )
        .labelled("Volume of the GTV"),
        Column::real(
            "ptv_volume_cc",
            "cc",
            "volume of the PTV of this lesion; of several PTVs that of the largest alone, not their \
             sum. Empty where no structure was taken for its PTV, or its volume is too uncertain",
            |r: &WideLesionEntry<'a>| lesions::volume(&r.row, &r.row.lesion.ptv),
        )
        .labelled("Volume of the PTV"),
        Column::text(
            "earlier_lesion_id",
            "lesion_id of the same lesion in an earlier course, as somebody wrote it into \
             lesions.csv; empty where nobody did, which does not say that the lesion is new",
            |r: &WideLesionEntry<'a>| r.row.decision.and_then(|d| d.same_as.as_deref()).map(Cow::Borrowed),
        )
        .labelled("Lesion of an earlier course"),
    ]
}
