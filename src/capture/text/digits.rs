//! Digits at the beginning of a cell → a number.

/// Most characters of a number with a decimal comma.
const LONGEST: usize = 128;

/// Reads the number at the start of `text`, correctly rounded; returns it with its length. `mark` is the decimal mark: "1." is a number,
/// "1," is one followed by a comma.
#[inline]
pub(super) fn number(text: &[u8], mark: u8) -> Option<(f64, usize)> {
    if mark == b'.' {
        return with_point(text);
    }
    let mut pointed = [0; LONGEST];
    let mut length = 0;
    for (index, &byte) in text.iter().take(LONGEST).enumerate() {
        pointed[index] = match byte {
            b'0'..=b'9' | b'+' | b'-' | b'e' | b'E' => byte,
            _ if byte == mark && text.get(index + 1).is_some_and(u8::is_ascii_digit) => b'.',
            _ => break,
        };
        length = index + 1;
    }
    with_point(&pointed[..length])
}

#[inline]
fn with_point(text: &[u8]) -> Option<(f64, usize)> {
    let sign = usize::from(matches!(text.first(), Some(b'+' | b'-')));
    // The library knows infinities and other words, too.
    if !matches!(text.get(sign), Some(b'0'..=b'9' | b'.')) {
        return None;
    }
    let (value, length) = fast_float2::parse_partial(text).ok()?;
    // An exponent without digits.
    let is_cut = matches!(text.get(length), Some(b'e' | b'E'));
    (!is_cut).then_some((value, length))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_and_where_they_end() {
        for (text, mark, value, length) in [
            ("1.5,", b'.', 1.5, 3),
            ("-0,25;", b',', -0.25, 5),
            ("1,\n", b',', 1.0, 1),
            ("+.5e-3 ", b'.', 0.0005, 6),
            ("1.", b'.', 1.0, 2),
            ("-00.005000000000,", b'.', -0.005, 16),
            (
                "00012345678901234567890",
                b'.',
                12_345_678_901_234_567_890.0,
                23,
            ),
            ("1E+3", b'.', 1000.0, 4),
        ] {
            assert_eq!(
                number(text.as_bytes(), mark),
                Some((value, length)),
                "{text}"
            );
        }
        for text in ["", "-", ".", "e5", "1e", "1e+", "abc", "+-1"] {
            assert_eq!(number(text.as_bytes(), b'.'), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn rounded_as_the_standard_library_does(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
            for text in [format!("{value:e}"), format!("{value:.4e}"), format!("{:.9}", value.clamp(-1e6, 1e6))] {
                let exact: f64 = text.parse().unwrap();
                prop_assert_eq!(number(text.as_bytes(), b'.'), Some((exact, text.len())));
                let comma = text.replace('.', ",");
                prop_assert_eq!(number(comma.as_bytes(), b','), Some((exact, text.len())));
            }
        }
    }
}
