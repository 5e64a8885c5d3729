//! Curves that are worked out from the bench's coils and circuits, with the command that prints their points.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::LessonError;
use super::load::{LoadState, load_states};
use super::taken::Picture;
use crate::draw::{Curve, Curves, curves_svg};
use crate::world::link::{Antennas, Link, LinkError, link, range_m};
use crate::world::scenario::{PlaceKeys, Scenario, half_bits};

/// Size of a figure.
const SIZE: (u32, u32) = (400, 320);
/// The bench without any setting: one reader and one tag.
const BENCH: &str = "[[tag]]\n";
/// Frequency that tags for animals are tuned to, Hz (ISO 11785).
const TUNED_HZ: f64 = 134_200.0;
/// The other common low frequency of readers, Hz (common practice).
const OTHER_HZ: f64 = 125_000.0;

/// A tag that closing its load brings nearer to resonance: it is tuned above the field and switches a capacitor.
const OTHER_WAY: [(&str, &str); 2] = [
    ("tag.1.modulator", "capacitor"),
    ("tag.1.tuned_hz", "142000"),
];

/// Figures and the values that chapters quote.
pub(super) struct Worked {
    pub pictures: BTreeMap<&'static str, Picture>,
    pub values: Value,
}

fn bench(settings: &[(String, String)]) -> Result<Scenario, LessonError> {
    Ok(Scenario::read(BENCH, settings)?)
}

fn at(scenario: &Scenario, place: PlaceKeys) -> Result<Link, LessonError> {
    let tag = &scenario.tag[0];
    let transponder = tag.transponder(scenario.field_hz());
    let station = scenario.reader.station(false)?;
    let half_bits = half_bits(&tag.sends.telegram(scenario.seed.0, 0));
    Ok(link(
        &Antennas::alone(&station),
        &transponder,
        &place.place(),
        &scenario.listening()?,
        &half_bits,
    )?)
}

/// The settled circuits with the load open and closed.
fn states_at(scenario: &Scenario, distance_mm: f64) -> Result<[LoadState; 2], LessonError> {
    let transponder = scenario.tag[0].transponder(scenario.field_hz());
    let place = PlaceKeys {
        distance_mm,
        ..scenario.tag[0].place
    };
    let station = scenario.reader.station(false)?;
    let mutual_h = transponder
        .coil
        .mutual_inductance_h(&station.coil, &place.place());
    Ok(load_states(&station, &transponder, mutual_h).map_err(LinkError::from)?)
}

/// Voltage at the tag over the frequency (kHz) of a field that is otherwise the same; at the tag's own; at the other one.
type OverFrequency = (Vec<(f64, f64)>, f64, f64);

fn over_frequency() -> Result<OverFrequency, LessonError> {
    let volts = |hz: f64| -> Result<f64, LessonError> {
        let settings = [
            ("reader.field_hz".to_string(), format!("{hz}")),
            ("tag.1.tuned_hz".to_string(), format!("{TUNED_HZ}")),
        ];
        let scenario = bench(&settings)?;
        Ok(at(&scenario, scenario.tag[0].place)?.tag_v)
    };
    let points = (0..=30)
        .map(|step| {
            let hz = 119_200.0 + 1000.0 * f64::from(step);
            Ok((hz / 1e3, volts(hz)?))
        })
        .collect::<Result<_, LessonError>>()?;
    Ok((points, volts(TUNED_HZ)?, volts(OTHER_HZ)?))
}

/// Works all of them out.
pub(super) fn work_out() -> Result<Worked, LessonError> {
    let scenario = bench(&[])?;
    let minimum_v = scenario.tag[0].minimum_v;
    let (points, own_v, other_v) = over_frequency()?;
    let (straight, turned) = (along(&scenario, 0.0)?, along(&scenario, 60.0)?);
    let (reach_mm, reach_turned_mm) = (reach(&scenario, 0.0), reach(&scenario, 60.0));
    let frequency = Curves {
        heading: "Voltage at the tag".into(),
        x_label: "frequency of the field, kHz".into(),
        y_label: "peak, V".into(),
        curves: vec![
            Curve {
                name: "tag tuned to 134.2 kHz".into(),
                points,
            },
            needed(minimum_v, 119.2, 149.2),
        ],
    };
    let power = Curves {
        heading: "Voltage at the tag".into(),
        x_label: "distance, mm".into(),
        y_label: "peak, V".into(),
        curves: vec![
            curve(STRAIGHT, &straight, |link| link.tag_v),
            curve(TURNED, &turned, |link| link.tag_v),
            needed(minimum_v, 10.0, 200.0),
        ],
    };
    let depth = Curves {
        heading: "Depth of the ripple".into(),
        x_label: "distance, mm".into(),
        y_label: "dB against the field".into(),
        curves: vec![
            curve(STRAIGHT, &straight, decibel),
            curve(TURNED, &turned, decibel),
        ],
    };
    let (first, last) = (&straight[0], &straight[straight.len() - 1]);
    let pictures = [
        (
            "frequency",
            frequency,
            format!(
                "Voltage at a tag tuned to 134.2 kHz over the frequency of the field: a resonance with {own_v:.2} V at its top and {other_v:.2} V \
                 at 125 kHz; the chip needs {minimum_v} V."
            ),
        ),
        (
            "power",
            power,
            format!(
                "Voltage at the tag over distance: with its axis along the field enough for the chip up to {reach_mm:.0} mm, turned by 60° up to {reach_turned_mm:.0} mm."
            ),
        ),
        (
            "depth",
            depth,
            format!(
                "Depth of the ripple against the field over distance, falling from {:.0} dB at {} mm to {:.0} dB at {} mm.",
                decibel(&first.1),
                first.0,
                decibel(&last.1),
                last.0
            ),
        ),
    ];
    let pictures = pictures
        .into_iter()
        .map(|(name, curves, words)| Ok((name, picture(&curves, words)?)))
        .collect::<Result<_, LessonError>>()?;
    let (near_mm, near) = &straight[1];
    let (double_mm, double) = &straight[3];
    let [open, closed] = states_at(&scenario, *near_mm)?;
    let switched = bench(&OTHER_WAY.map(|(key, value)| (key.to_string(), value.to_string())))?;
    let other = states_at(&switched, *near_mm)?;
    let values = json!({
        "minimum_v": minimum_v,
        "own_v": own_v,
        "other_v": other_v,
        "reach_mm": reach_mm,
        "reach_turned_mm": reach_turned_mm,
        "near_mm": near_mm,
        "near_v": near.tag_v,
        "near_depth": near.sent.depth,
        "double_mm": double_mm,
        "double_v": double.tag_v,
        "double_depth": double.sent.depth,
        "antenna_v": near.antenna_v,
        "open": open,
        "closed": closed,
        "open_other": other[0],
        "closed_other": other[1],
    });
    Ok(Worked { pictures, values })
}

const STRAIGHT: &str = "axis along the field";
const TURNED: &str = "turned by 60°";

fn picture(curves: &Curves, words: String) -> Result<Picture, LessonError> {
    Ok(Picture {
        svg: curves_svg(curves, SIZE)?,
        narrow_svg: None,
        words,
    })
}

/// The links at every tenth millimetre of distance up to 200, the tag turned so far.
fn along(scenario: &Scenario, tilt_deg: f64) -> Result<Vec<(f64, Link)>, LessonError> {
    (1..=20)
        .map(|step| {
            let distance_mm = 10.0 * f64::from(step);
            let place = PlaceKeys {
                distance_mm,
                tilt_deg,
                ..PlaceKeys::default()
            };
            Ok((distance_mm, at(scenario, place)?))
        })
        .collect()
}

/// Whole millimetres at which a tag turned so far still runs.
fn reach(scenario: &Scenario, tilt_deg: f64) -> f64 {
    let powered = |distance_m: f64| {
        let place = PlaceKeys {
            distance_mm: 1e3 * distance_m,
            offset_mm: 0.0,
            tilt_deg,
            ..PlaceKeys::default()
        };
        at(scenario, place).is_ok_and(|link| link.powered)
    };
    (1e3 * range_m(0.01, 1.0, powered).unwrap_or(0.0)).floor()
}

fn curve(name: &str, links: &[(f64, Link)], value: fn(&Link) -> f64) -> Curve {
    Curve {
        name: name.into(),
        points: links.iter().map(|(mm, link)| (*mm, value(link))).collect(),
    }
}

/// What the chip needs, from one end of the picture to the other.
fn needed(minimum_v: f64, left: f64, right: f64) -> Curve {
    Curve {
        name: format!("the chip needs {minimum_v} V"),
        points: vec![(left, minimum_v), (right, minimum_v)],
    }
}

fn decibel(link: &Link) -> f64 {
    20.0 * link.sent.depth.max(1e-12).log10()
}
