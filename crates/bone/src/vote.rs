//! How enclosed is a place: the share of directions in which a ray meets a wall.
//!
//! Marrow behind a cortex with gaps is enclosed in nearly all directions, a
//! notch, a foramen or an empty socket is not. Each direction is one sweep over
//! the cells: layer by layer the state (layers since the last wall) moves
//! sideways by the ray's slope, so the cost is that of reading the cells once.

use pilothole_volume::Direction;
use rayon::prelude::*;

use crate::coarse::Cells;
use crate::joint::spread;

/// Pairs of opposite directions; 40 are 18° apart.
const PAIRS: usize = 40;
/// How far a ray looks, mm: past the centre of a femoral head (24 mm) and
/// across an ilium above the socket (42 ± 9 mm between its walls), short of
/// both walls of an obturator foramen seen from outside.
const LOOK_MM: f64 = 40.0;
/// What an unknown ray counts as a miss, in tenths: enough to keep the hollow of
/// an iliac wing open where the region cuts it, too little to open a shaft.
const UNKNOWN_TENTHS: u16 = 3;
/// Fewest rays that end in the region for a share to mean something.
const FEWEST_KNOWN: u8 = 20;

/// A box of cells with the walls of one bone.
pub(crate) struct Walls<'a> {
    pub(crate) cells: &'a Cells,
    /// First cell, and first cell outside.
    pub(crate) from: [usize; 3],
    pub(crate) to: [usize; 3],
    /// 1 where a wall is, in the array order of the box.
    pub(crate) is_wall: Vec<u8>,
}

impl<'a> Walls<'a> {
    /// A box of cells without walls.
    pub(crate) fn none(cells: &'a Cells, from: [usize; 3], to: [usize; 3]) -> Self {
        let count = (0..3).map(|a| to[a] - from[a]).product();
        Self { cells, from, to, is_wall: vec![0; count] }
    }

    /// Array position in the box of the cell that holds a voxel of the region.
    #[inline]
    pub(crate) fn holding(&self, voxel: [usize; 3]) -> usize {
        let size = self.size();
        let [x, y, z] = [0, 1, 2].map(|a| voxel[a] / self.cells.pool[a] - self.from[a]);
        (z * size[1] + y) * size[0] + x
    }

    fn size(&self) -> [usize; 3] {
        std::array::from_fn(|a| self.to[a] - self.from[a])
    }

    /// Percent of the rays that meet a wall. A ray that leaves the region unmet
    /// is not known and counts 0.3 of a miss; 0 where too few are known.
    pub(crate) fn enclosure_percent(&self) -> Vec<u8> {
        let all: Vec<Direction> = spread(2 * PAIRS).take(PAIRS).flat_map(|d| [d, -d]).collect();
        let mut by_axis: [Vec<[f64; 3]>; 3] = Default::default();
        for direction in all {
            let slope = self.cells.slope(direction);
            let mut axis = 2;
            for other in [1, 0] {
                if slope[other].abs() > slope[axis].abs() + 1e-9 {
                    axis = other;
                }
            }
            by_axis[axis].push(slope);
        }
        let turned = self.turned();
        let tasks: Vec<(usize, &[[f64; 3]])> = by_axis
            .iter()
            .enumerate()
            .flat_map(|(axis, slopes)| slopes.chunks(14).map(move |part| (axis, part)))
            .collect();
        let counted: Vec<(usize, Vec<u8>, Vec<u8>)> = tasks
            .par_iter()
            .map(|(axis, slopes)| {
                let walls = if *axis == 0 { &turned } else { &self.is_wall };
                let (hits, known) = self.count(*axis, slopes, walls);
                (*axis, hits, known)
            })
            .collect();
        self.gather(&counted)
    }

    /// The walls with columns and rows exchanged.
    fn turned(&self) -> Vec<u8> {
        let [nx, ny, nz] = self.size();
        let mut out = vec![0; self.is_wall.len()];
        for z in 0..nz {
            for y in 0..ny {
                for x in 0..nx {
                    out[(z * nx + x) * ny + y] = self.is_wall[(z * ny + y) * nx + x];
                }
            }
        }
        out
    }

    fn gather(&self, counted: &[(usize, Vec<u8>, Vec<u8>)]) -> Vec<u8> {
        let [nx, ny, _] = self.size();
        let share = |hits: u8, known: u8| {
            let unknown = (2 * PAIRS) as u16 - u16::from(known);
            let counted = 10 * u16::from(known) + UNKNOWN_TENTHS * unknown;
            if known < FEWEST_KNOWN {
                0
            } else {
                (1000 * u32::from(hits) / u32::from(counted)) as u8
            }
        };
        (0..self.is_wall.len())
            .map(|at| {
                let (x, y, z) = (at % nx, at / nx % ny, at / (nx * ny));
                let turned = (z * nx + x) * ny + y;
                let (mut hits, mut known) = (0, 0);
                for (axis, h, k) in counted {
                    let from = if *axis == 0 { turned } else { at };
                    hits += h[from];
                    known += k[from];
                }
                share(hits, known)
            })
            .collect()
    }

    fn count(&self, axis: usize, slopes: &[[f64; 3]], walls: &[u8]) -> (Vec<u8>, Vec<u8>) {
        let size = self.size();
        // A face of the box that is not a face of the region: beyond it there
        // is no wall, so rays that enter there count as known.
        let known_before: [u8; 3] =
            std::array::from_fn(|a| if self.from[a] == 0 { 0 } else { 255 });
        let known_after: [u8; 3] =
            std::array::from_fn(|a| if self.to[a] == self.cells.size[a] { 0 } else { 255 });
        // Axes in the order layer, line, along; `along` is contiguous.
        let (line, along) = match axis {
            0 => (2, 1),
            1 => (2, 0),
            _ => (1, 0),
        };
        let net = Net {
            layers: size[axis],
            lines: size[line],
            length: size[along],
            slices_are_layers: axis == 2,
        };
        let mut hits = vec![0_u8; walls.len()];
        let mut known = vec![0_u8; walls.len()];
        for slope in slopes {
            let side = |a: usize| {
                if slope[a] > 0.0 { known_before[a] } else { known_after[a] }
            };
            let ray = Ray {
                forward: slope[axis] > 0.0,
                drift: [slope[line], slope[along]].map(|s| s / slope[axis].abs()),
                look: (LOOK_MM * slope[axis].abs()).round().clamp(1.0, 200.0) as u8,
                entry: [side(axis), side(line), side(along)],
            };
            net.sweep(&ray, walls, &mut hits, &mut known);
        }
        (hits, known)
    }
}

/// How the layers of one orientation lie in the array.
struct Net {
    layers: usize,
    lines: usize,
    length: usize,
    slices_are_layers: bool,
}

struct Ray {
    forward: bool,
    /// Cells sideways per layer: across lines, along lines.
    drift: [f64; 2],
    /// Layers looked back.
    look: u8,
    /// Free layers granted on entry through a layer, line or end face.
    entry: [u8; 3],
}

impl Net {
    fn start(&self, layer: usize, line: usize) -> usize {
        if self.slices_are_layers {
            (layer * self.lines + line) * self.length
        } else {
            (line * self.layers + layer) * self.length
        }
    }

    fn sweep(&self, ray: &Ray, walls: &[u8], hits: &mut [u8], known: &mut [u8]) {
        let area = self.lines * self.length;
        // Layers since the last wall (255: none), and layers travelled.
        let mut since = [vec![255_u8; area], vec![255_u8; area]];
        let mut free = [vec![ray.entry[0]; area], vec![0_u8; area]];
        let mut moved = [0.0, 0.0];
        for step in 0..self.layers {
            let layer = if ray.forward { step } else { self.layers - 1 - step };
            let now = ray.drift.map(|d| (d * step as f64).round());
            let shift = [0, 1].map(|i| (now[i] - moved[i]) as isize);
            moved = now;
            let (old_since, new_since) = halves(&mut since, step);
            let (old_free, new_free) = halves(&mut free, step);
            for line in 0..self.lines {
                let out = line * self.length..(line + 1) * self.length;
                let (since, free) = (&mut new_since[out.clone()], &mut new_free[out]);
                match line.checked_add_signed(-shift[0]).filter(|from| *from < self.lines) {
                    None => {
                        since.fill(255);
                        free.fill(ray.entry[1]);
                    }
                    Some(from) => {
                        let from = from * self.length..(from + 1) * self.length;
                        slide(&old_since[from.clone()], shift[1], 255, since);
                        slide(&old_free[from], shift[1], ray.entry[2], free);
                    }
                }
                let at = self.start(layer, line);
                let row = at..at + self.length;
                tally(
                    &walls[row.clone()],
                    [since, free],
                    ray.look,
                    [&mut hits[row.clone()], &mut known[row]],
                );
            }
        }
    }
}

fn halves(pair: &mut [Vec<u8>; 2], step: usize) -> (&mut [u8], &mut [u8]) {
    let [even, odd] = pair;
    if step.is_multiple_of(2) { (even, odd) } else { (odd, even) }
}

/// Copy a row moved by `by` cells; what moves in from outside is `entry`.
fn slide(from: &[u8], by: isize, entry: u8, to: &mut [u8]) {
    let n = from.len();
    let gap = by.unsigned_abs().min(n);
    if by >= 0 {
        to[gap..].copy_from_slice(&from[..n - gap]);
        to[..gap].fill(entry);
    } else {
        to[..n - gap].copy_from_slice(&from[gap..]);
        to[n - gap..].fill(entry);
    }
}

fn tally(walls: &[u8], state: [&mut [u8]; 2], look: u8, counts: [&mut [u8]; 2]) {
    let [since, free] = state;
    let [hits, known] = counts;
    for ((((wall, since), free), hits), known) in
        walls.iter().zip(since).zip(free).zip(hits).zip(known)
    {
        let back = since.saturating_add(1);
        let travelled = free.saturating_add(1);
        let hit = u8::from(back <= look);
        *hits += hit;
        *known += hit | u8::from(travelled > look);
        *since = if *wall == 1 { 0 } else { back };
        *free = travelled;
    }
}
