//! `fieldripple telegram`: number ↔ bits.

mod text;

use std::process::ExitCode;

use anyhow::{Context, bail};
use fieldripple::telegram::{
    Identity, Interpretation, TELEGRAM_BITS, Telegram, byte_orders, notes,
};
use serde_json::{Map, Value, json};

use super::telegram_fields::Fields;

/// Exit code when no way of reading the bytes gives a plausible number.
const NOTHING_PLAUSIBLE: u8 = 1;

const LONG_ABOUT: &str = "\
Shows a number as the 128 bits a tag sends, or the number in bits, a code or bytes

INPUT is one of
  CCC:N           country or issuer code (0-1023) and national number (0-274877906943), decimal
  128 bits        a telegram as sent, beginning anywhere (the header is found); blanks allowed
  16 hex digits   the 64-bit code, most significant digit first
  8 hex bytes     the code as a reader module prints it (\"2D E5 E0 ...\"), in any byte or bit order
  20 or 26 digits the same with CRC, or with CRC and trailer

Bytes say nothing about their order, so every order that gives a plausible number is shown:
a country or issuer code that exists, reserved bits 0 and, where there is one, a CRC that fits.";

const AFTER_HELP: &str = "\
Examples:
  fieldripple telegram 999:123456789
  fieldripple telegram 999:123456789 --retag 1 --json
  fieldripple telegram 8000F9C0075BCD15
  fieldripple telegram 15 CD 5B 07 C0 F9 00 80

Exit codes: 0 done, 1 no order of the bytes gives a plausible number, 2 bad arguments or bits
that are no telegram.";

/// Shows a number as the 128 bits a tag sends, or the number in bits, a code or bytes
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// The number as CCC:N; or 128 bits; or 16, 20 or 26 hex digits, with blanks or without
    #[arg(value_name = "INPUT", required = true, num_args = 1..)]
    input: Vec<String>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    fields: Fields,
}

/// What the input turned out to be.
enum Meaning {
    /// Exactly one telegram; the text says how it was read.
    One(Telegram, String),
    /// A code, written as codes are, with other ways to read its bytes.
    Code(u64, Vec<Interpretation>),
    /// Bytes in an unknown order.
    Bytes(Vec<Interpretation>),
}

/// Prints the telegram, or every plausible one.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let input = arguments.input.join(" ");
    let meaning = if let Some(identity) = number(&input)? {
        Meaning::One(arguments.fields.telegram(identity), "number".into())
    } else if arguments.fields.any() {
        bail!(
            "--retag, --user, --reserved, --not-animal, --data-block and --trailer go with a number CCC:N; bits and codes carry their own fields"
        );
    } else {
        bits_or_bytes(&input)?
    };
    let text = if arguments.json {
        format!("{}\n", as_json(&meaning))
    } else {
        text::page(&meaning)
    };
    super::print(&text)?;
    Ok(match &meaning {
        Meaning::Bytes(all) if !all.iter().any(Interpretation::plausible) => {
            ExitCode::from(NOTHING_PLAUSIBLE)
        }
        _ => ExitCode::SUCCESS,
    })
}

/// The number, if the input has the form of one: a colon between two runs without any. Bytes with colons have more.
fn number(input: &str) -> anyhow::Result<Option<Identity>> {
    if input.matches(':').count() == 1 {
        return Ok(Some(input.trim().parse()?));
    }
    Ok(None)
}

fn bits_or_bytes(input: &str) -> anyhow::Result<Meaning> {
    const FORMS: &str =
        "allowed are CCC:N, 128 bits, or 16, 20 or 26 hex digits (8, 10 or 13 bytes)";
    let separator = |c: char| c.is_whitespace() || matches!(c, ':' | '-' | ',' | '_');
    let groups: Vec<&str> = input
        .split(separator)
        .map(|group| group.trim_start_matches("0x").trim_start_matches("0X"))
        .filter(|group| !group.is_empty())
        .collect();
    let digits = groups.concat();
    if let Some(odd) = digits.chars().find(|c| !c.is_ascii_hexdigit()) {
        bail!("{odd:?} is neither a bit nor a hex digit; {FORMS}");
    }
    if digits.len() == TELEGRAM_BITS {
        if let Some(odd) = digits.chars().find(|c| !matches!(c, '0' | '1')) {
            bail!("{odd:?} among 128 digits is not a bit; {FORMS}");
        }
        let mut bits = [false; TELEGRAM_BITS];
        for (bit, digit) in bits.iter_mut().zip(digits.bytes()) {
            *bit = digit == b'1';
        }
        let (telegram, start) =
            Telegram::from_rotated_bits(&bits).context("these 128 bits are not a telegram")?;
        let how = match start {
            0 => "128 bits".to_string(),
            _ => format!("128 bits; the header begins at bit {start} of those given"),
        };
        return Ok(Meaning::One(telegram, how));
    }
    let bytes: Vec<u8> = digits
        .as_bytes()
        .chunks(2)
        .filter(|pair| pair.len() == 2)
        .map(|pair| hex_value(pair[0]) << 4 | hex_value(pair[1]))
        .collect();
    let Some(all) = byte_orders(&bytes).filter(|_| digits.len() % 2 == 0) else {
        bail!("{} digits given; {FORMS}", digits.len());
    };
    if digits.len() == 16 && groups.len() == 1 {
        let code = u64::from_str_radix(&digits, 16).context("the code")?;
        let others = all
            .into_iter()
            .filter(|other| other.plausible() && other.code != code)
            .collect();
        return Ok(Meaning::Code(code, others));
    }
    Ok(Meaning::Bytes(all))
}

fn hex_value(digit: u8) -> u8 {
    char::from(digit).to_digit(16).unwrap_or(0) as u8
}

fn bit_text(bits: &[bool]) -> String {
    bits.iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect()
}

fn as_json(meaning: &Meaning) -> Value {
    match meaning {
        Meaning::One(telegram, how) => {
            let mut object = telegram_json(telegram);
            object.insert("interpretation".into(), json!(how));
            Value::Object(object)
        }
        Meaning::Code(code, others) => {
            let mut object = telegram_json(&Telegram::new(*code));
            object.insert(
                "interpretation".into(),
                json!("64-bit code, most significant digit first"),
            );
            object.insert(
                "also_plausible".into(),
                others.iter().map(interpretation_json).collect(),
            );
            Value::Object(object)
        }
        Meaning::Bytes(all) => {
            let plausible: Vec<&Interpretation> = all.iter().filter(|i| i.plausible()).collect();
            // With a single plausible reading its fields stand at the top, as for a number.
            let mut object = match plausible[..] {
                [only] => interpretation_json(only)
                    .as_object()
                    .cloned()
                    .unwrap_or_default(),
                _ => Map::new(),
            };
            object.insert(
                "interpretations".into(),
                all.iter().map(interpretation_json).collect(),
            );
            Value::Object(object)
        }
    }
}

fn interpretation_json(interpretation: &Interpretation) -> Value {
    let mut object = telegram_json(&interpretation.telegram());
    object.insert("interpretation".into(), json!(interpretation.description()));
    object.insert("plausible".into(), json!(interpretation.plausible()));
    object.insert("objections".into(), json!(interpretation.objections));
    Value::Object(object)
}

fn telegram_json(telegram: &Telegram) -> Map<String, Value> {
    let identity = Identity::from_code(telegram.code);
    let mut object = Map::new();
    object.insert("schema".into(), json!("fieldripple.telegram/1"));
    object.insert("bits".into(), json!(bit_text(&telegram.bits())));
    object.insert("code_hex".into(), json!(format!("{:016X}", telegram.code)));
    object.insert("crc_hex".into(), json!(format!("{:04X}", telegram.crc())));
    object.insert("id".into(), json!(identity.digits()));
    object.insert("country".into(), json!(identity.country));
    object.insert("kind".into(), json!("fdx-b"));
    object.insert("national".into(), json!(identity.national));
    object.insert("animal".into(), json!(identity.animal));
    object.insert("retag".into(), json!(identity.retag));
    object.insert("user".into(), json!(identity.user));
    object.insert("reserved".into(), json!(identity.reserved));
    object.insert("data_block".into(), json!(identity.data_block));
    object.insert("trailer".into(), json!(format!("{:06X}", telegram.trailer)));
    object.insert(
        "country_meaning".into(),
        json!(fieldripple::telegram::country_meaning(identity.country)),
    );
    object.insert("notes".into(), json!(notes(&identity)));
    object
}
