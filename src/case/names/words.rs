//! Words that are no organ: sides, helpers, targets, sums, and the codes that mean several organs.

use super::normalise::fold_word;
use super::synonyms::{DE, ES, FR, IT, Languages, NL, PT, SV};

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

/// Words that say a side in every language of the table.
pub(super) const SIDES: &[(Side, &str)] = &[
    (
        Side::Left,
        "l lt lft left li links linke linker linkes gauche gche gch izq izda izdo izqda izqdo \
      izquierdo izquierda sinistro sinistra sinister vanster venstre esq esquerdo esquerda",
    ),
    (
        Side::Right,
        "r rt rgt right rechts rechte rechter rechtes droit droite dt dte dcho dcha dch \
      drcho drcha derecho derecha destro destra dexter hoger hojre hoyre direito direita dx",
    ),
    (Side::Both, "both bilat bilateral bilaterale bds beidseits beide bil deux ambos begge"),
];

/// Short words that say a side in some languages only, with the languages in which they do.
pub(super) const SHORT_SIDES: &[(&str, Side, Languages)] = &[
    ("g", Side::Left, FR),
    ("d", Side::Right, FR | ES | PT | IT),
    ("i", Side::Left, ES),
    ("e", Side::Left, PT),
    ("v", Side::Left, SV),
    ("va", Side::Left, SV),
    ("h", Side::Right, SV),
    ("ho", Side::Right, SV),
    ("re", Side::Right, DE | NL),
    ("der", Side::Right, ES),
    ("dir", Side::Right, PT),
    ("sn", Side::Left, IT),
    ("sx", Side::Left, IT),
    ("ds", Side::Right, IT),
    ("sin", Side::Left, IT | SV),
];

/// Names, folded and joined, that stand for more than one thing and are never resolved.
pub(super) const AMBIGUOUS: &str = "on no bs hs tc te oc sc od os ou hc par lt rt mo v vii stem \
    tronco \
    tronc trunk bulbo bulbus bulb body corpo corps cuerpo skin haut huid hud pele piel peau cute \
    orbit \
    orbita orbite lente meta cerebro tractus tract medulla stam wb rm tl ear oreille oido orecchio \
    ouvido contour contorno kontur jaw brug facial facciale acoustic normalbrain nv nerve optic \
    lobe gl nerf nerv opticnerves lenses linsen linser temporal vesicle globus n l r li re";

/// Real words so close to a synonym that a spelling rule would take them for it.
pub(super) const NOT_MISSPELT: &str = "axilla orbital cochlear retinal corneal macular \
    conjunctival \
    parotideal facials carotid carotis parotid parotis thalami mandibular externa externas interna";

/// Words without meaning for the identity of a structure: small words, versions, images, and that
/// all of it is meant.
pub(super) const FILLERS: &str = "of the de des du del della do da von van final ok new neu nuevo \
    nouveau nuovo def definitief mr mri ct organ oar gesamt ganz komplett complete total totale \
    totaal entier intero in toto";

/// Words that make a structure an aid to planning, whatever else its name says.
pub(super) const HELPERS: &str = "opt help hilf hilfs hilfe hilfskontur hilfsstruktur ring rings \
    shell \
    rind dummy old tmp copy avoid avoidance crop cropped couronne anneau aide anillo ayuda \
    anello aiuto hulp schil \
    hjalp skal anel auxiliar isodose isodosis isodos isodoses verwenden ignore test couch table \
    tisch support bolus";

/// Those of [`HELPERS`] that call a structure an earlier version or a copy of another one.
pub(super) const EARLIER: &str = "old tmp copy test";

/// Beginnings of one-word aids in languages that write compounds.
pub(super) const HELPER_STEMS: &str = "ring shell couch hilf hjalp hjelp hulp dummy isodos";

/// Words of points and markers.
pub(super) const MARKERS: &str = "iso isocenter isocentre isozentrum isocentro isocentrum \
    isocenters marker markers fiducial fiducials poi refpoint point points";

/// Words that mean a margin around an organ.
pub(super) const MARGINS: &str = "prv margin marge margen saum exp expanded expansion";

/// Words of subtraction. `sin` is one only in front of a target.
pub(super) const MINUS: &str = "minus ohne sans senza zonder utan sem without excl sin sub";

/// Words that relate an organ to a target: the part of one within the other.
pub(super) const WITHIN: &str = "in inside within overlap overlapping intersect intersection";

/// Words that make a target a union.
pub(super) const SUMS: &str = "s total totale tot totaal sum summe suma somme somma all alle \
    alles gesamt \
    union todos todas tous toutes tutti tutte combined merged samlet";

/// Words of a target of unstated kind.
pub(super) const TARGETS: &str = "tumor tumour tumeur tumore lesion lesione lesao lasie les met \
    mets \
    metastase metastasis metastasi metastas metastases metastasen filia herd bm target targets tgt cible blanco \
    objetivo \
    bersaglio doel alvo";

/// Ends of compounds that name a lesion by its place: `Hirnmetastase`.
pub(super) const TARGET_ENDS: &str = "tumor metastase metastas metastasen";

/// Words of several targets: a union when no number follows.
pub(super) const PLURAL_TARGETS: &str = "mets metastases metastasen targets lesions tumors tumours";

/// Words of a planning target volume.
pub(super) const PLANNING: &str = "zielvolumen zv planningtarget volumecible malvolym doelvolume";

/// Words of a resection cavity.
pub(super) const CAVITIES: &str = "cavity resection resektionshohle hohle tumorbett cavite \
    littumoral cavidad \
    lecho cavita holte resectieholte halighet kavitet cavidade leito resectioncavity surgicalbed \
    tumorbed tumourbed";

/// Whether a list of words holds `word`, which is folded.
pub(super) fn holds(list: &str, word: &str) -> bool {
    list.split_ascii_whitespace().any(|w| w == word || fold_word(w) == word)
}

/// Short words that say a side in one group of languages and something else in another (inferior,
/// external, and, vein, high, a version, without); the others say nothing else anywhere.
const TWO_MEANINGS: &str = "i e v h d sin";

/// The side a word says, given the languages in which the rest of the name was understood. A
/// short word counts if one of those languages reads it as that side and, where it has a second
/// meaning, all of them do.
pub(super) fn side(word: &str, languages: Languages) -> Option<Side> {
    if let Some(side) = plain_side(word) {
        return Some(side);
    }
    let (_, side, spoken) = SHORT_SIDES.iter().find(|(w, _, _)| *w == word)?;
    let clear = languages & !spoken == 0 || !holds(TWO_MEANINGS, word);
    (languages & spoken != 0 && clear).then_some(*side)
}

/// The side that a word says in every language of the table.
pub(super) fn plain_side(word: &str) -> Option<Side> {
    SIDES.iter().find(|(_, list)| holds(list, word)).map(|(side, _)| *side)
}

/// Whether a word can say a side at all.
pub(super) fn may_be_side(word: &str) -> bool {
    SIDES.iter().any(|(_, list)| holds(list, word)) || SHORT_SIDES.iter().any(|s| s.0 == word)
}
