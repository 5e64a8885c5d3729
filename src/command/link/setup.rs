//! A bench ready to be asked about positions.

use anyhow::{Context, ensure};
use fieldripple::world::link::{
    Antennas, FieldAt, Idle, Link, Listening, Neighbour, Station, Transponder, folded_ebn0_db,
    link, needed_ebn0_db,
};
use fieldripple::world::scenario::{PlaceKeys, ReaderKeys, Scenario, TagKeys, half_bits};
use fieldripple::world::{Bench, Digitiser};

/// Reader, tag and probe of a scenario, and what is asked of the reading.
#[derive(Clone)]
pub struct Setup {
    pub scenario: Scenario,
    pub tag: TagKeys,
    pub station: Station,
    pub neighbour: Option<Neighbour>,
    pub transponder: Transponder,
    pub seconds: f64,
    pub odds: f64,
    pub needed_db: f64,
    listening: Listening,
    half_bits: Vec<bool>,
}

/// One position worked out.
pub struct Position {
    pub place: PlaceKeys,
    pub link: Link,
    /// Flux density and the like at the tag's middle without the tag.
    pub field: FieldAt,
    pub ebn0_db: f64,
    /// Whole telegrams in the capture.
    pub telegrams: f64,
    pub folded_ebn0_db: f64,
    pub reads: bool,
}

impl Setup {
    pub fn new(scenario: Scenario, seconds: Option<f64>, odds: f64) -> anyhow::Result<Self> {
        let station = scenario.reader.station(false)?;
        Self::of(scenario, station, seconds, odds)
    }

    /// The same where the antenna of the scenario is at hand: winding one takes longer than all the rest.
    pub fn of(
        scenario: Scenario,
        station: Station,
        seconds: Option<f64>,
        odds: f64,
    ) -> anyhow::Result<Self> {
        let tag = scenario
            .tag
            .first()
            .cloned()
            .unwrap_or_else(TagKeys::default);
        if let Some(second) = &scenario.second_reader {
            let (own, other) = (&scenario.reader, &second.reader);
            let when = |reader: &ReaderKeys| reader.pulses_s().zip(Some(reader.on_before_s()));
            ensure!(
                own.field_hz != other.field_hz || when(own) == when(other),
                "link works out fields that are on together: give second_reader the on_ms, off_ms and on_before_ms of the reader, or another field_hz"
            );
        }
        let mut listening = scenario.listening()?;
        if scenario.noise.ebn0_db.is_some() {
            // An Eb/N0 is that of the scenario's own place; elsewhere the noise stays and the ripple changes.
            listening.noise_v2_per_hz = Some(Bench::new(&scenario)?.derived().noise_v2_per_hz);
        }
        Ok(Self {
            station,
            neighbour: scenario.neighbour()?,
            transponder: tag.transponder(scenario.field_hz()),
            listening,
            half_bits: half_bits(&tag.sends.telegram(scenario.seed.0, 0)),
            seconds: seconds.unwrap_or(scenario.duration_s.0),
            odds,
            needed_db: needed_ebn0_db(odds),
            tag,
            scenario,
        })
    }

    /// The same bench with other parts.
    pub fn with(&self, station: Station, transponder: Transponder) -> Self {
        Self {
            station,
            transponder,
            ..self.clone()
        }
    }

    /// The same bench with another tag.
    pub fn with_tag(&self, tag: TagKeys) -> Self {
        let mut scenario = self.scenario.clone();
        scenario.tag = vec![tag.clone()];
        Self {
            transponder: tag.transponder(scenario.field_hz()),
            half_bits: half_bits(&tag.sends.telegram(scenario.seed.0, 0)),
            tag,
            scenario,
            ..self.clone()
        }
    }

    /// The antennas.
    pub fn antennas(&self) -> Antennas<'_> {
        Antennas {
            station: &self.station,
            neighbour: self.neighbour.as_ref(),
        }
    }

    /// Where the signal is taken from.
    pub fn listening(&self) -> &Listening {
        &self.listening
    }

    /// The antennas without a tag.
    pub fn idle(&self) -> anyhow::Result<Idle<'_>> {
        Ok(self.antennas().idle()?)
    }

    /// Works out the tag at a place.
    pub fn at(&self, place: PlaceKeys) -> anyhow::Result<Position> {
        self.scenario
            .before_metal(&place, Some(&self.transponder.coil))?;
        let at = || {
            format!(
                "distance {} mm, offset {} mm, tilt {}°",
                place.distance_mm, place.offset_mm, place.tilt_deg
            )
        };
        let mut free = self.transponder;
        let clamp = free.circuit.clamp.take();
        let mut link = self.link(&free, &place).with_context(at)?;
        // A limiter draws nothing below its voltage, and one costs a hundred times as much. Half: a load that is not a resistor, and the way
        // from one state to the other, may raise the voltage beyond that of the open tag.
        if clamp.is_some_and(|clamp| link.tag_v > 0.5 * clamp.voltage_v) {
            link = self.link(&self.transponder, &place).with_context(at)?;
        }
        let ebn0_db = self.ebn0_db(&link);
        let telegrams = self
            .scenario
            .sending(0, Some(&link))
            .telegrams(self.seconds, self.scenario.field_hz());
        let folded_ebn0_db = folded_ebn0_db(ebn0_db, telegrams);
        let field = self.idle()?.field_at(place.place().centre_m());
        Ok(Position {
            place,
            reads: link.powered && folded_ebn0_db >= self.needed_db,
            link,
            field,
            ebn0_db,
            telegrams,
            folded_ebn0_db,
        })
    }

    fn link(&self, transponder: &Transponder, place: &PlaceKeys) -> anyhow::Result<Link> {
        Ok(link(
            &self.antennas(),
            transponder,
            &place.place(),
            &self.listening,
            &self.half_bits,
        )?)
    }

    /// Eb/N0 with the steps of the digitiser counted as noise.
    fn ebn0_db(&self, link: &Link) -> f64 {
        let scenario = &self.scenario;
        let digitiser = &scenario.digitiser;
        let steps = if digitiser.bits <= Digitiser::MOST_BITS {
            let range = digitiser
                .range_v
                .unwrap_or_else(|| Digitiser::range_for(link.signal_v * (1.0 + link.sent.depth)));
            let digitiser = Digitiser {
                bits: digitiser.bits,
                range,
            };
            digitiser.density_v2_per_hz(scenario.rate_hz())
        } else {
            0.0
        };
        match (self.listening.noise_v2_per_hz, link.ebn0_db) {
            (Some(noise), Some(ebn0_db)) if noise > 0.0 => {
                ebn0_db - 10.0 * (1.0 + steps / noise).log10()
            }
            _ => link.ebn0_with(steps, scenario.field_hz(), &self.listening),
        }
    }
}
