//! From the arguments to a signal: what was not given is drawn or worked out, what cannot be is refused.

use anyhow::{Context, bail, ensure};
use fieldripple::telegram::{Identity, Telegram};
use fieldripple::world::{
    Digitiser, DirectSignal, RippleTag, SampleForm, Stream, generator, noise_sigma, ripple_rms,
    uniform,
};

use super::{Kind, SignalArguments};

/// Ripple depth nobody stated: shallow, but far above the steps of a 16-bit or even a 10-bit digitiser.
const DEPTH: f64 = 0.01;
/// Ripple angle nobody stated: seen by envelope and phase alike.
const ANGLE_DEG: f64 = 30.0;
/// Level of further tags nobody stated.
const LEVEL_DB: f64 = -6.0;
/// Field cycles a tag in a switched field takes to wake up: 1 ms (from memory, no source).
const WAKE_UP_CYCLES: f64 = 134.0;
/// More tags than this is a typing error.
const MOST_TAGS: usize = 100;
/// Standard deviations of noise the range leaves room for: one sample in 16 000 is clipped.
const NOISE_ROOM: f64 = 4.0;

/// Everything that is in the capture.
pub struct SignalPlan {
    pub signal: DirectSignal,
    /// `None` = floats without steps.
    pub digitiser: Option<Digitiser>,
    pub range: f64,
    pub ebn0_db: Option<f64>,
}

impl SignalPlan {
    pub fn new(arguments: &SignalArguments) -> anyhow::Result<Self> {
        let view = view(arguments)?;
        let rate_hz = arguments.rate.unwrap_or(match arguments.kind() {
            Kind::Direct | Kind::Load | Kind::Jam => 1e6,
            Kind::Envelope | Kind::Iq => 48e3,
            Kind::Logic => 100e3,
        });
        if let SampleForm::Iq { centre_hz } = view {
            ensure!(
                (arguments.field_hz() - centre_hz).abs() < rate_hz / 2.0,
                "the field at {} Hz is outside the I/Q band: allowed is --centre {centre_hz} Hz ± half the rate, {} Hz",
                arguments.field_hz(),
                rate_hz / 2.0
            );
        }
        let tags = tags(arguments)?;
        let noise_sigma = match arguments.ebn0 {
            None => 0.0,
            Some(ebn0_db) => {
                let depth = arguments.depth.first().copied().unwrap_or(DEPTH);
                let angle_deg = arguments.angle.first().copied().unwrap_or(ANGLE_DEG);
                let rms = ripple_rms(view, arguments.amplitude(), depth, angle_deg);
                // Of a ripple at 90° an envelope keeps rounding errors.
                ensure!(
                    rms > 1e-9 * arguments.amplitude(),
                    "--ebn0 needs a ripple to compare the noise with: at depth {depth} and {angle_deg} degrees these samples show none"
                );
                noise_sigma(view, ebn0_db, rms, arguments.field_hz(), rate_hz)
            }
        };
        let phase_deg = arguments
            .phase
            .unwrap_or(360.0 * uniform(&mut generator(arguments.seed(), Stream::Field)));
        let bits = arguments
            .bits
            .unwrap_or(if arguments.kind() == Kind::Logic {
                8
            } else {
                16
            });
        let depths: f64 = tags.iter().map(|tag| tag.depth).sum();
        let peak = match view {
            SampleForm::Logic => 1.0,
            _ => {
                arguments.offset().abs()
                    + arguments.amplitude() * (1.0 + depths)
                    + NOISE_ROOM * noise_sigma
            }
        };
        let range = arguments
            .range
            .unwrap_or_else(|| Digitiser::range_for(peak));
        let samples = (arguments.seconds() * rate_hz).round() as u64;
        ensure!(
            samples >= 1,
            "no sample in {} s at {rate_hz} Hz",
            arguments.seconds()
        );
        Ok(Self {
            signal: DirectSignal {
                view,
                rate_hz,
                clock_ppm: arguments.clock_ppm(),
                samples,
                field_hz: arguments.field_hz(),
                amplitude: arguments.amplitude(),
                phase_deg,
                offset: arguments.offset(),
                tags,
                pulses: arguments.pulse,
                noise_sigma,
                seed: arguments.seed(),
            },
            digitiser: (bits <= Digitiser::MOST_BITS).then_some(Digitiser { bits, range }),
            range,
            ebn0_db: arguments.ebn0,
        })
    }

    /// Kind of the capture, in the words of `decode`.
    pub fn kind(&self) -> &'static str {
        match self.signal.view {
            SampleForm::Real if self.signal.field_hz < self.signal.rate_hz / 2.0 => "direct",
            SampleForm::Real => "folded",
            SampleForm::Envelope => "envelope",
            SampleForm::Iq { .. } => "iq",
            SampleForm::Logic => "logic",
        }
    }
}

fn view(arguments: &SignalArguments) -> anyhow::Result<SampleForm> {
    ensure!(
        arguments.centre.is_none() || arguments.kind() == Kind::Iq,
        "--centre goes with --kind iq only"
    );
    Ok(match arguments.kind() {
        Kind::Load | Kind::Jam => {
            bail!("--kind load and --kind jam are no captures; 'fieldripple synth' writes them")
        }
        Kind::Direct => SampleForm::Real,
        Kind::Envelope => SampleForm::Envelope,
        Kind::Logic => SampleForm::Logic,
        Kind::Iq => SampleForm::Iq {
            centre_hz: arguments.centre.unwrap_or(134_200.0),
        },
    })
}

/// What the tags send, the first tag's first.
pub fn telegrams(arguments: &SignalArguments) -> anyhow::Result<Vec<Telegram>> {
    Ok(tags(arguments)?
        .into_iter()
        .map(|tag| tag.telegram)
        .collect())
}

fn tags(arguments: &SignalArguments) -> anyhow::Result<Vec<RippleTag>> {
    let count = if arguments.no_tag {
        0
    } else {
        arguments.ids.len().max(1)
    };
    ensure!(
        count <= MOST_TAGS,
        "{count} tags; allowed are {MOST_TAGS} at most"
    );
    let places = count.max(1);
    for (name, given) in [
        ("--depth", arguments.depth.len()),
        ("--angle", arguments.angle.len()),
        ("--start", arguments.start.len()),
        ("--sign", arguments.sign.len()),
    ] {
        ensure!(
            given <= places,
            "{name} is given {given} times; allowed is once a tag, {places} here"
        );
    }
    ensure!(
        arguments.level_db.is_none() || arguments.depth.len() <= 1,
        "--level-db and a --depth for further tags exclude each other"
    );
    ensure!(
        arguments.level_db.is_none() || count > 1,
        "--level-db needs a second --id"
    );
    (0..count).map(|index| tag(arguments, index)).collect()
}

fn tag(arguments: &SignalArguments, index: usize) -> anyhow::Result<RippleTag> {
    let mut random = generator(arguments.seed(), Stream::Tag(index as u16));
    // All are drawn, whatever is given: giving one leaves the others as they were.
    let (number, start, sign) = (
        uniform(&mut random),
        uniform(&mut random),
        uniform(&mut random),
    );
    let identity = match arguments.ids.get(index) {
        Some(&identity) => identity,
        None => Identity::new(999, (number * Identity::NATIONAL_MAX as f64) as u64)
            .context("drawn number")?,
    };
    let first_depth = arguments.depth.first().copied().unwrap_or(DEPTH);
    let depth = match arguments.depth.get(index) {
        Some(&depth) => depth,
        None if index == 0 => first_depth,
        None => first_depth * libm::pow(10.0, arguments.level_db.unwrap_or(LEVEL_DB) / 20.0),
    };
    let angle_deg = arguments
        .angle
        .get(index)
        .or(arguments.angle.first())
        .copied()
        .unwrap_or(ANGLE_DEG);
    let drawn_start = match arguments.pulse {
        None => 4096.0 * start,
        Some(_) => WAKE_UP_CYCLES + 32.0 * start,
    };
    Ok(RippleTag {
        telegram: arguments.fields.telegram(identity),
        flipped: 0,
        depth,
        angle_deg,
        start_cycles: arguments.start.get(index).copied().unwrap_or(drawn_start),
        sign: arguments
            .sign
            .get(index)
            .copied()
            .unwrap_or(if sign < 0.5 { 1 } else { -1 }),
    })
}
