//! `ripplemark synth`: makes a capture and writes down what is in it.

mod output;
mod plan;
mod scenario;
mod truth;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::ValueEnum;
use ripplemark::telegram::Identity;
use ripplemark::world::Pulses;

use super::telegram_fields::Fields;
use super::values::within;

const LONG_ABOUT: &str = "\
Makes a capture of a field and tags with a given ripple, and OUT.truth.json with everything in it

The form of OUT follows its ending:
  .wav  whole numbers of --bits (or 32-bit float), fractions of --range
  .csv  time in seconds and volts, a line a sample
  .npy  32-bit floats, volts (complex for --kind iq)
  .raw  16-bit whole numbers without a header, little endian (above 16 bits: 32-bit floats, volts)

The ripple jumps between two states at exact times, without a circuit model. Whatever is not
given (number, start of the telegram, load state, phase of the field) is drawn from --seed; the
same command makes the same file on every machine.";

const AFTER_HELP: &str = "\
Several tags: repeat --id. --depth, --angle, --start and --sign then go with the tags in order;
a single --depth counts for the first tag and --level-db sets the others, a single --angle
counts for all. The fields (--retag ...) are the same for all.

Eb/N0 is the energy of a bit over the noise density: r²·T/(2·N0) for real samples with the
carrier, r²·T/N0 for an envelope and for I/Q samples. r is the rms ripple of the first tag as it
is seen, T = 32 field cycles, N0 = 2σ²/rate with σ the standard deviation of a sample (of each
quadrature). About 0 dB is the limit for one telegram; N telegrams folded gain 10·log10 N dB.

A scenario has its own keys with units and ranges ('ripplemark link --keys' lists them). With
--scenario (or --set alone, from the default bench) --id, --seconds, --rate, --seed, --field-hz,
--ebn0, --bits, --range, --offset, --clock-ppm and --pulse go before the file; --amplitude,
--depth, --angle, --start, --sign and --phase do so where the scenario has a [direct] ripple.

Examples:
  ripplemark synth intake.wav --id 999:123456789
  ripplemark synth weak.wav --id 999:1 --ebn0 -8 --seconds 1 --seed 7
  ripplemark synth two.npy --id 999:1 --id 999:2 --level-db -10 --ebn0 15
  ripplemark synth soundcard.wav --kind envelope --rate 48000 --angle 0
  ripplemark synth bench.wav --scenario waveforms/scenarios/clean-bench.toml --set tag.1.tilt_deg=60

Exit codes: 0 done, 2 bad arguments or a file that cannot be written.";

/// What the samples show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// The field itself; folded where it is above half the rate
    Direct,
    /// Rectified: amplitude only, no carrier
    Envelope,
    /// Complex samples around --centre
    Iq,
    /// Two levels: is the envelope above the bare field's?
    Logic,
}

/// Makes a capture and writes down what is in it
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// File to write: .wav, .csv, .npy or .raw
    #[arg(value_name = "OUT")]
    out: PathBuf,
    /// Number of a tag as CCC:N; repeat for several tags [default: one tag, 999 and a number drawn from the seed]
    #[arg(long = "id", value_name = "CCC:N")]
    ids: Vec<Identity>,
    #[command(flatten)]
    fields: Fields,
    /// A bare field; --ebn0 then sets the noise a tag of --depth and --angle would have it with
    #[arg(long, conflicts_with_all = ["ids", "start", "sign", "level_db"])]
    no_tag: bool,
    /// What the samples show [default: direct]
    #[arg(long, value_enum)]
    kind: Option<Kind>,
    /// Samples a second, Hz [default: 1000000; envelope and I/Q 48000, logic 100000]
    #[arg(long, value_name = "HZ", value_parser = within(8e3..=1e8, "Hz"))]
    rate: Option<f64>,
    /// Length, seconds [default: 0.5]
    #[arg(long, value_name = "S", value_parser = within(1e-3..=3600.0, "s"))]
    seconds: Option<f64>,
    /// Frequency of the field, Hz [default: 134200]
    #[arg(long, value_name = "HZ", value_parser = within(100e3..=200e3, "Hz"))]
    field_hz: Option<f64>,
    /// Centre frequency of I/Q samples, Hz [default: 134200]
    #[arg(long, value_name = "HZ", value_parser = within(0.0..=1e7, "Hz"))]
    centre: Option<f64>,
    /// Ripple depth of a tag: half the change between the load states over the field [default: 0.01]
    #[arg(long, value_name = "X", value_parser = within(0.0..=0.9, ""))]
    depth: Vec<f64>,
    /// Ripple angle of a tag, degrees: 0 changes the amplitude only, 90 the phase only [default: 30]
    #[arg(long, value_name = "DEG", allow_negative_numbers = true, value_parser = within(-180.0..=180.0, "degrees"))]
    angle: Vec<f64>,
    /// Ripple of every further tag relative to the first, dB [default: -6]
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = within(-80.0..=0.0, "dB"))]
    level_db: Option<f64>,
    /// Field cycles (32 a bit, 4096 a telegram) before a telegram of the tag starts [default: from the seed]
    #[arg(long, value_name = "CYCLES", value_parser = within(0.0..=4096.0, "field cycles"))]
    start: Vec<f64>,
    /// Load state after that start, 1 or -1 [default: from the seed]
    #[arg(long, value_name = "SIGN", allow_negative_numbers = true, value_parser = sign)]
    sign: Vec<i8>,
    /// Eb/N0 of the first tag, dB [default: no noise]
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = within(-60.0..=100.0, "dB"))]
    ebn0: Option<f64>,
    /// Seed of everything random, 0 to 18446744073709551615 [default: 1]
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Peak amplitude of the field, V [default: 1]
    #[arg(long, value_name = "V", value_parser = within(1e-6..=1e4, "V"))]
    amplitude: Option<f64>,
    /// Constant added to every sample, V [default: 0]
    #[arg(long, value_name = "V", allow_negative_numbers = true, value_parser = within(-1e4..=1e4, "V"))]
    offset: Option<f64>,
    /// Phase of the field at the first sample, degrees [default: from the seed]
    #[arg(long, value_name = "DEG", allow_negative_numbers = true, value_parser = within(-360.0..=360.0, "degrees"))]
    phase: Option<f64>,
    /// Resolution, 2 to 24 bits, or 32 for floats without steps [default: 16, logic 8]
    #[arg(long, value_name = "N", value_parser = bits)]
    bits: Option<u32>,
    /// Full scale ±V of the digitiser [default: the next of 1, 2, 5, 10 … that holds the signal]
    #[arg(long, value_name = "V", value_parser = within(1e-6..=1e6, "V"))]
    range: Option<f64>,
    /// How much faster than stated the sampling clock runs, parts per million [default: 0]
    #[arg(long, value_name = "PPM", allow_negative_numbers = true, value_parser = within(-1e4..=1e4, "ppm"))]
    clock_ppm: Option<f64>,
    /// Switch the field: milliseconds on and off, 1 to 10000 each; every time the telegram starts anew
    #[arg(long, value_name = "ON_MS:OFF_MS", value_parser = pulses)]
    pulse: Option<Pulses>,
    /// Take everything from a scenario file (TOML): coils, circuits, interferers, probe, digitiser
    #[arg(long, value_name = "FILE")]
    scenario: Option<PathBuf>,
    /// Change a key of the scenario, for example reader.drive_v=12 or tag.1.tilt_deg=45; repeat for more
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Write lines with the settings (length, interval, unit) before the data; only .csv
    #[arg(long)]
    preamble: bool,
    #[arg(skip)]
    asked: Asked,
}

/// Where a command that asks for captures has them made. The program's own command line leaves it as it is.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// Folder that names of files count from; empty: the current one.
    pub folder: PathBuf,
    /// The command as the truth file states it; empty: the program's own.
    pub command: Vec<String>,
}

fn sign(text: &str) -> Result<i8, String> {
    match text {
        "1" | "+1" => Ok(1),
        "-1" => Ok(-1),
        _ => Err("allowed are 1 and -1".into()),
    }
}

fn bits(text: &str) -> Result<u32, String> {
    text.parse()
        .ok()
        .filter(|bits| (2..=24).contains(bits) || *bits == 32)
        .ok_or_else(|| "allowed are 2 to 24, and 32 for floats".into())
}

fn pulses(text: &str) -> Result<Pulses, String> {
    let shortest_ms = Pulses::SHORTEST_S * 1e3;
    let milliseconds = within(shortest_ms..=10_000.0, "ms");
    let (on, off) = text
        .split_once(':')
        .ok_or("write ON_MS:OFF_MS, for example 50:3")?;
    Ok(Pulses {
        on_s: milliseconds(on)? / 1e3,
        off_s: milliseconds(off)? / 1e3,
    })
}

impl Arguments {
    fn kind(&self) -> Kind {
        self.kind.unwrap_or(Kind::Direct)
    }

    fn seconds(&self) -> f64 {
        self.seconds.unwrap_or(0.5)
    }

    fn field_hz(&self) -> f64 {
        self.field_hz.unwrap_or(134_200.0)
    }

    fn seed(&self) -> u64 {
        self.seed.unwrap_or(1)
    }

    fn amplitude(&self) -> f64 {
        self.amplitude.unwrap_or(1.0)
    }

    fn offset(&self) -> f64 {
        self.offset.unwrap_or(0.0)
    }

    fn clock_ppm(&self) -> f64 {
        self.clock_ppm.unwrap_or(0.0)
    }
}

impl Arguments {
    /// The same, made for another command.
    pub fn asked(mut self, asked: Asked) -> Self {
        self.asked = asked;
        self
    }

    /// The file in the folder it belongs to.
    fn place(&self, file: &Path) -> PathBuf {
        self.asked.folder.join(file)
    }

    /// The arguments of the program, as they were given.
    fn command(&self) -> Vec<String> {
        if self.asked.command.is_empty() {
            std::env::args().skip(1).collect()
        } else {
            self.asked.command.clone()
        }
    }
}

/// Makes the capture and its truth file.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let (clipped, range) = make(arguments)?;
    if clipped > 0 {
        eprintln!(
            "ripplemark: note: {clipped} samples are beyond the range of {range} V and were clipped"
        );
    }
    Ok(ExitCode::SUCCESS)
}

/// The same without a word; returns how many samples were clipped at what range.
pub fn make(arguments: &Arguments) -> anyhow::Result<(u64, f64)> {
    Ok(
        if arguments.scenario.is_some() || !arguments.set.is_empty() {
            scenario::write(arguments)?
        } else {
            let plan = plan::Plan::new(arguments)?;
            let mut source = plan.signal.source();
            let clipped = output::write(&arguments.place(&plan.out), &plan.target(), |re, im| {
                source.next_block(re, im);
            })?;
            truth::write(&plan, arguments, clipped)?;
            (clipped, plan.range)
        },
    )
}
