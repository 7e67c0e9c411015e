//! The known word nearest to a mistyped one.

/// Longest word that is compared; beyond it nothing is a typing error.
const MAX_LETTERS: usize = 64;

/// The word of `known` that is nearest to `typed`, if one is near.
///
/// Near is an edit distance (insertions, deletions, replacements, swaps of
/// neighbours; letter case ignored) of at most two letters, or a third of the
/// typed word's length where that is more. The first of equals wins.
pub fn nearest_word<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = letters(typed)?;
    let reach = 2.max(typed.len() / 3);
    let mut best: Option<(usize, &str)> = None;
    for word in known {
        let Some(candidate) = letters(word) else { continue };
        if candidate.len().abs_diff(typed.len()) > reach {
            continue;
        }
        let distance = edit_distance(&typed, &candidate);
        if distance <= reach && best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, word));
        }
    }
    best.map(|(_, word)| word)
}

fn letters(word: &str) -> Option<Vec<char>> {
    let letters: Vec<char> =
        word.chars().take(MAX_LETTERS + 1).flat_map(char::to_lowercase).collect();
    (!letters.is_empty() && letters.len() <= MAX_LETTERS).then_some(letters)
}

/// Optimal string alignment distance, three rows of the table at a time.
fn edit_distance(a: &[char], b: &[char]) -> usize {
    let mut before = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let replaced = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = last;
        last = row;
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        let known = ["length_mm", "seat_mm", "direction", "swivel_deg"];
        for (typed, expected) in [
            ("lenght_mm", Some("length_mm")),
            ("Direction", Some("direction")),
            ("swivel", None),
            ("swivel_dg", Some("swivel_deg")),
            ("", None),
        ] {
            assert_eq!(nearest_word(typed, known), expected, "{typed}");
        }
    }

    #[test]
    fn swapped_neighbours_count_once() {
        let of = |a: &str, b: &str| edit_distance(&letters(a).unwrap(), &letters(b).unwrap());
        assert_eq!(of("abcd", "abdc"), 1);
        assert_eq!(of("kitten", "sitting"), 3);
        assert_eq!(of("abc", "abc"), 0);
    }
}
