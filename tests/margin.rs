//! `fieldripple margin` from outside, and the theory and statistics that it stands on.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::atomic::AtomicBool;

use fieldripple::margin::theory::{
    Decision, bit_errors_inside_bits, bit_errors_of_boundaries, captures_inside_bits, simulate,
    telegrams_inside_bits, telegrams_of_boundaries,
};
use fieldripple::margin::{
    Contestant, Draw, Part, Plan, Scene, Table, Tally, run, told, told_sums, wilson95,
};
use fieldripple::telegram::{Identity, Telegram};
use fieldripple::world::{
    DirectSignal, RippleTag, SampleForm, Stream, generator, noise_sigma, ripple_rms, uniform,
};
use tempfile::TempDir;

fn command(folder: &Path, threads: u32, arguments: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("margin")
        .args(arguments.split_whitespace())
        .current_dir(folder)
        .env("RAYON_NUM_THREADS", threads.to_string())
        .output()
        .unwrap()
}

fn done(folder: &Path, threads: u32, arguments: &str) -> String {
    let output = command(folder, threads, arguments);
    let error = String::from_utf8_lossy(&output.stderr).to_string();
    assert_eq!(output.status.code(), Some(0), "{arguments}: {error}");
    String::from_utf8(output.stdout).unwrap()
}

fn refused(folder: &Path, arguments: &str) -> String {
    let output = command(folder, 1, arguments);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments}: {error}");
    assert_eq!(error.lines().count(), 1, "{arguments}: {error}");
    error
}

/// Some are read, some are not, in little more than a telegram.
const SMALL: &str =
    "--vary ebn0=0,3 --compare --limit --angle 20 --seconds 0.04 --rate 300000 --seed 5";

/// Plans of earlier versions hold the flags as one text.
#[test]
fn plans_hold_the_flags_given_and_old_ones_are_gone_on_with() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    for name in ["angle.csv", "angle.csv.plan.json"] {
        fs::copy(Path::new("waveforms/margins").join(name), at.join(name)).unwrap();
    }
    let plan = || fs::read_to_string(at.join("angle.csv.plan.json")).unwrap();
    assert!(plan().contains("SignalArguments"));
    let line = "--vary angle=0:90:10 --compare --seconds 0.07 --rate 500k --trials 100 --csv angle.csv --resume";
    let other = refused(at, &format!("{line} --ebn0 11"));
    assert!(
        other.contains("the flags of the captures differ"),
        "{other}"
    );
    done(at, 1, &format!("{line} --ebn0 12"));
    let settings = serde_json::from_str::<serde_json::Value>(&plan()).unwrap()["settings"].clone();
    let given = serde_json::json!({"rate": 500e3, "seconds": 0.07, "ebn0": 12.0});
    assert_eq!(settings, given);
    done(at, 1, &format!("{line} --ebn0 12"));
}

#[test]
fn threads_resuming_and_parts_give_the_same_table() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    let kept = |name: &str| fs::read_to_string(at.join(name)).unwrap();
    done(at, 1, &format!("{SMALL} --trials 7 --csv one.csv"));
    done(at, 2, &format!("{SMALL} --trials 7 --csv two.csv"));
    let one = kept("one.csv");
    assert_eq!(one, kept("two.csv"));
    assert!(one.starts_with("receiver,value,trials,read,wrong,share,low95,high95\nown,0,7,"));
    assert_eq!(one.lines().count(), 1 + 3 * 2, "{one}");

    done(at, 1, &format!("{SMALL} --trials 3 --csv resumed.csv"));
    assert_ne!(one, kept("resumed.csv"));
    done(
        at,
        2,
        &format!("{SMALL} --trials 7 --csv resumed.csv --resume"),
    );
    assert_eq!(one, kept("resumed.csv"));

    for part in 1..=3 {
        let line = format!("{SMALL} --trials 7 --csv part{part}.csv --part {part}/3");
        done(at, 1, &line);
    }
    let table = done(
        at,
        1,
        "--gather part3.csv part1.csv part2.csv --csv whole.csv",
    );
    assert_eq!(one, kept("whole.csv"));
    assert!(table.contains("ebn0: Eb/N0"), "{table}");
    // The joined table can be gone on with, and drawn.
    done(
        at,
        1,
        &format!("{SMALL} --trials 7 --csv whole.csv --resume --figure whole.svg"),
    );
    assert_eq!(one, kept("whole.csv"));
    assert!(kept("whole.svg").contains("captures read, %"));

    let again = refused(at, "--gather part1.csv part1.csv");
    assert!(
        again.contains("part 1/3 of the plan is there already"),
        "{again}"
    );
    let missing = command(at, 1, "--gather part1.csv part2.csv");
    let note = String::from_utf8(missing.stderr).unwrap();
    assert!(note.contains("3/3 is missing"), "{note}");
    let other = refused(
        at,
        &format!(
            "{} --csv one.csv --resume",
            SMALL.replace("seed 5", "seed 6")
        ),
    );
    assert!(
        other.contains("belongs to another plan: the seed differ"),
        "{other}"
    );
    let other = refused(at, &format!("{SMALL} --csv part1.csv --resume"));
    assert!(other.contains("is part 1/3 of its plan"), "{other}");
}

#[test]
fn until_goes_on_in_whole_batches_till_the_interval_is_narrow() {
    let folder = TempDir::new().unwrap();
    let line = "--vary ebn0=-20,20 --seconds 0.04 --rate 300000 --trials 4 --until 0.3 --csv u.csv";
    done(folder.path(), 2, line);
    let table = Table::from_csv(&fs::read_to_string(folder.path().join("u.csv")).unwrap()).unwrap();
    for row in table.rows() {
        let (low, high) = row.tally.interval();
        let before = row.tally.trials - 4;
        assert!(high - low <= 0.3 && row.tally.trials % 4 == 0, "{row:?}");
        // All or nothing is read here, so one batch fewer was too wide: z²/(n + z²) > 0.3 up to n = 8.
        let (low, high) = wilson95(if row.tally.read > 0 { before } else { 0 }, before);
        assert!(high - low > 0.3, "{row:?}");
    }
}

#[test]
fn two_axes_give_a_map_and_a_scenario_is_varied_by_its_keys() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    let scenario = "duration_s = 0.04\n[direct]\n[[direct.tag]]\n[digitiser]\nrate_hz = 300000\n[noise]\nebn0_db = 12\n";
    fs::write(at.join("bench.toml"), scenario).unwrap();
    let line = "--scenario bench.toml --vary direct.tag.1.angle_deg=0,90 --vary noise.ebn0_db=-20,20 --trials 2 --compare";
    let text = done(at, 2, &format!("{line} --csv map.csv --figure map.png"));
    assert!(
        text.contains("down: direct.tag.1.angle_deg, across: noise.ebn0_db"),
        "{text}"
    );
    let csv = fs::read_to_string(at.join("map.csv")).unwrap();
    assert!(csv.starts_with("receiver,value,value2,trials,"), "{csv}");
    // Amplitude is blind at 90°, and nobody reads at −20 dB.
    for row in [
        "own,0,20,2,2,0,",
        "own,90,20,2,2,0,",
        "own,90,-20,2,0,0,",
        "plain,0,20,2,2,0,",
        "plain,90,20,2,0,0,",
    ] {
        assert!(csv.contains(row), "{row} in\n{csv}");
    }
    assert!(
        fs::read(at.join("map.png"))
            .unwrap()
            .starts_with(b"\x89PNG")
    );
    let json: serde_json::Value =
        serde_json::from_str(&done(at, 1, &format!("{line} --json"))).unwrap();
    assert_eq!(json["schema"], "fieldripple.margin/1");
    assert_eq!(json["rows"].as_array().unwrap().len(), 8);
    assert_eq!(json["rows"][0]["values"], serde_json::json!([0.0, -20.0]));
    // Coils and circuits too.
    let text = done(
        at,
        2,
        "--vary tag.1.tilt_deg=0,90 --set duration_s=0.05 --set tag.1.distance_mm=60 --trials 1",
    );
    assert!(
        text.contains("[tag] Angle between the two axes, degrees"),
        "{text}"
    );
}

#[test]
fn bad_arguments_are_refused_in_one_line() {
    let folder = TempDir::new().unwrap();
    let at = folder.path();
    fs::write(at.join("x.csv"), "a,b\n1,2\n").unwrap();
    for (line, want) in [
        ("", "--vary"),
        ("--vary ebn0", "NAME=FROM:TO:STEP"),
        ("--vary ebn0=1:2:0", "a step of 0"),
        (
            "--vary volume=1:2:1",
            "--vary volume: allowed are the flags ebn0",
        ),
        (
            "--vary tag.1.tilt=1:2:1",
            "nearest known one is 'tag.tilt_deg'",
        ),
        ("--vary ebn0=99:101:1", "at ebn0 = 101"),
        ("--vary bits=7.5", "bits"),
        ("--vary ebn0=1 --vary ebn0=2", "given twice"),
        ("--vary ebn0=1 --vary depth=0.1 --vary seconds=1", "3 times"),
        ("--vary seconds=3000", "samples a capture; allowed are"),
        ("--vary ebn0=1 --part 1/2", "--csv"),
        ("--vary ebn0=1 --csv x.csv --part 3/2", "I/N"),
        (
            "--vary ebn0=1 --csv x.csv --resume",
            "receiver,value,trials",
        ),
        ("--vary ebn0=1 --csv no/such/x.csv", "no/such/x.csv"),
        ("--vary ebn0=1 --figure x.jpg", ".png or .svg"),
        ("--vary ebn0=1 --until 0.0001", "0.002 to 1"),
        ("--vary depth=0.1 --limit", "--limit goes with"),
        ("--gather none.csv", "none.csv"),
        ("--gather x.csv", "line 1 is 'a,b'"),
        ("--gather x.csv --vary ebn0=1", "--vary"),
    ] {
        let error = refused(at, line);
        assert!(error.contains(want), "{line}: {error}");
    }
}

/// Bletsas et al., IEEE Trans. Commun. 60(3) 2012 (abstract) for the gain of the boundary decision; the formulas are derived.
/// Seven levels and four shares make 28 comparisons: 3.3 standard deviations each is 97 % for all of them together.
#[test]
fn bit_and_telegram_errors_meet_the_formulas_at_every_level() {
    let mut random = generator(77, Stream::Noise);
    for db in [2.0, 4.0, 5.2, 6.0, 7.3, 8.2, 9.0] {
        let gamma = 10f64.powf(db / 10.0);
        for (decision, bits, telegrams) in [
            (
                Decision::Boundaries,
                bit_errors_of_boundaries(gamma),
                telegrams_of_boundaries(gamma),
            ),
            (
                Decision::InsideBits,
                bit_errors_inside_bits(gamma),
                telegrams_inside_bits(gamma),
            ),
        ] {
            let errors = simulate(decision, gamma, 4000, &mut random);
            // A wrong boundary makes both bits beside it wrong: the count varies up to twice as much as a binomial one.
            let bunching = if decision == Decision::Boundaries {
                2.0
            } else {
                1.0
            };
            for (what, count, of, theory, variance) in [
                ("bits", errors.wrong_bits, errors.bits, bits, bunching),
                (
                    "telegrams",
                    errors.right_telegrams,
                    errors.telegrams,
                    telegrams,
                    1.0,
                ),
            ] {
                let share = count as f64 / of as f64;
                let deviation = (variance * theory * (1.0 - theory) / of as f64).sqrt();
                println!(
                    "{db} dB {decision:?} {what}: {share:.3e} against {theory:.3e} ± {deviation:.1e}"
                );
                // One more count: shares of a few in a thousand are not normal.
                let reach = 3.3 * deviation + 1.0 / of as f64;
                assert!(
                    (share - theory).abs() <= reach,
                    "{db} dB {decision:?} {what}"
                );
            }
        }
    }
}

/// One tag, 500 kS/s.
fn scene(draw: &Draw, ebn0_db: f64, seconds: f64, angle_deg: f64) -> Scene {
    let (rate_hz, field_hz, depth) = (500e3, 134_200.0, 0.01);
    let mut random = generator(draw.seed, Stream::Tag(0));
    let number = (uniform(&mut random) * 1e11) as u64;
    let tag = RippleTag {
        telegram: Telegram::new(Identity::new(999, number).unwrap().code()),
        flipped: 0,
        depth,
        angle_deg,
        start_cycles: 4096.0 * uniform(&mut random),
        sign: 1,
    };
    let rms = ripple_rms(SampleForm::Real, 1.0, depth, angle_deg);
    Scene::Direct {
        signal: DirectSignal {
            view: SampleForm::Real,
            rate_hz,
            clock_ppm: 0.0,
            samples: (seconds * rate_hz) as u64,
            field_hz,
            amplitude: 1.0,
            phase_deg: 360.0 * uniform(&mut random),
            offset: 0.0,
            tags: vec![tag],
            pulses: None,
            noise_sigma: noise_sigma(SampleForm::Real, ebn0_db, rms, field_hz, rate_hz),
            seed: draw.seed,
        },
        digitiser: None,
    }
}

fn counted(
    receiver: Contestant,
    trials: u64,
    seed: u64,
    db: f64,
    seconds: f64,
    angle: f64,
) -> Tally {
    let make = |_: usize, draw: &Draw| Ok::<Scene, ()>(scene(draw, db, seconds, angle));
    let plan = Plan {
        points: vec![vec![db]],
        receivers: vec![receiver],
        odds: 1e-5,
        seed,
        trials,
        until: None,
        part: Part::WHOLE,
        scene: &make,
        outside: None,
        witness: None,
    };
    let mut table = Table::new(&plan.receivers, &plan.points);
    assert_eq!(
        run(&plan, &mut table, &AtomicBool::new(false), &|_, _| {}),
        Ok(true)
    );
    table.tally(0, 0)
}

/// The plain receiver is a good one of its kind: no better than the formula for hard decisions inside each bit, and at most 0.5 dB
/// worse (the slicer's threshold is a mean of 128 noisy half bits, 0.03 dB; the bit clock has steps of a field cycle, up to 0.3 dB; and the
/// clock itself is found in noise).
#[test]
fn the_plain_receiver_does_what_its_formula_says() {
    for (db, seconds, angle) in [(8.5, 0.07, 0.0), (7.0, 0.3, 0.0), (11.5, 0.07, 45f64)] {
        let trials = 600;
        let tally = counted(Contestant::Plain, trials, 3, db, seconds, angle);
        let theory = |less_db: f64| {
            let seen = angle.to_radians().cos().powi(2);
            captures_inside_bits(seen * 10f64.powf((db - less_db) / 10.0), seconds, 134_200.0)
        };
        let (most, least) = (theory(0.0), theory(0.5));
        println!(
            "{db} dB, {seconds} s: {} of {trials} read, formula {least:.3} to {most:.3}",
            tally.read
        );
        let deviation = 0.5 / (trials as f64).sqrt();
        assert!(tally.share() < most + 4.0 * deviation, "{tally:?} {most}");
        assert!(tally.share() > least - 4.0 * deviation, "{tally:?} {least}");
        // A CRC of 16 bits, a header of 11 and ten control bits pass by chance once in 2^37 windows.
        assert_eq!(tally.wrong, 0);
    }
}

/// The told decoder on samples of exactly one telegram, against the same limit drawn without samples.
#[test]
fn the_limit_on_samples_is_the_limit_without() {
    let (trials, db) = (250, 3.0);
    let seconds = 4096.0 / 134_200.0;
    let on_samples = (0..trials)
        .filter(|&trial| {
            let scene = scene(&Draw::new(9, &[db], trial), db, seconds, 30.0);
            told(&scene, &scene.record(), 1e-5) == Some(scene.sent()[0].code)
        })
        .count();
    let mut random = generator(9, Stream::Noise);
    let gamma = 10f64.powf(db / 10.0);
    let without = (0..trials)
        .filter(|_| told_sums(gamma, 1e-5, &mut random))
        .count();
    println!("{on_samples} and {without} of {trials}");
    // Exact odds of 1e-5 are had by half of all telegrams at 3.01 dB (exact sum over CRC register × sign, derived).
    let deviation = (trials as f64 * 0.25).sqrt();
    for count in [on_samples, without] {
        assert!(
            (count as f64 - 0.5 * trials as f64).abs() < 3.5 * deviation,
            "{count}"
        );
    }
}

/// Probability that the interval of `trials` throws holds `share`: a sum over all counts.
fn coverage(trials: u64, share: f64) -> f64 {
    let log_factorial = |n: u64| libm::lgamma(n as f64 + 1.0);
    (0..=trials)
        .filter(|&count| {
            let (low, high) = wilson95(count, trials);
            (low..=high).contains(&share)
        })
        .map(|count| {
            let ways = log_factorial(trials) - log_factorial(count) - log_factorial(trials - count);
            (ways + count as f64 * share.ln() + (trials - count) as f64 * (1.0 - share).ln()).exp()
        })
        .sum()
}

/// 200 sweeps of three levels each with the plain receiver, 20 captures a level: how many intervals hold the long-run share, against what
/// Wilson's interval promises at that share and number (worked out exactly; about 95 %).
#[test]
fn of_200_sweeps_the_intervals_hold_the_long_run_share_as_often_as_they_promise() {
    let (sweeps, trials) = (200u64, 20);
    let mut promised = 0.0;
    let mut held = 0u64;
    for db in [7.5, 8.5, 9.5] {
        let tallies: Vec<Tally> = (0..sweeps)
            .map(|sweep| counted(Contestant::Plain, trials, 1000 + sweep, db, 0.04, 0.0))
            .collect();
        // The long run is all of them together, 4000 captures: its own error is 1/14 of a sweep's.
        let read: u64 = tallies.iter().map(|tally| tally.read).sum();
        let long_run = read as f64 / (sweeps * trials) as f64;
        let here = tallies
            .iter()
            .filter(|tally| {
                let (low, high) = tally.interval();
                (low..=high).contains(&long_run)
            })
            .count() as u64;
        println!(
            "{db} dB: long run {long_run:.4}, {here} of {sweeps} hold it, promised {:.4}",
            coverage(trials, long_run)
        );
        promised += coverage(trials, long_run);
        held += here;
    }
    let mean = promised / 3.0;
    let all = (3 * sweeps) as f64;
    let deviation = (mean * (1.0 - mean) / all).sqrt();
    let share = held as f64 / all;
    println!("{share:.4} hold it, promised {mean:.4} ± {deviation:.4}");
    assert!(
        (share - mean).abs() < 3.0 * deviation,
        "{share} against {mean}"
    );
    assert!((0.92..=0.99).contains(&mean), "{mean}");
}

/// Two readers, a tag each: near each other neither reads, far away both do, and both read at most where each of them does.
#[test]
fn both_readers_are_counted_in_one_plan() {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args("margin --both --vary second_reader.distance_mm=150,3000 --set second_reader.field_hz=134500".split(' '))
        .args("--set tag.1.distance_mm=60 --seconds 0.07 --rate 300k --trials 4 --json".split(' '))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let read = |receiver: &str, distance: f64| {
        let rows = told["rows"].as_array().unwrap();
        let row = rows
            .iter()
            .find(|row| row["receiver"] == receiver && row["values"][0] == distance)
            .unwrap();
        assert_eq!(row["trials"], 4);
        assert_eq!(row["wrong"], 0);
        row["read"].as_u64().unwrap()
    };
    for receiver in ["own", "second", "both"] {
        assert_eq!(read(receiver, 3000.0), 4, "{receiver}");
    }
    assert!(read("both", 150.0) <= read("own", 150.0).min(read("second", 150.0)));
}
