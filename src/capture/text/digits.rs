//! Digits at the beginning of a cell → a number, several at a time: captures are millions of them.

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

const WHOLE_POWERS: [u64; 9] = [
    1,
    10,
    100,
    1_000,
    10_000,
    100_000,
    1_000_000,
    10_000_000,
    100_000_000,
];

/// Reads the number at the start of `text`; returns it with its length. `mark` is the decimal mark.
///
/// Correctly rounded up to 15 digits (both factors are exact then, Clinger 1990), else within a few units in the last
/// place: samples are kept with 24 bits, times need no more than that. The library parser needs the end of the number
/// found first and takes longer. Always inlined: this is the hot path of text captures.
#[inline(always)]
pub(super) fn number(text: &[u8], mark: u8) -> Option<(f64, usize)> {
    /// Any number of 19 digits fits 64 bits.
    const SAFE_DIGITS: usize = 19;
    let negative = text.first() == Some(&b'-');
    let start = usize::from(negative || text.first() == Some(&b'+'));
    let mut mantissa = 0;
    let whole = digits(text.get(start..)?, &mut mantissa);
    let mut at = start + whole;
    let mut behind = 0;
    // "1." is a number, "1," is one followed by a comma.
    if text.get(at) == Some(&mark)
        && (mark == b'.' || text.get(at + 1).is_some_and(u8::is_ascii_digit))
    {
        behind = digits(&text[at + 1..], &mut mantissa);
        at += 1 + behind;
    }
    if whole + behind == 0 {
        return None;
    }
    let mut exponent = -(behind as i32);
    if whole + behind > SAFE_DIGITS {
        (mantissa, exponent) = long(&text[start..at]);
    }
    if matches!(text.get(at), Some(b'e' | b'E')) {
        let (power, length) = power(&text[at + 1..])?;
        exponent = exponent.saturating_add(power);
        at += 1 + length;
    }
    let value = scaled(mantissa as f64, exponent);
    Some((if negative { -value } else { value }, at))
}

/// Appends the digits at the start of `text` to `mantissa` (modulo 2^64) and returns how many there are.
#[inline]
fn digits(text: &[u8], mantissa: &mut u64) -> usize {
    let mut rest = text;
    while let Some((eight, behind)) = rest.split_first_chunk::<8>() {
        let (value, count) = leading_digits(u64::from_le_bytes(*eight));
        *mantissa = mantissa
            .wrapping_mul(WHOLE_POWERS[count])
            .wrapping_add(value);
        if count < 8 {
            return text.len() - rest.len() + count;
        }
        rest = behind;
    }
    while let [digit @ b'0'..=b'9', behind @ ..] = rest {
        *mantissa = mantissa
            .wrapping_mul(10)
            .wrapping_add(u64::from(digit - b'0'));
        rest = behind;
    }
    text.len() - rest.len()
}

/// The digits that eight characters begin with, and how many they are. The first character is in the lowest byte of the
/// word; pairs, then fours, then all are joined by one multiplication each (arithmetic on packed bytes, common practice).
#[inline]
fn leading_digits(word: u64) -> (u64, usize) {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const BEYOND_NINE: u64 = 0x7676_7676_7676_7676;
    const HIGH_BITS: u64 = 0x8080_8080_8080_8080;
    let word = word ^ ZEROS;
    // Digits are 0 to 9 now; of anything else the high bit is set, or is with 0x76 added. What that carries into the next
    // byte does not matter: the first one counts.
    let other = (word.wrapping_add(BEYOND_NINE) | word) & HIGH_BITS;
    let count = (other.trailing_zeros() / 8) as usize;
    if count == 0 {
        return (0, 0);
    }
    // Zeros in front.
    let word = word << (64 - 8 * count);
    let pairs = (word.wrapping_mul(10) + (word >> 8)) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100) + (pairs >> 16)) & 0x0000_FFFF_0000_FFFF;
    (
        (fours.wrapping_mul(10_000) + (fours >> 32)) & 0xFFFF_FFFF,
        count,
    )
}

/// More digits than 64 bits hold: the first ones count, the rest only by their number.
#[cold]
fn long(text: &[u8]) -> (u64, i32) {
    const FULL: u64 = 1_000_000_000_000_000_000;
    let (mut mantissa, mut exponent, mut step) = (0, 0, 0);
    for &byte in text {
        if !byte.is_ascii_digit() {
            step = 1;
        } else if mantissa < FULL {
            mantissa = mantissa * 10 + u64::from(byte - b'0');
            exponent -= step;
        } else {
            exponent += 1 - step;
        }
    }
    (mantissa, exponent)
}

/// Exponent behind the `e`, with its length.
fn power(text: &[u8]) -> Option<(i32, usize)> {
    let sign = usize::from(matches!(text.first(), Some(b'-' | b'+')));
    let count = text[sign..]
        .iter()
        .take_while(|byte| byte.is_ascii_digit())
        .count();
    let digits = text[sign..sign + count].iter();
    let power = digits.fold(0_i32, |power, &digit| {
        (power * 10 + i32::from(digit - b'0')).min(100_000)
    });
    let signed = if text.first() == Some(&b'-') {
        -power
    } else {
        power
    };
    (count > 0).then_some((signed, sign + count))
}

#[inline]
fn scaled(mantissa: f64, exponent: i32) -> f64 {
    match exponent {
        0..=22 => mantissa * POWERS[exponent as usize],
        -22..=-1 => mantissa / POWERS[-exponent as usize],
        // In two steps, as 10^−340 alone is 0 while 10^18·10^−340 is not.
        _ => {
            let half = exponent.clamp(-400, 400) / 2;
            mantissa * 10_f64.powi(half) * 10_f64.powi(exponent.clamp(-400, 400) - half)
        }
    }
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

    /// Every number of digits in front of every character, against a loop.
    #[test]
    fn digits_end_at_any_other_character() {
        for count in 0..=8 {
            for byte in 0..=u8::MAX {
                let mut text = *b"90817263";
                if count < 8 {
                    text[count] = byte;
                }
                let digits = text.iter().take_while(|byte| byte.is_ascii_digit());
                let slow = digits.fold((0, 0), |(value, count), digit| {
                    (value * 10 + u64::from(digit - b'0'), count + 1)
                });
                assert_eq!(leading_digits(u64::from_le_bytes(text)), slow, "{text:?}");
            }
        }
    }

    proptest! {
        // The library parser rounds correctly. Ours rounds the mantissa (if above 2^53) and the product: 2 × half a
        // unit, one more for the power of ten beyond 10^22.
        #[test]
        fn close_to_the_library_parser(value in any::<f64>().prop_filter("finite", |v| v.is_finite() && (v.abs() < 1e300) && (v.abs() > 1e-290))) {
            for text in [format!("{value:e}"), format!("{value:.4e}"), format!("{:.9}", value.clamp(-1e6, 1e6))] {
                let exact: f64 = text.parse().unwrap();
                let (own, length) = number(text.as_bytes(), b'.').unwrap();
                prop_assert_eq!(length, text.len());
                prop_assert!((own - exact).abs() <= 8.0 * f64::EPSILON * exact.abs(), "{} {} {}", text, own, exact);
            }
        }

        #[test]
        fn single_precision_survives(value in any::<f32>().prop_filter("normal", |v| v.is_normal())) {
            for text in [format!("{value}"), format!("{value:e}")] {
                let (own, _) = number(text.as_bytes(), b'.').unwrap();
                prop_assert_eq!(own as f32, value, "{}", text);
            }
        }
    }
}
