//! `names.csv`: which standard name and role each structure name stands for. The program proposes,
//! the user decides in the columns `name_standard` and `role`; a row left blank there is no
//! decision. A row with `plan_id` and `roi_number` speaks of one structure, a row without of the
//! name wherever it occurs, in any letter case and with any blanks where one name alone is meant.
//!
//! `name_standard` holds a standard name, a target's name such as `GTV1`, or a name that begins with
//! `z` as those of helpers do. Any other name of an organ is refused, since a slip (`Brainstm`) would
//! make the organ disappear from every table and limit. A name of one's own is written `own:NAME` in
//! one row and may stand without the mark in others; an organ of the program's limits or of the
//! study's `limits.csv` needs no mark.

use std::collections::BTreeMap;
use std::path::Path;

use strum::VariantNames;

use super::seen::Seen;
use super::unmatched::{CaseIndex, Known, Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::write_file::{Access, WriteError};
use tidydose_case::alike::Existing;
use tidydose_case::{
    Case, Decisions, ELSEWHERE, NameBasis, NameDecision, OWN, Proposal, Role, nearest_standard,
    own_name, standard_name, volume_window,
};
use tidydose_rt::identity::Token;

pub(super) const COLUMNS: &[&str] = &[
    "name_original",
    "plan_id",
    "roi_number",
    "n_seen",
    "proposed_standard",
    "proposed_role",
    "basis",
    "median_volume_cc",
    "volume_range_cc",
    "side_seen",
    "from_brain_mm",
    "plausible_volume_cc",
    "window_source",
    "name_standard",
    "role",
    "comment",
];

const REQUIRED: &[&str] = &["name_original", "plan_id", "roi_number", "name_standard", "role"];

/// Which structures a decision is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Subject {
    /// Every structure of this ROI Name.
    Name(String),
    /// The structure of this case (plan_id) with this ROI Number.
    Structure(Token, i64),
}

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct NamesFile {
    file: UserFile,
    decisions: BTreeMap<Subject, Decided>,
}

/// A decision with the row it stands in.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Decided {
    row: usize,
    decision: NameDecision,
}

/// The file.
pub const FILE: &str = "names.csv";

impl NamesFile {
    /// Reads `names.csv`; empty where there is none. `organs` are names that need no mark, since a
    /// list of limits has them.
    ///
    /// # Errors
    /// When it cannot be read, a role is unknown, a standard name is none, an ROI Number is no
    /// number or stands without its plan, or two rows decide the same thing differently.
    pub fn read(path: &Path, organs: &[String]) -> Result<Self, ReadError> {
        let decided = |file: &UserFile| decisions(file, organs);
        let (file, decisions) = UserFile::read_decided(path, [REQUIRED, COLUMNS], decided)?;
        Ok(Self { file, decisions })
    }

    /// The rows as text.
    pub(super) const fn rows(&self) -> &UserFile {
        &self.file
    }

    /// The row that speaks of a name wherever it occurs.
    pub(super) fn row_of(&self, name: &str) -> Option<usize> {
        let of_name = |row: &usize| {
            self.file.text(*row, "plan_id").is_empty()
                && self.file.exact_text(*row, "name_original") == name
        };
        (0..self.file.row_count()).find(of_name)
    }

    /// The names that were decided upon.
    pub fn standard_names(&self) -> impl Iterator<Item = &str> {
        self.decisions.values().filter_map(|decided| decided.decision.standard.as_deref())
    }

    /// Adds what was decided here to `decisions`, and says which rows mean nothing that is there.
    pub fn decide(
        &self,
        known: &Known,
        cases: &[Case],
        decisions: &mut Decisions,
    ) -> Vec<Unmatched> {
        let mut unmatched = Vec::new();
        let cases = CaseIndex::of(cases);
        // Names as they are written come before names that are alike.
        let (exact, alike): (Vec<_>, Vec<_>) = self.decisions.iter().partition(|(subject, _)| {
            matches!(subject, Subject::Name(name) if known.roi_names.one(name) == Some(name))
        });
        for (subject, decided) in exact.into_iter().chain(alike) {
            let taken = match subject {
                Subject::Name(name) => self.decide_name(name, decided, known, decisions),
                Subject::Structure(plan, number) => self
                    .structure(plan, *number, decided.row, &cases)
                    .map(|key| decisions.structures.insert(key, decided.decision.clone()))
                    .map(|_| ()),
            };
            unmatched.extend(taken.err());
        }
        unmatched
    }

    /// Proposes what this file of another study decides about names that are left open here.
    pub fn propose_elsewhere(&self, proposals: &mut [Proposal]) {
        let mut by_name: BTreeMap<&str, &NameDecision> = BTreeMap::new();
        for (subject, decided) in &self.decisions {
            if let Subject::Name(name) = subject {
                by_name.insert(name, &decided.decision);
            }
        }
        let names: Existing = by_name.keys().copied().collect();
        for proposal in proposals {
            let known = names.one(&proposal.original).and_then(|name| by_name.get(name));
            if let Some(decision) = known {
                proposal.take_from_elsewhere(decision);
            }
        }
    }

    fn spot<'s>(&self, row: usize, column: &'static str, value: &'s str) -> Spot<'s> {
        Spot { file: FILE, line: UserFile::line(row), column, value }
    }

    fn decide_name(
        &self,
        name: &str,
        decided: &Decided,
        known: &Known,
        decisions: &mut Decisions,
    ) -> Result<(), Unmatched> {
        let spot = self.spot(decided.row, "name_original", name);
        let name = spot.among(&known.roi_names, "structure of the archive is called so")?;
        let before = decisions.names.entry(name.to_owned()).or_insert(decided.decision.clone());
        if *before == decided.decision {
            return Ok(());
        }
        Err(spot.unmatched("another row decides this name otherwise", vec![name.to_owned()]))
    }

    /// The structure that a row speaks of, by the names of the tables.
    fn structure(
        &self,
        plan: &Token,
        number: i64,
        row: usize,
        cases: &CaseIndex<'_>,
    ) -> Result<(Token, i64), Unmatched> {
        let case = self.spot(row, "plan_id", plan.as_str()).case(cases)?;
        let rois = case.structure_set.as_ref().map_or(&[][..], |set| &set.rois);
        let called = self.file.text(row, "name_original");
        let named: Existing = rois.iter().map(|roi| roi.name.as_str()).collect();
        let meant = rois.iter().find(|roi| named.one(called) == Some(roi.name.as_str()));
        let nearest = meant.map(|roi| roi.number.to_string()).into_iter().collect();
        let text = number.to_string();
        let spot = self.spot(row, "roi_number", &text);
        let Some(roi) = rois.iter().find(|roi| roi.number == number) else {
            return Err(spot.unmatched("the plan has no structure of this number", nearest));
        };
        if meant.is_some_and(|other| other.number != number && other.name != roi.name) {
            let reason = format!("the structure of this number is called `{}`", roi.name);
            return Err(spot.unmatched(reason, nearest));
        }
        Ok((case.id.clone(), number))
    }

    /// Adds a row for every proposal whose name has none yet, and refreshes what the program saw
    /// ([`Seen`]) in the rows that are there. Proposals of decided rows stay as they were decided
    /// upon.
    pub fn propose(&mut self, proposals: &[Proposal], seen: &BTreeMap<String, Seen>) {
        let mut sorted: Vec<_> = proposals.iter().collect();
        sorted.sort_by_key(|p| &p.original);
        let rows = self.rows_of_names(&sorted);
        for p in sorted {
            let nothing = Seen::default();
            let values = evidence_cells(p, seen.get(&p.original).unwrap_or(&nothing));
            let Some(row) = rows.get(&p.original).copied() else {
                let cells: Vec<_> = values.iter().map(|(c, v)| (*c, v.as_str())).collect();
                self.file.add(&cells);
                continue;
            };
            let decided = self.decisions.values().any(|d| d.row == row);
            // What another study proposed once stays until the rules or the user know better.
            let open = matches!(p.basis, NameBasis::Ambiguous | NameBasis::None);
            let kept = open && !p.elsewhere && self.file.text(row, "basis") == ELSEWHERE;
            for (column, value) in &values {
                // How the user's cell writes the name is the user's.
                let own = *column == "name_original";
                if !own && !value.is_empty() && (!(decided || kept) || !PROPOSED.contains(column)) {
                    self.file.refresh(row, column, value);
                }
            }
        }
    }

    /// The row that speaks of each name: the one that writes it so, else one that is alike.
    fn rows_of_names(&self, proposals: &[&Proposal]) -> BTreeMap<String, usize> {
        let names: Existing = proposals.iter().map(|p| p.original.as_str()).collect();
        let of_name = |row: &usize| self.file.text(*row, "plan_id").is_empty();
        let all: Vec<usize> = (0..self.file.row_count()).filter(of_name).collect();
        let mut rows: BTreeMap<String, usize> = BTreeMap::new();
        for exact in [true, false] {
            for row in &all {
                let typed = self.file.exact_text(*row, "name_original");
                if let Some(name) = names.one(typed).filter(|name| (*name == typed) == exact) {
                    rows.entry(name.to_owned()).or_insert(*row);
                }
            }
        }
        rows
    }

    /// Writes the file if something was added or refreshed.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        self.file.write(path, Access::Shared)
    }
}

/// Columns of the proposal itself and of what follows from it.
const PROPOSED: [&str; 5] =
    ["proposed_standard", "proposed_role", "basis", "plausible_volume_cc", "window_source"];

fn evidence_cells(p: &Proposal, seen: &Seen) -> Vec<(&'static str, String)> {
    let window = p.standard.as_deref().and_then(volume_window);
    vec![
        ("name_original", p.original.clone()),
        ("n_seen", p.seen.to_string()),
        ("proposed_standard", p.standard.clone().unwrap_or_default()),
        ("proposed_role", p.role.word().to_owned()),
        ("basis", if p.elsewhere { ELSEWHERE } else { p.basis.word() }.to_owned()),
        ("median_volume_cc", seen.median_volume()),
        ("volume_range_cc", seen.volume_range()),
        ("side_seen", seen.sides()),
        ("from_brain_mm", seen.from_brain()),
        (
            "plausible_volume_cc",
            window.map_or(String::new(), |w| format!("{} to {}", w.low_cc, w.high_cc)),
        ),
        ("window_source", window.map_or(String::new(), |w| w.source.to_owned())),
    ]
}

fn decisions(file: &UserFile, organs: &[String]) -> Result<BTreeMap<Subject, Decided>, String> {
    let cells = (0..file.row_count()).map(|row| file.text(row, "name_standard"));
    let own = cells.filter_map(own_name).map(str::to_owned);
    let accepted: Vec<String> = own.chain(organs.iter().cloned()).collect();
    let (mut decisions, mut faults) = (BTreeMap::<Subject, Decided>::new(), Vec::new());
    for row in 0..file.row_count() {
        let decided = decision(file, row, &accepted);
        let result = decided.and_then(|d| match d {
            None => Ok(()),
            Some(decision) => {
                let decided = Decided { row, decision };
                let earlier = decisions.entry(subject(file, row)?).or_insert(decided.clone());
                if earlier.decision == decided.decision {
                    Ok(())
                } else {
                    Err(otherwise(file, row))
                }
            }
        });
        faults.extend(result.err().map(|e| format!("row {}: {e}", UserFile::line(row))));
    }
    if faults.is_empty() { Ok(decisions) } else { Err(faults.join("\n  ")) }
}

/// Whether a text may stand under `name_standard` without a role.
///
/// # Errors
/// What would be accepted.
pub(super) fn accepts(typed: &str, own: &[String]) -> Result<(), String> {
    standard_of(typed, None, own).map(|_| ())
}

fn otherwise(file: &UserFile, row: usize) -> String {
    let name = file.text(row, "name_original");
    format!("`{name}` is decided differently in an earlier row; keep one of them")
}

fn decision(
    file: &UserFile,
    row: usize,
    accepted: &[String],
) -> Result<Option<NameDecision>, String> {
    let standard = Some(file.text(row, "name_standard")).filter(|t| !t.is_empty());
    let word = Some(file.text(row, "role")).filter(|t| !t.is_empty());
    if standard.is_none() && word.is_none() {
        return Ok(None);
    }
    let role = match word {
        None => None,
        Some(word) => Some(word.parse::<Role>().map_err(|_| {
            format!("role `{word}` is unknown; one of {} is accepted", Role::VARIANTS.join(", "))
        })?),
    };
    let standard = standard.map(|typed| standard_of(typed, role, accepted)).transpose()?;
    Ok(Some(NameDecision { standard, role }))
}

/// The standard name that was typed. What stands for no organ by its role may be called anything.
fn standard_of(typed: &str, role: Option<Role>, accepted: &[String]) -> Result<String, String> {
    let no_organ = |role: Role| {
        role.is_target() || matches!(role, Role::TargetSum | Role::Helper | Role::Marker)
    };
    let own: Existing = accepted.iter().collect();
    let known = own_name(typed).map(str::to_owned).or_else(|| standard_name(typed));
    let known = known.or_else(|| own.one(typed).map(str::to_owned));
    if let Some(name) = known.or_else(|| role.is_some_and(no_organ).then(|| typed.to_owned())) {
        return Ok(name);
    }
    let nearest: Vec<_> =
        nearest_standard(typed, accepted).iter().map(|n| format!("`{n}`")).collect();
    let nearest = match nearest.as_slice() {
        [] => String::new(),
        names => format!(", the nearest is {}", names.join(", ")),
    };
    Err(format!(
        "name_standard `{typed}` is no standard name{nearest}; a name of your own is accepted as \
         `{OWN}{typed}`"
    ))
}

fn subject(file: &UserFile, row: usize) -> Result<Subject, String> {
    match (file.text(row, "plan_id"), file.text(row, "roi_number")) {
        ("", "") => Ok(Subject::Name(file.exact_text(row, "name_original").to_owned())),
        (plan, number) if !plan.is_empty() && !number.is_empty() => match number.parse() {
            Ok(number) => Ok(Subject::Structure(Token::new(plan), number)),
            Err(_) => Err(format!("roi_number `{number}` is not a whole number")),
        },
        _ => Err("plan_id and roi_number are given both or not at all".to_owned()),
    }
}

#[cfg(test)]
mod tests;
