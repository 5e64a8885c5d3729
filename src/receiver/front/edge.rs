//! What the front end makes of a sudden change: its step response, on a fine grid of field cycles.

/// Grid points per field cycle; between them a straight line.
const PER_CYCLE: usize = 16;

/// Step response of a symmetric low-pass: 0 long before the step, ½ at it, 1 long after.
#[derive(Clone, Debug)]
pub struct Edge {
    /// Response from −reach to +reach cycles.
    values: Vec<f64>,
    reach: f64,
}

impl Edge {
    /// The running integral of an impulse response that is zero beyond ±`reach` cycles.
    pub fn of(impulse: impl Fn(f64) -> f64, reach: f64) -> Self {
        let steps = (2.0 * reach * PER_CYCLE as f64).ceil() as usize + 1;
        let width = 2.0 * reach / steps as f64;
        let mut total = 0.0;
        let mut values = Vec::with_capacity(steps + 1);
        values.push(0.0);
        for i in 0..steps {
            total += impulse(-reach + (i as f64 + 0.5) * width) * width;
            values.push(total);
        }
        values.iter_mut().for_each(|value| *value /= total);
        Self { values, reach }
    }

    /// A step that takes no time at all.
    pub fn ideal() -> Self {
        Self {
            values: vec![0.0, 1.0],
            reach: 1e-9,
        }
    }

    /// Cycles before and after the step beyond which nothing of it is seen.
    pub fn reach(&self) -> f64 {
        self.reach
    }

    /// Response `time` cycles after the step.
    pub fn at(&self, time: f64) -> f64 {
        let steps = self.values.len() - 1;
        let place = (time + self.reach) / (2.0 * self.reach) * steps as f64;
        if place <= 0.0 {
            return 0.0;
        }
        if place >= steps as f64 {
            return 1.0;
        }
        let i = place as usize;
        let share = place - i as f64;
        self.values[i] + share * (self.values[i + 1] - self.values[i])
    }
}
