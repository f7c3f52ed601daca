//! What the clinic calls a lesion ("left frontal met 3, 12 mm"), read into a side, regions of the
//! brain, a size and a number. Serves a ranked suggestion only: nothing is decided by it.

use strum::IntoStaticStr;

use super::normalise::{NamePiece, fold_word, pieces};
use super::vocabulary::{Language, Languages};
use super::words::{self, Side, holds};

/// A region that clinicians name a lesion after.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr)]
#[strum(serialize_all = "snake_case")]
pub enum BrainRegion {
    /// Frontal lobe.
    Frontal,
    /// Parietal lobe.
    Parietal,
    /// Temporal lobe.
    Temporal,
    /// Occipital lobe.
    Occipital,
    /// Insula.
    #[strum(serialize = "insular")]
    Insula,
    /// Thalamus and basal ganglia.
    #[strum(serialize = "thalamus or basal ganglia")]
    Deep,
    /// Cerebellum.
    #[strum(serialize = "cerebellar")]
    Cerebellum,
    /// Midbrain, pons, medulla oblongata.
    Brainstem,
    /// Cerebellopontine angle, where vestibular schwannomas lie.
    #[strum(serialize = "cerebellopontine angle")]
    Angle,
    /// Sella and cavernous sinus.
    #[strum(serialize = "sellar")]
    Sella,
}

impl BrainRegion {
    /// The word used in reasons.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }

    /// Beginnings of the standard names that are this region or a part of it.
    #[must_use]
    pub const fn structures(self) -> &'static [&'static str] {
        match self {
            Self::Frontal => &["Lobe_Frontal"],
            Self::Parietal => &["Lobe_Parietal"],
            Self::Temporal => &["Lobe_Temporal", "Hippocamp"],
            Self::Occipital => &["Lobe_Occipital"],
            Self::Insula => &["Insula"],
            Self::Deep => &["Thalamus", "BasalGanglia"],
            Self::Cerebellum => &["Cerebellum"],
            Self::Brainstem => &["Brainstem", "Pons", "Midbrain", "MedullaOblongata"],
            Self::Angle => &["CN_VIII"],
            Self::Sella => &["Pituitary", "Sinus_Cavernous"],
        }
    }
}

/// A label as understood; what it does not say is absent.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClinicalLabel {
    /// Left of the patient (true) or right (false); absent also where it says both.
    pub left: Option<bool>,
    /// Regions, each once, in order.
    pub regions: Vec<BrainRegion>,
    /// Largest diameter, mm.
    pub diameter_mm: Option<f64>,
    /// Volume, cc.
    pub volume_cc: Option<f64>,
    /// A number that is no size: the clinic's own count.
    pub number: Option<u32>,
}

/// Parts of words that name a region, in eight languages, folded. A compound may hold two
/// ("parietooccipital"); a stem of an earlier row is taken out before later rows are tried, so that
/// the angle beside the pons is not read as the pons.
const STEMS: &[(BrainRegion, &str)] = &[
    (
        BrainRegion::Angle,
        "cerebellopontin pontocerebell pontocerebel kleinhirnbrucken brughoek \
         acoustic akustik acustic vestibul schwannom neurinom",
    ),
    (BrainRegion::Sella, "sella hypophys pituit hipofis ipofis hypofys cavern kavern"),
    (
        BrainRegion::Brainstem,
        "brainstem hirnstamm hersenstam hjarnstam pons pontin brucke mesenceph mesencef midbrain \
         mittelhirn oblongata troncoencef troncocereb tronccereb",
    ),
    (
        BrainRegion::Deep,
        "thalam talam basalgangl gangliabasal gangliosbas nucleobas stammgangl putamen caudat \
         striat pallid",
    ),
    (
        BrainRegion::Cerebellum,
        "cerebell cerebel kleinhirn kleinehersen lillhjarn lillehjern cervelet",
    ),
    (BrainRegion::Insula, "insul"),
    (BrainRegion::Frontal, "front stirnlappen voorhoofd pannlob"),
    (BrainRegion::Parietal, "pariet scheitellap wandbeen hjasslob"),
    (BrainRegion::Temporal, "tempor schlafenlap slaapkwab tinninglob"),
    (BrainRegion::Occipital, "occip okzip ocipit hinterhaupt achterhoofd nacklob"),
];

/// Short words that name a region when they stand alone.
const SHORT: &[(BrainRegion, &str)] = &[
    (BrainRegion::Frontal, "fr"),
    (BrainRegion::Parietal, "par"),
    (BrainRegion::Temporal, "temp"),
    (BrainRegion::Occipital, "occ okz"),
    (BrainRegion::Insula, "ins"),
    (BrainRegion::Cerebellum, "cbl cereb kh"),
    (BrainRegion::Brainstem, "bs stem"),
    (BrainRegion::Angle, "cpa kbw app vs"),
];

/// Beginnings of inflected words for a side.
const SIDE_STEMS: [(bool, &str); 2] = [
    (true, "left link gauch izquierd sinistr vanster venstre esquerd"),
    (false, "right recht droit derech destr hoger direit"),
];

/// Languages in which short words for a side are read in a clinic's labels.
const CLINIC: Languages =
    Languages::of(&[Language::German, Language::French, Language::Italian, Language::Dutch]);

/// Reads a label.
#[must_use]
pub fn clinical_label(text: &str) -> ClinicalLabel {
    let plain = ["cm³", "cm^3", "cm3", "ccm"]
        .iter()
        .fold(text.to_lowercase(), |t, cubic| t.replace(cubic, "cc"));
    let pieces = pieces(&plain);
    let (diameter_mm, volume_cc, number) = numbers(&pieces);
    ClinicalLabel { left: left(&pieces), regions: regions(&pieces), diameter_mm, volume_cc, number }
}

/// The side that a target's name says, left (true) or right (false), to be held against where it
/// lies: as [`clinical_label`] reads it, but of single letters `L` and `R` only, and these not in
/// front of a number, where they count recurrences or lesions.
#[must_use]
pub fn side_of_target(text: &str) -> Option<bool> {
    let all = pieces(text);
    let mut kept = Vec::new();
    for (i, piece) in all.iter().enumerate() {
        let counts = matches!(all.get(i + 1), Some(NamePiece::Number(_)));
        let says = match piece {
            NamePiece::Word(word) if word.chars().count() == 1 => holds("l r", word) && !counts,
            _ => true,
        };
        if says {
            kept.push(piece.clone());
        }
    }
    left(&kept)
}

/// Whether a word, folded, names a region or a part of one.
pub(super) fn is_region(word: &str) -> bool {
    let stem = |stems: &str| stems.split_ascii_whitespace().any(|s| word.contains(&fold_word(s)));
    STEMS.iter().any(|(_, stems)| stem(stems)) || SHORT.iter().any(|(_, s)| holds(s, word))
}

fn words(pieces: &[NamePiece]) -> impl Iterator<Item = &str> {
    pieces.iter().filter_map(|p| match p {
        NamePiece::Word(word) => Some(word.as_str()),
        _ => None,
    })
}

fn left(pieces: &[NamePiece]) -> Option<bool> {
    let side = |word: &str| {
        let stem = |stems: &str| stems.split_ascii_whitespace().any(|s| word.starts_with(s));
        let inflected = SIDE_STEMS.iter().find(|(_, stems)| word.len() > 3 && stem(stems));
        inflected.map(|(left, _)| *left).or_else(|| {
            let side = words::side(word, CLINIC).filter(|_| !holds("der dir dt", word));
            side.and_then(|s| match s {
                Side::Left => Some(true),
                Side::Right => Some(false),
                Side::Both => None,
            })
        })
    };
    let mut said = words(pieces).filter_map(side);
    let first = said.next()?;
    said.all(|other| other == first).then_some(first)
}

fn regions(pieces: &[NamePiece]) -> Vec<BrainRegion> {
    let list: Vec<&str> = words(pieces).collect();
    let short = |word: &str| SHORT.iter().find(|(_, s)| holds(s, word)).map(|(region, _)| *region);
    let mut found: Vec<BrainRegion> = list.iter().filter_map(|word| short(word)).collect();
    let mut joined = list.concat();
    for (region, stems) in STEMS {
        for stem in stems.split_ascii_whitespace().map(fold_word) {
            if joined.contains(&stem) {
                found.push(*region);
                joined = joined.replace(&stem, " ");
            }
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// Largest length in mm, volume in cc, and the first number that is neither.
fn numbers(pieces: &[NamePiece]) -> (Option<f64>, Option<f64>, Option<u32>) {
    let (mut length, mut volume, mut count) = (None::<f64>, None, None);
    for (i, piece) in pieces.iter().enumerate() {
        let NamePiece::Number(text) = piece else { continue };
        let Ok(value) = text.parse::<f64>() else { continue };
        match unit(pieces.get(i + 1..).unwrap_or_default()) {
            Some("mm") => length = Some(length.map_or(value, |l| l.max(value))),
            Some("cm") => length = Some(length.map_or(10.0 * value, |l| l.max(10.0 * value))),
            Some(_) => volume = Some(value),
            None => count = count.or_else(|| text.parse().ok()),
        }
    }
    (length, volume, count)
}

/// The unit behind a number; "12 x 9 mm" gives both numbers theirs.
fn unit(behind: &[NamePiece]) -> Option<&'static str> {
    match behind {
        [NamePiece::Word(by), NamePiece::Number(_), rest @ ..] if by == "x" => unit(rest),
        [NamePiece::Word(word), ..] => {
            ["mm", "cm", "cc", "ml"].into_iter().find(|unit| unit == word)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use BrainRegion as R;

    fn said(text: &str) -> (Option<bool>, Vec<R>) {
        let label = clinical_label(text);
        (label.left, label.regions)
    }

    #[test]
    fn sides_and_regions_are_read_in_eight_languages() {
        for (text, left, regions) in [
            ("right parietal met 3", Some(false), vec![R::Parietal]),
            ("L cerebellar", Some(true), vec![R::Cerebellum]),
            ("Metastase im linken Kleinhirn", Some(true), vec![R::Cerebellum]),
            ("parieto-okzipital re", Some(false), vec![R::Parietal, R::Occipital]),
            ("Parietookzipital links", Some(true), vec![R::Parietal, R::Occipital]),
            ("frontale gauche", Some(true), vec![R::Frontal]),
            ("lóbulo temporal derecho", Some(false), vec![R::Temporal]),
            ("lobo frontale sinistro", Some(true), vec![R::Frontal]),
            ("linker kleine hersenen", Some(true), vec![R::Cerebellum]),
            ("vänster frontallob", Some(true), vec![R::Frontal]),
            ("lobo occipital direito", Some(false), vec![R::Occipital]),
            ("Kleinhirnbrückenwinkel rechts", Some(false), vec![R::Angle]),
            ("vestibular schwannoma left", Some(true), vec![R::Angle]),
            ("pons", None, vec![R::Brainstem]),
            ("left thalamus", Some(true), vec![R::Deep]),
            ("R insula", Some(false), vec![R::Insula]),
            ("left to right midline", None, vec![]),
            ("the third one", None, vec![]),
        ] {
            assert_eq!(said(text), (left, regions), "{text}");
        }
    }

    #[test]
    fn a_target_says_its_side_in_words_and_by_two_letters_only() {
        for (text, left) in [
            ("met re frontal", Some(false)),
            ("GTV_L", Some(true)),
            ("PTV 3 R", Some(false)),
            ("Meta temporal links", Some(true)),
            ("GTV R1", None),
            ("GTV D", None),
            ("GTV1", None),
            ("GTV left+right", None),
        ] {
            assert_eq!(side_of_target(text), left, "{text}");
        }
    }

    #[test]
    fn sizes_and_numbers_are_told_apart() {
        let read = |text: &str| {
            let label = clinical_label(text);
            (label.diameter_mm, label.volume_cc, label.number)
        };
        assert_eq!(read("met 3, 12 x 9 mm"), (Some(12.0), None, Some(3)));
        assert_eq!(read("met 3 (1,2 cm)"), (Some(12.0), None, Some(3)));
        assert_eq!(read("frontal 2.3 cm³"), (None, Some(2.3), None));
        assert_eq!(read("#4 0,8ml"), (None, Some(0.8), Some(4)));
        assert_eq!(read("lesion"), (None, None, None));
    }
}
