//! Words that are cut short: `cav. oral`, `lob. front.`, `moelle epin.`, `Hippocamp.`. The words
//! of a name may be beginnings of the words of one that is known, if that leaves one organ.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::catalogue::UNIONS;
use super::organ::{Lookup, OrganWord, one_of, plain_words, written};
use super::scripts::{Script, script};
use super::vocabulary::{ALL, Languages};
use super::words::{self, holds, may_be_side};

/// A beginning has at least so many letters; in a name of one word it needs more, and no more than
/// [`MISSING`] may be missing, as the head of a compound is a word of its own (`Innen-ohr`).
const LETTERS: usize = 3;
const LETTERS_OF_ONE: usize = 7;
const MISSING: usize = 3;
/// Words that a letter or two stand for, by their beginnings.
const SHORT: [(&str, &str); 5] =
    [("n", "ner"), ("a", "art"), ("gl", "gl"), ("н", "нерв"), ("ν", "νευρ")];

/// A known name of an organ, word by word.
struct Known {
    words: Vec<String>,
    organ: OrganWord,
}

/// The names by the number of their words.
static KNOWN: LazyLock<BTreeMap<usize, Vec<Known>>> = LazyLock::new(|| {
    let mut known: BTreeMap<usize, Vec<Known>> = BTreeMap::new();
    for v in ALL {
        for (root, list) in v.organs {
            for text in list.split(',').filter(|t| !t.trim().is_empty()).flat_map(written) {
                let words = plain_words(&text);
                let organ = (*root, Languages::one(v.language));
                known.entry(words.len()).or_default().push(Known { words, organ });
            }
        }
    }
    known
});

/// Whether a letter is written without blanks between words.
pub(super) fn is_east_asian(c: char) -> bool {
    script(c) == Script::EastAsian
}

/// The organ of words that are cut short, among those that `counts` lets count; first in the
/// languages that are spoken.
pub(super) fn cut_short(words: &[String], spoken: Languages, counts: fn(&str) -> bool) -> Lookup {
    let said = |w: &String| w.starts_with(is_east_asian) || holds(words::WITHIN, w);
    let real = words.len() == 1 && words.iter().any(|w| holds(words::NOT_MISSPELT, w));
    let sided = words.len() > 1 && words.iter().any(|w| may_be_side(w));
    if real || sided || words.iter().any(said) {
        return Lookup::Unknown;
    }
    let fitting = KNOWN.get(&words.len()).into_iter().flatten();
    let fitting: Vec<OrganWord> = fitting
        .filter(|known| counts(known.organ.0) && fits(words, known))
        .map(|known| known.organ)
        .collect();
    // What may be one of a pair or both is one: its side has to be said.
    let both = |root: &str| {
        let one = UNIONS.iter().find(|(_, both)| *both == root).map(|(one, _)| *one);
        one.is_some_and(|one| fitting.iter().any(|(root, _)| *root == one))
    };
    let fitting: Vec<OrganWord> = fitting.iter().copied().filter(|(root, _)| !both(root)).collect();
    let told = fitting.iter().copied().filter(|(_, l)| !l.and(spoken).is_empty());
    match (one_of(told), one_of(fitting.iter().copied())) {
        (found @ Lookup::Found(..), _) | (_, found @ Lookup::Found(..)) => found,
        // Several organs are no statement at all.
        _ => Lookup::Unknown,
    }
}

fn fits(words: &[String], known: &Known) -> bool {
    let letters = |w: &str| w.chars().count();
    if let ([word], [whole]) = (words, known.words.as_slice()) {
        // "Frontal" alone may be a lesion there.
        return letters(word) >= LETTERS_OF_ONE
            && whole.starts_with(word)
            && letters(whole) - letters(word) <= MISSING
            && !holds(words::LESION_PLACES, known.organ.0);
    }
    let starts = |word: &String| known.words.iter().any(|whole| whole.starts_with(word.as_str()));
    if !words.iter().all(starts) {
        return false;
    }
    let begins = |word: &String, whole: &String| {
        word == whole
            || (letters(word) >= LETTERS
                && word.chars().all(char::is_alphabetic)
                && whole.starts_with(word.as_str()))
            || SHORT.iter().any(|(short, of)| word == short && whole.starts_with(of))
    };
    in_some_order(words, &known.words, &begins)
}

/// Whether each word goes with another one of the known ones.
fn in_some_order(
    words: &[String],
    known: &[String],
    begins: &dyn Fn(&String, &String) -> bool,
) -> bool {
    fn place(
        words: &[String],
        known: &[String],
        taken: u32,
        begins: &dyn Fn(&String, &String) -> bool,
    ) -> bool {
        let Some((first, rest)) = words.split_first() else { return true };
        known.iter().enumerate().any(|(i, whole)| {
            taken & (1 << i) == 0
                && begins(first, whole)
                && place(rest, known, taken | (1 << i), begins)
        })
    }
    known.len() < 32 && place(words, known, 0, begins)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::normalise::{NamePiece, pieces};

    fn organ(name: &str) -> Option<&'static str> {
        let word = |p| match p {
            NamePiece::Word(w) | NamePiece::Number(w) => Some(w),
            NamePiece::Sign(_) => None,
        };
        let words: Vec<String> = pieces(name).into_iter().filter_map(word).collect();
        match cut_short(&words, Languages::NONE, |_| true) {
            Lookup::Found(root, _) => Some(root),
            Lookup::Ambiguous | Lookup::Unknown => None,
        }
    }

    #[test]
    fn beginnings_of_words_are_read_where_they_leave_one_organ() {
        for (name, root) in [
            ("moelle epin.", "SpinalCord"),
            ("lob. front.", "Lobe_Frontal"),
            ("Oral Cav", "Cavity_Oral"),
            ("ниж. челюсть", "Bone_Mandible"),
            ("ствол гол. мозга", "Brainstem"),
            ("a. carotis int.", "A_Carotid"),
            ("n. vestibulococlear", "CN_VIII"),
            ("Cristal.", "Lens"),
        ] {
            assert_eq!(organ(name), Some(root), "{name}");
        }
        // A gland of several, a place of lesions, the head of a compound, too few letters.
        for name in ["sub gland", "frontal", "innen", "Сл. железа", "re hippocamp", "br st"]
        {
            assert_eq!(organ(name), None, "{name}");
        }
    }
}
