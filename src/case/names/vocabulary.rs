//! What people call structures in each language: one table per language, from memory and not
//! checked by a clinician who speaks it. A row is a standard name with the words that mean it,
//! divided by commas; case, diacritics and the order of the words do not matter. Languages that
//! are alike share a file, so that somebody who speaks them finds all there is to check in one
//! place; what can mean several structures is in `words::AMBIGUOUS`.

mod baltic;
mod cyrillic;
mod east_asian;
mod english;
mod finno_ugric;
mod french_spanish_italian;
mod german_dutch;
mod greek;
mod latin;
mod nordic;
mod portuguese_romanian;
mod south_slavic;
mod turkish;
mod west_slavic;

use strum::{EnumIter, IntoEnumIterator, IntoStaticStr};
use unicode_normalization::UnicodeNormalization;

/// A language of the tables.
#[derive(EnumIter, IntoStaticStr, Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Language {
    /// English.
    English,
    /// The Latin of anatomy, written in every country.
    #[strum(serialize = "anatomical Latin")]
    AnatomicalLatin,
    /// German.
    German,
    /// Dutch.
    Dutch,
    /// Swedish.
    Swedish,
    /// Danish.
    Danish,
    /// Norwegian.
    Norwegian,
    /// Finnish.
    Finnish,
    /// Estonian.
    Estonian,
    /// Hungarian.
    Hungarian,
    /// French.
    French,
    /// Spanish.
    Spanish,
    /// Italian.
    Italian,
    /// Portuguese.
    Portuguese,
    /// Romanian.
    Romanian,
    /// Polish.
    Polish,
    /// Czech.
    Czech,
    /// Slovak.
    Slovak,
    /// Croatian, and Serbian in Latin letters.
    Croatian,
    /// Slovenian.
    Slovenian,
    /// Lithuanian.
    Lithuanian,
    /// Latvian.
    Latvian,
    /// Turkish.
    Turkish,
    /// Russian.
    Russian,
    /// Ukrainian.
    Ukrainian,
    /// Bulgarian.
    Bulgarian,
    /// Serbian in Cyrillic letters.
    #[strum(serialize = "Serbian in Cyrillic letters")]
    SerbianInCyrillic,
    /// Greek.
    Greek,
    /// Chinese, simplified and traditional.
    Chinese,
    /// Japanese.
    Japanese,
    /// Korean.
    Korean,
}

impl Language {
    /// Its name in English.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.into()
    }
}

/// A set of languages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Languages(u32);

impl Languages {
    /// None.
    pub(super) const NONE: Self = Self(0);

    /// These.
    pub(super) const fn of(list: &[Language]) -> Self {
        let (mut bits, mut i) = (0, 0);
        while i < list.len() {
            bits |= 1 << list[i] as u32;
            i += 1;
        }
        Self(bits)
    }

    /// One.
    pub(super) const fn one(language: Language) -> Self {
        Self::of(&[language])
    }

    /// Those in this set or in the other.
    pub(super) const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Those in both sets.
    pub(super) const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// Those that are not in the other set.
    pub(super) const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Whether there is none.
    pub(super) const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether a language is in it.
    pub(super) const fn has(self, language: Language) -> bool {
        !self.and(Self::one(language)).is_empty()
    }

    /// Each in turn.
    pub(super) fn each(self) -> impl Iterator<Item = Language> {
        Language::iter().filter(move |language| self.has(*language))
    }
}

/// The words of one language. Lists of words are divided by blanks.
#[derive(Debug)]
pub(super) struct Vocabulary {
    pub(super) language: Language,
    /// Words that say left wherever they stand.
    pub(super) left: &'static str,
    /// Words that say right wherever they stand.
    pub(super) right: &'static str,
    /// Words that say both sides.
    pub(super) both: &'static str,
    /// Short words that say left in this language and may say something else in others.
    pub(super) left_here: &'static str,
    /// The same for right.
    pub(super) right_here: &'static str,
    /// Words of subtraction.
    pub(super) without: &'static str,
    /// Words of a lesion or target of unstated kind.
    pub(super) lesions: &'static str,
    /// Words of a resection cavity.
    pub(super) cavities: &'static str,
    /// Words that make a structure an aid to planning.
    pub(super) aids: &'static str,
    /// Words that make a target a union.
    pub(super) sums: &'static str,
    /// Words that add nothing to what a structure is.
    pub(super) fillers: &'static str,
    /// What a word means once other structures of the same set show that this language is spoken;
    /// alone it can mean several structures.
    pub(super) in_company: &'static [(&'static str, &'static str)],
    /// Standard names, each with the words that mean it.
    pub(super) organs: &'static [(&'static str, &'static str)],
}

/// Every table.
pub(super) const ALL: [&Vocabulary; 31] = [
    &english::ENGLISH,
    &latin::ANATOMICAL_LATIN,
    &german_dutch::GERMAN,
    &german_dutch::DUTCH,
    &nordic::SWEDISH,
    &nordic::DANISH,
    &nordic::NORWEGIAN,
    &finno_ugric::FINNISH,
    &finno_ugric::ESTONIAN,
    &finno_ugric::HUNGARIAN,
    &french_spanish_italian::FRENCH,
    &french_spanish_italian::SPANISH,
    &french_spanish_italian::ITALIAN,
    &portuguese_romanian::PORTUGUESE,
    &portuguese_romanian::ROMANIAN,
    &west_slavic::POLISH,
    &west_slavic::CZECH,
    &west_slavic::SLOVAK,
    &south_slavic::CROATIAN,
    &south_slavic::SLOVENIAN,
    &baltic::LITHUANIAN,
    &baltic::LATVIAN,
    &turkish::TURKISH,
    &cyrillic::RUSSIAN,
    &cyrillic::UKRAINIAN,
    &cyrillic::BULGARIAN,
    &cyrillic::SERBIAN_IN_CYRILLIC,
    &greek::GREEK,
    &east_asian::CHINESE,
    &east_asian::JAPANESE,
    &east_asian::KOREAN,
];

/// Letters that only some languages write, with these languages. From memory of the alphabets.
const LETTERS: &[(&str, &[Language])] = &[
    ("łąęśźż", &[Language::Polish]),
    ("řěů", &[Language::Czech]),
    ("ľĺŕô", &[Language::Slovak]),
    ("őű", &[Language::Hungarian]),
    ("ășțşţ", &[Language::Romanian]),
    ("ğış", &[Language::Turkish]),
    ("ßä", &[Language::German]),
    ("øæ", &[Language::Danish, Language::Norwegian]),
    ("å", &[Language::Swedish, Language::Danish, Language::Norwegian]),
    ("ãõ", &[Language::Portuguese]),
    ("ñ", &[Language::Spanish]),
    ("ėįųū", &[Language::Lithuanian]),
    ("āēīļņķģ", &[Language::Latvian]),
    ("đć", &[Language::Croatian]),
    ("іїєґ", &[Language::Ukrainian]),
    ("ыэ", &[Language::Russian]),
    ("ђјљњћџ", &[Language::SerbianInCyrillic]),
];

/// Languages that the letters of a name speak for; none where the letters are common ones.
pub(super) fn by_letters(name: &str) -> Languages {
    let name = name.nfkc().collect::<String>().to_lowercase();
    let spoken = |c: char| match c {
        'α'..='ω' | 'ά'..='ώ' => Languages::one(Language::Greek),
        '\u{3040}'..='\u{30FF}' => Languages::one(Language::Japanese),
        '\u{AC00}'..='\u{D7AF}' => Languages::one(Language::Korean),
        _ => {
            let rows = LETTERS.iter().filter(|(letters, _)| letters.contains(c));
            rows.fold(Languages::NONE, |all, (_, list)| all.or(Languages::of(list)))
        }
    };
    name.chars().map(spoken).fold(Languages::NONE, Languages::or)
}
