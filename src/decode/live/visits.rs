//! Numbers look after look → visits, each told when it begins and when it has ended.

use super::doubt::Doubts;
use super::heard::{Heard, HeardStay};
use super::{Event, NumberRead, Visit};
use crate::receiver::ONE_STAY_S;
use crate::telegram::Identity;

/// Looks and their blocks agree on an end within this, seconds: two blocks of a tag's presence, and what a look leaves out at its
/// ends.
const AGREE_S: f64 = 0.03;

/// A strong tag that has not been there for so long has gone, seconds: two looks. A weak one may just not have been read: two close
/// looks are waited for, and what lies one of them apart is one visit.
const STRONG_GONE_S: f64 = 0.5;
/// See [`STRONG_GONE_S`]; a glance more, as it comes before the close look that ends with it.
const WEAK_GONE_S: f64 = 2.1;
/// See [`STRONG_GONE_S`].
const WEAK_APART_S: f64 = 1.0;
/// Spare decibels from which on a number is read in every look: the share unread falls below 10^-6 at half as many (derived: the odds
/// of single telegrams).
const STRONG_DB: f64 = 6.0;

/// No look sees further back than this, seconds: a close look and the time to the next.
const SEEN_S: f64 = 2.0;

/// Odds that are better by this are worth telling again.
const BETTER: f64 = 0.01;

/// Most numbers kept for the summary.
const MOST_NUMBERS: usize = 4096;

/// What is known of the tags that are there or were lately.
#[derive(Default)]
pub(super) struct Visits {
    open: Vec<Open>,
    doubts: Doubts,
    /// Visits told as ended that looks still see the end of: code, begin, end.
    closed: Vec<(u64, f64, f64)>,
    numbers: Vec<(Identity, u64)>,
    ended: u64,
}

struct Open {
    code: u64,
    visit: Visit,
    /// Odds last told.
    told: f64,
    /// Its end was seen.
    gone: bool,
}

impl Open {
    fn is_of(&self, heard: &Heard, stay: &HeardStay) -> bool {
        let apart_s = if self.is_strong() { 0.0 } else { WEAK_APART_S };
        let near_s = ONE_STAY_S.max(heard.pause_s()).max(apart_s) + AGREE_S;
        self.code == heard.code
            && self.visit.kind == heard.kind
            && stay.from_s < self.visit.to_s + near_s
            && self.visit.from_s < stay.to_s + near_s
    }

    fn extend(&mut self, heard: &Heard, stay: &HeardStay, (begin_s, now_s): (f64, f64)) {
        let visit = &mut self.visit;
        // Where a look holds the visit's begin, it holds more of what came after than the looks before it did. A stay that begins
        // elsewhere in it goes on after a gap.
        let same_begin = (stay.from_s - visit.from_s).abs() < ONE_STAY_S;
        visit.from_s = if stay.from_s > begin_s + AGREE_S && same_begin {
            stay.from_s
        } else {
            visit.from_s.min(stay.from_s)
        };
        let still = now_s - stay.to_s < AGREE_S.max(heard.pause_s());
        if still || stay.to_s > visit.to_s + ONE_STAY_S {
            visit.to_s = visit.to_s.max(stay.to_s);
            self.gone = !still;
        } else if !self.gone {
            visit.to_s = stay.to_s;
            self.gone = true;
        }
        visit.odds_wrong = visit.odds_wrong.min(heard.odds_wrong);
        if stay.spare_db > visit.spare_db {
            visit.spare_db = stay.spare_db;
            visit.ebn0_db = stay.ebn0_db;
            visit.depth = stay.depth;
            visit.angle_deg = stay.angle_deg;
        }
    }

    fn is_strong(&self) -> bool {
        self.visit.spare_db >= STRONG_DB
    }

    fn has_gone(&self, now_s: f64) -> bool {
        let wait_s = if self.is_strong() {
            STRONG_GONE_S
        } else {
            WEAK_GONE_S
        };
        now_s - self.visit.to_s >= wait_s
    }
}

impl Visits {
    /// Takes what a look over `span_s` gave, and tells what is proven; `odds` is what was asked for.
    pub fn look(&mut self, heard: &[Heard], span_s: (f64, f64), odds: f64, told: &mut Vec<Event>) {
        for number in heard {
            let since_s = if self.is_open(number) {
                span_s.0
            } else {
                match self.doubts.proven_since(number, span_s, odds) {
                    Some(since_s) => since_s,
                    None => continue,
                }
            };
            for stay in &number.stays {
                // A stay that goes on from looks before this one began in them.
                let mut stay = *stay;
                if stay.from_s < span_s.0 + AGREE_S {
                    stay.from_s = stay.from_s.min(since_s);
                }
                self.take(number, &stay, span_s, told);
            }
        }
        let now_s = span_s.1;
        let (gone, open) = std::mem::take(&mut self.open)
            .into_iter()
            .partition(|open| open.has_gone(now_s));
        self.open = open;
        self.close(gone, told);
        // The next close look may see as far back.
        self.closed.retain(|(_, _, to_s)| *to_s > now_s - SEEN_S);
    }

    /// Whether a visit of this number is open: it was proven.
    pub fn is_open(&self, heard: &Heard) -> bool {
        let same = |open: &Open| open.code == heard.code && open.visit.kind == heard.kind;
        self.open.iter().any(same)
    }

    /// Ends what is open.
    pub fn finish(&mut self, told: &mut Vec<Event>) {
        let open = std::mem::take(&mut self.open);
        self.close(open, told);
    }

    /// Visits told as ended.
    pub fn ended(&self) -> u64 {
        self.ended
    }

    /// Numbers read and the visits of each.
    pub fn numbers(&self) -> &[(Identity, u64)] {
        &self.numbers
    }

    fn take(&mut self, heard: &Heard, stay: &HeardStay, span_s: (f64, f64), told: &mut Vec<Event>) {
        if let Some(open) = self.open.iter_mut().find(|open| open.is_of(heard, stay)) {
            open.extend(heard, stay, span_s);
            if heard.odds_wrong < BETTER * open.told {
                open.told = heard.odds_wrong;
                told.push(read(heard, open.visit.from_s, span_s.1, true));
            }
            return;
        }
        let mut stay = *stay;
        // What is still seen of a visit that was told as ended is not told again.
        for &(code, from_s, to_s) in &self.closed {
            if code == heard.code && stay.from_s < to_s + AGREE_S && stay.to_s > from_s - AGREE_S {
                stay.from_s = stay.from_s.max(to_s);
            }
        }
        if stay.to_s - stay.from_s < ONE_STAY_S.min(0.9 * (span_s.1 - span_s.0))
            && self.closed.iter().any(|closed| closed.0 == heard.code)
        {
            return;
        }
        told.push(read(heard, stay.from_s, span_s.1, false));
        self.count(heard.identity);
        self.open.push(Open {
            code: heard.code,
            told: heard.odds_wrong,
            gone: span_s.1 - stay.to_s >= AGREE_S.max(heard.pause_s()),
            visit: Visit {
                from_s: stay.from_s,
                to_s: stay.to_s,
                identity: heard.identity,
                kind: heard.kind,
                depth: stay.depth,
                angle_deg: stay.angle_deg,
                ebn0_db: stay.ebn0_db,
                spare_db: stay.spare_db,
                odds_wrong: heard.odds_wrong,
            },
        });
    }

    fn close(&mut self, mut gone: Vec<Open>, told: &mut Vec<Event>) {
        gone.sort_by(|a, b| a.visit.to_s.total_cmp(&b.visit.to_s));
        for open in gone {
            self.ended += 1;
            self.closed
                .push((open.code, open.visit.from_s, open.visit.to_s));
            told.push(Event::VisitEnded(open.visit));
        }
    }

    fn count(&mut self, identity: Identity) {
        let known = self
            .numbers
            .iter_mut()
            .find(|(known, _)| *known == identity);
        if let Some((_, visits)) = known {
            *visits += 1;
        } else if self.numbers.len() < MOST_NUMBERS {
            self.numbers.push((identity, 1));
        }
    }
}

fn read(heard: &Heard, from_s: f64, time_s: f64, refined: bool) -> Event {
    Event::NumberRead(NumberRead {
        time_s,
        from_s,
        identity: heard.identity,
        kind: heard.kind,
        odds_wrong: heard.odds_wrong,
        refined,
    })
}
