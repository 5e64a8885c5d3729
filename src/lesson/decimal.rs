//! From bytes to decimal numbers, as it is done on paper.

use std::fmt::Write;

use crate::telegram::{Identity, Telegram};

/// Bits of the fifth byte that belong to the national number (ISO 11784: 38 = 4 · 8 + 6).
const NATIONAL_IN_FIFTH: u64 = 64;

/// The national number and the country code from the bytes of the code, line by line, as Markdown.
pub(super) fn decimal(telegram: &Telegram) -> String {
    let byte = |place: u32| (telegram.code >> (8 * place)) & 0xFF;
    let (fifth, sixth) = (byte(4), byte(5));
    let (low, high) = (fifth % NATIONAL_IN_FIFTH, fifth / NATIONAL_IN_FIFTH);
    let mut text =
        String::from("| byte | hexadecimal | decimal | times | gives |\n|---|---|---|---|---|\n");
    let mut sum = 0;
    for place in 0..5 {
        let (name, value) = match place {
            4 => ("code 5, its lowest six bits".to_string(), low),
            _ => (format!("code {}", place + 1), byte(place)),
        };
        let weight = 256_u64.pow(place);
        sum += value * weight;
        let _ = writeln!(
            text,
            "| {name} | {value:02X} | {value} | {weight} | {} |",
            value * weight
        );
    }
    let identity = Identity::from_code(telegram.code);
    debug_assert_eq!(sum, identity.national);
    let _ = writeln!(text, "| sum: the national number | | | | **{sum}** |\n");
    let _ = writeln!(
        text,
        "The fifth byte is shared. It is {fifth:02X}, in decimal {fifth}; divided by 64 that is {high}, remainder {low}. The remainder, its lowest six bits, \
         belongs to the national number. The {high}, its two highest bits, are the lowest two of the ten of the country or issuer code; the sixth byte, \
         {sixth:02X}, in decimal {sixth}, holds the other eight. So the code is 4 · {sixth} + {high} = **{}**.\n",
        4 * sixth + high
    );
    let _ = writeln!(
        text,
        "With 0s in front, three and twelve digits, that is {identity}."
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes worked out under ISO 11784 (not published): the printed numbers stand in the text as sum and as code.
    #[test]
    fn sums_are_the_number() {
        for (code, country, national) in [
            (0x8000_F9D6_FEE0_E52D_u64, "999", "98765432109"),
            (0x8000_4500_4996_02D2, "276", "1234567890"),
            (0x8000_F9FF_FFFF_FFFF, "999", "274877906943"),
            (0xFF81_E100_0000_0001, "900", "1"),
        ] {
            let text = decimal(&Telegram::new(code));
            assert!(text.contains(&format!("| **{national}** |")), "{text}");
            assert!(text.contains(&format!("= **{country}**")), "{text}");
        }
    }
}
