//! Every word that may answer what a structure is: the standard names, then the roles of what has none.

use serde::Serialize;
use strum::IntoEnumIterator;

use super::ROLE;
use tidydose_case::{Role, meaning, standard_names, volume_window};

/// A word that may answer what a structure is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NameWord {
    /// As it is written.
    pub word: String,
    /// What it means.
    pub meaning: String,
    /// Smallest and largest plausible volume, cc.
    pub plausible_cc: Option<[f64; 2]>,
    /// Where these come from; empty without them.
    pub source: &'static str,
}

/// The words, names before roles. Names with a margin, parts, targets with a number and names of
/// one's own are accepted besides.
#[must_use]
pub fn name_words() -> Vec<NameWord> {
    let mut words = Vec::new();
    for (name, _) in standard_names() {
        let window = volume_window(&name);
        words.push(NameWord {
            meaning: meaning(&name).unwrap_or_default(),
            plausible_cc: window.map(|w| [w.low_cc, w.high_cc]),
            source: window.map_or("", |w| w.source),
            word: name,
        });
    }
    // An organ has a name; that nobody knows what a structure is, is said by the last one.
    for role in Role::iter().filter(|role| *role != Role::Organ) {
        let meaning = match role {
            Role::Unknown => "nobody can tell what it is; it is not asked about again",
            _ => role.meaning(),
        };
        words.push(NameWord {
            word: format!("{ROLE}{}", role.word()),
            meaning: meaning.to_owned(),
            plausible_cc: None,
            source: "",
        });
    }
    words
}
