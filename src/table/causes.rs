//! Findings of one cause as one: 40 structures drawn between the slices of one image series are one
//! thing to look at, not 40. Each keeps its own row in table finding_details; what was decided about
//! some of them apart makes a row of its own.

use std::collections::{BTreeMap, BTreeSet};

use sha2::{Digest, Sha256};

use super::structure_names::{Name, StructureNames};
use super::user::states::{State, States};
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::finding::{Code, Finding, Severity, Subject};
use tidydose_rt::identity::Token;

/// So many members are told one by one in a message.
const TOLD: usize = 3;

/// A finding with what the tables say of it.
#[derive(Debug, Clone)]
pub struct Member<'f> {
    /// Its own stable name.
    pub(super) id: String,
    /// The finding.
    pub finding: &'f Finding,
    /// The structure it is about.
    pub(super) name: Option<Name<'f>>,
}

/// Findings of one cause that have one state.
#[derive(Debug, Clone)]
pub struct Cause<'f> {
    /// Stable name: that of its finding, or from the code and what all findings have in common.
    pub(super) id: String,
    /// What was decided.
    pub state: State,
    /// The findings, at least one.
    pub members: Vec<Member<'f>>,
}

/// All causes of a sorted list of findings, in the order of their first finding.
#[must_use]
pub fn causes<'f>(
    sorted: Vec<&'f Finding>,
    names: &StructureNames<'f>,
    states: &States,
) -> Vec<Cause<'f>> {
    let mut order: Vec<String> = Vec::new();
    let mut whole: BTreeMap<String, Vec<Member<'f>>> = BTreeMap::new();
    for (id, finding) in named(sorted) {
        let key = match finding.cause() {
            None => id.clone(),
            Some(subject) => stable_id(&Finding { subject, ..finding.clone() }),
        };
        let member = Member { id, finding, name: names.name(finding) };
        let members = whole.entry(key.clone()).or_default();
        if members.is_empty() {
            order.push(key);
        }
        members.push(member);
    }
    let mut out = Vec::new();
    for key in order {
        let members = whole.remove(&key).unwrap_or_default();
        out.extend(by_state(&key, members, states));
    }
    out
}

/// The members of one cause: those decided apart, each state for itself, and the rest.
fn by_state<'f>(id: &str, members: Vec<Member<'f>>, states: &States) -> Vec<Cause<'f>> {
    let plans: BTreeSet<_> = members.iter().map(|m| &m.finding.subject.case).collect();
    let several = plans.len() > 1;
    let mut rest = Vec::new();
    let mut apart: BTreeMap<State, Vec<Member<'f>>> = BTreeMap::new();
    for member in members {
        let own = states.by_id(&member.id).filter(|_| member.id != id);
        let part = || states.of_part(member.finding, member.name, several);
        match own.or_else(part) {
            Some(state) => apart.entry(state).or_default().push(member),
            None => rest.push(member),
        }
    }
    let mut out = Vec::new();
    if let Some(first) = rest.first() {
        let state = states.by_id(id).or_else(|| states.of_kind(first.finding));
        let state = state.unwrap_or(State::Open);
        out.push(Cause { id: id.to_owned(), state, members: rest });
    }
    out.extend(apart.into_iter().map(|(state, members)| Cause {
        id: format!("{id}-{}", state.word()),
        state,
        members,
    }));
    out
}

impl<'f> Cause<'f> {
    /// Its first finding, which has what all have in common.
    fn first(&self) -> Option<&'f Finding> {
        self.members.first().map(|m| m.finding)
    }

    /// The finding that stands for all: its code is that of all.
    #[must_use]
    pub fn code(&self) -> Option<Code> {
        self.first().map(|f| f.code)
    }

    /// How much it weighs.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.first().map_or(Severity::Note, Finding::severity)
    }

    /// Whether it is a part of a cause about which somebody decided apart, be it that it stays open.
    pub(super) fn stands_apart(&self) -> bool {
        self.id.strip_suffix(self.state.word()).is_some_and(|id| id.ends_with('-'))
    }

    /// Whether somebody has to look at it who has not done so.
    #[must_use]
    pub fn waits(&self) -> bool {
        self.state == State::Open && self.severity() == Severity::Check
    }

    /// A part of the subject that all findings have in common; absent where they differ.
    pub(super) fn shared<'s, T: PartialEq>(
        &'s self,
        of: impl Fn(&'f Subject) -> Option<T>,
    ) -> Option<T> {
        let mut values = self.members.iter().map(|m| of(&m.finding.subject));
        let first = values.next()??;
        values.all(|value| value.as_ref() == Some(&first)).then_some(first)
    }

    /// The names of its structures, each once, in their order.
    pub(super) fn structures(&self) -> String {
        let mut seen = BTreeSet::new();
        let names = self.members.iter().filter_map(|m| m.name.map(|n| n.shown));
        names.filter(|name| seen.insert(*name)).collect::<Vec<_>>().join("; ")
    }

    /// What was seen, in one line: the words of its finding, or how many things there are and what
    /// was seen of the first ones.
    pub(super) fn message(&self) -> String {
        let mut seen = BTreeSet::new();
        let texts = self.members.iter().map(|m| m.finding.message.as_str());
        let texts: Vec<&str> = texts.filter(|text| seen.insert(*text)).collect();
        let things = self.things();
        match (texts.as_slice(), &things) {
            ([only], None) => (*only).to_owned(),
            (several, None) => several.join("; "),
            // The plan as a whole, said once for each dose that may be its own.
            ([only], Some(_)) if self.code() == Some(Code::DoseSeveral) => (*only).to_owned(),
            ([only], Some(things)) => format!("{things}, each: {only}"),
            (_, Some(things)) => format!("{things}; {}", self.told()),
        }
    }

    /// How many things of which kind it is about; absent for one thing.
    fn things(&self) -> Option<String> {
        let count = |of: fn(&Subject) -> Option<&Token>| {
            let all = self.members.iter().map(|m| of(&m.finding.subject));
            all.collect::<Option<BTreeSet<_>>>().map_or(0, |set| set.len())
        };
        let set = |s: &Subject| s.object.clone().or(s.case.clone());
        let structures: BTreeSet<_> = self
            .members
            .iter()
            .filter_map(|m| Some((set(&m.finding.subject), m.finding.subject.roi_number?)))
            .collect();
        let kinds = [
            (structures.len(), "structures"),
            (count(|s| s.case.as_ref()), "plans"),
            (count(|s| s.object.as_ref()), "objects"),
            (count(|s| s.file.as_ref()), "files"),
        ];
        kinds.into_iter().find(|(n, _)| *n > 1).map(|(n, what)| format!("{n} {what}"))
    }

    /// The first ones with what was seen of each.
    fn told(&self) -> String {
        let about = |m: &Member<'_>| -> String {
            let subject = &m.finding.subject;
            let token = subject.case.as_ref().or(subject.object.as_ref()).or(subject.file.as_ref());
            m.name.map_or_else(|| token.map_or("", Token::as_str), |n| n.shown).to_owned()
        };
        let mut told: Vec<String> = self
            .members
            .iter()
            .take(TOLD)
            .map(|m| format!("{}: {}", about(m), m.finding.message))
            .collect();
        let more = self.members.len().saturating_sub(TOLD);
        if more > 0 {
            told.push(format!("and {more} more in table finding_details"));
        }
        told.join("; ")
    }
}

/// Each finding of a sorted list with its stable name; one that has code and subject in common with
/// an earlier one gets a number behind it.
pub(super) fn named(sorted: Vec<&Finding>) -> Vec<(String, &Finding)> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    let name = |finding| {
        let base = stable_id(finding);
        let times = seen.entry(base.clone()).or_insert(0);
        *times += 1;
        (if *times == 1 { base } else { format!("{base}-{times}") }, finding)
    };
    sorted.into_iter().map(name).collect()
}

/// A name of the finding that does not change with its message, with other findings or with the
/// name of the file: a letter, since a spreadsheet takes digits and `e` for a number, and the start
/// of SHA-256 over code and subject. The file counts only where nothing else says what the finding
/// is about.
fn stable_id(finding: &Finding) -> String {
    let Subject { patient, case, file, object, roi_number, attribute } = &finding.subject;
    let mut hash = Sha256::new();
    hash.update(finding.code.definition().id);
    let file = file.as_ref().filter(|_| case.is_none() && object.is_none());
    for part in [patient.as_ref(), case.as_ref(), file, object.as_ref()] {
        hash.update([0]);
        hash.update(part.map_or("", Token::as_str));
    }
    hash.update([0]);
    hash.update(roi_number.map_or(String::new(), |n| n.to_string()));
    hash.update([0]);
    hash.update(attribute.as_deref().unwrap_or(""));
    let mut id = hexadecimal(&hash.finalize());
    id.truncate(DIGITS);
    format!("{LETTER}{id}")
}

/// How many digits a name has behind its letter.
const DIGITS: usize = 12;
const LETTER: char = 'f';

/// The name that was typed, as it stands in the table; earlier versions wrote it without its letter.
/// Absent where it is no name of a finding.
pub(super) fn typed_id(typed: &str) -> Option<String> {
    let lower = typed.trim().to_ascii_lowercase();
    let (base, behind) =
        lower.split_once('-').map_or((lower.as_str(), None), |(b, n)| (b, Some(n)));
    let digits = base.strip_prefix(LETTER).filter(|d| d.len() == DIGITS).unwrap_or(base);
    let right = digits.len() == DIGITS && digits.bytes().all(|b| b.is_ascii_hexdigit());
    // Behind it stands which of several findings it is, or the state of those decided apart.
    let counts = |n: &str| n.parse::<usize>().is_ok_and(|n| n > 1) || n.parse::<State>().is_ok();
    let behind_is_right = behind.is_none_or(counts);
    let behind = behind.map_or(String::new(), |n| format!("-{n}"));
    (right && behind_is_right).then(|| format!("{LETTER}{digits}{behind}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_read_with_and_without_its_letter() {
        for (typed, name) in [
            ("f6e7883916b1e", Some("f6e7883916b1e")),
            ("6e7883916b1e", Some("f6e7883916b1e")),
            (" F6E7883916B1E-2 ", Some("f6e7883916b1e-2")),
            ("f6e7883916b1e-accepted", Some("f6e7883916b1e-accepted")),
            ("ffffffffffff", Some("fffffffffffff")),
            ("1,00811E+11", None),
            ("100811", None),
            ("6e7883916b1e-1", None),
            ("", None),
        ] {
            assert_eq!(typed_id(typed).as_deref(), name, "{typed}");
        }
        let finding = Finding::new(Code::PlanesFew, Subject::default(), "");
        let id = stable_id(&finding);
        assert!(id.starts_with(|c: char| c.is_ascii_alphabetic()), "{id}");
        assert_eq!(typed_id(&id), Some(id));
    }

    #[test]
    fn the_name_of_a_finding_depends_on_code_and_subject_only() {
        let subject = Subject { roi_number: Some(3), ..Subject::default() };
        let a = Finding::new(Code::PlanesFew, subject.clone(), "2 planes");
        let b = Finding::new(Code::PlanesFew, subject.clone(), "1 plane");
        assert_eq!(stable_id(&a), stable_id(&b));
        assert_ne!(stable_id(&a), stable_id(&Finding::new(Code::PlaneGap, subject, "2 planes")));
        let other = Subject { roi_number: Some(4), ..Subject::default() };
        assert_ne!(stable_id(&a), stable_id(&Finding::new(Code::PlanesFew, other, "2 planes")));
    }

    fn finding(code: Code, set: &str, roi_number: i64, message: &str) -> Finding {
        let subject = Subject {
            patient: Some(Token::new("p")),
            case: Some(Token::new(format!("plan of {set}"))),
            object: Some(Token::new(set)),
            roi_number: Some(roi_number),
            ..Subject::default()
        };
        Finding::new(code, subject, message)
    }

    fn of<'f>(list: &'f [Finding], states: &States) -> Vec<Cause<'f>> {
        let mut sorted: Vec<&Finding> = list.iter().collect();
        sorted.sort();
        causes(sorted, &StructureNames::default(), states)
    }

    #[test]
    fn one_cause_is_one_row_however_many_structures_it_reaches() {
        let mut list: Vec<Finding> = (0..40)
            .map(|n| finding(Code::PlaneBetweenImages, "set", n, &format!("{n} of 50 planes")))
            .collect();
        list.push(finding(Code::PlaneBetweenImages, "other", 1, "3 of 5 planes"));
        list.push(finding(Code::VolumeImplausible, "set", 1, "small"));
        list.push(finding(Code::VolumeImplausible, "set", 2, "large"));
        let rows = of(&list, &States::default());
        assert_eq!(rows.len(), 4, "{rows:#?}");
        let large = rows.iter().find(|r| r.members.len() == 40).unwrap();
        assert!(large.message().starts_with("40 structures; plan of set: 0 of 50 planes; "));
        assert!(large.message().ends_with("and 37 more in table finding_details"));
        assert!(large.waits());
        assert_eq!(large.shared(|s| s.object.as_ref()).map(Token::as_str), Some("set"));
        assert_eq!(large.shared(|s| s.roi_number), None);
        // The name of a cause does not depend on how many structures it reaches.
        let fewer = of(&list[..3], &States::default());
        assert_eq!(fewer[0].id, large.id);
        assert!(rows.iter().all(|r| r.members.len() == 40 || r.members.len() == 1));
    }

    #[test]
    fn what_was_decided_apart_stands_apart() {
        let list: Vec<Finding> =
            (0..4).map(|n| finding(Code::PlanesFew, "set", n, "2 planes")).collect();
        let whole = of(&list, &States::default());
        assert_eq!(whole[0].message(), "4 structures, each: 2 planes");
        let mut states = States::default();
        // A decision of an earlier version, about one structure by the name of its finding.
        states.decide(stable_id(&list[2]), State::Accepted);
        let rows = of(&list, &states);
        let told: Vec<_> = rows.iter().map(|r| (r.state, r.members.len())).collect();
        assert_eq!(told, [(State::Open, 3), (State::Accepted, 1)]);
        assert_eq!(rows[0].id, whole[0].id);
        assert_eq!(rows[1].id, format!("{}-accepted", whole[0].id));
        states.decide(whole[0].id.clone(), State::Waived);
        let rows = of(&list, &states);
        assert_eq!(rows.iter().map(|r| r.state).max(), Some(State::Waived));
        assert!(rows.iter().all(|r| !r.waits()));
    }
}
