//! `decisions.csv`: what people decided about findings. The program adds a row for every cause to
//! look at, the user fills `state`, `decided_by`, `decided_on` and `why`; a row without a state is no
//! decision. The key is the finding's own name (from code and subject, as in table findings), so
//! that a decision outlives renamed files, further cases and new messages; the names of earlier
//! versions, which lack the letter in front, mean the same. Of the row only the state goes into the
//! tables: who decided, and why, stays with the user.
//!
//! A row with `*` for a finding_id holds for all findings of its `code`, also later ones:
//! everywhere (`plan_id` is `*` or empty), in a plan, or for a structure (`structure`, or
//! `roi_number` with a `plan_id`). A narrower row goes before a wider one, so that `open` makes an
//! exception.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use strum::VariantNames;

use super::states::{Scope, State, States};
use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::causes::{Cause, causes, typed_id};
use crate::structure_names::StructureNames;
use crate::write_file::{Access, WriteError};
use tidydose_case::Case;
use tidydose_rt::finding::{Code, Finding, Severity};
use tidydose_rt::identity::Token;
use tidydose_rt::nearest::{most_like, nearest};

/// Stands for all: in finding_id for all findings of a code, elsewhere for any plan or structure.
const ALL: &str = "*";

/// From so many on, one row to decide about all of a code saves work.
const SEVERAL: usize = 3;

pub(super) const COLUMNS: &[&str] = &[
    "finding_id",
    "code",
    "plan_id",
    "roi_number",
    "structure",
    "message",
    "state",
    "decided_by",
    "decided_on",
    "why",
];
const REQUIRED: &[&str] = &["finding_id", "state"];

/// The file.
pub const FILE: &str = "decisions.csv";

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct DecisionsFile {
    file: UserFile,
    states: States,
}

impl DecisionsFile {
    /// Reads `decisions.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a state is unknown, or two rows decide one finding differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, states) = UserFile::read_decided(path, [REQUIRED, COLUMNS], states)?;
        Ok(Self { file, states })
    }

    /// The decided states.
    #[must_use]
    pub const fn states(&self) -> &States {
        &self.states
    }

    /// All causes of these findings, with what was decided about each.
    #[must_use]
    pub fn causes<'f>(
        &self,
        findings: impl Iterator<Item = &'f Finding>,
        names: &StructureNames<'f>,
    ) -> Vec<Cause<'f>> {
        let mut sorted: Vec<_> = findings.collect();
        sorted.sort();
        sorted.dedup();
        causes(sorted, names, &self.states)
    }

    /// Adds a row for every cause to look at that has none yet and is not decided; before those of
    /// a code that has several, one that decides them all.
    pub fn propose<'f>(
        &mut self,
        findings: impl Iterator<Item = &'f Finding>,
        names: &StructureNames<'f>,
    ) {
        let mut by_code: BTreeMap<Code, Vec<Cause<'f>>> = BTreeMap::new();
        for cause in self.causes(findings, names) {
            if let Some(code) = cause.code().filter(|_| cause.severity() == Severity::Check) {
                by_code.entry(code).or_default().push(cause);
            }
        }
        let typed = (0..self.file.row_count()).map(|row| self.file.text(row, "finding_id"));
        let known: BTreeSet<String> = typed.filter_map(typed_id).collect();
        for (code, list) in by_code {
            let waiting = list.iter().filter(|c| c.waits()).count();
            let is_new = |c: &&Cause<'f>| c.waits() && !c.stands_apart() && !known.contains(&c.id);
            let new: Vec<&Cause<'f>> = list.iter().filter(is_new).collect();
            if !new.is_empty() && waiting >= SEVERAL {
                self.propose_for_all(code, waiting);
            }
            for cause in new {
                self.propose_one(code, cause);
            }
        }
    }

    fn propose_for_all(&mut self, code: Code, count: usize) {
        let id = code.definition().id;
        let message = format!(
            "all {count} below and later ones at once; a row of their own, or of their plan or \
             structure, goes first"
        );
        let there = self.file.keys(&["finding_id", "code"]);
        if !there.contains(&vec![ALL.to_owned(), id.to_owned()]) {
            self.file.add(&[
                ("finding_id", ALL),
                ("code", id),
                ("plan_id", ALL),
                ("roi_number", ALL),
                ("structure", ALL),
                ("message", &message),
            ]);
        }
    }

    fn propose_one(&mut self, code: Code, cause: &Cause<'_>) {
        let number = cause.shared(|s| s.roi_number).map_or(String::new(), |n| n.to_string());
        self.file.add(&[
            ("finding_id", &cause.id),
            ("code", code.definition().id),
            ("plan_id", cause.shared(|s| s.case.as_ref()).map_or("", Token::as_str)),
            ("roi_number", &number),
            ("structure", &cause.structures()),
            ("message", &cause.message()),
        ]);
    }

    /// The decided rows that name no finding though the finding is there: those whose name a
    /// spreadsheet took for a number, and those of which the message is that of another name. A
    /// finding that is gone leaves its row; that is what most decisions are for.
    #[must_use]
    pub fn unmatched<'f>(
        &self,
        findings: impl Iterator<Item = &'f Finding>,
        names: &StructureNames<'f>,
    ) -> Vec<Unmatched> {
        let all = self.causes(findings, names);
        let members = all.iter().flat_map(|c| &c.members).map(|m| m.id.as_str());
        let ids: BTreeSet<&str> = all.iter().map(|c| c.id.as_str()).chain(members).collect();
        let mut unmatched = Vec::new();
        for row in 0..self.file.row_count() {
            let (state, typed) = (self.file.text(row, "state"), self.file.text(row, "finding_id"));
            let id = typed_id(typed);
            let undecided = state.is_empty() || state.parse() == Ok(State::Open);
            if typed == ALL || undecided || id.as_deref().is_some_and(|id| ids.contains(id)) {
                continue;
            }
            let free = |c: &&Cause<'_>| c.state == State::Open && self.is_about(row, c);
            let said = |c: &Cause<'_>| c.message() == self.file.text(row, "message");
            let meant = all.iter().filter(free).filter(|c| id.is_none() || said(c));
            let nearest: Vec<String> = meant.map(|c| c.id.clone()).collect();
            if id.is_none() || !nearest.is_empty() {
                let line = UserFile::line(row);
                let spot = Spot { file: FILE, line, column: "finding_id", value: typed };
                unmatched
                    .push(spot.unmatched("no finding of table findings is called so", nearest));
            }
        }
        unmatched
    }

    /// Decisions about plans and structures that no case has, with what there is instead.
    #[must_use]
    pub fn unmatched_scopes(&self, cases: &[Case]) -> Vec<Unmatched> {
        unmatched_scopes(&self.states, cases)
    }

    /// Whether a row shows code, plan and structure of a cause.
    fn is_about(&self, row: usize, cause: &Cause<'_>) -> bool {
        let plan = cause.shared(|s| s.case.as_ref()).map_or("", Token::as_str);
        let number = cause.shared(|s| s.roi_number).map_or(String::new(), |n| n.to_string());
        cause.code().is_some_and(|code| code.definition().id == self.file.text(row, "code"))
            && self.file.text(row, "plan_id") == plan
            && self.file.text(row, "roi_number") == number
    }

    /// Writes the file if rows were added.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

fn states(file: &UserFile) -> Result<States, String> {
    let mut states = States::default();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let word = file.text(row, "state");
        if word.is_empty() {
            continue;
        }
        let state = word.parse::<State>().map_err(|_| {
            format!(
                "row {line}: state `{word}` is unknown; {} is accepted",
                State::VARIANTS.join(", ")
            )
        })?;
        let earlier = match file.text(row, "finding_id") {
            "" => {
                return Err(format!(
                    "row {line}: finding_id is empty; copy it from table findings, or write {ALL} \
                     for all findings of the code"
                ));
            }
            ALL => {
                let scope = scope(file, row).map_err(|reason| format!("row {line}: {reason}"))?;
                states.decide_all(scope, state, line)
            }
            id => states.decide(typed_id(id).unwrap_or_else(|| id.to_owned()), state),
        };
        if earlier.is_some_and(|earlier| earlier != state) {
            return Err(format!("row {line}: an earlier row has another state; keep one of them"));
        }
    }
    Ok(states)
}

/// What a row without the name of a finding holds for.
fn scope(file: &UserFile, row: usize) -> Result<Scope, String> {
    let cell =
        |column| Some(file.text(row, column)).filter(|text| !text.is_empty() && *text != ALL);
    let word = cell("code").unwrap_or_default();
    let code = Code::from_id(word).ok_or_else(|| {
        let near = nearest(word, Code::ALL.iter().map(|c| c.definition().id));
        format!("code `{word}` is unknown; nearest: {near}")
    })?;
    let plan = cell("plan_id").map(Token::new);
    let number = |text: &str| {
        let number: i64 = text.parse().map_err(|_| {
            format!("roi_number `{text}` is no whole number; a ROI Number or {ALL} is accepted")
        })?;
        plan.as_ref().map(|_| number).ok_or_else(|| {
            format!(
                "roi_number {number} means a structure only together with a plan_id; write the \
                 plan_id, or {ALL} and the name under structure"
            )
        })
    };
    let roi_number = cell("roi_number").map(number).transpose()?;
    let structure = cell("structure").map(str::to_owned);
    Ok(Scope { code, plan, roi_number, structure })
}

/// So many of the nearest names are offered.
const SHOWN: usize = 3;

fn unmatched_scopes(states: &States, cases: &[Case]) -> Vec<Unmatched> {
    let plans: BTreeSet<&str> = cases.iter().map(|c| c.id.as_str()).collect();
    let mut structures: BTreeSet<&str> = BTreeSet::new();
    for name in cases.iter().flat_map(|c| &c.names) {
        structures.extend(name.standard.as_deref());
        structures.insert(&name.original);
    }
    let mut unmatched = Vec::new();
    for (scope, line) in states.scopes() {
        if let Some(plan) = scope.plan.as_ref().filter(|p| !plans.contains(p.as_str())) {
            let spot = Spot { file: FILE, line, column: "plan_id", value: plan.as_str() };
            unmatched
                .push(spot.unmatched("no case is called so", nearest_of(plan.as_str(), &plans)));
        }
        if let Some(name) = scope.structure.as_ref().filter(|n| !structures.contains(n.as_str())) {
            let spot = Spot { file: FILE, line, column: "structure", value: name };
            unmatched
                .push(spot.unmatched("no structure is called so", nearest_of(name, &structures)));
        }
    }
    unmatched
}

fn nearest_of(name: &str, there: &BTreeSet<&str>) -> Vec<String> {
    most_like(name, there.iter().copied(), SHOWN).into_iter().map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::named;
    use tidydose_rt::finding::{Code, Subject};

    fn finding(code: Code, roi: i64, message: &str) -> Finding {
        let subject = Subject {
            case: Some(Token::new("plan-1")),
            file: Some(Token::new("file")),
            roi_number: Some(roi),
            ..Subject::default()
        };
        Finding::new(code, subject, message)
    }

    const HEAD: &str = "finding_id,code,plan_id,roi_number,message,state\n";

    fn read(text: &str) -> Result<DecisionsFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("decisions.csv");
        std::fs::write(&path, text).unwrap();
        DecisionsFile::read(&path).map_err(|e| e.reason)
    }

    /// The findings about which nobody has decided.
    fn open<'f>(file: &DecisionsFile, findings: &'f [Finding]) -> Vec<&'f Finding> {
        let causes = file.causes(findings.iter(), &StructureNames::default());
        let open = causes.into_iter().filter(|c| c.state == State::Open);
        open.flat_map(|c| c.members).map(|m| m.finding).collect()
    }

    #[test]
    fn causes_to_look_at_are_proposed_once_and_decided_ones_stay_decided() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("decisions.csv");
        let seen = [
            finding(Code::PlanesFew, 1, "2 planes"),
            finding(Code::NameUnmapped, 1, "a note is nothing to decide"),
            finding(Code::PlanesFew, 2, "1 plane"),
            finding(Code::PlaneGap, 2, "a gap"),
        ];
        let names = StructureNames::default();
        let mut file = DecisionsFile::read(&path).unwrap();
        file.propose(seen.iter(), &names);
        file.write(&path).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(text.lines().count(), 3, "{text}");
        let told = "2 structures; plan-1: 2 planes; plan-1: 1 plane";
        assert!(text.contains(&format!("planes-few,plan-1,,,{told},,,,")), "{text}");
        let decided = text.replacen(&format!("{told},,,,"), &format!("{told},accepted,HD,,"), 1);
        std::fs::write(&path, &decided).unwrap();
        // A file renamed, a message in other words, one more structure: the same cause.
        let mut later = seen.to_vec();
        later[0].subject.file = Some(Token::new("renamed"));
        later[0].message = "two planes".to_owned();
        later.push(finding(Code::PlanesFew, 3, "2 planes"));
        let mut file = DecisionsFile::read(&path).unwrap();
        assert_eq!(open(&file, &later), [&later[3], &later[1]]);
        file.propose(later.iter(), &names);
        file.write(&path).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), decided);
    }

    #[test]
    fn a_code_with_several_causes_has_one_row_that_decides_all() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("decisions.csv");
        let seen: Vec<_> = (1..=5).map(|n| finding(Code::PlaneGap, n, "a gap")).collect();
        let names = StructureNames::default();
        let mut file = DecisionsFile::read(&path).unwrap();
        file.propose(seen[..2].iter(), &names);
        file.write(&path).unwrap();
        assert!(!std::fs::read_to_string(&path).unwrap().contains('*'), "two are soon decided");
        let mut file = DecisionsFile::read(&path).unwrap();
        file.propose(seen.iter(), &names);
        file.write(&path).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(text.matches("*,plane-gap,*,*,*,\"all 5 below").count(), 1, "{text}");
        assert_eq!(text.lines().count(), 7);
        let row = text.lines().find(|l| l.starts_with('*')).unwrap();
        let waived = text.replace(row, &row.replace(",,,,", ",waived,,,"));
        std::fs::write(&path, &waived).unwrap();
        let mut file = DecisionsFile::read(&path).unwrap();
        let more: Vec<_> = (1..=9).map(|n| finding(Code::PlaneGap, n, "a gap")).collect();
        assert_eq!(open(&file, &more), Vec::<&Finding>::new());
        file.propose(more.iter(), &names);
        file.write(&path).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), waived, "later ones are decided too");
    }

    #[test]
    fn one_row_decides_for_a_plan_or_a_structure_and_open_makes_an_exception() {
        let head = "finding_id,code,plan_id,roi_number,structure,state\n";
        let seen: Vec<_> = (1..=4).map(|n| finding(Code::PlanesFew, n, "2 planes")).collect();
        let left = |rows: &str| {
            let file = read(&format!("{head}{rows}")).unwrap();
            open(&file, &seen).iter().filter_map(|f| f.subject.roi_number).collect::<Vec<_>>()
        };
        assert_eq!(left("*,planes-few,plan-1,,,waived\n"), Vec::<i64>::new());
        assert_eq!(left("*,planes-few,another,*,*,waived\n"), [1, 2, 3, 4]);
        assert_eq!(left("*,plane-gap,*,,,waived\n"), [1, 2, 3, 4]);
        assert_eq!(left("*,planes-few,plan-1,3,,waived\n"), [1, 2, 4]);
        assert_eq!(left("*,planes-few,,,,waived\n*,planes-few,plan-1,2,*,open\n"), [2]);
    }

    /// Decisions of earlier versions are found again: the name of a finding never changes. The digits
    /// are the start of SHA-256 over code, patient, case, file, object, number and attribute, with a
    /// zero byte between.
    #[test]
    fn the_name_of_a_finding_is_the_same_in_every_version() {
        let finding = finding(Code::PlanesFew, 1, "2 planes");
        assert_eq!(named(vec![&finding])[0].0, "f6e7883916b1e");
        let file = read("finding_id,state\nf6e7883916b1e,accepted\n").unwrap();
        assert_eq!(open(&file, &[finding]), Vec::<&Finding>::new());
    }

    /// Rows of earlier versions have the name without its letter.
    #[test]
    fn names_of_earlier_versions_still_decide() {
        let few = [finding(Code::PlanesFew, 1, "2 planes")];
        let names = StructureNames::default();
        let mut file =
            read(&format!("{HEAD}6e7883916b1e,planes-few,plan-1,1,2 planes,accepted\n")).unwrap();
        assert_eq!(open(&file, &few), Vec::<&Finding>::new());
        assert!(file.unmatched(few.iter(), &names).is_empty());
        file.propose(few.iter(), &names);
        assert_eq!(file.file.row_count(), 1, "no second row");
    }

    #[test]
    fn a_mangled_name_is_said_with_the_finding_it_belongs_to() {
        let findings =
            [finding(Code::VolumeImplausible, 1, "2 cc"), finding(Code::VolumeImplausible, 2, "x")];
        let rows = "\"1,00811E+11\",volume-implausible,plan-1,1,2 cc,accepted\n\
                    100811000000,volume-implausible,plan-1,2,x,waived\n\
                    123456789abc,volume-implausible,plan-1,2,gone,corrected\n\
                    1e+5,,,,,\n";
        let file = read(&format!("{HEAD}{rows}")).unwrap();
        let list = file.unmatched(findings.iter(), &StructureNames::default());
        let said: Vec<String> = list.iter().map(Unmatched::sentence).collect();
        assert_eq!(said.len(), 2, "{said:?}");
        let id = &named(vec![&findings[0]])[0].0;
        assert_eq!(
            said[0],
            format!(
                "row 2 of decisions.csv, column finding_id: `1,00811E+11`: no finding of table \
                 findings is called so; the nearest is `{id}`"
            )
        );
        assert!(said[1].starts_with("row 3 ") && said[1].contains("the nearest is `f"), "{said:?}");
    }

    #[test]
    fn faults_name_the_row_and_the_remedy() {
        let head = "finding_id,state\n";
        let message = |rows: &str| read(&format!("{head}{rows}")).unwrap_err();
        assert!(message("a,done\n").contains("row 2: state `done` is unknown; open, accepted"));
        assert!(message(",waived\n").contains("row 2: finding_id is empty"));
        assert!(message("a,waived\na,accepted\n").contains("row 3: an earlier row"));
        assert!(message("*,waived\n").contains("row 2: code `` is unknown"));
        let head = "finding_id,code,plan_id,roi_number,state\n";
        let message = |rows: &str| read(&format!("{head}{rows}")).unwrap_err();
        let text = message("*,plane-few,*,*,waived\n");
        assert!(text.contains("row 2: code `plane-few` is unknown; nearest: planes-few"), "{text}");
        assert!(message("*,planes-few,*,3,waived\n").contains("only together with a plan_id"));
        assert!(message("*,planes-few,p,GTV,waived\n").contains("`GTV` is no whole number"));
        let twice = "*,planes-few,*,*,waived\n*,planes-few,,,accepted\n";
        assert!(message(twice).contains("row 3: an earlier row"));
    }

    #[test]
    fn what_no_case_has_is_named_with_the_nearest() {
        let mut states = States::default();
        let scope = Scope {
            code: Code::PlanesFew,
            plan: Some(Token::new("plan-1")),
            roi_number: None,
            structure: Some("Brainstm".to_owned()),
        };
        states.decide_all(scope, State::Waived, 7);
        let mut case = crate::example::Example::new().cases.remove(0);
        case.id = Token::new("plan-1");
        let list = unmatched_scopes(&states, &[case.clone()]);
        assert_eq!(list.len(), 1, "{list:?}");
        let words =
            "row 7 of decisions.csv, column structure: `Brainstm`: no structure is called so";
        assert!(list[0].sentence().starts_with(words), "{}", list[0].sentence());
        case.id = Token::new("plan-2");
        let words = "row 7 of decisions.csv, column plan_id: `plan-1`: no case is called so; the \
                     nearest is `plan-2`";
        assert_eq!(unmatched_scopes(&states, &[case])[0].sentence(), words);
    }
}
