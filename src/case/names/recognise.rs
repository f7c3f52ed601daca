//! The rules in their order: standard name as it stands, helpers, subtractions, targets, margins,
//! organs. Each rule either decides or passes the name on.

use super::catalogue::AIDS;
use super::company::Company;
use super::decoration::{Decoration, Undecorated, undecorated};
use super::normalise::{NamePiece, pieces};
use super::organ::{Organ, organ};
use super::target::target;
use super::vocabulary::Languages;
use super::words::{self, Does, does, holds, kind};
use crate::{NameBasis, NamedRoi, Role};

/// What a name says by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recognition {
    /// The standard (TG-263) name, if one is certain.
    pub standard: Option<String>,
    /// What the structure is for.
    pub role: Role,
    /// How the standard name came about.
    pub basis: NameBasis,
}

impl Recognition {
    const fn bare(role: Role, basis: NameBasis) -> Self {
        Self { standard: None, role, basis }
    }

    fn named(original: &str, standard: String, role: Role) -> Self {
        let exact = squeeze(original) == squeeze(&standard)
            || squeeze(original) == squeeze(&reversed(&standard));
        let basis = if exact { NameBasis::Exact } else { NameBasis::Rule };
        Self { standard: Some(standard), role, basis }
    }
}

/// Reads one name. Nothing but the name is used; the file's interpreted type and the user's
/// decisions come in later.
#[must_use]
pub fn recognise(original: &str) -> Recognition {
    recognise_among(original, Company::default())
}

/// Reads one name by the languages that the other names of its structure set speak.
#[must_use]
pub fn recognise_among(original: &str, company: Company) -> Recognition {
    // What follows a caret is custom text by TG-263.
    let name = original.split('^').next().unwrap_or_default().trim();
    let name = name.replace("w/o", "without").replace("W/O", "without");
    let Undecorated { mut pieces, mut decoration } = undecorated(&name);
    if decoration.superseded && is_whole_name(&name, company) {
        (pieces, decoration.superseded) = (super::normalise::pieces(&name), false);
    }
    let all = pieces;
    let reader = Reader { original, name: &name, all, decoration, spoken: company.spoken() };
    reader.read()
}

/// Whether a name is that of an organ with a word in it that calls others an earlier version:
/// `alt çene` is the lower jaw.
fn is_whole_name(name: &str, company: Company) -> bool {
    let words = words_of(&pieces(name));
    matches!(organ(&words, company.spoken()), Organ::Found { .. })
}

/// A name on its way through the rules.
struct Reader<'n> {
    original: &'n str,
    name: &'n str,
    all: Vec<NamePiece>,
    decoration: Decoration,
    spoken: Languages,
}

impl Reader<'_> {
    fn read(&self) -> Recognition {
        let read = self.undecorated();
        let aid = || helper(self.name, &self.all).or_else(|| dose_region(&self.all)).is_some();
        if self.decoration.doubted && !aid() {
            // The author was not certain, so nobody else can be.
            return Recognition::bare(Role::Unknown, NameBasis::Ambiguous);
        }
        let target = read.role.is_target() || read.role == Role::TargetSum;
        if self.decoration.superseded && target {
            // An earlier outline of a target would be counted as a lesion of its own.
            return Recognition::bare(Role::Helper, NameBasis::Rule);
        }
        read
    }

    fn undecorated(&self) -> Recognition {
        if let Some(bare) = margin_of_organ(&self.all) {
            let bare = Reader { all: bare, decoration: self.decoration, ..*self };
            if let Some(named) = bare.margin().filter(|m| m.standard.is_some()) {
                return named;
            }
        }
        let (all, spoken) = (&self.all, self.spoken);
        let plain = words_of(all);
        if plain.is_empty() {
            return Recognition::bare(Role::Unknown, NameBasis::None);
        }
        if let (Organ::Found { root, side }, false) = (organ(&plain, spoken), has_signs(all))
            && !self.name.starts_with('_')
        {
            return Recognition::named(self.original, format!("{root}{side}"), role_of(root));
        }
        helper(self.name, all)
            .or_else(|| within(all))
            .or_else(|| self.subtraction())
            .or_else(|| aimed(self.original, all))
            .or_else(|| dose_region(all))
            .or_else(|| self.margin())
            .unwrap_or_else(|| self.plain_organ())
    }
}

/// What a name says without the words that call it an earlier version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Earlier {
    read: Recognition,
    /// The other words.
    words: Vec<String>,
}

/// Reads a name that says an earlier version; nothing when it does not, or when it is an aid to
/// planning without that as well.
pub(super) fn earlier_version(original: &str, company: Company) -> Option<Earlier> {
    let name = original.split('^').next().unwrap_or_default().trim();
    let all = pieces(name);
    let rest: Vec<NamePiece> = all.iter().filter(|p| !says(p, Does::Supersede)).cloned().collect();
    let words = words_of(&rest);
    if rest.len() == all.len() || words.is_empty() || is_whole_name(name, company) {
        return None;
    }
    let read = recognise_among(&words.join(" "), company);
    let aid = matches!(read.role, Role::Helper | Role::Marker | Role::TargetSum | Role::Prv);
    (!aid).then_some(Earlier { read, words })
}

impl Earlier {
    /// Whether a structure could be the later version: the same standard name, a target as well, or
    /// the same words.
    pub(super) fn is_version_of(&self, other: &NamedRoi) -> bool {
        if self.read.role.is_target() {
            return other.role.is_target();
        }
        let named = self.read.standard.is_some() && self.read.standard == other.standard;
        let external = self.read.role == Role::External && other.role == Role::External;
        named || external || words_of(&pieces(&other.original)) == self.words
    }

    /// What it would be, in words.
    pub(super) fn words(&self) -> String {
        match (&self.read.standard, self.read.role) {
            (Some(standard), _) => standard.clone(),
            (None, role) if role.is_target() => "a target".to_owned(),
            (None, Role::External) => "the outline of the patient".to_owned(),
            (None, _) => format!("called {:?}", self.words.join(" ")),
        }
    }
}

/// Role of a standard name.
pub(super) fn role_of(standard: &str) -> Role {
    let head: String = standard.chars().take_while(char::is_ascii_uppercase).collect();
    match kind(&head.to_ascii_lowercase()).or_else(|| kind(&standard.to_ascii_lowercase())) {
        Some(_) if standard.ends_with("_Total") => Role::TargetSum,
        Some(role) => role,
        None if standard == "External" => Role::External,
        None if standard.starts_with('z') || AIDS.contains(&standard) => Role::Helper,
        None if standard.contains("_PRV") => Role::Prv,
        None => Role::Organ,
    }
}

fn squeeze(name: &str) -> String {
    name.chars()
        .filter(|c| !matches!(c, ' ' | '_' | '-' | '.'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// The reverse-order form of a name with a side: `L_Cochlea`.
fn reversed(standard: &str) -> String {
    match standard.rsplit_once('_') {
        Some((root, side @ ("L" | "R"))) => format!("{side}_{root}"),
        _ => standard.to_owned(),
    }
}

fn words_of(pieces: &[NamePiece]) -> Vec<String> {
    let word = |p: &NamePiece| match p {
        NamePiece::Word(w) | NamePiece::Number(w) => Some(w.clone()),
        NamePiece::Sign(_) => None,
    };
    pieces.iter().filter_map(word).collect()
}

fn has_signs(pieces: &[NamePiece]) -> bool {
    pieces.iter().any(|p| matches!(p, NamePiece::Sign('+' | '~' | '!' | '%')))
}

fn is_word(piece: &NamePiece, list: &str) -> bool {
    matches!(piece, NamePiece::Word(w) if holds(list, w))
}

fn says(piece: &NamePiece, what: Does) -> bool {
    matches!(piece, NamePiece::Word(w) if does(what, w))
}

fn is_kind(piece: &NamePiece) -> bool {
    matches!(piece, NamePiece::Word(w) if kind(w).is_some())
}

/// Rings, shells, isodoses, optimisation structures and points.
fn helper(name: &str, all: &[NamePiece]) -> Option<Recognition> {
    if is_isodose(all) {
        return Some(Recognition::bare(Role::Helper, NameBasis::Rule));
    }
    if all.iter().any(|p| is_word(p, words::MARKERS)) {
        return Some(Recognition::bare(Role::Marker, NameBasis::Rule));
    }
    let prefixed = match all {
        [NamePiece::Word(first), _, ..]
            if first == "x" || first.trim_start_matches('z').is_empty() =>
        {
            true
        }
        [NamePiece::Word(first), ..] => first
            .strip_prefix('z')
            .is_some_and(|rest| does(Does::Help, rest) || starts_with_kind(rest)),
        _ => false,
    };
    let word = all.iter().any(|p| says(p, Does::Help) && !(is_word(p, "opt") && optic(all)));
    let begins = |w: &str| words::HELPER_STEMS.split_ascii_whitespace().any(|h| w.starts_with(h));
    let joined_word = all.iter().any(|p| matches!(p, NamePiece::Word(w) if begins(w)));
    let helps = prefixed || word || joined_word || name.starts_with('_');
    helps.then(|| Recognition::bare(Role::Helper, NameBasis::Rule))
}

/// The name of an organ with a margin without the `z` that puts it at the end of a list
/// (`zChiasm_PRV2`); nothing for other names.
fn margin_of_organ(all: &[NamePiece]) -> Option<Vec<NamePiece>> {
    let [NamePiece::Word(first), rest @ ..] = all else { return None };
    let last = !first.is_empty() && first.trim_start_matches('z').is_empty();
    let margin = rest.iter().any(|p| is_word(p, "prv")) && !rest.iter().any(is_kind);
    (last && margin).then(|| rest.to_vec())
}

/// Whether `opt` is the optic nerve, chiasm or tract and not an optimisation: beside no target, and
/// with nothing else or with one of these.
fn optic(all: &[NamePiece]) -> bool {
    let rest: Vec<NamePiece> = all.iter().filter(|p| !is_word(p, "opt")).cloned().collect();
    let other = match organ(&words_of(&rest), Languages::NONE) {
        Organ::Found { root, .. } => !root.starts_with("Optic"),
        Organ::Ambiguous | Organ::Unknown => false,
    };
    !all.iter().any(is_kind) && !other && !rest.is_empty()
}

/// `Iso 80%`, `iso12Gy`: an isodose, where `iso` alone would be the isocentre.
fn is_isodose(all: &[NamePiece]) -> bool {
    let iso = all.iter().any(|p| matches!(p, NamePiece::Word(w) if w == "iso"));
    iso && dose_region(all).is_some()
}

fn starts_with_kind(word: &str) -> bool {
    ["ptv", "gtv", "ctv", "itv"].iter().any(|k| word.starts_with(k))
}

/// What an organ and a target have in common, or a target named by its place: not certain which.
fn within(all: &[NamePiece]) -> Option<Recognition> {
    let said = all.iter().any(|p| is_word(p, words::WITHIN)) && all.iter().any(is_kind);
    said.then(|| Recognition::bare(Role::Unknown, NameBasis::Ambiguous))
}

/// What is taken away: where the words of it stand, and what is left of the name.
struct Taken {
    /// `gtv`, `ctv`, `ptv` or a word for a lesion.
    what: String,
    /// Whether all of it is meant, and not one of several.
    whole: bool,
    /// The pieces of the structure it is taken from.
    rest: Vec<NamePiece>,
}

/// The target that a name takes away, if it does.
fn taken(all: &[NamePiece]) -> Option<Taken> {
    let is_minus = |p: &NamePiece| *p == NamePiece::Sign('-') || says(p, Does::Subtract);
    let is_target = |p: &NamePiece| is_kind(p) || says(p, Does::Target);
    let named = |p: &NamePiece| match p {
        NamePiece::Word(what) => what.clone(),
        _ => String::new(),
    };
    let part = |behind: &[NamePiece]| behind.iter().all(|p| says(p, Does::Sum));
    // Particles stand between a noun and what is said of it.
    let all: Vec<NamePiece> =
        all.iter().filter(|p| !is_word(p, "を の 的 之 外")).cloned().collect();
    for (at, pair) in all.windows(2).enumerate() {
        let [one, other] = pair else { continue };
        let (head, tail) = (all.get(..at)?, all.get(at + 2..)?);
        if at > 0 && is_minus(one) && is_target(other) {
            return Some(Taken { what: named(other), whole: part(tail), rest: head.to_vec() });
        }
        // "GTV hariç beyin", "beyin GTV hariç", "ohne GTV Hirn": the rest stands around both.
        let around = [head, tail].concat();
        let behind = is_target(one) && is_word(other, words::MINUS_BEHIND);
        let first = at == 0 && says(one, Does::Subtract) && is_target(other);
        if (behind || first) && !around.is_empty() {
            let what = named(if behind { one } else { other });
            return Some(Taken { what, whole: true, rest: around });
        }
    }
    None
}

impl Reader<'_> {
    /// One structure less another: `Brain-GTV`, `Hirn ohne GTV`, `PTV-GTV`.
    fn subtraction(&self) -> Option<Recognition> {
        let helper = || Recognition::bare(Role::Helper, NameBasis::Rule);
        let Some(taken) = taken(&self.all) else { return self.other_subtraction() };
        if taken.rest.iter().any(is_kind) {
            return Some(helper());
        }
        let kept: Vec<NamePiece> =
            taken.rest.iter().filter(|p| !says(p, Does::Fill)).cloned().collect();
        let Organ::Found { root, side } = organ(&words_of(&kept), self.spoken) else {
            return (!kept.iter().all(|p| says(p, Does::Target))).then(helper);
        };
        if root == "Brain" && !taken.whole && self.decoration.counted {
            // A copy of the brain without targets, or the brain without the first target.
            return Some(Recognition::bare(Role::Unknown, NameBasis::Ambiguous));
        }
        match (root, taken.what.as_str()) {
            ("Brain", "gtv" | "ctv" | "ptv") if taken.whole && side.is_empty() => {
                let standard = format!("Brain-{}", taken.what.to_ascii_uppercase());
                Some(Recognition::named(self.original, standard, Role::Organ))
            }
            _ => Some(helper()),
        }
    }

    /// A target less an organ: certain with a word, two meanings with a hyphen.
    fn other_subtraction(&self) -> Option<Recognition> {
        let all = &self.all;
        let said = all.iter().position(|p| says(p, Does::Subtract) && !is_word(p, "sin"));
        if said.is_some_and(|at| at > 0 && at + 1 < all.len()) {
            return Some(Recognition::bare(Role::Helper, NameBasis::Rule));
        }
        let hyphen = all.iter().position(|p| *p == NamePiece::Sign('-'))?;
        let (left, right) = (all.get(..hyphen)?, all.get(hyphen + 1..)?);
        let no_side = |w: &String| w.chars().count() > 1 && !words::may_be_side(w);
        let named = words_of(right).into_iter().any(|w| no_side(&w));
        let organ_follows = named && organ(&words_of(right), self.spoken) != Organ::Unknown;
        (left.iter().any(is_kind) && organ_follows)
            .then(|| Recognition::bare(Role::Unknown, NameBasis::Ambiguous))
    }
}

/// Targets.
fn aimed(original: &str, all: &[NamePiece]) -> Option<Recognition> {
    let found = target(all)?;
    let margin = all.iter().any(|p| is_word(p, "mm cm") || is_word(p, words::MARGINS))
        || all.contains(&NamePiece::Sign('%'));
    if margin {
        return Some(Recognition::bare(Role::Helper, NameBasis::Rule));
    }
    if found.ambiguous {
        return Some(Recognition::bare(found.role, NameBasis::Ambiguous));
    }
    Some(match found.standard {
        Some(standard) => Recognition::named(original, standard, found.role),
        None => Recognition::bare(found.role, NameBasis::Rule),
    })
}

/// Volumes of a dose: `12Gy`, `50%`, `DS 1200`.
fn dose_region(all: &[NamePiece]) -> Option<Recognition> {
    let dosed = all.windows(2).any(|pair| match pair {
        [NamePiece::Number(_), NamePiece::Word(unit)] => unit == "gy" || unit == "cgy",
        [NamePiece::Number(_), NamePiece::Sign(sign)] => *sign == '%',
        [NamePiece::Word(word), NamePiece::Number(_)] => holds("ds dose dosis", word),
        _ => false,
    });
    dosed.then(|| Recognition::bare(Role::Helper, NameBasis::Rule))
}

impl Reader<'_> {
    /// An organ with a margin: `Brainstem_PRV03`, `Hirnstamm Saum 3mm`, `Chiasm+2mm`.
    fn margin(&self) -> Option<Recognition> {
        let (original, all) = (self.original, &self.all);
        let word = all.iter().position(|p| is_word(p, words::MARGINS));
        let plus = all.iter().position(|p| *p == NamePiece::Sign('+'));
        let unit = all.iter().position(|p| is_word(p, "mm cm"));
        if word.is_none() && plus.is_none() && unit.is_none() {
            return None;
        }
        let number = all.iter().position(|p| matches!(p, NamePiece::Number(_)));
        let used = [word, plus, unit, number];
        let rest: Vec<NamePiece> = all
            .iter()
            .enumerate()
            .filter(|(i, p)| !used.contains(&Some(*i)) && !says(p, Does::Fill))
            .map(|(_, p)| p.clone())
            .collect();
        let uncertain = Recognition::bare(Role::Prv, NameBasis::Ambiguous);
        let Organ::Found { root, side } = organ(&words_of(&rest), self.spoken) else {
            let has_margin = word.is_some() || unit.is_some();
            return has_margin.then(|| match organ(&words_of(&rest), self.spoken) {
                Organ::Ambiguous => uncertain,
                _ => Recognition::bare(Role::Prv, NameBasis::None),
            });
        };
        let stated = number.and_then(|i| all.get(i));
        let scale = if all.iter().any(|p| is_word(p, "cm")) { 10.0 } else { 1.0 };
        let suffix = match stated {
            Some(NamePiece::Number(n)) if word.is_some() || unit.is_some() => millimetres(n, scale),
            None if word.is_some() => Some(String::new()),
            _ => None,
        };
        let root = if root == "External" { None } else { Some(root) };
        Some(match (root, suffix) {
            (Some(root), Some(suffix)) => {
                Recognition::named(original, format!("{root}_PRV{suffix}{side}"), Role::Prv)
            }
            _ => uncertain,
        })
    }

    fn plain_organ(&self) -> Recognition {
        let all = &self.all;
        let words = without_version(all);
        let partial = all.contains(&NamePiece::Sign('~'));
        let found = match organ(&words, self.spoken) {
            Organ::Found { root, side } => Organ::Found { root, side },
            open => self.without_number(&words).unwrap_or(open),
        };
        match found {
            Organ::Found { root, side } if partial => {
                Recognition::named(self.original, format!("{root}~{side}"), Role::Organ)
            }
            Organ::Found { root, side } => {
                Recognition::named(self.original, format!("{root}{side}"), role_of(root))
            }
            Organ::Ambiguous => Recognition::bare(Role::Unknown, NameBasis::Ambiguous),
            Organ::Unknown => Recognition::bare(Role::Unknown, NameBasis::None),
        }
    }

    /// The organ of a name with a number in front or behind that counts copies or entries of a
    /// list. `Cerebellum 1` may be a lesion at that place; `Cerebellum_1` is a copy, `Lens L 2` is
    /// no lesion.
    fn without_number(&self, words: &[String]) -> Option<Organ> {
        let is_number = |w: &String| w.chars().all(|c| c.is_ascii_digit());
        let (counted, rest) = match words {
            [rest @ .., last] if is_number(last) => (self.decoration.counted, rest),
            [first, rest @ ..] if is_number(first) => (self.decoration.listed, rest),
            _ => return None,
        };
        match organ(rest, self.spoken) {
            Organ::Found { root, side } if counted || !holds(words::LESION_PLACES, root) => {
                Some(Organ::Found { root, side })
            }
            _ => None,
        }
    }
}

/// Two digits for a margin of whole millimetres.
fn millimetres(number: &str, scale: f64) -> Option<String> {
    let value = number.parse::<f64>().ok()? * scale;
    (value.fract() == 0.0 && (1.0..=30.0).contains(&value)).then(|| format!("{value:02.0}"))
}

/// The words without fillers and without a version mark (`v2`) behind another word.
fn without_version(all: &[NamePiece]) -> Vec<String> {
    let version = match all {
        [.., before, NamePiece::Word(v), NamePiece::Number(_)] if v == "v" => {
            !is_word(before, "cn n")
        }
        _ => false,
    };
    let end = if version { all.len().saturating_sub(2) } else { all.len() };
    let kept: Vec<NamePiece> =
        all.iter().take(end).filter(|p| !says(p, Does::Fill)).cloned().collect();
    words_of(&kept)
}
