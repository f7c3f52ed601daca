//! Cranial nerves by their Roman number, which every language writes: `N. V dx`, `VIII нерв лев`,
//! `V nerf trijumeau`.

use super::organ::{Lookup, lookup};
use super::vocabulary::{Language, Languages};
use super::words::holds;

/// The numbers with the standard names; the second is the optic nerve.
const NUMBERS: [(&str, &str); 11] = [
    ("ii", "OpticNrv"),
    ("iii", "CN_III"),
    ("iv", "CN_IV"),
    ("v", "CN_V"),
    ("vi", "CN_VI"),
    ("vii", "CN_VII"),
    ("viii", "CN_VIII"),
    ("ix", "CN_IX"),
    ("x", "CN_X"),
    ("xi", "CN_XI"),
    ("xii", "CN_XII"),
];

/// Words for a nerve by the languages that write them so.
const NERVE: &[(&str, &[Language])] = &[
    ("nerve", &[Language::English]),
    ("nervus n", &[Language::AnatomicalLatin]),
    ("nerv", &[Language::German, Language::Swedish, Language::Czech, Language::Romanian]),
    ("nervul", &[Language::Romanian]),
    ("zenuw hersenzenuw", &[Language::Dutch]),
    ("nerven hjarnnerv kranialnerv", &[Language::Swedish]),
    ("nerve hjernenerve kranienerve", &[Language::Danish, Language::Norwegian]),
    ("nerf", &[Language::French]),
    ("nervio", &[Language::Spanish]),
    ("nervo", &[Language::Italian, Language::Portuguese]),
    ("nerw nerwu", &[Language::Polish]),
    ("nervu", &[Language::Czech, Language::Slovak, Language::Estonian]),
    ("zivac", &[Language::Croatian]),
    ("zivec", &[Language::Slovenian]),
    ("nervas", &[Language::Lithuanian]),
    ("nervs", &[Language::Latvian]),
    ("hermo aivohermo", &[Language::Finnish]),
    ("narv", &[Language::Estonian]),
    ("ideg agyideg", &[Language::Hungarian]),
    ("sinir siniri", &[Language::Turkish]),
    ("нерв", &[Language::Russian, Language::Ukrainian, Language::Bulgarian]),
    ("живац", &[Language::SerbianInCyrillic]),
    ("νευρο", &[Language::Greek]),
];

/// The nerve of a number beside a word for a nerve, or beside the name of that same nerve; nothing
/// where there is no such number.
pub(super) fn cranial_nerve(words: &[String]) -> Option<Lookup> {
    let at = words.iter().position(|w| NUMBERS.iter().any(|(number, _)| number == w))?;
    let number = words.get(at)?;
    let (_, root) = NUMBERS.iter().find(|(known, _)| known == number)?;
    let others: Vec<String> =
        words.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, w)| w.clone()).collect();
    if let [word] = others.as_slice() {
        let spoken = NERVE.iter().filter(|(list, _)| holds(list, word));
        let languages = spoken.fold(Languages::NONE, |all, (_, more)| all.or(Languages::of(more)));
        // "N x" may be anything, "n ii" a second node.
        let short = word == "n" && holds("ii x", number);
        if !languages.is_empty() && !short {
            return Some(Lookup::Found(root, languages));
        }
    }
    match lookup(&others, Languages::NONE) {
        found @ Lookup::Found(name, _) if name == *root && !others.is_empty() => Some(found),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_beside_a_word_for_a_nerve_is_one_of_them() {
        let read = |name: &str| {
            let words: Vec<String> = name.split(' ').map(str::to_owned).collect();
            match cranial_nerve(&words) {
                Some(Lookup::Found(root, _)) => Some(root),
                _ => None,
            }
        };
        for (name, root) in [
            ("n v", "CN_V"),
            ("viii нерв", "CN_VIII"),
            ("v nerf trijumeau", "CN_V"),
            ("nerve ii", "OpticNrv"),
            ("sinir vii", "CN_VII"),
        ] {
            assert_eq!(read(name), Some(root), "{name}");
        }
        for name in ["n x", "n ii", "v", "nerve", "vii nerf trijumeau", "gtv ii"] {
            assert_eq!(read(name), None, "{name}");
        }
    }
}
