//! Which organs of the same archive are about as large as an unnamed structure and lie where it lies.
//! Calibrated on the structures that have their names already, so that it follows the contouring of
//! the place and no table. It names nothing: it ranks what words allow, and shows where to look.

use std::collections::{BTreeMap, BTreeSet};

use crate::user::seen::{EvidenceByCase, Seen};
use tidydose_case::{Case, Role};
use tidydose_geometry::point::{length, sub};
use tidydose_rt::identity::Token;

/// Fewer structures of a name than this tell nothing of how they vary.
const LEAST: usize = 3;
/// Nearer than this, from the middle of the brain, mm: heads differ by about as much, and organs
/// that lie closer to each other are told apart by size and side.
pub(super) const NEAR_MM: f64 = 15.0;
/// Volumes that differ by no more than this factor: contours of one organ by several people do.
pub(super) const TIMES: f64 = 3.0;
/// So many are told.
const MOST: usize = 3;

/// How the structures of a name typically are.
#[derive(Debug, Clone, Copy)]
pub(super) struct Typical {
    /// Median volume, cc.
    pub(super) volume_cc: f64,
    /// Median place against the middle of the brain, mm.
    pub(super) place_mm: [f64; 3],
    /// Of so many structures.
    pub(super) count: usize,
    /// Whether these are of the other side.
    pub(super) opposite: bool,
}

/// The named organs of an archive.
#[derive(Debug, Clone, Default)]
pub(super) struct KnownShapes {
    by_name: BTreeMap<String, Typical>,
}

/// An organ that is like a structure.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Alike {
    /// The standard name.
    pub(super) name: String,
    /// How far its usual place is, mm.
    pub(super) mm: f64,
    /// Volume of the structure over the usual one.
    pub(super) times: f64,
    /// How many structures of that name there are.
    pub(super) count: usize,
    /// Whether these are of the other side.
    pub(super) opposite: bool,
}

impl KnownShapes {
    /// What the named organs of these cases are like; a structure set that several cases share
    /// counts once.
    pub(super) fn of(cases: &[Case], evidence: &EvidenceByCase) -> Self {
        let mut seen: BTreeMap<&str, (Seen, usize)> = BTreeMap::new();
        let mut counted: BTreeSet<(&Token, i64)> = BTreeSet::new();
        for case in cases {
            let set = case.structure_set.as_ref().map_or(&case.id, |s| &s.origin.object);
            for one in evidence.get(&case.id).into_iter().flatten() {
                let named = case.name(one.roi_number).filter(|n| n.role == Role::Organ);
                let Some(name) = named.and_then(|n| n.standard.as_deref()) else { continue };
                if counted.insert((set, one.roi_number)) && one.from_brain_mm.is_some() {
                    let (all, count) = seen.entry(name).or_default();
                    all.add(one);
                    *count += 1;
                }
            }
        }
        let mut by_name = BTreeMap::new();
        for (name, (all, count)) in seen {
            if let Some((volume_cc, place_mm)) = all.median_cc().zip(all.place_mm())
                && count >= LEAST
            {
                by_name.insert(
                    name.to_owned(),
                    Typical { volume_cc, place_mm, count, opposite: false },
                );
            }
        }
        let mut known = Self { by_name };
        known.mirror();
        known
    }

    /// Heads are about alike on both sides: where only one of a pair is known, the other one is as
    /// large and lies opposite.
    fn mirror(&mut self) {
        let mut others = Vec::new();
        for (name, typical) in &self.by_name {
            let other = match name.strip_suffix("_L") {
                Some(root) => Some(format!("{root}_R")),
                None => name.strip_suffix("_R").map(|root| format!("{root}_L")),
            };
            if let Some(other) = other.filter(|other| !self.by_name.contains_key(other)) {
                let [left, back, up] = typical.place_mm;
                others.push((
                    other,
                    Typical { place_mm: [-left, back, up], opposite: true, ..*typical },
                ));
            }
        }
        self.by_name.extend(others);
    }

    /// How the structures of a name typically are, where enough have it or its pair.
    pub(super) fn typical(&self, name: &str) -> Option<Typical> {
        self.by_name.get(name).copied()
    }

    #[cfg(test)]
    pub(super) fn of_typical<const N: usize>(list: [(&str, Typical); N]) -> Self {
        let by_name = list.into_iter().map(|(name, typical)| (name.to_owned(), typical));
        Self { by_name: by_name.collect() }
    }

    /// The organs that are about so large and lie about there, the most alike first.
    pub(super) fn like(&self, seen: &Seen) -> Vec<Alike> {
        let Some((volume_cc, place_mm)) = seen.median_cc().zip(seen.place_mm()) else {
            return Vec::new();
        };
        let mut all = Vec::new();
        for (name, typical) in &self.by_name {
            let mm = length(sub(place_mm, typical.place_mm));
            let times = volume_cc / typical.volume_cc;
            if mm <= NEAR_MM && (1.0 / TIMES..=TIMES).contains(&times) {
                let Typical { count, opposite, .. } = *typical;
                all.push(Alike { name: name.clone(), mm, times, count, opposite });
            }
        }
        // Each as a share of what is allowed.
        let unlike = |a: &Alike| a.mm / NEAR_MM + a.times.ln().abs() / TIMES.ln();
        all.sort_by(|a, b| unlike(a).total_cmp(&unlike(b)).then_with(|| a.name.cmp(&b.name)));
        all.truncate(MOST);
        all
    }
}

impl Alike {
    /// In words.
    pub(super) fn words(&self) -> String {
        let whose = if self.opposite { "of the other side, mirrored" } else { "so called here" };
        format!(
            "{:.0} mm from the place and {:.1} times the volume of {} structures {whose}",
            self.mm, self.times, self.count
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{ball, case_of, set_of};
    use tidydose_geometry::Point;

    /// A brain, an eye on its left, and something else.
    fn case(id: &str, other: (&str, Point, f64)) -> (Case, Vec<tidydose_analyse::ShapeEvidence>) {
        let mut case = case_of(&["Brain", "Eye_L", other.0]);
        case.id = Token::new(id);
        if let Some(set) = &mut case.structure_set {
            set.origin.object = Token::new(format!("set of {id}"));
        }
        let balls = [
            ball(1, [0.0; 3], 65.0),
            ball(2, [32.0, -60.0, -20.0], 12.0),
            ball(3, other.1, other.2),
        ];
        let evidence = tidydose_analyse::review_shapes(&case, &set_of(balls.to_vec())).evidence;
        (case, evidence)
    }

    fn like(place: Point, radius: f64, others: usize) -> Vec<Alike> {
        let (mut cases, mut evidence) = (Vec::new(), EvidenceByCase::new());
        for n in 0..others {
            let (case, own) = case(&format!("p{n}"), ("Brainstem", [0.0, 20.0, -40.0], 18.0));
            evidence.insert(case.id.clone(), own);
            cases.push(case);
        }
        let (own, shapes) = case("q", ("x1", place, radius));
        let mut seen = Seen::default();
        shapes.iter().filter(|e| e.roi_number == 3).for_each(|e| seen.add(e));
        evidence.insert(own.id.clone(), shapes);
        cases.push(own);
        KnownShapes::of(&cases, &evidence).like(&seen)
    }

    #[test]
    fn what_lies_there_and_is_as_large_is_found_and_nothing_else() {
        let found = like([0.0, 24.0, -43.0], 18.0, 3);
        let [one] = found.as_slice() else { panic!("{found:?}") };
        assert_eq!((one.name.as_str(), one.count), ("Brainstem", 3));
        // 4² + 3² = 5².
        assert!((one.mm - 5.0).abs() < 0.3 && (one.times - 1.0).abs() < 0.02, "{one:?}");
        // The eye of the other side, which nobody has named in this archive.
        let opposite = like([-32.0, -60.0, -20.0], 12.0, 3);
        assert_eq!(opposite.first().map(|a| a.name.as_str()), Some("Eye_R"), "{opposite:?}");
        assert!(opposite[0].mm < 1.0 && opposite[0].opposite, "{opposite:?}");
        assert!(opposite[0].words().ends_with("structures of the other side, mirrored"));
        assert_eq!(like([0.0, 24.0, -43.0], 18.0, 2), [], "two tell nothing");
        assert_eq!(like([0.0, 24.0, -43.0], 12.0, 3), [], "(12 / 18)³ = 0.30");
        assert_eq!(like([0.0, 24.0, -56.0], 18.0, 3), [], "4² + 16² > 15²");
    }
}
