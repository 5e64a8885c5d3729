//! What the lines before the numbers say about time: sample interval, sample rate, start.

use super::digits;
use super::title::{self, Quantity};

/// Settings found in a preamble.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Settings {
    pub(super) interval_s: Option<f64>,
    pub(super) rate_hz: Option<f64>,
    pub(super) start_s: Option<f64>,
    /// Factor of the time column, where a line of its own states its unit.
    pub(super) time_unit: Option<f64>,
    /// Factor of the value columns likewise.
    pub(super) volt_unit: Option<f64>,
}

/// What a key speaks of.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Key {
    Interval,
    Rate,
    Start,
    TimeUnit,
    VoltUnit,
}

impl Settings {
    /// Samples per second.
    pub(super) fn rate(&self) -> Option<f64> {
        self.rate_hz
            .or(self.interval_s.map(|interval| 1.0 / interval))
    }

    /// Reads a line `key SEPARATOR value [unit]`; `true` if it was a setting with a number.
    pub(super) fn read_line(&mut self, line: &str, mark: u8) -> bool {
        let line = line
            .trim()
            .trim_start_matches(['#', '%', ';', '/', '"', ' ']);
        let end = line.find([':', '=', ',', ';', '\t']).or_else(|| {
            // "Sample rate 1000000 Hz"
            line.find(|c: char| c.is_ascii_digit())
        });
        let Some(end) = end else { return false };
        let (key, rest) = line.split_at(end);
        let rest = rest.trim_start_matches([':', '=', ',', ';', '\t', ' ', '"']);
        self.read_pair(key, rest, mark)
    }

    /// Reads a line of cells that are each `key=value` or `key=value(unit)`; `true` if it was one.
    pub(super) fn read_cells(&mut self, line: &str, mark: u8) -> bool {
        let mut found = false;
        let line = line
            .trim()
            .trim_start_matches(['#', '%', ';', '/', '"', ' ']);
        for cell in line.split([',', ';', '\t']) {
            let Some((key, value)) = cell.split_once('=') else {
                continue;
            };
            if digits::number(value.trim_start().as_bytes(), mark).is_some() {
                found = true;
                self.read_pair(key.trim_start_matches(['#', ' ']), value, mark);
            }
        }
        found
    }

    /// Reads a pair whose value may be followed by its unit; the key may name it too (`Interval (us)`).
    pub(super) fn read_pair(&mut self, key: &str, value: &str, mark: u8) -> bool {
        let Some(kind) = key_of(key) else {
            return false;
        };
        match kind {
            Key::TimeUnit | Key::VoltUnit => {
                let unit = value
                    .split([',', ';', '\t'])
                    .next()
                    .and_then(title::quantity);
                match (unit, kind) {
                    (Some(Quantity::Time(factor)), _) => {
                        self.time_unit = self.time_unit.or(Some(factor))
                    }
                    (Some(Quantity::Volts(factor)), Key::VoltUnit) => {
                        self.volt_unit = self.volt_unit.or(Some(factor))
                    }
                    _ => return false,
                }
                return true;
            }
            _ => {}
        }
        let value = value.trim_start();
        let Some((number, length)) = digits::number(value.as_bytes(), mark) else {
            return false;
        };
        let after = value[length..].trim_start_matches([',', ';', '\t', ' ', '"']);
        let unit = after
            .split([',', ';', '\t', '"', '\r'])
            .next()
            .unwrap_or("")
            .trim();
        let unit = if unit.is_empty() {
            bracketed(key)
        } else {
            unit
        };
        let time = match title::quantity(unit) {
            Some(Quantity::Time(factor)) => Some(number * factor),
            // A prefix alone: "500n".
            _ => title::prefix(&unit.to_lowercase()).map(|factor| number * factor),
        };
        let positive = |value: f64| (value.is_finite() && value > 0.0).then_some(value);
        match kind {
            Key::Interval => {
                let interval = positive(time.unwrap_or(number));
                self.interval_s = self.interval_s.or(interval);
            }
            Key::Rate => {
                let rate = match rate_factor(unit) {
                    Some(factor) => number * factor,
                    // A "rate" of 1 us is an interval.
                    None => match title::quantity(unit) {
                        Some(Quantity::Time(factor)) => 1.0 / (number * factor),
                        _ => number,
                    },
                };
                self.rate_hz = self.rate_hz.or(positive(rate));
            }
            Key::Start => {
                let start = time.unwrap_or(number);
                self.start_s = self.start_s.or(start.is_finite().then_some(start));
            }
            Key::TimeUnit | Key::VoltUnit => {}
        }
        true
    }
}

/// What a key speaks of, by its words: those that count within a longer name, and those that count alone. The first that fits holds.
const WORDS: [(Key, &[&str], &[&str]); 5] = [
    (
        Key::Interval,
        &[
            "abtastintervall",
            "abtastperiode",
            "périodedéchantillonnage",
            "tinterval",
            "timeinterval",
            "samplestep",
            "secondspersample",
            "samplespacing",
            "sampleinterval",
            "samplinginterval",
            "sampleperiod",
            "samplingperiod",
            "sampletime",
            "samplingtime",
            "timestep",
            "timeincrement",
            "xincr",
            "tincr",
            "horizontalincrement",
            "deltat",
            "timedelta",
            "timeresolution",
            "horizontalresolution",
            "timeperpoint",
            "timepersample",
        ],
        &[
            "hresolution",
            "xinc",
            "step",
            "increment",
            "dt",
            "interval",
            "ts",
            "deltax",
            "xdelta",
            "tsample",
        ],
    ),
    (
        Key::Rate,
        &[
            "abtastrate",
            "abtastfrequenz",
            "fréquencedéchantillonnage",
            "samplerate",
            "samplingrate",
            "samplingfrequency",
            "samplefrequency",
            "samplespersecond",
            "samplingfreq",
            "samplefreq",
            "sampleclock",
        ],
        &["fs", "fsample", "rate", "srate", "sampling"],
    ),
    (
        Key::Start,
        &[],
        &[
            "start",
            "starttime",
            "xzero",
            "xorigin",
            "xorg",
            "horizontalstart",
            "tstart",
            "t0",
        ],
    ),
    (
        Key::TimeUnit,
        &[],
        &[
            "horizontalunits",
            "horizontalunit",
            "xunits",
            "xunit",
            "timeunit",
            "timeunits",
            "hunit",
        ],
    ),
    (
        Key::VoltUnit,
        &[],
        &[
            "verticalunits",
            "verticalunit",
            "yunits",
            "yunit",
            "voltageunit",
            "vunit",
            "unit",
            "units",
        ],
    ),
];

fn key_of(key: &str) -> Option<Key> {
    // Brackets hold the unit.
    let name = compact(key.split(['(', '[']).next().unwrap_or(key));
    let speaks = |(_, within, alone): &&(Key, &[&str], &[&str])| {
        within.iter().any(|word| name.contains(word)) || alone.contains(&name.as_str())
    };
    WORDS.iter().find(speaks).map(|(key, ..)| *key)
}

/// A name as it is compared: letters and digits, none of them capitals.
fn compact(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

/// Does a name speak of the frequency that complex samples are centred on?
pub(super) fn is_centre(key: &str) -> bool {
    let compact = compact(key);
    let name = compact.strip_suffix("hz").unwrap_or(&compact);
    [
        "fc",
        "f0",
        "centre",
        "center",
        "centrefreq",
        "centerfreq",
        "centrefrequency",
        "centerfrequency",
    ]
    .contains(&name)
}

fn bracketed(key: &str) -> &str {
    let inner = key.rsplit_once(['(', '[']).map_or("", |(_, inner)| inner);
    inner.trim().trim_end_matches([')', ']', '"', ':']).trim()
}

/// Factor of a rate: Hz, samples a second in their spellings. m is mega here: nobody samples at millihertz.
fn rate_factor(unit: &str) -> Option<f64> {
    let unit = unit.to_lowercase();
    const BASES: [&str; 9] = [
        "hz",
        "hertz",
        "samples/s",
        "samples/sec",
        "samples/second",
        "sa/s",
        "sps",
        "s/s",
        "",
    ];
    BASES.into_iter().find_map(|base| {
        Some(match unit.strip_suffix(base)?.trim() {
            "" => 1.0,
            "k" => 1e3,
            "m" => 1e6,
            "g" => 1e9,
            _ => return None,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_and_intervals_in_their_spellings() {
        for (line, mark, rate) in [
            ("Sample Interval,5e-7,s,,", b'.', 2e6),
            ("\"Sample Interval:\",\"5e-7\"", b'.', 2e6),
            ("Sampling Period: 1uS", b'.', 1e6),
            ("Sampling Period (us)\t0.5", b'.', 2e6),
            ("Abtastrate; fs = 1", b'.', 0.0),
            ("Sample interval;5,0E-7;s", b',', 2e6),
            ("# sample rate: 1 MSa/s", b'.', 1e6),
            ("Sample Rate 250000 Hz", b'.', 250e3),
            ("Sampling Rate (kHz),500", b'.', 500e3),
            ("SampleRate=1.25G", b'.', 1.25e9),
            ("XINCR,4.0E-7", b'.', 2.5e6),
            ("; Rate=2 MHz", b'.', 2e6),
            ("dt = 500n", b'.', 2e6),
            ("step,0.0000025,s", b'.', 400e3),
            ("Vertical scale,1e-3", b'.', 0.0),
            ("yincrement,1e-3", b'.', 0.0),
        ] {
            let mut settings = Settings::default();
            settings.read_line(line, mark);
            let got = settings.rate().unwrap_or(0.0);
            assert!((got - rate).abs() <= 1e-12 * rate, "{line}: {got} {rate}");
        }
    }
}
