//! Which channel the user means.

use super::Layout;
use std::convert::Infallible;
use std::str::FromStr;

/// A channel as the user names it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum ChannelChoice {
    /// Nothing said: whoever looks at the samples decides.
    #[default]
    Auto,
    /// Counted from 1.
    Index(usize),
    /// By its name in the file.
    Name(String),
    /// The first minus the second, each a name or a number. A channel that is called like the whole text (`A-B`) wins.
    Difference(String, String),
}

/// What a choice means in a capture; indices count from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Picked {
    /// Left open.
    Auto,
    /// This channel.
    One(usize),
    /// The first minus the second.
    Difference(usize, usize),
}

/// No such channel.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no channel \"{choice}\"; there are {there}")]
pub struct PickError {
    /// What was asked for.
    pub choice: String,
    /// The channels, in a line.
    pub there: String,
}

impl FromStr for ChannelChoice {
    type Err = Infallible;

    fn from_str(text: &str) -> Result<Self, Infallible> {
        let text = text.trim();
        if text.is_empty() || text.eq_ignore_ascii_case("auto") {
            return Ok(Self::Auto);
        }
        if let Ok(number) = text.parse() {
            return Ok(Self::Index(number));
        }
        Ok(match text.split_once('-') {
            Some((a, b)) if !a.is_empty() && !b.is_empty() => {
                Self::Difference(a.to_owned(), b.to_owned())
            }
            _ => Self::Name(text.to_owned()),
        })
    }
}

impl ChannelChoice {
    /// Finds the channels meant. Names are compared exactly first, then without regard to case; a channel called `2`
    /// goes before the second one.
    ///
    /// # Errors
    /// [`PickError`] listing the channels there are.
    pub fn resolve(&self, layout: &Layout) -> Result<Picked, PickError> {
        let text = match self {
            Self::Auto => return Ok(Picked::Auto),
            Self::Index(number) => number.to_string(),
            Self::Name(name) => name.clone(),
            Self::Difference(a, b) => format!("{a}-{b}"),
        };
        if let Some(index) = find(layout, &text) {
            return Ok(Picked::One(index));
        }
        if matches!(self, Self::Difference(..)) {
            // Names may hold hyphens themselves: every place is tried.
            for (at, _) in text.match_indices('-') {
                let (a, b) = (&text[..at], &text[at + 1..]);
                if let (Some(a), Some(b)) = (find(layout, a), find(layout, b)) {
                    return Ok(Picked::Difference(a, b));
                }
            }
        }
        let list = layout.channels.iter().enumerate();
        let list: Vec<String> = list
            .map(|(index, channel)| {
                let number = (index + 1).to_string();
                if channel.name == number {
                    number
                } else {
                    format!("{number} \"{}\"", channel.name)
                }
            })
            .collect();
        Err(PickError {
            choice: text,
            there: list.join(", "),
        })
    }
}

fn find(layout: &Layout, text: &str) -> Option<usize> {
    let text = text.trim();
    let by = |same: &dyn Fn(&str) -> bool| {
        layout
            .channels
            .iter()
            .position(|channel| same(&channel.name))
    };
    by(&|name| name == text)
        .or_else(|| by(&|name| name.to_lowercase() == text.to_lowercase()))
        .or_else(|| {
            let number: usize = text.parse().ok()?;
            (1..=layout.channels.len())
                .contains(&number)
                .then(|| number - 1)
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{ChannelInfo, Unit};

    fn pick(text: &str, names: &[&str]) -> Result<Picked, PickError> {
        let channel = |name: &&str| ChannelInfo {
            name: (*name).into(),
            unit: Unit::Volt,
        };
        let layout = Layout {
            channels: names.iter().map(channel).collect(),
            ..Layout::default()
        };
        text.parse::<ChannelChoice>().unwrap().resolve(&layout)
    }

    #[test]
    fn names_numbers_and_differences() {
        let names = ["CH1", "CH2", "coil-end"];
        assert_eq!(pick("auto", &names), Ok(Picked::Auto));
        assert_eq!(pick("2", &names), Ok(Picked::One(1)));
        assert_eq!(pick("ch2", &names), Ok(Picked::One(1)));
        assert_eq!(pick("CH2-CH1", &names), Ok(Picked::Difference(1, 0)));
        assert_eq!(pick("1-2", &names), Ok(Picked::Difference(0, 1)));
        assert_eq!(pick("coil-end", &names), Ok(Picked::One(2)));
        assert_eq!(pick("coil-end-CH1", &names), Ok(Picked::Difference(2, 0)));
        assert_eq!(pick("A-B", &["A", "B", "A-B"]), Ok(Picked::One(2)));
    }

    #[test]
    fn a_wrong_name_lists_the_right_ones() {
        let error = pick("CH3", &["CH1", "2"]).unwrap_err().to_string();
        assert_eq!(error, "no channel \"CH3\"; there are 1 \"CH1\", 2");
        assert!(pick("0", &["CH1"]).is_err());
        assert!(pick("4", &["CH1"]).is_err());
    }
}
