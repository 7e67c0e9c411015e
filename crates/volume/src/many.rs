//! Many trilinear samples at once.

use crate::field::{Field, Numbers, of_steps};
use crate::lanes::{Cells, LANES, Places};
use crate::space::VoxelPoint;
use crate::volume::{NOTHING_I16, Volume, Voxels};

impl Volume {
    /// As [`Volume::sample_voxel_or_nan`] at `count` lattice positions, to the
    /// last digit.
    pub fn samples_or_nan(&self, count: usize, at: impl Fn(usize) -> VoxelPoint) -> Vec<f64> {
        let mut out = Vec::with_capacity(count.next_multiple_of(LANES));
        for first in (0..count).step_by(LANES) {
            let places = Places::of(|lane| at((first + lane).min(count - 1)));
            out.extend(self.lanes_or_nan(&places));
        }
        out.truncate(count);
        out
    }

    #[inline]
    fn lanes_or_nan(&self, places: &Places) -> [f64; LANES] {
        let together = match self.voxels() {
            Voxels::I16(all) => Cells::around(self.grid(), places, all)
                .filter(|cells| !holds_nothing(&cells.corners))
                .map(|cells| cells.blended(f64::from)),
            Voxels::F32(all) => {
                Cells::around(self.grid(), places, all).map(|cells| cells.blended(f64::from))
            }
        };
        together.unwrap_or_else(|| {
            std::array::from_fn(|lane| self.sample_voxel_or_nan(places.at(lane)))
        })
    }
}

impl Field {
    /// As [`Field::sample_voxel_or_nan`] at several lattice positions, to the
    /// last digit.
    #[inline]
    pub fn lanes_or_nan(&self, places: &Places) -> [f64; LANES] {
        let together = match self.numbers() {
            Numbers::F32(all) => {
                Cells::around(self.grid(), places, all).map(|cells| cells.blended(f64::from))
            }
            Numbers::Steps { above, least, step } => Cells::around(self.grid(), places, above)
                .map(|cells| cells.blended(|above| f64::from(of_steps(above, *least, *step)))),
        };
        together.unwrap_or_else(|| {
            std::array::from_fn(|lane| self.sample_voxel_or_nan(places.at(lane)))
        })
    }
}

/// Whether nothing was measured at a corner.
#[expect(clippy::needless_bitwise_bool, reason = "a branch would part the lanes")]
#[inline]
fn holds_nothing(corners: &[[i16; LANES]; 8]) -> bool {
    corners.iter().flatten().fold(false, |found, hu| found | (*hu == NOTHING_I16))
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
        let depths = hu.iter().map(|hu| 0.01 * f32::from(*hu)).collect();
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
        let above = hu.iter().map(|hu| hu.wrapping_sub(NOTHING_I16).cast_unsigned()).collect();
        let steps = Numbers::Steps { above, least: NOTHING_I16, step: 1e-4 };
        for numbers in [steps, Numbers::F32(depths)] {
            let field = Field::of(grid.clone(), numbers).expect("fits");
            for first in (0..123).step_by(LANES) {
                let found = field.lanes_or_nan(&Places::of(|lane| places(first + lane)));
                for (lane, found) in found.into_iter().enumerate() {
                    let alone = field.sample_voxel_or_nan(places(first + lane));
                    assert_eq!(found.to_bits(), alone.to_bits(), "{first} {lane}");
                }
            }
        }
    }
}
