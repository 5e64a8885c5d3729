//! The `synth` command from outside: the files it makes hold what was asked for, and the same on every run.

use std::path::Path;
use std::process::{Command, Output};

use fieldripple::linecode::bits_between;
use fieldripple::telegram::Telegram;
use num_complex::Complex64;
use serde_json::Value;
use tempfile::TempDir;

/// Runs `synth` in `folder`; `line` is split at blanks.
fn run(folder: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("synth")
        .args(line.split_whitespace())
        .current_dir(folder)
        .output()
        .unwrap()
}

/// Makes a capture; returns its bytes and its truth.
fn synth(out: &str, line: &str) -> (Vec<u8>, Value) {
    let folder = TempDir::new().unwrap();
    let output = run(folder.path(), &format!("{out} {line}"));
    assert_eq!(output.status.code(), Some(0), "{line}: {output:?}");
    let truth = std::fs::read(folder.path().join(format!("{out}.truth.json"))).unwrap();
    let files = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(files, 2, "only the capture and its truth");
    (
        std::fs::read(folder.path().join(out)).unwrap(),
        serde_json::from_slice(&truth).unwrap(),
    )
}

/// Samples without quantisation, in volts.
fn volts(line: &str) -> (Vec<f64>, Value) {
    let (bytes, truth) = synth("a.raw", &format!("{line} --bits 32"));
    let (floats, rest) = bytes.as_chunks::<4>();
    assert!(rest.is_empty());
    let floats = floats.iter().map(|&b| f64::from(f32::from_le_bytes(b)));
    (floats.collect(), truth)
}

fn phasors(line: &str) -> (Vec<Complex64>, Value) {
    let (values, truth) = volts(&format!("{line} --kind iq"));
    let (pairs, _) = values.as_chunks::<2>();
    (
        pairs.iter().map(|p| Complex64::new(p[0], p[1])).collect(),
        truth,
    )
}

/// Definition: Eb/N0 = r²·T_b/(2·N0) for real samples with the carrier, r²·T_b/N0 for envelopes and I/Q samples,
/// N0 = 2σ²/f_s, T_b = 32/f_c. The variance of a variance from N samples is 2σ⁴/N: five standard deviations of N ≥ 96 000
/// are 2.3 %, 0.10 dB.
#[test]
fn ebn0_measured_in_the_samples_is_the_one_asked_for() {
    for (kind, rate, seconds, amplitude) in [
        ("direct", 1e6, 0.5, 1.0),
        ("direct", 192e3, 1.0, 6.5),
        ("envelope", 48e3, 2.0, 1.0),
        ("iq", 48e3, 1.0, 2.0),
    ] {
        for ebn0_db in [-8.0, 3.0, 20.0] {
            let common = format!(
                "--id 999:1 --kind {kind} --rate {rate} --seconds {seconds} --amplitude {amplitude} --depth 0.02 --angle 50 --field-hz 134190 --seed 3"
            );
            let (quiet, _) = volts(&common);
            let (noisy, truth) = volts(&format!("{common} --ebn0 {ebn0_db}"));
            let noise: Vec<f64> = noisy.iter().zip(&quiet).map(|(a, b)| a - b).collect();
            let variance = noise.iter().map(|x| x * x).sum::<f64>() / noise.len() as f64;
            let n0 = 2.0 * variance / rate;
            let bit_s = 32.0 / 134_190.0;
            // The ripple in the quiet samples themselves where they show it, else from what was asked for.
            let energy = match kind {
                "envelope" => {
                    let high = quiet.iter().cloned().fold(f64::MIN, f64::max);
                    let low = quiet.iter().cloned().fold(f64::MAX, f64::min);
                    ((high - low) / 2.0).powi(2) * bit_s
                }
                "iq" => (amplitude * 0.02f64).powi(2) * bit_s,
                _ => (amplitude * 0.02f64).powi(2) * bit_s / 2.0,
            };
            let measured = 10.0 * (energy / n0).log10();
            assert!(
                (measured - ebn0_db).abs() < 0.1,
                "{kind} {rate}: {measured} dB instead of {ebn0_db}"
            );
            assert_eq!(truth["noise"]["ebn0_db"], ebn0_db);
            let sigma = truth["noise"]["sigma_v"].as_f64().unwrap();
            assert!((sigma * sigma / variance - 1.0).abs() < 0.023);
        }
    }
}

/// Load states read off the noiseless phasor at the times the truth file states give back the code.
#[test]
fn the_phasor_holds_the_telegram_at_the_depth_angle_and_time_of_the_truth() {
    for (seed, angle, depth) in [(1, 0.0f64, 0.01), (2, 90.0, 0.05), (3, -45.0, 0.3)] {
        let (phasors, truth) = phasors(&format!(
            "--rate 1000000 --seconds 0.1 --field-hz 134210 --centre 134210 --angle {angle} --depth {depth} --seed {seed} --amplitude 3"
        ));
        let tag = &truth["tags"][0];
        let phase = truth["field"]["phase_deg"].as_f64().unwrap().to_radians();
        let start = tag["start_cycles"].as_f64().unwrap();
        let direction = Complex64::from_polar(1.0, angle.to_radians());
        let state_at = |cycles: f64| {
            let sample = (cycles / 134_210.0 * 1e6).round() as usize;
            let ripple = phasors[sample] / Complex64::from_polar(3.0, phase) - 1.0;
            let along = ripple / direction;
            assert!((along.re.abs() - depth).abs() < 1e-6, "{along}");
            assert!(along.im.abs() < 1e-6, "{along}");
            if along.re > 0.0 { 1i8 } else { -1 }
        };
        let signs: Vec<i8> = (0..=128)
            .map(|bit| state_at(start + 32.0 * f64::from(bit) + 8.0))
            .collect();
        assert_eq!(i64::from(signs[0]), tag["sign"].as_i64().unwrap());
        let bits: [bool; 128] = bits_between(&signs).try_into().unwrap();
        let telegram = Telegram::from_bits(&bits).unwrap();
        assert_eq!(tag["code_hex"], format!("{:016X}", telegram.code));
        assert_eq!(tag["crc_hex"], format!("{:04X}", telegram.crc()));
        assert_eq!(tag["country"], 999);
    }
}

#[test]
fn the_same_command_makes_the_same_file_and_another_seed_another() {
    let line = |seed| format!("--seconds 0.02 --ebn0 5 --seed {seed}");
    let (first, truth) = synth("a.wav", &line(1));
    let (again, same_truth) = synth("a.wav", &line(1));
    assert_eq!(first, again);
    assert_eq!(truth, same_truth);
    let (other, other_truth) = synth("a.wav", &line(2));
    assert_ne!(first, other);
    assert_ne!(truth["tags"][0]["id"], other_truth["tags"][0]["id"]);
    // Giving one drawn value leaves the others alone.
    let id = truth["tags"][0]["id"].as_str().unwrap();
    let (given, given_truth) = synth("a.wav", &format!("{} --id 999:{}", line(1), &id[3..]));
    assert_eq!(first, given);
    assert_eq!(truth["tags"], given_truth["tags"]);
}

/// First samples and CRC-32 of a whole file, kept from the first version: old commands must go on making the same captures.
#[test]
fn the_capture_of_a_seed_is_frozen() {
    let (bytes, _) = synth("a.wav", "--id 999:1 --seconds 0.05 --ebn0 10 --seed 42");
    let mut reader = hound::WavReader::new(&bytes[..]).unwrap();
    let samples: Vec<i16> = reader.samples().take(6).map(Result::unwrap).collect();
    let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes);
    assert_eq!(
        (&samples[..], sum),
        (
            &[-9288i16, -16592, -12338, 54, 12844, 16097][..],
            1_541_865_405
        )
    );
}

#[test]
fn every_form_holds_the_same_samples() {
    for kind in ["direct", "envelope", "iq"] {
        let line = format!(
            "--id 999:7 --kind {kind} --seconds 0.01 --bits 12 --ebn0 30 --range 2 --rate 400000"
        );
        let (npy, truth) = synth("a.npy", &line);
        let npy = npyz::NpyFile::new(&npy[..]).unwrap();
        let npy: Vec<f32> = if kind == "iq" {
            let complex = npy.into_vec::<num_complex::Complex32>().unwrap();
            complex.iter().flat_map(|c| [c.re, c.im]).collect()
        } else {
            npy.into_vec::<f32>().unwrap()
        };
        let (wav, _) = synth("a.wav", &line);
        let mut wav = hound::WavReader::new(&wav[..]).unwrap();
        assert_eq!(wav.spec().sample_rate, 400_000);
        assert_eq!(wav.spec().channels, if kind == "iq" { 2 } else { 1 });
        let wav: Vec<f32> = wav
            .samples::<i16>()
            .map(|sample| f32::from(sample.unwrap()) / 32768.0 * 2.0)
            .collect();
        let (raw, _) = synth("a.raw", &line);
        let raw: Vec<f32> = raw
            .as_chunks::<2>()
            .0
            .iter()
            .map(|&bytes| f32::from(i16::from_le_bytes(bytes)) / 32768.0 * 2.0)
            .collect();
        let (text, _) = synth("a.csv", &line);
        let text = String::from_utf8(text).unwrap();
        let text: Vec<f32> = text
            .lines()
            .skip(1)
            .flat_map(|line| line.split(',').skip(1))
            .map(|value| value.parse().unwrap())
            .collect();
        assert_eq!(npy, wav, "{kind}");
        assert_eq!(npy, raw, "{kind}");
        assert_eq!(npy, text, "{kind}");
        // Twelve bits over ±2 V.
        let step = 4.0 / 4096.0;
        assert!(npy.iter().all(|value| (value / step).fract() == 0.0));
        assert_eq!(truth["capture"]["kind"], kind);
        assert_eq!(truth["capture"]["samples"], 4000);
    }
}

#[test]
fn the_truth_file_states_everything() {
    let (_, truth) = synth(
        "a.csv",
        "--id 999:1 --id 756:2 --retag 2 --not-animal --trailer 00ABCD --data-block --seconds 0.12 --rate 192000 --field-hz 134205 \
         --depth 0.02 --level-db -10 --angle 10 --angle -20 --start 5 --start 6.5 --sign -1 --sign 1 --seed 9 --amplitude 5 \
         --offset 0.25 --phase 45 --bits 10 --range 20 --clock-ppm 30 --pulse 50:3",
    );
    assert_eq!(truth["schema"], "fieldripple.truth/1");
    assert_eq!(truth["seed"], 9);
    assert_eq!(truth["command"][0], "synth");
    assert_eq!(truth["command"][1], "a.csv");
    for (pointer, value) in [
        ("/capture/kind", Value::from("folded")),
        ("/capture/samples", 23040.into()),
        ("/capture/rate_hz", 192_000.0.into()),
        ("/capture/clock_ppm", 30.0.into()),
        ("/capture/bits", 10.into()),
        ("/capture/range_v", 20.0.into()),
        ("/capture/clipped_samples", 0.into()),
        ("/capture/unit", "V".into()),
        ("/field/frequency_hz", 134_205.0.into()),
        ("/field/amplitude_v", 5.0.into()),
        ("/field/phase_deg", 45.0.into()),
        ("/field/offset_v", 0.25.into()),
        ("/field/pulses/on_s", 0.05.into()),
        ("/field/pulses/off_s", 0.003.into()),
        ("/tags/0/id", "999000000000001".into()),
        ("/tags/0/depth", 0.02.into()),
        ("/tags/0/angle_deg", 10.0.into()),
        ("/tags/0/start_cycles", 5.0.into()),
        ("/tags/0/sign", (-1).into()),
        ("/tags/0/animal", false.into()),
        ("/tags/0/retag", 2.into()),
        ("/tags/0/data_block", true.into()),
        ("/tags/0/trailer", "00ABCD".into()),
        ("/tags/1/id", "756000000000002".into()),
        ("/tags/1/angle_deg", (-20.0).into()),
        ("/tags/1/start_cycles", 6.5.into()),
        ("/tags/1/sign", 1.into()),
        ("/noise/ebn0_db", Value::Null),
        ("/noise/sigma_v", 0.0.into()),
    ] {
        assert_eq!(truth.pointer(pointer), Some(&value), "{pointer}");
    }
    let depth = truth["tags"][1]["depth"].as_f64().unwrap();
    assert!((20.0 * (depth / 0.02).log10() + 10.0).abs() < 1e-9);
    assert_eq!(truth["field"]["on"].as_array().unwrap().len(), 3);
}

#[test]
fn a_switched_field_is_silent_in_its_pauses_and_restarts_the_telegram() {
    let (phasors, _) = phasors("--id 999:1 --rate 1000000 --seconds 0.159 --pulse 50:3 --phase 0");
    let magnitude = |sample: usize| phasors[sample].norm();
    assert!(magnitude(0) < 1e-6);
    // e^{-25} after 2.5 ms at a time constant of 0.1 ms.
    assert!(magnitude(52_500) < 1e-9);
    assert!((magnitude(40_000) - 1.0).abs() < 0.02);
    for sample in (0..50_000).step_by(7) {
        let (first, second) = (phasors[sample], phasors[sample + 53_000]);
        assert!((first - second).norm() < 1e-6, "{sample}");
    }
}

/// A clock fast by 100 ppm takes its samples closer together: a tone turns less from one to the next.
#[test]
fn the_clock_error_shifts_the_frequency_seen() {
    let (phasors, _) = phasors(
        "--no-tag --rate 100000 --seconds 0.1 --field-hz 134200 --centre 124200 --clock-ppm 100 --phase 0",
    );
    // I/Q captures are mixed down before they are sampled: 10 kHz seen at 100.010 kHz.
    let cycles = 10_000.0 / 100_010.0 * 9999.0;
    let expected = Complex64::from_polar(1.0, std::f64::consts::TAU * cycles);
    assert!((phasors[9999] - expected).norm() < 1e-5);
}

#[test]
fn a_bare_field_has_noise_but_no_ripple_and_logic_has_two_levels() {
    let (phasors, truth) = phasors("--no-tag --seconds 0.1 --ebn0 10 --depth 0.01 --seed 5");
    assert_eq!(truth["tags"], Value::Array(vec![]));
    let sigma = truth["noise"]["sigma_v"].as_f64().unwrap();
    let mean = phasors.iter().sum::<Complex64>() / phasors.len() as f64;
    let n = 2.0 * phasors.len() as f64;
    let variance = phasors.iter().map(|p| (p - mean).norm_sqr()).sum::<f64>() / n;
    assert!((variance / (sigma * sigma) - 1.0).abs() < 5.0 * (2.0 / n).sqrt());

    let (bytes, truth) = synth("a.npy", "--id 999:1 --kind logic --seconds 0.1");
    assert_eq!(truth["capture"]["kind"], "logic");
    let levels: Vec<f32> = npyz::NpyFile::new(&bytes[..]).unwrap().into_vec().unwrap();
    let high = levels.iter().filter(|&&level| level == 1.0).count();
    let low = levels.iter().filter(|&&level| level == 0.0).count();
    assert_eq!(high + low, 10_000);
    // Half the time high: the code changes at every bit start, so levels balance within a bit here and there.
    assert!((4500..5500).contains(&high), "{high}");
}

#[test]
fn clipping_is_reported() {
    let folder = TempDir::new().unwrap();
    let output = run(folder.path(), "a.wav --seconds 0.01 --range 0.5");
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stderr).contains("clipped"));
    let truth = std::fs::read(folder.path().join("a.wav.truth.json")).unwrap();
    let truth: Value = serde_json::from_slice(&truth).unwrap();
    assert!(truth["capture"]["clipped_samples"].as_u64().unwrap() > 5000);
}

#[test]
fn bad_arguments_are_refused_with_one_line_and_leave_no_file() {
    let folder = TempDir::new().unwrap();
    for line in [
        "",
        "a",
        "a.mp3",
        "missing/a.wav",
        "a.wav --id 999",
        "a.wav --id 1024:1",
        "a.wav --id 999:274877906944",
        "a.wav --rate 7999",
        "a.wav --rate 1e9",
        "a.wav --rate 44100.5",
        "a.wav --rate nan",
        "a.wav --seconds 0",
        "a.wav --seconds 3601",
        "a.wav --seconds -1",
        "a.wav --seconds 3600 --rate 100000000",
        "a.csv --seconds 100",
        "a.wav --field-hz 99999",
        "a.wav --depth 1",
        "a.wav --depth -0.1",
        "a.wav --depth 0.1 --depth 0.2",
        "a.wav --angle 181",
        "a.wav --angle 1 --angle 2",
        "a.wav --level-db -3",
        "a.wav --id 999:1 --id 999:2 --level-db 1",
        "a.wav --id 999:1 --id 999:2 --level-db -1 --depth 0.1 --depth 0.1",
        "a.wav --ebn0 101",
        "a.wav --ebn0 inf",
        "a.wav --ebn0 3 --depth 0",
        "a.wav --kind envelope --angle 90 --ebn0 3",
        "a.wav --kind sideways",
        "a.wav --kind iq --centre 100000",
        "a.wav --centre 134200",
        "a.wav --seed -1",
        "a.wav --bits 1",
        "a.wav --bits 25",
        "a.wav --amplitude 0",
        "a.wav --range 0",
        "a.wav --clock-ppm 20000",
        "a.wav --pulse 50",
        "a.wav --pulse 0.5:3",
        "a.wav --pulse 50:x",
        "a.wav --sign 0",
        "a.wav --start -1",
        "a.wav --no-tag --id 999:1",
        "a.wav --settings-lines",
        "a.wav --retag 8",
        "a.wav b.wav",
    ] {
        let output = run(folder.path(), line);
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{line}: {message}");
        assert_eq!(message.lines().count(), 1, "{line}: {message}");
        assert_eq!(
            std::fs::read_dir(folder.path()).unwrap().count(),
            0,
            "{line}"
        );
    }
}

/// Numbers may be written as one says them; the file is the same.
#[test]
fn numbers_may_carry_letters_and_units() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    let run = |arguments: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args(arguments.split_whitespace())
            .current_dir(at)
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (
            output.status.code(),
            text(output.stdout),
            text(output.stderr),
        )
    };
    let plain = "synth plain.wav --rate 500000 --seconds 0.07 --depth 0.02 --field-hz 134190";
    assert_eq!(run(plain).0, Some(0));
    let said = "synth said.wav --rate 500kS/s --seconds 70ms --depth 2% --field-hz 134.19kHz";
    assert_eq!(run(said).0, Some(0));
    let bytes = |name: &str| std::fs::read(at.join(name)).unwrap();
    assert_eq!(bytes("plain.wav"), bytes("said.wav"));
    let set =
        "synth set.wav --set digitiser.rate_hz=0.5M --set tag.1.distance_mm=6cm --seconds 50ms";
    assert_eq!(run(set).0, Some(0), "{set}");
    let truth = std::fs::read_to_string(at.join("set.wav.truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    assert_eq!(truth["capture"]["rate_hz"], 500e3);
    assert_eq!(truth["scenario"]["tag"][0]["distance_mm"], 60.0);

    let (code, page, _) = run("decode said.wav --rate 500k");
    assert_eq!(code, Some(0), "{page}");
    assert!(
        page.contains("35000 samples at 500 kS/s, 0.0700 s"),
        "{page}"
    );

    for (arguments, want) in [
        ("synth x.wav --rate 5m", "allowed is 8 kHz to 100 MHz"),
        ("synth x.wav --rate 1G", "allowed is 8 kHz to 100 MHz"),
        ("synth x.wav --seconds 5kHz", "allowed is 0.001 to 3600 s"),
        ("decode said.wav --rate 2 --rate", "--rate"),
        ("margin --vary rate=5m", "'5m' is not a number"),
    ] {
        let (code, _, error) = run(arguments);
        assert_eq!(code, Some(2), "{arguments}: {error}");
        assert!(error.contains(want), "{arguments}: {error}");
    }
}

/// A load is no capture: levels of 0 and 1 for a switch, in every form; real numbers need a flag and get a sentence.
#[test]
fn a_load_is_written_for_a_switch() {
    let folder = tempfile::tempdir().unwrap();
    let synth = |line: &str| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .arg("synth")
            .args(line.split_whitespace())
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        (output.status.code(), said)
    };
    assert_eq!(
        synth("load.csv --kind load --id 999:1"),
        (Some(0), String::new())
    );
    assert_eq!(
        synth("load.txt --kind load --id 999:1"),
        (Some(0), String::new())
    );
    let text = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let halves: Vec<String> = text("load.txt")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(str::to_string)
        .collect();
    let levels: Vec<String> = text("load.csv")
        .lines()
        .skip(1)
        .map(|line| line.split(',').next_back().unwrap().to_string())
        .collect();
    assert_eq!(levels.len(), 16 * halves.len());
    assert!(
        levels
            .iter()
            .zip(0..)
            .all(|(level, n)| *level == halves[n / 16])
    );
    // The header 00000000001: every half bit another state for ten bits, then two of one.
    assert_eq!(halves[..22].concat(), "1010101010101010101011");
    for (line, why) in [
        ("x.wav --kind load --id 276:5", "is not a test number"),
        (
            "x.wav --kind load --id 999:1 --depth 0.1",
            "--depth says nothing",
        ),
        (
            "x.wav --kind load --id 999:1 --rate 10k",
            "1.19 samples a half bit",
        ),
        (
            "x.wav --kind load --id 999:1 --id 999:2",
            "one switch is one tag",
        ),
        (
            "x.wav --kind load --id 999:1 --seconds 1 --repeats 2",
            "exclude each other",
        ),
        (
            "x.txt --kind load --id 999:1 --repeats 2",
            "says nothing of a list",
        ),
        ("x.txt --id 999:1", "allowed are .wav"),
        ("x.wav --id 999:1 --repeats 2", "go with --kind load only"),
        (
            "x.csv --kind load --id 999:1 --settings-lines",
            "goes with captures",
        ),
        ("x.wav --kind jam", "nothing beside the field"),
        (
            "x.wav --kind jam --set second_reader.distance_mm=500",
            "as a [[tone]]",
        ),
        (
            "x.txt --kind jam --set tone.1.level_db=-3",
            "allowed are .wav",
        ),
    ] {
        let (code, said) = synth(line);
        assert_eq!(code, Some(2), "{line}: {said}");
        assert!(
            said.contains(why) && said.trim().lines().count() == 1,
            "{line}: {said}"
        );
        assert!(!folder.path().join(line.split(' ').next().unwrap()).exists());
    }
    let (code, said) = synth("x.wav --kind load --id 276:5 --real-number");
    assert_eq!(code, Some(0));
    assert!(
        said.contains("276000000000005: use it only with the leave"),
        "{said}"
    );
}
