//! Findings look after look → those that stand, each raised and withdrawn once.

use super::Event;
use crate::findings::Finding;

/// A finding is raised when so many close looks in succession have it. They share no sample: what a tag or a field does in coming and
/// going is in one of them.
const STANDS: u32 = 2;

/// A finding is withdrawn when so many close looks in succession do not have it (common practice, no source).
const MISSED: u32 = 2;

/// What says why there is no number: it falls at once where there is one.
const OF_NO_NUMBER: [&str; 8] = [
    "no-field",
    "nothing-to-read",
    "no-ripple",
    "ripple-too-weak",
    "telegram-does-not-fit",
    "biphase-no-header",
    "tag-restarts",
    "check-of-another-kind",
];

/// Whether a finding says why there is no number.
pub(super) fn denies_a_number(finding: &Finding) -> bool {
    OF_NO_NUMBER.contains(&finding.code)
}

/// Findings that stand or may come to.
#[derive(Default)]
pub(super) struct FindingsWatch {
    known: Vec<Known>,
}

struct Known {
    finding: Finding,
    /// Close looks in succession that have it …
    seen: u32,
    /// … or that do not.
    missed: u32,
    raised: bool,
    /// Place among the findings of the last look that had it: what costs most comes first.
    place: usize,
}

impl FindingsWatch {
    /// Takes the findings of a close look that ends at `now_s`.
    pub fn look(&mut self, found: Vec<Finding>, now_s: f64, told: &mut Vec<Event>) {
        for known in &mut self.known {
            known.missed += 1;
        }
        for (place, finding) in found.into_iter().enumerate() {
            let same = |known: &&mut Known| known.finding.code == finding.code;
            match self.known.iter_mut().find(same) {
                Some(known) => {
                    known.seen = if known.missed > 1 { 1 } else { known.seen + 1 };
                    (known.finding, known.missed, known.place) = (finding, 0, place);
                }
                None => self.known.push(Known {
                    finding,
                    seen: 1,
                    missed: 0,
                    raised: false,
                    place,
                }),
            }
        }
        self.drop_where(|known| known.missed >= MISSED, now_s, told);
        for known in &mut self.known {
            if !known.raised && known.missed == 0 && known.seen >= STANDS {
                known.raised = true;
                told.push(Event::FindingRaised {
                    time_s: now_s,
                    finding: known.finding.clone(),
                });
            }
        }
    }

    /// A number was read: what denies that falls at once.
    pub fn number_read(&mut self, now_s: f64, told: &mut Vec<Event>) {
        self.drop_where(|known| denies_a_number(&known.finding), now_s, told);
    }

    fn drop_where(&mut self, falls: impl Fn(&Known) -> bool, now_s: f64, told: &mut Vec<Event>) {
        self.known.retain(|known| {
            let fallen = falls(known);
            if fallen && known.raised {
                told.push(Event::FindingWithdrawn {
                    time_s: now_s,
                    code: known.finding.code,
                });
            }
            !fallen
        });
    }

    /// Code and text of the finding that stands and costs most.
    pub fn foremost(&self) -> Option<(&'static str, String)> {
        self.known
            .iter()
            .filter(|known| known.raised)
            .min_by_key(|known| (known.missed > 0, known.place))
            .map(|known| (known.finding.code, known.finding.text.clone()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(code: &'static str) -> Finding {
        Finding {
            code,
            text: String::new(),
            evidence: serde_json::Map::new(),
            false_alarm: None,
        }
    }

    /// Looks one second apart, each with its findings; what was told, as `+code` and `-code`.
    fn told(looks: &[&[&'static str]]) -> Vec<String> {
        let mut watch = FindingsWatch::default();
        let mut events = Vec::new();
        for (second, codes) in (1..).zip(looks) {
            let found = codes.iter().map(|code| finding(code)).collect();
            watch.look(found, f64::from(second), &mut events);
            if codes.contains(&"read") {
                watch.number_read(f64::from(second), &mut events);
            }
        }
        let word = |event: &Event| match event {
            Event::FindingRaised { time_s, finding } => format!("{time_s}+{}", finding.code),
            Event::FindingWithdrawn { time_s, code } => format!("{time_s}-{code}"),
            _ => unreachable!(),
        };
        events.iter().map(word).collect()
    }

    #[test]
    fn what_comes_and_goes_is_not_told() {
        assert_eq!(told(&[&["hum"], &[], &["hum"], &[], &["hum"]]), [""; 0]);
        let steady: [&[&'static str]; 6] = [&["hum"], &["hum"], &[], &["hum"], &[], &[]];
        assert_eq!(told(&steady), ["2+hum", "6-hum"]);
    }

    #[test]
    fn a_number_takes_back_at_once_what_denies_it() {
        let looks: [&[&'static str]; 3] = [
            &["no-ripple", "hum"],
            &["no-ripple", "hum"],
            &["hum", "read"],
        ];
        assert_eq!(told(&looks), ["2+no-ripple", "2+hum", "3-no-ripple"]);
    }
}
