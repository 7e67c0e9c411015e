//! Where hips are in a scan that nothing is known of.
//!
//! Works on Hounsfield units alone, so that it can come before the bones are
//! told apart: in coarse scans head and socket are one body until a hip centre
//! is known. Every edge of bone votes for the centres that its normal points
//! at (head, shell and socket of a hip share one); the places with most votes
//! are moved to the point nearest to the normals around them, and two of them
//! that lie like a pair of hips are preferred to others.

use nalgebra::{Matrix3, Vector3};
use pilothole_plan::Side;
use pilothole_volume::{Direction, Offset, PatientPoint, Volume};
use rayon::prelude::*;

use super::landmarks::spiral;
use super::springs::{offset, vector};

/// Edge of a cell in which votes are counted, mm; three by three by three of
/// them are counted together.
const CELL_MM: f64 = 4.0;
/// Distance between the voxels that vote, mm; one voxel where they are larger.
const VOTER_MM: f64 = 2.0;
/// Half the distance over which a gradient is taken, mm.
const GRADIENT_MM: f64 = 2.0;
/// Radii voted for, mm: adult heads measure about 38 to 58 mm across.
const RADIUS_MM: [f64; 2] = [20.0, 29.0];
/// Step between the radii voted for, mm.
const RADIUS_STEP_MM: f64 = 2.0;
/// Edges between these distances settle a centre, mm: a head's shell has an
/// inner side, a socket lies outside of it.
const SETTLE_MM: [f64; 2] = [18.0, 31.0];
/// Edges settle a centre that their normals pass this near to, mm.
const PASS_MM: f64 = 5.0;
/// Least Hounsfield units of a voxel that votes; muscle stays below 80.
const LEAST_HU: f64 = 100.0;
/// Most Hounsfield units of a voxel that votes: metal stays above 2500.
const MOST_HU: f64 = 2000.0;
/// Least gradient of an edge, HU/mm; own choice.
const LEAST_EDGE: f64 = 30.0;
/// Places looked at again.
const TRIES: usize = 40;
/// Directions in which a place is looked at.
const RAYS: u32 = 256;
/// Half-angle about a direction within which an edge counts as seen in it, rad:
/// 12°, twice what 3 mm are at a head's radius.
const SEEN_RAD: f64 = 0.209_439_510_239_319_55;
/// Least share of directions with an edge. Hips in two open scans reach 0.48
/// (3 mm voxels, metal) to 0.76, trochanters 0.57, vertebrae 0.71: it only drops
/// what is no round body at all; lying like a pair decides. Own choice.
const LEAST_SEEN: f64 = 0.4;
/// Distance between the centres of two hips, mm: 172 ± 9 in ten adults (sheet
/// 2 §4.3); five times that spread and more.
const APART_MM: [f64; 2] = [120.0, 230.0];
/// Most that one hip lies before or above the other, mm; own choice.
const ASKEW_MM: f64 = 50.0;
/// Least distance from the middle of the body at which a single hip's side is
/// told, mm: half of the least distance between hips.
const OFF_MIDDLE_MM: f64 = 60.0;

/// A place that looks like a hip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LikelyHip {
    /// About the centre, good to some mm.
    pub centre: PatientPoint,
    /// Share of directions in which an edge of bone faces the centre, 0 to 1.
    pub seen: f64,
    /// Edges that point at it, times `seen`; compares places of one scan.
    pub weight: f64,
    /// Whose; `None` where the scan does not tell.
    pub side: Option<Side>,
}

/// An edge of bone: where it is, and the direction in which it rises.
type Edge = (PatientPoint, Direction);

/// The hips of a scan: none, one, or left and right.
///
/// Sides are told from patient space: of two hips the one further along +x is
/// the left one; a single hip's side is told against the middle of the body at
/// its height, and only if the body's outline lies within the scan there.
///
/// # Accuracy
///
/// Centres within 8 mm in two open scans: a hint for what follows, no result.
/// A round body that is no hip can be answered too.
pub fn likely_hips(volume: &Volume) -> Vec<LikelyHip> {
    let edges = edges(volume);
    let mut found: Vec<LikelyHip> = likely_centres(volume, &edges)
        .into_par_iter()
        .filter_map(|(centre, votes)| settle(volume, &edges, centre, votes))
        .filter(|hip| hip.seen >= LEAST_SEEN)
        .collect();
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    if let Some([left, right]) = best_pair(&found) {
        return vec![
            LikelyHip { side: Some(Side::Left), ..left },
            LikelyHip { side: Some(Side::Right), ..right },
        ];
    }
    let single = |hip: &LikelyHip| LikelyHip { side: side_of(volume, hip.centre), ..*hip };
    found.first().map(single).into_iter().collect()
}

/// The two that lie like a pair of hips and are most pointed at together.
fn best_pair(found: &[LikelyHip]) -> Option<[LikelyHip; 2]> {
    let mut best: Option<(f64, [LikelyHip; 2])> = None;
    for (index, a) in found.iter().enumerate() {
        for b in &found[index + 1..] {
            let [x, y, z] = (a.centre - b.centre).0;
            let apart = x.abs() >= APART_MM[0] && x.abs() <= APART_MM[1];
            if !apart || y.abs() > ASKEW_MM || z.abs() > ASKEW_MM {
                continue;
            }
            let weight = a.weight + b.weight;
            if best.is_none_or(|(most, _)| weight > most) {
                best = Some((weight, if x > 0.0 { [*a, *b] } else { [*b, *a] }));
            }
        }
    }
    best.map(|(_, pair)| pair)
}

/// The side of a single hip, from the middle of the body at its height; `None`
/// where the body goes on beyond the scan, or slices are not across it.
fn side_of(volume: &Volume, at: PatientPoint) -> Option<Side> {
    /// Between air and fat, HU.
    const SKIN_HU: f64 = -300.0;
    let grid = volume.grid();
    let size = grid.size();
    let [across, _, up] = grid.steps();
    if across.0[0].abs() < 0.9 * across.length_mm() || up.0[2].abs() < 0.9 * up.length_mm() {
        return None;
    }
    let voxel = grid.voxel_from_patient(at).0;
    let slice = voxel[2].round().clamp(0.0, (size[2] - 1) as f64) as usize;
    let (mut sum, mut count) = (0.0, 0.0);
    for row in 0..size[1] {
        for column in 0..size[0] {
            if f64::from(volume.hu_or_nan([column, row, slice])) > SKIN_HU {
                if column == 0 || column + 1 == size[0] {
                    return None;
                }
                sum += grid.centre_of([column, row, slice]).0[0];
                count += 1.0;
            }
        }
    }
    let off_mm = at.0[0] - sum / f64::max(count, 1.0);
    match off_mm {
        off if off > OFF_MIDDLE_MM => Some(Side::Left),
        off if off < -OFF_MIDDLE_MM => Some(Side::Right),
        _ => None,
    }
}

/// Centres of the cells with most votes, best first, no two near each other.
fn likely_centres(volume: &Volume, edges: &[Edge]) -> Vec<(PatientPoint, u32)> {
    let votes = Votes::count(volume, edges);
    let near = votes.counted_together();
    let mut ranked: Vec<usize> = (0..near.len()).filter(|i| near[*i] > 0).collect();
    ranked.sort_by(|a, b| near[*b].cmp(&near[*a]).then(a.cmp(b)));
    let mut chosen: Vec<(PatientPoint, u32)> = Vec::new();
    for cell in ranked {
        let centre = votes.centre_of(cell);
        if chosen.iter().all(|(other, _)| other.distance_mm(centre) > 3.0 * CELL_MM) {
            chosen.push((centre, near[cell]));
            if chosen.len() == TRIES {
                break;
            }
        }
    }
    chosen
}

/// Move a place to the point nearest to the normals that pass it; `None` where
/// its middle is metal or outside the scan.
fn settle(volume: &Volume, edges: &[Edge], start: PatientPoint, votes: u32) -> Option<LikelyHip> {
    let mut centre = start;
    for look in 0..12 {
        // Wide at first: cells are coarse.
        let pass_mm = if look < 4 { 2.0 * PASS_MM } else { PASS_MM };
        let mut left = Matrix3::zeros();
        let mut right = Vector3::zeros();
        for (at, up) in facing(edges, centre, pass_mm) {
            let up = vector(up.offset());
            let across = Matrix3::identity() - up * up.transpose();
            left += across;
            right += across * vector(at - centre);
        }
        centre = centre + offset(left.cholesky()?.solve(&right));
    }
    let towards: Vec<Direction> = facing(edges, centre, PASS_MM)
        .filter_map(|(at, _)| Direction::along(at - centre))
        .collect();
    let least = SEEN_RAD.cos();
    let rays = (0..RAYS).filter_map(|ray| spiral(ray, RAYS));
    let count = rays.filter(|ray| towards.iter().any(|unit| unit.dot(*ray) > least)).count();
    let seen = count as f64 / f64::from(RAYS);
    let weight = seen * f64::from(votes);
    let middle = volume.sample_or_nan(centre);
    (middle < MOST_HU).then_some(LikelyHip { centre, seen, weight, side: None })
}

/// The edges at a head's distance from a centre whose normals pass it.
fn facing(edges: &[Edge], centre: PatientPoint, pass_mm: f64) -> impl Iterator<Item = Edge> {
    edges.iter().copied().filter(move |(at, up)| {
        let from = *at - centre;
        let away = from.length_mm();
        let along = from.dot(up.offset());
        away > SETTLE_MM[0]
            && away < SETTLE_MM[1]
            && away * away - along * along < pass_mm * pass_mm
    })
}

/// Votes in cells over a box along the patient's axes.
struct Votes {
    low: PatientPoint,
    size: [usize; 3],
    cells: Vec<u32>,
}

impl Votes {
    fn count(volume: &Volume, edges: &[Edge]) -> Self {
        let mut votes = Self::over(volume);
        for (at, up) in edges {
            // A head lies up its edge's gradient, a socket's middle down it.
            votes.along(*at, *up);
            votes.along(*at, -*up);
        }
        votes
    }

    /// One vote for each cell at a head's distance along a direction.
    fn along(&mut self, at: PatientPoint, towards: Direction) {
        let mut radius = RADIUS_MM[0];
        let mut before = None;
        while radius <= RADIUS_MM[1] {
            let cell = self.cell_of(at + towards * radius);
            if let Some(cell) = cell.filter(|cell| before != Some(*cell)) {
                self.cells[cell] += 1;
            }
            before = cell;
            radius += RADIUS_STEP_MM;
        }
    }

    fn over(volume: &Volume) -> Self {
        let grid = volume.grid();
        let last = grid.size().map(|n| n - 1);
        let mut low = [f64::INFINITY; 3];
        let mut high = [f64::NEG_INFINITY; 3];
        for corner in 0..8_u8 {
            let index = std::array::from_fn(|i| if corner >> i & 1 == 0 { 0 } else { last[i] });
            let at = grid.centre_of(index).0;
            for axis in 0..3 {
                low[axis] = low[axis].min(at[axis]);
                high[axis] = high[axis].max(at[axis]);
            }
        }
        let size: [usize; 3] =
            std::array::from_fn(|i| ((high[i] - low[i]) / CELL_MM).ceil() as usize + 1);
        Self { low: PatientPoint(low), size, cells: vec![0; size.iter().product()] }
    }

    /// The votes of each cell and its 26 neighbours.
    fn counted_together(&self) -> Vec<u32> {
        let [nx, ny, nz] = self.size;
        let strides = [1, nx, nx * ny];
        let mut sums = self.cells.clone();
        for (axis, count) in [nx, ny, nz].into_iter().enumerate() {
            let stride = strides[axis];
            let row: Vec<u32> = sums.clone();
            for (cell, sum) in sums.iter_mut().enumerate() {
                let place = cell / stride % count;
                let before = if place > 0 { row[cell - stride] } else { 0 };
                let after = if place + 1 < count { row[cell + stride] } else { 0 };
                *sum += before + after;
            }
        }
        sums
    }

    fn cell_of(&self, at: PatientPoint) -> Option<usize> {
        let place = (at - self.low).0.map(|c| c / CELL_MM);
        let inside = (0..3).all(|i| place[i] >= 0.0 && place[i] < self.size[i] as f64);
        inside.then(|| {
            let [x, y, z] = place.map(|c| c as usize);
            (z * self.size[1] + y) * self.size[0] + x
        })
    }

    fn centre_of(&self, cell: usize) -> PatientPoint {
        let index = [
            cell % self.size[0],
            cell / self.size[0] % self.size[1],
            cell / (self.size[0] * self.size[1]),
        ];
        PatientPoint(std::array::from_fn(|i| self.low.0[i] + (index[i] as f64 + 0.5) * CELL_MM))
    }
}

/// The edges of bone of a scan.
fn edges(volume: &Volume) -> Vec<Edge> {
    let grid = volume.grid();
    let size = grid.size();
    let strides = grid.spacing_mm().map(|mm| ((VOTER_MM / mm).round() as usize).max(1));
    let rise_at = |at: PatientPoint| {
        Offset([0, 1, 2].map(|axis| {
            let mut by = [0.0; 3];
            by[axis] = GRADIENT_MM;
            let ahead = volume.sample_or_nan(at + Offset(by));
            let behind = volume.sample_or_nan(at + Offset(by.map(|c| -c)));
            (ahead - behind) / (2.0 * GRADIENT_MM)
        }))
    };
    let edge = |index: [usize; 3]| {
        let hu = f64::from(volume.hu_or_nan(index));
        if !(LEAST_HU..=MOST_HU).contains(&hu) {
            return None;
        }
        let at = grid.centre_of(index);
        let rise = rise_at(at);
        let up = Direction::along(rise)?;
        (rise.length_mm() >= LEAST_EDGE).then_some((at, up))
    };
    let of_slice = |slice: usize| {
        let rows = (0..size[1]).step_by(strides[1]);
        rows.flat_map(|row| {
            let columns = (0..size[0]).step_by(strides[0]);
            columns.filter_map(move |column| edge([column, row, slice]))
        })
        .collect::<Vec<_>>()
    };
    let slices: Vec<usize> = (0..size[2]).step_by(strides[2]).collect();
    slices.into_par_iter().map(of_slice).collect::<Vec<_>>().concat()
}
