//! The study key: the secret from which pseudonyms are made, and what the pseudonyms stand for.
//! It lies beside the study folder, readable by its owner only, so that the study can be given away
//! without it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::fault::Fault;
use tidydose_rt::digest::hexadecimal;
use tidydose_rt::identity::{Identity, Token};
use tidydose_table::system::make_folder_of_owner;
use tidydose_table::user::user_file::UserFile;
use tidydose_table::write_file::{Access, replace_file_for};

/// The folder of the key of one study.
#[derive(Debug, Clone)]
pub(super) struct StudyKey {
    folder: PathBuf,
}

/// Number of bytes of the secret.
const LENGTH: usize = 32;

impl StudyKey {
    /// The key beside `study`: `cohort` has `cohort-key`.
    ///
    /// # Errors
    /// When the study folder has no name, as the root of a disk.
    pub(super) fn beside(study: &Path) -> Result<Self, Fault> {
        let absolute =
            std::path::absolute(study).map_err(|e| Fault::folder(study, e.to_string()))?;
        let Some(name) = absolute.file_name() else {
            return Err(Fault::folder(study, "has no name; give a folder to --study"));
        };
        let mut name = name.to_os_string();
        name.push("-key");
        Ok(Self { folder: absolute.with_file_name(name) })
    }

    /// The key in a folder that was named.
    #[must_use]
    pub(super) fn at(folder: &Path) -> Self {
        Self { folder: folder.to_path_buf() }
    }

    /// Whether there is a key.
    #[must_use]
    pub(super) fn exists(&self) -> bool {
        self.secret_file().exists()
    }

    /// The folder.
    #[must_use]
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    fn secret_file(&self) -> PathBuf {
        self.folder.join("key.txt")
    }

    /// The identity under this key; the key is made where there is none.
    ///
    /// # Errors
    /// When the key is damaged or cannot be read or written.
    pub(super) fn identity(&self) -> Result<Identity, Fault> {
        if self.exists() { self.read() } else { self.make() }.map(Identity::keyed)
    }

    fn read(&self) -> Result<[u8; LENGTH], Fault> {
        let path = self.secret_file();
        let text = fs::read(&path).map_err(|e| Fault::folder(&path, e.to_string()))?;
        let text = String::from_utf8_lossy(&text);
        from_hexadecimal(text.trim()).ok_or_else(|| {
            Fault::folder(
                &path,
                format!(
                    "is damaged: found {} characters, expected {} hexadecimal digits; put back a \
                     copy, since a new key would give every patient a new pseudonym",
                    text.trim().chars().count(),
                    2 * LENGTH
                ),
            )
        })
    }

    fn make(&self) -> Result<[u8; LENGTH], Fault> {
        let mut secret = [0; LENGTH];
        getrandom::fill(&mut secret)
            .map_err(|e| Fault::System(format!("the system gives no random numbers: {e}")))?;
        make_folder_of_owner(&self.folder)
            .map_err(|e| Fault::folder(&self.folder, e.to_string()))?;
        let digits = hexadecimal(&secret);
        replace_file_for(&self.secret_file(), Access::OwnerOnly, |output| {
            writeln!(output, "{digits}")
        })?;
        Ok(secret)
    }

    /// Adds what the tokens stand for to `file` (`patient_key.csv` and its like); rows of earlier
    /// runs stay.
    ///
    /// # Errors
    /// When the file cannot be read or written.
    pub(super) fn record(
        &self,
        file: &str,
        columns: [&str; 2],
        meanings: &BTreeMap<Token, String>,
    ) -> Result<(), Fault> {
        let path = self.folder.join(file);
        let mut table = UserFile::read(&path, &columns, &columns)?;
        let known = table.keys(&columns);
        for (token, meaning) in meanings {
            if !known.contains(&vec![token.to_string(), meaning.clone()]) {
                table.add(&[(columns[0], token.as_str()), (columns[1], meaning)]);
            }
        }
        Ok(table.write(&path, Access::OwnerOnly)?)
    }
}

fn from_hexadecimal(text: &str) -> Option<[u8; LENGTH]> {
    if text.len() != 2 * LENGTH || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let mut bytes = [0; LENGTH];
    for (i, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(2 * i..2 * i + 2)?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::identity::Kind;

    #[test]
    fn a_key_is_made_once_and_used_again() {
        let place = tempfile::tempdir().unwrap();
        let study = place.path().join("cohort");
        let key = StudyKey::beside(&study).unwrap();
        assert!(!key.exists());
        let first = key.identity().unwrap().token(Kind::Patient, "A");
        assert!(key.exists() && !study.exists());
        let again = StudyKey::beside(&study).unwrap().identity().unwrap();
        assert_eq!(again.token(Kind::Patient, "A"), first);
        assert_eq!(key.folder(), place.path().join("cohort-key"));
    }

    #[test]
    fn a_damaged_key_is_refused_with_the_remedy() {
        let place = tempfile::tempdir().unwrap();
        let key = StudyKey::beside(&place.path().join("s")).unwrap();
        key.identity().unwrap();
        fs::write(key.secret_file(), "12ab\n").unwrap();
        let message = key.identity().unwrap_err().to_string();
        assert!(message.contains("found 4 characters, expected 64"), "{message}");
        assert!(message.contains("put back a copy"), "{message}");
        fs::write(key.secret_file(), "é".repeat(32)).unwrap();
        assert!(key.identity().is_err());
    }

    #[test]
    fn meanings_of_earlier_runs_stay() {
        let place = tempfile::tempdir().unwrap();
        let key = StudyKey::beside(&place.path().join("s")).unwrap();
        key.identity().unwrap();
        let columns = ["patient_id", "original"];
        for (token, meaning) in [("P2", "=two"), ("P1", "one"), ("P2", "=two")] {
            let one = [(Token::new(token), meaning.to_owned())].into();
            key.record("patient_key.csv", columns, &one).unwrap();
        }
        let text = fs::read_to_string(key.folder().join("patient_key.csv")).unwrap();
        assert_eq!(text, "patient_id,original\r\nP2,'=two\r\nP1,one\r\n");
    }
}
