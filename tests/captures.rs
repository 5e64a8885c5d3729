//! Captures in the forms instruments write them: what is read, and what is said about it.

use fieldripple::capture::{
    self, ChannelInfo, Layout, OpenOptions, RateOrigin, RawKind, Recording, Unit, WriteKind,
};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A whole capture in memory.
#[derive(Debug)]
struct Capture {
    layout: Layout,
    samples: Vec<Vec<f32>>,
}

fn read_with(path: &Path, options: &OpenOptions) -> Result<Capture, String> {
    let mut source = capture::open(path, options).map_err(|error| error.to_string())?;
    let mut samples = vec![Vec::new(); source.layout().channels.len()];
    // An odd block size meets every boundary once.
    while source
        .read(1013, &mut samples)
        .map_err(|error| error.to_string())?
        > 0
    {}
    assert!(samples.iter().flatten().all(|sample| sample.is_finite()));
    assert!(samples.iter().all(|own| own.len() == samples[0].len()));
    Ok(Capture {
        layout: source.layout().clone(),
        samples,
    })
}

fn read_bytes_with(content: &[u8], options: &OpenOptions) -> Result<Capture, String> {
    let folder = tempfile::tempdir().unwrap();
    // The name says nothing: the content decides.
    let path = folder.path().join("capture.dat");
    std::fs::write(&path, content).unwrap();
    read_with(&path, options)
}

fn read(content: impl AsRef<[u8]>) -> Capture {
    read_bytes_with(content.as_ref(), &OpenOptions::default()).unwrap()
}

fn refuse(content: impl AsRef<[u8]>) -> String {
    let message = read_bytes_with(content.as_ref(), &OpenOptions::default()).unwrap_err();
    assert!(!message.contains('\n'), "{message}");
    message
}

fn names(capture: &Capture) -> Vec<&str> {
    capture
        .layout
        .channels
        .iter()
        .map(|channel| channel.name.as_str())
        .collect()
}

fn units(capture: &Capture) -> Vec<Unit> {
    capture
        .layout
        .channels
        .iter()
        .map(|channel| channel.unit)
        .collect()
}

#[track_caller]
fn assert_rate(capture: &Capture, rate_hz: f64, origin: RateOrigin) {
    let got = capture.layout.rate_hz.unwrap_or(0.0);
    // A line through n times rounded to q is off by less than q/T; the fixtures here are exact to 1e-9.
    assert!(
        (got / rate_hz - 1.0).abs() < 1e-9,
        "{got} Hz, {:?}",
        capture.layout
    );
    assert_eq!(capture.layout.rate_origin, Some(origin));
}

#[track_caller]
fn assert_samples(got: &[f32], wanted: &[f32]) {
    assert_eq!(got.len(), wanted.len(), "{got:?}");
    for (got, wanted) in got.iter().zip(wanted) {
        // Scaling by a prefix rounds once.
        assert!(
            (got - wanted).abs() <= f32::EPSILON * wanted.abs(),
            "{got} {wanted}"
        );
    }
}

// ---- WAV -----------------------------------------------------------------------------------------------------------

fn hound_file(spec: hound::WavSpec, values: &[i32]) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for &value in values {
        match spec.sample_format {
            hound::SampleFormat::Int => writer.write_sample(value).unwrap(),
            hound::SampleFormat::Float => writer.write_sample(value as f32 / 100.0).unwrap(),
        }
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn spec(channels: u16, bits_per_sample: u16) -> hound::WavSpec {
    hound::WavSpec {
        channels,
        sample_rate: 500_000,
        bits_per_sample,
        sample_format: hound::SampleFormat::Int,
    }
}

#[test]
fn wav_of_every_integer_width() {
    let values = [0, 1, -1, 100, -100, 127, -128, 5];
    for bits in [8, 16, 24, 32] {
        for channels in [1, 2, 4] {
            let got = read(hound_file(spec(channels, bits), &values));
            let full = 2_f32.powi(i32::from(bits) - 1);
            assert_rate(&got, 500e3, RateOrigin::File);
            assert_eq!(units(&got), vec![Unit::FullScale; usize::from(channels)]);
            assert_eq!(got.layout.length, Some(8 / u64::from(channels)));
            for (index, own) in got.samples.iter().enumerate() {
                let wanted = values.iter().skip(index).step_by(usize::from(channels));
                let wanted: Vec<f32> = wanted.map(|&value| value as f32 / full).collect();
                assert_eq!(*own, wanted, "{bits} bits");
            }
            assert!(got.layout.notes.is_empty(), "{:?}", got.layout.notes);
        }
    }
}

#[test]
fn wav_with_24_bits_in_four_bytes() {
    // The writer used here fills the lower three bytes.
    let wide = hound::WavSpecEx {
        spec: spec(1, 24),
        bytes_per_sample: 4,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new_with_spec_ex(&mut bytes, wide).unwrap();
    for value in [1_i32, -1, 4_194_304, -8_388_608] {
        writer.write_sample(value).unwrap();
    }
    writer.finalize().unwrap();
    let step = 2_f32.powi(-23);
    let lower = bytes.into_inner();
    assert_eq!(read(&lower).samples[0], [step, -step, 0.5, -1.0]);
    // Left-justified, as the specification of the extensible format asks.
    let mut upper = lower.clone();
    let at = lower.len() - 16;
    for (index, value) in [256_i32, -256, 1 << 30, i32::MIN].iter().enumerate() {
        upper[at + 4 * index..at + 4 * index + 4].copy_from_slice(&value.to_le_bytes());
    }
    assert_eq!(read(&upper).samples[0], [step, -step, 0.5, -1.0]);
}

#[test]
fn wav_floats_of_both_widths() {
    let float = hound::WavSpec {
        sample_format: hound::SampleFormat::Float,
        ..spec(2, 32)
    };
    let got = read(hound_file(float, &[1, 2, -300, 4]));
    assert_eq!(got.samples, [vec![0.01, -3.0], vec![0.02, 0.04]]);
    assert_eq!(units(&got), [Unit::Unknown; 2]);

    let mut double = wave(3, 1, 192_000, 64, 16);
    double.extend(0.25_f64.to_le_bytes());
    double.extend((-1.5_f64).to_le_bytes());
    assert_eq!(read(double).samples[0], [0.25, -1.5]);
}

/// A header whose sizes agree with what it states of the data.
fn wave(tag: u16, channels: u16, rate_hz: u32, bits: u16, stated: u32) -> Vec<u8> {
    let sizes = [stated.wrapping_add(36), stated];
    shapes::wave_header(tag, channels, rate_hz, bits, &[], sizes)
}

#[test]
fn wav_lengths_are_not_believed() {
    let samples: Vec<i16> = (0..500).map(|value| value * 13).collect();
    let body: Vec<u8> = samples
        .iter()
        .flat_map(|value| value.to_le_bytes())
        .collect();
    let wanted: Vec<f32> = samples
        .iter()
        .map(|&value| f32::from(value) / 32_768.0)
        .collect();
    for stated in [0, u32::MAX, 0x7FFF_FFFF, 2000, 998, 301, 2] {
        let mut bytes = wave(1, 1, 48_000, 16, stated);
        bytes.extend(&body);
        let got = read(bytes);
        assert_eq!(got.samples[0], wanted, "{stated}");
        assert_eq!(got.layout.notes.len(), 1, "{:?}", got.layout.notes);
    }
    // A further chunk behind the samples is no sample.
    let mut bytes = wave(1, 1, 48_000, 16, 1000);
    bytes.extend(&body);
    bytes.extend(b"LIST\x04\0\0\0INFO");
    let got = read(bytes);
    assert_eq!(got.samples[0], wanted);
    assert!(got.layout.notes.is_empty(), "{:?}", got.layout.notes);
}

#[test]
fn wav_odds_and_ends() {
    // 64-bit lengths (EBU Tech 3306), chunks before the format, a frame cut in two, rate 0.
    let mut bytes = b"RF64\xFF\xFF\xFF\xFFWAVEds64\x1C\0\0\0".to_vec();
    bytes.extend([0; 8]);
    bytes.extend(4_u64.to_le_bytes());
    bytes.extend([0; 12]);
    bytes.extend(b"JUNK\x03\0\0\0abc\0");
    bytes.extend(&wave(1, 1, 0, 16, u32::MAX)[12..]);
    bytes.extend([0, 0x40, 0, 0xC0]);
    let got = read(&bytes);
    assert_eq!(got.samples[0], [0.5, -0.5]);
    assert_eq!(got.layout.rate_hz, None);
    assert_eq!(got.layout.notes.len(), 1, "{:?}", got.layout.notes);

    let mut cut = wave(1, 2, 48_000, 16, 100);
    cut.extend([0, 0x40, 0, 0x20, 7]);
    let got = read(&cut);
    assert_eq!(got.samples, [[0.5], [0.25]]);
    assert!(
        got.layout
            .notes
            .iter()
            .any(|note| note.contains("inside a sample"))
    );
}

#[test]
fn the_users_rate_wins_with_a_note() {
    let options = OpenOptions {
        rate_hz: Some(1e6),
        ..OpenOptions::default()
    };
    let got = read_bytes_with(&hound_file(spec(1, 16), &[1, 2, 3]), &options).unwrap();
    assert_rate(&got, 1e6, RateOrigin::Given);
    assert!(
        got.layout.notes[0].contains("500000"),
        "{:?}",
        got.layout.notes
    );
}

// ---- Text ----------------------------------------------------------------------------------------------------------

#[test]
fn plain_columns() {
    let got = read("time_s,volts\n0,0.5\n0.000001,-0.25\n0.000002,1e-3\n");
    assert_eq!(names(&got), ["volts"]);
    assert_eq!(units(&got), [Unit::Volt]);
    assert_rate(&got, 1e6, RateOrigin::TimeColumn);
    assert_samples(&got.samples[0], &[0.5, -0.25, 0.001]);
    assert!(got.layout.notes.is_empty(), "{:?}", got.layout.notes);
}

#[test]
fn titles_with_units_and_a_trigger() {
    let got = read(
        "Time (ms),CH1 (mV),CH2 (V)\r\n-0.002,500,1\r\n-0.001,250,2\r\n0.000,-125,3\r\n0.001,0,4\r\n",
    );
    assert_eq!(names(&got), ["CH1", "CH2"]);
    assert_rate(&got, 1e6, RateOrigin::TimeColumn);
    assert!(
        (got.layout.start_s + 2e-6).abs() < 1e-15,
        "{}",
        got.layout.start_s
    );
    assert_samples(&got.samples[0], &[0.5, 0.25, -0.125, 0.0]);
    assert_eq!(got.samples[1], [1.0, 2.0, 3.0, 4.0]);
}

#[test]
fn a_row_of_units_below_the_names() {
    let got =
        read("Time,Channel A\n(us),(mV)\n\n0.00000000,12.5\n0.50000000,-12.5\n1.00000000,0\n");
    assert_eq!(names(&got), ["Channel A"]);
    assert_rate(&got, 2e6, RateOrigin::TimeColumn);
    assert_samples(&got.samples[0], &[0.0125, -0.0125, 0.0]);

    let got =
        read("x-axis,1\nsecond,Volt\n-1.0E-06,+1.5E+00\n+0.0E+00,+2.5E+00\n+1.0E-06,+3.5E+00\n");
    assert_eq!((names(&got), units(&got)), (vec!["1"], vec![Unit::Volt]));
    assert_rate(&got, 1e6, RateOrigin::TimeColumn);
}

#[test]
fn lines_of_settings() {
    let text = "Model,Bench scope\nRecord Length,4,Points\nSample Interval,5e-7,s\nVertical Units,V\nNote,\"a, b\"\n\nTIME,CH1\n-1e-6,0.1\n-5e-7,0.2\n0,0.3\n5e-7,0.4\n";
    let got = read(text);
    assert_eq!((names(&got), units(&got)), (vec!["CH1"], vec![Unit::Volt]));
    assert_rate(&got, 2e6, RateOrigin::File);
    assert_samples(&got.samples[0], &[0.1, 0.2, 0.3, 0.4]);
}

#[test]
fn a_setting_right_above_a_single_column_is_no_title() {
    for head in [
        "Sample rate: 2 MHz\nCoupling: DC\n",
        "Sample interval,5e-7,s\nRecord length,60000\n",
    ] {
        let got = read(format!("{head}\n0.1\n0.2\n0.3\n"));
        assert_eq!(names(&got), ["1"], "{head}");
        assert_rate(&got, 2e6, RateOrigin::File);
    }
    assert_eq!(names(&read("Probe, V\n0.1\n0.2\n0.3\n")), ["Probe"]);
}

#[test]
fn the_interval_stands_in_the_settings_only() {
    for (text, rate_hz) in [
        ("Sample Rate: 2 MSa/s\nCH1 (V)\n0.1\n0.2\n0.3\n", 2e6),
        ("# sampling period = 0.4 us\n0.1\n0.2\n0.3\n", 2.5e6),
        ("\"Sampling Interval\";\"4,0E-7\"\n0,1\n0,2\n-0,3\n", 2.5e6),
        (
            "X,CH1,Start,Increment\nSequence,Volt,-1.2e-3,1e-6\n0,0.1\n1,0.2\n2,0.3\n",
            1e6,
        ),
        ("Increment,1E-6\nIndex,CH1\n0,0.1\n1,0.2\n2,0.3\n", 1e6),
    ] {
        let got = read(text);
        assert_rate(&got, rate_hz, RateOrigin::File);
        assert_eq!(got.samples.len(), 1, "{text}");
        assert_eq!(got.samples[0].len(), 3, "{text}");
        assert!(
            (got.samples[0][0] - 0.1).abs() < 1e-7,
            "{text} {:?}",
            got.samples
        );
    }
    let got = read("X,CH1,Start,Increment\nSequence,Volt,-1.2e-3,1e-6\n0,0.1\n1,0.2\n2,0.3\n");
    assert_eq!((got.layout.start_s, names(&got)), (-1.2e-3, vec!["CH1"]));
    assert_eq!(units(&got), [Unit::Volt]);
}

#[test]
fn settings_to_the_left_of_the_first_rows() {
    let text = "Record Length,4,Points,-00.0000010,0.10,\nSample Interval,5e-7,s,-00.0000005,0.20,\nVertical Units,V,,00.0000000,0.30,\n,,,00.0000005,0.40,\n,,,00.0000010,0.50,\n,,,00.0000015,0.60,\n,,,00.0000020,0.70,\n";
    let got = read(text);
    assert_samples(&got.samples[0], &[0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]);
    assert_rate(&got, 2e6, RateOrigin::File);
    assert_eq!(units(&got), [Unit::Volt]);
}

#[test]
fn separators_and_decimal_commas() {
    for text in [
        "t;a\n0;0,5\n0,000001;-0,25\n0,000002;1E-3\n",
        "t\ta\n0\t0,5\n0,000001\t-0,25\n0,000002\t0,001\n",
        "t a\n0 0,5\n0,000001 -0,25\n0,000002 0,001\n",
        "  t    a\n  0   0.5\n  1e-6  -0.25  \n  2e-6   1e-3\n",
        "t;a;\n0;0.5;\n1e-6;-0.25;\n2e-6;1e-3;\n",
        "t, a\n0, 0.5\n1e-6, -0.25\n2e-6, 1e-3\n",
        "t,a\r0,0.5\r1e-6,-0.25\r2e-6,1e-3\r",
        "\"t\",\"a\"\n\"0\",\"0.5\"\n\"1e-6\",\"-0.25\"\n\"2e-6\",\"1e-3\"\n",
        "0,0.5\n1e-6,-0.25\n\n# a remark\n2e-6,1e-3",
    ] {
        let got = read(text);
        assert_samples(&got.samples[0], &[0.5, -0.25, 0.001]);
        assert_rate(&got, 1e6, RateOrigin::TimeColumn);
    }
}

#[test]
fn encodings() {
    let text = "Time (µs),CH1 (mV)\r\n0,500\r\n1,250\r\n2,125\r\n";
    let utf16 = |big: bool| -> Vec<u8> {
        let units = std::iter::once(0xFEFF).chain(text.encode_utf16());
        units
            .flat_map(|unit| {
                if big {
                    unit.to_be_bytes()
                } else {
                    unit.to_le_bytes()
                }
            })
            .collect()
    };
    let latin1: Vec<u8> = text.chars().map(|c| c as u8).collect();
    for content in [
        text.into(),
        format!("\u{FEFF}{text}").into_bytes(),
        utf16(true),
        utf16(false),
        latin1,
    ] {
        let got = read(&content);
        assert_eq!(names(&got), ["CH1"]);
        assert_rate(&got, 1e6, RateOrigin::TimeColumn);
        assert_samples(&got.samples[0], &[0.5, 0.25, 0.125]);
    }
}

#[test]
fn times_with_few_digits_repeat() {
    // 0.4 µs steps written to 1 µs. The line through n rounded times is off by less than q/T.
    let mut text = String::from("Time,CH1\n");
    for i in 0..4000 {
        text += &format!("{:.6},{}\n", f64::from(i) * 0.4e-6, f64::from(i % 7) * 0.1);
    }
    let got = read(&text);
    let rate = got.layout.rate_hz.unwrap();
    assert!((rate / 2.5e6 - 1.0).abs() < 1e-6 / 1.6e-3, "{rate}");
    assert!(got.layout.notes.is_empty(), "{:?}", got.layout.notes);
    // The settings know better.
    let got = read(format!("Sample Interval,4e-7,s\n{text}"));
    assert_rate(&got, 2.5e6, RateOrigin::File);
}

#[test]
fn an_unsteady_time_column_is_mentioned() {
    let got = read("time,v\n0,1.5\n1e-6,2\n2e-6,3\n9e-6,4\n10e-6,5\n");
    assert!(
        got.layout
            .notes
            .iter()
            .any(|note| note.contains("not steady")),
        "{:?}",
        got.layout
    );
}

#[test]
fn values_that_are_none_are_held() {
    let got = read(
        "t,a\n0,nan\n1e-6,0.5\n2e-6,OVER\n3e-6,-inf\n4e-6,---\n5e-6,0.25\n6e-6,\n7e-6,0.1\n8e-6,0.2\n9e-6,1e99\n10e-6,0.75\n11e-6,0.5\n",
    );
    assert_samples(
        &got.samples[0],
        &[
            0.5, 0.5, 0.5, 0.5, 0.5, 0.25, 0.25, 0.1, 0.2, 0.2, 0.75, 0.5,
        ],
    );
    assert!(
        got.layout.notes[0].starts_with("6 values"),
        "{:?}",
        got.layout.notes
    );
    assert!(refuse("t,a\n0,nan\n1e-6,nan\n2e-6,0.5\n").contains("more than half"));
}

#[test]
fn one_column_and_constant_channels() {
    let got = read("0.5\n-0.25\n0.125\n");
    assert_eq!((got.samples[0].len(), got.layout.rate_hz), (3, None));
    let got = read("t,a,b\n0,1.5,0\n1e-6,1.5,0\n2e-6,1.5,0\n");
    assert_eq!(got.samples, [[1.5; 3], [0.0; 3]]);
    assert!(!got.layout.logic);
}

#[test]
fn a_cut_last_line_is_left_out_but_no_other() {
    let got = read("t,a\n0,0.5\n1e-6,0.25\n2e-");
    assert_eq!(got.samples[0], [0.5, 0.25]);
    assert_eq!(got.layout.notes.len(), 1);
    let got = read("t,a,b\n0,0.5,0.1\n1e-6,0.25,0.2\n2e-6,0.125");
    assert_eq!(got.samples, [[0.5, 0.25], [0.1, 0.2]]);
    let message = refuse("t,a\n0,0.5\n1e-6\n2e-6,0.25\n3e-6,0.5\n");
    assert!(
        message.contains("line 3") && message.contains("1 of 2 columns"),
        "{message}"
    );
    let message = refuse("t,a\n0,0.5\n1e-6,0.1\n2e-6,0.25x\n3e-6,0.5\n");
    assert!(
        message.contains("line 4") && message.contains("0.25x"),
        "{message}"
    );
    let message = refuse("t,a\n0,0.5\n1e-6,0.1\n2e-6,0.25,7\n3e-6,0.5\n");
    assert!(
        message.contains("line 4") && message.contains("more than 2"),
        "{message}"
    );
    let message = refuse("t,a\n0,0.5\n1e-6,0.1\n0,0.25\n3e-6,0.5\n");
    assert!(
        message.contains("line 4") && message.contains("goes back"),
        "{message}"
    );
}

#[test]
fn edge_lists_become_steady_samples() {
    let got = read(
        "Time[s], Channel 0\n0.000000000, 0\n0.000119200, 1\n0.000238400, 0\n0.000476900, 1\n0.000500000, 0\n",
    );
    assert!(got.layout.logic);
    let rate = got.layout.rate_hz.unwrap();
    let own = &got.samples[0];
    assert!(own.iter().all(|&sample| sample.abs() == 1.0));
    assert_eq!(own.len() as u64, got.layout.length.unwrap());
    let changes: Vec<f64> = (1..own.len())
        .filter(|&i| own[i] != own[i - 1])
        .map(|i| i as f64 / rate)
        .collect();
    for (got, wanted) in changes.iter().zip([119.2e-6, 238.4e-6, 476.9e-6, 500e-6]) {
        // The first sample behind the edge, at most one interval late.
        assert!(
            (0.0..=1.0 / rate + 1e-12).contains(&(got - wanted)),
            "{got} {wanted}"
        );
    }
    assert_eq!(changes.len(), 4);
    // Edges a second apart are none of a tag's: 40 samples between them show that as well as 20 000 do.
    let slow = read("0,0\n1,1\n5,0\n");
    assert_eq!(
        (slow.layout.rate_hz, slow.layout.length),
        (Some(40.0), Some(201))
    );
    let message = refuse("t,d\n0,0\n1,1\n3,0\n1000000,1\n");
    assert!(
        message.contains("4 edges in 1000000 s") && message.contains("4000 for each edge"),
        "{message}"
    );
}

#[test]
fn sampled_logic_tracks() {
    let mut text = String::from("Time [s],D0,D1,D2\n");
    for i in 0..100 {
        text += &format!(
            "{:.6},{},{},0\n",
            f64::from(i) * 1e-6,
            i / 16 % 2,
            i / 8 % 2
        );
    }
    let got = read(&text);
    assert!(got.layout.logic);
    assert_eq!(names(&got), ["D0", "D1", "D2"]);
    assert_rate(&got, 1e6, RateOrigin::TimeColumn);
    assert_eq!(got.samples[0][15..17], [-1.0, 1.0]);
}

#[test]
fn the_probe_factor_scales_volts_only() {
    let options = OpenOptions {
        scale: 10.0,
        ..OpenOptions::default()
    };
    let got = read_bytes_with(b"t,a (mV)\n0,500\n1e-6,-250\n", &options).unwrap();
    assert_samples(&got.samples[0], &[5.0, -2.5]);
    let got = read_bytes_with(&hound_file(spec(1, 16), &[16_384]), &options).unwrap();
    assert_eq!(got.samples[0], [0.5]);
    assert!(got.layout.notes[0].contains("not used"));
}

#[test]
fn what_is_no_capture_is_refused_with_a_reason() {
    assert!(refuse("").contains("empty file"));
    assert!(refuse("Dear reader,\nnothing here.\n").contains("no rows of numbers"));
    assert!(refuse(b"\x1F\x8B\x08\0\0").contains("gzip"));
    assert!(refuse([7_u8, 200, 0, 3, 1, 0, 0, 9]).contains("--raw"));
    assert!(refuse("1".repeat(5 << 20)).contains("1 MiB"));
}

// ---- NPY and raw ---------------------------------------------------------------------------------------------------

fn npy<T: npyz::Serialize>(
    dtype: &str,
    shape: &[u64],
    fortran: bool,
    values: impl IntoIterator<Item = T>,
) -> Vec<u8> {
    use npyz::WriterBuilder;
    let mut bytes = Vec::new();
    let order = if fortran {
        npyz::Order::Fortran
    } else {
        npyz::Order::C
    };
    let mut writer = npyz::WriteOptions::new()
        .dtype(npyz::DType::Plain(dtype.parse().unwrap()))
        .shape(shape)
        .order(order)
        .writer(&mut bytes)
        .begin_nd()
        .unwrap();
    writer.extend(values).unwrap();
    writer.finish().unwrap();
    bytes
}

#[test]
fn npy_types_agree_with_another_writer() {
    macro_rules! same {
        ($kind:ty, $code:literal, $scale:expr, $offset:expr) => {
            for order in ["<", ">"] {
                let order = if $code.ends_with('1') { "|" } else { order };
                let values: [$kind; 5] = [
                    0 as $kind,
                    1 as $kind,
                    100 as $kind,
                    <$kind>::MAX,
                    <$kind>::MIN,
                ];
                let got = read(npy(&format!("{order}{}", $code), &[5], false, values));
                let wanted = values.map(|value| ((value as f64 - $offset) / $scale) as f32);
                assert_eq!(
                    got.samples[0],
                    wanted.map(|v| if v.is_finite() { v } else { 0.0 }),
                    "{order}{}",
                    $code
                );
            }
        };
    }
    same!(i8, "i1", 128.0, 0.0);
    same!(u8, "u1", 128.0, 128.0);
    same!(i16, "i2", 32_768.0, 0.0);
    same!(u16, "u2", 32_768.0, 32_768.0);
    same!(i32, "i4", 2_147_483_648.0, 0.0);
    same!(u32, "u4", 2_147_483_648.0, 2_147_483_648.0);
    same!(i64, "i8", 9_223_372_036_854_775_808.0, 0.0);
    same!(
        u64,
        "u8",
        9_223_372_036_854_775_808.0,
        9_223_372_036_854_775_808.0
    );
    same!(f32, "f4", 1.0, 0.0);
    let values = [0.5_f64, -1e-3, 7.0];
    for code in ["<f8", ">f8"] {
        assert_eq!(
            read(npy(code, &[3], false, values)).samples[0],
            values.map(|v| v as f32)
        );
    }
    let got = read(npy("|b1", &[3], false, [true, false, true]));
    assert_eq!(
        (got.samples[0].as_slice(), got.layout.logic),
        (&[1.0, -1.0, 1.0][..], true)
    );
}

#[test]
fn npy_channels_lie_along_the_shorter_side() {
    let wanted = [vec![1.0, 2.0, 3.0], vec![10.0, 20.0, 30.0]];
    let (alternating, one_by_one) = (
        [1.0_f32, 10.0, 2.0, 20.0, 3.0, 30.0],
        [1.0_f32, 2.0, 3.0, 10.0, 20.0, 30.0],
    );
    for (shape, fortran, values) in [
        ([3, 2], false, alternating),
        ([2, 3], true, alternating),
        ([3, 2], true, one_by_one),
        ([2, 3], false, one_by_one),
    ] {
        let got = read(npy("<f4", &shape, fortran, values));
        assert_eq!(got.samples, wanted, "{shape:?} {fortran}");
    }
}

/// An NPY file of any version with any header.
fn npy_by_hand(version: u8, header: &str, body: &[u8]) -> Vec<u8> {
    let mut bytes = b"\x93NUMPY".to_vec();
    bytes.extend([version, 0]);
    if version == 1 {
        bytes.extend((header.len() as u16).to_le_bytes());
    } else {
        bytes.extend((header.len() as u32).to_le_bytes());
    }
    bytes.extend(header.as_bytes());
    bytes.extend(body);
    bytes
}

#[test]
fn npy_versions_and_complex_values() {
    let body: Vec<u8> = [0.5_f32, -0.25, 1.0, 2.0]
        .iter()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    for version in [1, 2, 3] {
        let header = "{'descr': '<c8', 'fortran_order': False, 'shape': (2,), }\n";
        let got = read(npy_by_hand(version, header, &body));
        assert!(got.layout.complex);
        assert_eq!(names(&got), ["I", "Q"]);
        assert_eq!(got.samples, [[0.5, 1.0], [-0.25, 2.0]]);
    }
    let header = "{\"shape\":(2,),\"fortran_order\":False,\"descr\":\">f2\"}";
    assert_eq!(
        read(npy_by_hand(1, header, &[0x3C, 0, 0xC0, 0])).samples[0],
        [1.0, -2.0]
    );
}

#[test]
fn npy_that_lies() {
    let header = |descr: &str, shape: &str| {
        format!("{{'descr': '{descr}', 'fortran_order': False, 'shape': {shape}}}\n")
    };
    let got = read(npy_by_hand(
        1,
        &header("<i2", "(1000000000000,)"),
        &[0, 0x40, 0, 0x40],
    ));
    assert_eq!(
        (got.samples[0].as_slice(), got.layout.length),
        (&[0.5, 0.5][..], Some(2))
    );
    assert_eq!(got.layout.notes.len(), 1);
    for (descr, shape) in [
        ("|O", "(2,)"),
        ("<i2", "(2,2,2)"),
        ("<i2", "()"),
        ("<i2", "(0,)"),
        ("<i2", "(5000,300)"),
        ("<i2", "(18446744073709551615,2)"),
        ("<c8", "(4,2)"),
        ("<i2", "(-1,)"),
        ("<i2", "2"),
    ] {
        refuse(npy_by_hand(1, &header(descr, shape), &[0; 16]));
    }
    assert!(refuse(npy_by_hand(9, "", &[])).contains("version 9"));
    // Channel after channel cannot be read without the end.
    assert!(refuse(npy_by_hand(1, &header("<i2", "(2,1000)"), &[0; 16])).contains("whole array"));
}

#[test]
fn raw_samples() {
    let bytes: Vec<u8> = [16_384_i16, -16_384, 0, 8192]
        .iter()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    for (kind, wanted) in [
        ("i16", vec![vec![0.5, -0.5, 0.0, 0.25]]),
        ("ci16", vec![vec![0.5, 0.0], vec![-0.5, 0.25]]),
        ("i8", vec![vec![0.0, 0.5, 0.0, -0.5, 0.0, 0.0, 0.0, 0.25]]),
    ] {
        let kind: RawKind = kind.parse().unwrap();
        let options = OpenOptions {
            raw: Some(kind),
            rate_hz: Some(1e6),
            ..OpenOptions::default()
        };
        let got = read_bytes_with(&bytes, &options).unwrap();
        assert_eq!(got.samples, wanted, "{kind:?}");
        assert_eq!(got.layout.complex, kind == RawKind::Ci16);
    }
    assert!("i17".parse::<RawKind>().is_err());
}

// ---- Pipes: nothing to seek in, no length known ---------------------------------------------------------------------

#[cfg(unix)]
#[test]
fn pipes_are_read_like_files() {
    let mut streamed = wave(1, 1, 48_000, 16, u32::MAX);
    streamed.extend((0..3000_i16).flat_map(|value| value.to_le_bytes()));
    let mut listed = wave(1, 1, 48_000, 16, 6000);
    listed.extend((0..3000_i16).flat_map(|value| value.to_le_bytes()));
    listed.extend(b"LIST\x04\0\0\0INFO");
    let text: String = (0..30_000)
        .map(|i| format!("{:.6},{}\n", f64::from(i) * 1e-6, i % 5))
        .collect();
    let plane = npy("<f4", &[2, 3], false, [1.0_f32, 2.0, 3.0, 10.0, 20.0, 30.0]);
    for content in [streamed, listed, text.into_bytes(), plane] {
        let wanted = read(&content);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pipe");
        let made = std::process::Command::new("mkfifo")
            .arg(&path)
            .status()
            .unwrap();
        assert!(made.success());
        let writer = {
            let path = path.clone();
            std::thread::spawn(move || std::fs::write(path, content).unwrap())
        };
        let got = read_with(&path, &OpenOptions::default()).unwrap();
        writer.join().unwrap();
        assert_eq!(got.samples, wanted.samples);
        assert_eq!(got.layout.rate_hz, wanted.layout.rate_hz);
    }
}

// ---- Writing -------------------------------------------------------------------------------------------------------

fn write(recording: &Recording, kind: WriteKind) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out");
    capture::write(&path, recording, kind).unwrap();
    (folder, path)
}

fn recording(channels: usize, samples: Vec<Vec<f32>>) -> Recording {
    let channel = |index: usize| ChannelInfo {
        name: format!("CH{}", index + 1),
        unit: Unit::Volt,
    };
    Recording {
        rate_hz: 500e3,
        channels: (0..channels).map(channel).collect(),
        samples,
        complex: false,
    }
}

#[test]
fn another_reader_agrees_on_what_is_written() {
    let recording = recording(2, vec![vec![0.5, -0.25, 0.0], vec![0.125, 1.5, -1.5]]);
    let (_folder, path) = write(&recording, WriteKind::Npy);
    let bytes = std::fs::read(&path).unwrap();
    let file = npyz::NpyFile::new(bytes.as_slice()).unwrap();
    assert_eq!(file.shape(), [3, 2]);
    assert_eq!(
        file.into_vec::<f32>().unwrap(),
        [0.5, 0.125, -0.25, 1.5, 0.0, -1.5]
    );

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out.wav");
    let written = capture::write(&path, &recording, WriteKind::from_path(&path).unwrap()).unwrap();
    assert_eq!(written.clipped, 2);
    let values: Vec<i16> = hound::WavReader::open(&path)
        .unwrap()
        .into_samples()
        .map(Result::unwrap)
        .collect();
    assert_eq!(values, [16_384, 4096, -8192, 32_767, 0, -32_768]);
}

#[test]
fn what_cannot_be_written_is_refused_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out.wav");
    let good = recording(1, vec![vec![0.5]]);
    let kind = WriteKind::WavInteger(16);
    for bad in [
        Recording {
            samples: vec![vec![f32::NAN]],
            ..good.clone()
        },
        Recording {
            samples: vec![vec![]],
            ..good.clone()
        },
        Recording {
            rate_hz: 0.0,
            ..good.clone()
        },
        Recording {
            rate_hz: 1000.5,
            ..good.clone()
        },
        Recording {
            complex: true,
            ..good.clone()
        },
    ] {
        assert!(capture::write(&path, &bad, kind).is_err());
    }
    assert!(capture::write(&path, &good, WriteKind::WavInteger(12)).is_err());
    assert!(capture::write(folder.path(), &good, kind).is_err());
    assert!(capture::write(&folder.path().join("no/such/folder.wav"), &good, kind).is_err());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    fn floats() -> impl Strategy<Value = Vec<Vec<f32>>> {
        (1_usize..4, 4_usize..40).prop_flat_map(|(channels, length)| {
            let value = (-1.0_f32..1.0).prop_map(|v| v * 0.99);
            prop::collection::vec(prop::collection::vec(value, length), channels)
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn what_is_written_is_read_back(samples in floats()) {
            let recording = recording(samples.len(), samples);
            let raw = |kind| OpenOptions { raw: Some(kind), ..OpenOptions::default() };
            for (kind, options, step) in [
                (WriteKind::WavFloat, OpenOptions::default(), 0.0),
                (WriteKind::Npy, OpenOptions::default(), 0.0),
                (WriteKind::Csv, OpenOptions::default(), 0.0),
                // Rounding to the nearest of 2^bits steps: half a step.
                (WriteKind::WavInteger(8), OpenOptions::default(), 0.5 / 128.0),
                (WriteKind::WavInteger(16), OpenOptions::default(), 0.5 / 32_768.0),
                (WriteKind::WavInteger(24), OpenOptions::default(), 0.5 / 8_388_608.0 + f32::EPSILON),
                (WriteKind::RawF32, raw(RawKind::F32), 0.0),
                (WriteKind::RawI16, raw(RawKind::I16), 0.5 / 32_768.0),
            ] {
                let (_folder, path) = write(&recording, kind);
                let got = read_with(&path, &options).unwrap();
                let (got_flat, wanted_flat): (Vec<f32>, Vec<f32>) = if options.raw.is_some() {
                    let length = recording.samples[0].len();
                    (got.samples[0].clone(), (0..length).flat_map(|i| recording.samples.iter().map(move |own| own[i])).collect())
                } else {
                    prop_assert_eq!(got.samples.len(), recording.samples.len());
                    (got.samples.concat(), recording.samples.concat())
                };
                prop_assert_eq!(got_flat.len(), wanted_flat.len());
                for (got, wanted) in got_flat.iter().zip(&wanted_flat) {
                    prop_assert!((got - wanted).abs() <= step, "{:?}: {} {}", kind, got, wanted);
                }
                if matches!(kind, WriteKind::Csv | WriteKind::WavFloat | WriteKind::WavInteger(_)) {
                    prop_assert_eq!(got.layout.rate_hz, Some(500e3));
                }
                let again = write(&recording, kind);
                prop_assert_eq!(std::fs::read(&path).unwrap(), std::fs::read(again.1).unwrap());
            }
        }

        #[test]
        fn noise_never_panics(bytes in prop::collection::vec(any::<u8>(), 0..300), start in 0_usize..8) {
            let starts: [&[u8]; 8] = [b"", b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0", b"\x93NUMPY\x01\0", b"1,2\n3,4\n", b"\xFF\xFE", b"RIFF\0\0\0\0WAVE",
                b"\x93NUMPY\x01\0\x40\0{'descr': '<f4', 'fortran_order': True, 'shape': (", b"t;a\n0,1;2\n"];
            let content = [starts[start], &bytes].concat();
            let _ = read_bytes_with(&content, &OpenOptions::default());
            let raw = OpenOptions { raw: Some(RawKind::F32), ..OpenOptions::default() };
            let _ = read_bytes_with(&content, &raw);
        }

        #[test]
        fn text_noise_never_panics(text in "[-0-9.,;eE\t \r\n\"'#a:n]{0,200}") {
            let _ = read_bytes_with(text.as_bytes(), &OpenOptions::default());
        }
    }
}

// ---- shapes × quirks -----------------------------------------------------------------------------------------------

mod shapes;

#[test]
fn every_shape_reads_at_first_try() {
    let grafts = shapes::all();
    assert!(grafts.len() >= 60, "{}", grafts.len());
    let misread: Vec<String> = grafts.iter().filter_map(shapes::misread).collect();
    assert!(
        misread.is_empty(),
        "{} of {}:\n{}",
        misread.len(),
        grafts.len(),
        misread.join("\n")
    );
}

#[test]
fn sigmf_reads_from_either_of_its_files() {
    for (name, rate_hz, channel) in [
        ("signed", 400e3, "1"),
        ("offset", 400e3, "1"),
        ("iq", 50e3, "I+jQ"),
    ] {
        for ending in ["sigmf-meta", "sigmf-data"] {
            let path = shapes::folder().join(format!("{name}.{ending}"));
            let decoded = fieldripple::decode::decode_file(&path, &Default::default()).unwrap();
            assert_eq!(
                shapes::differs(&decoded, rate_hz, Unit::FullScale, channel),
                None,
                "{name}.{ending}"
            );
        }
    }
}
