//! Reads, simulates and explains the radio signal of FDX-B animal transponders (134.2 kHz, ISO 11784/11785) from sampled
//! waveforms.
//!
//! A transponder in a reader's field opens and closes a load on its own coil. What any coil near by sees of it is a faint
//! *ripple* on a strong carrier. This crate finds that ripple, adds up the telegrams in it, decodes them softly and says
//! how probable it is that the number is wrong; or why there is none.
//!
//! # Conventions
//!
//! | what | convention |
//! |---|---|
//! | samples | `f32`, finite; volts where a file has volts, else fractions of full scale (±1). Complex ones are `Complex32` |
//! | phasor | the received signal is `x(t) = Re{A(t)·e^{+jωt}}`; folded captures whose band is mirrored are conjugated, so angles always follow this sign |
//! | amplitudes | peak values, not rms, of a sine; the ripple's depth is its rms relative to the field's amplitude |
//! | time | seconds from the first sample; a trigger's place is [`capture::Layout::start_s`] |
//! | field cycles | the tag divides the field by 32, so the field is the clock: 32 cycles a bit, 4096 a telegram |
//! | angles | degrees where the name says `_deg`, radians otherwise; the ripple's angle is folded into (−90°, 90°]: 0° changes the amplitude only, 90° the phase only |
//! | frequencies, rates | Hz and samples a second (`_hz`); cycles per sample only inside the receiver |
//! | Eb/N0 | ripple energy of a bit over the one-sided noise density: `r²·T/(2·N0)` for real samples with a carrier, `r²·T/N0` for envelopes and I/Q samples; `N0 = 2σ²/rate` |
//! | bits | `bool`s in the order sent, least significant bit of every part first; in a `u64` code bit 1 of ISO 11784 is the most significant |
//! | odds | probability between 0 and 1 that a number is wrong; a number counts as read at 1e-5 or less unless asked otherwise |
//! | random numbers | ChaCha8, one stream for each purpose, keyed by a seed: the same seed gives the same samples on every machine |
//!
//! Names carry their unit (`rate_hz`, `from_s`, `angle_deg`). A capture in which nothing is read is a result with reasons,
//! not an error; errors are files and arguments that cannot be used.
//!
//! # The pipeline
//!
//! Data flows one way, a module a stage; only [`capture`] touches files.
//!
//! | module | from → to |
//! |---|---|
//! | [`capture`] | files and streams → samples, and samples → files |
//! | [`receiver`] | samples → readings |
//! | [`findings`] | what the receiver saw → why it was or was not read |
//! | [`telegram`] | number ↔ 64-bit code ↔ 128 bits |
//! | [`linecode`] | bits ↔ load states ↔ boundary signs |
//! | [`world`] | a bench in numbers → samples |
//! | [`draw`] | what the receiver saw → figures |
//! | [`page`] | figures, findings and numbers → a page for a browser |
//! | [`lesson`] | captures made and read for it → pages that teach |
//! | [`margin`] | bench × receiver, many times → how much breaks the reading |
//!
//! `receiver` and `world` do not know each other, so neither can be tuned to the other's mistakes.
//!
//! # A first example
//!
//! Make 100 ms of a tag whose ripple is nearly all phase, and read it:
//!
//! ```
//! use fieldripple::receiver::{Samples, Signal, receive};
//! use fieldripple::telegram::{Identity, Telegram};
//! use fieldripple::world::{DirectSignal, RippleTag, View, noise_sigma};
//!
//! let (rate_hz, field_hz, depth) = (500e3, 134_200.0, 0.01);
//! let tag = RippleTag {
//!     telegram: Telegram::new(Identity::new(999, 123_456_789)?.code()),
//!     depth,
//!     angle_deg: 80.0,
//!     start_cycles: 1000.0,
//!     sign: 1,
//! };
//! let bench = DirectSignal {
//!     view: View::Real,
//!     rate_hz,
//!     clock_ppm: 0.0,
//!     samples: 50_000,
//!     field_hz,
//!     amplitude: 1.0,
//!     phase_deg: 0.0,
//!     offset: 0.0,
//!     tags: vec![tag],
//!     pulses: None,
//!     noise_sigma: noise_sigma(View::Real, 12.0, depth, field_hz, rate_hz),
//!     seed: 1,
//! };
//! let samples: Vec<f32> = bench.samples().0.iter().map(|&volts| volts as f32).collect();
//!
//! let reception = receive(
//!     &Signal {
//!         samples: Samples::Real(&samples),
//!         rate_hz: Some(rate_hz),
//!         centre_hz: 0.0,
//!         logic: false,
//!     },
//!     1e-5,
//! );
//! let attempt = &reception.readings[0].attempt;
//! let number = Identity::from_code(attempt.decision.telegram.code);
//! println!("{number}, ripple {:.2} % at {:.0}°", 100.0 * attempt.depth, attempt.angle.to_degrees());
//! assert_eq!(number.to_string(), "999 000123456789");
//! # assert!((attempt.angle.to_degrees() - 80.0).abs() < 3.0);
//! # Ok::<(), fieldripple::telegram::IdentityError>(())
//! ```
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod capture;
#[cfg(feature = "draw")]
pub mod draw;
pub mod findings;
#[cfg(feature = "lesson")]
pub mod lesson;
pub mod linecode;
#[cfg(feature = "margin")]
pub mod margin;
#[cfg(feature = "page")]
pub mod page;
pub mod receiver;
pub mod telegram;
mod threads;
#[cfg(feature = "world")]
pub mod world;
