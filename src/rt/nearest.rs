//! The names most like one that was typed. A message about a name that is not there ends with them,
//! so that a slip of the pen is seen for what it is. Knows no list and no meaning of a name.

use std::collections::BTreeSet;

/// So many names are shown.
const SHOWN: usize = 8;

/// The names most like the one that was typed, nearest first, separated by commas; with how many
/// more there are.
#[must_use]
pub fn nearest<'a>(typed: &str, all: impl IntoIterator<Item = &'a str>) -> String {
    let all: BTreeSet<&str> = all.into_iter().collect();
    let count = all.len();
    let mut shown = most_like(typed, all, SHOWN);
    let more = format!("and {} more", count.saturating_sub(SHOWN));
    if count > SHOWN {
        shown.push(&more);
    }
    shown.join(", ")
}

/// At most `count` names, those most like the one that was typed first; equally good ones in the
/// order of the alphabet.
#[must_use]
pub fn most_like<'a>(
    typed: &str,
    all: impl IntoIterator<Item = &'a str>,
    count: usize,
) -> Vec<&'a str> {
    let with_unit = typed.contains('[');
    let wanted = dense(typed);
    let all: BTreeSet<&str> = all.into_iter().collect();
    let mut ranked: Vec<(f64, &str)> = all
        .into_iter()
        .map(|name| {
            // A unit in brackets counts only for somebody who typed one.
            let plain = name.split('[').next().unwrap_or(name);
            (likeness(&wanted, &dense(if with_unit { name } else { plain })), name)
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    ranked.into_iter().take(count).map(|(_, name)| name).collect()
}

/// Letters and digits that a person means, without what is typed in many ways.
fn dense(name: &str) -> String {
    let letters = name.chars().filter(|c| !c.is_whitespace() && !"_-".contains(*c));
    letters.flat_map(char::to_lowercase).collect()
}

/// Likeness of letters and their order, and how much of the longer name the shorter one is, where
/// one stands in the other.
fn likeness(wanted: &str, name: &str) -> f64 {
    let inside = name.contains(wanted) || wanted.contains(name);
    let lengths = [wanted.len().min(name.len()), wanted.len().max(name.len()).max(1)];
    #[expect(clippy::cast_precision_loss, reason = "lengths of names")]
    let share = if inside { lengths[0] as f64 / lengths[1] as f64 } else { 0.0 };
    strsim::jaro_winkler(wanted, name) + share
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_names_most_like_the_typed_one_come_first() {
        let all = ["Mean[Gy]", "D0.03cc[Gy]", "D0.035cc[Gy]", "V12Gy[cc]", "Max[Gy]"];
        let list = nearest("D0.03cc", all);
        assert!(list.starts_with("D0.03cc[Gy], D0.035cc[Gy], "), "{list}");
        assert!(nearest("Dmax", all).starts_with("Max[Gy]"), "{}", nearest("Dmax", all));
        let many: Vec<String> = (0..20).map(|n| format!("S{n}")).collect();
        let list = nearest("s3", many.iter().map(String::as_str));
        assert!(list.starts_with("S3, ") && list.ends_with(", and 12 more"), "{list}");
        assert!(nearest("Brain stem", ["Brain", "Brainstem"]).starts_with("Brainstem"));
        assert!(nearest("Brainstm", ["Brain", "Brainstem"]).starts_with("Brainstem"));
        assert_eq!(nearest("x", []), "");
        assert_eq!(most_like("b", ["a", "b", "c"], 1), ["b"]);
    }
}
