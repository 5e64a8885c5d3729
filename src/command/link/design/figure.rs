//! The range of every usual tag as a figure.

use fieldripple::draw::{Bar, Bars, FIGURE_SIZE};

use super::super::super::figure_file::FigureFile;
use super::super::wording::{DANGEROUS_V, farad};
use super::Chosen;
use super::text::plural;

impl Chosen {
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
                "{} turns of {} mm in {} layer{}, {:.0} µH, {} ({}), {} Ω in series, Q {:.1}",
                winding.turns,
                self.best.wire_mm,
                winding.layers,
                plural(winding.layers),
                circuit.inductance_h * 1e6,
                farad(circuit.capacitance_f),
                self.capacitors(),
                design.series_ohm,
                circuit.q()
            ),
            format!(
                "{:.0} V peak across antenna and capacitors{}, {:.3} A peak, {:.2} W from {} V",
                design.capacitor_v,
                if design.capacitor_v > DANGEROUS_V {
                    " (high voltage, keep fingers off)"
                } else {
                    ""
                },
                design.current_a,
                design.power_w,
                self.supply_v
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
