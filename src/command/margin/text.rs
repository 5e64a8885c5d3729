//! The table for people, with a small plot.

use std::fmt::Write;

use fieldripple::margin::{Contestant, Levels, Row, Table, level_at};

use super::vary::label;

/// Columns of the plot.
const PLOT: usize = 31;
/// Most columns of a map: more do not fit a terminal.
const MOST_COLUMNS: usize = 14;

/// Shares whose level is looked for.
pub const SHARES: [f64; 2] = [0.5, 0.9];

/// Writing to a string does not fail.
macro_rules! line {
    ($page:expr, $($rest:tt)*) => {{ let _ = writeln!($page, $($rest)*); }};
}

/// Who reads, in words.
fn who(receiver: Contestant, table: &Table) -> &'static str {
    match receiver {
        Contestant::Own if table.receivers().contains(&Contestant::Second) => {
            "fieldripple's receiver at the first reader's antenna"
        }
        Contestant::Own => "fieldripple's receiver",
        Contestant::Second => "fieldripple's receiver at the second reader's antenna",
        Contestant::Reader => "your reader",
        Contestant::Both => "both of them in the same trial",
        Contestant::Plain => "plain amplitude receiver (rectifier, slicer, CRC)",
        Contestant::Limit => "exact limit: told everything but the number and its start",
        Contestant::Yours => "your decoder",
    }
}

/// The whole page.
pub fn page(table: &Table, names: &[String], odds: Option<f64>) -> String {
    let mut page = String::new();
    let rows = table.rows();
    if rows.is_empty() {
        return "nothing was counted\n".into();
    }
    for name in names {
        line!(page, "{name}: {}", label(name));
    }
    for &receiver in table.receivers() {
        let own: Vec<&Row> = rows.iter().filter(|row| row.receiver == receiver).collect();
        line!(page, "");
        match odds.filter(|_| {
            !matches!(
                receiver,
                Contestant::Plain | Contestant::Yours | Contestant::Reader
            )
        }) {
            None => line!(page, "{}", who(receiver, table)),
            Some(odds) => line!(
                page,
                "{}; read = wrong with a probability of {odds:e} at most",
                who(receiver, table)
            ),
        }
        if names.len() == 2 {
            map(&mut page, &own, names);
        } else {
            list(&mut page, &own, names);
        }
    }
    if names.len() == 1 {
        levels(&mut page, table, names);
    }
    page
}

/// A share in per cent; 100 % only for all.
fn percent(share: f64) -> String {
    format!("{:.1}", (100.0 * share * 10.0).floor() / 10.0)
}

fn list(page: &mut String, rows: &[&Row], names: &[String]) {
    let width = rows
        .iter()
        .map(|row| row.values[0].to_string().len())
        .chain([names[0].chars().count()])
        .max()
        .unwrap_or(0);
    line!(
        page,
        "  {:>width$}  captures   read %   95 % interval  wrong  0 %{:>rest$}",
        names[0],
        "100 %",
        rest = PLOT - 1
    );
    for row in rows {
        let (low, high) = row.tally.interval();
        line!(
            page,
            "  {:>width$}  {:>8}  {:>7}  {:>6} …{:>6}  {:>5}  |{}|",
            row.values[0],
            row.tally.trials,
            percent(row.tally.share()),
            percent(low),
            percent(high),
            row.tally.wrong,
            plot(row.tally.share(), low, high)
        );
    }
}

/// `o` the share, `-` its interval.
fn plot(share: f64, low: f64, high: f64) -> String {
    let place = |value: f64| (value * (PLOT - 1) as f64).round() as usize;
    let (from, to, at) = (place(low), place(high), place(share));
    (0..PLOT)
        .map(|column| match column {
            column if column == at => 'o',
            column if (from..=to).contains(&column) => '-',
            _ => ' ',
        })
        .collect()
}

/// Per cent read: first axis downwards, second across.
fn map(page: &mut String, rows: &[&Row], names: &[String]) {
    let axis = |index: usize| {
        let mut values: Vec<f64> = Vec::new();
        for row in rows {
            if !values.contains(&row.values[index]) {
                values.push(row.values[index]);
            }
        }
        values
    };
    let (down, across) = (axis(0), axis(1));
    for columns in across.chunks(MOST_COLUMNS) {
        line!(page, "  read %; down: {}, across: {}", names[0], names[1]);
        let width = columns
            .iter()
            .map(|value| value.to_string().len())
            .max()
            .unwrap_or(0)
            .max(5);
        let first = down
            .iter()
            .map(|value| value.to_string().len())
            .max()
            .unwrap_or(0);
        let _ = write!(page, "  {:first$}", "");
        for value in columns {
            let _ = write!(page, " {:>width$}", value.to_string());
        }
        line!(page, "");
        for value in &down {
            let _ = write!(page, "  {:>first$}", value.to_string());
            for column in columns {
                let cell = rows
                    .iter()
                    .find(|row| row.values == [*value, *column])
                    .map_or("-".into(), |row| percent(row.tally.share()));
                let _ = write!(page, " {cell:>width$}");
            }
            line!(page, "");
        }
    }
    let captures = || rows.iter().map(|row| row.tally.trials);
    let (fewest, most) = (captures().min().unwrap_or(0), captures().max().unwrap_or(0));
    let number = if fewest == most {
        most.to_string()
    } else {
        format!("{fewest} to {most}")
    };
    line!(
        page,
        "  {number} captures a cell; wrong numbers in {} of all captures",
        rows.iter().map(|row| row.tally.wrong).sum::<u64>()
    );
}

/// Points of one receiver on the only axis.
pub fn points(table: &Table, receiver: usize) -> Vec<(f64, fieldripple::margin::Tally)> {
    table
        .points()
        .iter()
        .enumerate()
        .map(|(point, values)| (values[0], table.tally(receiver, point)))
        .collect()
}

fn levels(page: &mut String, table: &Table, names: &[String]) {
    let mut shown = false;
    for (index, &receiver) in table.receivers().iter().enumerate() {
        for share in SHARES {
            let Some(level) = level_at(&points(table, index), share) else {
                continue;
            };
            if !shown {
                line!(page, "");
                line!(page, "Level at which so many are read, with 95 % interval:");
                shown = true;
            }
            let end =
                |end: Option<f64>| end.map_or("beyond".to_string(), |end| format!("{end:.2}"));
            let found = match level {
                Levels::At(level) => format!(
                    "{} = {:.2} ({} … {})",
                    names[0],
                    level.value,
                    end(level.low),
                    end(level.high)
                ),
                Levels::AlwaysAbove => "more than that at every value tried".into(),
                Levels::AlwaysBelow => "less than that at every value tried".into(),
                Levels::Unsteady => "no one level: the share rises and falls".into(),
            };
            line!(
                page,
                "  {:6}  {:2.0} %  {found}",
                receiver.name(),
                100.0 * share
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plot_marks_share_and_interval() {
        let line = plot(0.5, 0.4, 0.6);
        assert_eq!(line.len(), PLOT);
        assert_eq!(line.trim(), "---o---");
        assert_eq!(plot(1.0, 1.0, 1.0).trim_start(), "o");
        assert_eq!(percent(0.99999), "99.9");
        assert_eq!(percent(1.0), "100.0");
    }
}
