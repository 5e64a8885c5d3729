//! A tag whose ripple is given outright: depth and angle instead of coils and circuits.

use crate::linecode;
use crate::telegram::{TELEGRAM_BITS, Telegram};

use super::pulses::Pulses;

const HALF_BITS: i64 = 2 * TELEGRAM_BITS as i64;
/// Field cycles of half a bit: a bit is 32 field cycles (ISO 11785: 4193.75 bit/s at 134.2 kHz).
const HALF_BIT_CYCLES: f64 = 16.0;

/// A tag with ideal edges: its ripple jumps between two states, ±depth at `angle_deg` relative to the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RippleTag {
    /// What it sends.
    pub telegram: Telegram,
    /// Which of its bits it sends wrongly: bit k stands for the one sent as number k from 0. None in a tag as it should be.
    pub flipped: u128,
    /// Half the change between the load states, relative to the field: 0.01 = 1 %.
    pub depth: f64,
    /// Angle of the ripple relative to the field, degrees: 0 changes the amplitude only, 90 the phase only.
    pub angle_deg: f64,
    /// Field cycles from the first sample (in a switched field: from each switching on) to the start of a telegram.
    pub start_cycles: f64,
    /// Load state (+1 or −1) just after that start.
    pub sign: i8,
}

impl RippleTag {
    /// The bits in the order sent.
    pub fn bits(&self) -> [bool; TELEGRAM_BITS] {
        let right = self.telegram.bits();
        std::array::from_fn(|place| right[place] != ((self.flipped >> place) & 1 == 1))
    }
}

/// Load states over time as runs of samples with the same state.
#[derive(Clone, Debug)]
pub(super) struct LoadRuns {
    states: Vec<i8>,
    inverts: bool,
    sign: i8,
    start_cycles: f64,
    samples_per_cycle: f64,
    /// Cycles on and from one switching on to the next.
    pulses_cycles: Option<(f64, f64)>,
    burst: u64,
    half_bit: i64,
    state: f64,
    /// First sample that no longer has `state`.
    until: u64,
}

impl LoadRuns {
    pub(super) fn new(
        tag: &RippleTag,
        field_hz: f64,
        samples_per_cycle: f64,
        pulses: Option<Pulses>,
    ) -> Self {
        let bits = tag.bits();
        let mut runs = Self {
            states: linecode::load_states(&bits, 1),
            inverts: linecode::inverts(&bits),
            sign: tag.sign,
            start_cycles: tag.start_cycles,
            samples_per_cycle,
            pulses_cycles: pulses.map(|p| (p.on_s * field_hz, p.period_s() * field_hz)),
            burst: 0,
            half_bit: 0,
            state: 0.0,
            until: 0,
        };
        match pulses {
            // A steady field: the tag has been sending since long before the first sample.
            None => {
                runs.half_bit = (-tag.start_cycles / HALF_BIT_CYCLES).floor() as i64;
                runs.enter();
            }
            Some(_) => runs.wait(),
        }
        runs
    }

    /// First sample at or after this many field cycles.
    fn sample_at(&self, cycles: f64) -> u64 {
        // Casting a negative number gives 0.
        (cycles * self.samples_per_cycle).ceil() as u64
    }

    fn burst_cycles(&self) -> f64 {
        self.pulses_cycles
            .map_or(0.0, |(_, period)| self.burst as f64 * period)
    }

    /// Takes the state of the current half bit.
    fn enter(&mut self) {
        let telegram = self.half_bit.div_euclid(HALF_BITS);
        let within = self.half_bit.rem_euclid(HALF_BITS) as usize;
        let inverted = self.inverts && telegram.rem_euclid(2) == 1;
        let state = self.states[within] * self.sign * if inverted { -1 } else { 1 };
        self.state = f64::from(state);
        let end = self.start_cycles + HALF_BIT_CYCLES * (self.half_bit + 1) as f64;
        self.until = match self.pulses_cycles {
            // The tag's clock stops with the field: the state stays until the field comes back.
            Some((on, period)) if end >= on => {
                self.half_bit = i64::MIN;
                self.sample_at(self.burst_cycles() + period)
            }
            _ => self.sample_at(self.burst_cycles() + end),
        };
    }

    /// After switching on: the load waits in the state opposite to the first boundary's.
    fn wait(&mut self) {
        self.half_bit = -1;
        self.state = -f64::from(self.sign);
        self.until = self.sample_at(self.burst_cycles() + self.start_cycles);
    }

    fn next(&mut self) {
        if self.half_bit == i64::MIN {
            self.burst += 1;
            self.wait();
        } else {
            self.half_bit += 1;
            self.enter();
        }
    }

    /// Calls `run(from, to, state)` for the samples `first..last`, which must follow those of the call before; indices
    /// count from `first`.
    pub(super) fn over(&mut self, first: u64, last: u64, mut run: impl FnMut(usize, usize, f64)) {
        let mut at = first;
        while at < last {
            while self.until <= at {
                self.next();
            }
            let end = self.until.min(last);
            run((at - first) as usize, (end - first) as usize, self.state);
            at = end;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn states(tag: &RippleTag, rate: f64, count: u64, pulses: Option<Pulses>) -> Vec<f64> {
        let mut runs = LoadRuns::new(tag, 134_200.0, rate / 134_200.0, pulses);
        let mut states = vec![0.0; count as usize];
        // Uneven blocks: results must not depend on how the samples are cut.
        let (mut at, mut size) = (0, 1);
        while at < count {
            let end = (at + size).min(count);
            let part = &mut states[at as usize..end as usize];
            runs.over(at, end, |from, to, state| part[from..to].fill(state));
            (at, size) = (end, size * 2 + 1);
        }
        states
    }

    fn tag(code: u64, start_cycles: f64, sign: i8) -> RippleTag {
        RippleTag {
            telegram: Telegram::new(code),
            flipped: 0,
            depth: 0.01,
            angle_deg: 0.0,
            start_cycles,
            sign,
        }
    }

    /// The slow, obvious version: the state at the time of one sample.
    fn state_at(tag: &RippleTag, cycles: f64) -> f64 {
        let mut bits = tag.telegram.bits();
        for (place, bit) in bits.iter_mut().enumerate() {
            *bit ^= tag.flipped >> place & 1 == 1;
        }
        let half_bit = ((cycles - tag.start_cycles) / HALF_BIT_CYCLES).floor() as i64;
        let mut first = tag.sign;
        if linecode::inverts(&bits) && half_bit.div_euclid(256) % 2 != 0 {
            first = -first;
        }
        f64::from(linecode::load_states(&bits, first)[half_bit.rem_euclid(256) as usize])
    }

    #[test]
    fn runs_agree_with_one_state_a_sample() {
        for (code, flipped) in [
            (0x8000_F9C0_0000_0001, 0),
            (0x8000_F9D6_FEE0_E52D, 0),
            (0x8000_F9D6_FEE0_E52D, 1 << 127 | 1 << 20),
            (0x8000_F9D6_FEE0_E52D, 1),
        ] {
            for (start, sign) in [(0.0, 1), (1234.567, -1), (4095.9, 1)] {
                let mut tag = tag(code, start, sign);
                tag.flipped = flipped;
                for rate in [1e6, 192e3, 48e3] {
                    let fast = states(&tag, rate, 60_000, None);
                    for (n, &state) in fast.iter().enumerate() {
                        let cycles = n as f64 * 134_200.0 / rate;
                        let to_edge = ((cycles - start) / HALF_BIT_CYCLES).fract().abs();
                        // On an edge itself rounding decides.
                        if to_edge > 1e-9 && to_edge < 1.0 - 1e-9 {
                            assert_eq!(state, state_at(&tag, cycles), "{rate} {n}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn each_burst_starts_the_telegram_anew() {
        let tag = tag(0x8000_F9C0_0000_0001, 134.5, -1);
        let pulses = Pulses {
            on_s: 0.05,
            off_s: 0.003,
        };
        let states = states(&tag, 1e6, 159_000, Some(pulses));
        assert_eq!(states[..50_000], states[53_000..103_000]);
        assert_eq!(states[..50_000], states[106_000..156_000]);
        assert!(states[..1002].iter().all(|&state| state == 1.0));
        assert_eq!(states[1003], -1.0);
        // Off: no edge.
        assert!(states[50_000..53_000].windows(2).all(|w| w[0] == w[1]));
    }
}
