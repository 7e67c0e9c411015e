//! Many trilinear samples at once: first all corners are fetched, which do not
//! wait for each other, then all are blended.

use crate::space::VoxelPoint;
use crate::trilinear::{Cell, blended};
use crate::volume::{NOTHING_I16, Volume, Voxels};

/// Samples that are fetched together.
const LANES: usize = 16;

/// Corners of as many cells, and where in them the samples lie.
struct Cells<T> {
    corners: [[T; LANES]; 8],
    parts: [[f64; LANES]; 3],
}

impl Volume {
    /// As [`Volume::sample_voxel_or_nan`] at `count` lattice positions, to the
    /// last digit.
    pub fn samples_or_nan(&self, count: usize, at: impl Fn(usize) -> VoxelPoint) -> Vec<f64> {
        match self.voxels() {
            Voxels::I16(all) => {
                self.fill(all, count, at, f64::from, |corners| corners.contains(&NOTHING_I16))
            }
            Voxels::F32(all) => self.fill(all, count, at, f64::from, |_| false),
        }
    }

    fn fill<T: Copy + Default>(
        &self,
        all: &[T],
        count: usize,
        at: impl Fn(usize) -> VoxelPoint,
        number: impl Fn(T) -> f64,
        has_gap: impl Fn(&[T; 8]) -> bool,
    ) -> Vec<f64> {
        let mut out = Vec::with_capacity(count);
        let mut cells = Cells { corners: [[T::default(); LANES]; 8], parts: [[0.0; LANES]; 3] };
        for first in (0..count).step_by(LANES) {
            let lanes = LANES.min(count - first);
            let mut alone = [false; LANES];
            for (lane, alone) in alone.iter_mut().enumerate().take(lanes) {
                let place = at(first + lane);
                let held = self.grid().holds(place);
                let cell = held.then(|| Cell::between(self.grid(), place)).flatten();
                match cell.map(|cell| (cell.corners(all), cell.parts)) {
                    Some((corners, parts)) if !has_gap(&corners) => cells.put(lane, corners, parts),
                    _ => *alone = true,
                }
            }
            let mut block = cells.blended(&number);
            for lane in (0..lanes).filter(|lane| alone[*lane]) {
                block[lane] = self.sample_voxel_or_nan(at(first + lane));
            }
            out.extend_from_slice(&block[..lanes]);
        }
        out
    }
}

impl<T: Copy> Cells<T> {
    #[inline]
    fn put(&mut self, lane: usize, corners: [T; 8], parts: [f64; 3]) {
        for (all, corner) in self.corners.iter_mut().zip(corners) {
            all[lane] = corner;
        }
        for (all, part) in self.parts.iter_mut().zip(parts) {
            all[lane] = part;
        }
    }

    fn blended(&self, number: &impl Fn(T) -> f64) -> [f64; LANES] {
        let mut out = [0.0; LANES];
        for (lane, value) in out.iter_mut().enumerate() {
            let parts = self.parts.map(|of_axis| of_axis[lane]);
            *value = blended(|i| number(self.corners[i][lane]), parts);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Grid;
    use crate::space::{Direction, PatientPoint};

    #[test]
    fn many_are_as_each_alone() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes([7, 6, 5], PatientPoint([0.0; 3]), axes, [0.5, 1.0, 2.0])
            .expect("square");
        let hu: Vec<i16> =
            (0..210_i16).map(|i| if i == 66 { NOTHING_I16 } else { i * 37 % 211 }).collect();
        let numbers = hu.iter().map(|hu| f32::from(*hu) + 0.25).collect();
        let places = |i: usize| {
            let step = i as f64;
            VoxelPoint([step * 0.0625 - 0.5, step * 0.05 - 0.25, (step * 0.37) % 4.5])
        };
        for voxels in [Voxels::I16(hu.clone()), Voxels::F32(numbers)] {
            let volume = Volume::new(grid.clone(), voxels, None).expect("fits");
            for (i, found) in volume.samples_or_nan(123, places).into_iter().enumerate() {
                assert_eq!(found.to_bits(), volume.sample_voxel_or_nan(places(i)).to_bits(), "{i}");
            }
        }
    }
}
