//! Room for words in a crowded chart.

/// A box: left, top, right, bottom.
pub(super) type Room = [f64; 4];

/// Whether a box meets none of those taken.
pub(super) fn is_free(own: Room, taken: &[Room]) -> bool {
    taken.iter().all(|other| {
        own[0] > other[2] || own[2] < other[0] || own[1] > other[3] || own[3] < other[1]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_is_free_beside_others_and_taken_where_it_meets_one() {
        let taken = [[0.0, 0.0, 2.0, 1.0]];
        for beside in [[3.0, 0.0, 4.0, 1.0], [-2.0, 0.0, -1.0, 1.0], [0.0, 2.0, 2.0, 3.0]] {
            assert!(is_free(beside, &taken), "{beside:?}");
        }
        for meets in [[1.0, 0.5, 4.0, 3.0], [0.5, 0.2, 0.6, 0.3], [-1.0, -1.0, 3.0, 2.0]] {
            assert!(!is_free(meets, &taken), "{meets:?}");
        }
        assert!(is_free([0.0; 4], &[]));
    }
}
