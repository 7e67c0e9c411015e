//! Where a screw ends up when the guide, or the whole component, sits wrong.

use pilothole_volume::{Direction, Offset, PatientPoint};

use super::normal::inverse_normal;
use super::sequence::Points;
use crate::path::Axis;

/// Errors of one placement, as multiples of the standard deviations.
pub(crate) fn normals<const N: usize>(points: &Points, sample: u32) -> [f64; N] {
    points.unit::<N>(sample).map(inverse_normal)
}

/// A hole's own error: the entry moved across the direction, and the direction
/// turned about axes across it.
///
/// - `shift_mm`, `turn_rad`: along the two directions of `Direction::across`.
///
/// The seat moves across the axis only; a shift along it is the seat's depth,
/// which the component's contact decides.
pub(crate) fn displaced(axis: Axis, shift_mm: [f64; 2], turn_rad: [f64; 2]) -> Axis {
    let (u, v) = axis.direction.across();
    Axis {
        seat: axis.seat + u * shift_mm[0] + v * shift_mm[1],
        direction: leaned(axis.direction, u * turn_rad[0] + v * turn_rad[1]),
    }
}

/// A direction leaned towards an offset across it, by as many radians as the
/// offset is long.
fn leaned(direction: Direction, towards: Offset) -> Direction {
    let angle = towards.length_mm();
    if angle <= 0.0 {
        return direction;
    }
    let turned = direction * angle.cos() + towards * (angle.sin() / angle);
    Direction::along(turned).unwrap_or(direction)
}

/// An error of the whole component: turned about the socket's centre, then
/// moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Motion {
    /// About which it turns.
    pub(crate) centre: PatientPoint,
    /// Axis of the rotation, as long as its angle, rad.
    pub(crate) turn_rad: Offset,
    /// Translation, mm.
    pub(crate) shift_mm: Offset,
}

impl Motion {
    /// Where an axis fixed to the component comes to lie.
    pub(crate) fn apply(&self, axis: Axis) -> Axis {
        let seat = self.centre + self.turn(axis.seat - self.centre) + self.shift_mm;
        let turned = self.turn(axis.direction.offset());
        Axis { seat, direction: Direction::along(turned).unwrap_or(axis.direction) }
    }

    /// Rodrigues' formula.
    fn turn(&self, of: Offset) -> Offset {
        let angle = self.turn_rad.length_mm();
        if angle <= 0.0 {
            return of;
        }
        let about = self.turn_rad * (1.0 / angle);
        let (sin, cos) = angle.sin_cos();
        of * cos + about.cross(of) * sin + about * (about.dot(of) * (1.0 - cos))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis() -> Axis {
        let direction = Direction::along(Offset([0.3, -0.4, 0.8])).expect("has length");
        Axis { seat: PatientPoint([5.0, 6.0, 7.0]), direction }
    }

    #[test]
    fn a_turn_and_a_shift_are_as_large_as_asked() {
        let moved = displaced(axis(), [0.3, -0.4], [0.06, 0.08]);
        assert!((moved.seat.distance_mm(axis().seat) - 0.5).abs() < 1e-12);
        assert!((moved.direction.angle_rad(axis().direction) - 0.1).abs() < 1e-12);
        assert_eq!(displaced(axis(), [0.0; 2], [0.0; 2]), axis());
    }

    #[test]
    fn a_component_turns_rigidly_about_its_centre() {
        let motion = Motion {
            centre: PatientPoint([1.0, 2.0, 3.0]),
            turn_rad: Offset([0.1, -0.2, 0.3]),
            shift_mm: Offset([0.0, 0.0, 4.0]),
        };
        let moved = motion.apply(axis());
        let arm = axis().seat.distance_mm(motion.centre);
        let after = (moved.seat - motion.shift_mm).distance_mm(motion.centre);
        assert!((arm - after).abs() < 1e-12);
        let before = axis().direction.offset().dot(axis().seat - motion.centre);
        let angle = moved.direction.offset().dot(moved.seat - motion.shift_mm - motion.centre);
        assert!((before - angle).abs() < 1e-12, "{before} {angle}");
        let quarter = Motion {
            centre: PatientPoint([0.0; 3]),
            turn_rad: Offset([0.0, 0.0, std::f64::consts::FRAC_PI_2]),
            shift_mm: Offset::ZERO,
        };
        let left = Axis { seat: PatientPoint([2.0, 0.0, 0.0]), direction: Direction::LEFT };
        let turned = quarter.apply(left);
        assert!(turned.seat.distance_mm(PatientPoint([0.0, 2.0, 0.0])) < 1e-12);
    }
}
