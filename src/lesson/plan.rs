//! Which captures a lesson needs, and which of them a slider goes through.

use super::chapter::Chapter;
use super::recipe::{Recipe, Scale, words};
use super::settings::{Settings, typed};
use crate::draw::Panel;

/// Captures along one or two sliders.
#[derive(Clone, Debug)]
pub struct Explorer {
    /// Name in the chapter's text.
    pub key: &'static str,
    /// The sliders.
    pub axes: Vec<Axis>,
    /// Position on each slider, and the capture's name.
    pub positions: Vec<(Vec<usize>, String)>,
    /// Where the sliders stand at first.
    pub start: Vec<usize>,
}

/// One slider.
#[derive(Clone, Debug)]
pub struct Axis {
    /// What it sets.
    pub label: &'static str,
    /// What each stop is called, with unit.
    pub stops: Vec<String>,
}

/// Everything to be captured for a lesson.
#[derive(Clone, Debug)]
pub struct LessonPlan {
    /// The captures.
    pub recipes: Vec<Recipe>,
    /// The sliders.
    pub explorers: Vec<Explorer>,
    /// Small files that captures are made from: name and content.
    pub files: Vec<(String, String)>,
}

/// Seconds of an ordinary capture: three telegrams.
const SECONDS: f64 = 0.1;
/// Eb/N0 of an ordinary capture: noise that is seen and does no harm.
const EBN0_DB: f64 = 25.0;
/// A tag near the antenna, so that it still wakes up when turned far.
const NEAR_MM: f64 = 20.0;

/// Height of eyes, in depths: at 3 dB, where every second capture is read, the step at a boundary strays by 0.5 depths (1/√(2γ)), and
/// three times that is seldom left.
const EYE_DEPTHS: f64 = 2.5;
/// Height of the figures of two tags, in depths: both together take 1.7 at most, and there is noise.
const TWO_DEPTHS: f64 = 2.2;

/// A field and a ripple given outright, with a second carrier beside it.
const SECOND_CARRIER: &str = "\
# A field and a ripple given outright, and a second carrier: chapter 9.
name = \"a second reader\"

[direct]

[[direct.tag]]

[[tone]]
";

/// Both ways of ISO 11785 to answer, in one switched field.
const HALF_DUPLEX: &str = "\
# A field with pauses, a transponder that answers while it is on, and one that answers in the pauses: chapter 12.
name = \"half duplex beside FDX-B\"

[direct]
on_ms = 50
off_ms = 20

[[direct.tag]]

[[other_tag]]
kind = \"hdx\"
";

impl LessonPlan {
    /// The captures of all chapters.
    pub fn new(settings: &Settings) -> Self {
        let mut plan = Self {
            recipes: Vec::new(),
            explorers: Vec::new(),
            files: vec![
                ("captures/second-carrier.toml".into(), SECOND_CARRIER.into()),
                ("captures/half-duplex.toml".into(), HALF_DUPLEX.into()),
            ],
        };
        plan.single(settings);
        plan.tilt(settings);
        plan.angle(settings);
        plan.noise(settings);
        plan.second_reader(settings);
        plan.two_tags(settings);
        plan
    }

    /// Only the captures that a chapter needs.
    pub fn of_chapter(mut self, chapter: &Chapter) -> Self {
        self.recipes
            .retain(|recipe| recipe.chapters.contains(&chapter.number));
        self
    }

    fn add(&mut self, name: &str, line: String, panels: &[Panel], kept: bool, chapters: &[usize]) {
        self.recipes.push(Recipe {
            name: name.into(),
            folder: "captures",
            words: words(&line),
            panels: panels.to_vec(),
            beside: Scale::Own,
            kept,
            chapters: chapters.to_vec(),
        });
    }

    /// The captures of an explorer are compared with each other: the same axes for all.
    fn compare(&mut self, positions: &[(Vec<usize>, String)], scale: &Scale) {
        for recipe in &mut self.recipes {
            if positions.iter().any(|(_, name)| *name == recipe.name)
                && *scale != Scale::Ghost(recipe.name.clone())
            {
                recipe.beside = scale.clone();
            }
        }
    }

    fn single(&mut self, settings: &Settings) {
        let Settings {
            seed,
            depth,
            rate_hz,
            identity,
        } = settings;
        let id = typed(identity);
        let usual = format!("--rate {rate_hz} --seconds {SECONDS} --seed {seed}");
        let ripple = format!("--depth {depth} --ebn0 {EBN0_DB}");
        self.add(
            "field",
            format!("--id {id} {usual} {ripple}"),
            &[
                Panel::Spectrum,
                Panel::Phasor,
                Panel::Envelope,
                Panel::Telegram,
                Panel::Eye,
            ],
            true,
            &[1, 3, 5, 6, 7, 11],
        );
        self.add(
            "reader-125",
            format!("--id {id} {usual} {ripple} --field-hz 125000"),
            &[Panel::Spectrum],
            true,
            &[1],
        );
        self.add(
            "bench",
            format!("--id {id} {usual} --set tag.1.distance_mm={NEAR_MM}"),
            &[Panel::Phasor, Panel::Envelope],
            true,
            &[3],
        );
        self.add(
            "too-weak",
            format!(
                "--id {id} --rate {rate_hz} --seconds 0.045 --seed {seed} --depth {depth} --ebn0 1"
            ),
            &[Panel::Phasor],
            true,
            &[11],
        );
        self.add(
            "hdx",
            format!(
                "--scenario captures/half-duplex.toml --id {id} --set other_tag.1.id={} --set other_tag.1.level_db=-20 --rate {rate_hz} --seconds 0.2 \
                 --seed {seed} {ripple}",
                typed(&settings.neighbour())
            ),
            &[Panel::Level],
            true,
            &[12],
        );
        self.add(
            "pulsed",
            format!("--id {id} {usual} {ripple} --pulse 50:3"),
            &[Panel::Level],
            true,
            &[13],
        );
        self.add(
            "no-tag",
            format!("--no-tag {usual} {ripple}"),
            &[Panel::Spectrum],
            true,
            &[13],
        );
    }

    fn tilt(&mut self, settings: &Settings) {
        let stops = [0, 15, 30, 45, 60, 75, 85, 90];
        let mut positions = Vec::new();
        for (at, tilt) in stops.iter().enumerate() {
            let name = format!("tilt-{tilt}");
            self.add(
                &name,
                format!(
                    "--id {} --rate {} --seconds {SECONDS} --seed {} --set tag.1.distance_mm={NEAR_MM} --set tag.1.tilt_deg={tilt}",
                    typed(&settings.identity),
                    settings.rate_hz,
                    settings.seed
                ),
                &[Panel::Envelope],
                false,
                &[2],
            );
            positions.push((vec![at], name));
        }
        self.compare(&positions, &Scale::Ghost("tilt-0".into()));
        self.explorers.push(Explorer {
            key: "tilt",
            axes: vec![Axis {
                label: "Tilt of the tag",
                stops: stops.iter().map(|tilt| format!("{tilt}°")).collect(),
            }],
            positions,
            start: vec![0],
        });
    }

    fn angle(&mut self, settings: &Settings) {
        let stops = [0, 30, 60, 75, 90];
        let mut positions = Vec::new();
        for (at, angle) in stops.iter().enumerate() {
            let name = format!("angle-{angle}");
            self.add(
                &name,
                format!(
                    "--id {} --rate {} --seconds {SECONDS} --seed {} --depth {} --angle {angle} --ebn0 {EBN0_DB}",
                    typed(&settings.identity),
                    settings.rate_hz,
                    settings.seed,
                    settings.depth
                ),
                &[Panel::Phasor, Panel::Envelope],
                false,
                &[4],
            );
            positions.push((vec![at], name));
        }
        self.compare(&positions, &Scale::Ghost("angle-0".into()));
        self.explorers.push(Explorer {
            key: "angle",
            axes: vec![Axis {
                label: "Ripple angle",
                stops: stops.iter().map(|angle| format!("{angle}°")).collect(),
            }],
            positions,
            start: vec![1],
        });
    }

    fn noise(&mut self, settings: &Settings) {
        let levels = [12, 6, 1, -4, -9];
        let lengths = [0.04, 0.07, 0.13, 0.25, 0.5];
        let mut positions = Vec::new();
        for (across, ebn0) in levels.iter().enumerate() {
            for (down, seconds) in lengths.iter().enumerate() {
                let name = format!("noise-{across}-{down}");
                self.add(
                    &name,
                    format!(
                        "--id {} --rate {} --seconds {seconds} --seed {} --depth {} --ebn0 {ebn0}",
                        typed(&settings.identity),
                        settings.rate_hz,
                        settings.seed,
                        settings.depth
                    ),
                    &[Panel::Eye],
                    false,
                    &[8, 11],
                );
                positions.push((vec![across, down], name));
            }
        }
        self.compare(&positions, &Scale::Depths(EYE_DEPTHS));
        let telegrams = |seconds: f64| seconds * 134_200.0 / 4096.0;
        self.explorers.push(Explorer {
            key: "noise",
            axes: vec![
                Axis {
                    label: "Eb/N0 of one telegram",
                    stops: levels
                        .iter()
                        .map(|level| format!("{level} dB").replace('-', "−"))
                        .collect(),
                },
                Axis {
                    label: "Length of the capture",
                    stops: lengths
                        .iter()
                        .map(|&seconds| format!("{seconds} s, {:.1} telegrams", telegrams(seconds)))
                        .collect(),
                },
            ],
            positions,
            start: vec![0, 1],
        });
    }

    fn second_reader(&mut self, settings: &Settings) {
        let offsets = [80, 300, 1000, 3300];
        let levels = [-40, -20, 0];
        let mut positions = Vec::new();
        for (across, offset) in offsets.iter().enumerate() {
            for (down, level) in levels.iter().enumerate() {
                let name = format!("second-{across}-{down}");
                self.add(
                    &name,
                    format!(
                        "--scenario captures/second-carrier.toml --id {} --rate {} --seconds 0.25 --seed {} --depth {} --ebn0 15 \
                         --set tone.1.frequency_hz={} --set tone.1.level_db={level}",
                        typed(&settings.identity),
                        settings.rate_hz,
                        settings.seed,
                        settings.depth,
                        134_200 + offset
                    ),
                    &[Panel::Spectrum, Panel::Beat, Panel::Envelope],
                    false,
                    &[9],
                );
                positions.push((vec![across, down], name));
            }
        }
        self.explorers.push(Explorer {
            key: "second",
            axes: vec![
                Axis {
                    label: "Offset from the own field",
                    stops: offsets
                        .iter()
                        .map(|offset| format!("+{offset} Hz"))
                        .collect(),
                },
                Axis {
                    label: "Level against the own field",
                    stops: levels
                        .iter()
                        .map(|level| format!("{level} dB").replace('-', "−"))
                        .collect(),
                },
            ],
            positions,
            start: vec![1, 1],
        });
    }

    fn two_tags(&mut self, settings: &Settings) {
        let levels = [-20, -10, -6, -3];
        let mut positions = Vec::new();
        for (at, level) in levels.iter().enumerate() {
            let name = format!("two-{at}");
            self.add(
                &name,
                format!(
                    "--id {} --id {} --level-db {level} --rate {} --seconds 0.25 --seed {} --depth {} --ebn0 20",
                    typed(&settings.identity),
                    typed(&settings.neighbour()),
                    settings.rate_hz,
                    settings.seed,
                    settings.depth
                ),
                &[Panel::Phasor, Panel::Envelope],
                *level == -6,
                &[10],
            );
            positions.push((vec![at], name));
        }
        self.compare(&positions, &Scale::Depths(TWO_DEPTHS));
        self.explorers.push(Explorer {
            key: "two",
            axes: vec![Axis {
                label: "Level of the second tag",
                stops: levels
                    .iter()
                    .map(|level| format!("{level} dB").replace('-', "−"))
                    .collect(),
            }],
            positions,
            start: vec![2],
        });
    }
}
