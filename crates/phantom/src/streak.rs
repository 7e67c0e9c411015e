//! Streaks that metal throws, slice by slice.
//!
//! Each slice's metal is projected along parallel rays; what a scanner would
//! measure beyond a limit is lost (too few photons get through), and the loss
//! is reconstructed by filtered back projection and added to the slice. Rays
//! through two pieces lose most, so the dark band lies between them.
//!
//! # References
//!
//! Kak AC, Slaney M 1988, Principles of Computerized Tomographic Imaging,
//! chapter 3 (filtered back projection, equation 61 for the filter).

use pilothole_volume::Grid;
use rayon::prelude::*;

/// HU above which a voxel counts as metal.
const METAL_HU: f32 = 2500.0;
/// Attenuation of water at some 70 keV, per mm.
const WATER_PER_MM: f64 = 0.019;
/// Share of the square of a metal projection that is lost: beam hardening to
/// second order. Twice it, twice the streaks.
const LOSS: f64 = 0.06;
/// Projections over half a turn.
const ANGLES: usize = 180;

/// Add streaks to blurred averages, in HU.
///
/// The slice's own rows and columns count as square to each other.
pub(crate) fn add_streaks(hu: &mut [f32], grid: &Grid) {
    let [columns, rows, _] = grid.size();
    let spacing = grid.spacing_mm();
    hu.par_chunks_mut(columns * rows).for_each(|slice| {
        let metal: Vec<(f64, f64, f64)> = slice
            .iter()
            .enumerate()
            .filter(|(_, hu)| **hu > METAL_HU)
            .map(|(i, hu)| {
                let (x, y) = place(i, columns, rows, spacing);
                (x, y, WATER_PER_MM * f64::from(*hu) / 1000.0)
            })
            .collect();
        if metal.is_empty() {
            return;
        }
        let pitch = spacing[0].min(spacing[1]);
        let reach = 0.5 * (columns as f64 * spacing[0]).hypot(rows as f64 * spacing[1]);
        let bins = 2 * (reach / pitch).ceil() as usize + 3;
        let filter = ramp(bins, pitch);
        let lost: Vec<Vec<f64>> = (0..ANGLES)
            .map(|angle| {
                let turn = std::f64::consts::PI * angle as f64 / ANGLES as f64;
                filtered(&metal, turn, (bins, pitch, spacing[0] * spacing[1]), &filter)
            })
            .collect();
        let middle = (bins / 2) as f64;
        for (i, voxel) in slice.iter_mut().enumerate() {
            let (x, y) = place(i, columns, rows, spacing);
            let mut sum = 0.0;
            for (angle, line) in lost.iter().enumerate() {
                let turn = std::f64::consts::PI * angle as f64 / ANGLES as f64;
                let (sin, cos) = turn.sin_cos();
                let at = (x * cos + y * sin) / pitch + middle;
                let bin = (at.floor().max(0.0) as usize).min(bins - 2);
                let part = at - bin as f64;
                sum += line[bin] * (1.0 - part) + line[bin + 1] * part;
            }
            let per_mm = sum * std::f64::consts::PI / ANGLES as f64;
            *voxel -= (1000.0 * per_mm / WATER_PER_MM) as f32;
        }
    });
}

/// A voxel's place in its slice, mm from the middle.
fn place(index: usize, columns: usize, rows: usize, spacing: [f64; 3]) -> (f64, f64) {
    let x = ((index % columns) as f64 - 0.5 * (columns as f64 - 1.0)) * spacing[0];
    let y = ((index / columns) as f64 - 0.5 * (rows as f64 - 1.0)) * spacing[1];
    (x, y)
}

/// What one projection loses, filtered.
fn filtered(
    metal: &[(f64, f64, f64)],
    turn: f64,
    (bins, pitch, area): (usize, f64, f64),
    filter: &[f64],
) -> Vec<f64> {
    let (sin, cos) = turn.sin_cos();
    let mut projection = vec![0.0; bins];
    for (x, y, per_mm) in metal {
        // A voxel's attenuation, shared by the two nearest rays.
        let at = (x * cos + y * sin) / pitch + (bins / 2) as f64;
        let bin = (at.floor().max(0.0) as usize).min(bins - 2);
        let part = at - bin as f64;
        let line = per_mm * area / pitch;
        projection[bin] += line * (1.0 - part);
        projection[bin + 1] += line * part;
    }
    for value in &mut projection {
        *value = LOSS * *value * *value;
    }
    let hit: Vec<(usize, f64)> =
        projection.iter().copied().enumerate().filter(|(_, v)| *v > 0.0).collect();
    (0..bins)
        .map(|i| hit.iter().map(|(k, v)| v * filter[i.abs_diff(*k)]).sum::<f64>() * pitch)
        .collect()
}

/// The ramp filter on whole bins, by distance.
fn ramp(bins: usize, pitch: f64) -> Vec<f64> {
    (0..bins)
        .map(|n| {
            if n == 0 {
                1.0 / (4.0 * pitch * pitch)
            } else if n % 2 == 0 {
                0.0
            } else {
                let n = n as f64 * std::f64::consts::PI * pitch;
                -1.0 / (n * n)
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_volume::{Direction, PatientPoint};

    #[test]
    fn a_dark_band_lies_between_two_rods_and_little_elsewhere() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes([81, 61, 1], PatientPoint([0.0; 3]), axes, [1.0; 3])
            .expect("a lattice");
        let mut hu = vec![40.0_f32; grid.voxel_count()];
        for row in 27..34_usize {
            for column in (17..24).chain(57..64) {
                hu[row * 81 + column] = 8000.0;
            }
        }
        let before = hu.clone();
        add_streaks(&mut hu, &grid);
        let change = |column: usize, row: usize| hu[row * 81 + column] - before[row * 81 + column];
        assert!(change(40, 30) < -80.0, "{}", change(40, 30));
        assert!(change(40, 5).abs() < 0.4 * change(40, 30).abs(), "{}", change(40, 5));
        let clean: Vec<f32> = vec![40.0; grid.voxel_count()];
        let mut same = clean.clone();
        add_streaks(&mut same, &grid);
        assert_eq!(clean, same);
    }
}
