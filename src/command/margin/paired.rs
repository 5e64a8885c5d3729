//! Your decoder beside the program's own receiver, capture by capture.

use std::fmt::Write;

use fieldripple::margin::{Contestant, Failure, Table};
use serde_json::{Map, Value, json};

/// Lines for people; nothing where nobody from outside tried.
pub fn lines(table: &Table, names: &[String]) -> String {
    let mut page = String::new();
    let Some(yours) = place(table) else {
        return page;
    };
    page.push_str(
        "\nThe same captures: yours less fieldripple's, in points of a hundred, with 95 % interval\n",
    );
    let values: Vec<String> = table
        .points()
        .iter()
        .map(|values| {
            values
                .iter()
                .map(f64::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        })
        .collect();
    let name = names.join(", ");
    let width = values
        .iter()
        .map(String::len)
        .chain([name.len()])
        .max()
        .unwrap_or(0);
    let _ = writeln!(
        page,
        "  {name:>width$}    both  own only  yours only   difference       interval  timed out  crashed  garbage"
    );
    for (point, value) in values.iter().enumerate() {
        let (own, other) = (table.tally(0, point), table.tally(yours, point));
        if other.trials == 0 {
            continue;
        }
        let (low, high) = other.difference(&own);
        let found = other.share() - own.share();
        let [timed_out, crashed, garbage] = other.failed;
        let _ = writeln!(
            page,
            "  {value:>width$}  {:>6}  {:>8}  {:>10}  {:>+11.1}  {:>+6.1} …{:>+6.1}  {timed_out:>9}  {crashed:>7}  {garbage:>7}",
            other.both,
            own.read - other.both.min(own.read),
            other.read - other.both,
            100.0 * found,
            100.0 * low,
            100.0 * high,
        );
    }
    page
}

fn place(table: &Table) -> Option<usize> {
    let receivers = table.receivers();
    receivers.iter().position(|&one| one == Contestant::Yours)
}

/// Keys that a row of an outside decoder has besides.
pub fn keys(table: &Table, values: &[f64], row: &mut Map<String, Value>) {
    let point = table.points().iter().position(|one| one == values);
    let (Some(yours), Some(point)) = (place(table), point) else {
        return;
    };
    let (own, other) = (table.tally(0, point), table.tally(yours, point));
    let (low, high) = other.difference(&own);
    row.insert("both".into(), json!(other.both));
    for (failure, count) in Failure::ALL.iter().zip(other.failed) {
        row.insert(failure.name().into(), json!(count));
    }
    row.insert("difference".into(), json!(other.share() - own.share()));
    row.insert("difference_low95".into(), json!(low));
    row.insert("difference_high95".into(), json!(high));
}
