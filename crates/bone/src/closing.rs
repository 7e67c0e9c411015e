//! A set of voxels closed by a ball, 64 voxels at a time.

use pilothole_volume::Mask;
use rayon::prelude::*;

/// The voxels around which every place that a ball reaches lies within a ball of
/// one that belongs; places outside the box are not asked. No ball, no voxel.
///
/// - `ball`: index steps without the middle.
pub(crate) fn closed(mask: &Mask, ball: &[[isize; 3]]) -> Mask {
    if ball.is_empty() {
        return Mask::none(mask.size());
    }
    let wide = with_neighbours(mask, ball, 0, |a, b| a | b);
    with_neighbours(&wide, ball, u64::MAX, |a, b| a & b)
}

/// Each row with the rows that the steps lead to.
///
/// - `beyond`: bits past a row's ends.
fn with_neighbours(
    mask: &Mask,
    ball: &[[isize; 3]],
    beyond: u64,
    with: fn(u64, u64) -> u64,
) -> Mask {
    let [columns, rows, slices] = mask.size();
    let words = mask.words_per_row();
    let past = match columns % 64 {
        0 => 0,
        bits => u64::MAX << bits,
    };
    let nothing = |row: usize| mask.words()[row * words..][..words].iter().all(|word| *word == 0);
    let holds: Vec<bool> = (0..rows * slices).into_par_iter().map(|row| !nothing(row)).collect();
    let mut all = Mask::none(mask.size());
    all.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, to)| {
        let place = [row % rows, row / rows];
        let lead = |step: &[isize; 3]| {
            let [y, z] = [place[0] as isize + step[1], place[1] as isize + step[2]];
            let inside = y >= 0 && z >= 0 && (y as usize) < rows && (z as usize) < slices;
            inside.then(|| z as usize * rows + y as usize)
        };
        let own_too = [[0; 3]];
        let steps = || own_too.iter().chain(ball).filter_map(|step| Some((step[0], lead(step)?)));
        if steps().all(|(_, from)| !holds[from]) {
            return;
        }
        to.fill(beyond);
        for (step, from) in steps() {
            let from = &mask.words()[from * words..][..words];
            let word = |at: isize| match usize::try_from(at).ok().filter(|at| *at < words) {
                Some(at) if at + 1 == words => from[at] & !past | beyond & past,
                Some(at) => from[at],
                None => beyond,
            };
            let (jump, bits) = (step.div_euclid(64), step.rem_euclid(64));
            for (at, to) in to.iter_mut().enumerate() {
                let low = word(at as isize + jump) >> bits;
                let high = if bits == 0 { 0 } else { word(at as isize + jump + 1) << (64 - bits) };
                *to = with(*to, low | high);
            }
        }
        to[words - 1] &= !past;
    });
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_closing_is_that_of_a_look_at_every_voxel() {
        let ball: Vec<[isize; 3]> = crate::patch::box_of([2, 1, 1])
            .filter(|[x, y, z]| *x * *x + 2 * y * y + 3 * z * z <= 5 && [*x, *y, *z] != [0; 3])
            .collect();
        for columns in [5, 63, 64, 65, 130] {
            let size = [columns, 7, 6];
            let mask = Mask::where_true(size, |at| at * 37 % (11 + at % 3) < 1);
            let around = |index: [usize; 3]| {
                let steps = ball.iter().chain(&[[0; 3]]).filter_map(move |step| {
                    let to: [usize; 3] =
                        std::array::from_fn(|a| index[a].wrapping_add_signed(step[a]));
                    (0..3).all(|a| to[a] < size[a]).then_some(to)
                });
                steps.collect::<Vec<_>>()
            };
            let wide = |index| around(index).into_iter().any(|to| mask.has(to));
            let plainly = Mask::where_true(size, |at| {
                let index = [at % columns, at / columns % 7, at / (columns * 7)];
                around(index).into_iter().all(wide)
            });
            assert_eq!(closed(&mask, &ball), plainly);
        }
    }
}
