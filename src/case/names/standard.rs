//! Whether a text is a standard name, for names that people type. A name is standard when the rules
//! make that very name of it (so with case and separators as they may be, and with `_PRV03`, `~`,
//! `Brain-GTV` and the like), when it names a target, or when it begins as TG-263 lets helpers
//! begin. A user's own name is none; it is marked where it is first written ([`OWN`]).

use super::catalogue::{ANSWERED_ONLY, PAIRED, SINGLE};
use super::recognise::{recognise, role_of};
use crate::alike::Existing;
use crate::{NameBasis, Role};

/// What stands before a name that is the user's own: `own:Vein_Bridging`.
pub const OWN: &str = "own:";

/// The name that is marked as the user's own.
#[must_use]
pub fn own_name(typed: &str) -> Option<&str> {
    let (mark, name) = typed.split_at_checked(OWN.len())?;
    mark.eq_ignore_ascii_case(OWN).then(|| name.trim()).filter(|name| !name.is_empty())
}

/// The standard name that a text is, as it is written; absent where it is none.
#[must_use]
pub fn standard_name(typed: &str) -> Option<String> {
    let read = recognise(typed);
    if read.basis == NameBasis::Exact && !typed.contains('^') {
        return read.standard;
    }
    if let Some(name) = ANSWERED_ONLY.iter().find(|name| name.eq_ignore_ascii_case(typed)) {
        return Some((*name).to_owned());
    }
    let role = role_of(typed);
    let target = role.is_target() || role == Role::TargetSum;
    let helper = typed.starts_with("z_")
        || typed.starts_with('_')
        || typed.strip_prefix('z').is_some_and(|rest| rest.starts_with(char::is_uppercase));
    (target || helper).then(|| typed.to_owned())
}

/// Whether a text is a standard name exactly as it is written.
#[must_use]
pub fn is_standard_name(name: &str) -> bool {
    standard_name(name).as_deref() == Some(name)
}

/// Every standard name of the catalogue with its role, without margins, parts and targets.
#[must_use]
pub fn standard_names() -> Vec<(String, Role)> {
    let single = SINGLE.iter().chain(ANSWERED_ONLY).map(|name| (*name).to_owned());
    let sides = |name: &&str| ["L", "R"].map(|side| format!("{name}_{side}"));
    let mut names: Vec<String> = single.chain(PAIRED.iter().flat_map(sides)).collect();
    names.extend(["Brain-GTV", "Brain-CTV", "Brain-PTV"].map(str::to_owned));
    names.sort();
    names.into_iter().map(|name| (name.clone(), role_of(&name))).collect()
}

/// The names most like a text that is no standard name, the best first: what the rules make of it,
/// and names of the catalogue and of `others`.
#[must_use]
pub fn nearest_standard(typed: &str, others: &[String]) -> Vec<String> {
    let all: Existing =
        standard_names().into_iter().map(|(name, _)| name).chain(others.to_vec()).collect();
    let mut near: Vec<String> = recognise(typed).standard.into_iter().collect();
    for name in all.nearest(typed, SHOWN) {
        if !near.iter().any(|n| n == name) {
            near.push(name.to_owned());
        }
    }
    near.truncate(SHOWN);
    near
}

/// So many names are offered.
const SHOWN: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn standard_names_are_taken_in_any_case_and_with_any_separators() {
        for (typed, name) in [
            ("Brainstem", "Brainstem"),
            ("brainstem", "Brainstem"),
            ("OPTICCHIASM", "OpticChiasm"),
            ("Optic Chiasm", "OpticChiasm"),
            ("Cochlea_L", "Cochlea_L"),
            ("L_Cochlea", "Cochlea_L"),
            ("Brainstem_PRV03", "Brainstem_PRV03"),
            ("BrainStem_PRV03", "Brainstem_PRV03"),
            ("OpticNrv_PRV03_L", "OpticNrv_PRV03_L"),
            ("Brain-GTV", "Brain-GTV"),
            ("GTV1", "GTV1"),
            ("PTVp2_2400", "PTVp2_2400"),
            ("zRing", "zRing"),
            ("skin", "Skin"),
            ("_helper", "_helper"),
        ] {
            assert_eq!(standard_name(typed).as_deref(), Some(name), "{typed}");
        }
    }

    #[test]
    fn every_name_of_the_catalogue_is_one() {
        let all = standard_names();
        assert!(all.len() > 150, "{}", all.len());
        for (name, _) in &all {
            assert_eq!(standard_name(name).as_ref(), Some(name));
        }
    }

    #[test]
    fn a_misspelt_name_is_none_and_has_its_nearest() {
        for (typed, near) in [
            ("Brainstm", "Brainstem"),
            ("Braistem", "Brainstem"),
            ("OpticChaism", "OpticChiasm"),
            ("Hippocampus", "Hippocampus_L"),
            ("Hirnstamm", "Brainstem"),
            ("Choclea_L", "Cochlea_L"),
        ] {
            assert_eq!(standard_name(typed), None, "{typed}");
            let list = nearest_standard(typed, &[]);
            assert!(list.iter().any(|n| n == near), "{typed}: {list:?}");
        }
        assert!(
            nearest_standard("Vein_Bridgng", &["Vein_Bridging".to_owned()])
                .contains(&"Vein_Bridging".to_owned())
        );
    }

    #[test]
    fn an_own_name_is_marked() {
        assert_eq!(own_name("own:Vein_Bridging"), Some("Vein_Bridging"));
        assert_eq!(own_name("Own: Vein"), Some("Vein"));
        assert_eq!((own_name("own:"), own_name("Brain"), own_name("ö")), (None, None, None));
    }
}
