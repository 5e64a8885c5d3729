//! The circuit model against ngspice: frozen phasor tracks of the antenna voltage, one phasor a field cycle.
//!
//! `python tests/outside/check_spice.py --freeze` made tests/fixtures/spice_*.json; the decks are in tests/outside/spice. The same script
//! shows that halving ngspice's time step changes each depth by less than 0.5 % (0.02 % at most when frozen).

use fieldripple::world::circuit::{
    Change, CircuitPlan, Clamp, LoadPlan, Modulator, Network, Probe, Reader, Ripple, Tag, Topology,
    run,
};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::PI;
use std::path::Path;

const POINTS: usize = 64;

struct Frozen {
    name: String,
    network: Network,
    plan: CircuitPlan,
    frequency_hz: f64,
    cycles: usize,
    ring_up: usize,
    sending: usize,
    track: Vec<Complex64>,
    idle: Option<Vec<Complex64>>,
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no number {key}"))
}

fn reader(value: &Value) -> Reader {
    Reader {
        frequency_hz: number(value, "frequency_hz"),
        drive_v: number(value, "drive_v"),
        drive_phase_deg: 0.0,
        source_ohm: number(value, "source_ohm"),
        topology: match value["topology"].as_str() {
            Some("parallel") => Topology::Parallel,
            _ => Topology::Series,
        },
        inductance_h: number(value, "inductance_h"),
        capacitance_f: number(value, "capacitance_f"),
        coil_ohm: number(value, "coil_ohm"),
        shunt_f: 0.0,
    }
}

fn track(value: &Value) -> Option<Vec<Complex64>> {
    let rows = value.as_array()?;
    let part = |row: &Value, index: usize| row[index].as_f64().expect("a number");
    Some(
        rows.iter()
            .map(|row| Complex64::new(part(row, 0), part(row, 1)))
            .collect(),
    )
}

fn load(name: &str) -> Frozen {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/fixtures/spice_{name}.json"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let value: Value = serde_json::from_str(&text).unwrap();
    let (tag, modulator, clamp) = (
        &value["tag"],
        &value["tag"]["modulator"],
        &value["tag"]["clamp"],
    );
    let ohm = number(modulator, "ohm");
    let tag = Tag {
        inductance_h: number(tag, "inductance_h"),
        capacitance_f: number(tag, "capacitance_f"),
        coil_ohm: number(tag, "coil_ohm"),
        chip_ohm: number(tag, "chip_ohm"),
        modulator: match modulator["kind"].as_str() {
            Some("C") => Modulator::Capacitor {
                farad: number(modulator, "farad"),
                ohm,
            },
            _ => Modulator::Resistor { ohm },
        },
        clamp: clamp.is_object().then(|| Clamp {
            voltage_v: number(clamp, "voltage_v"),
            slope_ohm: number(clamp, "slope_ohm"),
        }),
        minimum_v: 0.0,
        hold_up_s: 0.0,
        start_up_s: 0.0,
    };
    let mutual = number(&value, "mutual_h");
    let first = reader(&value["reader"]);
    let field = |at_s, reader, on| Change::Field { at_s, reader, on };
    let mut changes = vec![field(0.0, 0, true)];
    let network = if value["second"].is_object() {
        changes.push(field(0.0, 1, true));
        let to = |index: usize| value["second_mutual_h"][index].as_f64().unwrap();
        Network::new(
            vec![first, reader(&value["second"])],
            vec![tag],
            &[
                vec![0.0, to(0), mutual],
                vec![to(0), 0.0, to(1)],
                vec![mutual, to(1), 0.0],
            ],
        )
    } else {
        Network::new(
            vec![first],
            vec![tag],
            &[vec![0.0, mutual], vec![mutual, 0.0]],
        )
    }
    .unwrap();
    changes.push(field(number(&value, "field_off_s"), 0, false));
    let edges = value["edges"].as_array().unwrap();
    let cycles = number(&value, "cycles") as usize;
    Frozen {
        name: name.into(),
        plan: CircuitPlan {
            duration_s: cycles as f64 / first.frequency_hz,
            changes,
            loads: vec![LoadPlan::Fixed(
                edges
                    .iter()
                    .map(|edge| (edge[0].as_f64().unwrap(), edge[1] == 1))
                    .collect(),
            )],
        },
        network,
        frequency_hz: first.frequency_hz,
        cycles,
        ring_up: number(&value, "ring_up_cycles") as usize,
        sending: number(&value, "sending_cycles") as usize,
        track: track(&value["track"]).unwrap(),
        idle: track(&value["idle"]),
    }
}

/// What our model says, mixed as the script mixes: the mean of 2·v·e^{−jωt} over each cycle of the exact waveform.
fn model(frozen: &Frozen, plan: &CircuitPlan) -> Vec<Complex64> {
    let history = run(&frozen.network, plan).unwrap();
    let step_s = 1.0 / frozen.frequency_hz / POINTS as f64;
    let mut samples = vec![0.0; frozen.cycles * POINTS];
    history.samples(
        &Probe::AntennaVoltage { reader: 0 },
        0.0,
        step_s,
        &mut samples,
    );
    samples
        .chunks_exact(POINTS)
        .map(|cycle| {
            let sum: Complex64 = cycle
                .iter()
                .enumerate()
                .map(|(i, v)| v * Complex64::cis(-2.0 * PI * i as f64 / POINTS as f64))
                .sum();
            sum * 2.0 / POINTS as f64
        })
        .collect()
}

fn rms(values: &[Complex64]) -> f64 {
    (values.iter().map(Complex64::norm_sqr).sum::<f64>() / values.len() as f64).sqrt()
}

/// Field and relative ripple while sending, from one bit after the start.
fn relative(
    frozen: &Frozen,
    track: &[Complex64],
    idle: Option<&[Complex64]>,
) -> (Complex64, Vec<Complex64>) {
    let span = frozen.ring_up + 16..frozen.ring_up + frozen.sending;
    let quiet = idle.unwrap_or(track);
    let field = quiet[span.clone()].iter().sum::<Complex64>() / span.len() as f64;
    let mut ripple: Vec<Complex64> = span
        .map(|i| (track[i] - idle.map_or(field, |idle| idle[i])) / field)
        .collect();
    let mean = ripple.iter().sum::<Complex64>() / ripple.len() as f64;
    ripple.iter_mut().for_each(|r| *r -= mean);
    (field, ripple)
}

/// Time in cycles from 10 to 90 % of the way from the first phasor to the last of a stretch, by straight lines between cycles.
fn ten_to_ninety(stretch: &[Complex64]) -> f64 {
    let (from, to) = (stretch[0], stretch[stretch.len() - 1]);
    let way: Vec<f64> = stretch
        .iter()
        .map(|a| ((a - from) / (to - from)).re)
        .collect();
    let reach = |level: f64| {
        let index = way.iter().position(|&w| w >= level).unwrap();
        index as f64 - (way[index] - level) / (way[index] - way[index - 1])
    };
    reach(0.9) - reach(0.1)
}

fn compare(name: &str) {
    let frozen = load(name);
    let ours = model(&frozen, &frozen.plan);
    let idle_plan = CircuitPlan {
        loads: vec![LoadPlan::Idle],
        ..frozen.plan.clone()
    };
    let our_idle = frozen.idle.as_ref().map(|_| model(&frozen, &idle_plan));
    assert_eq!(ours.len(), frozen.track.len());
    let (field, ripple) = relative(&frozen, &ours, our_idle.as_deref());
    let (spice_field, spice_ripple) = relative(&frozen, &frozen.track, frozen.idle.as_deref());
    let of = |ripple: &[Complex64]| {
        let shifted: Vec<Complex64> = ripple.iter().map(|r| r + 1.0).collect();
        Ripple::of(&shifted)
    };
    let (got, want) = (of(&ripple), of(&spice_ripple));
    let amplitude = field.norm() / spice_field.norm() - 1.0;
    let depth = got.depth / want.depth - 1.0;
    let mut angle = got.angle_deg - want.angle_deg;
    angle -= 180.0 * (angle / 180.0).round();
    let apart: Vec<Complex64> = ripple
        .iter()
        .zip(&spice_ripple)
        .map(|(a, b)| a - b)
        .collect();
    let apart = rms(&apart) / rms(&spice_ripple);
    // The whole history, ring-up and ring-down with it, against the field.
    let whole: Vec<Complex64> = ours.iter().zip(&frozen.track).map(|(a, b)| a - b).collect();
    let whole = rms(&whole) / spice_field.norm();
    println!(
        "{:20} amplitude {:+.3} %, depth {:+.3} %, angle {:+.3}°, track {:.3} % of the ripple, whole {:.4} % of the field",
        frozen.name,
        100.0 * amplitude,
        100.0 * depth,
        angle,
        100.0 * apart,
        100.0 * whole
    );
    assert!(
        amplitude.abs() < 0.02 && depth.abs() < 0.02 && angle.abs() < 2.0,
        "{name}"
    );
    assert!(apart < 0.03, "{name}: {apart}");
    assert!(whole < 0.005, "{name}: {whole}");
    let off = frozen.ring_up + frozen.sending;
    let (quiet, spice_quiet) = match (&our_idle, &frozen.idle) {
        (Some(ours), Some(spice)) => (ours.as_slice(), spice.as_slice()),
        _ => (ours.as_slice(), frozen.track.as_slice()),
    };
    // A second reader's beat hides the ends of the stretches: the circuit is the same as in the aligned bench.
    if frozen.idle.is_none() {
        for (what, stretch) in [
            ("rise", 0..frozen.ring_up),
            ("fall", off - 1..frozen.cycles),
        ] {
            let got = ten_to_ninety(&quiet[stretch.clone()]);
            let want = ten_to_ninety(&spice_quiet[stretch]);
            println!("    {what} {got:.3} cycles, ngspice {want:.3}");
            assert!(
                (got / want - 1.0).abs() < 0.05,
                "{name} {what}: {got} {want}"
            );
        }
    }
}

macro_rules! benches {
    ($($name:ident)*) => { $(#[test] fn $name() { compare(stringify!($name)); })* };
}

benches! {
    aligned weak_coupling reader_tuned_high reader_tuned_low tag_tuned_high tag_tuned_low high_q low_q
    field_900_hz_off second_reader clamp_active switched_capacitor parallel_reader
}
