//! Faint walls: thin sheets below the weak walls' level that go on from a wall.
//!
//! A porotic cortex between fat and marrow may show at 80 HU and still be a
//! line that the eye follows. What stands out from both of its sides is
//! followed from a bone's walls outwards; whether it closes anything is for the
//! vote to say, and what closes nothing is let go again.

use rayon::prelude::*;

use crate::gathered::Gathered;
use crate::patch::{Patch, Step};
use crate::wall::NOBODY;

/// Least HU of a faint wall: above muscle (40 to 70 HU). Own choice, no source.
const LEAST_HU: f32 = 80.0;
/// Least fall from a faint wall to both of its sides, HU. Own choice, no
/// source.
const LEAST_FALL_HU: f32 = 50.0;
/// The same in standard deviations of the scan's noise.
const LEAST_FALL_SD: f32 = 4.0;
/// Where the sides are looked at, mm from the wall's middle: a sheet shows the
/// scan's blur, 3 to 4 mm wide at half its height.
const SIDE_MM: f64 = 3.0;
/// How far a faint wall is followed from another wall, mm.
const REACH_MM: f64 = 20.0;
/// Rounds in which what does not lie on something enclosed is let go: faint
/// walls are up to two voxels to each side of their middle.
const THICK_VOXELS: usize = 2;

/// Pairs of opposite directions, of thirteen, in which a sheet goes on: a plane
/// holds four, a vessel one.
const LEAST_ALONG: usize = 3;

/// Faint walls that were given to bones.
pub(crate) struct Faint {
    /// Array positions, rising.
    voxels: Vec<u32>,
    /// Voxels beside them that are no wall of any kind, rising.
    free: Vec<u32>,
}

/// Give faint walls to the bones that they go on from.
///
/// - `noise_hu`: of the region.
/// - `owners`: owner of each wall, 0 for nobody.
/// - `begins_in`: whether walls of any owner may be followed into a row of the
///   region.
/// - `follows`: whether an owner's walls are followed to a voxel's index.
pub(crate) fn follow(
    patch: &Patch<'_>,
    (threshold_hu, noise_hu): (f64, f32),
    begins_in: impl Fn(usize) -> bool + Sync,
    follows: impl Fn(u8, [usize; 3]) -> bool + Sync,
    owners: &mut [u8],
) -> Faint {
    let sides = sides(patch);
    let fall = LEAST_FALL_HU.max(LEAST_FALL_SD * noise_hu);
    let neighbours = patch.neighbours();
    let may_be = |at: usize| {
        let hu = patch.hu.at(at);
        hu >= LEAST_HU && hu < threshold_hu as f32
    };
    // The first neighbour with an owner, across a face where there is one.
    let owner = |owners: &[u8], at: usize| {
        if owners[at] != NOBODY || !may_be(at) {
            return None;
        }
        let index = patch.index(at);
        let beside = neighbours.iter().filter_map(|s| s.from(patch.size, index, at));
        let found = beside.map(|to| owners[to]).find(|o| *o != NOBODY && follows(*o, index))?;
        is_sheet(patch, &sides, index, at, fall).then_some(found)
    };
    let finest = patch.finest_mm();
    let mut all = Vec::new();
    let mut front: Vec<(u32, u8)> = {
        let owners = &*owners;
        let columns = patch.size[0];
        let in_row = |row: usize| {
            let start = row * columns;
            let hu = patch.hu.row(row).iter().enumerate();
            hu.filter(|(_, hu)| f32::from(**hu) >= LEAST_HU)
                .filter_map(|(x, _)| Some(((start + x) as u32, owner(owners, start + x)?)))
                .collect::<Vec<_>>()
        };
        let rows = (0..patch.hu.rows()).into_par_iter().filter(|row| begins_in(*row));
        rows.map(in_row).collect::<Vec<_>>().concat()
    };
    for _ in 0..(REACH_MM / finest).round() as usize {
        for (at, own) in &front {
            owners[*at as usize] = *own;
            all.push(*at);
        }
        let reached: Vec<u32> = front.iter().map(|(at, _)| *at).collect();
        let places = beside(patch, &reached, |to| owners[to] == NOBODY);
        let owners = &*owners;
        front =
            places.par_iter().filter_map(|at| Some((*at, owner(owners, *at as usize)?))).collect();
        if front.is_empty() {
            break;
        }
    }
    all.sort_unstable();
    let free = beside(patch, &all, |to| owners[to] == NOBODY);
    Faint { voxels: all, free }
}

/// The voxels beside some that pass a test, rising.
fn beside(patch: &Patch<'_>, some: &[u32], test: impl Fn(usize) -> bool + Sync) -> Vec<u32> {
    let neighbours = patch.neighbours();
    let found = Gathered::none(patch.len());
    some.par_iter().for_each(|at| {
        let (at, index) = (*at as usize, patch.index(*at as usize));
        let steps = neighbours.iter().filter_map(|s| s.from(patch.size, index, at));
        steps.filter(|to| test(*to)).for_each(|to| found.add(to));
    });
    found.rising()
}

/// Let go of faint walls that lie on nothing enclosed by their bone.
pub(crate) fn let_go(patch: &Patch<'_>, faint: &Faint, labels: &mut [u8]) {
    let neighbours = patch.neighbours();
    let mut open: Vec<u32> =
        faint.voxels.iter().copied().filter(|at| labels[*at as usize] != 0).collect();
    let mut kept: Vec<u32> = Vec::new();
    for round in 0..=THICK_VOXELS {
        let bearing = if round == 0 { &faint.free } else { &kept };
        let bears = |to: usize| bearing.binary_search(&(to as u32)).is_ok();
        let is_held = |at: &u32| {
            let (at, index) = (*at as usize, patch.index(*at as usize));
            let mut around = neighbours.iter().filter_map(|s| s.from(patch.size, index, at));
            around.any(|to| labels[to] == labels[at] && bears(to))
        };
        let (held, rest): (Vec<u32>, Vec<u32>) = open.into_par_iter().partition(is_held);
        kept.extend(held);
        kept.sort_unstable();
        open = rest;
    }
    for at in open {
        labels[at as usize] = 0;
    }
}

/// Pairs of opposite steps of about [`SIDE_MM`].
fn sides(patch: &Patch<'_>) -> Vec<[Step; 2]> {
    let reach = patch.spacing_mm.map(|s| (SIDE_MM / s).round().max(1.0) as isize);
    let mut pairs = Vec::new();
    for step in patch.neighbours() {
        let first = step.by.iter().find(|b| **b != 0).is_some_and(|b| *b > 0);
        if !first {
            continue;
        }
        // A slanting step is as long as a straight one.
        let along = step.by.iter().filter(|b| **b != 0).count() as f64;
        let by = std::array::from_fn(|a| {
            let most = reach[a] as f64 / along.sqrt();
            step.by[a] * most.round().max(1.0) as isize
        });
        pairs.push([patch.step(by), patch.step(by.map(|b: isize| -b))]);
    }
    pairs
}

/// Whether a voxel is brighter than both sides of it in some direction and goes
/// on in others.
fn is_sheet(
    patch: &Patch<'_>,
    sides: &[[Step; 2]],
    index: [usize; 3],
    at: usize,
    fall: f32,
) -> bool {
    let hu = patch.hu.at(at);
    let mut across = 0;
    let mut along = 0;
    for pair in sides {
        let falls = pair.each_ref().map(|step| {
            step.from(patch.size, index, at).is_none_or(|to| hu - patch.hu.at(to) >= fall)
        });
        across += usize::from(falls == [true; 2]);
        along += usize::from(falls == [false; 2]);
    }
    across > 0 && along >= LEAST_ALONG
}

#[cfg(test)]
mod tests {
    use pilothole_volume::{Direction, Grid, PatientPoint, Region, Volume, Voxels};

    use super::*;

    /// Cubic voxels of 1 mm between marrow (x below 10, 10 HU) and fat (-70 HU):
    /// a strong wall at z below 10, and what `faint` says at x = 10 above it.
    fn scan(faint: impl Fn(usize, usize) -> Option<i16>) -> Volume {
        let size = [21, 21, 41];
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes(size, PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("square");
        let hu = |x: usize, y: usize, z: usize| {
            let plain = if x < 10 { 10 } else { -70 };
            match (x, z) {
                (10, ..10) => 600,
                (10, _) => faint(y, z).unwrap_or(plain),
                _ => plain,
            }
        };
        let all = (0..size[0] * size[1] * size[2])
            .map(|at| hu(at % 21, at / 21 % 21, at / 441))
            .collect();
        Volume::new(grid, Voxels::I16(all), None).expect("fits")
    }

    /// Heights of the faint walls that a bone's walls at 226 HU go on to.
    fn followed(volume: &Volume) -> Vec<usize> {
        let patch = Patch::of(volume, Region::whole(volume.grid()));
        let mut owners: Vec<u8> =
            (0..patch.len()).map(|at| u8::from(patch.hu.at(at) >= 226.0)).collect();
        let found =
            follow(&patch, (226.0, 0.0), |_| true, |owner, _| owner == 1, &mut owners).voxels;
        assert!(found.iter().all(|at| owners[*at as usize] == 1));
        found.iter().map(|at| *at as usize / 441).collect()
    }

    #[test]
    fn a_sheet_is_followed_as_far_as_it_reaches() {
        let heights = followed(&scan(|_, z| (z < 25).then_some(110)));
        // It does not go on 3 mm before its end, and is no sheet there.
        assert_eq!(heights.iter().max(), Some(&22));
        let heights = followed(&scan(|_, _| Some(110)));
        let reach = 9 + REACH_MM as usize;
        assert_eq!(heights.iter().max(), Some(&reach));
    }

    #[test]
    fn what_is_no_sheet_or_no_brighter_than_its_sides_is_not() {
        // A vessel of 1 mm that leaves the wall, and a step from 80 HU to fat.
        assert_eq!(followed(&scan(|y, _| (y == 10).then_some(110))), []);
        assert_eq!(followed(&scan(|_, _| Some(55))), []);
    }

    #[test]
    fn what_lies_on_nothing_enclosed_is_let_go() {
        let volume = scan(|_, z| (z < 25).then_some(110));
        let patch = Patch::of(&volume, Region::whole(volume.grid()));
        let mut owners: Vec<u8> =
            (0..patch.len()).map(|at| u8::from(patch.hu.at(at) >= 226.0)).collect();
        let faint = follow(&patch, (226.0, 0.0), |_| true, |_, _| true, &mut owners);
        // Enclosed: marrow beside the sheet up to 18 mm.
        let mut labels = owners;
        for (at, label) in labels.iter_mut().enumerate() {
            *label |= u8::from(at % 21 < 10 && at / 441 <= 18);
        }
        let_go(&patch, &faint, &mut labels);
        let kept: Vec<usize> = faint
            .voxels
            .iter()
            .filter(|at| labels[**at as usize] == 1)
            .map(|at| *at as usize / 441)
            .collect();
        let most = 19 + THICK_VOXELS;
        assert_eq!(kept.iter().max(), Some(&most));
    }
}
