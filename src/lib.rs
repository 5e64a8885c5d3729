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
//! | [`decode`] | captures → what became of them: all of the above in one call |
//! | [`telegram`] | number ↔ 64-bit code ↔ 128 bits |
//! | [`linecode`] | bits ↔ load states ↔ boundary signs |
//! | [`number`] | `500k`, `134.2 kHz` ↔ numbers |
//! | [`world`] | a bench in numbers → samples |
//! | [`draw`] | what the receiver saw → figures |
//! | [`page`] | figures, findings and numbers → a page for a browser |
//! | [`lesson`] | captures made and read for it → pages that teach |
//! | [`margin`] | bench × receiver, many times → how much breaks the reading |
//!
//! `receiver` and `world` do not know each other, so neither can be tuned to the other's mistakes.
//!
//! # How do I …
//!
//! … read a file? [`decode::decode_file`] takes any format that [`capture`] knows:
//!
//! ```
//! use fieldripple::decode::{Settings, decode_file};
//!
//! let decoded = decode_file("waveforms/intake-clean.wav", &Settings::new())?;
//! println!("{}", decoded.identities()[0]); // 999 100000000001
//! # assert_eq!(decoded.identities()[0].to_string(), "999 100000000001");
//! # Ok::<(), fieldripple::decode::DecodeError>(())
//! ```
//!
//! … read samples that I have? [`decode::decode_samples`]; why there is no number stands in the findings:
//!
//! ```
//! use fieldripple::decode::{Settings, decode_samples};
//!
//! let bare_field: Vec<f32> = (0..50_000).map(|k| (k as f64 * 134_200.0 / 500e3 * std::f64::consts::TAU).sin() as f32).collect();
//! let decoded = decode_samples(&bare_field, 500e3, &Settings::new())?;
//! assert!(!decoded.is_read());
//! println!("{}: {}", decoded.findings[0].code, decoded.findings[0].text);
//! # Ok::<(), fieldripple::decode::DecodeError>(())
//! ```
//!
//! … read a stream of bytes? [`decode::decode_reader`] takes anything that is [`Read`](std::io::Read), to its end:
//!
//! ```
//! use fieldripple::decode::{Settings, decode_reader};
//!
//! let stream = std::fs::File::open("waveforms/intake-clean.wav")?;
//! let decoded = decode_reader("gate", stream, &Settings::new().from_s(0.02))?;
//! assert!(decoded.is_read());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! … follow samples as they come, and be told when a tag comes and goes? [`decode::Live`]:
//!
//! ```
//! use fieldripple::decode::{Event, Live, Settings};
//!
//! let mut live = Live::new(500e3, &Settings::new())?;
//! for event in live.push(&[0.0; 10_000]) {
//!     if let Event::VisitEnded(visit) = event {
//!         println!("{}: {} to {} s", visit.identity, visit.from_s, visit.to_s);
//!     }
//! }
//! let (_last_events, summary) = live.finish();
//! assert_eq!(summary.visits, 0);
//! # Ok::<(), fieldripple::decode::DecodeError>(())
//! ```
//!
//! … have the result as JSON? `serde_json::to_string(&decoded)`, or [`decode::Decoded::to_json`].
//!
//! … make a capture? A [`world::DirectSignal`] is a field with ripples of given depth on it:
//!
//! ```
//! # #[cfg(feature = "world")] {
//! use fieldripple::decode::{Settings, decode_samples};
//! use fieldripple::world::DirectSignal;
//!
//! let bench = DirectSignal::with_tag("999:123456789".parse()?);
//! let samples: Vec<f32> = bench.samples().0.iter().map(|&volts| volts as f32).collect();
//! let decoded = decode_samples(&samples, bench.rate_hz, &Settings::new())?;
//! assert_eq!(decoded.identities()[0].to_string(), "999 000123456789");
//! # }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
#![forbid(unsafe_code)]
// A function that a stranger can read fits on two screens.
#![warn(clippy::too_many_lines)]
#![deny(missing_docs)]

#[cfg(feature = "world")]
pub mod bench_fit;
pub mod capture;
pub mod decode;
#[cfg(feature = "draw")]
pub mod draw;
pub mod findings;
#[cfg(feature = "lesson")]
pub mod lesson;
pub mod linecode;
#[cfg(feature = "margin")]
pub mod margin;
pub mod number;
mod order;
#[cfg(feature = "page")]
pub mod page;
#[cfg(feature = "play")]
pub mod play;
pub mod receiver;
pub mod telegram;
mod threads;
#[cfg(feature = "world")]
pub mod world;
