//! A table as LaTeX, to be read with `\input`; long ones go on over pages.

use std::fmt::Write as _;

use super::{Kind, PrintedTable};
use tidydose_table::run::CAUTION;

/// The table.
pub(super) fn table(table: &PrintedTable) -> String {
    let mut out = format!(
        "% {CAUTION}\n% Needs the packages booktabs and longtable.\n\\begin{{longtable}}{{l{}}}\n\
         \\caption{{{}}}\\\\\n\\toprule\n",
        "r".repeat(table.head.len().saturating_sub(1)),
        escaped(&table.title)
    );
    line(&mut out, table.head.iter().map(|h| escaped(h)));
    out.push_str("\\midrule\n\\endhead\n");
    for row in &table.rows {
        let label = escaped(&row.label);
        let label = match row.kind {
            Kind::Section => format!("\\textbf{{{label}}}"),
            Kind::Main => label,
            Kind::Level => format!("\\quad {label}"),
        };
        line(&mut out, std::iter::once(label).chain(table.padded(row).iter().map(|c| escaped(c))));
    }
    let _ = writeln!(
        out,
        "\\bottomrule\n\\end{{longtable}}\n\\noindent{{\\footnotesize {}}}",
        escaped(&table.note)
    );
    out
}

fn line(out: &mut String, cells: impl Iterator<Item = String>) {
    let cells: Vec<String> = cells.collect();
    let _ = writeln!(out, "{} \\\\", cells.join(" & "));
}

/// Characters that mean something there, and those that older compilers lack.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        match letter {
            '&' | '%' | '$' | '#' | '_' | '{' | '}' => {
                out.push('\\');
                out.push(letter);
            }
            '\\' => out.push_str("\\textbackslash{}"),
            '~' => out.push_str("\\textasciitilde{}"),
            '^' => out.push_str("\\textasciicircum{}"),
            '<' => out.push_str("$<$"),
            '>' => out.push_str("$>$"),
            '≤' => out.push_str("$\\leq$"),
            '≥' => out.push_str("$\\geq$"),
            '−' => out.push_str("$-$"),
            '–' => out.push_str("--"),
            '²' => out.push_str("\\textsuperscript{2}"),
            '³' => out.push_str("\\textsuperscript{3}"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::example;
    use super::*;

    #[test]
    fn what_means_something_to_the_compiler_is_escaped() {
        assert_eq!(
            escaped("50 % of a_b & {c} ~ 1^2"),
            "50 \\% of a\\_b \\& \\{c\\} \\textasciitilde{} 1\\textasciicircum{}2"
        );
        let text = table(&example());
        assert!(
            text.contains("\\begin{longtable}{lrr}")
                && text.contains("GTV volume (cm\\textsuperscript{3})")
        );
        let rows = text.lines().filter(|l| l.ends_with("\\\\") && !l.starts_with("\\caption"));
        assert!(
            rows.clone().count() == 4 && rows.clone().all(|r| r.matches(" & ").count() == 2),
            "{text}"
        );
        assert!(text.contains("\\quad left & 2 (67 \\%) & 1 (100 \\%) \\\\"), "{text}");
    }
}
