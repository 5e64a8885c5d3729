//! Binary sample values: width, byte order, scaling to ±1.

/// Kind of a stored number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Number {
    /// Zero or not, read as −1 and +1.
    Bool,
    I8,
    U8,
    I16,
    U16,
    I24,
    /// 24 bits in the low three bytes of four.
    I24Low,
    I32,
    U32,
    I64,
    U64,
    F16,
    F32,
    F64,
}

impl Number {
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::Bool | Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 | Self::F16 => 2,
            Self::I24 => 3,
            Self::I24Low | Self::I32 | Self::U32 | Self::F32 => 4,
            Self::I64 | Self::U64 | Self::F64 => 8,
        }
    }

    /// Integers are fractions of full scale; floats are whatever the writer meant.
    pub(super) fn is_float(self) -> bool {
        matches!(self, Self::F16 | Self::F32 | Self::F64)
    }

    /// Whole floats in double precision, for times; none of other numbers.
    pub(super) fn doubles(self, bytes: &[u8], big_endian: bool) -> Vec<f64> {
        match self {
            Self::F64 => bytes
                .as_chunks::<8>()
                .0
                .iter()
                .map(|&b| {
                    if big_endian {
                        f64::from_be_bytes(b)
                    } else {
                        f64::from_le_bytes(b)
                    }
                })
                .collect(),
            Self::F32 => bytes
                .as_chunks::<4>()
                .0
                .iter()
                .map(|&b| {
                    f64::from(if big_endian {
                        f32::from_be_bytes(b)
                    } else {
                        f32::from_le_bytes(b)
                    })
                })
                .collect(),
            _ => Vec::new(),
        }
    }

    /// Appends the interleaved values in `bytes` to `channels`. Both lengths must fit: whole frames only.
    ///
    /// Signed integers are divided by 2^(bits−1); unsigned ones have 2^(bits−1) removed first, as 8-bit WAV has it.
    pub(super) fn spread(self, bytes: &[u8], big_endian: bool, channels: &mut [Vec<f32>]) {
        macro_rules! number {
            ($kind:ty, $convert:expr) => {{
                let convert = $convert;
                if big_endian {
                    spread(bytes, channels, |b| convert(<$kind>::from_be_bytes(b)));
                } else {
                    spread(bytes, channels, |b| convert(<$kind>::from_le_bytes(b)));
                }
            }};
        }
        const TWO_7: f32 = 128.0;
        const TWO_15: f32 = 32_768.0;
        const TWO_23: f32 = 8_388_608.0;
        const TWO_31: f64 = 2_147_483_648.0;
        const TWO_63: f64 = 9_223_372_036_854_775_808.0;
        match self {
            Self::Bool => number!(u8, |v: u8| if v == 0 { -1.0 } else { 1.0 }),
            Self::I8 => number!(i8, |v: i8| f32::from(v) / TWO_7),
            Self::U8 => number!(u8, |v: u8| (f32::from(v) - TWO_7) / TWO_7),
            Self::I16 => number!(i16, |v: i16| f32::from(v) / TWO_15),
            Self::U16 => number!(u16, |v: u16| (f32::from(v) - TWO_15) / TWO_15),
            // The shift moves the 24 bits to the top and keeps the sign; the low byte is then 0.
            Self::I24 => spread(bytes, channels, |b: [u8; 3]| {
                let b = if big_endian { [b[2], b[1], b[0]] } else { b };
                (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 / TWO_23
            }),
            Self::I24Low => number!(i32, |v: i32| ((v << 8) >> 8) as f32 / TWO_23),
            Self::I32 => number!(i32, |v: i32| (f64::from(v) / TWO_31) as f32),
            Self::U32 => number!(u32, |v: u32| ((f64::from(v) - TWO_31) / TWO_31) as f32),
            Self::I64 => number!(i64, |v: i64| (v as f64 / TWO_63) as f32),
            Self::U64 => number!(u64, |v: u64| ((v as f64 - TWO_63) / TWO_63) as f32),
            Self::F16 => number!(u16, half),
            Self::F32 => number!(f32, |v: f32| v),
            Self::F64 => number!(f64, |v: f64| v as f32),
        }
    }
}

fn spread<const WIDTH: usize>(
    bytes: &[u8],
    channels: &mut [Vec<f32>],
    convert: impl Fn([u8; WIDTH]) -> f32,
) {
    let values = bytes.as_chunks::<WIDTH>().0;
    let count = channels.len();
    if let [only] = channels {
        only.extend(values.iter().map(|&value| convert(value)));
        return;
    }
    for (index, channel) in channels.iter_mut().enumerate() {
        let own = values.iter().skip(index).step_by(count);
        channel.extend(own.map(|&value| convert(value)));
    }
}

/// IEEE 754 binary16: sign, 5 exponent bits with bias 15, 10 fraction bits.
fn half(bits: u16) -> f32 {
    let sign = if bits >> 15 == 1 { -1.0 } else { 1.0 };
    let exponent = i32::from(bits >> 10 & 31);
    let fraction = f32::from(bits & 1023);
    sign * match exponent {
        0 => fraction * 2_f32.powi(-24),
        31 if fraction == 0.0 => f32::INFINITY,
        31 => f32::NAN,
        _ => (1024.0 + fraction) * 2_f32.powi(exponent - 25),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(number: Number, bytes: &[u8], big_endian: bool) -> f32 {
        let mut channels = [Vec::new()];
        number.spread(bytes, big_endian, &mut channels);
        channels[0][0]
    }

    #[test]
    fn the_ends_of_every_integer_are_full_scale() {
        for (number, low, high) in [
            (Number::I8, vec![0x80], vec![0x7F]),
            (Number::U8, vec![0], vec![0xFF]),
            (Number::I16, vec![0, 0x80], vec![0xFF, 0x7F]),
            (Number::U16, vec![0, 0], vec![0xFF, 0xFF]),
            (Number::I24, vec![0, 0, 0x80], vec![0xFF, 0xFF, 0x7F]),
            (
                Number::I24Low,
                vec![0, 0, 0x80, 0],
                vec![0xFF, 0xFF, 0x7F, 0],
            ),
            (
                Number::I32,
                vec![0, 0, 0, 0x80],
                vec![0xFF, 0xFF, 0xFF, 0x7F],
            ),
            (Number::U32, vec![0; 4], vec![0xFF; 4]),
            (Number::U64, vec![0; 8], vec![0xFF; 8]),
        ] {
            let step = 2_f32.powi(1 - 8 * number.bytes().min(3) as i32);
            for big_endian in [false, true] {
                let ordered = |bytes: &[u8]| {
                    let mut bytes = bytes.to_vec();
                    if big_endian {
                        bytes.reverse();
                    }
                    one(number, &bytes, big_endian)
                };
                assert_eq!(ordered(&low), -1.0, "{number:?}");
                let top = ordered(&high);
                assert!((1.0 - step..=1.0).contains(&top), "{number:?} {top}");
            }
        }
    }

    #[test]
    fn half_precision_landmarks() {
        // IEEE 754-2008: 1.0, the largest finite value, the smallest subnormal, −2.
        for (bits, value) in [
            (0x3C00_u16, 1.0),
            (0x7BFF, 65_504.0),
            (0x0001, 2_f32.powi(-24)),
            (0xC000, -2.0),
        ] {
            assert_eq!(one(Number::F16, &bits.to_le_bytes(), false), value);
        }
        assert!(one(Number::F16, &[0, 0x7C], false).is_infinite());
        assert!(one(Number::F16, &[1, 0x7C], false).is_nan());
    }

    #[test]
    fn channels_are_taken_apart() {
        let mut channels = [Vec::new(), Vec::new(), Vec::new()];
        Number::I8.spread(&[64, 32, 16, 0, 0xC0, 0x80], false, &mut channels);
        assert_eq!(
            channels,
            [vec![0.5, 0.0], vec![0.25, -0.5], vec![0.125, -1.0]]
        );
    }
}
