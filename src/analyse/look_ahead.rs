//! Who a structure may turn out to be, one for each set of numbers that a name leads to: when it is
//! measured, these numbers are made as well, so that the decision costs no measurement. Any one may
//! turn out to be an aid; one whose name nobody has decided may be any organ that its words allow.
//! Computes nothing.

use std::collections::BTreeSet;

use super::part::Part;
use super::settings::Settings;
use tidydose_case::{NameBasis, NamedRoi, PossibleOrgans, Role};
use tidydose_metrics::organ_models;

/// The names that the structure may get and that numbers depend on.
pub(super) fn names(part: &Part<'_>, settings: &Settings) -> Vec<NamedRoi> {
    let Some(name) = part.name else { return Vec::new() };
    let aid = NamedRoi { standard: None, role: Role::Helper, ..name.clone() };
    let Some(may_be) = name.possible_organs() else { return vec![aid] };
    let named = |standard: &str| NamedRoi {
        standard: Some(standard.to_owned()),
        role: Role::Organ,
        basis: NameBasis::User,
        ..name.clone()
    };
    let mut list: BTreeSet<&str> = organ_models::own_numbers().collect();
    list.extend(settings.alpha_beta.iter().map(|(name, _)| name.as_str()));
    list.extend(settings.limits.iter().map(|limit| limit.organ.as_str()));
    let mut out: Vec<NamedRoi> =
        list.into_iter().filter(|standard| allows(&may_be, standard)).map(named).collect();
    // Any other organ.
    out.extend([named(OTHER), aid]);
    out
}

/// Stands for an organ of which nothing of its own is known.
const OTHER: &str = "Other";

/// Whether the name may turn out to be this one, on either side.
fn allows(may_be: &PossibleOrgans, standard: &str) -> bool {
    let sides = [standard.to_owned(), format!("{standard}_L"), format!("{standard}_R")];
    sides.iter().any(|name| may_be.allows(name))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Outlines;
    use crate::testing::{ball, case_of};

    fn of(case: &tidydose_case::Case) -> Vec<String> {
        let roi = ball(1, [0.0; 3], 5.0);
        let part = Part::of(&roi, case, Outlines::Smoothed, &mut Vec::new());
        let settings =
            Settings { alpha_beta: vec![("Pons".to_owned(), 2.5)], ..Settings::default() };
        names(&part, &settings).into_iter().filter_map(|n| n.standard).collect()
    }

    #[test]
    fn words_that_say_something_leave_few_names() {
        let mut case = case_of(&["Tronco"]);
        (case.names[0].role, case.names[0].basis) = (Role::Organ, NameBasis::Ambiguous);
        case.names[0].standard = None;
        assert_eq!(of(&case), ["Brainstem", OTHER]);
        case.names[0].original = "x1".to_owned();
        let any = of(&case);
        assert!(any.len() > 10 && any.iter().any(|n| n == "Pons"), "{any:?}");
        case.names[0].basis = NameBasis::User;
        assert!(of(&case).is_empty(), "a decision was made");
    }
}
