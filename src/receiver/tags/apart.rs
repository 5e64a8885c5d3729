//! Tags of like strength, told apart by their angles: across one tag's axis that tag is not seen.
//!
//! Neither of two equal tags may be readable through the other, but mostly their ripples lie at different angles. Of the
//! folded ripple only the part along one axis is looked at; where that lies across one tag's axis, the other stands alone.

use num_complex::Complex32;

use super::acquire::{Acquired, Stretch, acquire_sure};
use super::attempt::{ReadLimits, fits_noise};
use super::band::Band;
use super::refine::{Refined, refine};
use crate::receiver::fold::shape::Shape;

/// Axes tried: of a tag half a step off one, 3 % are left.
const AXES: usize = 48;

/// Energy of the boundary sums over the noise's from which it is worth trying: noise gives 142, and of two tags that each
/// would be read alone half of the time (650) one is left along the axis that is the other's.
const STRONG: f64 = 1300.0;

/// More than two of like strength are seldom alone along any axis.
const MOST: usize = 2;

/// Numbers that stand alone along some axis, those first that fit best there: each as it is measured in the ripple, where the others
/// still disturb it. They are to be fitted together before they count.
pub fn by_angle(ripple: &[Complex32], band: &Band<'_>, limits: &ReadLimits) -> Vec<Refined> {
    let stretch = Stretch::new(ripple, limits);
    if limits.real || stretch.strongest() < STRONG {
        return Vec::new();
    }
    let along = ReadLimits {
        real: true,
        ..*limits
    };
    let mut seen: Vec<(u64, f64, Acquired)> = Vec::new();
    for step in 0..AXES {
        if !limits.may_try_on() {
            break;
        }
        let axis = std::f64::consts::PI * step as f64 / AXES as f64;
        let projected = stretch.along(axis);
        let Some((found, decision)) = acquire_sure(&projected, &[Shape::ideal()], &along) else {
            continue;
        };
        if !fits_noise(decision.misfit) {
            continue;
        }
        let code = decision.telegram.code;
        match seen.iter_mut().find(|(old, ..)| *old == code) {
            Some(old) if old.1 >= decision.misfit => {}
            Some(old) => *old = (code, decision.misfit, found),
            None => seen.push((code, decision.misfit, found)),
        }
    }
    seen.sort_by(|a, b| b.1.total_cmp(&a.1));
    let measured = seen
        .iter()
        .take(MOST)
        .filter_map(|(.., found)| refine(ripple, 0..ripple.len(), found, band, limits));
    measured.collect()
}

#[cfg(test)]
mod tests {
    use super::super::attempt::Terms;
    use super::super::read::read_piece;
    use crate::linecode;
    use crate::receiver::dsp::phasor::single;
    use crate::receiver::field::pieces::with_carrier;
    use crate::receiver::front::cycles::Cycles;
    use crate::receiver::front::edge::Edge;
    use crate::telegram::Telegram;
    use num_complex::Complex64;
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};

    const FIELD_HZ: f64 = 134_200.0;

    /// A tag of depth 0.01 times the last value, its axis at so many degrees, its telegram begun so many cycles ago.
    type Sent = (Telegram, usize, f64, f64);

    /// The numbers read from a field with these tags for a time, at Eb/N0 in dB of depth 0.01: two parts of noise a cycle.
    fn read(
        tags: &[Sent],
        seconds: f64,
        ebn0_db: f64,
        rng: &mut rand::rngs::ChaCha8Rng,
    ) -> Vec<u64> {
        let sigma = 0.01 * (32.0 / (2.0 * 10f64.powf(ebn0_db / 10.0))).sqrt();
        let tags: Vec<(Vec<i8>, usize, Complex64)> = tags
            .iter()
            .map(|(telegram, start, angle_deg, level)| {
                let mut states = linecode::load_states(&telegram.bits(), 1).to_vec();
                if linecode::inverts(&telegram.bits()) {
                    let inverted: Vec<i8> = states.iter().map(|state| -state).collect();
                    states.extend(inverted);
                }
                let axis = Complex64::from_polar(0.01 * level, angle_deg.to_radians());
                (states, *start, axis)
            })
            .collect();
        let values = (0..(seconds * FIELD_HZ) as usize)
            .map(|n| {
                let mut noise = || -> f64 { StandardNormal.sample(rng) };
                let noise = Complex64::new(noise(), noise()) * sigma;
                let ripple: Complex64 = tags
                    .iter()
                    .map(|(states, start, axis)| {
                        axis * f64::from(states[(n + start) / 16 % states.len()])
                    })
                    .sum();
                single(1.0 + ripple + noise)
            })
            .collect();
        let cycles = Cycles {
            values,
            first: 0,
            field_hz: FIELD_HZ,
            band_hz: 60e3,
            edge: Edge::ideal(),
            gaps: Vec::new(),
        };
        let pieces = with_carrier(&cycles);
        let limits = Terms::from(1e-5).limits(false);
        let mut read: Vec<u64> = read_piece(&pieces[0], FIELD_HZ, &limits)
            .read
            .iter()
            .map(|tag| tag.decision.telegram.code)
            .collect();
        read.sort_unstable();
        read
    }

    fn some_telegram(rng: &mut rand::rngs::ChaCha8Rng) -> Telegram {
        Telegram::new(0x8000_F9C0_0000_0000 | rng.random_range(1..1 << 38))
    }

    /// Pairs that repeat alike, at 15 dB for a second; angles 10° and 22° apart, which leaves 0.17 of either across the other's axis:
    /// −15 dB of folded 30 dB.
    #[test]
    fn equal_tags_at_different_angles_are_both_read() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(11);
        for (pair, apart_deg) in [10.0f64, 22.0, 10.0, 22.0, 10.0, 22.0]
            .into_iter()
            .enumerate()
        {
            let mut tags: Vec<Sent> = Vec::new();
            while tags.len() < 2 {
                let telegram = some_telegram(&mut rng);
                if !linecode::inverts(&telegram.bits()) {
                    let angle_deg = 30.0 + tags.len() as f64 * apart_deg;
                    tags.push((telegram, rng.random_range(0..4096), angle_deg, 1.0));
                }
            }
            let mut sent: Vec<u64> = tags.iter().map(|tag| tag.0.code).collect();
            sent.sort_unstable();
            assert_eq!(read(&tags, 1.0, 15.0, &mut rng), sent, "pair {pair}");
        }
    }

    /// Equal tags that begin together, 2° to 20° apart, near the level at which the rest of one across the other's axis shows:
    /// there what one number changes the other may change back.
    #[test]
    fn tags_that_begin_together_give_no_number_that_nobody_sent() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(29);
        for pair in 0..24 {
            let start = rng.random_range(0..4096);
            let angle_deg = rng.random_range(-90.0..90.0);
            let apart_deg = rng.random_range(2.0..20.0);
            let tags = [
                (some_telegram(&mut rng), start, angle_deg, 1.0),
                (some_telegram(&mut rng), start, angle_deg + apart_deg, 1.0),
            ];
            let ebn0_db = rng.random_range(8.0..15.0);
            let read = read(&tags, 0.2, ebn0_db, &mut rng);
            let sent = [tags[0].0.code, tags[1].0.code];
            assert!(
                read.iter().all(|code| sent.contains(code)),
                "pair {pair}: {read:x?} of {sent:x?}"
            );
        }
    }
}
