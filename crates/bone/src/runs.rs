//! Connected pieces of labelled voxels, by runs of a row.

use std::collections::BTreeMap;

use rayon::prelude::*;

/// Voxels of one label side by side in a row.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Run {
    pub(crate) label: u8,
    /// Array position of the first voxel, and of the first beyond.
    pub(crate) from: usize,
    pub(crate) to: usize,
}

/// A piece of one label connected across faces.
pub(crate) struct Piece {
    pub(crate) label: u8,
    pub(crate) voxel_count: usize,
    pub(crate) runs: Vec<Run>,
}

impl Piece {
    /// Array positions of the piece's voxels, rising.
    pub(crate) fn voxels(&self) -> impl Iterator<Item = usize> + '_ {
        self.runs.iter().flat_map(|run| run.from..run.to)
    }
}

/// Voxels of the largest piece of each label.
pub(crate) fn largest(pieces: &[Piece]) -> BTreeMap<u8, usize> {
    let mut largest: BTreeMap<u8, usize> = BTreeMap::new();
    for piece in pieces {
        let most = largest.entry(piece.label).or_insert(0);
        *most = (*most).max(piece.voxel_count);
    }
    largest
}

/// The pieces of all labels but 0, in the order of their first voxels.
pub(crate) fn pieces(labels: &[u8], size: [usize; 3]) -> Vec<Piece> {
    let [columns, rows, _] = size;
    let by_row: Vec<Vec<Run>> = labels
        .par_chunks(columns)
        .enumerate()
        .map(|(row, labels)| runs_of(labels, row * columns))
        .collect();
    let mut starts = Vec::with_capacity(by_row.len() + 1);
    let mut count = 0;
    for row in &by_row {
        starts.push(count);
        count += row.len();
    }
    let mut sets = Sets { parent: (0..count as u32).collect() };
    for row in 0..by_row.len() {
        if row % rows > 0 {
            join(&by_row, &starts, [row - 1, row], columns, &mut sets);
        }
        if row >= rows {
            join(&by_row, &starts, [row - rows, row], rows * columns, &mut sets);
        }
    }
    let mut piece_of = vec![usize::MAX; count];
    let mut pieces: Vec<Piece> = Vec::new();
    for (number, run) in by_row.into_iter().flatten().enumerate() {
        let root = sets.root(number as u32) as usize;
        if piece_of[root] == usize::MAX {
            piece_of[root] = pieces.len();
            pieces.push(Piece { label: run.label, voxel_count: 0, runs: Vec::new() });
        }
        let piece = &mut pieces[piece_of[root]];
        piece.voxel_count += run.to - run.from;
        piece.runs.push(run);
    }
    pieces
}

fn runs_of(labels: &[u8], start: usize) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (x, label) in labels.iter().enumerate() {
        if *label == 0 {
            continue;
        }
        match runs.last_mut() {
            Some(run) if run.to == start + x && run.label == *label => run.to += 1,
            _ => runs.push(Run { label: *label, from: start + x, to: start + x + 1 }),
        }
    }
    runs
}

/// Join the runs of a row with those of a neighbouring one `shift` before it.
fn join(
    rows: &[Vec<Run>],
    starts: &[usize],
    [before, here]: [usize; 2],
    shift: usize,
    sets: &mut Sets,
) {
    let (mut a, mut b) = (0, 0);
    while let (Some(old), Some(new)) = (rows[before].get(a), rows[here].get(b)) {
        let (old_from, old_to) = (old.from + shift, old.to + shift);
        if old_from < new.to && new.from < old_to && old.label == new.label {
            sets.join((starts[before] + a) as u32, (starts[here] + b) as u32);
        }
        if old_to < new.to {
            a += 1;
        } else {
            b += 1;
        }
    }
}

struct Sets {
    parent: Vec<u32>,
}

impl Sets {
    fn root(&mut self, mut at: u32) -> u32 {
        while self.parent[at as usize] != at {
            let above = self.parent[self.parent[at as usize] as usize];
            self.parent[at as usize] = above;
            at = above;
        }
        at
    }

    /// The lower root stays, so numbers do not depend on the order of joins.
    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        let (low, high) = (a.min(b), a.max(b));
        self.parent[high as usize] = low;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_join_across_faces_only_and_keep_labels_apart() {
        // Two slices of 3 by 4: a 1 that meets itself in the second slice, a 1
        // that touches it by an edge only, a 2 beside it.
        let labels = [
            1, 1, 0, 2, //
            0, 0, 1, 2, //
            1, 0, 0, 0, //
            0, 1, 0, 0, //
            0, 0, 0, 2, //
            0, 0, 0, 0,
        ];
        let found = pieces(&labels, [4, 3, 2]);
        let sizes: Vec<(u8, usize)> = found.iter().map(|p| (p.label, p.voxel_count)).collect();
        assert_eq!(sizes, [(1, 3), (2, 3), (1, 1), (1, 1)]);
        assert_eq!(found[0].voxels().collect::<Vec<_>>(), [0, 1, 13]);
    }
}
