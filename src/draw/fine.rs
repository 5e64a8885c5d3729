//! A bitmap drawn three times as large and averaged: smooth lines, and letters where they belong (the plotting
//! library's own bitmaps have hard edges, and its text leaves out the bearing of each letter).

use ab_glyph::{Font, FontRef, InvalidFont, ScaleFont, point};
use plotters::backend::RGBPixel;
use plotters::prelude::*;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingErrorKind,
};

use super::style::{font_of, measured};

/// Times as large in each direction: 10 shades on a straight edge.
const TIMES: u32 = 3;

/// A bitmap of three bytes a pixel, red, green, blue, `TIMES` times as large as it says.
pub(super) struct Fine<'a> {
    inner: BitMapBackend<'a, RGBPixel>,
}

type Failure<'a> = DrawingErrorKind<<BitMapBackend<'a, RGBPixel> as DrawingBackend>::ErrorType>;

/// A style at the larger scale.
struct Scaled {
    color: BackendColor,
    width: u32,
}

impl Scaled {
    fn of<S: BackendStyle>(style: &S) -> Self {
        Self {
            color: style.color(),
            width: style.stroke_width() * TIMES,
        }
    }
}

impl BackendStyle for Scaled {
    fn color(&self) -> BackendColor {
        self.color
    }

    fn stroke_width(&self) -> u32 {
        self.width
    }
}

/// The middle of a pixel at the larger scale.
fn scaled((x, y): BackendCoord) -> BackendCoord {
    let (times, middle) = (TIMES as i32, TIMES as i32 / 2);
    (x * times + middle, y * times + middle)
}

/// Bytes of the large bitmap for a picture of this size.
fn bytes((width, height): (u32, u32)) -> usize {
    3 * (width * TIMES) as usize * (height * TIMES) as usize
}

/// Draws a picture and returns its pixels, three bytes each.
pub(super) fn picture<E>(
    size: (u32, u32),
    draw: impl FnOnce(&DrawingArea<Fine<'_>, plotters::coord::Shift>) -> Result<(), E>,
) -> Result<Vec<u8>, E> {
    let mut large = vec![255; bytes(size)];
    {
        let fine = Fine {
            inner: BitMapBackend::with_buffer(&mut large, (size.0 * TIMES, size.1 * TIMES)),
        };
        draw(&fine.into_drawing_area())?;
    }
    let (width, times) = (size.0 as usize, TIMES as usize);
    let row = 3 * width * times;
    let mut small = Vec::with_capacity(3 * width * size.1 as usize);
    for rows in large.chunks_exact(row * times) {
        for x in 0..width {
            for channel in 0..3 {
                let sum: u32 = (0..times * times)
                    .map(|k| {
                        let (dx, dy) = (k % times, k / times);
                        u32::from(rows[dy * row + 3 * (x * times + dx) + channel])
                    })
                    .sum();
                small.push((sum / (TIMES * TIMES)) as u8);
            }
        }
    }
    Ok(small)
}

impl<'a> DrawingBackend for Fine<'a> {
    type ErrorType = <BitMapBackend<'a, RGBPixel> as DrawingBackend>::ErrorType;

    fn get_size(&self) -> (u32, u32) {
        let (width, height) = self.inner.get_size();
        (width / TIMES, height / TIMES)
    }

    fn ensure_prepared(&mut self) -> Result<(), Failure<'a>> {
        self.inner.ensure_prepared()
    }

    fn present(&mut self) -> Result<(), Failure<'a>> {
        self.inner.present()
    }

    fn draw_pixel(&mut self, at: BackendCoord, color: BackendColor) -> Result<(), Failure<'a>> {
        let corner = (at.0 * TIMES as i32, at.1 * TIMES as i32);
        let opposite = (corner.0 + TIMES as i32 - 1, corner.1 + TIMES as i32 - 1);
        let style = Scaled { color, width: 1 };
        self.inner.draw_rect(corner, opposite, &style, true)
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        self.inner
            .draw_line(scaled(from), scaled(to), &Scaled::of(style))
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_rect(
            scaled(upper_left),
            scaled(bottom_right),
            &Scaled::of(style),
            fill,
        )
    }

    /// Piece by piece with round joints: one outline of the whole path would run out into spikes at sharp turns.
    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        let mut before: Option<BackendCoord> = None;
        for at in path {
            if let Some(before) = before {
                self.draw_line(before, at, style)?;
                // Where lines shine through, joints would show as dots.
                if style.color().alpha == 1.0 {
                    let radius = style.stroke_width() * TIMES / 2;
                    self.inner
                        .draw_circle(scaled(at), radius, &Scaled::of(style), true)?;
                }
            }
            before = Some(at);
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure<'a>> {
        self.inner
            .draw_circle(scaled(center), radius * TIMES, &Scaled::of(style), fill)
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        self.inner
            .fill_polygon(corners.into_iter().map(scaled), &Scaled::of(style))
    }

    fn draw_text<S: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &S,
        at: BackendCoord,
    ) -> Result<(), Failure<'a>> {
        let family = style.family();
        let font = font_of(family.as_str())
            .ok_or_else(|| DrawingErrorKind::FontError(Box::new(InvalidFont)))?;
        let (width, height) = measured(family.as_str(), style.size(), text);
        let (width, height) = (width as i32, height as i32);
        let anchor = style.anchor();
        let left = match anchor.h_pos {
            HPos::Left => 0,
            HPos::Center => -width / 2,
            HPos::Right => -width,
        };
        let upper = match anchor.v_pos {
            VPos::Top => 0,
            VPos::Center => -height / 2,
            VPos::Bottom => -height,
        };
        let (turn, times) = (style.transform(), TIMES as i32);
        let (x, y) = (at.0 * times, at.1 * times);
        let color = style.color();
        for (dot_x, dot_y, cover) in dots(font, text, style.size() * f64::from(TIMES)) {
            let (dx, dy) = turn.transform(dot_x + left * times, dot_y + upper * times);
            let color = color.mix(f64::from(cover.min(1.0)));
            self.inner.draw_pixel((x + dx, y + dy), color)?;
        }
        Ok(())
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), Failure<'a>> {
        Ok(measured(style.family().as_str(), style.size(), text))
    }
}

/// Pixels of a line of text and how much of each is covered; (0, 0) is the upper left corner of its box.
fn dots(font: &FontRef<'_>, text: &str, size: f64) -> Vec<(i32, i32, f32)> {
    let font = font.as_scaled(size as f32);
    let mut dots = Vec::new();
    let (mut x, mut before) = (0.0, None);
    for letter in text.chars() {
        let id = font.glyph_id(letter);
        if let Some(before) = before {
            x += font.kern(before, id);
        }
        // The layout's box is 0.81 of the size high, capitals are 0.6 of it: this puts them in its middle.
        let glyph = id.with_scale_and_position(size as f32, point(x, 0.7 * size as f32));
        x += font.h_advance(id);
        before = Some(id);
        if let Some(outline) = font.outline_glyph(glyph) {
            let corner = outline.px_bounds().min;
            outline.draw(|dx, dy, cover| {
                if cover > 0.0 {
                    dots.push((
                        dx as i32 + corner.x as i32,
                        dy as i32 + corner.y as i32,
                        cover,
                    ));
                }
            });
        }
    }
    dots
}

#[cfg(test)]
mod tests {
    use super::super::DrawError;
    use super::*;

    /// A black rectangle keeps its area, though its edges fall between pixels.
    #[test]
    fn averaging_keeps_the_amount_of_ink() {
        let pixels = picture((200, 20), |area| {
            area.draw(&Rectangle::new([(10, 5), (20, 10)], BLACK.filled()))?;
            Ok::<_, DrawError>(())
        })
        .unwrap();
        assert_eq!(pixels.len(), 200 * 20 * 3);
        let ink: u32 = pixels.iter().map(|&byte| 255 - u32::from(byte)).sum();
        // 10 × 5 pixels; rounding down takes less than a step of each edge pixel's channels.
        let expected = 10.0 * 5.0 * 3.0 * 255.0;
        assert!(
            (f64::from(ink) / expected - 1.0).abs() < 0.005,
            "{ink} {expected}"
        );
    }
}
