//! The rigid motion that brings points nearest to their partners.

use nalgebra::{Matrix3, Vector3};

/// A rotation and a shift, and how well they fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rigid {
    /// Rotation, determinant +1.
    pub rotation: Matrix3<f64>,
    /// Shift after it, mm.
    pub shift: Vector3<f64>,
    /// Root mean square distance left, mm.
    pub rms_mm: f64,
}

impl Rigid {
    /// No motion.
    pub fn identity() -> Self {
        Self { rotation: Matrix3::identity(), shift: Vector3::zeros(), rms_mm: 0.0 }
    }

    /// Where a point goes.
    pub fn apply(&self, point: Vector3<f64>) -> Vector3<f64> {
        self.rotation * point + self.shift
    }

    /// Angle of the rotation, rad.
    pub fn angle_rad(&self) -> f64 {
        let r = self.rotation;
        let sine = Vector3::new(r.m32 - r.m23, r.m13 - r.m31, r.m21 - r.m12).norm();
        sine.atan2(r.trace() - 1.0)
    }
}

/// The rotation and shift with the least sum of squared distances from the
/// moved points to their partners; never a reflection.
///
/// `None` with fewer than three pairs, or when the lists differ in length.
///
/// # References
///
/// Kabsch W 1976 Acta Cryst A32:922.
pub fn kabsch(points: &[Vector3<f64>], partners: &[Vector3<f64>]) -> Option<Rigid> {
    if points.len() < 3 || points.len() != partners.len() {
        return None;
    }
    let mean = |all: &[Vector3<f64>]| all.iter().sum::<Vector3<f64>>() / all.len() as f64;
    let (from, to) = (mean(points), mean(partners));
    let spread = points
        .iter()
        .zip(partners)
        .fold(Matrix3::zeros(), |sum, (a, b)| sum + (a - from) * (b - to).transpose());
    let svd = spread.svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    let flip = (v_t.transpose() * u.transpose()).determinant().signum();
    let rotation =
        v_t.transpose() * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, flip)) * u.transpose();
    let shift = to - rotation * from;
    let square: f64 =
        points.iter().zip(partners).map(|(a, b)| (rotation * a + shift - b).norm_squared()).sum();
    Some(Rigid { rotation, shift, rms_mm: (square / points.len() as f64).sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn four() -> Vec<Vector3<f64>> {
        [[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 0.0, 40.0]]
            .map(Vector3::from)
            .to_vec()
    }

    /// 30° about z, then (5, -7, 11).
    fn moved() -> Vec<Vector3<f64>> {
        let turn = nalgebra::Rotation3::from_axis_angle(&Vector3::z_axis(), 30_f64.to_radians());
        four().iter().map(|p| turn * p + Vector3::new(5.0, -7.0, 11.0)).collect()
    }

    // Sheet 2 §12, derived: "Kabsch 4 points".
    #[test]
    fn an_exact_motion_is_found_exactly() {
        let found = kabsch(&four(), &moved()).expect("four pairs");
        assert!((found.angle_rad().to_degrees() - 30.0).abs() < 1e-9);
        assert!((found.shift - Vector3::new(5.0, -7.0, 11.0)).norm() < 1e-9);
        assert!(found.rms_mm < 1e-12);
    }

    #[test]
    fn a_displaced_point_gives_the_derived_residual() {
        let mut partners = moved();
        partners[3].z += 4.0;
        let found = kabsch(&four(), &partners).expect("four pairs");
        assert!((found.rms_mm - 1.522_884).abs() < 5e-7, "{}", found.rms_mm);
        assert!((found.angle_rad().to_degrees() - 30.104_714).abs() < 5e-7);
    }

    #[test]
    fn a_mirrored_set_is_not_matched_by_a_reflection() {
        let mirrored: Vec<_> = four().iter().map(|p| Vector3::new(-p.x, p.y, p.z)).collect();
        let found = kabsch(&four(), &mirrored).expect("four pairs");
        assert!((found.rotation.determinant() - 1.0).abs() < 1e-12);
        assert!((found.rms_mm - 25.713_026).abs() < 5e-7, "{}", found.rms_mm);
    }

    #[test]
    fn two_points_are_too_few() {
        assert_eq!(kabsch(&four()[..2], &moved()[..2]), None);
    }
}
