//! The `decode` command from outside: what it prints, its JSON and its exit codes. Captures come from `synth`.

use std::fs::File;
use std::io::{Read, Write};
use std::process::{Child, Command, Output, Stdio};

use fieldripple::telegram::{Identity, Telegram};
use serde_json::Value;
use tempfile::TempDir;

/// A folder with captures, in which the program runs.
struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    /// A bench with one capture.
    fn with(line: &str) -> Self {
        let bench = Self::new();
        bench.synth(line);
        bench
    }

    fn command(&self, line: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fieldripple"));
        command
            .args(line.split_whitespace())
            .current_dir(self.0.path());
        command
    }

    fn synth(&self, line: &str) {
        let output = self.command(&format!("synth {line}")).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{line}: {output:?}");
    }

    fn decode(&self, line: &str) -> Run {
        let output = self.command(&format!("decode {line}")).output().unwrap();
        Run::new(line, output)
    }

    /// JSON objects of a run that must end with this exit code.
    fn json(&self, line: &str, code: i32) -> Vec<Value> {
        self.decode(&format!("{line} --json")).ends(code).objects()
    }

    fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.0.path().join(name), content).unwrap();
    }

    fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.0.path().join(name)).unwrap()
    }
}

struct Run {
    line: String,
    code: Option<i32>,
    out: String,
    errors: String,
}

impl Run {
    fn new(line: &str, output: Output) -> Self {
        Self {
            line: line.into(),
            code: output.status.code(),
            out: String::from_utf8(output.stdout).unwrap(),
            errors: String::from_utf8(output.stderr).unwrap(),
        }
    }

    fn ends(self, code: i32) -> Self {
        let Self {
            line, out, errors, ..
        } = &self;
        assert_eq!(self.code, Some(code), "{line}\n{out}\n{errors}");
        self
    }

    /// Refused with one line on standard error that holds all of `parts`.
    fn refused(self, parts: &[&str]) {
        let run = self.ends(2);
        assert_eq!(run.errors.lines().count(), 1, "{}", run.errors);
        assert_eq!(run.out, "");
        for part in parts {
            assert!(run.errors.contains(part), "{part:?} not in {}", run.errors);
        }
    }

    fn objects(&self) -> Vec<Value> {
        let objects: Vec<Value> = self
            .out
            .lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect();
        objects.iter().for_each(follows_the_schema);
        objects
    }
}

/// Every key of the documented schema, with its type; more keys may be there.
fn follows_the_schema(value: &Value) {
    type Is = fn(&Value) -> bool;
    let text: Is = Value::is_string;
    let flag: Is = Value::is_boolean;
    let count: Is = Value::is_u64;
    let number: Is = Value::is_f64;
    let number_or_null: Is = |v| v.is_f64() || v.is_null();
    let spans: Is = |v| v.as_array().is_some_and(|a| a.iter().all(is_span));
    fn is_span(v: &Value) -> bool {
        v.as_array()
            .is_some_and(|a| a.len() == 2 && a.iter().all(Value::is_f64))
    }
    let check = |object: &Value, keys: &[(&str, Is)]| {
        for (key, is) in keys {
            let found = object
                .get(key)
                .unwrap_or_else(|| panic!("no {key} in {object}"));
            assert!(is(found), "{key} is {found}");
        }
    };
    check(
        value,
        &[
            ("schema", |v| v == "fieldripple.decode/1"),
            ("verdict", |v| v == "read" || v == "unread"),
        ],
    );
    check(
        &value["capture"],
        &[
            ("path", text),
            ("samples", count),
            ("rate_hz", number_or_null),
            ("seconds", number_or_null),
            ("channel", text),
            ("kind", |v| {
                ["direct", "folded", "envelope", "iq", "logic"]
                    .iter()
                    .any(|kind| v == kind)
            }),
        ],
    );
    check(
        &value["field"],
        &[
            ("present", flag),
            ("frequency_hz", number_or_null),
            ("offset_ppm", number_or_null),
            ("amplitude", number_or_null),
            ("unit", |v| v == "V" || v == "full scale" || v.is_null()),
            ("on", spans),
        ],
    );
    for reading in value["readings"].as_array().unwrap() {
        check(
            reading,
            &[
                ("id", |v| v.as_str().is_some_and(|id| id.len() >= 15)),
                ("country", count),
                ("kind", |v| v == "fdx-b" || v == "hdx"),
                ("national", count),
                ("animal", flag),
                ("retag", count),
                ("user", count),
                ("reserved", count),
                ("data_block", flag),
                ("trailer", |v| v.is_string() || v.is_null()),
                ("code_hex", |v| v.as_str().is_some_and(|h| h.len() == 16)),
                ("crc_hex", |v| v.as_str().is_some_and(|h| h.len() == 4)),
                ("assumed", Value::is_array),
                ("odds_wrong", number),
                ("telegrams", number),
                ("ebn0_db", number_or_null),
                ("spare_db", number_or_null),
                ("depth", number_or_null),
                ("angle_deg", number_or_null),
                ("from_s", number),
                ("to_s", number),
            ],
        );
    }
    for finding in value["findings"].as_array().unwrap() {
        check(
            finding,
            &[
                ("code", text),
                ("text", text),
                ("evidence", Value::is_object),
            ],
        );
    }
}

fn codes(value: &Value) -> Vec<&str> {
    value["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|finding| finding["code"].as_str().unwrap())
        .collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn a_number_is_printed_with_exit_code_0() {
    let bench = Bench::with("a.wav --id 999:123456789 --seconds 0.1 --ebn0 20");
    let run = bench.decode("a.wav").ends(0);
    for part in ["a.wav", "999 000123456789", "8000F9C0075BCD15", "512E"] {
        assert!(run.out.contains(part), "{part}: {}", run.out);
    }
    assert_eq!(run.errors, "");
}

/// Weak enough that the number needs the fields of a usual tag, and says so: odds of some 1e-3 without, 3e-6 with them.
#[test]
fn usual_fields_read_a_weaker_tag_and_are_named() {
    let bench = Bench::with(
        "weak.wav --id 999:206022446683 --rate 300000 --seconds 0.25 --depth 0.01 --ebn0 -6.3 --seed 26",
    );
    assert_eq!(
        bench.json("weak.wav --odds 1e-4", 1)[0]["verdict"],
        "unread"
    );
    let aided = &bench.json("weak.wav --odds 1e-4 --usual-fields", 0)[0]["readings"][0];
    assert_eq!(aided["id"], "999206022446683");
    assert_eq!(
        aided["assumed"],
        serde_json::json!(["reserved", "data_block", "trailer", "country"])
    );
    let run = bench.decode("weak.wav --odds 1e-4 --usual-fields").ends(0);
    assert!(run.out.contains("\n  assumed "), "{}", run.out);
    // A strong one does not need them.
    let strong = Bench::with("a.wav --id 999:123456789 --seconds 0.1 --ebn0 20");
    let reading = &strong.json("a.wav --usual-fields", 0)[0]["readings"][0];
    assert_eq!(reading["assumed"], serde_json::json!([]));
}

/// No tag: a result with a reason, not an error.
#[test]
fn a_bare_field_is_exit_code_1_with_a_reason() {
    let bench = Bench::with("bare.wav --no-tag --seconds 0.1 --ebn0 10");
    let run = bench.decode("bare.wav").ends(1);
    assert!(run.out.contains("[no-ripple]"), "{}", run.out);
    assert_eq!(run.errors, "");
    let object = &bench.json("bare.wav", 1)[0];
    assert_eq!(object["verdict"], "unread");
    assert_eq!(object["readings"], Value::Array(vec![]));
    assert_eq!(object["field"]["present"], true);
    assert_eq!(codes(object), ["no-ripple"]);
}

#[test]
fn one_unreadable_file_does_not_stop_the_others() {
    let bench = Bench::with("a.wav --id 999:1 --seconds 0.1 --ebn0 20");
    bench.write("broken.wav", b"RIFF\x04\x00\x00\x00WAVE");
    let run = bench.decode("a.wav broken.wav missing.wav a.wav").ends(2);
    assert_eq!(run.out.matches("999 000000000001").count(), 2);
    let errors: Vec<&str> = run.errors.lines().collect();
    assert_eq!(errors.len(), 2, "{}", run.errors);
    assert!(errors[0].contains("broken.wav") && errors[1].contains("missing.wav"));
    let objects = bench
        .decode("missing.wav a.wav --json")
        .ends(2)
        .objects()
        .len();
    assert_eq!(objects, 1);
}

#[test]
fn the_expected_number_decides() {
    let bench = Bench::with("a.wav --id 999:5 --seconds 0.1 --ebn0 20");
    bench.decode("a.wav --expect 999:5").ends(0);
    bench.decode("a.wav --expect 999:000000000005").ends(0);
    let run = bench.decode("a.wav --expect 999:6").ends(1);
    assert!(run.out.contains("expected"), "{}", run.out);
    bench.decode("a.wav --expect 900:5").ends(1);
    let object = &bench.json("a.wav --expect 999:6", 1)[0];
    assert_eq!(object["verdict"], "unread");
    assert!(codes(object).contains(&"not-the-expected-number"));
    bench.decode("a.wav --expect 5").refused(&["--expect"]);
}

/// Everything a reading says against what `synth` put in. The ripple's measured depth and Eb/N0 have a spread of a few
/// percent at 15 dB; the angle that of noise over ripple in 3 telegrams, under a degree.
#[test]
fn the_object_says_what_is_in_the_capture() {
    let bench = Bench::with(
        "a.wav --id 276:1234567890 --retag 3 --user 9 --data-block --trailer 00A5C3 --seconds 0.1 \
         --field-hz 134187.2 --depth 0.02 --angle 71.5 --ebn0 15 --seed 4",
    );
    let object = &bench.json("a.wav", 0)[0];
    assert_eq!(object["verdict"], "read");
    let capture = &object["capture"];
    assert_eq!(capture["path"], "a.wav");
    assert_eq!(capture["samples"], 100_000);
    assert_eq!(capture["rate_hz"], 1e6);
    assert_eq!(capture["seconds"], 0.1);
    assert_eq!(capture["kind"], "direct");
    let reading = &object["readings"][0];
    assert_eq!(reading["id"], "276001234567890");
    assert_eq!(reading["country"], 276);
    assert_eq!(reading["national"], 1_234_567_890_u64);
    assert_eq!(reading["kind"], "fdx-b");
    assert_eq!(
        (reading["animal"].as_bool(), reading["retag"].as_u64()),
        (Some(true), Some(3))
    );
    assert_eq!(reading["user"], 9);
    assert_eq!(reading["data_block"], true);
    assert_eq!(reading["trailer"], "00A5C3");
    assert!(number(&reading["odds_wrong"]) <= 1e-5);
    let near = |value: &Value, wanted: f64, by: f64| {
        assert!(
            (number(value) - wanted).abs() <= by,
            "{value} for {wanted} ± {by}"
        );
    };
    near(&reading["telegrams"], 0.1 * 134_187.2 / 4096.0, 0.05);
    near(&reading["ebn0_db"], 15.0, 0.6);
    near(&reading["depth"], 0.02, 0.0008);
    near(&reading["angle_deg"], 71.5, 2.0);
    near(&reading["from_s"], 0.0, 0.001);
    near(&reading["to_s"], 0.1, 0.001);
    let field = &object["field"];
    assert_eq!(field["present"], true);
    near(&field["frequency_hz"], 134_187.2, 0.05);
    near(&field["offset_ppm"], -95.4, 0.5);
    // 1 V in a range of ±2 V.
    near(&field["amplitude"], 0.5, 0.005);
    assert_eq!(field["unit"], "full scale");
    assert_eq!(field["on"].as_array().unwrap().len(), 1);
}

/// What a kind of capture cannot show is null.
#[test]
fn each_kind_of_capture_is_named_and_the_unknown_is_null() {
    for (kind, synth, decode) in [
        ("folded", "--rate 100000 --seconds 0.2", ""),
        ("envelope", "--kind envelope --seconds 0.3", ""),
        ("logic", "--kind logic --seconds 0.1", ""),
        ("iq", "--kind iq --seconds 0.2 --bits 32", "--rate 48000"),
    ] {
        let name = if kind == "iq" { "a.npy" } else { "a.wav" };
        let bench = Bench::with(&format!("{name} --id 999:77 --ebn0 18 {synth}"));
        let object = &bench.json(&format!("{name} {decode}"), 0)[0];
        assert_eq!(object["capture"]["kind"], kind);
        assert_eq!(object["readings"][0]["id"], "999000000000077");
        let carrier = matches!(kind, "folded" | "iq");
        assert_eq!(
            object["readings"][0]["angle_deg"].is_null(),
            !carrier,
            "{kind}"
        );
        assert_eq!(
            object["readings"][0]["depth"].is_null(),
            kind == "logic",
            "{kind}"
        );
    }
}

/// The same two levels as a logic analyser exports them: a row of time and state for every edge.
#[test]
fn edge_lists_are_read() {
    let rate_hz = 1e6;
    let bench = Bench::with("a.raw --kind logic --id 999:98765432109 --seconds 0.3 --rate 1000000");
    let bytes = std::fs::read(bench.0.path().join("a.raw")).unwrap();
    let samples: Vec<i16> = bytes
        .as_chunks::<2>()
        .0
        .iter()
        .map(|&b| i16::from_le_bytes(b))
        .collect();
    let middle = samples.iter().max().unwrap() / 2;
    let mut list = String::from("Time [s],Channel 0\n");
    let mut state = None;
    for (index, &sample) in samples.iter().enumerate() {
        let now = sample > middle;
        if state.replace(now) != Some(now) {
            list.push_str(&format!(
                "{:.7},{}\n",
                index as f64 / rate_hz,
                u8::from(now)
            ));
        }
    }
    bench.write("edges.csv", list);
    let object = &bench.json("edges.csv", 0)[0];
    assert_eq!(object["capture"]["kind"], "logic");
    assert_eq!(object["readings"][0]["id"], "999098765432109");
}

/// 15 ms are half a telegram: the reason is the length, and a ripple that is there is not said to be missing.
#[test]
fn a_short_record_is_said_to_be_short() {
    let bench = Bench::with("a.wav --id 999:5 --seconds 0.015 --depth 0.05 --ebn0 20");
    let object = &bench.json("a.wav", 1)[0];
    assert_eq!(codes(object), ["record-too-short"]);
    let told = number(&object["findings"][0]["evidence"]["telegrams"]);
    assert!((told - 0.015 * 134_200.0 / 4096.0).abs() < 0.02, "{told}");
}

/// Ripples of 0.007 %, as coils and circuits make them 60 mm away: the field comes on with the first sample; a second reader beats half
/// a time with it; one is 800 Hz away in a record too short to show what repeats, one on a line of the telegram's own. What is to spare
/// is what it is without, within three of the deviations stated.
#[test]
fn shallow_ripples_are_read_beside_what_is_ordinary() {
    let margin = |line: &str| {
        let bench = Bench::with(&format!(
            "a.wav --id 999:123456 --rate 500k --seed 3 --set tag.1.distance_mm=60 {line}"
        ));
        let object = &bench.json("a.wav", 0)[0];
        assert_eq!(object["readings"][0]["id"], "999000000123456", "{line}");
        let deviation = number(&object["margin_deviation_db"]);
        (number(&object["margin_db"]), deviation)
    };
    for (seconds, line) in [
        (0.1, "--set reader.on_before_ms=0"),
        (
            0.1,
            "--set tone.1.frequency_hz=134205 --set tone.1.level_db=-48",
        ),
        (
            0.05,
            "--set tone.1.frequency_hz=135000 --set tone.1.level_db=-40",
        ),
        (
            0.1,
            "--set tone.1.frequency_hz=135200 --set tone.1.level_db=-50",
        ),
    ] {
        let (plain, deviation) = margin(&format!("--seconds {seconds}"));
        let (beside, other) = margin(&format!("--seconds {seconds} {line}"));
        let allowed = 3.0 * deviation.hypot(other);
        assert!(
            (beside - plain).abs() < allowed,
            "{line}: {plain} {beside} {allowed}"
        );
    }
}

/// 23.414 mV peak in ten turns of 50 mm at 134.2 kHz are 1 µT rms (law of induction, by hand).
#[test]
fn a_pick_up_coil_tells_the_field() {
    let bench = Bench::new();
    let row = |k: u32| {
        let turn = std::f64::consts::TAU * 0.2684 * f64::from(k);
        format!("{},{:.9}\n", f64::from(k) * 2e-6, 0.023_414 * turn.cos())
    };
    let rows: String = (0..50_000).map(row).collect();
    bench.write("coil.csv", format!("time (s),coil (V)\n{rows}"));
    let object = &bench.json("coil.csv --pickup 10,50", 1)[0];
    let flux_t = number(&object["field"]["flux_density_t_rms"]);
    assert!((flux_t - 1e-6).abs() < 1e-9, "{flux_t}");
    // What single precision leaves of a record without noise is no impulse.
    assert_eq!(codes(object), ["no-ripple"]);
    let page = bench.decode("coil.csv --pickup 10,50").ends(1).out;
    let text = page.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "µT rms (0.796 A/m)",
        "It powers a collar-disc (0.50 µT)",
        "[no-ripple]",
    ] {
        assert!(text.contains(part), "{part} not in {text}");
    }
    assert!(
        !bench.json("coil.csv", 1)[0]["field"]
            .as_object()
            .unwrap()
            .contains_key("flux_density_t_rms")
    );
    bench
        .decode("coil.csv --pickup 10")
        .refused(&["--pickup", "ten turns of 50 mm"]);
    bench
        .decode("coil.csv --pickup 0,50")
        .refused(&["turns", "1 to 10000"]);
    bench.synth("fractions.wav --id 999:1 --seconds 0.05 --ebn0 20");
    let text = bench.decode("fractions.wav --pickup 10,50").ends(0).out;
    assert!(
        text.contains("not known") && text.contains("--full-scale"),
        "{text}"
    );
}

#[test]
fn standard_input_is_a_capture() {
    let bench = Bench::with("a.wav --id 999:8 --seconds 0.1 --ebn0 20");
    let mut child = spawn(bench.command("decode - --json"), Stdio::piped());
    let content = std::fs::read(bench.0.path().join("a.wav")).unwrap();
    child.stdin.take().unwrap().write_all(&content).unwrap();
    let run = Run::new("-", child.wait_with_output().unwrap()).ends(0);
    let object = &run.objects()[0];
    assert_eq!(object["readings"][0]["id"], "999000000000008");
    assert_eq!(object["capture"]["path"], "-");
}

fn spawn(mut command: Command, input: Stdio) -> Child {
    command
        .stdin(input)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn a_closed_pipe_is_success() {
    let bench = Bench::with("a.wav --id 999:8 --seconds 0.1 --ebn0 20");
    let mut child = spawn(bench.command("decode a.wav a.wav"), Stdio::null());
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
}

/// The tag is in the field from the start; 20 ms hold two thirds of a telegram and cannot be read, 40 ms can.
#[test]
fn from_and_to_cut_a_piece_out() {
    let bench = Bench::with("a.wav --id 999:9 --seconds 0.2 --ebn0 20");
    let object = &bench.json("a.wav --from 0.05 --to 0.09", 0)[0];
    assert_eq!(object["capture"]["samples"], 40_000);
    let object = &bench.json("a.wav --to 0.02", 1)[0];
    assert_eq!(object["capture"]["samples"], 20_000);
    bench.decode("a.wav --from 2").refused(&["--from"]);
    bench
        .decode("a.wav --from 0.1 --to 0.1")
        .refused(&["--to", "--from"]);
    bench.decode("a.wav --from=-1").refused(&["--from"]);
}

#[test]
fn times_count_from_the_first_sample_of_the_file() {
    let bench = Bench::with("a.wav --id 999:9 --seconds 0.2 --ebn0 20");
    let object = &bench.json("a.wav --from 0.05 --to 0.15", 0)[0];
    let reading = &object["readings"][0];
    let field_on = &object["field"]["on"][0];
    for (value, wanted) in [
        (&reading["from_s"], 0.05),
        (&reading["to_s"], 0.15),
        (&field_on[0], 0.05),
        (&field_on[1], 0.15),
    ] {
        assert!((number(value) - wanted).abs() < 0.001, "{value}, {wanted}");
    }
}

/// Field and tag on `coil`, half of it turned round on `other`, a steady voltage on `supply`.
#[test]
fn channels_are_chosen_by_number_name_and_difference() {
    let bench =
        Bench::with("a.csv --id 999:10 --seconds 0.04 --rate 500000 --depth 0.05 --bits 12");
    let mut table = String::from("time (s),supply (V),coil (V),other (V)\n");
    for row in bench.text("a.csv").lines().skip(1) {
        let (time, volts) = row.split_once(',').unwrap();
        let half = volts.trim().parse::<f64>().unwrap() / 2.0;
        table.push_str(&format!("{time},5.0,{volts},{}\n", -half));
    }
    bench.write("scope.csv", table);
    for (choice, channel, amplitude) in [
        ("", "coil", 1.0),
        ("--channel 2", "coil", 1.0),
        ("--channel other", "other", 0.5),
        ("--channel coil-other", "coil-other", 1.5),
        ("--channel 2-3", "coil-other", 1.5),
    ] {
        let object = &bench.json(&format!("scope.csv {choice}"), 0)[0];
        assert_eq!(object["capture"]["channel"], channel, "{choice}");
        assert_eq!(object["field"]["unit"], "V");
        let found = number(&object["field"]["amplitude"]);
        assert!(
            (found / amplitude - 1.0).abs() < 0.01,
            "{choice}: {found} V"
        );
    }
    bench.decode("scope.csv --channel supply").ends(1);
    bench
        .decode("scope.csv --channel 4")
        .refused(&["4", "supply", "coil", "other"]);
    let scaled = &bench.json("scope.csv --scale 10", 0)[0];
    assert!((number(&scaled["field"]["amplitude"]) / 10.0 - 1.0).abs() < 0.01);
}

#[test]
fn bare_samples_need_their_kind_and_take_a_rate() {
    let bench = Bench::with("a.raw --id 999:11 --seconds 0.1 --ebn0 20");
    bench.decode("a.raw").refused(&["a.raw", "--raw"]);
    bench
        .decode("a.raw --raw wav")
        .refused(&["i8", "i16", "cf32"]);
    let stated = &bench.json("a.raw --raw i16 --rate 1e6", 0)[0];
    assert_eq!(stated["readings"][0]["id"], "999000000000011");
    assert_eq!(stated["capture"]["rate_hz"], 1e6);
    // Nothing states the rate: the field is taken as 134.2 kHz, and said to be.
    let assumed = &bench.json("a.raw --raw i16", 0)[0];
    assert!((number(&assumed["capture"]["rate_hz"]) / 1e6 - 1.0).abs() < 1e-3);
    assert!(assumed["field"]["offset_ppm"].is_null());
    assert!(codes(assumed).contains(&"rate-assumed"));
}

/// A file that states a rate 1 % too high: the field looks 1 % too high until the right rate is given.
#[test]
fn the_rate_given_wins_with_a_note() {
    let bench = Bench::with("a.wav --id 999:12 --seconds 0.1 --ebn0 20 --rate 500000");
    let mut content = std::fs::read(bench.0.path().join("a.wav")).unwrap();
    content[24..28].copy_from_slice(&505_000_u32.to_le_bytes());
    bench.write("a.wav", content);
    let believed = &bench.json("a.wav", 0)[0];
    assert!((number(&believed["field"]["frequency_hz"]) - 135_542.0).abs() < 1.0);
    assert!(codes(believed).contains(&"field-off-frequency"));
    let given = &bench.json("a.wav --rate 500000", 0)[0];
    assert_eq!(given["capture"]["rate_hz"], 5e5);
    assert!((number(&given["field"]["frequency_hz"]) - 134_200.0).abs() < 1.0);
    let note = &given["findings"].as_array().unwrap()[0];
    assert_eq!(note["code"], "capture-note");
    let text = note["text"].as_str().unwrap();
    assert!(text.contains("500000") && text.contains("505000"), "{text}");
    for bad in ["0", "-1", "nan", "inf", "x"] {
        bench
            .decode(&format!("a.wav --rate={bad}"))
            .refused(&["--rate"]);
    }
}

/// Records of two thirds of a telegram, 10 000 points at 500 kS/s: none can be read alone, three together can.
#[test]
fn short_records_are_joined() {
    let bench = Bench::new();
    for seed in 1..=3 {
        bench.synth(&format!(
            "{seed}.csv --id 999:123456789 --rate 500000 --seconds 0.02 --depth 0.05 --bits 8 --ebn0 20 --seed {seed}"
        ));
    }
    let alone = bench.json("1.csv 2.csv 3.csv", 1);
    assert_eq!(alone.len(), 3);
    assert!(alone.iter().all(|object| object["verdict"] == "unread"));
    let together = bench.json("--join 1.csv 2.csv 3.csv", 0);
    assert_eq!(together.len(), 1);
    assert_eq!(together[0]["readings"][0]["id"], "999000123456789");
    assert_eq!(together[0]["capture"]["samples"], 30_000);
    bench
        .decode("--join 1.csv missing.csv")
        .refused(&["missing.csv"]);
}

/// Scraps of a quarter of a telegram, 2500 points at 300 kS/s: joined they may give no number, but never another one.
#[test]
fn joined_scraps_give_no_wrong_number() {
    let bench = Bench::new();
    let mut scraps = String::new();
    for seed in 301..=312 {
        bench.synth(&format!(
            "{seed}.csv --id 999:2499156 --rate 300000 --seconds 0.00833 --depth 0.05 --bits 8 --ebn0 20 --seed {seed}"
        ));
        scraps.push_str(&format!(" {seed}.csv"));
    }
    let run = bench.decode(&format!("--join{scraps} --json"));
    for object in run.objects() {
        for reading in object["readings"].as_array().unwrap() {
            assert_eq!(reading["id"], "999000002499156");
        }
    }
}

/// A capture near the limit: what counts as read follows the odds asked for.
#[test]
fn the_odds_decide_what_counts_as_read() {
    let bench = Bench::with("a.wav --id 999:5 --seconds 0.1 --ebn0 -1.5");
    let object = &bench.json("a.wav", 0)[0];
    let odds = number(&object["readings"][0]["odds_wrong"]);
    assert!(odds > 1e-12 && odds <= 1e-5, "{odds}");
    let stricter = &bench.json(&format!("a.wav --odds {}", odds / 2.0), 1)[0];
    assert_eq!(stricter["verdict"], "unread");
    assert!(codes(stricter).contains(&"ripple-too-weak"), "{stricter}");
    bench.json(&format!("a.wav --odds {}", (2.0 * odds).min(0.1)), 0);
    for bad in ["0", "1", "-0.1", "nan"] {
        bench
            .decode(&format!("a.wav --odds={bad}"))
            .refused(&["--odds"]);
    }
}

#[test]
fn bad_arguments_are_refused_with_one_line() {
    let bench = Bench::new();
    bench.decode("").refused(&["CAPTURE"]);
    bench
        .decode("a.wav --no-such-option")
        .refused(&["--no-such-option"]);
    bench.decode("a.wav --scale inf").refused(&["--scale"]);
    let missing = bench.decode("missing.wav").ends(2).errors;
    assert_eq!(missing.matches("(os error").count(), 1, "{missing}");
    std::fs::create_dir(bench.0.path().join("empty")).unwrap();
    bench.decode("empty").refused(&["empty", "no captures"]);
}

/// What an NPY file holds.
fn values<T: npyz::Deserialize>(npy: &[u8]) -> Vec<T> {
    npyz::NpyFile::new(npy).unwrap().into_vec().unwrap()
}

/// What is exported is what was read: the bits are the telegram's, and the mean telegram follows its load states at the stated depth.
#[test]
fn arrays_for_notebooks_hold_what_was_read() {
    let bench = Bench::with("tag.wav --id 999:77 --depth 0.01 --angle 30 --ebn0 20 --seed 4");
    let reading = &bench.json("tag.wav --export out.npz", 0)[0]["readings"][0];
    bench.json("tag.wav --export out.csv", 0);
    let packed = File::open(bench.0.path().join("out.npz")).unwrap();
    let mut archive = zip::ZipArchive::new(packed).unwrap();
    let mut array = |name: &str| -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut member = archive.by_name(&format!("{name}.npy")).unwrap();
        member.read_to_end(&mut bytes).unwrap();
        bytes
    };
    let mut reals = |name: &str| -> Vec<f64> { values(&array(name)) };
    let (times, spectrum_db) = (reals("telegram_time_s"), reals("spectrum_db"));
    let count = times.len();
    assert!(count == 4096 && (times[4095] - 4095.0 / 134_200.0).abs() < 5e-8);
    assert!(spectrum_db.iter().all(|db| *db < 0.1));
    let (bits, states): (Vec<i8>, Vec<i8>) =
        (values(&array("bits")), values(&array("load_states")));
    let sent: Vec<i8> = Telegram::new(Identity::new(999, 77).unwrap().code())
        .bits()
        .map(i8::from)
        .to_vec();
    assert_eq!(bits, sent);
    let telegram: Vec<num_complex::Complex32> = values(&array("telegram"));
    let along: f64 = telegram
        .iter()
        .enumerate()
        .map(|(cycle, value)| f64::from(value.re) * f64::from(states[cycle / 16]))
        .sum();
    // The receiver's band rounds the edges: at each, some two of 16 cycles are on their way.
    let depth = number(&reading["depth"]);
    let mean = along / count as f64;
    assert!((0.8..1.0).contains(&(mean / depth)), "{mean} of {depth}");
    let table = bench.text("out.csv");
    let mut lines = table.lines();
    assert_eq!(
        lines.next().unwrap(),
        "field_time_s,field_re,field_im,ripple_time_s,ripple_re,ripple_im,telegram_time_s,telegram_re,telegram_im,bits,load_states,\
         spectrum_offset_hz,spectrum_db"
    );
    assert!(lines.all(|line| line.split(',').count() == 13));
    bench
        .decode("tag.wav tag.wav --export out.npz")
        .refused(&["--export holds one capture", "2 were given"]);
    bench
        .decode("tag.wav --export out.txt")
        .refused(&["must end in .npz or .csv"]);
}
