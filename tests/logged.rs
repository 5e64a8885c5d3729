//! `margin --log`: what a reader printed, counted by what was played to it at the time.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use tempfile::TempDir;

fn margin(at: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("margin")
        .args(line.split_whitespace())
        .current_dir(at)
        .output()
        .unwrap()
}

fn rows(at: &Path, line: &str) -> (Vec<String>, String) {
    let output = margin(at, &format!("{line} --csv out.csv"));
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{line}: {said}");
    let table = fs::read_to_string(at.join("out.csv")).unwrap();
    let rows = table.lines().skip(1);
    // Receiver, value, trials, read, wrong; shares follow from those.
    let rows = rows.map(|row| row.splitn(6, ',').take(5).collect::<Vec<_>>().join(","));
    (rows.collect(), said)
}

const PLAYED: &str = "from,to,tone.1.level_db\n0,10,-40\n10,20,-20\n25,35,-40\n";

#[test]
fn a_trial_is_read_in_which_the_number_came() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("played.csv"), PLAYED).unwrap();
    // In the first row twice and once another one; at the second's very begin; between the rows; a word.
    fs::write(
        at.join("printed.csv"),
        "seconds,number\n1,999000000000007\n2.5,999:7\n3,999:8\n10,999 7\n22,999:7\n30,hello\n",
    )
    .unwrap();
    let counted = "--log printed.csv --timetable played.csv --id 999:7";
    let (whole, said) = rows(at, counted);
    assert_eq!(whole, ["reader,-40,2,1,1", "reader,-20,1,1,0"]);
    assert!(said.contains("1 of 6 rows are no number"), "{said}");
    assert!(
        said.contains("1 of 6 rows are at times that no trial"),
        "{said}"
    );
    // Ten trials of a second each.
    let (cut, _) = rows(at, &format!("{counted} --every 1"));
    assert_eq!(cut, ["reader,-40,20,2,1", "reader,-20,10,1,0"]);
    // Trials of three seconds: three in each row, the rest is left.
    let (cut, _) = rows(at, &format!("{counted} --every 3"));
    assert_eq!(cut, ["reader,-40,6,1,1", "reader,-20,3,1,0"]);
}

/// The same in clock times over midnight, and with dates over the end of a month.
#[test]
fn clocks_and_dates_count_like_seconds() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    for (from, to, next, end, printed) in [
        ("23:59:50", "00:00:00", "00:00:00", "00:00:10", "00:00:03.5"),
        (
            "2028-02-29 23:59:50",
            "2028-03-01 00:00:00",
            "2028-03-01T00:00:00",
            "2028-03-01T00:00:10",
            "2028-03-01 00:00:03.5",
        ),
    ] {
        let played = format!("from;to;depth\r\n{from};{to};0.01\r\n{next};{end};0.001\r\n");
        fs::write(at.join("played.csv"), played).unwrap();
        fs::write(at.join("printed.csv"), format!("{printed};999:7\r\n")).unwrap();
        let (counted, said) = rows(at, "--log printed.csv --timetable played.csv --id 999:7");
        assert_eq!(
            counted,
            ["reader,0.01,1,0,0", "reader,0.001,1,1,0"],
            "{said}"
        );
        assert!(said.is_empty(), "{said}");
    }
}

#[test]
fn what_cannot_be_counted_is_refused_in_one_line() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("printed.csv"), "1,999:7\n").unwrap();
    for (played, why) in [
        ("when,till,x\n0,1,2\n", "the first row is 'when,till,x'"),
        ("from,to\n0,1\n", "the first row is"),
        ("from,to,x\n", "no row below"),
        ("from,to,x\n0,1\n", "line 2: 2 columns"),
        ("from,to,x\n5,1,2\n", "line 2: it ends before it begins"),
        ("from,to,x\n0,5,2\n4,6,3\n", "overlap"),
        ("from,to,x\n0,5,much\n", "'much' is not a number"),
        ("from,to,x\n0,noon,1\n", "'noon' is no time"),
        (
            "from,to,x\n0,10:00:00,1\n",
            "allowed is one of them throughout",
        ),
        (
            "from,to,x\n10:00:00,10:00:01,1\n",
            "allowed is one of them throughout",
        ),
    ] {
        fs::write(at.join("played.csv"), played).unwrap();
        let output = margin(at, "--log printed.csv --timetable played.csv --id 999:7");
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{played}: {said}");
        assert!(
            said.contains(why) && said.trim().lines().count() == 1,
            "{said}"
        );
    }
}
