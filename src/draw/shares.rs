//! What figures of shares read are made of, curves and maps alike.

use plotters::style::RGBColor;

use super::style::{BLUE, GREEN, PURPLE, VERMILLION};
use crate::margin::{Contestant, Table};

/// A named curve of (value, share).
pub type Theory = (String, Vec<(f64, f64)>);

/// What is drawn.
#[derive(Clone, Debug)]
pub struct ShareFigure<'a> {
    /// Counts.
    pub table: &'a Table,
    /// What each axis is, with its unit.
    pub labels: Vec<String>,
    /// Below the title: what the captures have in common.
    pub remark: String,
    /// What theory says, against the only axis.
    pub theory: Vec<Theory>,
}

/// Colour of a receiver, here and in maps.
pub(super) const fn colour(receiver: Contestant) -> RGBColor {
    match receiver {
        Contestant::Own => BLUE,
        Contestant::Plain => VERMILLION,
        Contestant::Limit => GREEN,
        Contestant::Yours | Contestant::Reader | Contestant::Both => PURPLE,
        Contestant::Second => VERMILLION,
    }
}

/// Name of a receiver, here and in maps.
pub(super) fn name(receiver: Contestant, table: &Table) -> &'static str {
    match receiver {
        Contestant::Own if table.receivers().contains(&Contestant::Second) => "first reader",
        Contestant::Own => "fieldripple",
        Contestant::Second => "second reader",
        Contestant::Reader => "your reader",
        Contestant::Both => "both at once",
        Contestant::Plain => "plain amplitude receiver",
        Contestant::Limit => "exact limit",
        Contestant::Yours => "your decoder",
    }
}
