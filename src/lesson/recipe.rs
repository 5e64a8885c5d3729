//! Captures of the lesson, each by the command that makes it.

use crate::draw::Panel;

/// Axes of a capture's figures.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Scale {
    /// As the capture needs them.
    #[default]
    Own,
    /// Those of another capture of the same length, whose curve is drawn behind as a ghost.
    Ghost(String),
    /// Envelope, plane and eye all as high as this many times the example's depth.
    Depths(f64),
}

/// A capture that a page shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Name, also of the file.
    pub name: String,
    /// Folder of the file.
    pub folder: &'static str,
    /// What is given to `synth` behind the file's name.
    pub words: Vec<String>,
    /// Figures drawn from it.
    pub panels: Vec<Panel>,
    /// What its figures are drawn beside.
    pub beside: Scale,
    /// The file stays in the lesson; others are made anew with the command.
    pub kept: bool,
    /// Chapters that need it.
    pub chapters: Vec<usize>,
}

impl Recipe {
    /// The file, from the lesson's folder on.
    pub fn file(&self) -> String {
        format!("{}/{}.wav", self.folder, self.name)
    }

    /// Arguments of the program that make the capture.
    pub fn synth_words(&self) -> Vec<String> {
        let mut words = vec!["synth".to_string(), self.file()];
        words.extend(self.words.iter().cloned());
        words
    }

    /// The command that makes the capture.
    pub fn synth_command(&self) -> String {
        format!("fieldripple {}", self.synth_words().join(" "))
    }

    /// The command that reads it.
    pub fn decode_command(&self) -> String {
        format!("fieldripple decode {}", self.file())
    }
}

/// Words of a command from one line; values have no blanks in them.
pub(super) fn words(line: &str) -> Vec<String> {
    line.split_whitespace().map(str::to_string).collect()
}
