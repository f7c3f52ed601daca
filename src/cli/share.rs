//! Which cases a run takes when several runs share the work: by a digest of the case's name, so
//! that every run knows its own without speaking to the others.

use std::str::FromStr;

use sha2::{Digest, Sha256};

use tidydose_rt::identity::Token;

/// The share `number` of `of`, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Share {
    number: u64,
    of: u64,
}

impl Share {
    /// Whether the case belongs to this share.
    pub(super) fn takes(self, case: &Token) -> bool {
        let digest = Sha256::digest(case.as_str());
        let bits = digest.iter().take(8).fold(0_u64, |acc, b| (acc << 8) | u64::from(*b));
        bits % self.of == self.number - 1
    }
}

impl Share {
    /// Name of the folder of its tables.
    pub(super) fn folder(self) -> String {
        format!("{}-of-{}", self.number, self.of)
    }
}

impl FromStr for Share {
    type Err = String;

    fn from_str(typed: &str) -> Result<Self, String> {
        let wrong = || format!("`{typed}` is not accepted; I/N is, from 1/N to N/N, such as 2/8");
        let (number, of) = typed.split_once('/').ok_or_else(wrong)?;
        let parse = |text: &str| text.trim().parse::<u64>().map_err(|_| wrong());
        let share = Self { number: parse(number)?, of: parse(of)? };
        if (1..=share.of).contains(&share.number) { Ok(share) } else { Err(wrong()) }
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_case_is_in_exactly_one_share() {
        let shares: Vec<Share> = (1..=5).map(|i| format!("{i}/5").parse().unwrap()).collect();
        let mut counts = [0; 5];
        for case in (0..1000).map(|i| Token::new(format!("O{i}"))) {
            let own: Vec<usize> = (0..5).filter(|i| shares[*i].takes(&case)).collect();
            assert_eq!(own.len(), 1, "{case}");
            counts[own[0]] += 1;
        }
        // Five standard deviations of a binomial distribution about 200.
        assert!(counts.iter().all(|n| (137..=263).contains(n)), "{counts:?}");
        assert!("1/1".parse::<Share>().unwrap().takes(&Token::new("any")));
    }

    #[test]
    fn what_is_no_share_is_answered_with_what_is() {
        for typed in ["", "3", "0/2", "3/2", "a/b", "1/0", "-1/2", "1/2/3"] {
            let text = typed.parse::<Share>().unwrap_err();
            assert!(text.contains("such as 2/8"), "{typed}: {text}");
        }
        let share = " 2 / 8".parse::<Share>().unwrap();
        assert_eq!((share.to_string(), share.folder()), ("2/8".to_owned(), "2-of-8".to_owned()));
    }
}
