//! Inside or outside, by counting what a ray meets.

use pilothole_volume::{Direction, Offset, PatientPoint};

use super::RayIndex;
use super::ray::{Ray, visit};

/// Directions tried in turn; a ray that meets an edge exactly is not counted.
const DIRECTIONS: [[f64; 3]; 4] = [
    [0.139_7, 0.252_1, 0.957_5],
    [0.911_3, -0.337_9, 0.235_7],
    [-0.291_7, 0.873_1, 0.390_7],
    [-0.523_3, -0.611_9, -0.593_1],
];

pub(super) fn is_inside(index: &RayIndex, at: PatientPoint) -> bool {
    let mut inside = false;
    for direction in DIRECTIONS {
        let Some(along) = Direction::along(Offset(direction)) else { continue };
        let Some(ray) = Ray::new(index, at, along, f64::INFINITY) else { return false };
        let (mut leaving, mut on_edge) = (0_i64, false);
        visit(index, &ray, f64::INFINITY, |_, met| {
            leaving += if met.entering { -1 } else { 1 };
            on_edge |= met.on_edge;
            f64::INFINITY
        });
        inside = leaving > 0;
        if !on_edge {
            break;
        }
    }
    inside
}
