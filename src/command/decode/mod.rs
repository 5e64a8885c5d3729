//! `decode`: reads captures.

mod captures;
#[cfg(feature = "cli")]
mod export;
#[cfg(feature = "cli")]
mod figure;
mod file_output;
mod follow;
mod option_values;
mod outputs;
mod picture;
#[cfg(feature = "cli")]
mod report;
mod rows;
#[cfg(feature = "cli")]
mod strength;
mod table;
mod text;
mod visits;

#[cfg(feature = "cli")]
use std::path::Path;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use fieldripple::capture::{ChannelChoice, RawKind};
use fieldripple::decode::{
    CENTRES_HZ, Decoded, Pickup, RATES_HZ, Settings, decode_file, decode_joined,
};
use fieldripple::telegram::Identity;

use super::figure_file::{FigureFile, figure_file};
use super::interrupt::leave_nothing_unfinished;
use fieldripple::number::within;
use option_values::{ExportFile, export_file, pickup, report_file};
use outputs::Outputs;

const AFTER_HELP: &str = "\
A resonant reader antenna carries tens to hundreds of volts: hold a pick-up coil near it instead of
clipping a probe onto it, and never wire an antenna to a sound-card input.

Exit codes: 0 a number was read in every capture (the expected one), 1 some capture gave none or another,
2 bad arguments or a file that cannot be read (the other files are still done).";

/// Read captures: the number in each, or why there is none
///
/// Captures are WAV, NPY or columns of numbers as text, whatever they are called; '-' is standard input.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub struct Arguments {
    /// Captures to read, and folders with captures in them; '-' is standard input
    #[arg(value_name = "CAPTURE|FOLDER", required_unless_present_any = ["device", "devices"])]
    captures: Vec<PathBuf>,
    /// Samples per second, as 1M, 500k or a plain number; wins over what the file says
    #[arg(long, value_name = "HZ", value_parser = within(RATES_HZ, "Hz"))]
    rate: Option<f64>,
    /// Leave out everything before this time, seconds from the first sample
    #[arg(long, value_name = "S", default_value_t = 0.0, allow_negative_numbers = true, value_parser = within(0.0..=1e9, "s"))]
    from: f64,
    /// Leave out everything after this time, seconds from the first sample
    #[arg(long, value_name = "S", allow_negative_numbers = true, value_parser = within(0.0..=1e9, "s"))]
    to: Option<f64>,
    /// Take all captures as pieces of one tag's signal and combine them
    #[arg(long)]
    join: bool,
    /// Compare with this capture: one without a tag, or a known good one; the same options hold for both
    #[arg(long, value_name = "CAPTURE")]
    against: Option<PathBuf>,
    /// Probe factor: volts are multiplied by it
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0, allow_negative_numbers = true, value_parser = within(-1e9..=1e9, ""))]
    scale: f64,
    /// Channel by number (from 1) or name, or the difference of two as A-B; default: the one with the field in it
    #[arg(long, value_name = "N|NAME|A-B")]
    channel: Option<ChannelChoice>,
    /// Bare samples without a header: i8, u8, i16, i32, f32, f64, ci16 or cf32, little-endian
    #[arg(long, value_name = "KIND")]
    raw: Option<RawKind>,
    /// Frequency that complex samples are centred on; makes the two channels of a file one complex signal
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = within(CENTRES_HZ, "Hz"))]
    centre: Option<f64>,
    /// The capture is the voltage of an open pick-up coil, as 10,50 for ten turns of 50 mm: say how strong the field is there in µT
    /// and A/m, and which usual tags it would power (a divider or a probe goes into --scale)
    #[arg(long, value_name = "TURNS,DIAMETER_MM", value_parser = pickup, conflicts_with = "follow")]
    pickup: Option<Pickup>,
    /// Volts at full scale of a capture that holds fractions of it, for --pickup
    #[arg(long, value_name = "V", requires = "pickup", value_parser = within(1e-6..=1e6, "V"))]
    full_scale: Option<f64>,
    /// The number that should be there, as CCC:N; another one counts as not read
    #[arg(long, value_name = "CCC:N")]
    expect: Option<Identity>,
    /// Largest probability of a wrong number that still counts as read
    #[arg(long, value_name = "P", default_value_t = 1e-5, value_parser = within(1e-12..=0.1, ""))]
    odds: f64,
    /// Take as known what nearly every animal tag sends: reserved bits, data block flag and trailer 0, a country or issuer
    /// code in use; reads about 0.5 dB weaker signals, and a number that needs it says so
    #[arg(long)]
    usual_fields: bool,
    /// Print one JSON object a line, one line a capture (with --follow one line an event)
    #[arg(long)]
    json: bool,
    /// Draw what the receiver saw of the one capture; the ending, .png or .svg, says as what
    #[arg(long, value_name = "FILE", value_parser = figure_file, conflicts_with = "join")]
    figure: Option<FigureFile>,
    /// Write what the figure shows of the one capture as arrays for a notebook: field, ripple, mean telegram, bits, spectrum; the ending,
    /// .npz or .csv, says as what
    #[arg(long, value_name = "FILE", value_parser = export_file, conflicts_with = "join")]
    export: Option<ExportFile>,
    /// Write a page for a browser about all captures: verdict, figures, findings, the telegram bit by bit
    #[arg(long, value_name = "FILE.html", value_parser = report_file)]
    report: Option<PathBuf>,
    /// Write when each tag came and went, one row a visit: begin and end, number, depth, angle, Eb/N0, odds
    #[arg(long, value_name = "FILE.csv", conflicts_with = "join")]
    visits: Option<PathBuf>,
    /// Follow what is still coming: a stream ('-' or a pipe), a file that grows, or a folder that fills; on a terminal a meter,
    /// else one event a line. Keys: q ends with a summary, as Ctrl-C does, space holds the picture, r resets the peak
    #[arg(long, conflicts_with_all = ["join", "figure", "export", "report", "against", "brief", "table"])]
    follow: bool,
    /// Follow a sound card's input, by an id that --devices lists or words of its description; 'default' is the system's own. At --rate, or
    /// at the highest rate that it offers. Keep an antenna's voltage away from it: a pick-up coil, or a divider that a meter has proved
    #[arg(long, value_name = "NAME", conflicts_with_all = ["captures", "raw", "join", "figure", "export", "report", "against", "brief", "table", "pickup"])]
    device: Option<String>,
    /// List the sound inputs of this machine
    #[arg(long, exclusive = true)]
    devices: bool,
    /// A tone for the ear with --follow or --device: 440 Hz with nothing to spare, an octave up for every 12 dB, interrupted while no
    /// number is read, silent where no margin is known
    #[arg(long)]
    sound: bool,
    /// Write one row a capture: margin in dB, number, depth, angle, field, first finding
    #[arg(long, value_name = "FILE.csv", conflicts_with = "join")]
    table: Option<PathBuf>,
    /// Print one line a capture instead of a page
    #[arg(long, conflicts_with = "join")]
    brief: bool,
}

impl Arguments {
    fn settings(&self) -> Settings {
        let mut settings = Settings::new()
            .from_s(self.from)
            .scale(self.scale)
            .channel(self.channel.clone().unwrap_or_default())
            .odds(self.odds);
        if let Some(rate_hz) = self.rate {
            settings = settings.rate_hz(rate_hz);
        }
        if let Some(to_s) = self.to {
            settings = settings.to_s(to_s);
        }
        if let Some(kind) = self.raw {
            settings = settings.raw(kind);
        }
        if let Some(centre_hz) = self.centre {
            settings = settings.centre_hz(centre_hz);
        }
        if let Some(identity) = self.expect {
            settings = settings.expect(identity);
        }
        if let Some(coil) = self.pickup {
            settings = settings.pickup(Pickup {
                full_scale_v: self.full_scale,
                ..coil
            });
        }
        if self.usual_fields {
            settings = settings.usual_fields();
        }
        if self.figure.is_some() || self.report.is_some() || self.export.is_some() {
            settings = settings.keep_samples();
        }
        #[cfg(feature = "cli")]
        if self.report.is_some() {
            settings = settings.origin();
        }
        if self.visits.is_some() {
            settings = settings.visits();
        }
        settings
    }
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    #[cfg(not(feature = "cli"))]
    check_whole(arguments)?;
    if arguments.devices || arguments.device.is_some() || arguments.sound {
        check_sound(arguments)?;
    }
    #[cfg(feature = "sound")]
    if arguments.devices {
        follow::sound::list()?;
        return Ok(ExitCode::SUCCESS);
    }
    let outputs = [
        arguments.report.as_deref(),
        arguments.visits.as_deref(),
        arguments.table.as_deref(),
        arguments.figure.as_ref().map(FigureFile::path),
        arguments.export.as_ref().map(ExportFile::path),
    ];
    leave_nothing_unfinished(outputs.into_iter().flatten());
    if let Some(to) = arguments.to
        && to <= arguments.from
    {
        anyhow::bail!(
            "--to {to} does not lie after --from {}; it must be larger",
            arguments.from
        );
    }
    if arguments.follow || arguments.device.is_some() {
        return follow::run(arguments);
    }
    let captures = captures::all(&arguments.captures, arguments.raw.is_some())?;
    let paths: Vec<PathBuf> = captures.iter().map(|given| given.path.clone()).collect();
    let settings = arguments.settings();
    // A capture to compare with that cannot be read is an error before anything is printed.
    let other = match &arguments.against {
        Some(path) => Some((
            path.display().to_string(),
            decode_file(path, &settings)?.reception,
        )),
        None => None,
    };
    let mut outputs = Outputs::new(arguments, &paths, other)?;
    if arguments.join {
        match decode_joined(&paths, &settings) {
            Ok(decoded) => outputs.add(settled(decoded))?,
            Err(error) => outputs.add_unreadable(&names(&paths), &error.into()),
        }
    } else {
        let mut passed_over = Vec::new();
        for given in &captures {
            let name = given.path.display().to_string();
            match decode_file(&given.path, &settings) {
                Ok(decoded) => outputs.add(settled(decoded))?,
                Err(error) if given.found && captures::is_no_capture(&given.path, &error) => {
                    passed_over.push(name);
                }
                Err(error) => outputs.add_unreadable(&name, &error.into()),
            }
        }
        if !passed_over.is_empty() {
            let names = passed_over.join(", ");
            eprintln!("fieldripple: passed over, as no captures: {names}");
        }
    }
    let outcome = outputs.finish();
    Ok(if outcome.failed {
        ExitCode::from(super::BAD_ARGUMENTS)
    } else if outcome.all_read {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(1)
    })
}

/// Says which options need the whole program.
#[cfg(not(feature = "cli"))]
fn check_whole(arguments: &Arguments) -> anyhow::Result<()> {
    let asked = [
        ("--figure", arguments.figure.is_some()),
        ("--export", arguments.export.is_some()),
        ("--report", arguments.report.is_some()),
        ("--pickup", arguments.pickup.is_some()),
    ];
    if let Some((option, _)) = asked.iter().find(|(_, asked)| *asked) {
        anyhow::bail!(super::needs_whole(option));
    }
    Ok(())
}

/// With what a pick-up coil says of the reason why there is no number.
fn settled(decoded: Decoded) -> Decoded {
    #[cfg(feature = "cli")]
    let decoded = strength::settled(decoded);
    decoded
}

/// Says what the options for sound cannot do.
fn check_sound(arguments: &Arguments) -> anyhow::Result<()> {
    if cfg!(not(feature = "sound")) {
        anyhow::bail!(
            "this program was built without sound: --device, --devices and --sound need one built with --features sound (the README says how)"
        );
    }
    if arguments.sound && !arguments.follow && arguments.device.is_none() {
        anyhow::bail!("--sound goes with --follow or --device");
    }
    Ok(())
}

/// Reads a capture for another command: with the usual settings, called by another name, and with all that figures need.
#[cfg(feature = "cli")]
pub fn read(place: &Path, name: &str) -> anyhow::Result<Decoded> {
    let mut decoded = decode_file(place, &Settings::new().keep_samples())?;
    decoded.rename(name);
    Ok(decoded)
}

/// What is printed of it where no terminal is.
#[cfg(feature = "cli")]
pub fn printed(decoded: &Decoded) -> String {
    text::page(decoded, true, text::Look::plain())
}

fn json_line(decoded: &Decoded) -> String {
    format!("{}\n", decoded.to_json())
}

/// Captures that are taken as one.
fn names(captures: &[PathBuf]) -> String {
    let names: Vec<String> = captures
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    names.join(" + ")
}
