//! A capture from a scenario file; flags go before the file.

use anyhow::ensure;
use ripplemark::world::scenario::{Scenario, Sends};
use ripplemark::world::{Bench, Digitiser};
use serde_json::{Map, Value, json};

use super::output::{self, Target};
use super::plan::{Form, check_size, form};
use super::{Arguments, truth};

/// Makes the capture and its truth file; returns how many samples were clipped at what range.
pub fn write(arguments: &Arguments) -> anyhow::Result<(u64, f64)> {
    let form = form(arguments)?;
    let mut settings = arguments.set.clone();
    settings.extend(flags(arguments)?);
    let mut scenario = super::super::link::read_scenario(arguments.scenario.as_deref(), &settings)?;
    if let Some(seed) = arguments.seed {
        // Beyond the whole numbers of the file's language.
        scenario.seed.0 = seed;
    }
    sent(arguments, &mut scenario)?;
    let bench = Bench::new(&scenario)?;
    let target = Target {
        out: &arguments.out,
        form,
        preamble: arguments.preamble,
        complex: false,
        logic: false,
        rate_hz: scenario.rate_hz(),
        samples: bench.samples(),
        digitiser: bench.digitiser(),
        range: bench.range_v(),
    };
    ensure!(
        form != Form::Wav || target.rate_hz.fract() == 0.0,
        "a WAV file states its rate in whole Hz, not {}: take a whole rate or another form",
        target.rate_hz
    );
    check_size(&target, scenario.duration_s.0)?;
    let mut source = bench.source();
    let clipped = output::write(&target, |re, _| {
        source.next_block(re);
    })?;
    truth::save(&arguments.out, &truth(&bench, &target, clipped))?;
    Ok((clipped, target.range))
}

/// Flags as settings of keys.
fn flags(arguments: &Arguments) -> anyhow::Result<Vec<String>> {
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
fn sent(arguments: &Arguments, scenario: &mut Scenario) -> anyhow::Result<()> {
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

fn truth(bench: &Bench, target: &Target, clipped: u64) -> Value {
    let scenario = bench.scenario();
    let derived = bench.derived();
    let digitiser: Option<Digitiser> = bench.digitiser();
    let field_hz = scenario.field_hz();
    let kind = if bench.is_envelope() {
        "envelope"
    } else if field_hz < target.rate_hz / 2.0 {
        "direct"
    } else {
        "folded"
    };
    let on_times = bench.on_times();
    let tags: Vec<Value> = derived
        .tags
        .iter()
        .enumerate()
        .map(|(index, tag)| {
            let sends = match &scenario.direct {
                Some(direct) => &direct.tag[index].sends,
                None => &scenario.tag[index].sends,
            };
            let mut object = truth::sends(&sends.telegram(scenario.seed.0, index));
            let mut put = |key: &str, value: Value| object.insert(key.into(), value);
            put("depth", json!(tag.depth));
            put("angle_deg", json!(tag.angle_deg));
            put("ripple_v_rms", json!(tag.ripple_v));
            put("ebn0_db", json!(tag.ebn0_db));
            put(
                "ebn0_with_steps_db",
                json!(derived.with_steps_db(index, digitiser, scenario)),
            );
            put(
                "folded_ebn0_db",
                json!(derived.folded_db(index, digitiser, scenario)),
            );
            if let Some(link) = &tag.link {
                put("place", json!(tag.place));
                put("mutual_h", json!(link.mutual_h));
                put("coupling", json!(link.coupling));
                put("tag_v", json!(link.tag_v));
                put("powered", json!(link.powered));
                put("antenna_v", json!(link.antenna_v));
                put("antenna_a", json!(link.antenna_a));
                put("settled_depth", json!(link.settled.depth));
                put("settled_angle_deg", json!(link.settled.angle_deg));
                put("on_s", json!(on_times[index]));
            }
            if let Some(ripple) = bench.direct().map(|signal| signal.tags[index]) {
                put("start_cycles", json!(ripple.start_cycles));
                put("sign", json!(ripple.sign));
            }
            Value::Object(object)
        })
        .collect();
    let mut truth = json!({
        "schema": "ripplemark.truth/1",
        "program": concat!("ripplemark ", env!("CARGO_PKG_VERSION")),
        "command": truth::command(),
        "seed": scenario.seed.0,
        "capture": {
            "path": target.out.display().to_string(),
            "kind": kind,
            "samples": target.samples,
            "rate_hz": target.rate_hz,
            "seconds": target.samples as f64 / target.rate_hz,
            "clock_ppm": scenario.digitiser.clock_ppm,
            "centre_hz": Value::Null,
            "sample_type": output::kind(target).1,
            "unit": match output::unit(target) {
                ripplemark::capture::Unit::FullScale => "full scale",
                _ => "V",
            },
            "bits": digitiser.map(|digitiser| digitiser.bits),
            "range_v": target.range,
            "clipped_samples": clipped,
        },
        "field": {
            "frequency_hz": field_hz,
            "amplitude_v": derived.field_v,
        },
        "tags": tags,
        "noise": {
            "ebn0_db": derived.tags.first().and_then(|tag| tag.ebn0_db),
            "sigma_v": (derived.noise_v2_per_hz * target.rate_hz * f64::from(scenario.digitiser.peak_detect) / 2.0).sqrt(),
            "density_v2_per_hz": derived.noise_v2_per_hz,
            "steps_v2_per_hz": digitiser.map(|digitiser| digitiser.density_v2_per_hz(target.rate_hz)),
        },
        "scenario": scenario,
    });
    if !scenario.other_tag.is_empty() {
        truth["other_tags"] = other_tags(bench);
    }
    truth
}

/// What the tags of other kinds send.
fn other_tags(bench: &Bench) -> Value {
    let (scenario, derived) = (bench.scenario(), bench.derived());
    let seed = scenario.seed.0;
    let tags = scenario.other_tag.iter().zip(&derived.others);
    tags.enumerate()
        .map(|(index, (tag, sent))| {
            let mut object = match tag.kind.as_str() {
                "hdx" => truth::sends(&tag.sends.telegram(seed, index)),
                "manchester" => {
                    let data = format!("{:010X}", tag.word(seed, index).data());
                    Map::from_iter([("data_hex".to_string(), json!(data))])
                }
                _ => {
                    let bits = tag.fsk_bits(seed, index).into_iter();
                    let bits: String = bits.map(|bit| if bit { '1' } else { '0' }).collect();
                    Map::from_iter([("bits".to_string(), json!(bits))])
                }
            };
            object.insert("kind".into(), json!(tag.kind));
            if tag.kind != "hdx" {
                object.insert("cycles_per_bit".into(), json!(tag.cycles_per_bit()));
                object.insert("start_cycles".into(), json!(bench.start_cycles(index)));
            }
            object.insert("amplitude_v".into(), json!(sent.amplitude_v));
            let ebn0 = sent.bit_energy() / derived.noise_v2_per_hz;
            let ebn0_db = ebn0.is_finite().then(|| 10.0 * libm::log10(ebn0));
            object.insert("ebn0_db".into(), json!(ebn0_db));
            Value::Object(object)
        })
        .collect()
}
