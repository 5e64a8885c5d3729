//! `--fit`: what the bench of a capture is, against what it is thought to be.

mod json;
mod text;

use std::path::PathBuf;
use std::process::ExitCode;

use fieldripple::bench_fit::{BenchFit, FitError, Thought, fit};
use fieldripple::capture::{ChannelChoice, Unit};
use fieldripple::decode::{Decoded, Settings, decode_file};
use fieldripple::number::within;
use fieldripple::world::link::Tap;
use fieldripple::world::scenario::Scenario;

use super::setup::Setup;

/// A capture that the scenario's bench is fitted to.
#[derive(clap::Args)]
pub struct FitArguments {
    /// Fit antenna (resonance, Q), coupling and tag (resonance, Q, load) of the scenario to this capture of one tag, taken at the antenna or with the scenario's pick-up coil (all places then as they are there): what
    /// the bench is, how it differs from what was thought, what the capture cannot tell, and which single change buys most
    #[arg(long, value_name = "CAPTURE", conflicts_with_all = ["design", "tolerance", "distance", "offset", "tilt", "offset_y", "bearing", "figure", "capacitor_for", "turns_for", "wrong_coil"])]
    pub fit: Option<PathBuf>,
    /// Sample rate of --fit's capture, Hz [default: the file's]
    #[arg(long, value_name = "HZ", requires = "fit", value_parser = within(1.0..=1e10, "Hz"))]
    rate: Option<f64>,
    /// Channel of --fit's capture: number from 1, name, or a difference A-B [default: the one with the field in it]
    #[arg(long, value_name = "N|NAME", requires = "fit")]
    channel: Option<ChannelChoice>,
    /// Probe factor of --fit's capture: its volts are multiplied by it [default: 1]
    #[arg(long, value_name = "FACTOR", requires = "fit", value_parser = within(1e-6..=1e6, ""))]
    scale: Option<f64>,
}

/// A capture and the bench fitted to it, or why there is none.
struct Fit {
    decoded: Decoded,
    bench: Result<BenchFit, FitError>,
    /// Volts across the antenna for a volt at the probe, as the scenario has it.
    divider: f64,
    /// The scenario's probe is a pick-up coil.
    by_pick_up: bool,
}

impl Fit {
    /// Field in the capture, peak V; nothing where it has no volts.
    fn field_v(&self) -> Option<f64> {
        let volts = self.decoded.unit() == Unit::Volt;
        self.decoded.reception.field.amplitude.filter(|_| volts)
    }
}

/// Fits and prints.
///
/// # Errors
/// A capture that cannot be read, a scenario that is no bench to fit.
pub fn run(
    arguments: &FitArguments,
    capture: &std::path::Path,
    scenario: Scenario,
    odds: f64,
    as_json: bool,
) -> anyhow::Result<ExitCode> {
    let mut settings = Settings::new()
        .odds(odds)
        .scale(arguments.scale.unwrap_or(1.0));
    if let Some(rate_hz) = arguments.rate {
        settings = settings.rate_hz(rate_hz);
    }
    if let Some(channel) = &arguments.channel {
        settings = settings.channel(channel.clone());
    }
    let setup = Setup::new(scenario, None, odds)?;
    let decoded = decode_file(capture, &settings)?;
    let place = setup.tag.place_at(0.0);
    let thought = Thought {
        antennas: setup.antennas(),
        transponder: &setup.transponder,
        place: &place,
        listening: setup.listening(),
    };
    let bench = match fit(&decoded.reception, odds, &thought) {
        Err(FitError::PickUp) => return Err(FitError::PickUp.into()),
        Err(FitError::Circuit(error)) => return Err(error.into()),
        Err(FitError::Link(error)) => return Err(error.into()),
        other => other,
    };
    let fitted = bench.is_ok();
    let fit = Fit {
        divider: 1.0 / setup.listening().scale,
        by_pick_up: setup.listening().tap != Tap::Antenna,
        decoded,
        bench,
    };
    let page = if as_json {
        json::object(&fit)
    } else {
        text::page(&fit)
    };
    crate::command::print(&page)?;
    Ok(ExitCode::from(u8::from(!fitted)))
}
