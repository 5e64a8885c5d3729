//! Events as lines: of JSON for programs, of words for people.

use std::time::Duration;

use fieldripple::decode::{Event, Summary};
use serde_json::json;

use super::super::super::print;
use super::pipeline::News;
use fieldripple::decode::wording::{probability, significant};

/// Schema of the lines that are no event of the receiver's.
const SCHEMA: &str = "fieldripple.live/1";

/// A stream without samples for so long is said to stall; then each time that has doubled.
const STALLED: Duration = Duration::from_secs(2);

/// Prints events, one a line.
pub struct Lines {
    json: bool,
    unit: &'static str,
    told: Option<Duration>,
}

impl Lines {
    pub fn new(json: bool) -> Self {
        Self {
            json,
            unit: "",
            told: None,
        }
    }

    /// Prints what there is to print of the news.
    pub fn print(&mut self, news: &News) -> anyhow::Result<()> {
        let line = match news {
            News::Opened { unit } => {
                self.unit = unit;
                None
            }
            News::Event(event) if self.json => Some(format!("{}\n", event.to_json())),
            News::Event(event) => words(event, self.unit),
            News::Remark(text) => Some(self.remark(text)),
            News::Tick { without } => self.stall(*without),
            News::Done(_) | News::Failed(_) => None,
        };
        if let Some(line) = line {
            print(&line)?;
        }
        Ok(())
    }

    /// What all of it gave.
    pub fn summary(&self, summary: &Summary) -> String {
        if self.json {
            return format!("{}\n", summary.to_json());
        }
        let mut text = format!(
            "summary    {:.1} s, {:.1} s with a field; {} visit{}\n",
            summary.seconds,
            summary.field_s,
            summary.visits,
            if summary.visits == 1 { "" } else { "s" }
        );
        for (identity, visits) in &summary.numbers {
            let times = if *visits == 1 {
                "once"
            } else {
                &format!("{visits} times")
            };
            text.push_str(&format!("number     {identity}, {times}\n"));
        }
        if summary.numbers.is_empty() {
            text.push_str("unread     no number was read\n");
        }
        text
    }

    fn remark(&self, text: &str) -> String {
        if self.json {
            let line = json!({"schema": SCHEMA, "event": "note", "text": text});
            return format!("{line}\n");
        }
        note(text)
    }

    fn stall(&mut self, without: Duration) -> Option<String> {
        if without < STALLED {
            self.told = None;
            return None;
        }
        if self.told.is_some_and(|told| without < 2 * told) {
            return None;
        }
        self.told = Some(without);
        let seconds = without.as_secs();
        Some(if self.json {
            let line = json!({"schema": SCHEMA, "event": "no-samples", "seconds": seconds});
            format!("{line}\n")
        } else {
            format!("           {}\n", no_samples(without))
        })
    }
}

/// A remark as a line.
pub fn note(text: &str) -> String {
    format!("note       {text}\n")
}

/// Said of a stream that stalls.
pub fn no_samples(without: Duration) -> String {
    format!("no samples for {} s", without.as_secs())
}

/// An event in words; how things stand is for meters and programs.
fn words(event: &Event, unit: &str) -> Option<String> {
    let (time_s, what) = match event {
        Event::FieldThere {
            time_s,
            frequency_hz,
            amplitude,
        } => {
            let hz = frequency_hz.map_or(String::new(), |hz| format!(", {hz:.1} Hz"));
            let peak = amplitude.map_or(String::new(), |peak| {
                format!(", peak {}{unit}", significant(peak))
            });
            (*time_s, format!("field there{hz}{peak}"))
        }
        Event::FieldGone { time_s } => (*time_s, "field gone".into()),
        Event::NumberRead(read) => (
            read.time_s,
            format!(
                "number {}{}, wrong with a probability of {}",
                read.identity,
                if read.refined { " surer" } else { " read" },
                probability(read.odds_wrong)
            ),
        ),
        Event::VisitEnded(visit) => (
            visit.to_s,
            format!(
                "visit ended: {} from {:.2} s to {:.2} s{}, Eb/N0 {:.1} dB, {:.1} dB to spare",
                visit.identity,
                visit.from_s,
                visit.to_s,
                visit.depth.map_or(String::new(), |depth| format!(
                    ", depth {} %",
                    significant(100.0 * depth)
                )),
                visit.ebn0_db,
                visit.spare_db
            ),
        ),
        Event::FindingRaised { time_s, finding } => {
            (*time_s, format!("[{}] {}", finding.code, finding.text))
        }
        Event::FindingWithdrawn { time_s, code } => (*time_s, format!("[{code}] no longer")),
        _ => return None,
    };
    Some(format!("{time_s:8.2} s {what}\n"))
}
