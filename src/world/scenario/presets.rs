//! Usual tags: keys of `[[tag]]` with where each number is from.
//!
//! Makers do not publish the coils of their tags, so none of these is a measured one. Sizes are those the trade names the tags
//! by; the rest is what is remembered, or assumed so that coil, core and chip go together. Who has a tag to measure writes
//! its own numbers beside the preset.

use super::TagKeys;

/// A number of a preset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Key of `[[tag]]`.
    pub key: &'static str,
    /// Its value.
    pub value: f64,
    /// Where it is from.
    pub origin: &'static str,
}

/// A usual tag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Preset {
    /// Name, as `tag.preset` takes it.
    pub name: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// Its numbers.
    pub values: [Given; 9],
}

impl Preset {
    /// A tag of this preset, with everything else as usual.
    pub fn keys(&self) -> TagKeys {
        let values = self.values.iter();
        let mut table: toml::Table = values
            .map(|given| (given.key.to_string(), toml::Value::Float(given.value)))
            .collect();
        table.insert("preset".into(), self.name.into());
        // Every key of a preset is one of a tag, see the test.
        table.try_into().unwrap_or_default()
    }
}

/// Names of all presets.
pub(super) const NAMES: &[&str] = &[
    "glass-8",
    "glass-12",
    "glass-23",
    "glass-32",
    "ear-tag",
    "collar-disc",
    "bolus",
];

const ASSUMED: &str = "assumed";
const SIZE: &str = "size: common practice; share of it that the core takes: assumed";
const CHIP_C: &str = "from memory: chips for 134.2 kHz bring 200 to 400 pF, here 210 pF";
const CHIP_C_LARGE: &str = "from memory: chips for 134.2 kHz bring 200 to 400 pF, here 390 pF";
const Q: &str = "from memory: glass-tag coils have a Q of 10 to 40";
const AIR_Q: &str = "assumed: thin wire without a core";
const ROD_AREA: &str = "assumed: turns times core section times a core gain of 15 to 20; [tag.rod] makes two to four times as much of a good rod of that size";
const AIR_AREA: &str =
    "derived from the inductance: turns of a flat ring of the size's mean radius";
const NEED: &str = "from memory: chips run from 2.5 to 4 V peak at the coil";
const LIMITER: &str = "from memory: limiters of such chips near 10 V peak";

const fn preset(
    name: &'static str,
    meaning: &'static str,
    coil: [(f64, &'static str); 4],
) -> Preset {
    let [inductance_mh, coil_q, area_cm2, rod_mm] = coil;
    const fn given(key: &'static str, (value, origin): (f64, &'static str)) -> Given {
        Given { key, value, origin }
    }
    Preset {
        name,
        meaning,
        values: [
            given("inductance_mh", inductance_mh),
            given("coil_q", coil_q),
            given("effective_area_cm2", area_cm2),
            given("rod_length_mm", rod_mm),
            given("chip_ohm", (200e3, ASSUMED)),
            given("modulation_ohm", (5e3, ASSUMED)),
            given("minimum_v", (2.8, NEED)),
            given("clamp_v", (10.0, LIMITER)),
            given("clamp_ohm", (300.0, ASSUMED)),
        ],
    }
}

/// All of them.
pub const PRESETS: &[Preset] = &[
    preset(
        "glass-8",
        "glass capsule 8.5 mm long, 1.4 mm thick, ferrite rod",
        [(6.7, CHIP_C), (22.0, Q), (45.0, ROD_AREA), (5.5, SIZE)],
    ),
    preset(
        "glass-12",
        "glass capsule 12 mm long, 2.1 mm thick, ferrite rod",
        [(6.7, CHIP_C), (35.0, Q), (110.0, ROD_AREA), (9.0, SIZE)],
    ),
    preset(
        "glass-23",
        "glass capsule 23 mm long, 3.9 mm thick, ferrite rod",
        [
            (3.6, CHIP_C_LARGE),
            (40.0, Q),
            (350.0, ROD_AREA),
            (17.0, SIZE),
        ],
    ),
    preset(
        "glass-32",
        "glass capsule 32 mm long, 3.9 mm thick, ferrite rod",
        [
            (3.6, CHIP_C_LARGE),
            (40.0, Q),
            (520.0, ROD_AREA),
            (25.0, SIZE),
        ],
    ),
    preset(
        "ear-tag",
        "round ear tag 30 mm across, flat air coil of 11 mm mean radius",
        [
            (6.7, CHIP_C),
            (25.0, AIR_Q),
            (2000.0, AIR_AREA),
            (0.0, SIZE),
        ],
    ),
    preset(
        "collar-disc",
        "disc for a collar 35 mm across, flat air coil of 14 mm mean radius",
        [
            (6.7, CHIP_C),
            (30.0, AIR_Q),
            (2900.0, AIR_AREA),
            (0.0, SIZE),
        ],
    ),
    preset(
        "bolus",
        "rumen bolus 70 mm long: a 32 mm ferrite rod in ceramics",
        [
            (3.6, CHIP_C_LARGE),
            (35.0, Q),
            (520.0, ROD_AREA),
            (25.0, SIZE),
        ],
    ),
];

/// Puts the numbers of each tag's preset where its own are missing.
pub(super) fn apply(scenario: &mut toml::Table) {
    let Some(toml::Value::Array(tags)) = scenario.get_mut("tag") else {
        return;
    };
    for tag in tags.iter_mut().filter_map(toml::Value::as_table_mut) {
        let name = tag.get("preset").and_then(toml::Value::as_str);
        let preset = PRESETS.iter().find(|preset| Some(preset.name) == name);
        for given in preset.iter().flat_map(|preset| preset.values) {
            tag.entry(given.key)
                .or_insert(toml::Value::Float(given.value));
        }
    }
}

/// The presets as a page of text.
pub fn preset_list() -> String {
    let mut text = String::from(
        "Usual tags, as tag.preset or link --tag. No measured ones: every number says where it is from.\n",
    );
    for preset in PRESETS {
        text += &format!("\n{}  {}\n", preset.name, preset.meaning);
        for given in preset.values {
            text += &format!("  {} = {}  ({})\n", given.key, given.value, given.origin);
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::super::{KEYS, Scenario};
    use super::*;

    #[test]
    fn presets_are_keys_in_range_and_give_way_to_what_is_typed() {
        assert_eq!(PRESETS.iter().map(|p| p.name).collect::<Vec<_>>(), NAMES);
        for preset in PRESETS {
            for given in preset.values {
                let key = KEYS
                    .iter()
                    .find(|key| key.table == "tag" && key.name == given.key)
                    .unwrap();
                let super::super::Allowed::Number(low, high) = key.allowed else {
                    panic!("{}", given.key);
                };
                assert!((low..=high).contains(&given.value), "{given:?}");
                assert!(!given.origin.is_empty());
            }
            let text = format!("[[tag]]\npreset = \"{}\"\ncoil_q = 12.5\n", preset.name);
            let tag = Scenario::read(&text, &[]).unwrap().tag.remove(0);
            assert_eq!((tag.coil_q, tag.clamp_v), (12.5, Some(10.0)));
            assert_eq!(tag.inductance_mh, preset.values[0].value);
            assert_eq!(
                preset.keys(),
                TagKeys {
                    coil_q: preset.values[1].value,
                    ..tag
                }
            );
        }
    }

    /// L = N²·f for a flat ring: µ0·R·(ln(8R/w) − 2) a turn squared with w a fifth of the radius; area N·πR² (textbook, w assumed).
    #[test]
    fn air_coils_go_together() {
        for (name, radius_m) in [("ear-tag", 11e-3_f64), ("collar-disc", 14e-3)] {
            let preset = PRESETS.iter().find(|preset| preset.name == name).unwrap();
            let [inductance_mh, _, area_cm2, ..] = preset.values.map(|given| given.value);
            let per_turn = super::super::super::coil::MU_0 * radius_m * (40f64.ln() - 2.0);
            let turns = (inductance_mh * 1e-3 / per_turn).sqrt();
            let want = turns * std::f64::consts::PI * radius_m * radius_m * 1e4;
            assert!(
                (area_cm2 / want - 1.0).abs() < 0.1,
                "{name}: {area_cm2} {want}"
            );
        }
    }
}
