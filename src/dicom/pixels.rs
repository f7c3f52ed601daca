//! The stored integers of a dose grid: plain in either byte order, or run-length encoded (PS3.5
//! annex G). Sizes are checked before memory is taken. Must not know what the integers mean.

use super::error::Error;
use super::object::DicomFile;
use super::walk::Pixels;
use tidydose_rt::finding::Code;

/// RLE Lossless.
const RLE_UID: &str = "1.2.840.10008.1.2.5";

/// The size of a stack of frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Size {
    /// Rows (0028,0010).
    pub rows: u16,
    /// Columns (0028,0011).
    pub columns: u16,
    /// Bytes of one sample: 2 or 4.
    pub sample: usize,
}

impl Size {
    /// Samples of one frame.
    pub(super) fn frame_samples(self) -> usize {
        usize::from(self.rows) * usize::from(self.columns)
    }

    /// Bytes of one frame.
    pub(super) fn frame_bytes(self) -> usize {
        self.frame_samples() * self.sample
    }
}

/// Stored integers as bytes in one byte order.
pub(super) struct StoredSamples<'a> {
    bytes: std::borrow::Cow<'a, [u8]>,
    big: bool,
}

impl<'a> StoredSamples<'a> {
    /// Finds or decodes the stored integers; nothing when the object has no pixel data.
    ///
    /// # Errors
    /// `FileEncodingUnsupported` for compression other than RLE, `FileDamaged` for RLE that does
    /// not decode.
    pub(super) fn of(file: &'a DicomFile, size: Size) -> Result<Option<Self>, Error> {
        match &file.pixels {
            None => Ok(None),
            Some(Pixels::Native { range, .. }) if range.is_empty() => Ok(None),
            Some(Pixels::Native { range, big }) => {
                let bytes = file.bytes.get(range.clone()).unwrap_or_default();
                Ok(Some(Self { bytes: bytes.into(), big: *big }))
            }
            Some(Pixels::Fragments(parts)) if file.meta.syntax.as_deref() == Some(RLE_UID) => {
                let parts = parts.iter().map(|p| file.bytes.get(p.clone()).unwrap_or_default());
                let mut bytes = Vec::new();
                for frame in parts {
                    decode_frame(frame, size, &mut bytes)?;
                }
                Ok(Some(Self { bytes: bytes.into(), big: false }))
            }
            Some(Pixels::Fragments(_)) => {
                let message =
                    "compressed pixels; accepted are the native transfer syntaxes and RLE";
                Err(Error::new(Code::FileEncodingUnsupported, message))
            }
        }
    }

    /// Bytes at hand.
    pub(super) fn len(&self) -> usize {
        self.bytes.len()
    }

    /// The first `count` samples of `sample` bytes each, as stored, without sign.
    pub(super) fn words(&self, count: usize, sample: usize) -> impl Iterator<Item = u32> + '_ {
        let bytes = self.bytes.get(..count * sample).unwrap_or_default();
        let big = self.big;
        bytes.chunks_exact(sample.max(1)).map(move |bytes| {
            let add = |word: u32, byte: &u8| (word << 8) | u32::from(*byte);
            if big { bytes.iter().fold(0, add) } else { bytes.iter().rev().fold(0, add) }
        })
    }

    /// The first `count` samples times `scaling`, each rounded once.
    pub(super) fn scaled(&self, count: usize, format: SampleFormat) -> Vec<f32> {
        let bytes = self.bytes.get(..count * format.sample).unwrap_or_default();
        let SampleFormat { scaling, .. } = format;
        match (format.sample, format.signed, self.big) {
            (2, false, false) => scaled(bytes, scaling, |b| f64::from(u16::from_le_bytes(b))),
            (2, false, true) => scaled(bytes, scaling, |b| f64::from(u16::from_be_bytes(b))),
            (2, true, false) => scaled(bytes, scaling, |b| f64::from(i16::from_le_bytes(b))),
            (2, true, true) => scaled(bytes, scaling, |b| f64::from(i16::from_be_bytes(b))),
            (_, false, false) => scaled(bytes, scaling, |b| f64::from(u32::from_le_bytes(b))),
            (_, false, true) => scaled(bytes, scaling, |b| f64::from(u32::from_be_bytes(b))),
            (_, true, false) => scaled(bytes, scaling, |b| f64::from(i32::from_le_bytes(b))),
            (_, true, true) => scaled(bytes, scaling, |b| f64::from(i32::from_be_bytes(b))),
        }
    }
}

/// Groups of bytes as integers, times `scaling`. Called with one way of reading each, so that the
/// loop knows it.
#[allow(clippy::cast_possible_truncation)] // the one rounding to single precision
fn scaled<const N: usize>(
    bytes: &[u8],
    scaling: f64,
    integer: impl Fn([u8; N]) -> f64,
) -> Vec<f32> {
    let (groups, _) = bytes.as_chunks::<N>();
    groups.iter().map(|group| (integer(*group) * scaling) as f32).collect()
}

/// How a stored integer becomes a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SampleFormat {
    /// Bytes of one sample: 2 or 4.
    pub sample: usize,
    /// Two's complement (Pixel Representation 1).
    pub signed: bool,
    /// What one step is worth.
    pub scaling: f64,
}

/// Decodes one RLE frame to little-endian samples: one segment per byte of a sample, the most
/// significant first (PS3.5 G.2).
fn decode_frame(frame: &[u8], size: Size, out: &mut Vec<u8>) -> Result<(), Error> {
    let bad = |what: &str| Error::new(Code::FileDamaged, format!("run-length encoding: {what}"));
    let word = |index: usize| {
        let bytes = frame.get(index * 4..index * 4 + 4)?;
        let bytes: [u8; 4] = bytes.try_into().ok()?;
        usize::try_from(u32::from_le_bytes(bytes)).ok()
    };
    if word(0) != Some(size.sample) {
        return Err(bad(&format!("the number of segments is not {}", size.sample)));
    }
    let samples = size.frame_samples();
    let mut planes = Vec::with_capacity(size.sample);
    for index in 0..size.sample {
        let from = word(index + 1).ok_or_else(|| bad("the header ends early"))?;
        let to = if index + 1 < size.sample { word(index + 2) } else { Some(frame.len()) };
        let segment = to.and_then(|to| frame.get(from..to));
        let segment = segment.ok_or_else(|| bad("a segment lies outside its frame"))?;
        let plane = unpack(segment, samples).ok_or_else(|| bad("a segment ends early"))?;
        planes.push(plane);
    }
    out.reserve(samples * size.sample);
    for sample in 0..samples {
        out.extend(planes.iter().rev().filter_map(|plane| plane.get(sample)));
    }
    Ok(())
}

/// One segment (PS3.5 G.3): exactly `count` bytes, or nothing.
fn unpack(mut segment: &[u8], count: usize) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    while bytes.len() < count {
        let (&control, rest) = segment.split_first()?;
        let n = usize::from(control);
        segment = match control {
            0..=127 => {
                let (run, rest) = rest.split_at_checked(n + 1)?;
                bytes.extend_from_slice(run);
                rest
            }
            128 => rest,
            129..=255 => {
                let (&value, rest) = rest.split_first()?;
                bytes.resize(bytes.len() + 257 - n, value);
                rest
            }
        };
    }
    bytes.truncate(count);
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the algorithm of PS3.5 G.3.2: -1 repeats twice, 2 copies three, -128 does nothing.
    #[test]
    fn runs_are_unpacked() {
        assert_eq!(unpack(&[255, 7, 2, 1, 2, 3, 128], 5), Some(vec![7, 7, 1, 2, 3]));
        assert_eq!(unpack(&[255, 7, 2, 1, 2], 5), None);
        assert_eq!(unpack(&[129, 9], 100), Some(vec![9; 100]));
    }

    #[test]
    fn segments_hold_the_most_significant_byte_first() {
        let size = Size { rows: 1, columns: 2, sample: 2 };
        let mut frame = vec![0; 64];
        frame[0] = 2;
        frame[4] = 64;
        frame[8] = 67;
        frame.extend([1, 0x01, 0x02, 1, 0x03, 0x04]);
        let mut out = Vec::new();
        decode_frame(&frame, size, &mut out).unwrap();
        assert_eq!(out, [0x03, 0x01, 0x04, 0x02]);
        assert!(decode_frame(&frame[..66], size, &mut Vec::new()).is_err());
    }
}
