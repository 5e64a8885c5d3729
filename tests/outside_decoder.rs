//! `margin --decoder`: programs of other people try the captures; what they do wrong is counted and never fatal.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Instant;

use fieldripple::margin::{Contestant, Table, Tally};
use tempfile::TempDir;

/// One number, known beforehand, so that even `echo` can be right.
const SMALL: &str = "--vary ebn0=0,25 --trials 4 --id 999:5 --seconds 0.05 --rate 300k";

fn margin(folder: &Path, line: &str, decoder: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("margin")
        .args(line.split_whitespace())
        .args(["--decoder", decoder, "--csv", "t.csv"])
        .current_dir(folder)
        .env("RAYON_NUM_THREADS", "2")
        .output()
        .unwrap()
}

/// Counts of the decoder at both values.
fn counted(line: &str, decoder: &str) -> (Vec<Tally>, String) {
    let folder = TempDir::new().unwrap();
    let output = margin(folder.path(), &format!("{SMALL} {line}"), decoder);
    let error = String::from_utf8_lossy(&output.stderr).to_string();
    assert_eq!(output.status.code(), Some(0), "{decoder}: {error}");
    let csv = fs::read_to_string(folder.path().join("t.csv")).unwrap();
    let table = Table::from_csv(&csv).unwrap();
    assert_eq!(table.receivers(), [Contestant::Own, Contestant::Yours]);
    let page = String::from_utf8(output.stdout).unwrap();
    ((0..2).map(|point| table.tally(1, point)).collect(), page)
}

#[test]
#[cfg(unix)]
fn right_wrong_and_no_answers_are_counted() {
    // What is printed, and what each capture counts as: read, wrong.
    for (decoder, read, wrong) in [
        ("echo 999000000000005", 4, 0),
        ("echo 999:5", 4, 0),
        ("echo '999 5'", 4, 0),
        ("echo 999:6", 0, 4),
        ("true", 0, 0),
        // The honest no of many programs.
        ("false", 0, 0),
        ("sh -c 'echo 999:5; echo 999:6'", 4, 4),
    ] {
        for tally in counted("", decoder).0 {
            let found = (tally.trials, tally.read, tally.wrong, tally.failed);
            assert_eq!(found, (4, read, wrong, [0; 3]), "{decoder}");
        }
    }
}

#[test]
#[cfg(unix)]
fn failures_are_counted_apart_and_end_nothing() {
    for (line, decoder, failed) in [
        ("--decoder-time 0.2", "sleep 30", [4, 0, 0]),
        ("", "sh -c 'exit 3'", [0, 4, 0]),
        ("", "sh -c 'kill -9 $$'", [0, 4, 0]),
        ("", "sh -c 'echo Traceback >&2; exit 1'", [0, 4, 0]),
        ("", "sh -c 'echo 999:5; exit 3'", [0, 4, 0]),
        ("", "echo number: 999:5", [0, 0, 4]),
        ("", "head -c 100000 /dev/zero", [0, 0, 4]),
        // Staying: an end is a crash, silence a time-out.
        ("--decoder-stays", "true", [0, 4, 0]),
        ("--decoder-stays --decoder-time 0.2", "sleep 30", [4, 0, 0]),
        (
            "--decoder-stays",
            "sh -c 'while read l; do echo none; done'",
            [0, 0, 4],
        ),
    ] {
        let start = Instant::now();
        for tally in counted(line, decoder).0 {
            assert_eq!((tally.read, tally.failed), (0, failed), "{line} {decoder}");
        }
        assert!(
            start.elapsed().as_secs() < 120,
            "{decoder}: {:?}",
            start.elapsed()
        );
    }
}

/// The decoder sees what was captured: samples and rate in every form, by file, by standard input and by line.
#[test]
#[cfg(unix)]
fn samples_come_in_every_form() {
    // 15 000 samples: 16-bit WAV, NPY and bare floats have these sizes.
    for (line, decoder) in [
        (
            "",
            "sh -c 'test $(wc -c < {file}) = 30044 && test {rate} = 300000 && echo 999:5'",
        ),
        ("", "sh -c 'test $(wc -c) = 30044 && echo 999:5'"),
        (
            "--decoder-input raw",
            "sh -c 'test $(wc -c) = 60000 && echo 999:5'",
        ),
        (
            "--decoder-input npy",
            "sh -c 'test $(wc -c < {file}) = 60128 && echo 999:5'",
        ),
        (
            "--decoder-stays",
            "sh -c 'while read f r; do test $(wc -c < $f) = 30044 -a $r = 300000 && echo 999:5; done'",
        ),
        (
            "--decoder-stays",
            "sh -c 'while read f r; do echo 999:6,999:5; done'",
        ),
    ] {
        for tally in counted(line, decoder).0 {
            assert_eq!((tally.read, tally.failed), (4, [0; 3]), "{line} {decoder}");
        }
    }
}

#[test]
#[cfg(unix)]
fn the_difference_is_that_of_the_same_captures() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    let line = "--vary ebn0=25 --trials 20 --id 999:5 --seconds 0.05 --rate 300k";
    let output = margin(at, &format!("{line} --json"), "echo 999:6");
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let row = &value["rows"][1];
    assert_eq!(row["receiver"], "yours");
    assert_eq!((&row["both"], &row["wrong"]), (&0.into(), &20.into()));
    assert_eq!(row["difference"], -1.0);
    // All 20 read by one and none by the other: n·(1 + δ)/(1 − δ)... is solved by (δ + 1)·n = z²·(1 − δ²)/(1 + δ), so
    // δ = (z² − n)/(z² + n) = −0.6777.
    let high = row["difference_high95"].as_f64().unwrap();
    let z2 = 1.959_963_984_540_054f64.powi(2);
    assert!((high - (z2 - 20.0) / (z2 + 20.0)).abs() < 1e-6, "{high}");
    let page = String::from_utf8(margin(at, line, "echo 999:6").stdout).unwrap();
    assert!(page.contains("yours less fieldripple's"), "{page}");
    // Another decoder's table is not gone on with.
    let other = margin(at, &format!("{line} --resume"), "echo 999:7");
    let error = String::from_utf8(other.stderr).unwrap();
    assert_eq!(other.status.code(), Some(2));
    assert!(error.contains("the decoders differ"), "{error}");
}

#[test]
fn what_cannot_be_run_is_refused_before_the_first_trial() {
    let folder = TempDir::new().unwrap();
    for (line, decoder, want) in [
        (
            "",
            "no-such-program-anywhere {file}",
            "no-such-program-anywhere cannot be started",
        ),
        ("", "echo 'x", "quote"),
        ("", "", "no program named"),
        ("--decoder-stays", "cat {file}", "leave {file} out"),
    ] {
        let output = margin(folder.path(), &format!("{SMALL} {line}"), decoder);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{decoder}: {error}");
        assert!(
            error.contains(want) && error.lines().count() == 1,
            "{decoder}: {error}"
        );
        assert!(!folder.path().join("t.csv").exists());
    }
}

/// The decoder of the README reads; both ways of running it say the same. Needs python3 with numpy.
#[test]
fn the_readmes_decoder_reads() {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let numpy = Command::new(&python).args(["-c", "import numpy"]).output();
    if !numpy.is_ok_and(|output| output.status.success()) {
        println!("not run: {python} with numpy is missing");
        return;
    }
    let readme = fs::read_to_string("README.md").unwrap();
    let mut blocks = readme
        .split("```python\n")
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap());
    let block = blocks
        .find(|block| block.contains("print(number(sys.argv[1]))"))
        .unwrap();
    let lines = block.lines().filter(|line| !line.is_empty()).count();
    assert!(lines <= 30, "{lines} lines");
    let staying = blocks.find(|block| block.contains("sys.stdin")).unwrap();
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("mine.py"), block).unwrap();
    let stays = block.replace("print(number(sys.argv[1]))\n", staying);
    fs::write(folder.path().join("stays.py"), stays).unwrap();
    let line = "--vary ebn0=-12,15 --trials 6 --seconds 0.1 --rate 500k";
    let counts: Vec<(Tally, Tally)> = [
        (String::new(), format!("{python} mine.py {{file}}")),
        (" --decoder-stays".into(), format!("{python} stays.py")),
    ]
    .iter()
    .map(|(more, decoder)| {
        let output = margin(folder.path(), &format!("{line}{more}"), decoder);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let csv = fs::read_to_string(folder.path().join("t.csv")).unwrap();
        let table = Table::from_csv(&csv).unwrap();
        (table.tally(1, 0), table.tally(1, 1))
    })
    .collect();
    assert_eq!(counts[0], counts[1]);
    let (weak, strong) = counts[0];
    assert_eq!((weak.read, weak.failed), (0, [0; 3]));
    assert_eq!((strong.read, strong.wrong, strong.both), (6, 0, 6));
}
