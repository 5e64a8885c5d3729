//! A fitted bench as a page of text.

use std::fmt::Write;

use fieldripple::bench_fit::{BenchFit, Change, ChangeKind, Fitted, Parameter};

use super::super::wording::DANGEROUS_V;
use super::Fit;

/// Writing to a string does not fail.
macro_rules! line {
    ($page:expr, $($rest:tt)*) => { let _ = writeln!($page, $($rest)*); };
}

/// A field that differs by more than this from what drive and divider make of it, as a factor: probes and dividers are good to 10 % (common practice,
/// no source), drivers less.
const FIELD_OFF: f64 = 1.25;

pub fn page(fit: &Fit) -> String {
    let mut page = String::new();
    let name = fit.decoded.name();
    match &fit.bench {
        Ok(bench) => {
            let number = fit.decoded.identities()[0];
            line!(
                page,
                "{name}: {number}, {:.1} telegrams{}",
                bench.telegrams,
                if bench.ring {
                    ", and the antenna's ring at the field's edges"
                } else {
                    ""
                }
            );
            table(&mut page, bench);
            doubts(&mut page, bench);
            around(&mut page, fit, bench);
            changes(&mut page, bench);
        }
        Err(reason) => {
            line!(page, "{name}: no bench was fitted: {reason}");
        }
    }
    page
}

/// What a parameter is called.
fn name(parameter: Parameter) -> &'static str {
    match parameter {
        Parameter::AntennaHz => "antenna resonance",
        Parameter::AntennaQ => "antenna Q",
        Parameter::Coupling => "coupling k",
        Parameter::TagHz => "tag resonance",
        Parameter::TagQ => "tag Q, load open",
        Parameter::Load => "tag load",
    }
}

fn unit(parameter: Parameter, switches_capacitor: bool) -> (f64, &'static str) {
    match parameter {
        Parameter::AntennaHz | Parameter::TagHz => (1e-3, " kHz"),
        Parameter::Load if switches_capacitor => (1.0, " pF"),
        Parameter::Load => (1.0, " Ω"),
        _ => (1.0, ""),
    }
}

/// A value to two figures of its deviation.
fn shown(value: f64, sd: f64, (scale, unit): (f64, &str)) -> String {
    let (value, sd) = (scale * value, scale * sd);
    let places = (1.0 - sd.abs().max(1e-12).log10().floor()).clamp(0.0, 7.0) as usize;
    format!("{value:.places$}{unit}")
}

fn table(page: &mut String, bench: &BenchFit) {
    line!(
        page,
        "\n{:<18} {:>13} {:>13} {:>13}",
        "",
        "thought",
        "is",
        "± 1 sigma"
    );
    for row in &bench.parameters {
        let unit = unit(row.parameter, bench.switches_capacitor);
        let text = |value: f64| shown(value, row.sd, unit);
        line!(
            page,
            "{:<18} {:>13} {:>13} {:>13}  {}",
            name(row.parameter),
            text(row.thought),
            text(row.value),
            text(row.sd),
            verdict(row)
        );
    }
}

fn verdict(row: &Fitted) -> String {
    if !row.told {
        "not told by the capture".into()
    } else if row.differs() {
        format!("differs by {:.0} sigma", row.sigmas.abs())
    } else {
        "as thought".into()
    }
}

fn doubts(page: &mut String, bench: &BenchFit) {
    if bench.misfits {
        line!(
            page,
            "\nNote: such a bench leaves {:.1} % of the ripple unexplained, more than the noise is: a limiter at work, metal or a second tag near by, or a \
             tag that moves. The sigmas are widened for it.",
            100.0 * bench.unexplained
        );
    }
    for untold in &bench.untold {
        let parts: Vec<String> = untold
            .factors
            .iter()
            .map(|(parameter, factor)| format!("{} × {factor:.3}", name(*parameter)))
            .collect();
        let all = parts.join(", ");
        let words = if parts.len() > 1 {
            "go together: the capture would look the same"
        } else {
            "would go unseen in this capture"
        };
        line!(
            page,
            "\nNot told: {all} {words}. A longer capture, less noise, or a tag brought nearer tells more."
        );
    }
    for trade in &bench.trades {
        line!(
            page,
            "\nTrade: if the {} is 1 % more, the {} is {:.2} % {}; the two are known better together than each alone.",
            name(trade.one),
            name(trade.other),
            trade.percent.abs(),
            if trade.percent > 0.0 { "more" } else { "less" }
        );
    }
    for other in &bench.others {
        let values: Vec<String> = bench
            .parameters
            .iter()
            .zip(other.values)
            .map(|(row, value)| {
                let unit = unit(row.parameter, bench.switches_capacitor);
                format!("{} {}", name(row.parameter), shown(value, row.sd, unit))
            })
            .collect();
        line!(
            page,
            "\nAnother bench explains the capture {}: {}.",
            if other.likelihood > 0.5 {
                "as well".to_string()
            } else {
                format!(
                    "too, with {:.0} % of this one's likelihood",
                    100.0 * other.likelihood
                )
            },
            values.join(", ")
        );
    }
}

fn around(page: &mut String, fit: &Fit, bench: &BenchFit) {
    line!(page, "");
    if let Some(mm) = bench.distance_mm {
        line!(
            page,
            "Coupling: a tag of the scenario's area has this at {mm:.0} mm, tilt and offset as thought."
        );
    }
    line!(
        page,
        "Antenna: {:.0} V peak with the drive as thought. {}",
        bench.antenna_v,
        if bench.antenna_v > DANGEROUS_V {
            "DANGEROUS TO TOUCH: rated probe or divider, keep fingers off."
        } else {
            "Use a rated probe or a divider."
        }
    );
    if let Some(measured_v) = fit.field_v() {
        let factor = measured_v / bench.field_v;
        let same = factor < FIELD_OFF && factor > 1.0 / FIELD_OFF;
        line!(
            page,
            "Field in the capture: {measured_v:.3} V peak; this bench makes {:.3} V {}{}",
            bench.field_v,
            if fit.by_pick_up {
                "in the scenario's pick-up coil".to_string()
            } else {
                format!("through the scenario's {:.0}:1 probe", fit.divider)
            },
            if same {
                ".".to_string()
            } else {
                format!(": drive, probe or its factor (--scale) differ {factor:.2} times.")
            }
        );
    }
}

fn changes(page: &mut String, bench: &BenchFit) {
    let Some(best) = bench.changes.first() else {
        line!(
            page,
            "\nNo single change of antenna or distance buys a twentieth of a decibel."
        );
        return;
    };
    line!(
        page,
        "\nRipple at the probe after one change, the noise as it is:"
    );
    for change in &bench.changes {
        line!(
            page,
            "{:>+7.1} dB  {}{}",
            change.gain_db,
            what(change),
            if change == best && bench.changes.len() > 1 {
                "  <- buys most"
            } else {
                ""
            }
        );
    }
    let highest_v = bench
        .changes
        .iter()
        .map(|c| c.antenna_v)
        .fold(0.0, f64::max);
    if highest_v > DANGEROUS_V.max(1.05 * bench.antenna_v) {
        line!(
            page,
            "The antenna then has up to {highest_v:.0} V peak: check what capacitor and probe are rated for."
        );
    }
}

fn what(change: &Change) -> String {
    match change.kind {
        ChangeKind::Capacitor {
            from_f,
            to_f,
            resonance_hz,
        } => format!(
            "capacitor from {:.0} to {:.0} pF, which tunes the antenna to {:.2} kHz",
            1e12 * from_f,
            1e12 * to_f,
            1e-3 * resonance_hz
        ),
        ChangeKind::Losses {
            from_q,
            to_q,
            series_ohm,
        } => format!(
            "antenna Q from {from_q:.1} to {to_q:.1}: {} {:.1} Ω in series",
            if series_ohm > 0.0 { "put" } else { "take out" },
            series_ohm.abs()
        ),
        ChangeKind::Distance { from_mm, to_mm } => {
            format!("the tag nearer, from {from_mm:.0} to {to_mm:.0} mm")
        }
    }
}
