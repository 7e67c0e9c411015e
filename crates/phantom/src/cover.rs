//! How much of a small cell lies on the inner side of a plane, exactly.

/// The share of a parallelepiped on the inner side of a plane.
///
/// - `distance`: of the cell's centre from the plane, positive outside.
/// - `widths`: for each of the cell's edges, how far it runs along the plane's
///   normal (absolute value), in the unit of `distance`.
///
/// # Accuracy
///
/// Exact but for rounding; an edge that runs less than 1e-6 of the longest
/// along the normal counts as lying in the plane.
pub(crate) fn share_inside(distance: f64, widths: [f64; 3]) -> f64 {
    let reach = 0.5 * (widths[0] + widths[1] + widths[2]);
    if distance >= reach {
        return 0.0;
    }
    if distance <= -reach {
        return 1.0;
    }
    let mut w = widths;
    w.sort_by(|a, b| b.total_cmp(a));
    let least = w[0] * 1e-6;
    // How far the plane stands above the cell's lowest corner.
    let up = |w: &[f64]| 0.5 * w.iter().sum::<f64>() - distance;
    let power = |x: f64, n: i32| if x > 0.0 { x.powi(n) } else { 0.0 };
    let share = if w[1] < least {
        up(&w[..1]) / w[0]
    } else if w[2] < least {
        let b = up(&w[..2]);
        let sum = power(b, 2) - power(b - w[0], 2) - power(b - w[1], 2) + power(b - w[0] - w[1], 2);
        sum / (2.0 * w[0] * w[1])
    } else {
        let b = up(&w);
        let singles: f64 = w.iter().map(|x| power(b - x, 3)).sum();
        let pairs =
            power(b - w[0] - w[1], 3) + power(b - w[0] - w[2], 3) + power(b - w[1] - w[2], 3);
        let sum = power(b, 3) - singles + pairs - power(b - w[0] - w[1] - w[2], 3);
        sum / (6.0 * w[0] * w[1] * w[2])
    };
    share.clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_through_the_centre_halves_any_cell() {
        for widths in [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.3, 0.7, 1e-9], [0.2, 0.5, 0.9]] {
            assert!((share_inside(0.0, widths) - 0.5).abs() < 1e-9, "{widths:?}");
        }
    }

    #[test]
    fn shares_agree_with_counting() {
        let n = 60;
        for (distance, widths) in [
            (0.1, [0.5, 0.3, 0.2]),
            (-0.3, [0.5, 0.3, 0.2]),
            (0.2, [0.6, 0.6, 0.001]),
            (0.05, [0.9, 0.1, 0.4]),
        ] {
            let mut inside = 0.0;
            for i in 0..n * n * n {
                let place = [i % n, i / n % n, i / n / n]
                    .map(|k| (f64::from(k) + 0.5) / f64::from(n) - 0.5);
                let height: f64 = place.iter().zip(widths).map(|(p, w)| p * w).sum();
                inside += f64::from(u8::from(height <= -distance));
            }
            let counted = inside / f64::from(n).powi(3);
            let exact = share_inside(distance, widths);
            assert!((exact - counted).abs() < 0.01, "{exact} {counted}");
        }
    }

    #[test]
    fn a_corner_is_a_simplex() {
        // x + y + z ≤ 1/2 of a unit cube: (1/2)³ / 6.
        let share = share_inside(1.0, [1.0, 1.0, 1.0]);
        assert!((share - 0.125 / 6.0).abs() < 1e-14);
    }
}
