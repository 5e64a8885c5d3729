//! What each of several pieces says of a number that one of them gave.
//!
//! A reader that pulses lets a tag answer anew in every piece, so a right number is in most of them. What several tags send at
//! once passes for another number in one piece and not in the next.

use super::attempt::Attempt;
use super::near::are_near;
use super::read::PieceReading;

/// Noise beside a number, as power over that in a piece where others are read: what several tags send at once leaves more.
const NOISIER: f64 = 4.0;

/// The numbers of a piece of a telegram and more.
pub struct Told {
    read: Vec<u64>,
    left: Option<u64>,
    tangled: bool,
    alike: Vec<Vec<u64>>,
    /// The least noise beside a number that was read, relative to the field.
    noise: f64,
}

impl Told {
    /// By what was read in it.
    pub fn by(reading: &PieceReading) -> Self {
        let code = |attempt: &Attempt| attempt.decision.telegram.code;
        let noise = |attempt: &Attempt| attempt.depth * attempt.depth / attempt.ebn0;
        Self {
            read: reading.read.iter().map(code).collect(),
            left: reading.left.as_ref().map(code),
            tangled: reading.tangled,
            alike: reading.alike.clone(),
            noise: reading.read.iter().map(noise).fold(f64::INFINITY, f64::min),
        }
    }

    fn has(&self, number: u64) -> bool {
        self.read.contains(&number) || self.left == Some(number)
    }

    /// The number and one near to it are not told apart in it.
    fn is_alike(&self, number: u64) -> bool {
        let near = |other: &u64| *other != number && are_near(number, *other);
        let mut with_it = self.alike.iter().filter(|codes| codes.contains(&number));
        with_it.any(|codes| codes.iter().any(near))
    }

    /// There is a ripple in it that is not this number's, and is not explained, or only by a number near to it.
    fn is_against(&self, number: u64) -> bool {
        let near = |other: &u64| are_near(number, *other);
        !self.has(number) && (self.tangled || self.left.is_some() || self.read.iter().any(near))
    }
}

/// Whether more pieces are against a number than have it, others are read without it in much less noise, or one shows it and a number
/// near to it alike.
pub fn is_contradicted(number: u64, told: &[Told]) -> bool {
    let against = told.iter().filter(|piece| piece.is_against(number)).count();
    let with = told.iter().filter(|piece| piece.has(number)).count();
    let least = |pieces: &mut dyn Iterator<Item = &Told>| {
        pieces
            .map(|piece| piece.noise)
            .fold(f64::INFINITY, f64::min)
    };
    let own = least(&mut told.iter().filter(|piece| piece.read.contains(&number)));
    let others = least(&mut told.iter().filter(|piece| !piece.has(number)));
    let is_alike = told.iter().any(|piece| piece.is_alike(number));
    is_alike || against > with || own.is_finite() && own > NOISIER * others
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(read: &[u64], left: Option<u64>) -> Told {
        Told {
            read: read.to_vec(),
            left,
            tangled: false,
            alike: Vec::new(),
            noise: 1.0,
        }
    }

    #[test]
    fn a_number_beside_much_noise_is_doubted_where_others_are_read_in_little() {
        let noisy = |noise: f64| Told {
            noise,
            ..piece(&[7_000], None)
        };
        let other = || piece(&[1 << 37 | 5 << 20], None);
        assert!(!is_contradicted(7_000, &[noisy(2.0), other()]));
        assert!(is_contradicted(7_000, &[noisy(9.0), other()]));
    }

    #[test]
    fn a_number_in_one_piece_of_three_is_doubted_where_the_others_show_another_ripple() {
        let told = [
            piece(&[7_000], None),
            piece(&[], Some(1 << 30)),
            piece(&[], Some(1 << 31)),
        ];
        assert!(is_contradicted(7_000, &told));
        let silent = [piece(&[7_000], None), piece(&[], None), piece(&[], None)];
        assert!(!is_contradicted(7_000, &silent));
        let same = [
            piece(&[7_000], None),
            piece(&[], Some(7_000)),
            piece(&[], Some(1 << 31)),
        ];
        assert!(!is_contradicted(7_000, &same));
    }

    #[test]
    fn a_number_that_one_piece_shows_alike_with_a_near_one_is_doubted() {
        let alike = |other: u64| Told {
            alike: vec![vec![7_000, other]],
            tangled: true,
            ..piece(&[], None)
        };
        let far = 1 << 37 | 5 << 20 | 3 << 7;
        assert!(is_contradicted(
            7_000,
            &[piece(&[7_000], None), alike(7_001)]
        ));
        assert!(!is_contradicted(
            7_000,
            &[piece(&[7_000], None), alike(far)]
        ));
    }

    #[test]
    fn another_tag_in_turn_says_nothing_unless_its_number_is_near() {
        let other = 1 << 37 | 5 << 20 | 3 << 7;
        let told = |other: u64| {
            [
                piece(&[7_000], None),
                piece(&[other], None),
                piece(&[other], None),
            ]
        };
        assert!(!is_contradicted(7_000, &told(other)));
        assert!(is_contradicted(7_000, &told(7_001)));
    }
}
