//! Figures as PNG or SVG: what the receiver saw of a capture, how far a reader reaches, how often captures are read.
//!
//! A [`View`] gathers what is drawn; [`figure_png`] and [`figure_svg`] draw all panels on one sheet, [`panel_svg`] one
//! of them alone. A [`RangeMap`] is a figure of its own, and [`share_png`] and [`share_svg`] draw a [`ShareFigure`]. Nothing here touches the file system: drawings come back as bytes or text.
//!
//! Depths and envelopes are in % of the field where its level is in the capture; angles follow the receiver (0° pure
//! amplitude, ±90° pure phase); frequencies are in Hz from the field.

mod activity;
mod aligned;
mod answer;
mod apart;
mod bars;
mod beat;
mod beside;
mod contour;
mod curve;
mod describe;
mod envelope;
mod eye;
mod figure;
mod ghost;
mod level;
mod lines;
#[cfg(feature = "formats")]
mod numbers;
mod packed;
mod phasor;
mod range_map;
mod raster;
mod record;
mod sentence;
#[cfg(feature = "margin")]
mod share;
#[cfg(feature = "margin")]
mod share_figure;
#[cfg(feature = "margin")]
mod share_map;
#[cfg(feature = "margin")]
mod shares;
mod spectrum;
mod style;
mod telegram;
mod untouched;
mod vector;
mod view;

use plotters::drawing::DrawingAreaErrorKind;

pub use bars::{Bar, Bars};
pub use beside::Beside;
pub use curve::{Curve, Curves, curves_svg};
pub use figure::{FIGURE_SIZE, Panel, figure_png, figure_svg, panel_svg};
pub use range_map::{RangeMap, RangePoint, Rows};
pub use record::{Record, TagBits};
#[cfg(feature = "margin")]
pub use share_figure::{SHARE_FIGURE_SIZE, share_png, share_svg};
#[cfg(feature = "margin")]
pub use shares::{ShareFigure, Theory};
pub use style::palette;
pub use view::{About, View};

/// Why a figure cannot be drawn.
#[derive(Debug, thiserror::Error)]
pub enum DrawError {
    /// The drawing library gave up.
    #[error("the figure cannot be drawn: {0}")]
    Backend(String),
    /// The picture cannot be packed.
    #[error("the figure cannot be packed as PNG: {0}")]
    Pack(#[from] png::EncodingError),
    /// Smaller than the labels need, or beyond what a bitmap may take.
    #[error("a figure of {width}×{height} is not drawn; each side must be 200 to 4000")]
    Size {
        /// Width asked for.
        width: u32,
        /// Height asked for.
        height: u32,
    },
}

impl<E: std::error::Error + Send + Sync> From<DrawingAreaErrorKind<E>> for DrawError {
    fn from(error: DrawingAreaErrorKind<E>) -> Self {
        Self::Backend(error.to_string())
    }
}
