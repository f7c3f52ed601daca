//! Sums of plans of one patient: which plans the user wants added up, and whether they may be. A
//! physical sum is for plans of one fractionation; everything else is added as EQD2, voxel by
//! voxel. Nothing is added without the user's word.

use std::collections::BTreeSet;

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use super::{Case, Course, DeliverySource, courses, registered_motion};
use tidydose_rt::identity::Token;
use tidydose_rt::{DoseSummation, DoseType, DoseUnits, Plan, Registration, Rigid};

/// What is added up.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case", ascii_case_insensitive)]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SumBasis {
    /// Physical dose.
    Physical,
    /// The dose in fractions of 2 Gy of the linear-quadratic model, of each voxel's own fraction
    /// dose.
    Eqd2,
}

impl SumBasis {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Physical => "physical dose; within one course of one number of fractions",
            Self::Eqd2 => {
                "the dose of each voxel in fractions of 2 Gy by the linear-quadratic model; a \
                 research model"
            }
        }
    }

    /// The word used in `sums.csv` and in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// A sum that the user asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanSum {
    /// The patient.
    pub patient: Token,
    /// The user's name for it.
    pub name: String,
    /// What is added up.
    pub basis: SumBasis,
    /// The plans, by case.
    pub plans: BTreeSet<Token>,
    /// The plan whose structures are measured; absent for the latest.
    pub structures_of: Option<Token>,
}

/// One plan of a sum that may be computed.
#[derive(Debug, Clone, PartialEq)]
pub struct SumPart<'a> {
    /// The plan.
    pub case: &'a Case,
    /// From the frame of reference of the plan whose structures are measured into that of this
    /// dose.
    pub motion: Rigid,
    /// The fractions of it that are added up.
    pub fractions: CountedFractions,
}

/// How many fractions of a plan enter a sum: those delivered where treatment records tell, else
/// those planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountedFractions {
    /// Number of Fractions Planned: what the dose of the plan is of. At least 1.
    pub planned: u32,
    /// Delivered whole, and which records say so; absent when none tell.
    pub delivered: Option<(u32, DeliverySource)>,
    /// Begun but not delivered whole: not in the sum, as nobody tells their dose.
    pub partial: u32,
}

impl CountedFractions {
    /// Of a plan, by its records.
    ///
    /// # Errors
    /// A sentence that says why the plan cannot be part of a sum.
    fn of(case: &Case) -> Result<Self, String> {
        let plan = case.plan.as_ref();
        let stated = plan.and_then(Plan::fractions).filter(|n| *n > 0);
        let planned = stated
            .ok_or_else(|| format!("the number of fractions of plan {} is not stated", case.id))?;
        let told = case.treatment.delivery;
        let delivered = told.and_then(|d| Some((d.fractions?, d.source)));
        let partial = told.map_or(0, |d| d.partial);
        let counted = Self { planned, delivered, partial };
        if counted.number() == 0 {
            return Err(format!(
                "{} of plan {}; a sum without it would be accepted",
                counted.words(),
                case.id
            ));
        }
        let groups = plan.map_or(0, |p| p.fraction_groups.len());
        if counted.number() != planned && groups > 1 {
            return Err(format!(
                "{} of plan {}, and its {groups} fraction groups may differ in dose; all fractions \
                 delivered, or one group, would be accepted",
                counted.words(),
                case.id
            ));
        }
        Ok(counted)
    }

    /// How many are counted.
    #[must_use]
    pub fn number(self) -> u32 {
        self.delivered.map_or(self.planned, |(number, _)| number)
    }

    /// The dose of the counted fractions over that of the plan.
    #[must_use]
    pub fn share(self) -> f64 {
        f64::from(self.number()) / f64::from(self.planned)
    }

    /// How they were counted, for column `method`.
    #[must_use]
    pub fn words(self) -> String {
        let mut words = match self.delivered {
            Some((n, source)) => {
                format!("{n} of {} fractions delivered ({})", self.planned, source.word())
            }
            None => format!("{} fractions as planned, no record tells how many", self.planned),
        };
        if self.partial > 0 {
            words.push_str(&format!(", {} more in part are not counted", self.partial));
        }
        words
    }
}

/// How two plans lie to each other, as `sums.csv` shows it.
///
/// # Errors
/// Which registrations are not used and why; empty where none speaks of both frames.
pub fn frames_join(from: &Case, into: &Case, all: &[Registration]) -> Result<Rigid, String> {
    let [here, there] = [from, into].map(|c| c.dose.as_ref()?.frame.as_ref());
    let (Some(patient), Some(here), Some(there)) = (&from.patient, here, there) else {
        return Err(String::new());
    };
    registered_motion(patient, [here, there], all).unwrap_or_else(|| Err(String::new()))
}

/// The latest plan of the patient that counts, where the sum misses it.
#[must_use]
pub fn latest_missed<'a>(sum: &PlanSum, cases: &'a [Case]) -> Option<&'a Case> {
    let day = |c: &&Case| c.plan.as_ref().and_then(|p| p.day);
    let of_patient = cases.iter().filter(|c| c.patient.as_ref() == Some(&sum.patient));
    let counted = of_patient.clone().filter(|c| c.counts());
    let latest = counted.max_by_key(|c| (day(c), &c.id))?;
    let in_sum = of_patient.filter(|c| sum.plans.contains(&c.id)).filter_map(|c| day(&c)).max();
    // Plans of one day are no later than each other: only a plan after all of the sum is missed.
    (day(&latest) > in_sum && !sum.plans.contains(&latest.id)).then_some(latest)
}

/// Whether a case has a dose that can be part of a sum: one grid in gray of the whole plan.
///
/// # Errors
/// Why not.
pub fn can_be_summed(case: &Case) -> Result<(), String> {
    if case.is_follow_up() {
        return Err(format!(
            "{} was drawn after a treatment and adds no dose; `yes` in column structures would be \
             accepted",
            case.id
        ));
    }
    if let Some((_, reason)) = &case.left_out {
        return Err(format!("plan {} is left out: {reason}", case.id));
    }
    let Some(dose) = &case.dose else { return Err(format!("plan {} has no dose", case.id)) };
    let relative = dose.units == DoseUnits::Relative && case.dose_source.parts.is_empty();
    match () {
        () if relative => Err(format!("the dose of plan {} is relative", case.id)),
        () if dose.kind != DoseType::Physical => {
            Err(format!("the dose of plan {} is no physical dose", case.id))
        }
        () if matches!(dose.summation, DoseSummation::MultiPlan | DoseSummation::PlanOverview) => {
            Err(format!("the dose of plan {} is one of several plans already", case.id))
        }
        () if !case.dose_source.local.is_empty() => {
            Err(format!("the dose of plan {} lies in several grids", case.id))
        }
        () => Ok(()),
    }
}

/// A sum that may be computed.
#[derive(Debug, Clone, PartialEq)]
pub struct ResolvedSum<'a> {
    /// The plan or follow-up whose structures are measured.
    pub structures_of: &'a Case,
    /// The plans to add up, that one first where it is a plan.
    pub parts: Vec<SumPart<'a>>,
}

/// The plans to add up and whose structures are measured. Structures that were drawn after a
/// treatment may be measured in the sum and add no dose to it.
///
/// # Errors
/// A sentence that says why the sum is not computed and what would be accepted.
pub fn resolve<'a>(
    sum: &PlanSum,
    cases: &'a [Case],
    registrations: &[Registration],
) -> Result<ResolvedSum<'a>, String> {
    let (mut list, mut later) = (Vec::new(), None);
    for plan in &sum.plans {
        let found = cases.iter().find(|c| c.id == *plan);
        let case = found.ok_or_else(|| format!("no plan {plan} in table plans"))?;
        if case.patient.as_ref() != Some(&sum.patient) {
            return Err(format!("plan {plan} is not of patient {}", sum.patient));
        }
        if case.is_follow_up() && sum.structures_of.as_ref() == Some(plan) {
            later = Some(case);
            continue;
        }
        can_be_summed(case)?;
        list.push(case);
    }
    if list.len() < 2 {
        return Err("it has one plan; two or more would be accepted".to_owned());
    }
    let structures_of = match later {
        Some(case) => case,
        None => structures_first(sum, &mut list)?,
    };
    let mut parts = Vec::new();
    for case in list {
        let motion = frames_join(structures_of, case, registrations).map_err(|refused| {
            let why = if refused.is_empty() { String::new() } else { format!("; {refused}") };
            format!(
                "plans {} and {} are in different frames of reference; a rigid Spatial \
                 Registration between them would be accepted{why}",
                structures_of.id, case.id
            )
        })?;
        parts.push(SumPart { case, motion, fractions: CountedFractions::of(case)? });
    }
    fractionation(sum.basis, &parts, cases)?;
    Ok(ResolvedSum { structures_of, parts })
}

/// Puts the plan whose structures are measured first: the one that the user names, else the latest.
fn structures_first<'a>(sum: &PlanSum, list: &mut Vec<&'a Case>) -> Result<&'a Case, String> {
    let day = |c: &Case| c.plan.as_ref().and_then(|p| p.day);
    let chosen = match &sum.structures_of {
        Some(plan) => list.iter().position(|c| c.id == *plan),
        None => list
            .iter()
            .enumerate()
            .filter(|(_, c)| c.structure_set.is_some())
            .max_by_key(|(_, c)| (day(c), &c.id))
            .map(|(i, _)| i),
    };
    let chosen = chosen.ok_or("none of the plans has structures")?;
    let first = list.remove(chosen);
    list.insert(0, first);
    if first.structure_set.is_none() {
        return Err(format!("plan {} has no structures to measure", first.id));
    }
    Ok(first)
}

/// Whether the fractionation allows this kind of sum. It is that of the plans: a course that
/// stopped early was fractionated as planned.
fn fractionation(basis: SumBasis, parts: &[SumPart<'_>], cases: &[Case]) -> Result<(), String> {
    if basis == SumBasis::Eqd2 {
        return Ok(());
    }
    let planned = |p: &SumPart<'_>| p.fractions.planned;
    let first = parts.first().map_or(0, planned);
    if let Some(other) = parts.iter().find(|p| planned(p) != first) {
        return Err(format!(
            "plan {} has {} fractions, another one {}; a physical sum is for one fractionation, \
             `{}` would be accepted",
            other.case.id,
            planned(other),
            first,
            SumBasis::Eqd2.word()
        ));
    }
    let all = courses(cases);
    let course = |p: &SumPart<'_>| all.get(&p.case.id).map(|c: &Course| c.number);
    let own = parts.first().and_then(course);
    if own.is_none() || parts.iter().any(|p| course(p) != own) {
        return Err(format!(
            "the plans are not of one course by their dates; a physical sum is for one \
             fractionation, `{}` would be accepted",
            SumBasis::Eqd2.word()
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{dose, plan, structure_set};
    use crate::{Decisions, Delivery, link_decided};
    use tidydose_geometry::units::Day;
    use tidydose_rt::{FractionGroup, Inventory, RegisteredFrame};

    fn sum(basis: SumBasis) -> PlanSum {
        PlanSum {
            patient: Token::new("patient"),
            name: "both".to_owned(),
            basis,
            plans: [Token::new("plan-1"), Token::new("plan-2")].into(),
            structures_of: None,
        }
    }

    /// Two plans of one patient, `days` apart, with these numbers of fractions.
    fn archive(days: i64, fractions: [u32; 2]) -> (Vec<Case>, Inventory) {
        let mut inventory = Inventory::default();
        for (i, n) in fractions.into_iter().enumerate() {
            let name = |kind: &str| format!("{kind}-{}", i + 1);
            let mut own = plan(&name("plan"), &name("set"));
            own.day = Some(Day(100 + days * i64::try_from(i).unwrap()));
            own.fraction_groups = vec![group(n)];
            inventory.plans.push(own);
            inventory.structure_sets.push(structure_set(&name("set")));
            inventory.doses.push(dose(&name("dose"), &name("plan")));
        }
        let (cases, _) = link_decided(&inventory, &Decisions::default());
        (cases, inventory)
    }

    fn group(fractions: u32) -> FractionGroup {
        FractionGroup { number: 1, fractions: Some(fractions), beams: Vec::new() }
    }

    fn resolved(basis: SumBasis, days: i64, fractions: [u32; 2]) -> Result<Vec<String>, String> {
        let (cases, inventory) = archive(days, fractions);
        let resolved = resolve(&sum(basis), &cases, &inventory.registrations)?;
        Ok(resolved.parts.iter().map(|p| p.case.id.to_string()).collect())
    }

    #[test]
    fn plans_of_one_fractionation_are_added_physically_the_latest_first() {
        let order = resolved(SumBasis::Physical, 1, [5, 5]).unwrap();
        assert_eq!(order, ["plan-2", "plan-1"]);
    }

    #[test]
    fn other_fractionations_and_courses_are_added_as_eqd2_only() {
        for (days, fractions) in [(1, [5, 3]), (300, [1, 1])] {
            let refused = resolved(SumBasis::Physical, days, fractions).unwrap_err();
            assert!(refused.contains("`eqd2` would be accepted"), "{refused}");
            assert!(resolved(SumBasis::Eqd2, days, fractions).is_ok());
        }
    }

    /// 3 of 5 by the records: the plans keep the fractionation they were made for.
    #[test]
    fn records_tell_how_many_fractions_are_added() {
        let (mut cases, inventory) = archive(1, [5, 5]);
        let asked = sum(SumBasis::Physical);
        let told = |fractions, partial| {
            let source = DeliverySource::SessionRecords;
            let (first_day, last_day) = (None, None);
            Some(Delivery { fractions, partial, first_day, last_day, source })
        };
        let counted = |cases: &[Case]| -> Result<Vec<(u32, f64)>, String> {
            let resolved = resolve(&asked, cases, &inventory.registrations)?;
            Ok(resolved.parts.iter().map(|p| (p.fractions.number(), p.fractions.share())).collect())
        };
        assert_eq!(counted(&cases).unwrap(), [(5, 1.0), (5, 1.0)]);
        cases[0].treatment.delivery = told(Some(3), 0);
        assert_eq!(counted(&cases).unwrap(), [(5, 1.0), (3, 0.6)]);
        cases[0].treatment.delivery = told(None, 0);
        assert_eq!(counted(&cases).unwrap(), [(5, 1.0), (5, 1.0)]);
        cases[0].treatment.delivery = told(Some(0), 1);
        let none = counted(&cases).unwrap_err();
        assert!(none.contains("0 of 5 fractions delivered") && none.contains("1 more in part"));
        cases[0].treatment.delivery = told(Some(3), 0);
        let groups = &mut cases[0].plan.as_mut().unwrap().fraction_groups;
        *groups = vec![group(2), group(3)];
        assert!(counted(&cases).unwrap_err().contains("2 fraction groups may differ in dose"));
    }

    /// Structures of a later scan are measured in the sum of what was given, and add no dose.
    #[test]
    fn a_follow_up_is_measured_in_a_sum_and_adds_nothing() {
        let (_, mut inventory) = archive(1, [5, 5]);
        let mut later = structure_set("later");
        later.imaged = Some(Day(300));
        inventory.structure_sets.push(later);
        let (cases, _) = link_decided(&inventory, &Decisions::default());
        let follow_up = Token::new("later");
        let mut asked = sum(SumBasis::Physical);
        asked.plans.insert(follow_up.clone());
        let refused = resolve(&asked, &cases, &[]).unwrap_err();
        assert!(refused.contains("adds no dose"), "{refused}");
        asked.structures_of = Some(follow_up.clone());
        let resolved = resolve(&asked, &cases, &[]).unwrap();
        assert_eq!((&resolved.structures_of.id, resolved.parts.len()), (&follow_up, 2));
    }

    #[test]
    fn what_cannot_be_added_says_why() {
        let (mut cases, inventory) = archive(300, [1, 1]);
        let none = &inventory.registrations;
        let asked = sum(SumBasis::Eqd2);
        let of = |sum: &PlanSum, cases: &[Case]| resolve(sum, cases, none).unwrap_err();
        let other = PlanSum { patient: Token::new("B"), ..asked.clone() };
        assert!(of(&other, &cases).contains("is not of patient B"));
        let missing = PlanSum { plans: [Token::new("x")].into(), ..asked.clone() };
        assert!(of(&missing, &cases).contains("no plan x"));
        let single = PlanSum { plans: [Token::new("plan-1")].into(), ..asked.clone() };
        assert!(of(&single, &cases).contains("two or more"));
        let unstated = |c: &mut Case| c.plan.as_mut().unwrap().fraction_groups.clear();
        let mut vague = cases.clone();
        vague.iter_mut().for_each(unstated);
        assert!(of(&asked, &vague).contains("fractions of plan"));
        cases[0].dose.as_mut().unwrap().frame = Some(Token::new("elsewhere"));
        assert!(of(&asked, &cases).contains("different frames"));
        let mut matrix = [0.0; 16];
        (0..4).for_each(|i| matrix[5 * i] = 1.0);
        matrix[3] = 10.0;
        let registration = Registration {
            origin: cases[0].dose.as_ref().unwrap().origin.clone(),
            day: None,
            frame: Token::new("elsewhere"),
            items: vec![RegisteredFrame {
                frame: cases[1].dose.as_ref().unwrap().frame.clone().unwrap(),
                motion: Rigid::from_matrix(&matrix),
            }],
        };
        let parts = resolve(&asked, &cases, &[registration]).unwrap().parts;
        assert_eq!(parts[1].motion.apply([0.0; 3]), [10.0, 0.0, 0.0]);
        cases[0].dose_source.local = vec![cases[0].dose.clone().unwrap()];
        assert!(of(&asked, &cases).contains("several grids"));
    }
}
