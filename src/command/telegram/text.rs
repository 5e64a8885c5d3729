//! A telegram on paper: number, bits as sent, fields of the code, remarks.

use std::fmt::Write;

use fieldripple::telegram::{
    CODED_BITS, HEADER_BITS, Identity, Interpretation, Part, TELEGRAM_BITS, Telegram, fields,
    notes, part_of,
};

use super::{Meaning, bit_text};

/// The page for people.
pub fn page(meaning: &Meaning) -> String {
    let mut text = String::new();
    match meaning {
        Meaning::One(telegram, how) => {
            if how != "number" {
                let _ = writeln!(text, "read as       {how}");
            }
            whole(&mut text, telegram);
        }
        Meaning::Code(code, others) => {
            let _ = writeln!(
                text,
                "read as       64-bit code, most significant digit first"
            );
            for other in others {
                let _ = writeln!(
                    text,
                    "also possible {} ({:016X}): {}",
                    Identity::from_code(other.code),
                    other.code,
                    other.description()
                );
            }
            whole(&mut text, &Telegram::new(*code));
        }
        Meaning::Bytes(all) => {
            let plausible: Vec<&Interpretation> = all.iter().filter(|i| i.plausible()).collect();
            match plausible[..] {
                [] => {
                    let _ = writeln!(text, "No order of these bytes gives a plausible number:");
                    for one in all {
                        let _ = writeln!(
                            text,
                            "  {:016X}  {} ({})",
                            one.code,
                            one.description(),
                            one.objections.join("; ")
                        );
                    }
                }
                _ => {
                    if plausible.len() > 1 {
                        let _ = writeln!(
                            text,
                            "{} orders of these bytes give a plausible number; compare with what is known of the animal or the module.\n",
                            plausible.len()
                        );
                    }
                    for (index, one) in plausible.iter().enumerate() {
                        if index > 0 {
                            text.push('\n');
                        }
                        let crc = match one.crc_sent {
                            Some(_) => "; the CRC fits",
                            None => "",
                        };
                        let _ = writeln!(text, "read as       {}{crc}", one.description());
                        whole(&mut text, &one.telegram());
                    }
                }
            }
        }
    }
    text
}

/// One telegram in full: number, bits as sent, fields of the code, notes.
fn whole(text: &mut String, telegram: &Telegram) {
    let identity = Identity::from_code(telegram.code);
    let bits = telegram.bits();
    let _ = writeln!(text, "number        {identity}");
    let _ = writeln!(text, "code          {:016X}", telegram.code);
    let _ = writeln!(text, "CRC           {:04X}", telegram.crc());
    let _ = writeln!(text, "trailer       {:06X}", telegram.trailer);
    let _ = writeln!(text, "bits          {}", bit_text(&bits));
    text.push_str(
        "\nAs sent: least significant bit first, a control bit 1 after every eight bits\n",
    );
    text.push_str("  from bit  part       bits         control  byte\n");
    let _ = writeln!(
        text,
        "  {:>8}  {:<9}  {}",
        0,
        "header",
        bit_text(&bits[..HEADER_BITS])
    );
    for start in (HEADER_BITS..TELEGRAM_BITS).step_by(9) {
        let part = match part_of(start) {
            Part::Code { bit } => format!("code {}", bit / 8 + 1),
            Part::Crc { bit } => format!("CRC {}", bit / 8 + 1),
            _ => format!("trailer {}", (start - CODED_BITS) / 9 + 1),
        };
        let value = bits[start..start + 8]
            .iter()
            .rev()
            .fold(0u8, |value, &bit| value << 1 | u8::from(bit));
        let _ = writeln!(
            text,
            "  {start:>8}  {part:<9}  {}     {}        {value:02X}",
            bit_text(&bits[start..start + 8]),
            u8::from(bits[start + 8]),
        );
    }
    text.push_str("\nThe code: bit 1 is the most significant\n");
    text.push_str("  bits   field              value         meaning\n");
    for field in fields(&identity) {
        let value = match field.name {
            "country or issuer" => format!("{:03}", field.value),
            _ => field.value.to_string(),
        };
        let _ = writeln!(
            text,
            "  {:<5}  {:<17}  {value:<12}  {}",
            field.bits, field.name, field.meaning
        );
    }
    let notes = notes(&identity);
    if !notes.is_empty() {
        text.push_str("\nNotes\n");
        for note in notes {
            let _ = writeln!(text, "  {note}");
        }
    }
}
