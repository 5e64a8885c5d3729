//! SVG whose texts are measured with the figures' own fonts, on every target: the plotting library asks the system for them, or a
//! browser's window.

use plotters::prelude::*;
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingErrorKind,
};

use super::style::measured;

/// A drawing as text.
pub(super) struct Vector<'a> {
    inner: SVGBackend<'a>,
}

impl<'a> Vector<'a> {
    /// A drawing of so many pixels that is written to `page`.
    pub fn new(page: &'a mut String, size: (u32, u32)) -> Self {
        Self {
            inner: SVGBackend::with_string(page, size),
        }
    }
}

type Failure<'a> = DrawingErrorKind<<SVGBackend<'a> as DrawingBackend>::ErrorType>;

impl<'a> DrawingBackend for Vector<'a> {
    type ErrorType = <SVGBackend<'a> as DrawingBackend>::ErrorType;

    fn get_size(&self) -> (u32, u32) {
        self.inner.get_size()
    }

    fn ensure_prepared(&mut self) -> Result<(), Failure<'a>> {
        self.inner.ensure_prepared()
    }

    fn present(&mut self) -> Result<(), Failure<'a>> {
        self.inner.present()
    }

    fn draw_pixel(&mut self, at: BackendCoord, color: BackendColor) -> Result<(), Failure<'a>> {
        self.inner.draw_pixel(at, color)
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_line(from, to, style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_rect(upper_left, bottom_right, style, fill)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_path(path, style)
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_circle(center, radius, style, fill)
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Result<(), Failure<'a>> {
        self.inner.fill_polygon(corners, style)
    }

    fn draw_text<S: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &S,
        at: BackendCoord,
    ) -> Result<(), Failure<'a>> {
        self.inner.draw_text(text, style, at)
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), Failure<'a>> {
        Ok(measured(style.family().as_str(), style.size(), text))
    }
}
