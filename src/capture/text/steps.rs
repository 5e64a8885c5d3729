//! Sample rate from a time column, however few digits it has.

/// Gathers a time column: a straight line through all of it, and the extremes of its steps.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Steps {
    count: u64,
    /// Rows with a time among them.
    known: u64,
    first: f64,
    last: f64,
    /// Sums over row number and time, both counted from the first.
    sum_i: f64,
    sum_ii: f64,
    sum_t: f64,
    sum_it: f64,
    smallest: f64,
    largest: f64,
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
    #[inline]
    pub(super) fn add(&mut self, time_s: Option<f64>) -> Result<(), Backwards> {
        let index = self.count as f64;
        self.count += 1;
        let Some(time_s) = time_s else { return Ok(()) };
        if self.known == 0 {
            self.first = time_s;
            self.smallest = f64::INFINITY;
        } else {
            let step = time_s - self.last;
            if step < 0.0 {
                return Err(Backwards {
                    before_s: self.last,
                    after_s: time_s,
                });
            }
            if step > 0.0 {
                self.smallest = self.smallest.min(step);
            }
            self.largest = self.largest.max(step);
        }
        self.known += 1;
        self.last = time_s;
        let t = time_s - self.first;
        self.sum_i += index;
        self.sum_ii += index * index;
        self.sum_t += t;
        self.sum_it += index * t;
        Ok(())
    }

    /// Rows without a time.
    pub(super) fn missing(&self) -> u64 {
        self.count - self.known
    }

    pub(super) fn span_s(&self) -> f64 {
        self.last - self.first
    }

    /// `None` with fewer than two different times.
    pub(super) fn pace(&self) -> Option<Pace> {
        if self.known < 2 || self.largest <= 0.0 {
            return None;
        }
        let n = self.known as f64;
        // Slope of the least-squares line t = a + b·i.
        let slope = (n * self.sum_it - self.sum_i * self.sum_t)
            / (n * self.sum_ii - self.sum_i * self.sum_i);
        let start_s = self.first + (self.sum_t - slope * self.sum_i) / n;
        let rate_hz = 1.0 / slope;
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
            steps.add(Some(time)).unwrap();
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

    #[test]
    fn a_gap_is_seen() {
        let got = pace((0..1000).filter(|&i| i != 400).map(|i| f64::from(i) * 1e-6));
        assert!(!got.steady, "{got:?}");
    }
}
