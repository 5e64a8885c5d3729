//! Pages for a browser: the report of captures, and the frame and style that lessons share with it.
//!
//! A page is one HTML file that needs nothing else: style inside, figures as inline SVG, no network; the script of a report draws the
//! whole record at any magnification, and without it nothing else is missing. It reads on a phone and in print. [`reader_page`] reads captures itself, in the browser, and asks [`answer`] what they hold.
//! Templates stand beside the code that fills them.

mod bits;
mod decoded;
mod evidence;
mod figures;
mod reader;
mod record;
mod report;
mod sheet;

pub use bits::{Group, groups};
pub use decoded::view;
pub use reader::{MODULE_SCRIPT, answer, reader_page};
pub use report::{NumberRead, Opinion, ReportPage, Section, section_html, unreadable_html};
pub use sheet::{CAUTIONS, controls_sheet, environment, escaped, inline_svg, style_sheet};

/// Why a page cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// A figure cannot be drawn.
    #[error(transparent)]
    Draw(#[from] crate::draw::DrawError),
    /// A template cannot be filled.
    #[error("the page cannot be filled: {0:#}")]
    Template(#[from] minijinja::Error),
    /// The page cannot be written.
    #[error(transparent)]
    Io(#[from] std::io::Error),
}
