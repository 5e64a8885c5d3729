//! What became of a capture.

use serde::{Serialize, Serializer};
use serde_json::Value;

use super::about::AboutFile;
use super::json;
use super::live::Visit;
use super::margin::{Margin, margin};
use super::origin::Origin;
use super::told::{self, Row};
use super::uncertainty;
use super::window::Window;
use super::{Pickup, Settings};
use crate::capture::{Layout, Unit};
use crate::findings::Finding;
use crate::receiver::{Measured, Reception};
use crate::telegram::Identity;

/// What became of a capture: the numbers in it, or why there is none.
///
/// Serialises as the object of the JSON contract, schema `fieldripple.decode/1`.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Decoded {
    /// Everything measured and read.
    pub reception: Reception,
    /// Why it was or was not read, what costs most first.
    pub findings: Vec<Finding>,
    pub(super) about: AboutFile,
    pub(super) samples: u64,
    pub(super) expected: Option<Identity>,
    pub(super) odds: f64,
    pub(super) kept: Option<KeptSamples>,
    pub(super) visits: Option<Vec<Visit>>,
    pub(super) pickup: Option<Pickup>,
}

/// The samples that the receiver kept its view of.
#[derive(Clone, Debug)]
pub struct KeptSamples {
    /// Where they begin, seconds from the first sample of the capture.
    pub from_s: f64,
    /// The samples.
    pub window: Window,
}

impl Decoded {
    /// Name of the capture, as it was opened.
    pub fn name(&self) -> &str {
        &self.about.name
    }

    /// Where it came from: one file, or several that were joined. Nothing unless `Settings::origin` asked for it.
    pub fn origins(&self) -> &[Origin] {
        &self.about.origins
    }

    /// Says when its one file was last changed, seconds since 1970, where that is only known to whoever gave its bytes.
    pub fn changed_at(&mut self, unix_s: i64) {
        if let [origin] = self.about.origins.as_mut_slice() {
            origin.changed_s = Some(unix_s);
        }
    }

    /// Calls it by another name.
    pub fn rename(&mut self, name: impl Into<String>) {
        self.about.name = name.into();
    }

    /// Channels, unit, rate and whatever else the file says of itself.
    pub fn layout(&self) -> &Layout {
        &self.about.layout
    }

    /// Name of the channel that was read.
    pub fn channel(&self) -> &str {
        &self.about.channel
    }

    /// Unit of the channel that was read.
    pub fn unit(&self) -> Unit {
        self.about.unit
    }

    /// What was taken of a file with columns or several channels, in a line; empty for others.
    pub fn taken(&self) -> &str {
        &self.about.taken
    }

    /// Samples read.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Remarks on the file and on what was taken from it, one sentence each.
    pub fn remarks(&self) -> &[String] {
        &self.about.remarks
    }

    /// The samples that the receiver kept its view of, where [`Settings::keep_samples`](super::Settings::keep_samples) asked for them.
    pub fn kept(&self) -> Option<&KeptSamples> {
        self.kept.as_ref()
    }

    /// When each tag came and went, in the order in which they left, where [`Settings::visits`](super::Settings::visits) asked for it.
    pub fn visits(&self) -> Option<&[Visit]> {
        self.visits.as_deref()
    }

    /// How far the capture is from the limit of reading; `None` where no ripple shows, or something else than noise is in the way.
    pub fn margin(&self) -> Option<Margin> {
        margin(&self.reception, &self.findings, self.odds)
    }

    /// Country and number of everything read, of whatever kind, strongest first.
    pub fn identities(&self) -> Vec<Identity> {
        let full = self
            .reception
            .readings
            .iter()
            .map(|reading| reading.identity());
        let half = self.reception.others.half_duplex.iter();
        full.chain(half.map(|reading| reading.identity())).collect()
    }

    /// The number that was expected.
    pub fn expected(&self) -> Option<Identity> {
        self.expected
    }

    /// A number was read, and the expected one where one was.
    pub fn is_read(&self) -> bool {
        !self.identities().is_empty() && self.unexpected().is_none()
    }

    /// Said where another number than the expected one was read, or none.
    pub fn unexpected(&self) -> Option<String> {
        let expected = self.expected?;
        let read = self.identities();
        let same = |found: &Identity| {
            (found.country, found.national) == (expected.country, expected.national)
        };
        if read.iter().any(same) {
            return None;
        }
        if read.is_empty() {
            return Some(format!("{expected} was expected; no number was read."));
        }
        let read: Vec<String> = read.iter().map(ToString::to_string).collect();
        Some(format!(
            "{expected} was expected; {} was read.",
            read.join(" and ")
        ))
    }

    /// The likeliest number that does not count as read. Noise alone gives one every time; one that is ten times likelier
    /// right than wrong is worth a look.
    pub fn candidate(&self) -> Option<&Measured> {
        let candidate = self.reception.candidate.as_ref();
        // Bits that are certain and fit another check say what the number would be: no other stands beside it.
        let other = self.findings.iter().find_map(|finding| {
            let id = finding.evidence.get("candidate_id")?.as_str()?;
            (finding.code == "check-of-another-kind").then_some(id)
        });
        candidate
            .filter(|reading| reading.attempt.decision.odds_wrong < 0.1)
            .filter(|reading| other.is_none_or(|id| id == reading.identity().digits()))
    }

    /// What a person at a bench reads of it: number, certainty, field, ripple, noise, findings and remarks, label by label.
    pub fn told(&self) -> Vec<Row> {
        told::rows(self)
    }

    /// How far depth, angle, Eb/N0 and what there is to spare stray by chance, one standard deviation, a row a tag.
    pub fn uncertainty_told(&self) -> Vec<Row> {
        uncertainty::rows(self)
    }

    /// What it was read with, label by label: channel, rate and whatever of `settings` is not the usual.
    pub fn settings_told(&self, settings: &Settings) -> Vec<Row> {
        told::settings(self, settings)
    }

    /// The object of the JSON contract, schema `fieldripple.decode/1`.
    pub fn to_json(&self) -> Value {
        json::value(self)
    }
}

impl Serialize for Decoded {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.to_json().serialize(serializer)
    }
}
