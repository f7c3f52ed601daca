//! Bytes behind the end of the data set.
//!
//! Clause: PS3.10 7.2: a data set ends with the file; padding is an element of its own, (FFFC,FFFC).
//! Files do: fill up to a block of the disk or tape with zeros, blanks or 0xFF, or leave what an
//! earlier, longer file held.
//! We do: ignore one byte over and over, and anything behind the pixel data, with which these
//! objects end.
//! Finding: `FileTrailingBytes`.
//! Strict: the same.

/// Whether all that is left is one padding byte over and over.
pub(crate) fn only_padding(rest: &[u8]) -> bool {
    let Some(&first) = rest.first() else { return false };
    matches!(first, 0x00 | 0xFF | b' ')
        && rest.iter().take(4).all(|b| *b == first)
        && rest.iter().all(|b| *b == first)
}

/// What is told of `count` bytes.
pub(crate) fn message(count: usize) -> String {
    format!("{count} bytes follow the data set")
}
