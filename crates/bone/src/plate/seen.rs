//! A plate seen through blur, beside the samples of a profile.

use super::Unknowns;
use super::solve::Left;
use super::step::{LANES, steps};

/// What a plate through a blur leaves unexplained of samples of position, mm,
/// and HU.
///
/// - `slopes`: from a sample's position and how the model's value there changes
///   with each of the plate's unknowns, how it changes with those of the fit.
#[inline]
pub(super) fn look<const N: usize>(
    samples: &[(f64, f64)],
    u: &Unknowns,
    sigma_mm: f64,
    left: &mut Left<N>,
    slopes: impl Fn(f64, Unknowns) -> [f64; N],
) {
    let scale = std::f64::consts::SQRT_2 * sigma_mm;
    left.cost = 0.0;
    left.samples.clear();
    for some in samples.chunks(LANES) {
        let t: [f64; LANES] = std::array::from_fn(|lane| some[lane.min(some.len() - 1)].0);
        let (up, up_slope) = steps(&t.map(|t| (t - u[0]) / scale));
        let (down, down_slope) = steps(&t.map(|t| (t - u[1]) / scale));
        for (lane, (t, hu)) in some.iter().enumerate() {
            let (up, down) = (up[lane], down[lane]);
            let value = u[2] + (u[4] - u[2]) * up + (u[3] - u[4]) * down;
            let of_plate = [
                -(u[4] - u[2]) * up_slope[lane] / scale,
                -(u[3] - u[4]) * down_slope[lane] / scale,
                1.0 - up,
                down,
                up - down,
            ];
            let residual = hu - value;
            left.cost += residual * residual;
            left.samples.push((residual, slopes(*t, of_plate)));
        }
    }
}
