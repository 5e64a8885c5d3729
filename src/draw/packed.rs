//! Pixels → a small PNG: figures have few colours, so each pixel is an index into a table of them.

use std::cmp::Reverse;
use std::collections::HashMap;

use super::DrawError;

/// Entries of the largest table a PNG can have (PNG specification, PLTE).
const TABLE: usize = 256;

/// Packs pixels of three bytes each. `kept` and the commonest colours stay exact; a shade of an edge that is not among them
/// becomes the nearest that is.
///
/// Without `kept` a small mark in a colour of its own would turn grey beside many shades of grey.
pub(super) fn packed(
    pixels: &[u8],
    (width, height): (u32, u32),
    kept: &[[u8; 3]],
) -> Result<Vec<u8>, DrawError> {
    let (colours, _) = pixels.as_chunks::<3>();
    let mut counts: HashMap<[u8; 3], usize> = HashMap::new();
    for colour in colours {
        *counts.entry(*colour).or_default() += 1;
    }
    let mut common: Vec<([u8; 3], usize)> = counts.into_iter().collect();
    // Equally common ones by value, so that a figure is the same file each time.
    let rank = |(colour, count): &([u8; 3], usize)| {
        let kept = kept.contains(colour);
        (Reverse(kept), Reverse(*count), *colour)
    };
    common.sort_by_key(rank);
    let table: Vec<[u8; 3]> = common.iter().take(TABLE).map(|(c, _)| *c).collect();
    let index: HashMap<[u8; 3], u8> = common
        .iter()
        .map(|(colour, _)| (*colour, nearest(&table, colour)))
        .collect();
    let indices: Vec<u8> = colours.iter().map(|colour| index[colour]).collect();

    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(table.concat());
    encoder.set_compression(png::Compression::Best);
    // Differences of indices mean nothing (PNG specification, recommended filters).
    encoder.set_filter(png::FilterType::NoFilter);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&indices)?;
    writer.finish()?;
    Ok(bytes)
}

fn nearest(table: &[[u8; 3]], colour: &[u8; 3]) -> u8 {
    let distance = |other: &[u8; 3]| -> i32 {
        let one = |k: usize| (i32::from(other[k]) - i32::from(colour[k])).pow(2);
        one(0) + one(1) + one(2)
    };
    let best = table
        .iter()
        .enumerate()
        .min_by_key(|(_, other)| distance(other));
    best.map_or(0, |(index, _)| index as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unpacked(bytes: &[u8]) -> Vec<u8> {
        let mut decoder = png::Decoder::new(bytes);
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        reader.next_frame(&mut pixels).unwrap();
        pixels
    }

    #[test]
    fn few_colours_come_back_exactly() {
        let pixels: Vec<u8> = (0..40 * 30_u32)
            .flat_map(|i| [(i % 7) as u8, (i % 5) as u8 * 50, (i % 3) as u8])
            .collect();
        assert_eq!(unpacked(&packed(&pixels, (40, 30), &[]).unwrap()), pixels);
    }

    #[test]
    fn of_many_colours_those_kept_and_the_commonest_stay() {
        // 1024 colours four times each, and a block of one more.
        let mut pixels: Vec<u8> = (0..64 * 64_u32)
            .flat_map(|i| [(i % 32 * 8) as u8, (i / 32 % 32 * 8) as u8, 0])
            .collect();
        pixels[..300].fill(255);
        let rare = [248, 248, 0];
        let back = unpacked(&packed(&pixels, (64, 64), &[rare]).unwrap());
        assert_eq!(back.len(), pixels.len());
        assert_eq!(back[..300], pixels[..300]);
        let triples = back
            .as_chunks::<3>()
            .0
            .iter()
            .zip(pixels.as_chunks::<3>().0);
        let (mut same, mut all) = (0, 0);
        for (got, given) in triples {
            all += usize::from(*given == rare);
            same += usize::from(*given == rare && got == given);
        }
        assert_eq!((same, all), (4, 4));
    }
}
