//! A digest as text.

/// Bytes as hexadecimal digits, two for each.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
