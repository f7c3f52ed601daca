//! What a text that a person typed can mean among the names that exist: the same text, else the one
//! name that differs from it in letter case, blanks or Unicode form only, else nothing, with the
//! nearest name. Knows no file and no kind of name.
//!
//! [`tidydose_rt::nearest`] answers another question: it ranks any list and always shows the best,
//! by a measure made for metrics and columns (units in brackets, signs between words). Here a name
//! is proposed only when it is near, as a row of a sheet may mean nothing at all.

use std::collections::{BTreeMap, BTreeSet};

use encoding::all::WINDOWS_1252;
use encoding::{EncoderTrap, Encoding};
use unicode_normalization::UnicodeNormalization;

/// Names that exist.
#[derive(Debug, Clone, Default)]
pub struct Existing {
    names: BTreeSet<String>,
    folded: BTreeMap<String, Vec<String>>,
}

/// What a text means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meant<'a> {
    /// This name.
    One(&'a str),
    /// Any of these, which differ in case, blanks or Unicode form.
    Several(&'a [String]),
    /// None of the names.
    Nothing,
}

/// Names less alike than this are no help (Jaro-Winkler similarity, 1 is equal).
const LIKE: f64 = 0.75;

impl<S: AsRef<str>> FromIterator<S> for Existing {
    fn from_iter<I: IntoIterator<Item = S>>(names: I) -> Self {
        let names: BTreeSet<String> = names.into_iter().map(|n| n.as_ref().to_owned()).collect();
        let mut folded: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for name in &names {
            folded.entry(fold(name)).or_default().push(name.clone());
        }
        Self { names, folded }
    }
}

impl Existing {
    /// What a text means.
    #[must_use]
    pub fn meant(&self, typed: &str) -> Meant<'_> {
        if let Some(name) = self.names.get(typed) {
            return Meant::One(name);
        }
        match self.folded.get(&fold(typed)).map(Vec::as_slice) {
            None | Some([]) => Meant::Nothing,
            Some([one]) => Meant::One(one),
            Some(several) => Meant::Several(several),
        }
    }

    /// The one name that a text means.
    #[must_use]
    pub fn one(&self, typed: &str) -> Option<&str> {
        match self.meant(typed) {
            Meant::One(name) => Some(name),
            Meant::Several(_) | Meant::Nothing => None,
        }
    }

    /// The names most like a text, the best first; none where nothing is like it.
    #[must_use]
    pub fn nearest(&self, typed: &str, most: usize) -> Vec<&str> {
        let mut scored: Vec<(f64, &str)> = self
            .names
            .iter()
            .map(|name| (likeness(typed, name), name.as_str()))
            .filter(|(score, _)| *score >= LIKE)
            .collect();
        scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
        scored.into_iter().take(most).map(|(_, name)| name).collect()
    }
}

/// Letter case, blanks around and between, and the Unicode form of composed letters taken away.
fn fold(text: &str) -> String {
    let lower: String = text.nfc().flat_map(char::to_lowercase).collect();
    lower.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// How alike two texts are, from 0 to 1; a text that a program has read in the wrong character set
/// counts as what it was.
fn likeness(typed: &str, name: &str) -> f64 {
    let name = fold(name);
    let as_typed = strsim::jaro_winkler(&fold(typed), &name);
    let repaired = repaired(typed).map_or(0.0, |t| strsim::jaro_winkler(&fold(&t), &name));
    as_typed.max(repaired)
}

/// What a text was before UTF-8 was read as Windows 1252: `GrÃ¶ÃŸe` was `Größe`.
fn repaired(text: &str) -> Option<String> {
    let bytes = WINDOWS_1252.encode(text, EncoderTrap::Strict).ok()?;
    String::from_utf8(bytes).ok().filter(|was| was != text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Existing {
        ["Tronco", "Größe links", "GTV 1", "gtv 1", "Brainstem"].into_iter().collect()
    }

    #[test]
    fn case_blanks_and_unicode_form_do_not_matter_where_one_name_is_meant() {
        let names = names();
        for (typed, meant) in [
            ("Tronco", "Tronco"),
            ("tronco ", "Tronco"),
            ("GRÖSSE LINKS", ""),
            ("Gro\u{308}ße  links", "Größe links"),
            ("\u{a0}Brainstem", "Brainstem"),
            ("GTV 1", "GTV 1"),
            ("Gtv 1", ""),
            ("Trunco", ""),
        ] {
            assert_eq!(names.one(typed).unwrap_or_default(), meant, "{typed}");
        }
        let Meant::Several(both) = names.meant("Gtv 1") else { panic!() };
        assert_eq!(both, ["GTV 1", "gtv 1"]);
    }

    #[test]
    fn the_nearest_name_is_found_through_slips_and_wrong_character_sets() {
        let names = names();
        for (typed, near) in [
            ("Trnco", "Tronco"),
            ("Brainstm", "Brainstem"),
            ("GrÃ¶ÃŸe links", "Größe links"),
            ("Gr??e links", "Größe links"),
            ("GTV1", "GTV 1"),
        ] {
            assert_eq!(names.nearest(typed, 1), [near], "{typed}");
        }
        assert!(names.nearest("xyz", 3).is_empty());
        assert_eq!(names.nearest("gtv", 2), ["GTV 1", "gtv 1"]);
    }
}
