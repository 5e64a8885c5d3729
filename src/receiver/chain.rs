//! The whole receiver: samples → kind of capture, field, pieces, numbers.

use super::clock::on_own_clock;
use super::front::{Cycles, Tuning, to_cycles};
use super::interference::{clock_lines, remove_line};
use super::join::join;
use super::pieces::{Piece, with_carrier, without_carrier};
use super::read::{Attempt, ReadLimits, read_piece};
use super::signal::{Kind, Samples, Signal};
use super::tones::{Tone, spectrum};

/// Nominal field frequency, Hz (ISO 11785).
pub const NOMINAL_HZ: f64 = 134_200.0;

/// Fields are looked for between these: beyond them no transponder of this family is powered, and 125 kHz readers are
/// to be seen and named.
const LOWEST_HZ: f64 = 110_000.0;
/// See [`LOWEST_HZ`].
const HIGHEST_HZ: f64 = 150_000.0;

/// Tones tried as the tag's clock, strongest first.
const CLOCKS: usize = 3;

/// A second line within this of the strongest one's amplitude (−16 dB; a ripple's own lines stay below for any depth a
/// tag reaches) may be the field of the reader that drives the tag.
const OTHER_CLOCK: f64 = 0.16;

/// A tone this much weaker than the strongest outside the band (ratio of amplitudes) is not taken as the field: a
/// ripple's own lines look like tones in captures without a carrier.
const LEAST_SHARE: f64 = 0.25;

/// The number a capture holds, with the evidence.
#[derive(Clone, Debug)]
pub struct Reading {
    /// What was decided and measured, over all stretches that gave this number.
    pub attempt: Attempt,
    /// From the first to the last stretch used, seconds from the first sample.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// The ripple could be this much weaker and still be read, dB; negative for candidates.
    pub spare_db: f64,
}

/// The field as received.
#[derive(Clone, Debug, Default)]
pub struct Field {
    /// A field (or, in envelopes, its rectified level or a tag's clock) was found.
    pub present: bool,
    /// Its frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Mean peak amplitude in the unit of the samples.
    pub amplitude: Option<f64>,
    /// Largest departure of the slowly tracked level from its mean, as a share.
    pub level_swing: Option<f64>,
    /// When it was on, seconds from the first sample.
    pub on: Vec<(f64, f64)>,
}

/// What the receiver made of a capture.
#[derive(Clone, Debug)]
pub struct Reception {
    /// How the field shows.
    pub kind: Kind,
    /// Samples per second used.
    pub rate_hz: f64,
    /// Nothing stated the rate: the field was taken as 134.2 kHz.
    pub rate_assumed: bool,
    /// The field's level is in the capture, so depths are relative to it; else they are in the unit of the samples.
    pub level_known: bool,
    /// The field.
    pub field: Field,
    /// Numbers read, strongest first.
    pub readings: Vec<Reading>,
    /// The best that did not qualify.
    pub candidate: Option<Reading>,
    /// Band looked at on each side of the field, Hz.
    pub band_hz: f64,
    /// Telegrams' worth of field in the capture.
    pub telegrams: f64,
    /// What was looked at, for figures: the field's cycles and the ripple of each piece on the clock that was used.
    pub seen: Option<Seen>,
}

/// The receiver's own view of (the first telling window of) a capture.
#[derive(Clone, Debug)]
pub struct Seen {
    /// One complex value per field cycle.
    pub cycles: Cycles,
    /// The ripple in each stretch of field, the field divided out.
    pub pieces: Vec<Piece>,
    /// Field frequency that the pieces' values count.
    pub clock_hz: f64,
}

/// One way of looking at the samples.
#[derive(Clone, Copy, Debug)]
struct View {
    kind: Kind,
    tuning: Tuning,
}

/// Reads a capture. `odds` is the largest probability of a wrong number that counts as read.
pub fn receive(signal: &Signal<'_>, odds: f64) -> Reception {
    let mut best: Option<Reception> = None;
    let (views, rate_hz, rate_assumed) = views(signal);
    for view in &views {
        let reception = look(signal, view, odds, rate_assumed);
        if !reception.readings.is_empty() {
            return reception;
        }
        // The first view is the likeliest; a later one replaces it only by reading.
        best.get_or_insert(reception);
    }
    best.unwrap_or_else(|| Reception {
        kind: match signal.samples {
            Samples::Complex(_) => Kind::Iq,
            Samples::Real(_) if signal.logic => Kind::Logic,
            Samples::Real(_) => Kind::Direct,
        },
        rate_hz,
        rate_assumed,
        level_known: false,
        field: Field::default(),
        readings: Vec::new(),
        candidate: None,
        band_hz: 0.0,
        telegrams: 0.0,
        seen: None,
    })
}

/// Reads several captures as pieces of one tag's signal, each begun at a moment of its own.
///
/// The first capture says how the field shows; the field's frequency is measured in each.
pub fn receive_joined(signals: &[Signal<'_>], odds: f64) -> Option<Reception> {
    let mut joined: Option<(Reception, Clocked)> = None;
    let mut offset_s = 0.0;
    for signal in signals {
        let (views, _, rate_assumed) = views(signal);
        let Some(view) = views.first() else { continue };
        let cycles = to_cycles(signal.samples, &view.tuning);
        let (reception, clocks) = prepare(signal, view, &cycles, rate_assumed);
        let Some(mut clocked) = clocks.into_iter().next() else {
            continue;
        };
        for piece in &mut clocked.pieces {
            piece.from_s += offset_s;
            piece.to_s += offset_s;
        }
        offset_s += signal.samples.len() as f64 / view.tuning.rate_hz;
        match &mut joined {
            None => joined = Some((reception, clocked)),
            Some((first, all)) => {
                first.telegrams += reception.telegrams;
                all.pieces.append(&mut clocked.pieces);
            }
        }
    }
    let (mut reception, clocked) = joined?;
    let limits = ReadLimits {
        odds,
        real: !reception.kind.has_carrier(),
    };
    if reception.kind.has_carrier() {
        reception.field = field_of(&clocked.pieces);
    }
    read_all(&clocked.pieces, clocked.field_hz, &limits, &mut reception);
    if !reception.readings.is_empty() {
        reception.clocked_by(&clocked);
    }
    Some(reception)
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

/// Ways of looking at the samples worth trying, likeliest first.
fn views(signal: &Signal<'_>) -> (Vec<View>, f64, bool) {
    let logic = signal.logic || is_two_level(signal.samples);
    let tones = spectrum(signal.samples).map_or_else(Vec::new, |s| s.tones(24));
    let (rate_hz, rate_assumed) = match signal.rate_hz {
        Some(rate_hz) => (rate_hz, false),
        // The strongest tone is the field.
        None => match (signal.samples, tones.first()) {
            (Samples::Real(_), Some(tone)) => (NOMINAL_HZ / tone.per_sample, true),
            _ => return (Vec::new(), 0.0, true),
        },
    };
    let mut views = Vec::new();
    let strongest = tones.first().map_or(0.0, |tone| tone.amplitude);
    let mut add = |tone: &Tone| {
        if tone.amplitude < LEAST_SHARE * strongest {
            return;
        }
        for tuning in tunings(signal, tone, rate_hz) {
            let kind = match signal.samples {
                Samples::Complex(_) => Kind::Iq,
                Samples::Real(_) if tuning.field_hz < 0.5 * rate_hz => Kind::Direct,
                Samples::Real(_) => Kind::Folded,
            };
            views.push(View { kind, tuning });
        }
    };
    tones.iter().for_each(&mut add);
    views.truncate(CLOCKS);
    if matches!(signal.samples, Samples::Real(_)) && rate_hz > MIN_ENVELOPE_RATE_HZ {
        let envelope = View {
            kind: if logic { Kind::Logic } else { Kind::Envelope },
            tuning: Tuning {
                rate_hz,
                apparent_hz: 0.0,
                field_hz: NOMINAL_HZ,
                mirrored: false,
            },
        };
        if logic {
            views.insert(0, envelope);
        } else {
            views.push(envelope);
        }
    }
    (views, rate_hz, rate_assumed)
}

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

/// Pieces on one clock, which for captures without a carrier is one of several guesses.
struct Clocked {
    field_hz: f64,
    pieces: Vec<Piece>,
}

fn look(signal: &Signal<'_>, view: &View, odds: f64, rate_assumed: bool) -> Reception {
    let cycles = to_cycles(signal.samples, &view.tuning);
    let lines = if view.kind.has_carrier() && !cycles.values.is_empty() {
        clock_lines(&cycles.values, OTHER_CLOCK, CLOCKS)
    } else {
        Vec::new()
    };
    if lines.len() < 2 {
        return look_at(signal, view, cycles, odds, rate_assumed);
    }
    // Two fields at once: either may be the one that the tag divides.
    let mut first: Option<Reception> = None;
    for &line in &lines {
        let offset_hz = line * view.tuning.field_hz;
        let tuning = Tuning {
            field_hz: view.tuning.field_hz + offset_hz,
            apparent_hz: view.tuning.apparent_hz
                + if view.tuning.mirrored {
                    -offset_hz
                } else {
                    offset_hz
                },
            ..view.tuning
        };
        let view = View { tuning, ..*view };
        let mut cycles = to_cycles(signal.samples, &tuning);
        // Fields of like strength beat down to nothing: the others go before anything asks when the field is on.
        for other in lines.iter().filter(|other| **other != line) {
            remove_line(
                &mut cycles.values,
                (other - line) * view.tuning.field_hz / tuning.field_hz,
            );
        }
        let reception = look_at(
            signal,
            &View {
                kind: view.kind,
                tuning,
            },
            cycles,
            odds,
            rate_assumed,
        );
        if !reception.readings.is_empty() {
            return reception;
        }
        first.get_or_insert(reception);
    }
    first.unwrap_or_else(|| look_at(signal, view, cycles, odds, rate_assumed))
}

fn look_at(
    signal: &Signal<'_>,
    view: &View,
    cycles: Cycles,
    odds: f64,
    rate_assumed: bool,
) -> Reception {
    let (mut reception, clocks) = prepare(signal, view, &cycles, rate_assumed);
    let limits = ReadLimits {
        odds,
        real: !view.kind.has_carrier(),
    };
    for clocked in &clocks {
        read_all(&clocked.pieces, clocked.field_hz, &limits, &mut reception);
        if !reception.readings.is_empty() {
            reception.clocked_by(clocked);
            break;
        }
    }
    let read = !reception.readings.is_empty();
    let used = clocks.into_iter().find(|clocked| {
        !read || reception.field.frequency_hz == Some(clocked.field_hz) || view.kind.has_carrier()
    });
    reception.seen = used.map(|clocked| Seen {
        cycles,
        clock_hz: clocked.field_hz,
        pieces: clocked.pieces,
    });
    reception
}

/// Everything up to the pieces: the field is measured, nothing is read yet.
fn prepare(
    signal: &Signal<'_>,
    view: &View,
    cycles: &Cycles,
    rate_assumed: bool,
) -> (Reception, Vec<Clocked>) {
    let mut reception = Reception {
        kind: view.kind,
        rate_hz: view.tuning.rate_hz,
        rate_assumed,
        level_known: true,
        field: Field::default(),
        readings: Vec::new(),
        candidate: None,
        band_hz: cycles.band_hz,
        telegrams: 0.0,
        seen: None,
    };
    let clocks = if view.kind.has_carrier() {
        let pieces = with_carrier(cycles);
        reception.field = field_of(&pieces);
        vec![Clocked {
            field_hz: view.tuning.field_hz,
            pieces,
        }]
    } else {
        reception.level_known = view.kind == Kind::Envelope && level_is_field(signal.samples);
        let pieces = without_carrier(cycles, reception.level_known);
        reception.field.amplitude = pieces
            .first()
            .filter(|_| reception.level_known)
            .map(|piece| piece.field.amplitude);
        pieces
            .iter()
            .flat_map(|piece| on_own_clock(piece, CLOCKS))
            .map(|(relative, piece)| Clocked {
                field_hz: NOMINAL_HZ * relative,
                pieces: vec![piece],
            })
            .collect()
    };
    reception.telegrams = clocks.first().map_or(0.0, |clocked| {
        let seconds: f64 = clocked.pieces.iter().map(|p| p.to_s - p.from_s).sum();
        seconds * clocked.field_hz / super::fold::TELEGRAM as f64
    });
    (reception, clocks)
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

impl Reception {
    /// Counts all times from a moment `offset_s` earlier.
    pub fn shift(&mut self, offset_s: f64) {
        for on in &mut self.field.on {
            *on = (on.0 + offset_s, on.1 + offset_s);
        }
        for reading in self.readings.iter_mut().chain(&mut self.candidate) {
            reading.from_s += offset_s;
            reading.to_s += offset_s;
        }
    }

    /// Whether a later window of the same capture tells more, so that its view replaces this one's.
    pub fn is_outdone_by(&self, later: &Self) -> bool {
        !self.field.present || (self.readings.is_empty() && !later.readings.is_empty())
    }

    /// Adds what a later window of the same capture gave.
    pub fn absorb(&mut self, later: Self, odds: f64) {
        if self.is_outdone_by(&later) {
            self.kind = later.kind;
            self.level_known = later.level_known;
            self.seen = later.seen;
            self.field = Field {
                on: std::mem::take(&mut self.field.on),
                ..later.field
            };
        }
        self.telegrams += later.telegrams;
        for on in later.field.on {
            match self.field.on.last_mut() {
                // A field that is on across the seam of two windows: a gap of a few cycles is the filter's.
                Some(last) if on.0 - last.1 < 1e-3 => last.1 = on.1,
                _ => self.field.on.push(on),
            }
        }
        for reading in later.readings {
            merge(
                &mut self.readings,
                reading.attempt,
                (reading.from_s, reading.to_s),
                odds,
            );
        }
        if let Some(candidate) = later.candidate {
            let better = self.candidate.as_ref().is_none_or(|old| {
                candidate.attempt.decision.odds_wrong < old.attempt.decision.odds_wrong
            });
            if better {
                self.candidate = Some(candidate);
            }
        }
    }

    /// Captures without a carrier show the field's frequency only through the tag that divided it.
    fn clocked_by(&mut self, clocked: &Clocked) {
        if !self.kind.has_carrier() {
            self.field.present = true;
            self.field.frequency_hz = Some(clocked.field_hz);
            self.field.on = clocked.pieces.iter().map(|p| (p.from_s, p.to_s)).collect();
        }
    }
}

/// A rectified field has a level that the ripple rides on; an AC-coupled input has none.
fn level_is_field(samples: Samples<'_>) -> bool {
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

fn field_of(pieces: &[Piece]) -> Field {
    let weight: f64 = pieces.iter().map(|p| p.field.weight).sum();
    if weight <= 0.0 {
        return Field::default();
    }
    let mean = |value: fn(&Piece) -> f64| {
        pieces
            .iter()
            .map(|p| value(p) * p.field.weight)
            .sum::<f64>()
            / weight
    };
    let swing = pieces
        .iter()
        .map(|p| p.field.level_swing)
        .fold(0.0, f64::max);
    Field {
        present: true,
        frequency_hz: Some(mean(|p| p.field.frequency_hz)),
        amplitude: Some(mean(|p| p.field.amplitude)),
        level_swing: Some(swing),
        on: pieces.iter().map(|p| (p.from_s, p.to_s)).collect(),
    }
}

/// Reads every piece and puts together what they say of the same number.
fn read_all(pieces: &[Piece], field_hz: f64, limits: &ReadLimits, reception: &mut Reception) {
    let mut candidates: Vec<Reading> = Vec::new();
    for piece in pieces {
        let result = read_piece(piece, field_hz, limits);
        for attempt in result.read {
            merge(
                &mut reception.readings,
                attempt,
                (piece.from_s, piece.to_s),
                limits.odds,
            );
        }
        if let Some(attempt) = result.left {
            let mut one = Vec::new();
            merge(&mut one, attempt, (piece.from_s, piece.to_s), limits.odds);
            candidates.append(&mut one);
        }
    }
    if reception.readings.is_empty()
        && pieces.len() > 1
        && let Some(attempt) = join(pieces, field_hz, limits)
    {
        let span = (pieces[0].from_s, pieces[pieces.len() - 1].to_s);
        let found = if attempt.is_read(limits) {
            &mut reception.readings
        } else {
            &mut candidates
        };
        merge(found, attempt, span, limits.odds);
    }
    reception
        .readings
        .sort_by(|a, b| b.attempt.depth.total_cmp(&a.attempt.depth));
    candidates.retain(|candidate| {
        reception.readings.iter().all(|reading| {
            reading.attempt.decision.telegram.code != candidate.attempt.decision.telegram.code
        })
    });
    let likeliest = candidates.into_iter().min_by(|a, b| {
        a.attempt
            .decision
            .odds_wrong
            .total_cmp(&b.attempt.decision.odds_wrong)
    });
    if let Some(candidate) = likeliest {
        let better = reception.candidate.as_ref().is_none_or(|old| {
            candidate.attempt.decision.odds_wrong < old.attempt.decision.odds_wrong
        });
        if better {
            reception.candidate = Some(candidate);
        }
    }
}

fn merge(readings: &mut Vec<Reading>, attempt: Attempt, (from_s, to_s): (f64, f64), odds: f64) {
    let same = readings
        .iter_mut()
        .find(|reading| reading.attempt.decision.telegram.code == attempt.decision.telegram.code);
    match same {
        Some(reading) => {
            let (old, new) = (reading.attempt.telegrams, attempt.telegrams);
            let mean = |a: f64, b: f64| (a * old + b * new) / (old + new);
            reading.attempt.depth = mean(reading.attempt.depth, attempt.depth);
            reading.attempt.ebn0 = mean(reading.attempt.ebn0, attempt.ebn0);
            reading.attempt.telegrams = old + new;
            reading.attempt.decision.odds_wrong = reading
                .attempt
                .decision
                .odds_wrong
                .min(attempt.decision.odds_wrong);
            reading.to_s = to_s;
            reading.spare_db = reading.attempt.folded_db() - needed_db(odds);
        }
        None => readings.push(Reading {
            spare_db: attempt.folded_db() - needed_db(odds),
            attempt,
            from_s,
            to_s,
        }),
    }
}

/// Folded Eb/N0 at which half of all telegrams have these odds: 2.1, 2.6, 3.0 and 3.4 dB at 1e-3, 1e-4, 1e-5 and 1e-6
/// (exact sum over CRC register × sign, derived), a straight line in the logarithm between and beyond.
pub fn needed_db(odds: f64) -> f64 {
    let nines = -odds.clamp(1e-12, 0.5).log10();
    3.0 + 0.43 * (nines - 5.0)
}
