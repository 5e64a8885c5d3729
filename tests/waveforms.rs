//! Every file in `waveforms/` is what its command in `waveforms/README.md` makes, bit for bit.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::Command;

use fieldripple::capture::{OpenOptions, Unit, open};
use serde_json::Value;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("waveforms")
}

/// File and command of each capture in the table.
fn rows() -> Vec<(String, String)> {
    let mut rows = all_rows();
    rows.retain(|(_, command)| command.starts_with("synth "));
    rows
}

/// File and command of each row of the table, figures as well.
fn all_rows() -> Vec<(String, String)> {
    let page = std::fs::read_to_string(folder().join("README.md")).unwrap();
    page.lines()
        .filter_map(|line| {
            let cells: Vec<&str> = line.split('|').map(str::trim).collect();
            let command = cells.get(3)?.strip_prefix("`fieldripple ")?;
            Some((cells[1].into(), command.trim_end_matches('`').into()))
        })
        .collect()
}

/// The program's version may differ from the one that made the file.
fn truth(bytes: &[u8]) -> Value {
    let mut truth: Value = serde_json::from_slice(bytes).unwrap();
    truth.as_object_mut().unwrap().remove("program");
    truth
}

#[test]
fn commands_make_the_captures_again() {
    let rows = rows();
    assert!(rows.len() >= 12, "{} rows", rows.len());
    let again = tempfile::TempDir::new().unwrap();
    std::fs::create_dir(again.path().join("scenarios")).unwrap();
    for entry in std::fs::read_dir(folder().join("scenarios")).unwrap() {
        let path = entry.unwrap().path();
        let copy = again
            .path()
            .join("scenarios")
            .join(path.file_name().unwrap());
        std::fs::copy(&path, copy).unwrap();
    }
    for (file, command) in rows {
        assert!(command.starts_with(&format!("synth {file} ")), "{command}");
        let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args(command.split(' '))
            .current_dir(again.path())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{command}: {output:?}");
        let read = |folder: PathBuf, name: &str| std::fs::read(folder.join(name)).unwrap();
        let (kept, made) = (read(folder(), &file), read(again.path().into(), &file));
        assert!(kept == made, "{file} is not what '{command}' makes");
        let name = format!("{file}.truth.json");
        let (kept, made) = (read(folder(), &name), read(again.path().into(), &name));
        assert_eq!(truth(&kept), truth(&made), "{name}");
    }
}

#[test]
fn every_file_is_in_the_table_and_all_are_small() {
    let truths = rows()
        .into_iter()
        .map(|(file, _)| format!("{file}.truth.json"));
    let files = all_rows().into_iter().map(|(file, _)| file);
    let listed: BTreeSet<String> = truths.chain(files).collect();
    let mut total = 0;
    let mut found = BTreeSet::new();
    for entry in std::fs::read_dir(folder()).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_dir() {
            continue;
        }
        let name = entry.file_name().into_string().unwrap();
        let bytes = entry.metadata().unwrap().len();
        assert!(bytes <= 400_000, "{name}: {bytes} bytes");
        total += bytes;
        if name != "README.md" {
            found.insert(name);
        }
    }
    assert_eq!(found, listed);
    assert!(total <= 8_000_000, "{total} bytes");
}

/// What the program writes it also reads: rate, length and unit as the truth file states them.
#[test]
fn every_file_is_read_with_its_rate_length_and_unit() {
    for (file, _) in rows() {
        let truth = std::fs::read(folder().join(format!("{file}.truth.json"))).unwrap();
        let truth = truth_capture(&truth);
        let mut source = open(&folder().join(&file), &OpenOptions::default()).unwrap();
        let channels = source.layout().channels.len();
        let mut samples = vec![Vec::new(); channels];
        while source.read(1 << 16, &mut samples).unwrap() > 0 {}
        let layout = source.layout();
        assert_eq!(
            samples[0].len() as u64,
            truth["samples"].as_u64().unwrap(),
            "{file}"
        );
        assert_eq!(layout.complex, truth["kind"] == "iq", "{file}");
        match layout.rate_hz {
            Some(rate_hz) => {
                let stated = truth["rate_hz"].as_f64().unwrap();
                assert!((rate_hz / stated - 1.0).abs() < 1e-9, "{file}: {rate_hz}");
            }
            None => assert!(file.ends_with(".npy"), "{file}: no rate"),
        }
        if file.ends_with(".csv") {
            assert_eq!(layout.channels[0].unit, Unit::Volt, "{file}");
        }
        assert_eq!(layout.notes, Vec::<String>::new(), "{file}");
    }
}

fn truth_capture(bytes: &[u8]) -> Value {
    truth(bytes)["capture"].take()
}
