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
    assert!(!page.contains("<script") && !page.contains("@import") && !page.contains("url("));
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
        "<td class=\"even\">10000000 <span class=\"control\">1</span></td>",
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
    assert_eq!(pictures(&page), 7 + 5 + 7);
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
