//! Every table and key of a scenario file: meaning, default, range.

use Allowed::{Number, OneOf, Text, Whole, YesNo};

use super::defaults::{default_of, written};

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
    /// How its value is found if it is missing, in brackets; `None` where the table's default has one.
    pub found: Option<&'static str>,
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
        "reader.loop",
        TableKind::Repeated,
        "A winding of the antenna: that of [reader.coil] once more at this place, in series with the others; without any, one at its middle",
    ),
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
        "second_reader.loop",
        TableKind::Repeated,
        "A winding of the antenna: that of [second_reader.coil] once more at this place of its frame, in series with the others; without any, one at its middle",
    ),
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
    allowed: Allowed,
    meaning: &'static str,
) -> Key {
    Key {
        table,
        name,
        found: None,
        allowed,
        meaning,
    }
}

impl Key {
    const fn found(self, how: &'static str) -> Self {
        Self {
            found: Some(how),
            ..self
        }
    }

    /// What it is where it is missing, as it would stand in the file or, in brackets, how it is found.
    pub fn default(&self) -> String {
        self.found
            .map_or_else(|| written(&default_of(self.table, self.name)), String::from)
    }
}

/// Rows that several tables share.
macro_rules! rows {
    (sends $t:literal) => {
        [
            key($t, "id", Text, "Number, CCC:N").found("(999 and a number drawn from the seed)"),
            key($t, "animal", YesNo, "Animal flag"),
            key($t, "retag", Whole(0, 7), "Retagging counter"),
            key($t, "user", Whole(0, 31), "User information"),
            key($t, "reserved", Whole(0, 63), "Reserved bits 10 to 15"),
            key($t, "data_block", YesNo, "Data block flag"),
            key($t, "trailer", Text, "Trailer, six hex digits"),
        ]
    };
    (place $t:literal) => {
        [
            key($t, "distance_mm", Number(0.0, 1e4), "Distance from the middle of the antenna along its axis"),
            key($t, "offset_mm", Number(-1e4, 1e4), "Offset from the antenna's axis, to the side a positive tilt leans away from (-x)"),
            key($t, "offset_y_mm", Number(-1e4, 1e4), "Offset across that (y, along the height of a rectangle)"),
            key($t, "tilt_deg", Number(-360.0, 360.0), "Angle between the two axes; with an offset a positive one leans back over the antenna, against the spread of the field, and couples less than a negative one"),
            key($t, "bearing_deg", Number(-360.0, 360.0), "Which way it leans, turned about the antenna's axis: 0 back over the antenna (x), 90 along y"),
        ]
    };
    (coil $t:literal) => {
        [
            key($t, "shape", OneOf(&["circle", "rectangle"]), "Shape of a turn"),
            key($t, "radius_mm", Number(0.5, 2000.0), "Radius of the middle turn of a circle"),
            key($t, "width_mm", Number(1.0, 4000.0), "Width of the middle turn of a rectangle"),
            key($t, "height_mm", Number(1.0, 4000.0), "Height of the middle turn of a rectangle; offsets go along the width"),
            key($t, "turns", Whole(1, 5000), "Number of turns"),
            key($t, "layers", Whole(1, 5000), "Layers on top of each other; as many as turns is a flat spiral"),
            key($t, "wire_mm", Number(0.01, 20.0), "Diameter of the copper"),
            key($t, "pitch_mm", Number(0.01, 1000.0), "From turn to turn along the axis").found("(1.1 × wire_mm)"),
            key($t, "layer_pitch_mm", Number(0.01, 1000.0), "From layer to layer").found("(1.1 × wire_mm)"),
        ]
    };
    (reader $t:literal) => {
        [
            key($t, "field_hz", Number(1e5, 2e5), "Frequency of the field"),
            key($t, "drive_v", Number(0.0, 1000.0), "Peak of the driver's fundamental; a square wave from 0 to V has 2V/π"),
            key($t, "drive_phase_deg", Number(-360.0, 360.0), "Phase of the driver when it is first switched on"),
            key($t, "source_ohm", Number(0.01, 1e6), "Driver and series resistance"),
            key($t, "topology", OneOf(&["series", "parallel"]), "Series or parallel resonance"),
            key($t, "inductance_uh", Number(0.1, 1e5), "Measured inductance of the antenna").found("(from the coil)"),
            key($t, "coil_ohm", Number(0.0, 1e4), "Measured series resistance of the antenna at the field frequency").found("(from the coil)"),
            key($t, "coil_q", Number(1.0, 1000.0), "Measured Q of the antenna coil, instead of coil_ohm").found("(from the coil)"),
            key($t, "tuned_hz", Number(2e4, 1e6), "Frequency the antenna is tuned to").found("(field_hz)"),
            key($t, "capacitance_pf", Number(1.0, 1e8), "Tuning capacitor, instead of tuned_hz").found("(from tuned_hz)"),
            key($t, "on_before_ms", Number(0.0, 1000.0), "How long the field is on before the first sample").found("(20; 0 for a pulsed field)"),
            key($t, "on_ms", Number(0.1, 1e5), "Pulsed field: on for; the first pulse starts with the first sample").found("(always on)"),
            key($t, "off_ms", Number(0.1, 1e5), "Pulsed field: off for").found("(always on)"),
            key($t, "self_capacitance_pf", Number(0.0, 5000.0), "Capacitance of the antenna's own turns, as if across them"),
        ]
    };
    (reversed $t:literal) => {
        [key($t, "reversed", YesNo, "Connected the other way round: the other half of a figure of eight, a gate's other side in antiphase")]
    };
    (cable $t:literal) => {
        [
            key($t, "length_m", Number(0.01, 20.0), "Length; at most a hundredth of a wavelength, so that it is one capacitance and one inductance"),
            key($t, "pf_per_m", Number(1.0, 1000.0), "Capacitance of a metre, pF: coaxial 100 (50 Ω) or 67 (75 Ω), pairs 40 to 60 (from memory)"),
            key($t, "nh_per_m", Number(10.0, 5000.0), "Inductance of a metre, nH: coaxial 250 (50 Ω) or 370 (75 Ω), pairs 500 to 700 (from memory)"),
        ]
    };
    (level $t:literal) => {
        [
            key($t, "level_db", Number(-160.0, 60.0), "Peak level relative to the field at the digitiser"),
            key($t, "amplitude_v", Number(0.0, 1e4), "Peak at the digitiser, instead of level_db").found("(from level_db)"),
        ]
    };
}

const GROUPS: &[&[Key]] = &[
    &[
        key("", "name", Text, "One line that says what this is"),
        key("", "seed", Whole(0, i64::MAX), "Seed of everything random"),
        key(
            "",
            "duration_s",
            Number(1e-3, 60.0),
            "Length of the capture",
        ),
    ],
    &rows!(reader "reader"),
    &rows!(coil "reader.coil"),
    &rows!(place "reader.loop"),
    &rows!(reversed "reader.loop"),
    &rows!(cable "reader.cable"),
    &[
        key(
            "reader.metal_sheet",
            "at_mm",
            Number(-2000.0, 2000.0),
            "Its near face on the antenna's axis: negative behind the antenna, positive beyond the tag",
        ),
        key(
            "reader.metal_sheet",
            "thickness_mm",
            Number(0.001, 100.0),
            "How thick it is",
        ),
        key(
            "reader.metal_sheet",
            "conductivity_ms_per_m",
            Number(0.1, 65.0),
            "Conductivity, MS/m: copper 58, aluminium 20 to 35, steel 4 to 8, stainless steel 1.4 (from memory)",
        ),
        key(
            "reader.metal_sheet",
            "permeability",
            Number(1.0, 1000.0),
            "Relative permeability in weak fields: steel 50 to 300 (from memory), other metals 1",
        ),
        key(
            "reader.metal_sheet",
            "tuned_beside",
            YesNo,
            "Whether the antenna was tuned beside the sheet; else it was tuned before and is detuned by it",
        ),
    ],
    &rows!(reader "second_reader"),
    &rows!(place "second_reader"),
    &rows!(coil "second_reader.coil"),
    &rows!(place "second_reader.loop"),
    &rows!(reversed "second_reader.loop"),
    &rows!(cable "second_reader.cable"),
    &rows!(sends "tag"),
    &[
        key(
            "tag",
            "preset",
            OneOf(super::presets::NAMES),
            "A usual tag; keys given beside it take the place of its own (link --tags lists them)",
        )
        .found("(none)"),
        key(
            "tag",
            "inductance_mh",
            Number(0.01, 100.0),
            "Inductance of the coil on its core",
        ),
        key(
            "tag",
            "coil_q",
            Number(1.0, 500.0),
            "Q of the coil alone at the field frequency",
        ),
        key(
            "tag",
            "effective_area_cm2",
            Number(0.01, 1e5),
            "Open-circuit voltage over ω·B: turns × area × gain of the core",
        ),
        key(
            "tag",
            "rod_length_mm",
            Number(0.0, 200.0),
            "Length over which the core gathers flux",
        ),
        key(
            "tag",
            "tuned_hz",
            Number(2e4, 1e6),
            "Frequency the tag is tuned to",
        )
        .found("(the reader's field_hz)"),
        key(
            "tag",
            "capacitance_pf",
            Number(1.0, 1e7),
            "Tuning capacitor, instead of tuned_hz",
        )
        .found("(from tuned_hz)"),
        key(
            "tag",
            "chip_ohm",
            Number(100.0, 1e9),
            "What the chip draws, as a resistance across the coil",
        ),
        key(
            "tag",
            "modulator",
            OneOf(&["resistor", "capacitor"]),
            "What is switched across the coil",
        ),
        key(
            "tag",
            "modulation_ohm",
            Number(0.1, 1e7),
            "Resistance switched (in series with a switched capacitor)",
        ),
        key(
            "tag",
            "modulation_pf",
            Number(0.1, 1e6),
            "Capacitance switched",
        ),
        key(
            "tag",
            "clamp_v",
            Number(0.1, 1000.0),
            "Peak coil voltage at which the limiter begins to conduct",
        )
        .found("(no clamp)"),
        key("tag", "clamp_ohm", Number(0.1, 1e6), "Slope of the limiter"),
        key(
            "tag",
            "minimum_v",
            Number(0.0, 1000.0),
            "Peak coil voltage the chip needs",
        ),
        key(
            "tag",
            "hold_up_ms",
            Number(0.0, 1000.0),
            "How long the chip lives below that",
        ),
        key(
            "tag",
            "start_up_ms",
            Number(0.0, 1000.0),
            "From enough voltage to the first bit",
        ),
    ],
    &[
        key(
            "tag.rod",
            "length_mm",
            Number(0.5, 100.0),
            "Length of the ferrite, 1 to 50 times its diameter",
        ),
        key("tag.rod", "diameter_mm", Number(0.2, 20.0), "Its diameter"),
        key(
            "tag.rod",
            "permeability",
            Number(2.0, 20_000.0),
            "Its initial relative permeability",
        ),
        key("tag.rod", "turns", Whole(50, 20_000), "Turns"),
        key(
            "tag.rod",
            "winding_share",
            Number(0.02, 1.0),
            "Share of the rod's length that the winding covers, in its middle",
        ),
        key(
            "tag.rod",
            "winding_ratio",
            Number(1.02, 2.0),
            "Mean diameter of the winding over the rod's",
        ),
    ],
    &rows!(place "tag"),
    &[key(
        "tag.track",
        "at_ms",
        Number(0.0, 6e4),
        "When, from the first sample",
    )],
    &rows!(place "tag.track"),
    &[
        key(
            "direct",
            "field_hz",
            Number(1e5, 2e5),
            "Frequency of the field",
        ),
        key(
            "direct",
            "amplitude_v",
            Number(1e-6, 1e4),
            "Peak of the field at the digitiser",
        ),
        key(
            "direct",
            "phase_deg",
            Number(-360.0, 360.0),
            "Phase at the first sample",
        )
        .found("(drawn from the seed)"),
        key("direct", "on_ms", Number(1.0, 1e4), "Pulsed field: on for").found("(always on)"),
        key(
            "direct",
            "off_ms",
            Number(1.0, 1e4),
            "Pulsed field: off for",
        )
        .found("(always on)"),
    ],
    &rows!(sends "direct.tag"),
    &[
        key(
            "direct.tag",
            "depth",
            Number(0.0, 0.9),
            "Half the change between the load states over the field",
        ),
        key(
            "direct.tag",
            "angle_deg",
            Number(-180.0, 180.0),
            "0 changes the amplitude only, 90 the phase only",
        ),
        key(
            "direct.tag",
            "start_cycles",
            Number(0.0, 4096.0),
            "Field cycles before a telegram starts",
        )
        .found("(drawn from the seed)"),
        key(
            "direct.tag",
            "sign",
            Whole(-1, 1),
            "Load state after that, 1 or -1",
        )
        .found("(drawn from the seed)"),
    ],
    &[key(
        "other_tag",
        "kind",
        OneOf(&["hdx", "manchester", "fsk"]),
        "Half duplex in the field's pauses, or a 125 kHz tag: Manchester code, or FSK at field/8 (0) and field/10 (1)",
    )],
    &rows!(sends "other_tag"),
    &rows!(level "other_tag"),
    &[
        key(
            "other_tag",
            "one_hz",
            Number(1e5, 2e5),
            "Half duplex: tone of a 1",
        ),
        key(
            "other_tag",
            "zero_hz",
            Number(1e5, 2e5),
            "Half duplex: tone of a 0",
        ),
        key(
            "other_tag",
            "delay_ms",
            Number(0.0, 100.0),
            "Half duplex: from the field's end to the first bit",
        ),
        key(
            "other_tag",
            "decay_ms",
            Number(1.0, 1e5),
            "Half duplex: time constant with which the answer fades",
        )
        .found("(steady)"),
        key(
            "other_tag",
            "data",
            Text,
            "Manchester: the 40 data bits, hex",
        )
        .found("(drawn from the seed)"),
        key(
            "other_tag",
            "depth",
            Number(0.0, 0.9),
            "125 kHz tags: half the change between the load states over the field",
        ),
        key(
            "other_tag",
            "angle_deg",
            Number(-180.0, 180.0),
            "125 kHz tags: 0 changes the amplitude only, 90 the phase only",
        ),
        key(
            "other_tag",
            "cycles_per_bit",
            Whole(16, 128),
            "125 kHz tags: field cycles of a bit",
        )
        .found("(64; 50 for FSK)"),
        key(
            "other_tag",
            "start_cycles",
            Number(0.0, 8192.0),
            "125 kHz tags: field cycles before a word starts",
        )
        .found("(drawn from the seed)"),
    ],
    &[
        key(
            "probe",
            "at",
            OneOf(&["antenna", "pickup"]),
            "Across the first reader's antenna, or on a pick-up coil",
        ),
        key(
            "probe",
            "divider",
            Number(1.0, 1e5),
            "Volts at the probe for one volt at the digitiser",
        )
        .found("(10 at the antenna, 1 at a pick-up coil)"),
        key(
            "probe",
            "detector",
            OneOf(&["none", "diode"]),
            "\"diode\": samples of the rectified signal (envelope)",
        ),
        key(
            "probe",
            "detector_corner_hz",
            Number(100.0, 1e5),
            "Low-pass behind the diode",
        ),
    ],
    &rows!(place "probe"),
    &rows!(coil "probe.coil"),
    &[
        key(
            "digitiser",
            "rate_hz",
            Number(8e3, 2e7),
            "Samples a second, as stated",
        )
        .found("(1000000; 48000 behind a detector)"),
        key(
            "digitiser",
            "bits",
            Whole(2, 32),
            "2 to 24, or 32 for floats without steps",
        ),
        key(
            "digitiser",
            "range_v",
            Number(1e-6, 1e6),
            "Full scale ±; beyond it samples are clipped",
        )
        .found("(the next of 1, 2, 5, 10 … that holds the signal)"),
        key(
            "digitiser",
            "offset_v",
            Number(-1e4, 1e4),
            "Constant added to every sample",
        ),
        key(
            "digitiser",
            "ac_corner_hz",
            Number(0.0, 1e5),
            "Corner of the AC coupling; 0 is DC",
        ),
        key(
            "digitiser",
            "clock_ppm",
            Number(-1e4, 1e4),
            "How much faster than stated the sampling clock runs",
        ),
        key(
            "digitiser",
            "peak_detect",
            Whole(1, 64),
            "Samples are the lowest and the highest of this many at a higher rate, in turn; 1 is off",
        ),
    ],
    &[
        key(
            "noise",
            "white_nv_per_rthz",
            Number(0.0, 1e9),
            "White noise density at the digitiser, one-sided",
        ),
        key(
            "noise",
            "ebn0_db",
            Number(-60.0, 100.0),
            "White noise by the Eb/N0 of the first tag, instead of the density",
        )
        .found("(from the density)"),
        key(
            "noise",
            "pink_nv_per_rthz_at_1khz",
            Number(0.0, 1e9),
            "1/f noise: its density at 1 kHz",
        ),
    ],
    &[
        key(
            "band_noise",
            "centre_hz",
            Number(0.0, 1e7),
            "Middle of the band",
        ),
        key(
            "band_noise",
            "width_hz",
            Number(1.0, 1e6),
            "Full width at half density",
        ),
        key(
            "band_noise",
            "density_nv_per_rthz",
            Number(0.0, 1e9),
            "Density in the middle, one-sided",
        ),
    ],
    &[
        key(
            "phase_noise",
            "dbc_per_hz_at_1khz",
            Number(-200.0, -20.0),
            "Density at 1 kHz from the carrier, falling 20 dB a decade",
        ),
        key(
            "phase_noise",
            "floor_dbc_per_hz",
            Number(-200.0, -40.0),
            "Density far from the carrier",
        )
        .found("(none)"),
    ],
    &[key("tone", "frequency_hz", Number(1.0, 1e7), "Frequency")],
    &rows!(level "tone"),
    &[
        key(
            "tone",
            "phase_deg",
            Number(-360.0, 360.0),
            "Phase at the first sample",
        )
        .found("(drawn from the seed)"),
        key("tone", "on_ms", Number(1.0, 1e4), "Pulsed: on for").found("(always on)"),
        key("tone", "off_ms", Number(1.0, 1e4), "Pulsed: off for").found("(always on)"),
    ],
    &[key(
        "supply",
        "fundamental_hz",
        Number(1e3, 1e6),
        "Switching frequency",
    )],
    &rows!(level "supply"),
    &[
        key(
            "supply",
            "harmonics",
            Whole(1, 100),
            "Highest harmonic; the level is that of the first",
        ),
        key(
            "supply",
            "rolloff_db_per_octave",
            Number(0.0, 40.0),
            "How the harmonics fall",
        ),
        key(
            "supply",
            "jitter_percent",
            Number(0.0, 10.0),
            "Rms jitter of a period, from period to period",
        ),
        key(
            "supply",
            "spread_percent",
            Number(0.0, 20.0),
            "Peak deviation of a spread frequency (triangular)",
        ),
        key(
            "supply",
            "spread_hz",
            Number(1.0, 1e5),
            "How often it is swept",
        ),
        key(
            "supply",
            "burst_hz",
            Number(0.0, 1e3),
            "Bursts a second, 100 for twice 50 Hz mains; 0 is steady",
        ),
        key(
            "supply",
            "burst_percent",
            Number(1.0, 100.0),
            "Part of the time a burst lasts",
        ),
    ],
    &[
        key(
            "fsk",
            "centre_hz",
            Number(1e3, 1e7),
            "Middle of the two tones",
        ),
        key(
            "fsk",
            "shift_hz",
            Number(0.0, 1e4),
            "Tones are this far above and below",
        ),
        key("fsk", "baud", Number(1.0, 1e4), "Symbols a second"),
    ],
    &rows!(level "fsk"),
    &[
        key("hum", "mains_hz", Number(10.0, 1e3), "Mains frequency"),
        key(
            "hum",
            "amplitude_v",
            Number(0.0, 1e4),
            "Peak of the fundamental at the digitiser",
        ),
        key(
            "hum",
            "harmonics",
            Whole(1, 50),
            "Highest harmonic, falling as 1/n",
        ),
    ],
    &[key(
        "impulses",
        "rate_per_s",
        Number(0.0, 1e6),
        "Mean number a second, at random times",
    )],
    &rows!(level "impulses"),
    &[
        key("impulses", "ring_hz", Number(1.0, 1e7), "What they ring at"),
        key(
            "impulses",
            "decay_us",
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
                key.name,
                key.default(),
                key.meaning,
                key.allowed
            );
        }
    }
    text
}
