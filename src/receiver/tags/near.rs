//! Numbers so near to each other that other near ones may give the same sum of ripples.
//!
//! Ripples add up. Where two telegrams have, between them, the same signs as two others at every boundary, c·C + d·D is also
//! (c − d)·C + d·A + d·B, and there are more such sums with amplitudes that are nearly equal. Of unrelated numbers A and B are two of 2^38 that
//! nobody has reason to expect, which is worth more than any odds asked for. Among neighbours in a series, or numbers as near
//! as words of the CRC's code are at all, they are to be expected: then no fit tells which tags are there.

use std::sync::OnceLock;

use crate::telegram::Telegram;

/// Least weight of a word of the CRC's code over 64 bits and their CRC (from memory; the test counts the lighter ones: none).
const LIGHTEST: u32 = 4;

/// Neighbours in a series differ in these last bits of the national code.
const SERIES_BITS: u32 = 6;

/// Whether two codes are neighbours in a series, or one or two of the lightest words apart.
pub fn are_near(one: u64, other: u64) -> bool {
    let apart = one ^ other;
    let light = light_words();
    apart >> SERIES_BITS == 0
        || light.contains(&apart)
        || light.iter().any(|word| light.contains(&(word ^ apart)))
}

/// What numbers near to one differ from it by, some of it more than once.
pub fn near_words() -> impl Iterator<Item = u64> {
    let light = light_words();
    let light_apart = light.iter().enumerate().flat_map(|(k, one)| {
        let two = light[..k].iter().map(move |other| one ^ other);
        std::iter::once(*one).chain(two)
    });
    (1..1 << SERIES_BITS).chain(light_apart)
}

/// What the lightest words change in a code.
fn light_words() -> &'static [u64] {
    static WORDS: OnceLock<Vec<u64>> = OnceLock::new();
    WORDS.get_or_init(lightest_words)
}

/// What every code bit alone changes of the CRC.
fn changes_of_crc() -> [u16; 64] {
    let plain = Telegram::new(0).crc();
    std::array::from_fn(|bit| Telegram::new(1 << bit).crc() ^ plain)
}

/// Changes of a code which with those of the CRC weigh four. Of four code bits the last is the one that undoes what the others
/// change of the CRC.
fn lightest_words() -> Vec<u64> {
    let changes = changes_of_crc();
    let mut last_of: Vec<(u16, usize)> = changes.iter().copied().zip(0..).collect();
    last_of.sort_unstable();
    let mut words = Vec::new();
    let mut chosen: Vec<(usize, u64, u16)> = vec![(0, 0, 0)];
    while let Some((from, code, crc)) = chosen.pop() {
        let bits = code.count_ones();
        if code != 0 && bits + crc.count_ones() == LIGHTEST {
            words.push(code);
        }
        if bits + 1 < LIGHTEST {
            let next = (from..64).map(|bit| (bit + 1, code | 1 << bit, crc ^ changes[bit]));
            chosen.extend(next);
        } else if let Ok(place) = last_of.binary_search_by_key(&crc, |(crc, _)| *crc)
            && last_of[place].1 >= from
        {
            words.push(code | 1 << last_of[place].1);
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The slow version: all changes of so many code bits at most.
    fn words_of_weight(weight: u32) -> Vec<u64> {
        let changes = changes_of_crc();
        let mut words = Vec::new();
        let mut chosen: Vec<(usize, u64, u16)> = vec![(0, 0, 0)];
        while let Some((from, code, crc)) = chosen.pop() {
            if code != 0 && code.count_ones() + crc.count_ones() == weight {
                words.push(code);
            }
            if code.count_ones() < weight {
                let next = (from..64).map(|bit| (bit + 1, code | 1 << bit, crc ^ changes[bit]));
                chosen.extend(next);
            }
        }
        words.sort_unstable();
        words
    }

    #[test]
    fn no_word_is_lighter_than_four() {
        assert!((1..4).all(|weight| words_of_weight(weight).is_empty()));
        let mut words = lightest_words();
        words.sort_unstable();
        assert_eq!(words, words_of_weight(4));
        for word in words {
            let crc = Telegram::new(word).crc() ^ Telegram::new(0).crc();
            assert_eq!(word.count_ones() + crc.count_ones(), 4);
        }
    }

    #[test]
    fn every_near_word_leads_to_a_near_code() {
        let code = 1 << 63 | 999 << 38 | 100;
        assert!(near_words().count() > 1 << SERIES_BITS);
        assert!(near_words().all(|apart| are_near(code, code ^ apart)));
    }

    #[test]
    fn near_numbers_are_told_from_others() {
        let of = |country: u64, national: u64, reserved: u64| {
            1 << 63 | reserved << 49 | country << 38 | national
        };
        let number = of(900, 77_839_524_252, 0);
        // Both are light words away, worked out with numpy.
        let by_country = of(916, 77_839_524_252, 2);
        let by_national = of(900, 77_806_100_888, 0);
        for (one, other, near) in [
            (number, by_country, true),
            (number, by_national, true),
            (by_country, by_national, true),
            (of(999, 107, 0), of(999, 108, 0), true),
            (of(999, 107, 0), of(999, 1107, 0), false),
            (number, of(276, 75_759_908_088, 0), false),
        ] {
            assert_eq!(are_near(one, other), near, "{one:X} {other:X}");
        }
    }
}
