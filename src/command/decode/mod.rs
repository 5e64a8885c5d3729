//! `decode`: reads captures.

mod figure;
mod json;
mod load;
mod memory;
mod other_kinds;
mod picture;
mod report;
mod text;

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use fieldripple::capture::{CaptureError, ChannelChoice, RawKind};
use fieldripple::draw::View;
use fieldripple::findings::{Finding, compare, findings};
use fieldripple::receiver::decision::Known;
use fieldripple::receiver::{Reception, Samples, Signal, Terms, receive, receive_joined};
use fieldripple::telegram::Identity;

use super::figure_file::{FigureFile, figure_file};
use super::values::within;
use load::{Loaded, Window};
use report::ReportOutput;

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
    /// Captures to read; '-' is standard input
    #[arg(value_name = "CAPTURE", required = true)]
    captures: Vec<PathBuf>,
    /// Samples per second, as 1M, 500k or a plain number; wins over what the file says
    #[arg(long, value_name = "HZ", value_parser = within(1.0..=1e10, "Hz"))]
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
    #[arg(long, value_name = "HZ", allow_negative_numbers = true, value_parser = within(-1e10..=1e10, "Hz"))]
    centre: Option<f64>,
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
    /// Print one JSON object a line, one line a capture
    #[arg(long)]
    json: bool,
    /// Draw what the receiver saw of the one capture; the ending, .png or .svg, says as what
    #[arg(long, value_name = "FILE", value_parser = figure_file, conflicts_with = "join")]
    figure: Option<FigureFile>,
    /// Write a page for a browser about all captures: verdict, figures, findings, the telegram bit by bit
    #[arg(long, value_name = "FILE.html", value_parser = report::file)]
    report: Option<PathBuf>,
}

impl Arguments {
    fn terms(&self) -> Terms {
        Terms {
            odds: self.odds,
            known: if self.usual_fields {
                Known::UsualFields
            } else {
                Known::Nothing
            },
        }
    }
}

/// A capture with everything that is to be printed of it.
pub(super) struct Report {
    path: String,
    loaded: Loaded,
    samples: u64,
    reception: Reception,
    findings: Vec<Finding>,
    expected: Option<Identity>,
    /// `None` where nothing was expected.
    as_expected: Option<bool>,
    /// What a figure needs beside the reception, where one is wanted.
    drawn: Option<figure::Material>,
}

impl Report {
    /// What is printed of it where no terminal is.
    pub fn printed(&self) -> String {
        text::page(self, true, text::Look::plain())
    }

    /// The JSON line of it.
    pub fn json_line(&self) -> String {
        json::line(self)
    }

    /// What is drawn of it.
    pub fn view(&self) -> View<'_> {
        figure::view(self)
    }

    fn is_read(&self) -> bool {
        !self.identities().is_empty() && self.as_expected != Some(false)
    }
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    memory::keep_large_buffers();
    if let Some(to) = arguments.to
        && to <= arguments.from
    {
        anyhow::bail!(
            "--to {to} does not lie after --from {}; it must be larger",
            arguments.from
        );
    }
    if let Some(figure) = &arguments.figure {
        figure::check(figure, &arguments.captures)?;
    }
    // A capture to compare with that cannot be read is an error before anything is printed.
    let other = match &arguments.against {
        Some(path) => Some((path.display().to_string(), received(arguments, path)?.1)),
        None => None,
    };
    let mut page = match &arguments.report {
        Some(path) => Some(ReportOutput::new(path, &arguments.captures)?),
        None => None,
    };
    let look = text::Look::of_output();
    let mut all_read = true;
    let mut unreadable = false;
    let mut first = true;
    let mut finish = |name: String, outcome: anyhow::Result<Report>| -> anyhow::Result<()> {
        match outcome {
            Ok(mut report) => {
                all_read &= report.is_read();
                if let Some((name, other)) = &other {
                    let compared = compare(&report.reception, other, name, arguments.odds);
                    report.findings.push(compared);
                }
                let text = if arguments.json {
                    json::line(&report)
                } else {
                    text::page(&report, std::mem::take(&mut first), look)
                };
                super::print(&text)?;
                if let Some(figure) = &arguments.figure
                    && let Err(error) = figure::draw(figure, &report)
                {
                    unreadable = true;
                    super::complain(&error);
                }
                if let Some(page) = &mut page {
                    page.add(&report, arguments)?;
                }
            }
            Err(error) => {
                unreadable = true;
                super::complain(&error);
                if let Some(page) = &mut page {
                    page.add_unreadable(&name, &error)?;
                }
            }
        }
        Ok(())
    };
    if arguments.join {
        finish(names(&arguments.captures), joined(arguments))?;
    } else {
        for path in &arguments.captures {
            finish(path.display().to_string(), single(arguments, path))?;
        }
    }
    if let Some(page) = &page
        && let Err(error) = page.write()
    {
        unreadable = true;
        super::complain(&error);
    }
    Ok(if unreadable {
        ExitCode::from(super::BAD_ARGUMENTS)
    } else if all_read {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(1)
    })
}

/// Reads a capture for another command: with the usual settings, called by another name, and with all that figures need.
pub fn read(place: &Path, name: &str) -> anyhow::Result<Report> {
    let words = [OsString::from("decode"), place.as_os_str().into()];
    let mut arguments: Arguments = super::parsed(words)?;
    arguments.report = Some(PathBuf::new());
    let mut report = single(&arguments, place)?;
    report.path = name.into();
    Ok(report)
}

fn single(arguments: &Arguments, path: &Path) -> anyhow::Result<Report> {
    let (received, reception) = received(arguments, path)?;
    let path = path.display().to_string();
    let mut report = report(
        arguments,
        path,
        received.loaded,
        received.samples,
        reception,
    );
    report.drawn = received.drawn;
    Ok(report)
}

/// What is left of a capture beside its reception.
struct Received {
    loaded: Loaded,
    samples: u64,
    drawn: Option<figure::Material>,
}

fn received(arguments: &Arguments, path: &Path) -> anyhow::Result<(Received, Reception)> {
    let mut loaded = Loaded::open(path, arguments)?;
    let mut whole: Option<Reception> = None;
    let mut samples = 0;
    let mut drawn = None;
    while let Some(window) = loaded.next_window()? {
        let offset_s = loaded.time_s(samples);
        samples += window.len() as u64;
        let mut reception = receive(&loaded.signal(&window), arguments.terms());
        reception.shift(offset_s);
        // The figure shows the window that the receiver kept its view of.
        let mut telling = true;
        match &mut whole {
            None => whole = Some(reception),
            Some(whole) => {
                telling = whole.is_outdone_by(&reception);
                whole.absorb(reception, arguments.odds);
            }
        }
        if telling && (arguments.figure.is_some() || arguments.report.is_some()) {
            drawn = Some(figure::Material {
                from_s: offset_s,
                window,
            });
        }
    }
    let reception = whole.ok_or_else(|| loaded.nothing_left())?;
    let received = Received {
        loaded,
        samples,
        drawn,
    };
    Ok((received, reception))
}

fn joined(arguments: &Arguments) -> anyhow::Result<Report> {
    let mut pieces: Vec<(Loaded, Window)> = Vec::new();
    for path in &arguments.captures {
        let mut loaded = Loaded::open(path, arguments)?;
        let window = loaded.next_window()?.ok_or_else(|| loaded.nothing_left())?;
        pieces.push((loaded, window));
    }
    let signals: Vec<Signal<'_>> = pieces
        .iter()
        .map(|(loaded, window)| loaded.signal(window))
        .collect();
    let samples = signals.iter().map(|s| s.samples.len() as u64).sum();
    let reception = match receive_joined(&signals, arguments.terms()) {
        Some(reception) => reception,
        None => receive(&signals[0], arguments.terms()),
    };
    let (loaded, _) = pieces.swap_remove(0);
    Ok(report(
        arguments,
        names(&arguments.captures),
        loaded,
        samples,
        reception,
    ))
}

/// Captures that are taken as one.
fn names(captures: &[PathBuf]) -> String {
    let names: Vec<String> = captures
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    names.join(" + ")
}

fn report(
    arguments: &Arguments,
    path: String,
    loaded: Loaded,
    samples: u64,
    reception: Reception,
) -> Report {
    let mut report = Report {
        path,
        findings: findings(&reception, arguments.odds),
        loaded,
        samples,
        reception,
        expected: arguments.expect,
        as_expected: None,
        drawn: None,
    };
    report.as_expected = arguments.expect.map(|expected| {
        let read = report.identities();
        read.iter()
            .any(|found| (found.country, found.national) == (expected.country, expected.national))
    });
    report
}

/// Said where another number than the expected one was read, or none.
fn unexpected(report: &Report) -> String {
    let expected = report
        .expected
        .map_or(String::new(), |identity| identity.to_string());
    let read: Vec<String> = report
        .identities()
        .iter()
        .map(ToString::to_string)
        .collect();
    if read.is_empty() {
        return format!("{expected} was expected; no number was read.");
    }
    format!("{expected} was expected; {} was read.", read.join(" and "))
}

/// What went wrong with a file, without the "fieldripple:" in front.
fn capture_error(error: CaptureError) -> anyhow::Error {
    anyhow::Error::new(error)
}

/// Strength with which a channel holds a field, for choosing one.
fn field_strength(samples: &[f32], rate_hz: Option<f64>) -> f64 {
    fieldripple::receiver::field_strength(Samples::Real(samples), rate_hz)
}
