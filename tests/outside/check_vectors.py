"""The telegram encoder of these checks against tabled values, and against itself where the standard implies something."""

import sys

import numpy as np

from fdxb import Number, crc_kermit, half_bit_states, random_number, telegram_bits
from report import Checks

# Worked out by hand under the layout of ISO 11784 / 11785 (bit order, control bits and header from memory): not published.
TABLE = (
    ((1, 0, 0, 0, 999, 1), 0x8000F9C000000001, 0x2E44),
    ((1, 0, 0, 0, 999, 98765432109), 0x8000F9D6FEE0E52D, 0x85DB),
    ((1, 0, 0, 0, 276, 1234567890), 0x80004500499602D2, 0xBDD2),
    ((1, 0, 0, 0, 999, 274877906943), 0x8000F9FFFFFFFFFF, 0x250C),
    ((0, 0, 0, 0, 999, 1), 0x0000F9C000000001, 0xAA4C),
    ((1, 7, 31, 1, 900, 1), 0xFF81E10000000001, 0x48AE),
)
SENT = (
    "00000000001101101001101001111000001111011111111011010111100111111000000001"
    "000000011110110111101000011000000001000000001000000001"
)


def number_of(fields):
    animal, retag, user, data_block, country, national = fields
    return Number(country, national, animal, retag, user, 0, data_block)


def main():
    checks = Checks()
    # Check value published in the catalogue of parametrised CRC algorithms, entry CRC-16/KERMIT.
    checks.that(crc_kermit(b"123456789") == 0x2189, "CRC-16/KERMIT of 123456789")
    for fields, code, crc in TABLE:
        number = number_of(fields)
        checks.that(number.code == code, f"code of {fields}: {number.code:016X}")
        checks.that(number.crc == crc, f"CRC of {fields}: {number.crc:04X}")
    bits = telegram_bits(number_of(TABLE[1][0]))
    checks.that("".join(map(str, bits)) == SENT, "telegram of 999/98765432109 as sent")

    rng = np.random.default_rng(11785)
    for _ in range(200):
        number = random_number(rng)
        bits = telegram_bits(number)
        ring = "".join(map(str, np.concatenate((bits, bits[:10]))))
        # A 1 follows every eight bits, so ten zeros before a 1 are found once in a telegram that goes round.
        checks.that(ring.count("00000000001") == 1, f"one header in {number}")
        sent = bits[11:83].reshape(8, 9)[:, :8].ravel()
        crc = bits[83:101].reshape(2, 9)[:, :8].ravel()
        checks.that(crc_kermit(np.packbits(np.concatenate((sent, crc)), bitorder="little").tobytes()) == 0, "register ends at 0")
        states, parity = half_bit_states(bits)
        again = np.concatenate((states, parity * states))
        checks.that(np.all(again[1:-1:2] != again[2::2]), "the level changes at the start of every bit")
        checks.that(np.all((states[0::2] == states[1::2]) == (bits == 1)), "only a 0 changes in mid-bit")
        checks.that(parity == (-1) ** int(bits.sum()), "an odd number of ones inverts the next telegram")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())
