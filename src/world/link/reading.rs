//! Whether a receiver would read what arrives: telegrams add coherently, and a decision needs so much energy for such odds.

/// Eb/N0 (dB, telegrams folded) at which half of all telegrams are had with these odds of a wrong number or better: exact sum over CRC
/// register and sign with the unknown start included (derived; 1e-3 to 1e-6 are computed points).
const NEEDED: [(f64, f64); 4] = [(-3.0, 2.1), (-4.0, 2.6), (-5.0, 3.0), (-6.0, 3.4)];
/// What it costs to find frequency, angle, timing and the pulse of the circuits from the capture itself and to decide through the memory of the
/// tuned circuits, dB: on 60 random benches of a quarter of a second (reader Q 8 to 25, both circuits up to 4 kHz off) half were read
/// 1.1 dB above the point of known ideal edges, 85 % at 2 dB, 98 % at 3 dB (measured).
const BLIND_DB: f64 = 1.1;
/// Standard deviation of the level at which one capture is read, dB: half at the needed one, 85 % at 0.9 dB and 98 % at 1.9 dB above (the same
/// benches) lie on a normal distribution of 0.87 and 0.93 dB; 60 benches leave 0.1 dB open.
const SPREAD_DB: f64 = 0.9;
/// Share of a telegram that holds number and CRC: bits 0 to 100 of 128 (layout of ISO 11785, from memory).
const ENOUGH: f64 = 101.0 / 128.0;
/// Field cycles in a telegram: 128 bits of 32 (ISO 11785).
const TELEGRAM_CYCLES: f64 = 4096.0;

/// Eb/N0 after folding that a receiver needs for these odds of a wrong number, dB; half of all telegrams pass there. Between the
/// computed points and beyond them the line through the nearest two, and on top what a receiver loses that knows nothing beforehand.
pub fn needed_ebn0_db(odds: f64) -> f64 {
    let log = odds.log10();
    let next = NEEDED
        .iter()
        .position(|point| point.0 <= log)
        .unwrap_or(NEEDED.len() - 1)
        .max(1);
    let (a, b) = (NEEDED[next - 1], NEEDED[next]);
    BLIND_DB + a.1 + (b.1 - a.1) * (log - a.0) / (b.0 - a.0)
}

/// Chance that a capture is read whose folded Eb/N0 is so many dB above [`needed_ebn0_db`]: half of all are at 0 dB, the steps to all and to none
/// take about 2 dB each. 0 at −∞, 1 at +∞.
pub fn chance_to_read(above_db: f64) -> f64 {
    0.5 * libm::erfc(-above_db / (SPREAD_DB * std::f64::consts::SQRT_2))
}

/// When a tag sends within a capture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sending {
    /// Seconds on and off of a pulsed field; `None` is always on.
    pub pulses_s: Option<(f64, f64)>,
    /// How long the field is on before the first sample.
    pub on_before_s: f64,
    /// From field on to the tag's first bit, s.
    pub start_s: f64,
    /// How long the tag lives on without a field, s.
    pub hold_up_s: f64,
}

impl Sending {
    /// Telegrams that a capture of so many seconds holds whole. A field that is always on gives one in every 4096 cycles, wherever they
    /// start, and a part of one adds its energy; a switched one starts the telegram anew each time (unless the tag lives through the
    /// pause), and only whole ones between two pauses count; one without its trailer is as good. 0 where the capture, or the field each
    /// time, is too short for one.
    pub fn telegrams(&self, seconds: f64, field_hz: f64) -> f64 {
        let telegram_s = TELEGRAM_CYCLES / field_hz;
        let Some((on_s, off_s)) = self.pulses_s else {
            let telegrams = seconds / telegram_s;
            return if telegrams < 1.0 { 0.0 } else { telegrams };
        };
        let start_s = if off_s < self.hold_up_s {
            0.0
        } else {
            self.start_s
        };
        let mut telegrams = 0.0;
        let mut on_at_s = -self.on_before_s;
        while on_at_s < seconds {
            let (from_s, to_s) = ((on_at_s + start_s).max(0.0), (on_at_s + on_s).min(seconds));
            let here = (to_s - from_s) / telegram_s;
            // What is missing after bit 100 is the trailer, which nothing depends on.
            telegrams += if here < ENOUGH {
                0.0
            } else {
                here.floor().max(1.0)
            };
            on_at_s += on_s + off_s;
        }
        telegrams
    }
}

/// Eb/N0 after folding so many telegrams, dB: they gain 10·log N; −∞ without one.
pub fn folded_ebn0_db(ebn0_db: f64, telegrams: f64) -> f64 {
    ebn0_db + 10.0 * libm::log10(telegrams)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn computed_points_and_one_second() {
        for (odds, want) in [
            (1e-3, 2.1),
            (1e-4, 2.6),
            (1e-5, 3.0),
            (1e-6, 3.4),
            (10f64.powf(-4.5), 2.8),
            (1e-7, 3.8),
            (1e-2, 1.6),
        ] {
            assert!(
                (needed_ebn0_db(odds) - BLIND_DB - want).abs() < 1e-9,
                "{odds}"
            );
        }
        // 3.0 dB folded is −12.1 dB for one second (derived).
        let telegrams = Sending::default().telegrams(1.0, 134_200.0);
        assert!((folded_ebn0_db(-12.15, telegrams) - 3.0).abs() < 0.05);
    }

    #[test]
    fn chances_are_the_measured_ones() {
        for (above_db, share) in [(0.0, 0.5), (0.9, 0.85), (1.9, 0.98)] {
            assert!(
                (chance_to_read(above_db) - share).abs() < 0.012,
                "{above_db}"
            );
        }
        assert_eq!(chance_to_read(f64::NEG_INFINITY), 0.0);
        assert_eq!(chance_to_read(f64::INFINITY), 1.0);
    }

    /// A telegram takes 30.52 ms (128 bits of 32 cycles), 24.1 ms of it without the trailer: 5 ms on hold none, 26 and 50 ms on one, 100 ms on three,
    /// whatever the pause.
    #[test]
    fn telegrams_in_a_switched_field() {
        let whole = |on_s, off_s, seconds| {
            let sending = Sending {
                pulses_s: Some((on_s, off_s)),
                start_s: 1e-3,
                hold_up_s: 0.5e-3,
                ..Sending::default()
            };
            sending.telegrams(seconds, 134_200.0)
        };
        assert_eq!(whole(5e-3, 5e-3, 1.0), 0.0);
        assert_eq!(whole(24.5e-3, 3e-3, 1.0), 0.0);
        assert_eq!(whole(26e-3, 4e-3, 0.3), 10.0);
        assert_eq!(whole(50e-3, 3e-3, 0.53), 10.0);
        assert_eq!(whole(50e-3, 3e-3, 0.57), 11.0);
        assert_eq!(whole(100e-3, 20e-3, 1.2), 30.0);
        assert_eq!(Sending::default().telegrams(0.03, 134_200.0), 0.0);
        assert_eq!(folded_ebn0_db(20.0, 0.0), f64::NEG_INFINITY);
    }
}
