//! One question for each name that nobody has decided, with what was seen of its structures.

use std::collections::{BTreeMap, BTreeSet};

use super::alike_shapes::{Alike, KnownShapes};
use super::odds::Odds;
use super::suggestions::{Proposed, Shape, shown, suggestions};
use super::{Accepts, Fact, Key, Part, Place, Question, counted};
use crate::user::names::NamesFile;
use crate::user::seen::{EvidenceByCase, Seen, seen_by_name};
use tidydose_analyse::{SeenSide, ShapeEvidence};
use tidydose_case::{Case, Decoration, ELSEWHERE, NameBasis, NamedRoi, Role, decoration};
use tidydose_geometry::point::{length, sub};

/// A structure of a name, with what its shape says.
struct One<'a> {
    case: &'a Case,
    roi: &'a NamedRoi,
    shape: Option<&'a ShapeEvidence>,
}

/// The names that nobody has decided.
#[must_use]
pub fn of_names(file: &NamesFile, cases: &[Case], evidence: &EvidenceByCase) -> Vec<Question> {
    let mut by_name: BTreeMap<&str, Vec<One<'_>>> = BTreeMap::new();
    for case in cases {
        for roi in &case.names {
            if !matches!(roi.basis, NameBasis::Ambiguous | NameBasis::None) {
                continue;
            }
            let shape = of_case(case, evidence).iter().find(|e| e.roi_number == roi.number);
            by_name.entry(&roi.original).or_default().push(One { case, roi, shape });
        }
    }
    let seen = seen_by_name(cases, evidence);
    let nothing = Seen::default();
    let known = KnownShapes::of(cases, evidence);
    let mut questions = Vec::new();
    for (name, list) in by_name {
        let seen = seen.get(name).unwrap_or(&nothing);
        questions.extend(question(name, &list, file, (seen, evidence, &known)));
    }
    questions
}

fn of_case<'e>(case: &Case, evidence: &'e EvidenceByCase) -> &'e [ShapeEvidence] {
    evidence.get(&case.id).map_or(&[], Vec::as_slice)
}

fn question(
    name: &str,
    list: &[One<'_>],
    file: &NamesFile,
    (seen, evidence, known): (&Seen, &EvidenceByCase, &KnownShapes),
) -> Option<Question> {
    let first = list.first()?;
    let row = file.row_of(name);
    let text = |column| row.map_or("", |row| file.rows().text(row, column));
    let shape =
        Shape { volume_cc: seen.median_cc(), side: one_side(list), place_mm: seen.place_mm() };
    let proposed = Proposed {
        standard: text("proposed_standard"),
        role: text("proposed_role"),
        elsewhere: text("basis") == ELSEWHERE,
    };
    let alike = known.like(seen);
    let cases: BTreeSet<_> = list.iter().map(|one| &one.case.id).collect();
    let key = Key::of(Place::Names, name);
    let part = |one: &One<'_>| Part {
        key: key.clone().in_plan(one.case.id.as_str()).of_roi(one.roi.number),
        title: format!("plan {}, ROI Number {}", one.case.id, one.roi.number),
        seen: words_of(one),
        structure: Some((one.case.id.clone(), one.roi.number)),
    };
    let structures = counted(list.len(), "structure");
    Some(Question {
        place: Place::Names,
        title: if name.trim().is_empty() { "(no name)".to_owned() } else { name.to_owned() },
        asks: "What is the structure of this name?".to_owned(),
        cases: cases.len(),
        facts: facts(list, (seen, &alike), evidence),
        accepts: Accepts::Name,
        suggestions: suggestions(first.roi, proposed, Odds { shape, known }, &alike),
        all: Some(key.clone()),
        all_words: format!("{structures} called so"),
        parts: list.iter().map(part).collect(),
        volume_cc: shape.volume_cc,
    })
}

/// The side, where all lie on the same.
fn one_side(list: &[One<'_>]) -> Option<SeenSide> {
    let mut sides = list.iter().filter_map(|one| one.shape?.side);
    let first = sides.next()?;
    sides.all(|side| side == first).then_some(first)
}

fn words_of(one: &One<'_>) -> String {
    let mut words: Vec<String> =
        one.case.patient.iter().map(|patient| format!("patient {patient}")).collect();
    match one.shape {
        None => words.push("no volume".to_owned()),
        Some(shape) => {
            words.push(format!("{} cc", shown(shape.volume_cc)));
            words.extend(shape.side.map(|side| side.word().to_owned()));
        }
    }
    words.join(", ")
}

fn facts(
    list: &[One<'_>],
    (seen, alike): (&Seen, &[Alike]),
    evidence: &EvidenceByCase,
) -> Vec<Fact> {
    let mut facts = Vec::new();
    let mut say = |what, seen: String| {
        if !seen.is_empty() {
            facts.push(Fact { what, seen });
        }
    };
    let patients: BTreeSet<_> = list.iter().filter_map(|one| one.case.patient.as_ref()).collect();
    let (structures, patients) =
        (counted(list.len(), "structure"), counted(patients.len(), "patient"));
    say("How often", format!("{structures} of {patients}"));
    let volume = match seen.median_cc().zip(seen.range_cc()) {
        None => "none was read".to_owned(),
        Some((median, [low, high])) if low == high => format!("{} cc", shown(median)),
        Some((median, [low, high])) => {
            let [median, low, high] = [median, low, high].map(shown);
            format!("{median} cc in the middle, {low} to {high} cc in all")
        }
    };
    say("Volume", volume);
    say("Side of the middle plane", seen.sides());
    let from_brain = seen.from_brain();
    let from_brain = if from_brain.is_empty() { from_brain } else { format!("{from_brain} (mm)") };
    say("From the middle of the brain", from_brain);
    say("Nearest known structures", neighbours(list, evidence));
    let alike = alike.iter().map(|a| format!("{}: {}", a.name, a.words()));
    say("Like in place and size", alike.collect::<Vec<_>>().join("\n"));
    let added = list.first().map(|one| beside(decoration(&one.roi.original)));
    say("Besides, the name says", added.unwrap_or_default());
    facts
}

/// What a name says beside what the structure is.
fn beside(decoration: Decoration) -> String {
    let parts = [
        (decoration.doubted, "its author was not certain"),
        (decoration.superseded, "an earlier version or a copy"),
        (decoration.automatic, "drawn by a program"),
        (decoration.dated, "a date"),
    ];
    let said = parts.iter().filter(|(is, _)| *is).map(|(_, words)| *words);
    said.collect::<Vec<_>>().join(", ")
}

/// So many neighbours are named.
const NEIGHBOURS: usize = 4;

/// The known structures whose centres lie nearest, with the median distance; only those that are
/// there in at least half of the cases.
fn neighbours(list: &[One<'_>], evidence: &EvidenceByCase) -> String {
    let mut distances: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    let mut seen = 0_usize;
    for one in list {
        let Some(own) = one.shape else { continue };
        seen += 1;
        for other in of_case(one.case, evidence) {
            let named = one.case.name(other.roi_number);
            let organ = named.filter(|n| n.role == Role::Organ);
            let standard = organ.and_then(|n| n.standard.as_deref());
            let Some(standard) = standard.filter(|_| other.roi_number != own.roi_number) else {
                continue;
            };
            let mm = length(sub(own.centre_mm, other.centre_mm));
            distances.entry(standard).or_default().push(mm);
        }
    }
    let mut near: Vec<(f64, &str)> = Vec::new();
    for (name, mut list) in distances {
        list.sort_by(f64::total_cmp);
        if 2 * list.len() >= seen
            && let Some(median) = list.get(list.len() / 2)
        {
            near.push((*median, name));
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
    let words = near.iter().take(NEIGHBOURS).map(|(mm, name)| format!("{name} {mm:.0} mm"));
    words.collect::<Vec<_>>().join(", ")
}
