//! Table `patients_wide`: one row for each patient, with the values of one plan, the index plan: of
//! the earliest course with a plan that counts, the first.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::plans::{WidePlanEntry, case_mix, rows};
use super::values::{Found, HasValues, OF_PLAN, columns as value_columns};
use crate::column::{Column, Sheet, borrowed, count};
use crate::study::Study;
use crate::table::Table;

pub(crate) const TABLE: Table = Table {
    name: "patients_wide",
    grain: "one patient, with the values of the index plan",
    key: &["patient_id"],
    by_case: false,
    sheet,
};

/// A patient with one of the plans.
struct WidePatientEntry<'a> {
    /// The index plan, else the first one, of which nothing is shown but why it is left out.
    plan: WidePlanEntry<'a>,
    is_index: bool,
    plans: usize,
    measured: usize,
}

impl<'a> AsRef<WidePlanEntry<'a>> for WidePatientEntry<'a> {
    fn as_ref(&self) -> &WidePlanEntry<'a> {
        &self.plan
    }
}

impl HasValues for WidePatientEntry<'_> {
    fn found(&self, place: usize) -> Option<&Found> {
        // Values of a plan that does not count are not those of the patient.
        if self.is_index { self.plan.found(place) } else { Some(&Found::EXCLUDED) }
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut patients: BTreeMap<String, Vec<WidePlanEntry<'a>>> = BTreeMap::new();
    for row in rows(study) {
        if let Some(patient) = row.measured.patient().map(str::to_owned) {
            patients.entry(patient).or_default().push(row);
        }
    }
    let mut columns = vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &WidePatientEntry<'a>| {
            r.plan.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "index_plan_id",
            "the plan whose values these are: of the earliest course the first one in the study, \
             see plans.in_study; missing when there is none",
            |r| borrowed(r.plan.measured.case.id.as_str()).filter(|_| r.is_index),
        ),
        Column::integer("n_plans", "", "plans of the patient in the archive", |r| count(r.plans)),
        Column::integer("n_plans_measured", "", "of these, how many were measured", |r| {
            count(r.measured)
        }),
    ];
    columns.extend(case_mix());
    columns.extend(value_columns(OF_PLAN));
    Sheet::new(columns, patients.into_values().filter_map(patient).collect())
}

fn patient(mut plans: Vec<WidePlanEntry<'_>>) -> Option<WidePatientEntry<'_>> {
    let (all, measured) = (plans.len(), plans.iter().filter(|p| p.measured.is_measured()).count());
    let day =
        |p: &WidePlanEntry<'_>| p.measured.case.plan.as_ref().and_then(|p| p.day).map(|d| d.0);
    // Plans without a date come last; those of one day by name.
    plans.sort_by_key(|p| {
        let usable = p.measured.is_in_study();
        let course = p.course.map_or(usize::MAX, |c| c.number);
        (!usable, course, day(p).unwrap_or(i64::MAX), p.measured.case.id.clone())
    });
    let plan = plans.into_iter().next()?;
    let is_index = plan.measured.is_in_study();
    Some(WidePatientEntry { plan, is_index, plans: all, measured })
}
