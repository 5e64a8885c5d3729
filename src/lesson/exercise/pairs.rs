//! Questions about two captures, which no single reading answers.

use super::draw::{Exercise, Fault};

/// Two captures of which one has its (stronger) tag nearer to the antenna.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub(super) struct Pair {
    /// Name of the row.
    pub row: String,
    /// The captures.
    pub captures: [String; 2],
    /// The nearer one.
    pub nearer: String,
}

/// Distances that differ by less are not asked about: from 24 to 28 mm the ripple loses a tenth, several times what noise does to it.
const LEAST_APART_MM: f64 = 4.0;
/// So many questions at most.
const MOST: usize = 3;

/// Only captures of one bench can be compared by the depth of their ripple: the same antenna, tuned alike, and one reader.
fn comparable(exercise: &Exercise) -> bool {
    matches!(exercise.fault, Fault::None | Fault::Weak | Fault::TwoTags)
}

/// Pairs in the order of the captures, none of them in two.
pub(super) fn pairs(exercises: &[Exercise]) -> Vec<Pair> {
    let mut left: Vec<&Exercise> = exercises.iter().filter(|e| comparable(e)).collect();
    let mut found = Vec::new();
    while found.len() < MOST && left.len() > 1 {
        let one = left.remove(0);
        let apart =
            |other: &&Exercise| (one.distance_mm - other.distance_mm).abs() >= LEAST_APART_MM;
        let Some(place) = left.iter().position(apart) else {
            continue;
        };
        let other = left.remove(place);
        let nearer = if one.distance_mm < other.distance_mm {
            one
        } else {
            other
        };
        found.push(Pair {
            row: format!("nearer-{}", found.len() + 1),
            captures: [one, other].map(|exercise| exercise.recipe.name.clone()),
            nearer: nearer.recipe.name.clone(),
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::draw::exercises;
    use super::*;
    use crate::lesson::Settings;

    #[test]
    fn the_nearer_one_is_nearer_by_enough() {
        let mut asked = 0;
        for seed in 1..20 {
            let drawn = exercises(&Settings::new(seed), 12);
            let distance = |name: &str| {
                let exercise = drawn.iter().find(|e| e.recipe.name == name).unwrap();
                exercise.distance_mm
            };
            for pair in pairs(&drawn) {
                let [one, other] = &pair.captures;
                let further = if *one == pair.nearer { other } else { one };
                assert!(distance(further) - distance(&pair.nearer) >= LEAST_APART_MM);
                asked += 1;
            }
        }
        assert!(asked > 19, "{asked}");
    }
}
