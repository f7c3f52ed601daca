//! The names most like one that was typed. A message about a name that is not there ends with them,
//! so that a slip of the pen is seen for what it is. Knows no list and no meaning of a name.

use std::collections::BTreeSet;

/// So many names are shown.
const SHOWN: usize = 8;

/// The names most like the one that was typed, nearest first, separated by commas; with how many
/// more there are.
#[must_use]
pub fn nearest<'a>(typed: &str, all: impl IntoIterator<Item = &'a str>) -> String {
    let all: Vec<&str> = all.into_iter().collect();
    let count = all.iter().collect::<BTreeSet<_>>().len();
    let mut shown = most_like(typed, all, SHOWN);
    let more = format!("and {} more", count.saturating_sub(SHOWN));
    if count > SHOWN {
        shown.push(&more);
    }
    shown.join(", ")
}

/// At most `count` names, those most like the one that was typed first; equally good ones in the
/// order in which they came.
#[must_use]
pub fn most_like<'a>(
    typed: &str,
    all: impl IntoIterator<Item = &'a str>,
    count: usize,
) -> Vec<&'a str> {
    let with_unit = typed.contains('[');
    let wanted = dense(typed);
    let mut seen = BTreeSet::new();
    let mut ranked = Vec::new();
    for name in all {
        if seen.insert(name) {
            // A unit in brackets counts only for somebody who typed one.
            let plain = if with_unit { name } else { name.split('[').next().unwrap_or(name) };
            ranked.push((likeness(&wanted, &dense(plain)), name));
        }
    }
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.into_iter().take(count).map(|(_, name)| name).collect()
}

/// Letters and digits that a person means, without what is typed in many ways.
fn dense(name: &str) -> String {
    let letters = name.chars().filter(|c| !c.is_whitespace() && !"_-".contains(*c));
    letters.flat_map(char::to_lowercase).collect()
}

/// From 0 to 2: letters in common with the same beginning, and letters to be changed.
fn likeness(wanted: &str, name: &str) -> f64 {
    strsim::jaro_winkler(wanted, name) + strsim::normalized_damerau_levenshtein(wanted, name)
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
