//! What is dark between two walls, along lattice lines of all three axes.

use std::collections::BTreeMap;
use std::ops::Range;

use rayon::prelude::*;

use super::LEAST_MM3;
use super::line::{Limits, Line};
use crate::gathered::Gathered;
use crate::patch::{Patch, box_of};

/// How far apart lines are looked along at first, mm: a gap is met by nine or more.
const APART_MM: f64 = 3.2;
/// Edge of the cells in which what lines met is brought together, mm.
const CELL_MM: f64 = 4.0;
/// Share of a gap's least volume that lines some way apart show at least.
const MET_SHARE: f64 = 0.75;
/// Least second largest extent of a gap along the axes of the lattice, as lines
/// some way apart show it, mm.
const LEAST_EXTENT_MM: f64 = 5.0;
/// How far around what was met all lines are looked along, mm. Own choice.
const AROUND_MM: f64 = 5.0;
/// How far lines go on beyond their box, mm: across two walls and what is behind
/// them.
const BEYOND_MM: f64 = 20.0;

/// Array positions of what is dark between two walls along lattice lines, rising.
///
/// Lines some way apart are looked along first, then all lines around places
/// where several of them met it.
pub(super) fn dark_between_walls(patch: &Patch<'_>, labels: &[u8]) -> Vec<u32> {
    let voxels_in = |mm: f64, axis: usize| (mm / patch.spacing_mm[axis] + 1e-6) as usize;
    let some = Lines {
        from: [0; 3],
        to: patch.size,
        every: std::array::from_fn(|axis| voxels_in(APART_MM, axis).max(1)),
    };
    // Of a gap, lines along its normal meet one voxel in as many as lie between
    // them on the other two axes.
    let [x, y, z] = some.every;
    let beside = (x * y).max(y * z).max(z * x) as f64;
    let least = (MET_SHARE * LEAST_MM3 / (patch.grid.voxel_mm3() * beside)).ceil() as usize;
    let dark = Gathered::none(patch.len());
    some.follow(patch, labels, &dark);
    let met = dark.rising();
    if some.every == [1; 3] {
        return met;
    }
    let dark = Gathered::none(patch.len());
    let around: [usize; 3] = std::array::from_fn(|axis| voxels_in(AROUND_MM, axis));
    for [low, high] in groups(patch, &met, least) {
        let from = std::array::from_fn(|axis| low[axis].saturating_sub(around[axis]));
        let to = std::array::from_fn(|a| (high[a] + around[a] + 1).min(patch.size[a]));
        Lines { from, to, every: [1; 3] }.follow(patch, labels, &dark);
    }
    dark.rising()
}

/// Least and greatest place of groups of voxels that may be of one gap: in cells
/// that touch, and `least` or more.
fn groups(patch: &Patch<'_>, met: &[u32], least: usize) -> Vec<[[usize; 3]; 2]> {
    let cell_of = |index: [usize; 3]| -> [isize; 3] {
        std::array::from_fn(|a| (index[a] as f64 * patch.spacing_mm[a] / CELL_MM) as isize)
    };
    let mut cells: BTreeMap<[isize; 3], Vec<[usize; 3]>> = BTreeMap::new();
    for index in met.iter().map(|at| patch.index(*at as usize)) {
        cells.entry(cell_of(index)).or_default().push(index);
    }
    let mut found = Vec::new();
    while let Some((first, voxels)) = cells.pop_first() {
        let (mut group, mut front) = (voxels, vec![first]);
        while let Some(cell) = front.pop() {
            for by in box_of([1; 3]) {
                let beside = std::array::from_fn(|a| cell[a] + by[a]);
                if let Some(voxels) = cells.remove(&beside) {
                    group.extend(voxels);
                    front.push(beside);
                }
            }
        }
        let [low, high] = [usize::min, usize::max].map(|end| {
            group.iter().copied().fold(group[0], |a, b| std::array::from_fn(|i| end(a[i], b[i])))
        });
        let mut extents_mm: [f64; 3] =
            std::array::from_fn(|a| (high[a] - low[a] + 1) as f64 * patch.spacing_mm[a]);
        extents_mm.sort_by(f64::total_cmp);
        if group.len() >= least && extents_mm[1] >= LEAST_EXTENT_MM {
            found.push([low, high]);
        }
    }
    found
}

/// Lattice lines along all three axes through a box, and some way beyond it.
struct Lines {
    from: [usize; 3],
    to: [usize; 3],
    /// How many places lines lie apart.
    every: [usize; 3],
}

impl Lines {
    fn follow(&self, patch: &Patch<'_>, labels: &[u8], dark: &Gathered) {
        let [_, ys, zs] = [0, 1, 2].map(|axis| self.places(axis));
        let [_, long_y, long_z] = [0, 1, 2].map(|axis| self.along(patch, axis));
        let rows = patch.size[1];
        let all: Vec<usize> =
            zs.clone().flat_map(|z| ys.clone().map(move |y| z * rows + y)).collect();
        all.into_par_iter().for_each(|row| self.along_row(patch, labels, row, dark));
        let zs: Vec<usize> = zs.collect();
        zs.into_par_iter().for_each(|z| {
            self.across_rows(patch, labels, 1, long_y.clone().map(|y| z * rows + y), dark);
        });
        let ys: Vec<usize> = ys.collect();
        ys.into_par_iter().for_each(|y| {
            self.across_rows(patch, labels, 2, long_z.clone().map(|z| z * rows + y), dark);
        });
    }

    fn places(&self, axis: usize) -> impl Iterator<Item = usize> + Clone + use<> {
        (self.from[axis]..self.to[axis]).step_by(self.every[axis])
    }

    /// How far lines along an axis go.
    fn along(&self, patch: &Patch<'_>, axis: usize) -> Range<usize> {
        let beyond = (BEYOND_MM / patch.spacing_mm[axis]) as usize;
        self.from[axis].saturating_sub(beyond)..(self.to[axis] + beyond).min(patch.size[axis])
    }

    fn along_row(&self, patch: &Patch<'_>, labels: &[u8], row: usize, dark: &Gathered) {
        let limits = Limits::of(patch.spacing_mm[0]);
        let start = row * patch.size[0];
        let (own, hu) = (&labels[start..start + patch.size[0]], patch.hu.row(row));
        let mut line = Line::default();
        for x in self.along(patch, 0) {
            if let Some(passed) = line.pass(own[x], hu[x], &limits) {
                passed.mark(patch, start + x, 1, dark);
            }
        }
    }

    /// Along an axis, through the columns of rows that follow each other.
    fn across_rows(
        &self,
        patch: &Patch<'_>,
        labels: &[u8],
        axis: usize,
        rows: impl Iterator<Item = usize>,
        dark: &Gathered,
    ) {
        let limits = Limits::of(patch.spacing_mm[axis]);
        let stride = patch.strides()[axis];
        let xs: Vec<usize> = self.places(0).collect();
        let mut lines = vec![Line::default(); xs.len()];
        for row in rows {
            let start = row * patch.size[0];
            let (own, hu) = (&labels[start..start + patch.size[0]], patch.hu.row(row));
            for (x, line) in xs.iter().zip(&mut lines) {
                if let Some(passed) = line.pass(own[*x], hu[*x], &limits) {
                    passed.mark(patch, start + x, stride, dark);
                }
            }
        }
    }
}
