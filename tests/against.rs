//! `decode --against`: what differs from a capture without a tag, or a known good one.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

fn run(folder: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(line.split_whitespace())
        .current_dir(folder)
        .output()
        .unwrap()
}

/// A field of 0.5 V at 500 kS/s for 0.1 s, noise always the same unless said.
fn synth(folder: &Path, name: &str, more: &str) {
    let line = format!("synth {name} --rate 500000 --seconds 0.1 --range 2 {more}");
    let output = run(folder, &line);
    assert!(output.status.success(), "{output:?}");
}

fn compared(folder: &Path, this: &str, other: &str, code: i32) -> (Value, String) {
    let output = run(folder, &format!("decode {this} --against {other} --json"));
    assert_eq!(output.status.code(), Some(code), "{output:?}");
    let object: Value = serde_json::from_slice(&output.stdout).unwrap();
    let findings = object["findings"].as_array().unwrap();
    let found = findings
        .iter()
        .find(|finding| finding["code"] == "compared");
    let found = found.unwrap_or_else(|| panic!("{object}"));
    (
        found["evidence"].clone(),
        found["text"].as_str().unwrap().to_string(),
    )
}

#[test]
fn a_capture_is_compared_with_another() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    // The tag's Eb/N0 sets the noise: 20 dB for a ripple of 1 %, the same noise 12 dB weaker at 0.25 %, and so on.
    synth(
        folder,
        "good.wav",
        "--id 999:5 --depth 0.01 --ebn0 20 --seed 1",
    );
    synth(
        folder,
        "weaker.wav",
        "--id 999:5 --depth 0.0025 --ebn0 7.96 --seed 2",
    );
    synth(
        folder,
        "noisy.wav",
        "--id 999:5 --depth 0.01 --ebn0 0 --seed 3",
    );
    synth(
        folder,
        "faint.wav",
        "--id 999:5 --depth 0.000531 --ebn0 -5.5 --seed 4",
    );
    synth(
        folder,
        "none.wav",
        "--no-tag --depth 0.01 --ebn0 20 --seed 5",
    );
    synth(
        folder,
        "low.wav",
        "--id 999:5 --depth 0.01 --ebn0 14 --amplitude 0.5 --seed 6",
    );

    let near = |evidence: &Value, key: &str, wanted: f64, within: f64| {
        let value = evidence[key].as_f64().unwrap_or(f64::NAN);
        assert!(
            (value - wanted).abs() < within,
            "{key}: {value}, not {wanted}"
        );
    };
    // 13 600 values hold some 430 independent pulses of each part: 0.3 dB of noise each, four of it in the difference.
    let (evidence, text) = compared(folder, "weaker.wav", "good.wav", 0);
    near(&evidence, "ripple_db", -12.04, 0.8);
    near(&evidence, "field_db", 0.0, 0.05);
    near(&evidence, "noise_db", 0.0, 1.7);
    assert!(text.contains("Both captures hold a tag's ripple"), "{text}");

    let (evidence, text) = compared(folder, "none.wav", "good.wav", 1);
    // What a good tag has to spare: 20 dB and 5.2 dB for 3.3 telegrams, less the 3 dB that reading needs.
    near(&evidence, "other_over_limit_db", 22.2, 1.7);
    assert!(text.contains("absent, turned"), "{text}");

    let (evidence, _) = compared(folder, "noisy.wav", "good.wav", 0);
    near(&evidence, "noise_db", 20.0, 1.7);
    near(&evidence, "ripple_db", 0.0, 1.5);

    let (_, text) = compared(folder, "faint.wav", "none.wav", 1);
    assert!(
        text.contains("a tag is in the field, too weak to read"),
        "{text}"
    );

    let (evidence, _) = compared(folder, "low.wav", "good.wav", 0);
    near(&evidence, "field_db", -6.02, 0.05);

    let missing = run(folder, "decode good.wav --against nowhere.wav");
    assert_eq!(missing.status.code(), Some(2));
    assert!(missing.stdout.is_empty());
    let said = String::from_utf8(missing.stderr).unwrap();
    assert!(
        said.contains("nowhere.wav") && said.lines().count() == 1,
        "{said}"
    );
}

/// Differences stray as much as they say: of 96 pairs with the same ripple and noise, ripple and noise each, the mean square over what
/// is stated lies within 1 ± 4·√(2/96).
#[test]
fn differences_stray_as_much_as_stated() {
    let folder = TempDir::new().unwrap();
    let folder = folder.path();
    let mut squares = [0.0; 2];
    let pairs = 96;
    for pair in 0..pairs {
        for (name, seed) in [("this.wav", 2 * pair), ("other.wav", 2 * pair + 1)] {
            let seed = 100 + seed;
            synth(
                folder,
                name,
                &format!("--id 999:5 --depth 0.01 --ebn0 6 --angle 30 --bits 16 --seed {seed}"),
            );
        }
        let (evidence, _) = compared(folder, "this.wav", "other.wav", 0);
        let value = |key: &str| evidence[key].as_f64().unwrap();
        for (square, name) in squares.iter_mut().zip(["ripple", "noise"]) {
            let over = value(&format!("{name}_db")) / value(&format!("{name}_deviation_db"));
            *square += over * over / f64::from(pairs);
        }
    }
    let strays = 4.0 * (2.0 / f64::from(pairs)).sqrt();
    for square in squares {
        assert!((square - 1.0).abs() < strays, "{squares:?}");
    }
}
