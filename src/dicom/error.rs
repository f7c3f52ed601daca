//! Why a file or an object was refused, in terms a person at the terminal can act on: file, SOP
//! instance, attribute, value found and what would have been accepted.
//!
//! An [`Error`] holds the raw path and UID and belongs on the user's own terminal only;
//! [`Error::to_finding`] turns it into a finding that holds tokens. Knows nothing of how a value
//! is read.

use std::path::{Path, PathBuf};

use dicom_core::Tag;

use super::dictionary::keyword;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Kind, Token};

/// Why a file or an object was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Error(Box<Detail>);

#[derive(Debug, Clone, PartialEq)]
struct Detail {
    code: Code,
    message: String,
    file: PathBuf,
    file_token: Option<Token>,
    object: Option<String>,
    patient: Option<Token>,
    roi_number: Option<i64>,
    attribute: Option<Tag>,
    found: Option<String>,
}

impl Error {
    /// An error with a sentence that names no identifier: what is wrong, what would be accepted.
    pub(super) fn new(code: Code, message: impl Into<String>) -> Self {
        Self(Box::new(Detail {
            code,
            message: message.into(),
            file: PathBuf::new(),
            file_token: None,
            object: None,
            patient: None,
            roi_number: None,
            attribute: None,
            found: None,
        }))
    }

    pub(super) fn about(mut self, tag: Tag) -> Self {
        self.0.attribute = Some(tag);
        self
    }

    /// The value as found; shown on the terminal only.
    pub(super) fn found(mut self, value: impl Into<String>) -> Self {
        self.0.found = Some(value.into());
        self
    }

    pub(super) fn in_file(mut self, path: &Path, token: &Token) -> Self {
        self.0.file = path.to_path_buf();
        self.0.file_token = Some(token.clone());
        self
    }

    pub(super) fn in_object(mut self, uid: Option<&str>, patient: Option<&Token>) -> Self {
        self.0.object = uid.map(str::to_owned);
        self.0.patient = patient.cloned();
        self
    }

    /// Which kind of refusal it is.
    #[must_use]
    pub fn code(&self) -> Code {
        self.0.code
    }

    /// The file. An identifier: for the terminal only.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.0.file
    }

    /// The SOP Instance UID as in the file, where known. An identifier: for the terminal only.
    #[must_use]
    pub fn object_uid(&self) -> Option<&str> {
        self.0.object.as_deref()
    }

    /// The sentence without identifiers: what is wrong and what would be accepted.
    #[must_use]
    pub fn message(&self) -> &str {
        &self.0.message
    }

    /// The attribute as keyword and tag, such as `DoseGridScaling (3004,000E)`.
    #[must_use]
    pub fn attribute(&self) -> Option<String> {
        self.0.attribute.map(|tag| format!("{} {tag}", keyword(tag)))
    }

    /// The value as found in the file, where one attribute is to blame. It may be an identifier:
    /// for the terminal only.
    #[must_use]
    pub fn value_found(&self) -> Option<&str> {
        self.0.found.as_deref()
    }

    /// The same as a finding, in tokens.
    #[must_use]
    pub fn to_finding(&self, identity: &Identity) -> Finding {
        let d = &self.0;
        let subject = Subject {
            patient: d.patient.clone(),
            case: None,
            file: d.file_token.clone(),
            object: d.object.as_deref().map(|uid| identity.token(Kind::Object, uid)),
            roi_number: d.roi_number,
            attribute: d.attribute.map(keyword),
        };
        Finding::new(d.code, subject, d.message.clone())
    }
}

impl std::fmt::Display for Error {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let d = &self.0;
        write!(f, "{}: {}", d.file.display(), d.message)?;
        if let Some(attribute) = self.attribute() {
            write!(f, "; attribute {attribute}")?;
        }
        if let Some(found) = &d.found {
            write!(f, "; found \"{found}\"")?;
        }
        match &d.object {
            Some(uid) => write!(f, "; SOP Instance UID {uid}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for Error {}
