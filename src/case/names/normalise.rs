//! From a free-text structure name to comparable words: diacritics folded, camel case and digits
//! split, separators dropped, signs kept that carry meaning. Knows no organ.

/// A piece of a name, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum NamePiece {
    /// Letters, lower case, folded (see [`fold_word`]).
    Word(String),
    /// Digits, perhaps with a decimal point.
    Number(String),
    /// One of `- + ~ ^ ! % /`.
    Sign(char),
}

/// Beginnings that are split off a word whatever the case of the letters: `PTVring`, `gtvtotal`.
const ACRONYMS: [&str; 7] = ["igtv", "ictv", "gtv", "ctv", "ptv", "itv", "prv"];

/// Splits a name into pieces.
pub(super) fn pieces(name: &str) -> Vec<NamePiece> {
    let mut pieces = Vec::new();
    let mut run = String::new();
    let plain = plain_letters(name);
    let letters: Vec<char> = plain.chars().collect();
    for (i, &c) in letters.iter().enumerate() {
        let next_is_digit = letters.get(i + 1).is_some_and(char::is_ascii_digit);
        let in_number = run.starts_with(|r: char| r.is_ascii_digit());
        let between_letters = run.ends_with(|r: char| r.is_ascii_alphabetic())
            && letters.get(i + 1).is_some_and(char::is_ascii_alphabetic);
        let joins = match c {
            '.' | ',' => in_number && next_is_digit && !run.contains('.'),
            '?' => between_letters,
            c if c.is_ascii_digit() => run.is_empty() || in_number,
            c if c.is_ascii_alphabetic() => !in_number,
            _ => false,
        };
        if !joins {
            push_run(&mut pieces, &mut run);
        }
        match c {
            '.' | ',' if joins => run.push('.'),
            '?' if joins => run.push('?'),
            c if c.is_ascii_alphanumeric() => run.push(c),
            '-' | '+' | '~' | '^' | '!' | '%' | '/' => pieces.push(NamePiece::Sign(c)),
            _ => {}
        }
    }
    push_run(&mut pieces, &mut run);
    pieces
}

fn push_run(pieces: &mut Vec<NamePiece>, run: &mut String) {
    let text = std::mem::take(run);
    if text.starts_with(|c: char| c.is_ascii_digit()) {
        pieces.push(NamePiece::Number(text));
        return;
    }
    if text.eq_ignore_ascii_case("cgy") {
        pieces.push(NamePiece::Word("cgy".to_owned()));
        return;
    }
    for part in camel(&text) {
        pieces.extend(acronym(&part.to_ascii_lowercase()).map(|w| NamePiece::Word(fold_word(w))));
    }
}

/// Splits `OpticNerve` and `LLens` into their words; a run of capitals stays together.
fn camel(text: &str) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let upper = |i: usize| letters.get(i).is_some_and(char::is_ascii_uppercase);
    let lower = |i: usize| letters.get(i).is_some_and(char::is_ascii_lowercase);
    let starts_acronym = |word: &str| {
        let word = word.to_ascii_lowercase();
        ACRONYMS.iter().any(|a| a.starts_with(&word) || word.starts_with(a))
    };
    let mut words: Vec<String> = Vec::new();
    for (i, &c) in letters.iter().enumerate() {
        let after_lower = i > 0 && lower(i - 1) && upper(i);
        let last_capital = i > 0 && upper(i - 1) && upper(i) && lower(i + 1);
        let split_capitals = last_capital && words.last().is_none_or(|w| !starts_acronym(w));
        match words.last_mut() {
            Some(word) if !(after_lower || split_capitals) => word.push(c),
            _ => words.push(c.to_string()),
        }
    }
    words
}

fn acronym(word: &str) -> impl Iterator<Item = &str> {
    let head = ACRONYMS.iter().find_map(|a| word.strip_prefix(a).map(|rest| (*a, rest)));
    let (head, rest) = head.unwrap_or((word, ""));
    [head, rest].into_iter().filter(|w| !w.is_empty())
}

/// Makes spellings with and without umlauts equal: `Hoehle`, `Höhle` and `Hohle` give one word.
/// Both sides of every comparison pass through here.
pub(super) fn fold_word(word: &str) -> String {
    word.replace("ae", "a").replace("oe", "o").replace("ue", "u")
}

/// ASCII letters for Latin ones; combining marks vanish, full-width forms become plain, what was
/// UTF-8 read as Latin-1 is read again, an unreadable letter becomes `?`.
fn plain_letters(name: &str) -> String {
    let mut plain = String::with_capacity(name.len());
    let mut letters = name.chars().peekable();
    while let Some(c) = letters.next() {
        let c = match (c, letters.peek()) {
            ('\u{C3}', Some(&next)) if ('\u{80}'..='\u{BF}').contains(&next) => {
                letters.next();
                char::from_u32(0xC0 | (u32::from(next) & 0x3F)).unwrap_or('?')
            }
            _ => c,
        };
        push_plain(&mut plain, c);
    }
    plain
}

fn push_plain(plain: &mut String, c: char) {
    match c {
        '\u{300}'..='\u{36F}' => {}
        '\u{FF01}'..='\u{FF5E}' => {
            push_plain(plain, char::from_u32(u32::from(c) - 0xFEE0).unwrap_or('?'));
        }
        'ä' | 'á' | 'à' | 'â' | 'ã' | 'å' | 'ā' | 'ą' => plain.push('a'),
        'Ä' | 'Á' | 'À' | 'Â' | 'Ã' | 'Å' => plain.push('A'),
        'é' | 'è' | 'ê' | 'ë' | 'ę' | 'ě' => plain.push('e'),
        'É' | 'È' | 'Ê' | 'Ë' => plain.push('E'),
        'í' | 'ì' | 'î' | 'ï' => plain.push('i'),
        'Í' | 'Ì' | 'Î' | 'Ï' => plain.push('I'),
        'ö' | 'ó' | 'ò' | 'ô' | 'õ' | 'ø' => plain.push('o'),
        'Ö' | 'Ó' | 'Ò' | 'Ô' | 'Õ' | 'Ø' => plain.push('O'),
        'ü' | 'ú' | 'ù' | 'û' => plain.push('u'),
        'Ü' | 'Ú' | 'Ù' | 'Û' => plain.push('U'),
        'ç' => plain.push('c'),
        'Ç' => plain.push('C'),
        'ñ' => plain.push('n'),
        'Ñ' => plain.push('N'),
        'ß' => plain.push_str("ss"),
        'æ' => plain.push('a'),
        'Æ' => plain.push('A'),
        'œ' => plain.push('o'),
        'Œ' => plain.push('O'),
        '–' | '—' | '−' | '‐' => plain.push('-'),
        c if c.is_ascii() => plain.push(c),
        c if c.is_whitespace() => plain.push(' '),
        _ => plain.push('?'),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(name: &str) -> String {
        let show = |p: &NamePiece| match p {
            NamePiece::Word(w) | NamePiece::Number(w) => w.clone(),
            NamePiece::Sign(c) => c.to_string(),
        };
        pieces(name).iter().map(show).collect::<Vec<_>>().join("|")
    }

    #[test]
    fn words_digits_and_signs_come_apart() {
        assert_eq!(text("SpinalCordPRV05"), "spinal|cord|prv|05");
        assert_eq!(text("LLens"), "l|lens");
        assert_eq!(text("PTVring 3mm"), "ptv|ring|3|mm");
        assert_eq!(text("Brain-GTV"), "brain|-|gtv");
        assert_eq!(text("opt. Nerve,li"), "opt|nerve|li");
        assert_eq!(text("D 12,5Gy"), "d|12.5|gy");
        assert_eq!(text("PTVs"), "ptv|s");
        assert_eq!(text("CN_VIII_L"), "cn|viii|l");
    }

    #[test]
    fn spellings_of_one_word_are_equal() {
        for name in ["Höhle", "Hoehle", "hohle", "HÖHLE", "Ho\u{308}hle", "HÃ¶hle", "Ｈöhle"]
        {
            assert_eq!(text(name), "hohle", "{name}");
        }
        assert_eq!(text("Hj?rnstam"), "hj?rnstam");
    }
}
