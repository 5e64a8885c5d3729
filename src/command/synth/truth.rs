//! `OUT.truth.json`: everything that is in a capture.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use fieldripple::capture::{Unit, write_atomically};
use fieldripple::telegram::{Identity, Telegram};
use fieldripple::world::{DirectSignal, Pulses, RippleTag, SampleForm};
use serde_json::{Map, Value, json};

use super::Arguments;
use super::output::{kind, unit};
use super::target::Target;
use crate::command::signal::SignalPlan;

/// Writes the truth file beside the capture.
pub fn write(
    plan: &SignalPlan,
    arguments: &Arguments,
    target: &Target,
    clipped: u64,
) -> anyhow::Result<()> {
    save(&arguments.place(), &truth(plan, arguments, target, clipped))
}

/// Writes `OUT.truth.json`.
pub fn save(out: &Path, truth: &Value) -> anyhow::Result<()> {
    let mut name = out.as_os_str().to_os_string();
    name.push(".truth.json");
    let text = format!("{truth:#}\n");
    let path = PathBuf::from(name);
    write_atomically(&path, |file| file.write_all(text.as_bytes()))
        .with_context(|| path.display().to_string())
}

fn truth(plan: &SignalPlan, arguments: &Arguments, target: &Target, clipped: u64) -> Value {
    let signal = &plan.signal;
    json!({
        "schema": "fieldripple.truth/1",
        "program": concat!("fieldripple ", env!("CARGO_PKG_VERSION")),
        "command": arguments.command(),
        "seed": signal.seed,
        "capture": {
            "path": target.out.display().to_string(),
            "kind": plan.kind(),
            "samples": signal.samples,
            "rate_hz": signal.rate_hz,
            "seconds": signal.samples as f64 / signal.rate_hz,
            "clock_ppm": signal.clock_ppm,
            "centre_hz": match signal.view {
                SampleForm::Iq { centre_hz } => json!(centre_hz),
                _ => Value::Null,
            },
            "sample_type": kind(target).1,
            "unit": match unit(target) {
                Unit::Volt => "V",
                Unit::FullScale => "full scale",
                Unit::Unknown => "level",
            },
            "bits": plan.digitiser.map(|digitiser| digitiser.bits),
            "range_v": (signal.view != SampleForm::Logic).then_some(plan.range),
            "clipped_samples": clipped,
        },
        "field": {
            "frequency_hz": signal.field_hz,
            "amplitude_v": signal.amplitude,
            "phase_deg": signal.phase_deg,
            "offset_v": signal.offset,
            "pulses": signal.pulses.map(|pulses| json!({
                "on_s": pulses.on_s,
                "off_s": pulses.off_s,
                "time_constant_s": Pulses::RING_S,
            })),
            "on": on(signal),
        },
        "tags": signal.tags.iter().map(|tag| tag_json(tag, signal)).collect::<Vec<_>>(),
        "noise": {
            "ebn0_db": plan.ebn0_db,
            "sigma_v": signal.noise_sigma,
            "density_v2_per_hz": 2.0 * signal.noise_sigma * signal.noise_sigma / signal.rate_hz,
        },
    })
}

fn tag_json(tag: &RippleTag, signal: &DirectSignal) -> Value {
    let first = signal.tags[0].depth;
    let mut object = sends(&tag.telegram);
    let level_db = (first > 0.0 && tag.depth > 0.0)
        // Of a first tag without any ripple there is no level.
        .then(|| 20.0 * libm::log10(tag.depth / first));
    for (key, value) in [
        ("depth", json!(tag.depth)),
        ("angle_deg", json!(tag.angle_deg)),
        ("level_db", json!(level_db)),
        ("start_cycles", json!(tag.start_cycles)),
        ("sign", json!(tag.sign)),
    ] {
        object.insert(key.into(), value);
    }
    Value::Object(object)
}

/// What a tag sends.
pub fn sends(telegram: &Telegram) -> Map<String, Value> {
    let identity = Identity::from_code(telegram.code);
    let value = json!({
        "id": identity.digits(),
        "country": identity.country,
        "national": identity.national,
        "animal": identity.animal,
        "retag": identity.retag,
        "user": identity.user,
        "reserved": identity.reserved,
        "data_block": identity.data_block,
        "trailer": format!("{:06X}", telegram.trailer),
        "code_hex": format!("{:016X}", telegram.code),
        "crc_hex": format!("{:04X}", telegram.crc()),
    });
    match value {
        Value::Object(object) => object,
        _ => unreachable!("an object was written"),
    }
}

/// Times the field is on, seconds; a long series of pulses is cut after the first hundred.
fn on(signal: &DirectSignal) -> Vec<[f64; 2]> {
    let end_s = signal.samples as f64 / signal.rate_hz;
    let Some(pulses) = signal.pulses else {
        return vec![[0.0, end_s]];
    };
    (0..100)
        .map(|burst| f64::from(burst) * pulses.period_s())
        .take_while(|&start_s| start_s < end_s)
        .map(|start_s| [start_s, (start_s + pulses.on_s).min(end_s)])
        .collect()
}
