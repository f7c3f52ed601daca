//! What a structure may be whose name nobody has decided: the organs that its words allow. Where
//! the words say nothing that is known it may be anything, and no organ of the case can be called
//! absent.

use std::collections::BTreeSet;

use super::decoration::undecorated;
use super::normalise::NamePiece;
use super::organ::root;
use super::recognise::recognise;
use super::words::{self, Does, Side, does, holds, kind};
use crate::{Case, NameBasis, NamedRoi, Role};

/// The organs that an undecided name allows, by standard names without side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PossibleOrgans {
    /// The words say nothing that is known.
    Anything,
    /// One of these; of a paired one the side that is left out here is not meant.
    OneOf(BTreeSet<&'static str>, Option<&'static str>),
}

impl PossibleOrgans {
    /// Whether the organ of a standard name is among them.
    #[must_use]
    pub fn allows(&self, standard: &str) -> bool {
        let Self::OneOf(roots, excluded) = self else { return true };
        let sided = ["_L", "_R"].into_iter().find(|s| standard.ends_with(s));
        let root = sided.map_or(standard, |side| standard.trim_end_matches(side));
        roots.contains(root) && (sided.is_none() || sided != *excluded)
    }

    /// The organs in ascending order; `any` where nothing is known.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Anything => "any".to_owned(),
            Self::OneOf(roots, _) => roots.iter().copied().collect::<Vec<_>>().join(" "),
        }
    }
}

/// A structure whose name nobody has decided and that may be an organ.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenName<'c> {
    /// The structure.
    pub name: &'c NamedRoi,
    /// What it may be.
    pub may_be: PossibleOrgans,
}

impl NamedRoi {
    /// Whether it is the brain or what is left of the brain without targets, as far as its name goes,
    /// decided or not. Which of them makes no difference once all targets are taken out of it.
    #[must_use]
    pub fn is_brain_or_its_rest(&self) -> bool {
        let is_it = |standard: &str| BRAIN_OR_ITS_REST.contains(&standard);
        match self.standard.as_deref() {
            Some(standard) => self.role == Role::Organ && is_it(standard),
            None => {
                // What stands behind the doubt is decoration: `Brain-GTV?_1`.
                let certain =
                    recognise(self.original.split('?').next().unwrap_or_default()).standard;
                self.possible_organs().is_some()
                    && (certain.as_deref().is_some_and(is_it) || is_normal_brain(&self.original))
            }
        }
    }

    /// What the structure may be; absent when its name is decided or it is no organ by its type.
    #[must_use]
    pub fn possible_organs(&self) -> Option<PossibleOrgans> {
        let undecided = matches!(self.basis, NameBasis::Ambiguous | NameBasis::None);
        let organ = matches!(self.role, Role::Unknown | Role::Organ);
        (undecided && organ && self.standard.is_none()).then(|| possible(&self.original))
    }
}

impl Case {
    /// The structures whose names nobody has decided and that may be organs, by ROI Number.
    #[must_use]
    pub fn open_names(&self) -> Vec<OpenName<'_>> {
        let open = |name| Some(OpenName { name, may_be: name.possible_organs()? });
        self.names.iter().filter_map(open).collect()
    }
}

/// Standard names of the brain and of what is left of it without targets.
const BRAIN_OR_ITS_REST: [&str; 4] = ["Brain", "Brain-GTV", "Brain-CTV", "Brain-PTV"];
/// The brain without what is ill, which others write of the whole brain: `brain_normal`.
const NORMAL: &str = "normal healthy";

fn is_normal_brain(original: &str) -> bool {
    let words = organ_words(original);
    let rest: Vec<String> = words.iter().filter(|w| !holds(NORMAL, w)).cloned().collect();
    rest.len() < words.len() && root(&rest).is_some_and(|(root, _)| root == "Brain")
}

/// Words that say how or when something was drawn, and nothing of what it is.
const VERSIONS: &str = "old new tmp copy test auto man manual edit edited mod modified final";

/// Codes of [`words::AMBIGUOUS`] with the organs they stand for, as far as these can be told; the
/// others may mean anything. From memory of how contours are named.
const CODES: &[(&str, &str)] = &[
    ("on no optic opticnerves", "OpticNrv OpticChiasm OpticTract CN_III"),
    ("bs", "Brainstem Skull External"),
    ("hs", "Brainstem"),
    ("tc stem stam tronco tronc trunk", "Brainstem External"),
    ("te", "Brainstem Lobe_Temporal"),
    ("bulbo bulbus bulb", "Brainstem Eye Eyes MedullaOblongata"),
    ("mo medulla", "Brainstem MedullaOblongata SpinalCord SpinalCanal"),
    ("sc", "SpinalCord SpinalCanal"),
    ("oc", "OpticChiasm"),
    ("od os", "Eye OpticNrv"),
    ("ou", "Eyes"),
    ("hc", "Hippocampus Hippocampi"),
    ("par", "Parotid Parotids"),
    (
        "body corpo corps cuerpo skin haut huid hud pele piel peau cute skora kuze koza iho bor \
         cilt deri piele кожа шкіра δερμα 皮肤 皮膚 피부",
        "External Scalp Skin",
    ),
    ("contour contorno kontur", "External"),
    ("orbit orbita orbite", "Orbit Eye"),
    ("lente", "Lens"),
    ("cerebro wb normalbrain", "Brain Cerebrum"),
    ("tractus tract", "OpticTract"),
    ("tl", "Lobe_Temporal"),
    ("temporal", "Lobe_Temporal Bone_Temporal Musc_Temporal"),
    ("lobe", "Lobe_Frontal Lobe_Occipital Lobe_Parietal Lobe_Temporal"),
    (
        "ear oreille oido orecchio ouvido",
        "Ear_Internal Ear_Middle Ear_External Ear_Internals Ear_Externals Cochlea",
    ),
    ("jaw", "Bone_Mandible Maxilla"),
    ("brug", "Pons"),
    ("facial facciale", "CN_VII"),
    ("acoustic", "CN_VIII Cochlea Ear_Internal"),
    ("globus", "Eye Eyes"),
    ("v", "CN_V"),
    ("vii", "CN_VII"),
];

/// Whether a name may mean the outline of the patient, and no organ.
pub(super) fn means_outline(original: &str) -> bool {
    match possible(original) {
        PossibleOrgans::OneOf(roots, _) => {
            roots.contains("External")
                && roots.iter().all(|r| ["External", "Scalp", "Skin"].contains(r))
        }
        PossibleOrgans::Anything => false,
    }
}

/// What a name may mean that no rule decides.
fn possible(original: &str) -> PossibleOrgans {
    let words = organ_words(original);
    // A name that says a target is none of an organ, whatever else it says.
    if words.iter().any(|w| kind(w).is_some()) {
        return PossibleOrgans::OneOf(BTreeSet::new(), None);
    }
    let bare: Vec<String> =
        words.iter().filter(|w| words::plain_side(w).is_none()).cloned().collect();
    let unsided: Vec<String> = bare.iter().filter(|w| !words::may_be_side(w)).cloned().collect();
    for list in [&words, &bare, &unsided] {
        let joined = list.concat();
        let code = CODES.iter().find(|(codes, _)| holds(codes, &joined));
        let roots: BTreeSet<&'static str> = match code {
            Some((_, roots)) => roots.split_ascii_whitespace().collect(),
            None => root(list).map(|(root, _)| root).into_iter().collect(),
        };
        if !roots.is_empty() {
            return PossibleOrgans::OneOf(roots, other_side(&words));
        }
    }
    PossibleOrgans::Anything
}

/// The words of a name that may say an organ.
fn organ_words(original: &str) -> Vec<String> {
    let name = original.split('^').next().unwrap_or_default();
    let word = |piece| match piece {
        NamePiece::Word(w) if !holds(VERSIONS, &w) && !does(Does::Fill, &w) => Some(w),
        _ => None,
    };
    undecorated(name).pieces.into_iter().filter_map(word).collect()
}

/// The side that a name rules out by naming the other one in full.
fn other_side(words: &[String]) -> Option<&'static str> {
    let sides: BTreeSet<Side> = words.iter().filter_map(|w| words::plain_side(w)).collect();
    match sides.into_iter().collect::<Vec<_>>().as_slice() {
        [Side::Left] => Some("_R"),
        [Side::Right] => Some("_L"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::catalogue::{ANSWERED_ONLY, PAIRED, SINGLE};

    fn allows(name: &str, organ: &str) -> bool {
        possible(name).allows(organ)
    }

    #[test]
    fn codes_are_ambiguous_ones_and_mean_standard_names() {
        for (codes, roots) in CODES {
            for code in codes.split_ascii_whitespace() {
                assert!(holds(words::AMBIGUOUS, code), "{code}");
                assert_ne!(possible(code), PossibleOrgans::Anything, "{code}");
            }
            for root in roots.split_ascii_whitespace() {
                let known = [SINGLE, PAIRED, ANSWERED_ONLY].iter().any(|l| l.contains(&root));
                assert!(known, "{root}");
            }
        }
    }

    #[test]
    fn a_name_may_be_what_its_words_allow() {
        assert!(allows("Tronco", "Brainstem") && allows("Tronco (auto)", "Brainstem"));
        assert!(allows("Tronco*", "Brainstem") && !allows("Tronco", "Cochlea_L"));
        assert!(!allows("Cute", "Brainstem") && !allows("Pele_1", "OpticChiasm"));
        assert!(allows("Cristalino E", "Lens_L") && allows("Cristalino E", "Lens_R"));
        assert!(!allows("Cristalino E", "Brainstem"));
        assert!(allows("Rt hippo_220503", "Hippocampus_R"));
        assert!(!allows("Rt hippo_220503", "Hippocampus_L"), "the side is said");
        assert!(allows("Brain_1", "Brain") && !allows("Brain_1", "Brainstem"));
        assert!(allows("NO droit", "OpticNrv_R") && !allows("NO droit", "OpticNrv_L"));
        for unknown in ["Hjerneviser", "Неясное", "不明", "x1", ""] {
            assert_eq!(possible(unknown), PossibleOrgans::Anything, "{unknown}");
            assert!(allows(unknown, "Brainstem"));
        }
        assert_eq!(possible("Tronco").words(), "Brainstem External");
        assert_eq!(possible("Hjerneviser").words(), "any");
        assert!(!allows("PTV-old", "Brainstem"));
    }

    #[test]
    fn the_brain_with_or_without_targets_is_told_from_other_structures() {
        let is_it = |original: &str, standard: Option<&str>, basis| {
            let standard = standard.map(str::to_owned);
            let original = original.to_owned();
            NamedRoi { number: 1, original, standard, role: Role::Organ, basis }
                .is_brain_or_its_rest()
        };
        for open in ["Brain-GTV?", "Brain-GTV?_1", "brain_normal", "Normal Brain_160111", "Hirn?"] {
            assert!(is_it(open, None, NameBasis::Ambiguous), "{open}");
        }
        for other in ["Brainstem?", "normal", "x1", "Brain-GTV1", "Cerebro", "Tronco", "brain ring"]
        {
            assert!(!is_it(other, None, NameBasis::Ambiguous), "{other}");
        }
        assert!(is_it("H", Some("Brain"), NameBasis::User));
        assert!(is_it("Brain-PTV", Some("Brain-PTV"), NameBasis::Exact));
        assert!(!is_it("Brain", Some("Brainstem"), NameBasis::User), "what was decided counts");
        assert!(!is_it("Brain", None, NameBasis::User), "decided to have no name");
    }

    #[test]
    fn decided_names_and_targets_are_not_open() {
        let named = |role, basis| NamedRoi {
            number: 1,
            original: "Tronco".to_owned(),
            standard: None,
            role,
            basis,
        };
        let open = |role, basis| named(role, basis).possible_organs().is_some();
        assert!(open(Role::Organ, NameBasis::Ambiguous) && open(Role::Unknown, NameBasis::None));
        assert!(!open(Role::Unknown, NameBasis::User), "the user says that it has no name");
        for role in [Role::Ptv, Role::Helper, Role::Marker, Role::External, Role::Prv] {
            assert!(!open(role, NameBasis::Ambiguous), "{role:?}");
        }
    }
}
