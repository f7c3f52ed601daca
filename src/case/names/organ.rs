//! From the words of a name to one organ with its side, or to the statement that it is not
//! certain. Knows the catalogue and the synonyms; prefixes, margins and targets are dealt with
//! before.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use super::catalogue::{PAIRED, SINGLE, UNIONS};
use super::normalise::{NamePiece, pieces};
use super::synonyms::{CRANIAL, EN, Languages, ORDER, OTHER, Row};
use super::words::{self, Side};

/// Words shorter than this are compared letter by letter only.
const MISSPELLING_LENGTH: usize = 6;

/// What the words of a name come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Organ {
    /// One structure of the catalogue, with `_L` or `_R` where it is paired.
    Found {
        /// Standard name without side.
        root: &'static str,
        /// `_L`, `_R` or nothing.
        side: &'static str,
    },
    /// Several are possible, or the side is not certain.
    Ambiguous,
    /// None.
    Unknown,
}

/// A root of the catalogue and the languages in which the words mean it.
type OrganWord = (&'static str, Languages);

static INDEX: LazyLock<BTreeMap<String, Vec<OrganWord>>> = LazyLock::new(|| {
    let mut index = BTreeMap::new();
    for root in SINGLE.iter().chain(PAIRED) {
        enter(&mut index, root, root, EN);
    }
    for Row(root, cells) in CRANIAL.iter().chain(OTHER) {
        for (cell, language) in cells.iter().zip(ORDER) {
            for text in cell.split(',').filter(|t| !t.trim().is_empty()) {
                enter(&mut index, text, root, language);
            }
        }
    }
    index
});

fn enter(
    index: &mut BTreeMap<String, Vec<OrganWord>>,
    text: &str,
    root: &'static str,
    language: Languages,
) {
    let words = plain_words(text);
    for key in BTreeSet::from([words.concat(), sorted(&words)]) {
        let entries = index.entry(key).or_default();
        match entries.iter_mut().find(|(known, _)| *known == root) {
            Some((_, languages)) => *languages |= language,
            None => entries.push((root, language)),
        }
    }
}

fn plain_words(text: &str) -> Vec<String> {
    let word = |piece| match piece {
        NamePiece::Word(w) | NamePiece::Number(w) => Some(w),
        NamePiece::Sign(_) => None,
    };
    pieces(text).into_iter().filter_map(word).collect()
}

/// Key for words in any order.
fn sorted(words: &[String]) -> String {
    let mut words = words.to_vec();
    words.sort();
    words.join(" ")
}

/// The organ that these words (folded, numbers included) mean.
pub(super) fn organ(words: &[String]) -> Organ {
    if let Some(found) = exact(words) {
        return found;
    }
    let whole = lookup(words);
    if let Lookup::Found(root, _) = whole
        && SINGLE.contains(&root)
    {
        return Organ::Found { root, side: "" };
    }
    let mut sided: Vec<Organ> = (0..words.len()).filter_map(|i| without(words, i)).collect();
    sided.extend(glued(words));
    sided.dedup();
    match sided.as_slice() {
        [one] => one.clone(),
        [] if whole != Lookup::Unknown || is_side_confusion(words) => Organ::Ambiguous,
        [] if with_number(words) => Organ::Ambiguous,
        [] => Organ::Unknown,
        _ => Organ::Ambiguous,
    }
}

/// The standard name without side that these words mean, if it is one.
pub(super) fn root(words: &[String]) -> Option<&'static str> {
    match (organ(words), lookup(words)) {
        (Organ::Found { root, .. }, _) | (_, Lookup::Found(root, _)) => Some(root),
        _ => None,
    }
}

/// A name of the catalogue as it stands, with its side as a word of its own at either end.
fn exact(words: &[String]) -> Option<Organ> {
    let root_of = |list: &'static [&'static str], words: &[String]| {
        let joined = words.concat();
        list.iter().find(|name| plain_words(name).concat() == joined).copied()
    };
    if let Some(root) = root_of(SINGLE, words) {
        return Some(Organ::Found { root, side: "" });
    }
    let (side, rest) = match words {
        [rest @ .., last] if last == "l" || last == "r" => (last, rest),
        [first, rest @ ..] if first == "l" || first == "r" => (first, rest),
        _ => return None,
    };
    let root = root_of(PAIRED, rest)?;
    Some(Organ::Found { root, side: if side == "l" { "_L" } else { "_R" } })
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lookup {
    Found(&'static str, Languages),
    Ambiguous,
    Unknown,
}

fn lookup(words: &[String]) -> Lookup {
    let joined = words.concat();
    if joined.is_empty() {
        return Lookup::Unknown;
    }
    if words::holds(words::AMBIGUOUS, &joined) {
        return Lookup::Ambiguous;
    }
    if let Some(entries) = INDEX.get(&joined).or_else(|| INDEX.get(&sorted(words))) {
        return one_of(entries.iter().copied());
    }
    misspelt(words, &joined)
}

fn one_of(entries: impl Iterator<Item = OrganWord>) -> Lookup {
    let mut found: BTreeMap<&'static str, Languages> = BTreeMap::new();
    for (root, languages) in entries {
        *found.entry(root).or_default() |= languages;
    }
    let mut found = found.into_iter();
    match (found.next(), found.next()) {
        (Some((root, languages)), None) => Lookup::Found(root, languages),
        (None, _) => Lookup::Unknown,
        _ => Lookup::Ambiguous,
    }
}

/// One wrong, missing, additional or swapped letter in a long word, if that leaves one organ.
fn misspelt(words: &[String], joined: &str) -> Lookup {
    // A single letter and a side are words, never the slip of a neighbouring word: "Retina sx" is
    // no misspelt "Retinas".
    let real = words.iter().any(|w| w.len() == 1 || words::may_be_side(w))
        || words.iter().any(|w| words::holds(words::NOT_MISSPELT, w));
    let letters = joined.chars().all(|c| c.is_ascii_alphabetic() || c == '?');
    if real || !letters || joined.len() < MISSPELLING_LENGTH || joined.starts_with("cn") {
        return Lookup::Unknown;
    }
    let near = |key: &str| key.len() >= MISSPELLING_LENGTH && one_edit(key, joined);
    if words::AMBIGUOUS.split_ascii_whitespace().any(near) {
        return Lookup::Ambiguous;
    }
    let entries = INDEX.iter().filter(|(key, _)| near(key)).flat_map(|(_, e)| e.iter().copied());
    match one_of(entries) {
        // Several near words are no statement at all.
        Lookup::Ambiguous => Lookup::Unknown,
        found => found,
    }
}

/// Whether two words differ by at most one edit or one swap of neighbours.
fn one_edit(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    if a.len().abs_diff(b.len()) > 1 {
        return false;
    }
    let head = a.iter().zip(b).take_while(|(x, y)| x == y).count();
    let tail =
        |a: &[u8], b: &[u8]| a.iter().rev().zip(b.iter().rev()).take_while(|(x, y)| x == y).count();
    let (rest_a, rest_b) = (&a[head..], &b[head..]);
    let same = tail(rest_a, rest_b);
    match (&rest_a[..rest_a.len() - same], &rest_b[..rest_b.len() - same]) {
        ([] | [_], [] | [_]) => true,
        ([p, q], [r, s]) => p == s && q == r,
        _ => false,
    }
}

/// Reads word `i` as the side and the others as the organ.
fn without(words: &[String], i: usize) -> Option<Organ> {
    let word = words.get(i).filter(|w| words::may_be_side(w))?;
    let rest: Vec<String> =
        words.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, w)| w.clone()).collect();
    match lookup(&rest) {
        Lookup::Found(root, languages) => Some(match words::side(word, languages) {
            Some(side) => with_side(root, side),
            None => Organ::Ambiguous,
        }),
        Lookup::Ambiguous => Some(Organ::Ambiguous),
        Lookup::Unknown => None,
    }
}

fn with_side(root: &'static str, side: Side) -> Organ {
    if !PAIRED.contains(&root) {
        return match side {
            Side::Both if SINGLE.contains(&root) => Organ::Found { root, side: "" },
            _ => Organ::Ambiguous,
        };
    }
    match side {
        Side::Left => Organ::Found { root, side: "_L" },
        Side::Right => Organ::Found { root, side: "_R" },
        Side::Both => UNIONS
            .iter()
            .find(|(one, _)| *one == root)
            .map_or(Organ::Ambiguous, |(_, union)| Organ::Found { root: union, side: "" }),
    }
}

/// A side letter without separator or capital: `leye`, `opticnervel`. Only around English words,
/// and never behind an `a`, where `l` and `r` make adjectives (`cochlear`, `retinal`).
fn glued(words: &[String]) -> Option<Organ> {
    let joined = words.concat();
    let known = |core: &str| {
        let long = core.len() >= 4 || core == "eye";
        match INDEX.get(core).map(|e| one_of(e.iter().copied()))? {
            Lookup::Found(root, languages) if long && languages & EN != 0 => Some(root),
            _ => None,
        }
    };
    if INDEX.contains_key(&joined) || words::holds(words::NOT_MISSPELT, &joined) {
        return None;
    }
    let before = |letter, side| {
        joined.strip_prefix(letter).and_then(known).map(|root| with_side(root, side))
    };
    let after = |letter, side| {
        let core = joined.strip_suffix(letter).filter(|core| !core.ends_with('a'))?;
        known(core).map(|root| with_side(root, side))
    };
    let alone = words.len() == 1 || !words.iter().any(|w| words::may_be_side(w));
    if !alone {
        return None;
    }
    before('l', Side::Left)
        .or_else(|| before('r', Side::Right))
        .or_else(|| after('l', Side::Left))
        .or_else(|| after('r', Side::Right))
}

/// Whether an organ is named together with several sides that do not agree.
fn is_side_confusion(words: &[String]) -> bool {
    let core: Vec<String> = words.iter().filter(|w| !words::may_be_side(w)).cloned().collect();
    core.len() + 1 < words.len() && lookup(&core) != Lookup::Unknown
}

/// Whether an organ is named together with a number, as lesions at that place are.
fn with_number(words: &[String]) -> bool {
    let is_number = |w: &String| w.starts_with(|c: char| c.is_ascii_digit());
    let core: Vec<String> = words.iter().filter(|w| !is_number(w)).cloned().collect();
    core.len() < words.len() && !core.is_empty() && organ(&core) != Organ::Unknown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_synonym_means_one_standard_name() {
        for (key, entries) in INDEX.iter() {
            let roots: BTreeSet<_> = entries.iter().map(|e| e.0).collect();
            assert_eq!(roots.len(), 1, "{key} means {roots:?}");
        }
        for Row(root, _) in CRANIAL.iter().chain(OTHER) {
            assert!(SINGLE.contains(root) || PAIRED.contains(root), "{root} is no standard name");
        }
    }

    #[test]
    fn no_ambiguous_code_is_a_synonym() {
        for code in words::AMBIGUOUS.split_ascii_whitespace() {
            let catalogued = SINGLE.iter().chain(PAIRED).any(|n| plain_words(n).concat() == code);
            assert!(catalogued || !INDEX.contains_key(code), "{code}");
        }
    }

    #[test]
    fn one_edit_is_one_letter_or_one_swap() {
        assert!(one_edit("chiasm", "chaism") && one_edit("lens", "lense"));
        assert!(one_edit("hjarnstam", "hj?rnstam") && one_edit("cochlea", "cochlea"));
        assert!(!one_edit("pharynx", "larynx") && !one_edit("eyes", "olhos"));
    }
}
