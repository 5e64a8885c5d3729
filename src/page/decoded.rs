//! A decoded capture → what its section says, and what is drawn of it.

use super::report::{NumberRead, Opinion, Section};
use crate::decode::wording::{moment, of_level};
use crate::decode::{Decoded, Origin, Row, file_name};
use crate::draw::{About, View};

/// Labels of what is told that stand on top of the section.
const OUTCOME: [&str; 4] = ["certainty", "unread", "expected", "candidate"];
/// Labels of what has a place of its own.
const ELSEWHERE: [&str; 3] = ["number", "finding", "note"];

impl<'a> Section<'a> {
    /// The section of a capture: `told` is what a person reads of it, label by label ([`Decoded::told`]), `settings` what it was read with
    /// ([`Decoded::settings_told`]).
    pub fn of(decoded: &'a Decoded, told: Vec<Row>, settings: Vec<Row>) -> Self {
        let owned = |(label, words): Row| (label.to_string(), words);
        let mut measured: Vec<(String, String)> = Vec::new();
        let mut outcome = Vec::new();
        let mut last = "";
        for (label, words) in told {
            let words = words.replace("10^-12", "10⁻¹²");
            last = if label.is_empty() { last } else { label };
            if OUTCOME.contains(&last) || (last == "number" && label.is_empty()) {
                let mut sentence = words;
                if last == "certainty" {
                    sentence.insert_str(0, "Certainty: ");
                }
                outcome.push(sentence);
            } else if !ELSEWHERE.contains(&last) {
                measured.push(owned((label, words)));
            }
        }
        if let Some(last) = measured.iter().rposition(|(label, _)| label == "noise") {
            let strays = decoded.uncertainty_told().into_iter().map(owned);
            measured.splice(last + 1..last + 1, strays);
        }
        let full = decoded.reception.readings.iter().map(|reading| NumberRead {
            telegram: reading.attempt.decision.telegram,
            trailer_certain: reading.trailer().is_some(),
            half_duplex: false,
        });
        let half = decoded.reception.others.half_duplex.iter();
        let half = half.map(|reading| NumberRead {
            telegram: reading.telegram,
            trailer_certain: reading.trailer().is_some(),
            half_duplex: true,
        });
        Self {
            name: named(decoded),
            opinion: if decoded.is_read() {
                Opinion::Read
            } else {
                Opinion::Unread
            },
            outcome,
            numbers: full.chain(half).collect(),
            measured,
            findings: &decoded.findings,
            remarks: decoded.remarks().to_vec(),
            sources: decoded.origins().iter().map(source).collect(),
            settings: settings.into_iter().map(owned).collect(),
            view: view(decoded),
            joined: false,
        }
    }
}

/// The file's name without folders; of several, joined, their names.
fn named(decoded: &Decoded) -> String {
    match decoded.origins() {
        [] | [_] => file_name(decoded.name()).into(),
        several => {
            let names: Vec<&str> = several.iter().map(|origin| origin.name.as_str()).collect();
            names.join(" + ")
        }
    }
}

/// What is known of a file, label and text.
fn source(origin: &Origin) -> Vec<(String, String)> {
    let is_stream = origin.name == "-";
    let name = if is_stream {
        "standard input"
    } else {
        &origin.name
    };
    let mut rows = vec![("name", name.to_string())];
    if let Some(made) = &origin.made {
        rows.push(("recorded", format!("{made}, by the file itself")));
    }
    if let Some(unix_s) = origin.changed_s {
        rows.push((
            "last changed",
            format!("{}, by the file system", moment(unix_s)),
        ));
    }
    rows.push((
        "SHA-256",
        match &origin.sha256 {
            Some(sum) => sum.clone(),
            None => "not known: the stream was not read to its end".into(),
        },
    ));
    let owned = |(label, text): (&str, String)| (label.to_string(), text);
    rows.into_iter().map(owned).collect()
}

/// What is drawn of a capture that was read with [`Settings::keep_samples`](crate::decode::Settings::keep_samples).
pub fn view(decoded: &Decoded) -> View<'_> {
    let unit = of_level(decoded.unit()).trim_start();
    let kept = decoded.kept();
    let about = About {
        name: decoded.name(),
        unit,
        from_s: kept.map_or(0.0, |kept| kept.from_s),
        samples: kept.map(|kept| kept.window.samples()),
        reason: decoded
            .findings
            .first()
            .map(|finding| finding.text.as_str()),
    };
    View::new(&decoded.reception, about)
}
