//! The result of `link` as a page of text.

use std::fmt::Write;

use fieldripple::world::link::{FieldAt, LimitKind, limits};

use super::Report;
use super::wording::DANGEROUS_V;

pub fn page(report: &Report) -> String {
    let mut page = report
        .chosen
        .as_ref()
        .map_or_else(String::new, super::design::Chosen::page);
    bench(&mut page, report);
    table(&mut page, report);
    if let Some(tolerances) = &report.tolerances {
        page += &tolerances.page();
    }
    field(&mut page, report);
    sums(&mut page, report);
    page
}

/// Writing to a string does not fail.
macro_rules! line {
    ($page:expr, $($rest:tt)*) => { let _ = writeln!($page, $($rest)*); };
}

fn bench(page: &mut String, report: &Report) {
    let (circuit, tag) = (&report.setup.station.circuit, &report.setup.transponder);
    if !report.setup.scenario.name.is_empty() {
        line!(page, "{}", report.setup.scenario.name);
    }
    line!(
        page,
        "Reader: {:.1} µH, {:.2} Ω coil, {:.0} pF, resonates at {:.1} kHz, Q {:.1}, field {:.1} kHz",
        circuit.inductance_h * 1e6,
        circuit.coil_ohm,
        circuit.capacitance_f * 1e12,
        circuit.resonance_hz() / 1e3,
        circuit.q(),
        circuit.frequency_hz / 1e3
    );
    line!(
        page,
        "Tag:    {:.2} mH, Q {:.0}, {:.0} cm² effective, {:.1} pF, resonates at {:.1} kHz, needs {} V peak",
        tag.coil.inductance_h * 1e3,
        tag.coil.q,
        tag.coil.effective_area_m2 * 1e4,
        tag.circuit.capacitance_f * 1e12,
        tag.circuit.resonance_hz() / 1e3,
        tag.circuit.minimum_v
    );
    if let Some(keys) = report.setup.tag.rod
        && let Ok(on_rod) = keys.rod().work_out()
    {
        line!(
            page,
            "        from its rod, {} mm long and {} mm thick, µ {}: apparent µ {:.1} at its middle; within 2 % of finite elements, Q as stated",
            keys.length_mm,
            keys.diameter_mm,
            keys.permeability,
            on_rod.apparent_permeability
        );
    }
    line!(
        page,
        "Antenna: {:.0} V and {:.3} A peak with no tag near. {}",
        report.idle_v,
        report.idle_a,
        if report.idle_v > DANGEROUS_V {
            "DANGEROUS TO TOUCH: rated probe or divider, keep fingers off."
        } else {
            "Use a rated probe or a divider."
        }
    );
    if let Some(neighbour) = &report.setup.neighbour {
        let together = neighbour.station.circuit.frequency_hz == circuit.frequency_hz;
        line!(
            page,
            "Second antenna: {}",
            if together {
                "drives at the same frequency; field and voltages are those of both."
            } else {
                "takes part as a tuned circuit; its own field is another carrier and not in these numbers."
            }
        );
    }
    *page += &super::across::page(&report.setup);
    if let Some(metal) = &report.metal {
        *page += &metal.page();
    }
    for remark in remarks(report) {
        line!(page, "Note: {remark}");
    }
}

/// What a reader of the table should know.
pub fn remarks(report: &Report) -> Vec<String> {
    let mut list = Vec::new();
    let highest_v = report
        .positions
        .iter()
        .map(|position| position.link.tag_v)
        .fold(0.0, f64::max);
    if report.setup.transponder.circuit.clamp.is_none() && highest_v > UNCLAMPED_V {
        list.push(format!(
            "up to {highest_v:.0} V at a tag without a clamp; real chips limit their coil to some 10 V (from memory). \
             Give tag.1.clamp_v, or take a tag with one (--tags)."
        ));
    }
    let pulses = report.setup.scenario.reader.pulses_s();
    if let Some(position) = report
        .positions
        .iter()
        .find(|position| position.telegrams < 1.0)
    {
        list.push(match pulses {
            Some((on_s, off_s)) => format!(
                "no telegram (30.5 ms, without its trailer 24.1 ms, and the tag's start) fits between two pauses of a field that is {} ms on and {} ms off",
                1e3 * on_s,
                1e3 * off_s
            ),
            None => format!(
                "a capture of {} s does not hold a whole telegram ({:.1} ms)",
                report.setup.seconds,
                4096e3 / report.setup.station.circuit.frequency_hz
            ),
        });
        debug_assert!(!position.reads);
    }
    list
}

/// Above this a tag's chip has long limited its voltage (from memory: limiters near 10 V), so the number means nothing for a real one.
const UNCLAMPED_V: f64 = 20.0;

fn table(page: &mut String, report: &Report) {
    line!(
        page,
        "\n{:>8} {:>7} {:>6} {:>10} {:>9} {:>8} {:>7} {:>9} {:>7} {:>8} {:>7}  would be read",
        "distance",
        "offset",
        "tilt",
        "M",
        "k",
        "tag",
        "powered",
        "depth",
        "angle",
        "Eb/N0",
        "folded"
    );
    line!(
        page,
        "{:>8} {:>7} {:>6} {:>10} {:>9} {:>8} {:>7} {:>9} {:>7} {:>8} {:>7}",
        "mm",
        "mm",
        "deg",
        "nH",
        "",
        "V",
        "",
        "%",
        "deg",
        "dB",
        "dB"
    );
    for position in &report.positions {
        let link = &position.link;
        // Rounded first, so that nothing prints as −0.
        let decibel = |value: f64| {
            if value < -99.0 {
                "< -99".into()
            } else {
                format!("{value:.1}")
            }
        };
        line!(
            page,
            "{:>8} {:>7} {:>6} {:>10.3} {:>9.2e} {:>8.2} {:>7} {:>9.2e} {:>7.1} {:>8} {:>7}  {}",
            position.place.distance_mm,
            position.place.offset_mm,
            position.place.tilt_deg,
            link.mutual_h * 1e9 + 0.0,
            link.coupling,
            link.tag_v,
            if link.powered { "yes" } else { "no" },
            100.0 * link.sent.depth,
            link.sent.angle_deg,
            decibel(position.ebn0_db),
            decibel(position.folded_ebn0_db),
            if position.reads {
                "yes"
            } else if link.powered && position.telegrams < 1.0 {
                "no, no whole telegram"
            } else if link.powered {
                "no, too weak"
            } else {
                "no, not powered"
            }
        );
    }
    let place = report.positions.first().map(|position| position.place);
    if let Some(place) = place.filter(|place| place.offset_y_mm != 0.0 || place.bearing_deg != 0.0)
    {
        line!(
            page,
            "All at {} mm across the offset (y), leaning towards {}° about the antenna's axis.",
            place.offset_y_mm,
            place.bearing_deg
        );
    }
    line!(
        page,
        "Folded: all whole telegrams of {} s together; {:.1} dB are needed for odds of {:.0e}.",
        report.setup.seconds,
        report.setup.needed_db,
        report.setup.odds
    );
}

fn field(page: &mut String, report: &Report) {
    let circuit = &report.setup.station.circuit;
    line!(
        page,
        "\nField on the axis of the antenna (rms, no tag near, computed, no measurement{}):",
        if report.metal.is_some() {
            "; of its turns alone, since how far the metal sheet reaches is not known"
        } else {
            ""
        }
    );
    for (at_m, field) in &report.fields {
        line!(
            page,
            "{at_m:>8} m {:>10.3e} A/m {:>10.3e} µT {:>8.1} dBµA/m",
            field.a_per_m,
            field.ut,
            field.db_ua_per_m
        );
    }
    let idle = report.setup.idle();
    let on_axis = |at_m: f64| {
        let point = fieldripple::world::coil::Vector::new(0.0, 0.0, at_m);
        idle.as_ref()
            .map_or(FieldAt::default(), |idle| idle.field_of_turns_at(point))
    };
    line!(
        page,
        "Named for comparison; conditions differ by country, local law decides:"
    );
    for limit in limits(circuit.frequency_hz) {
        match limit.kind {
            LimitKind::MagneticField { at_m } => {
                line!(
                    page,
                    "  {}: {:.1} dBµA/m at {at_m} m; computed {:.1}",
                    limit.name,
                    limit.value,
                    on_axis(at_m).db_ua_per_m
                );
            }
            LimitKind::ElectricField { at_m } => {
                line!(
                    page,
                    "  {}: {:.1} µV/m at {at_m} m; computed {:.3} (377 Ω times the field a loop measures)",
                    limit.name,
                    limit.value,
                    report.electric_uv_per_m(at_m)
                );
            }
            LimitKind::FluxDensity => {
                let near = fieldripple::world::link::range_m(0.0, 10.0, |at_m| {
                    on_axis(at_m).ut >= limit.value
                });
                let reach = match near {
                    Some(at_m) => format!(
                        "computed field is above it within {:.0} mm on the axis",
                        at_m * 1e3
                    ),
                    None => format!(
                        "computed {:.2} µT in the middle of the antenna",
                        on_axis(0.0).ut
                    ),
                };
                line!(page, "  {}: {} µT rms; {reach}", limit.name, limit.value);
            }
        }
    }
    line!(
        page,
        "  EN 50364 covers exposure by such readers. Keep strong fields away from active implants."
    );
}

fn sums(page: &mut String, report: &Report) {
    let field_khz = report.setup.station.circuit.frequency_hz / 1e3;
    if let Some((uh, farad)) = report.sums.capacitor {
        line!(
            page,
            "\n{uh} µH resonates at {field_khz} kHz with {:.2} pF.",
            farad * 1e12
        );
    }
    if let Some((uh, turns, got)) = report.sums.turns {
        line!(
            page,
            "\n{turns} turns of this size, wire and number of layers make {:.2} µH ({uh} µH wanted); the tables are with them.",
            got * 1e6
        );
    }
    if let Some((uh, wrong)) = report.sums.wrong {
        line!(
            page,
            "\nAn antenna of {uh} µH instead of {:.1} µH on the same electronics resonates at {:.2} kHz; current \
             {:.3}, field {:.3} and current from the supply {:.3} of what the right one has.",
            report.setup.station.circuit.inductance_h * 1e6,
            wrong.resonance_hz / 1e3,
            wrong.current_ratio,
            wrong.field_ratio,
            wrong.supply_ratio
        );
    }
}
