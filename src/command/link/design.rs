//! `--design`: from what is wanted to an antenna with parts that can be bought, and the bench with it.

mod candidate;
mod figure;
mod json;
mod text;

use anyhow::{Context, bail, ensure};
use clap::ValueEnum;
use fieldripple::world::link::{Bridge, Design};
use fieldripple::world::scenario::{PRESETS, Scenario};
use rayon::prelude::*;

use super::setup::Setup;
use super::wording::farad;
use super::{List, list};
use candidate::{Asked, on_axis, reach_mm};
use fieldripple::number::within;

/// What is wanted of the antenna.
#[derive(clap::Args)]
pub struct DesignArguments {
    /// Work out an antenna of the size in reader.coil: turns, capacitors of E12 or E24, resistor, voltages, currents, range for every usual
    /// tag. All results, the table below too, are those with the chosen parts
    #[arg(long, conflicts_with = "turns_for")]
    pub design: bool,
    /// Inductance wanted, µH
    #[arg(long, value_name = "UH", requires = "design", value_parser = within(1.0..=1e5, "µH"))]
    inductance: Option<f64>,
    /// Distance at which the tag is to be read, mm: the antenna that does it with the least power
    #[arg(long, value_name = "MM", requires = "design", conflicts_with = "inductance", value_parser = within(5.0..=2000.0, "mm"))]
    reach: Option<f64>,
    /// Supply of the driver
    #[arg(long, value_name = "V", requires = "design", default_value_t = 12.0, value_parser = within(0.5..=400.0, "V"))]
    supply: f64,
    /// Driver: half is a square wave between 0 and the supply, full two of them against each other
    #[arg(long, requires = "design", default_value = "half")]
    bridge: BridgeName,
    /// Resistance of all of the driver's switches in series, Ω
    #[arg(long, value_name = "OHM", requires = "design", default_value_t = 1.0, value_parser = within(0.01..=1e4, "Ω"))]
    driver_ohm: f64,
    /// Most peak current from the driver
    #[arg(long, value_name = "A", requires = "design", default_value_t = 0.3, value_parser = within(1e-3..=100.0, "A"))]
    limit_current: f64,
    /// Highest loaded Q of the antenna; the higher, the less of the ripple is left
    #[arg(long, value_name = "Q", requires = "design", default_value_t = 25.0, value_parser = within(2.0..=300.0, ""))]
    highest_q: f64,
    /// Room for a layer along the axis, mm
    #[arg(long, value_name = "MM", requires = "design", default_value_t = 20.0, value_parser = within(0.5..=500.0, "mm"))]
    room: f64,
    /// Copper diameters to choose from, mm
    #[arg(long, value_name = "MM", requires = "design", default_value = "0.2,0.28,0.4,0.56,0.8", value_parser = list(0.05, 5.0, "mm"))]
    wires: List,
}

#[derive(Clone, Copy, ValueEnum)]
enum BridgeName {
    Half,
    Full,
}

impl BridgeName {
    fn bridge(self) -> Bridge {
        match self {
            BridgeName::Half => Bridge::Half,
            BridgeName::Full => Bridge::Full,
        }
    }
}

/// The chosen antenna.
pub struct Chosen {
    /// The bench with its parts.
    pub scenario: Scenario,
    tag: String,
    supply_v: f64,
    wanted_reach_mm: Option<f64>,
    best: Row,
    rows: Vec<Row>,
    refused: Vec<String>,
    /// Name, meaning and range of every usual tag.
    reaches: Vec<(&'static str, &'static str, f64)>,
    /// What the tuned circuits leave of the settled ripple, at half the range.
    ripple_left: Option<f64>,
    half_reach_mm: f64,
}

/// An antenna of one wire.
#[derive(Clone)]
struct Row {
    wire_mm: f64,
    design: Design,
    setup: Setup,
    /// How far on the axis the bench's tag is read, 0 where it is not.
    reach_mm: f64,
}

/// Works out the antenna.
pub fn choose(
    arguments: &DesignArguments,
    scenario: &Scenario,
    seconds: Option<f64>,
    odds: f64,
) -> anyhow::Result<Chosen> {
    ensure!(
        scenario.second_reader.is_none(),
        "--design works out one antenna: leave second_reader out"
    );
    let asked = Asked {
        arguments,
        scenario,
        seconds,
        odds,
    };
    let inductance_uh = match (arguments.inductance, arguments.reach) {
        (Some(uh), _) => uh,
        (None, Some(reach_mm)) => asked.least_power(reach_mm)?,
        (None, None) => bail!("--design needs --inductance UH or --reach MM"),
    };
    let (mut rows, mut refused) = (Vec::new(), Vec::new());
    let wires = arguments.wires.0.par_iter();
    for tried in wires
        .map(|&wire_mm| asked.row(inductance_uh, wire_mm))
        .collect::<Vec<_>>()
    {
        match tried {
            Ok(row) => rows.push(row),
            Err(error) => refused.push(format!("{error:#}")),
        }
    }
    let best = best(&rows, arguments.reach)
        .cloned()
        .with_context(|| match &refused[..] {
            [] => "--wires needs a diameter".to_string(),
            [only] => only.clone(),
            [first, rest @ ..] => {
                format!("{first}; the other {} wires do not do either", rest.len())
            }
        })?;
    let half_reach_mm = (best.reach_mm / 2.0).round();
    let ripple_left = (half_reach_mm > 0.0)
        .then(|| best.setup.at(on_axis(half_reach_mm)).ok())
        .flatten()
        .map(|position| position.link.sent.depth / position.link.settled.depth)
        .filter(|share| share.is_finite());
    let mut reaches: Vec<_> = PRESETS
        .par_iter()
        .map(|preset| {
            let setup = best.setup.with_tag(preset.keys());
            (preset.name, preset.meaning, reach_mm(&setup))
        })
        .collect();
    reaches.sort_by(|a, b| b.2.total_cmp(&a.2));
    let tag = best.setup.tag.preset.clone();
    Ok(Chosen {
        scenario: best.setup.scenario.clone(),
        tag: tag.unwrap_or_else(|| "the bench's tag".into()),
        supply_v: arguments.supply,
        wanted_reach_mm: arguments.reach,
        best,
        rows,
        refused,
        reaches,
        ripple_left,
        half_reach_mm,
    })
}

/// Ranges this near to the longest are as good: a tag moves more in the hand.
const AS_FAR: f64 = 0.95;

/// The wire to take. Of those that reach far enough: where a range is wanted the one with the least power (within a percent), else the one
/// with the fewest layers, which is easiest to wind; then the other of the two.
fn best(rows: &[Row], wanted_mm: Option<f64>) -> Option<&Row> {
    let longest = rows.iter().map(|row| row.reach_mm).fold(0.0, f64::max);
    let enough_mm = wanted_mm.map_or(AS_FAR * longest, |wanted| wanted.min(longest) - 0.1);
    let power = |row: &Row| (100.0 * row.design.power_w.ln()).round() as i64;
    let layers = |row: &Row| i64::from(row.design.station.coil.winding().layers);
    rows.iter()
        .filter(|row| row.reach_mm >= enough_mm)
        .min_by_key(|row| match wanted_mm {
            Some(_) => (power(row), layers(row)),
            None => (layers(row), power(row)),
        })
}

impl Chosen {
    fn capacitors(&self) -> String {
        let parts = &self.best.design.capacitors_f;
        parts
            .iter()
            .map(|part| farad(*part))
            .collect::<Vec<_>>()
            .join(" + ")
    }
}
