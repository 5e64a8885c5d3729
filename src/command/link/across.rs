//! What is across the antenna beside its tuning capacitor: a cable, and the turns' own capacitance.

use fieldripple::world::circuit::resonance_hz;

use super::setup::Setup;

/// Lines about it; nothing where a bench has neither.
pub fn page(setup: &Setup) -> String {
    let (circuit, reader) = (&setup.station.circuit, &setup.scenario.reader);
    if circuit.shunt_f == 0.0 {
        return String::new();
    }
    let cable = reader.cable.unwrap_or_default();
    let what = match (reader.cable, reader.self_capacitance_pf) {
        (Some(_), 0.0) => format!("Cable of {} m", cable.length_m),
        (None, _) => "Turns' own capacitance".into(),
        (Some(_), _) => format!(
            "Cable of {} m and the turns' own capacitance",
            cable.length_m
        ),
    };
    let series = if reader.cable.is_some() {
        format!(", {:.2} µH in series", cable.henry() * 1e6)
    } else {
        String::new()
    };
    let whole_f = circuit.capacitance_f + circuit.shunt_f;
    let mut page = format!(
        "{what}: {:.0} pF across the antenna{series}. Put to an antenna tuned without, with {:.0} pF, it would resonate at {:.1} kHz.\n",
        circuit.shunt_f * 1e12,
        whole_f * 1e12,
        resonance_hz(circuit.inductance_h, whole_f + circuit.shunt_f) / 1e3
    );
    if let Some(own_f) = setup.station.coil.own_capacitance_f() {
        page += &format!(
            "  Of themselves the turns of one layer have some {:.0} pF (Medhurst 1947, one end earthed).\n",
            own_f * 1e12
        );
    }
    page
}
