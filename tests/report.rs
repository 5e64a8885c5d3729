//! Reports from outside: what a page about captures holds, that it needs nothing else, and what is refused.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn waveforms() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("waveforms")
}

fn report(captures: &[&str], page: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("decode")
        .args(captures)
        .arg("--report")
        .arg(page)
        .current_dir(waveforms())
        .output()
        .unwrap()
}

/// Nothing in the page makes a browser ask for anything: the only addresses are names of XML vocabularies.
fn assert_self_contained(page: &str) {
    // The script stands in the page, and so does what it draws.
    for (at, _) in page.match_indices("<script") {
        let rest = &page[at..];
        let data = "<script type=\"application/json\" class=\"record-data\">";
        assert!(rest.starts_with("<script>") || rest.starts_with(data));
    }
    assert!(!page.contains("@import") && !page.contains("url("));
    for (at, _) in page.match_indices("://") {
        let before = &page[..at];
        assert!(
            before.ends_with("xmlns=\"http"),
            "{:?}",
            &page[at.saturating_sub(40)..at + 20]
        );
    }
    for attribute in [" src=", "<link rel=\"stylesheet\""] {
        assert!(!page.contains(attribute), "{attribute}");
    }
}

/// Pictures of a page, each of which must be well-formed, described, and hold something beside its frame.
fn pictures(page: &str) -> usize {
    let mut count = 0;
    for (at, _) in page.match_indices("<svg ") {
        let end = at + page[at..].find("</svg>").unwrap() + 6;
        let document = roxmltree::Document::parse(&page[at..end]).unwrap();
        let root = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"));
        assert!(root.attribute("aria-label").unwrap().len() > 20);
        // Lines, or a sentence below the heading.
        let drawn = document.descendants().filter(|node| {
            let said = node.text().is_some_and(|text| !text.trim().is_empty());
            node.has_tag_name("polyline") || node.has_tag_name("text") && said
        });
        assert!(drawn.count() > 1);
        count += 1;
    }
    count
}

#[test]
fn a_read_capture_is_told_in_full() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let output = report(&["intake-clean.wav"], &path);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let page = fs::read_to_string(&path).unwrap();
    assert_self_contained(&page);
    // Five panels, and the telegram for wide and for narrow pages.
    assert_eq!(pictures(&page), 7);
    let place = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words}"));
    let verdict = place("<p class=\"number\">999 100000000001</p>");
    assert!(verdict < place("<svg ") && verdict < place("Findings"));
    // What the terminal says stands in the page.
    for words in [
        "Certainty: wrong with a probability of 10⁻¹² or less",
        "depth 1.000 % of the field, angle 30°",
        "carrier sampled directly; 100000 samples",
        "8000F9D74876E801",
        "<td class=\"even whole\">10000000 <span class=\"control\">1</span></td>",
        "How it was measured",
        "Cautions",
        "active implants",
        "intake-clean.wav --report",
    ] {
        place(words);
    }
    assert!(page.len() < 1_000_000, "{} bytes", page.len());
}

#[test]
fn several_captures_have_a_section_each_and_a_list_on_top() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let captures = [
        "intake-two-tags.wav",
        "missing.wav",
        "cattery-no-tag.wav",
        "cattery-logic.wav",
    ];
    let output = report(&captures, &path);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let page = fs::read_to_string(&path).unwrap();
    assert_self_contained(&page);
    for (place, capture) in captures.iter().enumerate() {
        let section = format!("<section id=\"capture-{}\">\n<h2>{capture}</h2>", place + 1);
        assert!(page.contains(&section), "{capture}");
    }
    assert!(page.contains("<td>could not be opened</td>"));
    assert!(page.contains("<td>nothing read</td>"));
    assert!(page.contains("<p class=\"number\">Nothing read</p>"));
    let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(["decode", "--json", captures[0], captures[2], captures[3]])
        .current_dir(waveforms())
        .output()
        .unwrap();
    let lines = String::from_utf8(output.stdout).unwrap();
    let mut findings = 0;
    for line in lines.lines() {
        let capture: serde_json::Value = serde_json::from_str(line).unwrap();
        for finding in capture["findings"].as_array().unwrap() {
            // Words up to the first character that HTML writes otherwise.
            let text = finding["text"].as_str().unwrap();
            let text = text.split(['\'', '"', '<', '>', '&', '/']).next().unwrap();
            let code = finding["code"].as_str().unwrap();
            assert!(page.contains(text), "{text}");
            assert!(page.contains(code) || code == "capture-note", "{code}");
            findings += 1;
        }
    }
    assert!(findings > 0);
    // Both numbers of the two tags, each with its telegram.
    assert_eq!(page.matches("bit by bit</h3>").count(), 3);
    // Where nothing was read there is no telegram to show.
    // Two tags share four panels, and have phasor, eye and telegram (wide and narrow) of their own.
    assert_eq!(pictures(&page), (4 + 2 * 4) + 5 + 7);
    assert_eq!(page.matches(" alone</h3>").count(), 2);
}

/// SHA-256 as `sha256sum` of GNU coreutils prints them.
const SUMS: [(&str, &str); 2] = [
    (
        "intake-clean.wav",
        "9f4e9f956093bb7e4c0985b78d88c05fb171f8bbdf30fd238b02ca4d25873392",
    ),
    (
        "intake-8-bit.csv",
        "52ba8156efeaf3fa4b7af254169a6f2a8b403adbd99ccc903f364ed307b777db",
    ),
];

/// Date, SHA-256 and name of the file; a stretch of the file has the sum of the whole, and a stream has one, too.
#[test]
fn the_file_is_told_from_others() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    for (name, sum) in SUMS {
        let capture = waveforms().join(name);
        for more in [&[][..], &["--to", "0.05"][..]] {
            let mut captures = vec![capture.to_str().unwrap()];
            captures.extend(more);
            report(&captures, &path);
            let page = fs::read_to_string(&path).unwrap();
            assert!(page.contains(sum), "{name} {more:?}");
            assert!(page.contains(&format!("<h2>{name}</h2>")));
            assert!(page.contains("last changed") && page.contains(" UTC, by the file system"));
            // Folders tell of people.
            let folders = waveforms();
            assert!(!page.contains(folders.to_str().unwrap()), "{name}");
        }
        let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args(["decode", "-", "--report"])
            .arg(&path)
            .stdin(fs::File::open(&capture).unwrap())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let page = fs::read_to_string(&path).unwrap();
        assert!(
            page.contains(sum) && page.contains("standard input"),
            "{name}"
        );
    }
}

/// A date that the file itself gives is told apart from the file system's.
#[test]
fn a_recording_with_a_date_of_its_own_tells_it() {
    let folder = tempfile::tempdir().unwrap();
    let meta = folder.path().join("shelter.sigmf-meta");
    fs::write(
        &meta,
        r#"{"global": {"core:datatype": "rf32_le", "core:sample_rate": 500000, "core:version": "1.0.0"},
            "captures": [{"core:sample_start": 0, "core:datetime": "2026-03-01T09:30:00Z"}], "annotations": []}"#,
    )
    .unwrap();
    let tone = |k: u32| (std::f32::consts::TAU * 0.2684 * k as f32).sin();
    let bytes: Vec<u8> = (0..40_000).flat_map(|k| tone(k).to_le_bytes()).collect();
    fs::write(folder.path().join("shelter.sigmf-data"), bytes).unwrap();
    let path = folder.path().join("report.html");
    report(&[meta.to_str().unwrap()], &path);
    let page = fs::read_to_string(&path).unwrap();
    assert!(page.contains("2026-03-01T09:30:00Z, by the file itself"));
    assert!(page.contains("UTC, by the file system"));
}

/// Names of values are for programs: a person reads words and units, with what the values stray by.
#[test]
fn a_report_has_no_names_of_keys() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let captures = [
        "intake-two-tags.wav",
        "intake-clipped.wav",
        "garden-gate-hdx.wav",
        "cattery-125-khz.wav",
        "garden-gate-off-frequency.wav",
    ];
    report(&captures, &path);
    let page = fs::read_to_string(&path).unwrap();
    let parts = page.split("<script").enumerate();
    let behind = parts.map(|(k, part)| match k {
        0 => part,
        _ => part.split_once("</script>").unwrap().1,
    });
    let shown: String = behind.collect();
    for key in [
        "_hz",
        "_db",
        "_s ",
        "_deg",
        "_share",
        "false_alarm",
        "tags 2,",
    ] {
        assert!(!shown.contains(key), "{key}");
    }
    assert!(page.contains("samples cut off 28.7 %"));
    assert!(page.contains("N0 and what there is to spare ± "));
    // Two tags, each with both.
    assert_eq!(
        page.matches("depth ± ").count(),
        3,
        "two tags and the one off frequency"
    );
}

/// Of the whole record a page holds so much and no more, however long it is.
#[test]
fn the_record_in_a_page_is_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let capture = folder.path().join("long.wav");
    let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("synth")
        .arg(&capture)
        .args(["--id", "999:7", "--rate", "300k", "--seconds", "3"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    report(&[capture.to_str().unwrap()], &path);
    let page = fs::read_to_string(&path).unwrap();
    let data = page.split("class=\"record-data\">").nth(1).unwrap();
    let data = data.split("</script>").next().unwrap();
    // Two times 65 536 columns of two digits.
    assert!((200_000..300_000).contains(&data.len()), "{}", data.len());
    let record: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(record["column"], "7 field cycles");
    let tag = &record["tags"][0];
    assert_eq!(tag["number"], "999 000000000007");
    assert_eq!(tag["bits"].as_str().unwrap().len(), 128);
    let run: Vec<f64> = serde_json::from_value(tag["runs"][0].clone()).unwrap();
    assert!(run[0] < 0.05 && run[1] > 2.95, "{run:?}");
}

/// The number of a half-duplex tag stands on top as well, with its own 112 bits.
#[test]
fn a_half_duplex_tag_is_told_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let output = report(&["garden-gate-hdx.wav"], &path);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let printed = String::from_utf8(output.stdout).unwrap();
    let page = fs::read_to_string(&path).unwrap();
    let number = printed
        .lines()
        .find_map(|line| line.trim().strip_prefix("number"))
        .unwrap()
        .trim();
    assert!(page.contains(&format!("<p class=\"number\">{number}</p>")));
    let bits = page.split("<p class=\"even\">").nth(1).unwrap();
    assert_eq!(bits.split('<').next().unwrap().len(), 112);
    assert!(bits.starts_with("01111110"));
}

#[test]
fn names_and_words_cannot_break_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let capture = folder.path().join("<b>&\"'x.wav");
    fs::copy(waveforms().join("cattery-no-tag.wav"), &capture).unwrap();
    let path = folder.path().join("report.html");
    let output = report(&[capture.to_str().unwrap()], &path);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let page = fs::read_to_string(&path).unwrap();
    assert!(!page.contains("<b>") && page.contains("&lt;b&gt;&amp;&quot;"));
}

#[test]
fn joined_captures_are_one_section_without_figures() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let output = report(&["--join", "intake-clean.wav", "intake-clean.wav"], &path);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let page = fs::read_to_string(&path).unwrap();
    assert!(page.contains("<h2>intake-clean.wav + intake-clean.wav</h2>"));
    assert_eq!(pictures(&page), 0);
}

/// The record of joined captures stands one after the other, and the bits lie in each where it was made to begin.
#[test]
fn joined_captures_show_the_bits_of_each() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("report.html");
    let parts = [
        ("a.wav", 1000.0, 0.07),
        ("b.wav", 3456.0, 0.1),
        ("c.wav", 77.0, 0.05),
    ];
    let mut captures = vec!["--join".to_string()];
    for (name, start, seconds) in parts {
        let capture = folder.path().join(name).to_str().unwrap().to_string();
        let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
            .args([
                "synth",
                &capture,
                "--id",
                "999:98765432109",
                "--rate",
                "500k",
            ])
            .args(["--ebn0", "20", "--start", &start.to_string()])
            .args(["--seconds", &seconds.to_string()])
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        captures.push(capture);
    }
    let captures: Vec<&str> = captures.iter().map(String::as_str).collect();
    let output = report(&captures, &path);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let page = fs::read_to_string(&path).unwrap();
    let data = page.split("class=\"record-data\">").nth(1).unwrap();
    let record: serde_json::Value =
        serde_json::from_str(data.split("</script>").next().unwrap()).unwrap();
    let all_s: f64 = parts.iter().map(|(.., seconds)| seconds).sum();
    let ends_s = record["to_s"].as_f64().unwrap();
    assert!((ends_s - all_s).abs() < 1e-4, "{ends_s}");
    let runs: Vec<[f64; 3]> = serde_json::from_value(record["tags"][0]["runs"].clone()).unwrap();
    assert_eq!(runs.len(), parts.len(), "{runs:?}");
    let (cycle_s, telegram_s) = (1.0 / 134_200.0, 4096.0 / 134_200.0);
    let mut begun_s = 0.0;
    for ([from_s, to_s, origin_s], (name, start, seconds)) in runs.into_iter().zip(parts) {
        assert!(
            from_s >= begun_s - cycle_s && to_s <= begun_s + seconds + cycle_s,
            "{name}"
        );
        assert!(to_s - from_s > 0.9 * seconds, "{name}: {from_s} to {to_s}");
        let wanted_s = begun_s + start * cycle_s;
        let apart_s =
            (origin_s - wanted_s + 0.5 * telegram_s).rem_euclid(telegram_s) - 0.5 * telegram_s;
        // Places are whole cycles.
        assert!(
            apart_s.abs() <= cycle_s,
            "{name}: {} cycles off",
            apart_s / cycle_s
        );
        begun_s += seconds;
    }
}

#[test]
fn what_cannot_be_written_is_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let capture = folder.path().join("capture.html");
    fs::copy(waveforms().join("intake-clipped.wav"), &capture).unwrap();
    let before = fs::read(&capture).unwrap();
    for (captures, page, words) in [
        (
            "intake-clean.wav",
            folder.path().join("a.pdf"),
            "must end in .html",
        ),
        (
            "intake-clean.wav",
            folder.path().join("none/a.html"),
            "cannot be written",
        ),
        (
            capture.to_str().unwrap(),
            capture.clone(),
            "--report would replace the capture itself",
        ),
    ] {
        let output = report(&[captures], &page);
        assert_eq!(output.status.code(), Some(2), "{output:?}");
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.contains(words), "{error}");
    }
    assert_eq!(fs::read(&capture).unwrap(), before);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}
