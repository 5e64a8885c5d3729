//! What a page asks of the program's own code: a question → an answer, both objects as text.
//!
//! Pages to play with ask a [`Question`]; whatever else is asked is the page's that reads captures, and goes to [`crate::page::answer`]. A lesson
//! asks the same questions when it writes its pages, for browsers and programs without the code in the page.

mod bench;
mod broken;
mod capture;
mod decision;
mod folding;
mod outcome;
mod recording;
mod telegram;
mod words;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

pub use bench::BenchQuestion;
pub use broken::BrokenQuestion;
pub use capture::CaptureQuestion;
pub use decision::{DecisionQuestion, READ_ODDS};
pub use folding::{FoldingQuestion, PER_BIT as FOLDING_PER_BIT};
pub use outcome::{numbers, outcome};
pub use telegram::{PER_BIT as TELEGRAM_PER_BIT, TelegramQuestion, halves, thinned};
pub use words::{fixed, odds_words, raised};

/// What can be asked; as text an object with the question's name as `play`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "play", rename_all = "kebab-case")]
pub enum Question {
    /// A bench: currents, phasors, ripple.
    Bench(BenchQuestion),
    /// Bits that may be wrong: what header, control bits, CRC and decision make of them.
    Broken(BrokenQuestion),
    /// The same sent by a transponder: a capture, and what the receiver says of it.
    Capture(CaptureQuestion),
    /// Steps at the boundaries between bits: the number that is decided from them.
    Decision(DecisionQuestion),
    /// A weak capture: what the receiver says of its first telegrams.
    Folding(FoldingQuestion),
    /// Those telegrams as a file.
    FoldingCapture(FoldingQuestion),
    /// All of them one by one.
    FoldingWaves(FoldingQuestion),
    /// A number: its telegram, and the waveform that the receiver sees of it.
    Telegram(TelegramQuestion),
}

/// Why a question has no answer: a value out of range, in words.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Unanswered(String);

impl Unanswered {
    fn new(words: impl Into<String>) -> Self {
        Self(words.into())
    }
}

/// Answers a page. Without an answer there is `error`, a line that says why.
pub fn answer(asked: &str, capture: Vec<u8>) -> String {
    let value: Value = serde_json::from_str(asked).unwrap_or_default();
    if value.get("play").is_none() {
        return crate::page::answer(asked, capture);
    }
    let answer = serde_json::from_value::<Question>(value)
        .map_err(|error| Unanswered::new(error.to_string()))
        .and_then(|question| answered(&question));
    answer
        .unwrap_or_else(|error| json!({ "error": error.to_string() }))
        .to_string()
}

/// Answers one question.
///
/// # Errors
/// [`Unanswered`]: a value that is out of range.
pub fn answered(question: &Question) -> Result<Value, Unanswered> {
    match question {
        Question::Bench(bench) => bench.answer(),
        Question::Broken(broken) => broken.answer(),
        Question::Capture(capture) => capture.answer(),
        Question::Decision(decision) => decision.answer(),
        Question::Folding(folding) => folding.answer(),
        Question::FoldingCapture(folding) => folding.capture(),
        Question::FoldingWaves(folding) => folding.waves(),
        Question::Telegram(telegram) => telegram.answer(),
    }
}

/// A value within limits.
fn within(name: &str, value: f64, least: f64, most: f64) -> Result<f64, Unanswered> {
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(Unanswered::new(format!(
            "{name} is {value}: {least} to {most} is allowed"
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_question_is_known_by_its_name() {
        let ask =
            |asked: &str| -> Value { serde_json::from_str(&answer(asked, Vec::new())).unwrap() };
        let telegram = ask(r#"{"play":"telegram","number":"999:98765432109"}"#);
        assert_eq!(telegram["crc_hex"], "85DB");
        assert!(ask(r#"{"play":"cards"}"#)["error"].is_string());
        assert!(ask(r#"{"play":"telegram","number":"999:x"}"#)["error"].is_string());
        // What is not of this kind is the reader's.
        assert!(ask(r#"{"name":"a.wav","place":1,"rate":"","centre":"","channel":"","raw":""}"#)["section"].is_string());
        let question = Question::Folding(FoldingQuestion {
            number: "999:1".into(),
            depth: 0.01,
            seed: 1,
            ebn0_db: -4.0,
            telegrams: 3,
        });
        let text = serde_json::to_string(&question).unwrap();
        assert!(
            text.starts_with(r#"{"play":"folding","number":"999:1""#),
            "{text}"
        );
        assert_eq!(serde_json::from_str::<Question>(&text).unwrap(), question);
    }
}
