//! Tests of the whole door against damage: a cut or a flipped bit at any byte of a small file may
//! change what is read, but never ends the program. Tests only.

#[cfg(test)]
mod fuzz;
#[cfg(test)]
mod mutate;

use dicom_dictionary_std::tags;

use super::dose::dose;
use super::encoding::Encoding;
use super::error::Error;
use super::fixtures;
use super::header::Class;
use super::object::Object;
use super::plan::plan;
use super::structure_set::structure_set;
use tidydose_rt::finding::Code;

const ALL: [Encoding; 3] = [Encoding::IMPLICIT, Encoding::EXPLICIT, Encoding::EXPLICIT_BIG];

fn read(bytes: Vec<u8>) -> Result<(), Error> {
    let by_class = |object: &Object<'_>| {
        let class = object.root().uid(tags::SOP_CLASS_UID).unwrap_or_default();
        match Class::of(class) {
            Class::StructureSet => structure_set(object).map(|_| ()),
            Class::Dose => dose(object).map(|_| ()),
            _ => plan(object).map(|_| ()),
        }
    };
    fixtures::read(bytes, by_class).map(|_| ())
}

fn objects() -> Vec<Vec<fixtures::Element>> {
    vec![fixtures::structure_set(fixtures::squares()), fixtures::dose(), fixtures::plan()]
}

#[test]
fn a_cut_at_any_byte_is_no_panic() {
    for parts in objects() {
        for encoding in ALL {
            let bytes = fixtures::file(&parts, encoding, false);
            read(bytes.clone()).unwrap();
            for size in 0..bytes.len() {
                let _ = read(bytes[..size].to_vec());
            }
        }
    }
}

#[test]
fn a_cut_inside_a_value_is_refused() {
    let bytes = fixtures::file(&fixtures::dose(), Encoding::EXPLICIT, false);
    for cut in 1..40 {
        let error = read(bytes[..bytes.len() - cut].to_vec()).unwrap_err();
        assert_eq!(error.code(), Code::FileDamaged, "{cut}");
        assert_eq!(error.object_uid(), Some("1.2.3.2"));
    }
}

#[test]
fn a_flip_of_any_byte_is_no_panic() {
    for parts in objects() {
        for encoding in ALL {
            for open in [false, true] {
                let bytes = fixtures::file(&parts, encoding, open);
                for at in 128..bytes.len() {
                    for mask in [0xFF, 0x01, 0x80] {
                        let mut damaged = bytes.clone();
                        damaged[at] ^= mask;
                        let _ = read(damaged);
                    }
                }
            }
        }
    }
}
