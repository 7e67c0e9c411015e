//! Gaps between fragments: dark sheets between two walls that stand back to
//! back, with bone behind both.
//!
//! Rays from within a narrow gap all meet bone, and a blur of a voxel keeps the
//! walls on both sides joined by voxels above the threshold; the vote then takes
//! the gap for marrow. What tells the two apart is what lies behind the walls:
//! behind the tables of a thin bone lies the outside, behind those of a gap
//! lies bone again. A gap is believed only where it opens to the outside; what
//! is closed all around is a cavity, and inside.

mod line;
mod lines;
mod rim;

use pilothole_volume::{Offset, PatientPoint};

use crate::bones::BoneFinding;
use crate::patch::Patch;

/// Least HU of a wall beside a gap: above what trabeculae reach. Own choice, no
/// source.
const WALL_HU: f32 = 450.0;
/// A gap is darker than this share of the lower of its two walls.
const DARK_SHARE: f32 = 0.6;
/// Widest gap, mm: wider ones are seen by the vote. Own choice.
const WIDEST_MM: f64 = 5.0;
/// Least volume of a gap's dark part, mm³. Own choice, no source.
const LEAST_MM3: f64 = 100.0;
/// Fewest voxels of it: fewer are noise, or voxels too coarse to show a gap. Own
/// choice, no source.
const LEAST_VOXELS: usize = 20;
/// How far a gap reaches at least to one side of its longest line, mm: the hole
/// that a screw left is narrower. Own choice, no source.
const LEAST_BREADTH_MM: f64 = 8.0;

/// Find the gaps within labelled bones, take their voxels from the labels and say
/// where they were.
pub(crate) fn open(patch: &Patch<'_>, labels: &mut [u8], findings: &mut Vec<BoneFinding>) {
    let mut sheets = sheets(patch, &lines::dark_between_walls(patch, labels));
    // The largest first: what it parts is open to the others too.
    sheets.sort_by_key(|sheet| std::cmp::Reverse(sheet.len()));
    for mut sheet in sheets {
        // What an opened gap took with it is no sheet any more.
        sheet.retain(|at| labels[*at as usize] != 0);
        if !is_broad(patch, &sheet) {
            continue;
        }
        let whole = rim::with_rim(patch, labels, sheet);
        let Some(gap) = rim::open_sheet(patch, labels, whole) else { continue };
        findings.push(BoneFinding::Gap {
            volume_mm3: gap.len() as f64 * patch.grid.voxel_mm3(),
            at: middle(patch, &gap),
        });
        for at in gap {
            labels[at as usize] = 0;
        }
    }
}

/// The pieces that dark voxels make across faces, edges and corners.
fn sheets(patch: &Patch<'_>, dark: &[u32]) -> Vec<Vec<u32>> {
    let neighbours = patch.neighbours();
    let mut taken = vec![false; dark.len()];
    let mut found = Vec::new();
    for first in 0..dark.len() {
        if std::mem::replace(&mut taken[first], true) {
            continue;
        }
        let mut sheet = vec![dark[first]];
        let mut next = 0;
        while next < sheet.len() {
            let at = sheet[next] as usize;
            next += 1;
            let index = patch.index(at);
            for to in neighbours.iter().filter_map(|step| step.from(patch.size, index, at)) {
                if let Ok(place) = dark.binary_search(&(to as u32))
                    && !std::mem::replace(&mut taken[place], true)
                {
                    sheet.push(to as u32);
                }
            }
        }
        sheet.sort_unstable();
        found.push(sheet);
    }
    found
}

/// The voxel nearest to the mean of a sheet's places, the first on ties.
fn middle(patch: &Patch<'_>, sheet: &[u32]) -> PatientPoint {
    let point = |at: &u32| patch.centre(patch.index(*at as usize));
    let first = point(&sheet[0]);
    let sum = sheet.iter().fold(Offset([0.0; 3]), |sum, at| sum + (point(at) - first));
    let mean = first + sum * (1.0 / sheet.len() as f64);
    let apart = |at: &&u32| (point(at) - mean).length_mm();
    sheet.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).map_or(first, point)
}

/// Whether a sheet is large, and no channel.
fn is_broad(patch: &Patch<'_>, sheet: &[u32]) -> bool {
    if sheet.len() < LEAST_VOXELS || (sheet.len() as f64) * patch.grid.voxel_mm3() < LEAST_MM3 {
        return false;
    }
    let points: Vec<PatientPoint> =
        sheet.iter().map(|at| patch.centre(patch.index(*at as usize))).collect();
    let farthest = |measure: &dyn Fn(PatientPoint) -> f64| {
        let far = points.iter().map(|point| (measure(*point), *point));
        far.max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let from = |start: PatientPoint| move |point: PatientPoint| (point - start).length_mm();
    let Some((_, end)) = farthest(&from(points[0])) else { return false };
    let Some((length_mm, other)) = farthest(&from(end)) else { return false };
    let line = (other - end) * (1.0 / length_mm.max(1e-6));
    let beside = |point: PatientPoint| line.cross(point - end).length_mm();
    farthest(&beside).is_some_and(|(breadth_mm, _)| breadth_mm >= LEAST_BREADTH_MM)
}
