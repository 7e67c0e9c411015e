//! Air, fat and muscle of the patient, found in the scan.

use pilothole_volume::{NOTHING_I16, Volume, Voxels};
use rayon::prelude::*;

use super::calibration::{Reference, ReferenceMaterial};

/// Places looked at, at most.
const MOST_PLACES: usize = 600_000;
/// Fewest even places that make a reference.
const LEAST_PLACES: usize = 400;
/// A place is even where its six neighbours are this near to it, HU: four
/// times the noise of a usual pelvic scan; edges are steeper.
const EVEN_HU: f32 = 60.0;
/// Width of a peak, HU.
const WIDTH_HU: usize = 10;

/// Where the peak of each material is looked for, HU. No source but the
/// expected values at 80 to 140 kVp with 60 HU of a scanner's own error.
const WINDOWS: [(ReferenceMaterial, [f64; 2]); 3] = [
    (ReferenceMaterial::Air, [-1060.0, -900.0]),
    (ReferenceMaterial::Fat, [-150.0, -40.0]),
    (ReferenceMaterial::Muscle, [15.0, 95.0]),
];

/// Find what can be found of air, fat and muscle.
///
/// Even places, whose neighbours have nearly their HU, are counted in bins of
/// 1 HU; a material is the mean within 20 HU of its window's highest peak
/// (10 HU wide). A material with fewer than 400 even places, or whose peak
/// lies at its window's border, is left out. The storage's floor, which fills
/// what lies outside the scan's circle and cuts off darker air, is not air, nor
/// is a place beside it.
pub fn find_references(volume: &Volume) -> Vec<Reference> {
    let floor = lowest(volume.voxels());
    let counts = even_places(volume, floor);
    WINDOWS
        .iter()
        .filter_map(|(material, window)| {
            peak(&counts, *window).map(|hu| Reference { material: *material, hu })
        })
        .collect()
}

/// The lowest HU that was measured.
fn lowest(voxels: &Voxels) -> f32 {
    match voxels {
        Voxels::I16(all) => {
            let measured = all.par_iter().copied().filter(|hu| *hu != NOTHING_I16);
            measured.min().map_or(f32::INFINITY, f32::from)
        }
        Voxels::F32(all) => all.par_iter().copied().reduce(|| f32::INFINITY, f32::min),
    }
}

/// Counts of even places by HU, from `LOWEST` up.
const LOWEST: f32 = -1100.0;
const BINS: usize = 1300;

fn even_places(volume: &Volume, floor: f32) -> Vec<u32> {
    let size = volume.grid().size();
    let strides = [1, size[0], size[0] * size[1]];
    let voxels = volume.voxels();
    let mut counts = vec![0_u32; BINS];
    // An odd stride walks over all columns and rows.
    let stride = (voxels.len().div_ceil(MOST_PLACES)).max(1) | 1;
    for at in (0..voxels.len()).step_by(stride) {
        let index = [at % size[0], at / size[0] % size[1], at / strides[2]];
        if (0..3).any(|a| index[a] == 0 || index[a] + 1 >= size[a]) {
            continue;
        }
        let here = voxels.hu_or_nan(at);
        let bin = (here - LOWEST).round();
        if here.is_nan() || here <= floor || !(0.0..BINS as f32).contains(&bin) {
            continue;
        }
        let even = (0..3).all(|a| {
            [at - strides[a], at + strides[a]]
                .iter()
                .map(|to| voxels.hu_or_nan(*to))
                .all(|beside| beside > floor && (beside - here).abs() <= EVEN_HU)
        });
        if even {
            counts[bin as usize] += 1;
        }
    }
    counts
}

fn peak(counts: &[u32], [low, high]: [f64; 2]) -> Option<f64> {
    let bin = |hu: f64| (hu - f64::from(LOWEST)).round() as usize;
    let (from, to) = (bin(low), bin(high));
    let places: u32 = counts[from..to].iter().sum();
    if (places as usize) < LEAST_PLACES {
        return None;
    }
    let wide = |at: usize| counts[at - WIDTH_HU / 2..=at + WIDTH_HU / 2].iter().sum::<u32>();
    let mut top = from;
    for at in from..to {
        if wide(at) > wide(top) {
            top = at;
        }
    }
    if top < from + WIDTH_HU / 2 || top + WIDTH_HU / 2 >= to {
        return None;
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    let first = top - 2 * WIDTH_HU;
    for (step, count) in counts[first..=top + 2 * WIDTH_HU].iter().enumerate() {
        sum += f64::from(*count) * ((first + step) as f64 + f64::from(LOWEST));
        weight += f64::from(*count);
    }
    Some(sum / weight)
}

#[cfg(test)]
mod tests {
    use pilothole_volume::{Direction, Grid, PatientPoint};

    use super::*;

    /// Layers of 16 columns with noise of about 15 HU.
    fn layered(levels: &[f64]) -> Volume {
        let size = [16 * levels.len(), 24, 24];
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes(size, PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("square");
        let mut state = 7_u64;
        let mut noise = || {
            let mut sum = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
            }
            15.0 * sum
        };
        let hu = (0..grid.voxel_count())
            .map(|at| (levels[at % size[0] / 16] + noise()).round().max(-1024.0) as i16)
            .collect();
        Volume::new(grid, Voxels::I16(hu), None).expect("fits")
    }

    #[test]
    fn layers_of_air_fat_and_muscle_are_found_within_three_hounsfield_units() {
        let found = find_references(&layered(&[-998.0, -104.0, 57.0, 400.0]));
        let expected = [
            (ReferenceMaterial::Air, -998.0),
            (ReferenceMaterial::Fat, -104.0),
            (ReferenceMaterial::Muscle, 57.0),
        ];
        assert_eq!(found.len(), 3, "{found:?}");
        for (reference, (material, hu)) in found.iter().zip(expected) {
            assert_eq!(reference.material, material);
            assert!((reference.hu - hu).abs() < 3.0, "{reference:?}");
        }
    }

    #[test]
    fn what_is_not_there_is_not_found() {
        let found = find_references(&layered(&[-1024.0, 57.0, 400.0]));
        let materials: Vec<_> = found.iter().map(|r| r.material).collect();
        assert_eq!(materials, [ReferenceMaterial::Muscle]);
    }
}
