//! The part of a ripple that known signs explain: what the tanks' shape makes of them, or as much more as the ripple shows.

use num_complex::{Complex32, Complex64};

use super::acquire::Acquired;
use super::band::Band;
use crate::receiver::dsp::phasor::{power, power_between, single, wide};
use crate::receiver::fold::pulse::Pulse;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::{BIT, signs_along};

/// Ideal edges explain this much of the ripple's power where its shape departs from them only in small things, such as
/// edges that fall between samples; a tank of Q 20 leaves far less.
const NEARLY_IDEAL: f64 = 0.98;

/// What signs have of a ripple.
pub(super) struct Waveform {
    /// All of it.
    pub wave: Vec<Complex32>,
    /// As the tanks' shape alone makes it, of unit size.
    pub plain: Vec<Complex32>,
    /// Of the plain one.
    pub amplitude: Complex64,
    /// Mean square of the ripple's depth, that of ideal edges where they are.
    pub mean_power: f64,
    /// Mean of the squared values, whose angle is twice the ripple's.
    pub square: Complex64,
    pub ideal_edges: bool,
    /// Real numbers that were chosen to fit.
    free: usize,
}

impl Waveform {
    /// The ripple without it.
    pub fn left_of(&self, ripple: &[Complex32]) -> Vec<Complex32> {
        ripple.iter().zip(&self.wave).map(|(r, w)| r - w).collect()
    }
}

/// A stretch of ripple whose signs are known.
pub(super) struct SignedRipple<'a> {
    ripple: &'a [Complex32],
    /// Where the first sign begins: two bits early, so that the pulses of boundaries before the first value are laid out too.
    begin: isize,
    /// Of the first boundary behind its cell.
    later: f64,
    signs: Vec<i8>,
    real: bool,
}

impl<'a> SignedRipple<'a> {
    pub fn new(ripple: &'a [Complex32], found: &Acquired, timing: f64, real: bool) -> Self {
        let whole = timing.floor();
        let bits = ripple.len() / BIT + 4;
        Self {
            ripple,
            begin: whole as isize - 2 * BIT as isize,
            later: timing - whole,
            signs: signs_along(&found.signs, found.inverts, -2, bits),
            real,
        }
    }

    /// The waveform that fits best without taking more than noise has to give.
    pub fn waveform(&self, shape: &Shape, band: &Band<'_>) -> Waveform {
        let (plain, pulses) = crate::threads::join(
            || {
                let mut plain = Vec::new();
                self.lay_out(&Pulse::of(shape, self.later, band.edge), &mut plain);
                plain
            },
            || Pulse::fits(self.ripple, self.begin, &self.signs),
        );
        let mut chosen = self.plain(plain, shape);
        let mut left_before = power_between(self.ripple, &chosen.wave);
        let mut is_better = |fitted: &[Complex32], more: usize| {
            let left = power_between(self.ripple, fitted);
            let noise = left / self.ripple.len() as f64;
            let better = left_before - left > noise * taken_of_noise(more, band);
            better.then(|| {
                left_before = left;
                left
            })
        };
        let mut last_is_chosen = false;
        let mut fitted = Vec::new();
        for pulse in &pulses {
            self.lay_out(pulse, &mut fitted);
            let left = is_better(&fitted, pulse.free - chosen.free);
            last_is_chosen = left.is_some();
            if let Some(left) = left {
                chosen.replace(&mut fitted, pulse.free, left);
            }
        }
        // A load that closes faster than it opens adds what no pulse of either sign has.
        if let Some(last) = pulses.last() {
            if last_is_chosen {
                fitted.clone_from(&chosen.wave);
            }
            let free = last.free + self.add_uneven(&mut fitted);
            if let Some(left) = is_better(&fitted, free - chosen.free) {
                chosen.replace(&mut fitted, free, left);
            }
        }
        chosen
    }

    /// Lays a pulse out over the ripple's length, in place of what `wave` held.
    fn lay_out(&self, pulse: &Pulse, wave: &mut Vec<Complex32>) {
        wave.clear();
        wave.resize(self.ripple.len(), Complex32::default());
        pulse.add_to(wave, self.begin, &self.signs, 1.0);
    }
    /// A waveform of unit size, with nothing but its amplitude and the tanks free.
    fn plain(&self, plain: Vec<Complex32>, shape: &Shape) -> Waveform {
        let count = self.ripple.len() as f64;
        let (amplitude, unit_square) = crate::threads::join(
            || along(self.ripple, &plain, self.real),
            || square_of(&plain) / count,
        );
        let ideal_edges = shape.is_ideal();
        // Of ideal edges the receiver's band takes a share that is known: their depth is the amplitude.
        let (power, square) = if ideal_edges {
            (1.0, Complex64::ONE)
        } else {
            (power(&plain) / count, unit_square)
        };
        Waveform {
            wave: plain.iter().map(|v| single(amplitude * wide(*v))).collect(),
            amplitude,
            mean_power: amplitude.norm_sqr() * power,
            square: amplitude * amplitude * square,
            ideal_edges,
            // Bandwidth and detuning are two real numbers.
            free: if ideal_edges { 1 } else { 2 },
            plain,
        }
    }

    /// Adds to a fitted waveform what the ripple has besides, alike in all bits that have the same two bits around their
    /// beginning, whatever the signs: the mean of what is left there, cycle by cycle. Returns how many complex numbers that is.
    fn add_uneven(&self, fitted: &mut [Complex32]) -> usize {
        let (ripple, begin, signs) = (self.ripple, self.begin, &self.signs);
        const CONTEXTS: usize = 4;
        let context = |j: usize| {
            let bit = |from: usize| usize::from(signs[from] != signs[from + 1]);
            2 * bit(j - 1) + bit(j)
        };
        let cells = |j: usize| {
            let from = begin + (BIT * j) as isize;
            (from >= 0 && (from as usize + BIT) <= ripple.len())
                .then(|| from as usize..from as usize + BIT)
        };
        let whole =
            || (1..signs.len().saturating_sub(1)).filter_map(|j| Some((context(j), cells(j)?)));
        let mut sums = vec![[Complex64::default(); BIT]; CONTEXTS];
        let mut counts = [0.0; CONTEXTS];
        for (context, cells) in whole() {
            counts[context] += 1.0;
            for (sum, cell) in sums[context].iter_mut().zip(cells) {
                *sum += wide(ripple[cell] - fitted[cell]);
            }
        }
        for (context, cells) in whole() {
            for (sum, cell) in sums[context].iter().zip(cells) {
                fitted[cell] += single(sum / counts[context]);
            }
        }
        CONTEXTS * BIT
    }
}

impl Waveform {
    /// A freer waveform in its place, which leaves so much of the ripple's power; `fitted` becomes the one before.
    fn replace(&mut self, fitted: &mut Vec<Complex32>, free: usize, left: f64) {
        let count = fitted.len() as f64;
        let noise = left / count;
        let fitted_power = (power(fitted) - noise * free as f64).max(0.0) / count;
        let of_plain = self.amplitude.norm_sqr() * (power(&self.plain) / count);
        self.ideal_edges = of_plain > NEARLY_IDEAL * fitted_power;
        if !self.ideal_edges {
            self.mean_power = fitted_power;
            self.square = square_of(fitted) / count;
        }
        std::mem::swap(&mut self.wave, fitted);
        self.free = free;
    }
}

/// Power of noise, in that of one value, that so many more free numbers may take: their share of it and six standard deviations.
/// Only as many of them are independent as the band holds. What they take beyond is shape.
fn taken_of_noise(more: usize, band: &Band<'_>) -> f64 {
    let more = more as f64;
    more * (1.0 + 6.0 / (more * band.fullness).sqrt())
}

/// Complex amplitude of a waveform of unit size in the ripple, least squares.
pub(super) fn along(ripple: &[Complex32], unit: &[Complex32], real: bool) -> Complex64 {
    let (mut sum, mut energy) = (Complex64::default(), 0.0);
    for (r, u) in ripple.iter().zip(unit) {
        sum += wide(*r) * wide(*u).conj();
        energy += f64::from(u.norm_sqr());
    }
    let amplitude = sum / energy.max(1e-300);
    if real {
        Complex64::new(amplitude.re, 0.0)
    } else {
        amplitude
    }
}

fn square_of(values: &[Complex32]) -> Complex64 {
    values.iter().map(|&v| wide(v) * wide(v)).sum()
}
