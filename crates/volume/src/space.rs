//! Points, offsets and directions, each in a named space.
//!
//! Patient space is DICOM's: millimetres, x towards the patient's left, y
//! posterior, z towards the head (PS3.3 C.7.6.2.1.1). The voxel lattice counts
//! columns, rows, slices; whole numbers are voxel centres.

use std::ops::{Add, Mul, Neg, Sub};

/// A position in the patient, mm, axes L, P, S.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PatientPoint(pub [f64; 3]);

/// A position in the voxel lattice, in voxels, axes column, row, slice.
///
/// Whole numbers are voxel centres, so the first voxel spans -0.5 to 0.5.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoxelPoint(pub [f64; 3]);

/// A displacement in the patient, mm, axes L, P, S.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Offset(pub [f64; 3]);

/// A unit vector in the patient, axes L, P, S.
///
/// Invariant: length 1 to within rounding; made only by [`Direction::along`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Direction([f64; 3]);

impl Offset {
    /// No displacement.
    pub const ZERO: Self = Self([0.0; 3]);

    /// Scalar product, mm².
    #[inline]
    pub fn dot(self, other: Self) -> f64 {
        self.0[0] * other.0[0] + self.0[1] * other.0[1] + self.0[2] * other.0[2]
    }

    /// Vector product, mm².
    #[must_use]
    #[inline]
    pub fn cross(self, other: Self) -> Self {
        let (a, b) = (self.0, other.0);
        Self([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
    }

    /// Length, mm.
    #[inline]
    pub fn length_mm(self) -> f64 {
        self.dot(self).sqrt()
    }

    /// Whether every component is a number.
    #[inline]
    pub fn is_finite(self) -> bool {
        self.0.iter().all(|c| c.is_finite())
    }
}

impl Direction {
    /// Towards the patient's left.
    pub const LEFT: Self = Self([1.0, 0.0, 0.0]);
    /// Towards the patient's back.
    pub const POSTERIOR: Self = Self([0.0, 1.0, 0.0]);
    /// Towards the patient's head.
    pub const SUPERIOR: Self = Self([0.0, 0.0, 1.0]);

    /// The direction of an offset; `None` when it has no length or is not finite.
    pub fn along(offset: Offset) -> Option<Self> {
        let length = offset.length_mm();
        (length.is_finite() && length > 0.0).then(|| Self(offset.0.map(|c| c / length)))
    }

    /// The unit vector's components, L, P, S.
    #[inline]
    pub fn components(self) -> [f64; 3] {
        self.0
    }

    /// The same as an offset of 1 mm.
    #[inline]
    pub fn offset(self) -> Offset {
        Offset(self.0)
    }

    /// Cosine of the angle between two directions.
    #[inline]
    pub fn dot(self, other: Self) -> f64 {
        self.offset().dot(other.offset())
    }

    /// Angle between two directions, rad, 0 to π; exact also for small angles.
    pub fn angle_rad(self, other: Self) -> f64 {
        self.offset().cross(other.offset()).length_mm().atan2(self.dot(other))
    }

    /// Two directions that complete this one to a right-handed frame.
    ///
    /// The first is across the patient axis that is least aligned with this
    /// direction (L, P, S in that order on ties), so it never degenerates.
    pub fn across(self) -> (Self, Self) {
        let weakest = (0..3).fold(0, |best, axis| {
            if self.0[axis].abs() < self.0[best].abs() - 1e-12 { axis } else { best }
        });
        let mut helper = [0.0; 3];
        helper[weakest] = 1.0;
        let first = self.offset().cross(Offset(helper));
        let length = first.length_mm();
        let first = Self(first.0.map(|c| c / length));
        (first, Self(self.offset().cross(first.offset()).0))
    }

    /// This direction tilted by `tilt_rad` towards the azimuth `azimuth_rad`
    /// of the frame of [`Direction::across`].
    #[must_use]
    pub fn tilted(self, tilt_rad: f64, azimuth_rad: f64) -> Self {
        let (u, v) = self.across();
        let (sin_tilt, cos_tilt) = tilt_rad.sin_cos();
        let (sin_azimuth, cos_azimuth) = azimuth_rad.sin_cos();
        let side = u * cos_azimuth + v * sin_azimuth;
        let turned = self * cos_tilt + side * sin_tilt;
        let length = turned.length_mm();
        Self(turned.0.map(|c| c / length))
    }
}

impl PatientPoint {
    /// Whether every coordinate is a number.
    #[inline]
    pub fn is_finite(self) -> bool {
        self.0.iter().all(|c| c.is_finite())
    }

    /// Distance to another point, mm.
    #[inline]
    pub fn distance_mm(self, other: Self) -> f64 {
        (self - other).length_mm()
    }
}

impl Add<Offset> for PatientPoint {
    type Output = Self;
    #[inline]
    fn add(self, o: Offset) -> Self {
        Self([self.0[0] + o.0[0], self.0[1] + o.0[1], self.0[2] + o.0[2]])
    }
}

impl Sub<Offset> for PatientPoint {
    type Output = Self;
    #[inline]
    fn sub(self, o: Offset) -> Self {
        Self([self.0[0] - o.0[0], self.0[1] - o.0[1], self.0[2] - o.0[2]])
    }
}

impl Sub for PatientPoint {
    type Output = Offset;
    #[inline]
    fn sub(self, p: Self) -> Offset {
        Offset([self.0[0] - p.0[0], self.0[1] - p.0[1], self.0[2] - p.0[2]])
    }
}

impl Add for Offset {
    type Output = Self;
    #[inline]
    fn add(self, o: Self) -> Self {
        Self([self.0[0] + o.0[0], self.0[1] + o.0[1], self.0[2] + o.0[2]])
    }
}

impl Sub for Offset {
    type Output = Self;
    #[inline]
    fn sub(self, o: Self) -> Self {
        Self([self.0[0] - o.0[0], self.0[1] - o.0[1], self.0[2] - o.0[2]])
    }
}

impl Mul<f64> for Offset {
    type Output = Self;
    #[inline]
    fn mul(self, factor: f64) -> Self {
        Self(self.0.map(|c| c * factor))
    }
}

impl Neg for Offset {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self(self.0.map(|c| -c))
    }
}

impl Mul<f64> for Direction {
    type Output = Offset;
    #[inline]
    fn mul(self, length_mm: f64) -> Offset {
        self.offset() * length_mm
    }
}

impl Neg for Direction {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self(self.0.map(|c| -c))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_across_is_right_handed_and_square() {
        for raw in [[0.0, 0.0, 1.0], [1.0, 1.0, 1.0], [-0.3, 0.9, 0.1], [1.0, 0.0, 0.0]] {
            let d = Direction::along(Offset(raw)).expect("has length");
            let (u, v) = d.across();
            assert!(u.dot(v).abs() < 1e-15 && u.dot(d).abs() < 1e-15);
            let closes = u.offset().cross(v.offset()).dot(d.offset());
            assert!((closes - 1.0).abs() < 1e-14, "{closes}");
        }
    }

    #[test]
    fn a_tilt_is_the_angle_asked_for() {
        let d = Direction::along(Offset([0.2, -0.5, 0.8])).expect("has length");
        for azimuth in 0..12 {
            let turned = d.tilted(0.1, f64::from(azimuth) * 0.5);
            assert!((d.angle_rad(turned) - 0.1).abs() < 1e-13);
        }
    }

    #[test]
    fn nothing_has_no_direction() {
        assert_eq!(Direction::along(Offset::ZERO), None);
        assert_eq!(Direction::along(Offset([f64::NAN, 0.0, 0.0])), None);
    }
}
