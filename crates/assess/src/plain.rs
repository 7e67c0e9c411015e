//! Where a scan is known to hold tissue alone, or air alone, so that a look for
//! metal, skin or its end need not be taken.

use std::ops::RangeInclusive;

use pilothole_volume::{NOTHING_I16, Volume, VoxelPoint, Voxels};

use crate::block_grid::BlockGrid;
use crate::params::PathParams;

/// A scan in blocks.
#[derive(Clone, Debug)]
pub(crate) struct Plain {
    grid: BlockGrid,
    all: Vec<Kind>,
}

/// What all of a block is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Unknown, or of several kinds.
    #[default]
    Any,
    /// Neither air nor metal, and measured.
    Tissue,
    /// Air, and measured.
    Air,
}

impl Plain {
    /// Sum up a scan of whole numbers; `None` for others, and where slices are
    /// uneven.
    pub(crate) fn of(volume: &Volume, params: &PathParams) -> Option<Self> {
        let Voxels::I16(all) = volume.voxels() else { return None };
        let grid = BlockGrid::of(volume.grid())?;
        let columns = volume.grid().size()[0];
        let all = grid.by_rows(|row| row_of_blocks(&grid, (all, columns), row, params));
        Some(Self { grid, all })
    }

    /// What lies around a lattice position, and how far it goes on along a line
    /// that leads `per_mm` voxels a millimetre, mm.
    #[inline]
    pub(crate) fn around(&self, at: VoxelPoint, per_mm: [f64; 3]) -> (Kind, f64) {
        let Some(kind) = self.grid.at(at).map(|block| self.all[block]) else {
            return (Kind::Any, 0.0);
        };
        (kind, if kind == Kind::Any { 0.0 } else { self.grid.stays_mm(at, per_mm) })
    }
}

/// A row of blocks, by its row and slice.
fn row_of_blocks(
    grid: &BlockGrid,
    (all, columns): (&[i16], usize),
    row: [usize; 2],
    params: &PathParams,
) -> Vec<Kind> {
    let (mut low, mut high) = (vec![i16::MAX; columns], vec![i16::MIN; columns]);
    for start in grid.starts(row) {
        for ((hu, low), high) in all[start..start + columns].iter().zip(&mut low).zip(&mut high) {
            (*low, *high) = ((*low).min(*hu), (*high).max(*hu));
        }
    }
    let kind = |voxels: RangeInclusive<usize>| {
        let low = low[voxels.clone()].iter().copied().fold(i16::MAX, i16::min);
        let high = high[voxels].iter().copied().fold(i16::MIN, i16::max);
        // A unit more than need be, for what interpolation rounds.
        let (least, most) = (f64::from(low) - 1.0, f64::from(high) + 1.0);
        if low == NOTHING_I16 || most >= params.metal_hu {
            Kind::Any
        } else if least >= params.air_hu {
            Kind::Tissue
        } else if most < params.air_hu {
            Kind::Air
        } else {
            Kind::Any
        }
    };
    grid.columns().map(kind).collect()
}

#[cfg(test)]
mod tests {
    use pilothole_volume::{Direction, Grid, PatientPoint};

    use super::*;

    #[test]
    fn what_is_said_of_a_line_is_so() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let size = [38, 29, 23];
        let grid =
            Grid::from_axes(size, PatientPoint([0.0; 3]), axes, [0.8, 0.8, 1.0]).expect("square");
        let hu = (0..grid.voxel_count()).map(|i| match i {
            9_000 => NOTHING_I16,
            12_345 => 3_000,
            _ if i % size[0] < 14 => -1_000 + (i % 7) as i16,
            _ => (i % 900) as i16 - 400,
        });
        let voxels = Voxels::I16(hu.collect());
        let volume = Volume::new(grid, voxels, None).expect("fits");
        let params = PathParams::OWN;
        let plain = Plain::of(&volume, &params).expect("even, of whole numbers");
        let (mut tissue, mut air) = (0, 0);
        for step in 0..20_000 {
            let along = |i: usize, stride: f64| (f64::from(step) * stride) % (size[i] as f64) - 0.5;
            let at = VoxelPoint([along(0, 0.3125), along(1, 0.171), along(2, 0.0625)]);
            let turn = f64::from(step);
            let per_mm = [turn.cos(), turn.sin(), (0.3 * turn).sin()];
            let (kind, far_mm) = plain.around(at, per_mm);
            for part in [0.0, 0.3, 0.7, 1.0 - 1e-9] {
                let place = std::array::from_fn(|i| at.0[i] + part * far_mm * per_mm[i]);
                let hu = volume.sample_voxel_or_nan(VoxelPoint(place));
                match kind {
                    Kind::Any => assert!(far_mm <= 0.0),
                    Kind::Tissue => assert!(hu >= params.air_hu && hu < params.metal_hu, "{hu}"),
                    Kind::Air => assert!(hu < params.air_hu, "{hu}"),
                }
            }
            tissue += usize::from(kind == Kind::Tissue);
            air += usize::from(kind == Kind::Air);
        }
        assert!(tissue > 5_000 && air > 3_000, "{tissue} {air}");
    }
}
