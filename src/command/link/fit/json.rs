//! A fitted bench as one JSON object.

use fieldripple::bench_fit::{BenchFit, Change, ChangeKind, Fitted, Parameter};
use serde_json::{Value, json};

use super::Fit;

/// What a parameter is called, unit included.
pub fn name(parameter: Parameter, switches_capacitor: bool) -> &'static str {
    match parameter {
        Parameter::AntennaHz => "antenna_hz",
        Parameter::AntennaQ => "antenna_q",
        Parameter::Coupling => "coupling",
        Parameter::TagHz => "tag_hz",
        Parameter::TagQ => "tag_q",
        Parameter::Load if switches_capacitor => "load_pf",
        Parameter::Load => "load_ohm",
    }
}

pub fn object(fit: &Fit) -> String {
    let reason = fit.bench.as_ref().err().map(ToString::to_string);
    let object = json!({
        "schema": "fieldripple.link_fit/1",
        "capture": fit.decoded.name(),
        "number": fit.decoded.identities().first().map(ToString::to_string),
        "fit": fit.bench.as_ref().ok().map(|bench| bench_object(fit, bench)),
        "reason": reason,
    });
    format!("{object}\n")
}

fn bench_object(fit: &Fit, bench: &BenchFit) -> Value {
    let name = |parameter| name(parameter, bench.switches_capacitor);
    let parameter = |row: &Fitted| {
        json!({
            "name": name(row.parameter),
            "thought": row.thought,
            "value": row.value,
            "sd": row.sd,
            "sigmas": row.sigmas,
            "differs": row.differs(),
            "told": row.told,
        })
    };
    json!({
        "parameters": bench.parameters.iter().map(parameter).collect::<Vec<_>>(),
        "not_told_apart": bench.untold.iter().map(|untold| {
            untold.factors.iter().map(|(parameter, factor)| json!({"name": name(*parameter), "factor": factor})).collect::<Vec<_>>()
        }).collect::<Vec<_>>(),
        "trade": bench.trades.iter().map(|trade| json!({
            "name": name(trade.one),
            "against": name(trade.other),
            "percent_for_one_percent": trade.percent,
            "correlation": trade.correlation,
        })).collect::<Vec<_>>(),
        "others": bench.others.iter().map(|other| {
            let values: serde_json::Map<String, Value> = Parameter::ALL
                .iter()
                .zip(other.values)
                .map(|(&parameter, value)| (name(parameter).to_string(), json!(value)))
                .collect();
            json!({"likelihood": other.likelihood, "values": values})
        }).collect::<Vec<_>>(),
        "misfit": bench.noise_is_known.then_some(bench.misfit),
        "beyond_noise": bench.misfits,
        "unexplained": bench.noise_is_known.then_some(bench.unexplained),
        "ring": bench.ring,
        "telegrams": bench.telegrams,
        "distance_mm": bench.distance_mm,
        "antenna_v": bench.antenna_v,
        "field_v": {"thought_drive": bench.field_v, "measured": fit.field_v()},
        "changes": bench.changes.iter().map(change).collect::<Vec<_>>(),
    })
}

fn change(change: &Change) -> Value {
    let mut object = match change.kind {
        ChangeKind::Capacitor {
            from_f,
            to_f,
            resonance_hz,
        } => {
            json!({"what": "capacitor", "from_pf": 1e12 * from_f, "to_pf": 1e12 * to_f, "resonance_hz": resonance_hz})
        }
        ChangeKind::Losses {
            from_q,
            to_q,
            series_ohm,
        } => json!({"what": "losses", "from_q": from_q, "to_q": to_q, "series_ohm": series_ohm}),
        ChangeKind::Distance { from_mm, to_mm } => {
            json!({"what": "distance", "from_mm": from_mm, "to_mm": to_mm})
        }
    };
    object["gain_db"] = json!(change.gain_db);
    object["antenna_v"] = json!(change.antenna_v);
    object
}
