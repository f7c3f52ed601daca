//! Letters of all scripts made comparable: diacritics off, Cyrillic and Greek also as they are
//! written with Latin letters, and Chinese, Japanese and Korean, which have no blanks, split into
//! the words of the tables. Knows no organ.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use super::vocabulary::{ALL, Language};

/// Which letters a word is written with; a word never mixes them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Script {
    Latin,
    Cyrillic,
    Greek,
    EastAsian,
    Other,
}

/// The script of a letter.
pub(super) const fn script(c: char) -> Script {
    match c {
        'a'..='z' | 'A'..='Z' | '?' => Script::Latin,
        '\u{370}'..='\u{3FF}' => Script::Greek,
        '\u{400}'..='\u{52F}' => Script::Cyrillic,
        '\u{2E80}'..='\u{9FFF}' | '\u{AC00}'..='\u{D7AF}' | '\u{F900}'..='\u{FAFF}' => {
            Script::EastAsian
        }
        _ => Script::Other,
    }
}

/// Letters with the plain one that stands for them; a capital is looked up in lower case.
const PLAIN: &[(&str, &str)] = &[
    ("äáàâãåāąăæ", "a"),
    ("çćčĉ", "c"),
    ("ďđ", "d"),
    ("éèêëęěēėĕ", "e"),
    // Read with the Western code page instead of the Turkish one, "ğ" is "ð" and "ş" is "þ".
    ("ğģð", "g"),
    ("íìîïīįı", "i"),
    ("ķ", "k"),
    ("łľĺļ", "l"),
    ("ñńňņ", "n"),
    ("öóòôõøőōœ", "o"),
    ("řŕ", "r"),
    ("šśşșþ", "s"),
    ("ťţț", "t"),
    ("üúùûůűųū", "u"),
    ("ýÿ", "y"),
    ("žźż", "z"),
    ("ά", "α"),
    ("έ", "ε"),
    ("ή", "η"),
    ("ίϊΐ", "ι"),
    ("ό", "ο"),
    ("ύϋΰ", "υ"),
    ("ώ", "ω"),
    ("ς", "σ"),
    ("ё", "е"),
    ("й", "и"),
    ("ї", "і"),
];

/// Puts a letter into `plain` without its diacritics; what is no letter of a known script is a
/// question mark.
pub(super) fn push_plain(plain: &mut String, c: char) {
    match c {
        '\u{300}'..='\u{36F}' => {}
        '\u{FF01}'..='\u{FF5E}' => {
            push_plain(plain, char::from_u32(u32::from(c) - 0xFEE0).unwrap_or('?'));
        }
        'ß' => plain.push_str("ss"),
        '–' | '—' | '−' | '‐' => plain.push('-'),
        '\'' | '’' | '´' | '`' | '。' | '、' | '・' | '【' | '】' | '「' | '」' => {
            plain.push(' ')
        }
        'İ' => plain.push('I'),
        c if c.is_ascii() => plain.push(c),
        c if c.is_whitespace() => plain.push(' '),
        c => push_letter(plain, c),
    }
}

fn push_letter(plain: &mut String, c: char) {
    let lower = c.to_lowercase().next().unwrap_or(c);
    let known = PLAIN.iter().find(|(letters, _)| letters.contains(lower)).map(|(_, to)| *to);
    match known {
        Some(to) if c != lower => plain.push_str(&to.to_uppercase()),
        Some(to) => plain.push_str(to),
        None if script(c) == Script::Other || !c.is_alphabetic() => plain.push('?'),
        None => plain.push(c),
    }
}

/// Letters of Cyrillic and Greek that look like a Latin one, with that.
const ALIKE: &[(&str, &str, Script)] = &[
    ("АВЕКМНОРСТУХІЈЅѴаеорсухіјѕѵ", "ABEKMHOPCTYXIJSVaeopcyxijsv", Script::Cyrillic),
    ("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧον", "ABEZHIKMNOPTYXov", Script::Greek),
];

/// A word that mixes letters which look alike (`РТV` with two Cyrillic ones) in one script: in
/// Latin where its other letters all look like Latin ones, else in the other script where its
/// Latin letters all look like that.
pub(super) fn one_script(text: &str) -> String {
    let mut whole = String::with_capacity(text.len());
    let mut word = String::new();
    for c in text.chars() {
        if c.is_alphabetic() {
            word.push(c);
            continue;
        }
        whole.push_str(&word_in_one_script(&std::mem::take(&mut word)));
        whole.push(c);
    }
    whole + &word_in_one_script(&word)
}

fn word_in_one_script(word: &str) -> String {
    let is_latin = |c: char| script(c) == Script::Latin;
    let Some((foreign, latin, _)) = ALIKE.iter().find(|(_, _, s)| {
        word.chars().any(|c| script(c) == *s)
            && word.chars().all(|c| is_latin(c) || script(c) == *s)
    }) else {
        return word.to_owned();
    };
    if !word.chars().any(is_latin) {
        return word.to_owned();
    }
    let swap = |c: char, from: &str, to: &str| {
        from.chars().zip(to.chars()).find(|(f, _)| *f == c).map(|(_, t)| t)
    };
    let in_latin: Option<String> =
        word.chars().map(|c| if is_latin(c) { Some(c) } else { swap(c, foreign, latin) }).collect();
    // A capital after small letters is a word of its own, as a rule a side: `глазP`.
    let capital = word.chars().any(char::is_lowercase)
        && word.chars().any(|c| is_latin(c) && c.is_uppercase());
    let in_foreign: Option<String> =
        word.chars().map(|c| if is_latin(c) { swap(c, latin, foreign) } else { Some(c) }).collect();
    in_latin.or(in_foreign.filter(|_| !capital)).unwrap_or_else(|| word.to_owned())
}

/// Words of the languages that are written without blanks, the longest first.
static UNSPACED: LazyLock<Vec<&'static str>> = LazyLock::new(|| {
    let eastern = [Language::Chinese, Language::Japanese, Language::Korean];
    let mut words = BTreeSet::new();
    for v in ALL.iter().filter(|v| eastern.contains(&v.language)) {
        for list in [v.left, v.right, v.both, v.without, v.lesions, v.cavities, v.aids, v.sums] {
            words.extend(list.split_ascii_whitespace());
        }
        words.extend(v.fillers.split_ascii_whitespace());
        for (_, list) in v.organs.iter().chain(v.in_company) {
            words.extend(list.split(", "));
        }
    }
    let mut words: Vec<&str> =
        words.into_iter().filter(|w| w.chars().all(|c| script(c) == Script::EastAsian)).collect();
    words.sort_by_key(|w| std::cmp::Reverse(w.chars().count()));
    words
});

/// Splits a run of such letters into known words with as few letters as possible between them, and
/// then as few words; what lies between is one unknown word.
pub(super) fn unspaced_words(run: &str) -> Vec<String> {
    let letters: Vec<usize> = run.char_indices().map(|(at, _)| at).collect();
    // From each letter on: letters that belong to no word, number of words, length of the first.
    let mut best: BTreeMap<usize, Split> = BTreeMap::from([(run.len(), Split::default())]);
    for at in letters.into_iter().rev() {
        let rest = run.get(at..).unwrap_or_default();
        let next = rest.chars().next().map_or(1, char::len_utf8);
        let known = UNSPACED.iter().filter(|w| rest.starts_with(**w)).map(|w| (w.len(), true));
        let splits = known.chain([(next, false)]).filter_map(|(length, known)| {
            let behind = best.get(&(at + length))?;
            let unknown = behind.unknown + usize::from(!known);
            Some(Split { unknown, words: behind.words + 1, length, known })
        });
        if let Some(split) = splits.min_by_key(|s| (s.unknown, s.words)) {
            best.insert(at, split);
        }
    }
    let (mut words, mut unknown, mut at) = (Vec::new(), String::new(), 0);
    while let Some(split) = best.get(&at).filter(|s| s.length > 0) {
        let word = run.get(at..at + split.length).unwrap_or_default();
        if split.known {
            words.extend(Some(std::mem::take(&mut unknown)).filter(|u| !u.is_empty()));
            words.push(word.to_owned());
        } else {
            unknown.push_str(word);
        }
        at += split.length;
    }
    words.extend(Some(unknown).filter(|u| !u.is_empty()));
    words
}

/// How a run is best split from one of its letters on.
#[derive(Debug, Clone, Copy, Default)]
struct Split {
    unknown: usize,
    words: usize,
    /// Bytes of the first word; none at the end of the run.
    length: usize,
    known: bool,
}

/// How Cyrillic letters are written with Latin ones, by four customs: the English one, one of
/// passports, the one of libraries without its hooks, and the Ukrainian one.
const CYRILLIC: &[(char, [&str; 4])] = &[
    ('а', ["a", "a", "a", "a"]),
    ('б', ["b", "b", "b", "b"]),
    ('в', ["v", "v", "v", "v"]),
    ('г', ["g", "g", "h", "h"]),
    ('ґ', ["g", "g", "g", "g"]),
    ('д', ["d", "d", "d", "d"]),
    ('е', ["e", "e", "e", "e"]),
    ('є', ["ye", "ie", "je", "ie"]),
    ('ж', ["zh", "zh", "z", "zh"]),
    ('з', ["z", "z", "z", "z"]),
    ('и', ["i", "i", "i", "y"]),
    ('і', ["i", "i", "i", "i"]),
    ('ј', ["j", "j", "j", "j"]),
    ('к', ["k", "k", "k", "k"]),
    ('л', ["l", "l", "l", "l"]),
    ('м', ["m", "m", "m", "m"]),
    ('н', ["n", "n", "n", "n"]),
    ('о', ["o", "o", "o", "o"]),
    ('п', ["p", "p", "p", "p"]),
    ('р', ["r", "r", "r", "r"]),
    ('с', ["s", "s", "s", "s"]),
    ('т', ["t", "t", "t", "t"]),
    ('у', ["u", "u", "u", "u"]),
    ('ф', ["f", "f", "f", "f"]),
    ('х', ["kh", "h", "ch", "kh"]),
    ('ц', ["ts", "ts", "c", "ts"]),
    ('ч', ["ch", "ch", "c", "ch"]),
    ('ш', ["sh", "sh", "s", "sh"]),
    ('щ', ["shch", "sch", "sc", "shch"]),
    ('ъ', ["", "", "", ""]),
    ('ы', ["y", "y", "y", "y"]),
    ('ь', ["", "", "j", ""]),
    ('э', ["e", "e", "e", "e"]),
    ('ю', ["yu", "iu", "ju", "iu"]),
    ('я', ["ya", "ia", "ja", "ia"]),
];

/// The same for Greek: letter by letter, by sound, as keyboards have it, and as passports do.
const GREEK: &[(char, [&str; 4])] = &[
    // Alpha to omega, after what stands here for "ου", one sound.
    (GREEK_U, ["ou", "ou", "ou", "ou"]),
    ('α', ["a", "a", "a", "a"]),
    ('β', ["v", "b", "b", "v"]),
    ('γ', ["g", "g", "g", "g"]),
    ('δ', ["d", "d", "d", "d"]),
    ('ε', ["e", "e", "e", "e"]),
    ('ζ', ["z", "z", "z", "z"]),
    ('η', ["i", "e", "h", "i"]),
    ('θ', ["th", "th", "th", "th"]),
    ('ι', ["i", "i", "i", "i"]),
    ('κ', ["k", "k", "k", "k"]),
    ('λ', ["l", "l", "l", "l"]),
    ('μ', ["m", "m", "m", "m"]),
    ('ν', ["n", "n", "n", "n"]),
    ('ξ', ["x", "ks", "x", "x"]),
    ('ο', ["o", "o", "o", "o"]),
    ('π', ["p", "p", "p", "p"]),
    ('ρ', ["r", "r", "r", "r"]),
    ('σ', ["s", "s", "s", "s"]),
    ('τ', ["t", "t", "t", "t"]),
    ('υ', ["i", "y", "u", "y"]),
    ('φ', ["f", "ph", "f", "f"]),
    ('χ', ["ch", "h", "x", "ch"]),
    ('ψ', ["ps", "ps", "ps", "ps"]),
    ('ω', ["o", "o", "w", "o"]),
];

/// Stands for omicron and ypsilon together.
const GREEK_U: char = 'ȣ';

/// How a text in Cyrillic or Greek letters is written with Latin ones; nothing for other texts.
pub(super) fn in_latin_letters(text: &str) -> Vec<String> {
    let mut plain = String::new();
    text.chars().for_each(|c| push_plain(&mut plain, c));
    let plain = plain.to_lowercase().replace("ου", &GREEK_U.to_string());
    let table = match plain.chars().map(script).find(|s| *s != Script::Other) {
        Some(Script::Cyrillic) => CYRILLIC,
        Some(Script::Greek) => GREEK,
        _ => return Vec::new(),
    };
    let mut written: BTreeSet<String> = BTreeSet::new();
    for custom in 0..4 {
        let letter = |c: char| {
            let row = table.iter().find(|(letter, _)| *letter == c);
            row.and_then(|(_, latin)| latin.get(custom)).map_or(c.to_string(), |l| (*l).to_owned())
        };
        written.insert(plain.chars().map(letter).collect());
    }
    // The sounds of two Greek vowels together.
    let with = |from: &str, to: &str| -> Vec<String> {
        written.iter().map(|w| w.replace(from, to)).collect()
    };
    let joined = [with("ou", "oy"), with("ey", "ev"), with("ey", "eu")].concat();
    written.extend(joined.into_iter().filter(|_| std::ptr::eq(table, GREEK)));
    written.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_without_blanks_is_split_at_known_words() {
        assert_eq!(unspaced_words("右侧海马"), ["右侧", "海马"]);
        assert_eq!(unspaced_words("視神経左"), ["視神経", "左"]);
        assert_eq!(unspaced_words("좌측시신경"), ["좌측", "시신경"]);
        assert_eq!(unspaced_words("脑白质"), ["脑", "白质"]);
        assert_eq!(
            unspaced_words("右側頭葉"),
            ["右", "側頭葉"],
            "and not the right side of a lobe"
        );
    }

    #[test]
    fn a_word_of_letters_that_look_alike_is_of_one_script() {
        // Cyrillic er and te, Greek rho and tau, in front of a Latin v.
        assert_eq!(one_script("РТV1"), "PTV1");
        assert_eq!(one_script("ΡΤV 1"), "PTV 1");
        // A Latin o in a Cyrillic word.
        assert_eq!(one_script("ствoл"), "ствол");
        for same in ["глазL", "глазP", "GTVсредний", "ствол", "PTV", "视N"] {
            assert_eq!(one_script(same), same);
        }
    }

    #[test]
    fn cyrillic_and_greek_are_written_with_latin_letters() {
        assert!(in_latin_letters("ствол мозга").contains(&"stvol mozga".to_owned()));
        assert!(in_latin_letters("Хрусталик").contains(&"khrustalik".to_owned()));
        assert!(in_latin_letters("кришталик").contains(&"kryshtalyk".to_owned()));
        assert!(in_latin_letters("υπόφυση").contains(&"ypofysi".to_owned()));
        assert!(in_latin_letters("εγκέφαλος").contains(&"egkefalos".to_owned()));
        assert_eq!(in_latin_letters("brain"), Vec::<String>::new());
    }
}
