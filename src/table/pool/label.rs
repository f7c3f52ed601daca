//! What a centre may be called in tables that leave it. Knows no study.

/// Letters of a label at most.
const LONGEST: usize = 24;
/// More digits in a row are a number of somebody, or a date.
const MOST_DIGITS: usize = 3;
/// Letters of a pseudonym, which no label may look like.
const PSEUDONYM: usize = 13;

/// Checks a label.
///
/// # Errors
/// What is wrong with it and what would be accepted, in words.
pub fn accepted(label: &str) -> Result<(), String> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    if !label.starts_with(|c: char| c.is_ascii_alphabetic())
        || !label.chars().all(plain)
        || label.len() > LONGEST
    {
        return Err(format!(
            "`{label}` is no label of a centre; up to {LONGEST} of A-Z, a-z, 0-9, _ and - with a letter \
             first are accepted, such as Harbour"
        ));
    }
    let digits = label.split(|c: char| !c.is_ascii_digit()).map(str::len).max().unwrap_or(0);
    if digits > MOST_DIGITS {
        return Err(format!(
            "`{label}` holds a number of {digits} digits, which may be somebody's; a label with at most \
             {MOST_DIGITS} digits in a row is accepted"
        ));
    }
    let rest = label.chars().skip(1);
    let mixed = rest.clone().any(|c| c.is_ascii_digit()) && rest.clone().any(char::is_alphabetic);
    let small = rest.clone().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit());
    if label.len() == PSEUDONYM
        && label.starts_with(|c: char| c.is_ascii_uppercase())
        && small
        && mixed
    {
        return Err(format!(
            "`{label}` looks like a pseudonym of the tables; an invented name such as Harbour is accepted"
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn invented_names_are_labels_and_numbers_pseudonyms_and_paths_are_not() {
        for good in ["Harbour", "north_2", "A", "centre-12", "Hillside123"] {
            assert_eq!(accepted(good), Ok(()), "{good}");
        }
        for bad in ["", "2nd", "a b", "./x", "Ward4711", "Pwc1wcha46p7c", "Zürich", &"x".repeat(25)]
        {
            assert!(accepted(bad).is_err(), "{bad}");
        }
    }
}
