//! The plane that swaps left and right.

use nalgebra::{Matrix3, SymmetricEigen, Vector3};
use pilothole_volume::{Direction, PatientPoint};

use super::frames::Points;
use super::springs::{offset, vector};
use super::types::{Mirror, MirrorSource};

/// Kinds of landmark that a diseased hip leaves in place.
pub(crate) const PAIRED: [&str; 5] =
    ["asis", "pubic-tubercle", "teardrop", "ischial-tuberosity", "psis"];

/// Fit the plane to paired landmarks; `None` with fewer than two pairs.
///
/// The plane with the least sum of squared distances from each mirrored left
/// point to its right partner. With differences d and midpoints m of the pairs
/// that sum is `Σ d² - n·(Σ d dᵀ - 4 Σ (m - m̄)(m - m̄)ᵀ) n`, so the normal is
/// the bracket's first eigenvector and the plane holds the mean midpoint.
pub(crate) fn fit_mirror(points: &Points) -> Option<Mirror> {
    let pairs: Vec<[Vector3<f64>; 2]> = PAIRED
        .iter()
        .filter_map(|kind| points.pair(kind))
        .map(|pair| pair.map(|at| Vector3::from(at.0)))
        .collect();
    if pairs.len() < 2 {
        return None;
    }
    let middles: Vec<Vector3<f64>> = pairs.iter().map(|[l, r]| (l + r) * 0.5).collect();
    let centre = middles.iter().sum::<Vector3<f64>>() / middles.len() as f64;
    let mut form = Matrix3::zeros();
    for ([left, right], middle) in pairs.iter().zip(&middles) {
        let across = left - right;
        let off = middle - centre;
        form += across * across.transpose() - off * off.transpose() * 4.0;
    }
    let eigen = SymmetricEigen::new(form);
    let first = eigen.eigenvalues.imax();
    let normal: Vector3<f64> = eigen.eigenvectors.column(first).into();
    let to_left: Vector3<f64> = pairs.iter().map(|[left, right]| left - right).sum();
    let normal = if normal.dot(&to_left) < 0.0 { -normal } else { normal };
    let mut mirror = Mirror {
        point: PatientPoint(centre.into()),
        normal: Direction::along(offset(normal))?,
        rms_mm: 0.0,
        pairs: pairs.len(),
        source: MirrorSource::Landmarks,
    };
    let square: f64 = pairs
        .iter()
        .map(|[left, right]| {
            let image = mirror.image(PatientPoint((*left).into()));
            (Vector3::from(image.0) - right).norm_squared()
        })
        .sum();
    mirror.rms_mm = (square / pairs.len() as f64).sqrt();
    Some(mirror)
}

impl Mirror {
    /// A point's mirror image.
    pub fn image(&self, at: PatientPoint) -> PatientPoint {
        let normal = vector(self.normal.offset());
        let depth = vector(at - self.point).dot(&normal);
        at + self.normal * (-2.0 * depth)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exactly_symmetric_set_gives_its_plane() {
        let normal = Direction::along(pilothole_volume::Offset([0.9, 0.2, -0.1])).expect("unit");
        let truth = Mirror {
            point: PatientPoint([3.0, -20.0, 40.0]),
            normal,
            rms_mm: 0.0,
            pairs: 4,
            source: MirrorSource::Landmarks,
        };
        let left =
            [[120.0, -60.0, 90.0], [30.0, -70.0, 5.0], [40.0, -10.0, 20.0], [60.0, 40.0, -20.0]];
        let named = PAIRED.iter().zip(left).flat_map(|(kind, at)| {
            let at = PatientPoint(at);
            [(format!("{kind}-left"), at), (format!("{kind}-right"), truth.image(at))]
        });
        let found = fit_mirror(&Points::named(named)).expect("four pairs");
        assert!(found.normal.angle_rad(normal) < 1e-9 && found.rms_mm < 1e-9);
        assert!((found.point - truth.point).dot(normal.offset()).abs() < 1e-9);
    }
}
