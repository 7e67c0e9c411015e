//! Summed squared distances from planes.

use nalgebra::{Matrix3, Vector3};

/// Area-weighted sum of squared distances from planes, mm⁴ at a point in mm.
///
/// Garland, Heckbert 1997, "Surface simplification using quadric error
/// metrics", SIGGRAPH.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Quadric {
    /// xx, xy, xz, yy, yz, zz of the sum of n nᵀ.
    square: [f64; 6],
    /// Sum of n d.
    linear: [f64; 3],
    /// Sum of d².
    constant: f64,
    /// Sum of the areas, mm².
    pub(super) weight: f64,
}

impl Quadric {
    /// Of the plane through a triangle, weighted by its area.
    pub(super) fn of_triangle([a, b, c]: [[f64; 3]; 3]) -> Self {
        let [a, b, c] = [a, b, c].map(Vector3::from);
        let doubled = (b - a).cross(&(c - a));
        let length = doubled.norm();
        if length <= 0.0 {
            return Self::default();
        }
        let (n, weight) = (doubled / length, 0.5 * length);
        let d = -n.dot(&a);
        Self {
            square: [n.x * n.x, n.x * n.y, n.x * n.z, n.y * n.y, n.y * n.z, n.z * n.z]
                .map(|e| e * weight),
            linear: [n.x, n.y, n.z].map(|e| e * d * weight),
            constant: d * d * weight,
            weight,
        }
    }

    #[inline]
    pub(super) fn plus(&self, other: &Self) -> Self {
        Self {
            square: std::array::from_fn(|n| self.square[n] + other.square[n]),
            linear: std::array::from_fn(|n| self.linear[n] + other.linear[n]),
            constant: self.constant + other.constant,
            weight: self.weight + other.weight,
        }
    }

    /// The sum at a point, not below 0.
    #[inline]
    pub(super) fn at(&self, [x, y, z]: [f64; 3]) -> f64 {
        let [xx, xy, xz, yy, yz, zz] = self.square;
        let [lx, ly, lz] = self.linear;
        let square =
            x * (xx * x + 2.0 * (xy * y + xz * z)) + y * (yy * y + 2.0 * yz * z) + zz * z * z;
        (square + 2.0 * (lx * x + ly * y + lz * z) + self.constant).max(0.0)
    }

    /// The point where the sum is least, held near `about` along directions
    /// that the planes leave free.
    #[inline]
    pub(super) fn best(&self, about: [f64; 3]) -> [f64; 3] {
        /// Weight of the distance from `about` relative to the planes'.
        const HOLD: f64 = 1e-3;
        let hold = HOLD * self.weight + f64::MIN_POSITIVE;
        let [xx, xy, xz, yy, yz, zz] = self.square;
        let matrix = Matrix3::new(xx + hold, xy, xz, xy, yy + hold, yz, xz, yz, zz + hold);
        let wanted: [f64; 3] = std::array::from_fn(|n| hold * about[n] - self.linear[n]);
        // Cramer's rule: the matrix is positive definite by the hold.
        let (r0, r1, r2) = (
            Vector3::new(matrix.m11, matrix.m12, matrix.m13),
            Vector3::new(matrix.m21, matrix.m22, matrix.m23),
            Vector3::new(matrix.m31, matrix.m32, matrix.m33),
        );
        let (c0, c1, c2) = (r1.cross(&r2), r2.cross(&r0), r0.cross(&r1));
        let determinant = r0.dot(&c0);
        let solved = (c0 * wanted[0] + c1 * wanted[1] + c2 * wanted[2]) / determinant;
        let solved = [solved.x, solved.y, solved.z];
        if solved.iter().all(|c| c.is_finite()) { solved } else { about }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_planes_meet_where_the_sum_is_least() {
        let plane = |a, b, c| Quadric::of_triangle([a, b, c]);
        let sum = plane([1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 0.0, 1.0])
            .plus(&plane([0.0, 2.0, 0.0], [0.0, 2.0, 1.0], [1.0, 2.0, 0.0]))
            .plus(&plane([0.0, 0.0, 3.0], [1.0, 0.0, 3.0], [0.0, 1.0, 3.0]));
        let best = sum.best([1.0, 2.0, 2.9]);
        for (found, want) in best.into_iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - want).abs() < 1e-3, "{best:?}");
        }
        assert!((sum.at([0.0, 2.0, 3.0]) - 0.5).abs() < 1e-12);
    }
}
