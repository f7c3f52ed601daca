//! Targets: kind, number and dose suffix by the order of the TG-263 target rules, sums of
//! targets, and words for targets of unstated kind.

use super::beside::all_explained;
use super::normalise::NamePiece;
use super::organ::root;
use super::words::{self, Does, does, holds, kind};
use crate::Role;

/// A name that means a target.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Target {
    /// Its role.
    pub(super) role: Role,
    /// Its standard name, when nothing but kind, number and dose is said.
    pub(super) standard: Option<String>,
    /// Whether the name can be read in more than one way.
    pub(super) ambiguous: bool,
}

impl Target {
    const fn of(role: Role) -> Self {
        Self { role, standard: None, ambiguous: false }
    }

    const fn ambiguous(role: Role) -> Self {
        Self { role, standard: None, ambiguous: true }
    }
}

fn kind_of(piece: &NamePiece) -> Option<Role> {
    match piece {
        NamePiece::Word(word) => kind(word),
        _ => None,
    }
}

/// Reads a name as a target, if it is one. Helpers and subtractions are dealt with before.
pub(super) fn target(pieces: &[NamePiece]) -> Option<Target> {
    let mut kinds: Vec<Role> = pieces.iter().filter_map(kind_of).collect();
    let several = kinds.len() > 1;
    kinds.dedup();
    let Some(first) = kinds.first().copied() else { return without_kind(pieces) };
    if !all_explained(pieces) || may_be_the_rest(pieces) {
        return Some(Target::ambiguous(Role::Unknown));
    }
    if is_sum(pieces) || (several && has_sign(pieces, '+')) {
        return Some(Target::of(Role::TargetSum));
    }
    if has_sign(pieces, '+') {
        // "PTV+3" can be a margin or a second target.
        return Some(Target::ambiguous(Role::Unknown));
    }
    if kinds.len() > 1 {
        return Some(Target::of(Role::Target));
    }
    if several {
        return Some(Target::ambiguous(first));
    }
    let cropped = has_sign(pieces, '-') && pieces.iter().any(is_two_digits);
    if cropped {
        return Some(Target::ambiguous(first));
    }
    Some(Target { role: first, standard: standard(pieces), ambiguous: false })
}

/// Structures so large that a target's letters beside their name rather take the target away from
/// them than place it in them.
const WHOLE: &str = "brain cerebrum external skull scalp skin";
/// Words for the brain that mean the cerebrum as well, and so name neither.
const WHOLE_WORDS: &str = "cerebro";

/// Organs after which a lesion is called, with its letters behind or in front.
const PLACES: &str = "Cerebellum Midbrain MedullaOblongata CorpusCallosum Lobe_Frontal \
    Lobe_Parietal Lobe_Temporal Lobe_Occipital \
    Hemisphere Pons Thalamus BrainVentricle";

/// Whether the name may be that of an organ without a target rather than of a target: the brain
/// beside a target's letters, or an organ in front of them that is no usual place of a lesion.
fn may_be_the_rest(pieces: &[NamePiece]) -> bool {
    let word = |p: &NamePiece| match p {
        NamePiece::Word(w) => Some(w.clone()),
        _ => None,
    };
    let all: Vec<String> = pieces.iter().filter_map(word).collect();
    if all.iter().any(|w| does(Does::Target, w)) {
        return false;
    }
    let others: Vec<String> =
        all.iter().filter(|w| kind(w).is_none() && !words::may_be_side(w)).cloned().collect();
    let part = root(&others).is_some_and(|(r, _)| !is_whole_organ(r));
    let is_whole = |w: &String| {
        holds(WHOLE_WORDS, w)
            || root(std::slice::from_ref(w)).is_some_and(|(r, _)| is_whole_organ(r))
    };
    let numbered = pieces.iter().any(|p| matches!(p, NamePiece::Number(_)));
    let before: Vec<String> = all.iter().take_while(|w| kind(w).is_none()).cloned().collect();
    let organ_first = root(&before).is_some_and(|(r, _)| !holds(PLACES, r));
    // "PTV kleine hersenen" names the cerebellum, although one of its words is the brain.
    (!part && all.iter().any(is_whole)) || (organ_first && !numbered)
}

fn is_whole_organ(root: &str) -> bool {
    holds(WHOLE, &root.to_lowercase())
}

fn has_sign(pieces: &[NamePiece], sign: char) -> bool {
    pieces.contains(&NamePiece::Sign(sign))
}

fn is_two_digits(piece: &NamePiece) -> bool {
    matches!(piece, NamePiece::Number(n) if n.len() == 2 && n.starts_with('0'))
}

/// Whether a name means several targets together: `PTV_Total`, `PTVs`, `GTV all`, `GTV1+2`.
fn is_sum(pieces: &[NamePiece]) -> bool {
    let word = |p: &NamePiece| matches!(p, NamePiece::Word(w) if does(Does::Sum, w));
    let joined = pieces.windows(3).any(|w| {
        matches!(w, [NamePiece::Number(_), NamePiece::Sign('+'), NamePiece::Number(_)])
            && !pieces.contains(&NamePiece::Word("mm".to_owned()))
    });
    pieces.iter().any(word) || joined
}

/// Standard name from kind, classifier, number and dose, if there is nothing else.
fn standard(pieces: &[NamePiece]) -> Option<String> {
    let rest: Vec<&NamePiece> = pieces.iter().filter(|p| **p != NamePiece::Sign('-')).collect();
    let (number, rest) = match rest.as_slice() {
        [NamePiece::Number(n), rest @ ..] => (Some(n), rest),
        rest => (None, rest),
    };
    let [NamePiece::Word(kind), rest @ ..] = rest else { return None };
    let mut name = kind.replace("tv", "TV").replace('g', "G").replace('c', "C").replace('p', "P");
    name = name.replace('i', "I");
    let rest = match rest {
        [NamePiece::Word(c), rest @ ..] if holds("p n sb par vas", c) => {
            name.push_str(c);
            rest
        }
        rest => rest,
    };
    let (number, rest) = match (number, rest) {
        (None, [NamePiece::Number(n), rest @ ..]) if !is_dose(n, rest) => (Some(n), rest),
        (number, rest) => (number, rest),
    };
    if let Some(number) = number {
        let number: u32 = number.parse().ok().filter(|n| (1..=99).contains(n))?;
        name.push_str(&number.to_string());
    }
    Some(name + &dose_suffix(rest)?)
}

fn is_dose(number: &str, after: &[&NamePiece]) -> bool {
    let unit = matches!(after, [NamePiece::Word(u), ..] if u == "gy" || u == "cgy");
    unit || number.parse::<u32>().is_ok_and(|n| n >= 600)
}

fn dose_suffix(pieces: &[&NamePiece]) -> Option<String> {
    match pieces {
        [] => Some(String::new()),
        [NamePiece::Word(level)] => match level.as_str() {
            "high" => Some("_High".to_owned()),
            "mid" => Some("_Mid".to_owned()),
            "low" => Some("_Low".to_owned()),
            _ => None,
        },
        [NamePiece::Number(n)] if is_dose(n, &[]) => Some(format!("_{n}")),
        [NamePiece::Number(n), NamePiece::Word(unit)] if unit == "gy" => Some(format!("_{n}Gy")),
        [NamePiece::Number(n), NamePiece::Word(unit)] if unit == "cgy" => Some(format!("_{n}")),
        _ => None,
    }
}

/// Targets named by a word: tumour, metastasis, lesion, target, cavity.
fn without_kind(pieces: &[NamePiece]) -> Option<Target> {
    let words: Vec<&str> = pieces
        .iter()
        .filter_map(|p| match p {
            NamePiece::Word(w) => Some(w.as_str()),
            _ => None,
        })
        .collect();
    let numbered = pieces.iter().any(|p| matches!(p, NamePiece::Number(_)));
    let pairs = words.windows(2).map(<[&str]>::concat);
    let said: Vec<String> = words.iter().map(|w| (*w).to_owned()).chain(pairs).collect();
    let any = |list: &str| said.iter().any(|w| holds(list, w));
    if any("oral nasal buccale mundhohle nerve neurinom neurinoma") {
        return None;
    }
    if said.iter().any(|w| does(Does::Hollow, w)) {
        return Some(Target::of(Role::Ctv)).filter(|_| all_explained(pieces));
    }
    if any(words::PLANNING) {
        return Some(Target::of(if is_sum(pieces) { Role::TargetSum } else { Role::Ptv }));
    }
    // Short words mean something else in running text: "les" (French the), "met" (Dutch with).
    // Nothing follows there where they are the last word, and nothing begins with "with".
    let short = |w: &str| holds("les met bm tv", w);
    let last = words.iter().rev().find(|w| !words::may_be_side(w));
    let at_end = |w: &str| last == Some(&w) || (w != "les" && words.first() == Some(&w));
    let compound = |w: &str| {
        words::TARGET_ENDS
            .split_ascii_whitespace()
            .any(|end| w.len() > end.len() && w.ends_with(end))
    };
    let certain = said.iter().any(|w| {
        compound(w)
            || (does(Does::Target, w) && (!short(w) || numbered || (w != "tv" && at_end(w))))
    });
    if !certain {
        return None;
    }
    if !all_explained(pieces) {
        return Some(Target::ambiguous(Role::Unknown));
    }
    let plural = any(words::PLURAL_TARGETS) && !numbered;
    Some(Target::of(if plural || is_sum(pieces) { Role::TargetSum } else { Role::Target }))
}
