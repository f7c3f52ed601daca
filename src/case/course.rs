//! Courses of treatment: the plans of a patient put in order of time and grouped. The only date at
//! hand is that of the plan, which is the day of its last change and not of treatment; the source is
//! said beside the number.

use std::collections::BTreeMap;

use super::Case;
use crate::finding::Code;
use crate::identity::Token;

/// Plans of a patient whose dates lie no further apart than this belong to one course, days: longer
/// than staged or fractionated radiosurgery takes, shorter than the usual time to the first
/// follow-up image (two to three months, from memory).
const GAP_DAYS: i64 = 45;

/// Where a case stands among the courses of its patient.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Course {
    /// Number of the course, from 1.
    pub number: usize,
    /// Courses of the patient in the archive.
    pub of: usize,
    /// Days since the last plan of the course before; absent in the first.
    pub days_since_previous: Option<i64>,
}

impl Course {
    /// Where the dates come from.
    pub const DATE_SOURCE: &'static str = "plan_date";
}

/// The courses of all patients, by case. Cases without patient or plan date, and plans that were
/// made for no treatment, belong to none.
#[must_use]
pub fn courses(cases: &[Case]) -> BTreeMap<&Token, Course> {
    let mut plans: BTreeMap<&Token, Vec<(i64, &Token)>> = BTreeMap::new();
    for case in cases.iter().filter(|c| treats(c)) {
        let day = case.plan.as_ref().and_then(|p| p.day);
        if let (Some(patient), Some(day)) = (&case.patient, day) {
            plans.entry(patient).or_default().push((day.0, &case.id));
        }
    }
    plans.into_values().flat_map(of_patient).collect()
}

fn treats(case: &Case) -> bool {
    let code = case.left_out.as_ref().map(|(code, _)| *code);
    !matches!(code, Some(Code::PlanNotTreatment | Code::PlanGeometryDevice))
}

fn of_patient(mut plans: Vec<(i64, &Token)>) -> Vec<(&Token, Course)> {
    plans.sort();
    let mut grouped: Vec<Vec<(i64, &Token)>> = Vec::new();
    for plan in plans {
        let last = grouped.last().and_then(|g| g.last()).map(|(day, _)| *day);
        match grouped.last_mut().filter(|_| last.is_some_and(|day| plan.0 - day <= GAP_DAYS)) {
            Some(group) => group.push(plan),
            None => grouped.push(vec![plan]),
        }
    }
    let of = grouped.len();
    let mut before: Option<i64> = None;
    let mut list = Vec::new();
    for (i, group) in grouped.into_iter().enumerate() {
        let first = group.first().map(|(day, _)| *day);
        let days_since_previous = first.zip(before).map(|(now, then)| now - then);
        before = group.last().map(|(day, _)| *day);
        let course = Course { number: i + 1, of, days_since_previous };
        list.extend(group.into_iter().map(|(_, id)| (id, course)));
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::fixtures::{dose, plan, structure_set, token};
    use crate::case::link;
    use crate::rt::Inventory;
    use crate::units::Day;

    #[test]
    fn plans_close_in_time_are_one_course() {
        let on = |id: &str, day: Option<i64>| {
            let mut plan = plan(id, "s");
            plan.day = day.map(Day);
            plan
        };
        let plans = [on("a", Some(400)), on("b", Some(10)), on("c", Some(55)), on("d", None)];
        let (mut cases, _) = link(&Inventory {
            doses: plans
                .iter()
                .map(|p| dose(&format!("dose of {}", p.origin.object), p.origin.object.as_str()))
                .collect(),
            plans: plans.to_vec(),
            structure_sets: vec![structure_set("s")],
            ..Inventory::default()
        });
        let list = courses(&cases);
        let of = |id: &str| list.get(&token(id)).map(|c| (c.number, c.of, c.days_since_previous));
        assert_eq!(of("b"), Some((1, 2, None)));
        assert_eq!(of("c"), Some((1, 2, None)), "45 days apart");
        assert_eq!(of("a"), Some((2, 2, Some(345))), "since the last plan of the course before");
        assert_eq!(of("d"), None);
        for case in &mut cases {
            case.left_out = Some((Code::PlanNotTreatment, String::new()));
        }
        assert!(courses(&cases).is_empty());
    }
}
