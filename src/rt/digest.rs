//! A digest as text.

/// Bytes as hexadecimal digits, two for each.
#[must_use]
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_has_two_digits() {
        assert_eq!(hexadecimal(&[0, 10, 255]), "000aff");
    }
}
