//! The README is true: its commands are run and print what it shows, and what it lists is what there is.
//!
//! A ```` ```console ```` block holds commands (`$ fieldripple …`) with the output below each; `$ echo $?` with a number
//! below states the exit code of the command before, which is 0 otherwise. In shown output a line `…` stands for any
//! number of lines and a trailing `…` for the rest of a line. Measured values, the numbers with a decimal point, may
//! differ by 2 % or two units of their last digit: another processor's arithmetic rounds elsewhere.
//!
//! `FIELDRIPPLE_README=write cargo test --test readme` writes the real output into blocks that no longer match.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;

/// Share by which a measured value may differ.
const SHARE: f64 = 0.02;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn readme() -> String {
    fs::read_to_string(root().join("README.md")).unwrap()
}

/// A folder to run the tour in: what a fresh clone has in `waveforms`.
fn bench() -> TempDir {
    let bench = TempDir::new().unwrap();
    for folder in ["waveforms", "waveforms/scenarios"] {
        let there = bench.path().join(folder);
        fs::create_dir(&there).unwrap();
        for entry in fs::read_dir(root().join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                fs::copy(&path, there.join(path.file_name().unwrap())).unwrap();
            }
        }
    }
    bench
}

/// Output (standard output, then standard error) and exit code of a line `fieldripple …`.
fn run(line: &str, folder: &Path) -> (String, i32) {
    let mut words = shell_words(line).into_iter();
    assert_eq!(words.next().as_deref(), Some("fieldripple"), "{line}");
    let output = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(words)
        .current_dir(folder)
        .output()
        .unwrap();
    let mut text = String::from_utf8(output.stdout).unwrap();
    text.push_str(&String::from_utf8(output.stderr).unwrap());
    (text, output.status.code().unwrap())
}

/// Words of a command line; double quotes keep blanks together. Nothing else of a shell is used in the README.
fn shell_words(line: &str) -> Vec<String> {
    line.split('"')
        .enumerate()
        .flat_map(|(index, part)| match index % 2 {
            0 => part.split_whitespace().map(String::from).collect(),
            _ => vec![part.to_string()],
        })
        .collect()
}

/// Whether the output is what is shown.
fn matches(shown: &[&str], output: &[&str]) -> bool {
    match shown.split_first() {
        None => output.is_empty(),
        Some((&"…", rest)) => (0..=output.len()).any(|from| matches(rest, &output[from..])),
        Some((line, rest)) => {
            !output.is_empty() && line_matches(line, output[0]) && matches(rest, &output[1..])
        }
    }
}

fn line_matches(shown: &str, output: &str) -> bool {
    let mut output = output.split_whitespace();
    for word in shown.split_whitespace() {
        if word == "…" {
            return true;
        }
        if !output.next().is_some_and(|other| word_matches(word, other)) {
            return false;
        }
    }
    output.next().is_none()
}

fn word_matches(shown: &str, output: &str) -> bool {
    let (shown_value, shown_frame) = measured(shown);
    let (value, frame) = measured(output);
    let (Some((a, unit)), Some((b, _))) = (shown_value, value) else {
        return shown == output;
    };
    shown_frame == frame && (a - b).abs() <= (SHARE * a.abs()).max(2.0 * unit) * 1.000_001
}

/// The value in a word with a decimal point and the unit of its last digit, and what stands around it.
fn measured(word: &str) -> (Option<(f64, f64)>, (&str, &str)) {
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+');
    let inner = word.trim_matches(|c| !number(c)).trim_end_matches('.');
    let at = word.find(inner).unwrap_or(0);
    let frame = (&word[..at], &word[at + inner.len()..]);
    let value = inner.split_once('.').and_then(|(_, decimals)| {
        let unit = 0.1_f64.powi(decimals.len() as i32);
        inner.parse().ok().map(|value| (value, unit))
    });
    (value, frame)
}

/// The README with every console block run; blocks that do not match hold the real output.
fn with_real_output(page: &str) -> (String, Vec<String>) {
    let bench = bench();
    let mut written = String::new();
    let mut wrong = Vec::new();
    let mut lines = page.lines().peekable();
    let mut inside = false;
    let mut code = 0;
    while let Some(line) = lines.next() {
        written.push_str(line);
        written.push('\n');
        if line.starts_with("```") {
            inside = line == "```console";
            continue;
        }
        let Some(command) = line.strip_prefix("$ ").filter(|_| inside) else {
            assert!(!inside || line.is_empty(), "no command before {line:?}");
            continue;
        };
        let mut shown = Vec::new();
        while let Some(next) = lines.next_if(|next| !next.starts_with("$ ") && *next != "```") {
            shown.push(next);
        }
        let output = if command == "echo $?" {
            std::mem::take(&mut code).to_string()
        } else {
            assert_eq!(code, 0, "no 'echo $?' shown before {command:?}");
            let (output, exit) = run(command, bench.path());
            code = exit;
            output
        };
        let output: Vec<&str> = output.lines().collect();
        // Blank lines between an output and the next command are for the eye.
        let content = |lines: &[&str]| {
            let end = lines.iter().rposition(|line| !line.is_empty());
            end.map_or(0, |end| end + 1)
        };
        if matches(&shown[..content(&shown)], &output[..content(&output)]) {
            shown.iter().for_each(|line| {
                written.push_str(line);
                written.push('\n');
            });
        } else {
            wrong.push(format!("$ {command}\n{}", output.join("\n")));
            output.iter().for_each(|line| {
                written.push_str(line);
                written.push('\n');
            });
            if shown.last() == Some(&"") {
                written.push('\n');
            }
        }
    }
    assert_eq!(code, 0, "no 'echo $?' shown at the end");
    (written, wrong)
}

#[test]
fn the_tour_prints_what_it_shows() {
    let page = readme();
    assert!(page.matches("$ fieldripple ").count() >= 6);
    let (written, wrong) = with_real_output(&page);
    if std::env::var("FIELDRIPPLE_README").is_ok_and(|value| value == "write") {
        fs::write(root().join("README.md"), written).unwrap();
    }
    assert!(
        wrong.is_empty(),
        "shown otherwise in the README:\n{}",
        wrong.join("\n\n")
    );
}

#[test]
fn the_set_up_commands_stand_on_lines_of_their_own() {
    let page = readme();
    for command in [
        "cargo run --release --no-default-features --features decode -- decode waveforms/intake-clean.wav",
        "cargo test",
    ] {
        assert!(page.lines().any(|line| line == command), "{command}");
    }
}

/// Codes of findings are names for scripts: all are explained.
#[test]
fn every_finding_is_explained() {
    let mut codes = BTreeSet::new();
    let mut folders = vec![
        root().join("src/findings"),
        root().join("src/command/decode"),
    ];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = fs::read_to_string(&path).unwrap();
            let text = text.split("\n#[cfg(test)]").next().unwrap();
            for begin in ["Finding::new(", "\"code\":"] {
                for part in text.split(begin).skip(1) {
                    let part = part.trim_start();
                    if let Some(code) = part.strip_prefix('"') {
                        codes.insert(code.split('"').next().unwrap().to_string());
                    }
                }
            }
        }
    }
    assert!(codes.len() >= 10, "{codes:?}");
    let page = readme();
    for code in codes {
        assert!(page.contains(&format!("| `{code}` |")), "{code}");
    }
}

/// Files the README links to are there. The picture is made by the program and may be missing in a source package.
#[test]
fn links_lead_somewhere() {
    for part in readme().split("](").skip(1) {
        let target = part.split([')', '#']).next().unwrap();
        if target.is_empty() || target.starts_with("http") || target.ends_with(".png") {
            continue;
        }
        assert!(root().join(target).exists(), "{target}");
    }
}

#[test]
fn elisions_and_tolerances_forgive_no_more_than_they_say() {
    assert!(word_matches("29.9", "29.8") && word_matches("0.0123", "0.0125"));
    assert!(word_matches("(-7.6", "(-7.5") && word_matches("-0.0", "+0.1"));
    for (shown, output) in [
        ("29.9", "31.0"),
        ("999", "998"),
        ("30°:", "31°:"),
        ("1.0", "1.0x"),
    ] {
        assert!(!word_matches(shown, output), "{shown} {output}");
    }
    assert!(matches(&["a", "…", "d"], &["a", "b", "c", "d"]));
    assert!(matches(&["a …"], &["a b c"]) && !matches(&["a …"], &["b c"]));
    assert!(!matches(&["a"], &["a", "b"]) && !matches(&["a", "b"], &["a"]));
}
