//! The figures of the folder, each with the numbers behind it as CSV of the same name and a caption:
//! what is drawn, of how many, who is left out and why, and the run it comes from. All in a folder.

mod bands;
mod courses;
mod limits;
mod spread;
mod there;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use serde_json::Value;

use super::comparisons::limit_shares;
use super::measures::{Measured, PlanGroup, Quantity, fraction_words};
use super::{Curves, Files, Study};
use tidydose_table::run::{CAUTION, words};
use tidydose_table::user::outcomes::Outcome;

pub(super) const FOLDER: &str = "figures";

/// A figure with what belongs to it.
struct Drawn {
    /// Name of its files without ending.
    name: String,
    svg: String,
    csv: Vec<u8>,
    caption: String,
}

/// Everything that figures are made of.
pub(super) struct Source<'s> {
    study: &'s Study<'s>,
    included: &'s BTreeSet<String>,
    places: &'s BTreeMap<String, PlanGroup>,
    /// Names of groups; their rank is their look in every figure.
    groups: Vec<&'s str>,
    curves: &'s Curves,
}

impl<'s> Source<'s> {
    /// The groups are those of the places.
    pub(super) fn of(
        study: &'s Study<'s>,
        included: &'s BTreeSet<String>,
        places: &'s BTreeMap<String, PlanGroup>,
        curves: &'s Curves,
    ) -> Self {
        let groups = super::comparisons::groups(places).into_iter().collect();
        Self { study, included, places, groups, curves }
    }

    fn look(&self, group: &str) -> tidydose_figure::Look {
        tidydose_figure::Look(self.groups.iter().position(|g| *g == group).unwrap_or(0))
    }
}

/// All figures and `captions.md`.
pub(super) fn files(
    source: &Source<'_>,
    measured: &[(Quantity, Measured)],
    outcomes: &[Outcome],
    run: &Value,
) -> Files {
    let mut drawn = vec![there::figure(source)];
    drawn.extend(courses::figure(source, outcomes));
    drawn.extend(limits::figure(source, &limit_shares(source.study, source.places)));
    drawn.extend(bands::figures(source));
    drawn.extend(measured.iter().filter_map(|(q, m)| spread::figure(source, q, m)));
    let mut files = Files::new();
    files.insert(format!("{FOLDER}/captions.md"), captions(&drawn, run).into_bytes());
    for figure in drawn {
        files.insert(format!("{FOLDER}/{}.svg", figure.name), figure.svg.into_bytes());
        if !figure.csv.is_empty() {
            files.insert(format!("{FOLDER}/{}.csv", figure.name), figure.csv);
        }
    }
    files
}

fn captions(drawn: &[Drawn], run: &Value) -> String {
    let of_run = words(run);
    let mut out = format!("{CAUTION}\n");
    for figure in drawn {
        let _ = writeln!(out, "\n## {}.svg\n\n{} {of_run}", figure.name, figure.caption);
    }
    out
}

/// Groups with fewer than so many, in a sentence of a caption: what a figure cannot show of them, a reader
/// would take for forgotten. Each is a number of fractions with a group and how many there are.
fn too_small(groups: &BTreeMap<(&str, &str), usize>, least: usize, for_what: &str) -> String {
    let small: Vec<String> = groups
        .iter()
        .filter(|(_, n)| **n < least)
        .map(|((fractions, group), n)| {
            format!("{}, {} ({n})", named(group), fraction_words(fractions))
        })
        .collect();
    if small.is_empty() {
        return String::new();
    }
    format!(" Too small for {for_what}: {}.", small.join("; "))
}

/// A group with words in place of underscores.
fn named(group: &str) -> String {
    group.replace('_', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_too_small_are_named_and_large_ones_are_not() {
        let groups =
            [(("1", "cobalt_unit"), 3), (("5", "gantry_linac"), 9), (("5", "other"), 1)].into();
        assert_eq!(
            too_small(&groups, 5, "a median"),
            " Too small for a median: cobalt unit, 1 fraction (3); other, 5 fractions (1)."
        );
        assert_eq!(too_small(&groups, 1, "a median"), "");
    }
}
