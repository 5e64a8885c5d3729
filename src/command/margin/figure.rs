//! `--figure`: curves or a map.

use fieldripple::draw::{SHARE_FIGURE_SIZE, ShareFigure, Theory, share_png, share_svg};
use fieldripple::margin::{Contestant, Table, theory};

use super::kept::PlanFile;
use super::vary::label;
use crate::command::figure_file::FigureFile;
use crate::command::signal::{Kind, SignalArguments};

/// Draws and writes.
pub fn draw(
    file: &FigureFile,
    table: &Table,
    names: &[String],
    plan: Option<&PlanFile>,
    theory: Vec<Theory>,
) -> anyhow::Result<()> {
    let trials = || table.rows().into_iter().map(|row| row.tally.trials);
    let (fewest, most) = (trials().min().unwrap_or(0), trials().max().unwrap_or(0));
    let captures = if fewest == most {
        format!("{most} captures a value")
    } else {
        format!("{fewest} to {most} captures a value")
    };
    let about = plan.map_or("", |plan| plan.about.as_str());
    let figure = ShareFigure {
        table,
        labels: names.iter().map(|name| label(name)).collect(),
        remark: [captures.as_str(), about]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<&str>>()
            .join("; "),
        theory,
    };
    file.write(
        || share_png(&figure, SHARE_FIGURE_SIZE),
        || share_svg(&figure, SHARE_FIGURE_SIZE),
    )
}

/// What the captures have in common, in a line.
pub fn about(signal: &SignalArguments, names: &[String], scenario: Option<&str>) -> String {
    let varied = |name: &str| names.iter().any(|one| one == name);
    if let Some(scenario) = scenario {
        let given = signal.set.iter().filter(|set| {
            let key = set.split('=').next().unwrap_or("");
            !varied(key.trim())
        });
        let given = given.map(|set| set.replace('=', " = "));
        return std::iter::once(without_numbers(scenario))
            .chain(given)
            .filter(|part| !part.is_empty())
            .collect::<Vec<String>>()
            .join(", ");
    }
    let mut parts = Vec::new();
    if !varied("seconds") {
        parts.push(format!("{} ms each", significant(signal.seconds() * 1e3)));
    }
    if let (Some(rate), false) = (signal.rate, varied("rate")) {
        parts.push(format!("{} kS/s", significant(rate / 1e3)));
    }
    if !varied("angle") {
        parts.push(match signal.angle.first() {
            Some(angle) => format!("ripple at {angle}°"),
            None => "ripple at any angle".into(),
        });
    }
    if let (Some(ebn0), false) = (signal.ebn0, varied("ebn0")) {
        parts.push(format!("Eb/N0 {ebn0} dB"));
    }
    parts.join(", ")
}

/// The first clauses of a name, up to one with a number in it: that may be the one that is varied.
fn without_numbers(name: &str) -> String {
    let has_number = |clause: &str| clause.contains(|letter: char| letter.is_ascii_digit());
    let clauses = name.split_inclusive([':', ',', ';', '.']);
    let kept: String = clauses.take_while(|clause| !has_number(clause)).collect();
    kept.trim_end_matches([':', ',', ';', '.', ' ']).to_string()
}

fn significant(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// What theory says of the plain receiver, where Eb/N0 is varied and the ripple's angle is given.
pub fn theory(table: &Table, names: &[String], signal: &SignalArguments) -> Vec<Theory> {
    let (Some(angle_deg), [name]) = (signal.angle.first(), names) else {
        return Vec::new();
    };
    let plain = table.receivers().contains(&Contestant::Plain);
    let direct = signal.kind() == Kind::Direct && signal.pulse.is_none() && !signal.is_scenario();
    if name != "ebn0" || !plain || !direct {
        return Vec::new();
    }
    let seen = angle_deg.to_radians().cos().powi(2);
    let values = table.points().iter().map(|values| values[0]);
    let (from, to) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), value| {
        (a.min(value), b.max(value))
    });
    let curve = (0..=200)
        .map(|k| {
            let db = from + (to - from) * f64::from(k) / 200.0;
            let gamma = seen * 10f64.powf(db / 10.0);
            let share = theory::captures_inside_bits(gamma, signal.seconds(), signal.field_hz());
            (db, share)
        })
        .collect();
    vec![("plain, by formula".into(), curve)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_is_varied_is_stated() {
        let mut signal = SignalArguments {
            set: vec![
                "second_reader.distance_mm=600".into(),
                "tag.1.tilt_deg=60".into(),
            ],
            ..SignalArguments::default()
        };
        let names = ["second_reader.distance_mm".to_string()];
        let name = "Quarantine: a second reader runs 800 mm away; the tag hears both";
        assert_eq!(
            about(&signal, &names, Some(name)),
            "Quarantine, tag.1.tilt_deg = 60"
        );
        signal.set.clear();
        assert_eq!(
            about(
                &signal,
                &names,
                Some("Cattery: the tag lies across the field")
            ),
            "Cattery: the tag lies across the field"
        );
    }
}
