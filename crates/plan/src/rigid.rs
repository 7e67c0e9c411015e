//! The rigid motion that best takes one set of points to another.
//!
//! Kabsch's method: the rotation from the singular value decomposition of the
//! correlation of the centred points, kept proper.
//!
//! # References
//!
//! Kabsch W 1976, A solution for the best rotation to relate two sets of
//! vectors, Acta Cryst A32:922-923.

use nalgebra::{Matrix3, Vector3};
use pilothole_volume::{Offset, PatientPoint};

/// A rotation and a translation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rigid {
    /// Rows of the rotation; proper.
    pub rotation: [[f64; 3]; 3],
    /// Added after turning, mm.
    pub translation_mm: Offset,
}

impl Rigid {
    /// No motion.
    pub const IDENTITY: Self = Self {
        rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        translation_mm: Offset::ZERO,
    };

    /// Largest difference from a rotation, as the largest element of `RᵀR - 1`,
    /// that a matrix of rounded decimals may show.
    pub const TOLERANCE: f64 = 1e-4;

    /// The motion of a 4×4 matrix that acts on columns (x, y, z, 1), mm.
    ///
    /// # Errors
    ///
    /// [`RigidError`] when it is not finite, scales, shears or mirrors, or its
    /// last row is not 0 0 0 1.
    pub fn from_matrix(rows: [[f64; 4]; 4]) -> Result<Self, RigidError> {
        let finite = rows.iter().flatten().all(|c| c.is_finite());
        let last = rows[3].iter().zip([0.0, 0.0, 0.0, 1.0]).all(|(c, e)| (c - e).abs() < 1e-9);
        if !finite || !last {
            return Err(RigidError::NotAMotion { by: f64::NAN, limit: Self::TOLERANCE });
        }
        let turn = Matrix3::from_fn(|row, column| rows[row][column]);
        let by = (turn.transpose() * turn - Matrix3::identity()).abs().max();
        if by > Self::TOLERANCE {
            return Err(RigidError::NotAMotion { by, limit: Self::TOLERANCE });
        }
        if turn.determinant() < 0.0 {
            return Err(RigidError::Mirrors);
        }
        Ok(Self {
            rotation: std::array::from_fn(|row| std::array::from_fn(|c| rows[row][c])),
            translation_mm: Offset([rows[0][3], rows[1][3], rows[2][3]]),
        })
    }

    /// An offset or direction, turned.
    #[must_use]
    pub fn turn(&self, offset: Offset) -> Offset {
        Offset(self.rotation.map(|row| Offset(row).dot(offset)))
    }

    /// A point, moved.
    #[must_use]
    pub fn apply(&self, at: PatientPoint) -> PatientPoint {
        PatientPoint(self.turn(Offset(at.0)).0) + self.translation_mm
    }

    /// Angle of the rotation, rad, 0 to π.
    pub fn angle_rad(&self) -> f64 {
        let r = self.rotation;
        let across = Offset([r[2][1] - r[1][2], r[0][2] - r[2][0], r[1][0] - r[0][1]]);
        across.length_mm().atan2(r[0][0] + r[1][1] + r[2][2] - 1.0)
    }
}

/// A fitted motion, and how far each pair is off.
#[derive(Clone, Debug, PartialEq)]
pub struct RigidFit {
    /// Takes the first points to the second.
    pub motion: Rigid,
    /// Distance left of each pair, mm, in their order.
    pub residuals_mm: Vec<f64>,
    /// Root mean square of them, mm.
    pub rms_mm: f64,
}

/// Why no motion can be given.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RigidError {
    /// Too few pairs.
    #[error("{count} pairs of points, 3 or more are needed")]
    TooFew {
        /// Pairs given.
        count: usize,
    },
    /// A coordinate is not finite.
    #[error("a coordinate of a pair of points is not a finite number")]
    NotFinite,
    /// The points lie on a line, or nearly: turning about it is free.
    #[error("the points lie within {width_mm:.3} mm of a line, {limit_mm} mm or more are needed")]
    OnALine {
        /// Root mean square distance from the best line, mm.
        width_mm: f64,
        /// Least accepted, mm.
        limit_mm: f64,
    },
    /// A mirror image fits better than any motion.
    #[error(
        "the points are mirrored: a motion leaves {rms_mm:.6} mm, a mirror image {mirrored_rms_mm:.6} mm"
    )]
    Mirrored {
        /// Root mean square left by the best motion, mm.
        rms_mm: f64,
        /// Left by the best mirror image, mm.
        mirrored_rms_mm: f64,
    },
    /// The fit leaves too much.
    #[error("the best motion leaves {rms_mm:.3} mm (root mean square), at most {limit_mm} mm")]
    Poor {
        /// Root mean square left, mm.
        rms_mm: f64,
        /// Most accepted, mm.
        limit_mm: f64,
    },
    /// A matrix scales or shears, is not finite, or its last row is wrong.
    #[error("the matrix is not a rigid motion: its turn is off by {by:.1e}, at most {limit:.0e}")]
    NotAMotion {
        /// Largest element of `RᵀR - 1`; not-a-number for a bad last row.
        by: f64,
        /// Most accepted.
        limit: f64,
    },
    /// A matrix mirrors.
    #[error("the matrix mirrors")]
    Mirrors,
}

/// Points nearer to a line than this do not hold a turn about it, mm.
const LEAST_WIDTH_MM: f64 = 1.0;
/// A fit that leaves more has a wrong pair in it, mm; no source.
const MOST_RMS_MM: f64 = 5.0;

/// Fit a motion to pairs of points (before, after), mm.
///
/// A mirrored set is told from a motion by the points' depth out of their best
/// plane; three points, or points in a plane, have none and cannot tell.
///
/// # Errors
///
/// [`RigidError`] when the pairs are too few, on a line, mirrored, or fit
/// worse than 5 mm root mean square.
pub fn fit_rigid(pairs: &[(PatientPoint, PatientPoint)]) -> Result<RigidFit, RigidError> {
    if pairs.len() < 3 {
        return Err(RigidError::TooFew { count: pairs.len() });
    }
    if pairs.iter().any(|(a, b)| !a.is_finite() || !b.is_finite()) {
        return Err(RigidError::NotFinite);
    }
    let before: Vec<Vector3<f64>> = pairs.iter().map(|(a, _)| Vector3::from(a.0)).collect();
    let after: Vec<Vector3<f64>> = pairs.iter().map(|(_, b)| Vector3::from(b.0)).collect();
    let (from, to) = (centre(&before), centre(&after));
    for (points, middle) in [(&before, from), (&after, to)] {
        let width_mm = width(points, middle);
        if width_mm < LEAST_WIDTH_MM {
            return Err(RigidError::OnALine { width_mm, limit_mm: LEAST_WIDTH_MM });
        }
    }
    let correlation: Matrix3<f64> =
        before.iter().zip(&after).map(|(a, b)| (a - from) * (b - to).transpose()).sum();
    let svd = correlation.svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else { return Err(RigidError::NotFinite) };
    let turn = |sign: f64| {
        let keep = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign));
        v_t.transpose() * keep * u.transpose()
    };
    let proper = turn(1.0).determinant().signum();
    let left = |rotation: &Matrix3<f64>| -> Vec<f64> {
        before.iter().zip(&after).map(|(a, b)| (rotation * (a - from) - (b - to)).norm()).collect()
    };
    let rotation = turn(proper);
    let residuals_mm = left(&rotation);
    let rms_mm = rms(&residuals_mm);
    let mirrored_rms_mm = rms(&left(&turn(-proper)));
    if proper < 0.0 && mirrored_rms_mm < 0.5 * rms_mm && rms_mm > 1e-6 {
        return Err(RigidError::Mirrored { rms_mm, mirrored_rms_mm });
    }
    if rms_mm > MOST_RMS_MM {
        return Err(RigidError::Poor { rms_mm, limit_mm: MOST_RMS_MM });
    }
    let translation = to - rotation * from;
    let motion = Rigid {
        rotation: std::array::from_fn(|row| std::array::from_fn(|c| rotation[(row, c)])),
        translation_mm: Offset(translation.into()),
    };
    Ok(RigidFit { motion, residuals_mm, rms_mm })
}

fn centre(points: &[Vector3<f64>]) -> Vector3<f64> {
    points.iter().sum::<Vector3<f64>>() / points.len() as f64
}

fn rms(all: &[f64]) -> f64 {
    (all.iter().map(|r| r * r).sum::<f64>() / all.len() as f64).sqrt()
}

/// Root mean square distance of points from their best line.
fn width(points: &[Vector3<f64>], middle: Vector3<f64>) -> f64 {
    let spread: Matrix3<f64> = points.iter().map(|p| (p - middle) * (p - middle).transpose()).sum();
    let along = spread.symmetric_eigenvalues().max();
    ((spread.trace() - along).max(0.0) / points.len() as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: [[f64; 3]; 4] = [[0.0; 3], [100.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 0.0, 40.0]];

    fn pairs(change: impl Fn([f64; 3]) -> [f64; 3]) -> Vec<(PatientPoint, PatientPoint)> {
        A.iter().map(|a| (PatientPoint(*a), PatientPoint(change(*a)))).collect()
    }

    fn thirty_degrees([x, y, z]: [f64; 3]) -> [f64; 3] {
        let (s, c) = 30.0_f64.to_radians().sin_cos();
        [c * x - s * y + 5.0, s * x + c * y - 7.0, z + 11.0]
    }

    // Check values derived with an independent SVD (numpy), printed to six
    // decimals: four points turned by 30° about z and moved by (5, -7, 11).
    #[test]
    fn an_exact_motion_is_found_exactly() {
        let fit = fit_rigid(&pairs(thirty_degrees)).expect("fits");
        assert!(fit.rms_mm < 1e-12);
        assert!((fit.motion.angle_rad().to_degrees() - 30.0).abs() < 1e-10);
        for (found, expected) in fit.motion.translation_mm.0.iter().zip([5.0, -7.0, 11.0]) {
            assert!((found - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn one_point_off_by_four_leaves_the_published_residual() {
        let mut off = pairs(thirty_degrees);
        off[3].1.0[2] += 4.0;
        let fit = fit_rigid(&off).expect("fits");
        assert!((fit.rms_mm - 1.522_884).abs() < 5e-7, "{}", fit.rms_mm);
        assert!((fit.motion.angle_rad().to_degrees() - 30.104_714).abs() < 5e-7);
        assert_eq!(fit.residuals_mm.len(), 4);
    }

    #[test]
    fn a_mirrored_set_is_refused_with_what_a_motion_would_leave() {
        let refused = fit_rigid(&pairs(|[x, y, z]| [-x, y, z])).expect_err("mirrored");
        let RigidError::Mirrored { rms_mm, mirrored_rms_mm } = refused else {
            panic!("{refused}");
        };
        assert!((rms_mm - 25.713_026).abs() < 5e-7, "{rms_mm}");
        assert!(mirrored_rms_mm < 1e-9);
    }

    #[test]
    fn too_few_points_and_points_on_a_line_are_refused() {
        let all = pairs(thirty_degrees);
        assert_eq!(fit_rigid(&all[..2]), Err(RigidError::TooFew { count: 2 }));
        let line: Vec<_> = (0..5)
            .map(|i| {
                let at = PatientPoint([f64::from(i) * 20.0, 0.0, 0.0]);
                (at, at)
            })
            .collect();
        assert!(matches!(fit_rigid(&line), Err(RigidError::OnALine { .. })));
        assert!(fit_rigid(&all[..3]).is_ok());
        let mut wrong = all;
        wrong.swap(1, 2);
        let swapped: Vec<_> =
            wrong.iter().zip(pairs(thirty_degrees)).map(|(w, a)| (a.0, w.1)).collect();
        assert!(fit_rigid(&swapped).is_err());
    }

    #[test]
    fn a_matrix_must_be_a_motion() {
        let mut rows = [
            [0.0, -1.0, 0.0, 1.0],
            [1.0, 0.0, 0.0, 2.0],
            [0.0, 0.0, 1.0, 3.0],
            [0.0, 0.0, 0.0, 1.0],
        ];
        let motion = Rigid::from_matrix(rows).expect("a motion");
        assert_eq!(motion.apply(PatientPoint([1.0, 0.0, 0.0])), PatientPoint([1.0, 3.0, 3.0]));
        rows[2][2] = -1.0;
        assert_eq!(Rigid::from_matrix(rows), Err(RigidError::Mirrors));
        rows[2][2] = 25.4;
        assert!(matches!(Rigid::from_matrix(rows), Err(RigidError::NotAMotion { .. })));
    }
}
