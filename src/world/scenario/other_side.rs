//! The same bench from the other reader's antenna: what stood before the first reader stands before the second, and the other way round.

use super::super::coil::Place;
use super::{PlaceKeys, Scenario, ScenarioError, SecondReader, TagKeys};
use crate::telegram::Identity;

impl PlaceKeys {
    /// The keys of a place; how the coil is turned about its own axis is not in them.
    pub fn of(place: &Place) -> Self {
        let (centre, axis) = (place.centre_m() * 1e3, place.axis());
        let across = libm::hypot(axis.x, axis.y);
        PlaceKeys {
            distance_mm: centre.z,
            offset_mm: -centre.x,
            offset_y_mm: centre.y,
            tilt_deg: libm::atan2(across, axis.z).to_degrees(),
            bearing_deg: if across > 0.0 {
                libm::atan2(axis.y, axis.x).to_degrees()
            } else {
                0.0
            },
        }
    }
}

impl Scenario {
    /// The bench with a tag for each of its two readers: the scenario's second tag is the second reader's; where there is one tag only,
    /// its twin stands before the second antenna as it does before the first, with a number of its own.
    ///
    /// # Errors
    /// [`ScenarioError::Together`]: no second reader, no tag or more than two, or what cannot be turned round.
    pub fn with_a_tag_each(&self) -> Result<Scenario, ScenarioError> {
        let second = self.turnable()?;
        let mut scenario = self.clone();
        if let [first] = self.tag.as_slice() {
            let antenna = second.place.place();
            let mut twin = first.clone();
            twin.sends.id = None;
            move_all(&mut twin, |place| {
                PlaceKeys::of(&place.place().carried_by(&antenna))
            });
            scenario.tag.push(twin);
        }
        Ok(scenario)
    }

    /// A bench with a tag each as the second reader has it: its antenna is the first, its tag too. Seeds draw the same numbers on either side.
    ///
    /// # Errors
    /// See [`Scenario::with_a_tag_each`].
    pub fn other_side(&self) -> Result<Scenario, ScenarioError> {
        let second = self.turnable()?;
        let antenna = second.place.place();
        let seen = |place: &PlaceKeys| PlaceKeys::of(&place.place().seen_from(&antenna));
        let mut scenario = self.clone();
        scenario.reader = second.reader.clone();
        scenario.second_reader = Some(SecondReader {
            reader: self.reader.clone(),
            place: PlaceKeys::of(&Place::origin().seen_from(&antenna)),
        });
        for (index, tag) in scenario.tag.iter_mut().enumerate() {
            tag.sends.id = Some(number_of(tag, self.seed.0, index));
            // What is not given goes by the first reader's field.
            tag.tuned_hz = tag.tuned_hz.or(Some(self.reader.field_hz));
            move_all(tag, seen);
        }
        scenario.tag.rotate_left(1);
        Ok(scenario)
    }

    /// The second reader, where everything can be turned round.
    fn turnable(&self) -> Result<&SecondReader, ScenarioError> {
        let refuse = |message: &str| Err(ScenarioError::Together(message.into()));
        let Some(second) = &self.second_reader else {
            return refuse("the scenario has no [second_reader]");
        };
        let upright = second.place.tilt_deg == 0.0;
        let rectangle = self.reader.coil.shape == "rectangle";
        let aslant = !upright || second.place.bearing_deg != 0.0;
        let several = !self.reader.loops.is_empty() || !second.reader.loops.is_empty();
        match self.tag.len() {
            0 => refuse("the scenario has no [[tag]] to be read"),
            3.. => refuse("more than two tags: allowed are one, or one for each reader"),
            _ if !upright && self.tag.iter().any(|tag| !tag.track.is_empty()) => {
                refuse("second_reader.tilt_deg with a tag on its way: allowed is one of the two")
            }
            _ if several && aslant => refuse(
                "an antenna of several windings ([[reader.loop]]) with second_reader.tilt_deg or bearing_deg: allowed is one of the two",
            ),
            _ if rectangle && second.place.bearing_deg != 0.0 => refuse(
                "second_reader.bearing_deg with a rectangular antenna: allowed is one of the two",
            ),
            _ => Ok(second),
        }
    }
}

fn number_of(tag: &TagKeys, seed: u64, index: usize) -> String {
    let identity = Identity::from_code(tag.sends.telegram(seed, index).code);
    format!("{}:{}", identity.country, identity.national)
}

/// The tag's place and all on its way.
fn move_all(tag: &mut TagKeys, moved: impl Fn(&PlaceKeys) -> PlaceKeys) {
    tag.place = moved(&tag.place);
    for point in &mut tag.track {
        point.place = moved(&point.place);
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::bench::Bench;
    use super::*;

    fn bench(keys: &str) -> Scenario {
        Scenario::read(keys, &[]).unwrap()
    }

    const TILTED: &str = "
        duration_s = 0.02
        [second_reader]
        field_hz = 134290
        distance_mm = 300
        offset_mm = 120
        offset_y_mm = -50
        tilt_deg = 65
        bearing_deg = 40
        drive_v = 5
        inductance_uh = 700
        [[tag]]
        id = '999:1'
        offset_mm = 10
        tilt_deg = 20";

    #[test]
    fn twice_round_is_the_same_bench() {
        let here = bench(TILTED).with_a_tag_each().unwrap();
        let again = here.other_side().unwrap().other_side().unwrap();
        let (a, b) = (here.second_reader.unwrap(), again.second_reader.unwrap());
        assert_eq!(a.reader, b.reader);
        assert_eq!(here.reader, again.reader);
        for (place, other) in [
            (a.place, b.place),
            (here.tag[0].place, again.tag[0].place),
            (here.tag[1].place, again.tag[1].place),
        ] {
            // A coil turned about its own axis is the same coil: what is left are heights, distances from the axis, leans.
            let about = |keys: PlaceKeys| {
                let (centre, axis) = (keys.place().centre_m(), keys.place().axis());
                [centre.z, centre.norm(), axis.z, axis.dot(&centre)]
            };
            for (a, b) in about(place).into_iter().zip(about(other)) {
                assert!((a - b).abs() < 1e-12, "{a} {b}");
            }
        }
    }

    #[test]
    fn the_twin_stands_before_the_second_antenna_as_its_model_before_the_first() {
        let here = bench(TILTED).with_a_tag_each().unwrap();
        let there = here.other_side().unwrap();
        let (model, twin) = (here.tag[0].place.place(), there.tag[0].place.place());
        assert!((model.centre_m() - twin.centre_m()).norm() < 1e-12);
        assert!((model.axis() - twin.axis()).norm() < 1e-12);
        assert_ne!(
            here.tag[0].sends.telegram(1, 0),
            there.tag[0].sends.telegram(1, 0)
        );
        // Who sends what is the same from either side.
        assert_eq!(
            here.tag[1].sends.telegram(1, 1),
            there.tag[0].sends.telegram(1, 0)
        );
        assert_eq!(
            here.tag[0].sends.telegram(1, 0),
            there.tag[1].sends.telegram(1, 1)
        );
    }

    /// Reciprocity: each antenna hears the other one's driver alike, and currents in a network of couplings are the same whichever of its
    /// readers is called the first.
    #[test]
    fn both_sides_are_one_network() {
        let here = bench(TILTED).with_a_tag_each().unwrap();
        let there = here.other_side().unwrap();
        let links = |scenario: &Scenario| {
            let bench = Bench::new(scenario).unwrap();
            let tags = &bench.derived().tags;
            tags.iter()
                .map(|tag| tag.link.as_ref().unwrap().mutual_h)
                .collect::<Vec<f64>>()
        };
        let (first, second) = (links(&here), links(&there));
        // The twin before its antenna as the model before its own: the same coils, the same mutual inductance.
        assert!(
            (first[0] / second[0] - 1.0).abs() < 1e-9,
            "{first:?} {second:?}"
        );
    }

    #[test]
    fn what_cannot_be_turned_round_is_refused() {
        for keys in [
            "[[tag]]",
            "[second_reader]",
            "[second_reader]\n[[tag]]\n[[tag]]\n[[tag]]",
            "[reader.coil]\nshape = 'rectangle'\n[second_reader]\nbearing_deg = 10\n[[tag]]",
            "[[reader.loop]]\n[second_reader]\ntilt_deg = 10\n[[tag]]",
            "[second_reader]\ntilt_deg = 10\n[[tag]]\n[[tag.track]]\nat_ms = 0\n[[tag.track]]\nat_ms = 5",
        ] {
            let refused = bench(keys).with_a_tag_each();
            assert!(matches!(refused, Err(ScenarioError::Together(_))), "{keys}");
        }
    }
}
