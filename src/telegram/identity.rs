//! The fields of the 64-bit code (ISO 11784) and the number printed from them.

use std::fmt;
use std::str::FromStr;

/// Fields of the 64-bit code of ISO 11784, each within its range.
///
/// Built by [`Identity::new`] (animal flag 1, everything else 0), changed through the public fields and checked by
/// [`Identity::check`]; every 64-bit code is the code of exactly one valid `Identity`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Identity {
    /// Bit 1: the transponder is on an animal.
    pub animal: bool,
    /// Bits 2–4: retagging counter, 0–7.
    pub retag: u8,
    /// Bits 5–9: user information, 0–31.
    pub user: u8,
    /// Bits 10–15: reserved, 0–63. Bit 15 (value 1 here) marks an advanced transponder.
    pub reserved: u8,
    /// Bit 16: the trailer holds data.
    pub data_block: bool,
    /// Bits 17–26: ISO 3166-1 numeric country code or issuer code, 0–1023.
    pub country: u16,
    /// Bits 27–64: national number, 0 … 274 877 906 943 (2^38 − 1).
    pub national: u64,
}

/// A field outside its range, or a number that is not written `CCC:NNNNNNNNNNNN`.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdentityError {
    /// A field is larger than its bits hold.
    #[error("{field} {value} is too large: allowed is 0 to {max}")]
    TooLarge {
        /// Name of the field.
        field: &'static str,
        /// The value given.
        value: u64,
        /// The largest allowed value.
        max: u64,
    },
    /// The text is not a number in the written form.
    #[error(
        "'{text}' is not a number: write CCC:NNNNNNNNNNNN, country or issuer code (0 to 1023), a colon and the national number (0 to 274877906943), decimal digits only"
    )]
    NotANumber {
        /// The text given.
        text: String,
    },
}

impl Identity {
    /// Largest country or issuer code.
    pub const COUNTRY_MAX: u16 = 1023;
    /// Largest national number.
    pub const NATIONAL_MAX: u64 = (1 << 38) - 1;

    /// An animal's number with all other fields 0.
    ///
    /// # Errors
    /// [`IdentityError::TooLarge`] when `country` > 1023 or `national` > 2^38 − 1.
    pub fn new(country: u16, national: u64) -> Result<Self, IdentityError> {
        let identity = Self {
            animal: true,
            retag: 0,
            user: 0,
            reserved: 0,
            data_block: false,
            country,
            national,
        };
        identity.check().map(|()| identity)
    }

    /// Checks every field against its range.
    ///
    /// # Errors
    /// [`IdentityError::TooLarge`] for the first field that does not fit.
    pub fn check(&self) -> Result<(), IdentityError> {
        let limits = [
            ("retagging counter", u64::from(self.retag), 7),
            ("user information", u64::from(self.user), 31),
            ("reserved field", u64::from(self.reserved), 63),
            (
                "country code",
                u64::from(self.country),
                u64::from(Self::COUNTRY_MAX),
            ),
            ("national number", self.national, Self::NATIONAL_MAX),
        ];
        for (field, value, max) in limits {
            if value > max {
                return Err(IdentityError::TooLarge { field, value, max });
            }
        }
        Ok(())
    }

    /// The 64-bit code. Fields must be within range ([`Identity::check`]); surplus bits are cut off.
    pub fn code(&self) -> u64 {
        u64::from(self.animal) << 63
            | (u64::from(self.retag) & 7) << 60
            | (u64::from(self.user) & 31) << 55
            | (u64::from(self.reserved) & 63) << 49
            | u64::from(self.data_block) << 48
            | (u64::from(self.country) & 1023) << 38
            | self.national & Self::NATIONAL_MAX
    }

    /// The fields of a 64-bit code; every code has some.
    pub fn from_code(code: u64) -> Self {
        let field = |shift: u32, bits: u32| (code >> shift) & ((1 << bits) - 1);
        Self {
            animal: field(63, 1) == 1,
            retag: field(60, 3) as u8,
            user: field(55, 5) as u8,
            reserved: field(49, 6) as u8,
            data_block: field(48, 1) == 1,
            country: field(38, 10) as u16,
            national: field(0, 38),
        }
    }

    /// The number as one run of digits, 3 (or 4) for the country and 12 for the national number.
    pub fn digits(&self) -> String {
        format!("{:03}{:012}", self.country, self.national)
    }
}

/// Printed form `CCC NNNNNNNNNNNN`.
impl fmt::Display for Identity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:03} {:012}", self.country, self.national)
    }
}

/// Reads the written form `CCC:NNNNNNNNNNNN`; fewer digits than 3 and 12 are filled with zeros on the left.
impl FromStr for Identity {
    type Err = IdentityError;

    fn from_str(text: &str) -> Result<Self, IdentityError> {
        let not_a_number = || IdentityError::NotANumber {
            text: text.chars().take(60).collect(),
        };
        let (country, national) = text.split_once(':').ok_or_else(not_a_number)?;
        let digits = |part: &str| {
            if part.is_empty() || part.len() > 19 || !part.bytes().all(|b| b.is_ascii_digit()) {
                return Err(not_a_number());
            }
            part.parse::<u64>().map_err(|_| not_a_number())
        };
        let (country, national) = (digits(country)?, digits(national)?);
        let country = u16::try_from(country).map_err(|_| IdentityError::TooLarge {
            field: "country code",
            value: country,
            max: u64::from(Self::COUNTRY_MAX),
        })?;
        Self::new(country, national)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_is_the_code_of_its_fields() {
        let mut code = 0x9E37_79B9_7F4A_7C15_u64;
        for _ in 0..1000 {
            code = code.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let identity = Identity::from_code(code);
            identity.check().unwrap();
            assert_eq!(identity.code(), code);
        }
    }

    #[test]
    fn the_written_form_is_read_and_limits_are_named() {
        let identity: Identity = "999:123456789".parse().unwrap();
        assert_eq!(identity.to_string(), "999 000123456789");
        assert_eq!(identity.digits(), "999000123456789");
        for bad in [
            "", "999", "999:", ":1", "999:12a", "-1:5", "9 9:1", "999:1:2",
        ] {
            assert!(
                matches!(
                    bad.parse::<Identity>(),
                    Err(IdentityError::NotANumber { .. })
                ),
                "{bad}"
            );
        }
        for bad in ["1024:1", "70000:1", "999:274877906944"] {
            assert!(
                matches!(bad.parse::<Identity>(), Err(IdentityError::TooLarge { .. })),
                "{bad}"
            );
        }
    }
}
