//! Damaged, lying and foreign files: an error in one line or finite samples, nothing else.
//!
//! The committed files come from `tests/outside/make_hostile.py`; what cannot be committed is made here.

use fieldripple::capture::{self, OpenOptions, RawKind};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

fn committed() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/hostile");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
}

/// Long files, folders, links and what may not be read.
fn made() -> (TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let mut file = |name: &str, content: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, content).unwrap();
        files.push(path);
    };
    file("digits_5_mb_in_a_line.csv", "1".repeat(5 << 20).as_bytes());
    file("cells_5_mb_in_a_line.csv", "1,".repeat(5 << 19).as_bytes());
    file("blanks_5_mb.csv", " ".repeat(5 << 20).as_bytes());
    file("line_ends_5_mb.csv", "\n".repeat(5 << 20).as_bytes());
    file(
        "quote_opened_5_mb.csv",
        format!("t,a\n0,1\n1,\"{}", "x\n".repeat(5 << 19)).as_bytes(),
    );
    file(
        "preamble_2_mb.csv",
        format!("{}0,1\n1,2\n", "note,here\n".repeat(200_000)).as_bytes(),
    );
    file("zeros_5_mb.wav", &vec![0; 5 << 20]);
    let rows: String = (0..2000)
        .map(|row| format!("{row}e-12,{}\n", row * 7919 % 13))
        .collect();
    file(
        "a_sample_a_picosecond.csv",
        format!("time (s),a (V)\n{rows}").as_bytes(),
    );
    let inner = folder.path().join("folder.wav");
    fs::create_dir(&inner).unwrap();
    #[cfg(unix)]
    {
        let link = folder.path().join("link_to_folder.csv");
        std::os::unix::fs::symlink(&inner, &link).unwrap();
        let round = folder.path().join("link_to_itself.csv");
        std::os::unix::fs::symlink(&round, &round).unwrap();
        let nowhere = folder.path().join("link_to_nowhere.csv");
        std::os::unix::fs::symlink(folder.path().join("nothing"), &nowhere).unwrap();
        let closed = folder.path().join("unreadable.csv");
        fs::write(&closed, "time,v\n0,1\n1e-6,2\n").unwrap();
        let nobody: fs::Permissions = std::os::unix::fs::PermissionsExt::from_mode(0o000);
        fs::set_permissions(&closed, nobody).unwrap();
        files.extend([link, round, nowhere, closed]);
        files.extend(["/dev/null", "/dev/zero", "/dev/urandom"].map(PathBuf::from));
    }
    files.extend([inner, folder.path().join("not_there.wav"), PathBuf::new()]);
    (folder, files)
}

/// Reads to the end; `Err` is the message.
fn read(path: &Path, options: &OpenOptions) -> Result<usize, String> {
    let mut source = capture::open(path, options).map_err(|error| error.to_string())?;
    let channels = source.layout().channels.len();
    assert!(channels > 0, "{}", path.display());
    let mut total = 0;
    let mut block = vec![Vec::new(); channels];
    loop {
        let count = source
            .read(4096, &mut block)
            .map_err(|error| error.to_string())?;
        for own in &mut block {
            assert_eq!(own.len(), count, "{}", path.display());
            assert!(
                own.iter().all(|sample| sample.is_finite()),
                "{}",
                path.display()
            );
            own.clear();
        }
        if count == 0 {
            break;
        }
        total += count;
    }
    assert!(total > 0, "{}: no samples and no error", path.display());
    let rate = source.layout().rate_hz;
    assert!(
        rate.is_none_or(|rate| rate.is_finite() && rate > 0.0),
        "{}: {rate:?}",
        path.display()
    );
    assert!(source.layout().start_s.is_finite(), "{}", path.display());
    Ok(total)
}

#[test]
fn every_file_gives_an_error_or_finite_samples() {
    let (_folder, made) = made();
    let files = [committed(), made].concat();
    assert!(files.len() >= 70, "{}", files.len());
    for path in files {
        let result = read(&path, &OpenOptions::default());
        println!("{}: {result:?}", path.display());
        if let Err(message) = result {
            assert!(!message.contains('\n') && message.len() < 400, "{message}");
        }
    }
}

/// A value change dump around the edges of a tag.
fn dump() -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/grafts");
    let edges = fs::read_to_string(folder.join("edges.txt")).unwrap();
    let mut text =
        String::from("$timescale 1 ns $end\n$var wire 1 ! load $end\n$enddefinitions $end\n");
    for line in edges.lines() {
        let (time, state) = line.split_once(' ').unwrap();
        text.push_str(&format!("#{time}\n{state}!\n"));
    }
    text.into_bytes()
}

/// Sound files of each container, cut and with bytes changed: most of them where the headers are.
#[test]
fn damaged_containers_give_an_error_or_finite_samples() {
    let grafts = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/grafts");
    let mut sound: Vec<(String, Vec<u8>)> = [
        "direct.flac",
        "packed.mat",
        "plain.mat",
        "time_and_coil.npz",
        "coil_and_rate.npz",
        "wave.zip",
        "wave.wav.gz",
        "time_and_volts.npy",
        "iq.sigmf-meta",
    ]
    .map(|name| (name.to_owned(), fs::read(grafts.join(name)).unwrap()))
    .into();
    sound.push(("dump.vcd".into(), dump()));
    let folder = tempfile::tempdir().unwrap();
    fs::copy(
        grafts.join("iq.sigmf-data"),
        folder.path().join("iq.sigmf-data"),
    )
    .unwrap();
    // Numerical Recipes' linear congruence: any even spread will do.
    let mut state = 20_261_u32;
    let mut next = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize % below
    };
    let (mut errors, mut fine) = (0, 0);
    for (name, whole) in &sound {
        let path = folder.path().join(name);
        for trial in 0..150 {
            let mut bytes = whole.clone();
            if trial % 5 == 0 {
                bytes.truncate(next(whole.len()));
            } else {
                for _ in 0..1 + trial % 4 {
                    let reach = if trial % 2 == 0 {
                        whole.len().min(400)
                    } else {
                        whole.len()
                    };
                    bytes[next(reach)] = [0, 0xFF, 0x7F, 0x80, next(256) as u8][next(5)];
                }
            }
            fs::write(&path, &bytes).unwrap();
            match read(&path, &OpenOptions::default()) {
                Ok(_) => fine += 1,
                Err(message) => {
                    errors += 1;
                    assert!(
                        !message.contains('\n') && message.len() < 400,
                        "{name}: {message}"
                    );
                }
            }
        }
    }
    println!("{errors} errors, {fine} read");
    // Both ways are walked; how often each is the generator's affair.
    assert!(errors > 0 && fine > 0, "{errors} errors, {fine} read");
}

/// Peak memory of the program at a file that it refuses, where the system tells.
fn peak_bytes(path: &Path) -> Option<u64> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("decode")
        .arg(path)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut peak = None;
    while child.try_wait().unwrap().is_none() {
        let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|line| line.trim().strip_suffix(" kB")?.parse::<u64>().ok());
        peak = kib.map(|kib| kib << 10).or(peak);
    }
    peak
}

/// A stream opens nothing, whatever it is called.
#[test]
fn metadata_in_a_stream_opens_no_file() {
    let grafts = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/grafts");
    for name in ["iq.sigmf-meta", "iq.sigmf-data"] {
        let path = grafts.join(name);
        let bytes = fs::read(&path).unwrap();
        let called = path.to_str().unwrap();
        let opened =
            capture::open_reader(called, std::io::Cursor::new(bytes), &OpenOptions::default());
        let message = opened.err().map(|error| error.to_string());
        assert!(
            message.is_some_and(|text| text.contains("not supported")),
            "{name}"
        );
    }
}

/// Little that unpacks to a lot is refused before the lot is there.
#[test]
#[cfg(feature = "formats")]
fn bombs_are_refused() {
    use std::io::Write as _;
    let folder = tempfile::tempdir().unwrap();
    let zeros = vec![0; 1 << 20];
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    gzip.write_all(b"t,v\n").unwrap();
    for _ in 0..200 {
        gzip.write_all(&b"0.0001,1\n".repeat(100_000)).unwrap();
    }
    let text = folder.path().join("text.csv.gz");
    fs::write(&text, gzip.finish().unwrap()).unwrap();
    // Each variable alone stays below what any file may have.
    let mut mat = b"MATLAB 5.0 MAT-file".to_vec();
    mat.resize(124, b' ');
    mat.extend([0, 1, b'I', b'M']);
    for _ in 0..60 {
        let mut zlib = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
        for _ in 0..3 {
            zlib.write_all(&zeros).unwrap();
        }
        let packed = zlib.finish().unwrap();
        mat.extend(15_u32.to_le_bytes());
        mat.extend((packed.len() as u32).to_le_bytes());
        mat.extend(packed);
    }
    let variables = folder.path().join("variables.mat");
    fs::write(&variables, mat).unwrap();
    for path in [text, variables] {
        let message = read(&path, &OpenOptions::default()).unwrap_err();
        assert!(message.contains("unpacks to more than"), "{message}");
        assert!(!message.contains('\n') && message.len() < 400, "{message}");
        let size = fs::metadata(&path).unwrap().len();
        let (most, peak) = ((64 << 20) + 20 * size, peak_bytes(&path));
        // Read on Linux only.
        assert!(
            peak.is_none_or(|peak| peak <= most),
            "{}: {peak:?} of {most}",
            path.display()
        );
    }
}

#[test]
fn every_file_as_raw_samples() {
    let (_folder, made) = made();
    for path in [committed(), made].concat() {
        for raw in [
            RawKind::I8,
            RawKind::I16,
            RawKind::F32,
            RawKind::F64,
            RawKind::Cf32,
        ] {
            let options = OpenOptions {
                raw: Some(raw),
                ..OpenOptions::default()
            };
            if let Err(message) = read(&path, &options) {
                assert!(!message.contains('\n'), "{message}");
            }
        }
    }
}

#[test]
fn nonsense_options_are_refused() {
    let path = committed()
        .into_iter()
        .find(|path| path.ends_with("wav_one_sample.wav"))
        .unwrap();
    for rate_hz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let options = OpenOptions {
            rate_hz: Some(rate_hz),
            ..OpenOptions::default()
        };
        assert!(read(&path, &options).is_err(), "{rate_hz}");
    }
    for scale in [0.0, f64::NAN, f64::NEG_INFINITY] {
        let options = OpenOptions {
            scale,
            ..OpenOptions::default()
        };
        assert!(read(&path, &options).is_err(), "{scale}");
    }
    // A factor that leaves single precision gives an error or finite samples like any file.
    for scale in [1e39, 1e-300, -1e308] {
        for path in committed() {
            let _ = read(
                &path,
                &OpenOptions {
                    scale,
                    ..OpenOptions::default()
                },
            );
        }
    }
}

/// The whole program: exit code 1 (nothing read) or 2 (unreadable, with one line that says why), in bounded memory.
fn survives(path: &Path, options: &[&str]) {
    // Address space, not memory in use: thread stacks and the largest file kept whole (5 MB) fit many times over.
    const LIMIT_KIB: u32 = 2_000_000;
    let output = Command::new("sh")
        .args(["-c", "ulimit -v \"$0\" && exec \"$@\""])
        .arg(LIMIT_KIB.to_string())
        .args([env!("CARGO_BIN_EXE_fieldripple"), "decode"])
        .args(options)
        .arg("--")
        .arg(path)
        .env("RAYON_NUM_THREADS", "1")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    let shown = format!("{options:?} {}", path.display());
    assert!(!errors.contains("panicked"), "{shown}: {errors}");
    match output.status.code() {
        Some(1) => assert_eq!(errors, "", "{shown}"),
        Some(2) => assert_eq!(errors.lines().count(), 1, "{shown}: {errors}"),
        other => panic!("{shown}: exit {other:?}, {errors}"),
    }
    if options.contains(&"--json") {
        for line in String::from_utf8(output.stdout).unwrap().lines() {
            serde_json::from_str::<serde_json::Value>(line).unwrap();
        }
    }
}

#[test]
fn the_program_survives_every_file() {
    let (_folder, made) = made();
    for path in [committed(), made].concat() {
        survives(&path, &[]);
    }
}

/// Options that lead the same bytes along other ways. Devices without an end are left out: bare samples have no end there.
#[test]
fn the_program_survives_every_file_with_options() {
    for path in committed() {
        for options in [
            &["--json"][..],
            &["--rate", "1e6", "--channel", "1-2"],
            &["--rate", "1e6", "--centre", "134200", "--json"],
            &["--rate", "1e6", "--from", "1e-5", "--scale", "1e30"],
            &["--rate", "1e6", "--join"],
            &["--raw", "i16"],
            &["--raw", "f64", "--rate", "1e6"],
            &["--raw", "cf32", "--rate", "1e6"],
        ] {
            survives(&path, options);
        }
    }
}
