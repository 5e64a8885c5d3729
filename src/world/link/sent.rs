//! The ripple while a tag sends: what the tuned circuits let through of it.

use super::super::circuit::{
    Change, CircuitPlan, LoadPlan, Network, Probe, Ripple, Tag, Track, ripple_of_track, run, settle,
};
use super::{EnvelopeDetector, LinkError};
use num_complex::Complex64;
use std::f64::consts::PI;

/// Field cycles in half a bit (ISO 11785: 32 a bit).
pub(super) const HALF_BIT_CYCLES: f64 = 16.0;
/// Field cycles before the half bits that count, in units of the slower circuit's decay time: e⁻¹⁰ = 5e-5 of the ring-up is left.
const SETTLING_DECAYS: f64 = 10.0;

/// The ripple while these half bits are sent over and over, taken over one period in settled circuits; behind a detector also
/// the rms of its change of amplitude over the field.
pub(super) fn sent_ripple(
    network: &Network,
    probe: &Probe,
    half_bits: &[bool],
    detector: Option<EnvelopeDetector>,
) -> Result<(Ripple, Option<f64>), LinkError> {
    let cycle_s = 1.0 / network.readers()[0].frequency_hz;
    let slowest_s = [false, true]
        .iter()
        .filter_map(|&closed| {
            settle(network, &[closed])
                .ringing()
                .first()
                .map(|mode| mode.1)
        })
        .fold(0.0, f64::max);
    let half_bit_s = HALF_BIT_CYCLES * cycle_s;
    let settling_s = (SETTLING_DECAYS * slowest_s / cycle_s).ceil().min(10_000.0) * cycle_s;
    // The last half bits settle a detector's low-pass.
    let from_s = settling_s + 8.0 * half_bit_s;
    let to_s = from_s + half_bits.len().max(1) as f64 * half_bit_s;
    let track = sent_track(network, half_bits, 0.0, to_s)?;
    let frequency_hz = network.readers()[0].frequency_hz;
    let ripple = ripple_of_track(&track, probe, frequency_hz, from_s, to_s);
    let Some(detector) = detector else {
        return Ok((ripple, None));
    };
    // The same points, with the lead-in to settle the low-pass.
    let step_s = 0.25 / frequency_hz;
    let points = ((to_s - settling_s) / step_s).round() as usize;
    let mut phasors = vec![Complex64::from(0.0); points];
    track.phasors(probe, frequency_hz, settling_s, step_s, &mut phasors);
    let stay = (-2.0 * PI * detector.corner_hz * step_s).exp();
    let mut held = ripple.field.norm();
    let heard: Vec<Complex64> = phasors
        .iter()
        .map(|phasor| {
            held = stay * held + (1.0 - stay) * phasor.norm();
            Complex64::from(held)
        })
        .collect();
    let skip = ((from_s - settling_s) / step_s).round() as usize;
    Ok((
        ripple,
        Some(Ripple::of(&heard[skip.min(heard.len())..]).depth),
    ))
}

/// The circuits from rest on, the field on and these half bits sent over and over. Whether it has the power or not, the tag sends, clocked by
/// its own coil: at which phase of the carrier it switches makes a difference.
fn sent_track(
    network: &Network,
    half_bits: &[bool],
    late_cycles: f64,
    to_s: f64,
) -> Result<Track, LinkError> {
    let tags: Vec<Tag> = network
        .tags()
        .iter()
        .map(|tag| Tag {
            minimum_v: 0.0,
            start_up_s: 0.0,
            ..*tag
        })
        .collect();
    let coils = network.readers().len() + tags.len();
    let mutual_h: Vec<Vec<f64>> = (0..coils)
        .map(|row| {
            (0..coils)
                .map(|column| network.inductance_h(row, column))
                .collect()
        })
        .collect();
    let network = Network::new(network.readers().to_vec(), tags, &mutual_h)?;
    let plan = CircuitPlan {
        duration_s: to_s,
        changes: (0..network.readers().len())
            .map(|reader| Change::Field {
                at_s: 0.0,
                reader,
                on: true,
            })
            .collect(),
        loads: vec![LoadPlan::ClockedLate {
            half_bits: half_bits.to_vec(),
            cycles: late_cycles,
        }],
    };
    Ok(run(&network, &plan)?)
}

/// Values a field cycle of [`sent_mixed`].
pub const MIXED_A_CYCLE: usize = 4;

/// Half bits until the circuits count as settled: 2048 field cycles are twelve decay times of Q 500.
const SETTLED_HALF_BITS: usize = 128;
/// Half bits that a load stays at most, and the part of one that a first switching is waited for: of what a telegram holds two, of anything else
/// enough.
const LONGEST_STAY: usize = 8;

/// Whether the load switches behind this half bit, in a row that is sent over and over.
fn switches(half_bits: &[bool], index: usize) -> bool {
    half_bits[index % half_bits.len()] != half_bits[(index + 1) % half_bits.len()]
}

/// The half bit with which [`sent_mixed`] begins: the first behind a switching in settled circuits. 0 where nothing switches.
pub fn mixed_from(half_bits: &[bool]) -> usize {
    let settled = SETTLED_HALF_BITS..SETTLED_HALF_BITS + half_bits.len();
    let before = settled
        .into_iter()
        .find(|&index| switches(half_bits, index));
    before.map_or(0, |index| (index + 1) % half_bits.len())
}

/// What a receiver makes of the probe's voltage v before it filters: 2·v·e^(−jωt), over one period of these half bits (true: load closed), sent
/// over and over by the network's one tag in settled circuits; [`MIXED_A_CYCLE`] values a field cycle, peak V. The mean is the field; beside the
/// ripple there is all that lies at twice the field's frequency, for the receiver's filter to take. Phasors would not do: the voltage goes on
/// where the load switches, its analytic signal jumps.
///
/// The first value is at a switching, always the same one for the same half bits, so that what the circuits do to the switch's moment moves
/// nothing; empty where the half bits do not switch for long. The tag switches `late_cycles` (0 to 1) after rising zero crossings of its
/// coil's voltage.
///
/// # Errors
/// Half bits that cannot be sent.
pub fn sent_mixed(
    network: &Network,
    probe: &Probe,
    half_bits: &[bool],
    late_cycles: f64,
) -> Result<Vec<Complex64>, LinkError> {
    let frequency_hz = network.readers()[0].frequency_hz;
    let half_bit_s = HALF_BIT_CYCLES / frequency_hz;
    if half_bits.iter().all(|&closed| closed == half_bits[0]) {
        return Ok(Vec::new());
    }
    // The load is open before the first half bit.
    let before = usize::from(half_bits[0])
        + (0..SETTLED_HALF_BITS)
            .filter(|&k| switches(half_bits, k))
            .count();
    let half_bits_in_all = SETTLED_HALF_BITS + half_bits.len() + LONGEST_STAY;
    let until_s = half_bits_in_all as f64 * half_bit_s;
    let track = sent_track(network, half_bits, late_cycles, until_s)?;
    let Some(&(from_s, _)) = track.edges(0).get(before) else {
        return Ok(Vec::new());
    };
    let mut mixed =
        vec![Complex64::from(0.0); half_bits.len() * HALF_BIT_CYCLES as usize * MIXED_A_CYCLE];
    let step_s = 1.0 / (MIXED_A_CYCLE as f64 * frequency_hz);
    track.phasors(probe, frequency_hz, from_s, step_s, &mut mixed);
    let turns = from_s * frequency_hz;
    for (k, value) in mixed.iter_mut().enumerate() {
        // 2·Re{A·e^(jωt)}·e^(−jωt) = A + A*·e^(−2jωt).
        let cycles = turns.fract() + (k % MIXED_A_CYCLE) as f64 / MIXED_A_CYCLE as f64;
        *value += value.conj() * Complex64::cis(-4.0 * PI * cycles);
    }
    Ok(mixed)
}
