//! The figures of a capture's section: what all tags share, and each tag alone.

use serde::Serialize;

use super::PageError;
use super::sheet::inline_svg;
use crate::draw::{Panel, View, panel_svg};
use crate::receiver::Kind;

/// Size of the panels: at 380 px of page they are shown nearly as large as they are drawn.
const PANEL: (u32, u32) = (400, 320);
/// The telegram where there is room, and on a phone.
const TELEGRAM_WIDE: (u32, u32) = (1100, 420);
/// See [`TELEGRAM_WIDE`].
const TELEGRAM_NARROW: (u32, u32) = (400, 700);

/// A drawing with the sentence below it.
#[derive(Serialize)]
pub(super) struct Figure {
    svg: String,
    narrow_svg: Option<String>,
    caption: &'static str,
}

/// What shows one tag.
#[derive(Serialize)]
pub(super) struct OfTag {
    /// Its number where there are several, else nothing.
    title: String,
    panels: Vec<Figure>,
    telegram: Figure,
}

/// The figures of a section.
#[derive(Serialize)]
pub(super) struct Figures {
    shared: Vec<Figure>,
    tags: Vec<OfTag>,
}

/// Draws everything.
pub(super) fn figures(
    view: &View<'_>,
    ripples: usize,
    answers: usize,
) -> Result<Figures, PageError> {
    let several = ripples > 1;
    let shared: &[Panel] = match several {
        true => &[
            Panel::Level,
            Panel::Spectrum,
            Panel::Phasor,
            Panel::Envelope,
        ],
        false => &[
            Panel::Level,
            Panel::Spectrum,
            Panel::Phasor,
            Panel::Eye,
            Panel::Envelope,
        ],
    };
    let mut tags = Vec::new();
    if ripples > 0 {
        for tag in view.tags() {
            let own: &[Panel] = match several {
                true => &[Panel::Phasor, Panel::Eye],
                false => &[],
            };
            tags.push(of_tag(&tag, several || answers > 0, own)?);
        }
    } else {
        for answer in view.answers() {
            tags.push(of_tag(&answer, answers > 1, &[])?);
        }
    }
    Ok(Figures {
        shared: panels(view, shared)?,
        tags,
    })
}

fn of_tag(view: &View<'_>, named: bool, own: &[Panel]) -> Result<OfTag, PageError> {
    Ok(OfTag {
        title: if named { view.number() } else { String::new() },
        panels: panels(view, own)?,
        telegram: telegram(view)?,
    })
}

fn panels(view: &View<'_>, panels: &[Panel]) -> Result<Vec<Figure>, PageError> {
    let drawn = |&panel: &Panel| {
        Ok(Figure {
            svg: inline_svg(&panel_svg(panel, view, PANEL)?, &view.words(panel)),
            narrow_svg: None,
            caption: caption(panel, view.kind()),
        })
    };
    panels.iter().map(drawn).collect()
}

/// What is said below a panel of captures of this kind.
fn caption(panel: Panel, kind: Kind) -> &'static str {
    match (panel, kind) {
        (Panel::Level, Kind::Logic) => {
            "How often the line changes, over the capture. A tag's bits change it four to nine times a millisecond; a pause is a gap."
        }
        (Panel::Level, _) => {
            "Level of the field over the capture. A steady field is a flat line; green marks the stretches that were used."
        }
        (Panel::Spectrum, kind) if kind.has_carrier() => {
            "Spectrum around the field. The tag's ripple lies in the shaded return bands; single lines are something else."
        }
        (Panel::Spectrum, _) => "Spectrum of the ripple. The tag's lies in the shaded band.",
        (Panel::Phasor, kind) if kind.has_carrier() => {
            "Ripple in the plane of the phasor. Along 0° only the amplitude changes, along 90° only the phase, which an amplitude receiver cannot see."
        }
        (Panel::Phasor, _) => {
            "How often each value occurs. The two load states are two heaps, the narrower the better."
        }
        (Panel::Eye, _) => {
            "Eye of the boundaries: the step at every bit boundary. The gap in the middle is the room that noise has."
        }
        (Panel::Envelope, Kind::Logic) => {
            "A few bits of the line, and the mean telegram over them."
        }
        (Panel::Envelope, _) => "A few bits of the envelope, as an amplitude receiver gets them.",
        (Panel::Telegram | Panel::Beat, _) => "",
    }
}

fn telegram(view: &View<'_>) -> Result<Figure, PageError> {
    let words = view.words(Panel::Telegram);
    let wide = panel_svg(Panel::Telegram, view, TELEGRAM_WIDE)?;
    let narrow = panel_svg(Panel::Telegram, view, TELEGRAM_NARROW)?;
    Ok(Figure {
        svg: inline_svg(&wide, &words),
        narrow_svg: Some(inline_svg(&narrow, &words)),
        caption: if view.is_answer() {
            "The answer in the field's pause, with the bits read from it."
        } else {
            "The mean telegram, all telegrams of the capture laid on each other, with the bits read from it."
        },
    })
}
