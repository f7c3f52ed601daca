//! Who each structure is: standard (TG-263) name and role, from the user's decision, else from
//! the name, with the interpreted type of the file as a check. An organ is named only when one
//! organ and, for a paired one, one side are certain.

mod beside;
mod catalogue;
mod clinic;
mod company;
mod cut;
mod decoration;
mod meaning;
mod nerve;
mod normalise;
mod open_name;
mod organ;
mod plausible;
mod recognise;
mod scripts;
mod standard;
mod target;
mod vocabulary;
mod words;

#[cfg(test)]
mod labels;

pub use clinic::{BrainRegion, ClinicalLabel, clinical_label, side_of_target};
pub use company::Company;
pub use decoration::{Decoration, decoration};
pub use meaning::meaning;
pub use open_name::{OpenName, PossibleOrgans};
pub use plausible::{VolumeWindow, has_size_of, volume_window};
pub use recognise::{Recognition, recognise, recognise_among};
pub use standard::{
    OWN, is_standard_name, nearest_standard, own_name, standard_name, standard_names,
};
pub use vocabulary::Language;

use std::collections::{BTreeMap, BTreeSet};

use super::{Case, Decisions, NameBasis, NameDecision, NamedRoi, Role};
use tidydose_rt::RoiHeader;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;

/// Fills the names of a case and returns what is questionable about them.
pub(super) fn name_case(case: &mut Case, decisions: &Decisions) -> Vec<Finding> {
    let rois = case.structure_set.as_ref().map(|s| s.rois.clone()).unwrap_or_default();
    case.names.clear();
    let mut findings = Vec::new();
    let company = Company::of(rois.iter().map(|r| r.name.as_str()));
    for roi in &rois {
        let decision = decisions.name(&case.id, roi.number, &roi.name);
        let (named, contradiction) = name_roi(roi, decision, company);
        findings.extend(contradiction.map(|d| Finding::new(d.0, about(case, &named), d.1)));
        case.names.push(named);
    }
    case.names.sort_by_key(|n| n.number);
    findings.extend(named_already(case));
    findings.extend(earlier_versions(case, &rois, company));
    findings.extend(repeated(case));
    findings
}

/// Structures that are named by the company of the others only (`Tronco`, a letter for a side),
/// although another structure is that organ by its own name: they are left open.
fn named_already(case: &mut Case) -> Vec<Finding> {
    let by_itself = |named: &NamedRoi| {
        named.basis != NameBasis::Rule || recognise(&named.original).standard == named.standard
    };
    let certain: BTreeSet<String> =
        case.names.iter().filter(|n| by_itself(n)).filter_map(|n| n.standard.clone()).collect();
    let mut opened = Vec::new();
    for named in &mut case.names {
        if !by_itself(named) && named.standard.as_ref().is_some_and(|s| certain.contains(s)) {
            (named.standard, named.role) = (None, Role::Unknown);
            named.basis = NameBasis::Ambiguous;
            opened.push(named.clone());
        }
    }
    let message = "the name can mean an organ that another structure of the plan is";
    let finding = |n| Finding::new(Code::NameAmbiguous, about(case, n), message.to_owned());
    opened.iter().map(finding).collect()
}

/// Structures that their names call earlier versions (`Hippocampus_L old`). Where another structure
/// of the case is the later one they are aids; where there is none, a known organ is that organ,
/// which is said, and anything else is asked about.
fn earlier_versions(case: &mut Case, rois: &[RoiHeader], company: Company) -> Vec<Finding> {
    let earlier = |n: &NamedRoi| recognise::earlier_version(&n.original, company);
    let mut findings = Vec::new();
    for index in 0..case.names.len() {
        let Some(named) = case.names.get(index).cloned() else { continue };
        let Some(version) = earlier(&named).filter(|_| named.basis == NameBasis::Rule) else {
            continue;
        };
        let later = case.names.iter().any(|other| {
            other.number != named.number && earlier(other).is_none() && version.is_version_of(other)
        });
        let (role, basis) = match (later, named.role) {
            (true, _) => (Role::Helper, NameBasis::Rule),
            (false, Role::Helper) => (stated_role(rois, named.number), NameBasis::Ambiguous),
            (false, role) => (role, NameBasis::Rule),
        };
        let standard = named.standard.clone().filter(|_| !later);
        let changed = NamedRoi { standard, role, basis, ..named };
        if !later {
            let message = format!(
                "the name calls it an earlier version, but no other structure of the plan is {}{}",
                version.words(),
                if changed.standard.is_some() { "; it is taken for it" } else { "" }
            );
            findings.push(Finding::new(Code::NameAmbiguous, about(case, &changed), message));
        }
        if let Some(named) = case.names.get_mut(index) {
            *named = changed;
        }
    }
    findings
}

/// Organ where the file's interpreted type says so, else unknown.
fn stated_role(rois: &[RoiHeader], number: i64) -> Role {
    let stated = rois.iter().find(|r| r.number == number);
    let stated = stated.and_then(|r| r.interpreted_type.as_deref()).unwrap_or_default();
    let organ = role_of_type(&stated.trim().to_ascii_uppercase()) == Some(Role::Organ);
    if organ { Role::Organ } else { Role::Unknown }
}

impl Case {
    /// Who a structure is; absent for a ROI Number that the structure set does not list.
    #[must_use]
    pub fn name(&self, roi_number: i64) -> Option<&NamedRoi> {
        self.names.iter().find(|n| n.number == roi_number)
    }
}

fn about(case: &Case, roi: &NamedRoi) -> Subject {
    let set = case.structure_set.as_ref();
    Subject {
        patient: case.patient.clone(),
        case: Some(case.id.clone()),
        file: set.map(|s| s.origin.file.clone()),
        object: set.map(|s| s.origin.object.clone()),
        roi_number: Some(roi.number),
        ..Subject::default()
    }
}

type UncertaintyTerm = (Code, String);

/// Name and role of one structure, and what is questionable about them.
fn name_roi(
    roi: &RoiHeader,
    decision: Option<&NameDecision>,
    company: Company,
) -> (NamedRoi, Option<UncertaintyTerm>) {
    let read = recognise_among(&roi.name, company);
    let named = |standard, role, basis| NamedRoi {
        number: roi.number,
        original: roi.name.clone(),
        standard,
        role,
        basis,
    };
    if let Some(decision) = decision {
        let implied = decision.standard.as_deref().map(recognise::role_of);
        let role = decision.role.or(implied).unwrap_or(read.role);
        return (named(decision.standard.clone(), role, NameBasis::User), None);
    }
    let stated = roi.interpreted_type.as_deref().unwrap_or_default().trim().to_ascii_uppercase();
    let typed = role_of_type(&stated);
    let (read, contradicts) = match outline(roi, &read, typed) {
        Some(outline) => (outline, false),
        None => weigh(read, typed),
    };
    let contradiction = if contradicts {
        let message = format!(
            "RT ROI Interpreted Type is {stated}, the name says {}",
            recognise_among(&roi.name, company).role.word()
        );
        Some((Code::RoleContradicts, message))
    } else if read.basis == NameBasis::Ambiguous {
        let message = "the name can mean several structures or lacks a side that is certain";
        Some((Code::NameAmbiguous, message.to_owned()))
    } else if read.standard.is_none() && read.role == Role::Unknown {
        let message = if roi.name.trim().is_empty() {
            "ROI Name is empty".to_owned()
        } else {
            "no rule and no synonym fits the name".to_owned()
        };
        Some((Code::NameUnmapped, message))
    } else {
        None
    };
    (named(read.standard, read.role, read.basis), contradiction)
}

/// Role that an RT ROI Interpreted Type (3006,00A4) stands for, where it stands for one.
fn role_of_type(interpreted_type: &str) -> Option<Role> {
    match interpreted_type {
        "GTV" => Some(Role::Gtv),
        "CTV" => Some(Role::Ctv),
        "PTV" => Some(Role::Ptv),
        "EXTERNAL" => Some(Role::External),
        "ORGAN" | "OAR" => Some(Role::Organ),
        "MARKER" | "ISOCENTER" | "REGISTRATION" => Some(Role::Marker),
        "TREATED_VOLUME" | "IRRAD_VOLUME" | "BOLUS" | "SUPPORT" | "FIXATION" | "DOSE_REGION"
        | "CONTROL" | "DOSE_MEASUREMENT" => Some(Role::Helper),
        _ => None,
    }
}

/// The outline of the patient: a word that can mean it (`Skin`, `Corpo`) on a structure of that
/// type.
fn outline(roi: &RoiHeader, read: &Recognition, typed: Option<Role>) -> Option<Recognition> {
    let open = read.standard.is_none() && read.role == Role::Unknown;
    let word = open_name::means_outline(&roi.name) && !roi.name.contains('?');
    let standard = Some("External".to_owned());
    (open && word && typed == Some(Role::External)).then_some(Recognition {
        standard,
        role: Role::External,
        basis: NameBasis::Rule,
    })
}

/// Holds name and type against each other: the type fills what the name leaves open; where they
/// contradict, the name is followed, but an organ's name on a target is no organ, since lesions
/// are named by their place.
fn weigh(read: Recognition, typed: Option<Role>) -> (Recognition, bool) {
    let Some(typed) = typed else { return (read, false) };
    let with_role = |role| Recognition { role, ..read.clone() };
    match (read.role, typed) {
        (Role::Unknown, _) => (with_role(typed), false),
        (Role::Target, Role::Gtv | Role::Ctv | Role::Ptv) => (with_role(typed), false),
        (name, typed) if name == typed => (read, false),
        (Role::Prv, Role::Organ) | (Role::Helper | Role::Marker | Role::TargetSum, _) => {
            (read, false)
        }
        (Role::Organ | Role::Prv | Role::External, target) if target.is_target() => {
            let basis = NameBasis::Ambiguous;
            (Recognition { standard: None, role: Role::Unknown, basis }, true)
        }
        (name, typed) => {
            let doubtful = name.is_target() || typed == Role::External || name == Role::External;
            (read, doubtful)
        }
    }
}

/// Organs that two structures of the case claim to be.
fn repeated(case: &Case) -> Vec<Finding> {
    let mut by_name: BTreeMap<&str, Vec<&NamedRoi>> = BTreeMap::new();
    for roi in case.names.iter().filter(|n| !n.role.is_target()) {
        if let Some(standard) = &roi.standard {
            by_name.entry(standard).or_default().push(roi);
        }
    }
    let several = by_name.into_iter().filter(|(_, rois)| rois.len() > 1);
    several
        .flat_map(|(standard, rois)| {
            let numbers: Vec<String> = rois.iter().map(|r| r.number.to_string()).collect();
            let message = format!("ROI Numbers {} are all {standard}", numbers.join(", "));
            let finding = move |roi: &&NamedRoi| {
                Finding::new(Code::StandardNameRepeated, about(case, roi), message.clone())
            };
            rois.iter().map(finding).collect::<Vec<_>>()
        })
        .collect()
}

/// One row of the name table that is offered to the user.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// ROI Name as in the files.
    pub original: String,
    /// How many structures carry it; a structure set that several cases share counts once.
    pub seen: usize,
    /// Standard name, where all structures of this name got the same.
    pub standard: Option<String>,
    /// Role, where all structures of this name got the same, else unknown.
    pub role: Role,
    /// How the standard name came about; ambiguous where the structures differ.
    pub basis: NameBasis,
    /// Whether name and role are the decision of another study, of which nothing is followed until
    /// it is decided here.
    pub elsewhere: bool,
}

/// The word for what another study decided.
pub const ELSEWHERE: &str = "elsewhere";

impl Proposal {
    /// Takes the decision of another study where nothing here decides the name. It stays a
    /// proposal: two centres can mean different things by one word.
    pub fn take_from_elsewhere(&mut self, decision: &NameDecision) {
        if !matches!(self.basis, NameBasis::Ambiguous | NameBasis::None) {
            return;
        }
        let implied = decision.standard.as_deref().map(recognise::role_of);
        self.role = decision.role.or(implied).unwrap_or(self.role);
        self.standard.clone_from(&decision.standard);
        self.elsewhere = true;
    }
}

/// One row per distinct ROI Name of identified cases, in order of the name.
#[must_use]
pub fn proposals(cases: &[Case]) -> Vec<Proposal> {
    let mut rows: BTreeMap<&str, Proposal> = BTreeMap::new();
    let mut counted: BTreeSet<(&Token, i64)> = BTreeSet::new();
    for case in cases {
        let set = case.structure_set.as_ref().map_or(&case.id, |s| &s.origin.object);
        for roi in &case.names {
            let row = rows.entry(&roi.original).or_insert_with(|| Proposal {
                original: roi.original.clone(),
                seen: 0,
                standard: roi.standard.clone(),
                role: roi.role,
                basis: roi.basis,
                elsewhere: false,
            });
            row.seen += usize::from(counted.insert((set, roi.number)));
            if row.role != roi.role {
                row.role = Role::Unknown;
            }
            if row.standard != roi.standard || row.basis != roi.basis {
                row.standard = None;
                row.basis = NameBasis::Ambiguous;
            }
        }
    }
    rows.into_values().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixtures::{dose, plan, roi, structure_set, token};
    use crate::{identify, link};
    use tidydose_rt::Inventory;

    fn read(name: &str, interpreted_type: &str) -> (NamedRoi, Option<UncertaintyTerm>) {
        let roi = RoiHeader { interpreted_type: Some(interpreted_type.into()), ..roi(1, name) };
        name_roi(&roi, None, Company::default())
    }

    #[test]
    fn the_type_fills_what_the_name_leaves_open() {
        assert_eq!(read("frontal 2", "GTV").0.role, Role::Gtv);
        assert_eq!(read("Met 2", "PTV").0.role, Role::Ptv);
        assert_eq!(read("Body", "EXTERNAL").0.role, Role::External);
        assert_eq!(read("Body", "EXTERNAL").0.standard.as_deref(), Some("External"));
        assert_eq!(read("Skóra_1", "EXTERNAL").0.standard.as_deref(), Some("External"));
        assert_eq!(read("Skin", "ORGAN").0.standard, None, "the skin itself");
        assert_eq!(read("Struktur 7", "EXTERNAL").0.standard, None);
        assert_eq!(read("zPTV", "PTV").0.role, Role::Helper);
        assert_eq!(read("frontal 2", "").1.unwrap().0, Code::NameUnmapped);
        assert_eq!(read("BS", "").1.unwrap().0, Code::NameAmbiguous);
    }

    #[test]
    fn a_target_with_the_name_of_an_organ_is_no_organ() {
        let (named, contradiction) = read("Cerebellum", "GTV");
        assert_eq!((named.standard, named.role), (None, Role::Unknown));
        assert_eq!(contradiction.unwrap().0, Code::RoleContradicts);
        let (named, contradiction) = read("PTV1", "ORGAN");
        assert_eq!((named.role, contradiction.unwrap().0), (Role::Ptv, Code::RoleContradicts));
        assert_eq!(read("Brainstem", "ORGAN").1, None);
        assert_eq!(read("Brainstem", "AVOIDANCE").1, None);
    }

    fn named(decisions: &Decisions) -> (Vec<Case>, Vec<Finding>) {
        let mut set = structure_set("s");
        set.rois.extend([roi(3, "brain stem"), roi(4, "BS")]);
        let (mut cases, _) = link(&Inventory {
            plans: vec![plan("p", "s"), plan("q", "s")],
            doses: vec![dose("d", "p"), dose("e", "q")],
            structure_sets: vec![set],
            ..Inventory::default()
        });
        let findings = identify(&mut cases, decisions);
        (cases, findings)
    }

    /// One case with structures of these names, and what was found.
    fn identified(names: &[&str]) -> (Vec<Case>, Vec<Finding>) {
        let mut set = structure_set("s");
        set.rois = (1..).zip(names).map(|(number, name)| roi(number, name)).collect();
        let (mut cases, _) = link(&Inventory {
            plans: vec![plan("p", "s")],
            doses: vec![dose("d", "p")],
            structure_sets: vec![set],
            ..Inventory::default()
        });
        let findings = identify(&mut cases, &Decisions::default());
        (cases, findings)
    }

    /// Role and basis of each structure of a case with these names.
    fn roles_of(names: &[&str]) -> (Vec<(Role, NameBasis)>, usize) {
        let (cases, findings) = identified(names);
        let asked = findings.iter().filter(|f| f.code == Code::NameAmbiguous).count();
        (cases[0].names.iter().map(|n| (n.role, n.basis)).collect(), asked)
    }

    #[test]
    fn an_earlier_version_without_a_later_one_is_asked_about() {
        let helper = (Role::Helper, NameBasis::Rule);
        let open = (Role::Unknown, NameBasis::Ambiguous);
        let organ = (Role::Organ, NameBasis::Rule);
        for (names, own, asked) in [
            (&["Brain old", "GTV1"][..], organ, 1),
            (&["Brain old", "Brain"], helper, 0),
            (&["Rt hippo old", "Hippocampus_L"], organ, 1),
            (&["Rt hippo old", "Rt hippo copy"], organ, 2),
            (&["Rt hippo old", "Hippocampus_R"], helper, 0),
            (&["External old", "Brain"], (Role::External, NameBasis::Rule), 1),
            (&["PTV-old", "Brain"], open, 1),
            (&["PTV-old", "PTV1"], helper, 0),
            (&["Soczewka P old", "Brain"], organ, 1),
            (&["Soczewka P old", "Soczewka P"], helper, 0),
            (&["ring old", "Brain"], helper, 0),
            (&["Ring", "Brain"], helper, 0),
        ] {
            let (roles, found) = roles_of(names);
            assert_eq!((roles[0], found), (own, asked), "{names:?}");
        }
    }

    /// Standard names of the structures of a case, in order.
    fn names_of(names: &[&str]) -> Vec<Option<String>> {
        let (cases, _) = identified(names);
        cases[0].names.iter().map(|n| n.standard.clone()).collect()
    }

    #[test]
    fn the_language_of_the_set_reads_what_a_name_alone_leaves_open() {
        for (names, first) in [
            (&["Tronco", "Occhio sx", "Ippocampo dx"][..], Some("Brainstem")),
            (&["Tronco", "Lens L", "Eye R"], None),
            (&["Tronco", "Occhio sx", "Ippocampo dx", "Brainstem"], None),
            (&["Cérebro", "Olho E", "Cristalino D"], Some("Brain")),
            (&["NO droit", "Cochlée G", "Cristallin gauche"], Some("OpticNrv_R")),
            (&["Cochlea P", "Oko lewe", "Pień mózgu", "Soczewka L"], Some("Cochlea_R")),
            (&["Cochlea E", "Olho E", "Cristalino D"], Some("Cochlea_L")),
            (&["Cochlea V", "Öga H", "Synnerv V"], Some("Cochlea_L")),
            (&["Cochlea V", "Eye L", "Lens R"], None),
            (&["Тронко", "Глаз левый", "Хрусталик прав"], None),
        ] {
            let found = names_of(names);
            assert_eq!(found[0].as_deref(), first, "{names:?}");
        }
    }

    #[test]
    fn two_structures_of_one_standard_name_are_said() {
        let (_, findings) = named(&Decisions::default());
        let repeated = findings.iter().filter(|f| f.code == Code::StandardNameRepeated);
        assert_eq!(repeated.count(), 4, "two structures in two cases");
    }

    #[test]
    fn the_users_decision_beats_the_rules_and_the_case_the_name() {
        let mut decisions = Decisions::default();
        let decide = |text: &str| NameDecision { standard: Some(text.into()), role: None };
        decisions.names.insert("BS".into(), decide("Brainstem_PRV03"));
        decisions.structures.insert((token("q"), 4), NameDecision::default());
        let (cases, findings) = named(&decisions);
        let of = |case: usize| cases[case].names.iter().find(|n| n.number == 4).unwrap();
        assert_eq!((of(0).basis, of(0).role), (NameBasis::User, Role::Prv));
        assert_eq!((of(1).basis, &of(1).standard), (NameBasis::User, &None));
        assert!(!findings.iter().any(|f| f.code == Code::NameAmbiguous));
    }

    #[test]
    fn proposals_count_a_shared_structure_set_once() {
        let (cases, _) = named(&Decisions::default());
        let rows = proposals(&cases);
        let names: Vec<_> = rows.iter().map(|r| r.original.as_str()).collect();
        assert_eq!(names, ["BS", "Brainstem", "GTV1", "brain stem"]);
        assert!(rows.iter().all(|r| r.seen == 1));
        assert_eq!(rows[3].standard.as_deref(), Some("Brainstem"));
        assert_eq!((rows[0].basis, rows[1].basis), (NameBasis::Ambiguous, NameBasis::Exact));
    }
}
