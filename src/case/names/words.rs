//! Words that are no organ: sides, helpers, targets, sums, and the codes that mean several organs.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use super::normalise::{NamePiece, fold_word, pieces};
use super::scripts::in_latin_letters;
use super::vocabulary::{ALL, Language, Languages, Vocabulary};
use crate::Role;

/// Left or right of the patient.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
    /// The union of both.
    Both,
}

/// Words that say a side in every language of the tables, beside those that the tables add.
const SIDES: &[(Side, &str)] = &[
    (Side::Left, "l lt lft li sx snst"),
    (Side::Right, "r rt rgt dt dx dto dxt"),
    (Side::Both, "bilat bilateral bil"),
];

/// Names, folded and joined, that stand for more than one thing and are never resolved.
pub(super) const AMBIGUOUS: &str = "on no bs hs tc te oc sc od os ou hc par lt rt mo v vii stem \
    tronco \
    tronc trunk bulbo bulbus bulb body corpo corps cuerpo skin haut huid hud pele piel peau cute \
    skora kuze koza iho bor cilt deri piele кожа шкіра δερμα 皮肤 皮膚 피부 \
    orbit \
    orbita orbite lente meta cerebro tractus tract medulla stam wb rm tl ear oreille oido orecchio \
    ouvido contour contorno kontur jaw brug facial facciale acoustic normalbrain nv nerve optic \
    lobe gl nerf nerv opticnerves temporal vesicle globus n l r li re";

/// Real words so close to a synonym that a spelling rule would take them for it.
pub(super) const NOT_MISSPELT: &str = "axilla orbital cochlear retinal corneal macular \
    conjunctival \
    parotideal facials carotid carotis parotid parotis thalami mandibular externa externas interna";

/// Words without meaning for the identity of a structure: small words, versions, images, and that
/// all of it is meant.
const FILLERS: &str = "of the de des du del della do da von van final ok new neu nuevo \
    nouveau nuovo def definitief mr mri ct organ oar gesamt ganz komplett complete total totale \
    totaal entier intero in toto";

/// Words that make a structure an aid to planning, whatever else its name says.
const HELPERS: &str = "opt help hilf hilfs hilfe hilfskontur hilfsstruktur ring rings \
    shell \
    rind dummy old tmp copy avoid avoidance crop cropped couronne anneau aide anillo ayuda \
    anello aiuto hulp schil \
    hjalp skal anel auxiliar isodose isodosis isodos isodoses verwenden ignore test couch table \
    tisch support bolus";

/// Those of [`HELPERS`] that call a structure an earlier version or a copy of another one.
pub(super) const EARLIER: &str = "old tmp copy test kopie kopia kopi copia copie kopya alt \
    vorher vieux ancien viejo antiguo vecchio velho antigo oud gammel gammal stary stara eski \
    stare vechi regi vanha prev previous obsolete outdated superseded старый старая копия стара \
    копія παλιό 旧 舊 拷贝 副本 コピー 複製 복사 복사본 이전";

/// Words that a program was the author, or that say which program, image or list it was for.
const AUTOMATIC: &str = "auto automatic automatically automatisch automatique automatico autom \
    ai dl autoseg autocontour atlas generated pred predicted авто αυτόματο 自动 自動 자동 roi";

/// Beginnings of one-word aids in languages that write compounds.
pub(super) const HELPER_STEMS: &str = "ring shell couch hilf hjalp hjelp hulp dummy isodos izodo \
    изодо ισοδο 等剂量 等劑量 等線量 등선량";

/// Words of points and markers.
pub(super) const MARKERS: &str = "iso isocenter isocentre isozentrum isocentro isocentrum \
    isocenters izocentrum izocentr izocenter izocentru izocentar изоцентр ισοκεντρο \
    等中心 アイソセンター 등중심 маркер marker markers fiducial fiducials poi refpoint point points";

/// Words that mean a margin around an organ.
pub(super) const MARGINS: &str = "prv margines okraj отступ marj 外扩 外擴 マージン 마진 margin marge \
    margen saum exp expanded expansion";

/// Words of subtraction. `sin` is one only in front of a target.
const MINUS: &str =
    "minus less excluding except ohne sans senza zonder utan sem without excl sin sub";

/// Those that stand behind what they take away.
pub(super) const MINUS_BEHIND: &str = "haric siz siz disinda olmadan cikarilmis nelkul kiveve \
    nelkuli 除く 除いた 除外 以外 抜き 除去 제외 제외한 뺀 빼기 外";

/// Organs after which a lesion is called, so that a number behind may count lesions.
pub(super) const LESION_PLACES: &str = "Brain Cerebrum Cerebellum Brainstem Pons Thalamus \
    Hemisphere Lobe_Frontal Lobe_Parietal Lobe_Temporal Lobe_Occipital Orbit Skull Scalp \
    Midbrain MedullaOblongata CorpusCallosum BrainVentricle SpinalCord Pituitary Pineal CN_V \
    CN_VIII Hypothalmus Fossa_Posterior Meninges";

/// Words that relate an organ to a target: the part of one within the other.
pub(super) const WITHIN: &str = "in inside within overlap overlapping intersect intersection";

/// Words that make a target a union.
const SUMS: &str = "s total totale tot totaal sum summe suma somme somma all alle \
    alles gesamt \
    union todos todas tous toutes tutti tutte combined merged samlet";

/// Words of a target of unstated kind.
const TARGETS: &str = "tumor tumour tumeur tumore lesion lesione lesao lasie les met mets \
    metastase metastasis metastasi metastas metastases metastasen filia herd bm target targets \
    tgt cible blanco objetivo bersaglio doel alvo tv recurrence rezidiv recidive recidiva recidief \
    recidiv";

/// Ends of compounds that name a lesion by its place: `Hirnmetastase`.
pub(super) const TARGET_ENDS: &str = "tumor metastase metastas metastasen";

/// Words of several targets: a union when no number follows.
pub(super) const PLURAL_TARGETS: &str = "mets metastases metastasen targets lesions tumors tumours";

/// Words of a planning target volume.
pub(super) const PLANNING: &str = "zielvolumen zv planningtarget volumecible malvolym doelvolume";

/// Words of a resection cavity.
const CAVITIES: &str = "cavity resection resektionshohle hohle tumorbett cavite \
    littumoral cavidad \
    lecho cavita holte resectieholte halighet kavitet cavidade leito resectioncavity surgicalbed \
    tumorbed tumourbed";

/// Role of a target abbreviation.
pub(super) fn kind(word: &str) -> Option<Role> {
    match word {
        "gtv" | "igtv" => Some(Role::Gtv),
        "ctv" | "ictv" => Some(Role::Ctv),
        "ptv" => Some(Role::Ptv),
        "itv" => Some(Role::Target),
        _ => None,
    }
}

/// Whether a list of words holds `word`, which is folded.
pub(super) fn holds(list: &str, word: &str) -> bool {
    list.split_ascii_whitespace().any(|w| w == word || fold_word(w) == word)
}

/// What a word that is no organ does in a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Does {
    /// Adds nothing to what the structure is.
    Fill,
    /// Makes it an aid to planning.
    Help,
    /// Calls it an earlier version or a copy.
    Supersede,
    /// Says that a program drew it.
    Automate,
    /// Takes something away.
    Subtract,
    /// Makes targets a union.
    Sum,
    /// Names a target of unstated kind.
    Target,
    /// Names a resection cavity.
    Hollow,
}

/// The words of the tables that do something, and those of all lists above.
fn words_that(does: Does) -> (&'static str, fn(&Vocabulary) -> &'static str) {
    match does {
        Does::Fill => (FILLERS, |v| v.fillers),
        Does::Help => (HELPERS, |v| v.aids),
        Does::Supersede => (EARLIER, |_| ""),
        Does::Automate => (AUTOMATIC, |_| ""),
        Does::Subtract => (MINUS, |v| v.without),
        Does::Sum => (SUMS, |v| v.sums),
        Does::Target => (TARGETS, |v| v.lesions),
        Does::Hollow => (CAVITIES, |v| v.cavities),
    }
}

const EVERY: [Does; 8] = [
    Does::Fill,
    Does::Help,
    Does::Supersede,
    Does::Automate,
    Does::Subtract,
    Does::Sum,
    Does::Target,
    Does::Hollow,
];

static DOING: LazyLock<BTreeMap<Does, BTreeSet<String>>> = LazyLock::new(|| {
    let of = |does| {
        let (own, of_language) = words_that(does);
        let lists = ALL.iter().map(|v| of_language(v)).chain([own]);
        (does, lists.flat_map(str::split_ascii_whitespace).flat_map(spellings).collect())
    };
    EVERY.into_iter().map(of).collect()
});

/// A word as it is compared, and as it is written with Latin letters where it has others.
pub(super) fn spellings(word: &str) -> Vec<String> {
    let plain = |text: &str| {
        let word = |piece| match piece {
            NamePiece::Word(w) | NamePiece::Number(w) => w,
            NamePiece::Sign(c) => c.to_string(),
        };
        pieces(text).into_iter().map(word).collect::<String>()
    };
    // A short word in other letters would become an abbreviation of another language.
    let latin = in_latin_letters(word).into_iter().filter(|w| w.len() > 3);
    latin.chain([word.to_owned()]).map(|w| plain(&w)).collect()
}

/// Whether a word, folded, does this in a name.
pub(super) fn does(does: Does, word: &str) -> bool {
    DOING.get(&does).is_some_and(|words| words.contains(word))
}

/// Short words that say nothing but a side in any language.
const ONE_MEANING: &str = "g п л пр va ho re der dir sn ds dr st ve ven link recht";

/// Those of them that are read beside a word of all countries whatever the language: `Lens_vä`.
const BESIDE_ANY: &str = "va ho ve ven re dir sn ds dr link recht";

/// Words that are written in every country, so that those in them may be of any language.
const EVERYWHERE: Languages = Languages::of(&[Language::English, Language::AnatomicalLatin]);

/// Who reads a word as which side; with no languages, everybody does.
struct SideWord {
    side: Side,
    spoken: Option<Languages>,
}

static SIDE_WORDS: LazyLock<BTreeMap<String, Vec<SideWord>>> = LazyLock::new(|| {
    let mut words: BTreeMap<String, Vec<SideWord>> = BTreeMap::new();
    let mut enter = |list: &str, side, spoken: Option<Languages>| {
        for word in list.split_ascii_whitespace().flat_map(spellings) {
            let known = words.entry(word).or_default();
            let same = known.iter_mut().find(|k| k.side == side && k.spoken.is_some());
            match (same, spoken) {
                (Some(SideWord { spoken: Some(all), .. }), Some(more)) => *all = all.or(more),
                _ => known.push(SideWord { side, spoken }),
            }
        }
    };
    for (side, list) in SIDES {
        enter(list, *side, None);
    }
    for v in ALL {
        enter(v.left, Side::Left, None);
        enter(v.right, Side::Right, None);
        enter(v.both, Side::Both, None);
        enter(v.left_here, Side::Left, Some(Languages::one(v.language)));
        enter(v.right_here, Side::Right, Some(Languages::one(v.language)));
    }
    words
});

/// The side a word says, given the languages in which the rest of the name was understood. A
/// short word counts if one of those languages reads it as that side and none as the other; where
/// it has a second meaning in the language of all countries, or is Spanish for "without", all of
/// them have to.
pub(super) fn side(word: &str, languages: Languages) -> Option<Side> {
    // "Labā" is right in Latvian.
    if word == "l" && languages == Languages::one(Language::Latvian) {
        return None;
    }
    if let Some(side) = plain_side(word) {
        return Some(side);
    }
    let anywhere = holds(BESIDE_ANY, word) && !languages.and(EVERYWHERE).is_empty();
    let mut said = SIDE_WORDS.get(word)?.iter().filter_map(|known| {
        let spoken = known.spoken?;
        if anywhere {
            return Some(known.side);
        }
        let clear = languages.without(spoken).is_empty()
            || holds(ONE_MEANING, word)
            || (languages.and(EVERYWHERE).is_empty() && word != "sin");
        (!languages.and(spoken).is_empty() && clear).then_some(known.side)
    });
    let first = said.next()?;
    said.all(|other| other == first).then_some(first)
}

/// The side that a word says in every language of the tables.
pub(super) fn plain_side(word: &str) -> Option<Side> {
    let everywhere = |known: &&SideWord| known.spoken.is_none();
    SIDE_WORDS.get(word)?.iter().find(everywhere).map(|known| known.side)
}

/// Whether a word can say a side at all.
pub(super) fn may_be_side(word: &str) -> bool {
    SIDE_WORDS.contains_key(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_says_two_sides_everywhere_or_two_in_one_language() {
        for (word, known) in SIDE_WORDS.iter() {
            let sides: BTreeSet<_> =
                known.iter().filter(|k| k.spoken.is_none()).map(|k| k.side).collect();
            assert!(sides.len() < 2, "{word}: {sides:?}");
            for (one, other) in known.iter().zip(known.iter().skip(1)) {
                let common = one.spoken.zip(other.spoken).map(|(a, b)| a.and(b));
                assert!(common.is_none_or(Languages::is_empty), "{word}");
            }
        }
    }

    #[test]
    fn a_letter_is_read_by_its_language() {
        use Language::{English, French, Polish, Portuguese, Russian, Swedish};
        for (word, language, expected) in [
            ("p", Polish, Some(Side::Right)),
            ("p", English, None),
            ("e", Portuguese, Some(Side::Left)),
            ("d", French, Some(Side::Right)),
            ("d", Swedish, None),
            ("v", Swedish, Some(Side::Left)),
            ("п", Russian, Some(Side::Right)),
            ("sin", Language::Spanish, None),
            ("sin", Swedish, Some(Side::Left)),
        ] {
            assert_eq!(side(word, Languages::one(language)), expected, "{word} {language:?}");
        }
        assert_eq!(side("d", Languages::of(&[French, Swedish])), Some(Side::Right));
        assert_eq!(side("d", Languages::of(&[French, English])), None);
        assert_eq!(side("sin", Languages::of(&[Language::Italian, Language::Spanish])), None);
    }
}
