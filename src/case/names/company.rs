//! What the names of a structure set say together: the languages that are spoken there. A letter
//! for a side and a word with several meanings are read by them; nothing is named by them alone.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use super::normalise::{NamePiece, pieces};
use super::organ::root;
use super::vocabulary::{ALL, Language, Languages, by_letters};
use super::words::{may_be_side, spellings};

/// Fewer names than this say nothing about a language.
const ENOUGH: usize = 2;

/// The languages that the names of one structure set speak, as far as they tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Company {
    spoken: Languages,
}

impl Company {
    /// Of these names; each counts once.
    #[must_use]
    pub fn of<'n>(names: impl IntoIterator<Item = &'n str>) -> Self {
        let distinct: BTreeSet<&str> = names.into_iter().collect();
        let mut votes: BTreeMap<Language, usize> = BTreeMap::new();
        for name in distinct {
            for language in languages_of(name).each() {
                *votes.entry(language).or_default() += 1;
            }
        }
        let most = votes.values().copied().max().unwrap_or_default();
        let first = |(_, count): &(&Language, &usize)| most >= ENOUGH && **count == most;
        let first: Vec<Language> = votes.iter().filter(first).map(|(l, _)| *l).collect();
        Self { spoken: Languages::of(&first) }
    }

    /// The languages.
    #[must_use]
    pub fn languages(&self) -> Vec<Language> {
        self.spoken.each().collect()
    }

    pub(super) const fn spoken(self) -> Languages {
        self.spoken
    }
}

/// English and the Latin of anatomy are written everywhere and tell nothing.
const EVERYWHERE: Languages = Languages::of(&[Language::English, Language::AnatomicalLatin]);

/// The languages that one name speaks for: by its letters, by its organ's words, by its side.
fn languages_of(name: &str) -> Languages {
    let words: Vec<String> = pieces(name)
        .into_iter()
        .filter_map(|piece| match piece {
            NamePiece::Word(word) => Some(word),
            _ => None,
        })
        .collect();
    let core: Vec<String> = words.iter().filter(|w| !may_be_side(w)).cloned().collect();
    let by_words = [&core, &words]
        .into_iter()
        .filter_map(|list| root(list).map(|(_, languages)| languages))
        .find(|languages| !languages.is_empty())
        .filter(|languages| languages.and(EVERYWHERE).is_empty())
        .unwrap_or_default();
    let sides = words.iter().filter_map(|w| SIDES.get(w));
    let by_side = sides.fold(Languages::NONE, |all, more| all.or(*more));
    let mut spoken = Languages::NONE;
    for told in [by_letters(name), by_words, by_side] {
        let both = spoken.and(told);
        spoken = if both.is_empty() { spoken.or(told) } else { both };
    }
    spoken
}

/// Words that say a side in few languages only.
static SIDES: LazyLock<BTreeMap<String, Languages>> = LazyLock::new(|| {
    let mut sides: BTreeMap<String, Languages> = BTreeMap::new();
    for v in ALL {
        let words = [v.left, v.right].into_iter().flat_map(str::split_ascii_whitespace);
        for word in words.flat_map(spellings) {
            let all = sides.entry(word).or_default();
            *all = all.or(Languages::one(v.language));
        }
    }
    sides
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_language_is_what_most_names_speak() {
        for (names, language) in [
            (&["Soczewka L", "Oko lewe", "Brain", "Lens P"][..], Language::Polish),
            (&["Nervo óptico E", "Olho D", "Cristalino E", "PTV 1"], Language::Portuguese),
            (&["Хрусталик лев", "Глаз правый", "GTV1"], Language::Russian),
            (&["œil D", "Cochlée G", "Cristallin G"], Language::French),
            (&["Sol göz", "Sağ göz", "Beyin sapı"], Language::Turkish),
        ] {
            assert_eq!(Company::of(names.iter().copied()).languages(), [language], "{names:?}");
        }
        let english = ["Brain", "Lens L", "PTV1", "Cochlea R"];
        assert_eq!(Company::of(english).languages(), []);
        assert_eq!(Company::of(["Oko lewe"]).languages(), [], "one name is not enough");
    }
}
