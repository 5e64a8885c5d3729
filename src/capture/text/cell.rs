//! One cell of a row: a number, nothing worth a number, or text.

use super::digits::number;
use super::written;

/// What stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    /// A finite number.
    Number(f64),
    /// Empty, or a word instruments write where there is no value (over range, not a number).
    Missing,
    /// Anything else.
    Text,
}

/// Judges a whole cell without its delimiters: quotes and blanks around it do not matter.
pub(super) fn judge(text: &[u8], mark: u8) -> Cell {
    let text = bare(text);
    if let Some((value, length)) = number(text, mark)
        && length == text.len()
    {
        return if value.is_finite() {
            Cell::Number(value)
        } else {
            Cell::Missing
        };
    }
    // The typographic minus of some spreadsheets.
    if let Some(rest) = text.strip_prefix("\u{2212}".as_bytes())
        && let Some((value, length)) = number(rest, mark)
        && length == rest.len()
        && !rest.starts_with(b"-")
    {
        return Cell::Number(-value);
    }
    if is_missing(text) {
        return Cell::Missing;
    }
    for (word, state) in [("high", 1.0), ("low", 0.0), ("true", 1.0), ("false", 0.0)] {
        if text.eq_ignore_ascii_case(word.as_bytes()) {
            return Cell::Number(state);
        }
    }
    match written::value(text, mark) {
        Some((value, _)) if value.is_finite() => Cell::Number(value),
        _ => Cell::Text,
    }
}

/// Without blanks, quotes and blanks inside the quotes.
pub(super) fn bare(text: &[u8]) -> &[u8] {
    let text = text.trim_ascii();
    for quote in [b'"', b'\''] {
        if let [first, inner @ .., last] = text
            && *first == quote
            && *last == quote
        {
            return inner.trim_ascii();
        }
    }
    text
}

fn is_missing(text: &[u8]) -> bool {
    const WORDS: [&str; 39] = [
        "∞",
        "-∞",
        "+∞",
        "overload",
        "overflow",
        "ovfl",
        "ovld",
        "ol",
        "o.l",
        "o.l.",
        "nan",
        "-nan",
        "+nan",
        "nan(ind)",
        "-nan(ind)",
        "1.#ind",
        "-1.#ind",
        "1.#qnan",
        "-1.#qnan",
        "1.#inf",
        "-1.#inf",
        "inf",
        "-inf",
        "+inf",
        "infinity",
        "-infinity",
        "+infinity",
        "over",
        "under",
        "overflow",
        "underflow",
        "ovl",
        "ol",
        "clip",
        "clipped",
        "n/a",
        "na",
        "null",
        "none",
    ];
    text.iter().all(|byte| b"-*#?".contains(byte))
        || WORDS
            .iter()
            .any(|word| text.eq_ignore_ascii_case(word.as_bytes()))
        || [&b"over"[..], b"under"].iter().any(|start| {
            // "OVER RANGE", "Overrange", "over-range"
            let rest = text
                .get(start.len()..)
                .unwrap_or_default()
                .trim_ascii_start();
            text.get(..start.len())
                .is_some_and(|own| own.eq_ignore_ascii_case(start))
                && rest
                    .strip_prefix(b"-")
                    .unwrap_or(rest)
                    .eq_ignore_ascii_case(b"range")
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_for_no_value() {
        for text in [
            "",
            " ",
            "nan",
            "NaN",
            "-Inf",
            "---",
            "OVER",
            "Over Range",
            "****",
            "\"\"",
            "1e999",
            "-1.#IND",
        ] {
            assert_eq!(judge(text.as_bytes(), b'.'), Cell::Missing, "{text}");
        }
        for text in ["CH1", "1.2.3", "overture", "0x1F", "12 apples"] {
            assert_eq!(judge(text.as_bytes(), b'.'), Cell::Text, "{text}");
        }
        // With their unit, as a clock, with blanks between digits: see `written`.
        for (text, value) in [("1.5V", 1.5), ("12:00:01", 43_201.0), ("1 2", 12.0)] {
            assert_eq!(judge(text.as_bytes(), b'.'), Cell::Number(value), "{text}");
        }
        assert_eq!(judge(b" \"1.5\" ", b'.'), Cell::Number(1.5));
        assert_eq!(judge("\u{2212}3".as_bytes(), b'.'), Cell::Number(-3.0));
    }
}
