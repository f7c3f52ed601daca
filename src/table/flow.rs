//! Table `flow`: what was found, what was left out and why, and what is counted, at five grains. At
//! each of them what was found is the sum of what was left out and what is counted: everything has
//! one state, and of several reasons the first one on the way from plan to value.

use strum::{IntoEnumIterator, VariantNames};

use super::column::{Column, Sheet, borrowed, count};
use super::study::Study;
use super::table::Table;
use super::tally::{DecidedBy, Grain, Reason};

pub(super) const TABLE: Table = Table {
    name: "flow",
    grain: "things of one grain in one state, with the reason",
    key: &["grain", "state", "code", "decided_by"],
    by_case: false,
    sheet,
};

struct FlowEntry {
    grain: Grain,
    state: &'static str,
    reason: Reason,
    number: usize,
}

const STATES: [&str; 3] = ["found", "left_out", "counted"];

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let counts = study.tally.complete(study.inventory);
    let mut rows = Vec::new();
    for grain in Grain::iter() {
        let own = || counts.iter().filter(|((g, _), _)| *g == grain);
        let row = |state, reason, number| FlowEntry { grain, state, reason, number };
        rows.push(row(STATES[0], None, own().map(|(_, n)| n).sum()));
        let left_out = own().filter(|((_, reason), _)| reason.is_some());
        rows.extend(left_out.map(|((_, reason), n)| row(STATES[1], *reason, *n)));
        let counted = counts.get(&(grain, None)).copied().unwrap_or(0);
        rows.push(row(STATES[2], None, counted));
    }
    Sheet::new(columns(), rows)
}

fn columns() -> Vec<Column<FlowEntry>> {
    vec![
        Column::word("grain", "what is counted", Grain::VARIANTS, |r| borrowed(r.grain.word())),
        Column::word(
            "state",
            "found is the sum of left_out and counted; counted is what is in the study, see \
             plans.in_study; a lesion is known once contours were read",
            &STATES,
            |r| borrowed(r.state),
        ),
        Column::text(
            "code",
            "first reason: code of a finding, or status; missing where there is none",
            |r| r.reason.and_then(|(code, _)| borrowed(code)),
        ),
        Column::word(
            "decided_by",
            "who left it out; missing where nobody did",
            DecidedBy::VARIANTS,
            |r| r.reason.and_then(|(_, by)| borrowed(by.word())),
        ),
        Column::integer("n", "", "how many", |r| count(r.number)),
    ]
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::Cell;
    use crate::example::Example;
    use crate::tally::Tally;

    #[test]
    fn at_every_grain_the_numbers_add_up() {
        let example = Example::new();
        let mut tally = Tally::default();
        for case in &example.cases {
            tally.add(case, example.analyses.iter().find(|a| a.case == case.id));
        }
        let sheet = sheet(&Study { tally: &tally, ..example.study() });
        let text = |row, column| match sheet.cell(row, column) {
            Cell::Text(text) => text.into_owned(),
            _ => String::new(),
        };
        let mut sums: BTreeMap<(String, String), i64> = BTreeMap::new();
        for row in 0..sheet.row_count() {
            let Cell::Integer(n) = sheet.cell(row, 4) else { panic!("row {row} has no number") };
            *sums.entry((text(row, 0), text(row, 1))).or_insert(0) += n;
            assert_eq!(text(row, 1) == "left_out", !text(row, 2).is_empty());
        }
        for grain in Grain::iter() {
            let sum = |state: &str| {
                sums.get(&(grain.word().to_owned(), state.to_owned())).copied().unwrap_or(0)
            };
            assert_eq!(sum("found"), sum("left_out") + sum("counted"), "{grain:?}");
        }
        let one = &example.analyses[0];
        let measured = i64::try_from(one.measurements.len() + one.regions.len()).unwrap();
        let of = |grain: &str, state: &str| sums[&(grain.to_owned(), state.to_owned())];
        assert_eq!((of("plan", "found"), of("plan", "left_out")), (2, 1));
        assert_eq!(of("value", "found"), measured);
    }
}
