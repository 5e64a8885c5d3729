//! Value change dumps of logic analysers and simulators (IEEE 1364-2005, clause 18): single bits.

use super::input::Input;
use super::open::OpenOptions;
use super::text::edges;
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use std::collections::HashMap;
use std::io::{BufRead, BufReader, Read};

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

fn parse(reader: impl BufRead) -> Result<Dump, (u64, String)> {
    let mut dump = Dump {
        tracks: Vec::new(),
        unit_s: 1e-9,
        last: 0,
    };
    let mut codes: HashMap<String, usize> = HashMap::new();
    let mut section: Option<(String, Vec<String>)> = None;
    let mut time = 0_u64;
    let lines = reader.split(b'\n');
    let mut number = 0;
    for line in lines {
        number += 1;
        let line = line.map_err(|error| (number, error.to_string()))?;
        let text = String::from_utf8_lossy(&line);
        let mut words = text.split_ascii_whitespace();
        while let Some(word) = words.next() {
            if let Some((name, content)) = &mut section {
                if word == "$end" {
                    read_section(name, content, &mut dump, &mut codes);
                    section = None;
                } else if content.len() < 16 {
                    content.push(word.to_owned());
                }
                continue;
            }
            match word.as_bytes()[0] {
                b'$' if matches!(
                    word,
                    "$dumpvars" | "$dumpall" | "$dumpon" | "$dumpoff" | "$end"
                ) => {}
                b'$' => section = Some((word.to_owned(), Vec::new())),
                b'#' => {
                    let next = word[1..]
                        .parse()
                        .map_err(|_| (number, format!("the time \"{}\"", word.escape_debug())))?;
                    if next < time {
                        return Err((number, format!("time goes back to {next}")));
                    }
                    time = next;
                    dump.last = time;
                }
                state @ (b'0' | b'1') => {
                    if let Some(&track) = codes.get(&word[1..]) {
                        let changes = &mut dump.tracks[track].changes;
                        if changes.last().is_none_or(|last| last.1 != (state == b'1')) {
                            changes.push((time, state == b'1'));
                        }
                    }
                }
                // Unknown and floating states last until the next known one; vectors and real values have a second word.
                b'b' | b'B' | b'r' | b'R' => drop(words.next()),
                _ => {}
            }
        }
    }
    Ok(dump)
}

fn read_section(
    name: &str,
    content: &[String],
    dump: &mut Dump,
    codes: &mut HashMap<String, usize>,
) {
    match (name, content) {
        ("$var", [_, width, code, name, ..])
            if width == "1" && dump.tracks.len() < TRACK_LIMIT && !codes.contains_key(code) =>
        {
            codes.insert(code.clone(), dump.tracks.len());
            dump.tracks.push(Track {
                name: name.chars().filter(|c| !c.is_control()).take(64).collect(),
                changes: Vec::new(),
            });
        }
        ("$timescale", words) => {
            let text = words.concat();
            let split = text
                .find(|c: char| !c.is_ascii_digit())
                .unwrap_or(text.len());
            let factor = match &text[split..] {
                "s" => 1.0,
                "ms" => 1e-3,
                "us" => 1e-6,
                "ns" => 1e-9,
                "ps" => 1e-12,
                "fs" => 1e-15,
                _ => return,
            };
            if let Ok(count @ (1.0 | 10.0 | 100.0)) = text[..split].parse::<f64>() {
                dump.unit_s = count * factor;
            }
        }
        _ => {}
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
