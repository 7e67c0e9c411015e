//! Blur by cortices of any thickness: plates whose blur is fitted with them.

use pilothole_volume::{Direction, Volume};
use rayon::prelude::*;

use super::{OnSurface, POSSIBLE_MM, STEP_MM, profile};
use crate::plate::fit_blur;

/// Places looked at.
const PLACES: usize = 400;
/// Fewest plates that make a measurement; own choice.
const LEAST_PLATES: usize = 40;
/// How far outside and inside of the surface a cortex's peak may lie, mm.
const PEAK_MM: [f64; 2] = [1.5, 3.0];
/// How far a side of the cortex is looked at, in the distance at which its peak
/// has fallen by half.
const SIDES: f64 = 3.0;
/// Rise behind a valley, as a share of the cortex's own, that is another
/// structure and ends the profile.
const OTHER_SHARE: f64 = 0.15;

/// The blur over plates, mm, and how many they are; `None` with too few of them.
///
/// Their lower quartile: cancellous bone behind a cortex makes a plate look more
/// blurred than it is, nothing less. On an open scan whose thick cortices show
/// 0.92 mm and whose skin 0.83 to 0.95 mm the quartile is 1.03 mm, the median
/// 1.13 mm.
///
/// - `level_hu`: what a cortex is likely to read.
/// - `slice_mm2`: what slices add to the blur's square along a normal, mm².
pub(super) fn quartile(
    volume: &Volume,
    points: &[OnSurface],
    level_hu: f64,
    slice_mm2: impl Fn(Direction) -> f64 + Sync,
) -> Option<(f64, usize)> {
    let stride = points.len().div_ceil(PLACES).max(1);
    let mut sigmas: Vec<f64> = points
        .par_iter()
        .step_by(stride)
        .filter_map(|point| {
            let sigma_mm = fit_blur(&around_the_peak(&profile(volume, *point)?), level_hu)?;
            Some((sigma_mm * sigma_mm - slice_mm2(point.1)).max(0.0).sqrt())
        })
        .filter(|sigma_mm| POSSIBLE_MM.contains(sigma_mm))
        .collect();
    if sigmas.len() < LEAST_PLATES {
        return None;
    }
    sigmas.sort_by(f64::total_cmp);
    Some((sigmas[sigmas.len() / 4], sigmas.len()))
}

/// The part of a profile that holds the cortex at its middle with some of both
/// its sides, as positions, mm, and HU.
fn around_the_peak(hu: &[f64]) -> Vec<(f64, f64)> {
    let middle = hu.len() / 2;
    let [outside, inside] = PEAK_MM.map(|mm| (mm / STEP_MM) as usize);
    let mut top = middle - outside;
    for at in middle - outside..=middle + inside {
        if hu[at] > hu[top] {
            top = at;
        }
    }
    let outwards: Vec<f64> = hu[..=top].iter().rev().copied().collect();
    let from = top - side(&outwards);
    let to = top + side(&hu[top..]);
    (from..=to).map(|at| (at as f64 * STEP_MM, hu[at])).collect()
}

/// How many steps from a peak on belong to its side.
fn side(hu: &[f64]) -> usize {
    let peak = hu[0];
    let half = 0.5 * (peak + hu.iter().copied().fold(peak, f64::min));
    let half_at = hu.iter().position(|hu| *hu < half).unwrap_or(0);
    let most = ((SIDES * half_at as f64) as usize).min(hu.len() - 1);
    let (mut lowest, mut at) = (peak, 0);
    for (step, hu) in hu.iter().enumerate().take(most + 1) {
        if *hu < lowest {
            (lowest, at) = (*hu, step);
        } else if *hu > lowest + OTHER_SHARE * (peak - lowest) {
            return at;
        }
    }
    most
}
