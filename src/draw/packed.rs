//! Pixels → a small PNG: figures have few colours, so each pixel is an index into a table of them.

use std::collections::HashMap;

use super::DrawError;

/// Entries of the largest table a PNG can have (PNG specification, PLTE).
const TABLE: usize = 256;

/// Packs pixels of three bytes each. The commonest colours stay exact; a shade of an edge that is not among them
/// becomes the nearest that is.
pub(super) fn packed(pixels: &[u8], (width, height): (u32, u32)) -> Result<Vec<u8>, DrawError> {
    let (colours, _) = pixels.as_chunks::<3>();
    let mut counts: HashMap<[u8; 3], usize> = HashMap::new();
    for colour in colours {
        *counts.entry(*colour).or_default() += 1;
    }
    let mut common: Vec<([u8; 3], usize)> = counts.into_iter().collect();
    // Equally common ones by value, so that a figure is the same file each time.
    common.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
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
        assert_eq!(unpacked(&packed(&pixels, (40, 30)).unwrap()), pixels);
    }

    #[test]
    fn many_colours_come_back_nearly() {
        // 1024 shades of grey pairs, 4 steps apart at most once 256 of them are kept.
        let pixels: Vec<u8> = (0..64 * 64_u32)
            .flat_map(|i| [(i % 32 * 8) as u8, (i / 32 % 32 * 8) as u8, 0])
            .collect();
        let back = unpacked(&packed(&pixels, (64, 64)).unwrap());
        assert_eq!(back.len(), pixels.len());
        let exact = back.iter().zip(&pixels).filter(|(a, b)| a == b).count();
        // A quarter of the colours stays exact, and the rest is still close in two of three channels.
        assert!(4 * exact >= pixels.len(), "{exact}");
    }
}
