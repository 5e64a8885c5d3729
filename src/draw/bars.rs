//! Bars across, one below the other: what counts most stands on top.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::DrawError;
use super::figure::{png, svg, titled};
use super::style::{Area, BLUE, GRID, INK, LABEL, MUTED, ORANGE, SMALL, text, tick, width_of};

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// What it is about.
    pub name: String,
    /// Its length, not below 0.
    pub value: f64,
    /// From … to …, drawn as a thin line across the bar's end: an interval.
    pub interval: Option<(f64, f64)>,
    /// Words behind it.
    pub remark: String,
}

/// Bars with a title, a remark and an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Bars<'a> {
    /// Title.
    pub title: &'a str,
    /// Name of the bench.
    pub name: &'a str,
    /// Lines of figures under the title.
    pub remarks: &'a [String],
    /// Label of the axis, with unit.
    pub label: &'a str,
    /// The bars, in the order they are drawn.
    pub bars: &'a [Bar],
}

const TOP: i32 = 44;
const LINE: i32 = 20;
const AXIS: i32 = 52;

impl Bars<'_> {
    /// The figure as PNG.
    ///
    /// # Errors
    /// [`DrawError`]: a size out of range, or the drawing library's own.
    pub fn png(&self, size: (u32, u32)) -> Result<Vec<u8>, DrawError> {
        png(size, |area| self.draw(area))
    }

    /// The figure as SVG.
    ///
    /// # Errors
    /// See [`Bars::png`].
    pub fn svg(&self, size: (u32, u32)) -> Result<String, DrawError> {
        svg(size, |area| self.draw(area))
    }

    fn draw<DB: DrawingBackend>(&self, area: &Area<DB>) -> Result<(), DrawError>
    where
        DB::ErrorType: 'static,
    {
        titled(area, self.title, self.name)?;
        let (width, height) = area.dim_in_pixel();
        for (row, remark) in self.remarks.iter().enumerate() {
            let words = shortened_at(remark, LABEL, f64::from(width) - 24.0);
            let at = (12, TOP + LINE * row as i32);
            area.draw(&Text::new(words, at, text(LABEL, INK)))?;
        }
        let top = TOP + LINE * self.remarks.len() as i32 + 12;
        let bottom = height as i32 - AXIS;
        let names = self.bars.iter().map(|bar| width_of(&bar.name, LABEL));
        let left = 24 + names.fold(0.0, f64::max) as i32;
        let remarks = self.bars.iter().map(|bar| width_of(&bar.remark, SMALL));
        let right = width as i32 - 24 - remarks.fold(0.0, f64::max) as i32;
        let longest = self
            .bars
            .iter()
            .flat_map(|bar| [bar.value, bar.interval.map_or(0.0, |interval| interval.1)])
            .fold(0.0, f64::max);
        let step = round_step(longest.max(1e-9) / 5.0);
        let end = step * (longest / step).ceil().max(1.0);
        let across = |value: f64| left + (value / end * f64::from(right - left)).round() as i32;
        let ticks = (end / step).round() as usize;
        for count in 0..=ticks {
            let value = step * count as f64;
            let x = across(value);
            area.draw(&PathElement::new([(x, top), (x, bottom)], GRID))?;
            let label = text(SMALL, MUTED).pos(Pos::new(HPos::Center, VPos::Top));
            area.draw(&Text::new(tick(value), (x, bottom + 5), label))?;
        }
        let label = text(LABEL, INK).pos(Pos::new(HPos::Center, VPos::Top));
        area.draw(&Text::new(
            self.label.to_string(),
            ((left + right) / 2, bottom + 26),
            label,
        ))?;
        let room = f64::from(bottom - top) / self.bars.len().max(1) as f64;
        let thick = (0.6 * room).min(34.0);
        for (row, bar) in self.bars.iter().enumerate() {
            let middle = f64::from(top) + room * (row as f64 + 0.5);
            let (y, half) = (middle.round() as i32, (thick / 2.0).round() as i32);
            let name = text(LABEL, INK).pos(Pos::new(HPos::Right, VPos::Center));
            area.draw(&Text::new(bar.name.clone(), (left - 8, y), name))?;
            let corners = [(left, y - half), (across(bar.value), y + half)];
            area.draw(&Rectangle::new(corners, BLUE.filled()))?;
            let mut beyond = across(bar.value);
            if let Some((low, high)) = bar.interval {
                let line = [(across(low), y), (across(high), y)];
                area.draw(&PathElement::new(line, ORANGE.stroke_width(3)))?;
                for x in [across(low), across(high)] {
                    let mark = [(x, y - half / 2), (x, y + half / 2)];
                    area.draw(&PathElement::new(mark, ORANGE.stroke_width(3)))?;
                }
                beyond = beyond.max(across(high));
            }
            // The lines of the axis do not run through the words.
            let words = width_of(&bar.remark, SMALL).ceil() as i32;
            let room = [(beyond + 4, y - 9), (beyond + 10 + words, y + 9)];
            area.draw(&Rectangle::new(room, WHITE.filled()))?;
            let remark = text(SMALL, MUTED).pos(Pos::new(HPos::Left, VPos::Center));
            area.draw(&Text::new(bar.remark.clone(), (beyond + 7, y), remark))?;
        }
        area.draw(&PathElement::new([(left, top), (left, bottom)], INK))?;
        Ok(())
    }
}

/// As much of a text as has room.
fn shortened_at(words: &str, size: f64, room: f64) -> String {
    let mut words = words.to_string();
    if width_of(&words, size) <= room {
        return words;
    }
    while !words.is_empty() && width_of(&words, size) > room - width_of("…", size) {
        words.pop();
    }
    words + "…"
}

/// 1, 2 or 5 times a power of ten, not below this.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .map(|step| step * power)
        .into_iter()
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        for (least, want) in [
            (0.9, 1.0),
            (1.1, 2.0),
            (34.0, 50.0),
            (0.06, 0.1),
            (2.0, 2.0),
        ] {
            assert!((round_step(least) / want - 1.0).abs() < 1e-9, "{least}");
        }
    }

    #[test]
    fn long_remarks_end_with_dots() {
        let cut = shortened_at("words that have no room at all here", LABEL, 80.0);
        assert!(cut.ends_with('…') && width_of(&cut, LABEL) <= 80.0, "{cut}");
        assert_eq!(shortened_at("short", LABEL, 200.0), "short");
    }
}
