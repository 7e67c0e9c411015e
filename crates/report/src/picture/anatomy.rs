//! Directions in the words of anatomy.

use pilothole_plan::Side;

/// Least component, of a unit vector, that earns a second word.
///
/// 0.45 is 27° off the first word's axis.
const SECOND_WORD: f64 = 0.45;

/// A direction in one or two words: `superior`, `anterior and lateral`.
///
/// Lateral is away from the midline on the operated side.
pub(crate) fn direction_words(lps: [f64; 3], side: Side) -> String {
    let outward = match side {
        Side::Left => 1.0,
        Side::Right => -1.0,
    };
    let mut parts = [
        (lps[2], "superior", "inferior"),
        (lps[1], "posterior", "anterior"),
        (lps[0] * outward, "lateral", "medial"),
    ];
    parts.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let word =
        |part: (f64, &'static str, &'static str)| if part.0 >= 0.0 { part.1 } else { part.2 };
    let first = word(parts[0]);
    if parts[1].0.abs() >= SECOND_WORD {
        format!("{first} and {}", word(parts[1]))
    } else {
        first.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lateral_is_outward_on_both_sides() {
        assert_eq!(direction_words([1.0, 0.0, 0.0], Side::Left), "lateral");
        assert_eq!(direction_words([1.0, 0.0, 0.0], Side::Right), "medial");
        assert_eq!(direction_words([0.0, -0.6, 0.8], Side::Left), "superior and anterior");
        assert_eq!(direction_words([0.0, 0.1, -0.99], Side::Left), "inferior");
    }
}
