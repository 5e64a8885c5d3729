//! Figures from outside: of every capture in `waveforms/`, of nothing at all, and what goes wrong with files.

use std::collections::{HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use fieldripple::draw::{
    About, DrawError, FIGURE_SIZE, Panel, View, figure_png, figure_svg, panel_svg,
};
use fieldripple::receiver::{Reception, Samples, Signal, receive};

fn waveforms() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("waveforms")
}

fn decode(arguments: &[&str], figure: &Path) -> Output {
    program(&[&["decode"], arguments].concat(), figure)
}

fn program(arguments: &[&str], figure: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(arguments)
        .arg("--figure")
        .arg(figure)
        .current_dir(waveforms())
        .output()
        .unwrap()
}

/// Pixels of a PNG, three bytes each.
fn pixels(bytes: &[u8]) -> (u32, u32, Vec<[u8; 3]>) {
    let mut decoder = png::Decoder::new(bytes);
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut all = vec![0; reader.output_buffer_size()];
    let info = reader.next_frame(&mut all).unwrap();
    (info.width, info.height, all.as_chunks::<3>().0.to_vec())
}

/// All texts of an SVG, which must be well-formed.
fn texts(page: &str) -> Vec<String> {
    let document = roxmltree::Document::parse(page).unwrap();
    let texts = document
        .descendants()
        .filter(|node| node.has_tag_name("text"));
    texts
        .map(|node| node.text().unwrap_or_default().trim().to_string())
        .collect()
}

/// Axis labels that each kind of capture must have, unit included.
fn labels(file: &str) -> &'static [&'static str] {
    if file.contains("logic") {
        &[
            "time, ms",
            "ripple, of full scale",
            "frequency, kHz",
            "bits from the boundary",
        ]
    } else if file.contains("envelope") {
        &[
            "time, ms",
            "ripple, % of the level",
            "dB re level",
            "bits from the boundary",
        ]
    } else {
        &[
            "time, ms",
            "in phase, % of the field",
            "quadrature, % of the field",
            "dB re field",
        ]
    }
}

#[test]
fn every_capture_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let mut drawn = 0;
    for entry in fs::read_dir(waveforms()).unwrap() {
        let file = entry.unwrap().file_name().into_string().unwrap();
        if ![".wav", ".csv", ".npy"]
            .iter()
            .any(|ending| file.ends_with(ending))
        {
            continue;
        }
        drawn += 1;
        let arguments: &[&str] = if file.ends_with(".npy") {
            &[&file, "--rate", "48000"]
        } else {
            &[&file]
        };
        let unread = file.contains("no-tag") || file.contains("125-khz");
        let picture = folder.path().join("figure.png");
        let output = decode(arguments, &picture);
        assert_eq!(
            output.status.code(),
            Some(i32::from(unread)),
            "{file}: {output:?}"
        );
        assert!(!output.stdout.is_empty(), "{file}: nothing printed");
        let (width, height, pixels) = pixels(&fs::read(&picture).unwrap());
        assert_eq!((width, height), FIGURE_SIZE);
        let ink = pixels.iter().filter(|pixel| **pixel != [255; 3]).count();
        let colours: HashSet<_> = pixels.iter().collect();
        // Lines, points and letters cover some per cent; a blank sheet has one colour, and a solid one no letters.
        let share = ink as f64 / pixels.len() as f64;
        assert!((0.03..0.6).contains(&share), "{file}: {share}");
        assert!(colours.len() > 50, "{file}: {} colours", colours.len());

        let picture = folder.path().join("figure.SVG");
        decode(arguments, &picture);
        let texts = texts(&fs::read_to_string(&picture).unwrap());
        let has = |wanted: &str| texts.iter().any(|text| text == wanted);
        let number = String::from_utf8_lossy(&output.stdout)
            .lines()
            .find_map(|line| Some(line.trim().strip_prefix("number")?.trim().to_string()));
        assert_eq!(number.is_none(), unread, "{file}");
        let title = number.unwrap_or("nothing read".into());
        assert!(
            texts.iter().any(|text| text.starts_with(&title)),
            "{file}: {title} in {texts:?}"
        );
        assert!(texts.contains(&file), "{file}: no name");
        for label in labels(&file) {
            assert!(has(label), "{file}: '{label}' in {texts:?}");
        }
        // A half-duplex tag is read in the pauses and leaves no ripple with bits to write on.
        if !unread && !file.contains("hdx") {
            for part in ["header", "CRC 1: ", "trailer 3"] {
                assert!(
                    texts.iter().any(|text| text.starts_with(part)),
                    "{file}: {part}"
                );
            }
            assert!(
                texts
                    .iter()
                    .filter(|text| ["0", "1", "?"].contains(&text.as_str()))
                    .count()
                    >= 128,
                "{file}: {texts:?}"
            );
        }
    }
    assert!(drawn >= 16, "{drawn}");
}

/// Each picture kept beside the captures is what its command in their table makes.
#[test]
fn the_kept_figures_are_what_the_program_draws() {
    let folder = tempfile::tempdir().unwrap();
    let page = fs::read_to_string(waveforms().join("README.md")).unwrap();
    let mut compared = 0;
    for line in page.lines().filter(|line| line.contains("--figure")) {
        let command = line.rsplit('|').nth(1).unwrap().trim();
        let command = command
            .trim_matches('`')
            .strip_prefix("fieldripple ")
            .unwrap();
        let (arguments, name) = command.split_once(" --figure ").unwrap();
        let picture = folder.path().join(name);
        program(&arguments.split(' ').collect::<Vec<_>>(), &picture);
        let made = fs::read(&picture).unwrap();
        let kept = fs::read(waveforms().join(name)).unwrap();
        assert!(kept.len() <= 150_000, "{} bytes", kept.len());
        // Rounding in another processor may move a line by a shade here and there.
        let (one, other) = (pixels(&made).2, pixels(&kept).2);
        assert_eq!(one.len(), other.len());
        let differ = one.iter().zip(&other).filter(|(a, b)| a != b).count();
        assert!(differ < one.len() / 200, "{name}: {differ} pixels");
        compared += 1;
    }
    assert!(compared >= 2, "{compared}");
}

#[test]
fn what_cannot_be_drawn_is_one_line_and_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let refused = |arguments: &[&str], figure: &Path, words: &str, prints: bool| {
        let output = decode(arguments, figure);
        assert_eq!(output.status.code(), Some(2), "{output:?}");
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.contains(words), "{error}");
        assert_eq!(!output.stdout.is_empty(), prints, "{words}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "{words}");
    };
    let inside = |name: &str| folder.path().join(name);
    refused(
        &["intake-clean.wav"],
        &inside("a.jpg"),
        "must end in .png or .svg",
        false,
    );
    refused(
        &["intake-clean.wav"],
        &inside("png"),
        "must end in .png or .svg",
        false,
    );
    refused(
        &["intake-clean.wav"],
        &inside("missing/a.png"),
        "missing/a.png",
        true,
    );
    refused(
        &["intake-clean.wav", "cattery-no-tag.wav"],
        &inside("a.png"),
        "--figure shows one capture, and 2 were given",
        false,
    );
    refused(
        &["--join", "intake-clean.wav"],
        &inside("a.png"),
        "--join",
        false,
    );
    refused(&["missing.wav"], &inside("a.png"), "missing.wav", false);
}

#[test]
fn a_capture_is_not_replaced_by_its_figure() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("capture.png");
    fs::copy(waveforms().join("intake-clipped.wav"), &path).unwrap();
    let output = decode(&[path.to_str().unwrap()], &path);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        fs::read(&path).unwrap(),
        fs::read(waveforms().join("intake-clipped.wav")).unwrap()
    );
}

/// A repeatable scatter in ±1 (multiplicative hashing).
fn scatter(n: u32) -> f32 {
    ((n.wrapping_mul(2_654_435_761)
        .rotate_left(13)
        .wrapping_mul(0x9E37_79B9)
        >> 8) as f32
        / (1 << 23) as f32)
        - 1.0
}

fn look(samples: &[f32], rate_hz: Option<f64>) -> Reception {
    let signal = Signal {
        samples: Samples::Real(samples),
        rate_hz,
        centre_hz: 0.0,
        logic: false,
    };
    receive(&signal, 1e-5)
}

#[test]
fn nothing_and_noise_are_drawn_with_plain_words() {
    let noise: Vec<f32> = (0..40_000).map(scatter).collect();
    let still = vec![0.0; 5000];
    for samples in [&[][..], &[0.5], &noise[..100], &noise, &still] {
        for rate_hz in [None, Some(500_000.0), Some(20_000.0)] {
            let reception = look(samples, rate_hz);
            let given = About {
                name: "a <b> & \u{1} \"c\"",
                samples: Some(Samples::Real(samples)),
                ..About::default()
            };
            for about in [given, About::default()] {
                let view = View::new(&reception, about);
                let page = figure_svg(&view, FIGURE_SIZE).unwrap();
                let texts = texts(&page);
                assert!(texts.iter().any(|text| text == "nothing read"));
                assert!(
                    texts
                        .iter()
                        .any(|text| text.starts_with("No number was read"))
                );
            }
        }
    }
}

#[test]
fn a_strange_tone_is_named_and_every_panel_stands_alone() {
    let rate_hz = 500_000.0;
    let samples: Vec<f32> = (0..60_000_u32)
        .map(|n| {
            let turns =
                |hz: f64| (std::f64::consts::TAU * hz * f64::from(n) / rate_hz).cos() as f32;
            turns(134_200.0) + 0.01 * turns(136_700.0) + 0.002 * scatter(n)
        })
        .collect();
    let reception = look(&samples, Some(rate_hz));
    let view = View::new(&reception, About::default());
    let mut seen = HashMap::new();
    for panel in Panel::ALL {
        let page = panel_svg(panel, &view, (500, 350)).unwrap();
        seen.insert(format!("{panel:?}"), texts(&page));
    }
    assert_eq!(seen.len(), 6);
    assert!(
        seen["Spectrum"].contains(&"+2.5 kHz".to_string()),
        "{seen:?}"
    );
    assert!(
        seen["Spectrum"].contains(&"field 134200.0 Hz".to_string()),
        "{seen:?}"
    );
}

#[test]
fn sizes_have_limits() {
    let reception = look(&[], None);
    let view = View::new(&reception, About::default());
    for size in [(0, 0), (199, 900), (1200, 5000), (u32::MAX, u32::MAX)] {
        assert!(matches!(
            figure_png(&view, size),
            Err(DrawError::Size { .. })
        ));
        assert!(matches!(
            figure_svg(&view, size),
            Err(DrawError::Size { .. })
        ));
        assert!(panel_svg(Panel::Eye, &view, size).is_err());
    }
    for size in [(200, 200), (4000, 300)] {
        assert!(figure_png(&view, size).is_ok());
    }
}
