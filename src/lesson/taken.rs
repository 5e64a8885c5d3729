//! What came of a capture: the receiver's result as it is printed, and the figures.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::LessonError;
use super::recipe::Recipe;
use crate::draw::{Beside, Panel, View, panel_svg};
use crate::play::{fixed, numbers, outcome};

/// Size of a figure: at 380 px of page it is shown nearly as large as it is drawn.
const PANEL: (u32, u32) = (400, 320);
/// The telegram where there is room, and on a phone.
const TELEGRAM_WIDE: (u32, u32) = (1100, 420);
/// See [`TELEGRAM_WIDE`].
const TELEGRAM_NARROW: (u32, u32) = (400, 700);

/// What the program said of a capture of the lesson.
pub struct Evidence<'a> {
    /// How it was made.
    pub recipe: &'a Recipe,
    /// What the receiver saw, with the axes it is drawn on.
    pub view: &'a View<'a>,
    /// What `decode` prints.
    pub printed: String,
    /// The object of `decode --json`.
    pub decoded: Value,
    /// The truth file.
    pub truth: Value,
}

/// A figure with its text alternative.
#[derive(Clone, Debug)]
pub struct Picture {
    /// The drawing.
    pub svg: String,
    /// The drawing for narrow pages, where there is another.
    pub narrow_svg: Option<String>,
    /// What it shows, in words.
    pub words: String,
}

/// A capture of the lesson with everything a page shows of it.
#[derive(Clone, Debug)]
pub struct Taken {
    /// How it was made.
    pub recipe: Recipe,
    /// What `decode` prints.
    pub printed: String,
    /// The object of `decode --json`.
    pub decoded: Value,
    /// The truth file.
    pub truth: Value,
    /// What others are drawn beside that are compared with it.
    pub ghost: Beside,
    /// Figures by panel.
    pub pictures: BTreeMap<&'static str, Picture>,
    /// The mean telegram along the ripple's axis, % of the field, a value a field cycle.
    pub mean_telegram: Option<Vec<f64>>,
}

/// Name of a panel in file names and chapters.
pub(super) fn panel_name(panel: Panel) -> &'static str {
    match panel {
        Panel::Level => "level",
        Panel::Spectrum => "spectrum",
        Panel::Phasor => "phasor",
        Panel::Eye => "eye",
        Panel::Envelope => "envelope",
        Panel::Telegram => "telegram",
        Panel::Beat => "beat",
    }
}

impl Taken {
    /// Draws what the recipe asks for.
    ///
    /// # Errors
    /// A figure that cannot be drawn.
    pub fn new(evidence: Evidence<'_>) -> Result<Self, LessonError> {
        let mut pictures = BTreeMap::new();
        for &panel in &evidence.recipe.panels {
            let (size, narrow) = match panel {
                Panel::Telegram => (TELEGRAM_WIDE, Some(TELEGRAM_NARROW)),
                _ => (PANEL, None),
            };
            // Where nothing was read it is not known where bits begin.
            if panel == Panel::Eye && evidence.view.mean_telegram().is_none() {
                continue;
            }
            let picture = Picture {
                svg: panel_svg(panel, evidence.view, size)?,
                narrow_svg: narrow
                    .map(|size| panel_svg(panel, evidence.view, size))
                    .transpose()?,
                words: evidence.view.words(panel),
            };
            pictures.insert(panel_name(panel), picture);
        }
        Ok(Self {
            recipe: evidence.recipe.clone(),
            ghost: evidence.view.to_compare(),
            mean_telegram: evidence.view.mean_telegram(),
            printed: evidence.printed,
            decoded: evidence.decoded,
            truth: evidence.truth,
            pictures,
        })
    }

    fn readings(&self) -> &[Value] {
        self.decoded["readings"]
            .as_array()
            .map_or(&[], Vec::as_slice)
    }

    /// Numbers read, as they are printed.
    pub fn numbers(&self) -> Vec<String> {
        numbers(&self.decoded)
    }

    /// What came of it, in a sentence or two.
    pub fn outcome(&self) -> String {
        outcome(&self.decoded)
    }

    /// What coils and circuits give the transponder, and how deep its ripple is for that; `None` of captures without coils.
    pub fn supply(&self) -> Option<String> {
        let tag = self.truth["tags"].get(0)?;
        let volts = fixed(tag["tag_v"].as_f64()?, 2);
        if tag["powered"] == false {
            return Some(format!(
                "The transponder has {volts} V peak: too little, it does not answer."
            ));
        }
        let depth = fixed(100.0 * tag["depth"].as_f64()?, 4);
        Some(format!(
            "The transponder has {volts} V peak; the depth of its ripple is {depth} % of the field."
        ))
    }

    /// What chapters may use of it.
    pub fn values(&self) -> Value {
        json!({
            "file": self.recipe.file(),
            "synth": self.recipe.synth_command(),
            "decode": self.recipe.decode_command(),
            "numbers": self.numbers(),
            "outcome": self.outcome(),
            "printed": self.printed.trim_end(),
            "d": self.decoded,
            "r": self.readings().first(),
            "truth": self.truth,
        })
    }
}
