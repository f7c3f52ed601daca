//! Where a recurrence lies: the share of its volume inside an isodose, cut by published edges, which
//! differ from paper to paper.

use super::{Bounded, class_of};

/// One published way to cut the share.
#[derive(Debug)]
pub struct PatternDefinition {
    /// Its word in column names.
    pub word: &'static str,
    /// The isodose, percent of the prescription.
    pub isodose_percent: f64,
    /// What the classes are, from the source.
    pub classes: &'static str,
    /// Where it is from, and what of it was read.
    pub reference: &'static str,
    /// The class of a share in percent.
    class: fn(f64) -> &'static str,
}

impl PatternDefinition {
    /// The class of a recurrence of which this share (percent) lies inside the isodose.
    #[must_use]
    pub fn class(&self, share_percent: Bounded) -> &'static str {
        class_of(share_percent, self.class)
    }
}

/// Every class that a definition may give.
pub const CLASSES: &[&str] =
    &["central", "in_field", "marginal", "distant", "outside", super::UNDECIDED];

/// The definitions, each with edges of its own.
pub static PATTERNS: &[PatternDefinition] = &[
    PatternDefinition {
        word: "gebhardt_2014",
        isodose_percent: 95.0,
        classes: "in_field > 80 %, marginal 20 to 80 %, distant < 20 % of the recurrence inside the 95 % isodose",
        reference: "Gebhardt et al. 2014, Radiat Oncol 9:130 (abstract read)",
        class: |share| match share {
            s if s > 80.0 => "in_field",
            s if s >= 20.0 => "marginal",
            _ => "distant",
        },
    },
    PatternDefinition {
        word: "mcdonald_2011",
        // Their line is that of 60 Gy, the dose they prescribed.
        isodose_percent: 100.0,
        classes: "central > 95 %, in_field more than 80 and up to 95 %, marginal 20 to 80 %, distant < 20 % inside the isodose of the prescription (there 60 Gy)",
        reference: "McDonald et al. 2011, IJROBP 79:130 (abstract read; volume and page not yet checked against the source)",
        // The source says 81 to 95 %: what lies between 80 and 81 counts as in-field here.
        class: |share| match share {
            s if s > 95.0 => "central",
            s if s > 80.0 => "in_field",
            s if s >= 20.0 => "marginal",
            _ => "distant",
        },
    },
    PatternDefinition {
        word: "lee_1999",
        isodose_percent: 95.0,
        classes: "central 95 % and more, in_field 80 to 95 %, marginal 20 to 80 %, outside < 20 % inside the 95 % isodose",
        reference: "Lee et al. 1999, IJROBP 43:79 (not yet checked against the source)",
        class: |share| match share {
            s if s >= 95.0 => "central",
            s if s >= 80.0 => "in_field",
            s if s >= 20.0 => "marginal",
            _ => "outside",
        },
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// The edges as the sources state them (`standards/follow_up.md` has what was read).
    #[test]
    fn edges_belong_to_the_side_that_each_source_states() {
        let class = |word: &str, share: f64| {
            let definition = PATTERNS.iter().find(|p| p.word == word).unwrap();
            definition.class(Bounded::exactly(share))
        };
        for (share, gebhardt, mcdonald, lee) in [
            (100.0, "in_field", "central", "central"),
            (95.0, "in_field", "in_field", "central"),
            (80.1, "in_field", "in_field", "in_field"),
            (80.0, "marginal", "marginal", "in_field"),
            (20.0, "marginal", "marginal", "marginal"),
            (19.9, "distant", "distant", "outside"),
            (0.0, "distant", "distant", "outside"),
        ] {
            assert_eq!(class("gebhardt_2014", share), gebhardt, "{share}");
            assert_eq!(class("mcdonald_2011", share), mcdonald, "{share}");
            assert_eq!(class("lee_1999", share), lee, "{share}");
        }
    }

    #[test]
    fn bounds_that_hold_an_edge_leave_the_class_open() {
        let share = |low, high| Bounded { value: 82.0, low, high };
        assert_eq!(PATTERNS[0].class(share(79.0, 85.0)), "undecided");
        assert_eq!(PATTERNS[0].class(share(80.5, 85.0)), "in_field");
        for definition in PATTERNS {
            for share in 0..=100 {
                let word = definition.class(Bounded::exactly(f64::from(share)));
                assert!(CLASSES.contains(&word) && definition.classes.contains(word));
            }
        }
    }
}
