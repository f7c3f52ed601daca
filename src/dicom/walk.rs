//! The walk over the bytes of a data set that builds the object model. Bounded: every length is
//! checked against the bytes that remain before anything is allocated, sequences nest at most
//! [`MAX_DEPTH`] deep, and the walk keeps its own stack instead of calling itself. Tolerant where
//! only one meaning is left, with a remark each time. Must not know what the attributes mean.

use std::ops::Range;

use dicom_core::header::HasLength;
use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, Length, Tag, VR};
use dicom_object::InMemDicomObject;

use super::encoding::{
    ElementHead, Encoding, HeadFault, ITEM, ITEM_END, SEQUENCE_END, UNDEFINED, element_head,
};
use super::error::Error;
use super::quirks::{cut_length, trailing_bytes, unknown_representation};
use super::remark::Remarks;
use super::text::CharacterSet;
use super::value::primitive;
use tidydose_rt::finding::Code;

/// Sequences inside sequences that are followed; the standard's objects need fewer than ten.
pub(super) const MAX_DEPTH: usize = 64;
/// Items in one file; beyond this, the items alone would take gigabytes of memory.
const MAX_ITEMS: usize = 8_000_000;

const PIXEL_DATA: Tag = Tag(0x7FE0, 0x0010);
const CHARACTER_SET: Tag = Tag(0x0008, 0x0005);
const TRAILING_PADDING: Tag = Tag(0xFFFC, 0xFFFC);

/// Where the voxels are among the bytes; they are not copied into the object.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Pixels {
    /// Plain values in the byte order of the encoding.
    Native {
        /// Bytes of the value.
        range: Range<usize>,
        /// Whether the most significant byte comes first.
        big: bool,
    },
    /// Compressed fragments, the offset table left out.
    Fragments(Vec<Range<usize>>),
}

/// A data set in memory.
#[derive(Debug, Clone)]
pub(super) struct Walked {
    /// All elements but the voxels.
    pub object: InMemDicomObject,
    /// The voxels.
    pub pixels: Option<Pixels>,
    /// What was odd.
    pub remarks: Remarks,
}

struct ItemFrame {
    object: InMemDicomObject,
    end: usize,
    open: bool,
    encoding: Encoding,
    characters: CharacterSet,
}

struct SequenceFrame {
    tag: Tag,
    items: Vec<InMemDicomObject>,
    end: usize,
    open: bool,
    encoding: Encoding,
}

/// An item (the data set itself is the outermost one) and the sequence inside it that is being
/// read, if any.
struct Level {
    item: ItemFrame,
    sequence: Option<SequenceFrame>,
}

struct Walker<'a> {
    bytes: &'a [u8],
    at: usize,
    levels: Vec<Level>,
    items: usize,
    pixels: Option<Pixels>,
    unknown: unknown_representation::UnknownValues,
    /// The last value, where its length may have been cut.
    last: Option<Tag>,
    remarks: Remarks,
}

/// Builds the object from the data set that begins at `start`.
///
/// # Errors
/// `FileDamaged` when lengths contradict the bytes, `AttributeInvalid` when an attribute is there
/// twice with different values.
pub(super) fn walk(bytes: &[u8], start: usize, encoding: Encoding) -> Result<Walked, Error> {
    let root = ItemFrame {
        object: InMemDicomObject::new_empty(),
        end: bytes.len(),
        open: false,
        encoding,
        characters: CharacterSet::undeclared(),
    };
    let walker = Walker {
        bytes,
        at: start,
        levels: vec![Level { item: root, sequence: None }],
        items: 0,
        pixels: None,
        unknown: unknown_representation::UnknownValues::default(),
        last: None,
        remarks: Remarks::default(),
    };
    walker.run()
}

/// What a step leaves to be done.
enum NextStep {
    On,
    CloseItem,
    CloseSequence,
}

impl Walker<'_> {
    fn run(mut self) -> Result<Walked, Error> {
        while let Some(level) = self.levels.last() {
            let step = if level.sequence.is_some() { self.in_sequence() } else { self.in_item() };
            let rest = self.bytes.get(self.at..).unwrap_or_default();
            let step = step.map_err(|error| cut_length::explained(error, self.last, rest))?;
            match step {
                NextStep::On => {}
                NextStep::CloseSequence => self.close_sequence()?,
                NextStep::CloseItem => {
                    let Some(level) = self.levels.pop() else { break };
                    let object = level.item.object;
                    match self.levels.last_mut().and_then(|l| l.sequence.as_mut()) {
                        Some(sequence) => sequence.items.push(object),
                        None => {
                            let Self { pixels, mut remarks, unknown, .. } = self;
                            unknown.note(&mut remarks);
                            return Ok(Walked { object, pixels, remarks });
                        }
                    }
                }
            }
        }
        Err(damaged("the data set has no end", self.at))
    }

    fn in_sequence(&mut self) -> Result<NextStep, Error> {
        let at = self.at;
        let Some(sequence) = self.levels.last().and_then(|l| l.sequence.as_ref()) else {
            return Ok(NextStep::On);
        };
        let (end, open, encoding, tag) =
            (sequence.end, sequence.open, sequence.encoding, sequence.tag);
        if at >= end {
            self.remark_open_end(open, end);
            return Ok(NextStep::CloseSequence);
        }
        let head = element_head(self.bytes.get(..end).unwrap_or_default(), at, encoding)
            .map_err(|_| damaged("a sequence ends inside the head of an item", at).about(tag))?;
        match head.tag {
            ITEM => self.open_item(head, end, encoding).map_err(|e| e.about(tag)),
            SEQUENCE_END => {
                self.at = head.value_at;
                Ok(NextStep::CloseSequence)
            }
            _ => Err(damaged("a sequence holds something that is not an item", at).about(tag)),
        }
    }

    fn open_item(
        &mut self,
        head: ElementHead,
        end: usize,
        encoding: Encoding,
    ) -> Result<NextStep, Error> {
        self.items += 1;
        if self.items > MAX_ITEMS {
            return Err(damaged(&format!("more than {MAX_ITEMS} items"), self.at));
        }
        let (item_end, open) = match head.size() {
            None => (end, true),
            Some(size) if size <= end - head.value_at => (head.value_at + size, false),
            Some(size) => return Err(too_long(size, end - head.value_at, self.at)),
        };
        let characters = self.levels.last().map(|l| l.item.characters.clone()).unwrap_or_default();
        let object = InMemDicomObject::new_empty();
        let item = ItemFrame { object, end: item_end, open, encoding, characters };
        self.levels.push(Level { item, sequence: None });
        self.at = head.value_at;
        Ok(NextStep::On)
    }

    fn in_item(&mut self) -> Result<NextStep, Error> {
        let at = self.at;
        let root = self.levels.len() == 1;
        let Some(item) = self.levels.last().map(|l| &l.item) else { return Ok(NextStep::On) };
        let (end, open, encoding) = (item.end, item.open, item.encoding);
        if at >= end {
            self.remark_open_end(open, end);
            return Ok(NextStep::CloseItem);
        }
        if root && trailing_bytes::only_padding(self.bytes.get(at..).unwrap_or_default()) {
            return Ok(self.ignore_rest());
        }
        let head = match element_head(self.bytes.get(..end).unwrap_or_default(), at, encoding) {
            Ok(head) => head,
            Err(_) if root && self.pixels.is_some() => return Ok(self.ignore_rest()),
            Err(HeadFault::Ends) => return Err(damaged("it ends inside an element's head", at)),
            Err(HeadFault::Representation(tag)) => {
                let message = format!("not a value representation, read as {}", encoding.name());
                return Err(damaged(&message, at).about(tag));
            }
        };
        match head.tag {
            ITEM_END if open => {
                self.at = head.value_at;
                Ok(NextStep::CloseItem)
            }
            SEQUENCE_END | ITEM if open => {
                self.remarks.add(Code::FileEndMissing, "an item has no delimiter");
                Ok(NextStep::CloseItem)
            }
            ITEM_END | SEQUENCE_END => {
                self.at = head.value_at;
                Ok(NextStep::On)
            }
            ITEM => Err(damaged("an item outside a sequence", at)),
            _ => self.element(head, end).map(|()| NextStep::On),
        }
    }

    fn remark_open_end(&mut self, open: bool, end: usize) {
        if open && end == self.bytes.len() {
            let message = "the file ends without the delimiters of a sequence";
            self.remarks.add(Code::FileEndMissing, message);
        }
    }

    fn ignore_rest(&mut self) -> NextStep {
        let message = trailing_bytes::message(self.bytes.len() - self.at);
        self.remarks.add(Code::FileTrailingBytes, message);
        self.at = self.bytes.len();
        NextStep::CloseItem
    }

    fn element(&mut self, head: ElementHead, end: usize) -> Result<(), Error> {
        let around = self.levels.last().map_or(Encoding::IMPLICIT, |l| l.item.encoding);
        let (vr, encoding) = self.unknown.meaning(&head, around);
        let remaining = end - head.value_at;
        let Some(size) = head.size() else {
            return match vr {
                VR::SQ | VR::UN if head.tag != PIXEL_DATA => {
                    self.open_sequence(head, end, encoding)
                }
                _ => self.fragments(&head, end, encoding),
            };
        };
        if size > remaining {
            if self.levels.len() == 1 && self.pixels.is_some() && head.tag != PIXEL_DATA {
                self.ignore_rest();
                return Ok(());
            }
            return Err(too_long(size, remaining, self.at).about(head.tag));
        }
        if vr == VR::SQ {
            return self.open_sequence(head, head.value_at + size, encoding);
        }
        self.at = head.value_at + size;
        self.last = cut_length::possible(vr, encoding).then_some(head.tag);
        self.keep(&head, vr, encoding)
    }

    fn open_sequence(&mut self, head: ElementHead, end: usize, e: Encoding) -> Result<(), Error> {
        if self.levels.len() > MAX_DEPTH {
            let message = format!("sequences nest more than {MAX_DEPTH} deep");
            return Err(damaged(&message, self.at).about(head.tag));
        }
        if let Some(level) = self.levels.last_mut() {
            level.sequence = Some(SequenceFrame {
                tag: head.tag,
                items: Vec::new(),
                end,
                open: head.length == UNDEFINED,
                encoding: e,
            });
        }
        self.at = head.value_at;
        Ok(())
    }

    fn close_sequence(&mut self) -> Result<(), Error> {
        let Some(level) = self.levels.last_mut() else { return Ok(()) };
        let Some(sequence) = level.sequence.take() else { return Ok(()) };
        let value = DataSetSequence::new(sequence.items, Length::UNDEFINED);
        let element = DataElement::new(sequence.tag, VR::SQ, value);
        match level.item.object.put(element) {
            Some(old) if old.value().length() != Length(0) => {
                let message = "the sequence is there twice; one would be accepted";
                Err(Error::new(Code::AttributeInvalid, message).about(sequence.tag))
            }
            _ => Ok(()),
        }
    }

    /// Keeps a value; group lengths and padding mean nothing and are dropped.
    fn keep(&mut self, head: &ElementHead, vr: VR, encoding: Encoding) -> Result<(), Error> {
        let tag = head.tag;
        if tag.element() == 0 || tag == TRAILING_PADDING {
            return Ok(());
        }
        let range = head.value_at..self.at;
        if tag == PIXEL_DATA && self.levels.len() == 1 {
            self.pixels = Some(Pixels::Native { range, big: encoding.big });
            return Ok(());
        }
        let bytes = self.bytes.get(range).unwrap_or_default();
        let Some(level) = self.levels.last_mut() else { return Ok(()) };
        let (value, guessed) = primitive(vr, bytes, encoding.big, &level.item.characters);
        if guessed {
            let message = "the text does not fit the declared character set";
            self.remarks.about(Code::CharacterSetGuessed, tag, message);
        }
        if tag == CHARACTER_SET {
            level.item.characters = CharacterSet::declared(&value.to_str());
        }
        let new = DataElement::new(tag, vr, value);
        if level.item.object.get(tag).is_some_and(|old| old.value() != new.value()) {
            let message = "the attribute is there twice with different values";
            return Err(Error::new(Code::AttributeInvalid, message).about(tag));
        }
        level.item.object.put(new);
        Ok(())
    }

    /// The fragments of compressed pixel data (PS3.5 A.4).
    fn fragments(
        &mut self,
        head: &ElementHead,
        end: usize,
        encoding: Encoding,
    ) -> Result<(), Error> {
        let mut found = Vec::new();
        let mut at = head.value_at;
        loop {
            let part = element_head(self.bytes.get(..end).unwrap_or_default(), at, encoding)
                .map_err(|_| damaged("it ends inside compressed pixel data", at).about(head.tag))?;
            at = part.value_at;
            if part.tag == SEQUENCE_END {
                break;
            }
            let size = part.size().filter(|_| part.tag == ITEM);
            match size {
                Some(size) if size <= end - at => found.push(at..at + size),
                Some(size) => return Err(too_long(size, end - at, at).about(head.tag)),
                None => {
                    let message = "undefined length where only a sequence may have it";
                    return Err(damaged(message, at).about(head.tag));
                }
            }
            at += size.unwrap_or(0);
        }
        self.at = at;
        if head.tag == PIXEL_DATA && self.levels.len() == 1 {
            found.drain(..found.len().min(1));
            self.pixels = Some(Pixels::Fragments(found));
        }
        Ok(())
    }
}

pub(super) fn damaged(what: &str, at: usize) -> Error {
    let message = format!("{what} (at byte {at}); only a complete file is accepted");
    Error::new(Code::FileDamaged, message)
}

fn too_long(size: usize, remaining: usize, at: usize) -> Error {
    let what = format!("a length of {size} bytes is stated where {remaining} remain");
    damaged(&what, at)
}

#[cfg(test)]
mod tests {
    use dicom_dictionary_std::tags;

    use super::super::duplicate::same_object;
    use super::super::fixtures::{self, Element, text};
    use super::*;

    const ALL: [Encoding; 3] = [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG];

    fn walked(parts: &[Element], encoding: Encoding, open: bool) -> Walked {
        walk(&fixtures::data_set(parts, encoding, open), 0, encoding).unwrap()
    }

    fn refused(bytes: &[u8], encoding: Encoding) -> Error {
        walk(bytes, 0, encoding).unwrap_err()
    }

    #[test]
    fn every_encoding_gives_the_same_object() {
        for parts in [fixtures::plan(), fixtures::structure_set(fixtures::squares())] {
            let first = walked(&parts, Encoding::EXPLICIT, false);
            for encoding in ALL {
                for open in [false, true] {
                    let other = walked(&parts, encoding, open);
                    assert!(same_object(&first.object, &other.object), "{encoding:?} {open}");
                    assert_eq!(other.remarks, Remarks::default());
                }
            }
        }
    }

    #[test]
    fn lying_lengths_are_refused_before_memory_is_taken() {
        for encoding in ALL {
            for vr in [VR::OB, VR::UT, VR::SQ, VR::UN] {
                for length in [u32::MAX - 1, 0x8000_0000, 101] {
                    let mut bytes = fixtures::head(Tag(0x0009, 0x1001), vr, length, encoding);
                    bytes.resize(100, 0);
                    assert_eq!(refused(&bytes, encoding).code(), Code::FileDamaged);
                }
            }
        }
    }

    #[test]
    fn a_nesting_bomb_is_refused() {
        for encoding in ALL {
            let level = [
                fixtures::head(tags::ROI_CONTOUR_SEQUENCE, VR::SQ, UNDEFINED, encoding),
                fixtures::head(ITEM, VR::UN, UNDEFINED, encoding),
            ]
            .concat();
            let error = refused(&level.repeat(10_000), encoding);
            assert!(error.message().contains("nest more than 64"), "{error}");
            assert!(walk(&level.repeat(MAX_DEPTH), 0, encoding).is_ok());
        }
    }

    #[test]
    fn unknown_representation_is_read_by_the_dictionary_as_implicit_little_endian() {
        let item = fixtures::data_set(
            &[text(tags::ROI_NAME, VR::LO, "Lens L")],
            Encoding::IMPLICIT,
            false,
        );
        let length = u32::try_from(item.len()).unwrap();
        let sequence = [fixtures::head(ITEM, VR::UN, length, Encoding::IMPLICIT), item].concat();
        let end = fixtures::head(SEQUENCE_END, VR::UN, 0, Encoding::IMPLICIT);
        for encoding in [Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let tag = tags::STRUCTURE_SET_ROI_SEQUENCE;
            let closed = [
                fixtures::head(tag, VR::UN, u32::try_from(sequence.len()).unwrap(), encoding),
                sequence.clone(),
            ]
            .concat();
            let open =
                [fixtures::head(tag, VR::UN, UNDEFINED, encoding), sequence.clone(), end.clone()]
                    .concat();
            for bytes in [closed, open] {
                let walked = walk(&bytes, 0, encoding).unwrap();
                let items = walked.object.element(tag).unwrap().items().unwrap();
                let name = items[0].element(tags::ROI_NAME).unwrap();
                assert_eq!(name.to_str().unwrap(), "Lens L");
                assert!(walked.remarks.has(Code::UnknownRepresentation));
            }
            let number = [fixtures::head(tags::ROWS, VR::UN, 2, encoding), vec![7, 0]].concat();
            let walked = walk(&number, 0, encoding).unwrap();
            assert_eq!(walked.object.element(tags::ROWS).unwrap().to_int::<u16>().unwrap(), 7);
        }
    }

    #[test]
    fn a_private_sequence_of_unknown_representation_is_implicit() {
        let e = Encoding::EXPLICIT;
        let inner = fixtures::data_set(
            &[text(Tag(0x0008, 0x1150), VR::UI, "1.2.3")],
            Encoding::IMPLICIT,
            false,
        );
        let bytes = [
            fixtures::head(Tag(0x0009, 0x1001), VR::UN, UNDEFINED, e),
            fixtures::head(ITEM, VR::UN, UNDEFINED, e),
            inner,
            fixtures::head(ITEM_END, VR::UN, 0, e),
            fixtures::head(SEQUENCE_END, VR::UN, 0, e),
            fixtures::data_set(&[text(tags::PATIENT_ID, VR::LO, "PAT-1")], e, false),
        ]
        .concat();
        let walked = walk(&bytes, 0, e).unwrap();
        assert_eq!(walked.object.element(tags::PATIENT_ID).unwrap().to_str().unwrap(), "PAT-1");
    }

    #[test]
    fn what_follows_the_data_set_is_ignored_and_noted() {
        let e = Encoding::EXPLICIT;
        let plan = fixtures::data_set(&fixtures::plan(), e, false);
        for filler in [0x00, 0xFF, b' '] {
            let walked = walk(&[plan.clone(), vec![filler; 100]].concat(), 0, e).unwrap();
            assert!(walked.remarks.has(Code::FileTrailingBytes), "{filler}");
        }
        let dose = fixtures::data_set(&fixtures::dose(), e, false);
        let walked = walk(&[dose, b"not an element".to_vec()].concat(), 0, e).unwrap();
        assert!(walked.remarks.has(Code::FileTrailingBytes));
        let error = refused(&[plan, b"not an element".to_vec()].concat(), e);
        assert_eq!(error.code(), Code::FileDamaged);
    }

    #[test]
    fn delimiters_may_be_missing_at_the_end_of_the_file_only() {
        let e = Encoding::EXPLICIT;
        let parts =
            [Element::Items(tags::BEAM_SEQUENCE, vec![vec![text(tags::BEAM_NUMBER, VR::IS, "1")]])];
        let whole = fixtures::data_set(&parts, e, true);
        let cut = walk(&whole[..whole.len() - 16], 0, e).unwrap();
        assert!(cut.remarks.has(Code::FileEndMissing));
        assert!(same_object(&cut.object, &walk(&whole, 0, e).unwrap().object));
    }

    #[test]
    fn group_lengths_and_padding_are_dropped_and_odd_lengths_accepted() {
        let e = Encoding::EXPLICIT;
        let bytes = [
            fixtures::data_set(
                &[Element::Bytes(Tag(0x0010, 0), VR::UL, vec![9, 0, 0, 0])],
                e,
                false,
            ),
            fixtures::head(tags::PATIENT_ID, VR::LO, 3, e),
            b"ABC".to_vec(),
            fixtures::head(TRAILING_PADDING, VR::OB, 2, e),
            vec![0, 0],
        ]
        .concat();
        let walked = walk(&bytes, 0, e).unwrap();
        assert_eq!(walked.object.tags().collect::<Vec<_>>(), [tags::PATIENT_ID]);
        assert_eq!(walked.object.element(tags::PATIENT_ID).unwrap().to_str().unwrap(), "ABC");
    }

    #[test]
    fn a_repeated_attribute_must_repeat_its_value() {
        let e = Encoding::EXPLICIT;
        let once = fixtures::data_set(&[text(tags::PATIENT_ID, VR::LO, "A")], e, false);
        let other = fixtures::data_set(&[text(tags::PATIENT_ID, VR::LO, "B")], e, false);
        assert!(walk(&once.repeat(2), 0, e).is_ok());
        let error = refused(&[once, other].concat(), e);
        assert_eq!(error.code(), Code::AttributeInvalid);
    }
}
