//! Hounsfield units of a region, read where the scan keeps them.

use std::borrow::Cow;

use pilothole_volume::{NOTHING_I16, Region, Volume, Voxels};
use rayon::prelude::*;

/// HU of a region in whole units: a tenth of the noise of a scan, and a
/// thousandth of a voxel at an edge. A scan of other numbers is rounded into a
/// copy of two bytes a voxel; what lies beyond what two bytes hold (metal on an
/// extended scale) stays at their end.
pub(crate) struct Hu<'a> {
    all: Cow<'a, [i16]>,
    columns: usize,
    /// 2^64 over the columns, rounded up; 0 for one column.
    per_column: u64,
    /// Where each row of the region starts in `all`.
    starts: Vec<usize>,
    /// How far the next column, row and slice lie apart in `all`.
    jumps: [isize; 3],
}

impl Hu<'static> {
    /// Numbers of a region alone, in its array order.
    pub(crate) fn owned(all: Vec<i16>, [columns, rows, slices]: [usize; 3]) -> Self {
        let starts = (0..rows * slices).map(|row| row * columns).collect();
        Hu::kept(Cow::Owned(all), columns, rows, starts)
    }
}

impl<'a> Hu<'a> {
    pub(crate) fn of(volume: &'a Volume, region: Region) -> Self {
        let [columns, rows, slices] = region.size();
        let [x, y, z] = region.from();
        let start = |row: usize| volume.grid().offset_of([x, y + row % rows, z + row / rows]);
        let starts: Vec<usize> = (0..rows * slices).map(start).collect();
        match volume.voxels() {
            Voxels::I16(all) => Self::kept(Cow::Borrowed(all), columns, rows, starts),
            Voxels::F32(from) => {
                let mut all = vec![NOTHING_I16; columns * starts.len()];
                all.par_chunks_mut(columns).zip(&starts).for_each(|(out, start)| {
                    for (out, hu) in out.iter_mut().zip(&from[*start..]) {
                        *out = whole(*hu);
                    }
                });
                Hu::owned(all, region.size())
            }
        }
    }

    fn kept(all: Cow<'a, [i16]>, columns: usize, rows: usize, starts: Vec<usize>) -> Self {
        let per_column = (u64::MAX / columns as u64).wrapping_add(1);
        let apart = |row: usize| starts.get(row).map_or(0, |start| start - starts[0]) as isize;
        let jumps = [1, apart(1), apart(rows)];
        Self { all, columns, per_column, starts, jumps }
    }

    /// One row of the region, [`NOTHING_I16`] where nothing was measured.
    #[inline]
    pub(crate) fn row(&self, row: usize) -> &[i16] {
        &self.all[self.starts[row]..][..self.columns]
    }

    /// Rows of the region.
    pub(crate) fn rows(&self) -> usize {
        self.starts.len()
    }

    /// HU at a position in the region's array; NaN where nothing was measured.
    #[inline]
    pub(crate) fn at(&self, at: usize) -> f32 {
        whole_or_nan(self.stored(at))
    }

    /// The stored numbers of a voxel, the next column's, and the same of the
    /// next row, the next slice, and the next row of that; all in the region.
    #[inline]
    pub(crate) fn cell(&self, [x, y, z]: [usize; 3]) -> [[i16; 2]; 4] {
        let [_, row, slice] = self.jumps.map(|jump| jump as usize);
        let first = self.starts[0] + x + y * row + z * slice;
        [0, row, slice, slice + row].map(|jump| {
            let both = &self.all[first + jump..][..2];
            [both[0], both[1]]
        })
    }

    /// Whether a voxel was measured.
    #[inline]
    pub(crate) fn is_known(&self, at: usize) -> bool {
        self.stored(at) != NOTHING_I16
    }

    /// HU from a voxel on, without it, along an axis; NaN where nothing was
    /// measured.
    ///
    /// - `count`: how many; all in the region.
    #[inline]
    pub(crate) fn line(
        &self,
        at: usize,
        (axis, by): (usize, isize),
        count: usize,
    ) -> impl Iterator<Item = f32> {
        let first = self.place(at);
        let jump = by * self.jumps[axis];
        (1..=count as isize)
            .map(move |step| whole_or_nan(self.all[first.wrapping_add_signed(step * jump)]))
    }

    #[inline]
    fn stored(&self, at: usize) -> i16 {
        self.all[self.place(at)]
    }

    /// Where a voxel of the region lies in `all`.
    #[inline]
    fn place(&self, at: usize) -> usize {
        // Exact while position times columns stays below 2^64 (Lemire, Kaser
        // and Kurz 2019, Softw Pract Exp 49:953).
        let row = match self.per_column {
            0 => at,
            per_column => ((at as u128 * u128::from(per_column)) >> 64) as usize,
        };
        self.starts[row] + at - row * self.columns
    }
}

/// HU as kept in a row; NaN where nothing was measured.
#[inline]
pub(crate) fn whole_or_nan(hu: i16) -> f32 {
    if hu == NOTHING_I16 { f32::NAN } else { f32::from(hu) }
}

fn whole(hu: f32) -> i16 {
    if hu.is_nan() { NOTHING_I16 } else { (hu.round() as i16).max(NOTHING_I16 + 1) }
}

#[cfg(test)]
mod tests {
    use pilothole_volume::{Direction, Grid, PatientPoint};

    use super::*;

    #[test]
    fn positions_meet_their_voxels_whatever_the_row_is_long() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        for columns in [1_usize, 2, 3, 7, 64, 265] {
            let size = [columns + 2, 5, 4];
            let grid = Grid::from_axes(size, PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("fits");
            let count = size.iter().product::<usize>();
            let kinds = [
                Voxels::I16((0..count as i16).collect()),
                Voxels::F32((0..count).map(|hu| hu as f32 + 0.25).collect()),
            ];
            for voxels in kinds {
                let volume = Volume::new(grid.clone(), voxels, None).expect("fits");
                let (low, high) = (PatientPoint([1.0; 3]), [columns as f64, 3.0, 2.0]);
                let region = Region::spanning(&grid, low, PatientPoint(high)).expect("inside");
                let hu = Hu::of(&volume, region);
                let [nx, ny, nz] = region.size();
                for at in 0..nx * ny * nz {
                    let [x, y, z] = region.from();
                    let index = [x + at % nx, y + at / nx % ny, z + at / (nx * ny)];
                    assert!((hu.at(at) - volume.hu_or_nan(index).floor()).abs() < 1e-6);
                    assert!((f32::from(hu.row(at / nx)[at % nx]) - hu.at(at)).abs() < 1e-6);
                    let left = at / nx % ny;
                    let back = hu.line(at, (1, -1), left);
                    assert!(back.eq((1..=left).map(|step| hu.at(at - step * nx))));
                    let on = hu.line(at, (2, 1), nz - 1 - at / (nx * ny));
                    assert!(
                        on.eq((at + nx * ny..nx * ny * nz).step_by(nx * ny).map(|at| hu.at(at)))
                    );
                }
            }
        }
    }
}
