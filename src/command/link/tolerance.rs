//! `--tolerance`: how many builds of a bench read, and which part's tolerance matters most.

use std::fmt::Write;

use anyhow::{bail, ensure};
use fieldripple::draw::{Bar, Bars, FIGURE_SIZE};
use fieldripple::margin::wilson95;
use fieldripple::world::link::{Part, chance_to_read};
use fieldripple::world::scenario::PlaceKeys;
use fieldripple::world::{Place, trial_generator, uniform};
use rayon::prelude::*;
use serde_json::{Value, json};

use super::super::figure_file::FigureFile;
use super::setup::{Position, Setup};
use fieldripple::number::number;
use fieldripple::number::whole_within;

/// What differs between builds.
#[derive(clap::Args)]
pub struct ToleranceArguments {
    /// Draw so many builds (default 400) with parts and places anywhere within their tolerances, and with the noise: the share that reads at the tag's place
    /// or each --distance, and which part matters most
    #[arg(long, value_name = "BUILDS", num_args = 0..=1, default_missing_value = "400", conflicts_with = "design", value_parser = whole_within(1..=100_000, ""))]
    pub tolerance: Option<u64>,
    /// Tolerance ± of a part, repeat for more: inductance, capacitor, coil-q, tag-tuning, tag-q in %; temperature in K; offset in mm;
    /// tilt in degrees [defaults: 3, 2, 10, 1.5, 20 %; 20 K; 10 mm; 20°, all assumed]
    #[arg(long, value_name = "PART=AMOUNT", requires = "tolerance", value_parser = spread)]
    spread: Vec<(Part, f64)>,
}

/// Reads the value of `--spread`.
fn spread(text: &str) -> Result<(Part, f64), String> {
    let names = || Part::ALL.map(|row| row.1).join(", ");
    let (name, amount) = text
        .split_once('=')
        .ok_or("write PART=AMOUNT, for example capacitor=1")?;
    let Some(&(part, _, _, unit, _)) = Part::ALL.iter().find(|row| row.1 == name.trim()) else {
        return Err(format!("unknown part '{name}'; known are {}", names()));
    };
    let most = match part {
        Part::Offset => 1000.0,
        Part::Tilt => 180.0,
        Part::Temperature => 100.0,
        _ => 50.0,
    };
    number(amount, unit)
        .filter(|amount| (0.0..=most).contains(amount))
        .map(|amount| (part, amount))
        .ok_or_else(|| format!("allowed is 0 to {most} {unit}"))
}

/// All builds at one place.
struct Share {
    place: PlaceKeys,
    read: u64,
    /// Not read for want of power.
    unpowered: u64,
    interval: (f64, f64),
}

/// What became of a build.
#[derive(Clone, Copy, PartialEq)]
enum Outcome {
    Read,
    Unpowered,
    TooWeak,
}

/// One part alone at the ends of its tolerance.
struct Loss {
    name: &'static str,
    unit: &'static str,
    tolerance: f64,
    /// dB less to spare than the bench as described has, at the worse end.
    loss_db: f64,
}

/// What came out.
pub struct Tolerances {
    builds: u64,
    seed: u64,
    shares: Vec<Share>,
    /// At the first place; nothing where the tag hears nothing at all.
    spare_db: Option<f64>,
    losses: Vec<Loss>,
    at: PlaceKeys,
}

/// What a build has to spare, dB: of the tag's voltage or of the folded Eb/N0, whichever is less. The voltage is that without the tag's clamp,
/// which would hide how much of it there is.
fn spare_db(setup: &Setup, place: PlaceKeys, shifts: &[(Part, f64)]) -> anyhow::Result<f64> {
    let ripple_db = built(setup, place, shifts)?.folded_ebn0_db - setup.needed_db;
    let mut free = setup.transponder;
    free.circuit.clamp = None;
    let free = built(&setup.with(setup.station.clone(), free), place, shifts)?;
    let power_db = 20.0 * (free.link.tag_v / setup.transponder.circuit.minimum_v).log10();
    Ok(power_db.min(ripple_db))
}

/// Draws the builds.
pub fn work_out(
    arguments: &ToleranceArguments,
    setup: &Setup,
    places: &[PlaceKeys],
) -> anyhow::Result<Option<Tolerances>> {
    let Some(builds) = arguments.tolerance else {
        return Ok(None);
    };
    let Some(&at) = places.first() else {
        bail!("--tolerance needs a place");
    };
    let in_all = builds.saturating_mul(places.len() as u64);
    ensure!(
        in_all <= MOST_IN_ALL,
        "--tolerance: {builds} builds at {} places are {in_all}; allowed are {MOST_IN_ALL}: take fewer of either",
        places.len()
    );
    let given = |part: Part, usual: f64| {
        let last = arguments.spread.iter().rev().find(|row| row.0 == part);
        last.map_or(usual, |row| row.1)
    };
    let parts: Vec<(Part, f64)> = Part::ALL
        .iter()
        .map(|&(part, _, _, _, usual)| (part, given(part, usual)))
        .collect();
    let seed = setup.scenario.seed.0;
    let mut shares = Vec::new();
    for &place in places {
        // The same builds and the same luck at every place: the place is not part of the draw.
        let outcomes: Vec<Outcome> = (0..builds)
            .into_par_iter()
            .map(|build| {
                let mut random = trial_generator(seed, Place([0x70_6172_7473, 0]), build);
                let shifts: Vec<(Part, f64)> = parts
                    .iter()
                    .map(|&(part, most)| (part, most * (2.0 * uniform(&mut random) - 1.0)))
                    .collect();
                outcome(setup, place, &shifts, uniform(&mut random))
            })
            .collect();
        let count = |of: Outcome| outcomes.iter().filter(|one| **one == of).count() as u64;
        let read = count(Outcome::Read);
        shares.push(Share {
            place,
            read,
            unpowered: count(Outcome::Unpowered),
            interval: wilson95(read, builds),
        });
    }
    let nominal_db = Some(spare_db(setup, at, &[])?).filter(|db| *db > -MOST_DB);
    let mut losses = Vec::new();
    for (&(part, _, name, unit, _), &(_, tolerance)) in Part::ALL.iter().zip(&parts) {
        let Some(nominal_db) = nominal_db else { break };
        let mut worst_db = nominal_db;
        for by in [-tolerance, tolerance] {
            // Where the coils would touch there is no such build.
            if let Ok(spare_db) = spare_db(setup, at, &[(part, by)]) {
                worst_db = worst_db.min(spare_db);
            }
        }
        losses.push(Loss {
            name,
            unit,
            tolerance,
            loss_db: (nominal_db - worst_db).min(MOST_DB),
        });
    }
    losses.sort_by(|a, b| b.loss_db.total_cmp(&a.loss_db));
    Ok(Some(Tolerances {
        builds,
        seed,
        shares,
        spare_db: nominal_db,
        losses,
        at,
    }))
}

/// A loss beyond this is a tag that hears nothing at all.
const MOST_DB: f64 = 120.0;
/// Builds at all places together: some twenty minutes, hours where the tag's limiter conducts.
const MOST_IN_ALL: u64 = 1_000_000;

fn built(setup: &Setup, place: PlaceKeys, shifts: &[(Part, f64)]) -> anyhow::Result<Position> {
    let (mut station, mut transponder, mut place) =
        (setup.station.clone(), setup.transponder, place);
    for (part, by) in shifts {
        part.shift(*by, &mut station, &mut transponder, &mut place);
    }
    setup.with(station, transponder).at(place)
}

/// A build with power reads with the chance that its Eb/N0 gives; `luck` is even from 0 to 1. Coils that would touch cannot be built there.
fn outcome(setup: &Setup, place: PlaceKeys, shifts: &[(Part, f64)], luck: f64) -> Outcome {
    match built(setup, place, shifts) {
        Ok(position) if position.link.powered => {
            if luck < chance_to_read(position.folded_ebn0_db - setup.needed_db) {
                Outcome::Read
            } else {
                Outcome::TooWeak
            }
        }
        _ => Outcome::Unpowered,
    }
}

/// What the losses are.
const PARTS_WORDS: &str = "one part alone at the worse end of its tolerance takes";

impl Tolerances {
    /// What the bench as described has to spare, where the losses are worked out.
    fn spare_words(&self) -> String {
        let PlaceKeys {
            distance_mm,
            offset_mm,
            tilt_deg,
            ..
        } = self.at;
        let bench = format!(
            "At {distance_mm} mm, offset {offset_mm} mm, tilt {tilt_deg}°, the bench as described"
        );
        match self.spare_db {
            Some(db) if db >= 0.0 => format!("{bench} has {db:.1} dB to spare"),
            Some(db) => format!("{bench} lacks {:.1} dB and is not read", -db),
            None => {
                format!("{bench} gives the tag no voltage at all, so that no part can be named")
            }
        }
    }

    /// As text.
    pub fn page(&self) -> String {
        let mut page = String::new();
        // Writing to a string does not fail.
        let _ = self.write(&mut page);
        page
    }

    fn write(&self, page: &mut String) -> std::fmt::Result {
        writeln!(
            page,
            "\n{} builds, parts and places even within their tolerances (assumed unless given by --spread), seed {}:",
            self.builds, self.seed
        )?;
        for share in &self.shares {
            writeln!(
                page,
                "  {:>5} mm, offset {} mm, tilt {}°: {:.1} % read ({} of {}; 95 % interval {:.1} to {:.1} %), {} without power, {} lost in the noise",
                share.place.distance_mm,
                share.place.offset_mm,
                share.place.tilt_deg,
                100.0 * share.read as f64 / self.builds as f64,
                share.read,
                self.builds,
                100.0 * share.interval.0,
                100.0 * share.interval.1,
                share.unpowered,
                self.builds - share.read - share.unpowered
            )?;
        }
        writeln!(
            page,
            "A build with power is read with the chance that noise leaves it: half of them at the Eb/N0 needed, 98 % 2 dB above."
        )?;
        writeln!(page, "{}; {PARTS_WORDS}", self.spare_words())?;
        for loss in &self.losses {
            writeln!(
                page,
                "  {:>6.2} dB  {} ±{} {}",
                loss.loss_db, loss.name, loss.tolerance, loss.unit
            )?;
        }
        Ok(())
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        json!({
            "builds": self.builds,
            "seed": self.seed,
            "places": self.shares.iter().map(|share| json!({
                "place": share.place,
                "read": share.read,
                "share": share.read as f64 / self.builds as f64,
                "low95": share.interval.0,
                "high95": share.interval.1,
                "unpowered": share.unpowered,
                "too_weak": self.builds - share.read - share.unpowered,
            })).collect::<Vec<_>>(),
            "spare_db": self.spare_db,
            "parts": self.losses.iter().map(|loss| json!({
                "part": loss.name,
                "tolerance": loss.tolerance,
                "unit": loss.unit,
                "loss_db": loss.loss_db,
            })).collect::<Vec<_>>(),
        })
    }

    /// Draws the losses, the largest on top.
    pub fn draw(&self, file: &FigureFile, name: &str) -> anyhow::Result<()> {
        let bars: Vec<Bar> = self
            .losses
            .iter()
            .map(|loss| Bar {
                name: format!("{} ±{} {}", loss.name, loss.tolerance, loss.unit),
                value: loss.loss_db,
                interval: None,
                remark: format!("{:.2} dB", loss.loss_db),
            })
            .collect();
        let remarks: Vec<String> = self
            .shares
            .iter()
            .take(3)
            .map(|share| {
                format!(
                    "{} mm: {:.1} % of {} builds read (95 %: {:.1} to {:.1} %)",
                    share.place.distance_mm,
                    100.0 * share.read as f64 / self.builds as f64,
                    self.builds,
                    100.0 * share.interval.0,
                    100.0 * share.interval.1
                )
            })
            .chain([format!("{}; {PARTS_WORDS}", self.spare_words())])
            .collect();
        let figure = Bars {
            title: "Which part matters most",
            name,
            remarks: &remarks,
            label: "lost, dB",
            bars: &bars,
        };
        file.write(|| figure.png(FIGURE_SIZE), || figure.svg(FIGURE_SIZE))
    }
}
