//! Figure: what a reader reads over distance and tilt, or over distance and offset.

use plotters::prelude::*;

use super::DrawError;
use super::contour::Grid;
use super::figure::{png, svg, titled};
use super::style::{
    Area, BLUE, GREEN, GRID, INK, LABEL, MUTED, ORANGE, SMALL, chart, middle, plot_size, text,
    tick, width_of,
};

/// One place of a tag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RangePoint {
    /// Tag voltage over what its chip needs, dB: below 0 it has no power.
    pub power_db: f64,
    /// Eb/N0 with all telegrams folded, dB.
    pub folded_ebn0_db: f64,
}

/// What the rows of a map are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rows {
    /// Angles between the axes of antenna and tag, degrees.
    Tilts,
    /// Offsets from the antenna's axis, mm.
    Offsets,
}

impl Rows {
    fn title(self) -> &'static str {
        match self {
            Rows::Tilts => "Range over distance and tilt",
            Rows::Offsets => "Range over distance and offset",
        }
    }

    fn axis(self) -> &'static str {
        match self {
            Rows::Tilts => "tilt between the axes of antenna and tag, degrees",
            Rows::Offsets => "offset from the antenna's axis, mm",
        }
    }
}

/// A reader's range over distance and tilt or offset.
#[derive(Clone, Debug)]
pub struct RangeMap<'a> {
    /// Name of the bench.
    pub name: &'a str,
    /// One line of figures under the title.
    pub remark: &'a str,
    /// Distances along the axis, rising, mm; at least two.
    pub distances_mm: &'a [f64],
    /// What its rows are.
    pub over: Rows,
    /// Tilts or offsets, rising; at least two.
    pub rows: &'a [f64],
    /// One point for each distance in the first row, then in the next.
    pub points: &'a [RangePoint],
    /// Folded Eb/N0 that is needed, dB.
    pub needed_db: f64,
}

/// Values are kept this far from what is needed, so that nothing at all (−∞ dB) can be interpolated.
const FARTHEST_DB: f64 = 120.0;
/// Most lines of equal Eb/N0.
const MOST_LINES: f64 = 9.0;
/// Rows of colour that are drawn, pixels high.
const ROW_PIXELS: u32 = 3;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Unpowered,
    TooWeak,
    Read,
}

impl State {
    const ALL: [(Self, &'static str); 3] = [
        (Self::Read, "read"),
        (Self::TooWeak, "powered, but too weak to be read"),
        (Self::Unpowered, "not powered"),
    ];

    /// Shades that a bitmap keeps exactly: whole ninths.
    fn ink(self) -> RGBAColor {
        match self {
            Self::Unpowered => GRID.to_rgba(),
            Self::TooWeak => ORANGE.mix(4.0 / 9.0),
            Self::Read => GREEN.mix(3.0 / 9.0),
        }
    }
}

impl RangeMap<'_> {
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
    /// See [`RangeMap::png`].
    pub fn svg(&self, size: (u32, u32)) -> Result<String, DrawError> {
        svg(size, |area| self.draw(area))
    }

    fn grid(&self, value: impl Fn(&RangePoint) -> f64) -> Grid {
        Grid {
            x: self.distances_mm.to_vec(),
            y: self.rows.to_vec(),
            values: self
                .points
                .iter()
                .map(|point| value(point).clamp(-FARTHEST_DB, FARTHEST_DB))
                .collect(),
        }
    }

    fn draw<DB: DrawingBackend>(&self, area: &Area<DB>) -> Result<(), DrawError>
    where
        DB::ErrorType: 'static,
    {
        let ([first_mm, .., last_mm], [first_row, .., last_row]) = (self.distances_mm, self.rows)
        else {
            return Err(DrawError::Backend(
                "a map needs two distances and two rows".into(),
            ));
        };
        titled(area, self.over.title(), self.name)?;
        area.draw(&Text::new(
            self.remark.to_string(),
            (12, 42),
            text(LABEL, INK),
        ))?;
        let (_, body) = area.split_vertically(68);
        let (key, body) = body.split_vertically(26);
        legend(&key)?;

        let map = Plot {
            power: self.grid(|point| point.power_db),
            margin: self.grid(|point| point.folded_ebn0_db - self.needed_db),
            mm: (*first_mm, *last_mm),
            rows: (*first_row, *last_row),
            pixels: plot_size(&body),
        };
        let mut chart = chart(
            &body,
            *first_mm..*last_mm,
            *first_row..*last_row,
            "distance along the antenna's axis, mm",
            self.over.axis(),
        )?;
        for (corners, state) in map.colours() {
            let ink = state.ink().filled();
            chart.draw_series([Rectangle::new(corners, ink)])?;
        }
        let mut labels: Vec<(f64, f64)> = Vec::new();
        for level_db in self.levels_of_powered() {
            let line = map.line(level_db - self.needed_db, &labels);
            chart.draw_series(
                line.pieces
                    .into_iter()
                    .map(|piece| PathElement::new(piece.to_vec(), BLUE.stroke_width(1))),
            )?;
            if let Some(place) = line.label {
                labels.push(map.share(place));
                let words = format!("{} dB", tick(level_db));
                chart.draw_series([Text::new(words, place, middle(SMALL, BLUE))])?;
            }
        }
        for (grid, ink) in [(&map.margin, GREEN), (&map.power, INK)] {
            let pieces = grid.contour(0.0).into_iter();
            chart.draw_series(
                pieces.map(|piece| PathElement::new(piece.to_vec(), ink.stroke_width(2))),
            )?;
        }
        Ok(())
    }

    /// Round values of folded Eb/N0 among the places with power, dB.
    fn levels_of_powered(&self) -> Vec<f64> {
        let powered = self
            .points
            .iter()
            .filter(|point| point.power_db >= 0.0 && point.folded_ebn0_db.is_finite())
            .map(|point| point.folded_ebn0_db);
        let least = powered.clone().fold(f64::INFINITY, f64::min);
        let most = powered.fold(f64::NEG_INFINITY, f64::max);
        levels(least, most)
    }
}

/// What the map shows, over distance and rows.
struct Plot {
    /// Power over what the chip needs, dB.
    power: Grid,
    /// Eb/N0 over what is needed, dB.
    margin: Grid,
    mm: (f64, f64),
    rows: (f64, f64),
    pixels: (u32, u32),
}

/// A piece of a line.
type Segment = [(f64, f64); 2];

/// A line of equal Eb/N0, with a gap at its label.
struct Line {
    pieces: Vec<Segment>,
    label: Option<(f64, f64)>,
}

impl Plot {
    fn state(&self, x: f64, y: f64) -> State {
        let (powered, read) = (self.power.at(x, y) >= 0.0, self.margin.at(x, y) >= 0.0);
        match (powered, read) {
            (false, _) => State::Unpowered,
            (true, false) => State::TooWeak,
            (true, true) => State::Read,
        }
    }

    /// Place of a point in the plot, as shares of its width and height.
    fn share(&self, at: (f64, f64)) -> (f64, f64) {
        (
            (at.0 - self.mm.0) / (self.mm.1 - self.mm.0),
            (at.1 - self.rows.0) / (self.rows.1 - self.rows.0),
        )
    }

    fn place(&self, share: (f64, f64)) -> (f64, f64) {
        (
            self.mm.0 + share.0 * (self.mm.1 - self.mm.0),
            self.rows.0 + share.1 * (self.rows.1 - self.rows.0),
        )
    }

    /// Rows of patches of one state each.
    fn colours(&self) -> Vec<(Segment, State)> {
        let cells = |pixels: u32| (pixels / ROW_PIXELS).max(1);
        let (columns, rows) = (cells(self.pixels.0), cells(self.pixels.1));
        let corner = |column: u32, row: u32| {
            self.place((
                f64::from(column) / f64::from(columns),
                f64::from(row) / f64::from(rows),
            ))
        };
        let mut patches = Vec::new();
        for row in 0..rows {
            let look = |column: u32| {
                let (left, below) = corner(column, row);
                let (right, above) = corner(column + 1, row + 1);
                self.state(0.5 * (left + right), 0.5 * (below + above))
            };
            let mut from = 0;
            while from < columns {
                let here = look(from);
                let to = (from + 1..columns)
                    .find(|&column| look(column) != here)
                    .unwrap_or(columns);
                patches.push(([corner(from, row), corner(to, row + 1)], here));
                from = to;
            }
        }
        patches
    }

    /// The line of a margin where the chip has power, beside labels that are there already (as shares).
    fn line(&self, margin_db: f64, labels: &[(f64, f64)]) -> Line {
        let powered = |at: &(f64, f64)| self.power.at(at.0, at.1) >= 0.0;
        let pieces: Vec<Segment> = self
            .margin
            .contour(margin_db)
            .into_iter()
            .filter(|piece| piece.iter().all(powered))
            .collect();
        let label = self.label_of(&pieces, labels);
        // The line leaves room for it.
        let room = (
            24.0 / f64::from(self.pixels.0),
            9.0 / f64::from(self.pixels.1),
        );
        let free = |at: &(f64, f64)| {
            label.is_none_or(|label| {
                let (own, other) = (self.share(*at), self.share(label));
                (own.0 - other.0).abs() > room.0 || (own.1 - other.1).abs() > room.1
            })
        };
        let shown = pieces.iter().flat_map(|piece| {
            // Only where it is interrupted: rounding to pixels makes a line of short pieces rough.
            if piece.iter().all(free) {
                vec![*piece]
            } else {
                in_parts(piece, 4)
            }
        });
        Line {
            pieces: shown.filter(|piece| piece.iter().all(free)).collect(),
            label,
        }
    }

    /// Where a line is farthest from all labels and from the edges.
    fn label_of(&self, pieces: &[Segment], labels: &[(f64, f64)]) -> Option<(f64, f64)> {
        let room = |at: (f64, f64)| {
            let share = self.share(at);
            let edge = [share.0, 1.0 - share.0, share.1, 1.0 - share.1]
                .into_iter()
                .fold(1.0, f64::min);
            let others = labels
                .iter()
                .map(|other| (share.0 - other.0).hypot(share.1 - other.1))
                .fold(1.0, f64::min);
            (edge > 0.03 && others > 0.06).then_some(edge.min(0.5 * others))
        };
        pieces
            .iter()
            .filter_map(|piece| Some((piece[0], room(piece[0])?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(place, _)| place)
    }
}

/// A piece of a line in so many short ones.
fn in_parts([from, to]: &Segment, parts: u32) -> Vec<Segment> {
    let at = |part: u32| {
        let share = f64::from(part) / f64::from(parts);
        (
            from.0 + share * (to.0 - from.0),
            from.1 + share * (to.1 - from.1),
        )
    };
    (0..parts).map(|part| [at(part), at(part + 1)]).collect()
}

/// Round values between the lowest and the highest, at most so many.
fn levels(least: f64, most: f64) -> Vec<f64> {
    let step = [1.0, 2.0, 5.0, 10.0, 20.0]
        .into_iter()
        .find(|step| (most - least) / step <= MOST_LINES)
        .unwrap_or(50.0);
    if !(least.is_finite() && most.is_finite()) {
        return Vec::new();
    }
    let (first, last) = ((least / step).ceil() as i64, (most / step).floor() as i64);
    (first..=last).map(|n| n as f64 * step).collect()
}

fn legend<DB: DrawingBackend>(area: &Area<DB>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    const MARK: i32 = 22;
    let mut left = 12;
    let mut entry = |words: &str| -> Result<i32, DrawError> {
        let at = left;
        let place = (at + MARK + 6, 4);
        area.draw(&Text::new(words.to_string(), place, text(SMALL, INK)))?;
        left += MARK + 6 + width_of(words, SMALL) as i32 + 22;
        Ok(at)
    };
    for (state, name) in State::ALL {
        let at = entry(name)?;
        let patch = [(at, 5), (at + MARK, 19)];
        area.draw(&Rectangle::new(patch, state.ink().filled()))?;
        area.draw(&Rectangle::new(patch, MUTED.stroke_width(1)))?;
    }
    for (name, ink, stroke) in [
        ("power that is needed", INK, 2),
        ("Eb/N0 that is needed", GREEN, 2),
        ("Eb/N0 with all telegrams folded", BLUE, 1),
    ] {
        let at = entry(name)?;
        let line = vec![(at, 12), (at + MARK, 12)];
        area.draw(&PathElement::new(line, ink.stroke_width(stroke)))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Power falls with distance, Eb/N0 faster; the tilt does nothing: limits are upright lines where the numbers say.
    fn map(draw: impl FnOnce(&RangeMap<'_>)) {
        let distances: Vec<f64> = (0..=20).map(|n| 10.0 + 5.0 * f64::from(n)).collect();
        let tilts: Vec<f64> = (0..=10).map(|n| 9.0 * f64::from(n)).collect();
        let points: Vec<RangePoint> = tilts
            .iter()
            .flat_map(|_| &distances)
            .map(|mm| RangePoint {
                power_db: 90.0 - mm,
                folded_ebn0_db: 4.0 + 60.0 - mm,
            })
            .collect();
        draw(&RangeMap {
            name: "bench",
            remark: "",
            distances_mm: &distances,
            over: Rows::Tilts,
            rows: &tilts,
            points: &points,
            needed_db: 4.0,
        });
    }

    /// Read up to 60 mm, powered up to 90 mm of 10 to 110: the widths of the rows are 50, 30 and 20 % of the plot.
    #[test]
    fn colours_end_where_the_numbers_say() {
        map(|map| {
            let page = map.svg((1000, 700)).unwrap();
            let document = roxmltree::Document::parse(&page).unwrap();
            let width_of_state = |state: State| {
                let ink = state.ink();
                let hex = format!("#{:02X}{:02X}{:02X}", ink.0, ink.1, ink.2);
                let widths: Vec<f64> = document
                    .descendants()
                    .filter(|node| node.has_tag_name("rect"))
                    .filter(|node| node.attribute("fill") == Some(&hex))
                    .map(|node| node.attribute("width").unwrap().parse().unwrap())
                    .filter(|width| *width > 30.0)
                    .collect();
                widths.iter().sum::<f64>() / widths.len() as f64
            };
            let plot = 1000.0 - f64::from(super::super::style::LEFT + super::super::style::RIGHT);
            for (state, share) in [
                (State::Read, 0.5),
                (State::TooWeak, 0.3),
                (State::Unpowered, 0.2),
            ] {
                let got = width_of_state(state) / plot;
                // A column of three pixels and the edge pixel that both sides count.
                assert!((got - share).abs() < 4.0 / plot, "{state:?}: {got}");
            }
            for words in ["read", "not powered", "0 dB", "40 dB"] {
                assert!(page.contains(words), "{words}");
            }
        });
    }

    #[test]
    fn a_bitmap_and_refusals() {
        map(|map| {
            assert!(map.png((600, 400)).unwrap().starts_with(b"\x89PNG"));
            assert!(matches!(
                map.png((10, 10)),
                Err(DrawError::Size { width: 10, .. })
            ));
            let one = RangeMap {
                over: Rows::Offsets,
                rows: &[0.0],
                ..map.clone()
            };
            assert!(one.svg((600, 400)).is_err());
        });
    }

    #[test]
    fn lines_are_round_and_few() {
        assert_eq!(
            levels(-3.2, 4.1),
            [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0]
        );
        assert_eq!(
            levels(1.0, 70.0),
            [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0]
        );
        assert!(levels(f64::INFINITY, f64::NEG_INFINITY).is_empty());
    }
}
