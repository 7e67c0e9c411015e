//! Connected sets of voxels.

use crate::mask::Mask;

/// Which neighbours connect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Neighbours {
    /// Across faces.
    Six,
    /// Across faces, edges and corners.
    TwentySix,
}

/// The connected sets of a mask.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Components {
    /// Number of the set of each voxel in array order, from 1; 0 outside.
    pub numbers: Vec<u32>,
    /// Voxels of each set; `sizes[0]` is the count of voxels outside.
    pub sizes: Vec<usize>,
}

/// Number the connected sets of a mask, in the order of their first voxels.
///
/// Two passes with union-find over runs of a row; the same numbers for any
/// machine.
pub fn components(mask: &Mask, neighbours: Neighbours) -> Components {
    let size = mask.size();
    let runs = runs_of(mask);
    let mut parent: Vec<u32> = (0..runs.all.len() as u32).collect();
    let reach = usize::from(neighbours == Neighbours::TwentySix);
    for slice in 0..size[2] {
        for row in 0..size[1] {
            let own = runs.row(slice * size[1] + row);
            for (row_back, slice_back) in earlier_rows(row, slice, size[1], neighbours) {
                join_rows(&runs, own.clone(), slice_back * size[1] + row_back, reach, &mut parent);
            }
        }
    }
    number(size, &runs, &mut parent)
}

struct Run {
    from: usize,
    to: usize,
}

struct Runs {
    all: Vec<Run>,
    starts: Vec<usize>,
}

impl Runs {
    fn row(&self, row: usize) -> std::ops::Range<usize> {
        self.starts[row]..self.starts[row + 1]
    }
}

fn runs_of(mask: &Mask) -> Runs {
    let size = mask.size();
    let mut runs = Runs { all: Vec::new(), starts: vec![0] };
    for row in 0..size[1] * size[2] {
        let words = &mask.words()[row * mask.words_per_row()..(row + 1) * mask.words_per_row()];
        let mut open = None;
        for (at, word) in words.iter().enumerate() {
            if open.is_none() && *word == 0 {
                continue;
            }
            for bit in 0..64 {
                match (word >> bit & 1 == 1, open) {
                    (true, None) => open = Some(at * 64 + bit),
                    (false, Some(from)) => {
                        runs.all.push(Run { from, to: at * 64 + bit });
                        open = None;
                    }
                    _ => {}
                }
            }
        }
        if let Some(from) = open {
            runs.all.push(Run { from, to: size[0] });
        }
        runs.starts.push(runs.all.len());
    }
    runs
}

/// Rows that come before this one and can touch it.
fn earlier_rows(
    row: usize,
    slice: usize,
    rows: usize,
    neighbours: Neighbours,
) -> impl Iterator<Item = (usize, usize)> {
    let deep = neighbours == Neighbours::TwentySix;
    let same = row.checked_sub(1).map(|r| (r, slice));
    let below = slice.checked_sub(1).map(|s| (row, s));
    let back = slice.checked_sub(1).filter(|_| deep).zip(row.checked_sub(1)).map(|(s, r)| (r, s));
    let front = slice.checked_sub(1).filter(|_| deep && row + 1 < rows).map(|s| (row + 1, s));
    [same, below, back, front].into_iter().flatten()
}

fn join_rows(
    runs: &Runs,
    own: std::ops::Range<usize>,
    other_row: usize,
    reach: usize,
    parent: &mut [u32],
) {
    let mut others = runs.row(other_row);
    for index in own {
        let run = &runs.all[index];
        while !others.is_empty() && runs.all[others.start].to + reach <= run.from {
            others.start += 1;
        }
        for other in others.clone() {
            if runs.all[other].from >= run.to + reach {
                break;
            }
            let (a, b) = (root(parent, index as u32), root(parent, other as u32));
            parent[a.max(b) as usize] = a.min(b);
        }
    }
}

fn root(parent: &mut [u32], mut at: u32) -> u32 {
    while parent[at as usize] != at {
        parent[at as usize] = parent[parent[at as usize] as usize];
        at = parent[at as usize];
    }
    at
}

fn number(size: [usize; 3], runs: &Runs, parent: &mut [u32]) -> Components {
    let mut numbers = vec![0_u32; size.iter().product()];
    let mut sizes = vec![0_usize];
    let mut number_of = vec![0_u32; runs.all.len()];
    for row in 0..size[1] * size[2] {
        for index in runs.row(row) {
            let top = root(parent, index as u32) as usize;
            if number_of[top] == 0 {
                number_of[top] = sizes.len() as u32;
                sizes.push(0);
            }
            let run = &runs.all[index];
            numbers[row * size[0] + run.from..row * size[0] + run.to].fill(number_of[top]);
            sizes[number_of[top] as usize] += run.to - run.from;
        }
    }
    sizes[0] = numbers.len() - sizes.iter().sum::<usize>();
    Components { numbers, sizes }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Flood fill, as slow and plain as can be.
    fn flood(mask: &Mask, neighbours: Neighbours) -> Vec<u32> {
        let size = mask.size();
        let count: usize = size.iter().product();
        let index = |i: usize| [i % size[0], i / size[0] % size[1], i / (size[0] * size[1])];
        let near = |a: [usize; 3], b: [usize; 3]| {
            let apart: Vec<usize> = (0..3).map(|i| a[i].abs_diff(b[i])).collect();
            match neighbours {
                Neighbours::Six => apart.iter().sum::<usize>() == 1,
                Neighbours::TwentySix => apart.iter().all(|d| *d <= 1),
            }
        };
        let mut numbers = vec![0; count];
        let mut next = 0;
        for seed in 0..count {
            if !mask.has(index(seed)) || numbers[seed] != 0 {
                continue;
            }
            next += 1;
            let mut open = vec![seed];
            numbers[seed] = next;
            while let Some(at) = open.pop() {
                let found: Vec<usize> = (0..count)
                    .filter(|o| {
                        mask.has(index(*o)) && numbers[*o] == 0 && near(index(at), index(*o))
                    })
                    .collect();
                for other in found {
                    numbers[other] = next;
                    open.push(other);
                }
            }
        }
        numbers
    }

    proptest! {
        #[test]
        fn numbers_equal_a_flood_fill(bits in proptest::collection::vec(any::<bool>(), 7 * 5 * 4)) {
            let mask = Mask::where_true([7, 5, 4], |i| bits[i]);
            for neighbours in [Neighbours::Six, Neighbours::TwentySix] {
                prop_assert_eq!(components(&mask, neighbours).numbers, flood(&mask, neighbours));
            }
        }
    }
}
