//! Mean, spread and percentiles of Hounsfield units.

use crate::hole::HuStatistics;

/// Statistics of samples of equal volume; `None` when there is none.
///
/// Standard deviation with n - 1; percentiles linear between order statistics
/// (type 7 of Hyndman and Fan 1996, Am Stat 50:361): own convention, no
/// clinical standard found. Sums run in the order given.
pub fn statistics(mut samples: Vec<f64>) -> Option<HuStatistics> {
    let count = samples.len();
    if count == 0 {
        return None;
    }
    let mean = samples.iter().sum::<f64>() / count as f64;
    let squares: f64 = samples.iter().map(|hu| (hu - mean).powi(2)).sum();
    let sd = if count > 1 { (squares / (count - 1) as f64).sqrt() } else { 0.0 };
    samples.sort_unstable_by(f64::total_cmp);
    let percentile = |share: f64| {
        let at = share * (count - 1) as f64;
        let low = at.floor() as usize;
        let high = (low + 1).min(count - 1);
        samples[low] + (at - low as f64) * (samples[high] - samples[low])
    };
    Some(HuStatistics {
        mean,
        sd,
        min: samples[0],
        p10: percentile(0.1),
        p50: percentile(0.5),
        p90: percentile(0.9),
        max: samples[count - 1],
        samples: count,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_to_ten_have_numpys_numbers() {
        // numpy 2: mean 5.5, std(ddof=1) 3.0276503540974917,
        // percentile([10, 50, 90]) 1.9, 5.5, 9.1.
        let found = statistics((1..=10).map(f64::from).collect()).expect("not empty");
        let want = [5.5, 3.027_650_354_097_491_7, 1.9, 5.5, 9.1];
        let got = [found.mean, found.sd, found.p10, found.p50, found.p90];
        for (got, want) in got.iter().zip(want) {
            assert!((got - want).abs() < 1e-12, "{got} != {want}");
        }
    }

    #[test]
    fn nothing_has_no_statistics() {
        assert_eq!(statistics(Vec::new()), None);
    }
}
