//! Sample rate from a time column, however few digits it has.

use multiversion::multiversion;

/// A step this many times the largest before it is a leap: the times go on evenly behind it. Rounding to the column's
/// digits makes steps of nothing and of one digit, never of four.
const LEAP: f64 = 4.0;
/// Rows, and rises of the time, from which one knows what its steps are.
const ROWS_KNOWN: u64 = 64;
/// See [`ROWS_KNOWN`].
const RISES_KNOWN: f64 = 8.0;

/// Gathers a time column: straight lines of one slope through all of it between leaps, and the extremes of its steps.
#[derive(Clone, Debug, Default)]
pub(super) struct Steps {
    count: u64,
    /// Rows with a time among them.
    known: u64,
    first: f64,
    last: f64,
    /// Where the time leaps.
    leaps: Vec<Leap>,
    /// Row and time of the stretch behind the last leap.
    stretch_row: u64,
    stretch_s: f64,
    /// Rows with a time in it.
    stretch_known: u64,
    /// Sums of squares and products of the stretches before it.
    before_ii: f64,
    before_it: f64,
    /// Mean row and time of the first stretch, where it is another one.
    first_mean: Option<(f64, f64)>,
    /// At least so many steps above zero.
    rises: f64,
    /// Sums over row number and time of the stretch, both counted from its first.
    sum_i: f64,
    sum_ii: f64,
    sum_t: f64,
    sum_it: f64,
    smallest: f64,
    largest: f64,
}

/// A place where rows are missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Leap {
    /// First row behind it.
    pub(super) row: u64,
    /// Its time.
    pub(super) at_s: f64,
    /// Length of the step to it.
    pub(super) step_s: f64,
}

/// The time column does not rise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Backwards {
    pub(super) before_s: f64,
    pub(super) after_s: f64,
}

/// What a time column says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pace {
    pub(super) rate_hz: f64,
    pub(super) start_s: f64,
    /// Relative uncertainty of the rate, from the resolution of the column.
    pub(super) spread: f64,
    /// All steps are what rounding to the column's digits makes of equal ones.
    pub(super) steady: bool,
    pub(super) largest_s: f64,
}

impl Steps {
    /// The times of further rows, NaN where none stands; the error comes with the place of the row.
    pub(super) fn extend(&mut self, times: &[f64]) -> Result<(), (usize, Backwards)> {
        let mut tried = false;
        for (row, &time_s) in times.iter().enumerate() {
            if self.known > 0
                && !std::mem::replace(&mut tried, true)
                && let Some(all) = self.with_rising(&times[row..])
            {
                *self = all;
                break;
            }
            self.add(time_s).map_err(|backwards| (row, backwards))?;
        }
        Ok(())
    }

    /// With further times, if all of them are there and none goes back: the usual case at once.
    fn with_rising(&self, times: &[f64]) -> Option<Self> {
        let (first, last) = (*times.first()?, *times.last()?);
        let sums = rising(times, self.stretch_s);
        let seam = first - self.last;
        let mut rise = self.smallest.min(sums.smallest);
        if seam > 0.0 {
            rise = rise.min(seam);
        }
        // Leaps are to be looked for row by row.
        if sums.largest.max(seam) > LEAP * rise {
            return None;
        }
        let mut all = self.clone();
        // Sums over what is missing or without bounds are neither.
        if !(sums.t + sums.it).is_finite() || seam < 0.0 || sums.least < 0.0 {
            return None;
        }
        if seam > 0.0 {
            all.smallest = all.smallest.min(seam);
        }
        all.smallest = all.smallest.min(sums.smallest);
        all.largest = all.largest.max(seam).max(sums.largest);
        let (from, n) = ((all.count - all.stretch_row) as f64, times.len() as f64);
        let (sum_i, sum_ii) = (n * (n - 1.0) / 2.0, (n - 1.0) * n * (2.0 * n - 1.0) / 6.0);
        all.sum_i += n * from + sum_i;
        all.sum_ii += n * from * from + 2.0 * from * sum_i + sum_ii;
        all.sum_t += sums.t;
        all.sum_it += from * sums.t + sums.it;
        all.count += times.len() as u64;
        all.known += times.len() as u64;
        all.stretch_known += times.len() as u64;
        all.rises += (last - first) / all.largest;
        all.last = last;
        Some(all)
    }

    /// The time of one further row, NaN where none stands.
    fn add(&mut self, time_s: f64) -> Result<(), Backwards> {
        let row = self.count;
        self.count += 1;
        if time_s.is_nan() {
            return Ok(());
        }
        if self.known == 0 {
            self.first = time_s;
            self.stretch_row = row;
            self.stretch_s = time_s;
            self.smallest = f64::INFINITY;
        } else {
            let step = time_s - self.last;
            if step < 0.0 {
                return Err(Backwards {
                    before_s: self.last,
                    after_s: time_s,
                });
            }
            if self.stretch_known >= ROWS_KNOWN
                && self.rises >= RISES_KNOWN
                && step > LEAP * self.largest
            {
                self.leap(row, time_s, step);
            } else {
                if step > 0.0 {
                    self.smallest = self.smallest.min(step);
                    self.rises += 1.0;
                }
                self.largest = self.largest.max(step);
            }
        }
        self.known += 1;
        self.stretch_known += 1;
        self.last = time_s;
        let (t, index) = (time_s - self.stretch_s, (row - self.stretch_row) as f64);
        self.sum_i += index;
        self.sum_ii += index * index;
        self.sum_t += t;
        self.sum_it += index * t;
        Ok(())
    }

    /// Begins another stretch.
    fn leap(&mut self, row: u64, at_s: f64, step_s: f64) {
        self.leaps.push(Leap { row, at_s, step_s });
        let n = self.stretch_known as f64;
        self.before_ii += self.sum_ii - self.sum_i * self.sum_i / n;
        self.before_it += self.sum_it - self.sum_i * self.sum_t / n;
        self.first_mean
            .get_or_insert((self.sum_i / n, self.sum_t / n));
        (self.stretch_row, self.stretch_s, self.stretch_known) = (row, at_s, 0);
        (self.sum_i, self.sum_ii, self.sum_t, self.sum_it) = (0.0, 0.0, 0.0, 0.0);
    }

    /// Where the time leaps, in order.
    pub(super) fn leaps(&self) -> &[Leap] {
        &self.leaps
    }

    /// Rows without a time.
    pub(super) fn missing(&self) -> u64 {
        self.count - self.known
    }

    /// Rows so far.
    pub(super) fn count(&self) -> u64 {
        self.count
    }

    pub(super) fn span_s(&self) -> f64 {
        self.last - self.first
    }

    /// `None` with fewer than two different times.
    pub(super) fn pace(&self) -> Option<Pace> {
        if self.known < 2 || self.largest <= 0.0 {
            return None;
        }
        let n = self.stretch_known as f64;
        // Slope of the least-squares lines t = a + b·i, one b for all of them.
        let slope = (self.before_it + self.sum_it - self.sum_i * self.sum_t / n)
            / (self.before_ii + self.sum_ii - self.sum_i * self.sum_i / n);
        let (row, time) = self.first_mean.unwrap_or((self.sum_i / n, self.sum_t / n));
        let start_s = self.first + time - slope * row;
        let rate_hz = 1.0 / slope;
        // Times so large that their sums overflow: no clock counts like that.
        if !(slope.is_finite() && start_s.is_finite()) {
            return None;
        }
        // Steps of equal intervals d rounded to multiples of q are below d + q; a lost row makes 2·d of it.
        let steady = self.missing() > 0 || self.largest < slope + 0.9 * self.smallest;
        // Rounding puts up to q on either end; the smallest step is q or more.
        let resolution = if self.smallest < 0.5 * self.largest || self.largest > 1.5 * slope {
            self.smallest
        } else {
            (self.largest - self.smallest).max(slope * 1e-6)
        };
        let spread = (resolution / self.span_s()).max(1e-12);
        Some(Pace {
            rate_hz: rounded(rate_hz),
            // A line through rounded times is better than the first of them, but not where there is no rounding.
            start_s: if self.smallest > 0.9 * slope {
                self.first
            } else {
                start_s
            },
            spread,
            steady: steady && slope > 0.0 && rate_hz.is_finite(),
            largest_s: self.largest,
        })
    }
}

/// Of a stretch of times: sums over time and over row times time, and the extremes of the steps within it.
struct Rising {
    t: f64,
    it: f64,
    least: f64,
    /// … of the steps above zero.
    smallest: f64,
    largest: f64,
}

/// Rows count from the stretch's first, times from `first`.
#[multiversion(targets("x86_64+avx2+fma", "aarch64+neon"))]
fn rising(times: &[f64], first: f64) -> Rising {
    const LANES: usize = 8;
    let (mut t, mut it) = ([0.0; LANES], [0.0; LANES]);
    let (mut least, mut smallest) = ([f64::INFINITY; LANES], [f64::INFINITY; LANES]);
    let mut largest = [0.0; LANES];
    let mut row: [f64; LANES] = std::array::from_fn(|lane| (lane + 1) as f64);
    let later = times.get(1..).unwrap_or_default();
    for (before, now) in times.chunks(LANES).zip(later.chunks(LANES)) {
        for (lane, (before, now)) in before.iter().zip(now).enumerate() {
            let (step, since) = (now - before, now - first);
            t[lane] += since;
            it[lane] += row[lane] * since;
            row[lane] += LANES as f64;
            // The library's minimum minds values that are none and takes longer.
            let lower = |old: f64, new: f64| if new < old { new } else { old };
            let rise = if step > 0.0 { step } else { f64::INFINITY };
            least[lane] = lower(least[lane], step);
            smallest[lane] = lower(smallest[lane], rise);
            largest[lane] = -lower(-largest[lane], -step);
        }
    }
    let lowest = |values: [f64; LANES]| values.into_iter().fold(f64::INFINITY, f64::min);
    Rising {
        t: times.first().map_or(0.0, |time| time - first) + t.iter().sum::<f64>(),
        it: it.iter().sum(),
        least: lowest(least),
        smallest: lowest(smallest),
        largest: largest.into_iter().fold(0.0, f64::max),
    }
}

/// Takes off the last digits that come from summing up: six digits if they say the same to 1e-9.
fn rounded(rate_hz: f64) -> f64 {
    let short: f64 = format!("{rate_hz:.5e}").parse().unwrap_or(rate_hz);
    if (short / rate_hz - 1.0).abs() < 1e-9 {
        short
    } else {
        rate_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pace(times: impl Iterator<Item = f64>) -> Pace {
        let mut steps = Steps::default();
        for time in times {
            steps.add(time).unwrap();
        }
        steps.pace().unwrap()
    }

    #[test]
    fn times_with_too_few_digits_still_give_the_rate() {
        // 0.4 µs steps written with 1 µs digits: the line through n rounded times is off by at most about q/T.
        let got = pace((0..5000).map(|i| (f64::from(i) * 0.4).round() * 1e-6));
        assert!(
            (got.rate_hz / 2.5e6 - 1.0).abs() < 1e-6 / (5000.0 * 0.4e-6),
            "{got:?}"
        );
        assert!(got.steady, "{got:?}");
    }

    #[test]
    fn exact_times_give_a_round_rate() {
        let got = pace((0..1000).map(|i| -0.001 + f64::from(i) / 500e3));
        assert_eq!((got.rate_hz, got.start_s), (500e3, -0.001));
        assert!(got.steady);
    }

    /// The sums behind the line overflow: no pace, rather than one that is no number.
    #[test]
    fn times_beyond_all_clocks_give_no_pace() {
        for scale in [1e290, 1e300, 1e303] {
            let mut steps = Steps::default();
            (0..20_000).for_each(|i| steps.add(f64::from(i) * scale).unwrap());
            if let Some(pace) = steps.pace() {
                assert!(
                    pace.rate_hz.is_finite() && pace.start_s.is_finite(),
                    "{pace:?}"
                );
            }
        }
    }

    /// Times with gaps, steps of nothing and rows without a time, taken in stretches and one by one.
    #[test]
    fn stretches_say_the_same_as_single_rows() {
        let times: Vec<f64> = (0..3000)
            .map(|i| match i {
                1500 => f64::NAN,
                _ => (f64::from(i + i / 1000) * 0.4).round() * 1e-6,
            })
            .collect();
        let (mut single, mut stretches) = (Steps::default(), Steps::default());
        times.iter().for_each(|time| single.add(*time).unwrap());
        for stretch in times.chunks(700) {
            stretches.extend(stretch).unwrap();
        }
        assert_eq!(single.missing(), stretches.missing());
        let (a, b) = (single.pace().unwrap(), stretches.pace().unwrap());
        assert_eq!((a.largest_s, a.steady), (b.largest_s, b.steady));
        // Sums of some thousand terms in another order.
        assert!((a.rate_hz / b.rate_hz - 1.0).abs() < 1e-12, "{a:?} {b:?}");
        assert!((a.spread / b.spread - 1.0).abs() < 1e-12 && a.start_s == b.start_s);
        let mut back = times[..1000].to_vec();
        back[900] = 0.0;
        let (row, backwards) = Steps::default().extend(&back).unwrap_err();
        assert_eq!((row, backwards.after_s), (900, 0.0));
        assert_eq!(backwards.before_s, times[899]);
    }

    #[test]
    fn a_gap_is_seen() {
        let got = pace((0..1000).filter(|&i| i != 400).map(|i| f64::from(i) * 1e-6));
        assert!(!got.steady, "{got:?}");
    }

    /// Segments of a memory: each even in itself. The rate is theirs; in one go and row by row.
    #[test]
    fn leaps_leave_the_rate_alone() {
        let times: Vec<f64> = (0..9000)
            .map(|i| f64::from(i) * 2.5e-6 + f64::from(i / 3000) * 0.0123)
            .map(|t| (t * 1e8).round() * 1e-8)
            .collect();
        let (mut rows, mut stretches) = (Steps::default(), Steps::default());
        times.iter().for_each(|time| rows.add(*time).unwrap());
        for stretch in times.chunks(1234) {
            stretches.extend(stretch).unwrap();
        }
        for steps in [rows, stretches] {
            let got = steps.pace().unwrap();
            // Rounded to 1e-8 s over 7.5 ms.
            assert!((got.rate_hz / 4e5 - 1.0).abs() < 1e-8 / 7.5e-3, "{got:?}");
            assert!(got.steady && got.start_s.abs() < 1e-8, "{got:?}");
            let places: Vec<u64> = steps.leaps().iter().map(|leap| leap.row).collect();
            assert_eq!(places, [3000, 6000]);
            assert!((steps.leaps()[0].step_s - 0.012_302_5).abs() < 2e-8);
        }
    }
}
