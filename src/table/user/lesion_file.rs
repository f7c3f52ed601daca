//! `lesions.csv`: which lesion of an earlier course a lesion is, and what the clinic calls it. The
//! program adds a row for every lesion and proposes the earlier one by position, where both courses
//! have one frame of reference or a rigid registration joins their frames; the user decides in `same_as` (a lesion_id, or `new`) and writes the
//! clinic's label into `clinical_label`. Nothing is taken from a proposal.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::structure_names::{shown_name, structure_id};
use crate::write_csv::number;
use crate::write_file::{Access, WriteError};
use tidydose_analyse::Lesion;
use tidydose_case::alike::Existing;
use tidydose_case::{Case, registered_motion};
use tidydose_geometry::point::distance_2;
use tidydose_rt::Registration;
use tidydose_rt::identity::Token;

pub(super) const COLUMNS: &[&str] = &[
    "lesion_id",
    "plan_id",
    "structure",
    "day_plan",
    "proposed_same_as",
    "distance_mm",
    "proposed_by",
    "same_as",
    "recurrence",
    "gone_since",
    "clinical_label",
    "comment",
];
const REQUIRED: &[&str] = &["lesion_id", "same_as"];

/// The file.
pub const FILE: &str = "lesions.csv";

/// Lesions of two courses whose centres lie further apart than this are not proposed as one, mm:
/// half of the diameter up to which a metastasis counts as small (20 mm).
const NEAR_MM: f64 = 10.0;

/// What the user says about one lesion.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LesionDecision {
    /// The earlier lesion that it is; absent when undecided or new.
    pub same_as: Option<String>,
    /// Whether it was decided that it has not been treated before.
    pub new: bool,
    /// Whether a lesion that was drawn after a treatment is a recurrence; absent when undecided.
    pub recurrence: Option<bool>,
    /// Of a treated lesion: the plan_id of the first structure set drawn after a treatment in which
    /// nothing is left of it; absent where nobody says so.
    pub gone_since: Option<String>,
    /// What the clinic calls it.
    pub clinical_label: Option<String>,
}

/// Decisions by lesion_id.
pub type LesionDecisions = BTreeMap<String, LesionDecision>;

/// The lesions of each case.
pub type LesionsByCase = BTreeMap<Token, Vec<Lesion>>;

/// The file with its decisions.
#[derive(Debug, Clone)]
pub struct LesionFile {
    file: UserFile,
    decisions: LesionDecisions,
}

impl LesionFile {
    /// Reads `lesions.csv`; empty where there is none.
    ///
    /// # Errors
    /// When it cannot be read, or two rows decide one lesion differently.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, decisions) = UserFile::read_decided(path, [REQUIRED, COLUMNS], decisions)?;
        Ok(Self { file, decisions })
    }

    /// The rows as text.
    pub(super) const fn rows(&self) -> &UserFile {
        &self.file
    }

    /// What was decided.
    #[must_use]
    pub const fn decisions(&self) -> &LesionDecisions {
        &self.decisions
    }

    /// Takes decided rows for lesions that are there in any letter case, and says which rows mean no
    /// lesion. A lesion of a case that could not be read is not missed.
    pub fn settle(&mut self, cases: &[Case], lesions: &LesionsByCase) -> Vec<Unmatched> {
        let known = ids(cases, lesions);
        let read: Existing = lesions.keys().map(|id| id.as_str()).collect();
        let plans: Existing = cases.iter().map(|c| c.id.as_str()).collect();
        let unread = |id: &str| {
            let plan = id.rsplit_once('/').map_or(id, |(plan, _)| plan);
            plans.one(plan).is_some() && read.one(plan).is_none()
        };
        let mut unmatched = Vec::new();
        let later: Existing =
            cases.iter().filter(|c| c.is_follow_up()).map(|c| c.id.as_str()).collect();
        for row in 0..self.file.row_count() {
            let value = self.file.text(row, "gone_since");
            let spot = Spot { file: FILE, line: UserFile::line(row), column: "gone_since", value };
            if value.is_empty() {
                continue;
            }
            let is_later = "structure set drawn after a treatment has this plan_id";
            let found = spot.among(&later, is_later).map(str::to_owned);
            let decision = self.decisions.get_mut(self.file.text(row, "lesion_id"));
            if let Some(decision) = decision {
                decision.gone_since = found.as_ref().ok().cloned();
            }
            unmatched.extend(found.err());
        }
        let mut meant = |row: usize, column: &'static str, value: &str| -> Option<String> {
            let spot = Spot { file: FILE, line: UserFile::line(row), column, value };
            if value.is_empty() || unread(value) {
                return Some(value.to_owned()).filter(|v| !v.is_empty());
            }
            let found = spot.among(&known, "lesion of table lesions is called so");
            match found {
                Ok(id) => Some(id.to_owned()),
                Err(row) => {
                    unmatched.push(row);
                    None
                }
            }
        };
        let mut settled = LesionDecisions::new();
        for row in 0..self.file.row_count() {
            let id = self.file.text(row, "lesion_id");
            let Some(mut decision) = self.decisions.get(id).cloned() else { continue };
            let same_as = decision.same_as.as_deref().unwrap_or_default();
            decision.same_as = meant(row, "same_as", same_as);
            if let Some(id) = meant(row, "lesion_id", id) {
                settled.entry(id).or_insert(decision);
            }
        }
        self.decisions = settled;
        unmatched
    }

    /// Adds a row for every lesion that has none yet, and a proposal where there was none.
    pub fn propose(
        &mut self,
        cases: &[Case],
        lesions: &LesionsByCase,
        registrations: &[Registration],
    ) {
        let mut sorted: Vec<&Case> = cases.iter().collect();
        sorted.sort_by_key(|c| (&c.patient, &c.id));
        let known = ids(cases, lesions);
        let rows = (0..self.file.row_count())
            .filter_map(|row| Some((known.one(self.file.text(row, "lesion_id"))?.to_owned(), row)));
        let rows: BTreeMap<String, usize> = rows.collect();
        for case in &sorted {
            for lesion in lesions.get(&case.id).into_iter().flatten() {
                let id = structure_id(case, lesion.roi_number);
                let earlier = earlier(case, lesion, &sorted, &Archive { lesions, registrations });
                let EarlierLesion { id: same, distance_mm, by } = earlier.unwrap_or_default();
                let distance = distance_mm.map_or_else(String::new, number);
                if let Some(row) = rows.get(&id) {
                    self.file.refresh(*row, "proposed_same_as", &same);
                    self.file.refresh(*row, "distance_mm", &distance);
                    self.file.refresh(*row, "proposed_by", by);
                    continue;
                }
                let name = case.name(lesion.roi_number);
                self.file.add(&[
                    ("lesion_id", &id),
                    ("plan_id", case.id.as_str()),
                    ("structure", name.map_or("", shown_name)),
                    ("day_plan", &day(case).map_or(String::new(), |d| d.to_string())),
                    ("proposed_same_as", &same),
                    ("distance_mm", &distance),
                    ("proposed_by", by),
                ]);
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

/// Every lesion_id.
fn ids(cases: &[Case], lesions: &LesionsByCase) -> Existing {
    let of_case = |case: &Case| {
        let list = lesions.get(&case.id).into_iter().flatten();
        list.map(|l| structure_id(case, l.roi_number)).collect::<Vec<_>>()
    };
    cases.iter().flat_map(of_case).collect()
}

fn day(case: &Case) -> Option<i64> {
    match &case.follow_up {
        Some(follow_up) => Some(follow_up.day.0),
        None => case.plan.as_ref()?.day.map(|d| d.0),
    }
}

/// Where earlier lesions are looked for.
struct Archive<'a> {
    lesions: &'a LesionsByCase,
    registrations: &'a [Registration],
}

/// A lesion that may be the same one, seen earlier.
#[derive(Debug, Clone, PartialEq, Default)]
struct EarlierLesion {
    id: String,
    /// Distance of the centres, rounded to 0.1 mm.
    distance_mm: Option<f64>,
    /// What speaks for it: its position or its name.
    by: &'static str,
}

/// The lesion of the patient that was seen earlier and may be this one: the nearest of a plan, else
/// of an earlier follow-up. Where nothing joins the frames of reference of any of them, the only one
/// of a plan that has the same name.
fn earlier(
    case: &Case,
    lesion: &Lesion,
    cases: &[&Case],
    archive: &Archive<'_>,
) -> Option<EarlierLesion> {
    let own_day = day(case)?;
    let before: Vec<&Case> = cases
        .iter()
        .copied()
        .filter(|c| c.patient.is_some() && c.patient == case.patient && c.id != case.id)
        .filter(|c| day(c).is_some_and(|d| d < own_day))
        .collect();
    let (later, plans): (Vec<&Case>, Vec<&Case>) = before.iter().partition(|c| c.is_follow_up());
    let nearest = |among: &[&Case]| nearest(case, lesion, among, archive);
    nearest(&plans).or_else(|| nearest(&later)).or_else(|| {
        let centre = lesion.centre_mm.unwrap_or_default();
        let joined = |c: &&Case| moved(centre, case, c, archive.registrations).is_some();
        // Where positions can be compared, a name says nothing against them.
        if !case.is_follow_up() || plans.iter().any(joined) {
            return None;
        }
        of_same_name(case, lesion, &plans, archive.lesions)
    })
}

/// Courses in different frames of reference are compared only through a registration.
fn nearest(
    case: &Case,
    lesion: &Lesion,
    among: &[&Case],
    archive: &Archive<'_>,
) -> Option<EarlierLesion> {
    let centre = lesion.centre_mm?;
    let mut best: Option<(f64, String)> = None;
    for other in among {
        let Some(here) = moved(centre, case, other, archive.registrations) else { continue };
        for candidate in archive.lesions.get(&other.id).into_iter().flatten() {
            let Some(there) = candidate.centre_mm else { continue };
            let distance = distance_2(here, there).sqrt();
            let id = structure_id(other, candidate.roi_number);
            let nearer = best.as_ref().is_none_or(|(least, known)| {
                distance.total_cmp(least).then_with(|| id.cmp(known)).is_lt()
            });
            if distance <= NEAR_MM && nearer {
                best = Some((distance, id));
            }
        }
    }
    let (distance, id) = best?;
    let distance_mm = Some((distance * 10.0).round() / 10.0);
    Some(EarlierLesion { id, distance_mm, by: "position" })
}

/// The only lesion of plans with a target of the same name, but for case and separators.
fn of_same_name(
    case: &Case,
    lesion: &Lesion,
    plans: &[&Case],
    lesions: &LesionsByCase,
) -> Option<EarlierLesion> {
    let plain = |name: &str| -> String {
        name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let names = |of: &Case, lesion: &Lesion| -> BTreeSet<String> {
        let numbers = [&lesion.gtv, &lesion.ctv, &lesion.ptv, &lesion.other].into_iter().flatten();
        numbers.filter_map(|n| of.name(*n)).map(|n| plain(&n.original)).collect()
    };
    let own = names(case, lesion);
    let mut same = Vec::new();
    for plan in plans {
        for candidate in lesions.get(&plan.id).into_iter().flatten() {
            if !names(plan, candidate).is_disjoint(&own) {
                same.push(structure_id(plan, candidate.roi_number));
            }
        }
    }
    match same.as_slice() {
        [only] => Some(EarlierLesion { id: only.clone(), distance_mm: None, by: "name" }),
        _ => None,
    }
}

/// A point of one case in the frame of reference of another; absent where nothing joins the two.
fn moved(point_mm: [f64; 3], from: &Case, into: &Case, all: &[Registration]) -> Option<[f64; 3]> {
    let frames = [from.shape_frame()?, into.shape_frame()?];
    Some(registered_motion(from.patient.as_ref()?, frames, all)?.ok()?.apply(point_mm))
}

/// Whether a lesion may be called the same as another.
///
/// # Errors
/// What would be accepted.
pub(super) fn accepts(lesion_id: &str, same_as: &str) -> Result<(), String> {
    if same_as == lesion_id {
        return Err(
            "same_as is the lesion itself; an earlier lesion_id or `new` is accepted".into()
        );
    }
    Ok(())
}

fn decisions(file: &UserFile) -> Result<LesionDecisions, String> {
    let mut decisions = LesionDecisions::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let text = |column| Some(file.text(row, column).to_owned()).filter(|t| !t.is_empty());
        let (same_as, clinical_label) = (text("same_as"), text("clinical_label"));
        let recurrence = yes_or_no(text("recurrence"), line)?;
        let gone_since = text("gone_since");
        let says = [&same_as, &clinical_label, &gone_since].into_iter().any(Option::is_some);
        if !says && recurrence.is_none() {
            continue;
        }
        let Some(id) = text("lesion_id") else {
            return Err(format!("row {line}: lesion_id is empty; copy it from table lesions"));
        };
        if let Some(same_as) = &same_as {
            accepts(&id, same_as).map_err(|reason| format!("row {line}: {reason}"))?;
        }
        let new = same_as.as_deref().is_some_and(|t| t.eq_ignore_ascii_case("new"));
        let same_as = same_as.filter(|_| !new);
        let decision = LesionDecision { same_as, new, recurrence, gone_since, clinical_label };
        if decisions.insert(id, decision.clone()).is_some_and(|earlier| earlier != decision) {
            return Err(format!("row {line}: an earlier row decides otherwise; keep one of them"));
        }
    }
    Ok(decisions)
}

fn yes_or_no(text: Option<String>, line: usize) -> Result<Option<bool>, String> {
    match text.map(|t| t.trim().to_lowercase()).as_deref() {
        None => Ok(None),
        Some("yes") => Ok(Some(true)),
        Some("no") => Ok(Some(false)),
        Some(other) => Err(format!(
            "row {line}: recurrence is `{other}`; yes, no or nothing would be accepted"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_geometry::units::Day;
    use tidydose_rt::{RegisteredFrame, Rigid};

    fn course(id: &str, day: i64) -> Case {
        let mut case = case_of(&["GTV"]);
        case.id = Token::new(id);
        if let Some(plan) = &mut case.plan {
            plan.day = Some(Day(day));
        }
        case
    }

    fn at(x: f64) -> Vec<Lesion> {
        let centre_mm = Some([x, 0.0, 0.0]);
        vec![Lesion { gtv: vec![1], other: Vec::new(), centre_mm, ..crate::example::lesion(1) }]
    }

    #[test]
    fn an_earlier_lesion_is_proposed_by_position_and_only_the_user_decides() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lesions.csv");
        let mut other_frame = course("late", 900);
        if let Some(set) = &mut other_frame.structure_set {
            set.frame = Some(Token::new("other"));
        }
        let cases = [course("first", 100), course("second", 400), course("far", 500), other_frame];
        let lesions = LesionsByCase::from([
            (Token::new("first"), at(0.0)),
            (Token::new("second"), at(4.04)),
            (Token::new("far"), at(40.0)),
            (Token::new("late"), at(0.0)),
        ]);
        let mut file = LesionFile::read(&path).unwrap();
        file.propose(&cases, &lesions, &[]);
        file.write(&path).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("second/1,second,GTV,400,first/1,4,position,,,,,"), "{text}");
        assert!(
            text.contains("first/1,first,GTV,100,,,,,,,,")
                && text.contains("late/1,late,GTV,900,,,,")
        );
        assert!(text.contains("far/1,far,GTV,500,,,"), "{text}");
        assert!(LesionFile::read(&path).unwrap().decisions().is_empty());
        let decided =
            text.replace("first/1,4,position,,,,,", "first/1,4,position,first/1,,,left frontal,");
        std::fs::write(&path, &decided).unwrap();
        let mut file = LesionFile::read(&path).unwrap();
        assert_eq!(file.decisions()["second/1"].same_as.as_deref(), Some("first/1"));
        file.propose(&cases, &lesions, &[]);
        file.write(&path).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), decided);
    }

    #[test]
    fn a_registration_joins_courses_of_different_frames() {
        let mut later = course("second", 400);
        if let Some(set) = &mut later.structure_set {
            set.frame = Some(Token::new("other"));
        }
        let cases = [course("first", 100), later];
        let lesions = LesionsByCase::from([
            (Token::new("first"), at(0.0)),
            (Token::new("second"), at(103.0)),
        ]);
        // From the later frame into the earlier one: 100 mm along x.
        let mut matrix = [0.0; 16];
        for i in 0..4 {
            matrix[5 * i] = 1.0;
        }
        matrix[3] = -100.0;
        let set = cases[0].structure_set.as_ref().unwrap();
        let registration = Registration {
            origin: set.origin.clone(),
            day: None,
            frame: set.frame.clone().unwrap(),
            items: vec![RegisteredFrame {
                frame: Token::new("other"),
                motion: Rigid::from_matrix(&matrix),
            }],
        };
        let proposed = |registrations: &[Registration]| {
            let folder = tempfile::tempdir().unwrap();
            let mut file = LesionFile::read(&folder.path().join("lesions.csv")).unwrap();
            file.propose(&cases, &lesions, registrations);
            (
                file.file.text(1, "proposed_same_as").to_owned(),
                file.file.text(1, "distance_mm").to_owned(),
            )
        };
        assert_eq!(proposed(&[]), (String::new(), String::new()));
        assert_eq!(
            proposed(std::slice::from_ref(&registration)),
            ("first/1".to_owned(), "3".to_owned())
        );
        let mut contradicting = registration.clone();
        matrix[3] = -90.0;
        contradicting.items[0].motion = Rigid::from_matrix(&matrix);
        assert_eq!(proposed(&[registration, contradicting]), (String::new(), String::new()));
    }

    #[test]
    fn rows_that_mean_no_lesion_are_said_and_not_followed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lesions.csv");
        let rows = "FIRST/1,new,\nsecond/9,new,\nsecond/1,frist/1,left\nunread/1,new,\n";
        std::fs::write(&path, format!("lesion_id,same_as,clinical_label\n{rows}")).unwrap();
        let cases = [course("first", 100), course("second", 400), course("unread", 500)];
        let lesions =
            LesionsByCase::from([(Token::new("first"), at(0.0)), (Token::new("second"), at(40.0))]);
        let mut file = LesionFile::read(&path).unwrap();
        let said = file.settle(&cases, &lesions);
        let said: Vec<String> = said.iter().map(Unmatched::sentence).collect();
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(
            said[0].starts_with("row 3 of lesions.csv, column lesion_id: `second/9`: no lesion")
        );
        assert!(said[0].contains("the nearest is `second/1`"), "{said:?}");
        assert!(said[1].starts_with("row 4 of lesions.csv, column same_as: `frist/1`"), "{said:?}");
        assert!(said[1].ends_with("the nearest is `first/1`"), "{said:?}");
        let decided: Vec<&str> = file.decisions().keys().map(String::as_str).collect();
        assert_eq!(decided, ["first/1", "second/1", "unread/1"]);
        let second = &file.decisions()["second/1"];
        assert_eq!(
            (second.same_as.as_ref(), second.clinical_label.as_deref()),
            (None, Some("left"))
        );
        file.propose(&cases, &lesions, &[]);
        assert_eq!(file.file.row_count(), 4, "the rows of both lesions are there");
    }

    #[test]
    fn faults_name_the_row() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lesions.csv");
        let message = |rows: &str| {
            std::fs::write(&path, format!("lesion_id,same_as\n{rows}")).unwrap();
            LesionFile::read(&path).unwrap_err().reason
        };
        assert!(message("a/1,a/1\n").contains("row 2: same_as is the lesion itself"));
        assert!(message(",a/1\n").contains("row 2: lesion_id is empty"));
        assert!(message("a/1,new\na/1,b/1\n").contains("row 3: an earlier row"));
    }
}
