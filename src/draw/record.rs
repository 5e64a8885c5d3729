//! The whole record as numbers, for a page that draws it at any magnification: lowest and highest value of each of so many columns, and
//! where the bits of each tag lie.

use num_complex::Complex64;
use serde::Serialize;

use super::View;
use super::style::quantile;
use crate::receiver::{BIT, Samples, Seen, TELEGRAM};

/// Most columns: half a second of field cycles has one each, and a page holds 260 kB of them at most.
const MOST: usize = 1 << 16;
/// Steps from the lowest to the highest value drawn; 0 is no value.
const STEPS: f64 = 254.0;

/// What a page draws of a record.
#[derive(Clone, Debug, Serialize)]
pub struct Record {
    /// Time of the first column and of the end, seconds from the first sample of the capture.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// What a column holds: "field cycle", "37 field cycles", "12 samples".
    pub column: String,
    /// What is drawn, with its unit.
    pub axis: String,
    /// Values at the lowest and the highest step.
    pub lowest: f64,
    /// See `lowest`.
    pub highest: f64,
    /// Lowest value of each column, two hexadecimal digits from 01 (`lowest`) to ff (`highest`); 00 where there is none.
    pub low: String,
    /// Highest values; empty where a column holds one value.
    pub high: String,
    /// Tags and where their bits lie.
    pub tags: Vec<TagBits>,
}

/// The bits of a tag over a record.
#[derive(Clone, Debug, Serialize)]
pub struct TagBits {
    /// Its number.
    pub number: String,
    /// The 128 bits as sent; `?` where one is not certain.
    pub bits: String,
    /// Length of a bit, seconds.
    pub bit_s: f64,
    /// Stretches with its ripple: begin, end, and a moment at which a telegram begins, seconds.
    pub runs: Vec<[f64; 3]>,
}

/// Lowest and highest value of each column; none where nothing falls into it.
struct Columns {
    values: Vec<Option<(f64, f64)>>,
    from_s: f64,
    step_s: f64,
}

impl Columns {
    fn new(from_s: f64, seconds: f64, values: usize) -> Self {
        let count = values.clamp(1, MOST);
        Self {
            values: vec![None; count],
            from_s,
            step_s: seconds / count as f64,
        }
    }

    fn add(&mut self, at_s: f64, value: f64) {
        let place = ((at_s - self.from_s) / self.step_s).max(0.0) as usize;
        if let Some(column) = self.values.get_mut(place) {
            let (low, high) = column.unwrap_or((value, value));
            *column = Some((low.min(value), high.max(value)));
        }
    }
}

impl View<'_> {
    /// The record as a page draws it: the ripple along its axis where there is a field, else the samples; `None` without a time axis.
    pub fn record(&self) -> Option<Record> {
        match &self.reception.seen {
            Some(seen) if !seen.pieces.is_empty() && self.is_telling() => Some(self.ripples(seen)),
            _ => self.bare_samples(),
        }
    }

    fn ripples(&self, seen: &Seen) -> Record {
        let from_s = self.about.from_s;
        let cycles = seen.cycles.values.len().max(1);
        let seconds = (seen.cycles.first + cycles) as f64 / seen.cycles.field_hz;
        let mut columns = Columns::new(from_s, seconds, cycles);
        let turn = match (self.reading(), self.carrier()) {
            (Some(reading), true) => Complex64::cis(-reading.attempt.angle),
            _ => Complex64::new(1.0, 0.0),
        };
        for piece in &seen.pieces {
            for (i, value) in piece.ripple.iter().enumerate() {
                let at_s = from_s + piece.from_s + i as f64 / seen.clock_hz;
                let value = Complex64::new(f64::from(value.re), f64::from(value.im)) * turn;
                columns.add(at_s, self.percent() * value.re);
            }
        }
        let what = match (self.reading(), self.carrier()) {
            (Some(_), true) => "ripple along its axis",
            (None, true) => "change of the level",
            (_, false) => "change",
        };
        let axis = format!("{what}, {}", self.ripple_unit());
        let mut record = written(&columns, axis, column(cycles, "field cycle"));
        record.tags = self.tag_bits(seen);
        record
    }

    fn bare_samples(&self) -> Option<Record> {
        let samples = self.about.samples?;
        let rate_hz = self.reception.rate_hz;
        if rate_hz <= 0.0 || samples.is_empty() {
            return None;
        }
        let from_s = self.about.from_s;
        let count = samples.len();
        let mut columns = Columns::new(from_s, count as f64 / rate_hz, count);
        for i in 0..count {
            let value = match samples {
                Samples::Real(all) => all[i],
                Samples::Complex(all) => all[i].norm(),
            };
            columns.add(from_s + (i as f64 + 0.5) / rate_hz, f64::from(value));
        }
        let axis = match self.about.unit {
            "" => "samples, unit of the file".into(),
            unit => format!("samples, {unit}"),
        };
        Some(written(&columns, axis, column(count, "sample")))
    }

    fn tag_bits(&self, seen: &Seen) -> Vec<TagBits> {
        let bits = |view: &View<'_>| {
            let aligned = view.aligned.as_ref()?;
            let digit = |(place, &bit): (usize, &bool)| match (place < aligned.certain, bit) {
                (false, _) => '?',
                (true, true) => '1',
                (true, false) => '0',
            };
            let stays = &view.reading()?.stays;
            let mut runs = Vec::new();
            for (at, piece) in seen.pieces.iter().enumerate() {
                let begin_s = self.about.from_s + piece.from_s;
                let end_s = begin_s + piece.ripple.len() as f64 / seen.clock_hz;
                let start = aligned.begins_at(at) % TELEGRAM;
                let origin_s = begin_s + start as f64 / seen.clock_hz;
                if stays.is_empty() {
                    runs.push([begin_s, end_s, origin_s]);
                }
                // Where the tag was not there, there are no bits.
                let there = stays
                    .iter()
                    .map(|stay| (stay.from_s.max(begin_s), stay.to_s.min(end_s)));
                let there = there.filter(|(begin_s, end_s)| begin_s < end_s);
                runs.extend(there.map(|(begin_s, end_s)| [begin_s, end_s, origin_s]));
            }
            Some(TagBits {
                number: view.number(),
                bits: aligned.bits.iter().enumerate().map(digit).collect(),
                bit_s: BIT as f64 / seen.clock_hz,
                runs,
            })
        };
        self.tags().iter().filter_map(bits).collect()
    }
}

/// What a column holds where so many values are drawn.
fn column(values: usize, of: &str) -> String {
    match values.div_ceil(MOST) {
        0 | 1 => of.into(),
        several => format!("{several} {of}s"),
    }
}

/// The columns in steps; the few highest of all are cut, so that one spike does not flatten the rest.
fn written(columns: &Columns, axis: String, column: String) -> Record {
    let all = || columns.values.iter().flatten();
    let lowest = quantile(all().map(|(low, _)| *low), 0.0005);
    let highest = quantile(all().map(|(_, high)| *high), 0.9995);
    let room = (0.05 * (highest - lowest)).max(1e-9);
    let (lowest, highest) = (lowest - room, highest + room);
    let step = |value: f64| {
        let share = ((value - lowest) / (highest - lowest)).clamp(0.0, 1.0);
        1 + (share * STEPS).round() as u8
    };
    let digits = |value: &dyn Fn((f64, f64)) -> f64| -> String {
        let each = columns.values.iter();
        each.map(|column| format!("{:02x}", column.map_or(0, |both| step(value(both)))))
            .collect()
    };
    let several = all().any(|(low, high)| low < high);
    Record {
        from_s: columns.from_s,
        to_s: columns.from_s + columns.step_s * columns.values.len() as f64,
        column,
        axis,
        lowest,
        highest,
        low: digits(&|(low, _)| low),
        high: if several {
            digits(&|(_, high)| high)
        } else {
            String::new()
        },
        tags: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::About;
    use crate::receiver::{Signal, receive};

    /// However long the record, what a page holds of it is bounded, and the end of it is there.
    #[test]
    fn a_long_record_takes_no_more_than_its_columns() {
        let samples: Vec<f32> = (0..400_000)
            .map(|k| if k < 300_000 { 0.1 } else { 0.9 })
            .collect();
        let signal = Signal {
            samples: Samples::Real(&samples),
            rate_hz: Some(1e6),
            centre_hz: 0.0,
            logic: false,
        };
        let reception = receive(&signal, 1e-5);
        let about = About {
            samples: Some(Samples::Real(&samples)),
            ..About::default()
        };
        let record = View::new(&reception, about).bare_samples().unwrap();
        assert_eq!(record.low.len(), 2 * MOST);
        assert!(record.low.starts_with(&record.low[..8].repeat(100)));
        assert_ne!(record.low[..2], record.low[2 * MOST - 2..]);
        assert!((record.to_s - 0.4).abs() < 1e-9);
        assert_eq!(record.column, "7 samples");
    }
}
