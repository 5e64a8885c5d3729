//! `link` from outside: `--design`, `--tolerance`, and what is near an antenna.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

fn run(folder: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(line.split(' '))
        .current_dir(folder)
        .output()
        .unwrap()
}

fn text(line: &str) -> String {
    let output = run(Path::new("."), line);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn json(line: &str) -> Value {
    serde_json::from_str(&text(line)).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// The table below a design is that of the chosen parts; at resonance I = V/R and ½I²R is drawn (textbook). The capacitors are within 0.1 %,
/// which at Q 25 leaves the current within 1·10⁻³.
#[test]
fn a_design_is_the_bench_that_is_shown() {
    let report = json(
        "link --json --design --inductance 400 --wires 0.4,0.5 --supply 9 --distance 50 --tilt 0",
    );
    let (design, reader) = (&report["design"], &report["reader"]);
    let chosen = &design["chosen"];
    assert!(design["wires"].as_array().unwrap().contains(chosen));
    for (of_design, of_bench) in [
        ("inductance_h", "inductance_h"),
        ("coil_ohm", "coil_ohm"),
        ("capacitance_f", "capacitance_f"),
        ("q", "q"),
        ("antenna_v", "antenna_v"),
        ("current_a", "antenna_a"),
    ] {
        let (a, b) = (number(&chosen[of_design]), number(&reader[of_bench]));
        assert!((a / b - 1.0).abs() < 1e-6, "{of_design}: {a} {b}");
    }
    assert!((number(&chosen["inductance_h"]) / 400e-6 - 1.0).abs() < 0.03);
    let drive_v = 2.0 * 9.0 / std::f64::consts::PI;
    assert!((number(&chosen["drive_v"]) - drive_v).abs() < 1e-9);
    let ohm = 1.0 + number(&chosen["series_ohm"]) + number(&chosen["coil_ohm"]);
    let current_a = number(&chosen["current_a"]);
    assert!((current_a * ohm / drive_v - 1.0).abs() < 2e-3, "{chosen}");
    assert!(current_a <= 0.3 && number(&chosen["q"]) <= 25.0, "{chosen}");
    let power_w = 0.5 * current_a * current_a * ohm;
    assert!((number(&chosen["power_w"]) / power_w - 1.0).abs() < 1e-6);
    let sum: f64 = chosen["capacitors_f"]
        .as_array()
        .unwrap()
        .iter()
        .map(number)
        .sum();
    assert!((sum / number(&chosen["capacitance_f"]) - 1.0).abs() < 1e-9);
    // All usual tags, the farthest first.
    let ranges: Vec<f64> = design["ranges"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| number(&row["range_mm"]))
        .collect();
    assert!(
        ranges.len() >= 7 && ranges.is_sorted_by(|a, b| a >= b),
        "{ranges:?}"
    );
    // Without the option the keys are there and empty.
    let plain = json("link --json --distance 50");
    assert!(plain["design"].is_null() && plain["tolerance"].is_null());
}

/// The range stated is where reading ends, by asking for places beside it.
#[test]
fn a_range_is_where_reading_ends() {
    let design = "link --json --design --reach 70 --wires 0.3,0.5 --tilt 0";
    let range_mm =
        number(&json(&format!("{design} --distance 70"))["design"]["chosen"]["range_mm"]);
    assert!(range_mm >= 69.9, "{range_mm}");
    let reads = |mm: f64| {
        json(&format!("{design} --distance {mm}"))["positions"][0]["reads"]
            .as_bool()
            .unwrap()
    };
    assert!(
        reads(70.0) && reads(range_mm - 0.2) && !reads(range_mm + 0.3),
        "{range_mm}"
    );
}

/// Voltages stand beside the caution.
#[test]
fn a_design_in_words_has_parts_and_cautions() {
    let page = text("link --design --inductance 550 --wires 0.4");
    for words in [
        "<- chosen",
        "Capacitors: ",
        "HIGH VOLTAGE, keep fingers off",
        "DANGEROUS TO TOUCH",
        "Resistor: ",
        "glass-12",
        "[reader.coil]",
        "ICNIRP",
    ] {
        assert!(page.contains(words), "{words} is missing in {page}");
    }
}

/// Without tolerances every build is the bench itself; a tolerance of one part alone makes that part the first.
#[test]
fn builds_without_tolerance_are_all_alike() {
    let none = "--spread inductance=0 --spread capacitor=0 --spread coil-q=0 --spread tag-tuning=0 --spread tag-q=0 \
                --spread temperature=0 --spread offset=0 --spread tilt=0";
    let bench = "link --json --tolerance 50 --distance 60,160 --tilt 0";
    let still = json(&format!("{bench} {none}"))["tolerance"].clone();
    assert_eq!(
        (&still["places"][0]["read"], &still["places"][1]["read"]),
        (&50.into(), &0.into())
    );
    assert!(
        still["parts"]
            .as_array()
            .unwrap()
            .iter()
            .all(|part| number(&part["loss_db"]) == 0.0)
    );
    let one = json(&format!("{bench} {none} --spread tag-tuning=4"))["tolerance"].clone();
    assert_eq!(one["parts"][0]["part"], "tag tuning");
    assert!(
        number(&one["parts"][0]["loss_db"]) > 1.0 && number(&one["parts"][1]["loss_db"]) == 0.0
    );
    assert_eq!(one["builds"], 50);
}

/// The same seed draws the same builds on any number of threads, another one others; where the tag hears nothing no part is blamed.
#[test]
fn builds_are_repeatable() {
    let line = "link --json --tolerance 300 --distance 78 --tilt 0";
    let read = |threads: &str, more: &[&str]| -> Value {
        let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args(line.split(' '))
            .args(more)
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap();
        serde_json::from_slice::<Value>(&output.stdout).unwrap()["tolerance"].clone()
    };
    assert_eq!(read("1", &[]), read("3", &[]));
    let others: Vec<Value> = ["seed=2", "seed=3", "seed=4"]
        .map(|seed| read("2", &["--set", seed])["places"][0]["read"].clone())
        .into();
    assert!(others.iter().any(|other| *other != others[0]), "{others:?}");
    let across = json(
        "link --json --tolerance 20 --distance 60 --tilt 90 --spread tilt=0 --spread offset=0",
    );
    let across = &across["tolerance"];
    assert!(across["spare_db"].is_null() && across["parts"].as_array().unwrap().is_empty());
    assert_eq!(across["places"][0]["read"], 0);
}

#[test]
fn figures_are_drawn() {
    let folder = TempDir::new().unwrap();
    for (line, words) in [
        (
            "link --design --inductance 550 --wires 0.4 --figure a.svg",
            ["Range for each usual tag", "collar-disc"],
        ),
        (
            "link --tolerance 20 --figure a.svg",
            ["Which part matters most", "antenna capacitor ±2 %"],
        ),
    ] {
        let output = run(folder.path(), line);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let page = std::fs::read_to_string(folder.path().join("a.svg")).unwrap();
        for words in words {
            assert!(page.contains(words), "{words} is missing in {line}");
        }
    }
    let output = run(folder.path(), "link --tolerance 20 --figure a.png");
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let picture = std::fs::read(folder.path().join("a.png")).unwrap();
    assert!(picture.starts_with(b"\x89PNG"));
}

#[test]
fn refusals_are_one_line() {
    let folder = TempDir::new().unwrap();
    for (line, words) in [
        ("link --design", "--inductance UH or --reach MM"),
        (
            "link --design --inductance 550 --reach 60",
            "cannot be used with",
        ),
        ("link --design --inductance 0", "allowed is 1 to 100000 µH"),
        (
            "link --design --inductance 550 --turns-for 550",
            "cannot be used with",
        ),
        (
            "link --design --inductance 550 --tolerance",
            "cannot be used with",
        ),
        (
            "link --design --inductance 550 --wires 0.4,9",
            "allowed is 0.05 to 5 mm",
        ),
        (
            "link --design --inductance 50000 --room 1",
            "more room, thinner wire or less inductance; the other 4 wires",
        ),
        (
            "link --design --reach 1500 --wires 0.4",
            "reads the tag at 1500 mm: take a larger one",
        ),
        (
            "link --design --inductance 550 --set second_reader.distance_mm=300",
            "leave second_reader out",
        ),
        ("link --supply 9", "--design"),
        ("link --tolerance 0", "allowed is 1 to 100000"),
        (
            "link --tolerance 100000 --distance 10:200:10 --tilt 0",
            "2000000; allowed are 1000000",
        ),
        ("link --spread tilt=3", "--tolerance"),
        (
            "link --tolerance --spread glue=3",
            "unknown part 'glue'; known are inductance, capacitor",
        ),
        (
            "link --tolerance --spread capacitor=-1",
            "allowed is 0 to 50 %",
        ),
        ("link --tolerance --spread capacitor", "write PART=AMOUNT"),
    ] {
        let output = run(folder.path(), line);
        assert_eq!(output.status.code(), Some(2), "{line}");
        assert!(output.stdout.is_empty(), "{line}");
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(told.lines().count(), 1, "{told}");
        assert!(told.contains(words), "{line}: {told}");
    }
}

/// A bench solved in numpy (tests/outside/make_fit_fixture.py says what it is): every value within three of its stated deviations, and those that
/// its builder has wrong are said to differ. That stated deviations come true is what tests/outside/check_fit.py counts over many benches.
#[test]
fn a_bench_is_fitted_to_its_capture() {
    let fit = "link --fit tests/fixtures/fit/bench.wav --scenario tests/fixtures/fit/thought.toml";
    let report = json(&format!("{fit} --json"));
    assert_eq!(report["schema"], "fieldripple.link_fit/1");
    assert_eq!(report["number"], "999 271828182846");
    let told = &report["fit"];
    // The tag's Q with its chip by its definition: 1/(R·√(C/L) + √(L/C)/R_chip), the coil Q 30 at the field, tuned to 136.1 kHz.
    let (field, tuned) = (134_200.0, 136_100.0);
    let reactance = std::f64::consts::TAU * tuned * 5e-3;
    let tag_q = 1.0 / (field / tuned / 30.0 + reactance / 100e3);
    for (name, truth, wrong) in [
        ("antenna_hz", 131_900.0, true),
        ("antenna_q", 16.0, true),
        ("coupling", 8e-3, false),
        ("tag_hz", tuned, true),
        ("tag_q", tag_q, false),
        ("load_ohm", 12_000.0, false),
    ] {
        let rows = told["parameters"].as_array().unwrap();
        let row = rows.iter().find(|row| row["name"] == name).unwrap();
        let off = (number(&row["value"]) - truth) / number(&row["sd"]);
        assert!(off.abs() < 3.0, "{name}: {row}, off by {off}");
        assert!(row["told"] == true, "{row}");
        assert!(!wrong || row["differs"] == true, "{row}");
    }
    // Noise of 3600 lines: a misfit of 1 ± √(2/3600).
    assert!(
        (number(&told["misfit"]) - 1.0).abs() < 3.0 * 0.024,
        "{told}"
    );
    let gains: Vec<f64> = told["changes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| number(&c["gain_db"]))
        .collect();
    assert!(
        gains.is_sorted_by(|a, b| a >= b) && gains[0] > 0.0,
        "{gains:?}"
    );
    let page = text(fit);
    for words in [
        "antenna resonance",
        "differs by",
        "<- buys most",
        "DANGEROUS TO TOUCH",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

/// What no bench can be fitted to is an answer (exit code 1); a bench that is none to fit is an error in one line.
#[test]
fn what_cannot_be_fitted_is_said() {
    for (capture, word) in [
        ("waveforms/cattery-no-tag.wav", "no number was read"),
        ("waveforms/cattery-envelope-48k.wav", "no carrier"),
        ("waveforms/intake-clean.wav", "no bench near"),
    ] {
        let output = run(Path::new("."), &format!("link --fit {capture}"));
        let page = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(1), "{page}");
        assert!(page.contains(word) && page.lines().count() == 1, "{page}");
    }
    for (line, word) in [
        ("link --fit nowhere.wav", "nowhere.wav"),
        (
            "link --fit tests/fixtures/fit/bench.wav --set probe.at=pickup --set probe.tilt_deg=90",
            "hears nothing of the antenna",
        ),
        ("link --rate 5", "--fit"),
    ] {
        let output = run(Path::new("."), line);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{error}");
        assert!(error.contains(word), "{error}");
    }
}

/// A conductor takes inductance away and adds loss; tuned anew beside it the antenna has more field than detuned. What is not asked for is null.
#[test]
fn metal_cable_and_rod_are_told() {
    let plain = json("link --json --distance 60 --tilt 0");
    assert!(plain["metal_sheet"].is_null() && plain["tag"]["rod"].is_null());
    let sheet = json("link --json --distance 60 --tilt 0 --set reader.metal_sheet.at_mm=-25");
    let metal = &sheet["metal_sheet"];
    assert!(number(&metal["inductance_change_h"]) < 0.0 && number(&metal["resistance_ohm"]) > 0.0);
    let (detuned, tuned) = (
        number(&metal["field_ratio"]),
        number(&metal["field_ratio_tuned_beside"]),
    );
    assert!(detuned < tuned && tuned < 1.0, "{metal}");
    let page = text("link --distance 60 --tilt 0 --set reader.metal_sheet.at_mm=-25");
    assert!(
        page.contains("Metal sheet 25 mm behind the antenna") && page.contains("tuned anew"),
        "{page}"
    );
    let cable = json("link --json --distance 60 --tilt 0 --set reader.cable.length_m=3");
    let (with, without) = (&cable["reader"], &plain["reader"]);
    assert!((number(&with["across_f"]) - 300e-12).abs() < 1e-18);
    assert!(number(&with["capacitance_f"]) < number(&without["capacitance_f"]) - 290e-12);
    let rod = json("link --json --distance 60 --tilt 0 --set tag.1.rod.permeability=1000");
    assert!(number(&rod["tag"]["rod"]["apparent_permeability"]) > 40.0);
    for (line, word) in [
        ("--set reader.metal_sheet.at_mm=50", "behind"),
        (
            "--set reader.cable.length_m=20 --set reader.cable.pf_per_m=300",
            "pF",
        ),
        ("--set tag.1.rod.length_mm=0.5", "length"),
        (
            "--design --inductance 3000 --set reader.cable.length_m=20 --set reader.cable.pf_per_m=300",
            "a shorter cable",
        ),
    ] {
        let output = run(Path::new("."), &format!("link --distance 60 {line}"));
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {told}");
        assert!(
            told.contains(word) && told.lines().count() == 1,
            "{line}: {told}"
        );
    }
}

/// Antennas of several windings and gates of two drivers, against integrals and loop equations in numpy (tests/outside/check_antennas.py, which
/// asks for 2 % of many more; polygons and directions leave 0.3 %).
#[test]
fn several_antennas_are_those_of_the_fixture() {
    let fixture = std::fs::read_to_string("tests/fixtures/antennas.json").unwrap();
    let fixture: Value = serde_json::from_str(&fixture).unwrap();
    let benches = fixture["benches"].as_array().unwrap();
    assert!(benches.len() >= 7);
    for bench in benches {
        let words = |key: &str| {
            let list = bench[key].as_array().unwrap().iter();
            list.map(|word| word.as_str().unwrap().to_string())
        };
        let mut line = "link --json".to_string();
        words("arguments")
            .for_each(|setting| line += &format!(" --set {}", setting.replace("True", "true")));
        words("place").for_each(|word| line += &format!(" {word}"));
        let report = json(&line);
        let position = &report["positions"][0];
        let near = |got: &Value, want: &Value, what: &str| {
            let (got, want) = (number(got), number(want));
            assert!(
                (got - want).abs() <= 5e-3 * want.abs() + 1e-12,
                "{}: {what}: {got} {want}",
                bench["kind"]
            );
        };
        near(
            &report["reader"]["inductance_h"],
            &bench["inductance_h"],
            "inductance",
        );
        for key in ["mutual_h", "tag_v", "settled_depth"] {
            near(&position[key], &bench[key], key);
        }
        let angle = number(&position["settled_angle_deg"]) - number(&bench["settled_angle_deg"]);
        let angle = (angle + 90.0).rem_euclid(180.0) - 90.0;
        assert!(angle.abs() < 0.5, "{}: {angle}", bench["kind"]);
        for (index, current) in bench["currents_a"].as_array().unwrap().iter().enumerate() {
            near(&report["antennas"][index]["antenna_a"], current, "current");
        }
        if let Some(second) = report["antennas"].get(1) {
            near(
                &second["mutual_h"],
                &bench["between_antennas_h"],
                "between the antennas",
            );
        }
        let fields = report["field"].as_array().unwrap();
        let ten = fields.iter().find(|field| field["at_m"] == 10.0).unwrap();
        near(
            &ten["strongest_a_per_m_rms"],
            &bench["field_10_m_a_per_m"],
            "10 m",
        );
        let limits = report["limits_for_comparison"].as_array().unwrap();
        let far = limits.iter().find(|limit| limit["at_m"] == 300.0).unwrap();
        let field = serde_json::json!(number(&far["computed_uv_per_m"]) / 377e6);
        near(&field, &bench["field_300_m_a_per_m"], "300 m");
    }
}

/// What a figure of eight and a gate are made for, what they are told of, and what is refused.
#[test]
fn eights_and_gates_are_told() {
    let eight = "--scenario waveforms/scenarios/figure-of-eight.toml";
    let page = text(&format!("link {eight}"));
    assert!(
        page.contains("2 windings in series, 1 of them reversed"),
        "{page}"
    );
    assert!(
        page.contains("Strongest field at a distance from the middle of all windings"),
        "{page}"
    );
    let flat = json(&format!("link --json {eight}"));
    assert_eq!(flat["positions"][0]["reads"], true);
    let upright = json(&format!("link --json {eight} --tilt 0"));
    assert!(
        number(&upright["positions"][0]["mutual_h"]).abs()
            < 1e-6 * number(&flat["positions"][0]["mutual_h"]).abs()
    );
    let gate = "--scenario waveforms/scenarios/gate.toml";
    let middle = |phase: u32, tilt: u32, offset: u32| {
        let line = format!(
            "link --json {gate} --set second_reader.drive_phase_deg={phase} --tilt {tilt} --offset {offset}"
        );
        number(&json(&line)["positions"][0]["tag_v"])
    };
    // In the middle: in phase along the axis only, in antiphase neither there nor, by symmetry, along it anywhere in the middle plane.
    assert!(middle(0, 0, 0) > 3.0 && middle(180, 0, 0) < 1e-6 && middle(180, 0, 100) < 1e-6);
    assert!(middle(180, 90, 100) > 1e3 * middle(0, 90, 100));
    let page = text(&format!(
        "link {gate} --set second_reader.drive_phase_deg=180"
    ));
    assert!(
        page.contains("drives at the same frequency")
            && page.contains("the current 180° from the first's"),
        "{page}"
    );
    let tight = "link --distance 20 --set second_reader.field_hz=134200 --set second_reader.distance_mm=40 --json";
    let remarks = json(tight)["remarks"].to_string();
    assert!(
        remarks.contains("detune each other") && remarks.contains("reader.tuned_hz = "),
        "{remarks}"
    );
    for (line, word) in [
        (
            "--set reader.loop.1.offset_mm=0 --set reader.loop.2.offset_mm=50",
            "touch",
        ),
        (
            "--set reader.loop.1.offset_mm=9 --set reader.metal_sheet.at_mm=-40",
            "reader.loop",
        ),
        (
            "--set reader.loop.1.offset_mm=9 --turns-for 550",
            "reader.loop",
        ),
        (
            "--set reader.loop.1.offset_mm=9 --design --inductance 550",
            "reader.loop",
        ),
        (
            "--set second_reader.field_hz=134200 --set second_reader.on_ms=50 --set second_reader.off_ms=5",
            "on together",
        ),
    ] {
        let output = run(Path::new("."), &format!("link {line}"));
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {told}");
        assert!(
            told.contains(word) && told.lines().count() == 1,
            "{line}: {told}"
        );
    }
}
