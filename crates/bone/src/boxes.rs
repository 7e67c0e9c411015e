//! Masks shrunk and grown by boxes, 64 voxels at a time.

use pilothole_volume::Mask;
use rayon::prelude::*;

/// The voxels whose whole box belongs; what lies outside does not belong.
///
/// - `half`: voxels to each side of the box's middle.
pub(crate) fn eroded(mask: &Mask, half: [usize; 3]) -> Mask {
    let meet = |a: u64, b: u64| a & b;
    let along = along_rows(mask, half[0], meet);
    along_axis(&along_axis(&along, Axis::Rows, half[1], meet), Axis::Slices, half[2], meet)
}

/// The voxels in whose box something belongs.
pub(crate) fn grown(mask: &Mask, half: [usize; 3]) -> Mask {
    let join = |a: u64, b: u64| a | b;
    let along = along_rows(mask, half[0], join);
    along_axis(&along_axis(&along, Axis::Rows, half[1], join), Axis::Slices, half[2], join)
}

/// Each voxel with its neighbours in the row.
fn along_rows(mask: &Mask, half: usize, with: fn(u64, u64) -> u64) -> Mask {
    let mut all = mask.clone();
    let [columns, ..] = mask.size();
    let words = mask.words_per_row();
    // Bits past the row's end stay clear.
    let last = match columns % 64 {
        0 => u64::MAX,
        bits => (1 << bits) - 1,
    };
    all.words_mut().par_chunks_mut(words).for_each(|row| {
        for _ in 0..half {
            let mut before = 0;
            for word in 0..row.len() {
                let next = row.get(word + 1).copied().unwrap_or(0);
                let own = row[word];
                row[word] = with(with(own, own << 1 | before >> 63), own >> 1 | next << 63);
                before = own;
            }
            row[words - 1] &= last;
        }
    });
    all
}

/// Across rows, or across slices.
#[derive(Clone, Copy)]
enum Axis {
    Rows,
    Slices,
}

fn along_axis(mask: &Mask, axis: Axis, half: usize, with: fn(u64, u64) -> u64) -> Mask {
    let [_, rows, slices] = mask.size();
    let words = mask.words_per_row();
    let clear = vec![0; words];
    let mut all = mask.clone();
    all.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, to)| {
        let (at, count, stride) = match axis {
            Axis::Rows => (row % rows, rows, 1),
            Axis::Slices => (row / rows, slices, rows),
        };
        for by in 1..=half {
            let below = (at >= by).then(|| row - by * stride);
            let above = (at + by < count).then(|| row + by * stride);
            for other in [below, above] {
                let other = other.map_or(&clear[..], |row| &mask.words()[row * words..][..words]);
                for (to, other) in to.iter_mut().zip(other) {
                    *to = with(*to, *other);
                }
            }
        }
    });
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Voxel by voxel, over the whole box.
    fn plainly(mask: &Mask, half: [usize; 3], all: bool) -> Mask {
        let size = mask.size();
        Mask::where_true(size, |at| {
            let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
            let mut of_box = (0..=2 * half[2]).flat_map(|z| {
                (0..=2 * half[1]).flat_map(move |y| (0..=2 * half[0]).map(move |x| [x, y, z]))
            });
            let has = |by: [usize; 3]| {
                let to: [usize; 3] =
                    std::array::from_fn(|a| (index[a] + by[a]).wrapping_sub(half[a]));
                (0..3).all(|a| to[a] < size[a]) && mask.has(to)
            };
            if all { of_box.all(has) } else { of_box.any(has) }
        })
    }

    #[test]
    fn boxes_are_those_of_a_look_at_every_voxel() {
        for columns in [5, 63, 64, 65, 130] {
            let size = [columns, 9, 8];
            for (step, most) in [(7_usize, 6_usize), (31, 1)] {
                let mask = Mask::where_true(size, |at| at * 37 % (step + at % 3) < most);
                for half in [[1, 1, 1], [3, 2, 1], [0, 3, 2]] {
                    assert_eq!(eroded(&mask, half), plainly(&mask, half, true));
                    assert_eq!(grown(&mask, half), plainly(&mask, half, false));
                }
            }
        }
    }
}
