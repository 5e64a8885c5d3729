//! `decode --follow` from outside: pipes, files that grow, folders that fill, ends of all kinds. Captures come from `synth`.

use std::fs::{self, File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdout, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_fieldripple");

struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, line: &str) -> Command {
        let mut command = Command::new(PROGRAM);
        command
            .args(line.split_whitespace())
            .current_dir(self.0.path());
        command
    }

    /// Bytes of a capture of a tag, 16-bit integers at 500 kS/s behind a header of 44 bytes.
    fn wav(&self, seconds: f64) -> Vec<u8> {
        let line = format!("synth made.wav --id 999:31 --seconds {seconds} --ebn0 12 --rate 500k");
        assert!(self.command(&line).status().unwrap().success());
        let bytes = fs::read(self.path("made.wav")).unwrap();
        fs::remove_file(self.path("made.wav")).unwrap();
        fs::remove_file(self.path("made.wav.truth.json")).unwrap();
        bytes
    }

    fn follow(&self, line: &str) -> Child {
        self.command(&format!("decode --follow {line}"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }

    /// Output of following these bytes on standard input to their end.
    fn piped(&self, line: &str, bytes: &[u8]) -> Output {
        let mut child = self.follow(line);
        let mut input = child.stdin.take().unwrap();
        let bytes = bytes.to_vec();
        let writer = std::thread::spawn(move || {
            // A program that refuses what it is given hangs up.
            let _ = input.write_all(&bytes);
        });
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        output
    }
}

fn objects(output: &Output) -> Vec<Value> {
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn kinds<'a>(objects: &'a [Value], kind: &str) -> Vec<&'a Value> {
    objects
        .iter()
        .filter(|object| object["event"] == kind)
        .collect()
}

fn interrupt(child: &Child, signal: &str) {
    let told = Command::new("kill")
        .args([signal, &child.id().to_string()])
        .status();
    assert!(told.unwrap().success());
}

/// Lines until one holds `part`.
fn until(lines: &mut std::io::Lines<BufReader<ChildStdout>>, part: &str) -> Vec<String> {
    let mut all = Vec::new();
    for line in lines {
        all.push(line.unwrap());
        if all.last().unwrap().contains(part) {
            return all;
        }
    }
    panic!("no {part} in {all:#?}");
}

#[test]
fn a_stream_is_told_line_by_line_and_summed_up() {
    let bench = Bench::new();
    let output = bench.piped("--json --visits v.csv -", &bench.wav(1.2));
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let objects = objects(&output);
    assert!(
        objects
            .iter()
            .all(|object| object["schema"] == "fieldripple.live/1")
    );
    assert_eq!(kinds(&objects, "number-read")[0]["id"], "999000000000031");
    assert_eq!(kinds(&objects, "field-there").len(), 1);
    let visits = kinds(&objects, "visit-ended");
    assert_eq!(visits.len(), 1);
    assert!(visits[0]["to_s"].as_f64().unwrap() > 1.15);
    let summary = objects.last().unwrap();
    assert_eq!(summary["event"], "summary");
    assert_eq!(summary["samples"], 600_000);
    let rows = fs::read_to_string(bench.path("v.csv")).unwrap();
    assert_eq!(rows.lines().count(), 2, "{rows}");
    assert!(
        rows.lines().nth(1).unwrap().contains("999000000000031"),
        "{rows}"
    );

    let words = bench.piped("-", &bench.wav(0.6));
    let words = String::from_utf8(words.stdout).unwrap();
    assert!(
        words.contains("number 999 000000000031 read") && words.contains("summary"),
        "{words}"
    );
    assert!(!words.contains('\x1b'), "{words}");
}

#[test]
fn nothing_read_is_exit_1_and_no_samples_are_an_error() {
    let bench = Bench::new();
    let quiet: Vec<u8> = (0..400_000u32)
        .flat_map(|k| ((k * 7919 % 201) as i16 - 100).to_le_bytes())
        .collect();
    let output = bench.piped("--json --raw i16 --rate 500k -", &quiet);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    for (line, bytes, part) in [
        ("--raw i16 --rate 500k -", &b""[..], "no samples"),
        ("--raw i16 -", &[0u8; 4000][..], "--rate"),
        ("-", &b"time,volt\n0.0,1.0\n"[..], "--rate"),
        ("nothing.wav", &b""[..], "nothing.wav"),
        ("a.wav b.wav", &b""[..], "one stream"),
    ] {
        let output = bench.piped(line, bytes);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {errors}");
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(errors.contains(part), "{part}: {errors}");
        assert!(output.stdout.is_empty(), "{line}");
    }
}

/// A pipe of text that stays open: the number comes before its end.
#[test]
fn rows_of_text_are_read_as_they_come() {
    let bench = Bench::new();
    let wav = bench.wav(0.6);
    let mut text = String::from("time (s),coil (V)\n");
    for (n, sample) in wav[44..].as_chunks::<2>().0.iter().enumerate() {
        let volts = f64::from(i16::from_le_bytes(*sample)) / 32768.0;
        text += &format!("{:.6},{volts:.5}\n", n as f64 / 500e3);
    }
    let mut child = bench.follow("--json -");
    let mut input = child.stdin.take().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    input.write_all(text.as_bytes()).unwrap();
    input.flush().unwrap();
    let read = until(&mut lines, "number-read");
    assert!(read.last().unwrap().contains("999000000000031"), "{read:?}");
    drop(input);
    let rest: Vec<String> = lines.map(Result::unwrap).collect();
    let summary: Value = serde_json::from_str(rest.last().unwrap()).unwrap();
    assert_eq!(summary["samples"], 300_000);
    assert!(child.wait().unwrap().success());
}

#[test]
fn an_end_inside_a_sample_is_said() {
    let bench = Bench::new();
    let mut bytes = bench.wav(0.5);
    bytes.pop();
    let output = bench.piped("--json -", &bytes);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let objects = objects(&output);
    let notes = kinds(&objects, "note");
    assert!(
        notes
            .iter()
            .any(|note| note["text"].as_str().unwrap().contains("inside a sample")),
        "{notes:?}"
    );
}

/// A request to stop ends a stream that waits: everything that came is told, and the terminal's exit code is the usual one.
#[test]
fn a_signal_ends_it_with_a_summary() {
    for signal in ["-INT", "-TERM"] {
        let bench = Bench::new();
        let mut child = bench.follow("--json --visits v.csv -");
        let mut input = child.stdin.take().unwrap();
        input.write_all(&bench.wav(0.6)).unwrap();
        input.flush().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        until(&mut lines, "number-read");
        // Without samples, and without an end.
        let stalled = until(&mut lines, "no-samples");
        assert!(
            stalled.last().unwrap().contains("\"seconds\":2"),
            "{stalled:?}"
        );
        interrupt(&child, signal);
        let rest = until(&mut lines, "summary");
        assert!(
            rest.iter().any(|line| line.contains("visit-ended")),
            "{rest:?}"
        );
        assert_eq!(child.wait().unwrap().code(), Some(0));
        assert!(
            fs::read_to_string(bench.path("v.csv"))
                .unwrap()
                .contains("999000000000031")
        );
        drop(input);
    }
}

/// Samples that keep coming do not keep it from ending.
#[test]
fn a_stream_that_goes_on_can_be_ended() {
    let bench = Bench::new();
    let mut child = bench.follow("--json -");
    let mut input = child.stdin.take().unwrap();
    let bytes = bench.wav(1.0);
    let writer = std::thread::spawn(move || {
        let _ = input.write_all(&bytes[..44]);
        // 500 kS/s, two bytes each, a fiftieth of a second at a time, for half a minute.
        for part in bytes[44..].chunks(20_000).cycle().take(1500) {
            if input.write_all(part).is_err() {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    });
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    until(&mut lines, "number-read");
    let begun = Instant::now();
    interrupt(&child, "-INT");
    until(&mut lines, "summary");
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(
        begun.elapsed() < Duration::from_secs(5),
        "{:?}",
        begun.elapsed()
    );
    writer.join().unwrap();
}

#[test]
fn a_file_is_followed_as_it_grows_until_it_is_gone() {
    let bench = Bench::new();
    let bytes = bench.wav(1.0);
    fs::write(bench.path("growing.wav"), &bytes[..44]).unwrap();
    let mut child = bench.follow("--json growing.wav");
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut file = OpenOptions::new()
        .append(true)
        .open(bench.path("growing.wav"))
        .unwrap();
    for part in bytes[44..].chunks(100_001) {
        file.write_all(part).unwrap();
        std::thread::sleep(Duration::from_millis(30));
    }
    until(&mut lines, "number-read");
    fs::remove_file(bench.path("growing.wav")).unwrap();
    let rest = until(&mut lines, "summary");
    assert!(rest.last().unwrap().contains("500000"), "{rest:?}");
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

/// A file still being written is not read; one that is no capture is passed over; a folder that vanishes is an error.
#[test]
fn a_folder_is_read_as_it_fills() {
    let bench = Bench::new();
    let bytes = bench.wav(0.3);
    let folder = bench.path("in");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("notes"), "nothing").unwrap();
    let mut child = bench.follow("--json --visits v.csv in");
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut file = File::create(folder.join("a.wav")).unwrap();
    let begun = Instant::now();
    for part in bytes.chunks(bytes.len() / 8 + 1) {
        file.write_all(part).unwrap();
        std::thread::sleep(Duration::from_millis(300));
    }
    let written = begun.elapsed();
    drop(file);
    let first = until(&mut lines, "fieldripple.decode/1");
    assert_eq!(first.len(), 1, "{first:?}");
    let read: Value = serde_json::from_str(&first[0]).unwrap();
    assert_eq!(read["readings"][0]["id"], "999000000000031");
    assert_eq!(read["capture"]["samples"], 150_000, "all of it");
    assert!(begun.elapsed() > written);
    fs::write(folder.join("b.wav"), &bytes).unwrap();
    until(&mut lines, "b.wav");
    fs::remove_dir_all(&folder).unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let errors = String::from_utf8(output.stderr).unwrap();
    assert!(errors.contains("the folder cannot be read"), "{errors}");
    let rows = fs::read_to_string(bench.path("v.csv")).unwrap();
    assert_eq!(rows.lines().count(), 3, "{rows}");
}

#[test]
fn who_stops_listening_ends_it() {
    let bench = Bench::new();
    let mut child = bench.follow("--json -");
    let mut input = child.stdin.take().unwrap();
    let bytes = bench.wav(0.6);
    input.write_all(&bytes).unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    until(&mut lines, "state");
    drop(lines);
    // More samples, so that there is something to say.
    let _ = input.write_all(&bytes[44..]);
    let _ = input.write_all(&bytes[44..]);
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

/// Sound cards need a library of the system's, so the usual build has none of it and says so.
#[cfg(not(feature = "sound"))]
#[test]
fn without_sound_the_options_for_it_say_how_to_get_it() {
    let bench = Bench::new();
    for line in [
        "decode --devices",
        "decode --device default",
        "decode --follow --sound -",
    ] {
        let output = bench.command(line).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}");
        assert_eq!(said.lines().count(), 1, "{line}: {said}");
        assert!(said.contains("--features sound"), "{line}: {said}");
    }
}
