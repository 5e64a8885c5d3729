//! What happens when a run is cut short, a file cannot be written, or an input is absurd: one clear line, and nothing lost or half there.

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// Longest any of these may take; a hang takes for ever.
const PATIENCE: Duration = Duration::from_secs(120);

fn program(folder: &Path, line: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fieldripple"));
    command
        .args(line.split_whitespace())
        .current_dir(folder)
        .env("RAYON_NUM_THREADS", "1")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn ended(mut child: Child, line: &str) -> Output {
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > PATIENCE {
            child.kill().unwrap();
            panic!("{line}: still running");
        }
        sleep(Duration::from_millis(10));
    }
    child.wait_with_output().unwrap()
}

fn run(folder: &Path, line: &str) -> Output {
    ended(program(folder, line).spawn().unwrap(), line)
}

fn refused(folder: &Path, line: &str) -> String {
    let output = run(folder, line);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{line}: {error}");
    assert_eq!(error.lines().count(), 1, "{line}: {error}");
    error
}

fn wait_for(what: &str, mut there: impl FnMut() -> bool) {
    let start = Instant::now();
    while !there() {
        assert!(start.elapsed() < PATIENCE, "no {what}");
        sleep(Duration::from_millis(2));
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

const TABLE: &str = "receiver,value,trials,read,wrong,share,low95,high95\nown,0,4,2,0,0,0,0\n";

fn plan(vary: &str, part: &str) -> String {
    format!(
        r#"{{"schema":"fieldripple.margin-plan/1","program":"x","vary":{vary},"settings":"","scenario":null,"seed":1,"odds":1e-5,"until":null,"receivers":["own"],"part":{part},"trials":4,"about":""}}"#
    )
}

#[test]
fn a_plan_of_another_number_of_axes_is_refused() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("t.csv"), TABLE).unwrap();
    for vary in [r#"["ebn0","depth"]"#, "[]"] {
        fs::write(at.join("t.csv.plan.json"), plan(vary, "null")).unwrap();
        let error = refused(at, "margin --gather t.csv");
        assert!(error.contains("and the table 1"), "{error}");
    }
}

#[test]
fn a_part_of_countless_parts_is_refused() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("t.csv"), TABLE).unwrap();
    for part in [
        "1/18446744073709551615",
        "1/18446744073709551616",
        "0/3",
        "x",
    ] {
        let text = plan(r#"["ebn0"]"#, &format!("\"{part}\""));
        fs::write(at.join("t.csv.plan.json"), text).unwrap();
        let error = refused(at, "margin --gather t.csv");
        assert!(error.contains("at most 10000"), "{error}");
    }
    // Many that are allowed are named in a line that can be read.
    let text = plan(r#"["ebn0"]"#, "\"1/10000\"");
    fs::write(at.join("t.csv.plan.json"), text).unwrap();
    let output = run(at, "margin --gather t.csv");
    let note = String::from_utf8(output.stderr).unwrap();
    assert!(
        note.contains("and 9989 more are missing") && note.len() < 300,
        "{note}"
    );
}

/// Two antennas in one place, or all but: their coupling has no finite value.
#[test]
fn coils_in_one_place_are_refused_at_once() {
    let folder = TempDir::new().unwrap();
    for distance in ["0", "1e-308", "1e-200", "1e-20"] {
        let line = format!("synth a.wav --seconds 0.01 --set second_reader.distance_mm={distance}");
        let error = refused(folder.path(), &line);
        assert!(
            error.contains("mutual inductances are impossible"),
            "{error}"
        );
    }
    assert!(names(folder.path()).is_empty());
}

#[test]
fn times_beyond_all_clocks_give_no_numbers_that_are_none() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    let mut text = String::from("time,voltage\n");
    for i in 0..20_000 {
        let value = (f64::from(i) * 0.843).sin();
        text += &format!("{i}e300,{value:.5}\n");
    }
    fs::write(at.join("late.csv"), text).unwrap();
    for line in ["decode late.csv", "decode late.csv --json"] {
        let output = run(at, line);
        let page = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(1), "{page}");
        assert!(!page.to_lowercase().contains("nan"), "{page}");
    }
}

#[cfg(unix)]
#[test]
fn a_run_that_is_told_to_stop_leaves_nothing_half_written() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("bystander.part"), "").unwrap();
    for signal in ["-INT", "-TERM"] {
        let line = "synth long.csv --rate 1M --seconds 60 --ebn0 10";
        let child = program(at, line).spawn().unwrap();
        wait_for("file begun", || names(at).len() > 1);
        let kill = Command::new("kill")
            .args([signal, &child.id().to_string()])
            .status();
        assert!(kill.unwrap().success());
        let output = ended(child, line);
        assert_eq!(output.status.code(), Some(130), "{output:?}");
        assert_eq!(names(at), ["bystander.part"]);
    }
}

/// A folder stands where the truth should go, as good as a disk that is full.
#[test]
fn no_capture_without_its_truth() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::create_dir(at.join("a.wav.truth.json")).unwrap();
    fs::create_dir(at.join("b.wav.truth.json")).unwrap();
    for line in [
        "synth a.wav --seconds 0.05",
        "synth b.wav --seconds 0.05 --set tag.1.distance_mm=60",
    ] {
        let error = refused(at, line);
        assert!(error.contains(".wav.truth.json"), "{error}");
    }
    assert_eq!(names(at), ["a.wav.truth.json", "b.wav.truth.json"]);
}

#[test]
fn what_was_counted_is_printed_even_if_it_cannot_be_kept() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::create_dir(at.join("in")).unwrap();
    let line = "margin --vary ebn0=3 --trials 200 --seconds 0.05 --rate 300k --csv in/t.csv";
    let child = program(at, line).spawn().unwrap();
    wait_for("table begun", || at.join("in/t.csv").exists());
    fs::remove_dir_all(at.join("in")).unwrap();
    let output = ended(child, line);
    let (page, error) = (
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    );
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.contains("in/t.csv"), "{error}");
    assert!(page.contains("     3       200 "), "{page}");
}

#[test]
fn a_report_is_written_even_if_nobody_reads_the_output() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    for name in ["a.wav", "b.wav"] {
        let made = run(at, &format!("synth {name} --seconds 0.1 --rate 300k"));
        assert_eq!(made.status.code(), Some(0));
    }
    let line = "decode a.wav b.wav --report r.html";
    let mut child = program(at, line).spawn().unwrap();
    drop(child.stdout.take());
    let output = ended(child, line);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    let page = fs::read_to_string(at.join("r.html")).unwrap();
    assert!(page.contains("a.wav") && page.contains("b.wav"));
}
