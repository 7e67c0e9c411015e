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

/// A mask without its connected sets of fewer than `least` voxels.
///
/// Two passes with union-find over runs of a row.
pub fn without_small(mask: &Mask, neighbours: Neighbours, least: usize) -> Mask {
    let rows = mask.size()[1];
    let runs = runs_of(mask);
    let mut parent: Vec<u32> = (0..runs.all.len() as u32).collect();
    let reach = usize::from(neighbours == Neighbours::TwentySix);
    for slice in 0..mask.size()[2] {
        for row in 0..rows {
            let own = runs.row(slice * rows + row);
            for (row_back, slice_back) in earlier_rows(row, slice, rows, neighbours) {
                join_rows(&runs, own.clone(), slice_back * rows + row_back, reach, &mut parent);
            }
        }
    }
    let mut sizes = vec![0_usize; runs.all.len()];
    for (index, run) in runs.all.iter().enumerate() {
        sizes[root(&mut parent, index as u32) as usize] += run.to - run.from;
    }
    let mut kept = Mask::none(mask.size());
    for row in 0..rows * mask.size()[2] {
        for index in runs.row(row) {
            if sizes[root(&mut parent, index as u32) as usize] >= least {
                for column in runs.all[index].from..runs.all[index].to {
                    kept.set([column, row % rows, row / rows], true);
                }
            }
        }
    }
    kept
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Flood fill, as slow and plain as can be.
    fn flood(mask: &Mask, neighbours: Neighbours, least: usize) -> Mask {
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
        let mut seen = vec![false; count];
        let mut kept = Mask::none(size);
        for seed in 0..count {
            if !mask.has(index(seed)) || seen[seed] {
                continue;
            }
            let mut set = vec![seed];
            seen[seed] = true;
            let mut next = 0;
            while let Some(at) = set.get(next).copied() {
                next += 1;
                let found: Vec<usize> = (0..count)
                    .filter(|o| mask.has(index(*o)) && !seen[*o] && near(index(at), index(*o)))
                    .collect();
                for other in found {
                    seen[other] = true;
                    set.push(other);
                }
            }
            if set.len() >= least {
                for at in set {
                    kept.set(index(at), true);
                }
            }
        }
        kept
    }

    proptest! {
        #[test]
        fn what_is_kept_equals_a_flood_fill(
            bits in proptest::collection::vec(any::<bool>(), 7 * 5 * 4),
            least in 1_usize..6,
        ) {
            let mask = Mask::where_true([7, 5, 4], |i| bits[i]);
            for neighbours in [Neighbours::Six, Neighbours::TwentySix] {
                let kept = without_small(&mask, neighbours, least);
                prop_assert_eq!(kept, flood(&mask, neighbours, least));
            }
        }
    }
}
