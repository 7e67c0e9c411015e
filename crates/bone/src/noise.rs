//! How noisy a region is, and the same region calmed.

use rayon::prelude::*;

use crate::hu::Hu;
use crate::patch::Patch;
use crate::smooth::Smooth;

/// Noise from which contrast is looked for in a calmed region, HU: a vessel of
/// 200 HU still shows even at 20. Own choice, no source.
const NOISY_HU: f32 = 20.0;

/// Half-width of the box whose mean calms, mm: as narrow as the blur of a scan.
const CALM_MM: f64 = 1.2;

/// The region with every voxel the mean of a box around it, which takes two
/// thirds of the noise or more; `None` where the region is calm as it is.
pub(crate) fn calmed(patch: &Patch<'_>, noise_hu: f32) -> Option<Patch<'static>> {
    (noise_hu > NOISY_HU).then(|| {
        let rows: Vec<i16> =
            (0..patch.hu.rows()).flat_map(|row| patch.hu.row(row)).copied().collect();
        let reach = patch.spacing_mm.map(|mm| (CALM_MM / mm).round() as usize);
        patch.with(Hu::owned(Smooth { size: patch.size, reach }.of(&rows), patch.size))
    })
}

/// Standard deviation of the noise between neighbouring voxels of a row, HU:
/// from the median second difference of soft tissue, which edges hardly move.
pub(crate) fn noise_hu(patch: &Patch<'_>) -> f32 {
    /// Rows looked at: one in this many.
    const EVERY: usize = 16;
    let soft = 0..100_i16;
    let mut seconds: Vec<i32> = (0..patch.hu.rows() / EVERY)
        .into_par_iter()
        .flat_map_iter(|row| {
            let row: Vec<i16> = patch.hu.row(row * EVERY).to_vec();
            let soft = soft.clone();
            (1..row.len().saturating_sub(1)).filter_map(move |x| {
                let all = [row[x - 1], row[x], row[x + 1]];
                all.iter().all(|hu| soft.contains(hu)).then(|| {
                    let [a, b, c] = all.map(i32::from);
                    (a - 2 * b + c).abs()
                })
            })
        })
        .collect();
    if seconds.is_empty() {
        return 0.0;
    }
    let middle = seconds.len() / 2;
    let (_, median, _) = seconds.select_nth_unstable(middle);
    // The variance of a second difference is six times a voxel's; the median of
    // a normal deviate's size is 0.6745 of its standard deviation.
    *median as f32 / (0.6745 * 6.0_f32.sqrt())
}
