//! Hip centres found without a hint: every point of a bone's surface votes for
//! the centres that its normal points at.

use pilothole_volume::{Direction, PatientPoint};

use super::landmarks::{SphereKind, SphereParams, propose_sphere};
use super::types::SphereProposal;
use crate::scene::Scene;

/// Edge of a cell in which votes are counted, mm.
const CELL_MM: f64 = 3.0;
/// Step between the radii that a point votes for, mm.
const RADIUS_STEP_MM: f64 = 1.5;
/// Most surface points that vote.
const MOST_VOTERS: usize = 20_000;
/// Cells tried before giving up.
const TRIES: usize = 12;

/// The best sphere of a bone's surface, sought everywhere in the scene's
/// region; `None` when nothing round of a fitting size is there.
///
/// As [`propose_sphere`] from the cells with most votes; the proposal with
/// most points wins.
pub fn find_sphere(
    scene: &Scene<'_>,
    bone: u8,
    kind: SphereKind,
    params: &SphereParams,
) -> Option<SphereProposal> {
    let mut best: Option<SphereProposal> = None;
    for hint in likely_centres(scene, bone, kind, params) {
        let Some(found) = propose_sphere(scene, hint, bone, kind, params) else { continue };
        // A sphere that holds more of the rays' points, on a wider cap.
        let weight = |p: &SphereProposal| p.points as f64 * p.used;
        if best.as_ref().is_none_or(|b| weight(&found) > weight(b)) {
            best = Some(found);
        }
    }
    best
}

/// Centres of the cells with most votes, best first, no two near each other.
fn likely_centres(
    scene: &Scene<'_>,
    bone: u8,
    kind: SphereKind,
    params: &SphereParams,
) -> Vec<PatientPoint> {
    let votes = Votes::count(scene, bone, kind, params);
    let mut ranked: Vec<usize> = (0..votes.cells.len()).filter(|i| votes.cells[*i] > 0).collect();
    ranked.sort_by(|a, b| votes.cells[*b].cmp(&votes.cells[*a]).then(a.cmp(b)));
    let mut chosen: Vec<PatientPoint> = Vec::new();
    for cell in ranked {
        let centre = votes.centre_of(cell);
        if chosen.iter().all(|other| other.distance_mm(centre) > 3.0 * CELL_MM) {
            chosen.push(centre);
            if chosen.len() == TRIES {
                break;
            }
        }
    }
    chosen
}

/// Votes in cells over a box along the patient's axes.
struct Votes {
    low: PatientPoint,
    size: [usize; 3],
    cells: Vec<u32>,
}

impl Votes {
    fn count(scene: &Scene<'_>, bone: u8, kind: SphereKind, params: &SphereParams) -> Self {
        let grid = scene.grid();
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
        let mut votes =
            Self { low: PatientPoint(low), size, cells: vec![0; size.iter().product()] };
        let towards = match kind {
            SphereKind::Head => -1.0,
            SphereKind::Socket => 1.0,
        };
        for (at, out) in voters(scene, bone) {
            let mut radius = params.radius_mm[0];
            let mut before = None;
            while radius <= params.radius_mm[1] {
                let cell = votes.cell_of(at + out * (towards * radius));
                if let Some(cell) = cell.filter(|cell| before != Some(*cell)) {
                    votes.cells[cell] += 1;
                }
                before = cell;
                radius += RADIUS_STEP_MM;
            }
        }
        votes
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

/// Points near the surface of one bone, just inside, and their outward normals.
fn voters(scene: &Scene<'_>, bone: u8) -> Vec<(PatientPoint, Direction)> {
    let grid = scene.grid();
    let size = grid.size();
    let reach = grid.spacing_mm().into_iter().fold(0.0, f64::max) as f32;
    let near: Vec<usize> = (0..grid.voxel_count())
        .filter(|voxel| {
            let depth = scene.field.at(*voxel);
            scene.labels.values()[*voxel] == bone && depth > 0.0 && depth < reach
        })
        .collect();
    let every = near.len().div_ceil(MOST_VOTERS).max(1);
    near.into_iter()
        .step_by(every)
        .filter_map(|voxel| {
            let index = [voxel % size[0], voxel / size[0] % size[1], voxel / (size[0] * size[1])];
            let at = grid.centre_of(index);
            Some((at, Direction::along(-scene.field.gradient(at))?))
        })
        .collect()
}
