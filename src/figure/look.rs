//! How groups are told apart: by colour, by dashes and by the shape of marks at once, so that a figure
//! is read in grey, and by people who see colours otherwise.

/// How a group is drawn: colours of Okabe and Ito by rank, with a line and a mark of its own. From the
/// sixth group on colours come again, with other dashes and marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look(pub usize);

/// Blue, vermilion, green, purple and black of Okabe and Ito.
const COLOURS: [&str; 5] = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000"];
const DASHES: [&str; 5] = ["none", "22 9", "5 7", "22 7 5 7", "40 9"];
/// Marks about a point, as wide as 18 units.
const MARKS: [&str; 5] = [
    "m-9 0a9 9 0 1 0 18 0a9 9 0 1 0 -18 0",
    "m0 -11l10 18h-20z",
    "m-8 -8h16v16h-16z",
    "m0 -11l11 11l-11 11l-11 -11z",
    "m-8 -8l16 16m0 -16l-16 16",
];
/// The same in small.
const SMALL_MARKS: [&str; 5] = [
    "m-6 0a6 6 0 1 0 12 0a6 6 0 1 0 -12 0",
    "m0 -8l7 12h-14z",
    "m-5.5 -5.5h11v11h-11z",
    "m0 -8l8 8l-8 8l-8 -8z",
    "m-6 -6l12 12m0 -12l-12 12",
];

/// Groups that can be told apart; the next would look like the first.
pub const LOOKS: usize = 25;

impl Look {
    pub(super) fn colour(self) -> &'static str {
        COLOURS[self.0 % COLOURS.len()]
    }

    /// Moves on by one with each round of the colours.
    fn shape(self) -> usize {
        (self.0 + self.0 / COLOURS.len()) % DASHES.len()
    }

    pub(super) fn dash(self) -> &'static str {
        DASHES[self.shape()]
    }

    pub(super) fn mark(self) -> &'static str {
        MARKS[self.shape()]
    }

    pub(super) fn small_mark(self) -> &'static str {
        SMALL_MARKS[self.shape()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// That the colours differ for every sight is in `tests/colours.rs`. In grey some are alike: what
    /// is left are dashes and marks, which differ for the groups of one round; and no two of twenty-five groups share both colour and dashes.
    #[test]
    fn groups_are_told_apart_without_colour() {
        let all = |look: Look| (look.colour(), look.dash(), look.mark());
        assert_eq!(all(Look(LOOKS)), all(Look(0)), "no further one");
        for a in 0..LOOKS {
            for b in a + 1..LOOKS {
                let (a, b) = (Look(a), Look(b));
                let alike = a.dash() == b.dash() && a.mark() == b.mark();
                if a.0 / 5 == b.0 / 5 {
                    assert!(!alike && a.small_mark() != b.small_mark(), "{a:?} {b:?}");
                }
                assert!(!(alike && a.colour() == b.colour()), "{a:?} {b:?}");
            }
        }
    }
}
