//! Random numbers: one seed, many independent streams.

use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};

/// What a stream of random numbers is for. Each has a stream of its own, so that drawing more of one thing leaves the
/// others as they were.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stream {
    /// Number, timing and phases nobody stated, for the tag with this index.
    Tag(u16),
    /// Phase of the field.
    Field,
    /// White noise of the samples.
    Noise,
    /// An interferer: kind and number within the kind.
    Interferer(u8, u8),
    /// A tag of another kind: what it sends and when.
    OtherTag(u8),
}

impl Stream {
    /// Numbers of the streams; part of what makes old captures repeatable, so they never change.
    const fn number(self) -> u64 {
        match self {
            Self::Field => 0,
            Self::Noise => 1,
            Self::Interferer(kind, index) => 0x2_0000 + 0x100 * kind as u64 + index as u64,
            Self::OtherTag(index) => 0x3_0000 + index as u64,
            Self::Tag(index) => 0x1_0000 + index as u64,
        }
    }
}

/// The generator of one stream: ChaCha8, keyed with the seed (little endian, the other 24 key bytes 0).
///
/// The key is written out here because `seed_from_u64` may expand seeds differently in another version of its crate.
pub fn generator(seed: u64, stream: Stream) -> ChaCha8Rng {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    let mut generator = ChaCha8Rng::from_seed(key);
    generator.set_stream(stream.number());
    generator
}

/// Which point of a plan a trial belongs to: the bits of the values varied there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place(pub [u64; 2]);

/// The generator of one trial: ChaCha8 keyed with seed and place (key bytes 0–7 and 8–23), its stream the trial's number. The last
/// key byte is 1, which no generator of a capture has.
pub fn trial_generator(seed: u64, place: Place, trial: u64) -> ChaCha8Rng {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8..16].copy_from_slice(&place.0[0].to_le_bytes());
    key[16..24].copy_from_slice(&place.0[1].to_le_bytes());
    key[31] = 1;
    let mut generator = ChaCha8Rng::from_seed(key);
    generator.set_stream(trial);
    generator
}

/// Uniform in [0, 1): the upper 53 bits of one word, as in most generators.
pub fn uniform(generator: &mut impl Rng) -> f64 {
    (generator.next_u64() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_and_seeds_differ_and_the_first_words_are_frozen() {
        let first = |seed, stream| generator(seed, stream).next_u64();
        assert_ne!(first(1, Stream::Noise), first(1, Stream::Field));
        assert_ne!(first(1, Stream::Noise), first(2, Stream::Noise));
        assert_ne!(first(1, Stream::Tag(0)), first(1, Stream::Tag(1)));
        // First keystream word of ChaCha8 with a zero key and zero nonce: 3e00ef2f895f40d6 as bytes
        // (draft-strombergson-chacha-test-vectors-01, TC1, 256-bit key).
        assert_eq!(
            first(0, Stream::Field),
            u64::from_le_bytes([0x3e, 0x00, 0xef, 0x2f, 0x89, 0x5f, 0x40, 0xd6])
        );
    }
}
