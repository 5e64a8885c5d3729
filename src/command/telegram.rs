//! `ripplemark telegram`: number ↔ bits.

use std::process::ExitCode;

use ripplemark::telegram::{Identity, Telegram};

/// Shows a number as the 128 bits a tag sends, or the number in bits, a code or bytes
#[derive(clap::Args)]
pub struct Arguments {
    /// The number as CCC:N: country or issuer code, colon, national number
    #[arg(value_name = "NUMBER")]
    input: String,
}

/// Prints the telegram.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let identity: Identity = arguments.input.parse()?;
    let telegram = Telegram::new(identity.code());
    super::print(&format!("{:016X} {:04X}\n", telegram.code, telegram.crc()))
}
