//! How far a lattice goes on alike around each of its places.

/// For every place of a box, how many places in every direction, along edges
/// and diagonals, are of its own kind; 0 for the kind 0.
///
/// - `kinds`: columns fastest, then rows; what lies outside the box is of no
///   place's kind.
///
/// The chessboard distance to the nearest place of another kind, less one: two
/// sweeps over the 26 neighbours give it exactly (Rosenfeld and Pfaltz 1968,
/// Pattern Recognit 1:33). At most 254.
pub(crate) fn reaches(size: [usize; 3], kinds: &[u8]) -> Vec<u8> {
    let mut off: Vec<u8> = kinds.iter().map(|kind| if *kind == 0 { 0 } else { u8::MAX }).collect();
    for at in 0..kinds.len() {
        sweep(size, kinds, &mut off, at, false);
    }
    for at in (0..kinds.len()).rev() {
        sweep(size, kinds, &mut off, at, true);
    }
    off.into_iter().map(|off| off.saturating_sub(1)).collect()
}

/// Bring the distance of one place down to what its neighbours before it say,
/// or those after it.
fn sweep(size: [usize; 3], kinds: &[u8], off: &mut [u8], at: usize, after: bool) {
    if kinds[at] == 0 {
        return;
    }
    let place = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
    if (0..3).any(|i| place[i] == 0 || place[i] + 1 == size[i]) {
        off[at] = 1;
        return;
    }
    let (row, slice) = (size[0], size[0] * size[1]);
    // Of three rows of three places, and then of the place's own row.
    let ends = [slice + row, slice, slice - row, row];
    let mut least = off[at];
    let mut look = |near: usize| {
        let theirs = if kinds[near] == kinds[at] { off[near] } else { 0 };
        least = least.min(theirs.saturating_add(1));
    };
    for end in ends {
        let middle = if after { at + end } else { at - end };
        (middle - 1..=middle + 1).for_each(&mut look);
    }
    look(if after { at + 1 } else { at - 1 });
    off[at] = least;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reach_is_that_of_the_largest_box_alike() {
        let size = [17, 13, 11];
        let index = |i: usize| [i % 17, i / 17 % 13, i / (17 * 13)];
        let kinds: Vec<u8> = (0..17 * 13 * 11)
            .map(|i| match index(i) {
                [_, 3, 7] | [11, 9, 2] => 0,
                [x, y, z] => 1 + u8::from(x + y / 2 + z / 3 > 16),
            })
            .collect();
        let alike = |i: usize, reach: usize| {
            let at = index(i);
            (0..kinds.len())
                .filter(|j| (0..3).all(|a| index(*j)[a].abs_diff(at[a]) <= reach))
                .all(|j| kinds[j] == kinds[i])
                && (0..3).all(|a| at[a] >= reach && at[a] + reach < size[a])
        };
        let mut wide = 0;
        for (i, reach) in reaches(size, &kinds).into_iter().enumerate() {
            let reach = usize::from(reach);
            wide += usize::from(reach > 1);
            if kinds[i] == 0 {
                assert_eq!(reach, 0);
            } else {
                assert!(alike(i, reach) && !alike(i, reach + 1), "{reach} at {:?}", index(i));
            }
        }
        assert!(wide > 100, "{wide}");
    }
}
