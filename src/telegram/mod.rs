//! Numbers, codes and telegrams: the 64-bit code of ISO 11784 and the 128 bits of ISO 11785 that carry it.
//!
//! No signal in here: bits go in and out as `bool`s in the order they are sent.
//!
//! | thing | order |
//! |---|---|
//! | code | bit 1 of the standard is the most significant bit of the `u64` (weight 2^63) |
//! | telegram | header, code, CRC, trailer; every part is sent least significant bit first |
//! | CRC | x^16+x^12+x^5+1 over the code as sent, start 0, sent least significant bit first |
//!
//! ```
//! use fieldripple::telegram::{Identity, Telegram};
//! let identity = Identity::new(999, 98_765_432_109).unwrap();
//! let telegram = Telegram::new(identity.code());
//! assert_eq!(format!("{:016X}", telegram.code), "8000F9D6FEE0E52D");
//! assert_eq!(format!("{:04X}", telegram.crc()), "85DB");
//! assert_eq!(Telegram::from_bits(&telegram.bits()).unwrap(), telegram);
//! ```

mod byte_orders;
mod countries;
mod crc;
mod frame;
mod half_duplex;
mod identity;
mod meaning;
mod read_only_word;

pub use byte_orders::{ByteOrder, Interpretation, byte_orders};
pub use countries::country_name;
pub use crc::{crc16, crc16_bitwise};
pub use frame::{
    CODE_BITS, CODED_BITS, CRC_BITS, FrameError, HEADER_BITS, Part, TELEGRAM_BITS, TRAILER_BITS,
    Telegram, part_of,
};
pub use half_duplex::{HALF_DUPLEX_BITS, HALF_DUPLEX_HEADER, HalfDuplexError};
pub use identity::{Identity, IdentityError};
pub use meaning::{Field, country_in_use, country_meaning, fields, notes, objections};
pub use read_only_word::{ReadOnlyWord, WORD_BITS};
