//! A compact picture of a capture for terminals: the field over time, and the eye of the boundary signs.

use fieldripple::receiver::Reception;

/// Columns of a row.
const COLUMNS: usize = 64;

/// Eighths of a line, from none to a full one.
const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Rows with their labels. No row where there is nothing to show.
pub fn rows(reception: &Reception) -> Vec<(&'static str, String)> {
    let mut rows = Vec::new();
    if let Some(seen) = &reception.seen
        && reception.kind.has_carrier()
        && !seen.cycles.values.is_empty()
    {
        let values = &seen.cycles.values;
        let levels: Vec<f64> = (0..COLUMNS)
            .map(|column| {
                let from = column * values.len() / COLUMNS;
                let to = ((column + 1) * values.len() / COLUMNS).clamp(from + 1, values.len());
                let sum: f64 = values[from.min(to - 1)..to]
                    .iter()
                    .map(|v| f64::from(v.norm()))
                    .sum();
                sum / (to - from.min(to - 1)) as f64
            })
            .collect();
        rows.push((
            "level",
            format!("{}| over time, full height = highest", bars(&levels)),
        ));
    }
    let bare = reception
        .survey
        .as_ref()
        .and_then(|survey| survey.bare.as_ref());
    if let Some(bare) = bare {
        let largest = bare.over_noise.iter().fold(0.0f32, |m, z| m.max(z.abs()));
        let mut counts = vec![0.0; COLUMNS];
        for z in bare.over_noise {
            let place = 0.5 * (f64::from(z / largest.max(f32::MIN_POSITIVE)) + 1.0);
            counts[((place * COLUMNS as f64) as usize).min(COLUMNS - 1)] += 1.0;
        }
        let noise = 0.5 * COLUMNS as f32 / largest.max(f32::MIN_POSITIVE);
        rows.push((
            "eye",
            format!(
                "{}| boundary signs, -1 left, +1 right; noise ±{:.1} columns",
                bars(&counts),
                noise
            ),
        ));
    }
    rows
}

/// Bars relative to the largest value; what is not nothing shows at least an eighth.
fn bars(values: &[f64]) -> String {
    let largest = values.iter().copied().fold(0.0, f64::max);
    let inside: String = values
        .iter()
        .map(|&value| {
            let share = if largest > 0.0 { value / largest } else { 0.0 };
            let eighths = (8.0 * share).round() as usize;
            BARS[if value > 0.02 * largest {
                eighths.clamp(1, 8)
            } else {
                0
            }]
        })
        .collect();
    // Blanks of a bar are no places to wrap at.
    format!("|{}", inside.replace(' ', "\u{a0}"))
}
