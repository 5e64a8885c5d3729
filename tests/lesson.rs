//! Lessons from outside: pages, captures and commands agree, numbers follow seed and id, exercises can be solved and graded.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

use rayon::prelude::*;
use serde_json::Value;

const CHAPTERS: [&str; 13] = [
    "field",
    "coupling",
    "load-modulation",
    "blind",
    "biphase",
    "telegram",
    "crc",
    "noise",
    "second-reader",
    "two-tags",
    "decision",
    "hdx",
    "bench",
];

fn fieldripple(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// A lesson in a folder of its own, with six exercises.
struct Lesson {
    place: tempfile::TempDir,
}

impl Lesson {
    fn new(arguments: &[&str]) -> Self {
        let place = tempfile::tempdir().unwrap();
        let mut all = vec!["lesson", "pages", "--exercise", "6"];
        all.extend(arguments);
        let output = fieldripple(&all, place.path());
        assert!(output.status.success(), "{output:?}");
        Self { place }
    }

    fn path(&self) -> PathBuf {
        self.place.path().join("pages")
    }

    fn text(&self, file: &str) -> String {
        fs::read_to_string(self.path().join(file)).unwrap_or_else(|e| panic!("{file}: {e}"))
    }

    fn results(&self) -> Value {
        serde_json::from_str(&self.text("captures.json")).unwrap()
    }
}

static COMMITTED: LazyLock<Lesson> = LazyLock::new(|| Lesson::new(&[]));

/// What stands in a page between tags, with the characters that HTML writes otherwise.
fn words(page: &str) -> String {
    let mut text = String::new();
    let mut inside = false;
    for c in page.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    text.replace("&quot;", "\"")
        .replace("&#x27;", "'")
        .replace("&#x2f;", "/")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&")
}

/// Commands printed in a page.
fn commands(page: &str) -> Vec<String> {
    page.split("<pre class=\"command\">")
        .skip(1)
        .flat_map(|rest| {
            words(rest.split("</pre>").next().unwrap())
                .lines()
                .map(str::to_string)
                .collect::<Vec<_>>()
        })
        .collect()
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path);
        }
    }
    found
}

/// The page that reads captures is there where the program was built with it; else the contents say how to get it.
#[test]
fn the_contents_lead_to_the_page_that_reads_captures_or_say_how_to_get_it() {
    let index = COMMITTED.text("index.html");
    let built = cfg!(feature = "reader");
    assert_eq!(COMMITTED.path().join("reader.html").exists(), built);
    assert_eq!(index.contains("href=\"reader.html\""), built);
    assert_eq!(
        index.contains("<code>python3 tests/outside/make_reader.py</code>"),
        !built
    );
}

#[test]
fn the_folder_is_complete_and_small() {
    let lesson = &COMMITTED;
    let bytes: u64 = files(&lesson.path())
        .iter()
        .map(|path| fs::metadata(path).unwrap().len())
        .sum();
    assert!(bytes < 10_000_000, "{bytes} bytes");
    for path in files(&lesson.path()) {
        if path.extension().is_none_or(|ending| ending != "html") {
            continue;
        }
        let page = fs::read_to_string(&path).unwrap();
        assert!(!page.contains("://"), "{path:?} names an address");
        // Whatever a page asks for lies in the folder.
        for attribute in ["src=\"", "href=\"", "srcset=\""] {
            for rest in page.split(attribute).skip(1) {
                let target = rest.split('"').next().unwrap();
                if !target.starts_with("data:") {
                    let target = path.parent().unwrap().join(target);
                    assert!(target.is_file(), "{path:?}: {target:?}");
                }
            }
        }
    }
    for path in files(&lesson.path().join("figures")) {
        let svg = fs::read_to_string(&path).unwrap();
        let document = roxmltree::Document::parse(&svg).unwrap();
        let drawn = document
            .descendants()
            .filter(|node| node.has_tag_name("polyline") || node.has_tag_name("text"));
        assert!(drawn.count() > 2, "{path:?} is blank");
    }
}

#[test]
fn chapters_ask_answer_and_name_their_sources() {
    for chapter in CHAPTERS {
        let page = COMMITTED.text(&format!("{chapter}.html"));
        for part in ["Check yourself", "class=\"answer\"", "<h2>Sources</h2>"] {
            assert_eq!(page.matches(part).count(), 1, "{chapter}: {part}");
        }
        assert!(!commands(&page).is_empty(), "{chapter}: no command");
        assert!(
            page.contains("<img ") || page.contains("<svg "),
            "{chapter}: no figure"
        );
    }
}

#[test]
fn numbers_follow_seed_and_number() {
    let one = &COMMITTED;
    let other = Lesson::new(&["--seed", "5", "--id", "756:98765432109", "--depth", "0.006"]);
    let secret = |lesson: &Lesson| -> Vec<String> {
        let results = lesson.results();
        let captures = results["captures"].as_array().unwrap().clone();
        let field = captures
            .iter()
            .find(|capture| capture["file"] == "captures/field.wav")
            .unwrap();
        let reading = &field["decoded"]["readings"][0];
        let text = |key: &str| reading[key].as_str().unwrap().to_string();
        vec![
            text("id")[3..].to_string(),
            text("code_hex"),
            text("crc_hex"),
        ]
    };
    let (first, second) = (secret(one), secret(&other));
    for chapter in CHAPTERS {
        let file = format!("{chapter}.html");
        let (page, changed) = (words(&one.text(&file)), words(&other.text(&file)));
        assert_ne!(page, changed, "{chapter}");
        for number in &first {
            assert!(
                !changed.contains(number.as_str()),
                "{chapter}: {number} stayed"
            );
        }
        for number in &second {
            assert!(!page.contains(number.as_str()), "{chapter}: {number}");
        }
    }
    let crc = words(&other.text("crc.html"));
    // CRC of this code worked out from the conventions of ISO 11785 by the division in the page and by the table in the program.
    for number in &second {
        assert!(
            crc.contains(number.as_str()) || number == &second[0],
            "{number}"
        );
    }
    assert!(words(&other.text("telegram.html")).contains("Switzerland"));
}

#[test]
fn every_command_runs_and_makes_what_the_page_shows() {
    let lesson = &COMMITTED;
    let mut all: Vec<String> = CHAPTERS
        .iter()
        .flat_map(|chapter| commands(&lesson.text(&format!("{chapter}.html"))))
        .chain(commands(&lesson.text("teacher/answer-sheet.html")))
        .chain(commands(&lesson.text("exercise/work-sheet.html")))
        .collect();
    all.sort();
    all.dedup();
    let results = lesson.results();
    let captures: BTreeMap<String, Value> = results["captures"]
        .as_array()
        .unwrap()
        .iter()
        .map(|capture| {
            (
                capture["command"].as_str().unwrap().to_string(),
                capture.clone(),
            )
        })
        .collect();
    for command in captures.keys() {
        assert!(all.contains(command), "no page prints {command}");
    }
    let place = tempfile::tempdir().unwrap();
    for folder in ["captures", "exercise"] {
        fs::create_dir(place.path().join(folder)).unwrap();
    }
    for file in ["captures/second-carrier.toml", "captures/half-duplex.toml"] {
        fs::copy(lesson.path().join(file), place.path().join(file)).unwrap();
    }
    let (making, using): (Vec<&String>, Vec<&String>) = all
        .iter()
        .partition(|command| command.starts_with("fieldripple synth"));
    assert!(
        making.len() > 40 && using.len() > 8,
        "{} {}",
        making.len(),
        using.len()
    );
    making.par_iter().for_each(|command| {
        let parts: Vec<&str> = command.split(' ').skip(1).collect();
        let output = fieldripple(&parts, place.path());
        assert!(output.status.success(), "{command}: {output:?}");
        let kept = lesson.path().join(parts[1]);
        let made = place.path().join(parts[1]);
        if kept.is_file() {
            assert_eq!(
                fs::read(&kept).unwrap(),
                fs::read(&made).unwrap(),
                "{command}"
            );
        }
        if let Some(capture) = captures.get(*command) {
            let output = fieldripple(&["decode", "--json", parts[1]], place.path());
            let decoded: Value = serde_json::from_slice(&output.stdout).unwrap();
            assert_eq!(decoded, capture["decoded"], "{command}");
        } else {
            assert!(parts[1].starts_with("exercise/"), "{command}");
        }
    });
    for command in using {
        let parts: Vec<&str> = command.split(' ').skip(1).collect();
        let output = fieldripple(&parts, place.path());
        assert!(
            matches!(output.status.code(), Some(0 | 1)),
            "{command}: {output:?}"
        );
        assert!(!output.stdout.is_empty(), "{command}");
    }
}

/// Value of an attribute of every tag that holds some words.
fn attributes(page: &str, holds: &str, name: &str) -> Vec<String> {
    page.split('<')
        .filter(|tag| tag.split('>').next().unwrap().contains(holds))
        .filter_map(|tag| tag.split(&format!(" {name}=\"")).nth(1))
        .map(|rest| rest.split('"').next().unwrap().to_string())
        .collect()
}

/// What the chapter says of beats is in its figures: levels as they came swing by twice the second field's share, and the
/// spectrum names the line once, or says why it cannot.
#[test]
fn a_second_field_is_in_the_figures_as_it_came() {
    let page = COMMITTED.text("second-reader.html");
    for (across, offset) in ["80 Hz", "0.3 kHz", "1 kHz", "3.3 kHz"].iter().enumerate() {
        for (down, share) in [0.01, 0.1, 1.0].iter().enumerate() {
            let name = format!("second-{across}-{down}");
            let words = |panel: &str| {
                let found = attributes(&page, &format!("{name}-{panel}.svg"), "alt");
                assert_eq!(found.len(), 1, "{name} {panel}");
                found[0].clone()
            };
            let beat = words("beat");
            let between = beat.split("between ").nth(1).unwrap();
            let ends: Vec<f64> = between
                .split(" % ")
                .next()
                .unwrap()
                .split(" and ")
                .map(|end| end.parse().unwrap())
                .collect();
            let swing = (ends[1] - ends[0]) / 200.0;
            // The ripple of 1 % is added on both sides, and at 15 dB the peaks of the noise, which are as large.
            assert!((swing - share).abs() < 0.03, "{name}: {beat}");
            let spectrum = words("spectrum");
            assert_eq!(spectrum.matches(offset).count(), 1, "{name}: {spectrum}");
            assert!(
                !words("envelope").contains("as an amplitude detector"),
                "{name}"
            );
        }
    }
}

/// Tilt takes voltage and ripple from a transponder: each position says how much is left, and both fall.
#[test]
fn tilt_tells_voltage_and_depth() {
    let page = words(&COMMITTED.text("coupling.html"));
    let told: Vec<f64> = page
        .split("The transponder has ")
        .skip(1)
        .map(|rest| rest.split(' ').next().unwrap().parse().unwrap())
        .collect();
    assert_eq!(told.len(), 8, "{told:?}");
    assert!(told.windows(2).all(|pair| pair[0] > pair[1]), "{told:?}");
    let depths: Vec<f64> = page
        .split("depth of its ripple is ")
        .skip(1)
        .map(|rest| rest.split(' ').next().unwrap().parse().unwrap())
        .collect();
    assert!(depths.len() > 4, "{depths:?}");
    assert!(
        depths.windows(2).all(|pair| pair[0] > pair[1]),
        "{depths:?}"
    );
    let silent = page.matches("it does not answer").count();
    assert_eq!(depths.len() + silent, 8);
}

/// Captures of an answer sheet: name, numbers, fault, change.
fn sheet(lesson: &Lesson) -> Vec<[String; 4]> {
    captures_of(&lesson.text("teacher/answer-sheet.csv"))
}

fn captures_of(sheet: &str) -> Vec<[String; 4]> {
    sheet
        .lines()
        .filter(|line| line.starts_with("capture-"))
        .map(|line| {
            let parts: Vec<String> = line.split(',').map(str::to_string).collect();
            parts.try_into().unwrap()
        })
        .collect()
}

#[test]
fn the_answer_sheet_is_the_truth_and_can_be_found_out() {
    let lesson = &COMMITTED;
    let rows = sheet(lesson);
    assert_eq!(rows.len(), 6);
    let faults: std::collections::BTreeSet<&str> = rows.iter().map(|row| row[2].as_str()).collect();
    assert_eq!(faults.len(), 6, "{faults:?}");
    for [capture, numbers, ..] in &rows {
        let truth: Value =
            serde_json::from_str(&lesson.text(&format!("teacher/{capture}.truth.json"))).unwrap();
        let truth: Vec<String> = truth["tags"]
            .as_array()
            .unwrap()
            .iter()
            .map(|tag| format!("{}:{}", tag["country"], tag["national"]))
            .collect();
        assert_eq!(*numbers, truth.join(" "), "{capture}");
        holds_what_the_sheet_says(&lesson.path(), capture, numbers);
        // Nothing in the pupils' folder tells the answer.
        assert!(
            !lesson
                .path()
                .join(format!("exercise/{capture}.truth.json"))
                .exists()
        );
        assert!(
            !lesson
                .text("exercise/work-sheet.html")
                .contains(numbers.as_str())
        );
    }
    let other = Lesson::new(&["--seed", "2"]);
    for (row, changed) in rows.iter().zip(sheet(&other)) {
        assert_ne!(row[1], changed[1]);
    }
}

/// The numbers that `decode` reads in an exercise are those of the answer sheet; returns all that it says.
fn holds_what_the_sheet_says(pages: &Path, capture: &str, numbers: &str) -> Value {
    let file = format!("exercise/{capture}");
    let output = fieldripple(&["decode", "--json", &file], pages);
    let decoded: Value = serde_json::from_slice(&output.stdout).unwrap();
    let readings = decoded["readings"].as_array().unwrap().iter();
    let mut read: Vec<String> = readings
        .map(|reading| format!("{}:{}", reading["country"], reading["national"]))
        .collect();
    let mut wanted: Vec<&str> = numbers.split(' ').collect();
    read.sort();
    wanted.sort_unstable();
    assert_eq!(read, wanted, "{}: {capture}", pages.display());
    decoded
}

/// What `decode` reads is what the answer sheet holds, for seeds that nobody chose for it.
#[test]
fn exercises_of_any_seed_can_be_solved() {
    for seed in ["4", "15", "4242"] {
        let place = tempfile::tempdir().unwrap();
        let made = ["lesson", "pages", "--exercise", "12", "--secret", seed];
        let output = fieldripple(&made, place.path());
        assert!(output.status.success(), "{output:?}");
        let pages = place.path().join("pages");
        let sheet = fs::read_to_string(pages.join("teacher/answer-sheet.csv")).unwrap();
        let rows = captures_of(&sheet);
        assert_eq!(rows.len(), 12);
        let lengths: std::collections::BTreeSet<u64> = rows
            .iter()
            .map(|[capture, ..]| {
                fs::metadata(pages.join("exercise").join(capture))
                    .unwrap()
                    .len()
            })
            .collect();
        assert_eq!(lengths.len(), 1, "the size of a file tells something");
        // The secret is nowhere in what pupils get.
        for path in files(&pages)
            .iter()
            .filter(|path| !path.starts_with(pages.join("teacher")))
        {
            let text = fs::read(path).unwrap();
            let text = String::from_utf8_lossy(&text);
            assert!(!text.contains("--secret"), "{path:?}");
        }
        rows.par_iter().for_each(|row| {
            let [capture, numbers, fault, _] = row;
            let fault = fault.as_str();
            let decoded = holds_what_the_sheet_says(&pages, capture, numbers);
            let named = match fault {
                "two-tags" => Some("several-tags"),
                "second-reader" => Some("second-reader"),
                "wrong-kind" => Some("field-off-frequency"),
                _ => None,
            };
            for code in ["several-tags", "second-reader", "field-off-frequency"] {
                let findings = decoded["findings"].as_array().unwrap();
                let found = findings.iter().any(|finding| finding["code"] == code);
                assert_eq!(found, named == Some(code), "secret {seed}, {row:?}: {code}");
            }
            let single_db = decoded["readings"][0]["ebn0_db"].as_f64().unwrap();
            assert_eq!(single_db < 3.0, fault == "weak", "secret {seed}, {row:?}");
        });
    }
}

#[test]
fn answers_are_graded() {
    let place = tempfile::tempdir().unwrap();
    let output = fieldripple(
        &["lesson", "pages", "--exercise", "3", "--secret", "8"],
        place.path(),
    );
    assert!(output.status.success());
    let says = |arguments: &[&str], words: &str, code: i32| {
        let output = fieldripple(arguments, place.path());
        assert_eq!(output.status.code(), Some(code), "{output:?}");
        let text = [output.stdout, output.stderr].concat();
        let text = String::from_utf8(text).unwrap();
        assert!(text.contains(words), "{arguments:?}: {text}");
    };
    let full = "pages/teacher/answer-sheet.csv";
    let text = fs::read_to_string(place.path().join(full)).unwrap();
    let cells = 3 * 3
        + text
            .lines()
            .filter(|line| line.starts_with("nearer-"))
            .count();
    let all = format!("{cells} of {cells} marks");
    says(&["lesson", "--grade", full], &all, 0);
    let none = format!("0 of {cells} marks");
    says(
        &["lesson", "--grade", "pages/exercise/answers.csv"],
        &none,
        0,
    );
    let path = place.path().join("mine.csv");
    fs::write(&path, "capture,numbers,fault\ncapture-01.wav,nine,none\n").unwrap();
    says(&["lesson", "--grade", "mine.csv"], "name it with --key", 2);
    says(
        &["lesson", "--grade", "mine.csv", "--key", full],
        "capture-01, numbers: 'nine' is no number",
        0,
    );
    fs::write(&path, "what is this\n").unwrap();
    says(
        &["lesson", "--grade", "mine.csv", "--key", full],
        "mine.csv: no line names the columns",
        2,
    );
    says(
        &["lesson", "--grade", "none.csv", "--key", full],
        "none.csv",
        2,
    );
    says(&["lesson", "pages", "--key", "k.csv"], "need --exercise", 2);
    // Filled-in answers are not lost to another run.
    let answers = place.path().join("pages/exercise/answers.csv");
    fs::write(&answers, "capture,numbers,fault\ncapture-01.wav,,none\n").unwrap();
    says(
        &["lesson", "pages"],
        "exercise/answers.csv was changed since it was written",
        2,
    );
    assert!(fs::read_to_string(&answers).unwrap().contains("none"));
}

/// The teacher keeps one file; a folder of forms is graded at once, and one that is no form does not keep the others waiting.
#[test]
fn a_folder_of_forms_is_graded_by_a_key() {
    let place = tempfile::tempdir().unwrap();
    let made = ["lesson", "pages", "--exercise", "2", "--key", "key.csv"];
    let output = fieldripple(&made, place.path());
    assert!(output.status.success(), "{output:?}");
    assert!(!place.path().join("pages/teacher").exists());
    let key = fs::read_to_string(place.path().join("key.csv")).unwrap();
    let secret = key
        .lines()
        .find_map(|line| line.strip_prefix("secret,,,"))
        .unwrap();
    // No file that pupils get tells the secret or an answer.
    let numbers: Vec<String> = captures_of(&key)
        .into_iter()
        .map(|row| row[1].clone())
        .collect();
    for path in files(&place.path().join("pages")) {
        let text = fs::read(&path).unwrap();
        let text = String::from_utf8_lossy(&text);
        assert!(!text.contains(secret), "{path:?}");
        assert!(
            !numbers.iter().any(|number| text.contains(number.as_str())),
            "{path:?}"
        );
    }
    // The secret makes the same again.
    let again = ["lesson", "again", "--exercise", "2", "--secret", secret];
    assert!(fieldripple(&again, place.path()).status.success());
    let same = |file: &str| {
        let of = |folder: &str| fs::read(place.path().join(folder).join(file)).unwrap();
        assert_eq!(of("pages"), of("again"), "{file}");
    };
    same("exercise/capture-01.wav");
    same("exercise/capture-02.wav");
    let forms = place.path().join("forms");
    fs::create_dir(&forms).unwrap();
    let semicolons = key.replace(',', ";").replace('\n', "\r\n").to_uppercase();
    fs::write(forms.join("ada.csv"), semicolons).unwrap();
    fs::write(
        forms.join("bo.csv"),
        "capture,numbers,fault,change\ncapture-01.wav,,none of it,\n",
    )
    .unwrap();
    fs::write(forms.join("cy.csv"), "a letter\n").unwrap();
    let output = fieldripple(
        &[
            "lesson",
            "--grade",
            "forms",
            "--key",
            "key.csv",
            "--csv",
            "marks.csv",
        ],
        place.path(),
    );
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(
        text.contains("not graded") && text.contains("cy.csv"),
        "{text}"
    );
    assert!(
        text.contains("capture-01, fault: 'none of it' is none of none, weak"),
        "{text}"
    );
    let marks = fs::read_to_string(place.path().join("marks.csv")).unwrap();
    let rows: Vec<Vec<&str>> = marks
        .lines()
        .map(|line| line.split(',').collect())
        .collect();
    assert_eq!(rows.len(), 4, "{marks}");
    assert!(rows.iter().all(|row| row.len() == rows[0].len()), "{marks}");
    let end = rows[0].len() - 2;
    assert_eq!(rows[0][end..], ["reached", "possible"]);
    assert_eq!(rows[1][0], "ada");
    assert_eq!(rows[1][end], rows[1][end + 1]);
    assert_eq!(rows[2][end], "0");
    assert!(rows[2].contains(&"unreadable") && rows[2].contains(&"blank"));
    assert_eq!(rows[3][1..end + 2].concat(), "");
}

/// Commands of the pages leave captures in the folder; another run replaces them with the rest, and still nothing that is anybody's own.
#[test]
fn a_folder_in_which_commands_were_run_is_replaced() {
    let place = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str]| fieldripple(arguments, place.path());
    assert!(run(&["lesson", "pages"]).status.success());
    let pages = place.path().join("pages");
    let page = fs::read_to_string(pages.join("coupling.html")).unwrap();
    for command in commands(&page)
        .iter()
        .filter(|line| line.starts_with("fieldripple synth"))
    {
        let parts: Vec<&str> = command.split(' ').skip(1).collect();
        assert!(fieldripple(&parts, &pages).status.success(), "{command}");
    }
    assert!(pages.join("captures/tilt-15.wav").exists());
    let output = run(&["lesson", "pages", "--seed", "3"]);
    assert!(output.status.success(), "{output:?}");
    assert!(!pages.join("captures/tilt-15.wav").exists());
    fs::write(pages.join("captures/mine.wav"), "x").unwrap();
    let output = run(&["lesson", "pages"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
}

/// Pages to play with are one file each.
#[test]
fn pages_to_play_with_stand_alone() {
    for name in ["play-bench", "play-folding", "play-break", "play-decode"] {
        let page = COMMITTED.text(&format!("{name}.html"));
        for outside in [
            " src=",
            "<link rel=\"stylesheet\"",
            "@import",
            "url(",
            "fetch(",
            "XMLHttpRequest",
        ] {
            assert!(!page.contains(outside), "{name}: {outside}");
        }
        assert_eq!(page.matches("<main>").count(), 1, "{name}");
        let data = page.split("id=\"data\">").nth(1).unwrap();
        let data: Value = serde_json::from_str(data.split("</script>").next().unwrap()).unwrap();
        assert!(data.as_object().unwrap().len() > 3, "{name}");
        // The program's own code, where it was built in, is another two and a half million.
        let code = page.split("id=\"module\">").nth(1);
        let code = code.map_or(0, |rest| rest.find('<').unwrap());
        assert!(page.len() - code < 600_000, "{name}: {}", page.len());
        let lacks = page.contains("This page holds none of the program's own code");
        assert_eq!(lacks, code == 0, "{name}");
    }
}

#[test]
fn foreign_folders_are_left_alone() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("photos");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("cat.txt"), "cat").unwrap();
    let output = fieldripple(&["lesson", "photos"], place.path());
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(
        error.contains("cat.txt") && error.lines().count() == 1,
        "{error}"
    );
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1);
}

#[test]
fn chapters_print_as_text() {
    let place = tempfile::tempdir().unwrap();
    let number = COMMITTED.results()["id"].as_str().unwrap()[4..].to_string();
    CHAPTERS
        .par_iter()
        .enumerate()
        .for_each(|(place_in_list, chapter)| {
            let name = if place_in_list % 2 == 0 {
                (*chapter).to_string()
            } else {
                (place_in_list + 1).to_string()
            };
            let output = fieldripple(&["lesson", "--text", &name], place.path());
            assert!(output.status.success(), "{chapter}: {output:?}");
            let text = String::from_utf8(output.stdout).unwrap();
            assert!(
                text.starts_with(&format!("{}. ", place_in_list + 1)),
                "{chapter}"
            );
            for part in ["Check yourself", "Answer:", "Sources"] {
                assert!(text.contains(part), "{chapter}: {part}");
            }
            for left in ["</", "<div", "<p", "**", "{{", "{%"] {
                assert!(!text.contains(left), "{chapter}: {left}");
            }
            let about_the_number = ["field", "telegram", "crc", "two-tags"].contains(chapter);
            assert!(
                text.contains(number.trim_start_matches('0')) || !about_the_number,
                "{chapter}"
            );
        });
    let output = fieldripple(&["lesson", "--text", "bees"], place.path());
    assert_eq!(output.status.code(), Some(2));
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(
        error.contains("7 crc") && error.lines().count() == 1,
        "{error}"
    );
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 0);
}
