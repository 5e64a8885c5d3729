//! The chosen antenna as text.

use std::fmt::{self, Write};

use super::super::wording::{DANGEROUS_V, farad};
use super::{Chosen, Row};

/// "s" behind a word of more than one.
pub fn plural(count: u32) -> &'static str {
    if count == 1 { "" } else { "s" }
}

impl Chosen {
    /// As text, above the table of the bench.
    pub fn page(&self) -> String {
        let mut page = String::new();
        // Writing to a string does not fail.
        let _ = self.write(&mut page);
        page
    }

    fn write(&self, page: &mut String) -> fmt::Result {
        self.write_wires(page)?;
        self.write_parts(page)?;
        self.write_reach(page)?;
        let reader = &self.scenario.reader;
        writeln!(
            page,
            "For a scenario file (size of the coil as it was):\n  [reader]\n  topology = \"series\"\n  drive_v = {}\n  source_ohm = {}\n  capacitance_pf = {}\n  [reader.coil]\n  turns = {}\n  layers = {}\n  wire_mm = {}\n",
            reader.drive_v,
            reader.source_ohm,
            reader.capacitance_pf.unwrap_or_default(),
            reader.coil.turns,
            reader.coil.layers,
            reader.coil.wire_mm
        )
    }

    /// A row for each wire, the chosen one marked.
    fn write_wires(&self, page: &mut String) -> fmt::Result {
        let rule = match self.wanted_reach_mm {
            Some(wanted) => format!("least power of those that read at {wanted} mm"),
            None => "fewest layers of those within 5 % of the longest range".into(),
        };
        writeln!(
            page,
            "Wires, each with parts one can buy; range for {}; chosen: {rule}",
            self.tag
        )?;
        let names = [
            "copper", "turns", "layers", "L", "coil", "loaded", "current", "voltage", "power",
            "range",
        ];
        let units = ["mm", "", "", "µH", "Ω", "Q", "A peak", "V peak", "W", "mm"];
        for [wire, turns, layers, uh, ohm, q, amps, volts, watts, range] in [names, units] {
            writeln!(
                page,
                "{wire:>6} {turns:>6} {layers:>7} {uh:>8} {ohm:>7} {q:>6} {amps:>8} {volts:>8} {watts:>7} {range:>6}"
            )?;
        }
        for row in &self.rows {
            let (circuit, winding) = (
                &row.design.station.circuit,
                row.design.station.coil.winding(),
            );
            writeln!(
                page,
                "{:>6} {:>6} {:>7} {:>8.1} {:>7.2} {:>6.1} {:>8.3} {:>8.0} {:>7.2} {:>6.0}{}",
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
        Ok(())
    }

    /// What to wind, buy and drive, with what stands across it.
    fn write_parts(&self, page: &mut String) -> fmt::Result {
        let Row {
            design, wire_mm, ..
        } = &self.best;
        let circuit = &design.station.circuit;
        let winding = design.station.coil.winding();
        writeln!(
            page,
            "\nAntenna:    {} turns of {wire_mm} mm copper in {} layer{}, {:.1} m of wire: {:.1} µH, {:.2} Ω, coil Q {:.0}",
            winding.turns,
            winding.layers,
            plural(winding.layers),
            design.station.coil.wire_length_m(),
            circuit.inductance_h * 1e6,
            circuit.coil_ohm,
            design.coil_q()
        )?;
        writeln!(
            page,
            "Capacitors: {} in parallel = {}, low-loss kind (film or NP0)",
            self.capacitors(),
            farad(circuit.capacitance_f),
        )?;
        let caution = if design.capacitor_v > DANGEROUS_V {
            " HIGH VOLTAGE, keep fingers off."
        } else {
            ""
        };
        writeln!(
            page,
            "            {:.0} V peak across them at {:.3} A peak: rate them for twice that.{caution}",
            design.capacitor_v, design.driver_a,
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
            circuit.drive_v, self.supply_v, design.driver_a, design.power_w, design.coil_w
        )
    }

    /// What is left of the ripple, and how far each kind of tag is read.
    fn write_reach(&self, page: &mut String) -> fmt::Result {
        if let Some(share) = self.ripple_left {
            writeln!(
                page,
                "Ripple:     {:.0} % of its settled depth is left by both tuned circuits, at {} mm with {}",
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
        Ok(())
    }
}
