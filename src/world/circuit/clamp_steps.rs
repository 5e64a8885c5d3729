//! Steps with a clamp conducting: its shunt is the one it has at the end of the step (implicit, hence stable).

use super::clamp_level::{CLAMP_CYCLES, CLAMP_STEP, level_s};
use super::first_above::first_above;
use super::run::Runner;

impl Runner<'_> {
    /// Chooses each clamp's conductance for the step from now and shortens the step where needed.
    pub(super) fn clamp_levels(&mut self, horizon: &mut f64) -> Vec<u16> {
        let none = vec![0; self.levels.len()];
        if self.network.tags().iter().all(|tag| tag.clamp.is_none()) {
            return none;
        }
        let free = self.piece(&none);
        let cycle = self.cycle_s();
        let mut conducting = false;
        for (tag, parts) in self.network.tags().iter().enumerate() {
            let Some(clamp) = parts.clamp else { continue };
            let terms = self.tag_terms(&free, tag);
            if terms.analytic(self.now_s).norm() >= clamp.voltage_v {
                conducting = true;
            } else if let Some(at_s) = first_above(
                &terms,
                clamp.voltage_v * (1.0 + 1e-4),
                self.now_s,
                *horizon,
                cycle,
            ) {
                *horizon = horizon.min(at_s);
            }
        }
        if !conducting {
            self.clamp_cycles = CLAMP_CYCLES.0;
            return none;
        }
        let end_s = horizon.min(self.now_s + self.clamp_cycles * cycle);
        *horizon = end_s;
        let mut levels = self.levels.clone();
        for tag in 0..levels.len() {
            if self.network.tags()[tag].clamp.is_some() {
                levels[tag] = self.clamp_level(tag, &levels, end_s);
            }
        }
        self.clamp_cycles = if levels == self.levels {
            (2.0 * self.clamp_cycles).min(CLAMP_CYCLES.1)
        } else {
            CLAMP_CYCLES.0
        };
        levels
    }

    /// The lowest level at which the voltage at the end of the step is no more than the clamp has at that conductance.
    fn clamp_level(&mut self, tag: usize, levels: &[u16], end_s: f64) -> u16 {
        let network = self.network.clone();
        let table = network.clamp(tag).expect("asked for a tag with a clamp");
        let loss_s = network.tags()[tag].loss_s();
        let most = ((1.0 + table.most_s() / loss_s).ln() / CLAMP_STEP.ln()) as u16;
        let mut trial = levels.to_vec();
        let mut enough = |level: u16| {
            trial[tag] = level;
            let piece = self.piece(&trial);
            let peak = self.tag_terms(&piece, tag).analytic(end_s).norm();
            peak <= table.at(level_s(level, loss_s)).0
        };
        // Gallop from the last level, then bisect: low is never enough, high is.
        let start = levels[tag].min(most);
        let (mut low, mut high, mut stride) = (i32::from(start), i32::from(start), 1);
        if enough(start) {
            loop {
                low = high - stride;
                if low < 0 {
                    low = -1;
                    break;
                }
                if !enough(low as u16) {
                    break;
                }
                (high, stride) = (low, 2 * stride);
            }
        } else {
            loop {
                high = (low + stride).min(i32::from(most));
                if high == i32::from(most) || enough(high as u16) {
                    break;
                }
                (low, stride) = (high, 2 * stride);
            }
        }
        while high - low > 1 {
            let middle = (low + high) / 2;
            if enough(middle as u16) {
                high = middle
            } else {
                low = middle
            }
        }
        high as u16
    }
}
