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
    let is_rim = |at: &u32| around.may_hold(owners, *at as usize, free).is_some();
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
struct Around<'a> {
    patch: &'a Patch<'a>,
    /// Faces first.
    steps: Vec<Step>,
}

impl<'a> Around<'a> {
    fn of(patch: &'a Patch<'a>) -> Self {
        Self { patch, steps: patch.neighbours() }
    }

    /// A voxel's index where an owner beside it may be `least` or above: off the
    /// border one is.
    #[inline]
    fn may_hold(&self, owners: &[u8], at: usize, least: u8) -> Option<[usize; 3]> {
        let index = self.patch.index(at);
        (!self.is_interior(index) || self.cube_holds(owners, at, least)).then_some(index)
    }

    fn is_interior(&self, index: [usize; 3]) -> bool {
        (0..3).all(|a| index[a] > 0 && index[a] + 1 < self.patch.size[a])
    }

    /// Visit the owners beside a voxel that are `least` or above, faces first.
    #[inline]
    fn each(&self, owners: &mut [u8], at: usize, least: u8, mut visit: impl FnMut(usize, &mut u8)) {
        let Some(index) = self.may_hold(owners, at, least) else { return };
        for to in self.steps.iter().filter_map(|step| step.from(self.patch.size, index, at)) {
            if owners[to] >= least {
                visit(to, &mut owners[to]);
            }
        }
    }

    /// Whether an owner is `least` or above in the cube of 27 around a voxel off
    /// the border.
    #[inline]
    fn cube_holds(&self, owners: &[u8], at: usize, least: u8) -> bool {
        let (columns, plane) = (self.patch.size[0], self.patch.plane());
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
