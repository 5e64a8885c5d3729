//! A capture given to a page in a browser, and what was typed beside it → what the program says of it.

use serde::{Deserialize, Serialize};

use super::super::PageError;
use super::super::report::{Section, UNREADABLE, section_html, unreadable_html};
use crate::decode::wording::one_line;
use crate::decode::{CENTRES_HZ, RATES_HZ, Settings, decode_bytes, decode_pair};
use crate::number::within;

/// What the page asks: fields are as typed, and empty ones leave it to the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    /// Name of the file.
    name: String,
    /// Its number among the captures of the page, from 1.
    place: usize,
    /// When it was last changed, seconds since 1970, as the browser tells it.
    #[serde(default)]
    changed_s: Option<i64>,
    /// The file that belongs to it, where there is one.
    #[serde(default)]
    beside: Option<Beside>,
    rate: String,
    centre: String,
    channel: String,
    raw: String,
}

/// A file that belongs to another one: the samples of a SigMF recording.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Beside {
    /// Its name.
    name: String,
    /// Where its bytes begin, behind those of the file.
    from: usize,
}

/// What the page shows.
#[derive(Default, Serialize)]
struct Answer {
    /// A few words for the list of captures.
    verdict: String,
    /// The line of `decode --json`; null where the capture could not be read.
    json: Option<String>,
    /// The line that the program prints where it could not.
    error: Option<String>,
    /// The capture's section of a report, as HTML.
    section: String,
}

/// Answers a page. `asked` is an object with the texts `name`, `rate`, `centre`, `channel`, `raw` (empty where nothing was typed), the
/// numbers `place` and, where it is known, `changed_s`, and `beside` where the bytes of another file follow, an object of its `name` and the
/// place `from` which they go; the answer is one with the texts `verdict`, `json` or `error`, and `section`.
pub fn answer(asked: &str, capture: Vec<u8>) -> String {
    let answer = match serde_json::from_str::<Asked>(asked) {
        Ok(asked) => answered(&asked, capture).unwrap_or_else(|error| Answer {
            error: Some(one_line(&error)),
            ..Answer::default()
        }),
        Err(error) => Answer {
            error: Some(error.to_string()),
            ..Answer::default()
        },
    };
    serde_json::to_string(&answer).unwrap_or_default()
}

fn answered(asked: &Asked, mut capture: Vec<u8>) -> Result<Answer, PageError> {
    let decoded = settings(asked).and_then(|settings| {
        let decoded = match &asked.beside {
            Some(beside) => {
                let samples = capture.split_off(beside.from.min(capture.len()));
                decode_pair(&asked.name, capture, (&beside.name, samples), &settings)
            }
            None => decode_bytes(&asked.name, capture, &settings),
        };
        let mut decoded = decoded.map_err(|error| one_line(&error))?;
        if let Some(unix_s) = asked.changed_s {
            decoded.changed_at(unix_s);
        }
        Ok((decoded, settings))
    });
    Ok(match decoded {
        Ok((decoded, settings)) => {
            let section = Section::of(&decoded, decoded.told(), decoded.settings_told(&settings));
            Answer {
                verdict: section.verdict(),
                json: Some(decoded.to_json().to_string()),
                error: None,
                section: section_html(&section, asked.place)?,
            }
        }
        Err(why) => Answer {
            verdict: UNREADABLE.into(),
            json: None,
            section: unreadable_html(&asked.name, &why, asked.place)?,
            error: Some(why),
        },
    })
}

fn settings(asked: &Asked) -> Result<Settings, String> {
    let mut settings = Settings::new().keep_samples().origin();
    let said = |option: &str, why: String| format!("{}: {option}: {why}", asked.name);
    if !asked.rate.trim().is_empty() {
        let rate_hz =
            within(RATES_HZ, "Hz")(&asked.rate).map_err(|why| said("sample rate", why))?;
        settings = settings.rate_hz(rate_hz);
    }
    if !asked.centre.trim().is_empty() {
        let centre_hz =
            within(CENTRES_HZ, "Hz")(&asked.centre).map_err(|why| said("centre", why))?;
        settings = settings.centre_hz(centre_hz);
    }
    if !asked.channel.trim().is_empty() {
        settings = settings.channel(asked.channel.parse().unwrap_or_default());
    }
    if !asked.raw.is_empty() {
        let kind = asked.raw.parse();
        settings = settings.raw(kind.map_err(|why| said("bare samples", format!("{why}")))?);
    }
    Ok(settings)
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::decode::decode_file;

    fn ask(more: Value, capture: Vec<u8>) -> Value {
        let mut asked = json!({"name": "a.wav", "place": 3, "rate": "", "centre": "", "channel": "", "raw": ""});
        for (key, value) in more.as_object().unwrap() {
            asked[key] = value.clone();
        }
        serde_json::from_str(&answer(&asked.to_string(), capture)).unwrap()
    }

    #[test]
    fn a_page_hears_what_the_program_prints() {
        let path = "waveforms/intake-clean.wav";
        let answer = ask(json!({}), std::fs::read(path).unwrap());
        let mut decoded = decode_file(path, &Settings::new()).unwrap();
        decoded.rename("a.wav");
        assert_eq!(answer["json"], decoded.to_json().to_string());
        assert_eq!(answer["verdict"], "999 100000000001");
        assert_eq!(answer["error"], Value::Null);
        let section = answer["section"].as_str().unwrap();
        assert!(section.contains("id=\"capture-3\"") && section.contains("<svg"));
    }

    #[test]
    fn what_is_typed_counts() {
        let samples: Vec<u8> = vec![128; 40_000];
        let answer = ask(json!({"raw": "u8", "rate": " 500k "}), samples.clone());
        let decoded: Value = serde_json::from_str(answer["json"].as_str().unwrap()).unwrap();
        assert_eq!(decoded["capture"]["rate_hz"], 500e3);
        for (typed, said) in [
            (
                json!({"rate": "0"}),
                "a.wav: sample rate: allowed is 1 to 10 GHz",
            ),
            (
                json!({"centre": "x"}),
                "a.wav: centre: allowed is -10 GHz to 10 GHz",
            ),
        ] {
            let answer = ask(typed, samples.clone());
            assert_eq!(answer["error"], said);
            assert!(answer["section"].as_str().unwrap().contains(said));
        }
        assert!(ask(json!({"raw": "u7"}), samples)["error"].is_string());
    }

    #[test]
    fn a_file_and_the_one_beside_it() {
        let meta = br#"{"global":{"core:datatype":"ri8","core:sample_rate":500000},"captures":[]}"#;
        let mut both = meta.to_vec();
        both.extend(vec![3; 40_000]);
        let asked = |beside: &str| json!({"name": "a.sigmf-meta", "beside": {"name": beside, "from": meta.len()}});
        let answer = ask(asked("a.sigmf-data"), both.clone());
        let decoded: Value = serde_json::from_str(answer["json"].as_str().unwrap()).unwrap();
        assert_eq!(decoded["capture"]["samples"], 40_000);
        assert_eq!(decoded["capture"]["rate_hz"], 500e3);
        let error = ask(asked("b.sigmf-data"), both)["error"].clone();
        assert!(error.as_str().unwrap().contains("a.sigmf-data"), "{error}");
    }

    #[test]
    fn no_capture_is_an_answer_too() {
        let answer = ask(
            json!({"name": "<b>.pdf"}),
            b"%PDF-1.7 and nothing else".to_vec(),
        );
        assert!(answer["error"].as_str().unwrap().starts_with("<b>.pdf: "));
        assert!(!answer["section"].as_str().unwrap().contains("<b>"));
        let nonsense: Value = serde_json::from_str(&super::answer("{}", Vec::new())).unwrap();
        assert!(nonsense["error"].is_string());
    }
}
