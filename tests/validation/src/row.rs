//! One comparison with the outside world, and how its figures are printed.

use std::fmt;

/// How sure the outside value is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tag {
    /// Seen in an opened text.
    Confirmed,
    /// Follows from a definition.
    Derived,
    /// A formula or coefficient not seen in print.
    Memory,
    /// Recorded from running another program.
    Recorded,
    /// Our own answers a second time: no outside value exists.
    Own,
}

impl fmt::Display for Tag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Confirmed => "confirmed",
            Self::Derived => "derived",
            Self::Memory => "from memory",
            Self::Recorded => "recorded",
            Self::Own => "own",
        })
    }
}

/// A row of the page.
#[derive(Clone, Debug)]
pub struct Row {
    /// What the README and the check call it.
    pub id: &'static str,
    /// What was compared.
    pub what: String,
    /// With which outside source.
    pub source: String,
    /// How sure that is.
    pub tag: Tag,
    /// Figures, as many as the section's head names.
    pub figures: Vec<String>,
    /// The test that holds it: file, then function.
    pub test: &'static str,
    /// Whether it needs a scan that is not in the repository.
    pub needs_scan: bool,
}

/// Heads of the figures of [`figures`].
pub const ERROR_HEADS: [&str; 5] = ["values", "unit", "bias", "RMS", "worst"];

/// Number, bias, root mean square and worst of some errors.
pub fn figures(errors: &[f64], unit: &str) -> Vec<String> {
    let count = errors.len();
    if count == 0 {
        return ["0", unit, "not run", "not run", "not run"].map(str::to_owned).to_vec();
    }
    let (bias, rms, worst) = summary(errors);
    vec![count.to_string(), unit.to_owned(), two(bias), two(rms), two(worst)]
}

/// Bias, root mean square, worst.
pub fn summary(errors: &[f64]) -> (f64, f64, f64) {
    let count = errors.len().max(1) as f64;
    let bias = errors.iter().sum::<f64>() / count;
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt();
    let worst = errors.iter().map(|e| e.abs()).fold(0.0, f64::max);
    (bias, rms, worst)
}

/// Below this a difference is the rounding of floating-point numbers.
const NOTHING: f64 = 1e-9;

/// Two significant digits; below a billionth only that it is so.
pub fn two(value: f64) -> String {
    let size = value.abs();
    if !value.is_finite() {
        return "none".to_owned();
    }
    if size < NOTHING {
        return "< 1e-9".to_owned();
    }
    let digits = size.log10().floor() as i32;
    match digits {
        2.. => format!("{value:.1}"),
        -3..=1 => format!("{value:.*}", (1 - digits) as usize),
        _ => format!("{value:.1e}"),
    }
}

/// A share in per cent, one decimal.
pub fn per_cent(part: usize, all: usize) -> String {
    format!("{:.1} %", 100.0 * part as f64 / all.max(1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_two_digits() {
        let shown: Vec<String> =
            [0.0, 1e-12, -0.000_123, 0.004_56, 0.25, -1.26, 31.4, 240.0].map(two).to_vec();
        let want = ["< 1e-9", "< 1e-9", "-1.2e-4", "0.0046", "0.25", "-1.3", "31", "240.0"];
        assert_eq!(shown, want);
    }

    #[test]
    fn bias_rms_and_worst_are_those_of_the_errors() {
        let (bias, rms, worst) = summary(&[1.0, -3.0]);
        assert!((bias + 1.0).abs() < 1e-12 && (rms - 5.0_f64.sqrt()).abs() < 1e-12);
        assert!((worst - 3.0).abs() < 1e-12);
    }
}
