//! The moving mean over a box, by sums that slide along each axis.

use pilothole_volume::NOTHING_I16;
use rayon::prelude::*;

/// Layers that one task works on.
const SLAB: usize = 32;

/// A box that slides over an array.
pub(crate) struct Smooth {
    /// Columns, rows, layers of the array.
    pub(crate) size: [usize; 3],
    /// How far the box reaches to each side of its middle.
    pub(crate) reach: [usize; 3],
}

impl Smooth {
    /// Mean around each value, the box cut at the border and
    /// [`NOTHING_I16`] left out.
    pub(crate) fn of(&self, values: &[i16]) -> Vec<i16> {
        let plane = self.size[0] * self.size[1];
        let measured = |value: i16| if value == NOTHING_I16 { 0 } else { i32::from(value) };
        let sums = self.sums_in_layers(values, measured);
        let missing = values.par_iter().any(|value| *value == NOTHING_I16);
        let counts = missing.then(|| self.sums_in_layers(values, |v| i32::from(v != NOTHING_I16)));
        let full = self.full_counts();
        let mut out = vec![NOTHING_I16; values.len()];
        out.par_chunks_mut(plane * SLAB).enumerate().for_each(|(slab, out)| {
            let first = slab * SLAB;
            let moving = |of| MovingSum::new(of, plane, self.reach[2], first);
            let mut sum = moving(&sums);
            let mut count = counts.as_ref().map(|counts| moving(counts));
            for (z, out) in (first..).zip(out.chunks_mut(plane)) {
                match &mut count {
                    Some(count) => divide(out, sum.step(), count.step(), 1),
                    None => divide(out, sum.step(), &full, self.span(2, z)),
                }
            }
        });
        out
    }

    /// How many places of an axis the box holds around one of them.
    fn span(&self, axis: usize, at: usize) -> i32 {
        let (most, reach) = (self.size[axis], self.reach[axis]);
        ((at + reach + 1).min(most) - at.saturating_sub(reach)) as i32
    }

    /// Values in the box within a layer of which all are measured.
    fn full_counts(&self) -> Vec<i32> {
        let along: Vec<i32> = (0..self.size[0]).map(|x| self.span(0, x)).collect();
        (0..self.size[1])
            .flat_map(|y| along.iter().map(move |count| count * self.span(1, y)))
            .collect()
    }

    /// Sums of `value` over the box within each layer.
    fn sums_in_layers(&self, values: &[i16], value: impl Fn(i16) -> i32 + Sync) -> Vec<i32> {
        let columns = self.size[0];
        let plane = columns * self.size[1];
        let mut sums = vec![0_i32; values.len()];
        sums.par_chunks_mut(plane).zip(values.par_chunks(plane)).for_each(|(sums, values)| {
            let mut along = vec![0_i32; plane];
            for (out, row) in along.chunks_mut(columns).zip(values.chunks(columns)) {
                sum_along(row, self.reach[0], &value, out);
            }
            let mut across = MovingSum::new(&along, columns, self.reach[1], 0);
            for out in sums.chunks_mut(columns) {
                out.copy_from_slice(across.step());
            }
        });
        sums
    }
}

fn sum_along(row: &[i16], reach: usize, value: &impl Fn(i16) -> i32, out: &mut [i32]) {
    let add = |to: &mut [i32], from: &[i16]| {
        for (to, from) in to.iter_mut().zip(from) {
            *to += value(*from);
        }
    };
    add(out, row);
    for by in 1..=reach.min(row.len() - 1) {
        add(out, &row[by..]);
        add(&mut out[by..], row);
    }
}

fn divide(out: &mut [i16], sums: &[i32], counts: &[i32], times: i32) {
    for (out, (sum, count)) in out.iter_mut().zip(sums.iter().zip(counts)) {
        *out = quotient(*sum, count * times);
    }
}

/// The mean towards zero, [`NOTHING_I16`] of nothing; exact in f32, as no sum
/// passes 2^24.
#[inline]
pub(crate) fn quotient(sum: i32, count: i32) -> i16 {
    if count > 0 { (sum as f32 / count as f32) as i16 } else { NOTHING_I16 }
}

/// Sums over rows (or layers) of `length` within `reach` of one that moves on.
pub(crate) struct MovingSum<'a> {
    values: &'a [i32],
    length: usize,
    reach: usize,
    at: usize,
    sum: Vec<i32>,
}

impl<'a> MovingSum<'a> {
    pub(crate) fn new(values: &'a [i32], length: usize, reach: usize, at: usize) -> Self {
        let mut moving = Self { values, length, reach, at, sum: vec![0; length] };
        let count = values.len() / length;
        for row in at.saturating_sub(reach + 1)..(at + reach).min(count) {
            moving.add(row);
        }
        moving
    }

    /// The sum around the place reached, and one place on.
    pub(crate) fn step(&mut self) -> &[i32] {
        if let Some(gone) = self.at.checked_sub(self.reach + 1) {
            let gone = &self.values[gone * self.length..][..self.length];
            for (sum, value) in self.sum.iter_mut().zip(gone) {
                *sum -= value;
            }
        }
        let come = self.at + self.reach;
        if come < self.values.len() / self.length {
            self.add(come);
        }
        self.at += 1;
        &self.sum
    }

    fn add(&mut self, row: usize) {
        let come = &self.values[row * self.length..][..self.length];
        for (sum, value) in self.sum.iter_mut().zip(come) {
            *sum += value;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_is_that_of_the_box_cut_at_the_border() {
        let size = [5, 4, 37];
        let smooth = Smooth { size, reach: [1, 2, 3] };
        let value = |x: usize, y: usize, z: usize| ((x * 31 + y * 17 + z * 7) % 101) as i16;
        let index = |at: usize| [at % 5, at / 5 % 4, at / 20];
        for missing in [false, true] {
            let values: Vec<i16> = (0..740)
                .map(|at| {
                    let [x, y, z] = index(at);
                    if missing && (x + y + z) % 3 == 0 { NOTHING_I16 } else { value(x, y, z) }
                })
                .collect();
            for (at, found) in smooth.of(&values).into_iter().enumerate() {
                let middle = index(at);
                let near = |other: usize| {
                    (0..3).all(|a| index(other)[a].abs_diff(middle[a]) <= smooth.reach[a])
                };
                let around: Vec<i32> = (0..740)
                    .filter(|other| near(*other) && values[*other] != NOTHING_I16)
                    .map(|other| i32::from(values[other]))
                    .collect();
                let mean = around.iter().sum::<i32>() / around.len() as i32;
                assert_eq!(i32::from(found), mean, "{middle:?}, missing {missing}");
            }
        }
    }
}
