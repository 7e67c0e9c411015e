//! Errors against known answers, and against what varied.

use crate::cohort::manifest::Manifest;
use crate::cohort::table::{Cell, JUDGED};

/// Holes whose errors are kept for drawing; a cohort of phantoms is smaller.
const KEPT: usize = 20_000;

/// Columns of the manifest against which errors are drawn: as many as a
/// phantom's recipe can vary.
const DRAWN: usize = 15;

/// Errors of one hole, in the order of the judged columns.
#[derive(Clone, Debug)]
pub(super) struct HoleErrors {
    pub(super) row: usize,
    pub(super) errors: [Option<f64>; JUDGED.len()],
}

/// Errors of all holes with answers, in the order of rows.
#[derive(Clone, Debug, Default)]
pub(super) struct Errors {
    holes: Vec<HoleErrors>,
    pub(super) left_out: usize,
    /// Answers without a measurement, per judged column.
    pub(super) unmeasured: [usize; JUDGED.len()],
}

/// What is said of the errors of one column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Accuracy {
    pub(super) count: usize,
    pub(super) mean: f64,
    pub(super) sd: f64,
    pub(super) p5: f64,
    pub(super) p50: f64,
    pub(super) p95: f64,
    pub(super) worst: f64,
}

impl Errors {
    /// - `judged`: answer and error in turn, for each judged column.
    pub(super) fn add(&mut self, row: usize, judged: &[Cell]) {
        let mut errors = [None; JUDGED.len()];
        for (at, pair) in judged.chunks_exact(2).enumerate().take(JUDGED.len()) {
            errors[at] = pair[1].as_real();
            let is_known = pair[0] != Cell::Empty;
            self.unmeasured[at] += usize::from(is_known && errors[at].is_none());
        }
        if errors.iter().all(Option::is_none) {
            return;
        }
        if self.holes.len() < KEPT {
            self.holes.push(HoleErrors { row, errors });
        } else {
            self.left_out += 1;
        }
    }

    /// Bias and spread of one judged column.
    pub(super) fn accuracy(&self, column: usize) -> Option<Accuracy> {
        let mut values: Vec<f64> = self.holes.iter().filter_map(|h| h.errors[column]).collect();
        let count = values.len();
        if count == 0 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        let sd = (squares / (count.max(2) - 1) as f64).sqrt();
        values.sort_unstable_by(f64::total_cmp);
        let worst =
            if values[0].abs() > values[count - 1].abs() { values[0] } else { values[count - 1] };
        let at = |share| quantile(&values, share);
        Some(Accuracy { count, mean, sd, p5: at(0.05), p50: at(0.5), p95: at(0.95), worst })
    }

    /// Pairs of what varied and the error of one judged column.
    pub(super) fn against(
        &self,
        manifest: &Manifest,
        own: usize,
        column: usize,
    ) -> Vec<(f64, f64)> {
        let of = |hole: &HoleErrors| {
            let varied = manifest.rows().get(hole.row - 1)?.own.get(own)?;
            Some((varied.parse().ok()?, hole.errors[column]?))
        };
        self.holes.iter().filter_map(of).collect()
    }
}

/// The value below which a share of sorted values lies, between neighbours
/// linear.
pub(super) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let at = share * last as f64;
    let (lower, upper) = (sorted[at.floor() as usize], sorted[at.ceil() as usize]);
    lower + (upper - lower) * at.fract()
}

/// The group's own columns that hold finite numbers in every row, at least two
/// different ones.
pub(super) fn varied(manifest: &Manifest) -> Vec<usize> {
    let is_varied = |own: &usize| {
        let mut first = None;
        let mut differs = false;
        for row in manifest.rows() {
            match row.own[*own].parse::<f64>() {
                Ok(value) if value.is_finite() => {
                    differs |= first.is_some_and(|f: f64| f.total_cmp(&value).is_ne());
                    first.get_or_insert(value);
                }
                _ => return false,
            }
        }
        differs
    };
    (0..manifest.columns().len()).filter(is_varied).take(DRAWN).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bias_and_spread_of_known_errors() {
        let mut errors = Errors::default();
        for (row, error) in [-1.0, 0.0, 1.0, 2.0, 3.0].into_iter().enumerate() {
            let mut judged = vec![Cell::Empty; 2 * JUDGED.len()];
            judged[0] = Cell::Real(10.0);
            judged[1] = Cell::Real(error);
            judged[2] = Cell::Real(10.0);
            errors.add(row + 1, &judged);
        }
        let accuracy = errors.accuracy(0).expect("measured");
        assert_eq!(
            (accuracy.count, accuracy.mean, accuracy.p50, accuracy.worst),
            (5, 1.0, 1.0, 3.0)
        );
        assert!((accuracy.sd - 2.5_f64.sqrt()).abs() < 1e-12);
        assert_eq!((errors.accuracy(1), errors.unmeasured[1]), (None, 5));
    }
}
