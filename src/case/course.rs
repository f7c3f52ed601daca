//! Courses of treatment: the plans of a patient put in order of time and grouped. A plan counts from
//! its first treatment where records tell of it, else from its own date, which is that of its last
//! change; the source is said beside the number.

use std::collections::BTreeMap;

use strum::{IntoStaticStr, VariantNames};

use super::{Case, PlanRole};
use tidydose_rt::identity::Token;

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
    /// Where the day of the plan comes from.
    pub date_source: DateSource,
}

/// Where the day of a plan among the courses comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case")]
pub enum DateSource {
    /// The first treatment that records tell of.
    TreatmentRecords,
    /// RT Plan Date.
    PlanDate,
}

impl DateSource {
    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// A plan with its day.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Dated<'a> {
    day: i64,
    id: &'a Token,
    source: DateSource,
}

impl<'a> Dated<'a> {
    fn of(case: &'a Case) -> Option<Self> {
        let treated = case.treatment.delivery.and_then(|d| d.first_day);
        let planned = case.plan.as_ref().and_then(|p| p.day);
        let (day, source) = match treated {
            Some(day) => (day, DateSource::TreatmentRecords),
            None => (planned?, DateSource::PlanDate),
        };
        Some(Self { day: day.0, id: &case.id, source })
    }
}

/// The courses of all patients, by case. Cases without patient or date, plans that were made for no
/// treatment, versions whose place another one took and plans that the user says were not treated
/// belong to none.
#[must_use]
pub fn courses(cases: &[Case]) -> BTreeMap<&Token, Course> {
    let mut plans: BTreeMap<&Token, Vec<Dated<'_>>> = BTreeMap::new();
    for case in cases.iter().filter(|c| treats(c)) {
        if let (Some(patient), Some(dated)) = (&case.patient, Dated::of(case)) {
            plans.entry(patient).or_default().push(dated);
        }
    }
    plans.into_values().flat_map(of_patient).collect()
}

const fn treats(case: &Case) -> bool {
    !matches!(case.role(), PlanRole::Qa | PlanRole::Superseded | PlanRole::NotTreated)
}

fn of_patient(mut plans: Vec<Dated<'_>>) -> Vec<(&Token, Course)> {
    plans.sort();
    let grouped: Vec<&[Dated<'_>]> =
        plans.chunk_by(|one, next| next.day - one.day <= GAP_DAYS).collect();
    let before = |i: usize| grouped.get(i.checked_sub(1)?)?.last().map(|plan| plan.day);
    let mut list = Vec::new();
    for (i, group) in grouped.iter().enumerate() {
        let first = group.first().map(|plan| plan.day);
        let days_since_previous = first.zip(before(i)).map(|(now, then)| now - then);
        let course = |source| Course {
            number: i + 1,
            of: grouped.len(),
            days_since_previous,
            date_source: source,
        };
        list.extend(group.iter().map(|plan| (plan.id, course(plan.source))));
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{dose, plan, structure_set, token};
    use crate::{Delivery, DeliverySource, RoleReason, link};
    use tidydose_geometry::units::Day;
    use tidydose_rt::Inventory;

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
        assert_eq!(list[&token("a")].date_source, DateSource::PlanDate);
        // The plan changed after it was given: its treatment was close to the first ones.
        let a = cases.iter_mut().find(|c| c.id == token("a")).unwrap();
        a.treatment.delivery = Some(Delivery {
            fractions: Some(1),
            partial: 0,
            first_day: Some(Day(70)),
            last_day: Some(Day(70)),
            source: DeliverySource::SessionRecords,
        });
        let treated = courses(&cases)[&token("a")];
        assert_eq!((treated.number, treated.of), (1, 1));
        assert_eq!(treated.date_source, DateSource::TreatmentRecords);
        for reason in [RoleReason::NoTreatment, RoleReason::Newer, RoleReason::UserNo] {
            cases.iter_mut().for_each(|case| case.treatment.reason = reason);
            assert!(courses(&cases).is_empty(), "{reason:?}");
        }
    }
}
