//! What was seen of the structures that carry one name, put together over the cases: how large they
//! are, on which side they lie, where they are against the brain. Shown beside the proposals.

use std::collections::{BTreeMap, BTreeSet};

use crate::write_csv::number;
use tidydose_analyse::{SeenSide, ShapeEvidence};
use tidydose_case::Case;
use tidydose_rt::identity::Token;

/// What the shapes say, by case.
pub type EvidenceByCase = BTreeMap<Token, Vec<ShapeEvidence>>;

/// What was seen of one name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Seen {
    volumes_cc: Vec<f64>,
    sides: BTreeMap<SeenSide, usize>,
    from_brain_mm: [Vec<f64>; 3],
}

impl Seen {
    /// From volumes, cc, and sides.
    #[must_use]
    pub fn of<const N: usize>(list: [(f64, Option<SeenSide>); N]) -> Self {
        let mut seen = Self::default();
        for (volume_cc, side) in list {
            seen.volumes_cc.push(volume_cc);
            if let Some(side) = side {
                *seen.sides.entry(side).or_insert(0) += 1;
            }
        }
        seen
    }

    /// One more structure.
    pub(super) fn add(&mut self, evidence: &ShapeEvidence) {
        self.volumes_cc.push(evidence.volume_cc);
        if let Some(side) = evidence.side {
            *self.sides.entry(side).or_insert(0) += 1;
        }
        for (list, value) in
            self.from_brain_mm.iter_mut().zip(evidence.from_brain_mm.iter().flatten())
        {
            list.push(*value);
        }
    }

    /// Median volume, cc.
    #[must_use]
    pub fn median_cc(&self) -> Option<f64> {
        median(&self.volumes_cc)
    }

    /// Median volume, cc; empty where nothing was seen.
    #[must_use]
    pub fn median_volume(&self) -> String {
        median(&self.volumes_cc).map_or(String::new(), |v| rounded(v, 1000.0))
    }

    /// Smallest and largest volume, cc, as numbers.
    #[must_use]
    pub fn range_cc(&self) -> Option<[f64; 2]> {
        let low = self.volumes_cc.iter().copied().reduce(f64::min)?;
        let high = self.volumes_cc.iter().copied().reduce(f64::max)?;
        Some([low, high])
    }

    /// Smallest and largest volume, cc.
    #[must_use]
    pub fn volume_range(&self) -> String {
        match self.range_cc().map(|[l, h]| (rounded(l, 1000.0), rounded(h, 1000.0))) {
            None => String::new(),
            Some((low, high)) if low == high => low,
            Some((low, high)) => format!("{low} to {high}"),
        }
    }

    /// Sides with how often each was seen.
    #[must_use]
    pub fn sides(&self) -> String {
        let parts: Vec<_> = self.sides.iter().map(|(s, n)| format!("{} {n}", s.word())).collect();
        parts.join(", ")
    }

    /// Median position against the brain's centre, mm: to the left, to the back, to the head.
    #[must_use]
    pub fn place_mm(&self) -> Option<[f64; 3]> {
        let [left, back, up] = &self.from_brain_mm;
        Some([median(left)?, median(back)?, median(up)?])
    }

    /// Median position against the brain's centre, mm, in words: `34 right, 70 front, 20 down`.
    #[must_use]
    pub fn from_brain(&self) -> String {
        let word = |(value, [towards, away]): (f64, [&str; 2])| {
            let way = if value < 0.0 { away } else { towards };
            format!("{} {way}", rounded(value.abs(), 1.0))
        };
        let ways = [["left", "right"], ["back", "front"], ["up", "down"]];
        self.place_mm().map_or(String::new(), |m| {
            m.into_iter().zip(ways).map(word).collect::<Vec<_>>().join(", ")
        })
    }
}

fn rounded(value: f64, steps: f64) -> String {
    number((value * steps).round() / steps + 0.0)
}

fn median(list: &[f64]) -> Option<f64> {
    let mut sorted = list.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (low, high) =
        (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some((low + high) / 2.0)
}

/// What was seen of every name; a structure set that several cases share counts once.
#[must_use]
pub fn seen_by_name(cases: &[Case], evidence: &EvidenceByCase) -> BTreeMap<String, Seen> {
    let mut seen: BTreeMap<String, Seen> = BTreeMap::new();
    let mut counted: BTreeSet<(&Token, i64)> = BTreeSet::new();
    for case in cases {
        let set = case.structure_set.as_ref().map_or(&case.id, |s| &s.origin.object);
        for one in evidence.get(&case.id).into_iter().flatten() {
            let name = case.name(one.roi_number);
            if let Some(name) = name.filter(|_| counted.insert((set, one.roi_number))) {
                seen.entry(name.original.clone()).or_default().add(one);
            }
        }
    }
    seen
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_ranges_and_counts() {
        let sides = [Some(SeenSide::Left), Some(SeenSide::Left), Some(SeenSide::Right), None];
        let seen = Seen::of([(2.0, sides[0]), (1.0, sides[1]), (9.0, sides[2]), (4.0, sides[3])]);
        assert_eq!((seen.median_volume(), seen.volume_range()), ("3".into(), "1 to 9".into()));
        assert_eq!((seen.sides().as_str(), seen.from_brain().as_str()), ("left 2, right 1", ""));
        assert_eq!(Seen::default(), Seen::of([]));
        assert_eq!(Seen::default().median_volume(), "");
    }
}
