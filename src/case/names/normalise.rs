//! From a free-text structure name to comparable words: diacritics folded, camel case and digits
//! split, separators dropped, signs kept that carry meaning. Knows no organ.

use unicode_normalization::UnicodeNormalization;

use super::scripts::{Script, one_script, push_plain, script, unspaced_words};

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

/// Units that are written in other ways, or that would be split.
const UNITS: [(&str, &str); 4] =
    [("cgy", "cgy сгр"), ("gy", "гр 戈瑞"), ("mm", "мм 毫米 ミリ"), ("cm", "см 厘米")];

/// Splits a name into pieces.
pub(super) fn pieces(name: &str) -> Vec<NamePiece> {
    let mut pieces = Vec::new();
    let mut run = String::new();
    let plain = plain_letters(name);
    let letter = |c: char| c.is_alphabetic();
    let letters: Vec<char> = plain.chars().collect();
    for (i, &c) in letters.iter().enumerate() {
        let next_is_digit = letters.get(i + 1).is_some_and(char::is_ascii_digit);
        let in_number = run.starts_with(|r: char| r.is_ascii_digit());
        let between_letters =
            run.ends_with(letter) && letters.get(i + 1).is_some_and(|next| letter(*next));
        let same_script = run.chars().last().is_none_or(|r| r == '?' || script(r) == script(c));
        let joins = match c {
            '.' | ',' => in_number && next_is_digit && !run.contains('.'),
            '?' => between_letters,
            c if c.is_ascii_digit() => run.is_empty() || in_number,
            c if letter(c) => !in_number && same_script,
            _ => false,
        };
        if !joins {
            push_run(&mut pieces, &mut run);
        }
        match c {
            '.' | ',' if joins => run.push('.'),
            '?' if joins => run.push('?'),
            c if c.is_ascii_digit() || letter(c) => run.push(c),
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
    if let Some((unit, _)) = UNITS.iter().find(|(_, written)| {
        let text = text.to_lowercase();
        written.split_ascii_whitespace().any(|w| w == text)
    }) {
        pieces.push(NamePiece::Word((*unit).to_owned()));
        return;
    }
    if text.starts_with(|c| script(c) == Script::EastAsian) {
        pieces.extend(unspaced_words(&text).into_iter().map(NamePiece::Word));
        return;
    }
    for part in camel(&text) {
        pieces.extend(acronym(&lower_case(&part)).map(|w| NamePiece::Word(fold_word(w))));
    }
}

/// In lower case, where the last sigma of a Greek word is like the others.
fn lower_case(word: &str) -> String {
    word.to_lowercase().replace('ς', "σ")
}

/// Splits `OpticNerve` and `LLens` into their words; a run of capitals stays together.
fn camel(text: &str) -> Vec<String> {
    let letters: Vec<char> = text.chars().collect();
    let upper = |i: usize| letters.get(i).is_some_and(|c| c.is_uppercase());
    let lower = |i: usize| letters.get(i).is_some_and(|c| c.is_lowercase());
    let starts_acronym = |word: &str| {
        let word = word.to_lowercase();
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

/// Letters without diacritics; combining marks vanish, full-width forms become plain, what was
/// UTF-8 read as Latin-1 is read again, an unreadable letter becomes `?`.
fn plain_letters(name: &str) -> String {
    let mut read = String::with_capacity(name.len());
    let mut letters = name.chars().peekable();
    while let Some(c) = letters.next() {
        let c = match (c, letters.peek()) {
            ('\u{C3}', Some(&next)) if ('\u{80}'..='\u{BF}').contains(&next) => {
                letters.next();
                char::from_u32(0xC0 | (u32::from(next) & 0x3F)).unwrap_or('?')
            }
            _ => c,
        };
        read.push(c);
    }
    let mut plain = String::with_capacity(read.len());
    // Parts of Korean syllables and halves of Japanese ones become whole before anything is read.
    read.nfkc().for_each(|c| push_plain(&mut plain, c));
    one_script(&plain)
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
