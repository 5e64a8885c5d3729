//! What is varied: flags of a capture, or keys of a scenario.

use anyhow::{Context, bail, ensure};
use clap::Parser;
use fieldripple::margin::{Axis, AxisError, Draw, Scene};
use fieldripple::world::Bench;
use fieldripple::world::scenario::{KEYS, Scenario};

use crate::command::signal::{SignalArguments, SignalPlan, scenario};
use fieldripple::number::{plain, unit_of_key};

/// Most samples of a capture: what `decode` looks at in one go.
const MOST_SAMPLES: u64 = 8 << 20;

/// Flags that are one number, with what the number is.
const FLAGS: [(&str, &str); 14] = [
    ("ebn0", "Eb/N0 of a bit of one telegram, dB"),
    ("depth", "Ripple depth, share of the field"),
    ("angle", "Ripple angle, degrees"),
    ("seconds", "Length of the capture, s"),
    ("rate", "Samples a second"),
    ("field-hz", "Frequency of the field, Hz"),
    (
        "level-db",
        "Ripple of the further tags relative to the first, dB",
    ),
    ("amplitude", "Peak amplitude of the field, V"),
    ("offset", "Constant added to every sample, V"),
    ("bits", "Resolution of the digitiser, bits"),
    ("range", "Full scale of the digitiser, ±V"),
    ("clock-ppm", "Error of the sampling clock, ppm"),
    ("centre", "Centre frequency of I/Q samples, Hz"),
    ("start", "Field cycles before a telegram starts"),
];

/// Units of the flags that have one; the others are plain numbers.
const FLAG_UNITS: [(&str, &str); 7] = [
    ("seconds", "s"),
    ("rate", "Hz"),
    ("field-hz", "Hz"),
    ("amplitude", "V"),
    ("offset", "V"),
    ("range", "V"),
    ("centre", "Hz"),
];

/// Reads an axis whose numbers may carry units.
pub fn axis(text: &str) -> Result<Axis, String> {
    let Some((name, values)) = text.split_once('=') else {
        return text.parse().map_err(|error: AxisError| error.to_string());
    };
    let flag = FLAG_UNITS.iter().find(|flag| flag.0 == name.trim());
    let unit = flag.map(|flag| flag.1).or_else(|| unit_of_key(name.trim()));
    let values: Vec<String> = values
        .split_inclusive([':', ','])
        .map(|part| {
            let value = part.trim_end_matches([':', ',']);
            let end = &part[value.len()..];
            // What is no number is left for the axis to refuse.
            let value = plain(value, unit.unwrap_or("")).unwrap_or_else(|| value.into());
            format!("{value}{end}")
        })
        .collect();
    format!("{name}={}", values.concat())
        .parse()
        .map_err(|error: AxisError| error.to_string())
}

/// Reads one flag alone, with the checks that it has.
#[derive(Parser)]
#[command(no_binary_name = true)]
struct OneFlag {
    #[command(flatten)]
    signal: SignalArguments,
}

/// What an axis stands for, to be written beside it.
pub fn label(name: &str) -> String {
    if let Some((_, label)) = FLAGS.iter().find(|flag| flag.0 == name) {
        return (*label).to_string();
    }
    let bare: Vec<&str> = name
        .split('.')
        .filter(|step| step.parse::<u32>().is_err())
        .collect();
    let Some((key, tables)) = bare.split_last() else {
        return name.into();
    };
    let table = tables.join(".");
    let meaning = KEYS
        .iter()
        .find(|known| known.name == *key && known.table == table)
        // The rest of a long meaning is for the list of keys.
        .and_then(|known| known.meaning.split([';', ',']).next())
        .unwrap_or(name);
    let unit = unit_of_key(key).map_or(String::new(), |unit| format!(", {unit}"));
    let table = if table.is_empty() {
        String::new()
    } else {
        format!("[{table}] ")
    };
    format!("{table}{meaning}{unit}")
}

/// Captures of one point, ready for a trial's draws.
enum Prepared {
    Flags(Box<SignalArguments>),
    Scenario {
        scenario: Box<Scenario>,
        /// The second reader listens, too.
        both: bool,
    },
}

/// Makes the scenes of a plan.
pub struct Maker {
    points: Vec<Prepared>,
    /// Seed of the plan.
    pub seed: u64,
}

impl Maker {
    /// Checks every point; what cannot be is refused before the first trial.
    pub fn new(
        base: &SignalArguments,
        axes: &[Axis],
        points: &[Vec<f64>],
        both: bool,
    ) -> anyhow::Result<Self> {
        let keys = axes
            .iter()
            .any(|axis| axis.name.contains('.') || axis.name == "duration_s");
        let mut seed = base.seed();
        let mut prepared = Vec::with_capacity(points.len());
        for values in points {
            let at = |error: anyhow::Error| {
                let place: Vec<String> = axes
                    .iter()
                    .zip(values)
                    .map(|(axis, value)| format!("{} = {value}", axis.name))
                    .collect();
                error.context(format!("at {}", place.join(", ")))
            };
            let point = prepare(base, axes, values, keys, both).map_err(at)?;
            if let Prepared::Scenario { scenario, .. } = &point {
                seed = scenario.seed.0;
            }
            let first = point.scene(&Draw::new(seed, values, 0)).map_err(at)?;
            ensure!(
                first.samples() <= MOST_SAMPLES,
                at(anyhow::anyhow!(
                    "{} samples a capture; allowed are {MOST_SAMPLES}: take fewer seconds or a lower rate",
                    first.samples()
                ))
            );
            prepared.push(point);
        }
        Ok(Self {
            points: prepared,
            seed,
        })
    }

    /// The scene of a trial.
    pub fn scene(&self, point: usize, draw: &Draw) -> anyhow::Result<Scene> {
        self.points[point].scene(draw)
    }
}

fn prepare(
    base: &SignalArguments,
    axes: &[Axis],
    values: &[f64],
    keys: bool,
    both: bool,
) -> anyhow::Result<Prepared> {
    let mut arguments = base.clone();
    for (axis, value) in axes.iter().zip(values) {
        if FLAGS.iter().any(|flag| flag.0 == axis.name) {
            set(&mut arguments, &axis.name, *value)?;
        } else if keys || arguments.is_scenario() {
            arguments.set.push(format!("{}={value}", axis.name));
        } else {
            let flags: Vec<&str> = FLAGS.iter().map(|flag| flag.0).collect();
            bail!(
                "--vary {}: allowed are the flags {} and keys of a scenario such as tag.1.tilt_deg ('fieldripple link --keys' lists them)",
                axis.name,
                flags.join(", ")
            );
        }
    }
    Ok(if arguments.is_scenario() {
        let scenario = scenario(&arguments)?;
        Prepared::Scenario {
            scenario: Box::new(if both {
                scenario.with_a_tag_each().context("--both")?
            } else {
                scenario
            }),
            both,
        }
    } else {
        ensure!(
            !both,
            "--both goes with a scenario that has a [second_reader]: --scenario FILE, or --set second_reader.distance_mm=600"
        );
        Prepared::Flags(Box::new(arguments))
    })
}

/// Puts a flag in its place, checked as if it had been given.
fn set(arguments: &mut SignalArguments, name: &str, value: f64) -> anyhow::Result<()> {
    let one = OneFlag::try_parse_from([format!("--{name}={value}")]).map_err(|error| {
        let cause = std::error::Error::source(&error)
            .map_or_else(|| error.kind().to_string(), ToString::to_string);
        anyhow::anyhow!("--{name} {value}: {cause}")
    })?;
    let given = one.signal;
    macro_rules! take {
        ($($field:ident),*) => { $( arguments.$field = given.$field.or(arguments.$field); )* };
    }
    take!(
        ebn0, seconds, rate, field_hz, level_db, amplitude, offset, bits, range, clock_ppm, centre
    );
    for (of, from) in [
        (&mut arguments.depth, given.depth),
        (&mut arguments.angle, given.angle),
        (&mut arguments.start, given.start),
    ] {
        // The first tag's; those of further tags stay.
        if let Some(&first) = from.first() {
            match of.first_mut() {
                Some(old) => *old = first,
                None => of.push(first),
            }
        }
    }
    Ok(())
}

impl Prepared {
    fn scene(&self, draw: &Draw) -> anyhow::Result<Scene> {
        match self {
            Self::Flags(arguments) => {
                let mut arguments = SignalArguments::clone(arguments);
                arguments.seed = Some(draw.seed);
                if arguments.angle.is_empty() {
                    arguments.angle.push(draw.angle_deg);
                }
                let plan = SignalPlan::new(&arguments)?;
                Ok(Scene::Direct {
                    signal: plan.signal,
                    digitiser: plan.digitiser,
                })
            }
            Self::Scenario { scenario, both } => {
                let mut scenario = Scenario::clone(scenario);
                scenario.seed.0 = draw.seed;
                let second = if *both {
                    let mut other_side = scenario.other_side().context("--both")?;
                    // Noise of its own.
                    other_side.seed.0 = draw.seed.wrapping_add(1);
                    Some(Box::new(scene_of(&other_side, None)?))
                } else {
                    None
                };
                scene_of(&scenario, second)
            }
        }
    }
}

fn scene_of(scenario: &Scenario, second: Option<Box<Scene>>) -> anyhow::Result<Scene> {
    let sent = scenario
        .sent()
        .map(|(index, sends)| sends.telegram(scenario.seed.0, index));
    let sent = sent.collect();
    let bench = Bench::new(scenario).context("the scenario cannot be built")?;
    Ok(Scene::Bench {
        bench: Box::new(bench),
        sent,
        second,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_carry_units() {
        assert_eq!(label("ebn0"), "Eb/N0 of a bit of one telegram, dB");
        assert_eq!(
            label("tag.1.tilt_deg"),
            "[tag] Angle between the two axes, degrees"
        );
        assert_eq!(
            label("tone.1.level_db"),
            "[tone] Peak level relative to the field at the digitiser, dB"
        );
    }

    #[test]
    fn values_may_carry_units() {
        let values = |text: &str| axis(text).unwrap().values;
        assert_eq!(values("rate=0.2M:0.4M:100k"), [200e3, 300e3, 400e3]);
        assert_eq!(values("seconds=70ms,0.1"), [0.07, 0.1]);
        assert_eq!(values("tag.1.distance_mm=2cm:40:1cm"), [20.0, 30.0, 40.0]);
        assert_eq!(values("depth=0.1%,1%"), [0.001, 0.01]);
        assert!(
            axis("rate=5m")
                .unwrap_err()
                .contains("'5m' is not a number")
        );
        assert!(axis("rate").is_err());
    }

    #[test]
    fn every_listed_flag_is_taken() {
        for (name, _) in FLAGS {
            let value = match name {
                "rate" | "field-hz" | "centre" => 123_456.0,
                "level-db" => -3.0,
                "depth" => 0.25,
                _ => 7.0,
            };
            let mut arguments = SignalArguments::default();
            set(&mut arguments, name, value).unwrap();
            let shown = format!("{arguments:?}");
            assert_ne!(shown, format!("{:?}", SignalArguments::default()), "{name}");
        }
    }
}
