//! `OUT.truth.json`: everything that is in a capture.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Context;
use ripplemark::capture::{Unit, write_atomically};
use ripplemark::telegram::Identity;
use ripplemark::world::{DirectSignal, Pulses, RippleTag, View};
use serde_json::{Value, json};

use super::output::{kind, unit};
use super::plan::Plan;

/// Writes the truth file beside the capture.
pub fn write(plan: &Plan, clipped: u64) -> anyhow::Result<()> {
    let mut name = plan.out.clone().into_os_string();
    name.push(".truth.json");
    let text = format!("{:#}\n", truth(plan, clipped));
    let path = PathBuf::from(name);
    write_atomically(&path, |file| file.write_all(text.as_bytes()))
        .with_context(|| path.display().to_string())
}

fn truth(plan: &Plan, clipped: u64) -> Value {
    let signal = &plan.signal;
    let command: Vec<String> = std::env::args().skip(1).collect();
    json!({
        "schema": "ripplemark.truth/1",
        "program": concat!("ripplemark ", env!("CARGO_PKG_VERSION")),
        "command": command,
        "seed": signal.seed,
        "capture": {
            "path": plan.out.display().to_string(),
            "kind": plan.kind(),
            "samples": signal.samples,
            "rate_hz": signal.rate_hz,
            "seconds": signal.samples as f64 / signal.rate_hz,
            "clock_ppm": signal.clock_ppm,
            "centre_hz": match signal.view {
                View::Iq { centre_hz } => json!(centre_hz),
                _ => Value::Null,
            },
            "sample_type": kind(plan).1,
            "unit": match unit(plan) {
                Unit::Volt => "V",
                Unit::FullScale => "full scale",
                Unit::Unknown => "level",
            },
            "bits": plan.digitiser.map(|digitiser| digitiser.bits),
            "range_v": (signal.view != View::Logic).then_some(plan.range),
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
    let identity = Identity::from_code(tag.telegram.code);
    let first = signal.tags[0].depth;
    json!({
        "id": identity.digits(),
        "country": identity.country,
        "national": identity.national,
        "animal": identity.animal,
        "retag": identity.retag,
        "user": identity.user,
        "reserved": identity.reserved,
        "data_block": identity.data_block,
        "trailer": format!("{:06X}", tag.telegram.trailer),
        "code_hex": format!("{:016X}", tag.telegram.code),
        "crc_hex": format!("{:04X}", tag.telegram.crc()),
        "depth": tag.depth,
        "angle_deg": tag.angle_deg,
        // Of a first tag without any ripple there is no level.
        "level_db": (first > 0.0 && tag.depth > 0.0)
            .then(|| 20.0 * libm::log10(tag.depth / first)),
        "start_cycles": tag.start_cycles,
        "sign": tag.sign,
    })
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
