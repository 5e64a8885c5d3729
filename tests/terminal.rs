//! What a terminal gets and a pipe does not: the picture and colour.

use std::process::Command;

use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_fieldripple");

/// Output of decoding a capture on a pseudo-terminal, made by `script` (util-linux). `None` where that is not installed.
fn on_terminal(folder: &TempDir, no_color: Option<&str>) -> Option<String> {
    let mut command = Command::new("script");
    command
        .args(["-qec", &format!("{PROGRAM} decode a.wav"), "/dev/null"])
        .current_dir(folder.path())
        .env("TERM", "xterm")
        .env_remove("NO_COLOR");
    if let Some(value) = no_color {
        command.env("NO_COLOR", value);
    }
    let output = command.output().ok()?;
    Some(String::from_utf8(output.stdout).unwrap().replace('\r', ""))
}

#[test]
fn the_picture_and_colour_are_for_terminals() {
    let folder = TempDir::new().unwrap();
    let made = Command::new(PROGRAM)
        .args([
            "synth",
            "a.wav",
            "--id",
            "999:5",
            "--seconds",
            "0.1",
            "--ebn0",
            "12",
        ])
        .current_dir(folder.path())
        .status()
        .unwrap();
    assert!(made.success());
    let piped = Command::new(PROGRAM)
        .args(["decode", "a.wav"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let piped = String::from_utf8(piped.stdout).unwrap();
    let picture = |text: &str| text.contains('▁') || text.contains('█');
    assert!(!picture(&piped) && !piped.contains('\x1b'), "{piped}");
    let Some(shown) = on_terminal(&folder, None) else {
        println!("no `script` here: the terminal's side is not tested");
        return;
    };
    assert!(picture(&shown) && shown.contains("\x1b[1;32m"), "{shown}");
    let eye = shown.lines().find(|line| line.contains("eye")).unwrap();
    // Two states of a telegram at 12 dB: both halves are filled, the middle is not.
    let bars: Vec<char> = eye.split('|').nth(1).unwrap().chars().collect();
    let filled = |c: &char| ('▁'..='█').contains(c);
    assert_eq!(bars.len(), 64, "{eye}");
    assert!(
        bars[..24].iter().any(filled) && bars[40..].iter().any(filled),
        "{eye}"
    );
    assert!(!bars[30..34].iter().any(filled), "{eye}");
    let plain = on_terminal(&folder, Some("1")).unwrap();
    assert!(picture(&plain) && !plain.contains('\x1b'), "{plain}");
    // No-color.org: an empty value is as good as none.
    assert!(on_terminal(&folder, Some("")).unwrap().contains('\x1b'));
}
