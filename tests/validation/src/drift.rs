//! Whether a page says what a run finds, to one unit in the last printed digit.

/// Lines of a page that differ by more than rounding.
///
/// Text must be equal. A number with a decimal point or an exponent may be off
/// by one unit of its last digit; a count must be equal.
pub fn drifts(committed: &str, made: &str) -> Vec<String> {
    let (old, new): (Vec<&str>, Vec<&str>) = (committed.lines().collect(), made.lines().collect());
    let mut found: Vec<String> = old
        .iter()
        .zip(&new)
        .enumerate()
        .filter(|(_, (a, b))| !is_same(a, b))
        .map(|(at, (a, b))| format!("line {}\n  committed {a}\n  found     {b}", at + 1))
        .collect();
    if old.len() != new.len() {
        found.push(format!("{} lines are committed, {} were made", old.len(), new.len()));
    }
    found
}

fn is_same(a: &str, b: &str) -> bool {
    let (a, b) = (parts(a), parts(b));
    a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| a == b || is_rounding(a, b))
}

/// Numbers and what stands between them.
fn parts(line: &str) -> Vec<&str> {
    let bytes = line.as_bytes();
    let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let (mut parts, mut start, mut at) = (Vec::new(), 0, 0);
    while at < bytes.len() {
        if !is_digit(at) {
            at += 1;
            continue;
        }
        // A sign belongs to the number where nothing stands before it.
        let signed = at > 0 && bytes[at - 1] == b'-' && (at < 2 || bytes[at - 2] == b' ');
        let from = at - usize::from(signed);
        while is_digit(at) || (bytes.get(at) == Some(&b'.') && is_digit(at + 1)) {
            at += 1;
        }
        if bytes.get(at) == Some(&b'e') && (is_digit(at + 1) || is_digit(at + 2)) {
            at += 2;
            while is_digit(at) {
                at += 1;
            }
        }
        parts.extend([&line[start..from], &line[from..at]]);
        start = at;
    }
    parts.push(&line[start..]);
    parts
}

/// Whether two numbers are one unit of their last digits apart, or less.
fn is_rounding(a: &str, b: &str) -> bool {
    let measured = |text: &str| text.contains(['.', 'e']);
    let (Ok(x), Ok(y)) = (a.parse::<f64>(), b.parse::<f64>()) else { return false };
    measured(a) && measured(b) && (x - y).abs() <= 1.000_001 * unit(a).max(unit(b))
}

/// One unit of the last digit.
fn unit(text: &str) -> f64 {
    let (digits, exponent) = text.split_once('e').unwrap_or((text, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, behind)| behind.len());
    10_f64.powi(exponent.parse::<i32>().unwrap_or(0) - decimals as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_unit_of_the_last_digit_is_rounding_and_two_are_drift() {
        for (a, b, same) in [
            ("| 0.12 |", "| 0.13 |", true),
            ("| 0.12 |", "| 0.14 |", false),
            ("| -0.010 mm |", "| -0.011 mm |", true),
            ("| -0.01 |", "| 0.01 |", false),
            ("| 1.2e-5 |", "| 1.3e-5 |", true),
            ("| 1.2e-5 |", "| 1.2e-4 |", false),
            ("| 12 values |", "| 13 values |", false),
            ("| mm |", "| cm |", false),
            ("0.99", "1.0", true),
        ] {
            assert_eq!(drifts(a, b).is_empty(), same, "{a} and {b}");
        }
    }

    #[test]
    fn a_line_more_is_drift() {
        assert_eq!(drifts("a\nb", "a").len(), 1);
    }
}
