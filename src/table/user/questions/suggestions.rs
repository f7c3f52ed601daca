//! Which names a structure may have that nobody has named: what the rules read, what the words of its
//! name allow, what is spelled alike, held against size and side. Shape alone names nothing: it
//! ranks, it chooses among what the words allow, and it contradicts.

use super::alike_shapes::Alike;
use super::odds::{ODDS, Odds};
use super::{ROLE, Suggestion};
use crate::write_csv::number;
use tidydose_analyse::SeenSide;
use tidydose_case::{
    NamedRoi, PossibleOrgans, Role, VolumeWindow, has_size_of, is_standard_name, nearest_standard,
    recognise, volume_window,
};

/// So many are shown.
const MOST: usize = 5;
/// By which an author says that a name is not certain.
const DOUBT: [char; 3] = ['?', '？', '¿'];

/// What the shapes of the structures of one name say.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shape {
    /// Median volume, cc.
    pub(super) volume_cc: Option<f64>,
    /// The side, where all lie on one.
    pub(super) side: Option<SeenSide>,
    /// Median place against the middle of the brain, mm.
    pub(super) place_mm: Option<[f64; 3]>,
}

/// The outline of the patient holds the brain, so that it is larger.
const OUTLINE: &str = "External";
const INSIDE: &str = "Brain";

/// How a shape stands to a name.
#[derive(Debug, Clone, PartialEq)]
enum Verdict {
    /// Nothing speaks against it.
    Fits(String),
    /// Something does, but it may still be meant.
    Odd(String),
    /// It cannot be meant.
    Impossible(String),
}

impl Shape {
    fn verdict(self, name: &str) -> Verdict {
        let other_side = match (name.rsplit('_').next(), self.side) {
            (Some("L"), Some(SeenSide::Right)) => Some("right"),
            (Some("R"), Some(SeenSide::Left)) => Some("left"),
            _ => None,
        };
        if let Some(side) = other_side {
            return Verdict::Impossible(format!("it lies on the {side}"));
        }
        let Some(volume) = self.volume_cc else { return Verdict::Fits(String::new()) };
        let cc = shown(volume);
        if name == OUTLINE && volume_window(INSIDE).is_some_and(|w| volume < w.low_cc) {
            return Verdict::Impossible(format!("{cc} cc are less than a brain"));
        }
        // A size that was not published ranks, and is not held against a name.
        let window = volume_window(name).filter(VolumeWindow::may_contradict);
        let Some(window) = window else { return Verdict::Fits(String::new()) };
        let VolumeWindow { low_cc, high_cc, source } = window;
        let usual = format!("{low_cc} to {high_cc} cc are plausible ({source})");
        if (window.low_cc..=window.high_cc).contains(&volume) {
            Verdict::Fits(format!("{cc} cc is plausible"))
        } else if has_size_of(name, volume) {
            Verdict::Odd(format!("{cc} cc is unusual, {usual}"))
        } else {
            Verdict::Impossible(format!("{cc} cc cannot be it, {usual}"))
        }
    }
}

/// Where a name comes from, the better ones first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Source {
    /// A rule, the file, or another study says it.
    Stated,
    /// The words of the name allow it.
    Words,
    /// It is spelled alike.
    Spelling,
    /// Nothing but place and size.
    Shape,
}

/// The row that the program wrote for a name.
#[derive(Debug, Clone, Copy)]
pub(super) struct Proposed<'r> {
    pub(super) standard: &'r str,
    pub(super) role: &'r str,
    pub(super) elsewhere: bool,
}

/// A name that a structure may have.
#[derive(Debug, Clone)]
struct Candidate {
    source: Source,
    name: String,
    why: String,
}

/// The names that a structure may have, the best first.
pub(super) fn suggestions(
    roi: &NamedRoi,
    row: Proposed<'_>,
    odds: Odds<'_>,
    alike: &[Alike],
) -> Vec<Suggestion> {
    let mut all = candidates(roi, row, odds.shape);
    for like in alike {
        let why = "by place and size alone: look at the picture".to_owned();
        all.push(Candidate { source: Source::Shape, name: like.name.clone(), why });
    }
    let rivals = rivals(&all, odds);
    let mut ranked = Vec::new();
    for Candidate { source, name, why } in all {
        let (rank, words) = match (source, odds.shape.verdict(&name)) {
            (_, Verdict::Fits(words)) => (0, words),
            (_, Verdict::Odd(words)) => (1, words),
            // What is stated is shown with what contradicts it.
            (Source::Stated, Verdict::Impossible(words)) => (2, words),
            (_, Verdict::Impossible(_)) => continue,
        };
        let why = if words.is_empty() { why } else { format!("{why}; {words}") };
        // Word and shape agree: the most alike of the archive has the name that is spelled alike.
        let agrees = source == Source::Spelling && alike.first().is_some_and(|a| a.name == name);
        let source = if agrees { Source::Words } else { source };
        let why = if agrees { format!("{why}, and most alike in place and size") } else { why };
        let others = || rivals.iter().filter(|other| **other != name);
        let chosen =
            source == Source::Stated || others().all(|other| odds.between(&name, other) >= ODDS);
        let likely = rank == 0 && source < Source::Spelling && chosen;
        let beaten = others().filter(|other| odds.between(&name, other) < 1.0).count();
        let beaten = if source == Source::Words { beaten } else { 0 };
        ranked.push((source, rank, beaten, Suggestion { answer: name, why, likely }));
    }
    ranked.sort_by_key(|(source, rank, beaten, _)| (*rank == 2, *source, *rank, *beaten));
    let mut list: Vec<Suggestion> = Vec::new();
    for (_, _, _, suggestion) in ranked {
        if !list.iter().any(|s| s.answer == suggestion.answer) {
            list.push(suggestion);
        }
    }
    list.truncate(MOST);
    list
}

/// The names that the words allow and the shape does not rule out: what a name that is taken by one
/// key has to be likelier than.
fn rivals(all: &[Candidate], odds: Odds<'_>) -> Vec<String> {
    let possible = |name: &str| !matches!(odds.shape.verdict(name), Verdict::Impossible(_));
    let by_words = all.iter().filter(|c| c.source == Source::Words && possible(&c.name));
    by_words.map(|c| c.name.clone()).collect()
}

fn candidates(roi: &NamedRoi, row: Proposed<'_>, shape: Shape) -> Vec<Candidate> {
    let mut list = Vec::new();
    let mut add = |source, name, why: &str| {
        list.push(Candidate { source, name, why: why.to_owned() });
    };
    let stated = if row.elsewhere { "decided so in another study" } else { "read so by a rule" };
    if !row.standard.is_empty() {
        add(Source::Stated, row.standard.to_owned(), stated);
    } else if row.elsewhere && row.role != Role::Unknown.word() {
        add(Source::Stated, format!("{ROLE}{}", row.role), stated);
    } else if !matches!(roi.role, Role::Unknown | Role::Organ) {
        let why = "so by the type that the file states, or by its name";
        add(Source::Stated, format!("{ROLE}{}", roi.role.word()), why);
    }
    let certain = roi.original.replace(DOUBT, "");
    if certain != roi.original
        && let Some(name) = recognise(&certain).standard
    {
        add(Source::Words, name, "its name without the author's doubt");
    }
    let allowed = roi.possible_organs();
    if let Some(PossibleOrgans::OneOf(roots, _)) = &allowed {
        for root in roots {
            for name in sided(root, shape.side) {
                if allowed.as_ref().is_some_and(|a| a.allows(&name)) {
                    add(Source::Words, name, "its words may mean it");
                }
            }
        }
    }
    for name in nearest_standard(&roi.original, &[]) {
        add(Source::Spelling, name, "spelled alike");
    }
    list
}

/// The standard names of an organ: itself, or that of each side, the seen one first.
fn sided(root: &str, seen: Option<SeenSide>) -> Vec<String> {
    if is_standard_name(root) {
        return vec![root.to_owned()];
    }
    let sides = if seen == Some(SeenSide::Right) { ["R", "L"] } else { ["L", "R"] };
    sides.map(|side| format!("{root}_{side}")).to_vec()
}

/// A volume with two or three digits, as people read it.
pub(super) fn shown(volume_cc: f64) -> String {
    let steps = match volume_cc {
        v if v >= 100.0 => 1.0,
        v if v >= 10.0 => 10.0,
        v if v >= 1.0 => 100.0,
        _ => 1000.0,
    };
    number((volume_cc * steps).round() / steps)
}

#[cfg(test)]
mod tests {
    use super::super::alike_shapes::KnownShapes;
    use super::*;
    use tidydose_case::NameBasis;

    fn roi(original: &str, role: Role) -> NamedRoi {
        let (number, standard, basis) = (1, None, NameBasis::Ambiguous);
        NamedRoi { number, original: original.to_owned(), standard, role, basis }
    }

    const NOTHING: Proposed<'static> = Proposed { standard: "", role: "unknown", elsewhere: false };

    /// What is suggested in an archive of which nothing is known.
    fn suggested(roi: &NamedRoi, row: Proposed<'_>, shape: Shape) -> Vec<Suggestion> {
        suggestions(roi, row, Odds { shape, known: &KnownShapes::default() }, &[])
    }

    fn answers(name: &str, volume_cc: f64, side: Option<SeenSide>) -> Vec<(String, bool)> {
        let shape = Shape { volume_cc: Some(volume_cc), side, place_mm: None };
        let list = suggested(&roi(name, Role::Unknown), NOTHING, shape);
        list.into_iter().map(|s| (s.answer, s.likely)).collect()
    }

    #[test]
    fn size_and_side_rank_what_the_words_allow_and_name_nothing_alone() {
        let first = |list: &[(String, bool)]| list.first().cloned();
        // The brain or the cerebrum: the likelier one comes first and takes no single key.
        let brain = Some(("Brain".to_owned(), false));
        assert_eq!(first(&answers("Cerebro", 1300.0, None)), brain);
        let cerebrum = Some(("Cerebrum".to_owned(), false));
        assert_eq!(first(&answers("Cerebro", 900.0, None)), cerebrum);
        let stem = answers("Tronco", 25.0, None);
        assert_eq!(first(&stem), Some(("Brainstem".to_owned(), true)), "{stem:?}");
        let right = answers("Lente", 0.2, Some(SeenSide::Right));
        assert_eq!(first(&right), Some(("Lens_R".to_owned(), true)), "{right:?}");
        assert!(!right.iter().any(|(name, _)| name == "Lens_L"), "{right:?}");
        let either = answers("Lente", 0.2, None);
        assert!(either.len() > 1 && either.iter().all(|(_, likely)| !likely), "{either:?}");
        assert!(!answers("Tronco", 0.2, None).iter().any(|(name, _)| name == "Brainstem"));
        // A part of a brainstem, or none: it is proposed with what speaks against it, and no more.
        assert_eq!(first(&answers("Tronco", 5.0, None)), Some(("Brainstem".to_owned(), false)));
        // What is called skin has the size of a head or of a layer.
        assert_eq!(first(&answers("Haut", 4500.0, None)), Some(("External".to_owned(), false)));
        assert_eq!(first(&answers("Haut", 300.0, None)), Some(("Skin".to_owned(), false)));
        // The size of a brainstem under a name that says nothing proposes nothing by one key.
        assert!(answers("x1", 25.0, None).iter().all(|(_, likely)| !likely));
    }

    #[test]
    fn what_is_stated_is_shown_with_what_contradicts_it() {
        let row = Proposed { standard: "Brainstem", role: "organ", elsewhere: true };
        let shape = Shape { volume_cc: Some(0.5), ..Shape::default() };
        let list = suggested(&roi("BS", Role::Unknown), row, shape);
        let stated = list.iter().find(|s| s.answer == "Brainstem").unwrap();
        assert!(!stated.likely && stated.why.contains("cannot be it, 12 to 60"), "{stated:?}");
        let list = suggested(&roi("met 3?", Role::Gtv), NOTHING, Shape::default());
        assert_eq!((list[0].answer.as_str(), list[0].likely), ("role:gtv", true));
        let doubted = answers("Brain-GTV?", 1416.0, None);
        assert_eq!(doubted.first(), Some(&("Brain-GTV".to_owned(), true)), "{doubted:?}");
        // That something is an organ names it by nothing.
        let list = suggested(&roi("x1", Role::Organ), NOTHING, Shape::default());
        assert!(!list.iter().any(|s| s.answer.starts_with(ROLE)), "{list:?}");
    }

    #[test]
    fn shape_alone_is_shown_and_only_word_and_shape_together_take_one_key() {
        let name = "Brain".to_owned();
        let alike = [Alike { name, mm: 2.0, times: 1.1, count: 9, opposite: false }];
        let odds = Odds { shape: Shape::default(), known: &KnownShapes::default() };
        let of = |name: &str| {
            let list = suggestions(&roi(name, Role::Unknown), NOTHING, odds, &alike);
            let found = list.into_iter().find(|s| s.answer == "Brain").unwrap();
            (found.likely, found.why)
        };
        assert_eq!(of("x1"), (false, "by place and size alone: look at the picture".to_owned()));
        let (likely, why) = of("brain_normal");
        assert!(likely && why.ends_with("and most alike in place and size"), "{why}");
    }

    #[test]
    fn volumes_are_shown_with_few_digits() {
        assert_eq!([1312.4, 27.26, 2.346, 0.0123].map(shown), ["1312", "27.3", "2.35", "0.012"]);
    }
}
