//! Which names a structure may have that nobody has named: what the rules read, what the words of its
//! name allow, what is spelled alike, held against size and side. Shape alone names nothing: it
//! ranks, and it contradicts.

use super::alike_shapes::Alike;
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
}

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
        let Some((volume, window)) = self.volume_cc.zip(volume_window(name)) else {
            return Verdict::Fits(String::new());
        };
        let cc = shown(volume);
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

/// The names that a structure may have, the best first.
pub(super) fn suggestions(
    roi: &NamedRoi,
    row: Proposed<'_>,
    shape: Shape,
    alike: &[Alike],
) -> Vec<Suggestion> {
    let mut ranked = Vec::new();
    let mut all = candidates(roi, row, shape);
    for like in alike {
        let why = "by place and size alone: look at the picture".to_owned();
        all.push((Source::Shape, like.name.clone(), why));
    }
    for (source, name, why) in all {
        let (rank, words) = match (source, shape.verdict(&name)) {
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
        let likely = rank < 2 && source < Source::Spelling;
        ranked.push((source, rank, Suggestion { answer: name, why, likely }));
    }
    ranked.sort_by_key(|(source, rank, _)| (*rank == 2, *source, *rank));
    let mut list: Vec<Suggestion> = Vec::new();
    for (_, _, suggestion) in ranked {
        if !list.iter().any(|s| s.answer == suggestion.answer) {
            list.push(suggestion);
        }
    }
    list.truncate(MOST);
    list
}

fn candidates(roi: &NamedRoi, row: Proposed<'_>, shape: Shape) -> Vec<(Source, String, String)> {
    let mut list = Vec::new();
    let stated = if row.elsewhere { "decided so in another study" } else { "read so by a rule" };
    if !row.standard.is_empty() {
        list.push((Source::Stated, row.standard.to_owned(), stated.to_owned()));
    } else if row.elsewhere && row.role != Role::Unknown.word() {
        list.push((Source::Stated, format!("{ROLE}{}", row.role), stated.to_owned()));
    } else if !matches!(roi.role, Role::Unknown | Role::Organ) {
        let why = "so by the type that the file states, or by its name";
        list.push((Source::Stated, format!("{ROLE}{}", roi.role.word()), why.to_owned()));
    }
    let certain = roi.original.replace(DOUBT, "");
    if certain != roi.original
        && let Some(name) = recognise(&certain).standard
    {
        list.push((Source::Words, name, "its name without the author's doubt".to_owned()));
    }
    let allowed = roi.possible_organs();
    if let Some(PossibleOrgans::OneOf(roots, _)) = &allowed {
        for root in roots {
            for name in sided(root, shape.side) {
                if allowed.as_ref().is_some_and(|a| a.allows(&name)) {
                    list.push((Source::Words, name, "its words may mean it".to_owned()));
                }
            }
        }
    }
    for name in nearest_standard(&roi.original, &[]) {
        list.push((Source::Spelling, name, "spelled alike".to_owned()));
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
    use super::*;
    use tidydose_case::NameBasis;

    fn roi(original: &str, role: Role) -> NamedRoi {
        let (number, standard, basis) = (1, None, NameBasis::Ambiguous);
        NamedRoi { number, original: original.to_owned(), standard, role, basis }
    }

    fn answers(name: &str, volume_cc: f64, side: Option<SeenSide>) -> Vec<(String, bool)> {
        let row = Proposed { standard: "", role: "unknown", elsewhere: false };
        let shape = Shape { volume_cc: Some(volume_cc), side };
        let list = suggestions(&roi(name, Role::Unknown), row, shape, &[]);
        list.into_iter().map(|s| (s.answer, s.likely)).collect()
    }

    #[test]
    fn size_and_side_rank_what_the_words_allow_and_name_nothing_alone() {
        let first = |list: &[(String, bool)]| list.first().cloned();
        let brain = Some(("Brain".to_owned(), true));
        assert_eq!(first(&answers("Cerebro", 1300.0, None)), brain);
        let stem = answers("Tronco", 25.0, None);
        assert_eq!(first(&stem), Some(("Brainstem".to_owned(), true)), "{stem:?}");
        let right = answers("Lente", 0.2, Some(SeenSide::Right));
        assert_eq!(first(&right), Some(("Lens_R".to_owned(), true)), "{right:?}");
        assert!(!right.iter().any(|(name, _)| name == "Lens_L"), "{right:?}");
        assert!(!answers("Tronco", 0.2, None).iter().any(|(name, _)| name == "Brainstem"));
        // The size of a brainstem under a name that says nothing proposes nothing by one key.
        assert!(answers("x1", 25.0, None).iter().all(|(_, likely)| !likely));
    }

    #[test]
    fn what_is_stated_is_shown_with_what_contradicts_it() {
        let row = Proposed { standard: "Brainstem", role: "organ", elsewhere: true };
        let shape = Shape { volume_cc: Some(0.5), side: None };
        let list = suggestions(&roi("BS", Role::Unknown), row, shape, &[]);
        let stated = list.iter().find(|s| s.answer == "Brainstem").unwrap();
        assert!(!stated.likely && stated.why.contains("cannot be it, 12 to 60"), "{stated:?}");
        let row = Proposed { standard: "", role: "unknown", elsewhere: false };
        let list = suggestions(&roi("met 3?", Role::Gtv), row, Shape::default(), &[]);
        assert_eq!((list[0].answer.as_str(), list[0].likely), ("role:gtv", true));
        let doubted = answers("Brain-GTV?", 1416.0, None);
        assert_eq!(doubted.first(), Some(&("Brain-GTV".to_owned(), true)), "{doubted:?}");
        // That something is an organ names it by nothing.
        let list = suggestions(&roi("x1", Role::Organ), row, Shape::default(), &[]);
        assert!(!list.iter().any(|s| s.answer.starts_with(ROLE)), "{list:?}");
    }

    #[test]
    fn shape_alone_is_shown_and_only_word_and_shape_together_take_one_key() {
        let row = Proposed { standard: "", role: "unknown", elsewhere: false };
        let alike = [Alike { name: "Brain".to_owned(), mm: 2.0, times: 1.1, count: 9 }];
        let of = |name: &str| {
            let list = suggestions(&roi(name, Role::Unknown), row, Shape::default(), &alike);
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
