//! `fieldripple synth`: makes a capture and writes down what is in it.

mod drive;
mod form;
mod output;
mod scenario;
mod target;
mod truth;

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::ensure;
use fieldripple::world::SampleForm;

use super::interrupt;
use super::signal::{SignalArguments, SignalPlan};
use fieldripple::number::whole_within;
use target::{Content, Target};

const LONG_ABOUT: &str = "\
Makes a capture of a field and tags with a given ripple, and OUT.truth.json with everything in it

The form of OUT follows its ending:
  .wav  whole numbers of --bits (or 32-bit float), fractions of --range
  .csv  time in seconds and volts, a line a sample
  .npy  32-bit floats, volts (complex for --kind iq)
  .raw  16-bit whole numbers without a header, little endian (above 16 bits: 32-bit floats, volts)
  .txt  half bits of --kind load, a line each

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
quadrature). A single telegram is read half the time at 3 dB; N telegrams folded gain 10·log10 N dB.

--kind load and --kind jam are no captures: they drive instruments. A load is what a tag does with its own: a
level of 1 closes a switch across a coil, 0 opens it, from the start of a telegram on (--start, --sign), at
the field's frequency as samples a second unless --rate is given; .txt lists half bits, a line each. A jam is
what a scenario has in the air beside its field ([[tone]], [[supply]], [[fsk]], [[impulses]], [[band_noise]]),
as a share of the most it can be: the truth file says what that is against the field. A load with --scenario
or --set has it as a second channel.

A scenario has its own keys with units and ranges ('fieldripple link --keys' lists them). With
--scenario (or --set alone, from the default bench) --id, --seconds, --rate, --seed, --field-hz,
--ebn0, --bits, --range, --offset, --clock-ppm and --pulse go before the file; --amplitude,
--depth, --angle, --start, --sign and --phase do so where the scenario has a [direct] ripple.

Examples:
  fieldripple synth intake.wav --id 999:123456789
  fieldripple synth weak.wav --id 999:1 --ebn0 -8 --seconds 1 --seed 7
  fieldripple synth two.npy --id 999:1 --id 999:2 --level-db -10 --ebn0 15
  fieldripple synth soundcard.wav --kind envelope --rate 48000 --angle 0
  fieldripple synth tag.csv --kind load --id 999:1
  fieldripple synth both.wav --kind load --id 999:1 --rate 500k --seconds 10 --set tone.1.frequency_hz=134250
  fieldripple synth bench.wav --scenario waveforms/scenarios/clean-bench.toml --set tag.1.tilt_deg=60

Exit codes: 0 done, 2 bad arguments or a file that cannot be written.";

/// Makes a capture and writes down what is in it
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// File to write: .wav, .csv, .npy or .raw (a load's half bits: .txt)
    #[arg(value_name = "OUT")]
    out: PathBuf,
    #[command(flatten)]
    signal: SignalArguments,
    /// Write lines with the settings (length, interval, unit) before the data; only .csv
    #[arg(long)]
    settings_lines: bool,
    /// Length of --kind load in rounds, after which it begins again (one telegram, or two where the second is inverted) [default: 1]
    #[arg(long, value_name = "N", value_parser = whole_within(1..=1_000_000, ""))]
    repeats: Option<u64>,
    /// Allow --kind load a number that is no test number: a reader takes it for that animal
    #[arg(long)]
    real_number: bool,
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

impl Arguments {
    /// The same, made for another command.
    pub fn asked(mut self, asked: Asked) -> Self {
        if let Some(scenario) = &mut self.signal.scenario {
            *scenario = asked.folder.join(&*scenario);
        }
        self.asked = asked;
        self
    }

    /// The file in the folder it belongs to.
    fn place(&self) -> PathBuf {
        self.asked.folder.join(&self.out)
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
    interrupt::leave_nothing_unfinished([arguments.out.as_path()]);
    let (clipped, range) = make(arguments)?;
    if clipped > 0 {
        eprintln!(
            "fieldripple: note: {clipped} samples are beyond the range of {range} V and were clipped"
        );
    }
    Ok(ExitCode::SUCCESS)
}

/// The same without a word; returns how many samples were clipped at what range.
pub fn make(arguments: &Arguments) -> anyhow::Result<(u64, f64)> {
    if arguments.signal.kind().drives() {
        return drive::write(arguments).map(|()| (0, 1.0));
    }
    ensure!(
        arguments.repeats.is_none() && !arguments.real_number,
        "--repeats and --real-number go with --kind load only"
    );
    Ok(if arguments.signal.is_scenario() {
        scenario::write(arguments)?
    } else {
        let form = form::form(arguments)?;
        let plan = SignalPlan::new(&arguments.signal)?;
        let target = Target {
            out: &arguments.out,
            form,
            settings_lines: arguments.settings_lines,
            content: match plan.signal.view {
                SampleForm::Real | SampleForm::Envelope => Content::Voltage,
                SampleForm::Iq { .. } => Content::Iq,
                SampleForm::Logic => Content::Logic,
            },
            rate_hz: plan.signal.rate_hz,
            samples: plan.signal.samples,
            digitiser: plan.digitiser,
            range: plan.range,
        };
        form::check(&target, arguments.signal.seconds())?;
        let mut source = plan.signal.source();
        let clipped = output::write(
            &arguments.place(),
            &target,
            |re, im| {
                source.next_block(re, im);
            },
            |clipped| truth::write(&plan, arguments, &target, clipped),
        )?;
        (clipped, plan.range)
    })
}
