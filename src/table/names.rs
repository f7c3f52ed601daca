//! `names.csv`: which standard name and role each structure name stands for. The program proposes,
//! the user decides in the columns `name_standard` and `role`; a row left blank there is no
//! decision. A row with `plan_id` and `roi_number` speaks of one structure, a row without of the
//! name wherever it occurs.

use std::collections::BTreeMap;
use std::path::Path;

use super::seen::Seen;
use super::structures::{role, role_words};
use super::user_file::{ReadError, UserFile};
use super::write_file::{Access, WriteError};
use tidydose_case::{Decisions, NameDecision, Proposal, volume_window};
use tidydose_rt::identity::Token;

const COLUMNS: &[&str] = &[
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
    decisions: BTreeMap<Subject, NameDecision>,
}

impl NamesFile {
    /// Reads `names.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a role is unknown, an ROI Number is no number or stands without
    /// its plan, or two rows decide the same thing differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, decisions) = UserFile::read_decided(path, [REQUIRED, COLUMNS], decisions)?;
        Ok(Self { file, decisions })
    }

    /// Adds what was decided here to `decisions`.
    pub fn decide(&self, decisions: &mut Decisions) {
        for (subject, decision) in &self.decisions {
            let decision = decision.clone();
            match subject {
                Subject::Name(name) => decisions.names.insert(name.clone(), decision),
                Subject::Structure(case, number) => {
                    decisions.structures.insert((case.clone(), *number), decision)
                }
            };
        }
    }

    /// Adds a row for every proposal whose name has none yet, and refreshes what the program saw
    /// ([`Seen`]) in the rows that are there. Proposals of decided rows stay as they were decided
    /// upon.
    pub fn propose(&mut self, proposals: &[Proposal], seen: &BTreeMap<String, Seen>) {
        let mut sorted: Vec<_> = proposals.iter().collect();
        sorted.sort_by_key(|p| &p.original);
        let mut rows: BTreeMap<String, usize> = BTreeMap::new();
        for row in 0..self.file.row_count() {
            if self.file.text(row, "plan_id").is_empty() {
                rows.entry(self.file.exact_text(row, "name_original").to_owned()).or_insert(row);
            }
        }
        for p in sorted {
            let nothing = Seen::default();
            let values = evidence_cells(p, seen.get(&p.original).unwrap_or(&nothing));
            let Some(row) = rows.get(&p.original).copied() else {
                let cells: Vec<_> = values.iter().map(|(c, v)| (*c, v.as_str())).collect();
                self.file.add(&cells);
                continue;
            };
            let decided = self.decisions.contains_key(&Subject::Name(p.original.clone()));
            for (column, value) in &values {
                if !value.is_empty() && (!decided || !PROPOSED.contains(column)) {
                    self.file.refresh(row, column, value);
                }
            }
        }
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
        ("basis", p.basis.word().to_owned()),
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

fn decisions(file: &UserFile) -> Result<BTreeMap<Subject, NameDecision>, String> {
    let mut decisions = BTreeMap::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let Some(decision) = decision(file, row).map_err(|e| format!("row {line}: {e}"))? else {
            continue;
        };
        let subject = subject(file, row).map_err(|e| format!("row {line}: {e}"))?;
        if let Some(earlier) = decisions.insert(subject, decision.clone())
            && earlier != decision
        {
            let name = file.text(row, "name_original");
            return Err(format!(
                "row {line}: `{name}` is decided differently in an earlier row; keep one of them"
            ));
        }
    }
    Ok(decisions)
}

fn decision(file: &UserFile, row: usize) -> Result<Option<NameDecision>, String> {
    let standard = Some(file.text(row, "name_standard")).filter(|t| !t.is_empty());
    let word = Some(file.text(row, "role")).filter(|t| !t.is_empty());
    if standard.is_none() && word.is_none() {
        return Ok(None);
    }
    let role = match word {
        None => None,
        Some(word) => Some(role(word).ok_or_else(|| {
            format!("role `{word}` is unknown; one of {} is accepted", role_words().join(", "))
        })?),
    };
    Ok(Some(NameDecision { standard: standard.map(str::to_owned), role }))
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
mod tests {
    use super::*;
    use tidydose_case::{NameBasis, Role};

    fn read(text: &str) -> Result<NamesFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        std::fs::write(&path, text).unwrap();
        NamesFile::read(&path).map_err(|e| e.reason)
    }

    fn file(rows: &str) -> String {
        format!("{}\r\n{rows}", COLUMNS.join(","))
    }

    fn proposal(original: &str) -> Proposal {
        Proposal {
            original: original.to_owned(),
            seen: 3,
            standard: Some("Brainstem".to_owned()),
            role: Role::Organ,
            basis: NameBasis::Rule,
        }
    }

    #[test]
    fn decisions_are_read_and_blank_rows_are_none() {
        let names = read(&file(
            "Stamm,,,3,Brainstem,organ,rule,,,,,,,Brainstem,,\r\n\
             x,,,1,,unknown,none,,,,,,,,Helper,\r\n\
             y,,,1,,,none,,,,,,,,,\r\nStamm,P1,4,,,,,,,,,,,BrainStem_PRV03,prv,\r\n",
        ))
        .unwrap();
        let mut decisions = Decisions::default();
        names.decide(&mut decisions);
        assert_eq!((decisions.names.len(), decisions.structures.len()), (2, 1));
        let stamm = &decisions.names["Stamm"];
        assert_eq!((stamm.standard.as_deref(), stamm.role), (Some("Brainstem"), None));
        let x = &decisions.names["x"];
        assert_eq!((x.standard.as_deref(), x.role), (None, Some(Role::Helper)));
        let one = &decisions.structures[&(Token::new("P1"), 4)];
        assert_eq!(one.role, Some(Role::Prv));
    }

    #[test]
    fn faults_name_the_row_and_the_remedy() {
        let message = |rows: &str| read(&file(rows)).unwrap_err();
        assert!(
            message("a,,,,,,,,,,,,,,orgn,\n").contains("row 2: role `orgn` is unknown; one of gtv")
        );
        assert!(message("a,P1,,,,,,,,,,,,B,,\n").contains("both or not at all"));
        assert!(message("a,P1,x,,,,,,,,,,,B,,\n").contains("`x` is not a whole number"));
        assert!(
            message("a,,,,,,,,,,,,,B,,\na,,,,,,,,,,,,,C,,\n").contains("row 3: `a` is decided")
        );
    }

    /// A file of a version without evidence keeps its columns and gets the new ones behind them.
    #[test]
    fn a_file_of_an_earlier_version_is_read_and_its_decisions_hold() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        let old = "name_original;plan_id;roi_number;name_standard;role;my note\r\n\
                   b;;;Pons;organ;mine\r\nc;;;;;\r\n";
        std::fs::write(&path, old).unwrap();
        let mut names = NamesFile::read(&path).unwrap();
        let seen = BTreeMap::from([("c".to_owned(), Seen::of([(24.5, None)]))]);
        names.propose(&[proposal("b"), proposal("c")], &seen);
        names.write(&path).unwrap();
        let after = std::fs::read_to_string(&path).unwrap();
        assert!(after.contains("\r\nb;;;Pons;organ;mine;3;;;"), "{after}");
        assert!(after.contains("\r\nc;;;;;;3;Brainstem;organ;rule;24.5;24.5;"), "{after}");
        let mut decisions = Decisions::default();
        NamesFile::read(&path).unwrap().decide(&mut decisions);
        assert_eq!(decisions.names.len(), 1);
        assert_eq!(decisions.names["b"].standard.as_deref(), Some("Pons"));
    }

    #[test]
    fn a_second_proposal_changes_nothing_and_a_new_one_is_added_below() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("names.csv");
        let seen = || BTreeMap::from([("b".to_owned(), Seen::of([(24.5, None), (26.0, None)]))]);
        let decided = file(
            "b,,,3,Brainstem,organ,rule,25.25,24.5 to 26,,,12 to 60,\"adult anatomy, \
             from memory\",Pons,organ,sure\r\n",
        );
        std::fs::write(&path, &decided).unwrap();
        let mut names = NamesFile::read(&path).unwrap();
        names.propose(&[proposal("b"), proposal("=a")], &seen());
        names.write(&path).unwrap();
        let after = std::fs::read_to_string(&path).unwrap();
        assert_eq!(
            after,
            format!(
                "{decided}'=a,,,3,Brainstem,organ,rule,,,,,12 to 60,\"adult anatomy, from memory\",,,\r\n"
            )
        );
        let mut names = NamesFile::read(&path).unwrap();
        names.propose(&[proposal("=a"), proposal("b")], &seen());
        names.write(&path).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), after);
    }
}
