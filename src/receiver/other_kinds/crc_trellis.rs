//! The likeliest code whose CRC fits, and the exact odds that it is another: all 2^64 codes are summed over a trellis whose state
//! is the CRC register.

use crate::telegram::{CODE_BITS, CRC_BITS, crc16_bitwise};

/// Code and CRC bits.
pub const CHECKED: usize = CODE_BITS + CRC_BITS;

const STATES: usize = 1 << CRC_BITS;

/// What the checked bits say.
#[derive(Clone, Copy, Debug)]
pub struct Checked {
    /// The likeliest code.
    pub code: u64,
    /// Probability that it is another one, if it is any.
    pub odds_wrong: f64,
    /// Probability of bits whose CRC fits, by what each bit says alone: near 1 for a good answer, 2^-16 for random bits.
    pub mass: f64,
    /// Probability, at most, that noise contradicts the bits of the right code this much.
    pub fit: f64,
}

/// Register after one more bit, and the register that a bit 0 takes to a state; a bit 1 comes from its neighbour (last bit the
/// other way).
fn before(state: usize) -> usize {
    // The polynomial's register has its top bit set exactly if a 1 was shifted out.
    let feedback = usize::from(crc16_bitwise([true]));
    if state & (STATES >> 1) != 0 {
        ((state ^ feedback) << 1) | 1
    } else {
        state << 1
    }
}

/// Reads 64 code bits and 16 CRC bits given as ln P(1)/P(0), in the order sent.
pub fn check(soft: &[f64; CHECKED]) -> Checked {
    let before: Vec<u32> = (0..STATES).map(|state| before(state) as u32).collect();
    let probability = |soft: f64| {
        let one = 1.0 / (1.0 + (-soft).exp());
        [1.0 / (1.0 + soft.exp()), one]
    };
    let mut sums = vec![0.0f64; STATES];
    let mut best = vec![f32::NEG_INFINITY; STATES];
    (sums[0], best[0]) = (1.0, 0.0);
    let (mut next_sums, mut next_best) = (sums.clone(), best.clone());
    // One bit a state and step: whether the best way there had a 1.
    let mut ways: Vec<Vec<u64>> = Vec::with_capacity(CODE_BITS);
    for &soft in &soft[..CODE_BITS] {
        let [zero, one] = probability(soft);
        // Logarithms relative to a 0; rounding of f32 decides only between codes that are equally likely anyway.
        let gain = soft as f32;
        let mut way = vec![0u64; STATES / 64];
        for state in 0..STATES {
            let from = before[state] as usize;
            next_sums[state] = zero * sums[from] + one * sums[from ^ 1];
            let (by_zero, by_one) = (best[from], best[from ^ 1] + gain);
            next_best[state] = by_zero.max(by_one);
            way[state / 64] |= u64::from(by_one > by_zero) << (state % 64);
        }
        std::mem::swap(&mut sums, &mut next_sums);
        std::mem::swap(&mut best, &mut next_best);
        ways.push(way);
    }
    // The CRC is the register, sent least significant bit first.
    let crc: Vec<[f64; 2]> = soft[CODE_BITS..]
        .iter()
        .map(|&soft| probability(soft))
        .collect();
    let mut all = 0.0;
    let mut likeliest = (0, f64::NEG_INFINITY);
    for state in 0..STATES {
        if sums[state] == 0.0 {
            continue;
        }
        let sent = |bit: usize| state >> bit & 1;
        all += (0..CRC_BITS).fold(sums[state], |product, bit| product * crc[bit][sent(bit)]);
        let score = (0..CRC_BITS)
            .map(|bit| sent(bit) as f64 * soft[CODE_BITS + bit])
            .sum::<f64>()
            + f64::from(best[state]);
        if score > likeliest.1 {
            likeliest = (state, score);
        }
    }
    let mut state = likeliest.0;
    let crc_sent = state as u16;
    let mut code = 0u64;
    for (bit, way) in ways.iter().enumerate().rev() {
        let one = way[state / 64] >> (state % 64) & 1;
        code |= one << bit;
        state = before[state] as usize ^ one as usize;
    }
    let bits: Vec<bool> = (0..CHECKED)
        .map(|bit| {
            if bit < CODE_BITS {
                code >> bit & 1 == 1
            } else {
                crc_sent >> (bit - CODE_BITS) & 1 == 1
            }
        })
        .collect();
    let own = soft
        .iter()
        .zip(&bits)
        .map(|(&soft, &bit)| probability(soft)[usize::from(bit)])
        .product::<f64>();
    Checked {
        code,
        // Rounding of the sums: 80 products of a few parts in 10^16.
        odds_wrong: (1.0 - own / all).clamp(1e-13, 1.0),
        mass: all,
        fit: contradiction(soft, &bits),
    }
}

/// How likely the right bits are contradicted at least this much: Chernoff's bound on the sum of |soft| over contradicted bits,
/// each contradicted with probability 1/(1 + e^|soft|).
pub fn contradiction(soft: &[f64], bits: &[bool]) -> f64 {
    let against: f64 = soft
        .iter()
        .zip(bits)
        .filter(|(soft, bit)| (**soft > 0.0) != **bit)
        .map(|(soft, _)| soft.abs())
        .sum();
    (1..10)
        .map(|tenths| {
            let tilt = f64::from(tenths) / 10.0;
            let moment: f64 = soft
                .iter()
                .map(|soft| {
                    let wrong = 1.0 / (1.0 + soft.abs().exp());
                    (wrong * ((tilt * soft.abs()).exp() - 1.0)).ln_1p()
                })
                .sum();
            (moment - tilt * against).exp()
        })
        .fold(1.0, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::telegram::{HALF_DUPLEX_HEADER, Telegram};

    fn soft_of(code: u64, strength: f64) -> [f64; CHECKED] {
        let bits = Telegram::new(code).half_duplex_bits();
        std::array::from_fn(|k| {
            if bits[HALF_DUPLEX_HEADER.len() + k] {
                strength
            } else {
                -strength
            }
        })
    }

    /// The slow version: the register bit by bit.
    #[test]
    fn states_come_from_where_the_register_says() {
        for state in [0usize, 1, 0x8408, 0xFFFF, 0x1234, 0xBEEF] {
            for bit in [false, true] {
                let from = before(state) ^ usize::from(bit);
                let mut register = from ^ usize::from(bit);
                register = if register & 1 == 1 {
                    (register >> 1) ^ 0x8408
                } else {
                    register >> 1
                };
                assert_eq!(register, state, "{state:04X}");
            }
        }
    }

    #[test]
    fn a_sure_code_is_read_and_a_few_wrong_bits_are_put_right() {
        for code in [0, 0x8000_F9D6_FEE0_E52D, u64::MAX] {
            let mut soft = soft_of(code, 8.0);
            let sure = check(&soft);
            assert_eq!(sure.code, code);
            // 80 bits, each wrong with e^-8; the nearest other code differs in four.
            assert!(sure.odds_wrong < 1e-9 && sure.fit > 0.9, "{sure:?}");
            soft[3] = -0.3 * soft[3].signum();
            soft[70] = -0.3 * soft[70].signum();
            let weak = check(&soft);
            assert_eq!(weak.code, code);
            assert!(weak.fit > 0.01, "{weak:?}");
        }
    }

    /// Without any knowledge all codes are alike; with strong bits that fit no CRC the misfit shows.
    #[test]
    fn what_is_no_telegram_is_told() {
        assert!(check(&[0.0; CHECKED]).odds_wrong > 1.0 - 1e-12);
        let mut soft = soft_of(0x8000_F9D6_FEE0_E52D, 12.0);
        soft[10] = -soft[10];
        let corrupted = check(&soft);
        // One bit with e^-12, and 80 of them.
        assert!(
            corrupted.fit < 80.0 * 2.0 * (-12f64).exp() * 3.0,
            "{corrupted:?}"
        );
        soft[20] = -soft[20];
        assert!(check(&soft).fit < 1e-6);
    }
}
