//! The few lowest and highest values, with whose they are.

/// Values kept at either end.
const KEPT: usize = 8;

/// A value and the hole it belongs to.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Extreme {
    pub(super) value: f64,
    pub(super) row: usize,
    pub(super) hole: String,
}

/// Lowest and highest, the farthest first; of equal ones the earlier row.
#[derive(Clone, Debug, Default)]
pub(super) struct Extremes {
    low: Vec<Extreme>,
    high: Vec<Extreme>,
}

impl Extremes {
    pub(super) fn add(&mut self, value: f64, row: usize, hole: &str) {
        keep(&mut self.low, value, row, hole, |a, b| a < b);
        keep(&mut self.high, value, row, hole, |a, b| a > b);
    }

    /// Those outside the fences.
    pub(super) fn outside(&self, (low, high): (f64, f64)) -> impl Iterator<Item = &Extreme> {
        let below = self.low.iter().filter(move |e| e.value < low);
        below.chain(self.high.iter().filter(move |e| e.value > high))
    }
}

fn keep(
    list: &mut Vec<Extreme>,
    value: f64,
    row: usize,
    hole: &str,
    farther: impl Fn(f64, f64) -> bool,
) {
    let at = list.iter().position(|e| farther(value, e.value)).unwrap_or(list.len());
    if at < KEPT {
        list.insert(at, Extreme { value, row, hole: hole.to_owned() });
        list.truncate(KEPT);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_farthest_are_kept_in_order() {
        let mut extremes = Extremes::default();
        for row in 1..=100 {
            extremes.add(f64::from((row * 37) % 100), row as usize, "a");
        }
        let outside: Vec<f64> = extremes.outside((3.0, 96.0)).map(|e| e.value).collect();
        assert_eq!(outside, [0.0, 1.0, 2.0, 99.0, 98.0, 97.0]);
    }
}
