//! How the structures of a case lie to each other: gap, overlap, overlap by distance, margin, and
//! the nearest other target, each with numerical bounds from recomputation. Uses no dose.
//!
//! Pairs: every single target with every organ, planning organ volume and patient outline, and
//! with every target of a higher ROI Number. Helpers and structures of unknown role take no part.

mod definitions;
pub(super) mod shape;

pub use super::rows::Relation;
pub use definitions::{DEFINITIONS, RelationDefinition, SHARE};

use std::cell::OnceCell;

use super::memory::Notes;
use super::part::Part;
use super::settings::Ends;
use super::structure::{NoSolid, Solid};
use definitions::{
    GAP, MARGIN_MAX, MARGIN_MEAN, MARGIN_MIN, NEAREST, OVERLAP, OVH, SHARE_OF_OTHER,
};
use shape::{Shape, Shapes};
use tidydose_case::Role;
use tidydose_metrics::weigh::{self, Extent};
use tidydose_metrics::{Outcome, Status};
use tidydose_rt::identity::Token;

/// One structure that takes part.
#[derive(Debug, Clone)]
pub struct Member<'a> {
    /// ROI Number.
    pub number: i64,
    /// What it is for.
    pub role: Role,
    /// Its frame of reference.
    pub frame: Option<&'a Token>,
    /// Its solid, or why there is none.
    pub solid: &'a Result<Solid, NoSolid>,
}

impl<'a> Member<'a> {
    /// A structure of the case.
    pub(super) fn of(part: &'a Part<'_>) -> Self {
        Self {
            number: part.number(),
            role: part.role(),
            frame: part.roi.header.frame.as_ref(),
            solid: &part.solid,
        }
    }

    const fn is_other(&self) -> bool {
        matches!(self.role, Role::Organ | Role::Prv | Role::External)
    }
}

/// What the relations rest on besides the structures.
#[derive(Debug, Clone, Copy)]
pub(super) struct RelationSettings {
    /// The convention of the ends.
    pub(super) ends: Ends,
    /// Share of a value from which on its bounds are too wide.
    pub(super) uncertain_from: f64,
}

/// The relations of all pairs, by ROI Numbers and in the order of [`DEFINITIONS`]; those of pairs
/// that are known are not computed again. Of structures in `open`, by ROI Number, those of an organ
/// are kept for the day on which they turn out to be one.
pub(super) fn relate(
    members: &[Member<'_>],
    settings: RelationSettings,
    open: &[i64],
    notes: &Notes,
) -> Vec<Relation> {
    if !members.iter().any(|m| m.role.is_target()) {
        return Vec::new();
    }
    let mut known: Vec<Known<'_>> = members
        .iter()
        .filter(|m| m.role.is_target() || m.is_other())
        .map(|member| Known::of(member, settings.ends))
        .collect();
    known.sort_by_key(|k| k.member.number);
    let mut out = Vec::new();
    let mut gaps: Vec<TargetGap> = Vec::new();
    for one in known.iter().filter(|k| k.member.role.is_target()) {
        for other in &known {
            let both_targets = other.member.role.is_target();
            if both_targets && other.member.number <= one.member.number {
                continue;
            }
            let rows = known_pair(one, other, settings, notes);
            if both_targets {
                gaps.push(TargetGap::of([one.member.number, other.member.number], &rows));
            }
            out.extend(rows);
        }
    }
    for one in known.iter().filter(|k| k.member.role.is_target()) {
        out.push(nearest(one.member.number, &gaps, settings.ends));
    }
    if notes.looks_ahead() {
        let unknown = |m: &&Member<'_>| open.contains(&m.number) && m.role == Role::Unknown;
        let as_organs = members.iter().filter(unknown);
        let as_organs: Vec<_> =
            as_organs.map(|m| Member { role: Role::Organ, ..m.clone() }).collect();
        for other in as_organs.iter().map(|member| Known::of(member, settings.ends)) {
            for one in known.iter().filter(|k| k.member.role.is_target()) {
                known_pair(one, &other, settings, notes);
            }
        }
    }
    let place = |r: &Relation| DEFINITIONS.iter().position(|d| d.name == r.metric);
    out.sort_by_key(|r| (r.roi_number, r.other_roi_number, place(r)));
    out
}

/// A structure with what it is compared by, made when a pair is not known.
struct Known<'a> {
    member: &'a Member<'a>,
    ends: Ends,
    shapes: OnceCell<Result<Shapes, NoSolid>>,
}

impl<'a> Known<'a> {
    const fn of(member: &'a Member<'a>, ends: Ends) -> Self {
        Self { member, ends, shapes: OnceCell::new() }
    }

    fn shapes(&self) -> &Result<Shapes, NoSolid> {
        self.shapes.get_or_init(|| {
            let solid = self.member.solid.as_ref().map_err(Clone::clone);
            solid.and_then(|s| Shapes::of(s, self.ends).ok_or_else(shape::nothing))
        })
    }

    /// What it is, as far as the rows of a pair differ by it.
    fn kind(&self) -> &'static str {
        if self.member.is_other() { "organ" } else { self.member.role.word() }
    }
}

/// The rows of a pair, from the notes where they have them.
fn known_pair(
    one: &Known<'_>,
    other: &Known<'_>,
    settings: RelationSettings,
    notes: &Notes,
) -> Vec<Relation> {
    let key = format!(
        "{} {}, {} {}, {}, {}",
        one.member.number,
        one.kind(),
        other.member.number,
        other.kind(),
        settings.ends.word(),
        settings.uncertain_from
    );
    notes.relations_or(key, || pair(one, other, settings))
}

/// Distances at which the overlap is counted, mm, in the order of [`OVH`].
const OVH_MM: [f64; 4] = [2.0, 5.0, 10.0, 20.0];
/// Overlap of so large a share of either volume makes two targets one lesion.
const NESTED_PERCENT: f64 = 50.0;

fn pair(one: &Known<'_>, other: &Known<'_>, settings: RelationSettings) -> Vec<Relation> {
    let volume_cc = one.shapes().as_ref().map_or(0.0, Shapes::volume_cc);
    let target = Extent { volume_cc, max_gy: 0.0 };
    let row = |definition: &RelationDefinition, outcome| {
        let from = settings.uncertain_from;
        Relation {
            roi_number: one.member.number,
            other_roi_number: Some(other.member.number),
            metric: definition.name,
            unit: definition.unit,
            outcome: weigh::weighed(outcome, definition.scale, definition.unit, target, from),
            method: settings.ends.word(),
        }
    };
    let frames = one.member.frame.zip(other.member.frame);
    if frames.is_some_and(|(a, b)| a != b) {
        let reason = "the structures are in different frames of reference";
        return vec![row(&GAP, Outcome::none(Status::Unlinked, reason))];
    }
    let (a, b) = match (one.shapes(), other.shapes()) {
        (Ok(a), Ok(b)) => (a, b),
        (Err(none), _) | (_, Err(none)) => {
            return vec![row(&GAP, Outcome::none(none.status, none.reason.clone()))];
        }
    };
    let gap = Shapes::gap(a, b);
    let apart = gap.low.is_some_and(|low| low > 0.0);
    let overlap = if apart {
        exactly(0.0)
    } else {
        bounded_below(Shapes::compare(a, b, shape::overlap_chance(a, b), &overlap_cc), 0.0)
    };
    let share = |volume_cc: f64| {
        let percent = |x: Option<f64>| x.map(|x| (100.0 * x / volume_cc).clamp(0.0, 100.0));
        Outcome {
            value: percent(overlap.value),
            low: percent(overlap.low),
            high: percent(overlap.high),
            ..overlap.clone()
        }
    };
    let of_one = share(a.volume_cc());
    let mut rows = vec![
        row(&GAP, gap.clone()),
        row(&OVERLAP, overlap.clone()),
        row(definitions::share(), of_one.clone()),
        row(&SHARE_OF_OTHER, share(b.volume_cc())),
    ];
    if other.member.is_other() {
        let shares = shape::shares_within(a, b, OVH_MM, &gap);
        rows.extend(OVH.iter().zip(shares).map(|(d, outcome)| row(d, outcome)));
    } else if other.member.role == Role::Ptv && is_enclosed(one, &of_one) {
        rows.extend(margins(a, b).map(|(d, outcome)| row(d, outcome)));
    } else if one.member.role == Role::Ptv && is_enclosed(other, &share(b.volume_cc())) {
        rows.extend(margins(b, a).map(|(d, outcome)| row(d, outcome)));
    }
    rows
}

fn exactly(x: f64) -> Outcome {
    Outcome { low: Some(x), high: Some(x), ..Outcome::of(x) }
}

fn bounded_below(outcome: Outcome, least: f64) -> Outcome {
    Outcome { low: outcome.low.map(|x| x.max(least)), ..outcome }
}

fn is_enclosed(inner: &Known<'_>, share: &Outcome) -> bool {
    matches!(inner.member.role, Role::Gtv | Role::Ctv)
        && share.value.is_some_and(|s| s >= NESTED_PERCENT)
}

fn overlap_cc(a: &Shape, b: &Shape) -> Option<f64> {
    Some(shape::overlap_mm3(a, b) / 1000.0)
}

/// Smallest, mean and largest distance from the surface of `inner` outward to that of `outer`.
fn margins(inner: &Shapes, outer: &Shapes) -> [(&'static RelationDefinition, Outcome); 3] {
    let chance = shape::GAP_CHANCE * inner.pitch_mm().max(outer.pitch_mm());
    let [least, mean, most] = Shapes::compare_several(inner, outer, chance, &shape::margin_mm);
    [(&MARGIN_MIN, least), (&MARGIN_MEAN, mean), (&MARGIN_MAX, most)]
}

/// The gap between two targets, and whether they are one lesion.
struct TargetGap {
    numbers: [i64; 2],
    gap: Outcome,
    nested: bool,
}

impl TargetGap {
    fn of(numbers: [i64; 2], rows: &[Relation]) -> Self {
        let value = |name: &str| rows.iter().find(|r| r.metric == name).map(|r| &r.outcome);
        let large = |name: &str| {
            value(name).and_then(|o| o.value).is_some_and(|share| share >= NESTED_PERCENT)
        };
        let gap = value(GAP.name).cloned();
        let none = || Outcome::none(Status::NotApplicable, "no gap was computed");
        Self {
            numbers,
            gap: gap.unwrap_or_else(none),
            nested: large(SHARE) || large(SHARE_OF_OTHER.name),
        }
    }
}

/// The nearest target that is another lesion.
fn nearest(number: i64, gaps: &[TargetGap], ends: Ends) -> Relation {
    let others = gaps.iter().filter(|g| g.numbers.contains(&number) && !g.nested);
    let best = others
        .filter_map(|g| Some((g.gap.value?, g)))
        .min_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.numbers.cmp(&b.1.numbers)));
    let alone = || Outcome::none(Status::NotApplicable, "the case has no other lesion");
    Relation {
        roi_number: number,
        other_roi_number: best
            .as_ref()
            .and_then(|(_, g)| g.numbers.into_iter().find(|n| *n != number)),
        metric: NEAREST.name,
        unit: NEAREST.unit,
        outcome: best.map_or_else(alone, |(_, g)| g.gap.clone()),
        method: ends.word(),
    }
}
