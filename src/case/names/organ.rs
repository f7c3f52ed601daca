//! From the words of a name to one organ with its side, or to the statement that it is not
//! certain. Knows the catalogue and the synonyms; prefixes, margins and targets are dealt with
//! before.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use super::catalogue::{PAIRED, SINGLE, UNIONS};
use super::cut::{cut_short, is_east_asian};
use super::nerve::cranial_nerve;
use super::normalise::{NamePiece, pieces};
use super::scripts::in_latin_letters;
use super::vocabulary::{ALL, Language, Languages};
use super::words::{self, Side, holds};

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
pub(super) type OrganWord = (&'static str, Languages);

type Index = BTreeMap<String, Vec<OrganWord>>;

static INDEX: LazyLock<Index> = LazyLock::new(|| {
    let mut index = BTreeMap::new();
    for root in SINGLE.iter().chain(PAIRED) {
        enter(&mut index, root, root, ENGLISH);
    }
    for v in ALL {
        enter_rows(&mut index, v.organs, Languages::one(v.language));
    }
    index
});

/// Words that mean an organ only where other names show that their language is spoken.
static IN_COMPANY: LazyLock<Index> = LazyLock::new(|| {
    let mut index = BTreeMap::new();
    for v in ALL {
        enter_rows(&mut index, v.in_company, Languages::one(v.language));
    }
    index
});

/// Every word of every name of an organ: what a place may be called.
static PARTS: LazyLock<BTreeSet<String>> = LazyLock::new(|| {
    let rows = ALL.iter().flat_map(|v| v.organs.iter().chain(v.in_company));
    let texts = rows.flat_map(|(_, list)| list.split(',')).chain(SINGLE.iter().copied());
    texts.chain(PAIRED.iter().copied()).flat_map(written).flat_map(|t| plain_words(&t)).collect()
});

/// Whether a word is part of the name of an organ.
pub(super) fn is_part(word: &str) -> bool {
    PARTS.contains(word) || INDEX.contains_key(word)
}

const ENGLISH: Languages = Languages::one(Language::English);

fn enter_rows(index: &mut Index, rows: &[(&'static str, &'static str)], languages: Languages) {
    for (root, list) in rows {
        for text in list.split(',').filter(|t| !t.trim().is_empty()).flat_map(written) {
            enter(index, &text, root, languages);
            // The third and the fourth have their numbers in every language.
            if *root == "BrainVentricle" && !text.contains(' ') {
                for number in ["3", "4", "iii", "iv"] {
                    enter(index, &format!("{number} {text}"), root, languages);
                }
            }
        }
    }
}

/// A text and how it is written with Latin letters.
pub(super) fn written(text: &str) -> Vec<String> {
    // What is short in other letters would become an abbreviation of another language.
    let latin = in_latin_letters(text.trim()).into_iter().filter(|t| t.len() > 3);
    latin.chain([text.trim().to_owned()]).collect()
}

fn enter(index: &mut Index, text: &str, root: &'static str, languages: Languages) {
    let words = plain_words(text);
    for key in BTreeSet::from([words.concat(), sorted(&words)]) {
        let entries = index.entry(key).or_default();
        match entries.iter_mut().find(|(known, _)| *known == root) {
            Some((_, all)) => *all = all.or(languages),
            None => entries.push((root, languages)),
        }
    }
}

pub(super) fn plain_words(text: &str) -> Vec<String> {
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

/// The organ that these words (folded, numbers included) mean, where `spoken` are the languages
/// that the other names of the structure set speak, as far as they tell.
pub(super) fn organ(words: &[String], spoken: Languages) -> Organ {
    if let Some(found) = exact(words) {
        return found;
    }
    let whole = lookup(words, spoken);
    if let Lookup::Found(root, _) = whole
        && SINGLE.contains(&root)
    {
        return Organ::Found { root, side: "" };
    }
    let mut sided: Vec<Organ> =
        (0..words.len()).filter_map(|i| without(words, i, spoken)).collect();
    sided.extend(glued(words));
    sided.extend(twice_said(words, spoken));
    if sided.is_empty() {
        sided.extend(grown_on(words, spoken));
    }
    sided.dedup();
    match sided.as_slice() {
        [one] => one.clone(),
        [] if whole != Lookup::Unknown || is_side_confusion(words) => Organ::Ambiguous,
        [] if with_number(words) => Organ::Ambiguous,
        [] => Organ::Unknown,
        _ => Organ::Ambiguous,
    }
}

/// The standard name without side that these words mean, if it is one, and in which languages.
pub(super) fn root(words: &[String]) -> Option<(&'static str, Languages)> {
    match (lookup(words, Languages::NONE), organ(words, Languages::NONE)) {
        (Lookup::Found(root, languages), _) => Some((root, languages)),
        (_, Organ::Found { root, .. }) => Some((root, Languages::NONE)),
        _ => None,
    }
}

/// The names of the catalogue, joined, each with itself.
fn catalogue(list: &'static [&'static str]) -> BTreeMap<String, &'static str> {
    list.iter().map(|name| (plain_words(name).concat(), *name)).collect()
}

static WITHOUT_SIDE: LazyLock<BTreeMap<String, &'static str>> = LazyLock::new(|| catalogue(SINGLE));
static WITH_SIDE: LazyLock<BTreeMap<String, &'static str>> = LazyLock::new(|| catalogue(PAIRED));

/// A name of the catalogue as it stands, with its side as a word of its own at either end.
fn exact(words: &[String]) -> Option<Organ> {
    if let Some(root) = WITHOUT_SIDE.get(&words.concat()) {
        return Some(Organ::Found { root, side: "" });
    }
    let (side, rest) = match words {
        [rest @ .., last] if last == "l" || last == "r" => (last, rest),
        [first, rest @ ..] if first == "l" || first == "r" => (first, rest),
        _ => return None,
    };
    let root = WITH_SIDE.get(&rest.concat())?;
    Some(Organ::Found { root, side: if side == "l" { "_L" } else { "_R" } })
}

/// What words without a side come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lookup {
    /// One standard name without side, and the languages in which they mean it.
    Found(&'static str, Languages),
    /// Several are possible.
    Ambiguous,
    /// None.
    Unknown,
}

pub(super) fn lookup(words: &[String], spoken: Languages) -> Lookup {
    look_for(words, spoken, |_| true)
}

/// The one organ of those that `counts` lets count.
fn look_for(words: &[String], spoken: Languages, counts: fn(&str) -> bool) -> Lookup {
    let joined = words.concat();
    if joined.is_empty() {
        return Lookup::Unknown;
    }
    // A single letter is a word: "Lunge R" is no Danish "lunger".
    // In Korean and Chinese it is a syllable: "뇌 간" is the brainstem.
    let single = |w: &String| w.chars().count() == 1 && !w.starts_with(is_east_asian);
    let letter = words.len() > 1 && words.iter().any(single);
    let known = |index: &'static Index| {
        let as_one = index.get(&joined).filter(|_| !letter);
        let entries = as_one.or_else(|| index.get(&sorted(words)))?;
        Some(entries.iter().copied().filter(move |(root, _)| counts(root)))
    };
    let told = |(_, languages): &OrganWord| !languages.and(spoken).is_empty();
    if let Some(entries) = known(&IN_COMPANY) {
        return match one_of(entries.filter(told)) {
            Lookup::Unknown => Lookup::Ambiguous,
            found => found,
        };
    }
    if let Some(nerve) = cranial_nerve(words) {
        return nerve;
    }
    if words::holds(words::AMBIGUOUS, &joined) {
        return Lookup::Ambiguous;
    }
    if let Some(entries) = known(&INDEX) {
        return match one_of(entries.clone().filter(told)) {
            Lookup::Unknown => one_of(entries),
            found => found,
        };
    }
    match misspelt(words, &joined) {
        Lookup::Unknown => cut_short(words, spoken, counts),
        found => found,
    }
}

pub(super) fn one_of(entries: impl Iterator<Item = OrganWord>) -> Lookup {
    let mut found: BTreeMap<&'static str, Languages> = BTreeMap::new();
    for (root, languages) in entries {
        let all = found.entry(root).or_default();
        *all = all.or(languages);
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
    let letters = joined.chars().all(|c| c.is_alphabetic() || c == '?');
    let length = joined.chars().count();
    if real || !letters || length < MISSPELLING_LENGTH || joined.starts_with("cn") {
        return Lookup::Unknown;
    }
    let letters: Vec<char> = joined.chars().collect();
    let near = |key: &[char]| key.len() >= MISSPELLING_LENGTH && one_edit(key, &letters);
    let ambiguous = words::AMBIGUOUS.split_ascii_whitespace();
    if ambiguous.map(|w| w.chars().collect::<Vec<_>>()).any(|w| near(&w)) {
        return Lookup::Ambiguous;
    }
    let about_as_long = BY_LENGTH.range(letters.len() - 1..=letters.len() + 1);
    let keys = about_as_long.flat_map(|(_, keys)| keys).filter(|(key, _)| near(key));
    let entries = keys.flat_map(|(_, entries)| entries.iter().copied());
    match one_of(entries) {
        // Several near words are no statement at all.
        Lookup::Ambiguous => Lookup::Unknown,
        found => found,
    }
}

type Letters = Vec<char>;

/// Words with what they mean, by the number of their letters.
type ByLength = BTreeMap<usize, Vec<(Letters, &'static [OrganWord])>>;

/// The words by their length in letters.
static BY_LENGTH: LazyLock<ByLength> = LazyLock::new(|| {
    let mut all: BTreeMap<usize, Vec<_>> = BTreeMap::new();
    for (key, entries) in INDEX.iter() {
        let letters: Vec<char> = key.chars().collect();
        all.entry(letters.len()).or_default().push((letters, entries.as_slice()));
    }
    all
});

/// Whether two words differ by at most one edit or one swap of neighbours.
fn one_edit(a: &[char], b: &[char]) -> bool {
    if a.len().abs_diff(b.len()) > 1 {
        return false;
    }
    let head = a.iter().zip(b).take_while(|(x, y)| x == y).count();
    let (rest_a, rest_b) = (&a[head..], &b[head..]);
    let same = rest_a.iter().rev().zip(rest_b.iter().rev()).take_while(|(x, y)| x == y).count();
    match (&rest_a[..rest_a.len() - same], &rest_b[..rest_b.len() - same]) {
        ([] | [_], [] | [_]) => true,
        ([p, q], [r, s]) => p == s && q == r,
        _ => false,
    }
}

/// Oculus dexter and sinister, which say a side of these organs and something else of others.
const OF_EYES: &str = "od os";
const EYES: &str = "Eye Lens OpticNrv Retina Cornea Glnd_Lacrimal Macula Conjunctiva";

/// Words for a ventricle that may be one of the heart.
pub(super) const OF_HEART: &str = "ventricle ventricles ventrikel ventrikels ventrikkel ventrikler \
    ventriklar ventricolo ventricoli ventriculo ventriculos ventricule ventricules ventriculi \
    ventriculus ventricul ventrikul ventrikuller";

/// Reads word `i` as the side and the others as the organ.
fn without(words: &[String], i: usize, spoken: Languages) -> Option<Organ> {
    let word = words.get(i).filter(|w| words::may_be_side(w) || holds(OF_EYES, w))?;
    let rest: Vec<String> =
        words.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, w)| w.clone()).collect();
    // A word that is one organ here and a pair of them there is one of them beside a side.
    let paired = look_for(&rest, spoken, |root| PAIRED.contains(&root));
    let found = if paired == Lookup::Unknown { lookup(&rest, spoken) } else { paired };
    match found {
        Lookup::Found(root, _) if holds(OF_EYES, word) => {
            let side = if word == "od" { Side::Right } else { Side::Left };
            Some(if holds(EYES, root) { with_side(root, side) } else { Organ::Ambiguous })
        }
        // With a side it may be one of the heart.
        Lookup::Found("BrainVentricle", _) if holds(OF_HEART, &rest.concat()) => {
            Some(Organ::Ambiguous)
        }
        // "Carotida E" is the external one, "Carotida I" the internal one.
        Lookup::Found("A_Carotid" | "V_Jugular", _) if holds("e i", word) => Some(Organ::Ambiguous),
        Lookup::Found(root, languages) => {
            Some(match words::side(word, read_in(languages, spoken)) {
                Some(side) => with_side(root, side),
                None => Organ::Ambiguous,
            })
        }
        Lookup::Ambiguous => Some(Organ::Ambiguous),
        Lookup::Unknown => None,
    }
}

/// The languages in which a short word for a side is to be read: those of the organ's word that are
/// spoken in the set; where its word is of none of them (Latin in a Polish set), those spoken.
fn read_in(languages: Languages, spoken: Languages) -> Languages {
    match (languages.and(spoken).is_empty(), spoken.is_empty()) {
        (false, _) => languages.and(spoken),
        (true, false) => spoken,
        (true, true) => languages,
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
            Lookup::Found(root, languages) if long && languages.has(Language::English) => {
                Some(root)
            }
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

/// Two words for the same side: `n. opticus l. sin.`, `Auge li links`.
fn twice_said(words: &[String], spoken: Languages) -> Option<Organ> {
    let (sides, core): (Vec<String>, Vec<String>) =
        words.iter().cloned().partition(|w| words::may_be_side(w));
    let Lookup::Found(root, languages) = lookup(&core, spoken) else { return None };
    let said: Vec<Option<Side>> =
        sides.iter().map(|w| words::side(w, read_in(languages, spoken))).collect();
    let first = said.first().copied().flatten()?;
    (said.len() == 2 && said.iter().all(|s| *s == Some(first))).then(|| with_side(root, first))
}

/// A word for a side that grew on the name, at either end: `nervootticodx`, `optiksinirsag`. Only
/// where the rest is exactly a name of one organ, and the word is no common ending.
fn grown_on(words: &[String], spoken: Languages) -> Option<Organ> {
    let [word] = words else { return None };
    if words::holds(words::NOT_MISSPELT, word) {
        return None;
    }
    let mut found: BTreeSet<(&'static str, Side)> = BTreeSet::new();
    for (at, _) in word.char_indices().skip(1) {
        let (head, tail) = word.split_at(at);
        for (name, side) in [(head, tail), (tail, head)] {
            let long = side.chars().count() >= 3 || holds("dx sx", side);
            let entries = INDEX.get(name).filter(|_| long && name.chars().count() >= 4);
            let Some(Lookup::Found(root, languages)) = entries.map(|e| one_of(e.iter().copied()))
            else {
                continue;
            };
            let side = words::side(side, read_in(languages, spoken));
            found.extend(side.filter(|_| PAIRED.contains(&root)).map(|s| (root, s)));
        }
    }
    let mut found = found.into_iter();
    match (found.next(), found.next()) {
        (Some((root, side)), None) => Some(with_side(root, side)),
        _ => None,
    }
}

/// Whether an organ is named together with several sides that do not agree.
fn is_side_confusion(words: &[String]) -> bool {
    let core: Vec<String> = words.iter().filter(|w| !words::may_be_side(w)).cloned().collect();
    core.len() + 1 < words.len() && lookup(&core, Languages::NONE) != Lookup::Unknown
}

/// Whether an organ is named together with a number, as lesions at that place are.
fn with_number(words: &[String]) -> bool {
    let is_number = |w: &String| w.starts_with(|c: char| c.is_ascii_digit());
    let core: Vec<String> = words.iter().filter(|w| !is_number(w)).cloned().collect();
    core.len() < words.len() && !core.is_empty() && organ(&core, Languages::NONE) != Organ::Unknown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_means_one_standard_name_in_a_language() {
        for (key, entries) in INDEX.iter().chain(IN_COMPANY.iter()) {
            for (i, (root, languages)) in entries.iter().enumerate() {
                for (other, more) in entries.iter().skip(i + 1) {
                    let both: Vec<_> = languages.and(*more).each().collect();
                    assert!(both.is_empty(), "{key} means {root} and {other} in {both:?}");
                }
            }
        }
        let rows = ALL.iter().flat_map(|v| v.organs.iter().chain(v.in_company));
        for (root, _) in rows {
            assert!(SINGLE.contains(root) || PAIRED.contains(root), "{root} is no standard name");
        }
    }

    #[test]
    fn no_ambiguous_code_is_a_word_of_an_organ() {
        for code in words::AMBIGUOUS.split_ascii_whitespace() {
            let catalogued = SINGLE.iter().chain(PAIRED).any(|n| plain_words(n).concat() == code);
            assert!(catalogued || !INDEX.contains_key(code), "{code}");
        }
    }

    #[test]
    fn one_edit_is_one_letter_or_one_swap() {
        let near = |a: &str, b: &str| {
            one_edit(&a.chars().collect::<Vec<_>>(), &b.chars().collect::<Vec<_>>())
        };
        assert!(near("chiasm", "chaism") && near("lens", "lense"));
        assert!(near("hjarnstam", "hj?rnstam") && near("cochlea", "cochlea"));
        assert!(!near("pharynx", "larynx") && !near("eyes", "olhos"));
    }
}
