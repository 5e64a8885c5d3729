//! One cell of a filled-in answer sheet: what people write for a number, a word or a capture.

use std::collections::BTreeSet;

use crate::telegram::Identity;

/// Numbers as a set: the order they are written in does not matter.
pub(super) type Numbers = BTreeSet<(u16, u64)>;

/// Digits of a number in print: three of the country, twelve of the national number.
const PRINTED: usize = 15;
/// Digits of the country or issuer code in print (ISO 11784: 0 to 1023).
const COUNTRY: std::ops::RangeInclusive<usize> = 3..=4;

/// Numbers in a cell: 999:123, 999 000000000123 or 999000000000123, with blanks inside a number too; several with a blank, a plus, a slash, a comma,
/// a semicolon or "and" between. `None` where it cannot be told what is meant.
pub(super) fn numbers(text: &str) -> Option<Numbers> {
    let lower = text
        .to_lowercase()
        .replace(" and ", "+")
        .replace('\u{a0}', " ");
    let mut all = Numbers::new();
    for part in lower.split(['+', '/', ',', ';', '&', '\n']) {
        let part = part.trim();
        if !part.is_empty() {
            all.extend(without_marks(part)?);
        }
    }
    (!all.is_empty()).then_some(all)
}

/// Numbers with nothing but blanks between them.
fn without_marks(part: &str) -> Option<Numbers> {
    if part.contains(':') {
        // Blanks around the colon, and within the digits behind it, belong to the number.
        let joined = part.replace(" :", ":").replace(": ", ":");
        return with_colons(&joined);
    }
    let groups: Vec<&str> = part.split_whitespace().collect();
    let digits: String = groups.concat();
    if digits.is_empty() || !digits.bytes().all(|digit| digit.is_ascii_digit()) {
        return None;
    }
    if digits.len().is_multiple_of(PRINTED) {
        return (0..digits.len())
            .step_by(PRINTED)
            .map(|at| identity(&digits[at..at + 3], &digits[at + 3..at + PRINTED]))
            .collect();
    }
    // A country and a national number without its leading 0s.
    match groups.as_slice() {
        [country, national] if COUNTRY.contains(&country.len()) => {
            Some([identity(country, national)?].into())
        }
        _ => None,
    }
}

fn with_colons(part: &str) -> Option<Numbers> {
    let mut all = Numbers::new();
    let mut open: Option<(String, String)> = None;
    for word in part.split_whitespace() {
        match (word.split_once(':'), &mut open) {
            (Some((country, national)), _) => {
                if let Some((country, national)) = open.take() {
                    all.insert(identity(&country, &national)?);
                }
                open = Some((country.into(), national.into()));
            }
            (None, Some((_, national))) => national.push_str(word),
            (None, None) => return None,
        }
    }
    let (country, national) = open?;
    all.insert(identity(&country, &national)?);
    Some(all)
}

fn identity(country: &str, national: &str) -> Option<(u16, u64)> {
    let plain =
        |digits: &str| !digits.is_empty() && digits.bytes().all(|digit| digit.is_ascii_digit());
    if !plain(country) || !plain(national) {
        return None;
    }
    let found = Identity::new(country.parse().ok()?, national.parse().ok()?).ok()?;
    Some((found.country, found.national))
}

/// A word as it is compared: small letters, hyphens for blanks and underscores.
pub(super) fn word(text: &str) -> String {
    text.to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '_' || c == '-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}

/// The name of a capture: without folders and ending.
pub(super) fn capture(text: &str) -> String {
    let name = text.rsplit(['/', '\\']).next().unwrap_or(text);
    word(
        name.trim()
            .trim_end_matches(".wav")
            .trim_end_matches(".WAV"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_people_write_them() {
        let one: Numbers = [(999, 160_718_020_851)].into();
        for text in [
            "999:160718020851",
            "999 : 160718020851",
            "999 160718020851",
            "999160718020851",
            " 999 160 718 020 851 ",
            "9991 6071 8020 851",
            "999: 160 718 020 851",
            "999\u{a0}160718020851",
        ] {
            assert_eq!(numbers(text).as_ref(), Some(&one), "{text}");
        }
        assert_eq!(numbers("999 123"), Some([(999, 123)].into()));
        let two: Numbers = [(999, 1), (999, 2)].into();
        for text in [
            "999:1 999:2",
            "999:2, 999:1",
            "999:1 AND 999:2",
            "999 1 + 999 2",
            "999000000000001 999000000000002",
            "999 000000000001 999 000000000002",
            "999:1/999:2",
        ] {
            assert_eq!(numbers(text).as_ref(), Some(&two), "{text}");
        }
        for text in [
            "nine", "999", "999:", "12 34 56", "1024:1", "999:-5", "999:1 x", "?",
        ] {
            assert_eq!(numbers(text), None, "{text}");
        }
    }

    #[test]
    fn words_and_captures() {
        for text in ["two-tags", "Two tags", "TWO_TAGS", " two  tags "] {
            assert_eq!(word(text), "two-tags");
        }
        for text in ["capture-03.wav", "exercise/Capture-03.WAV", "capture 03"] {
            assert_eq!(capture(text), "capture-03", "{text}");
        }
    }
}
