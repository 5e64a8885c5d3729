//! Delimited text as oscilloscopes, logic analysers and spreadsheets write it.
//!
//! The first megabyte decides everything about the form: which characters separate columns and decimals (`dialect`),
//! where the rows of numbers begin (`plan`), what the lines before them say (`settings`, `titles`). Then every row is
//! read by one fast loop (`rows`, `table`, for what is still coming `streamed`); the rate comes from the time column (`steps`). Edge lists of logic
//! analysers become steady samples (`edges`).

mod cell;
mod dialect;
mod digits;
pub(super) mod edges;
mod feed;
mod finish;
mod plan;
mod roles;
mod rows;
mod settings;
mod steps;
mod streamed;
mod survey;
mod table;
mod title;
mod titles;
mod written;

use super::input::Input;
use super::options::OpenOptions;
use super::{CaptureError, SampleSource};

/// What the name of an array says, read as titles and settings of text files are.
pub(super) struct ArrayTitle {
    /// Without its unit.
    pub(super) name: String,
    /// Seconds in one of its unit, where it is one of time.
    pub(super) seconds: Option<f64>,
    /// Volts in one of its unit, where it is one of voltage.
    pub(super) volts: Option<f64>,
    whole: String,
}

/// What an array with one number in it says.
pub(super) enum ArrayName {
    /// Samples per second.
    Rate(f64),
    /// Time of the first sample, seconds.
    Start(f64),
    /// Frequency that complex samples are centred on.
    Centre(f64),
    /// Nothing known.
    Other,
}

/// Takes the name of an array apart.
pub(super) fn array_name(name: &str) -> ArrayTitle {
    let title = title::Title::parse(name);
    let (seconds, volts) = match title.quantity {
        Some(title::Quantity::Time(factor)) => (Some(factor), None),
        Some(title::Quantity::Volts(factor)) => (None, Some(factor)),
        _ => (None, None),
    };
    // A letter alone is a name: `v`, `s`.
    let bare = name.chars().count() < 2;
    ArrayTitle {
        name: if bare { name.into() } else { title.name },
        seconds: seconds.filter(|_| !bare),
        volts: volts.filter(|_| !bare),
        whole: name.into(),
    }
}

impl ArrayTitle {
    /// As a setting of this value.
    pub(super) fn setting(&self, value: f64) -> ArrayName {
        let mut settings = settings::Settings::default();
        // `dt_us`, `rate_kHz`: the unit behind the name.
        let (key, unit) = match self.whole.rsplit_once('_') {
            Some((key, unit)) if title::quantity(unit).is_some() => (key, unit),
            _ => (self.whole.as_str(), ""),
        };
        settings.read_pair(key, &format!("{value:e} {unit}"), b'.');
        let centre = settings::is_centre(&self.whole) && value.is_finite();
        match (settings.rate(), settings.start_s) {
            (Some(rate_hz), _) => ArrayName::Rate(rate_hz),
            (None, Some(start_s)) => ArrayName::Start(start_s),
            _ if centre => ArrayName::Centre(value),
            _ => ArrayName::Other,
        }
    }
}

/// Text has no control characters but tabs, line ends, form feeds and the old end mark; UTF-16 has a byte order mark.
pub(super) fn looks_like_text(start: &[u8]) -> bool {
    let allowed = |&byte: &u8| byte >= b' ' || matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C | 0x1A);
    let foreign = start.iter().filter(|&&byte| byte >= 0x7F).count();
    // Letters beyond ASCII appear in titles only: a tenth is generous, unless the file is all title (UTF-8).
    let rare = foreign * 10 <= start.len() || std::str::from_utf8(start).is_ok();
    feed::byte_order(start).is_some() || (start.iter().all(allowed) && rare)
}

pub(super) fn open(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let mut feed = feed::Feed::new(input)?;
    let plan = plan::TablePlan::make(&mut feed)?;
    let table = table::Table::read(&mut feed, plan)?;
    table.into_source(feed.input(), options)
}

/// The same for text that is still coming: waits for its head alone.
pub(super) fn open_stream(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    Ok(Box::new(streamed::Streamed::open(input, options)?))
}
