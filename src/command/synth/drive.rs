//! What drives instruments instead of coming from one: a tag's load for a switch across a coil, interference for an amplifier.

use std::io::Write;

use anyhow::{Context, bail, ensure};
use fieldripple::capture::write_atomically;
use fieldripple::telegram::Identity;
use fieldripple::world::{Bench, BenchSource, Digitiser, LoadSwitch};
use serde_json::{Value, json};

use super::form::{check, form};
use super::output;
use super::target::{Content, Form, Target};
use super::{Arguments, truth};
use crate::command::signal::{Kind, SignalArguments, scenario, telegrams};
use fieldripple::number::shown;

/// Fewer samples a half bit cannot tell its edges.
const LEAST_SAMPLES: f64 = 2.0;
/// Samples worked out at a time.
const BLOCK: usize = 4096;
/// The issuer of numbers that no animal has.
const TEST: u16 = 999;

/// Flags that say something of a load.
const OF_LOAD: [&str; 17] = [
    "id",
    "retag",
    "user",
    "reserved",
    "not-animal",
    "data-block",
    "trailer",
    "kind",
    "rate",
    "seconds",
    "field-hz",
    "start",
    "sign",
    "seed",
    "bits",
    "scenario",
    "set",
];
/// Flags that say something of interference alone.
const OF_JAM: [&str; 7] = ["kind", "rate", "seconds", "seed", "bits", "scenario", "set"];

/// Writes the file and its truth.
pub fn write(arguments: &Arguments) -> anyhow::Result<()> {
    let signal = &arguments.signal;
    let load = match signal.kind() {
        Kind::Load => Some(Load::new(arguments)?),
        _ => None,
    };
    only(signal, if load.is_some() { &OF_LOAD } else { &OF_JAM })?;
    ensure!(
        load.is_some() || arguments.repeats.is_none(),
        "--repeats goes with --kind load only"
    );
    let air = match (&load, signal.is_scenario()) {
        (Some(_), false) => None,
        _ => Some(Air::new(signal)?),
    };
    let form = form(arguments)?;
    if form == Form::HalfBits {
        let (Some(load), None) = (&load, &air) else {
            bail!(".txt holds the half bits of --kind load alone: take .wav, .csv, .npy or .raw");
        };
        return load.write_list(arguments);
    }
    let drive = match (load, air) {
        (Some(load), Some(air)) => Drive::LoadAndAir(load, air),
        (Some(load), None) => Drive::Load(load),
        (None, Some(air)) => Drive::Air(air),
        (None, None) => bail!("nothing to write"),
    };
    drive.write(arguments, form)
}

/// What one file holds.
enum Drive {
    Load(Load),
    Air(Air),
    LoadAndAir(Load, Air),
}

impl Drive {
    fn load(&self) -> Option<&Load> {
        match self {
            Self::Load(load) | Self::LoadAndAir(load, _) => Some(load),
            Self::Air(_) => None,
        }
    }

    fn air(&self) -> Option<&Air> {
        match self {
            Self::Air(air) | Self::LoadAndAir(_, air) => Some(air),
            Self::Load(_) => None,
        }
    }

    fn content(&self) -> Content {
        match self {
            Self::Load(_) => Content::Load,
            Self::Air(_) => Content::Air,
            Self::LoadAndAir(..) => Content::LoadAndAir,
        }
    }

    fn rate_hz(&self, signal: &SignalArguments) -> f64 {
        match self {
            Self::Load(load) => signal.rate.unwrap_or(load.field_hz),
            Self::Air(air) | Self::LoadAndAir(_, air) => air.bench.scenario().rate_hz(),
        }
    }

    fn seconds(&self, arguments: &Arguments) -> f64 {
        let own = match self {
            Self::Load(load) | Self::LoadAndAir(load, _) => {
                load.seconds(arguments.repeats.unwrap_or(1))
            }
            Self::Air(air) => air.bench.scenario().duration_s.0,
        };
        arguments.signal.seconds.unwrap_or(own)
    }

    fn target<'a>(&self, arguments: &'a Arguments, form: Form) -> anyhow::Result<Target<'a>> {
        let signal = &arguments.signal;
        let (rate_hz, seconds) = (self.rate_hz(signal), self.seconds(arguments));
        ensure!(
            signal.seconds.is_none() || arguments.repeats.is_none(),
            "--seconds and --repeats exclude each other"
        );
        if let Some(load) = self.load() {
            load.is_resolved_at(rate_hz)?;
        }
        let samples = (seconds * rate_hz).round() as u64;
        ensure!(samples >= 1, "no sample in {seconds} s at {rate_hz} Hz");
        let target = Target {
            out: &arguments.out,
            form,
            settings_lines: arguments.settings_lines,
            content: self.content(),
            rate_hz,
            samples,
            digitiser: Some(signal.bits.unwrap_or(16))
                .filter(|&bits| bits <= Digitiser::MOST_BITS)
                .map(|bits| Digitiser { bits, range: 1.0 }),
            range: 1.0,
        };
        check(&target, seconds)?;
        Ok(target)
    }

    fn write(&self, arguments: &Arguments, form: Form) -> anyhow::Result<()> {
        let target = self.target(arguments, form)?;
        let place = arguments.place();
        let mut next = 0u64;
        let mut source = self.air().map(Air::source);
        let samples = |first: &mut Vec<f64>, second: &mut Vec<f64>| {
            first.clear();
            second.clear();
            let count = BLOCK.min((target.samples - next) as usize);
            if let Some(load) = self.load() {
                first.extend((next..next + count as u64).map(|n| load.at(n, target.rate_hz)));
            }
            if let Some(source) = &mut source {
                let channel = if self.load().is_some() { second } else { first };
                source.fill(channel, count);
            }
            next += count as u64;
        };
        output::write(&place, &target, samples, |_| {
            truth::save(&place, &self.truth(arguments, &target))
        })?;
        Ok(())
    }

    fn truth(&self, arguments: &Arguments, target: &Target<'_>) -> Value {
        json!({
            "schema": "fieldripple.truth/1",
            "program": concat!("fieldripple ", env!("CARGO_PKG_VERSION")),
            "command": arguments.command(),
            "seed": arguments.signal.seed(),
            "capture": {
                "path": target.out.display().to_string(),
                "kind": if self.load().is_some() { "load" } else { "jam" },
                "samples": target.samples,
                "rate_hz": target.rate_hz,
                "seconds": target.samples as f64 / target.rate_hz,
                "sample_type": output::kind(target).1,
            },
            "load": self.load().map(Load::truth),
            "interference": self.air().map(Air::truth),
        })
    }
}

/// Refuses flags that say nothing here.
fn only(signal: &SignalArguments, allowed: &[&str]) -> anyhow::Result<()> {
    for name in signal.given().keys() {
        ensure!(
            allowed.contains(&name.as_str()),
            "--{name} says nothing of what drives an instrument; allowed here are --{}",
            allowed.join(", --")
        );
    }
    Ok(())
}

/// The load of one tag.
struct Load {
    identity: Identity,
    switch: LoadSwitch,
    field_hz: f64,
}

impl Load {
    /// Fails where samples are too far apart to tell half bits.
    fn is_resolved_at(&self, rate_hz: f64) -> anyhow::Result<()> {
        let a_half_bit = rate_hz * LoadSwitch::HALF_BIT / self.field_hz;
        ensure!(
            a_half_bit >= LEAST_SAMPLES,
            "--rate {}: {a_half_bit:.2} samples a half bit; allowed are {LEAST_SAMPLES} and more, {} at this field",
            shown(rate_hz, "S/s"),
            shown(LEAST_SAMPLES * self.field_hz / LoadSwitch::HALF_BIT, "S/s")
        );
        Ok(())
    }

    fn new(arguments: &Arguments) -> anyhow::Result<Self> {
        let signal = &arguments.signal;
        let telegrams = telegrams(signal)?;
        let [telegram] = telegrams.as_slice() else {
            bail!(
                "--id is given {} times; one switch is one tag",
                telegrams.len()
            );
        };
        let identity = Identity::from_code(telegram.code);
        ensure!(
            identity.country == TEST || arguments.real_number,
            "{} is not a test number, and a reader takes whatever sends it for that animal; allowed are {TEST}:N, and any with --real-number",
            identity.digits()
        );
        if arguments.real_number && identity.country != TEST {
            eprintln!(
                "fieldripple: note: a reader takes this for the animal with the number {}: use it only with the leave of whoever keeps that animal, and where the law allows it",
                identity.digits()
            );
        }
        for (name, given) in [("start", signal.start.len()), ("sign", signal.sign.len())] {
            ensure!(
                given <= 1,
                "--{name} is given {given} times; allowed is once"
            );
        }
        let start = signal.start.first().copied().unwrap_or(0.0);
        let sign = signal.sign.first().copied().unwrap_or(1);
        Ok(Self {
            identity,
            switch: LoadSwitch::new(telegram, start, sign),
            field_hz: signal.field_hz(),
        })
    }

    /// Length of so many rounds.
    fn seconds(&self, repeats: u64) -> f64 {
        repeats as f64 * self.switch.round_cycles() / self.field_hz
    }

    fn at(&self, sample: u64, rate_hz: f64) -> f64 {
        let cycles = sample as f64 * self.field_hz / rate_hz;
        f64::from(u8::from(self.switch.is_closed(cycles)))
    }

    fn truth(&self) -> Value {
        json!({
            "id": self.identity.digits(),
            "field_hz": self.field_hz,
            "half_bits_a_second": self.field_hz / LoadSwitch::HALF_BIT,
            "half_bits": self.switch.half_bits().iter().map(|&closed| if closed { '1' } else { '0' }).collect::<String>(),
        })
    }

    /// The half bits, a line each, with what they are above.
    fn write_list(&self, arguments: &Arguments) -> anyhow::Result<()> {
        for flag in ["rate", "seconds", "bits", "start"] {
            ensure!(
                !arguments.signal.given().contains_key(flag),
                "--{flag} says nothing of a list of half bits"
            );
        }
        ensure!(
            arguments.repeats.is_none(),
            "--repeats says nothing of a list: it begins again at its end"
        );
        let half_bits = self.switch.half_bits();
        let mut text = format!(
            "# Load states of {}, a half bit a line: 1 closed, 0 open\n\
             # A half bit lasts {} field cycles: {} half bits a second in a field of {} Hz\n\
             # {} half bits, then from the first one again\n",
            self.identity.digits(),
            LoadSwitch::HALF_BIT,
            self.field_hz / LoadSwitch::HALF_BIT,
            self.field_hz,
            half_bits.len(),
        );
        for &closed in half_bits {
            text.push_str(if closed { "1\n" } else { "0\n" });
        }
        write_atomically(&arguments.place(), |file| file.write_all(text.as_bytes()))
            .with_context(|| arguments.out.display().to_string())
    }
}

/// What is in the air beside the field, as a share of the most it can be.
struct Air {
    bench: Bench,
    peak_v: f64,
}

impl Air {
    fn new(signal: &SignalArguments) -> anyhow::Result<Self> {
        let scenario = scenario(&SignalArguments {
            rate: signal.rate,
            seconds: signal.seconds,
            seed: signal.seed,
            scenario: signal.scenario.clone(),
            set: signal.set.clone(),
            ..SignalArguments::default()
        })?;
        ensure!(
            scenario.second_reader.is_none(),
            "[second_reader] is an antenna with a circuit of its own; give what the amplifier is to send as a [[tone]] (tone.1.frequency_hz=134250)"
        );
        let bench = Bench::new(&scenario)?;
        ensure!(
            !bench.is_envelope(),
            "behind a detector there is no interference to send: take probe.detector = \"none\""
        );
        let peak_v = bench.peak_in_the_air_v();
        ensure!(
            peak_v > 0.0,
            "there is nothing beside the field in this scenario; allowed are [[tone]], [[supply]], [[fsk]], [[impulses]] and [[band_noise]], for example --set tone.1.frequency_hz=134250"
        );
        Ok(Self { bench, peak_v })
    }

    fn source(&self) -> AirSource<'_> {
        AirSource {
            source: self.bench.in_the_air(),
            peak_v: self.peak_v,
            left: Vec::new(),
        }
    }

    fn truth(&self) -> Value {
        let derived = self.bench.derived();
        json!({
            "full_scale_v": self.peak_v,
            "full_scale_db": 20.0 * libm::log10(self.peak_v / derived.field_v),
            "scenario": self.bench.scenario(),
        })
    }
}

/// Its samples in blocks of any length.
struct AirSource<'a> {
    source: BenchSource<'a>,
    peak_v: f64,
    left: Vec<f64>,
}

impl AirSource<'_> {
    /// Appends so many samples; silence once the scenario has ended.
    fn fill(&mut self, out: &mut Vec<f64>, count: usize) {
        let mut block = Vec::new();
        while self.left.len() < count && self.source.next_block(&mut block) > 0 {
            self.left.append(&mut block);
        }
        self.left.resize(self.left.len().max(count), 0.0);
        out.extend(self.left.drain(..count).map(|volts| volts / self.peak_v));
    }
}
