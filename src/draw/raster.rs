//! A bitmap with smooth edges, rasterised by a library; letters stand where they belong (the plotting library's own bitmaps have
//! hard edges, and its text leaves out the bearing of each letter).

use std::convert::Infallible;

use ab_glyph::{Font, FontRef, InvalidFont, OutlineCurve, Point, ScaleFont};
use plotters::prelude::*;
use plotters::style::FontTransform;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingErrorKind,
};
use tiny_skia::{FillRule, LineJoin, Paint, Path, PathBuilder, Pixmap, Rect, Stroke, Transform};

use super::DrawError;
use super::style::{font_of, measured};

/// A white sheet to draw on.
pub(super) struct Raster<'a> {
    sheet: &'a mut Pixmap,
}

type Failure = DrawingErrorKind<Infallible>;

/// Draws a picture and returns its pixels, three bytes each.
pub(super) fn picture(
    size: (u32, u32),
    draw: impl FnOnce(&DrawingArea<Raster<'_>, plotters::coord::Shift>) -> Result<(), DrawError>,
) -> Result<Vec<u8>, DrawError> {
    let (width, height) = size;
    let mut sheet = Pixmap::new(width, height).ok_or(DrawError::Size { width, height })?;
    sheet.fill(tiny_skia::Color::WHITE);
    draw(&Raster { sheet: &mut sheet }.into_drawing_area())?;
    let pixels = sheet.pixels().iter();
    Ok(pixels
        .flat_map(|pixel| [pixel.red(), pixel.green(), pixel.blue()])
        .collect())
}

/// The middle of a pixel, so that a line one pixel wide covers whole ones.
fn middle((x, y): BackendCoord) -> (f32, f32) {
    (x as f32 + 0.5, y as f32 + 0.5)
}

fn paint(color: BackendColor) -> Paint<'static> {
    let (red, green, blue) = color.rgb;
    let mut paint = Paint::default();
    let alpha = (255.0 * color.alpha.clamp(0.0, 1.0)).round();
    paint.set_color_rgba8(red, green, blue, alpha as u8);
    paint
}

fn through(points: impl IntoIterator<Item = BackendCoord>, closed: bool) -> Option<Path> {
    let mut path = PathBuilder::new();
    for (index, point) in points.into_iter().enumerate() {
        let (x, y) = middle(point);
        if index == 0 {
            path.move_to(x, y);
        } else {
            path.line_to(x, y);
        }
    }
    if closed {
        path.close();
    }
    path.finish()
}

impl Raster<'_> {
    fn fill(&mut self, path: Option<Path>, color: BackendColor, turn: Transform) {
        if let Some(path) = path {
            self.sheet
                .fill_path(&path, &paint(color), FillRule::Winding, turn, None);
        }
    }

    /// With round joints: others run out into spikes at sharp turns.
    fn stroke<S: BackendStyle>(&mut self, path: Option<Path>, style: &S) {
        let stroke = Stroke {
            width: style.stroke_width() as f32,
            line_join: LineJoin::Round,
            ..Stroke::default()
        };
        if let Some(path) = path {
            let paint = paint(style.color());
            self.sheet
                .stroke_path(&path, &paint, &stroke, Transform::identity(), None);
        }
    }
}

impl DrawingBackend for Raster<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        (self.sheet.width(), self.sheet.height())
    }

    fn ensure_prepared(&mut self) -> Result<(), Failure> {
        Ok(())
    }

    fn present(&mut self) -> Result<(), Failure> {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> Result<(), Failure> {
        let pixel = Rect::from_xywh(x as f32, y as f32, 1.0, 1.0);
        self.fill(
            pixel.map(PathBuilder::from_rect),
            color,
            Transform::identity(),
        );
        Ok(())
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Result<(), Failure> {
        self.stroke(through([from, to], false), style);
        Ok(())
    }

    /// A filled one takes whole pixels, so that neighbours leave no seam.
    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure> {
        let ((left, top), (right, bottom)) = (upper_left, bottom_right);
        if fill {
            let whole = Rect::from_ltrb(left as f32, top as f32, right as f32, bottom as f32);
            let path = whole.map(PathBuilder::from_rect);
            self.fill(path, style.color(), Transform::identity());
        } else {
            let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
            self.stroke(through(corners, true), style);
        }
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Result<(), Failure> {
        self.stroke(through(path, false), style);
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure> {
        let (x, y) = middle(center);
        let circle = PathBuilder::from_circle(x, y, radius as f32);
        if fill {
            self.fill(circle, style.color(), Transform::identity());
        } else {
            self.stroke(circle, style);
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Result<(), Failure> {
        let outline = through(corners, true);
        self.fill(outline, style.color(), Transform::identity());
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &S,
        at: BackendCoord,
    ) -> Result<(), Failure> {
        let family = style.family();
        let font = font_of(family.as_str())
            .ok_or_else(|| DrawingErrorKind::FontError(Box::new(InvalidFont)))?;
        let (width, height) = measured(family.as_str(), style.size(), text);
        let (width, height) = (width as f32, height as f32);
        let anchor = style.anchor();
        let left = match anchor.h_pos {
            HPos::Left => 0.0,
            HPos::Center => (-width / 2.0).round(),
            HPos::Right => -width,
        };
        let upper = match anchor.v_pos {
            VPos::Top => 0.0,
            VPos::Center => (-height / 2.0).round(),
            VPos::Bottom => -height,
        };
        // As columns: where one to the right goes, and one down.
        let (right, down) = match style.transform() {
            FontTransform::None => ((1.0, 0.0), (0.0, 1.0)),
            FontTransform::Rotate90 => ((0.0, 1.0), (-1.0, 0.0)),
            FontTransform::Rotate180 => ((-1.0, 0.0), (0.0, -1.0)),
            FontTransform::Rotate270 => ((0.0, -1.0), (1.0, 0.0)),
        };
        let (x, y) = (at.0 as f32, at.1 as f32);
        let turn = Transform::from_row(right.0, right.1, down.0, down.1, x, y);
        let line = letters(font, text, style.size() as f32, (left, upper));
        self.fill(line, style.color(), turn);
        Ok(())
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), Failure> {
        Ok(measured(style.family().as_str(), style.size(), text))
    }
}

/// Outlines of a line of text whose box has this upper left corner.
fn letters(font: &FontRef<'_>, text: &str, size: f32, (left, upper): (f32, f32)) -> Option<Path> {
    let scaled = font.as_scaled(size);
    // The layout's box is 0.81 of the size high, capitals are 0.6 of it: this puts them in its middle.
    let base = upper + 0.7 * size;
    let (mut x, mut before) = (left, None);
    let mut path = PathBuilder::new();
    for letter in text.chars() {
        let id = font.glyph_id(letter);
        if let Some(before) = before {
            x += scaled.kern(before, id);
        }
        let place = |point: Point| {
            (
                x + point.x * scaled.h_scale_factor(),
                base - point.y * scaled.v_scale_factor(),
            )
        };
        let outline = font.outline(id);
        add_outline(&mut path, outline.iter().flat_map(|all| &all.curves), place);
        x += scaled.h_advance(id);
        before = Some(id);
    }
    path.finish()
}

/// The closed curves of one letter; a new one begins where the last did not end.
fn add_outline<'a>(
    path: &mut PathBuilder,
    curves: impl Iterator<Item = &'a OutlineCurve>,
    place: impl Fn(Point) -> (f32, f32),
) {
    let mut end = None;
    for curve in curves {
        let (from, to) = match curve {
            OutlineCurve::Line(from, to)
            | OutlineCurve::Quad(from, _, to)
            | OutlineCurve::Cubic(from, _, _, to) => (*from, *to),
        };
        if end != Some(from) {
            let (x, y) = place(from);
            path.move_to(x, y);
        }
        let (x, y) = place(to);
        match curve {
            OutlineCurve::Line(..) => path.line_to(x, y),
            OutlineCurve::Quad(_, bend, _) => {
                let bend = place(*bend);
                path.quad_to(bend.0, bend.1, x, y);
            }
            OutlineCurve::Cubic(_, first, second, _) => {
                let (first, second) = (place(*first), place(*second));
                path.cubic_to(first.0, first.1, second.0, second.1, x, y);
            }
        }
        end = Some(to);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ink(draw: impl FnOnce(&DrawingArea<Raster<'_>, plotters::coord::Shift>)) -> f64 {
        let pixels = picture((200, 100), |area| {
            draw(area);
            Ok(())
        })
        .unwrap();
        assert_eq!(pixels.len(), 200 * 100 * 3);
        let sum: u32 = pixels.iter().map(|&byte| 255 - u32::from(byte)).sum();
        f64::from(sum) / (3.0 * 255.0)
    }

    #[test]
    fn a_rectangle_takes_whole_pixels() {
        let area = ink(|area| {
            let rectangle = Rectangle::new([(10, 5), (20, 10)], BLACK.filled());
            area.draw(&rectangle).unwrap();
        });
        assert_eq!(area, 10.0 * 5.0);
    }

    /// A slope's edges fall between pixels: their shades keep its area, to the sixteenth of a pixel that edges are placed to.
    #[test]
    fn a_slope_keeps_the_amount_of_ink() {
        let area = ink(|area| {
            let slope = PathElement::new(
                vec![(20, 20), (120, 50)],
                ShapeStyle::from(&BLACK).stroke_width(3),
            );
            area.draw(&slope).unwrap();
        });
        let length = 100f64.hypot(30.0);
        assert!((area - 3.0 * length).abs() < 2.0 * length / 16.0, "{area}");
    }
}
