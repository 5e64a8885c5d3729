//! A capture from a scenario file.

use fieldripple::world::Bench;
use serde_json::{Map, Value, json};

use super::form::{check, form};
use super::output;
use super::target::{Content, Target};
use super::{Arguments, truth};
use crate::command::signal::scenario;

/// Makes the capture and its truth file; returns how many samples were clipped at what range.
pub fn write(arguments: &Arguments) -> anyhow::Result<(u64, f64)> {
    let form = form(arguments)?;
    let scenario = scenario(&arguments.signal)?;
    let bench = Bench::new(&scenario).map_err(|error| match &arguments.signal.scenario {
        Some(path) => anyhow::Error::new(error).context(path.display().to_string()),
        None => error.into(),
    })?;
    let target = Target {
        out: &arguments.out,
        form,
        settings_lines: arguments.settings_lines,
        content: Content::Voltage,
        rate_hz: scenario.rate_hz(),
        samples: bench.samples(),
        digitiser: bench.digitiser(),
        range: bench.range_v(),
    };
    check(&target, scenario.duration_s.0)?;
    let mut source = bench.source();
    let place = arguments.place();
    let clipped = output::write(
        &place,
        &target,
        |re, _| {
            source.next_block(re);
        },
        |clipped| truth::save(&place, &truth(&bench, arguments, &target, clipped)),
    )?;
    Ok((clipped, target.range))
}

fn truth(bench: &Bench, arguments: &Arguments, target: &Target, clipped: u64) -> Value {
    let scenario = bench.scenario();
    let derived = bench.derived();
    let mut truth = json!({
        "schema": "fieldripple.truth/1",
        "program": concat!("fieldripple ", env!("CARGO_PKG_VERSION")),
        "command": arguments.command(),
        "seed": scenario.seed.0,
        "capture": capture(bench, target, clipped),
        "field": {
            "frequency_hz": scenario.field_hz(),
            "amplitude_v": derived.field_v,
        },
        "tags": (0..derived.tags.len()).map(|index| tag(bench, index)).collect::<Vec<Value>>(),
        "noise": {
            "ebn0_db": derived.tags.first().and_then(|tag| tag.ebn0_db),
            "sigma_v": (derived.noise_v2_per_hz * target.rate_hz * f64::from(scenario.digitiser.peak_detect) / 2.0).sqrt(),
            "density_v2_per_hz": derived.noise_v2_per_hz,
            "steps_v2_per_hz": bench.digitiser().map(|digitiser| digitiser.density_v2_per_hz(target.rate_hz)),
        },
        "scenario": scenario,
    });
    if !scenario.other_tag.is_empty() {
        truth["other_tags"] = other_tags(bench);
    }
    truth
}

/// The file itself.
fn capture(bench: &Bench, target: &Target, clipped: u64) -> Value {
    let scenario = bench.scenario();
    let kind = if bench.is_envelope() {
        "envelope"
    } else if scenario.field_hz() < target.rate_hz / 2.0 {
        "direct"
    } else {
        "folded"
    };
    json!({
        "path": target.out.display().to_string(),
        "kind": kind,
        "samples": target.samples,
        "rate_hz": target.rate_hz,
        "seconds": target.samples as f64 / target.rate_hz,
        "clock_ppm": scenario.digitiser.clock_ppm,
        "centre_hz": Value::Null,
        "sample_type": output::kind(target).1,
        "unit": match output::unit(target) {
            fieldripple::capture::Unit::FullScale => "full scale",
            _ => "V",
        },
        "bits": bench.digitiser().map(|digitiser| digitiser.bits),
        "range_v": target.range,
        "clipped_samples": clipped,
    })
}

/// What a tag sends and how it is seen.
fn tag(bench: &Bench, index: usize) -> Value {
    let (scenario, derived, digitiser) = (bench.scenario(), bench.derived(), bench.digitiser());
    let tag = &derived.tags[index];
    let sends = match &scenario.direct {
        Some(direct) => &direct.tag[index].sends,
        None => &scenario.tag[index].sends,
    };
    let with_steps = derived.with_steps_db(index, digitiser, scenario);
    let folded = derived.folded_db(index, digitiser, scenario);
    let mut object = truth::sends(&sends.telegram(scenario.seed.0, index));
    let mut put = |key: &str, value: Value| object.insert(key.into(), value);
    put("depth", json!(tag.depth));
    put("angle_deg", json!(tag.angle_deg));
    put("ripple_v_rms", json!(tag.ripple_v));
    put("ebn0_db", json!(tag.ebn0_db));
    put("ebn0_with_steps_db", json!(with_steps));
    put("folded_ebn0_db", json!(folded));
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
        put("on_s", json!(bench.on_times()[index]));
    }
    if let Some(ripple) = bench.direct().map(|signal| signal.tags[index]) {
        put("start_cycles", json!(ripple.start_cycles));
        put("sign", json!(ripple.sign));
    }
    Value::Object(object)
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
