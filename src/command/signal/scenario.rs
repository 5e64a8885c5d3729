//! A scenario with the flags put before the file.

use anyhow::ensure;
use fieldripple::world::scenario::{Scenario, Sends};

use super::SignalArguments;

/// The scenario file (or the default bench) with the settings and flags.
pub fn scenario(arguments: &SignalArguments) -> anyhow::Result<Scenario> {
    let mut settings = arguments.set.clone();
    settings.extend(flags(arguments)?);
    let mut scenario = super::super::link::read_scenario(arguments.scenario.as_deref(), &settings)?;
    if let Some(seed) = arguments.seed {
        // Beyond the whole numbers of the file's language.
        scenario.seed.0 = seed;
    }
    sent(arguments, &mut scenario)?;
    Ok(scenario)
}

/// Flags as settings of keys.
fn flags(arguments: &SignalArguments) -> anyhow::Result<Vec<String>> {
    let direct = |name: &str| {
        anyhow::anyhow!("--{name} does not go with --scenario: write it in the file or with --set")
    };
    if arguments.kind.is_some() {
        return Err(direct("kind").context("probe.detector says what the samples show"));
    }
    for (name, given) in [
        ("centre", arguments.centre.is_some()),
        ("level-db", arguments.level_db.is_some()),
        ("no-tag", arguments.no_tag),
    ] {
        if given {
            return Err(direct(name));
        }
    }
    let mut settings = Vec::new();
    let mut set = |key: &str, value: Option<String>| {
        if let Some(value) = value {
            settings.push(format!("{key}={value}"));
        }
    };
    let number = |value: Option<f64>| value.map(|value| format!("{value:?}"));
    set("duration_s", number(arguments.seconds));
    set("digitiser.rate_hz", number(arguments.rate));
    set(
        "digitiser.bits",
        arguments.bits.map(|bits| bits.to_string()),
    );
    set("digitiser.range_v", number(arguments.range));
    set("digitiser.offset_v", number(arguments.offset));
    set("digitiser.clock_ppm", number(arguments.clock_ppm));
    set("noise.ebn0_db", number(arguments.ebn0));
    Ok(settings)
}

/// What goes to the field and to the tags, wherever the scenario has them.
fn sent(arguments: &SignalArguments, scenario: &mut Scenario) -> anyhow::Result<()> {
    let pulse_ms = arguments
        .pulse
        .map(|pulse| (pulse.on_s * 1e3, pulse.off_s * 1e3));
    let one_only = [
        ("amplitude", arguments.amplitude.is_some()),
        ("depth", !arguments.depth.is_empty()),
        ("angle", !arguments.angle.is_empty()),
        ("start", !arguments.start.is_empty()),
        ("sign", !arguments.sign.is_empty()),
        ("phase", arguments.phase.is_some()),
    ];
    let tags = match &mut scenario.direct {
        Some(direct) => {
            direct.field_hz = arguments.field_hz.unwrap_or(direct.field_hz);
            direct.amplitude_v = arguments.amplitude.unwrap_or(direct.amplitude_v);
            direct.phase_deg = arguments.phase.or(direct.phase_deg);
            if let Some((on_ms, off_ms)) = pulse_ms {
                (direct.on_ms, direct.off_ms) = (Some(on_ms), Some(off_ms));
            }
            for (index, tag) in direct.tag.iter_mut().enumerate() {
                tag.depth = arguments.depth.get(index).copied().unwrap_or(tag.depth);
                tag.angle_deg = arguments.angle.get(index).copied().unwrap_or(tag.angle_deg);
                tag.start_cycles = arguments.start.get(index).copied().or(tag.start_cycles);
                tag.sign = arguments.sign.get(index).copied().or(tag.sign);
            }
            direct
                .tag
                .iter_mut()
                .map(|tag| &mut tag.sends)
                .collect::<Vec<&mut Sends>>()
        }
        None => {
            if let Some((name, _)) = one_only.iter().find(|flag| flag.1) {
                anyhow::bail!(
                    "--{name} sets a ripple outright, but coils and circuits set it here; it goes with a scenario that has [direct]"
                );
            }
            let reader = &mut scenario.reader;
            reader.field_hz = arguments.field_hz.unwrap_or(reader.field_hz);
            if let Some((on_ms, off_ms)) = pulse_ms {
                (reader.on_ms, reader.off_ms) = (Some(on_ms), Some(off_ms));
            }
            scenario.tag.iter_mut().map(|tag| &mut tag.sends).collect()
        }
    };
    ensure!(
        arguments.ids.len() <= tags.len(),
        "--id is given {} times; the scenario has {} tags",
        arguments.ids.len(),
        tags.len()
    );
    ensure!(
        !arguments.fields.any(),
        "--retag, --user, --reserved, --not-animal, --data-block and --trailer do not go with --scenario: write them with the tag"
    );
    for (sends, id) in tags.into_iter().zip(&arguments.ids) {
        sends.id = Some(format!("{}:{}", id.country, id.national));
    }
    Ok(())
}
