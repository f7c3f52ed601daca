//! SQL as text: which part of it is code, which is a comment or stands in quotes. Knows neither
//! tables nor headers.

/// What a stretch of SQL is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// Key words, operators, plain names.
    Code,
    /// Text in single quotes, the quotes included.
    Text,
    /// A name in double quotes, the quotes included.
    Name,
    /// A comment with its marks.
    Comment,
}

/// The stretches of `sql` in order; put together they are `sql` again.
pub(super) fn parts(sql: &str) -> Vec<(Part, &str)> {
    let mut list = Vec::new();
    let mut rest = sql;
    while let Some(first) = rest.chars().next() {
        let (part, end) = match first {
            '\'' => (Part::Text, end_of_quotes(rest, '\'')),
            '"' => (Part::Name, end_of_quotes(rest, '"')),
            '-' if rest.starts_with("--") => (Part::Comment, rest.find('\n')),
            '/' if rest.starts_with("/*") => (Part::Comment, rest.find("*/").map(|n| n + 2)),
            _ => (Part::Code, start_of_other(rest)),
        };
        let (this, after) = rest.split_at(end.unwrap_or(rest.len()));
        list.push((part, this));
        rest = after;
    }
    list
}

/// Behind the closing quote; a doubled quote stands for itself.
fn end_of_quotes(text: &str, quote: char) -> Option<usize> {
    let mut inside = text.char_indices().skip(1).peekable();
    while let Some((at, c)) = inside.next() {
        if c == quote && inside.next_if(|(_, next)| *next == quote).is_none() {
            return Some(at + c.len_utf8());
        }
    }
    None
}

/// Where the first thing begins that is no code.
fn start_of_other(text: &str) -> Option<usize> {
    let starts = ["'", "\"", "--", "/*"].map(|mark| text.find(mark));
    starts.into_iter().flatten().min()
}

/// Whether a character may be part of a name.
pub(super) fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The words of the code and the names in quotes, each with the number of its line from 1.
pub(super) fn words(sql: &str) -> Vec<(usize, &str)> {
    let mut list = Vec::new();
    let mut line = 1;
    for (part, text) in parts(sql) {
        if part == Part::Code {
            for (n, code) in text.split('\n').enumerate() {
                let found = code.split(|c| !is_word(c)).filter(|w| !w.is_empty());
                list.extend(found.map(|w| (line + n, w)));
            }
        } else if part == Part::Name {
            list.push((line, text.trim_matches('"')));
        }
        line += text.matches('\n').count();
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQL: &str = "-- it's\nSELECT 'a--b''c', \"x y\" /* 'q\n */ FROM t";

    #[test]
    fn quotes_and_comments_are_told_from_code() {
        let found = parts(SQL);
        assert_eq!(found.iter().map(|(_, t)| *t).collect::<String>(), SQL);
        let of = |wanted| found.iter().filter(move |(p, _)| *p == wanted).map(|(_, t)| *t);
        assert_eq!(of(Part::Text).collect::<Vec<_>>(), ["'a--b''c'"]);
        assert_eq!(of(Part::Name).collect::<Vec<_>>(), ["\"x y\""]);
        assert_eq!(of(Part::Comment).collect::<Vec<_>>(), ["-- it's", "/* 'q\n */"]);
    }

    #[test]
    fn an_open_quote_runs_to_the_end() {
        assert_eq!(parts("a 'b"), [(Part::Code, "a "), (Part::Text, "'b")]);
        assert_eq!(parts("ä'é"), [(Part::Code, "ä"), (Part::Text, "'é")]);
    }

    #[test]
    fn words_know_their_line() {
        assert_eq!(words(SQL), [(2, "SELECT"), (2, "x y"), (3, "FROM"), (3, "t")]);
    }
}
