//! Value change dumps of logic analysers and simulators (IEEE 1364-2005, clause 18): single bits.

use super::input::Input;
use super::options::OpenOptions;
use super::text::edges;
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use std::collections::HashMap;
use std::io::{BufRead, BufReader, ErrorKind, Read};
use vcd::Command;

/// Longest file read; the changes of an hour of tags are a tenth of it.
const BYTES_LIMIT: u64 = 1 << 28;
/// Most tracks kept: logic analysers have 16.
const TRACK_LIMIT: usize = 16;

/// A `$` section of header words at the start, one that only this format has among them.
pub(super) fn is_vcd(start: &[u8]) -> bool {
    let has = |word: &[u8]| start.windows(word.len()).any(|window| window == word);
    start.trim_ascii_start().starts_with(b"$")
        && has(b"$end")
        && (has(b"$var") || has(b"$timescale"))
}

/// One bit over time.
struct Track {
    name: String,
    /// Time in units of the file and the state from then on.
    changes: Vec<(u64, bool)>,
}

struct Dump {
    tracks: Vec<Track>,
    unit_s: f64,
    last: u64,
}

pub(super) fn open(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = input.path().to_owned();
    let malformed = |place: String, found: String| CaptureError::Malformed {
        path: path.clone(),
        place,
        found,
        allowed: "a value change dump with single-bit variables is needed".into(),
    };
    let dump = parse(BufReader::new(input.take(BYTES_LIMIT)))
        .map_err(|(line, found)| malformed(format!("line {line}"), found))?;
    let tracks: Vec<Track> = dump
        .tracks
        .into_iter()
        .filter(|track| track.changes.len() > 2)
        .collect();
    let first = tracks
        .iter()
        .filter_map(|track| track.changes.first())
        .map(|change| change.0)
        .min();
    let Some(first) = first else {
        return Err(malformed(
            "all variables".into(),
            "no single-bit variable that changes".into(),
        ));
    };
    let mut times: Vec<u64> = tracks
        .iter()
        .flat_map(|track| track.changes.iter().map(|change| change.0))
        .collect();
    times.push(dump.last);
    times.sort_unstable();
    times.dedup();
    let times_s: Vec<f64> = times
        .iter()
        .map(|&time| (time - first) as f64 * dump.unit_s)
        .collect();
    let rate_hz = match options.rate_hz {
        Some(rate_hz) => edges::fits(&times_s, rate_hz).then_some(rate_hz),
        None => edges::rate_for(&times_s),
    };
    let span_s = times_s.last().copied().unwrap_or(0.0);
    let Some(rate_hz) = rate_hz else {
        return Err(malformed(
            "all changes".into(),
            format!("{} changes in {span_s} s, too few for a tag", times.len()),
        ));
    };
    let mut layout = Layout {
        logic: true,
        start_s: first as f64 * dump.unit_s,
        length: Some(((span_s * rate_hz).ceil() as u64).saturating_add(1)),
        notes: vec![format!(
            "{} changes were turned into samples at {rate_hz} Hz.",
            times.len()
        )],
        channels: tracks
            .iter()
            .map(|track| ChannelInfo {
                name: track.name.clone(),
                unit: Unit::Unknown,
            })
            .collect(),
        ..Layout::default()
    };
    options.settle_rate(&mut layout, Some((rate_hz, RateOrigin::File)));
    layout.rate_hz = Some(rate_hz);
    let count = tracks.len();
    Ok(Box::new(Vcd {
        samples: layout.length.unwrap_or(0),
        layout,
        tracks,
        at: vec![0; count],
        per_sample: 1.0 / (rate_hz * dump.unit_s),
        first,
        sample: 0,
    }))
}

/// Reads with the `vcd` crate, command by command: its way to read all of the header at once has no bound.
fn parse(reader: impl BufRead) -> Result<Dump, (u64, String)> {
    let mut dump = Dump {
        tracks: Vec::new(),
        unit_s: 1e-9,
        last: 0,
    };
    // A last line without its end is one all the same.
    let mut parser = vcd::Parser::new(reader.chain(&b"\n"[..]));
    let mut codes: HashMap<vcd::IdCode, usize> = HashMap::new();
    let mut time = 0;
    while let Some(command) = parser.next() {
        let command = match command {
            Ok(command) => command,
            // Cut off within a command.
            Err(error) if error.kind() == ErrorKind::UnexpectedEof => break,
            Err(error) => return Err((parser.line(), error.to_string())),
        };
        match command {
            Command::Timescale(count, unit) => {
                dump.unit_s = f64::from(count) / unit.divisor() as f64;
            }
            Command::VarDef(_, 1, code, name, _)
                if dump.tracks.len() < TRACK_LIMIT && !codes.contains_key(&code) =>
            {
                codes.insert(code, dump.tracks.len());
                dump.tracks.push(Track {
                    name: name.chars().filter(|c| !c.is_control()).take(64).collect(),
                    changes: Vec::new(),
                });
            }
            Command::Timestamp(next) => {
                if next < time {
                    return Err((parser.line(), format!("time goes back to {next}")));
                }
                time = next;
                dump.last = time;
            }
            // Unknown and floating states last until the next known one.
            Command::ChangeScalar(code, value) => {
                note(&mut dump, codes.get(&code), value, time);
            }
            Command::ChangeVector(code, value) if value.len() == 1 => {
                let value = value.get(0).unwrap_or(vcd::Value::X);
                note(&mut dump, codes.get(&code), value, time);
            }
            _ => {}
        }
    }
    Ok(dump)
}

/// A new state of a track.
fn note(dump: &mut Dump, track: Option<&usize>, value: vcd::Value, time: u64) {
    let state = match value {
        vcd::Value::V0 => false,
        vcd::Value::V1 => true,
        _ => return,
    };
    if let Some(&track) = track {
        let changes = &mut dump.tracks[track].changes;
        match changes.last_mut() {
            // Of several states at one moment the last one counts.
            Some(last) if last.0 == time => last.1 = state,
            Some(last) if last.1 == state => {}
            _ => changes.push((time, state)),
        }
    }
}

/// Makes the samples while they are asked for.
struct Vcd {
    layout: Layout,
    tracks: Vec<Track>,
    at: Vec<usize>,
    /// Units of the file's time in a sample.
    per_sample: f64,
    first: u64,
    sample: u64,
    samples: u64,
}

impl SampleSource for Vcd {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let count = (frames as u64).min(self.samples - self.sample) as usize;
        for ((track, at), channel) in self.tracks.iter().zip(&mut self.at).zip(channels) {
            for k in 0..count as u64 {
                let time = self.first as f64 + (self.sample + k) as f64 * self.per_sample;
                while track
                    .changes
                    .get(*at + 1)
                    .is_some_and(|next| next.0 as f64 <= time)
                {
                    *at += 1;
                }
                let state = track.changes.get(*at).is_some_and(|change| change.1);
                channel.push(if state { 1.0 } else { -1.0 });
            }
        }
        self.sample += count as u64;
        Ok(count)
    }
}
