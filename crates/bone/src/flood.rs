//! Sharing out walls between bones: a flood from markers, brightest first.

use rayon::prelude::*;

use crate::gathered::any;
use crate::patch::{Patch, Step};

/// Brightness classes of the flood are this wide, HU.
const CLASS_HU: f32 = 8.0;
/// Brightest class starts here, HU; dense cortex above it is all one.
const TOP_HU: f32 = 1500.0;

/// Let markers grow through the voxels whose owner is `free` or above,
/// brightest voxels first, so that two bones meet in the darkest valley between
/// them (Meyer's watershed; ties go to whoever was queued first, in array
/// order).
///
/// - `seeds`: array positions of the markers, rising.
/// - `owners`: holds the markers and receives the result; 0 is nobody.
pub(crate) fn flood(patch: &Patch<'_>, seeds: &[u32], free: u8, owners: &mut [u8]) {
    let class = |at: usize| ((TOP_HU - patch.hu.at(at)) / CLASS_HU).max(0.0) as usize;
    let around = Around::of(patch);
    let is_rim = |at: &u32| around.any(owners, *at as usize, free);
    let rim: Vec<u32> = seeds.par_iter().copied().filter(is_rim).collect();
    let mut queues = Queues::default();
    for at in rim {
        queues.push(class(at as usize), at);
    }
    let mut level = 0;
    while level < queues.all.len() {
        let mut next = 0;
        while let Some(at) = queues.all[level].get(next).map(|at| *at as usize) {
            next += 1;
            let owner = owners[at];
            around.each(owners, at, free, |to, found| {
                *found = owner;
                queues.push(class(to).max(level), to as u32);
            });
        }
        queues.all[level] = Vec::new();
        level += 1;
    }
}

/// The 26 neighbours of voxels.
struct Around {
    size: [usize; 3],
    plane: usize,
    /// Faces first.
    steps: Vec<Step>,
    jumps: Vec<isize>,
}

impl Around {
    fn of(patch: &Patch<'_>) -> Self {
        let steps = patch.neighbours();
        let jumps = steps.iter().map(|step| step.jump).collect();
        Self { size: patch.size, plane: patch.plane(), steps, jumps }
    }

    fn index(&self, at: usize) -> [usize; 3] {
        let in_plane = at % self.plane;
        [in_plane % self.size[0], in_plane / self.size[0], at / self.plane]
    }

    fn is_interior(&self, index: [usize; 3]) -> bool {
        (0..3).all(|a| index[a] > 0 && index[a] + 1 < self.size[a])
    }

    /// Whether an owner beside a voxel is `least` or above.
    fn any(&self, owners: &[u8], at: usize, least: u8) -> bool {
        let index = self.index(at);
        if self.is_interior(index) {
            self.cube_holds(owners, at, least)
        } else {
            let beside = self.steps.iter().filter_map(|step| step.from(self.size, index, at));
            beside.into_iter().any(|to| owners[to] >= least)
        }
    }

    /// Visit the owners beside a voxel that are `least` or above, faces first.
    #[inline]
    fn each(&self, owners: &mut [u8], at: usize, least: u8, mut visit: impl FnMut(usize, &mut u8)) {
        let index = self.index(at);
        let interior = self.is_interior(index);
        if interior && !self.cube_holds(owners, at, least) {
            return;
        }
        let look = |to: usize| {
            if owners[to] >= least {
                visit(to, &mut owners[to]);
            }
        };
        if interior {
            self.jumps.iter().map(|jump| at.wrapping_add_signed(*jump)).for_each(look);
        } else {
            self.steps.iter().filter_map(|step| step.from(self.size, index, at)).for_each(look);
        }
    }

    /// Whether an owner is `least` or above in the cube of 27 around a voxel off
    /// the border.
    #[inline]
    fn cube_holds(&self, owners: &[u8], at: usize, least: u8) -> bool {
        let (columns, plane) = (self.size[0], self.plane);
        let in_row = |middle: usize| any(&owners[middle - 1..middle + 2], |owner| owner >= least);
        let in_slice = |middle: usize| any(&[middle - columns, middle, middle + columns], in_row);
        any(&[at - plane, at, at + plane], in_slice)
    }
}

/// One first-in, first-out queue a level.
#[derive(Default)]
struct Queues {
    all: Vec<Vec<u32>>,
}

impl Queues {
    fn push(&mut self, level: usize, at: u32) {
        if self.all.len() <= level {
            self.all.resize_with(level + 1, Vec::new);
        }
        self.all[level].push(at);
    }
}
