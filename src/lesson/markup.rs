//! Chapters are written in Markdown: for a page it becomes HTML, for a terminal plain text.

use pulldown_cmark::{Options, Parser, html};

/// Width of a line of text.
const WIDTH: usize = 80;

/// Markdown with blocks of HTML in it → HTML.
pub(super) fn to_html(markdown: &str) -> String {
    let mut page = String::new();
    html::push_html(&mut page, Parser::new_ext(markdown, Options::ENABLE_TABLES));
    page
}

/// Markdown → text for a terminal: marks of emphasis go, paragraphs and items of lists are wrapped; what is
/// indented stays as it is, and rows of tables stay rows.
pub(super) fn to_text(markdown: &str) -> String {
    let mut text = String::new();
    let mut paragraph = String::new();
    for line in markdown.lines().chain([""]) {
        let fixed = line.starts_with("    ") || line.starts_with('|');
        let begins = line.is_empty() || line.starts_with('#') || line.starts_with("- ") || fixed;
        if begins && !paragraph.is_empty() {
            text.push_str(&wrapped(&paragraph));
            paragraph.clear();
        }
        if fixed {
            let cells = line.starts_with('|').then(|| without_marks(line));
            text.push_str(cells.as_deref().unwrap_or(line));
            text.push('\n');
        } else if let Some(heading) = line.strip_prefix('#') {
            let heading = heading.trim_start_matches('#').trim();
            let rule = if line.starts_with("##") { "-" } else { "=" };
            text.push_str(&format!(
                "{heading}\n{}\n",
                rule.repeat(heading.chars().count())
            ));
        } else if line.is_empty() {
            if !text.is_empty() && !text.ends_with("\n\n") {
                text.push('\n');
            }
        } else {
            if !paragraph.is_empty() {
                paragraph.push(' ');
            }
            paragraph.push_str(line.trim());
        }
    }
    format!("{}\n", text.trim_end())
}

fn without_marks(text: &str) -> String {
    text.replace("**", "").replace('`', "")
}

fn wrapped(paragraph: &str) -> String {
    let plain = without_marks(paragraph);
    let (first, further) = match plain.starts_with("- ") {
        true => ("", "  "),
        false => ("", ""),
    };
    let mut lines = vec![first.to_string()];
    for word in plain.split_whitespace() {
        let line = lines.last_mut().expect("there is a first line");
        if line.trim().is_empty() {
            line.push_str(word);
        } else if line.chars().count() + 1 + word.chars().count() <= WIDTH {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(format!("{further}{word}"));
        }
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_keeps_every_word_and_wraps() {
        let long = "word ".repeat(40);
        let text = to_text(&format!(
            "# Title\n\nSome **bold** `code`\nand {long}\n\n- one {long}\n- two\n\n    fieldripple synth x   y\n"
        ));
        assert!(text.starts_with("Title\n=====\n\nSome bold code and word"));
        assert!(
            text.lines().all(|line| line.chars().count() <= WIDTH),
            "{text}"
        );
        assert!(
            text.contains("\n- one word")
                && text.contains("\n  word")
                && text.contains("\n- two\n")
        );
        assert!(text.contains("\n    fieldripple synth x   y\n"));
        assert_eq!(text.matches("word").count(), 80);
    }

    #[test]
    fn blocks_of_html_pass_through() {
        let page = to_html("A **b**.\n\n<div class=\"x\">\n\n- item\n\n</div>\n");
        assert_eq!(
            page,
            "<p>A <strong>b</strong>.</p>\n<div class=\"x\">\n<ul>\n<li>item</li>\n</ul>\n</div>\n"
        );
    }
}
