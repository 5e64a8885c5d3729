//! Numbers look after look → visits, each told when it begins and when it has ended.

use super::doubt::{Demand, Doubts, power_of};
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
    numbers: Vec<Known>,
    ended: u64,
}

/// A number in the summary.
struct Known {
    identity: Identity,
    visits: u64,
    /// When the last of its visits that ended did.
    until_s: f64,
}

struct Open {
    code: u64,
    visit: Visit,
    /// Odds last told.
    told: f64,
    /// Its end was seen.
    gone: bool,
    /// Length of the sum that it was read in, seconds; 0 where a look read it. The next sum comes when as much again has passed.
    summed_s: f64,
}

impl Open {
    fn is_of(&self, heard: &Heard, stay: &HeardStay) -> bool {
        let apart_s = if self.is_strong() { 0.0 } else { WEAK_APART_S };
        let near_s = ONE_STAY_S.max(heard.pause_s()).max(apart_s) + AGREE_S;
        // What a sum read is there on; where in it, nothing says.
        let near_s = near_s + self.summed_s;
        self.has_number_of(heard)
            && stay.from_s < self.visit.to_s + near_s
            && self.visit.from_s < stay.to_s + near_s
    }

    fn has_number_of(&self, heard: &Heard) -> bool {
        self.code == heard.code && self.visit.kind == heard.kind
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
        self.take_better(heard, stay);
    }

    /// A longer sum gave it again.
    fn sum_up(&mut self, heard: &Heard, stay: &HeardStay) {
        let visit = &mut self.visit;
        visit.from_s = visit.from_s.min(stay.from_s);
        visit.to_s = visit.to_s.max(stay.to_s);
        self.summed_s = self.summed_s.max(stay.to_s - stay.from_s);
        self.take_better(heard, stay);
    }

    fn take_better(&mut self, heard: &Heard, stay: &HeardStay) {
        let visit = &mut self.visit;
        visit.odds_wrong = visit.odds_wrong.min(heard.odds_wrong);
        if stay.spare_db > visit.spare_db {
            visit.spare_db = stay.spare_db;
            visit.ebn0_db = stay.ebn0_db;
            visit.depth = stay.depth;
            visit.angle_deg = stay.angle_deg;
        }
    }

    /// Tells it again where it is surer by far than it was told.
    fn tell_if_surer(&mut self, heard: &Heard, now_s: f64, told: &mut Vec<Event>) {
        if heard.odds_wrong < BETTER * self.told {
            self.told = heard.odds_wrong;
            told.push(read(heard, self.visit.from_s, now_s, true));
        }
    }

    fn is_strong(&self) -> bool {
        self.visit.spare_db >= STRONG_DB
    }

    fn has_gone(&self, now_s: f64) -> bool {
        let wait_s = if self.is_strong() {
            STRONG_GONE_S
        } else {
            WEAK_GONE_S + self.summed_s
        };
        now_s - self.visit.to_s >= wait_s
    }
}

impl Visits {
    /// Takes what a look over `span_s` gave, and tells what is proven.
    pub fn look(
        &mut self,
        heard: &[Heard],
        span_s: (f64, f64),
        demand: Demand,
        told: &mut Vec<Event>,
    ) {
        for number in heard {
            let since_s = if self.is_open(number) {
                span_s.0
            } else {
                match self.doubts.proven_since(number, span_s, demand) {
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

    /// Takes what sums over many looks gave, of which the last ended at `now_s`. A number that looks gave as well is known better from
    /// them.
    pub fn sums(&mut self, heard: &[Heard], now_s: f64, demand: Demand, told: &mut Vec<Event>) {
        for number in heard {
            let Some(stay) = number.stays.first() else {
                continue;
            };
            let open = (self.open.iter_mut()).find(|open| open.has_number_of(number));
            if let Some(open) = open {
                if open.summed_s > 0.0 {
                    open.sum_up(number, stay);
                    open.tell_if_surer(number, now_s, told);
                }
                continue;
            }
            let before =
                |known: &Known| known.identity == number.identity && known.until_s > stay.from_s;
            if demand.is_met_alone_by(power_of(number.odds_wrong))
                && !self.numbers.iter().any(before)
            {
                let summed_s = stay.to_s - stay.from_s;
                self.begin(number, stay, now_s, summed_s, told);
            }
        }
    }

    /// Whether a visit of this number is open: it was proven.
    pub fn is_open(&self, heard: &Heard) -> bool {
        self.open.iter().any(|open| open.has_number_of(heard))
    }

    /// Whether a visit is open that only sums gave.
    pub fn go_on_in_sums(&self) -> bool {
        self.open.iter().any(|open| open.summed_s > 0.0)
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
    pub fn numbers(&self) -> Vec<(Identity, u64)> {
        let numbers = self.numbers.iter();
        numbers
            .map(|known| (known.identity, known.visits))
            .collect()
    }

    fn take(&mut self, heard: &Heard, stay: &HeardStay, span_s: (f64, f64), told: &mut Vec<Event>) {
        if let Some(open) = self.open.iter_mut().find(|open| open.is_of(heard, stay)) {
            open.extend(heard, stay, span_s);
            open.tell_if_surer(heard, span_s.1, told);
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
        self.begin(heard, &stay, span_s.1, 0.0, told);
    }

    fn begin(
        &mut self,
        heard: &Heard,
        stay: &HeardStay,
        now_s: f64,
        summed_s: f64,
        told: &mut Vec<Event>,
    ) {
        told.push(read(heard, stay.from_s, now_s, false));
        self.count(heard.identity);
        self.open.push(Open {
            code: heard.code,
            told: heard.odds_wrong,
            gone: now_s - stay.to_s >= AGREE_S.max(heard.pause_s()),
            summed_s,
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
            let known =
                (self.numbers.iter_mut()).find(|known| known.identity == open.visit.identity);
            if let Some(known) = known {
                known.until_s = known.until_s.max(open.visit.to_s);
            }
            self.closed
                .push((open.code, open.visit.from_s, open.visit.to_s));
            told.push(Event::VisitEnded(open.visit));
        }
    }

    fn count(&mut self, identity: Identity) {
        let known = (self.numbers.iter_mut()).find(|known| known.identity == identity);
        if let Some(known) = known {
            known.visits += 1;
        } else if self.numbers.len() < MOST_NUMBERS {
            self.numbers.push(Known {
                identity,
                visits: 1,
                until_s: f64::NEG_INFINITY,
            });
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
