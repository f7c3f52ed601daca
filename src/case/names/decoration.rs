//! What stands around a name and is none of it: a date, the count of a copy, a word that a
//! program drew it or that it is an earlier version, an author's doubt. It is taken off, so that
//! no organ is lost by it, and kept as evidence of its own.

use super::normalise::{NamePiece, pieces};
use super::words::{Does, does};

/// What a name says beside what the structure is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Decoration {
    /// It is called an earlier version or a copy.
    pub superseded: bool,
    /// A program drew it.
    pub automatic: bool,
    /// It bears a date.
    pub dated: bool,
    /// Its author was not certain: a question mark that stands for no letter.
    pub doubted: bool,
    /// Its last number counts copies: it follows a low line or stands in brackets.
    pub counted: bool,
    /// Its first number counts the entries of a list: `1_Brainstem`, `01 Chiasm`.
    pub listed: bool,
}

/// What a structure's name says beside what the structure is: evidence for who decides about it.
#[must_use]
pub fn decoration(name: &str) -> Decoration {
    undecorated(name.trim()).decoration
}

/// A name without its decoration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Undecorated {
    pub(super) pieces: Vec<NamePiece>,
    pub(super) decoration: Decoration,
}

/// Takes the decoration off a name; a name of nothing else keeps its words.
pub(super) fn undecorated(name: &str) -> Undecorated {
    let mut decoration = Decoration {
        doubted: is_doubted(name),
        counted: is_counted(name),
        listed: is_listed(name),
        ..Decoration::default()
    };
    let all = pieces(name);
    let mut kept: Vec<NamePiece> = Vec::new();
    let mut copied = false;
    for piece in without_date(&all, &mut decoration) {
        let after_copy = std::mem::take(&mut copied);
        match piece {
            // "copy 2" counts copies.
            NamePiece::Number(_) if after_copy => {}
            NamePiece::Word(w) if does(Does::Supersede, w) => {
                (decoration.superseded, copied) = (true, true);
            }
            NamePiece::Word(w) if does(Does::Automate, w) => decoration.automatic = true,
            piece => kept.push(piece.clone()),
        }
    }
    if !kept.iter().any(|p| matches!(p, NamePiece::Word(_))) {
        return Undecorated { pieces: all, decoration: Decoration::default() };
    }
    Undecorated { pieces: kept, decoration }
}

/// A question mark that does not stand between letters, where it would be a damaged one.
fn is_doubted(name: &str) -> bool {
    let letters: Vec<char> = name.chars().collect();
    letters.iter().enumerate().any(|(i, c)| {
        let letter = |at: Option<usize>| {
            at.and_then(|at| letters.get(at)).is_some_and(|next| next.is_alphabetic())
        };
        matches!(c, '?' | '？' | '¿') && !(letter(i.checked_sub(1)) && letter(Some(i + 1)))
    })
}

/// Whether a name ends as copies are counted: `_1`, `(2)`, `#2`, `.1`.
fn is_counted(name: &str) -> bool {
    let end = name.trim_end_matches(|c: char| !c.is_alphanumeric());
    let digits = end.chars().rev().take_while(char::is_ascii_digit).count();
    let before = end.chars().rev().nth(digits);
    (1..=2).contains(&digits) && matches!(before, Some('_' | '(' | '#' | '.' | '['))
}

/// Whether a name begins as entries of a list are counted.
fn is_listed(name: &str) -> bool {
    let digits = name.chars().take_while(char::is_ascii_digit).count();
    let behind = name.chars().nth(digits);
    (1..=2).contains(&digits)
        && (name.starts_with('0') || matches!(behind, Some('_' | '.' | ')' | '-')))
}

/// The pieces without a date at their end; a dose, a number of a target and an organ's own number
/// are shorter.
fn without_date<'p>(all: &'p [NamePiece], decoration: &mut Decoration) -> &'p [NamePiece] {
    let is_part = |p: &&NamePiece| matches!(p, NamePiece::Number(_) | NamePiece::Sign('-' | '/'));
    let numbers = all.iter().rev().take_while(is_part).count();
    for count in 1..=numbers {
        let (head, tail) = all.split_at(all.len() - count);
        let digits: String = tail
            .iter()
            .filter_map(|p| match p {
                NamePiece::Number(n) => Some(n.replace('.', "")),
                _ => None,
            })
            .collect();
        if !head.is_empty()
            && matches!(tail.first(), Some(NamePiece::Number(_)))
            && is_date(&digits)
        {
            decoration.dated = true;
            let sign = matches!(head.last(), Some(NamePiece::Sign('-' | '/')));
            return if sign { head.split_last().map_or(head, |(_, rest)| rest) } else { head };
        }
    }
    all
}

/// Whether digits are a day: year, month, day in either order, the year of two or four digits.
fn is_date(digits: &str) -> bool {
    let number = |from: usize, to: usize| digits.get(from..to).and_then(|d| d.parse::<u32>().ok());
    let day = |month: Option<u32>, day: Option<u32>| {
        month.is_some_and(|m| (1..=12).contains(&m)) && day.is_some_and(|d| (1..=31).contains(&d))
    };
    let year = |year: Option<u32>| year.is_some_and(|y| (1980..=2099).contains(&y));
    match digits.len() {
        6 => day(number(2, 4), number(4, 6)) || day(number(2, 4), number(0, 2)),
        8 => {
            year(number(0, 4)) && day(number(4, 6), number(6, 8))
                || year(number(4, 8)) && day(number(2, 4), number(0, 2))
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(name: &str) -> String {
        let word = |p: &NamePiece| match p {
            NamePiece::Word(w) | NamePiece::Number(w) => w.clone(),
            NamePiece::Sign(c) => c.to_string(),
        };
        undecorated(name).pieces.iter().map(word).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn dates_and_authors_are_taken_off() {
        for (name, bare) in [
            ("Lens L_210502", "lens l"),
            ("Brainstem_20170412", "brainstem"),
            ("Brainstem 12.04.2017", "brainstem"),
            ("Brainstem 2017-04-12", "brainstem"),
            ("Tronco (auto)", "tronco"),
            ("AI_Brainstem", "brainstem"),
            ("Globe_L old", "globe l"),
            ("PTV_2400", "ptv 2400"),
            ("PTV_250", "ptv 250"),
            ("Brain-GTV", "brain - gtv"),
            ("auto", "auto"),
            ("old", "old"),
            ("Brainstem copy 2", "brainstem"),
        ] {
            assert_eq!(words(name), bare, "{name}");
        }
    }

    #[test]
    fn decoration_is_evidence() {
        let of = decoration;
        assert!(of("Globe_L old").superseded && of("Brain (auto)").automatic);
        assert!(of("Brain_210502").dated && !of("PTV_2400").dated);
        assert!(of("Brain-GTV?_1").doubted && of("Lens L?").doubted && of("? Chiasm").doubted);
        assert!(!of("Hj?rnstam").doubted, "a damaged letter");
        assert!(of("Brain_1").counted && of("Brain (2)").counted && !of("Brain1").counted);
        assert!(!of("Cerebellum 1").counted);
    }
}
