//! Where a sheet goes on to its mouth, and whether it has one.

use std::collections::BTreeSet;

use super::{DARK_SHARE, WALL_HU, WIDEST_MM};
use crate::patch::{Patch, Step};

/// How far a gap goes on beyond where bone lies behind both walls, mm: a cortex
/// and what counts as bone behind it. Own choice.
const RIM_MM: f64 = 7.0;
/// How far a gap's mouth, where its walls are rounded off, lies from where they
/// still show, mm. Own choice.
const MOUTH_MM: f64 = 4.0;
/// A gap's rim leads out on this many times the faces that lead further in. Own
/// choice: on open scans the pubic symphysis has 17 times, a spine's discs 0 to 0.4.
const OPEN_TIMES: usize = 2;
/// Rise on the way out that shows a wall, HU: twice what noise adds. Own choice.
const RISE_HU: f32 = 60.0;

/// A sheet and what goes on from it between two walls that have no bone behind:
/// near its mouth those are the sides of the fragments.
pub(super) fn with_rim(patch: &Patch<'_>, labels: &[u8], sheet: Vec<u32>) -> Vec<u32> {
    let neighbours = patch.neighbours();
    let finest = patch.finest_mm();
    let label = labels[sheet[0] as usize];
    let mut front = sheet.clone();
    let mut all: BTreeSet<u32> = sheet.into_iter().collect();
    for _ in 0..(RIM_MM / finest).round() as usize {
        let mut next = Vec::new();
        for at in &front {
            let index = patch.index(*at as usize);
            let beside = neighbours[..6].iter();
            for to in beside.filter_map(|step| step.from(patch.size, index, *at as usize)) {
                if labels[to] == label
                    && !all.contains(&(to as u32))
                    && is_between_walls(patch, &neighbours, to)
                {
                    all.insert(to as u32);
                    next.push(to as u32);
                }
            }
        }
        front = next;
    }
    all.into_iter().collect()
}

/// Whether a voxel is dark between two walls in one of thirteen directions.
fn is_between_walls(patch: &Patch<'_>, neighbours: &[Step], at: usize) -> bool {
    let (hu, index) = (patch.hu.at(at), patch.index(at));
    let wall_hu = WALL_HU.max(hu / DARK_SHARE);
    // How far the nearest wall is along a step, mm.
    let wall = |step: Step| {
        let count = (WIDEST_MM / f64::from(step.length_mm)).floor() as isize;
        (1..=count).find_map(|times| {
            let step = step.times(times);
            let to = step.from(patch.size, index, at)?;
            (patch.hu.at(to) >= wall_hu).then_some(f64::from(step.length_mm))
        })
    };
    neighbours.iter().filter(|step| step.jump > 0).any(|step| {
        let both = wall(*step).zip(wall(step.times(-1)));
        both.is_some_and(|(before, behind)| before + behind <= WIDEST_MM)
    })
}

/// A sheet with its mouth, where its rim meets the outside, another bone or the
/// region's end far more often than more of what is dark in its own bone; `None`
/// where it is closed.
pub(super) fn open_sheet(
    patch: &Patch<'_>,
    labels: &[u8],
    mut sheet: Vec<u32>,
) -> Option<Vec<u32>> {
    let neighbours = patch.neighbours();
    let (mut open, mut closed, mut mouth) = (0, 0, Vec::new());
    for at in &sheet {
        let at = *at as usize;
        let index = patch.index(at);
        for step in &neighbours[..6] {
            let Some(to) = step.from(patch.size, index, at) else {
                open += 1;
                continue;
            };
            let darker = patch.hu.at(to) < patch.hu.at(at);
            if labels[to] == labels[at] && (!darker || sheet.binary_search(&(to as u32)).is_ok()) {
                continue;
            }
            match way_from(patch, labels, &sheet, (at, *step)) {
                Way::Out(way) => {
                    open += 1;
                    mouth.extend(way);
                }
                Way::In => closed += 1,
                Way::Back => {}
            }
        }
    }
    // Two voxels thick, a square sheet has a rim of about six times the root of
    // its voxels: a fifth of that is asked.
    let is_mouth = open * open >= sheet.len() && open >= OPEN_TIMES * closed;
    if !is_mouth {
        return None;
    }
    sheet.extend(mouth);
    sheet.sort_unstable();
    sheet.dedup();
    Some(sheet)
}

/// Where a straight line from a sheet's rim leads.
enum Way {
    /// Out of the bone, through these of its voxels.
    Out(Vec<u32>),
    /// Further in, without meeting a wall.
    In,
    /// To a wall, or back into the sheet.
    Back,
}

fn way_from(patch: &Patch<'_>, labels: &[u8], sheet: &[u32], (at, step): (usize, Step)) -> Way {
    let index = patch.index(at);
    let mut least_hu = patch.hu.at(at);
    let mut way = Vec::new();
    for times in 1..=(MOUTH_MM / f64::from(step.length_mm)).ceil() as isize {
        match step.times(times).from(patch.size, index, at) {
            Some(to) if labels[to] == labels[at] => {
                let hu = patch.hu.at(to);
                if hu > least_hu + RISE_HU || sheet.binary_search(&(to as u32)).is_ok() {
                    return Way::Back;
                }
                least_hu = least_hu.min(hu);
                way.push(to as u32);
            }
            _ => return Way::Out(way),
        }
    }
    Way::In
}
