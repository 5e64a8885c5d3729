//! Which numbers and faults the captures have, drawn from the seed.

use rand::rngs::ChaCha8Rng;

use super::super::recipe::{Recipe, Scale, words};
use super::super::settings::{Settings, test_number, typed};
use crate::telegram::Identity;
use crate::world::{Stream, generator, uniform};

/// What is the matter with a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing.
    None,
    /// Much noise: no single telegram can be read.
    Weak,
    /// The antenna is tuned to another frequency than that of the field.
    Mistuned,
    /// Two tags answer at once.
    TwoTags,
    /// Another reader is on near by.
    SecondReader,
    /// Reader and tag are of another kind.
    WrongKind,
}

impl Fault {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::None,
        Self::Weak,
        Self::Mistuned,
        Self::TwoTags,
        Self::SecondReader,
        Self::WrongKind,
    ];

    /// The word for it on the sheets.
    pub const fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Weak => "weak",
            Self::Mistuned => "mistuned",
            Self::TwoTags => "two-tags",
            Self::SecondReader => "second-reader",
            Self::WrongKind => "wrong-kind",
        }
    }

    /// The word for what to change first.
    pub const fn change(self) -> &'static str {
        match self {
            Self::None => "nothing",
            Self::Weak => "longer",
            Self::Mistuned => "retune",
            Self::TwoTags => "one-tag",
            Self::SecondReader => "one-reader",
            Self::WrongKind => "other-gear",
        }
    }

    /// What that is, for the work sheet.
    pub const fn change_meaning(self) -> &'static str {
        match self {
            Self::None => "leave everything as it is",
            Self::Weak => "capture for longer, or hold the transponder nearer",
            Self::Mistuned => "tune the antenna to its field again",
            Self::TwoTags => "take one transponder out of the field",
            Self::SecondReader => "switch one of the readers off, or let them take turns",
            Self::WrongKind => "take a reader for animal transponders",
        }
    }

    /// What it means, for the work sheet.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::None => "nothing is wrong",
            Self::Weak => "a single telegram cannot be read: Eb/N0 far below 3 dB",
            Self::Mistuned => {
                "the antenna is tuned to another frequency: against the reference a weaker field, and a ripple angle that is turned"
            }
            Self::TwoTags => "two tags answer at once; give both numbers",
            Self::SecondReader => "another reader is on near by",
            Self::WrongKind => {
                "reader and tag are of another kind: their field is far from 134.2 kHz"
            }
        }
    }
}

/// A capture to be worked on.
#[derive(Clone, Debug, PartialEq)]
pub struct Exercise {
    /// How it is made.
    pub recipe: Recipe,
    /// What is the matter with it.
    pub fault: Fault,
    /// Numbers in it.
    pub numbers: Vec<Identity>,
    /// Distance of the (first) tag from the antenna.
    pub(super) distance_mm: f64,
    /// Which of the exercises it is, from 0.
    place: usize,
    /// How often it was drawn anew.
    redraws: u16,
}

impl Exercise {
    /// The same fault with other numbers and distances, for a capture that cannot be solved; the same each time. `None` after a few.
    pub fn redrawn(&self, settings: &Settings) -> Option<Self> {
        let redraws = self.redraws + 1;
        (redraws <= MOST_REDRAWS).then(|| exercise(settings, self.place, self.fault, redraws))
    }
}

/// All captures are equally long: nothing is told by their sizes.
const SECONDS: f64 = 0.25;
/// First stream of the exercises: further up than any tag of a capture.
const FIRST_STREAM: u16 = 1000;
/// Streams from one draw to the next: more than there are exercises.
const REDRAW_STEP: u16 = 100;
/// A capture that cannot be solved is rare: so many in a row mean that something else is wrong.
const MOST_REDRAWS: u16 = 5;
/// Seeds of the captures lie apart from that of the lesson.
const SEED_STEP: u64 = 1_000_003;

/// `count` captures. Of any six in a row from the first, third and so on no fault is missing; their order is drawn.
pub fn exercises(settings: &Settings, count: usize) -> Vec<Exercise> {
    let mut order: Vec<Fault> = Vec::new();
    let mut shuffler = generator(settings.seed, Stream::Tag(FIRST_STREAM - 1));
    while order.len() < count {
        let mut six = Fault::ALL;
        // Fisher and Yates.
        for last in (1..six.len()).rev() {
            let other = (uniform(&mut shuffler) * (last + 1) as f64) as usize;
            six.swap(last, other.min(last));
        }
        order.extend(six);
    }
    order
        .into_iter()
        .take(count)
        .enumerate()
        .map(|(place, fault)| exercise(settings, place, fault, 0))
        .collect()
}

/// The capture that others are compared with: the same bench without a fault.
pub fn reference(settings: &Settings) -> Recipe {
    recipe(
        "reference",
        &format!(
            "--id {} --rate {} --seconds {SECONDS} --seed {} --set tag.1.distance_mm=30",
            typed(&settings.identity),
            settings.rate_hz,
            settings.seed
        ),
    )
}

fn recipe(name: &str, line: &str) -> Recipe {
    Recipe {
        name: name.into(),
        folder: "exercise",
        words: words(line),
        panels: Vec::new(),
        beside: Scale::Own,
        kept: true,
        chapters: Vec::new(),
    }
}

fn exercise(settings: &Settings, place: usize, fault: Fault, redraws: u16) -> Exercise {
    let draw = REDRAW_STEP * redraws + place as u16;
    let mut random: ChaCha8Rng = generator(settings.seed, Stream::Tag(FIRST_STREAM + draw));
    // All are drawn for every fault, so that one fault does not shift the numbers of another.
    let mut numbers = vec![
        test_number(uniform(&mut random)),
        test_number(uniform(&mut random)),
    ];
    let (near, far) = (uniform(&mut random), uniform(&mut random));
    if fault != Fault::TwoTags {
        numbers.truncate(1);
    }
    let ids: Vec<String> = numbers
        .iter()
        .map(|number| format!("--id {}", typed(number)))
        .collect();
    let distance_mm = (24.0 + 8.0 * near).round();
    let special = match fault {
        Fault::None => String::new(),
        // Eight telegrams add 9 dB: 6 dB or more in all, well above what a number takes.
        Fault::Weak => format!("--ebn0 {}", -1.0 - (2.0 * far).round()),
        // Half the field's width or more away from resonance at Q 18.
        Fault::Mistuned => format!(
            "--set reader.tuned_hz={}",
            140_500.0 + (1500.0 * far).round()
        ),
        Fault::TwoTags => format!("--set tag.2.distance_mm={}", 42.0 + (6.0 * far).round()),
        Fault::SecondReader => format!(
            "--set second_reader.distance_mm={} --set second_reader.field_hz={}",
            380.0 + (80.0 * far).round(),
            134_240 + (360.0 * far) as i64
        ),
        Fault::WrongKind => "--set reader.field_hz=125000 --set tag.1.tuned_hz=125000".into(),
    };
    let line = format!(
        "{} --rate {} --seconds {SECONDS} --seed {} --set tag.1.distance_mm={distance_mm} {special}",
        ids.join(" "),
        settings.rate_hz,
        settings
            .seed
            .wrapping_add(SEED_STEP * (u64::from(draw) + 1)),
    );
    Exercise {
        recipe: recipe(&format!("capture-{:02}", place + 1), &line),
        fault,
        numbers,
        distance_mm,
        place,
        redraws,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_occurs_and_seeds_differ() {
        let drawn = exercises(&Settings::new(1), 12);
        for half in drawn.chunks(6) {
            for fault in Fault::ALL {
                assert!(
                    half.iter().any(|exercise| exercise.fault == fault),
                    "{fault:?}"
                );
            }
        }
        assert_eq!(drawn[..5], exercises(&Settings::new(1), 5)[..]);
        let other = exercises(&Settings::new(2), 12);
        for (one, other) in drawn.iter().zip(&other) {
            assert_ne!(one.numbers[0], other.numbers[0]);
        }
    }
}
