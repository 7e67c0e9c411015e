//! Sharing out walls between bones: a flood from markers, brightest first.

use rayon::prelude::*;

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
    let around = Around { size: patch.size, plane: patch.plane(), steps: patch.neighbours() };
    let has_free = |at: u32| around.of(at as usize).any(|to| owners[to] >= free);
    let rim: Vec<u32> = seeds.par_iter().copied().filter(|at| has_free(*at)).collect();
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
            for to in around.of(at) {
                if owners[to] >= free {
                    owners[to] = owner;
                    queues.push(class(to).max(level), to as u32);
                }
            }
        }
        queues.all[level] = Vec::new();
        level += 1;
    }
}

/// The 26 neighbours of voxels.
struct Around {
    size: [usize; 3],
    plane: usize,
    steps: Vec<Step>,
}

impl Around {
    /// Array positions beside a voxel, faces first.
    #[inline]
    fn of(&self, at: usize) -> impl Iterator<Item = usize> + '_ {
        let in_plane = at % self.plane;
        let index = [in_plane % self.size[0], in_plane / self.size[0], at / self.plane];
        let interior = (0..3).all(|a| index[a] > 0 && index[a] + 1 < self.size[a]);
        self.steps.iter().filter_map(move |step| {
            if interior {
                Some(at.wrapping_add_signed(step.jump))
            } else {
                step.from(self.size, index, at)
            }
        })
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
