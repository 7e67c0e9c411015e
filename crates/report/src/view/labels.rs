//! Where names go in a crowded picture.

/// Height that a line of a still's text takes, in the picture's units.
pub(super) const LINE: f64 = 7.4;
/// Half lines that a name may be moved up or down: across a whole picture.
const MOST_LINES: i32 = 60;

/// Width that a name takes, in the picture's units: its letters in the bold
/// face of the stills, the widest of `DejaVu` Sans but for m and w.
fn width(name: &str, line: f64) -> f64 {
    (2.0 + 4.7 * name.chars().count() as f64) * line / LINE
}

/// The middle of every name, near the wanted place, inside a square of so many
/// units either way and clear of the names before it.
///
/// A name moves up or down by half lines, the nearest free one first; where
/// none is free within [`MOST_LINES`] it stays where it was wanted.
///
/// - `line`: height of a line of text, in the picture's units.
pub(crate) fn places(names: &[(&str, (f64, f64))], half: f64, line: f64) -> Vec<(f64, f64)> {
    let mut boxes: Vec<(f64, f64, f64)> = Vec::new();
    for (name, (x, y)) in names {
        let wide = width(name, line);
        let side = (half - 0.5 * wide).max(0.0);
        let x = x.clamp(-side, side);
        let top = half - 0.5 * line;
        let y = y.clamp(-top, top);
        let clear = |y: f64| {
            y.abs() <= top
                && boxes.iter().all(|(other_x, other_y, other)| {
                    (x - other_x).abs() >= 0.5 * (wide + other) || (y - other_y).abs() >= line
                })
        };
        let steps = (0..=MOST_LINES).flat_map(|row| [row, -row]);
        let free = steps.map(|row| y + f64::from(row) * 0.5 * line).find(|y| clear(*y));
        boxes.push((x, free.unwrap_or(y), wide));
    }
    boxes.into_iter().map(|(x, y, _)| (x, y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_at_one_place_end_up_apart_and_inside() {
        let names: Vec<(&str, (f64, f64))> = (0..14).map(|_| ("hole nam", (88.0, -85.0))).collect();
        let placed = places(&names, 90.0, LINE);
        for (index, (x, y)) in placed.iter().enumerate() {
            assert!(x.abs() + 0.5 * width("hole nam", LINE) <= 90.0 + 1e-9);
            assert!(y.abs() <= 90.0 - 0.5 * LINE + 1e-9);
            assert!(placed[..index].iter().all(|(_, other)| (other - y).abs() >= LINE - 1e-9));
        }
    }

    #[test]
    fn a_name_with_room_stays_where_it_was_wanted() {
        let placed = places(&[("a", (0.0, 0.0)), ("b", (20.0, 0.0))], 90.0, LINE);
        assert_eq!(placed, [(0.0, 0.0), (20.0, 0.0)]);
    }
}
