//! Column titles: name and unit.

use super::super::Unit;

/// Physical quantity of a column, with the factor to its base unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Quantity {
    /// Seconds.
    Time(f64),
    /// Volts.
    Volts(f64),
    /// Fractions of full scale.
    FullScale,
    /// Sample numbers.
    Count,
    /// A frequency: the rows are a spectrum's.
    Frequency,
}

/// A title taken apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Title {
    pub(super) name: String,
    pub(super) quantity: Option<Quantity>,
}

impl Title {
    /// `CH1 (mV)`, `Time[us]`, `time_s`, `Time, s`, `Voltage / V`, `CH2 in mV`, `volts`.
    pub(super) fn parse(text: &str) -> Self {
        let text = tidy(text);
        for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
            if let Some(inner) = text.strip_suffix(close)
                && let Some((name, unit)) = inner.rsplit_once(open)
            {
                return Self {
                    name: tidy(name),
                    quantity: quantity(unit),
                };
            }
        }
        if let Some(quantity) = quantity(&text) {
            return Self {
                name: text,
                quantity: Some(quantity),
            };
        }
        for separator in [" / ", "/", ",", " in ", "_", " "] {
            if let Some((name, unit)) = text.rsplit_once(separator)
                && !name.trim().is_empty()
                && let Some(quantity) = quantity(unit)
            {
                return Self {
                    name: tidy(name),
                    quantity: Some(quantity),
                };
            }
        }
        Self {
            name: text,
            quantity: None,
        }
    }

    pub(super) fn is_time(&self) -> bool {
        let name = self.name.to_lowercase();
        let known = [
            "t",
            "zeit",
            "temps",
            "tempo",
            "tiempo",
            "x-axis",
            "x axis",
            "second",
            "seconds",
            "date",
            "timestamp",
            "date/time",
            "datetime",
            "clock",
            "uhrzeit",
        ];
        matches!(self.quantity, Some(Quantity::Time(_)))
            || (self.quantity.is_none()
                && (name.starts_with("time") || known.contains(&name.as_str())))
    }

    /// The column of a spectrum.
    pub(super) fn is_frequency(&self) -> bool {
        let name = self.name.to_lowercase();
        self.quantity == Some(Quantity::Frequency)
            || (self.quantity.is_none()
                && ["frequency", "freq", "frequenz", "f"].contains(&name.as_str()))
    }

    /// No unit but of time, and no name of a channel (`CH1`, `D0`, `Channel A`).
    pub(super) fn may_be_time(&self) -> bool {
        let name = self.name.to_lowercase();
        let digits = name.trim_start_matches(|c: char| c.is_alphabetic());
        let numbered = !digits.is_empty()
            && digits.len() < name.len()
            && digits.bytes().all(|b| b.is_ascii_digit());
        self.quantity.is_none() && !name.starts_with("ch") && !numbered
    }

    pub(super) fn is_count(&self) -> bool {
        let name = self.name.to_lowercase();
        let known = [
            "index", "no", "no.", "nr", "nr.", "n", "#", "i", "point", "points", "row", "sequence",
        ];
        let sample = name.starts_with("sample") && !name.contains("time");
        self.quantity == Some(Quantity::Count)
            || (self.quantity.is_none() && (known.contains(&name.as_str()) || sample))
    }

    /// Unit and factor of a column of values.
    pub(super) fn unit(&self) -> (Unit, f64) {
        match self.quantity {
            Some(Quantity::Volts(factor)) => (Unit::Volt, factor),
            Some(Quantity::FullScale) => (Unit::FullScale, 1.0),
            _ => (Unit::Unknown, 1.0),
        }
    }
}

/// A unit alone, with or without brackets around it.
pub(super) fn quantity(text: &str) -> Option<Quantity> {
    let text = text
        .trim()
        .trim_matches(['(', ')', '[', ']', '{', '}', '"', '\'', '.'])
        .trim();
    let lower = text.to_lowercase();
    match lower.as_str() {
        "fs" | "full scale" | "fraction of full scale" => return Some(Quantity::FullScale),
        "sequence" | "samples" | "counts" | "points" => return Some(Quantity::Count),
        "hz" | "khz" | "mhz" | "ghz" | "hertz" => return Some(Quantity::Frequency),
        _ => {}
    }
    const BASES: [&str; 9] = [
        "seconds", "second", "secs", "sec", "volts", "volt", "vpp", "s", "v",
    ];
    let base = BASES.into_iter().find(|base| lower.ends_with(base))?;
    let factor = prefix(lower.strip_suffix(base)?.trim())?;
    Some(if base.starts_with('s') {
        Quantity::Time(factor)
    } else {
        Quantity::Volts(factor)
    })
}

/// Decimal prefix of a time or a voltage, lower case. Capital M is milli too: nobody writes megaseconds or megavolts
/// into a capture, but some instruments shout.
pub(super) fn prefix(text: &str) -> Option<f64> {
    Some(match text {
        "" => 1.0,
        "p" | "pico" => 1e-12,
        "n" | "nano" => 1e-9,
        // Micro sign, Greek mu, the letter in its place, and what is left of it after a wrong conversion.
        "u" | "µ" | "μ" | "micro" | "\u{FFFD}" | "?" => 1e-6,
        "m" | "milli" => 1e-3,
        "k" | "kilo" => 1e3,
        _ => return None,
    })
}

/// Without quotes, comment marks and characters that would spoil a line of output.
fn tidy(text: &str) -> String {
    let clean: String = text
        .chars()
        .filter(|c| *c != '"')
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(64)
        .collect();
    clean
        .trim()
        .trim_matches('\'')
        .trim_end_matches([':', ','])
        .trim()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use Quantity::*;

    #[test]
    fn units_in_titles() {
        for (text, name, quantity) in [
            ("CH1 (mV)", "CH1", Some(Volts(1e-3))),
            ("Time (µs)", "Time", Some(Time(1e-6))),
            ("Time[ms]", "Time", Some(Time(1e-3))),
            ("\"time_s\"", "time", Some(Time(1.0))),
            ("Time, s", "Time", Some(Time(1.0))),
            ("volts", "volts", Some(Volts(1.0))),
            ("Coil / kV", "Coil", Some(Volts(1e3))),
            ("Channel A", "Channel A", None),
            ("CH1", "CH1", None),
            ("D0", "D0", None),
            ("probe_fs", "probe", Some(FullScale)),
        ] {
            let title = Title::parse(text);
            assert_eq!(
                (title.name.as_str(), title.quantity),
                (name, quantity),
                "{text}"
            );
        }
    }

    #[test]
    fn bare_units() {
        assert_eq!(quantity("(mV)"), Some(Volts(1e-3)));
        assert_eq!(quantity("Volt"), Some(Volts(1.0)));
        assert_eq!(quantity("millivolts"), Some(Volts(1e-3)));
        assert_eq!(quantity("microseconds"), Some(Time(1e-6)));
        assert_eq!(quantity("chans"), None);
        assert_eq!(quantity(""), None);
    }

    #[test]
    fn what_counts_time() {
        for text in ["Time", "t", "x-axis", "TIME (s)", "Zeit", "second"] {
            assert!(Title::parse(text).is_time(), "{text}");
        }
        for text in ["CH1", "Volt", "Sample", "", "D0"] {
            assert!(!Title::parse(text).is_time(), "{text}");
        }
        assert!(Title::parse("Sample number").is_count());
    }
}
