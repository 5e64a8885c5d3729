//! `margin --keep` and `--from`: captures for decoders of any kind, and the count of what those read.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use fieldripple::decode::{Settings, decode_file};
use tempfile::TempDir;

fn margin(at: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("margin")
        .args(line.split_whitespace())
        .current_dir(at)
        .output()
        .unwrap()
}

fn done(at: &Path, line: &str) -> String {
    let output = margin(at, line);
    assert_eq!(output.status.code(), Some(0), "{line}: {output:?}");
    String::from_utf8(output.stderr).unwrap()
}

fn refused(at: &Path, line: &str, why: &str) {
    let output = margin(at, line);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{line}: {said}");
    assert!(
        said.contains(why) && said.trim().lines().count() == 1,
        "{said}"
    );
}

/// What the receiver reads in the kept files is what it read when they were made; rows in any of the forms count alike.
#[test]
fn what_is_read_in_kept_captures_is_counted() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    done(
        at,
        "--vary ebn0=-1,1,6 --trials 6 --seconds 0.07 --rate 500k --seed 9 --keep captures",
    );
    let index = fs::read_to_string(at.join("captures/index.csv")).unwrap();
    let mut lines = index.lines();
    assert_eq!(
        lines.next(),
        Some("file,ebn0,trial,rate_hz,sent,own_read,own_wrong")
    );
    let mut answers = String::from("name;what was read\r\n");
    let mut read = 0;
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let decoded = decode_file(at.join("captures").join(cells[0]), &Settings::new()).unwrap();
        let numbers = decoded.identities();
        let number = numbers.first().map_or(String::new(), |identity| {
            format!("\"{} {}\"", identity.country, identity.national)
        });
        assert_eq!(
            cells[5],
            if numbers.is_empty() { "0" } else { "1" },
            "{line}"
        );
        read += numbers.len();
        answers += &format!("elsewhere/{};{number}\r\n", cells[0]);
    }
    assert!((7..18).contains(&read), "{read}");
    fs::write(at.join("read.csv"), &answers).unwrap();
    let notes = done(
        at,
        "--from captures --answers read.csv --csv both.csv --figure both.svg",
    );
    assert_eq!(notes, "");
    let table = fs::read_to_string(at.join("both.csv")).unwrap();
    let of = |who: &str| -> Vec<String> {
        let rows = table.lines().filter_map(|row| row.strip_prefix(who));
        rows.map(str::to_string).collect()
    };
    assert_eq!(of("own,").len(), 3);
    assert_eq!(of("own,"), of("yours,"), "{table}");
}

/// One other number, one word, one capture that nobody named, and one that there is not.
#[test]
fn other_answers_are_counted_apart() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    done(
        at,
        "--vary ebn0=20 --trials 4 --seconds 0.05 --rate 500k --id 999:5 --keep captures",
    );
    fs::write(
        at.join("read.csv"),
        "1-1.wav,999:6\n1-2.wav,none\n1-4.wav,999000000000005\n7-7.wav,999:5\n",
    )
    .unwrap();
    let notes = done(at, "--from captures --answers read.csv --csv both.csv");
    assert!(
        notes.contains("1 of 4 captures have no row in read.csv"),
        "{notes}"
    );
    assert!(notes.contains("7-7.wav is not in"), "{notes}");
    let table = fs::read_to_string(at.join("both.csv")).unwrap();
    assert!(table.contains("\nyours,20,4,1,1,0.25"), "{table}");
    assert!(table.trim_end().ends_with(",1,0,0,1"), "{table}");

    refused(
        at,
        "--vary ebn0=20 --keep captures",
        "captures: the folder is not empty; give a new one",
    );
    refused(
        at,
        "--vary ebn0=0:20:1 --trials 100000 --keep more",
        "allowed are 4",
    );
    assert!(!at.join("more").exists());
    fs::write(at.join("captures/index.csv"), "a,b\n1,2\n").unwrap();
    refused(
        at,
        "--from captures --answers read.csv",
        "not a list of captures that --keep wrote",
    );
}
