//! Tokens instead of identifiers. Patient ID, UIDs, paths, machine names and dates pass through
//! here at the door (in `dicom`) and come out as tokens and day counts, so that no type behind the
//! door has a field that could hold an identifier.
//!
//! A token is a keyed hash (HMAC with SHA-256, RFC 2104 and FIPS 180-4): the same identifier gives
//! the same token under the same key, and without the key nothing can be computed back. With
//! [`Identity::kept`] the token is the identifier itself; that is the user's explicit choice.

use compact_str::CompactString;
use hmac::{Hmac, KeyInit, Mac};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::Sha256;

use tidydose_geometry::units::Day;

/// An opaque name for a patient, an object, a frame, a file or a machine. Equality is identity.
///
/// Keyed tokens lie in the value itself: an archive has a million of them, and they are sorted and
/// compared more than anything else.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Token(CompactString);

impl Token {
    /// A token with exactly this text (used for derived names and in tests).
    #[must_use]
    pub fn new(text: impl AsRef<str>) -> Self {
        Self(CompactString::new(text))
    }

    /// The text as it stands in the tables.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Serialize for Token {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Token {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(Self::new)
    }
}

impl std::fmt::Display for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(&self.0)
    }
}

/// What kind of thing a token stands for; the kind is hashed in, so a patient and a machine with
/// the same text get different tokens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A patient identifier.
    Patient,
    /// A SOP Instance UID.
    Object,
    /// A Frame of Reference UID.
    Frame,
    /// A path below an archive root.
    File,
    /// A treatment machine name.
    Machine,
    /// A series of images.
    Series,
    /// A label that people gave to an object.
    Label,
    /// The day on which a patient was born.
    BirthDate,
}

impl Kind {
    const fn prefix(self) -> &'static str {
        match self {
            Self::Patient => "P",
            Self::Object => "O",
            Self::Frame => "R",
            Self::File => "F",
            Self::Machine => "M",
            Self::Series => "S",
            Self::Label => "L",
            Self::BirthDate => "B",
        }
    }
}

/// How identifiers become tokens in this run.
#[derive(Clone)]
pub struct Identity {
    /// The hash with the key taken in already: an archive has a million identifiers.
    keyed: Option<Hmac<Sha256>>,
}

impl std::fmt::Debug for Identity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.keyed.is_some() { "Identity(keyed)" } else { "Identity(kept)" })
    }
}

/// Crockford's base-32 alphabet in lower case: no letter that is easily misread.
const ALPHABET: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// 60 bits of the hash: a collision among a million names has a chance of about 4e-7.
const TOKEN_LENGTH: usize = 12;
/// The hidden shift of a patient's days is one day at least and this at most (about ten years).
const SHIFT_DAYS: u64 = 3653;

impl Identity {
    /// Tokens are keyed hashes.
    #[must_use]
    pub fn keyed(key: [u8; 32]) -> Self {
        // Shorter keys are filled up with zeros to the size of a block (RFC 2104).
        let mut block = [0; 64];
        block[..32].copy_from_slice(&key);
        Self { keyed: Some(Hmac::new(&block.into())) }
    }

    /// Tokens are the identifiers themselves. Only on the user's explicit word.
    #[must_use]
    pub const fn kept() -> Self {
        Self { keyed: None }
    }

    /// Whether identifiers are kept readable.
    #[must_use]
    pub const fn is_kept(&self) -> bool {
        self.keyed.is_none()
    }

    /// The token of `raw`, after trimming the padding that DICOM allows.
    #[must_use]
    pub fn token(&self, kind: Kind, raw: &str) -> Token {
        let raw = raw.trim_matches([' ', '\0']);
        match self.digest(kind.prefix(), raw) {
            None => Token::new(raw),
            Some(bytes) => {
                let mut text = CompactString::new(kind.prefix());
                let bits = bytes[..8].iter().fold(0_u64, |acc, b| (acc << 8) | u64::from(*b));
                for i in 0..TOKEN_LENGTH {
                    let digit = usize::try_from((bits >> (5 * i)) & 31).unwrap_or(0);
                    text.push(char::from(ALPHABET[digit]));
                }
                Token(text)
            }
        }
    }

    /// A UID in place of `raw`: the first 16 bytes of the keyed hash as a UUID of version 8 (RFC 9562)
    /// below 2.25 (PS3.5 B.2). The same UID gives the same one, whatever it names.
    #[must_use]
    pub fn uid(&self, raw: &str) -> String {
        let raw = raw.trim_matches([' ', '\0']);
        let Some(bytes) = self.digest("uid", raw) else { return raw.to_owned() };
        let bits = bytes[..16].iter().fold(0_u128, |acc, b| (acc << 8) | u128::from(*b));
        let version = (bits & !(0xF << 76)) | (0x8 << 76);
        format!("2.25.{}", (version & !(0x3 << 62)) | (0x2 << 62))
    }

    /// Days since an origin that is hidden per patient (or since 1970-01-01 when kept).
    #[must_use]
    pub fn day(&self, patient: &Token, days_since_1970: i64) -> Day {
        let shift = self.digest("day", patient.as_str()).map_or(0, |bytes| {
            let bits = bytes[..8].iter().fold(0_u64, |acc, b| (acc << 8) | u64::from(*b));
            // A patient who is not shifted would keep the true dates.
            let shift = if bits % SHIFT_DAYS == 0 { SHIFT_DAYS } else { bits % SHIFT_DAYS };
            i64::try_from(shift).unwrap_or(1)
        });
        Day(days_since_1970 - shift)
    }

    fn digest(&self, domain: &str, raw: &str) -> Option<[u8; 32]> {
        let mut mac = self.keyed.clone()?;
        mac.update(domain.as_bytes());
        mac.update(&[0]);
        mac.update(raw.as_bytes());
        Some(mac.finalize().into_bytes().into())
    }
}

/// Tokens of identifiers that many files in a row share, such as that of their patient: the last
/// one of each kind is not computed again.
#[derive(Debug)]
pub struct Recent<'a> {
    identity: &'a Identity,
    last: Vec<(Kind, String, Token)>,
}

impl<'a> Recent<'a> {
    /// Nothing is known yet.
    #[must_use]
    pub const fn new(identity: &'a Identity) -> Self {
        Self { identity, last: Vec::new() }
    }

    /// How identifiers become tokens.
    #[must_use]
    pub const fn identity(&self) -> &'a Identity {
        self.identity
    }

    /// Whether the last identifier of this kind was the same.
    #[must_use]
    pub fn holds(&self, kind: Kind, raw: &str) -> bool {
        self.last.iter().any(|(k, text, _)| *k == kind && text == raw)
    }

    /// As [`Identity::token`].
    pub fn token(&mut self, kind: Kind, raw: &str) -> Token {
        let known = self.last.iter_mut().find(|(k, ..)| *k == kind);
        if let Some((_, _, token)) = known.as_ref().filter(|(_, text, _)| text == raw) {
            return token.clone();
        }
        let token = self.identity.token(kind, raw);
        match known {
            Some(known) => (known.1, known.2) = (raw.to_owned(), token.clone()),
            None => self.last.push((kind, raw.to_owned(), token.clone())),
        }
        token
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, test case 2 ("Jefe"): the HMAC crate is used as the RFC says.
    #[test]
    fn hmac_matches_rfc_4231() {
        let mut mac = Hmac::<Sha256>::new_from_slice(b"Jefe").unwrap();
        mac.update(b"what do ya want for nothing?");
        let hex: String = mac.finalize().into_bytes().iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(hex, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
    }

    #[test]
    fn what_is_remembered_is_what_would_be_computed() {
        let identity = Identity::keyed([7; 32]);
        let mut recent = Recent::new(&identity);
        for raw in ["a", "a", "b", "a ", "b", "a"] {
            for kind in [Kind::Series, Kind::Patient] {
                assert_eq!(recent.token(kind, raw), identity.token(kind, raw), "{raw}");
                assert!(recent.holds(kind, raw) && !recent.holds(kind, "c"));
            }
        }
    }

    #[test]
    fn tokens_are_stable_and_separate() {
        let id = Identity::keyed([7; 32]);
        let a = id.token(Kind::Patient, "PAT-1");
        assert_eq!(a, id.token(Kind::Patient, " PAT-1 "));
        assert_ne!(a, id.token(Kind::Machine, "PAT-1"));
        assert_ne!(a, Identity::keyed([8; 32]).token(Kind::Patient, "PAT-1"));
        assert_eq!(a.as_str().len(), 1 + TOKEN_LENGTH);
        assert!(!a.as_str().contains("PAT"));
        assert_eq!(Identity::kept().token(Kind::Patient, "PAT-1").as_str(), "PAT-1");
    }

    #[test]
    fn uids_are_stable_and_fit() {
        let id = Identity::keyed([7; 32]);
        let uid = id.uid("1.2.3\0");
        assert_eq!(uid, id.uid("1.2.3"));
        assert_ne!(uid, id.uid("1.2.4"));
        let number: u128 = uid.strip_prefix("2.25.").unwrap().parse().unwrap();
        assert_eq!(((number >> 76) & 0xF, (number >> 62) & 0x3), (8, 2));
        assert!(uid.len() <= 64);
    }

    #[test]
    fn days_keep_intervals() {
        let id = Identity::keyed([7; 32]);
        let p = id.token(Kind::Patient, "PAT-1");
        assert_eq!(id.day(&p, 18_000).0 - id.day(&p, 17_900).0, 100);
        assert_eq!(Identity::kept().day(&p, 18_000), Day(18_000));
    }

    /// One patient in 3653 would be, if none were made an exception.
    #[test]
    fn nobody_keeps_the_true_days() {
        let id = Identity::keyed([7; 32]);
        let day = |i: u32| id.day(&Token::new(i.to_string()), 0).0;
        assert!((0..30_000).all(|i| (-3653..=-1).contains(&day(i))));
    }
}
