//! Delivery technology of a plan, from the way its beams are written, with the evidence as a
//! sentence. Machine names play no part. What fits no pattern well stays unknown.

use std::collections::BTreeSet;

use super::Technology;
use tidydose_rt::{Beam, FractionGroup, Plan};

/// From this number of fixed beams on a plan is taken for that of a robot arm.
const ROBOT_BEAMS: usize = 50;
/// Gantry angles of one beam that lie further apart than this are an arc, degrees.
const ARC_DEGREES: f64 = 1.0;
/// Applicator Types (300A,0109) of small round fields.
const ROUND_APPLICATORS: [&str; 2] = ["STEREOTACTIC", "CIRCULAR"];

/// What the treatment beams of a plan say, counted.
struct BeamCounts {
    beams: usize,
    minutes: usize,
    monitor_units: usize,
    fixed: usize,
    angled: usize,
    arcs: usize,
    round: usize,
    isocentres: usize,
    directions: usize,
}

/// The technology of a plan and the sentence that says why.
pub(super) fn recognise(plan: Option<&Plan>) -> (Technology, String) {
    let Some(plan) = plan else {
        return (Technology::Unknown, "no plan".to_owned());
    };
    let beams: Vec<&Beam> = plan.beams.iter().filter(|b| is_treatment(b)).collect();
    if plan.ion {
        return (Technology::Other, "the plan is an RT Ion Plan".to_owned());
    }
    let particles: BTreeSet<&str> = beams
        .iter()
        .filter_map(|b| b.radiation_type.as_deref())
        .filter(|r| *r != "PHOTON")
        .collect();
    if !particles.is_empty() {
        let list = particles.into_iter().collect::<Vec<_>>().join(", ");
        return (Technology::Other, format!("Radiation Type is {list}"));
    }
    if beams.is_empty() {
        return (Technology::Unknown, "the plan has no treatment beams".to_owned());
    }
    judge(&BeamCounts::new(&beams))
}

/// Whether a beam treats: Treatment Delivery Type TREATMENT, CONTINUATION or absent.
pub(super) fn is_treatment(beam: &Beam) -> bool {
    matches!(beam.delivery_type.as_deref(), None | Some("" | "TREATMENT" | "CONTINUATION"))
}

/// Distinct isocentres of the treatment beams, told apart to a tenth of a mm.
#[must_use]
pub fn isocentres(plan: &Plan) -> usize {
    places(plan.beams.iter().filter(|b| is_treatment(b)))
}

/// What the plan wants delivered over all fractions, in a Primary Dosimeter Unit (MU or MINUTE):
/// absent unless every treatment beam of every fraction group states its Beam Meterset, in that
/// unit, and every group its fractions.
#[must_use]
pub fn planned_meterset(plan: &Plan, unit: &str) -> Option<f64> {
    let beam = |number: i64| plan.beams.iter().find(|b| b.number == number);
    let of_group = |group: &FractionGroup| {
        let shares = group.beams.iter().filter_map(|s| Some((s, beam(s.beam_number)?)));
        let treating = shares.filter(|(_, beam)| is_treatment(beam));
        let metersets =
            treating.map(|(s, b)| s.meterset.filter(|_| b.dosimeter_unit.as_deref() == Some(unit)));
        Some(f64::from(group.fractions?) * metersets.sum::<Option<f64>>()?)
    };
    let named = |b: &&Beam| {
        let mut shares = plan.fraction_groups.iter().flat_map(|g| &g.beams);
        shares.any(|s| s.beam_number == b.number)
    };
    let mut beams = plan.beams.iter().filter(|b| is_treatment(b)).peekable();
    (beams.peek().is_some() && beams.all(|b| named(&b)))
        .then(|| plan.fraction_groups.iter().map(of_group).sum::<Option<f64>>())?
        // Metersets are decimal numbers; so is their sum.
        .map(|sum| (sum * 1e6).round() / 1e6)
}

fn judge(seen: &BeamCounts) -> (Technology, String) {
    let n = seen.beams;
    if seen.minutes == n {
        let text = format!(
            "Primary Dosimeter Unit MINUTE on all {n} beams, {} distinct isocentres",
            seen.isocentres
        );
        if seen.arcs == 0 && seen.directions <= 1 {
            return (Technology::CobaltUnit, text);
        }
        return (Technology::Unknown, format!("{text}, but {} beam directions", seen.directions));
    }
    if seen.monitor_units == n && seen.fixed == n && n >= ROBOT_BEAMS && seen.round == n {
        let text = format!(
            "{n} beams of Beam Type STATIC in MU with round applicators, {} beams with a Gantry \
             Angle, {} distinct directions",
            seen.angled, seen.directions
        );
        // Either no angle is written (a robot has no gantry), or nearly every beam has its own.
        let robot = seen.angled == 0 || 2 * seen.directions >= n;
        return (if robot { Technology::RoboticLinac } else { Technology::Unknown }, text);
    }
    let few = n < ROBOT_BEAMS && seen.monitor_units == n && seen.angled == n;
    if seen.minutes == 0 && n < ROBOT_BEAMS && seen.arcs > 0 && seen.angled == n {
        let text = format!("{} of {n} beams sweep a range of Gantry Angles (arcs)", seen.arcs);
        return (Technology::GantryLinac, text);
    }
    if few {
        let text =
            format!("{n} beams in MU with fixed Gantry Angles, {} distinct", seen.directions);
        return (Technology::GantryLinac, text);
    }
    let text = format!(
        "no pattern fits: {n} beams, {} in MU, {} in MINUTE, {} STATIC, {} with Gantry Angle, {} \
         arcs, {} with round applicators",
        seen.monitor_units, seen.minutes, seen.fixed, seen.angled, seen.arcs, seen.round
    );
    (Technology::Unknown, text)
}

impl BeamCounts {
    fn new(beams: &[&Beam]) -> Self {
        let count = |test: &dyn Fn(&Beam) -> bool| beams.iter().filter(|b| test(b)).count();
        let unit = |b: &Beam, unit: &str| b.dosimeter_unit.as_deref() == Some(unit);
        let round = |b: &Beam| {
            let types = &b.applicators;
            !types.is_empty() && types.iter().all(|a| ROUND_APPLICATORS.contains(&a.as_str()))
        };
        let directions = beams.iter().filter_map(|b| direction(b));
        Self {
            beams: beams.len(),
            minutes: count(&|b| unit(b, "MINUTE")),
            monitor_units: count(&|b| unit(b, "MU")),
            fixed: count(&|b| b.beam_type.as_deref() == Some("STATIC") && !is_arc(b)),
            angled: count(&|b| b.gantry_angles.is_some()),
            arcs: count(&is_arc),
            round: count(&round),
            isocentres: places(beams.iter().copied()),
            directions: directions.collect::<BTreeSet<_>>().len(),
        }
    }
}

fn places<'a>(beams: impl Iterator<Item = &'a Beam>) -> usize {
    let points = beams.flat_map(|b| &b.isocentres);
    points.map(|p| p.map(tenths)).collect::<BTreeSet<_>>().len()
}

fn is_arc(beam: &Beam) -> bool {
    beam.gantry_angles.is_some_and(|[low, high]| high - low > ARC_DEGREES)
}

/// Gantry and couch angle of a beam in tenths of a degree; nothing when no gantry angle is given.
fn direction(beam: &Beam) -> Option<[i64; 2]> {
    let [low, _] = beam.gantry_angles?;
    Some([tenths(low), beam.couch_angles.first().copied().map_or(0, tenths)])
}

#[allow(clippy::cast_possible_truncation)] // saturates, and only equality matters
fn tenths(value: f64) -> i64 {
    (value * 10.0).round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{beam, plan};

    fn of(beams: Vec<Beam>) -> (Technology, String) {
        let mut plan = plan("plan", "set");
        plan.beams = beams;
        recognise(Some(&plan))
    }

    fn shots(count: i64) -> Vec<Beam> {
        let shot = |i: i64| {
            let mut b = beam(i, "STATIC", "MINUTE");
            #[allow(clippy::cast_precision_loss)]
            b.isocentres.push([i as f64, 0.0, 0.0]);
            b
        };
        (0..count).map(shot).collect()
    }

    #[test]
    fn minutes_without_angles_are_a_cobalt_unit() {
        let (technology, basis) = of(shots(12));
        assert_eq!(technology, Technology::CobaltUnit);
        assert!(basis.contains("MINUTE") && basis.contains("12 distinct isocentres"), "{basis}");
        let mut mixed = shots(3);
        mixed[0].dosimeter_unit = Some("MU".into());
        assert_eq!(of(mixed).0, Technology::Unknown, "one beam in MU");
        let mut turned = shots(3);
        for (b, angle) in turned.iter_mut().zip([0.0, 90.0, 180.0]) {
            b.gantry_angles = Some([angle, angle]);
        }
        assert_eq!(of(turned).0, Technology::Unknown, "a turning source in minutes");
    }

    fn pencil_beams(count: i64, with_angles: bool) -> Vec<Beam> {
        let one = |i: i64| {
            let mut b = beam(i, "STATIC", "MU");
            b.applicators = vec!["STEREOTACTIC".into()];
            #[allow(clippy::cast_precision_loss)]
            let angle = i as f64;
            b.gantry_angles = with_angles.then_some([angle, angle]);
            b
        };
        (0..count).map(one).collect()
    }

    #[test]
    fn many_fixed_round_beams_are_a_robot() {
        assert_eq!(of(pencil_beams(120, true)).0, Technology::RoboticLinac);
        assert_eq!(of(pencil_beams(120, false)).0, Technology::RoboticLinac);
        let mut one_direction = pencil_beams(120, true);
        one_direction.iter_mut().for_each(|b| b.gantry_angles = Some([30.0, 30.0]));
        assert_eq!(of(one_direction).0, Technology::Unknown);
        let mut no_applicator = pencil_beams(120, true);
        no_applicator[7].applicators.clear();
        assert_eq!(of(no_applicator).0, Technology::Unknown);
        assert_eq!(of(pencil_beams(12, false)).0, Technology::Unknown);
    }

    #[test]
    fn arcs_and_fixed_fields_are_a_gantry() {
        let mut arc = beam(1, "DYNAMIC", "MU");
        arc.gantry_angles = Some([181.0, 359.0]);
        let (technology, basis) = of(vec![arc]);
        assert_eq!(technology, Technology::GantryLinac);
        assert!(basis.contains("1 of 1 beams"), "{basis}");
        let mut field = beam(1, "STATIC", "MU");
        field.gantry_angles = Some([30.0, 30.0]);
        assert_eq!(of(vec![field.clone()]).0, Technology::GantryLinac);
        field.dosimeter_unit = None;
        assert_eq!(of(vec![field]).0, Technology::Unknown, "no unit is not MU");
    }

    #[test]
    fn setup_beams_do_not_count_and_ions_are_other() {
        let mut setup = beam(99, "STATIC", "MU");
        setup.delivery_type = Some("SETUP".into());
        let mut beams = shots(4);
        beams.push(setup.clone());
        assert_eq!(of(beams).0, Technology::CobaltUnit);
        assert_eq!(of(vec![setup]).0, Technology::Unknown);
        let mut protons = beam(1, "STATIC", "MU");
        protons.radiation_type = Some("PROTON".into());
        assert_eq!(of(vec![protons]).0, Technology::Other);
    }
}
