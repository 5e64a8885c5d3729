//! What the meter looks like.

use fieldripple::receiver::NOMINAL_HZ;
use ratatui::Frame;
use ratatui::style::{Color, Style, Stylize};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::lines::no_samples;
use super::shown::Shown;
use fieldripple::decode::wording::significant;

/// Ends of the scale of decibels: half of all telegrams of a second are unread at 0, and 40 dB is a tag on the antenna.
const SCALE_DB: (f64, f64) = (-20.0, 40.0);
/// Characters of the scale, two decibels each.
const CELLS: usize = 30;

/// Seconds without samples that are worth saying.
const SILENT_S: u64 = 1;

/// Draws all of it.
pub fn draw(shown: &Shown, frame: &mut Frame<'_>) {
    let page = Paragraph::new(page(shown)).wrap(Wrap { trim: false });
    frame.render_widget(page, frame.area());
}

/// No colour where NO_COLOR says so (no-color.org: set and not empty).
fn colour(colour: Color) -> Style {
    if std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) {
        Style::new()
    } else {
        Style::new().fg(colour)
    }
}

fn page(shown: &Shown) -> Vec<Line<'static>> {
    let state = shown.state.as_ref();
    let time = state.map_or("waiting for samples".into(), |state| {
        format!("{:.2} s", state.time_s)
    });
    let mut head = vec![
        Span::raw(shown.name.clone()).bold(),
        Span::raw(format!("   {time}   visits ended: {}", shown.visits)),
    ];
    if shown.held {
        head.push(Span::styled("   held", colour(Color::Yellow)));
    }
    if shown.without.as_secs() >= SILENT_S {
        let text = format!("   {}", no_samples(shown.without));
        head.push(Span::styled(text, colour(Color::Red)));
    }
    let row = |label: &str, text: String| {
        Line::from(vec![
            Span::raw(format!("{label:<10}")).bold(),
            Span::raw(text),
        ])
    };
    let margin_db = state.and_then(|state| state.margin_db);
    let number = match (state.and_then(|state| state.number), &shown.last_number) {
        (Some(number), _) => Span::styled(number.to_string(), colour(Color::Green)).bold(),
        (None, Some((number, time_s))) => Span::raw(format!("– (last {number}, at {time_s:.1} s)")),
        (None, None) => Span::raw("–"),
    };
    let finding = state.and_then(|state| state.finding.clone());
    vec![
        Line::from(head),
        Line::default(),
        row("field", field(shown)),
        row("ripple", ripple(shown)),
        row("to spare", bar(margin_db, shown.peak_db)),
        Line::from(vec![Span::raw("number    ").bold(), number]),
        row(
            "finding",
            finding.map_or("–".into(), |(code, text)| format!("[{code}] {text}")),
        ),
        Line::default(),
        Line::raw("q end   space hold   r reset the peak"),
    ]
}

fn field(shown: &Shown) -> String {
    let Some(state) = shown.state.as_ref().filter(|state| state.field) else {
        return "none".into();
    };
    let level = state.amplitude.map_or("there".into(), |amplitude| {
        format!("{}{} peak", significant(amplitude), shown.unit)
    });
    let frequency = state.frequency_hz.map_or(String::new(), |hz| {
        let ppm = (hz / NOMINAL_HZ - 1.0) * 1e6;
        format!(", {hz:.1} Hz ({ppm:+.0} ppm)")
    });
    format!("{level}{frequency}")
}

fn ripple(shown: &Shown) -> String {
    let Some(state) = &shown.state else {
        return "–".into();
    };
    let depth = state
        .depth
        .map(|depth| format!("{} % of the field", significant(100.0 * depth)));
    let angle = state
        .angle_deg
        .map(|angle_deg| format!("angle {angle_deg:.0}°"));
    match (depth, angle) {
        (None, None) => "–".into(),
        (depth, angle) => depth
            .into_iter()
            .chain(angle)
            .collect::<Vec<_>>()
            .join(", "),
    }
}

/// A scale with the value as a bar and the peak as a mark on it.
fn bar(margin_db: Option<f64>, peak_db: Option<f64>) -> String {
    let cell = |db: f64| {
        let share = (db - SCALE_DB.0) / (SCALE_DB.1 - SCALE_DB.0);
        ((share * CELLS as f64).round() as usize).min(CELLS - 1)
    };
    let filled = margin_db.map(|db| cell(db.max(SCALE_DB.0)));
    let peak = peak_db.map(|db| cell(db.max(SCALE_DB.0)));
    let zero = cell(0.0);
    let scale: String = (0..CELLS)
        .map(|index| match index {
            _ if peak == Some(index) => '▌',
            _ if filled.is_some_and(|filled| index <= filled) => '█',
            _ if index == zero => '0',
            _ => '·',
        })
        .collect();
    let value = |db: Option<f64>| db.map_or("   –  ".into(), |db| format!("{db:+5.1} dB"));
    format!("{}  {scale}  peak {}", value(margin_db), value(peak_db))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// −20 and 40 dB are the ends, each cell two decibels.
    #[test]
    fn the_bar_grows_with_the_margin() {
        let filled = |db: f64| bar(Some(db), None).matches('█').count();
        assert_eq!((filled(-50.0), filled(0.0), filled(90.0)), (1, 11, CELLS));
        assert!(filled(10.0) < filled(12.0));
        assert!(bar(None, Some(12.0)).contains('▌'));
    }
}
