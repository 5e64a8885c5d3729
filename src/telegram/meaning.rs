//! What the fields of a code mean, in words, and what is worth a remark.
//!
//! Fields and their bits: ISO 11784; retagging counter and user information from memory of its amendment 1 (2004), the
//! advanced transponder of amendment 2 (2010). Codes listed as misuse: ICAR, page "Misuse".

use super::countries::country_name;
use super::identity::Identity;

/// First of the issuer codes granted by the registration authority; it is shared by several issuers.
const SHARED_ISSUER: u16 = 900;
/// The code of test transponders.
const TEST: u16 = 999;
/// Last bit of the reserved field, bit 15 of the code: an advanced transponder.
const ADVANCED: u8 = 1;

/// One field of the code with its place and meaning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// Bits of ISO 11784, 1 the most significant: "17–26".
    pub bits: &'static str,
    /// Name of the field.
    pub name: &'static str,
    /// Value, decimal.
    pub value: u64,
    /// What the value says.
    pub meaning: String,
}

/// What a country or issuer code stands for: a country's name, an issuer code (never a maker's name), a test
/// transponder, or nothing.
pub fn country_meaning(code: u16) -> String {
    match code {
        0 => "no country has code 000".into(),
        SHARED_ISSUER => "shared issuer code, granted by the registration authority".into(),
        901..TEST => "issuer code, granted by the registration authority".into(),
        TEST => "test transponder".into(),
        _ => country_name(code)
            .unwrap_or("neither a country of ISO 3166-1 nor an issuer code")
            .into(),
    }
}

/// Whether a tag may carry the code: a country's, an issuer's or that of test transponders.
pub fn country_in_use(code: u16) -> bool {
    (SHARED_ISSUER..=TEST).contains(&code) || country_name(code).is_some()
}

/// The seven fields of the code, most significant first.
pub fn fields(identity: &Identity) -> [Field; 7] {
    let field = |bits, name, value: u64, meaning: &str| Field {
        bits,
        name,
        value,
        meaning: meaning.into(),
    };
    let Identity {
        animal,
        retag,
        user,
        reserved,
        data_block,
        country,
        national,
    } = *identity;
    [
        field(
            "1",
            "animal flag",
            animal.into(),
            if animal {
                "on an animal"
            } else {
                "not on an animal"
            },
        ),
        field(
            "2–4",
            "retagging counter",
            retag.into(),
            &match retag {
                0 => "first transponder with this number".to_string(),
                1 => "replaced once under the same number".to_string(),
                times => format!("replaced {times} times under the same number"),
            },
        ),
        field(
            "5–9",
            "user information",
            user.into(),
            if user == 0 {
                "none"
            } else {
                "its meaning is up to the country or issuer"
            },
        ),
        field(
            "10–15",
            "reserved",
            reserved.into(),
            match reserved {
                0 => "as expected",
                ADVANCED => "bit 15 set: advanced transponder",
                _ => "should be 0, bit 15 excepted",
            },
        ),
        field(
            "16",
            "data block",
            data_block.into(),
            if data_block {
                "the trailer holds data"
            } else {
                "the trailer holds no data"
            },
        ),
        field(
            "17–26",
            "country or issuer",
            country.into(),
            &country_meaning(country),
        ),
        field(
            "27–64",
            "national number",
            national,
            "should exist once under its country or issuer code",
        ),
    ]
}

/// Remarks worth printing beside a number, one sentence each; empty for an ordinary number of a country.
pub fn notes(identity: &Identity) -> Vec<String> {
    let mut notes = Vec::new();
    let country = identity.country;
    match country {
        0 => notes.push(
            "Country code 000 belongs to no country; on an animal it is listed as misuse.".into(),
        ),
        TEST => notes.push(
            "999 marks a test transponder; on an animal it is listed as misuse.".into(),
        ),
        SHARED_ISSUER => notes.push(
            "900 is an issuer code shared by several issuers, granted by the registration authority; it names no country."
                .into(),
        ),
        901..TEST => notes.push(format!(
            "{country} is an issuer code granted by the registration authority; it names no country."
        )),
        _ if country_name(country).is_none() => notes.push(format!(
            "{country:03} is neither a country code of ISO 3166-1 nor an issuer code (900 to 998); on an animal it is listed as misuse."
        )),
        _ => {}
    }
    if !identity.animal {
        notes.push(
            "The animal flag is 0: the transponder is not meant for an animal; found on one, the flag is wrong."
                .into(),
        );
    }
    match identity.retag {
        0 => {}
        1 => notes.push(
            "The retagging counter is 1: a replacement that carries the number of an earlier transponder.".into(),
        ),
        times => notes.push(format!(
            "The retagging counter is {times}: the number has been on {times} earlier transponders."
        )),
    }
    if identity.user != 0 {
        notes.push(format!(
            "The user information is {}; what it means is up to the country or issuer.",
            identity.user
        ));
    }
    if identity.reserved & ADVANCED != 0 {
        notes.push(
            "Bit 15 is set: an advanced transponder (more can be read with its own commands)."
                .into(),
        );
    }
    if identity.reserved & !ADVANCED != 0 {
        notes.push(format!(
            "The reserved field is {}: bits 10 to 14 should be 0.",
            identity.reserved
        ));
    }
    if identity.data_block {
        notes.push("The data block flag is set: the trailer holds data.".into());
    }
    notes
}

/// What speaks against a code being a real number: a country code nobody has, reserved bits that should be 0. Of random
/// codes, about one in a hundred passes.
pub fn objections(identity: &Identity) -> Vec<String> {
    let mut objections = Vec::new();
    let country = identity.country;
    if !(SHARED_ISSUER..=TEST).contains(&country) && country_name(country).is_none() {
        objections.push(format!("{country:03} is no country's and no issuer's code"));
    }
    if identity.reserved & !ADVANCED != 0 {
        objections.push(format!("reserved field {}, should be 0", identity.reserved));
    }
    objections
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noted(change: impl Fn(&mut Identity)) -> Vec<String> {
        let mut identity = Identity::new(756, 1).unwrap();
        change(&mut identity);
        notes(&identity)
    }

    #[test]
    fn an_ordinary_number_needs_no_note() {
        assert_eq!(noted(|_| {}), Vec::<String>::new());
    }

    /// Misuse as ICAR lists it, issuer codes as its register of issuer codes grants them.
    #[test]
    fn each_oddity_has_one_note_that_names_it() {
        type Case = (fn(&mut Identity), &'static str);
        let cases: [Case; 12] = [
            (|i| i.country = 999, "test transponder"),
            (|i| i.country = 0, "000 belongs to no country"),
            (|i| i.country = 900, "shared"),
            (|i| i.country = 901, "901 is an issuer code granted"),
            (|i| i.country = 998, "998 is an issuer code granted"),
            (|i| i.country = 899, "899 is neither"),
            (|i| i.country = 1023, "1023 is neither"),
            (|i| i.animal = false, "animal flag is 0"),
            (|i| i.retag = 1, "counter is 1"),
            (|i| i.user = 31, "user information is 31"),
            (|i| i.reserved = 1, "advanced transponder"),
            (|i| i.data_block = true, "trailer holds data"),
        ];
        for (change, words) in cases {
            let notes = noted(change);
            assert_eq!(notes.len(), 1, "{notes:?}");
            assert!(notes[0].contains(words), "{notes:?}");
        }
        assert_eq!(noted(|i| i.reserved = 3).len(), 2);
    }

    #[test]
    fn few_random_codes_pass_as_numbers() {
        let mut code = 1u64;
        let passed = (0..20_000)
            .filter(|_| {
                code = code.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                objections(&Identity::from_code(code)).is_empty()
            })
            .count();
        // (249 + 100)/1024 · 2/64 = 1.065 %: 213 of 20 000 expected, standard deviation 14.5; five of them allowed.
        assert!((140..=286).contains(&passed), "{passed}");
    }
}
