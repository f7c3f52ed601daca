//! What was odd about a file or an object while it was read, before it is known whose it is.
//! Repeated remarks are counted instead of repeated.

use std::collections::BTreeMap;

use dicom_core::Tag;

use super::dictionary::keyword;
use tidydose_rt::finding::{Code, Finding, Subject};

/// One odd thing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Remark {
    code: Code,
    attribute: Option<Tag>,
    roi_number: Option<i64>,
    message: String,
}

/// The odd things of one file with how often each was seen, in the order of the code list.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Remarks(BTreeMap<Remark, usize>);

impl Remarks {
    /// About the whole file or object.
    pub(super) fn add(&mut self, code: Code, message: impl Into<String>) {
        self.push(code, None, None, message.into());
    }

    /// About one attribute.
    pub(super) fn about(&mut self, code: Code, tag: Tag, message: impl Into<String>) {
        self.push(code, Some(tag), None, message.into());
    }

    /// About one structure.
    pub(super) fn roi(&mut self, code: Code, number: i64, message: impl Into<String>) {
        self.push(code, None, Some(number), message.into());
    }

    /// Takes over what was noted elsewhere.
    pub(super) fn append(&mut self, other: Self) {
        for (remark, count) in other.0 {
            *self.0.entry(remark).or_default() += count;
        }
    }

    fn push(&mut self, code: Code, attribute: Option<Tag>, roi: Option<i64>, message: String) {
        let remark = Remark { code, attribute, roi_number: roi, message };
        *self.0.entry(remark).or_default() += 1;
    }

    /// Whether a remark of this kind was made.
    #[cfg(test)]
    pub(super) fn has(&self, code: Code) -> bool {
        self.0.keys().any(|remark| remark.code == code)
    }

    /// As findings about `subject`.
    pub(super) fn findings(&self, subject: &Subject) -> Vec<Finding> {
        let finding = |(remark, count): (&Remark, &usize)| {
            let subject = Subject {
                attribute: remark.attribute.map(keyword),
                roi_number: remark.roi_number,
                ..subject.clone()
            };
            let message = match count {
                1 => remark.message.clone(),
                n => format!("{} ({n} times)", remark.message),
            };
            Finding::new(remark.code, subject, message)
        };
        self.0.iter().map(finding).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_remarks_are_counted() {
        let mut remarks = Remarks::default();
        remarks.about(Code::UnknownRepresentation, Tag(0x3006, 0x0050), "read by the dictionary");
        remarks.about(Code::UnknownRepresentation, Tag(0x3006, 0x0050), "read by the dictionary");
        let findings = remarks.findings(&Subject::default());
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].message, "read by the dictionary (2 times)");
        assert_eq!(findings[0].subject.attribute.as_deref(), Some("ContourData"));
    }
}
