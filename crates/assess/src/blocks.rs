//! What blocks of a region's voxels hold, so that looks whose answer is known
//! need not be taken.

use std::ops::RangeInclusive;

use pilothole_volume::VoxelPoint;

use crate::block_grid::{BlockGrid, EDGE};
use crate::reach::reaches;
use crate::scene::Scene;

/// What is known of [`Scene::depth_in_voxel_or_nan`] at a position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Known {
    /// What it is: deep in the bone.
    Depth {
        /// Depth, mm.
        depth_mm: f64,
        /// How far around the position it is the same, voxels along every axis.
        alike_voxels: f64,
    },
    /// It is what the field is.
    Field,
    /// Nothing.
    Nothing,
}

/// The region of a scene in blocks.
#[derive(Clone, Debug)]
pub struct Blocks {
    grid: BlockGrid,
    all: Vec<Block>,
    /// The depth in blocks that lie deep in a bone.
    deepest_mm: f32,
}

#[derive(Clone, Copy, Debug, Default)]
struct Block {
    /// Whether any voxel is a bone's.
    bone: bool,
    /// Whether any voxel is metal.
    metal: bool,
    /// The bone where every voxel is its and as deep as any; else 0.
    deep_in: u8,
    /// Blocks in every direction that are deep in the same bone too.
    deep_reach: u8,
    /// The bone whose voxels alone lie here, beside bare ones; else 0.
    only: u8,
}

impl Blocks {
    /// Sum up a scene; `None` where slices are uneven.
    pub fn of(scene: &Scene<'_>) -> Option<Self> {
        let grid = BlockGrid::of(scene.grid())?;
        let count = grid.count();
        let place =
            |at: usize| [at % count[0], at / count[0] % count[1], at / (count[0] * count[1])];
        let has_metal = !scene.metal.is_empty();
        let found = grid.by_rows(|row| Block::row_of(scene, &grid, row, has_metal));
        let deepest_mm = found.iter().fold(0.0_f32, |most, (_, depth_mm)| most.max(*depth_mm));
        let mut all: Vec<Block> = found
            .into_iter()
            .map(|(block, depth_mm)| {
                let deep = depth_mm.total_cmp(&deepest_mm).is_eq();
                Block { deep_in: if deep { block.deep_in } else { 0 }, ..block }
            })
            .collect();
        // The last blocks may be cut short, so none reaches into them.
        let is_last = |at: usize| (0..3).any(|i| place(at)[i] + 1 == count[i]);
        let deep: Vec<u8> = all
            .iter()
            .enumerate()
            .map(|(at, block)| if is_last(at) { 0 } else { block.deep_in })
            .collect();
        for (block, reach) in all.iter_mut().zip(reaches(count, &deep)) {
            block.deep_reach = reach;
        }
        Some(Self { grid, all, deepest_mm })
    }

    /// Whether the depth in any bone can be above 0 at a lattice position;
    /// `true` where nothing is known.
    #[inline]
    pub(crate) fn may_be_bone(&self, at: VoxelPoint) -> bool {
        self.around(at).is_none_or(|block| block.bone)
    }

    /// Whether the voxel nearest a lattice position can be metal; `true` where
    /// nothing is known.
    #[inline]
    pub(crate) fn may_be_metal(&self, at: VoxelPoint) -> bool {
        self.around(at).is_none_or(|block| block.metal)
    }

    /// What is known of the depth in a bone at a lattice position.
    #[inline]
    pub(crate) fn depth_in(&self, bone: u8, at: VoxelPoint) -> Known {
        match self.around(at) {
            Some(block) if bone != 0 && block.deep_in == bone => Known::Depth {
                depth_mm: f64::from(self.deepest_mm),
                alike_voxels: (EDGE * usize::from(block.deep_reach)) as f64,
            },
            Some(block) if !block.bone || (bone != 0 && block.only == bone) => Known::Field,
            _ => Known::Nothing,
        }
    }

    /// How far from a lattice position neither bone nor metal comes, along a
    /// line that leads `per_mm` voxels a millimetre, mm; 0 where nothing is
    /// known.
    #[inline]
    pub(crate) fn bare_mm(&self, at: VoxelPoint, per_mm: [f64; 3]) -> f64 {
        let bare = self.around(at).is_some_and(|block| !block.bone && !block.metal);
        if bare { self.grid.stays_mm(at, per_mm) } else { 0.0 }
    }

    #[inline]
    fn around(&self, at: VoxelPoint) -> Option<&Block> {
        self.all.get(self.grid.at(at)?)
    }
}

impl Block {
    /// The blocks of a row, by its row and slice, each with its depth where that
    /// and the bone are the same everywhere; 0 elsewhere.
    fn row_of(
        scene: &Scene<'_>,
        grid: &BlockGrid,
        row: [usize; 2],
        has_metal: bool,
    ) -> Vec<(Self, f32)> {
        let columns = scene.grid().size()[0];
        // Of each column: the greatest label, the least and the least but 0, from
        // which 1 is taken so that 0 comes last.
        let (mut most, mut least, mut least_of_bone) =
            (vec![0; columns], vec![u8::MAX; columns], vec![u8::MAX; columns]);
        for start in grid.starts(row) {
            let labels = &scene.labels.values()[start..start + columns];
            for (((label, most), least), of_bone) in
                labels.iter().zip(&mut most).zip(&mut least).zip(&mut least_of_bone)
            {
                (*most, *least) = ((*most).max(*label), (*least).min(*label));
                *of_bone = (*of_bone).min(label.wrapping_sub(1));
            }
        }
        let of_columns = |(column, all): (usize, RangeInclusive<usize>)| {
            let most = most[all.clone()].iter().fold(0, |most, label| *label.max(&most));
            let lowest = |of: &[u8]| of.iter().fold(u8::MAX, |least, label| *label.min(&least));
            let only = lowest(&least_of_bone[all.clone()]).wrapping_add(1);
            let place = [column, row[0], row[1]];
            let deep = (most != 0 && lowest(&least[all]) == most)
                .then(|| Self::depth_mm(scene, grid, place))
                .flatten();
            let block = Self {
                bone: most != 0,
                metal: has_metal && grid.voxels(place).any(|index| scene.metal.has(index)),
                deep_in: if deep.is_some() { most } else { 0 },
                deep_reach: 0,
                only: if only == most { only } else { 0 },
            };
            (block, deep.unwrap_or(0.0))
        };
        grid.columns().enumerate().map(of_columns).collect()
    }

    /// The depth at all of a block's voxels, where that is the same.
    fn depth_mm(scene: &Scene<'_>, grid: &BlockGrid, block: [usize; 3]) -> Option<f32> {
        let depth_at = |index| scene.field.at(scene.grid().offset_of(index));
        let depth_mm = depth_at(block.map(|i| EDGE * i));
        let alike = |index| depth_at(index).total_cmp(&depth_mm).is_eq();
        grid.voxels(block).all(alike).then_some(depth_mm)
    }
}

#[cfg(test)]
mod tests {
    use pilothole_volume::{
        Direction, Field, Grid, Labels, Mask, Numbers, PatientPoint, Volume, Voxels,
    };

    use super::*;

    /// Two bones that touch at column 13, to row 17, in a box of no whole
    /// number of blocks.
    #[test]
    fn what_blocks_say_is_so() {
        let size = [30, 23, 15];
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes(size, PatientPoint([3.0; 3]), axes, [0.8, 0.8, 1.0]).expect("square");
        let index = |i: usize| [i % size[0], i / size[0] % size[1], i / (size[0] * size[1])];
        let count = grid.voxel_count();
        let labels: Vec<u8> = (0..count)
            .map(|i| {
                let [column, row, _] = index(i);
                if row > 17 { 0 } else { 1 + u8::from(column >= 13) }
            })
            .collect();
        let depth = |i: usize| 10_000 * (19 - index(i)[1] as i16).clamp(0, 3) as u16;
        let above = (0..count).map(depth).collect();
        let field = Numbers::Steps { above, least: -15_000, step: 1e-4 };
        let metal = Mask::where_true(size, |i| index(i) == [8, 20, 12]);
        let none = Mask::none(size);
        let volume = Volume::new(grid.clone(), Voxels::I16(vec![0; count]), None).expect("fits");
        let scene = Scene {
            volume: &volume,
            field: &Field::of(grid, field).expect("fits"),
            labels: &Labels::new(size, labels).expect("fits"),
            metal: &metal,
            cement: &none,
            untrusted: &metal,
            threshold_hu: 226.0,
            cortex: None,
        };
        let blocks = Blocks::of(&scene).expect("even slices");
        let (mut bare, mut clear, mut deep, mut wide, mut plain) = (0, 0, 0, 0, 0);
        for step in 0..40_000 {
            let along =
                |i: usize, stride: f64| (f64::from(step) * stride) % (size[i] as f64 + 1.0) - 1.0;
            let at = VoxelPoint([along(0, 0.3125), along(1, 0.171), along(2, 0.0625)]);
            let place = scene.grid().patient_from_voxel(at);
            if !blocks.may_be_bone(at) {
                bare += 1;
                assert!(scene.field.sample_voxel_or_nan(at) <= 0.0, "{at:?}");
            }
            if !blocks.may_be_metal(at) {
                clear += 1;
                assert!(!scene.metal.has_at(scene.grid(), place), "{at:?}");
            }
            for bone in 0..3 {
                let found = |at: VoxelPoint| scene.depth_in_voxel_or_nan(bone, at).to_bits();
                match blocks.depth_in(bone, at) {
                    Known::Depth { depth_mm, alike_voxels } => {
                        deep += 1;
                        wide += usize::from(alike_voxels > 0.0);
                        let same = [[0.0; 3], [1.0, -1.0, 0.7], [-0.9, 0.2, 1.0], [-1.0; 3]]
                            .map(|off| std::array::from_fn(|i| at.0[i] + alike_voxels * off[i]))
                            .map(|near| found(VoxelPoint(near)) == depth_mm.to_bits());
                        assert_eq!(same, [true; 4], "{at:?} {bone}");
                    }
                    Known::Field => {
                        plain += 1;
                        assert_eq!(scene.field.sample_voxel_or_nan(at).to_bits(), found(at));
                    }
                    Known::Nothing => (),
                }
            }
        }
        assert!(bare > 1_000 && clear > 20_000 && deep > 5_000, "{bare} {clear} {deep}");
        assert!(wide > 100 && plain > 1_000, "{wide} {plain}");
    }
}
