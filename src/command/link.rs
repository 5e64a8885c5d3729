//! `ripplemark link`: coupling, tag voltage, ripple and range of a bench in numbers.

mod json;
mod sums;
mod text;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, ensure};
use ripplemark::world::Digitiser;
use ripplemark::world::link::{
    Link, Listening, Station, Transponder, folded_ebn0_db, link, needed_ebn0_db,
};
use ripplemark::world::scenario::{PlaceKeys, Scenario, TagKeys, half_bits, key_list};
use sums::Sums;

use super::values::within;

const LONG_ABOUT: &str = "\
Works out the link from a reader's antenna to a tag and back: mutual inductance, coupling, tag
voltage, ripple at the probe, Eb/N0, and whether a receiver would read it

Without anything a bench of usual size is worked out. --scenario takes reader, first tag, probe,
noise and digitiser from a file, --set changes any key of it (--keys lists them all with unit,
default and range).";

const AFTER_HELP: &str = "\
The ripple is that of the half bits as the tuned circuits let them through. A number counts as
readable if the tag is powered and Eb/N0 with all telegrams of --seconds folded reaches what half
of all telegrams need for --odds. Noise is white noise and the steps of the digitiser; interferers
are not in the prediction.

Examples:
  ripplemark link
  ripplemark link --distance 20:200:10 --tilt 0,45,90
  ripplemark link --set reader.coil.turns=60 --set reader.drive_v=12 --json
  ripplemark link --capacitor-for 550 --turns-for 550 --wrong-coil 820

A resonant antenna carries tens to hundreds of volts: use a rated probe, keep fingers off. Keep
strong fields away from people with active implants. Limits are named for comparison only: a
computed field is no measurement, and local law decides.";

/// Work out coupling, tag voltage, ripple and range from coils and circuits
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// Scenario file (TOML) with the bench
    #[arg(long, value_name = "FILE")]
    scenario: Option<PathBuf>,
    /// Change a key of the scenario, for example reader.drive_v=12 or tag.1.tuned_hz=139000; repeat for more
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// List every key with meaning, default and range, and stop
    #[arg(long)]
    keys: bool,
    /// Distances along the axis, mm: 50 or 20,50,80 or FROM:TO:STEP [default: 20:200:20, or the tag's place in --scenario]
    #[arg(long, value_name = "MM", value_parser = list(0.0, 1e4, "mm"))]
    distance: Option<List>,
    /// Offsets from the axis, mm [default: 0, or the tag's place in --scenario]
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = list(-1e4, 1e4, "mm"))]
    offset: Option<List>,
    /// Angles between the axes of antenna and tag, degrees [default: 0,60, or the tag's place in --scenario]
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = list(-360.0, 360.0, "degrees"))]
    tilt: Option<List>,
    /// Length of the capture, seconds [default: 0.5, or the scenario's]
    #[arg(long, value_name = "S", value_parser = within(1e-3..=3600.0, "s"))]
    seconds: Option<f64>,
    /// Probability of a wrong number that is still accepted
    #[arg(long, value_name = "P", default_value_t = 1e-5, value_parser = within(1e-12..=0.1, ""))]
    odds: f64,
    /// Work out the field at these distances, m
    #[arg(long, value_name = "M", default_value = "0.1,0.3,1,3,10", value_parser = list(1e-3, 1e4, "m"))]
    field_at: List,
    /// Capacitor that tunes this inductance to the field, µH
    #[arg(long, value_name = "UH", value_parser = within(0.1..=1e5, "µH"))]
    capacitor_for: Option<f64>,
    /// Turns of the antenna's size and wire that make this inductance, µH
    #[arg(long, value_name = "UH", value_parser = within(0.1..=1e5, "µH"))]
    turns_for: Option<f64>,
    /// What an antenna of this inductance does on the same electronics, µH
    #[arg(long, value_name = "UH", value_parser = within(0.1..=1e5, "µH"))]
    wrong_coil: Option<f64>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// More positions than this is a typing error.
const MOST_POSITIONS: usize = 100_000;

/// Values of one quantity.
#[derive(Clone, Debug)]
pub(super) struct List(Vec<f64>);

fn list(low: f64, high: f64, unit: &'static str) -> impl Fn(&str) -> Result<List, String> + Clone {
    move |text| {
        let one = within(low..=high, unit);
        let values: Vec<f64> = if let Some((from, rest)) = text.split_once(':') {
            let (to, step) = rest
                .split_once(':')
                .ok_or("write FROM:TO:STEP, for example 20:200:20")?;
            let (from, to) = (one(from)?, one(to)?);
            let step: f64 = step
                .trim()
                .parse()
                .map_err(|_| "the step must be a number")?;
            let steps = (to - from) / step;
            if !(step != 0.0 && steps >= 0.0 && steps < MOST_POSITIONS as f64) {
                return Err("the step must lead from the first value to the last".into());
            }
            // A hair more, so that 0:1:0.1 has its last value.
            (0..=(steps + 1e-9) as usize)
                .map(|n| from + n as f64 * step)
                .collect()
        } else {
            text.split(',').map(one).collect::<Result<_, _>>()?
        };
        Ok(List(values))
    }
}

/// One position worked out.
struct Position {
    place: PlaceKeys,
    link: Link,
    /// Flux density and the like at the tag's middle, from the antenna alone.
    field: ripplemark::world::link::FieldAt,
    ebn0_db: f64,
    folded_ebn0_db: f64,
    reads: bool,
}

/// Everything that is printed.
struct Report {
    scenario: Scenario,
    station: Station,
    transponder: Transponder,
    seconds: f64,
    odds: f64,
    needed_db: f64,
    positions: Vec<Position>,
    fields: Vec<(f64, ripplemark::world::link::FieldAt)>,
    sums: Sums,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    if arguments.keys {
        return super::print(&key_list());
    }
    let scenario = read_scenario(arguments.scenario.as_deref(), Path::new(""), &arguments.set)?;
    ensure!(
        scenario.direct.is_none(),
        "link needs coils: the scenario gives its ripple outright in [direct]"
    );
    let report = report(arguments, scenario)?;
    let text = if arguments.json {
        json::object(&report)
    } else {
        text::page(&report)
    };
    super::print(&text)
}

/// A scenario with settings KEY=VALUE; without a file the defaults and one tag. Its name counts from `folder`.
pub fn read_scenario(
    path: Option<&Path>,
    folder: &Path,
    settings: &[String],
) -> anyhow::Result<Scenario> {
    let (text, name) = match path {
        Some(path) => {
            let name = path.display().to_string();
            (
                ripplemark::capture::read_description(&folder.join(path))
                    .with_context(|| name.clone())?,
                Some(name),
            )
        }
        None => ("[[tag]]\n".into(), None),
    };
    let settings = settings
        .iter()
        .map(|setting| {
            setting
                .split_once('=')
                .map(|(key, value)| (key.trim().to_string(), value.trim().to_string()))
                .with_context(|| format!("--set {setting}: write KEY=VALUE"))
        })
        .collect::<anyhow::Result<Vec<_>>>()?;
    Scenario::read(&text, &settings).map_err(|error| match name {
        Some(name) => anyhow::Error::new(error).context(name),
        None => error.into(),
    })
}

fn report(arguments: &Arguments, scenario: Scenario) -> anyhow::Result<Report> {
    let tag = scenario
        .tag
        .first()
        .cloned()
        .unwrap_or_else(TagKeys::default);
    let station = scenario.reader.station(false)?;
    let transponder = tag.transponder(scenario.field_hz());
    let listening = scenario.listening()?;
    let half_bits = half_bits(&tag.sends.telegram(scenario.seed.0, 0));
    let seconds = arguments.seconds.unwrap_or(scenario.duration_s.0);
    let needed_db = needed_ebn0_db(arguments.odds);
    let own = tag.place_at(0.0);
    let axis = |given: &Option<List>, own: f64, usual: Vec<f64>| match given {
        Some(list) => list.0.clone(),
        None if arguments.scenario.is_some() => vec![own],
        None => usual,
    };
    let distances = axis(
        &arguments.distance,
        own.distance_mm,
        (1..=10).map(|n| 20.0 * f64::from(n)).collect(),
    );
    let offsets = axis(&arguments.offset, own.offset_mm, vec![0.0]);
    let tilts = axis(&arguments.tilt, own.tilt_deg, vec![0.0, 60.0]);
    let count = distances.len() * offsets.len() * tilts.len();
    ensure!(
        count <= MOST_POSITIONS,
        "{count} positions; allowed are {MOST_POSITIONS}: take fewer distances, offsets or tilts"
    );
    let mut positions = Vec::with_capacity(count);
    for &tilt_deg in &tilts {
        for &offset_mm in &offsets {
            for &distance_mm in &distances {
                let place = PlaceKeys {
                    distance_mm,
                    offset_mm,
                    tilt_deg,
                };
                let at = || {
                    format!("distance {distance_mm} mm, offset {offset_mm} mm, tilt {tilt_deg}°")
                };
                let link = link(
                    &station,
                    &transponder,
                    &place.place(),
                    &listening,
                    &half_bits,
                )
                .with_context(at)?;
                let ebn0_db = ebn0_db(&scenario, &listening, &link);
                let folded = folded_ebn0_db(ebn0_db, seconds, scenario.field_hz());
                let field = ripplemark::world::link::field_at(
                    &station.coil,
                    link.antenna_a,
                    place.place().centre_m(),
                );
                positions.push(Position {
                    place,
                    reads: link.powered && folded >= needed_db,
                    link,
                    field,
                    ebn0_db,
                    folded_ebn0_db: folded,
                });
            }
        }
    }
    let antenna_a = positions
        .first()
        .map_or(0.0, |position| position.link.antenna_a);
    let fields = arguments
        .field_at
        .0
        .iter()
        .map(|&at_m| {
            let point = ripplemark::world::coil::Vector::new(0.0, 0.0, at_m);
            (
                at_m,
                ripplemark::world::link::field_at(&station.coil, antenna_a, point),
            )
        })
        .collect();
    let sums = Sums::new(arguments, &scenario, &station)?;
    Ok(Report {
        scenario,
        station,
        transponder,
        seconds,
        odds: arguments.odds,
        needed_db,
        positions,
        fields,
        sums,
    })
}

/// Eb/N0 with the steps of the digitiser counted as noise.
fn ebn0_db(scenario: &Scenario, listening: &Listening, link: &Link) -> f64 {
    let digitiser = &scenario.digitiser;
    let steps = if digitiser.bits <= Digitiser::MOST_BITS {
        let range = digitiser
            .range_v
            .unwrap_or_else(|| Digitiser::range_for(link.signal_v * (1.0 + link.sent.depth)));
        let digitiser = Digitiser {
            bits: digitiser.bits,
            range,
        };
        digitiser.density_v2_per_hz(scenario.rate_hz())
    } else {
        0.0
    };
    match (
        scenario.noise.ebn0_db,
        listening.noise_v2_per_hz,
        link.ebn0_db,
    ) {
        (Some(ebn0_db), _, _) => ebn0_db,
        (None, Some(noise), Some(ebn0_db)) if noise > 0.0 => {
            ebn0_db - 10.0 * (1.0 + steps / noise).log10()
        }
        _ => link.ebn0_with(steps, scenario.field_hz(), listening),
    }
}
