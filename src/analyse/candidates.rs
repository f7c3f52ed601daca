//! Structures that may be an organ which no structure of the case is called yet: by the words of
//! their undecided names and by their size. As long as there is one, the organ is not absent but
//! undecided.

use super::rows::{Measurement, RegionMeasurement, StructureResult};
use super::{Analysis, region};
use tidydose_case::{Case, NamedRoi, OpenName, Role, has_size_of};
use tidydose_metrics::{Outcome, Status};

/// The metric by which candidates are shown and put in order.
pub const SHOWN: &str = "D0.03cc[Gy]";

/// The open structures of a case with their volumes, to be asked about one organ after the other.
#[derive(Debug, Clone)]
pub struct Candidates<'c> {
    case: &'c Case,
    open: Vec<(OpenName<'c>, Option<f64>)>,
}

impl<'c> Candidates<'c> {
    /// Those of a case.
    #[must_use]
    pub fn of(case: &'c Case, structures: &[StructureResult]) -> Self {
        let volume = |number: i64| {
            structures.iter().find(|s| s.roi_number == number).and_then(|s| s.volume.value)
        };
        let open = case.open_names().into_iter().map(|open| {
            let volume = volume(open.name.number);
            (open, volume)
        });
        Self { case, open: open.collect() }
    }

    /// Those that may be the organ of a standard name, by ROI Number; none where a structure is
    /// called so.
    #[must_use]
    pub fn for_organ(&self, organ: &str) -> Vec<&'c NamedRoi> {
        let is_it = |n: &&NamedRoi| !n.role.is_target() && n.standard.as_deref() == Some(organ);
        if self.case.names.iter().any(|n| is_it(&n)) {
            return Vec::new();
        }
        let fits = |(open, volume): &&(OpenName<'c>, Option<f64>)| {
            open.may_be.allows(organ) && volume.is_none_or(|cc| has_size_of(organ, cc))
        };
        self.open.iter().filter(fits).map(|(open, _)| open.name).collect()
    }

    /// All of them that may be one of these organs, with what they may be in words.
    #[must_use]
    pub fn for_any(&self, organs: &[&str]) -> Vec<(&'c NamedRoi, String)> {
        let asked: Vec<i64> =
            organs.iter().flat_map(|o| self.for_organ(o)).map(|n| n.number).collect();
        let open = self.open.iter().filter(|(open, _)| asked.contains(&open.name.number));
        open.map(|(open, _)| (open.name, open.may_be.words())).collect()
    }
}

/// Names with their values of [`SHOWN`], largest first, at most five.
#[must_use]
pub fn listed(names: &[&NamedRoi], measurements: &[Measurement]) -> String {
    let value = |name: &NamedRoi| outcome(measurements, name.number, SHOWN).and_then(|o| o.value);
    let mut list: Vec<(&NamedRoi, Option<f64>)> =
        names.iter().map(|name| (*name, value(name))).collect();
    list.sort_by(|a, b| {
        let dose = |v: &Option<f64>| v.unwrap_or(f64::NEG_INFINITY);
        dose(&b.1).total_cmp(&dose(&a.1)).then(a.0.number.cmp(&b.0.number))
    });
    let shown = list.iter().take(5).map(|(name, value)| match value {
        Some(gy) => format!("{:?} (D0.03cc {gy:.1} Gy)", name.original),
        None => format!("{:?}", name.original),
    });
    let more = if list.len() > 5 { " and others" } else { "" };
    format!("{}{more}", shown.collect::<Vec<_>>().join(", "))
}

/// The outcome of a metric of a structure.
pub(super) fn outcome<'m>(
    measurements: &'m [Measurement],
    roi_number: i64,
    metric: &str,
) -> Option<&'m Outcome> {
    let found = measurements.iter().find(|m| m.roi_number == roi_number && m.metric == metric);
    found.map(|m| &m.outcome)
}

/// Regions that rest on the whole brain are not absent while an open name may be the brain.
pub(super) fn look_again(case: &Case, out: &mut Analysis) {
    let organ =
        |n: &NamedRoi| n.role == Role::Organ && n.standard.as_deref() == Some(region::BRAIN);
    if case.names.iter().any(organ) {
        return;
    }
    let open = Candidates::of(case, &out.structures).for_organ(region::BRAIN);
    if open.is_empty() {
        return;
    }
    let reason = format!(
        "no structure is called the whole brain, but {} may be; decide in names.csv",
        listed(&open, &out.measurements)
    );
    let rests = |r: &&mut RegionMeasurement| {
        region::rests_on_brain(&r.region) && r.outcome.status == Status::Absent
    };
    for row in out.regions.iter_mut().filter(rests) {
        row.outcome = Outcome::none(Status::NameUndecided, reason.clone());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_case::NameBasis;

    fn case() -> Case {
        let mut case = case_of(&["GTV", "Tronco", "x1", "Cute"]);
        for name in case.names.iter_mut().skip(1) {
            (name.role, name.basis) = (Role::Organ, NameBasis::Ambiguous);
            name.standard = None;
        }
        case
    }

    fn numbers(names: &[&NamedRoi]) -> Vec<i64> {
        names.iter().map(|n| n.number).collect()
    }

    fn volume(roi_number: i64, cc: f64) -> StructureResult {
        StructureResult {
            roi_number,
            closed_contours: 5,
            planes: 5,
            holes: 0,
            plane_spacing_mm: None,
            plane_gap_max_mm: None,
            pixel_mm: None,
            volume: Outcome::of(cc),
            centroid_mm: None,
            inside_grid_percent: None,
            prescription: None,
        }
    }

    #[test]
    fn words_and_size_tell_who_may_be_the_organ() {
        let case = case();
        let none = Candidates::of(&case, &[]);
        assert_eq!(numbers(&none.for_organ("Brainstem")), [2, 3]);
        assert_eq!(numbers(&none.for_organ("OpticChiasm")), [3], "Tronco is no chiasm");
        let small = [volume(3, 0.2), volume(2, 6.0)];
        let sized = Candidates::of(&case, &small);
        assert_eq!(numbers(&sized.for_organ("Brainstem")), [2], "0.2 cc are no brainstem");
        assert_eq!(sized.for_any(&["Brainstem", "OpticChiasm"]).len(), 2);
        let mut named = case.clone();
        named.names[2].standard = Some("Brainstem".to_owned());
        let none = Candidates::of(&named, &[]);
        assert!(none.for_organ("Brainstem").is_empty(), "a structure is called so");
    }
}
