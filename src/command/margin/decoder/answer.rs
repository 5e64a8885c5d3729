//! What a decoder printed, read as numbers.

use fieldripple::margin::{Answer, Failure, Number};

/// Most of an answer that is looked at, bytes: numbers of a hundred tags take less.
pub const MOST: usize = 1 << 12;

/// Reads an answer: a number a line (15 digits, `CCC:N` or `CCC N`), or nothing. Anything else is garbage.
pub fn answer(text: &[u8]) -> Answer {
    let Ok(text) = std::str::from_utf8(text) else {
        return Answer::Failed(Failure::Garbage);
    };
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    lines
        .map(number)
        .collect::<Option<Vec<Number>>>()
        .map_or(Answer::Failed(Failure::Garbage), Answer::Numbers)
}

/// Country or issuer (0 to 1023) and national number (below 2^38).
pub fn number(text: &str) -> Option<Number> {
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let (country, national) = match text.split_once([':', ' ']) {
        Some((country, national)) => (country, national.trim_start()),
        None if text.len() == 15 && digits(text) => text.split_at(3),
        None => return None,
    };
    if !digits(country) || !digits(national) || country.len() > 4 {
        return None;
    }
    let (country, national) = (country.parse().ok()?, national.parse().ok()?);
    (country < 1024 && national < 1 << 38).then_some((country, national))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_in_three_ways_and_nothing_else_is_one() {
        for text in [
            "999000123456789",
            "999:123456789",
            "999 000123456789",
            " 999 123456789\r\n\n",
        ] {
            assert_eq!(
                answer(text.as_bytes()),
                Answer::Numbers(vec![(999, 123_456_789)]),
                "{text}"
            );
        }
        assert_eq!(answer(b"\n"), Answer::Numbers(Vec::new()));
        assert_eq!(
            answer(b"999:1\n999:2\n"),
            Answer::Numbers(vec![(999, 1), (999, 2)])
        );
        for text in [
            "none",
            "999:",
            ":5",
            "999:-5",
            "1024:5",
            "999:274877906944",
            "99900012345678",
            "9990001234567890",
            "999 1 2",
            "999:1\nTraceback",
            "99999:5",
        ] {
            assert_eq!(
                answer(text.as_bytes()),
                Answer::Failed(Failure::Garbage),
                "{text}"
            );
        }
        assert_eq!(answer(b"\xff\xfe"), Answer::Failed(Failure::Garbage));
    }
}
