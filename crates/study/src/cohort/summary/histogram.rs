//! Counts in bins of equal width, from which quantiles are read.

/// A distribution in constant memory.
#[derive(Clone, Debug)]
pub(super) struct Histogram {
    low: f64,
    width: f64,
    counts: Vec<u64>,
    count: u64,
    least: f64,
    most: f64,
}

impl Histogram {
    /// `(low, width, bins)`; what lies outside is counted in the end bins.
    pub(super) fn new((low, width, bins): (f64, f64, usize)) -> Self {
        let counts = vec![0; bins];
        Self { low, width, counts, count: 0, least: f64::INFINITY, most: f64::NEG_INFINITY }
    }

    pub(super) fn add(&mut self, value: f64) {
        let last = self.counts.len() - 1;
        let bin = (((value - self.low) / self.width).max(0.0) as usize).min(last);
        self.counts[bin] += 1;
        self.count += 1;
        self.least = self.least.min(value);
        self.most = self.most.max(value);
    }

    pub(super) fn count(&self) -> u64 {
        self.count
    }

    pub(super) fn least(&self) -> f64 {
        self.least
    }

    pub(super) fn most(&self) -> f64 {
        self.most
    }

    /// The value below which a share of the values lies.
    ///
    /// # Accuracy
    ///
    /// One bin's width, where values lie within the bins.
    pub(super) fn quantile(&self, share: f64) -> Option<f64> {
        let wanted = share * self.count as f64;
        let mut below = 0.0;
        for (bin, count) in self.counts.iter().enumerate().filter(|(_, c)| **c > 0) {
            let count = *count as f64;
            if below + count >= wanted {
                let within = ((wanted - below) / count).clamp(0.0, 1.0);
                let value = self.low + (bin as f64 + within) * self.width;
                return Some(value.clamp(self.least, self.most));
            }
            below += count;
        }
        (self.count > 0).then_some(self.most)
    }

    /// Quartiles widened by three times their distance on either side.
    pub(super) fn fences(&self) -> Option<(f64, f64)> {
        let (lower, upper) = (self.quantile(0.25)?, self.quantile(0.75)?);
        let reach = 3.0 * (upper - lower).max(self.width);
        Some((lower - reach, upper + reach))
    }

    /// Counts of `bars` bins over `range`, whole bins joined.
    pub(super) fn bars(&self, range: (f64, f64), bars: usize) -> Vec<u64> {
        let mut joined = vec![0; bars];
        let step = (range.1 - range.0) / bars as f64;
        for (bin, count) in self.counts.iter().enumerate() {
            let centre = self.low + (bin as f64 + 0.5) * self.width;
            let bar = ((centre - range.0) / step).clamp(0.0, bars as f64 - 1.0) as usize;
            joined[bar] += count;
        }
        joined
    }

    /// The bins' own bounds around the values.
    pub(super) fn range(&self) -> Option<(f64, f64)> {
        let first = self.counts.iter().position(|c| *c > 0)?;
        let last = self.counts.iter().rposition(|c| *c > 0)?;
        let at = |bin: usize| self.low + bin as f64 * self.width;
        Some((at(first), at(last + 1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_right_to_a_bin() {
        let mut histogram = Histogram::new((0.0, 0.5, 300));
        for step in 0..1000 {
            histogram.add(f64::from(step) / 10.0);
        }
        for share in [0.0, 0.1, 0.25, 0.5, 0.9, 1.0] {
            let value = histogram.quantile(share).expect("not empty");
            assert!((value - share * 100.0).abs() <= 0.5, "{share}: {value}");
        }
        assert_eq!(histogram.bars((0.0, 100.0), 10), [100; 10]);
        assert_eq!(Histogram::new((0.0, 1.0, 3)).quantile(0.5), None);
    }

    #[test]
    fn what_lies_outside_is_counted_at_the_ends() {
        let mut histogram = Histogram::new((0.0, 1.0, 3));
        for value in [-5.0, 1.5, 99.0] {
            histogram.add(value);
        }
        assert_eq!(histogram.bars((0.0, 3.0), 3), [1, 1, 1]);
        assert_eq!((histogram.least(), histogram.most()), (-5.0, 99.0));
    }
}
