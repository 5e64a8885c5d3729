//! Lines of equal value through a grid, by linear interpolation (marching squares, textbook).

/// Values on a grid: `columns` along x, row after row along y.
#[derive(Clone, Debug)]
pub struct Grid {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
    pub values: Vec<f64>,
}

impl Grid {
    fn value(&self, column: usize, row: usize) -> f64 {
        self.values[row * self.x.len() + column]
    }

    /// Value between the points of the grid, linear in both directions; `x` and `y` are brought into the grid.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let place = |axis: &[f64], at: f64| {
            let last = axis.len().saturating_sub(2);
            let index = (axis.partition_point(|&a| a <= at).max(1) - 1).min(last);
            match axis.get(index + 1) {
                Some(next) => (
                    index,
                    ((at - axis[index]) / (next - axis[index])).clamp(0.0, 1.0),
                ),
                None => (index, 0.0),
            }
        };
        let ((column, along), (row, up)) = (place(&self.x, x), place(&self.y, y));
        let next = |index: usize, axis: &[f64]| (index + 1).min(axis.len() - 1);
        let (right, above) = (next(column, &self.x), next(row, &self.y));
        let mix = |a: f64, b: f64, share: f64| {
            if share == 0.0 { a } else { a + share * (b - a) }
        };
        mix(
            mix(self.value(column, row), self.value(right, row), along),
            mix(self.value(column, above), self.value(right, above), along),
            up,
        )
    }

    /// Pieces of the line where the grid has this value.
    pub fn contour(&self, level: f64) -> Vec<[(f64, f64); 2]> {
        let mut pieces = Vec::new();
        for row in 1..self.y.len() {
            for column in 1..self.x.len() {
                let corners = [
                    (column - 1, row - 1),
                    (column, row - 1),
                    (column, row),
                    (column - 1, row),
                ];
                let crossings: Vec<(f64, f64)> = (0..4)
                    .filter_map(|side| self.crossing(corners[side], corners[(side + 1) % 4], level))
                    .collect();
                // A saddle has four; which two belong together is open, and either choice is within the cell.
                for pair in crossings.chunks_exact(2) {
                    pieces.push([pair[0], pair[1]]);
                }
            }
        }
        pieces
    }

    fn crossing(&self, from: (usize, usize), to: (usize, usize), level: f64) -> Option<(f64, f64)> {
        let (a, b) = (self.value(from.0, from.1), self.value(to.0, to.1));
        if (a < level) == (b < level) {
            return None;
        }
        let share = ((level - a) / (b - a)).clamp(0.0, 1.0);
        let between = |axis: &[f64], a: usize, b: usize| axis[a] + share * (axis[b] - axis[a]);
        Some((
            between(&self.x, from.0, to.0),
            between(&self.y, from.1, to.1),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(value: impl Fn(f64, f64) -> f64) -> Grid {
        let axis: Vec<f64> = (0..=40).map(|n| f64::from(n) * 0.05 - 1.0).collect();
        let values = axis
            .iter()
            .flat_map(|&y| axis.iter().map(move |&x| (x, y)))
            .map(|(x, y)| value(x, y))
            .collect();
        Grid {
            x: axis.clone(),
            y: axis,
            values,
        }
    }

    /// Linear interpolation of x² + y² between points 0.05 apart errs by 0.05²/8 each way: at radius 0.6 the line is off by 5e-4 at most, and
    /// its pieces add up to the circumference.
    #[test]
    fn a_circle() {
        let pieces = grid(|x, y| x * x + y * y).contour(0.36);
        let length: f64 = pieces
            .iter()
            .map(|[a, b]| (a.0 - b.0).hypot(a.1 - b.1))
            .sum();
        for (x, y) in pieces.into_iter().flatten() {
            assert!((x.hypot(y) - 0.6).abs() < 6e-4, "{x} {y}");
        }
        assert!(
            (length / (std::f64::consts::TAU * 0.6) - 1.0).abs() < 2e-3,
            "{length}"
        );
        assert!(grid(|x, _| x).contour(2.0).is_empty());
    }

    /// A plane is met exactly, at its edges too; outside the nearest edge counts.
    #[test]
    fn a_plane_is_exact() {
        let plane = grid(|x, y| 2.0 * x - 3.0 * y + 0.5);
        for (x, y) in [(0.013, -0.37), (-1.0, 1.0), (1.0, 1.0)] {
            assert!((plane.at(x, y) - (2.0 * x - 3.0 * y + 0.5)).abs() < 1e-12);
        }
        assert_eq!(plane.at(5.0, 0.0), plane.at(1.0, 0.0));
    }
}
