//! Which stocked length a hole takes.

use pilothole_plan::FarCortex;

/// The recommended length, seat to tip, mm; `None` when none in stock is safe.
///
/// - stop short: the longest whose tip stays `margin_mm` before the far end.
/// - engage: the shortest whose tip passes the far end, if it does not pass by
///   more than `margin_mm`; it never falls back to stopping short.
///
/// `far_mm`: position of the far end from the seat, mm.
pub fn recommend_length(
    stocked_mm: &[f64],
    far_mm: f64,
    policy: FarCortex,
    margin_mm: f64,
) -> Option<f64> {
    match policy {
        FarCortex::StopShort => stocked_mm
            .iter()
            .copied()
            .filter(|length| *length <= far_mm - margin_mm + LENGTH_ROUNDING_MM)
            .reduce(f64::max),
        FarCortex::Engage => stocked_mm
            .iter()
            .copied()
            .filter(|length| *length > far_mm)
            .reduce(f64::min)
            .filter(|length| *length <= far_mm + margin_mm + LENGTH_ROUNDING_MM),
    }
}

/// Whether a length's tip is where the policy wants it.
pub fn tip_is_safe(length_mm: f64, far_mm: f64, policy: FarCortex, margin_mm: f64) -> bool {
    match policy {
        FarCortex::StopShort => length_mm <= far_mm - margin_mm + LENGTH_ROUNDING_MM,
        FarCortex::Engage => {
            length_mm > far_mm && length_mm <= far_mm + margin_mm + LENGTH_ROUNDING_MM
        }
    }
}

/// Allowance for the rounding of sums of millimetres, mm; a million times
/// below what a scan can tell.
const LENGTH_ROUNDING_MM: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;

    const STOCK: [f64; 5] = [20.0, 25.0, 30.0, 35.0, 40.0];

    #[test]
    fn stopping_short_takes_the_longest_that_keeps_the_margin() {
        let take = |far| recommend_length(&STOCK, far, FarCortex::StopShort, 2.0);
        assert_eq!(take(32.0), Some(30.0));
        assert_eq!(take(31.99), Some(25.0));
        assert_eq!(take(21.9), None);
        assert_eq!(take(90.0), Some(40.0));
    }

    #[test]
    fn engaging_takes_the_shortest_that_passes_and_never_falls_back() {
        let take = |far| recommend_length(&STOCK, far, FarCortex::Engage, 2.0);
        assert_eq!(take(28.5), Some(30.0));
        assert_eq!(take(30.0), None);
        assert_eq!(take(27.9), None);
        assert_eq!(take(45.0), None);
    }
}
