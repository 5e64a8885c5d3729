//! `--design`: from what is wanted to an antenna with parts that can be bought, and the bench with it.

use std::fmt::Write;

use anyhow::{Context, bail, ensure};
use clap::ValueEnum;
use fieldripple::draw::{Bar, Bars, FIGURE_SIZE};
use fieldripple::world::link::{Bridge, Design, Wanted, design, range_m};
use fieldripple::world::scenario::{PRESETS, PlaceKeys, Scenario};
use serde_json::{Value, json};

use super::super::figure_file::FigureFile;
use super::super::values::within;
use super::setup::Setup;
use super::{List, list};

/// What is wanted of the antenna.
#[derive(clap::Args)]
pub struct DesignArguments {
    /// Work out an antenna of the size in reader.coil: turns, capacitors of E12 or E24, resistor, voltages, currents, range for every usual
    /// tag. All results, the table below too, are those with the chosen parts
    #[arg(long)]
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
    /// Resistance of the driver's switches, Ω
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

/// An antenna of one wire and the bench with it.
struct Candidate {
    design: Design,
    scenario: Scenario,
    setup: Setup,
}

/// The chosen antenna.
pub struct Chosen {
    /// The bench with its parts.
    pub scenario: Scenario,
    tag: String,
    supply_v: f64,
    best: Row,
    rows: Vec<Row>,
    refused: Vec<String>,
    reaches: Vec<(&'static str, &'static str, f64)>,
    ripple_left: Option<f64>,
    half_reach_mm: f64,
    wanted_reach_mm: Option<f64>,
}

#[derive(Clone)]
struct Row {
    wire_mm: f64,
    design: Design,
    reach_mm: f64,
}

/// Distances over which a range is looked for.
const NEAREST_M: f64 = 2e-3;
const FARTHEST_M: f64 = 3.0;
/// Inductances tried for a wanted range, µH: half an octave apart.
const TRIED_UH: std::ops::RangeInclusive<i32> = 0..=11;

/// Works out the antenna.
pub fn choose(
    arguments: &DesignArguments,
    scenario: &Scenario,
    seconds: Option<f64>,
    odds: f64,
) -> anyhow::Result<Chosen> {
    let make = |inductance_uh: f64, wire_mm: f64| -> anyhow::Result<Candidate> {
        candidate(arguments, scenario, seconds, odds, inductance_uh, wire_mm)
    };
    let inductance_uh = match (arguments.inductance, arguments.reach) {
        (Some(uh), _) => uh,
        (None, Some(reach_mm)) => least_power(arguments, reach_mm, &make)?,
        (None, None) => bail!("--design needs --inductance UH or --reach MM"),
    };
    let (mut rows, mut refused) = (Vec::new(), Vec::new());
    for &wire_mm in &arguments.wires.0 {
        match make(inductance_uh, wire_mm) {
            Ok(candidate) => rows.push(Row {
                reach_mm: reach_mm(&candidate.setup),
                wire_mm,
                design: candidate.design,
            }),
            Err(error) => refused.push(format!("{wire_mm} mm wire: {error:#}")),
        }
    }
    let best = rows
        .iter()
        .max_by(|a, b| {
            let power = b.design.power_w.total_cmp(&a.design.power_w);
            // Of equal ranges the one with less power.
            (a.reach_mm.round().total_cmp(&b.reach_mm.round())).then(power)
        })
        .cloned()
        .with_context(|| refused.join("; "))?;
    let chosen = make(inductance_uh, best.wire_mm)?;
    let half_reach_mm = (best.reach_mm / 2.0).round();
    let ripple_left = chosen
        .setup
        .at(on_axis(half_reach_mm))
        .ok()
        .map(|position| position.link.sent.depth / position.link.settled.depth)
        .filter(|share| share.is_finite());
    let mut reaches = Vec::new();
    for preset in PRESETS {
        let setup = Setup::new(with_tag(&chosen.scenario, preset.name)?, seconds, odds)?;
        reaches.push((preset.name, preset.meaning, reach_mm(&setup)));
    }
    reaches.sort_by(|a, b| b.2.total_cmp(&a.2));
    let tag = chosen.setup.tag.preset.clone();
    Ok(Chosen {
        scenario: chosen.scenario,
        tag: tag.unwrap_or_else(|| "the scenario's tag".into()),
        supply_v: arguments.supply,
        best,
        rows,
        refused,
        reaches,
        ripple_left,
        half_reach_mm,
        wanted_reach_mm: arguments.reach,
    })
}

/// The inductance whose best wire reads at this distance with the least power.
fn least_power(
    arguments: &DesignArguments,
    reach_mm: f64,
    make: &dyn Fn(f64, f64) -> anyhow::Result<Candidate>,
) -> anyhow::Result<f64> {
    let mut best: Option<(f64, f64)> = None;
    for step in TRIED_UH {
        let inductance_uh = (100.0 * 2f64.powf(f64::from(step) / 2.0)).round();
        for &wire_mm in &arguments.wires.0 {
            let Ok(candidate) = make(inductance_uh, wire_mm) else {
                continue;
            };
            let reads = candidate
                .setup
                .at(on_axis(reach_mm))
                .is_ok_and(|position| position.reads);
            let power_w = candidate.design.power_w;
            if reads && best.is_none_or(|best| power_w < best.1) {
                best = Some((inductance_uh, power_w));
            }
        }
    }
    best.map(|best| best.0).with_context(|| {
        format!(
            "no antenna of this size, supply and current from 100 to 4500 µH reads the tag at {reach_mm} mm: take a larger one, more \
             current (--limit-current) or more supply"
        )
    })
}

fn candidate(
    arguments: &DesignArguments,
    scenario: &Scenario,
    seconds: Option<f64>,
    odds: f64,
    inductance_uh: f64,
    wire_mm: f64,
) -> anyhow::Result<Candidate> {
    let wanted = Wanted {
        inductance_h: inductance_uh * 1e-6,
        outline: scenario.reader.coil.outline(),
        room_m: arguments.room * 1e-3,
        field_hz: scenario.field_hz(),
        supply_v: arguments.supply,
        bridge: match arguments.bridge {
            BridgeName::Half => Bridge::Half,
            BridgeName::Full => Bridge::Full,
        },
        driver_ohm: arguments.driver_ohm,
        limit_a: arguments.limit_current,
        highest_q: arguments.highest_q,
    };
    let design = design(&wanted, wire_mm * 1e-3)?;
    let circuit = &design.station.circuit;
    let winding = design.station.coil.winding();
    let mut scenario = scenario.clone();
    let reader = &mut scenario.reader;
    reader.drive_v = rounded(circuit.drive_v);
    reader.source_ohm = rounded(circuit.source_ohm);
    reader.topology = circuit.topology;
    reader.capacitance_pf = Some(rounded(circuit.capacitance_f * 1e12));
    (reader.inductance_uh, reader.coil_ohm, reader.coil_q) = (None, None, None);
    reader.coil.turns = winding.turns;
    reader.coil.layers = winding.layers;
    reader.coil.wire_mm = wire_mm;
    (reader.coil.pitch_mm, reader.coil.layer_pitch_mm) = (None, None);
    ensure!(
        scenario.second_reader.is_none(),
        "--design works out one antenna: leave [second_reader] out"
    );
    let setup = Setup::new(scenario.clone(), seconds, odds)?;
    Ok(Candidate {
        design,
        scenario,
        setup,
    })
}

/// As many digits as are printed, so that what is printed gives the same bench again.
fn rounded(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

fn on_axis(distance_mm: f64) -> PlaceKeys {
    PlaceKeys {
        distance_mm,
        ..PlaceKeys::default()
    }
}

/// How far on the axis the tag is read, 0 where it is not.
fn reach_mm(setup: &Setup) -> f64 {
    let reads = |at_m: f64| setup.at(on_axis(at_m * 1e3)).is_ok_and(|there| there.reads);
    range_m(NEAREST_M, FARTHEST_M, reads).map_or(0.0, |at_m| at_m * 1e3)
}

/// The bench with a usual tag instead of its own.
fn with_tag(scenario: &Scenario, preset: &str) -> anyhow::Result<Scenario> {
    let settings = [("tag.1.preset".to_string(), preset.to_string())];
    let tag = Scenario::read("[[tag]]\n", &settings)?.tag;
    let mut with = scenario.clone();
    with.tag = tag;
    Ok(with)
}

/// "2.2 nF" and the like.
fn farad(value: f64) -> String {
    let (scaled, unit) = if value >= 0.9995e-6 {
        (value * 1e6, "µF")
    } else if value >= 0.9995e-9 {
        (value * 1e9, "nF")
    } else {
        (value * 1e12, "pF")
    };
    let digits = format!("{scaled:.3}");
    let short = digits.trim_end_matches('0').trim_end_matches('.');
    format!("{short} {unit}")
}

impl Chosen {
    /// Whether the range asked for is reached.
    pub fn reached(&self) -> bool {
        self.wanted_reach_mm
            .is_none_or(|wanted| self.best.reach_mm >= wanted)
    }

    fn capacitors(&self) -> String {
        let parts = &self.best.design.capacitors_f;
        parts
            .iter()
            .map(|part| farad(*part))
            .collect::<Vec<_>>()
            .join(" + ")
    }

    /// As text, above the table of the bench.
    pub fn page(&self) -> String {
        let mut page = String::new();
        // Writing to a string does not fail.
        let _ = self.write(&mut page);
        page
    }

    fn write(&self, page: &mut String) -> std::fmt::Result {
        let Row {
            design, wire_mm, ..
        } = &self.best;
        let circuit = &design.station.circuit;
        let winding = design.station.coil.winding();
        writeln!(
            page,
            "Wires: all with the parts one can buy; range for {}",
            self.tag
        )?;
        writeln!(
            page,
            "{:>7} {:>6} {:>7} {:>8} {:>7} {:>6} {:>8} {:>9} {:>8} {:>8}",
            "mm", "turns", "layers", "µH", "Ω", "Q", "A peak", "V peak", "W", "mm range"
        )?;
        for row in &self.rows {
            let (circuit, winding) = (
                &row.design.station.circuit,
                row.design.station.coil.winding(),
            );
            writeln!(
                page,
                "{:>7} {:>6} {:>7} {:>8.1} {:>7.2} {:>6.1} {:>8.3} {:>9.0} {:>8.3} {:>8.0}{}",
                row.wire_mm,
                winding.turns,
                winding.layers,
                circuit.inductance_h * 1e6,
                circuit.coil_ohm,
                circuit.q(),
                row.design.current_a,
                row.design.antenna_v,
                row.design.power_w,
                row.reach_mm,
                if row.wire_mm == self.best.wire_mm {
                    "  <- chosen"
                } else {
                    ""
                }
            )?;
        }
        for refused in &self.refused {
            writeln!(page, "  {refused}")?;
        }
        writeln!(
            page,
            "\nAntenna:    {} turns of {wire_mm} mm copper in {} layers, {:.1} m of wire: {:.1} µH, {:.2} Ω, coil Q {:.0}",
            winding.turns,
            winding.layers,
            design.station.coil.wire_length_m(),
            circuit.inductance_h * 1e6,
            circuit.coil_ohm,
            design.station.coil.q(circuit.frequency_hz)
        )?;
        writeln!(
            page,
            "Capacitors: {} in parallel = {}, low-loss kind; {:.0} V peak across them at {:.3} A peak: rate them for twice that. \
             HIGH VOLTAGE, keep fingers off.",
            self.capacitors(),
            farad(circuit.capacitance_f),
            design.capacitor_v,
            design.current_a
        )?;
        writeln!(
            page,
            "Resonance:  {:.2} kHz, loaded Q {:.1}, {:.1} kHz wide",
            circuit.resonance_hz() / 1e3,
            circuit.q(),
            circuit.frequency_hz / circuit.q() / 1e3
        )?;
        if design.series_ohm > 0.0 {
            writeln!(
                page,
                "Resistor:   {} Ω in series, takes {:.2} W",
                design.series_ohm, design.series_w
            )?;
        } else {
            writeln!(page, "Resistor:   none needed")?;
        }
        writeln!(
            page,
            "Driver:     {:.2} V peak fundamental from {} V, {:.3} A peak, {:.2} W, {:.2} W of it in the coil",
            circuit.drive_v, self.supply_v, design.current_a, design.power_w, design.coil_w
        )?;
        if let Some(share) = self.ripple_left {
            writeln!(
                page,
                "Ripple:     {:.0} % of its settled depth are left by both tuned circuits, at {} mm with {}",
                100.0 * share,
                self.half_reach_mm,
                self.tag
            )?;
        }
        writeln!(page, "Range on the axis:")?;
        for (name, meaning, reach_mm) in &self.reaches {
            let reach = if *reach_mm > 0.0 {
                format!("{reach_mm:.0} mm")
            } else {
                "not read".into()
            };
            writeln!(page, "  {name:<12} {reach:>9}  {meaning}")?;
        }
        let reader = &self.scenario.reader;
        writeln!(
            page,
            "For a scenario file:\n  [reader]\n  drive_v = {}\n  source_ohm = {}\n  capacitance_pf = {}\n  [reader.coil]\n  turns = {}\n  layers = {}\n  wire_mm = {}\n",
            reader.drive_v,
            reader.source_ohm,
            reader.capacitance_pf.unwrap_or_default(),
            reader.coil.turns,
            reader.coil.layers,
            reader.coil.wire_mm
        )
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        let row = |row: &Row| {
            let (circuit, winding) = (
                &row.design.station.circuit,
                row.design.station.coil.winding(),
            );
            json!({
                "wire_mm": row.wire_mm,
                "turns": winding.turns,
                "layers": winding.layers,
                "wire_m": row.design.station.coil.wire_length_m(),
                "inductance_h": circuit.inductance_h,
                "coil_ohm": circuit.coil_ohm,
                "coil_q": row.design.station.coil.q(circuit.frequency_hz),
                "capacitors_f": row.design.capacitors_f,
                "capacitance_f": circuit.capacitance_f,
                "resonance_hz": circuit.resonance_hz(),
                "q": circuit.q(),
                "drive_v": circuit.drive_v,
                "series_ohm": row.design.series_ohm,
                "current_a": row.design.current_a,
                "antenna_v": row.design.antenna_v,
                "capacitor_v": row.design.capacitor_v,
                "power_w": row.design.power_w,
                "coil_w": row.design.coil_w,
                "series_w": row.design.series_w,
                "range_mm": row.reach_mm,
            })
        };
        json!({
            "chosen": row(&self.best),
            "wires": self.rows.iter().map(row).collect::<Vec<_>>(),
            "refused": self.refused,
            "tag": self.tag,
            "ripple_left": self.ripple_left,
            "ripple_left_at_mm": self.half_reach_mm,
            "reached": self.reached(),
            "ranges": self.reaches.iter().map(|(name, _, reach_mm)| json!({"tag": name, "range_mm": reach_mm})).collect::<Vec<_>>(),
        })
    }

    /// Draws the range of every usual tag.
    pub fn draw(&self, file: &FigureFile) -> anyhow::Result<()> {
        let bars: Vec<Bar> = self
            .reaches
            .iter()
            .map(|(name, _, reach_mm)| Bar {
                name: (*name).into(),
                value: *reach_mm,
                interval: None,
                remark: format!("{reach_mm:.0} mm"),
            })
            .collect();
        let design = &self.best.design;
        let circuit = &design.station.circuit;
        let winding = design.station.coil.winding();
        let remarks = [
            format!(
                "{} turns of {} mm in {} layers, {:.0} µH, {} ({}), {} Ω in series, Q {:.1}",
                winding.turns,
                self.best.wire_mm,
                winding.layers,
                circuit.inductance_h * 1e6,
                farad(circuit.capacitance_f),
                self.capacitors(),
                design.series_ohm,
                circuit.q()
            ),
            format!(
                "{:.0} V peak across antenna and capacitors (high voltage, keep fingers off), {:.3} A peak, {:.2} W from {} V",
                design.capacitor_v, design.current_a, design.power_w, self.supply_v
            ),
        ];
        let figure = Bars {
            title: "Range for each usual tag",
            name: &self.scenario.name,
            remarks: &remarks,
            label: "distance on the axis, mm",
            bars: &bars,
        };
        file.write(|| figure.png(FIGURE_SIZE), || figure.svg(FIGURE_SIZE))
    }
}
