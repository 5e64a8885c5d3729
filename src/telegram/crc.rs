//! CRC-16 of the telegram: x^16+x^12+x^5+1, start 0, least significant bit first (catalogued as CRC-16/KERMIT).

/// x^16+x^12+x^5+1 with the bits reversed, as a least-significant-bit-first register needs it.
const POLYNOMIAL_REVERSED: u16 = 0x8408;

const TABLE: [u16; 256] = {
    let mut table = [0u16; 256];
    let mut byte = 0;
    while byte < 256 {
        let mut register = byte as u16;
        let mut step = 0;
        while step < 8 {
            register = shift(register);
            step += 1;
        }
        table[byte] = register;
        byte += 1;
    }
    table
};

const fn shift(register: u16) -> u16 {
    if register & 1 == 1 {
        (register >> 1) ^ POLYNOMIAL_REVERSED
    } else {
        register >> 1
    }
}

/// CRC over whole bytes, each taken least significant bit first.
///
/// Check value of the catalogue of parametrised CRC algorithms (entry CRC-16/KERMIT):
///
/// ```
/// assert_eq!(fieldripple::telegram::crc16(b"123456789"), 0x2189);
/// ```
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0, |register, &byte| {
        (register >> 8) ^ TABLE[usize::from((register as u8) ^ byte)]
    })
}

/// The same CRC, one bit at a time in the order sent: the slow version the table is checked against.
pub fn crc16_bitwise(bits: impl IntoIterator<Item = bool>) -> u16 {
    bits.into_iter()
        .fold(0, |register, bit| shift(register ^ u16::from(bit)))
}
