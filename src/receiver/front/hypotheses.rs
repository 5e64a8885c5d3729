//! Ways of looking at samples: where the field may be in them, or whether there is no carrier.

use super::cycles::Tuning;
use crate::receiver::dsp::tones::{Spectrum, Tone, spectrum};
use crate::receiver::signal::{Kind, Samples, Signal};

/// Least rate of samples that can carry a tag, samples a second: one in each half bit of 16 field cycles (119 µs). At lower
/// ones some half bits have none, however the field folds.
pub const LEAST_RATE_HZ: f64 = NOMINAL_HZ / 16.0;

/// Nominal field frequency, Hz (ISO 11785).
pub const NOMINAL_HZ: f64 = 134_200.0;

/// Fields are looked for between these: beyond them no transponder of this family is powered, and 125 kHz readers are
/// to be seen and named.
const LOWEST_HZ: f64 = 110_000.0;
/// See [`LOWEST_HZ`].
const HIGHEST_HZ: f64 = 150_000.0;

/// Tones tried as the tag's clock, strongest first.
pub(in crate::receiver) const CLOCKS: usize = 3;

/// A tone this much weaker than the strongest outside the band (ratio of amplitudes) is not taken as the field: a
/// ripple's own lines look like tones in captures without a carrier.
const LEAST_SHARE: f64 = 0.25;

/// A tone below this that folding would make of a field far off its frequency is mains hum on an envelope.
const HUM_HZ: f64 = 700.0;
/// See [`HUM_HZ`]: a field that is read as far off as this has a fault of its own.
const FOLDED_OFF_HZ: f64 = 1000.0;

/// One hypothesis of how the samples show a field, and where.
#[derive(Clone, Copy, Debug)]
pub(in crate::receiver) struct Hypothesis {
    pub kind: Kind,
    pub tuning: Tuning,
}

impl Hypothesis {
    /// The same, tuned to a field so much beside, Hz.
    pub(in crate::receiver) fn tuned_beside(self, offset_hz: f64) -> Self {
        let apparent_hz = if self.tuning.mirrored {
            -offset_hz
        } else {
            offset_hz
        };
        Self {
            tuning: Tuning {
                field_hz: self.tuning.field_hz + offset_hz,
                apparent_hz: self.tuning.apparent_hz + apparent_hz,
                ..self.tuning
            },
            ..self
        }
    }
}

/// Samples that only ever take two values are a comparator's or a pin's, whatever the file says.
fn is_two_level(samples: Samples<'_>) -> bool {
    let Samples::Real(samples) = samples else {
        return false;
    };
    let Some(&first) = samples.first() else {
        return false;
    };
    let Some(&second) = samples.iter().find(|&&x| x != first) else {
        return false;
    };
    samples.iter().all(|&x| x == first || x == second)
}

/// A rectified field has a level that the ripple rides on; an AC-coupled input has none.
pub(in crate::receiver) fn level_is_field(samples: Samples<'_>) -> bool {
    let Samples::Real(samples) = samples else {
        return false;
    };
    let count = samples.len().max(1) as f64;
    let mean = samples.iter().map(|&x| f64::from(x)).sum::<f64>() / count;
    let square = samples
        .iter()
        .map(|&x| (f64::from(x) - mean).powi(2))
        .sum::<f64>()
        / count;
    mean.abs() > square.sqrt()
}

/// What the samples suggest at first sight.
pub(in crate::receiver) struct FirstSight {
    /// Ways of looking at the samples worth trying, likeliest first.
    pub hypotheses: Vec<Hypothesis>,
    /// Samples per second.
    pub rate_hz: f64,
    /// Nothing stated the rate.
    pub rate_assumed: bool,
    /// All of the samples' spectrum; `None` for a handful of samples.
    pub spectrum: Option<Spectrum>,
}

/// Looks where the field may be.
pub(in crate::receiver) fn first_sight(signal: &Signal<'_>) -> FirstSight {
    let spectrum = spectrum(signal.samples);
    let tones = spectrum
        .as_ref()
        .map_or_else(Vec::new, |spectrum| spectrum.tones(24));
    let (rate_hz, rate_assumed) = match (signal.rate_hz, signal.samples, tones.first()) {
        (Some(rate_hz), ..) => (rate_hz, false),
        // The strongest tone is the field.
        (None, Samples::Real(_), Some(tone)) => (NOMINAL_HZ / tone.per_sample, true),
        _ => (0.0, true),
    };
    // Nothing is resampled to the field's cycles that cannot hold a tag: of a sample a second there would be 134 200.
    let hypotheses = if rate_hz < LEAST_RATE_HZ {
        Vec::new()
    } else {
        hypotheses(signal, spectrum.as_ref(), &tones, rate_hz)
    };
    FirstSight {
        hypotheses,
        rate_hz,
        rate_assumed,
        spectrum,
    }
}

/// Ways of looking, likeliest first: every strong tone as the field, and no carrier at all.
fn hypotheses(
    signal: &Signal<'_>,
    spectrum: Option<&Spectrum>,
    tones: &[Tone],
    rate_hz: f64,
) -> Vec<Hypothesis> {
    let strongest = tones.first().map_or(0.0, |tone| tone.amplitude);
    let strong = tones
        .iter()
        .filter(|tone| tone.amplitude >= LEAST_SHARE * strongest);
    let (mut unlikely, mut hypotheses): (Vec<Hypothesis>, Vec<Hypothesis>) = strong
        .flat_map(|tone| tunings(signal, tone, rate_hz))
        .map(|tuning| Hypothesis {
            kind: match signal.samples {
                Samples::Complex(_) => Kind::Iq,
                Samples::Real(_) if tuning.field_hz < 0.5 * rate_hz => Kind::Direct,
                Samples::Real(_) => Kind::Folded,
            },
            tuning,
        })
        .partition(|hypothesis| {
            let off_hz = (hypothesis.tuning.field_hz - NOMINAL_HZ).abs();
            hypothesis.kind == Kind::Folded
                && hypothesis.tuning.apparent_hz < HUM_HZ
                && off_hz > FOLDED_OFF_HZ
        });
    hypotheses.truncate(CLOCKS);
    let direct = hypotheses
        .first()
        .is_some_and(|hypothesis| hypothesis.kind == Kind::Direct);
    let all_carrier = direct
        && spectrum
            .zip(tones.first())
            .is_some_and(|(spectrum, tone)| spectrum.share_of(tone) > NOTHING_BUT_CARRIER);
    if matches!(signal.samples, Samples::Real(_)) && rate_hz > MIN_ENVELOPE_RATE_HZ && !all_carrier
    {
        let logic = signal.logic || is_two_level(signal.samples);
        let envelope = Hypothesis {
            kind: if logic { Kind::Logic } else { Kind::Envelope },
            tuning: Tuning {
                rate_hz,
                apparent_hz: 0.0,
                field_hz: NOMINAL_HZ,
                mirrored: false,
            },
        };
        hypotheses.insert(if logic { 0 } else { hypotheses.len() }, envelope);
    }
    hypotheses.append(&mut unlikely);
    hypotheses
}

/// Where a carrier sampled directly has more than this share of the power, offset and all, there is no detector's output
/// beside it that a tag could be read from.
const NOTHING_BUT_CARRIER: f64 = 0.8;

/// An envelope's half bits last 119 µs: with less than two samples in each, nothing is left to read.
const MIN_ENVELOPE_RATE_HZ: f64 = 16_800.0;

/// True field frequencies that would show as this tone, with how to tune to them.
fn tunings(signal: &Signal<'_>, tone: &Tone, rate_hz: f64) -> Vec<Tuning> {
    let apparent_hz = tone.per_sample * rate_hz;
    let inside = |hz: f64| (LOWEST_HZ..=HIGHEST_HZ).contains(&hz);
    match signal.samples {
        Samples::Complex(_) => {
            let field_hz = signal.centre_hz + apparent_hz;
            let tuning = Tuning {
                rate_hz,
                apparent_hz,
                field_hz,
                mirrored: false,
            };
            if inside(field_hz) {
                vec![tuning]
            } else {
                Vec::new()
            }
        }
        Samples::Real(_) => {
            let mut found = Vec::new();
            let zones = (HIGHEST_HZ / rate_hz).ceil() as i64;
            for zone in 0..=zones {
                for (sign, mirrored) in [(1.0, false), (-1.0, true)] {
                    let field_hz = zone as f64 * rate_hz + sign * apparent_hz;
                    if field_hz > 0.0 && inside(field_hz) {
                        found.push(Tuning {
                            rate_hz,
                            apparent_hz,
                            field_hz,
                            mirrored,
                        });
                    }
                }
            }
            // Where folding leaves a choice, the one nearest the nominal frequency is the field.
            found.sort_by(|a, b| {
                let off = |t: &Tuning| (t.field_hz - NOMINAL_HZ).abs();
                off(a).total_cmp(&off(b))
            });
            found.truncate(1);
            found
        }
    }
}

/// How strongly a channel holds a field: the strongest tone that can be one, over its surroundings. Without one, the
/// share of the channel that changes at all, which is below 1.
pub fn field_strength(samples: Samples<'_>, rate_hz: Option<f64>) -> f64 {
    let signal = Signal {
        samples,
        rate_hz,
        centre_hz: 0.0,
        logic: false,
    };
    let tones = spectrum(samples).map_or_else(Vec::new, |s| s.tones(24));
    let field = tones.iter().find(|tone| {
        let rate_hz = rate_hz.unwrap_or(NOMINAL_HZ / tone.per_sample.abs());
        !tunings(&signal, tone, rate_hz).is_empty()
    });
    if let Some(tone) = field {
        return tone.above_floor;
    }
    let Samples::Real(samples) = samples else {
        return 0.0;
    };
    let changes = samples.windows(2).filter(|pair| pair[0] != pair[1]).count();
    changes as f64 / samples.len().max(1) as f64
}
