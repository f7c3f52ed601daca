//! What was decided about findings: about one by its name, or about all of a kind in a scope (one
//! structure, one plan, the whole archive). The narrower decision goes before the wider one.

use std::collections::BTreeMap;

use strum::{EnumIter, EnumString, IntoStaticStr, VariantNames};

use crate::structure_names::Name;
use tidydose_rt::finding::{Code, Finding};
use tidydose_rt::identity::Token;

/// What a person made of a finding.
#[derive(EnumIter, EnumString, IntoStaticStr, VariantNames)]
#[strum(serialize_all = "snake_case", ascii_case_insensitive)]
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Nobody has decided.
    Open,
    /// Looked at; the numbers stand as they are.
    Accepted,
    /// Put right at the source or in a decision file.
    Corrected,
    /// Not to be looked at for this study.
    Waived,
}

impl State {
    /// What it means, for a page.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Open => "nobody has decided",
            Self::Accepted => "looked at; the numbers stand as they are",
            Self::Corrected => "put right at the source or in another file",
            Self::Waived => "not to be looked at for this study",
        }
    }

    /// The word used in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.into()
    }
}

/// The findings of a code that one decision holds for; what is absent is not looked at.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Scope {
    pub(super) code: Code,
    /// Only in this plan.
    pub(super) plan: Option<Token>,
    /// Only this structure of the plan.
    pub(super) roi_number: Option<i64>,
    /// Only structures of this name, standard or original.
    pub(super) structure: Option<String>,
}

impl Scope {
    /// Whether it names a structure.
    fn is_of_structure(&self) -> bool {
        self.roi_number.is_some() || self.structure.is_some()
    }

    fn holds(&self, finding: &Finding, name: Option<Name<'_>>) -> bool {
        let about = &finding.subject;
        let named = |wanted: &String| name.is_some_and(|n| n.is(wanted));
        self.code == finding.code
            && self.plan.as_ref().is_none_or(|plan| about.case.as_ref() == Some(plan))
            && self.roi_number.is_none_or(|number| about.roi_number == Some(number))
            && self.structure.as_ref().is_none_or(named)
    }

    /// How narrow it is; the largest goes first.
    fn narrowness(&self) -> u8 {
        4 * u8::from(self.roi_number.is_some())
            + 2 * u8::from(self.structure.is_some())
            + u8::from(self.plan.is_some())
    }
}

/// The decided states of findings; what nobody decided about is open.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct States {
    by_id: BTreeMap<String, State>,
    /// With the row of the file, for messages.
    scopes: BTreeMap<Scope, (State, usize)>,
}

impl States {
    /// Decides about one finding by its name; the state it had before, if any.
    pub(crate) fn decide(&mut self, id: String, state: State) -> Option<State> {
        self.by_id.insert(id, state)
    }

    /// Decides about all findings of a scope; the state it had before, if any.
    pub(super) fn decide_all(&mut self, scope: Scope, state: State, line: usize) -> Option<State> {
        self.scopes.insert(scope, (state, line)).map(|(earlier, _)| earlier)
    }

    /// What was decided by the name of a finding.
    pub(crate) fn by_id(&self, id: &str) -> Option<State> {
        self.by_id.get(id).copied()
    }

    /// What was decided about a single structure or, where the finding is one of several plans,
    /// about its plan.
    pub(crate) fn of_part(
        &self,
        finding: &Finding,
        name: Option<Name<'_>>,
        of_several_plans: bool,
    ) -> Option<State> {
        let part = |s: &Scope| s.is_of_structure() || (of_several_plans && s.plan.is_some());
        self.narrowest(finding, name, part)
    }

    /// What was decided about all findings of its kind, in its plan or everywhere.
    pub(crate) fn of_kind(&self, finding: &Finding) -> Option<State> {
        self.narrowest(finding, None, |s| !s.is_of_structure())
    }

    fn narrowest(
        &self,
        finding: &Finding,
        name: Option<Name<'_>>,
        wanted: impl Fn(&Scope) -> bool,
    ) -> Option<State> {
        let fitting = self.scopes.iter().filter(|(s, _)| wanted(s) && s.holds(finding, name));
        fitting.max_by_key(|(s, _)| s.narrowness()).map(|(_, (state, _))| *state)
    }

    /// What was decided about findings of a kind, with the row of the file that says it.
    pub(super) fn scopes(&self) -> impl Iterator<Item = (&Scope, usize)> {
        self.scopes.iter().map(|(scope, (_, line))| (scope, *line))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::finding::Subject;

    fn finding(plan: &str, roi_number: i64) -> Finding {
        let case = Some(Token::new(plan));
        let subject = Subject { case, roi_number: Some(roi_number), ..Subject::default() };
        Finding::new(Code::PlanesFew, subject, "")
    }

    fn scope(plan: Option<&str>, roi_number: Option<i64>, structure: Option<&str>) -> Scope {
        let structure = structure.map(str::to_owned);
        Scope { code: Code::PlanesFew, plan: plan.map(Token::new), roi_number, structure }
    }

    #[test]
    fn the_narrower_decision_goes_before_the_wider_one() {
        let mut states = States::default();
        states.decide_all(scope(None, None, None), State::Waived, 2);
        states.decide_all(scope(Some("a"), None, None), State::Open, 3);
        states.decide_all(scope(None, None, Some("Lens_L")), State::Corrected, 4);
        states.decide_all(scope(Some("a"), Some(1), None), State::Accepted, 5);
        let name = Name { shown: "Lens_L", original: "lens li" };
        let part = |plan, roi, name, several| states.of_part(&finding(plan, roi), name, several);
        assert_eq!(part("a", 1, Some(name), false), Some(State::Accepted));
        assert_eq!(part("a", 2, Some(name), false), Some(State::Corrected));
        assert_eq!(part("a", 2, None, false), None);
        assert_eq!(part("a", 2, None, true), Some(State::Open));
        assert_eq!(states.of_kind(&finding("a", 2)), Some(State::Open));
        assert_eq!(states.of_kind(&finding("b", 2)), Some(State::Waived));
        let other = Finding { code: Code::PlaneGap, ..finding("b", 2) };
        assert_eq!(states.of_kind(&other), None);
    }
}
