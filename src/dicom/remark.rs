//! What was odd about a file or an object while it was read, before it is known whose it is.
//! Repeated remarks are counted instead of repeated.

use dicom_core::Tag;

use super::attribute::keyword;
use crate::finding::{Code, Finding, Subject};

/// One odd thing.
#[derive(Debug, Clone, PartialEq)]
struct Remark {
    code: Code,
    attribute: Option<Tag>,
    roi_number: Option<i64>,
    message: String,
    count: usize,
}

/// The odd things of one file, in order of first appearance.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Remarks(Vec<Remark>);

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
        for remark in other.0 {
            self.merge(remark);
        }
    }

    fn push(&mut self, code: Code, attribute: Option<Tag>, roi: Option<i64>, message: String) {
        self.merge(Remark { code, attribute, roi_number: roi, message, count: 1 });
    }

    fn merge(&mut self, new: Remark) {
        let same = self.0.iter_mut().find(|old| {
            old.code == new.code
                && old.attribute == new.attribute
                && old.roi_number == new.roi_number
                && old.message == new.message
        });
        match same {
            Some(old) => old.count += new.count,
            None => self.0.push(new),
        }
    }

    /// Whether a remark of this kind was made.
    #[cfg(test)]
    pub(super) fn has(&self, code: Code) -> bool {
        self.0.iter().any(|remark| remark.code == code)
    }

    /// As findings about `subject`.
    pub(super) fn findings(&self, subject: &Subject) -> Vec<Finding> {
        let finding = |remark: &Remark| {
            let subject = Subject {
                attribute: remark.attribute.map(keyword),
                roi_number: remark.roi_number,
                ..subject.clone()
            };
            let message = match remark.count {
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
