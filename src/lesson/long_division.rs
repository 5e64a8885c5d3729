//! The long division on the page.

use std::fmt::Write;

use super::division::{DIVISOR, divide};
use super::parts::{ANSWER, ANSWERED, Form};
use crate::telegram::Telegram;

/// Steps that a pupil does before looking.
pub(super) const FIRST: usize = 3;

/// Every subtraction, for following with paper and pencil.
pub(super) fn long_division(form: Form, telegram: &Telegram) -> String {
    let division = divide(telegram);
    let count = division.steps.len();
    let mut all = String::new();
    if form == Form::Page {
        // Closed like an answer, for those who want to do it first.
        all.push_str(ANSWER);
        all.push_str(
            "\n<div class=\"answer steps\" data-what=\"the first steps\"><div class=\"division\">\n",
        );
    }
    for (number, step) in division.steps.iter().enumerate() {
        let (first, last) = (step.at + 1, step.at + DIVISOR.len());
        let down = if step.brought_down.is_empty() {
            String::new()
        } else if number + 1 < count {
            format!("bring down {}", step.brought_down)
        } else {
            format!("bring down {}, the rest", step.brought_down)
        };
        let lines = [
            format!("step {} of {count}, digits {first}–{last}", number + 1),
            format!("  {}", step.window),
            format!("⊕ {DIVISOR}"),
            format!("= {}", step.result),
            down,
        ];
        match form {
            Form::Text => {
                for line in lines.iter().filter(|line| !line.is_empty()) {
                    let _ = writeln!(all, "    {line}");
                }
                all.push_str("    \n");
            }
            Form::Page => {
                if number == FIRST {
                    let _ = write!(all, "</div></div>\n{ANSWERED}\n<div class=\"division\">\n");
                }
                let _ = writeln!(all, "<pre>{}</pre>", lines.join("\n").trim_end());
            }
        }
    }
    if form == Form::Page {
        if count > FIRST {
            all.push_str("</div>");
        } else {
            let _ = write!(all, "</div></div>\n{ANSWERED}");
        }
    }
    all
}
