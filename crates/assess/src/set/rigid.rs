//! A rigid part on springs.
//!
//! Everything is taken about one point, the hip centre, and turns are scaled
//! by [`ARM_MM`], so that shift and turn have one unit. Directions that no
//! spring holds are found as such; nothing is divided by them.

use nalgebra::{Matrix3, Matrix6, SymmetricEigen, Vector3, Vector6};

/// Arm at which a turn is counted as a shift, mm: about the distance of a
/// screw from the hip centre.
pub const ARM_MM: f64 = 30.0;

/// One spring between the part and the bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spring {
    /// Stiffness about the common point: three shifts (mm), then three turns
    /// (rad); N and N mm.
    pub about_point: Matrix6<f64>,
    /// Where it holds, from the common point, mm.
    pub at: Vector3<f64>,
    /// Stiffness of its own place against shift, N/mm.
    pub own: Matrix3<f64>,
}

impl Spring {
    /// A spring that answers to the shift of its own place.
    pub fn at_place(at: Vector3<f64>, own: Matrix3<f64>) -> Self {
        let shift = shift_of(at);
        Self { about_point: shift.transpose() * own * shift, at, own }
    }

    /// A screw whose head may turn in the part.
    ///
    /// - `axis`: unit, into bone.
    pub fn screw(
        at: Vector3<f64>,
        axis: Vector3<f64>,
        axial_n_per_mm: f64,
        lateral_n_per_mm: f64,
    ) -> Self {
        let along = axis * axis.transpose();
        let own = along * axial_n_per_mm + (Matrix3::identity() - along) * lateral_n_per_mm;
        Self::at_place(at, own)
    }

    /// A screw whose head is locked to the part.
    ///
    /// - `lateral`: stiffness of shift and turn of the head together, as
    ///   [`super::beam::HeadCompliance::stiffness`] gives it.
    pub fn locked_screw(
        at: Vector3<f64>,
        axis: Vector3<f64>,
        axial_n_per_mm: f64,
        lateral: [f64; 3],
    ) -> Self {
        let along = axis * axis.transpose();
        let across = Matrix3::identity() - along;
        let shift = shift_of(at);
        // The slope of the screw's axis under a turn of the part.
        let mut slope = nalgebra::Matrix3x6::zeros();
        slope.fixed_view_mut::<3, 3>(0, 3).copy_from(&-axis.cross_matrix());
        let side = across * shift;
        let about_point = shift.transpose() * along * shift * axial_n_per_mm
            + side.transpose() * side * lateral[0]
            + (side.transpose() * slope + slope.transpose() * side) * lateral[1]
            + slope.transpose() * slope * lateral[2];
        let own = along * axial_n_per_mm + across * lateral[0];
        Self { about_point, at, own }
    }

    /// Force on the spring when the part moves, N: what the part pushes it
    /// with.
    pub fn force(&self, motion: &Vector6<f64>) -> Vector3<f64> {
        // The force is the work done per shift of the part as a whole.
        (self.about_point * motion).fixed_rows::<3>(0).into_owned()
    }
}

/// Shift of a place for a motion of the whole: `u + φ × r`.
fn shift_of(at: Vector3<f64>) -> nalgebra::Matrix3x6<f64> {
    let mut shift = nalgebra::Matrix3x6::zeros();
    shift.fixed_view_mut::<3, 3>(0, 0).copy_from(&Matrix3::identity());
    shift.fixed_view_mut::<3, 3>(0, 3).copy_from(&-at.cross_matrix());
    shift
}

/// A force and its moment about the common point, N and N mm.
pub fn wrench(force: Vector3<f64>, at: Vector3<f64>) -> Vector6<f64> {
    let moment = at.cross(&force);
    Vector6::new(force.x, force.y, force.z, moment.x, moment.y, moment.z)
}

/// The springs of a part, taken apart into what they hold and what not.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    values: Vector6<f64>,
    axes: Matrix6<f64>,
    floor: f64,
}

impl Hold {
    /// Take the sum of all springs apart.
    ///
    /// - `tolerance`: share of the largest eigenvalue below which a direction
    ///   is not held.
    pub fn new(stiffness: &Matrix6<f64>, tolerance: f64) -> Self {
        let scale = scaling();
        let scaled = scale * stiffness * scale;
        let eigen = SymmetricEigen::new((scaled + scaled.transpose()) * 0.5);
        let floor = eigen.eigenvalues.max() * tolerance;
        Self { values: eigen.eigenvalues, axes: eigen.eigenvectors, floor }
    }

    /// Directions, of six, that are held.
    pub fn held(&self) -> usize {
        self.values.iter().filter(|value| self.holds(**value)).count()
    }

    fn holds(&self, value: f64) -> bool {
        value > self.floor && value > 0.0
    }

    /// Directions that are not held: shift (mm) and turn (mm at [`ARM_MM`]).
    pub fn free(&self) -> Vec<Vector6<f64>> {
        (0..6)
            .filter(|i| !self.holds(self.values[*i]))
            .map(|i| self.axes.column(i).into())
            .collect()
    }

    /// Motion of the part under a load: shift of the common point (mm) and
    /// turn (rad); `None` when the load has a part in a free direction.
    pub fn motion(&self, load: &Vector6<f64>) -> Option<Vector6<f64>> {
        let scale = scaling();
        let scaled = scale * load;
        let mut motion = Vector6::zeros();
        for i in 0..6 {
            let axis = self.axes.column(i);
            let part = axis.dot(&scaled);
            if self.holds(self.values[i]) {
                motion += axis * (part / self.values[i]);
            } else if part.abs() > 1e-6 * scaled.norm() {
                return None;
            }
        }
        Some(scale * motion)
    }
}

fn scaling() -> Matrix6<f64> {
    let turn = 1.0 / ARM_MM;
    Matrix6::from_diagonal(&Vector6::new(1.0, 1.0, 1.0, turn, turn, turn))
}

/// Sum of springs.
pub fn total<'a>(springs: impl IntoIterator<Item = &'a Spring>) -> Matrix6<f64> {
    springs.into_iter().fold(Matrix6::zeros(), |sum, spring| sum + spring.about_point)
}
