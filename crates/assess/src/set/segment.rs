//! Where two segments come nearest to each other.

use pilothole_volume::{Offset, PatientPoint};

/// The points, one of each segment, that are nearest to each other; of
/// parallel ones a pair of them.
///
/// # References
///
/// Ericson C 2005, Real-Time Collision Detection, 5.1.9.
pub(crate) fn nearest_points(
    [a, b]: [PatientPoint; 2],
    [c, d]: [PatientPoint; 2],
) -> [PatientPoint; 2] {
    let (p, q, r): (Offset, Offset, Offset) = (b - a, d - c, a - c);
    let (pp, qq, qr) = (p.dot(p), q.dot(q), q.dot(r));
    let (pr, pq) = (p.dot(r), p.dot(q));
    let flat = pp * qq - pq * pq;
    let mut s =
        if flat > 1e-12 * pp * qq { ((pq * qr - pr * qq) / flat).clamp(0.0, 1.0) } else { 0.0 };
    let mut t = if qq > 0.0 { (pq * s + qr) / qq } else { 0.0 };
    if qq == 0.0 || !(0.0..=1.0).contains(&t) {
        t = t.clamp(0.0, 1.0);
        s = if pp > 0.0 { ((pq * t - pr) / pp).clamp(0.0, 1.0) } else { 0.0 };
    }
    [a + p * s, c + q * t]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_of_segments_are_those_of_geometry() {
        let points = |from: [f64; 3], to: [f64; 3]| [PatientPoint(from), PatientPoint(to)];
        let along = points([0.0; 3], [10.0, 0.0, 0.0]);
        let rows = [
            (points([5.0, -5.0, 4.0], [5.0, 5.0, 4.0]), 4.0),
            (points([0.0, 3.0, 0.0], [10.0, 3.0, 0.0]), 3.0),
            (points([13.0, 4.0, 0.0], [20.0, 4.0, 0.0]), 5.0),
            (points([-3.0, 0.0, 0.0], [-9.0, 0.0, 0.0]), 3.0),
            (points([5.0, 0.0, 0.0], [5.0, 9.0, 0.0]), 0.0),
            // A point.
            (points([5.0, 2.0, 0.0], [5.0, 2.0, 0.0]), 2.0),
        ];
        for (other, apart) in rows {
            for [x, y] in [nearest_points(along, other), nearest_points(other, along)] {
                let found = x.distance_mm(y);
                assert!((found - apart).abs() < 1e-12, "{found} {apart}");
            }
        }
    }
}
