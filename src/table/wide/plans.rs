//! Table `plans_wide`: one row for each plan, used or not.

use std::borrow::Cow;

use super::values::{Found, HasValues, OF_PLAN, PlanValues, columns as value_columns};
use crate::column::{Column, Sheet, borrowed, count};
use crate::plans::highest;
use crate::study::{Measured, Study};
use crate::table::Table;
use tidydose_case::Prescription;
use tidydose_case::{Course, courses};

pub(crate) const TABLE: Table = Table {
    name: "plans_wide",
    grain: "one case, with the values that are asked for most",
    key: &["plan_id"],
    by_case: false,
    sheet,
};

/// What is known of one plan.
pub(super) struct WidePlanEntry<'a> {
    pub(super) measured: Measured<'a>,
    prescription: Option<&'a Prescription>,
    pub(super) course: Option<Course>,
    values: PlanValues,
}

impl HasValues for WidePlanEntry<'_> {
    fn found(&self, place: usize) -> Option<&Found> {
        self.values.found.get(place)
    }
}

/// All plans, by patient and case.
pub(super) fn rows<'a>(study: &Study<'a>) -> Vec<WidePlanEntry<'a>> {
    let courses = courses(study.cases);
    let row = |measured: Measured<'a>| WidePlanEntry {
        measured,
        prescription: highest(&measured.case.prescriptions),
        course: courses.get(&measured.case.id).copied(),
        values: match study.tally.plan_values(&measured.case.id) {
            Some(values) => values.clone(),
            None => PlanValues::of(measured.case, measured.analysis),
        },
    };
    study.plans().into_iter().map(row).collect()
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &WidePlanEntry<'a>| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
    ];
    columns.extend(case_mix());
    columns.extend(value_columns(OF_PLAN));
    Sheet::new(columns, rows(study))
}

/// What groups differ in besides their group.
pub(super) fn case_mix<'a, R: AsRef<WidePlanEntry<'a>> + 'a>() -> Vec<Column<R>> {
    let mut columns = vec![
        Column::text("technology", "kind of machine that the plan is made for", |r: &R| {
            borrowed(r.as_ref().measured.case.technology.word())
        }),
        Column::integer("era", "", "first of the five years in which RT Plan Date lies", |r| {
            r.as_ref().measured.case.plan.as_ref()?.era.map(i64::from)
        }),
        Column::text(
            "plan_role",
            "whether the plan was treated, replaced, not treated, or is one of quality assurance",
            |r| borrowed(r.as_ref().measured.case.role().word()),
        ),
        Column::boolean("in_study", "whether the plan counts, see plans.in_study", |r| {
            Some(r.as_ref().measured.is_in_study())
        }),
        Column::boolean("measured", "whether its metrics were computed in this run", |r| {
            Some(r.as_ref().measured.is_measured())
        }),
        Column::text(
            "exclusion_code",
            "code of the finding because of which the plan is not measured",
            |r| {
                let (code, _) = r.as_ref().measured.case.left_out.as_ref()?;
                borrowed(code.definition().id)
            },
        ),
        Column::integer(
            "fractions_planned",
            "",
            "fractions planned, all fraction groups together",
            |r| r.as_ref().measured.case.plan.as_ref()?.fractions().map(i64::from),
        ),
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "prescribed dose, all fractions together; the highest where targets differ",
            |r| r.as_ref().prescription.map(|p| p.dose.value()),
        ),
    ];
    columns.extend(course_and_burden());
    columns
}

/// Which course it is, and what the patient has.
fn course_and_burden<'a, R: AsRef<WidePlanEntry<'a>> + 'a>() -> Vec<Column<R>> {
    vec![
        Column::integer("course", "", "number of the course, counted by time", |r: &R| {
            count(r.as_ref().course?.number)
        }),
        Column::integer("n_courses", "", "courses of the patient in the archive", |r| {
            count(r.as_ref().course?.of)
        }),
        Column::integer("days_since_course", "d", "days from the course before to this one", |r| {
            r.as_ref().course?.days_since_previous
        }),
        Column::text(
            "undecided_names",
            "structures whose names nobody has decided and that may be one of the organs of this \
             table, with D0.03cc and what they may be; missing when there is none",
            |r| {
                let text = &r.as_ref().values.undecided;
                (!text.is_empty()).then(|| Cow::Owned(text.clone()))
            },
        ),
        Column::integer("n_lesions", "", "lesions of the plan; missing when not measured", |r| {
            count(r.as_ref().values.lesions?)
        }),
        Column::real(
            "total_lesion_cc",
            "cc",
            "volume of all lesions together, of each its largest target; missing when one is not \
             known or uncertain",
            |r| r.as_ref().values.total_cc,
        ),
        Column::real("largest_lesion_cc", "cc", "volume of the largest of them", |r| {
            r.as_ref().values.largest_cc
        }),
    ]
}

impl<'a> AsRef<WidePlanEntry<'a>> for WidePlanEntry<'a> {
    fn as_ref(&self) -> &WidePlanEntry<'a> {
        self
    }
}
