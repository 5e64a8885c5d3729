//! Tags of other kinds than FDX-B, from scenario to reading: half duplex in the pauses of the field, 125 kHz Manchester and FSK.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn scenario(name: &str) -> String {
    format!(
        "{}/waveforms/scenarios/{name}.toml",
        env!("CARGO_MANIFEST_DIR")
    )
}

/// Makes a capture of a scenario with settings and reads it: exit code and what was told.
fn told(name: &str, settings: &[&str]) -> (i32, Value) {
    let folder = TempDir::new().unwrap();
    let path = scenario(name);
    let mut arguments = vec!["synth", "a.wav", "--scenario", &path];
    for setting in settings {
        arguments.extend(["--set", setting]);
    }
    let made = run(folder.path(), &arguments);
    assert_eq!(made.status.code(), Some(0), "{settings:?}: {made:?}");
    let read = run(folder.path(), &["decode", "a.wav", "--json"]);
    let value = serde_json::from_slice(&read.stdout).unwrap();
    (read.status.code().unwrap(), value)
}

fn codes(told: &Value) -> Vec<&str> {
    let findings = told["findings"].as_array().unwrap();
    findings
        .iter()
        .map(|f| f["code"].as_str().unwrap())
        .collect()
}

fn finding<'a>(told: &'a Value, code: &str) -> &'a Value {
    let findings = told["findings"].as_array().unwrap();
    findings
        .iter()
        .find(|finding| finding["code"] == code)
        .unwrap_or_else(|| panic!("no {code} in {findings:?}"))
}

/// Codes of these findings.
const OTHERS: [&str; 4] = [
    "half-duplex-tag",
    "half-duplex-unread",
    "read-only-125-khz-tag",
    "fsk-125-khz-tag",
];

#[test]
fn half_duplex_tags_are_read_and_count() {
    for settings in [
        &[][..],
        &["digitiser.rate_hz=192000"],
        &["digitiser.rate_hz=100000", "other_tag.1.one_hz=126000"],
        &["other_tag.1.one_hz=122300", "other_tag.1.zero_hz=132300"],
        &["other_tag.1.decay_ms=10", "noise.ebn0_db=20"],
        &["other_tag.1.delay_ms=1", "noise.ebn0_db=40"],
    ] {
        let (code, told) = told("half-duplex", settings);
        assert_eq!(code, 0, "{settings:?}: {told}");
        assert_eq!(told["verdict"], "read");
        let reading = &told["readings"][0];
        assert_eq!(reading["kind"], "hdx");
        assert_eq!(reading["id"], "999000000000118");
        assert_eq!(reading["trailer"], "000000");
        assert_eq!(reading["depth"], Value::Null);
        let answers = reading["telegrams"].as_u64().unwrap();
        assert_eq!(answers, 2, "{settings:?}");
        finding(&told, "half-duplex-tag");
        assert!(!codes(&told).contains(&"no-ripple"), "{told}");
    }
}

/// What is reported of the answers is what the scenario has: the tones' frequencies to a hundred hertz or two (112 bits of 16 cycles at 15 dB
/// leave some tens of hertz, and the two tones trade against each other), Eb/N0 to 1 dB, the level to 1 dB.
#[test]
fn measured_values_of_an_answer_are_right() {
    let (_, told) = told("half-duplex", &[]);
    let reading = &told["readings"][0];
    let near = |key: &str, wanted: f64, within: f64| {
        let value = reading[key].as_f64().unwrap();
        assert!(
            (value - wanted).abs() < within,
            "{key} is {value}, not {wanted}"
        );
    };
    near("one_hz", 123_500.0, 200.0);
    near("zero_hz", 135_000.0, 200.0);
    near("ebn0_db", 15.0, 1.0);
    near("level_db", -40.0, 1.0);
    // The end of the field is seen when it has fallen to half, ln 2 of 0.1 ms late.
    near("delay_s", 1.5e-3, 0.12e-3);
    near("from_s", 0.0515, 0.03e-3);
}

#[test]
fn an_expected_half_duplex_number_is_as_good_as_any() {
    let folder = TempDir::new().unwrap();
    let path = scenario("half-duplex");
    run(folder.path(), &["synth", "a.wav", "--scenario", &path]);
    for (expected, code) in [("999:118", 0), ("999:119", 1)] {
        let read = run(folder.path(), &["decode", "a.wav", "--expect", expected]);
        assert_eq!(read.status.code(), Some(code), "{expected}");
        let text = String::from_utf8(read.stdout).unwrap();
        assert!(text.contains("999 000000000118"), "{text}");
        assert!(text.contains("half-duplex (HDX)"), "{text}");
    }
}

/// One reader's pulses, an FDX-B tag while the field is on and a half-duplex tag while it is off.
#[test]
fn both_kinds_in_one_capture_are_read() {
    let (code, told) = told(
        "half-duplex",
        &[
            "direct.tag.1.id=999:117",
            "direct.tag.1.depth=0.02",
            "noise.ebn0_db=25",
        ],
    );
    let kinds: Vec<&str> = told["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reading| reading["kind"].as_str().unwrap())
        .collect();
    assert_eq!((code, kinds), (0, vec!["fdx-b", "hdx"]), "{told}");
}

#[test]
fn read_only_tags_are_named_and_count_as_unread() {
    for (settings, cycles) in [
        (&[][..], 64.0),
        (&["other_tag.1.cycles_per_bit=32"], 32.0),
        (&["digitiser.rate_hz=192000"], 64.0),
        (&["other_tag.1.angle_deg=90"], 64.0),
        (&["other_tag.1.data=FFFFFFFFFF"], 64.0),
    ] {
        let (code, told) = told("read-only-125-khz", settings);
        assert_eq!(
            (code, &told["verdict"]),
            (1, &"unread".into()),
            "{settings:?}"
        );
        assert_eq!(told["readings"], Value::Array(vec![]));
        let evidence = &finding(&told, "read-only-125-khz-tag")["evidence"];
        let data = if settings == ["other_tag.1.data=FFFFFFFFFF"] {
            "FFFFFFFFFF"
        } else {
            "0A1B2C3D4E"
        };
        assert_eq!(evidence["data_hex"], data, "{settings:?}");
        assert_eq!(evidence["cycles_per_bit"], cycles);
        let rate = evidence["bit_rate_hz"].as_f64().unwrap();
        assert!((rate - 125_000.0 / cycles).abs() < 0.1, "{rate}");
        assert!(!codes(&told).contains(&"no-ripple"), "{told}");
    }
}

#[test]
fn fsk_tags_are_named() {
    for settings in [
        &[][..],
        &["seed=21", "other_tag.1.angle_deg=-80"],
        &["digitiser.rate_hz=192000"],
    ] {
        let (code, told) = told("fsk-125-khz", settings);
        assert_eq!(code, 1);
        let evidence = &finding(&told, "fsk-125-khz-tag")["evidence"];
        let eighth = evidence["eighth_hz"].as_f64().unwrap();
        assert!((eighth - 15_625.0).abs() < 1.0, "{eighth}");
        // Its own lines are no second reader's.
        assert!(
            !codes(&told).contains(&"stray-tone"),
            "{settings:?}: {told}"
        );
    }
}

/// Neighbours that must not be taken for one: an FDX-B tag whose field pauses as long, no tag at all, noise.
#[test]
fn nothing_else_is_taken_for_another_kind() {
    for (name, settings) in [
        ("read-only-125-khz", &["other_tag.1.depth=0.0"][..]),
        (
            "half-duplex",
            &[
                "other_tag.1.amplitude_v=0.0",
                "noise.white_nv_per_rthz=20000",
            ],
        ),
        ("pulsed-field", &["reader.off_ms=20"]),
        ("clean-bench", &[]),
        (
            "ripple-in-traffic",
            &["direct.on_ms=50", "direct.off_ms=20"],
        ),
    ] {
        let folder = TempDir::new().unwrap();
        let path = scenario(name);
        let text = std::fs::read_to_string(path).unwrap();
        // Eb/N0 means nothing without a signal.
        let text = text.replace("ebn0_db = 15", "white_nv_per_rthz = 5000");
        std::fs::write(folder.path().join("s.toml"), text).unwrap();
        let mut arguments = vec!["synth", "a.wav", "--scenario", "s.toml"];
        for setting in settings {
            arguments.extend(["--set", setting]);
        }
        let made = run(folder.path(), &arguments);
        assert_eq!(made.status.code(), Some(0), "{name}: {made:?}");
        let read = run(folder.path(), &["decode", "a.wav", "--json"]);
        let told: Value = serde_json::from_slice(&read.stdout).unwrap();
        let raised: Vec<&str> = codes(&told)
            .into_iter()
            .filter(|c| OTHERS.contains(c))
            .collect();
        assert!(raised.is_empty(), "{name} {settings:?}: {raised:?}");
    }
}

#[test]
fn scenarios_that_cannot_be_are_refused() {
    let folder = TempDir::new().unwrap();
    for (text, words) in [
        (
            "[direct]\n[[other_tag]]\nkind = \"hdx\"",
            "pauses of the field",
        ),
        (
            "[direct]\non_ms = 50\noff_ms = 20\n[[other_tag]]\n[probe]\ndetector = \"diode\"",
            "one level",
        ),
        (
            "[direct]\n[[other_tag]]\nkind = \"biphase\"",
            "other_tag.kind",
        ),
        (
            "[direct]\n[[other_tag]]\nkind = \"manchester\"\ndata = \"12345678901\"",
            "ten hex digits",
        ),
    ] {
        std::fs::write(folder.path().join("s.toml"), text).unwrap();
        let output = run(folder.path(), &["synth", "a.wav", "--scenario", "s.toml"]);
        let complaint = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{text}");
        assert!(
            complaint.contains(words) && complaint.trim_end().lines().count() == 1,
            "{complaint}"
        );
        assert!(!folder.path().join("a.wav").exists());
    }
}
