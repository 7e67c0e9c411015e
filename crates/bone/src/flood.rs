//! Sharing out walls between bones: a flood from markers, brightest first.

use crate::patch::Patch;

/// Brightness classes of the flood are this wide, HU.
const CLASS_HU: f32 = 8.0;
/// Brightest class starts here, HU; dense cortex above it is all one.
const TOP_HU: f32 = 1500.0;

/// Let markers grow through the voxels that `may` be owned, brightest voxels
/// first, so that two bones meet in the darkest valley between them
/// (Meyer's watershed; ties go to whoever was queued first, in array order).
///
/// - `seeds`: array positions of the markers, rising.
/// - `owners`: holds the markers and receives the result; 0 is nobody.
pub(crate) fn flood(patch: &Patch, seeds: &[u32], may: impl Fn(usize) -> bool, owners: &mut [u8]) {
    let class = |at: usize| ((TOP_HU - patch.hu[at]) / CLASS_HU).max(0.0) as usize;
    let neighbours = patch.neighbours();
    let mut queues = Queues::default();
    for at in seeds {
        queues.push(class(*at as usize), *at);
    }
    let mut level = 0;
    while level < queues.all.len() {
        let mut next = 0;
        while let Some(at) = queues.all[level].get(next).map(|at| *at as usize) {
            next += 1;
            let index = patch.index(at);
            let interior = patch.is_interior(index);
            for step in &neighbours {
                let to = if interior {
                    at.wrapping_add_signed(step.jump)
                } else if let Some(to) = step.from(patch.size, index, at) {
                    to
                } else {
                    continue;
                };
                if owners[to] == 0 && may(to) {
                    owners[to] = owners[at];
                    queues.push(class(to).max(level), to as u32);
                }
            }
        }
        queues.all[level] = Vec::new();
        level += 1;
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
