//! The `telegram` command from outside: every form of input, exit codes, one line for every refusal.

use std::process::{Command, Output};

use fieldripple::telegram::{Identity, Telegram, objections};
use proptest::prelude::*;
use serde_json::Value;

fn telegram(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .arg("telegram")
        .args(arguments)
        .output()
        .unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let output = telegram(&[arguments, &["--json"]].concat());
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 1);
    serde_json::from_str(&text).unwrap()
}

fn text(arguments: &[&str]) -> String {
    let output = telegram(arguments);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// Telegram as sent, worked out from the conventions recalled from ISO 11785 (from memory).
const WORKED_BITS: &str = "00000000001101101001101001111000001111011111111011010111100111111000000001000000011110110111101000011000000001000000001000000001";

/// Vectors worked out from the conventions of ISO 11784/11785 (layout from memory, CRC-16/KERMIT from the catalogue of
/// parametrised CRC algorithms).
#[test]
fn numbers_become_the_codes_and_crcs_worked_out_by_hand() {
    let vectors: [(&[&str], &str, &str); 6] = [
        (&["999:1"], "8000F9C000000001", "2E44"),
        (&["999:98765432109"], "8000F9D6FEE0E52D", "85DB"),
        (&["276:1234567890"], "80004500499602D2", "BDD2"),
        (&["999:274877906943"], "8000F9FFFFFFFFFF", "250C"),
        (&["999:1", "--not-animal"], "0000F9C000000001", "AA4C"),
        (
            &["900:1", "--retag", "7", "--user", "31", "--data-block"],
            "FF81E10000000001",
            "48AE",
        ),
    ];
    for (arguments, code, crc) in vectors {
        let object = json(arguments);
        assert_eq!(object["code_hex"], code, "{arguments:?}");
        assert_eq!(object["crc_hex"], crc, "{arguments:?}");
    }
    assert_eq!(json(&["999:98765432109"])["bits"], WORKED_BITS);
}

#[test]
fn the_object_holds_every_field() {
    let object = json(&[
        "756:42",
        "--retag",
        "3",
        "--user",
        "17",
        "--reserved",
        "1",
        "--data-block",
        "--trailer",
        "12aBcD",
    ]);
    for (key, value) in [
        ("id", Value::from("756000000000042")),
        ("country", 756.into()),
        ("kind", "fdx-b".into()),
        ("national", 42.into()),
        ("animal", true.into()),
        ("retag", 3.into()),
        ("user", 17.into()),
        ("reserved", 1.into()),
        ("data_block", true.into()),
        ("trailer", "12ABCD".into()),
        ("country_meaning", "Switzerland".into()),
    ] {
        assert_eq!(object[key], value, "{key}");
    }
    assert_eq!(object["bits"].as_str().unwrap().len(), 128);
}

#[test]
fn a_printed_telegram_shows_its_parts_and_remarks() {
    let page = text(&["999:98765432109"]);
    for words in [
        "999 098765432109",
        "8000F9D6FEE0E52D",
        "85DB",
        WORKED_BITS,
        "header",
        "trailer 3",
        "17–26",
        "27–64",
        "test transponder",
        "Notes",
    ] {
        assert!(page.contains(words), "{words} missing in\n{page}");
    }
    assert!(!text(&["756:1"]).contains("Notes"));
}

#[test]
fn bits_are_read_from_any_rotation_with_blanks() {
    for start in [0, 1, 10, 64, 127] {
        let rotated = format!("{}{}", &WORKED_BITS[start..], &WORKED_BITS[..start]);
        let spaced = format!("{} {}", &rotated[..40], &rotated[40..]);
        for input in [&rotated, &spaced] {
            let object = json(&[input]);
            assert_eq!(object["id"], "999098765432109");
            assert_eq!(object["bits"], WORKED_BITS);
        }
    }
}

#[test]
fn a_code_is_read_as_written_and_bytes_in_any_order() {
    assert_eq!(json(&["8000F9D6FEE0E52D"])["id"], "999098765432109");
    assert_eq!(json(&["8000f9d6fee0e52d"])["id"], "999098765432109");
    for bytes in [
        "80 00 F9 D6 FE E0 E5 2D",
        "2D E5 E0 FE D6 F9 00 80",
        "01 00 9F 6B 7F 07 A7 B4",
        "B4:A7:07:7F:6B:9F:00:01",
        "0x2D 0xE5 0xE0 0xFE 0xD6 0xF9 0x00 0x80",
        // with CRC, with CRC and trailer
        "2DE5E0FED6F90080DB85",
        "2DE5E0FED6F90080DB85000000",
        "00000085DB8000F9D6FEE0E52D",
    ] {
        let object = json(&[bytes]);
        assert_eq!(object["id"], "999098765432109", "{bytes}");
        assert_eq!(object["plausible"], true);
        assert!(object["interpretations"].as_array().unwrap().len() >= 4);
    }
    let separate = ["2D", "E5", "E0", "FE", "D6", "F9", "00", "80"];
    assert_eq!(json(&separate)["id"], "999098765432109");
}

/// A byte dump that makes sense in two orders is shown in both; neither is chosen.
#[test]
fn ambiguous_bytes_are_shown_in_every_plausible_order() {
    let plausible = |code| objections(&Identity::from_code(code)).is_empty();
    let code = (0u64..1 << 20)
        .map(|low| 0x8000_4500_0000_0080 | low << 8)
        .find(|&code| plausible(code) && plausible(code.swap_bytes()))
        .unwrap();
    let bytes = code.to_be_bytes().map(|byte| format!("{byte:02X}"));
    let object = json(&[&bytes.join(" ")]);
    assert!(object.get("id").is_none(), "silently chosen: {object}");
    let shown = object["interpretations"].as_array().unwrap();
    let count = shown.iter().filter(|one| one["plausible"] == true).count();
    assert!(count >= 2);
    assert_eq!(
        text(&[&bytes.join(" ")]).matches("\nnumber ").count(),
        count
    );
    // The same digits in one word are the code, with the other reading mentioned.
    let as_code = json(&[&bytes.concat()]);
    assert_eq!(as_code["code_hex"], format!("{code:016X}"));
    assert!(!as_code["also_plausible"].as_array().unwrap().is_empty());
    assert!(text(&[&bytes.concat()]).contains("also possible"));
}

#[test]
fn bytes_without_a_plausible_order_end_with_exit_code_1() {
    let output = telegram(&["12 34 56 78 9A BC DE F0"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stdout).contains("No order"));
}

#[test]
fn bad_input_is_refused_with_one_line_and_exit_code_2() {
    let flipped = format!("{}{}", &WORKED_BITS[..127], '0');
    let two = WORKED_BITS.replace('1', "2");
    let cases: [&[&str]; 22] = [
        &[],
        &[""],
        &["999"],
        &["1024:1"],
        &["999:274877906944"],
        &["999:99999999999999999999999999"],
        &["999:-1"],
        &["999:1:2"],
        &["999:1\n2"],
        &["999:1", "--retag", "8"],
        &["999:1", "--retag", "-1"],
        &["999:1", "--user", "32"],
        &["999:1", "--reserved", "64"],
        &["999:1", "--trailer", "12345"],
        &["999:1", "--trailer", "12345G"],
        &["999:1", "--trailer", "+12345"],
        &["8000F9D6FEE0E52D", "--retag", "1"],
        &["8000F9D6FEE0E52"],
        &["8000F9D6FEE0E52é"],
        &[&flipped],
        &[&two],
        &["999:1", "--nonsense"],
    ];
    for arguments in cases {
        let output = telegram(arguments);
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {message}");
        assert_eq!(message.lines().count(), 1, "{arguments:?}: {message}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_closed_pipe_is_success() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_fieldripple"))
        .args(["telegram", "999:1"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// There and back again by bits and by code.
    #[test]
    fn every_number_comes_back(code in any::<u64>(), rotation in 0usize..128) {
        let telegram = Telegram::new(code);
        let mut bits = telegram.bits();
        bits.rotate_left(rotation);
        let digits: String = bits.iter().map(|&bit| if bit { '1' } else { '0' }).collect();
        let from_bits = json(&[&digits]);
        let from_code = json(&[&format!("{code:016X}")]);
        prop_assert_eq!(&from_bits["code_hex"], &from_code["code_hex"]);
        prop_assert_eq!(&from_bits["id"], &from_code["id"]);
        prop_assert_eq!(&from_bits["crc_hex"], &Value::from(format!("{:04X}", telegram.crc())));
    }
}
