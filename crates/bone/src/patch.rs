//! The Hounsfield units of the region at work, and how its voxels lie in mm.

use std::ops::RangeInclusive;

use pilothole_volume::{Grid, Mask, NOTHING_I16, Offset, PatientPoint, Region, Volume, VoxelPoint};
use rayon::prelude::*;

use crate::gathered::{any, bits, word_of};
use crate::hu::{Hu, whole_or_nan};

/// HU of a region, and where its voxels lie.
pub(crate) struct Patch<'a> {
    pub(crate) grid: Grid,
    pub(crate) size: [usize; 3],
    pub(crate) hu: Hu<'a>,
    /// Mean spacing along columns, rows, slices, mm.
    pub(crate) spacing_mm: [f64; 3],
    slice_origins: Vec<PatientPoint>,
}

impl<'a> Patch<'a> {
    pub(crate) fn of(volume: &'a Volume, region: Region) -> Self {
        let grid = volume.grid().within(region);
        let slice_origins = (0..region.size()[2]).map(|k| grid.centre_of([0, 0, k])).collect();
        Self {
            size: region.size(),
            hu: Hu::of(volume, region),
            spacing_mm: grid.spacing_mm(),
            slice_origins,
            grid,
        }
    }

    /// The same places with other HU.
    pub(crate) fn with<'b>(&self, hu: Hu<'b>) -> Patch<'b> {
        Patch {
            grid: self.grid.clone(),
            size: self.size,
            hu,
            spacing_mm: self.spacing_mm,
            slice_origins: self.slice_origins.clone(),
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.size.iter().product()
    }

    /// Least of the three spacings, mm.
    pub(crate) fn finest_mm(&self) -> f64 {
        self.spacing_mm.iter().copied().fold(f64::INFINITY, f64::min)
    }

    /// Voxels in one slice.
    pub(crate) fn plane(&self) -> usize {
        self.size[0] * self.size[1]
    }

    pub(crate) fn strides(&self) -> [usize; 3] {
        [1, self.size[0], self.plane()]
    }

    pub(crate) fn index(&self, at: usize) -> [usize; 3] {
        let in_plane = at % self.plane();
        [in_plane % self.size[0], in_plane / self.size[0], at / self.plane()]
    }

    pub(crate) fn centre(&self, index: [usize; 3]) -> PatientPoint {
        let steps = self.grid.steps();
        self.slice_origins[index[2]] + steps[0] * index[0] as f64 + steps[1] * index[1] as f64
    }

    /// Trilinear HU, `None` outside the region or where nothing was measured.
    pub(crate) fn sample(&self, at: PatientPoint) -> Option<f32> {
        let VoxelPoint(voxel) = self.grid.voxel_from_patient(at);
        let mut base = [0; 3];
        let mut part = [0.0_f32; 3];
        for axis in 0..3 {
            let last = self.size[axis] - 1;
            if !(voxel[axis] >= 0.0 && voxel[axis] <= last as f64) {
                return None;
            }
            base[axis] = (voxel[axis] as usize).min(last.saturating_sub(1));
            part[axis] = (voxel[axis] - base[axis] as f64) as f32;
        }
        let weights = part.map(|part| [1.0 - part, part]);
        if weights.iter().flatten().any(|weight| *weight <= 0.0) {
            return self.on_a_plane(base, weights);
        }
        let cell = self.hu.cell(base);
        if cell.iter().flatten().any(|hu| *hu == NOTHING_I16) {
            return None;
        }
        let mut sum = 0.0;
        for (edge, both) in cell.iter().enumerate() {
            for (along, hu) in both.iter().enumerate() {
                sum += weights[0][along]
                    * weights[1][edge & 1]
                    * weights[2][edge >> 1]
                    * f32::from(*hu);
            }
        }
        Some(sum)
    }

    /// The same where a place has whole coordinates: voxels without weight need
    /// not be there.
    fn on_a_plane(&self, base: [usize; 3], weights: [[f32; 2]; 3]) -> Option<f32> {
        let mut sum = 0.0;
        for corner in 0..4_usize {
            let (up, across) = (corner >> 1, corner & 1);
            if weights[1][across] <= 0.0 || weights[2][up] <= 0.0 {
                continue;
            }
            let row = self.hu.row((base[2] + up) * self.size[1] + base[1] + across);
            for along in 0..2 {
                let weight = weights[0][along] * weights[1][across] * weights[2][up];
                if weight > 0.0 {
                    sum += weight * whole_or_nan(row[base[0] + along]);
                }
            }
        }
        sum.is_finite().then_some(sum)
    }

    /// The voxels whose stored HU lie in a range and whose array position passes
    /// a test.
    pub(crate) fn voxels_where(
        &self,
        hu: RangeInclusive<i16>,
        also: impl Fn(usize) -> bool + Sync,
    ) -> Mask {
        let mut mask = Mask::none(self.size);
        let (columns, words) = (self.size[0], mask.words_per_row());
        mask.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, words)| {
            let stored = self.hu.row(row).chunks(64);
            for (at, (word, stored)) in words.iter_mut().zip(stored).enumerate() {
                let found = [word_of(stored, |own| hu.contains(&own))];
                let left_out = bits(&found).filter(|x| !also(row * columns + 64 * at + x));
                *word = left_out.fold(found[0], |word, x| word & !(1 << x));
            }
        });
        mask
    }

    /// Whether any voxel within `reach_mm` of a point along every axis, or that
    /// is read there, passes a test of its stored HU.
    pub(crate) fn any_within(
        &self,
        centre: PatientPoint,
        reach_mm: f64,
        test: impl Fn(i16) -> bool,
    ) -> bool {
        let Some(near) = Region::around(&self.grid, centre, reach_mm) else { return false };
        let ([x, y, z], [to_x, to_y, to_z]) = (near.from(), near.to());
        let rows = (z..to_z).flat_map(|z| (y..to_y).map(move |y| z * self.size[1] + y));
        rows.into_iter().any(|row| any(&self.hu.row(row)[x..to_x], &test))
    }

    /// Index steps of the 26 neighbours with their lengths in mm; faces first.
    pub(crate) fn neighbours(&self) -> Vec<Step> {
        let mut all: Vec<Step> = box_of([1; 3]).map(|by| self.step(by)).collect();
        all.retain(|step| step.by != [0; 3]);
        all.sort_by_key(|step| step.by.iter().map(|b| b.abs()).sum::<isize>());
        all
    }

    /// All steps whose length is at most `radius_mm`, the centre left out.
    pub(crate) fn ball(&self, radius_mm: f64) -> Vec<Step> {
        let reach = self.spacing_mm.map(|s| (radius_mm / s * 1.5) as isize + 1);
        let mut all: Vec<Step> = box_of(reach).map(|by| self.step(by)).collect();
        all.retain(|s| s.length_mm > 0.0 && s.length_mm <= radius_mm as f32 + 1e-4);
        all
    }

    pub(crate) fn step(&self, by: [isize; 3]) -> Step {
        let steps = self.grid.steps();
        let stretch = self.spacing_mm[2] / steps[2].length_mm();
        let offset: Offset =
            steps[0] * by[0] as f64 + steps[1] * by[1] as f64 + steps[2] * (by[2] as f64 * stretch);
        let strides = self.strides();
        Step {
            by,
            jump: by[0] + by[1] * strides[1] as isize + by[2] * strides[2] as isize,
            length_mm: offset.length_mm() as f32,
        }
    }
}

/// All index steps of a box, slices outermost.
pub(crate) fn box_of(reach: [isize; 3]) -> impl Iterator<Item = [isize; 3]> {
    let [x, y, z] = reach;
    (-z..=z).flat_map(move |dz| (-y..=y).flat_map(move |dy| (-x..=x).map(move |dx| [dx, dy, dz])))
}

/// A move from one voxel to another.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Step {
    pub(crate) by: [isize; 3],
    pub(crate) jump: isize,
    pub(crate) length_mm: f32,
}

impl Step {
    /// The same move some times, back where negative.
    pub(crate) fn times(&self, times: isize) -> Self {
        Self {
            by: self.by.map(|by| by * times),
            jump: self.jump * times,
            length_mm: self.length_mm * times.abs() as f32,
        }
    }

    /// Array position after the move from `index` at `at`; `None` outside.
    #[inline]
    pub(crate) fn from(&self, size: [usize; 3], index: [usize; 3], at: usize) -> Option<usize> {
        for axis in 0..3 {
            let moved = index[axis] as isize + self.by[axis];
            if moved < 0 || moved >= size[axis] as isize {
                return None;
            }
        }
        at.checked_add_signed(self.jump)
    }
}
