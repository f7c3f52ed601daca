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
use super::measures::{Measured, PlanGroup, Quantity};
use super::{Curves, Files, Study};
use tidydose_table::run::{CAUTION, words};
use tidydose_table::user::outcomes::Outcome;

const FOLDER: &str = "figures";

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

/// A group with words in place of underscores.
fn named(group: &str) -> String {
    group.replace('_', " ")
}
