//! How enclosed is a place: the share of directions in which a ray meets a wall.
//!
//! Marrow behind a cortex with gaps is enclosed in nearly all directions, a
//! notch, a foramen or an empty socket is not. Each direction is one sweep over
//! the cells: layer by layer the state (layers since the last wall) moves
//! sideways by the ray's slope, so the cost is that of reading the cells once.

use rayon::prelude::*;

use crate::coarse::Cells;
use crate::joint::spread;
use crate::sweep::{Counts, Net, Ray, layout};

/// Pairs of opposite directions; 40 are 18° apart.
const PAIRS: usize = 40;
/// How far a ray looks, mm: past the centre of a femoral head (24 mm) and
/// across an ilium above the socket (42 ± 9 mm between its walls), short of
/// both walls of an obturator foramen seen from outside.
const LOOK_MM: f64 = 40.0;
/// What an unknown ray counts as a miss, in tenths: enough to keep the hollow of
/// an iliac wing open where the region cuts it, too little to open a shaft.
const UNKNOWN_TENTHS: u16 = 3;
/// Rays that one task follows.
const RAYS_A_TASK: usize = 14;
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
        let all = spread(2 * PAIRS).take(PAIRS).flat_map(|d| [d, -d]);
        let mut by_axis: [Vec<Ray>; 3] = Default::default();
        for slope in all.map(|direction| self.cells.slope(direction)) {
            let mut axis = 2;
            for other in [1, 0] {
                if slope[other].abs() > slope[axis].abs() + 1e-9 {
                    axis = other;
                }
            }
            by_axis[axis].push(self.ray(slope, axis));
        }
        let nets: Vec<Net> =
            (0..3).into_par_iter().map(|axis| Net::new(axis, self.size(), &self.is_wall)).collect();
        let counted: Vec<Counts> = nets
            .par_iter()
            .zip(&by_axis)
            .map(|(net, rays)| {
                let parts = rays.par_chunks(RAYS_A_TASK).map(|part| net.count(part));
                parts.reduce_with(Counts::plus).unwrap_or_default()
            })
            .collect();
        self.gather(&nets, &counted)
    }

    /// How a direction, in cells per mm on each axis, crosses the layers of an
    /// axis. Beyond a face of the box that is not a face of the region there is
    /// no wall, so rays that enter there count as known.
    fn ray(&self, slope: [f64; 3], axis: usize) -> Ray {
        let entry = |a: usize| {
            let outside =
                if slope[a] > 0.0 { self.from[a] == 0 } else { self.to[a] == self.cells.size[a] };
            if outside { 0 } else { 255 }
        };
        let [_, line, along] = layout(axis);
        Ray {
            forward: slope[axis] > 0.0,
            drift: [line, along].map(|a| (slope[a] / slope[axis].abs()).clamp(-1.0, 1.0)),
            look: (LOOK_MM * slope[axis].abs()).round().clamp(1.0, 200.0) as u8,
            entry: [axis, line, along].map(entry),
        }
    }

    fn gather(&self, nets: &[Net], counted: &[Counts]) -> Vec<u8> {
        let share = |hits: u8, known: u8| {
            let unknown = (2 * PAIRS) as u16 - u16::from(known);
            let counted = 10 * u16::from(known) + UNKNOWN_TENTHS * unknown;
            if known < FEWEST_KNOWN {
                0
            } else {
                (1000 * u32::from(hits) / u32::from(counted)) as u8
            }
        };
        let [nx, ny, _] = self.size();
        let mut percents = vec![0; self.is_wall.len()];
        percents.par_chunks_mut(nx).enumerate().for_each(|(row, percents)| {
            let (mut hits, mut known) = (vec![0_u8; nx], vec![0_u8; nx]);
            for (net, counts) in nets.iter().zip(counted) {
                let row = net.row(row % ny, row / ny);
                row.add(&counts.hits, &mut hits);
                row.add(&counts.known, &mut known);
            }
            for ((percent, hits), known) in percents.iter_mut().zip(&hits).zip(&known) {
                *percent = share(*hits, *known);
            }
        });
        percents
    }
}
