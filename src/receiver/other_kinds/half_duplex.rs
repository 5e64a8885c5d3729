//! Half-duplex answers in the pauses of the field → numbers.

use super::answer::{Answer, answer};
use super::crc_trellis::{CHECKED, Checked, check, contradiction};
use super::pauses::pauses;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::proof::TRAILER_SURE;
use crate::telegram::{HALF_DUPLEX_BITS, HALF_DUPLEX_HEADER, Identity, Telegram};

/// Shortest pause worth a look, seconds: earliest begin, and header, code and CRC in 88 bits of at least 16/136 400 s.
const SHORTEST_PAUSE_S: f64 = 0.5e-3 + 88.0 * 16.0 / 136_400.0;

/// Most pauses looked at in a stretch: ten telegrams of 20 dB each are 30 dB together.
const MOST_PAUSES: usize = 64;

/// Logarithm of how many begins, tones and levels are tried, which noise may use to look like an answer: 250 begins, 25 pairs of
/// tones, and five times as many in the climb.
const TRIED: f64 = 10.4;

/// Noise contradicts the right code, or header, this much once in ten thousand answers.
const LEAST_FIT: f64 = 1e-4;

/// Answers of this share of a read one's Eb/N0 and more (−3 dB) come from as strong a tag.
const AS_STRONG: f64 = 0.5;

/// Of one tag's answers the mean over 112 bits is 1, give or take 0.2 (each bit's square varies by less than twice its mean): five times
/// that apart are several tags.
const STEADY: f64 = 2.0;

/// Where several answer at once, what disturbs the one that was decided on is not noise, and one disturbed bit is worth a few powers
/// of ten: the odds must be better by so much (chosen, no source).
const UNSTEADY: f64 = 1e-5;

/// Eb/N0 at which half of all single answers have odds of 1e-5, and what each further power of ten costs, dB (measured with answers in
/// white noise, tones and begin unknown).
pub const NEEDED_DB: (f64, f64) = (8.2, 0.28);

/// A number read from half-duplex answers.
#[derive(Clone, Debug)]
pub struct HalfDuplexReading {
    /// Code and trailer.
    pub telegram: Telegram,
    /// Probability that all trailer bits are right.
    pub trailer_sure: f64,
    /// Probability that the number is wrong.
    pub odds_wrong: f64,
    /// Answers that gave it.
    pub answers: usize,
    /// Tones of a 0 and of a 1, Hz.
    pub zero_hz: f64,
    /// See `zero_hz`.
    pub one_hz: f64,
    /// From the field's end to the first bit, seconds.
    pub delay_s: f64,
    /// Eb/N0 of one answer, a ratio.
    pub ebn0: f64,
    /// Peak amplitude of the tones, unit of the samples.
    pub amplitude: f64,
    /// The tones could be this much weaker and half of all captures still be read, dB.
    pub spare_db: f64,
    /// From the first to the last answer used, seconds from the first sample.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// The 112 bits of the last answer as decided one by one, without the CRC's help.
    pub bits: [bool; HALF_DUPLEX_BITS],
}

impl HalfDuplexReading {
    /// The number and what else its code says.
    pub fn identity(&self) -> Identity {
        Identity::from_code(self.telegram.code)
    }

    /// The trailer, six hexadecimal digits, where its bits are as good as certain.
    pub fn trailer(&self) -> Option<String> {
        (self.trailer_sure >= TRAILER_SURE).then(|| format!("{:06X}", self.telegram.trailer))
    }
}

/// Half-duplex answers that are certain to be there and give no number.
#[derive(Clone, Copy, Debug)]
pub struct HalfDuplexUnread {
    /// How many.
    pub answers: usize,
    /// Tones of a 0 and of a 1, Hz.
    pub zero_hz: f64,
    /// See `zero_hz`.
    pub one_hz: f64,
    /// Largest Eb/N0 of one, a ratio.
    pub ebn0: f64,
    /// Probability, at most, that noise contradicts the nearest number this much.
    pub fit: f64,
    /// Mean square by which its tones vary in strength from bit to bit, over what noise and one tag do.
    pub unsteadiness: f64,
}

impl HalfDuplexUnread {
    /// Whether its strength varies as that of several tags whose tones beat with each other.
    pub fn beats(&self) -> bool {
        self.unsteadiness > STEADY
    }
}

/// One pause with an answer in it.
struct Heard {
    answer: Answer,
    pause: usize,
}

/// All numbers that half-duplex tags send in the pauses of the field, and answers that give none.
pub fn half_duplex(
    cycles: &Cycles,
    odds: f64,
) -> (Vec<HalfDuplexReading>, Option<HalfDuplexUnread>) {
    let mut readings: Vec<HalfDuplexReading> = Vec::new();
    let mut left: Vec<Heard> = Vec::new();
    // Two slopes of the filter: noise of half the band on each side is in the values.
    let full_share = (2.0 * cycles.band_hz / cycles.field_hz).min(1.0);
    for (from, to) in pauses(cycles, SHORTEST_PAUSE_S)
        .into_iter()
        .take(MOST_PAUSES)
    {
        let Some(answer) = answer(&cycles.values[from..to], cycles.field_hz, full_share) else {
            continue;
        };
        // An answer that noise would give as well is none.
        if answer.score < TRIED - odds.ln() {
            continue;
        }
        let heard = Heard {
            answer,
            pause: from,
        };
        match read(&[&heard], cycles, odds) {
            Some(reading) => merge(&mut readings, reading, odds),
            None => left.push(heard),
        }
    }
    // Of tags that answer at once one pause may seem to give a number that the others speak against.
    readings.retain(|reading| {
        left.iter().all(|heard| {
            heard.answer.ebn0 < AS_STRONG * reading.ebn0 || !heard.speaks_against(&reading.telegram)
        })
    });
    // Answers too weak on their own: all of one tag together.
    if readings.is_empty() && left.len() > 1 {
        let all: Vec<&Heard> = left.iter().collect();
        if let Some(reading) = read(&all, cycles, odds) {
            readings.push(reading);
            left.clear();
        }
    }
    // Two tones without the header that all of them begin with are something else's.
    left.retain(|heard| header_fit(&heard.answer.soft) >= LEAST_FIT);
    let strongest = left
        .iter()
        .max_by(|a, b| a.answer.ebn0.total_cmp(&b.answer.ebn0));
    let unread = strongest.filter(|_| readings.is_empty()).map(|heard| {
        let checked = check(&checked_bits(&heard.answer.soft));
        HalfDuplexUnread {
            answers: left.len(),
            zero_hz: heard.answer.tone_hz[0],
            one_hz: heard.answer.tone_hz[1],
            ebn0: heard.answer.ebn0,
            fit: checked.fit,
            unsteadiness: heard.answer.unsteadiness,
        }
    });
    (readings, unread)
}

impl Heard {
    /// Whether an answer is contradicted by more than noise where it should be this telegram's.
    fn speaks_against(&self, telegram: &Telegram) -> bool {
        let bits = telegram.half_duplex_bits();
        let range = HALF_DUPLEX_HEADER.len()..HALF_DUPLEX_HEADER.len() + CHECKED;
        contradiction(&self.answer.soft[range.clone()], &bits[range]) < LEAST_FIT
    }
}

fn checked_bits(soft: &[f64; HALF_DUPLEX_BITS]) -> [f64; CHECKED] {
    std::array::from_fn(|k| soft[HALF_DUPLEX_HEADER.len() + k])
}

fn header_fit(soft: &[f64; HALF_DUPLEX_BITS]) -> f64 {
    contradiction(&soft[..HALF_DUPLEX_HEADER.len()], &HALF_DUPLEX_HEADER)
}

/// The number in answers of one tag, if it is certain enough and nothing speaks against it.
fn read(heard: &[&Heard], cycles: &Cycles, odds: f64) -> Option<HalfDuplexReading> {
    let mut soft = [0.0; HALF_DUPLEX_BITS];
    for one in heard {
        soft.iter_mut()
            .zip(&one.answer.soft)
            .for_each(|(sum, soft)| *sum += soft);
    }
    let Checked {
        code,
        odds_wrong,
        mass,
        fit,
    } = check(&checked_bits(&soft));
    let odds_wrong = odds_wrong
        + heard
            .iter()
            .map(|one| (TRIED - one.answer.score).exp() + one.answer.rivals / mass)
            .sum::<f64>();
    let several = heard.iter().any(|one| one.answer.unsteadiness > STEADY);
    let odds_asked = if several { odds * UNSTEADY } else { odds };
    if odds_wrong > odds_asked || fit < LEAST_FIT || header_fit(&soft) < LEAST_FIT {
        return None;
    }
    let trailer = &soft[HALF_DUPLEX_HEADER.len() + CHECKED..];
    let count = heard.len() as f64;
    let mean =
        |value: fn(&Answer) -> f64| heard.iter().map(|one| value(&one.answer)).sum::<f64>() / count;
    let time = |value: f64| (cycles.first as f64 + value) / cycles.field_hz;
    let (first, last) = (heard.first()?, heard.last()?);
    let ebn0 = mean(|answer| answer.ebn0);
    Some(HalfDuplexReading {
        telegram: Telegram {
            code,
            trailer: trailer
                .iter()
                .rev()
                .fold(0, |number, &soft| number << 1 | u32::from(soft > 0.0)),
        },
        trailer_sure: trailer
            .iter()
            .map(|soft| 1.0 / (1.0 + (-soft.abs()).exp()))
            .product(),
        odds_wrong,
        answers: heard.len(),
        zero_hz: mean(|answer| answer.tone_hz[0]),
        one_hz: mean(|answer| answer.tone_hz[1]),
        delay_s: mean(|answer| answer.begin) / cycles.field_hz,
        ebn0,
        amplitude: mean(|answer| answer.amplitude),
        spare_db: spare_db(ebn0, heard.len(), odds),
        from_s: time(first.pause as f64 + first.answer.begin),
        to_s: time(last.pause as f64 + last.answer.begin + last.answer.length),
        bits: last.answer.soft.map(|soft| soft > 0.0),
    })
}

/// Noncoherent sums of n answers are taken as n answers' energy, an upper bound by less than 1 dB for the few that a capture holds.
fn spare_db(ebn0: f64, answers: usize, odds: f64) -> f64 {
    let (needed_db, per_decade_db) = NEEDED_DB;
    let decades = -odds.clamp(1e-12, 0.5).log10() - 5.0;
    10.0 * (ebn0 * answers as f64).log10() - needed_db - per_decade_db * decades
}

/// Puts one more reading beside what is known of the same number.
pub fn merge(readings: &mut Vec<HalfDuplexReading>, new: HalfDuplexReading, odds: f64) {
    let Some(old) = readings
        .iter_mut()
        .find(|old| old.telegram.code == new.telegram.code)
    else {
        readings.push(new);
        return;
    };
    let (a, b) = (old.answers as f64, new.answers as f64);
    let mean = |old: f64, new: f64| (a * old + b * new) / (a + b);
    *old = HalfDuplexReading {
        odds_wrong: old.odds_wrong.min(new.odds_wrong),
        answers: old.answers + new.answers,
        zero_hz: mean(old.zero_hz, new.zero_hz),
        one_hz: mean(old.one_hz, new.one_hz),
        delay_s: mean(old.delay_s, new.delay_s),
        ebn0: mean(old.ebn0, new.ebn0),
        amplitude: mean(old.amplitude, new.amplitude),
        spare_db: spare_db(mean(old.ebn0, new.ebn0), old.answers + new.answers, odds),
        from_s: old.from_s.min(new.from_s),
        to_s: old.to_s.max(new.to_s),
        // The surer trailer goes with its number.
        telegram: if new.trailer_sure > old.trailer_sure {
            new.telegram
        } else {
            old.telegram
        },
        trailer_sure: old.trailer_sure.max(new.trailer_sure),
        bits: new.bits,
    };
}
