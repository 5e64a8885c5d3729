//! How strong the field is at a pick-up coil, and which tags that would power.

use std::fmt::Write;

use fieldripple::decode::{Decoded, FieldStrength};
use fieldripple::world::scenario::PRESETS;

use fieldripple::decode::wording::{rounded, significant};

/// The field of readers for animals, for which the usual tags are told.
const FIELD_HZ: f64 = fieldripple::receiver::NOMINAL_HZ;

/// What a usual tag needs is known no better.
const NEED_DIGITS: i32 = 2;

/// A usual tag with the flux density that it needs, T rms along its axis.
pub struct Need {
    pub name: &'static str,
    pub flux_density_t: f64,
}

/// What the usual tags need, the one that needs least first.
pub fn needs() -> Vec<Need> {
    let mut needs: Vec<Need> = PRESETS
        .iter()
        .map(|preset| Need {
            name: preset.name,
            flux_density_t: preset
                .keys()
                .transponder(FIELD_HZ)
                .needed_flux_density_t(FIELD_HZ),
        })
        .collect();
    needs.sort_by(|a, b| a.flux_density_t.total_cmp(&b.flux_density_t));
    needs
}

/// The row about it, where a pick-up coil was told of.
pub fn row(decoded: &Decoded) -> Option<String> {
    Some(match decoded.field_strength()? {
        Err(why) => format!("not known: {why}"),
        Ok(field) => format!(
            "{} µT rms ({} A/m) along the pick-up coil's axis. {} What usual tags need is from memory, see link --tags.",
            micro(field.flux_density_t),
            significant(field.a_per_m()),
            enough_for(field, &needs())
        ),
    })
}

/// Says it in the finding that asks why there is no ripple.
pub fn settled(mut decoded: Decoded) -> Decoded {
    let Some(Ok(field)) = decoded.field_strength() else {
        return decoded;
    };
    let needs = needs();
    let Some(finding) = decoded
        .findings
        .iter_mut()
        .find(|finding| finding.code == "no-ripple")
    else {
        return decoded;
    };
    let is_enough = |need: &&Need| need.flux_density_t <= field.flux_density_t;
    let powered = needs.iter().filter(is_enough).count();
    let why = match powered {
        0 => {
            "No usual tag has power in so weak a field: make it stronger or measure nearer to the antenna."
        }
        all if all == needs.len() => {
            "Power is not the reason, if the tag was where the coil is and along the same axis."
        }
        _ => "A tag that needs more has no power there: bring it nearer to the antenna.",
    };
    let _ = write!(
        finding.text,
        " At the pick-up coil the field has {} µT rms, enough for {powered} of the {} usual tags. {why}",
        micro(field.flux_density_t),
        needs.len()
    );
    finding
        .evidence
        .insert("flux_density_t_rms".into(), field.flux_density_t.into());
    decoded
}

fn enough_for(field: FieldStrength, needs: &[Need]) -> String {
    let told = |needs: &[&Need]| {
        let each = |need: &&Need| {
            format!(
                "{} ({} µT)",
                need.name,
                rounded(1e6 * need.flux_density_t, NEED_DIGITS)
            )
        };
        needs.iter().map(each).collect::<Vec<_>>().join(", ")
    };
    let (has, lacks): (Vec<&Need>, Vec<&Need>) = needs
        .iter()
        .partition(|need| need.flux_density_t <= field.flux_density_t);
    match (has.is_empty(), lacks.is_empty()) {
        (false, false) => format!("It powers a {}; not a {}.", told(&has), told(&lacks)),
        (true, _) => format!("It powers no usual tag: {}.", told(&lacks)),
        _ => format!("It powers every usual tag: {}.", told(&has)),
    }
}

fn micro(flux_density_t: f64) -> String {
    significant(1e6 * flux_density_t)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A larger rod needs less field, and a preset's tank at its own resonance multiplies by its Q: V/(ω·A·Q) for the coil alone.
    #[test]
    fn usual_tags_need_what_their_coils_say() {
        let needs = needs();
        let of = |name: &str| {
            let need = needs.iter().find(|need| need.name == name);
            need.map(|need| need.flux_density_t).unwrap()
        };
        assert!(of("glass-8") > of("glass-12") && of("glass-12") > of("glass-32"));
        let omega = 2.0 * std::f64::consts::PI * FIELD_HZ;
        // Q 35 of the coil, 5.65 kΩ of reactance against 200 kΩ of chip: 1/(1/35 + 5.65/200) = 17.6.
        let by_hand = 2.8 / (2f64.sqrt() * omega * 110e-4 * 17.6);
        assert!(
            (of("glass-12") / by_hand - 1.0).abs() < 0.01,
            "{} {by_hand}",
            of("glass-12")
        );
    }
}
