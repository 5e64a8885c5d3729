//! `fieldripple link`: coupling, tag voltage, ripple and range of a bench in numbers.

mod across;
mod antennas;
mod design;
mod exposure;
mod figure;
mod fit;
mod json;
mod metal;
mod setup;
mod sums;
mod text;
mod tolerance;
mod wording;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, ensure};
use fieldripple::world::link::turns_for_inductance;
use fieldripple::world::scenario::{PlaceKeys, Scenario, key_list, preset_list};
use setup::{Position, Setup};
use sums::Sums;

use super::figure_file::{FigureFile, figure_file};
use fieldripple::number::within;

const LONG_ABOUT: &str = "\
Works out the link from a reader's antenna to a tag and back: mutual inductance, coupling, tag
voltage, ripple at the probe, Eb/N0, and whether a receiver would read it

Without anything a bench of usual size is worked out. --scenario takes reader, first tag, probe,
noise and digitiser from a file, --set changes any key of it (--keys lists them all with unit,
default and range).";

const AFTER_HELP: &str = "\
The ripple is that of the half bits as the tuned circuits let them through. A number counts as
readable if the tag is powered and Eb/N0 with all telegrams of --seconds folded reaches what half
of all telegrams need for --odds; of a pulsed field whole telegrams between two pauses count. Field
and limits are those with no tag near. A second reader of the same frequency drives too (the other
side of a gate, at second_reader.drive_phase_deg); one of another frequency takes part as a tuned
circuit. [[reader.loop]] makes one antenna of several windings (a figure of eight). Noise is white noise and the steps of the digitiser; interferers
are not in the prediction.

Examples:
  fieldripple link
  fieldripple link --distance 20:200:10 --tilt 0,45,90
  fieldripple link --tag glass-12 --distance 20:200:20
  fieldripple link --distance 10:250:10 --figure range.png
  fieldripple link --set reader.coil.turns=60 --set reader.drive_v=12 --json
  fieldripple link --capacitor-for 550 --turns-for 550 --wrong-coil 820
  fieldripple link --design --inductance 550 --supply 12 --tag glass-12 --figure antenna.png
  fieldripple link --design --reach 150 --bridge full --set reader.coil.radius_mm=100
  fieldripple link --tolerance --distance 60,80 --tilt 0 --spread capacitor=5 --figure parts.png
  fieldripple link --fit capture.wav --scenario bench.toml

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
    /// Take a usual tag instead of the scenario's first; --tags lists them
    #[arg(long, value_name = "NAME")]
    tag: Option<String>,
    /// List the usual tags with where each of their numbers is from, and stop
    #[arg(long)]
    tags: bool,
    /// Distances along the axis, mm: 50 or 20,50,80 or FROM:TO:STEP [default: 20:200:20, or the tag's place in --scenario]
    #[arg(long, value_name = "MM", value_parser = list(0.0, 1e4, "mm"))]
    distance: Option<List>,
    /// Offsets from the axis, mm, to the side a positive tilt leans away from (-x) [default: 0, or the tag's place in --scenario]
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = list(-1e4, 1e4, "mm"))]
    offset: Option<List>,
    /// Angles between the axes of antenna and tag, degrees; with an offset a positive one leans back over the antenna, against the
    /// spread of the field, and couples less than a negative one [default: 0,60, or the tag's place in --scenario]
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = list(-360.0, 360.0, "degrees"))]
    tilt: Option<List>,
    /// Offset across --offset (y, along the height of a rectangle), mm [default: 0, or the tag's place in --scenario]
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = within(-1e4..=1e4, "mm"))]
    offset_y: Option<f64>,
    /// Which way a tilted tag leans, turned about the antenna's axis, degrees: 0 back over the antenna (x), 90 along y [default: 0, or
    /// the tag's place in --scenario]
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = within(-360.0..=360.0, "degrees"))]
    bearing: Option<f64>,
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
    /// Turns of the antenna's size and wire that make this inductance, µH; everything printed is with these
    #[arg(long, value_name = "UH", value_parser = within(0.1..=1e5, "µH"))]
    turns_for: Option<f64>,
    /// What an antenna of this inductance does on the same electronics, µH
    #[arg(long, value_name = "UH", value_parser = within(0.1..=1e5, "µH"))]
    wrong_coil: Option<f64>,
    /// Draw a range map over distance (nearest to farthest of --distance) and tilt (all) at the first --offset, or over distance and
    /// offset if --offset has several and --tilt has one: what is read, where the tag has power, Eb/N0. With --design the range of every usual tag instead, with --tolerance which part matters most. PNG or SVG by
    /// the name's ending
    #[arg(long, value_name = "FILE", value_parser = figure_file)]
    figure: Option<FigureFile>,
    #[command(flatten)]
    design: design::DesignArguments,
    #[command(flatten)]
    tolerance: tolerance::ToleranceArguments,
    #[command(flatten)]
    fit: fit::FitArguments,
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

/// Everything that is printed.
struct Report {
    setup: Setup,
    positions: Vec<Position>,
    exposure: exposure::Exposure,
    driven: antennas::Driven,
    sums: Sums,
    chosen: Option<design::Chosen>,
    tolerances: Option<tolerance::Tolerances>,
    metal: Option<metal::Metal>,
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    if arguments.keys {
        return super::print(&key_list());
    }
    if arguments.tags {
        return super::print(&preset_list());
    }
    let mut settings = arguments.set.clone();
    if let Some(tag) = &arguments.tag {
        settings.insert(0, format!("tag.1.preset={tag}"));
    }
    let scenario = read_scenario(arguments.scenario.as_deref(), &settings)?;
    ensure!(
        scenario.direct.is_none(),
        "link needs coils: the scenario gives its ripple outright in [direct]"
    );
    if let Some(capture) = &arguments.fit.fit {
        ensure!(
            scenario.reader.cable.is_none() && scenario.reader.self_capacitance_pf == 0.0,
            "--fit takes all of the tuning for one capacitor: leave [reader.cable] and self_capacitance_pf out"
        );
        let (odds, json) = (arguments.odds, arguments.json);
        return fit::run(&arguments.fit, capture, scenario, odds, json);
    }
    let (scenario, chosen) = if arguments.design.design {
        ensure!(
            scenario.reader.loops.is_empty(),
            "--design winds one winding: leave [[reader.loop]] out"
        );
        let chosen = design::choose(
            &arguments.design,
            &scenario,
            arguments.seconds,
            arguments.odds,
        )?;
        (chosen.scenario.clone(), Some(chosen))
    } else {
        (wound(scenario, arguments.turns_for)?, None)
    };
    let report = report(arguments, scenario, chosen)?;
    let text = if arguments.json {
        json::object(&report)
    } else {
        text::page(&report)
    };
    super::print(&text)
}

/// A scenario with settings KEY=VALUE; without a file the defaults and one tag.
pub fn read_scenario(path: Option<&Path>, settings: &[String]) -> anyhow::Result<Scenario> {
    let (text, name) = match path {
        Some(path) => {
            let name = path.display().to_string();
            (
                fieldripple::capture::read_description(path).with_context(|| name.clone())?,
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
                .map(|(key, value)| {
                    let value = fieldripple::number::setting(key.trim(), value.trim());
                    (key.trim().to_string(), value)
                })
                .with_context(|| format!("--set {setting}: write KEY=VALUE"))
        })
        .collect::<anyhow::Result<Vec<_>>>()?;
    Scenario::read(&text, &settings).map_err(|error| match name {
        Some(name) => anyhow::Error::new(error).context(name),
        None => error.into(),
    })
}

/// The bench with the turns that make this inductance, tuned anew unless a capacitor is given.
fn wound(mut scenario: Scenario, turns_for_uh: Option<f64>) -> anyhow::Result<Scenario> {
    if let Some(uh) = turns_for_uh {
        ensure!(
            scenario.reader.loops.is_empty(),
            "--turns-for winds one winding: leave [[reader.loop]] out"
        );
        let coil = scenario.reader.station(false)?.coil;
        let (turns, _) = turns_for_inductance(
            coil.outline(),
            coil.winding(),
            coil.wire(),
            uh * 1e-6,
            scenario.field_hz(),
        )?;
        let reader = &mut scenario.reader;
        reader.coil.turns = turns;
        (reader.inductance_uh, reader.coil_ohm, reader.coil_q) = (None, None, None);
    }
    Ok(scenario)
}

fn report(
    arguments: &Arguments,
    scenario: Scenario,
    chosen: Option<design::Chosen>,
) -> anyhow::Result<Report> {
    let setup = Setup::new(scenario, arguments.seconds, arguments.odds)?;
    let own = setup.tag.place_at(0.0);
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
    let offset_y_mm = arguments.offset_y.unwrap_or(own.offset_y_mm);
    let bearing_deg = arguments.bearing.unwrap_or(own.bearing_deg);
    let count = distances.len() * offsets.len() * tilts.len();
    ensure!(
        count <= MOST_POSITIONS,
        "{count} positions; allowed are {MOST_POSITIONS}: take fewer distances, offsets or tilts"
    );
    let mut positions = Vec::with_capacity(count);
    for &tilt_deg in &tilts {
        for &offset_mm in &offsets {
            for &distance_mm in &distances {
                positions.push(setup.at(PlaceKeys {
                    distance_mm,
                    offset_mm,
                    tilt_deg,
                    offset_y_mm,
                    bearing_deg,
                })?);
            }
        }
    }
    let asked = [&arguments.distance, &arguments.offset, &arguments.tilt];
    let places: Vec<PlaceKeys> = if asked.iter().any(|list| list.is_some()) {
        positions.iter().map(|position| position.place).collect()
    } else {
        vec![PlaceKeys {
            offset_y_mm,
            bearing_deg,
            ..own
        }]
    };
    let tolerances = tolerance::work_out(&arguments.tolerance, &setup, &places)?;
    if let Some(figure) = &arguments.figure {
        match (&chosen, &tolerances) {
            (Some(chosen), _) => chosen.draw(figure)?,
            (_, Some(tolerances)) => tolerances.draw(figure, &setup.scenario.name)?,
            _ => figure::draw(
                figure,
                &setup,
                &figure::Asked {
                    distances_mm: &distances,
                    offsets_mm: &offsets,
                    tilts_deg: &tilts,
                    offset_y_mm,
                    bearing_deg,
                },
            )?,
        }
    }
    let exposure = exposure::Exposure::new(&setup, &arguments.field_at.0)?;
    let driven = antennas::Driven::new(&setup)?;
    let metal = metal::Metal::new(&setup, &positions)?;
    let sums = Sums::new(arguments, &setup.scenario, &setup.station)?;
    Ok(Report {
        exposure,
        driven,
        setup,
        positions,
        sums,
        chosen,
        tolerances,
        metal,
    })
}
