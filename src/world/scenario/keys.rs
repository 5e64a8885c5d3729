//! Every table and key of a scenario file: meaning, default, range.

use Allowed::{Number, OneOf, Text, Whole, YesNo};

/// Whether a table may be repeated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TableKind {
    /// `[name]`
    Single,
    /// `[[name]]`
    Repeated,
}

/// What a key may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// A number from … to …
    Number(f64, f64),
    /// A whole number from … to …
    Whole(i64, i64),
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// Text.
    Text,
    /// true or false.
    YesNo,
}

/// A key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// Table it is in, "" for the top.
    pub table: &'static str,
    /// Name with the unit.
    pub name: &'static str,
    /// Value if it is missing, in the words of the file or, in brackets, how it is found.
    pub default: &'static str,
    /// What it may be.
    pub allowed: Allowed,
    /// What it is.
    pub meaning: &'static str,
}

/// Tables: name, kind, meaning.
pub const TABLES: &[(&str, TableKind, &str)] = &[
    (
        "reader",
        TableKind::Single,
        "The reader: driver, tuning, antenna",
    ),
    ("reader.coil", TableKind::Single, "Its antenna coil"),
    (
        "reader.cable",
        TableKind::Single,
        "A cable from driver and tuning capacitor to the antenna; the voltage across the antenna is then that at its near end",
    ),
    (
        "reader.metal_sheet",
        TableKind::Single,
        "A metal sheet parallel to the antenna, taken as endless",
    ),
    (
        "second_reader",
        TableKind::Single,
        "Another reader, coupled to the first antenna and to the tags",
    ),
    ("second_reader.coil", TableKind::Single, "Its antenna coil"),
    (
        "second_reader.cable",
        TableKind::Single,
        "A cable from driver and tuning capacitor to the antenna; the voltage across the antenna is then that at its near end",
    ),
    (
        "tag",
        TableKind::Repeated,
        "A tag: what it sends, coil, circuit, chip, place",
    ),
    (
        "tag.rod",
        TableKind::Single,
        "Its coil from a ferrite rod, in place of inductance_mh, effective_area_cm2 and rod_length_mm; Q stays coil_q",
    ),
    (
        "tag.track",
        TableKind::Repeated,
        "A place on the tag's way; straight and even from one to the next",
    ),
    (
        "direct",
        TableKind::Single,
        "A field given outright, instead of [reader] and [[tag]]",
    ),
    (
        "direct.tag",
        TableKind::Repeated,
        "A ripple given outright, ideal edges",
    ),
    (
        "other_tag",
        TableKind::Repeated,
        "A tag of another kind, in either field",
    ),
    (
        "probe",
        TableKind::Single,
        "Where the signal is taken from; the place is that of a pick-up coil",
    ),
    ("probe.coil", TableKind::Single, "The pick-up coil"),
    ("digitiser", TableKind::Single, "Sampling"),
    (
        "noise",
        TableKind::Single,
        "White and 1/f noise at the digitiser",
    ),
    (
        "band_noise",
        TableKind::Repeated,
        "Noise around a frequency (Lorentzian)",
    ),
    (
        "phase_noise",
        TableKind::Single,
        "Phase noise of the field's oscillator",
    ),
    (
        "tone",
        TableKind::Repeated,
        "A carrier at the probe, such as a second reader the tag does not hear",
    ),
    ("supply", TableKind::Repeated, "A switching supply"),
    (
        "fsk",
        TableKind::Repeated,
        "An FSK transmitter with random data",
    ),
    (
        "hum",
        TableKind::Single,
        "Mains hum, added after the detector",
    ),
    (
        "impulses",
        TableKind::Repeated,
        "Ringing impulses at random times",
    ),
];

const fn key(
    table: &'static str,
    name: &'static str,
    default: &'static str,
    allowed: Allowed,
    meaning: &'static str,
) -> Key {
    Key {
        table,
        name,
        default,
        allowed,
        meaning,
    }
}

/// Rows that several tables share.
macro_rules! rows {
    (sends $t:literal) => {
        [
            key(
                $t,
                "id",
                "(999 and a number drawn from the seed)",
                Text,
                "Number, CCC:N",
            ),
            key($t, "animal", "true", YesNo, "Animal flag"),
            key($t, "retag", "0", Whole(0, 7), "Retagging counter"),
            key($t, "user", "0", Whole(0, 31), "User information"),
            key($t, "reserved", "0", Whole(0, 63), "Reserved bits 10 to 15"),
            key($t, "data_block", "false", YesNo, "Data block flag"),
            key($t, "trailer", "\"000000\"", Text, "Trailer, six hex digits"),
        ]
    };
    (place $t:literal, $distance:literal) => {
        [
            key(
                $t,
                "distance_mm",
                $distance,
                Number(0.0, 1e4),
                "Distance from the middle of the antenna along its axis",
            ),
            key(
                $t,
                "offset_mm",
                "0",
                Number(-1e4, 1e4),
                "Offset from the antenna's axis, to the side a positive tilt leans away from (-x)",
            ),
            key(
                $t,
                "offset_y_mm",
                "0",
                Number(-1e4, 1e4),
                "Offset across that (y, along the height of a rectangle)",
            ),
            key(
                $t,
                "tilt_deg",
                "0",
                Number(-360.0, 360.0),
                "Angle between the two axes; with an offset a positive one leans back over the antenna, against the spread of the field, and couples less than a negative one",
            ),
            key(
                $t,
                "bearing_deg",
                "0",
                Number(-360.0, 360.0),
                "Which way it leans, turned about the antenna's axis: 0 back over the antenna (x), 90 along y",
            ),
        ]
    };
    (coil $t:literal, $radius:literal, $turns:literal, $layers:literal) => {
        [
            key(
                $t,
                "shape",
                "\"circle\"",
                OneOf(&["circle", "rectangle"]),
                "Shape of a turn",
            ),
            key(
                $t,
                "radius_mm",
                $radius,
                Number(0.5, 2000.0),
                "Radius of the middle turn of a circle",
            ),
            key(
                $t,
                "width_mm",
                "200",
                Number(1.0, 4000.0),
                "Width of the middle turn of a rectangle",
            ),
            key(
                $t,
                "height_mm",
                "200",
                Number(1.0, 4000.0),
                "Height of the middle turn of a rectangle; offsets go along the width",
            ),
            key($t, "turns", $turns, Whole(1, 5000), "Number of turns"),
            key(
                $t,
                "layers",
                $layers,
                Whole(1, 5000),
                "Layers on top of each other; as many as turns is a flat spiral",
            ),
            key(
                $t,
                "wire_mm",
                "0.3",
                Number(0.01, 20.0),
                "Diameter of the copper",
            ),
            key(
                $t,
                "pitch_mm",
                "(1.1 × wire_mm)",
                Number(0.01, 1000.0),
                "From turn to turn along the axis",
            ),
            key(
                $t,
                "layer_pitch_mm",
                "(1.1 × wire_mm)",
                Number(0.01, 1000.0),
                "From layer to layer",
            ),
        ]
    };
    (reader $t:literal, $field:literal) => {
        [
            key(
                $t,
                "field_hz",
                $field,
                Number(1e5, 2e5),
                "Frequency of the field",
            ),
            key(
                $t,
                "drive_v",
                "8",
                Number(0.0, 1000.0),
                "Peak of the driver's fundamental; a square wave from 0 to V has 2V/π",
            ),
            key(
                $t,
                "drive_phase_deg",
                "0",
                Number(-360.0, 360.0),
                "Phase of the driver when it is first switched on",
            ),
            key(
                $t,
                "source_ohm",
                "20",
                Number(0.01, 1e6),
                "Driver and series resistance",
            ),
            key(
                $t,
                "topology",
                "\"series\"",
                OneOf(&["series", "parallel"]),
                "Series or parallel resonance",
            ),
            key(
                $t,
                "inductance_uh",
                "(from the coil)",
                Number(0.1, 1e5),
                "Measured inductance of the antenna",
            ),
            key(
                $t,
                "coil_ohm",
                "(from the coil)",
                Number(0.0, 1e4),
                "Measured series resistance of the antenna at the field frequency",
            ),
            key(
                $t,
                "coil_q",
                "(from the coil)",
                Number(1.0, 1000.0),
                "Measured Q of the antenna coil, instead of coil_ohm",
            ),
            key(
                $t,
                "tuned_hz",
                "(field_hz)",
                Number(2e4, 1e6),
                "Frequency the antenna is tuned to",
            ),
            key(
                $t,
                "capacitance_pf",
                "(from tuned_hz)",
                Number(1.0, 1e8),
                "Tuning capacitor, instead of tuned_hz",
            ),
            key(
                $t,
                "on_before_ms",
                "(20; 0 for a pulsed field)",
                Number(0.0, 1000.0),
                "How long the field is on before the first sample",
            ),
            key(
                $t,
                "on_ms",
                "(always on)",
                Number(0.1, 1e5),
                "Pulsed field: on for; the first pulse starts with the first sample",
            ),
            key(
                $t,
                "off_ms",
                "(always on)",
                Number(0.1, 1e5),
                "Pulsed field: off for",
            ),
            key(
                $t,
                "self_capacitance_pf",
                "0",
                Number(0.0, 5000.0),
                "Capacitance of the antenna's own turns, as if across them",
            ),
        ]
    };
    (cable $t:literal) => {
        [
            key(
                $t,
                "length_m",
                "2",
                Number(0.01, 20.0),
                "Length; at most a hundredth of a wavelength, so that it is one capacitance and one inductance",
            ),
            key(
                $t,
                "pf_per_m",
                "100",
                Number(1.0, 1000.0),
                "Capacitance of a metre, pF: coaxial 100 (50 Ω) or 67 (75 Ω), pairs 40 to 60 (from memory)",
            ),
            key(
                $t,
                "nh_per_m",
                "250",
                Number(10.0, 5000.0),
                "Inductance of a metre, nH: coaxial 250 (50 Ω) or 370 (75 Ω), pairs 500 to 700 (from memory)",
            ),
        ]
    };
    (level $t:literal, $level:literal) => {
        [
            key(
                $t,
                "level_db",
                $level,
                Number(-160.0, 60.0),
                "Peak level relative to the field at the digitiser",
            ),
            key(
                $t,
                "amplitude_v",
                "(from level_db)",
                Number(0.0, 1e4),
                "Peak at the digitiser, instead of level_db",
            ),
        ]
    };
}

const GROUPS: &[&[Key]] = &[
    &[
        key("", "name", "\"\"", Text, "One line that says what this is"),
        key(
            "",
            "seed",
            "1",
            Whole(0, i64::MAX),
            "Seed of everything random",
        ),
        key(
            "",
            "duration_s",
            "0.5",
            Number(1e-3, 60.0),
            "Length of the capture",
        ),
    ],
    &rows!(reader "reader", "134200"),
    &rows!(coil "reader.coil", "60", "45", "3"),
    &rows!(cable "reader.cable"),
    &[
        key(
            "reader.metal_sheet",
            "at_mm",
            "-30",
            Number(-2000.0, 2000.0),
            "Its near face on the antenna's axis: negative behind the antenna, positive beyond the tag",
        ),
        key(
            "reader.metal_sheet",
            "thickness_mm",
            "1",
            Number(0.001, 100.0),
            "How thick it is",
        ),
        key(
            "reader.metal_sheet",
            "conductivity_ms_per_m",
            "35",
            Number(0.1, 65.0),
            "Conductivity, MS/m: copper 58, aluminium 20 to 35, steel 4 to 8, stainless steel 1.4 (from memory)",
        ),
        key(
            "reader.metal_sheet",
            "permeability",
            "1",
            Number(1.0, 1000.0),
            "Relative permeability in weak fields: steel 50 to 300 (from memory), other metals 1",
        ),
        key(
            "reader.metal_sheet",
            "tuned_beside",
            "false",
            YesNo,
            "Whether the antenna was tuned beside the sheet; else it was tuned before and is detuned by it",
        ),
    ],
    &rows!(reader "second_reader", "134250"),
    &rows!(place "second_reader", "600"),
    &rows!(coil "second_reader.coil", "60", "45", "3"),
    &rows!(cable "second_reader.cable"),
    &rows!(sends "tag"),
    &[
        key(
            "tag",
            "preset",
            "(none)",
            OneOf(super::presets::NAMES),
            "A usual tag; keys given beside it take the place of its own (link --tags lists them)",
        ),
        key(
            "tag",
            "inductance_mh",
            "5",
            Number(0.01, 100.0),
            "Inductance of the coil on its core",
        ),
        key(
            "tag",
            "coil_q",
            "30",
            Number(1.0, 500.0),
            "Q of the coil alone at the field frequency",
        ),
        key(
            "tag",
            "effective_area_cm2",
            "100",
            Number(0.01, 1e5),
            "Open-circuit voltage over ω·B: turns × area × gain of the core",
        ),
        key(
            "tag",
            "rod_length_mm",
            "10",
            Number(0.0, 200.0),
            "Length over which the core gathers flux",
        ),
        key(
            "tag",
            "tuned_hz",
            "(the reader's field_hz)",
            Number(2e4, 1e6),
            "Frequency the tag is tuned to",
        ),
        key(
            "tag",
            "capacitance_pf",
            "(from tuned_hz)",
            Number(1.0, 1e7),
            "Tuning capacitor, instead of tuned_hz",
        ),
        key(
            "tag",
            "chip_ohm",
            "100000",
            Number(100.0, 1e9),
            "What the chip draws, as a resistance across the coil",
        ),
        key(
            "tag",
            "modulator",
            "\"resistor\"",
            OneOf(&["resistor", "capacitor"]),
            "What is switched across the coil",
        ),
        key(
            "tag",
            "modulation_ohm",
            "4000",
            Number(0.1, 1e7),
            "Resistance switched (in series with a switched capacitor)",
        ),
        key(
            "tag",
            "modulation_pf",
            "30",
            Number(0.1, 1e6),
            "Capacitance switched",
        ),
        key(
            "tag",
            "clamp_v",
            "(no clamp)",
            Number(0.1, 1000.0),
            "Peak coil voltage at which the limiter begins to conduct",
        ),
        key(
            "tag",
            "clamp_ohm",
            "300",
            Number(0.1, 1e6),
            "Slope of the limiter",
        ),
        key(
            "tag",
            "minimum_v",
            "3",
            Number(0.0, 1000.0),
            "Peak coil voltage the chip needs",
        ),
        key(
            "tag",
            "hold_up_ms",
            "0.5",
            Number(0.0, 1000.0),
            "How long the chip lives below that",
        ),
        key(
            "tag",
            "start_up_ms",
            "1",
            Number(0.0, 1000.0),
            "From enough voltage to the first bit",
        ),
    ],
    &[
        key(
            "tag.rod",
            "length_mm",
            "9",
            Number(0.5, 100.0),
            "Length of the ferrite, 1 to 50 times its diameter",
        ),
        key(
            "tag.rod",
            "diameter_mm",
            "1",
            Number(0.2, 20.0),
            "Its diameter",
        ),
        key(
            "tag.rod",
            "permeability",
            "600",
            Number(2.0, 20_000.0),
            "Its initial relative permeability",
        ),
        key("tag.rod", "turns", "900", Whole(50, 20_000), "Turns"),
        key(
            "tag.rod",
            "winding_share",
            "0.6",
            Number(0.02, 1.0),
            "Share of the rod's length that the winding covers, in its middle",
        ),
        key(
            "tag.rod",
            "winding_ratio",
            "1.2",
            Number(1.02, 2.0),
            "Mean diameter of the winding over the rod's",
        ),
    ],
    &rows!(place "tag", "80"),
    &[key(
        "tag.track",
        "at_ms",
        "0",
        Number(0.0, 6e4),
        "When, from the first sample",
    )],
    &rows!(place "tag.track", "80"),
    &[
        key(
            "direct",
            "field_hz",
            "134200",
            Number(1e5, 2e5),
            "Frequency of the field",
        ),
        key(
            "direct",
            "amplitude_v",
            "1",
            Number(1e-6, 1e4),
            "Peak of the field at the digitiser",
        ),
        key(
            "direct",
            "phase_deg",
            "(drawn from the seed)",
            Number(-360.0, 360.0),
            "Phase at the first sample",
        ),
        key(
            "direct",
            "on_ms",
            "(always on)",
            Number(1.0, 1e4),
            "Pulsed field: on for",
        ),
        key(
            "direct",
            "off_ms",
            "(always on)",
            Number(1.0, 1e4),
            "Pulsed field: off for",
        ),
    ],
    &rows!(sends "direct.tag"),
    &[
        key(
            "direct.tag",
            "depth",
            "0.01",
            Number(0.0, 0.9),
            "Half the change between the load states over the field",
        ),
        key(
            "direct.tag",
            "angle_deg",
            "30",
            Number(-180.0, 180.0),
            "0 changes the amplitude only, 90 the phase only",
        ),
        key(
            "direct.tag",
            "start_cycles",
            "(drawn from the seed)",
            Number(0.0, 4096.0),
            "Field cycles before a telegram starts",
        ),
        key(
            "direct.tag",
            "sign",
            "(drawn from the seed)",
            Whole(-1, 1),
            "Load state after that, 1 or -1",
        ),
    ],
    &[key(
        "other_tag",
        "kind",
        "\"hdx\"",
        OneOf(&["hdx", "manchester", "fsk"]),
        "Half duplex in the field's pauses, or a 125 kHz tag: Manchester code, or FSK at field/8 (0) and field/10 (1)",
    )],
    &rows!(sends "other_tag"),
    &rows!(level "other_tag", "-40"),
    &[
        key(
            "other_tag",
            "one_hz",
            "124200",
            Number(1e5, 2e5),
            "Half duplex: tone of a 1",
        ),
        key(
            "other_tag",
            "zero_hz",
            "134200",
            Number(1e5, 2e5),
            "Half duplex: tone of a 0",
        ),
        key(
            "other_tag",
            "delay_ms",
            "1.5",
            Number(0.0, 100.0),
            "Half duplex: from the field's end to the first bit",
        ),
        key(
            "other_tag",
            "decay_ms",
            "(steady)",
            Number(1.0, 1e5),
            "Half duplex: time constant with which the answer fades",
        ),
        key(
            "other_tag",
            "data",
            "(drawn from the seed)",
            Text,
            "Manchester: the 40 data bits, hex",
        ),
        key(
            "other_tag",
            "depth",
            "0.01",
            Number(0.0, 0.9),
            "125 kHz tags: half the change between the load states over the field",
        ),
        key(
            "other_tag",
            "angle_deg",
            "30",
            Number(-180.0, 180.0),
            "125 kHz tags: 0 changes the amplitude only, 90 the phase only",
        ),
        key(
            "other_tag",
            "cycles_per_bit",
            "(64; 50 for FSK)",
            Whole(16, 128),
            "125 kHz tags: field cycles of a bit",
        ),
        key(
            "other_tag",
            "start_cycles",
            "(drawn from the seed)",
            Number(0.0, 8192.0),
            "125 kHz tags: field cycles before a word starts",
        ),
    ],
    &[
        key(
            "probe",
            "at",
            "\"antenna\"",
            OneOf(&["antenna", "pickup"]),
            "Across the first reader's antenna, or on a pick-up coil",
        ),
        key(
            "probe",
            "divider",
            "(10 at the antenna, 1 at a pick-up coil)",
            Number(1.0, 1e5),
            "Volts at the probe for one volt at the digitiser",
        ),
        key(
            "probe",
            "detector",
            "\"none\"",
            OneOf(&["none", "diode"]),
            "\"diode\": samples of the rectified signal (envelope)",
        ),
        key(
            "probe",
            "detector_corner_hz",
            "10000",
            Number(100.0, 1e5),
            "Low-pass behind the diode",
        ),
    ],
    &rows!(place "probe", "80"),
    &rows!(coil "probe.coil", "20", "10", "1"),
    &[
        key(
            "digitiser",
            "rate_hz",
            "(1000000; 48000 behind a detector)",
            Number(8e3, 2e7),
            "Samples a second, as stated",
        ),
        key(
            "digitiser",
            "bits",
            "16",
            Whole(2, 32),
            "2 to 24, or 32 for floats without steps",
        ),
        key(
            "digitiser",
            "range_v",
            "(the next of 1, 2, 5, 10 … that holds the signal)",
            Number(1e-6, 1e6),
            "Full scale ±; beyond it samples are clipped",
        ),
        key(
            "digitiser",
            "offset_v",
            "0",
            Number(-1e4, 1e4),
            "Constant added to every sample",
        ),
        key(
            "digitiser",
            "ac_corner_hz",
            "0",
            Number(0.0, 1e5),
            "Corner of the AC coupling; 0 is DC",
        ),
        key(
            "digitiser",
            "clock_ppm",
            "0",
            Number(-1e4, 1e4),
            "How much faster than stated the sampling clock runs",
        ),
        key(
            "digitiser",
            "peak_detect",
            "1",
            Whole(1, 64),
            "Samples are the lowest and the highest of this many at a higher rate, in turn; 1 is off",
        ),
    ],
    &[
        key(
            "noise",
            "white_nv_per_rthz",
            "1000",
            Number(0.0, 1e9),
            "White noise density at the digitiser, one-sided",
        ),
        key(
            "noise",
            "ebn0_db",
            "(from the density)",
            Number(-60.0, 100.0),
            "White noise by the Eb/N0 of the first tag, instead of the density",
        ),
        key(
            "noise",
            "pink_nv_per_rthz_at_1khz",
            "0",
            Number(0.0, 1e9),
            "1/f noise: its density at 1 kHz",
        ),
    ],
    &[
        key(
            "band_noise",
            "centre_hz",
            "130000",
            Number(0.0, 1e7),
            "Middle of the band",
        ),
        key(
            "band_noise",
            "width_hz",
            "2000",
            Number(1.0, 1e6),
            "Full width at half density",
        ),
        key(
            "band_noise",
            "density_nv_per_rthz",
            "10000",
            Number(0.0, 1e9),
            "Density in the middle, one-sided",
        ),
    ],
    &[
        key(
            "phase_noise",
            "dbc_per_hz_at_1khz",
            "-100",
            Number(-200.0, -20.0),
            "Density at 1 kHz from the carrier, falling 20 dB a decade",
        ),
        key(
            "phase_noise",
            "floor_dbc_per_hz",
            "(none)",
            Number(-200.0, -40.0),
            "Density far from the carrier",
        ),
    ],
    &[key(
        "tone",
        "frequency_hz",
        "134250",
        Number(1.0, 1e7),
        "Frequency",
    )],
    &rows!(level "tone", "-20"),
    &[
        key(
            "tone",
            "phase_deg",
            "(drawn from the seed)",
            Number(-360.0, 360.0),
            "Phase at the first sample",
        ),
        key(
            "tone",
            "on_ms",
            "(always on)",
            Number(1.0, 1e4),
            "Pulsed: on for",
        ),
        key(
            "tone",
            "off_ms",
            "(always on)",
            Number(1.0, 1e4),
            "Pulsed: off for",
        ),
    ],
    &[key(
        "supply",
        "fundamental_hz",
        "65000",
        Number(1e3, 1e6),
        "Switching frequency",
    )],
    &rows!(level "supply", "-40"),
    &[
        key(
            "supply",
            "harmonics",
            "10",
            Whole(1, 100),
            "Highest harmonic; the level is that of the first",
        ),
        key(
            "supply",
            "rolloff_db_per_octave",
            "6",
            Number(0.0, 40.0),
            "How the harmonics fall",
        ),
        key(
            "supply",
            "jitter_percent",
            "0.1",
            Number(0.0, 10.0),
            "Rms jitter of a period, from period to period",
        ),
        key(
            "supply",
            "spread_percent",
            "0",
            Number(0.0, 20.0),
            "Peak deviation of a spread frequency (triangular)",
        ),
        key(
            "supply",
            "spread_hz",
            "400",
            Number(1.0, 1e5),
            "How often it is swept",
        ),
        key(
            "supply",
            "burst_hz",
            "0",
            Number(0.0, 1e3),
            "Bursts a second, 100 for twice 50 Hz mains; 0 is steady",
        ),
        key(
            "supply",
            "burst_percent",
            "30",
            Number(1.0, 100.0),
            "Part of the time a burst lasts",
        ),
    ],
    &[
        key(
            "fsk",
            "centre_hz",
            "129100",
            Number(1e3, 1e7),
            "Middle of the two tones",
        ),
        key(
            "fsk",
            "shift_hz",
            "170",
            Number(0.0, 1e4),
            "Tones are this far above and below",
        ),
        key("fsk", "baud", "200", Number(1.0, 1e4), "Symbols a second"),
    ],
    &rows!(level "fsk", "-60"),
    &[
        key(
            "hum",
            "mains_hz",
            "50",
            Number(10.0, 1e3),
            "Mains frequency",
        ),
        key(
            "hum",
            "amplitude_v",
            "0.01",
            Number(0.0, 1e4),
            "Peak of the fundamental at the digitiser",
        ),
        key(
            "hum",
            "harmonics",
            "3",
            Whole(1, 50),
            "Highest harmonic, falling as 1/n",
        ),
    ],
    &[key(
        "impulses",
        "rate_per_s",
        "100",
        Number(0.0, 1e6),
        "Mean number a second, at random times",
    )],
    &rows!(level "impulses", "-20"),
    &[
        key(
            "impulses",
            "ring_hz",
            "140000",
            Number(1.0, 1e7),
            "What they ring at",
        ),
        key(
            "impulses",
            "decay_us",
            "20",
            Number(0.1, 1e5),
            "Time constant of the decay",
        ),
    ],
];

/// Every key.
pub static KEYS: std::sync::LazyLock<Vec<Key>> = std::sync::LazyLock::new(|| GROUPS.concat());

impl std::fmt::Display for Allowed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Number(low, high) => write!(f, "{low} to {high}"),
            Whole(low, i64::MAX) => write!(f, "a whole number from {low}"),
            Whole(low, high) => write!(f, "a whole number, {low} to {high}"),
            OneOf(words) => write!(f, "\"{}\"", words.join("\" or \"")),
            Text => write!(f, "text"),
            YesNo => write!(f, "true or false"),
        }
    }
}

/// All tables and keys as text.
pub fn key_list() -> String {
    let mut text = String::new();
    let tables = std::iter::once(&("", TableKind::Single, "Top of the file")).chain(TABLES);
    for (table, kind, meaning) in tables {
        match kind {
            _ if table.is_empty() => text += &format!("{meaning}\n"),
            TableKind::Single => text += &format!("\n[{table}]  {meaning}\n"),
            TableKind::Repeated => text += &format!("\n[[{table}]]  {meaning}; may be repeated\n"),
        }
        for key in KEYS.iter().filter(|key| key.table == *table) {
            text += &format!(
                "  {} = {}\n      {}; allowed: {}\n",
                key.name, key.default, key.meaning, key.allowed
            );
        }
    }
    text
}
