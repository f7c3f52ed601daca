//! A whole file in memory as an object: outline, inflate where needed, walk. The step between the
//! bytes and the readers of single objects; must not know what an attribute means.

use std::borrow::Cow;
use std::io::Read;

use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use sha2::{Digest, Sha256};

use super::encoding::Encoding;
use super::error::Error;
use super::locate::{Storage, Unrecognised, locate};
use super::number::PADDING;
use super::quirks::meta_instance;
use super::remark::Remarks;
use super::walk::{Pixels, walk};
use tidydose_rt::finding::Code;

/// Largest data set that a deflated file may grow to.
const MAX_INFLATED: u64 = 1 << 30;
/// Deflate reaches at most 1032:1 (RFC 1951 coding of one symbol run); real data sets stay below 20.
const MAX_RATIO: u64 = 1032;

/// A file as an object.
#[derive(Debug, Clone)]
pub(super) struct Opened {
    /// The bytes that [`Pixels`] points into: of the file, or of the inflated data set.
    pub bytes: Vec<u8>,
    /// All elements but the voxels.
    pub object: InMemDicomObject,
    /// The voxels.
    pub pixels: Option<Pixels>,
    /// Transfer Syntax UID as stated.
    pub syntax: Option<String>,
    /// SHA-256 of the file.
    pub digest: String,
    /// What was odd.
    pub remarks: Remarks,
}

/// Builds the object from a file's bytes.
///
/// # Errors
/// When it is no DICOM file or a damaged one.
pub(super) fn open_bytes(bytes: Vec<u8>) -> Result<Opened, Error> {
    let digest = hexadecimal(&bytes);
    let layout = locate(&bytes, bytes.len()).map_err(unrecognised)?;
    let owned = |text: Option<Cow<'_, str>>| text.map(Cow::into_owned);
    let (syntax, meta) = (owned(layout.syntax(&bytes)), owned(layout.meta_instance(&bytes)));
    let data = bytes.get(layout.start..).unwrap_or_default();
    let (bytes, start, encoding) = match layout.storage {
        Storage::Plain(encoding) => (bytes, layout.start, encoding),
        Storage::Deflated => (inflate(data)?, 0, Encoding::EXPLICIT),
    };
    let walked = walk(&bytes, start, encoding)?;
    let mut remarks = layout.remarks;
    remarks.append(walked.remarks);
    let (object, pixels) = (walked.object, walked.pixels);
    let own = object.get(tags::SOP_INSTANCE_UID).and_then(|element| element.to_str().ok());
    let own = own.as_deref().map(|uid| uid.trim_matches(PADDING));
    meta_instance::note(&mut remarks, meta.as_deref(), own);
    Ok(Opened { bytes, object, pixels, syntax, digest, remarks })
}

/// The error for a file without outline.
pub(super) fn unrecognised(reason: Unrecognised) -> Error {
    let message = match reason {
        Unrecognised::Foreign => "not a DICOM file",
        Unrecognised::Damaged | Unrecognised::NeedsMore(_) => {
            "no native DICOM encoding fits the first elements"
        }
    };
    Error::new(Code::FileDamaged, message)
}

/// A raw deflate stream (RFC 1951) as bytes, grown as it goes and bounded.
pub(super) fn inflate(data: &[u8]) -> Result<Vec<u8>, Error> {
    let most = (data.len() as u64).saturating_mul(MAX_RATIO).clamp(1, MAX_INFLATED);
    let mut bytes = Vec::new();
    let mut stream = flate2::read::DeflateDecoder::new(data).take(most + 1);
    stream
        .read_to_end(&mut bytes)
        .map_err(|_| Error::new(Code::FileDamaged, "the deflated data set does not inflate"))?;
    if bytes.len() as u64 > most {
        let message = format!("the deflated data set grows beyond {most} bytes");
        return Err(Error::new(Code::FileDamaged, message));
    }
    Ok(bytes)
}

/// SHA-256 (FIPS 180-4) in hexadecimal.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::super::duplicate::same_object;
    use super::super::fixtures;
    use super::*;

    fn deflated(data: &[u8]) -> Vec<u8> {
        let level = flate2::Compression::best();
        let mut stream = flate2::write::DeflateEncoder::new(Vec::new(), level);
        stream.write_all(data).unwrap();
        fixtures::with_meta("1.2.840.10008.1.2.1.99", &stream.finish().unwrap())
    }

    #[test]
    fn a_deflated_data_set_gives_the_same_object() {
        let data = fixtures::data_set(&fixtures::plan(), Encoding::EXPLICIT, false);
        let plain = fixtures::with_meta("1.2.840.10008.1.2.1", &data);
        let (a, b) = (open_bytes(deflated(&data)).unwrap(), open_bytes(plain).unwrap());
        assert!(same_object(&a.object, &b.object));
        assert_eq!(a.remarks, Remarks::default());
    }

    #[test]
    fn a_cut_deflate_stream_is_refused() {
        let data = fixtures::data_set(&fixtures::plan(), Encoding::EXPLICIT, false);
        let whole = deflated(&data);
        let error = open_bytes(whole[..whole.len() - 20].to_vec()).unwrap_err();
        assert_eq!(error.code(), Code::FileDamaged);
    }

    /// FIPS 180-4 example: SHA-256 of "abc".
    #[test]
    fn digests_are_sha_256() {
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(hexadecimal(b"abc"), expected);
    }
}
