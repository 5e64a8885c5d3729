//! Options for the fields of a telegram that are not part of the number.

use fieldripple::telegram::{Identity, Telegram};

use fieldripple::number::whole_within;

/// Fields of a telegram besides the number.
#[derive(Clone, Debug, Default, clap::Args, serde::Serialize)]
pub struct Fields {
    /// Retagging counter, 0 to 7 [default: 0]
    #[arg(long, value_name = "0-7", value_parser = whole_within(0..=7, ""))]
    retag: Option<u64>,
    /// User information, 0 to 31 [default: 0]
    #[arg(long, value_name = "0-31", value_parser = whole_within(0..=31, ""))]
    user: Option<u64>,
    /// Reserved bits 10 to 15, 0 to 63; 1 is bit 15, an advanced transponder [default: 0]
    #[arg(long, value_name = "0-63", value_parser = whole_within(0..=63, ""))]
    reserved: Option<u64>,
    /// Set the animal flag to 0 [default: 1]
    #[arg(long)]
    not_animal: bool,
    /// Set the data block flag to 1: the trailer holds data [default: 0]
    #[arg(long)]
    data_block: bool,
    /// Trailer, six hex digits [default: 000000]
    #[arg(long, value_name = "HEX6", value_parser = trailer)]
    trailer: Option<u32>,
}

fn trailer(text: &str) -> Result<u32, String> {
    Some(text)
        .filter(|text| text.len() == 6 && text.bytes().all(|byte| byte.is_ascii_hexdigit()))
        .and_then(|text| u32::from_str_radix(text, 16).ok())
        .ok_or_else(|| "allowed are six hex digits, 000000 to FFFFFF".into())
}

impl Fields {
    /// Whether any of them was given.
    pub fn any(&self) -> bool {
        self.retag.is_some()
            || self.user.is_some()
            || self.reserved.is_some()
            || self.trailer.is_some()
            || self.not_animal
            || self.data_block
    }

    /// The telegram of a number with these fields.
    pub fn telegram(&self, mut identity: Identity) -> Telegram {
        identity.animal = !self.not_animal;
        identity.retag = self.retag.unwrap_or(0) as u8;
        identity.user = self.user.unwrap_or(0) as u8;
        identity.reserved = self.reserved.unwrap_or(0) as u8;
        identity.data_block = self.data_block;
        Telegram {
            code: identity.code(),
            trailer: self.trailer.unwrap_or(0),
        }
    }
}
