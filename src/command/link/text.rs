//! The result of `link` as a page of text.

use std::fmt::Write;

use super::Report;

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
    page += &report.exposure.page();
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
    *page += &report.driven.page();
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
    list.extend(report.driven.remark());
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
