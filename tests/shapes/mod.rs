//! Shapes of files times quirks of their writers, each around one capture of a tag made outside the crate
//! (`tests/outside/make_grafts.py`). The rows are our own: only the shape is an instrument's.

use fieldripple::capture::Unit;
use fieldripple::decode::{Decoded, Settings, decode_file};
use std::fmt::Write;
use std::path::{Path, PathBuf};

const RATE_HZ: f64 = 400_000.0;
const NUMBER: &str = "999 031415926535";

pub struct Graft {
    what: &'static str,
    bytes: Vec<u8>,
    rate_hz: f64,
    unit: Unit,
    channel: &'static str,
}

pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/grafts")
}

fn file(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).unwrap()
}

fn integers(name: &str) -> Vec<i16> {
    file(name)
        .as_chunks::<2>()
        .0
        .iter()
        .map(|&two| i16::from_le_bytes(two))
        .collect()
}

/// Volts of a code.
fn volts(code: i16) -> f64 {
    f64::from(code) / 32_000.0 * 1.25
}

/// Lines before the rows, then a row for each sample of (time in seconds, volts, row number).
fn text(head: &str, row: impl Fn(f64, f64, usize) -> String) -> Vec<u8> {
    let mut all = String::from(head);
    for (k, &code) in integers("direct.i16").iter().enumerate() {
        all.push_str(&row(k as f64 / RATE_HZ, volts(code), k));
        all.push('\n');
    }
    all.into_bytes()
}

fn volt(what: &'static str, channel: &'static str, bytes: Vec<u8>) -> Graft {
    Graft {
        what,
        bytes,
        rate_hz: RATE_HZ,
        unit: Unit::Volt,
        channel,
    }
}

fn bare(what: &'static str, channel: &'static str, bytes: Vec<u8>) -> Graft {
    Graft {
        what,
        bytes,
        rate_hz: RATE_HZ,
        unit: Unit::Unknown,
        channel,
    }
}

fn part(what: &'static str, channel: &'static str, bytes: Vec<u8>) -> Graft {
    Graft {
        what,
        bytes,
        rate_hz: RATE_HZ,
        unit: Unit::FullScale,
        channel,
    }
}

fn comma(value: f64, digits: usize) -> String {
    format!("{value:.digits$}").replace('.', ",")
}

/// `4.860 530`: digits in threes behind the point.
fn in_threes(value: f64) -> String {
    let text = format!("{value:.6}");
    let (front, back) = text.split_at(text.len() - 3);
    format!("{front} {back}")
}

fn clock(time_s: f64) -> String {
    format!(
        "{:02}:{:010.7}",
        (3599.98 + time_s) as u32 / 60,
        (3599.98 + time_s) % 60.0
    )
}

/// Columns of numbers with titles and units in their spellings.
fn titled() -> Vec<Graft> {
    vec![
        volt(
            "titles with units in brackets",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| format!("{t:.7},{v:.5}")),
        ),
        volt(
            "milliseconds and millivolts",
            "CH1",
            text("Time (ms),CH1 (mV)\n", |t, v, _| {
                format!("{:.4},{:.2}", t * 1e3, v * 1e3)
            }),
        ),
        volt(
            "microseconds in square brackets",
            "coil",
            text("t[us],coil[V]\n", |t, v, _| {
                format!("{:.1},{v:.5}", t * 1e6)
            }),
        ),
        volt(
            "nanoseconds",
            "A",
            text("Time (ns);A (V)\n", |t, v, _| {
                format!("{:.0};{v:.5}", t * 1e9)
            }),
        ),
        volt(
            "picoseconds",
            "A",
            text("Time (ps)\tA (V)\n", |t, v, _| {
                format!("{:.0}\t{v:.5}", t * 1e12)
            }),
        ),
        volt(
            "a line of units below the names",
            "Channel A",
            text("Time,Channel A\n(ms),(V)\n\n", |t, v, _| {
                format!("{:.4},{v:.5}", t * 1e3)
            }),
        ),
        volt(
            "decimal commas and semicolons",
            "Kanal 1",
            text("Zeit (ms);Kanal 1 (V)\n", |t, v, _| {
                format!("{};{}", comma(t * 1e3, 4), comma(v, 5))
            }),
        ),
        volt(
            "decimal commas and tabs",
            "A",
            text("Zeit (s)\tA (V)\n", |t, v, _| {
                format!("{}\t{}", comma(t, 7), comma(v, 5))
            }),
        ),
        bare(
            "quotes around every cell",
            "B",
            text("\"t\",\"B\"\n", |t, v, _| format!("\"{t:.7}\",\"{v:.5}\"")),
        ),
        bare(
            "blanks as separators",
            "probe",
            text("t probe\n", |t, v, _| format!("{t:.7}  {v:+.5}")),
        ),
        volt(
            "trailing separators",
            "CH1",
            text("Time (s),CH1 (V),\n", |t, v, _| format!("{t:.7},{v:.5},")),
        ),
        volt(
            "exponents, capital E",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| format!("{t:.6E},{v:.4E}")),
        ),
        volt(
            "a second channel of noise",
            "CH2",
            text("Time (s),CH1 (V),CH2 (V)\n", |t, v, k| {
                format!("{t:.7},{:.3},{v:.5}", 1e-3 * (k * 7919 % 13) as f64)
            }),
        ),
        volt(
            "the trigger in the middle",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| {
                format!("{:.7},{v:.5}", t - 0.025)
            }),
        ),
        volt(
            "sample number, time, volts",
            "CH1",
            text("Sample,Time (s),CH1 (V)\n", |t, v, k| {
                format!("{k},{t:.7},{v:.5}")
            }),
        ),
        bare(
            "no titles",
            "1",
            text("", |t, v, _| format!("{t:.7},{v:.5}")),
        ),
        bare(
            "a comment before the rows",
            "1",
            text("# bench, pick-up coil\n", |t, v, _| {
                format!("{t:.7},{v:.5}")
            }),
        ),
        volt(
            "line ends of two bytes",
            "CH1",
            text("Time (s),CH1 (V)\r\n", |t, v, _| format!("{t:.7},{v:.5}\r")),
        ),
        volt(
            "a byte order mark",
            "CH1",
            text("\u{FEFF}Time (s),CH1 (V)\n", |t, v, _| {
                format!("{t:.7},{v:.5}")
            }),
        ),
        volt(
            "UTF-16",
            "CH1",
            utf16(&text("Time (s),CH1 (V)\n", |t, v, _| {
                format!("{t:.7},{v:.5}")
            })),
        ),
        volt(
            "a micro sign in Latin-1",
            "CH1",
            latin(&text("Time (µs),CH1 (V)\n", |t, v, _| {
                format!("{:.1},{v:.5}", t * 1e6)
            })),
        ),
        volt(
            "times of few digits",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| format!("{t:.6},{v:.5}")),
        ),
    ]
}

/// Settings that say the rate.
fn settings() -> Vec<Graft> {
    let column = |head: &str| text(head, |_, v, _| format!("{v:.5}"));
    let both = |head: &str| text(head, |_, v, _| format!("{v:.5},{:.5}", -0.1 * v));
    vec![
        bare(
            "an interval, `key,value,unit`",
            "1",
            column("Sample interval,2.5e-6,s\n"),
        ),
        bare(
            "a key with blank and colon, value and unit in one cell",
            "1",
            column("Time interval :,2.50uS\n"),
        ),
        bare(
            "the same with a blank before the unit",
            "1",
            column("Sampling period : ,2.5 us\n"),
        ),
        bare("a rate in kHz", "1", column("Sample rate: 400 kHz\n")),
        bare(
            "a rate in MSa/s",
            "1",
            column("# sampling rate = 0.4 MSa/s\n"),
        ),
        volt(
            "channels and their values beside start and step",
            "CH1",
            both("CH1,CH2,Start,Increment\nVolt,Volt,-2.5e-02,2.5e-06\n"),
        ),
        volt(
            "counting column beside start and step",
            "CH1",
            text(
                "X,CH1,Start,Increment\nSequence,Volt,-2.5e-02,2.5e-06\n",
                |_, v, k| format!("{k},{v:.5},,"),
            ),
        ),
        bare(
            "settings in cells, time without a unit",
            "1",
            text(
                "#timebase=5000000(ns),#voltbase=1000000(uV)\n",
                |t, v, _| format!("{t:.7},{v:.5}"),
            ),
        ),
        bare(
            "settings in cells, time in picoseconds that nothing states",
            "1",
            text(
                "#timebase=40000000(ps),#voltbase=1000000(uV)\n",
                |t, v, _| format!("{:.0},{v:.5}", t * 1e12),
            ),
        ),
        bare(
            "settings in cells of a rate",
            "1",
            column("#points=20000,#samplerate=400000(Hz)\n"),
        ),
        volt(
            "settings, blank line, titles",
            "CH1",
            text(
                "Points,20000\nSample interval,2.5e-6,s\n\nTime (s),CH1 (V)\n",
                |t, v, _| format!("{t:.7},{v:.5}"),
            ),
        ),
        bare("settings left of the first rows", "1", margin()),
        volt(
            "an interval in the title's own unit",
            "coil",
            text("dt (us),2.5\ncoil (V)\n", |_, v, _| format!("{v:.5}")),
        ),
    ]
}

fn margin() -> Vec<u8> {
    let left = [
        "Record length,20000,Points",
        "Sample interval,2.5e-6,s",
        "Vertical scale,0.2,V",
    ];
    text("", |t, v, k| {
        format!("{},{t:.7},{v:.5}", left.get(k).unwrap_or(&",,"))
    })
}

/// Cells that hold more than a number, columns that hold none, times without a unit.
fn cells() -> Vec<Graft> {
    let t_less = |factor: f64| text("", move |t, v, _| format!("{:.4},{v:.5}", t * factor));
    vec![
        volt(
            "units in every cell",
            "coil",
            text("moment;coil\n", |t, v, _| {
                format!("{:.4} ms;{:.2} mV", t * 1e3, v * 1e3)
            }),
        ),
        volt(
            "blanks and units in every cell",
            "coil",
            text("moment;coil\n", |t, v, _| {
                format!("{} ms;{:.2} mV", in_threes(t * 1e3), v * 1e3)
            }),
        ),
        volt(
            "decimal commas and units in every cell",
            "coil",
            text("Zeit;coil\n", |t, v, _| {
                format!("{} ms;{} V", comma(t * 1e3, 4), comma(v, 5))
            }),
        ),
        volt(
            "ISO 8601 time stamps",
            "coil",
            text("timestamp,coil (V)\n", |t, v, _| {
                format!("2031-05-06T07:{}Z,{v:.5}", clock(t))
            }),
        ),
        volt(
            "time stamps with a blank",
            "coil",
            text("date,coil (V)\n", |t, v, _| {
                format!("2031-05-06 07:{},{v:.5}", clock(t))
            }),
        ),
        volt(
            "time stamps over midnight of a leap day",
            "coil",
            text("date,coil (V)\n", |t, v, _| {
                let s = t - 0.02;
                if s < 0.0 {
                    format!("2032-02-29T23:59:{:.7},{v:.5}", 60.0 + s)
                } else {
                    format!("2032-03-01T00:00:{s:010.7},{v:.5}")
                }
            }),
        ),
        volt(
            "time stamps over midnight from the 12th to the 13th, the day first",
            "coil",
            text("date,coil (V)\n", |t, v, _| {
                let s = t - 0.02;
                if s < 0.0 {
                    format!("12/03/2031 23:59:{:.7},{v:.5}", 60.0 + s)
                } else {
                    format!("13/03/2031 00:00:{s:010.7},{v:.5}")
                }
            }),
        ),
        volt(
            "clock times",
            "coil",
            text("clock;coil (V)\n", |t, v, _| {
                format!("07:{};{v:.5}", clock(t))
            }),
        ),
        volt(
            "a column of words in front",
            "CH1",
            text("what,Time (s),CH1 (V)\n", |t, v, _| {
                format!("X,{t:.7},{v:.5}")
            }),
        ),
        volt(
            "a column of words behind",
            "CH1",
            text("Time (s),CH1 (V),state\n", |t, v, k| {
                format!("{t:.7},{v:.5},h{:02x}", k % 7)
            }),
        ),
        volt(
            "words without titles, sampled by settings",
            "CH1",
            text("Sample rate: 400 kHz\nbus,CH1 (V)\n", |_, v, k| {
                format!("h{:02X},{v:.5}", k % 256)
            }),
        ),
        volt(
            "a closing row of nothing",
            "CH1",
            [
                text("Time (s),CH1 (V),CH2 (V)\n", |t, v, _| {
                    format!("{t:.7},{v:.5},0.001")
                }),
                b",,\n".to_vec(),
            ]
            .concat(),
        ),
        volt(
            "over range in some cells",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, k| {
                if k % 3001 == 7 {
                    format!("{t:.7},OVER")
                } else {
                    format!("{t:.7},{v:.5}")
                }
            }),
        ),
        volt(
            "a last row that is cut",
            "CH1",
            [
                text("Time (s),CH1 (V)\n", |t, v, _| format!("{t:.7},{v:.5}")),
                b"0.05".to_vec(),
            ]
            .concat(),
        ),
        bare("milliseconds that nothing states", "1", t_less(1e3)),
        bare("microseconds that nothing states", "1", t_less(1e6)),
        bare("nanoseconds that nothing states", "1", t_less(1e9)),
        volt(
            "a time with a title but no unit, in milliseconds",
            "CH1",
            text("Time,CH1 (V)\n", |t, v, _| format!("{:.4},{v:.5}", t * 1e3)),
        ),
        volt(
            "counts that are called volts",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| {
                format!("{t:.7},{:.0}", v * 1000.0)
            }),
        ),
        volt("two segments, the time begins anew", "CH1", twice()),
        volt(
            "minus signs of a spreadsheet",
            "CH1",
            text("Time (s),CH1 (V)\n", |t, v, _| {
                format!("{t:.7},{v:.5}").replace(",-", ",\u{2212}")
            }),
        ),
    ]
}

fn twice() -> Vec<u8> {
    let rows = |head: &str| text(head, |t, v, _| format!("{t:.7},{v:.5}"));
    [rows("Time (s),CH1 (V)\n"), rows("")].concat()
}

fn utf16(text: &[u8]) -> Vec<u8> {
    let text = std::str::from_utf8(text).unwrap();
    [0xFEFF]
        .into_iter()
        .chain(text.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect()
}

fn latin(text: &[u8]) -> Vec<u8> {
    std::str::from_utf8(text)
        .unwrap()
        .chars()
        .map(|c| c as u8)
        .collect()
}

/// A WAV header by hand: format tag, channels, rate, bits, what stands before the data, stated bytes of the file and of the data.
pub fn wave_header(
    tag: u16,
    channels: u16,
    rate_hz: u32,
    bits: u16,
    extra: &[u8],
    [whole, data]: [u32; 2],
) -> Vec<u8> {
    let frame = channels * bits / 8;
    let mut bytes = b"RIFF".to_vec();
    bytes.extend(whole.to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0");
    bytes.extend(tag.to_le_bytes());
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate_hz.to_le_bytes());
    bytes.extend((rate_hz * u32::from(frame)).to_le_bytes());
    bytes.extend(frame.to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(extra);
    bytes.extend(b"data");
    bytes.extend(data.to_le_bytes());
    bytes
}

fn riff(tag: u16, channels: u16, rate_hz: u32, bits: u16, extra: &[u8], body: &[u8]) -> Vec<u8> {
    let stated = [u32::MAX, body.len() as u32];
    let mut bytes = wave_header(tag, channels, rate_hz, bits, extra, stated);
    bytes.extend(body);
    bytes
}

/// Two dates of 16 bytes, then the centre; the rest is of no concern here.
fn auxi(centre_hz: u32) -> Vec<u8> {
    let mut chunk = b"auxi".to_vec();
    chunk.extend(68_u32.to_le_bytes());
    chunk.extend([0; 32]);
    chunk.extend(centre_hz.to_le_bytes());
    chunk.extend([0; 32]);
    chunk
}

fn npy(descr: &str, shape: &str, fortran: bool, body: &[u8]) -> Vec<u8> {
    let order = if fortran { "True" } else { "False" };
    let header = format!("{{'descr': '{descr}', 'fortran_order': {order}, 'shape': {shape}, }}\n");
    let mut bytes = b"\x93NUMPY\x01\0".to_vec();
    bytes.extend((header.len() as u16).to_le_bytes());
    bytes.extend(header.as_bytes());
    bytes.extend(body);
    bytes
}

/// Binary files.
fn binary() -> Vec<Graft> {
    let codes = integers("direct.i16");
    let direct = file("direct.i16");
    let of = |convert: &dyn Fn(i16) -> Vec<u8>| -> Vec<u8> {
        codes.iter().flat_map(|&code| convert(code)).collect()
    };
    let columns = file("time_and_volts.npy");
    let body = &columns[128..];
    let rows = body.as_chunks::<8>().0;
    let planes: Vec<u8> = rows
        .iter()
        .flat_map(|row| row[..4].to_vec())
        .chain(rows.iter().flat_map(|row| row[4..].to_vec()))
        .collect();
    let iq = |what, channel, bytes| Graft {
        what,
        bytes,
        rate_hz: 50_000.0,
        unit: Unit::FullScale,
        channel,
    };
    vec![
        part("WAV of 16 bits", "1", riff(1, 1, 400_000, 16, &[], &direct)),
        part(
            "WAV of 24 bits",
            "1",
            riff(
                1,
                1,
                400_000,
                24,
                &[],
                &of(&|code| (i32::from(code) << 8).to_le_bytes()[..3].to_vec()),
            ),
        ),
        part(
            "WAV of 8 bits",
            "1",
            riff(
                1,
                1,
                400_000,
                8,
                &[],
                &of(&|code| vec![((code >> 8) + 128) as u8]),
            ),
        ),
        bare(
            "WAV of floats",
            "1",
            riff(
                3,
                1,
                400_000,
                32,
                &[],
                &of(&|code| (volts(code) as f32).to_le_bytes().to_vec()),
            ),
        ),
        part(
            "WAV, the signal in the second of two channels",
            "2",
            riff(
                1,
                2,
                400_000,
                16,
                &[],
                &of(&|code| {
                    [0, code]
                        .iter()
                        .flat_map(|c: &i16| c.to_le_bytes())
                        .collect()
                }),
            ),
        ),
        iq(
            "WAV of I/Q with its centre in a chunk",
            "1+j2",
            riff(1, 2, 50_000, 16, &auxi(134_000), &file("iq.i16")),
        ),
        part("WAV in gzip", "1", file("wave.wav.gz")),
        part("WAV in zip, in a folder", "1", file("wave.zip")),
        part("FLAC", "1", file("direct.flac")),
        bare("NPY of time and volts, row by row", "2", columns.clone()),
        bare(
            "NPY of time and volts, column by column",
            "2",
            npy("<f4", &format!("({}, 2)", codes.len()), true, &planes),
        ),
        bare(
            "NPY of time and volts as two rows",
            "2",
            npy("<f4", &format!("(2, {})", codes.len()), false, &planes),
        ),
        part(
            "NPZ of time and codes, packed",
            "coil",
            file("time_and_coil.npz"),
        ),
        part("NPZ of codes and a rate", "coil", file("coil_and_rate.npz")),
        bare(
            "MAT-file, packed, a row and a rate",
            "coil",
            file("packed.mat"),
        ),
        bare(
            "MAT-file, plain, whole numbers and an interval",
            "coil",
            file("plain.mat"),
        ),
        bare("MAT-file of time and codes", "coil", file("time.mat")),
    ]
}

/// Load states as a logic analyser lists them.
fn logic() -> Vec<Graft> {
    let edges = String::from_utf8(file("edges.txt")).unwrap();
    let edges: Vec<(u64, char)> = edges
        .lines()
        .map(|line| {
            let (time, state) = line.split_once(' ').unwrap();
            (time.parse().unwrap(), state.chars().next().unwrap())
        })
        .collect();
    let list = |head: &str, row: &dyn Fn(u64, char) -> String| -> Vec<u8> {
        let rows: String = edges
            .iter()
            .map(|&(time, state)| row(time, state) + "\n")
            .collect();
        (head.to_owned() + &rows).into_bytes()
    };
    let of = |what, bytes| Graft {
        what,
        bytes,
        rate_hz: 1e6,
        unit: Unit::Unknown,
        channel: "DEMOD",
    };
    let mut dump = String::from(
        "$timescale 10 ns $end\n$scope module bench $end\n$var wire 1 ! DEMOD $end\n$var wire 8 \" BUS $end\n$upscope $end\n$enddefinitions $end\n$dumpvars\nx!\n$end\n",
    );
    for (time, state) in &edges {
        let _ = writeln!(dump, "#{}\n{state}!\nb101 \"", time / 10);
    }
    vec![
        of(
            "edges in seconds",
            list("Time (s),DEMOD\n", &|t, s| {
                format!("{:.9},{s}", t as f64 * 1e-9)
            }),
        ),
        of(
            "edges in nanoseconds",
            list("Time (ns);DEMOD\n", &|t, s| format!("{t};{s}")),
        ),
        of(
            "edges in microseconds that nothing states",
            list("Time,DEMOD\n", &|t, s| {
                format!("{:.3},{s}", t as f64 * 1e-3)
            }),
        ),
        of("a value change dump", dump.into_bytes()),
    ]
}

pub fn all() -> Vec<Graft> {
    [titled(), settings(), cells(), binary(), logic()]
        .into_iter()
        .flatten()
        .collect()
}

/// Decodes a graft and says what is wrong with what came out.
pub fn misread(graft: &Graft) -> Option<String> {
    let folder = tempfile::tempdir().unwrap();
    // The name says nothing: the content decides.
    let path = folder.path().join("capture.dat");
    std::fs::write(&path, &graft.bytes).unwrap();
    let decoded = match decode_file(&path, &Settings::new()) {
        Ok(decoded) => decoded,
        Err(error) => return Some(format!("{}: {error}", graft.what)),
    };
    differs(&decoded, graft.rate_hz, graft.unit, graft.channel)
        .map(|what| format!("{}: {what}", graft.what))
}

pub fn differs(decoded: &Decoded, rate_hz: f64, unit: Unit, channel: &str) -> Option<String> {
    let numbers: Vec<String> = decoded
        .identities()
        .iter()
        .map(ToString::to_string)
        .collect();
    let layout = decoded.layout();
    let got = layout.rate_hz.unwrap_or(0.0);
    let place = channel.split('+').next().unwrap();
    let own = layout.channels.iter().find(|own| own.name == place);
    // Times of single precision say the rate to some 1e-6.
    let right = numbers == [NUMBER]
        && (got / rate_hz - 1.0).abs() < 1e-5
        && own.is_some_and(|own| own.unit == unit)
        && decoded.channel() == channel;
    (!right).then(|| {
        let codes: Vec<&str> = decoded
            .findings
            .iter()
            .map(|finding| finding.code)
            .collect();
        format!(
            "{numbers:?}, {got} Hz, channel {:?} of {:?}, {codes:?}, {:?}",
            decoded.channel(),
            layout.channels,
            decoded.remarks()
        )
    })
}
