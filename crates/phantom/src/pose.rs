//! Where a patient lies: a rigid motion, or a mirrored one.

use pilothole_volume::{Direction, Offset, PatientPoint};

/// A rigid motion of patient and plan together, or its mirror image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Rows of an orthogonal matrix.
    rows: [[f64; 3]; 3],
    shift: Offset,
}

impl Pose {
    /// As it is.
    pub const HOME: Self =
        Self { rows: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], shift: Offset::ZERO };

    /// Left becomes right.
    pub const MIRRORED: Self =
        Self { rows: [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], shift: Offset::ZERO };

    /// Turned about the patient axes L, then P, then S (rad), about the origin,
    /// then shifted, mm.
    pub fn new(turn_rad: [f64; 3], shift: Offset) -> Self {
        let mut pose = Self { rows: Self::HOME.rows, shift };
        for (axis, angle) in turn_rad.into_iter().enumerate() {
            let (sin, cos) = angle.sin_cos();
            let (a, b) = ((axis + 1) % 3, (axis + 2) % 3);
            let (first, second) = (pose.rows[a], pose.rows[b]);
            for column in 0..3 {
                pose.rows[a][column] = cos * first[column] - sin * second[column];
                pose.rows[b][column] = sin * first[column] + cos * second[column];
            }
        }
        pose
    }

    /// This pose, after `first`.
    #[must_use]
    pub fn after(&self, first: &Self) -> Self {
        let column = |c: usize| self.offset(Offset([0, 1, 2].map(|row| first.rows[row][c]))).0;
        let columns = [column(0), column(1), column(2)];
        Self {
            rows: std::array::from_fn(|row| std::array::from_fn(|c| columns[c][row])),
            shift: self.offset(first.shift) + self.shift,
        }
    }

    /// Whether left becomes right.
    pub fn mirrors(&self) -> bool {
        let [a, b, c] = self.rows.map(Offset);
        a.cross(b).dot(c) < 0.0
    }

    /// An offset, turned.
    #[must_use]
    pub fn offset(&self, offset: Offset) -> Offset {
        Offset(self.rows.map(|row| Offset(row).dot(offset)))
    }

    /// A direction, turned.
    #[must_use]
    pub fn direction(&self, direction: Direction) -> Direction {
        Direction::along(self.offset(direction.offset())).unwrap_or(direction)
    }

    /// A point, moved.
    #[must_use]
    pub fn point(&self, at: PatientPoint) -> PatientPoint {
        PatientPoint(self.offset(Offset(at.0)).0) + self.shift
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_about_the_head_takes_left_to_back() {
        let pose = Pose::new([0.0, 0.0, std::f64::consts::FRAC_PI_2], Offset([1.0, 2.0, 3.0]));
        let moved = pose.point(PatientPoint([10.0, 0.0, 0.0]));
        assert!(moved.distance_mm(PatientPoint([1.0, 12.0, 3.0])) < 1e-12);
        assert!(!pose.mirrors() && Pose::MIRRORED.mirrors());
        assert!(pose.after(&Pose::MIRRORED).mirrors());
        let both = pose.after(&Pose::MIRRORED).point(PatientPoint([10.0, 5.0, 0.0]));
        let one_by_one = pose.point(Pose::MIRRORED.point(PatientPoint([10.0, 5.0, 0.0])));
        assert!(both.distance_mm(one_by_one) < 1e-12);
    }
}
