//! How far a strength may be off, and what that comes from.

use super::Share;
use super::held::Slice;
use super::law::{CortexLaw, DensityLine, ShearLaw};
use super::params::StrengthParams;
use crate::robust::{Points, normals, quantile};

/// Shear strength summed over engaged length, N/mm: cancellous, cortical.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sums {
    pub(crate) cancellous: f64,
    pub(crate) cortical: f64,
}

impl Sums {
    pub(crate) fn total(self) -> f64 {
        self.cancellous + self.cortical
    }
}

/// Sum a law over slices.
pub(crate) fn sums(
    slices: &[Slice],
    line: &DensityLine,
    law: &ShearLaw,
    cortex: &CortexLaw,
) -> Sums {
    let mut sums = Sums::default();
    for slice in slices {
        let ha = line.ha_g_cm3(slice.hu);
        if slice.cortical {
            sums.cortical += slice.engaged_mm * cortex.shear_mpa(ha);
        } else {
            sums.cancellous += slice.engaged_mm * law.shear(ha).mpa;
        }
    }
    sums
}

/// Ends that move the thread's engaged length: shear strength at each, N/mm²
/// times the share in bone, and the end's standard deviation, mm.
pub(crate) type LooseEnds = [(f64, f64); 2];

/// 5th and 95th percentile of the summed shear, and what the spread is from.
pub(crate) struct Spread {
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) shares: Vec<Share>,
}

/// Propagate every error by seeded draws, together and one at a time.
///
/// A source's share is its variance alone over the sum of all such variances;
/// what two do together beyond that is left out.
pub(crate) fn spread(
    slices: &[Slice],
    ends: &LooseEnds,
    stream: u64,
    params: &StrengthParams,
    law: &ShearLaw,
) -> Spread {
    let points = Points::new(params.seed, stream);
    let line = &params.calibration;
    let middle = sums(slices, line, law, &params.cortex);
    let mut together = Vec::with_capacity(params.samples);
    let mut alone: [Vec<f64>; 4] = std::array::from_fn(|_| Vec::with_capacity(params.samples));
    for sample in 0..params.samples {
        let z = normals::<7>(&points, sample as u32);
        let drawn = DensityLine {
            slope: line.slope + z[0] * line.slope_sd,
            intercept: line.intercept + z[1] * line.intercept_sd,
            source: String::new(),
            ..*line
        };
        let calibrated = sums(slices, &drawn, law, &params.cortex);
        let factors = [(z[2] * law.spread).exp(), (z[3] * params.cortex.spread).exp()];
        let by_law = |of: Sums| of.cancellous * factors[0] + of.cortical * factors[1];
        let thread = (1.0 + z[4] * params.thread_sd).max(0.0);
        let moved = ends[0].0 * ends[0].1 * z[5] + ends[1].0 * ends[1].1 * z[6];
        together.push((by_law(calibrated) + moved).max(0.0) * thread);
        alone[0].push(calibrated.total());
        alone[1].push(by_law(middle));
        alone[2].push(middle.total() * thread);
        alone[3].push(middle.total() + moved);
    }
    together.sort_by(f64::total_cmp);
    let variances = alone.map(|values| variance(&values));
    let sum: f64 = variances.iter().sum();
    let names = ["calibration", "strength law", "thread shape", "ends of the bone"];
    let mut shares: Vec<Share> = names
        .into_iter()
        .zip(variances)
        .map(|(name, v)| (name, if sum > 0.0 { v / sum } else { 0.0 }))
        .collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    Spread { low: quantile(&together, 0.05), high: quantile(&together, 0.95), shares }
}

fn variance(values: &[f64]) -> f64 {
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count
}
