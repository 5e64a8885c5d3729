//! Captures → what became of them: files, streams of bytes or samples in memory go in, a [`Decoded`] comes out.
//!
//! ```
//! use fieldripple::decode::{Settings, decode_file};
//!
//! let decoded = decode_file("waveforms/intake-clean.wav", &Settings::new())?;
//! for reading in &decoded.reception.readings {
//!     println!("{}, wrong with a probability of {:e}", reading.identity(), reading.attempt.decision.odds_wrong);
//! }
//! for finding in &decoded.findings {
//!     println!("{}: {}", finding.code, finding.text);
//! }
//! assert_eq!(decoded.identities()[0].to_string(), "999 100000000001");
//! # Ok::<(), fieldripple::decode::DecodeError>(())
//! ```

mod about;
mod chosen;
mod decoded;
mod error;
mod gate;
mod json;
mod likely_unit;
mod live;
mod margin;
mod opened;
mod origin;
mod pickup;
mod settings;
mod stream;
mod taken;
mod told;
mod uncertainty;
mod window;
pub mod wording;

pub use decoded::{Decoded, KeptSamples};
pub use error::DecodeError;
pub use live::{Event, Live, NumberRead, State, Summary, Visit};
pub use margin::{Margin, margin};
pub use origin::{Origin, file_name};
pub use pickup::{FieldStrength, Pickup};
pub use settings::{CENTRES_HZ, RATES_HZ, Settings};
pub use stream::Stream;
pub use told::Row;
pub use uncertainty::Uncertainty;
pub use window::Window;

use std::io::Read;
use std::path::Path;
use std::sync::Arc;

use crate::capture::{ChannelInfo, Layout, RateOrigin, SampleSource, Unit, open_bytes, open_pair};
use crate::findings::findings;
use crate::receiver::{
    LEAST_RATE_HZ, Reception, Samples, Signal, Windows, receive, receive_joined,
};
use about::AboutFile;
use gate::Gate;
use opened::Opened;

/// Reads a capture file of any known format; `-` is standard input.
///
/// # Errors
/// [`DecodeError`] for what cannot be opened or read, a channel that is not there, or a stretch without samples.
pub fn decode_file(path: impl AsRef<Path>, settings: &Settings) -> Result<Decoded, DecodeError> {
    decode_opened(Opened::file(path.as_ref(), settings)?, settings)
}

/// Reads the bytes of a capture file, as they come from a pipe or a socket; `name` is what messages call it.
///
/// # Errors
/// As [`decode_file`].
pub fn decode_reader(
    name: &str,
    reader: impl Read + Send + 'static,
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    decode_opened(Opened::reader(name, reader, settings)?, settings)
}

/// Reads the bytes of a whole capture file, as [`decode_file`] reads a file; `name` is what messages call it.
///
/// # Errors
/// As [`decode_file`].
pub fn decode_bytes(
    name: &str,
    bytes: impl Into<Arc<[u8]>>,
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    let bytes = bytes.into();
    let source = open_bytes(name, Arc::clone(&bytes), &settings.open_options())?;
    decode_in_memory(name, source, &bytes, settings)
}

/// The same for a file that describes another one, `beside` (name and bytes): the metadata of a SigMF recording and its samples.
///
/// # Errors
/// As [`decode_file`].
pub fn decode_pair(
    name: &str,
    bytes: impl Into<Arc<[u8]>>,
    beside: (&str, impl Into<Arc<[u8]>>),
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    let bytes = bytes.into();
    let beside = (beside.0, beside.1.into());
    let source = open_pair(name, Arc::clone(&bytes), beside, &settings.open_options())?;
    decode_in_memory(name, source, &bytes, settings)
}

#[cfg_attr(
    not(feature = "page"),
    expect(unused_variables, reason = "pages alone tell sums of bytes")
)]
fn decode_in_memory(
    name: &str,
    source: Box<dyn SampleSource>,
    bytes: &[u8],
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    let opened = Opened::of(source, name.into(), settings)?;
    #[cfg(feature = "page")]
    let opened = opened.watched(origin::Watch::bytes(name, bytes, settings));
    decode_opened(opened, settings)
}

/// Reads samples of one channel at `rate_hz` samples a second. `from_s`, `to_s`, `channel`, `raw` and `scale` of the settings do not
/// apply; depths are relative, so the unit does not matter.
///
/// ```
/// use fieldripple::decode::{Settings, decode_samples};
///
/// let samples: Vec<f32> = (0..50_000).map(|k| (0.5 * k as f32).sin()).collect();
/// let decoded = decode_samples(&samples, 500e3, &Settings::new())?;
/// assert!(!decoded.is_read());
/// # Ok::<(), fieldripple::decode::DecodeError>(())
/// ```
///
/// # Errors
/// [`DecodeError::Rate`] for a rate that is not finite and above 0, [`DecodeError::NotFinite`] for such a sample, and
/// [`DecodeError::NothingLeft`] where there are no samples.
pub fn decode_samples(
    samples: &[f32],
    rate_hz: f64,
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    if !(rate_hz.is_finite() && rate_hz > 0.0) {
        return Err(DecodeError::Rate { rate_hz });
    }
    if let Some(index) = samples.iter().position(|value| !value.is_finite()) {
        let value = samples[index];
        return Err(DecodeError::NotFinite { index, value });
    }
    let name = String::from("samples");
    if samples.is_empty() {
        return Err(DecodeError::NothingLeft { name, ends_s: 0.0 });
    }
    let signal = Signal {
        samples: Samples::Real(samples),
        rate_hz: Some(rate_hz),
        centre_hz: 0.0,
        logic: false,
    };
    let about = AboutFile {
        name,
        channel: "1".into(),
        unit: Unit::Unknown,
        layout: Layout {
            channels: vec![ChannelInfo {
                name: "1".into(),
                unit: Unit::Unknown,
            }],
            rate_hz: Some(rate_hz),
            rate_origin: Some(RateOrigin::Given),
            length: Some(samples.len() as u64),
            ..Layout::default()
        },
        taken: String::new(),
        remarks: Vec::new(),
        origins: Vec::new(),
    };
    let kept = settings.keep_samples.then(|| KeptSamples {
        from_s: 0.0,
        window: Window::Real(samples.to_vec()),
    });
    let reception = receive(&signal, settings.terms());
    let samples = samples.len() as u64;
    Ok(concluded(about, samples, reception, kept, settings))
}

/// Takes all captures as pieces of one tag's signal, each begun at a moment of its own, and combines them softly.
///
/// # Errors
/// As [`decode_file`]; one capture that cannot be read is an error of the whole, and so is none at all.
pub fn decode_joined(
    paths: &[impl AsRef<Path>],
    settings: &Settings,
) -> Result<Decoded, DecodeError> {
    let mut pieces: Vec<(Opened, Vec<Window>)> = Vec::new();
    for path in paths {
        let mut opened = Opened::file(path.as_ref(), settings)?;
        let mut windows = Vec::new();
        while let Some(window) = opened.next_window()? {
            windows.push(window);
        }
        if windows.is_empty() {
            return Err(opened.nothing_left());
        }
        pieces.push((opened, windows));
    }
    if pieces.is_empty() {
        return Err(DecodeError::NoCapture);
    }
    let signals: Vec<Signal<'_>> = pieces
        .iter()
        .flat_map(|(opened, windows)| windows.iter().map(|window| opened.signal(window)))
        .collect();
    let samples = signals.iter().map(|s| s.samples.len() as u64).sum();
    let reception = match receive_joined(&signals, settings.terms()) {
        Some(reception) => reception,
        None => receive(&signals[0], settings.terms()),
    };
    let names: Vec<String> = paths
        .iter()
        .map(|path| path.as_ref().display().to_string())
        .collect();
    let mut abouts = pieces.into_iter().map(|(opened, _)| opened.into_about());
    let Some(mut about) = abouts.next() else {
        return Err(DecodeError::NoCapture);
    };
    about.origins.extend(abouts.flat_map(|about| about.origins));
    about.name = names.join(" + ");
    Ok(concluded(about, samples, reception, None, settings))
}

/// Samples of all pieces of a capture that are kept to be joined.
const LONGEST_JOINED: u64 = 3 << 20;

fn decode_opened(mut opened: Opened, settings: &Settings) -> Result<Decoded, DecodeError> {
    let mut windows = Windows::new(settings.terms());
    let mut samples = 0;
    let mut kept = None;
    let mut pieces = Vec::new();
    let mut gate = Gate::new(settings);
    while let Some(mut window) = opened.next_window()? {
        let from_s = opened.time_s(samples);
        samples += window.samples().len() as u64;
        let mut reception = receive(&opened.signal(&window), settings.terms());
        if reception.is_unread() && windows.is_unread() {
            let mut unread = Vec::new();
            for (channel, other) in opened.others() {
                // The same samples once more have nothing new in them.
                if other == window || unread.contains(&other) {
                    continue;
                }
                let there = receive(&opened.signal(&other), settings.terms());
                if !there.is_unread() {
                    opened.take(channel);
                    // What the other channel said of its field is not this one's.
                    windows = Windows::new(settings.terms());
                    pieces.clear();
                    gate = Gate::new(settings);
                    (reception, window) = (there, other);
                    break;
                }
                unread.push(other);
            }
        } else {
            opened.stay();
        }
        let fits = samples < LONGEST_JOINED && !opened.layout().pieces.is_empty();
        if fits {
            pieces.push(window.clone());
        }
        gate.pass(&opened.signal(&window), &window, from_s, reception.rate_hz);
        // A figure shows the window that the receiver kept its view of.
        if windows.add(reception, from_s) && settings.keep_samples {
            kept = Some(KeptSamples { from_s, window });
        }
    }
    let mut reception = windows.finish().ok_or_else(|| opened.nothing_left())?;
    opened.stay();
    // Pieces that are too short or too weak each may do together.
    if pieces.len() > 1 && reception.is_unread() && samples < LONGEST_JOINED {
        let signals: Vec<Signal<'_>> = pieces.iter().map(|piece| opened.signal(piece)).collect();
        if let Some(joined) = receive_joined(&signals, settings.terms())
            && !joined.readings.is_empty()
        {
            reception = joined;
        }
    }
    if !reception.readings.is_empty() && reception.doubts.stated_rate_hz.is_none() {
        reception.doubts.stated_rate_hz = opened.doubted_rate_hz();
    }
    let about = opened.into_about();
    let mut decoded = concluded(about, samples, reception, kept, settings);
    decoded.visits = gate.finish();
    Ok(decoded)
}

fn concluded(
    about: AboutFile,
    samples: u64,
    reception: Reception,
    kept: Option<KeptSamples>,
    settings: &Settings,
) -> Decoded {
    let mut findings = findings(&reception, settings.odds);
    let slow = findings
        .iter_mut()
        .find(|finding| finding.code == "rate-too-low" && reception.rate_hz < LEAST_RATE_HZ);
    if let Some(finding) = slow {
        finding
            .text
            .push_str(&origin_of_rate(&about.layout, reception.rate_hz));
    }
    Decoded {
        findings,
        about,
        samples,
        reception,
        expected: settings.expected,
        odds: settings.odds,
        kept,
        visits: None,
        pickup: settings.pickup,
    }
}

/// Where an impossible rate comes from, and what may have been meant.
fn origin_of_rate(layout: &Layout, rate_hz: f64) -> String {
    let time = layout
        .columns
        .as_ref()
        .and_then(|columns| columns.time.as_ref());
    match (layout.rate_origin, time) {
        (Some(RateOrigin::TimeColumn), Some(time)) => {
            let unit = if time.unit_guessed {
                format!("which has no unit and was taken in {}", time.unit())
            } else {
                format!("in {}", time.unit())
            };
            let guess =
                likely_unit::guess(rate_hz).map_or(String::new(), |guess| format!("; {guess}"));
            format!(
                " The rate is that of the time in column {}, {unit}{guess}.",
                time.column
            )
        }
        (Some(RateOrigin::Given), _) => " The rate is the one that was given.".into(),
        (Some(RateOrigin::File), _) => " The rate is the one that the file states.".into(),
        _ => String::new(),
    }
}
