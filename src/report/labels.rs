//! Words beside the lines of a picture: each at the first of its places where it covers no other word
//! and stays inside; one that finds none is left to the caption.

/// A word that wants a place.
#[derive(Debug, Clone)]
pub(super) struct Label {
    pub(super) text: String,
    pub(super) class: &'static str,
    /// Places of its middle, the best first.
    pub(super) places: Vec<[f64; 2]>,
}

/// A word at its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PlacedLabel {
    pub(super) text: String,
    pub(super) class: &'static str,
    /// Its middle across, and its baseline.
    pub(super) at: [f64; 2],
}

/// Height of the letters.
pub(super) const HEIGHT: f64 = 13.0;
/// Width of a letter as a share of its height: of most fonts without serifs, capitals included.
const LETTER: f64 = 0.6;
/// From the middle of a word down to its baseline, as a share of its height.
const BASELINE: f64 = 0.35;

/// Puts each label where there is room, in the order given, inside of a square of this half side.
pub(super) fn place(labels: Vec<Label>, half: f64, kept_free: f64) -> Vec<PlacedLabel> {
    let mut taken = vec![Area { middle: [0.0, 0.0], half: [kept_free, kept_free] }];
    let mut placed = Vec::new();
    for label in labels {
        let half_size = size(&label.text).map(|s| s / 2.0);
        let free = |middle: &[f64; 2]| {
            let area = Area { middle: *middle, half: half_size };
            area.is_inside(half) && taken.iter().all(|t| !t.meets(&area))
        };
        let Some(middle) = label.places.iter().copied().find(free) else { continue };
        taken.push(Area { middle, half: half_size });
        let at = [middle[0], middle[1] + BASELINE * HEIGHT];
        placed.push(PlacedLabel { text: label.text, class: label.class, at });
    }
    placed
}

/// Width and height of a word.
#[expect(clippy::cast_precision_loss, reason = "a count of letters")]
pub(super) fn size(text: &str) -> [f64; 2] {
    [text.chars().count() as f64 * HEIGHT * LETTER, HEIGHT]
}

struct Area {
    middle: [f64; 2],
    half: [f64; 2],
}

impl Area {
    fn is_inside(&self, half: f64) -> bool {
        (0..2).all(|n| self.middle[n].abs() + self.half[n] <= half)
    }

    fn meets(&self, other: &Self) -> bool {
        (0..2).all(|n| (self.middle[n] - other.middle[n]).abs() < self.half[n] + other.half[n])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn label(text: &str, places: &[[f64; 2]]) -> Label {
        Label { text: text.to_owned(), class: "dose", places: places.to_vec() }
    }

    #[test]
    fn a_word_takes_the_first_place_that_is_free_and_inside() {
        let placed = place(
            vec![
                label("12", &[[40.0, 0.0], [0.0, 40.0]]),
                label("8", &[[45.0, 2.0], [0.0, 60.0]]),
                label("Brainstem", &[[90.0, 0.0], [0.0, -60.0]]),
                label("4", &[[40.0, 0.0], [2.0, 3.0]]),
            ],
            100.0,
            8.0,
        );
        let seen: Vec<_> = placed.iter().map(|p| (p.text.as_str(), p.at[0], p.at[1])).collect();
        let down = BASELINE * HEIGHT;
        // The second is moved away from the first, the third into the frame; the fourth would cover
        // the first or the middle and is left out.
        assert_eq!(
            seen,
            [("12", 40.0, down), ("8", 0.0, 60.0 + down), ("Brainstem", 0.0, -60.0 + down)]
        );
    }
}
