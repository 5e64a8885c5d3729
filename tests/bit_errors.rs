//! Bit errors of the boundary decision against the formula for differential biphase in white noise:
//! Pb = 2Q(√(2γ))(1 − Q(√(2γ))), γ = Eb/N0; deciding per boundary is 3.01 dB better than inside each bit (Bletsas et al.,
//! IEEE Trans. Commun. 60(3) 2012, abstract; the formula itself is derived and was met by simulation).

use fieldripple::linecode;
use fieldripple::receiver::{BIT, Fold, HALF, TELEGRAM};
use fieldripple::telegram::{TELEGRAM_BITS, Telegram};
use num_complex::Complex32;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

/// Q function through the complementary error function.
fn q(x: f64) -> f64 {
    0.5 * libm::erfc(x / std::f64::consts::SQRT_2)
}

#[test]
fn bit_errors_of_the_boundary_decision_meet_the_formula() {
    let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(41);
    let depth = 0.01f64;
    for ebn0_db in [3.0, 5.202, 7.0] {
        let gamma = 10f64.powf(ebn0_db / 10.0);
        // A whole pulse of 32 values has signal-to-noise ratio depth²·32/(σ² of one part) = 2γ.
        let sigma = (depth * depth * BIT as f64 / (2.0 * gamma)).sqrt();
        let (mut errors, mut bits_seen) = (0u32, 0u32);
        for _ in 0..300 {
            let bits = Telegram::new(rng.random()).bits();
            let states = linecode::load_states(&bits, 1);
            let ripple: Vec<Complex32> = (0..TELEGRAM)
                .map(|n| {
                    let noise = [(); 2].map(|()| -> f64 { StandardNormal.sample(&mut rng) });
                    let clean = depth * f64::from(states[n / HALF]);
                    Complex32::new((clean + sigma * noise[0]) as f32, (sigma * noise[1]) as f32)
                })
                .collect();
            let sums = Fold::new(&ripple, linecode::inverts(&bits)).boundaries(0.0);
            let signs: Vec<i8> = sums
                .sums
                .iter()
                .map(|y| if y.re > 0.0 { 1 } else { -1 })
                .collect();
            // Between 128 boundaries lie 127 bits.
            let decided = linecode::bits_between(&signs);
            errors += decided.iter().zip(&bits).filter(|(a, b)| a != b).count() as u32;
            bits_seen += TELEGRAM_BITS as u32 - 1;
        }
        let wrong = q((2.0 * gamma).sqrt());
        let theory = 2.0 * wrong * (1.0 - wrong);
        let share = f64::from(errors) / f64::from(bits_seen);
        // A wrong boundary makes two neighbouring bits wrong, so the count varies up to twice as much as a binomial one.
        let deviation = (2.0 * theory * (1.0 - theory) / f64::from(bits_seen)).sqrt();
        println!(
            "{ebn0_db} dB: {errors} of {bits_seen} bits wrong, {share:.3e} against {theory:.3e}"
        );
        assert!(
            (share - theory).abs() < 3.0 * deviation,
            "{ebn0_db} dB: {share:.3e} against {theory:.3e}, deviation {deviation:.1e}"
        );
    }
}
