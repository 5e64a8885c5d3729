//! The one place for colours, fonts and axes.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, ScaleFont};
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::DrawError;

/// Any place to draw on.
pub type Area<DB> = DrawingArea<DB, Shift>;
/// A chart with two linear axes.
pub type Chart<'a, DB> = ChartContext<'a, DB, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

// The palette of Okabe and Ito, "Color Universal Design" (2008): told apart with every common kind of colour vision, and
// by lightness in print.
/// Text and axes.
pub const INK: RGBColor = RGBColor(0, 0, 0);
/// What was measured.
pub const BLUE: RGBColor = RGBColor(0, 114, 178);
/// What was measured, in the background.
pub const SKY: RGBColor = RGBColor(86, 180, 233);
/// The other of two.
pub const VERMILLION: RGBColor = RGBColor(213, 94, 0);
/// Marks and fitted values.
pub const ORANGE: RGBColor = RGBColor(230, 159, 0);
/// What belongs to the return bands and to the stretches in use.
pub const GREEN: RGBColor = RGBColor(0, 158, 115);
/// A third kind.
pub const PURPLE: RGBColor = RGBColor(204, 121, 167);
/// Grid lines: light enough to stay behind everything.
pub const GRID: RGBColor = RGBColor(222, 222, 222);
/// Ghosts of what is compared with: contrast 4:1 on white.
pub const GHOST: RGBColor = RGBColor(125, 125, 125);
/// Remarks and tick labels: contrast 7:1 on white.
pub const MUTED: RGBColor = RGBColor(85, 85, 85);

/// The colours by name, as web pages write them: pages and figures look alike.
pub fn palette() -> [(&'static str, String); 9] {
    [
        ("ink", INK),
        ("blue", BLUE),
        ("sky", SKY),
        ("vermillion", VERMILLION),
        ("orange", ORANGE),
        ("green", GREEN),
        ("purple", PURPLE),
        ("grid", GRID),
        ("muted", MUTED),
    ]
    .map(|(name, RGBColor(r, g, b))| (name, format!("#{r:02X}{g:02X}{b:02X}")))
}

/// Every colour with its half-tones on white, as bytes.
pub fn inks() -> Vec<[u8; 3]> {
    let all = [
        INK, BLUE, SKY, VERMILLION, ORANGE, GREEN, PURPLE, GRID, MUTED, WHITE,
    ];
    let ninths = 1..=9_u32;
    all.iter()
        .flat_map(|ink| {
            // The shades that averaging nine dots gives.
            ninths.clone().map(|share| {
                [ink.0, ink.1, ink.2]
                    .map(|channel| ((u32::from(channel) * share + 255 * (9 - share)) / 9) as u8)
            })
        })
        .collect()
}

/// Source Sans 3 3.052, under the SIL Open Font License (fonts/OFL.txt): open, drawn for screens, and no system's own face.
const LETTERS_FONT: &[u8] = include_bytes!("fonts/SourceSans3-Regular.ttf");
/// Source Code Pro 1.026, likewise.
const EVEN_FONT: &[u8] = include_bytes!("fonts/SourceCodePro-Regular.ttf");

/// Letters; a viewer of the SVG takes its own of that family.
const LETTERS: &str = "sans-serif";
/// Letters of one width.
const EVEN: &str = "monospace";

/// Heading of the whole figure, pixels.
pub const TITLE: f64 = 28.0;
/// Heading of a panel.
pub const HEADING: f64 = 19.0;
/// Axis labels and sentences.
pub const LABEL: f64 = 16.0;
/// Tick labels and remarks.
pub const SMALL: f64 = 15.0;

/// Height of a line relative to its size, as the plotting library counts it when it sets a text by its middle or its end.
const HEIGHT: f64 = 1.0 / 1.24;

/// Room for the labels left of a chart.
pub const LEFT: u32 = 72;
/// Room for the labels below a chart.
pub const BELOW: u32 = 50;
/// Free beyond the labels.
const EDGE: u32 = 8;
/// Free on the right of a chart.
pub const RIGHT: u32 = 16;
/// Room for a panel's heading.
const ABOVE: u32 = 27;

/// The font behind a family's name.
pub fn font_of(family: &str) -> Option<&'static FontRef<'static>> {
    static FONTS: LazyLock<[Option<FontRef<'static>>; 2]> = LazyLock::new(|| {
        [LETTERS_FONT, EVEN_FONT].map(|bytes| FontRef::try_from_slice(bytes).ok())
    });
    FONTS[usize::from(family == EVEN)].as_ref()
}

/// Width and height in pixels of a line in the font of this family and size; nothing has a width where there is no font.
pub fn measured(family: &str, size: f64, line: &str) -> (u32, u32) {
    let Some(font) = font_of(family) else {
        return (0, 0);
    };
    let font = font.as_scaled(size as f32);
    let (mut width, mut before) = (0.0_f32, None);
    for letter in line.chars() {
        let id = font.glyph_id(letter);
        width += font.h_advance(id);
        if let Some(before) = before {
            width += font.kern(before, id);
        }
        before = Some(id);
    }
    (width as u32, (size * HEIGHT) as u32)
}

/// Text of a size and colour, hung from its upper left corner.
pub fn text(size: f64, colour: RGBColor) -> TextStyle<'static> {
    coloured(TextStyle::from((LETTERS, size)), colour)
}

fn coloured(mut style: TextStyle<'static>, colour: RGBColor) -> TextStyle<'static> {
    style.color = colour.to_backend_color();
    style
}

/// Text around its middle.
pub fn middle(size: f64, colour: RGBColor) -> TextStyle<'static> {
    text(size, colour).pos(Pos::new(HPos::Center, VPos::Center))
}

/// Text that ends at its place.
pub fn ending(size: f64, colour: RGBColor) -> TextStyle<'static> {
    text(size, colour).pos(Pos::new(HPos::Right, VPos::Center))
}

/// Digits of one width around their middle.
pub fn even(size: f64, colour: RGBColor) -> TextStyle<'static> {
    coloured(TextStyle::from((EVEN, size)), colour).pos(Pos::new(HPos::Center, VPos::Center))
}

/// Width of a text in pixels.
pub fn width_of(words: &str, size: f64) -> f64 {
    f64::from(measured(LETTERS, size, words).0)
}

/// Room for a heading relative to its width: a page takes another font where the reader's machine lacks this one, and common ones are up
/// to a quarter wider (measured in a browser).
const WIDER: f64 = 1.25;

/// Writes a panel's heading with a remark beside it and returns the area below. A remark that has no room is left out.
pub fn headed<DB: DrawingBackend>(
    area: &Area<DB>,
    heading: &str,
    remark: &str,
) -> Result<Area<DB>, DrawError>
where
    DB::ErrorType: 'static,
{
    area.draw(&Text::new(heading.to_string(), (12, 5), text(HEADING, INK)))?;
    let (width, _) = area.dim_in_pixel();
    let remark_at = 12.0 + WIDER * width_of(heading, HEADING) + 6.0;
    if remark_at + width_of(remark, SMALL) <= f64::from(width) - 4.0 {
        let place = (remark_at as i32, 8);
        area.draw(&Text::new(remark.to_string(), place, text(SMALL, MUTED)))?;
    }
    Ok(area.split_vertically(ABOVE).1)
}

/// A chart with grid, ticks and labelled axes.
pub fn chart<'a, DB: DrawingBackend>(
    area: &'a Area<DB>,
    x: std::ops::Range<f64>,
    y: std::ops::Range<f64>,
    x_label: &str,
    y_label: &str,
) -> Result<Chart<'a, DB>, DrawError>
where
    DB::ErrorType: 'static,
{
    let (width, height) = plot_size(area);
    let mut chart = ChartBuilder::on(area)
        .margin_top(4)
        .margin_right(RIGHT)
        .margin_left(EDGE)
        .margin_bottom(EDGE)
        .x_label_area_size(BELOW - EDGE)
        .y_label_area_size(LEFT - EDGE)
        .build_cartesian_2d(x, y)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(INK)
        .x_labels((width / 70).clamp(3, 12) as usize)
        .y_labels((height / 18).clamp(3, 9) as usize)
        .x_label_formatter(&|value| tick(*value))
        .y_label_formatter(&|value| tick(*value))
        .label_style(text(SMALL, MUTED))
        .axis_desc_style(text(LABEL, INK))
        .x_desc(x_label)
        .y_desc(y_label)
        .draw()?;
    Ok(chart)
}

/// Pixels between the axes of a [`chart`] on this area.
pub fn plot_size<DB: DrawingBackend>(area: &Area<DB>) -> (u32, u32) {
    let (width, height) = area.dim_in_pixel();
    (
        width.saturating_sub(LEFT + RIGHT).max(1),
        height.saturating_sub(BELOW + 4).max(1),
    )
}

/// A number without needless zeros, with a real minus sign.
pub fn tick(value: f64) -> String {
    // Ticks are sums of steps: what is left of 0 after rounding is 0.
    let rounded = format!("{value:.6}");
    let trimmed = rounded.trim_end_matches('0').trim_end_matches('.');
    match trimmed {
        "-0" => "0".into(),
        other => other.replace('-', "−"),
    }
}

/// An axis' angle in whole degrees, above −90 and up to 90: an axis has no direction, so −90° is 90°.
pub fn axis_degrees(angle: f64) -> String {
    match angle.to_degrees().round() {
        -90.0 => "90".into(),
        degrees => tick(degrees),
    }
}

/// Three significant digits, without an exponent.
pub fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".into();
    }
    let digits = (2 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.digits$}").replace('-', "−")
}

/// The value below which this share of all lies; 0 of nothing.
pub fn quantile(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut sorted: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    if sorted.is_empty() {
        return 0.0;
    }
    let place = ((sorted.len() - 1) as f64 * share).round() as usize;
    *sorted.select_nth_unstable_by(place, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(tick(0.1 + 0.2), "0.3");
        assert_eq!(tick(-1e-12), "0");
        assert_eq!(tick(-40.0), "−40");
        assert_eq!(axis_degrees(-1.57), "90");
        assert_eq!(axis_degrees(-0.5), "−29");
        assert_eq!(significant(0.98765), "0.988");
        assert_eq!(significant(134.2), "134");
    }

    /// The plotting library measures with the same font as we do, where it has one.
    #[test]
    fn lines_are_as_wide_as_the_plotting_library_has_them() {
        use plotters::style::register_font;
        for (family, bytes) in [(LETTERS, LETTERS_FONT), (EVEN, EVEN_FONT)] {
            assert!(register_font(family, FontStyle::Normal, bytes).is_ok());
            for line in ["", "0", "Depth, % of the field", "−12.5 kHz", "AVAVA µ±"] {
                for size in [SMALL, LABEL, HEADING, TITLE, 11.5] {
                    let theirs = TextStyle::from((family, size)).font.box_size(line).unwrap();
                    assert_eq!(measured(family, size, line), theirs, "{line} at {size}");
                }
            }
        }
    }

    /// The letters used in labels are in the fonts: a missing one is drawn as an empty box or not at all.
    #[test]
    fn the_fonts_have_the_letters_used() {
        for letter in "µ±−×°·–%…".chars() {
            assert!(width_of(&letter.to_string(), 20.0) > 0.0, "{letter}");
        }
    }
}
