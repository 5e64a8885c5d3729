//! The chapters: number, name, title and text.

/// A chapter before it is filled.
#[derive(Clone, Copy, Debug)]
pub struct Chapter {
    /// Number, from 1.
    pub number: usize,
    /// Short name, also of its page.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// Markdown with places for values and parts.
    pub(super) text: &'static str,
}

macro_rules! chapter {
    ($number:literal, $name:literal, $title:literal) => {
        Chapter {
            number: $number,
            name: $name,
            title: $title,
            text: include_str!(concat!("chapters/", $name, ".md")),
        }
    };
}

/// All chapters in order.
pub const CHAPTERS: [Chapter; 13] = [
    chapter!(1, "field", "The field, and why 125 kHz gear is silent"),
    chapter!(2, "coupling", "Coupling, tilt and range"),
    chapter!(3, "load-modulation", "Load modulation and the phasor plane"),
    chapter!(4, "blind", "Why amplitude alone can be blind"),
    chapter!(5, "biphase", "Differential biphase by hand"),
    chapter!(6, "telegram", "The telegram and its fields"),
    chapter!(7, "crc", "The CRC by long division"),
    chapter!(8, "noise", "Noise, and what folding buys"),
    chapter!(9, "second-reader", "A second reader"),
    chapter!(10, "two-tags", "Two tags"),
    chapter!(11, "decision", "How the program decides, and what odds are"),
    chapter!(12, "hdx", "Half duplex beside FDX-B"),
    chapter!(13, "bench", "On your own bench"),
];

/// A chapter by number or name.
pub fn chapter(name: &str) -> Option<&'static Chapter> {
    CHAPTERS
        .iter()
        .find(|chapter| chapter.name == name || chapter.number.to_string() == name)
}
