//! When the field comes and goes, look after look.

use super::Event;
use crate::receiver::Reception;

/// A field that has been off for so long has gone, seconds: readers that poll or listen for half-duplex answers are off for shorter
/// (20 ms, ISO 11785, from memory; ten times as much).
const GONE_S: f64 = 0.2;

/// A field lasts this long at least, seconds; what is shorter, or in pieces that are, is an impulse.
const LEAST_S: f64 = 0.005;

/// What is known of the field up to now.
#[derive(Default)]
pub(super) struct FieldWatch {
    there: bool,
    from_s: f64,
    /// Until when it was seen on.
    to_s: f64,
    on_s: f64,
}

impl FieldWatch {
    /// Takes a look whose times count from the stream's first sample and that ends at `now_s`.
    pub fn look(&mut self, reception: &Reception, now_s: f64, told: &mut Vec<Event>) {
        let field = &reception.field;
        let seen = field.on.iter().filter(|_| field.present);
        let mut stretches: Vec<(f64, f64)> = Vec::new();
        for &(from_s, to_s) in seen {
            match stretches.last_mut() {
                Some(last) if from_s - last.1 < GONE_S => last.1 = to_s,
                _ => stretches.push((from_s, to_s)),
            }
        }
        for (from_s, to_s) in stretches {
            if to_s - from_s < LEAST_S || to_s <= self.to_s {
                continue;
            }
            if self.there && from_s - self.to_s > GONE_S {
                self.end(told);
            }
            if !self.there {
                self.there = true;
                self.from_s = from_s.max(self.to_s);
                told.push(Event::FieldThere {
                    time_s: self.from_s,
                    frequency_hz: field.frequency_hz,
                    amplitude: field.amplitude,
                });
            }
            self.to_s = to_s;
        }
        if self.there && now_s - self.to_s > GONE_S {
            self.end(told);
        }
    }

    /// The stream has ended at `end_s`: a field that was on until then did not go.
    pub fn finish(&mut self, end_s: f64, told: &mut Vec<Event>) {
        if self.there && end_s - self.to_s > GONE_S {
            self.end(told);
        } else if self.there {
            self.on_s += self.to_s - self.from_s;
        }
    }

    /// A field is there.
    pub fn is_there(&self) -> bool {
        self.there
    }

    /// Seconds in which a field was there, once finished.
    pub fn on_s(&self) -> f64 {
        self.on_s
    }

    fn end(&mut self, told: &mut Vec<Event>) {
        self.there = false;
        self.on_s += self.to_s - self.from_s;
        told.push(Event::FieldGone { time_s: self.to_s });
    }
}
