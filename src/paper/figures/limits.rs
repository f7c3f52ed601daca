//! Shares of plans above a limit by group, as a forest plot: what a committee and a reader compare first.

use super::{Drawn, Source, named};
use crate::comparisons::{GroupShare, LimitShares};
use crate::counted;
use tidydose_figure::{Axis, Forest, ForestRow};
use tidydose_table::clinical_words;
use tidydose_table::run::CAUTION;

/// Limits with fewer judged plans have no share worth drawing.
const LEAST: usize = 5;
/// Limits in the figure; those with most plans above come first, the sheet has all.
const MOST: usize = 10;

/// The figure; none where no plan is above any limit.
pub(super) fn figure(source: &Source<'_>, shares: &[LimitShares]) -> Option<Drawn> {
    let above = |l: &LimitShares| l.groups.iter().map(|g| g.above).sum::<usize>();
    let judged = |l: &LimitShares| l.groups.iter().map(|g| g.judged).sum::<usize>();
    let mut drawn: Vec<&LimitShares> =
        shares.iter().filter(|l| above(l) > 0 && judged(l) >= LEAST).collect();
    // Two sources may have the same limit: it is drawn once.
    let mut seen: Vec<[&str; 4]> = Vec::new();
    drawn.retain(|l| {
        let same = [&l.structure, &l.metric, &l.limit, &l.fractions].map(String::as_str);
        let new = !seen.contains(&same);
        seen.push(same);
        new
    });
    // The order of the sheet stays among equals.
    drawn.sort_by_key(|l| std::cmp::Reverse(above(l)));
    let others = drawn.len().saturating_sub(MOST);
    drawn.truncate(MOST);
    if drawn.is_empty() {
        return None;
    }
    let mut rows = Vec::new();
    for limit in &drawn {
        let quantity = clinical_words::quantity(&limit.structure, &limit.metric);
        // The limit has the unit.
        let quantity = quantity.split(" (").next().unwrap_or_default();
        rows.push(ForestRow {
            label: format!("{quantity} {}, {}", limit.limit, limit.fractions),
            estimate: None,
            words: String::new(),
        });
        rows.extend(limit.groups.iter().map(row));
    }
    let highest = drawn.iter().flat_map(|l| &l.groups).filter_map(|g| g.ends).map(|e| e[1]);
    let mut caption = format!(
        "Shares of plans above {} by {}, with exact 95 % intervals; at the end plans above of plans \
         judged. Undecided and unknown plans are in no share. Limits in force in the study with a plan \
         above and at least {LEAST} judged.",
        counted(drawn.len(), "limit"),
        counted(source.groups.len(), "group")
    );
    if others > 0 {
        caption.push_str(&format!(" {} more: limit_shares.csv.", counted(others, "limit")));
    }
    let forest = Forest {
        title: "Shares of plans above a limit".to_owned(),
        description: caption.clone(),
        x: Axis::shares("Plans above", highest.fold(0.0, f64::max)),
        reference: None,
        rows,
        foot: CAUTION.to_owned(),
    };
    let svg = forest.svg();
    Some(Drawn { name: "limit_shares".to_owned(), svg, csv: Vec::new(), caption })
}

fn row(group: &GroupShare) -> ForestRow {
    ForestRow {
        label: named(&group.name),
        estimate: group.share.zip(group.ends).map(|(share, [low, high])| [share, low, high]),
        words: format!("{} / {}", group.above, group.judged),
    }
}
