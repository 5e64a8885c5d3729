//! Plain sentences in place of what cannot be drawn.

use plotters::prelude::*;

use super::DrawError;
use super::style::{Area, INK, LABEL, text, width_of};

/// Pixels from line to line.
pub(super) const LINE: i32 = 22;

/// Writes text into an area, wrapped at blanks; what does not fit below is cut off with an ellipsis.
pub(super) fn write<DB: DrawingBackend>(area: &Area<DB>, words: &str) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    let (width, height) = area.dim_in_pixel();
    // Long lines tire the eye: some 110 letters are enough.
    let wide = f64::from(width.saturating_sub(32)).min(820.0);
    let fitting = ((height as i32 - 16) / LINE).max(1) as usize;
    let mut lines = wrap(words, wide);
    if lines.len() > fitting {
        lines.truncate(fitting);
        if let Some(last) = lines.last_mut() {
            last.push_str(" …");
        }
    }
    for (row, line) in lines.into_iter().enumerate() {
        let place = (14, 10 + row as i32 * LINE);
        area.draw(&Text::new(line, place, text(LABEL, INK)))?;
    }
    Ok(())
}

pub(super) fn wrap(words: &str, wide: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        let longer = match lines.last() {
            Some(line) => format!("{line} {word}"),
            None => word.to_string(),
        };
        match lines.last_mut() {
            Some(line) if width_of(&longer, LABEL) <= wide => *line = longer,
            _ => lines.push(word.to_string()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_is_lost_and_no_line_too_wide() {
        let words =
            "The field is there but no animal tag's ripple: one capture cannot tell these apart.";
        let lines = wrap(words, 150.0);
        assert_eq!(lines.join(" "), words);
        assert!(lines.len() > 2);
        for line in lines {
            assert!(width_of(&line, LABEL) <= 150.0, "{line}");
        }
    }
}
