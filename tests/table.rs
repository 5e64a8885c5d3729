//! Many captures at once, from outside: folders, `--brief`, `--table`, `--visits`. Captures come from `synth`.

use std::fs;
use std::process::{Command, Output};

use tempfile::TempDir;

struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        let bench = Self(TempDir::new().unwrap());
        fs::create_dir(bench.0.path().join("in")).unwrap();
        bench
    }

    fn run(&self, line: &str) -> Output {
        Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args(line.split_whitespace())
            .current_dir(self.0.path())
            .output()
            .unwrap()
    }

    fn synth(&self, line: &str) {
        let output = self.run(&format!("synth {line} --rate 400k"));
        assert!(output.status.success(), "{line}: {output:?}");
    }

    fn text(&self, name: &str) -> String {
        fs::read_to_string(self.0.path().join(name)).unwrap()
    }

    /// Rows of a CSV file without its titles, cell by cell.
    fn rows(&self, name: &str) -> Vec<Vec<String>> {
        let mut reader = csv::Reader::from_path(self.0.path().join(name)).unwrap();
        let row = |row: csv::StringRecord| row.iter().map(String::from).collect();
        reader
            .records()
            .map(|record| row(record.unwrap()))
            .collect()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Each file of a folder is a row, in the order of names; what lies beside captures is none, and one that is broken stops nothing.
#[test]
fn a_folder_is_a_table() {
    let bench = Bench::new();
    bench.synth("in/a.wav --id 999:5 --seconds 0.1 --ebn0 12");
    bench.synth("in/b.wav --seconds 0.1 --depth 0.00001 --id 999:6 --ebn0 -30");
    bench.synth("in/d.wav --id 999:7 --id 999:8 --seconds 0.3 --ebn0 15");
    fs::write(bench.0.path().join("in/.hidden.wav"), "RIFF").unwrap();
    fs::write(bench.0.path().join("in/README"), "\u{1}\u{2} no capture").unwrap();
    fs::write(bench.0.path().join("in/c.wav"), "RIFF").unwrap();
    let output = bench.run("decode in --brief --table t.csv");
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let (shown, errors) = (text(&output.stdout), text(&output.stderr));
    assert_eq!(shown.lines().count(), 4, "{shown}");
    assert!(
        shown.lines().nth(1).unwrap().contains("999 000000000005"),
        "{shown}"
    );
    assert!(
        errors.contains("c.wav") && errors.contains("README"),
        "{errors}"
    );
    let rows = bench.rows("t.csv");
    let told: Vec<(&str, &str)> = rows
        .iter()
        .map(|row| (row[0].as_str(), row[1].as_str()))
        .collect();
    assert_eq!(
        told,
        [
            ("in/a.wav", "read"),
            ("in/b.wav", "unread"),
            ("in/c.wav", "unreadable"),
            ("in/d.wav", "read")
        ]
    );
    assert!(rows[0][2].parse::<f64>().unwrap() > 0.0, "{rows:?}");
    assert_eq!(
        (rows[0][4].as_str(), rows[0][5].as_str()),
        ("999000000000005", "fdx-b")
    );
    assert_eq!((rows[1][4].as_str(), rows[1][2].as_str()), ("", ""));
    assert!(rows[2][2..].iter().all(String::is_empty));
    assert_eq!(
        (rows[3][6].as_str(), rows[3][12].as_str()),
        ("2", "several-tags")
    );
    assert!(
        bench
            .text("t.csv")
            .starts_with("capture,verdict,margin_db,margin_deviation_db,")
    );
}

#[test]
fn visits_of_all_captures_are_one_list() {
    let bench = Bench::new();
    bench.synth("a.wav --id 999:5 --seconds 0.6 --ebn0 12");
    bench.synth("b.wav --id 999:6 --seconds 0.4 --ebn0 12");
    let output = bench.run("decode a.wav b.wav --visits v.csv --json");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let rows = bench.rows("v.csv");
    assert_eq!(rows.len(), 2, "{rows:?}");
    for (row, (name, id, to_s)) in rows.iter().zip([
        ("a.wav", "999000000000005", 0.6),
        ("b.wav", "999000000000006", 0.4),
    ]) {
        assert_eq!((row[0].as_str(), row[3].as_str()), (name, id));
        assert!(row[1].parse::<f64>().unwrap() < 0.02, "{row:?}");
        assert!(
            (row[2].parse::<f64>().unwrap() - to_s).abs() < 0.02,
            "{row:?}"
        );
    }
    let line: serde_json::Value =
        serde_json::from_str(text(&output.stdout).lines().next().unwrap()).unwrap();
    assert_eq!(line["visits"].as_array().unwrap().len(), 1);
    assert_eq!(line["readings"][0]["stays"].as_array().unwrap().len(), 1);
    assert!(line["margin_db"].as_f64().unwrap() > 0.0);
}

#[test]
fn what_cannot_be_is_refused_in_one_line() {
    let bench = Bench::new();
    bench.synth("a.wav --id 999:5 --seconds 0.1 --ebn0 12");
    for (line, part) in [
        ("decode in", "no captures in this folder"),
        ("decode a.wav --table a.wav", "replace the capture"),
        ("decode a.wav --visits a.wav", "replace the capture"),
        ("decode a.wav --table nowhere/t.csv", "nowhere"),
        ("decode --follow a.wav --brief", "--brief"),
        ("decode --follow a.wav --table t.csv", "--table"),
    ] {
        let output = bench.run(line);
        let errors = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{line}: {errors}");
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(errors.contains(part), "{part}: {errors}");
    }
    // The capture is what it was.
    assert!(bench.run("decode a.wav").status.success());
}
