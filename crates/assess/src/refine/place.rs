//! The seats and directions that a hole may take.

use pilothole_plan::{Hole, Plan, Zone};
use pilothole_volume::{Direction, PatientPoint};

use crate::path::Axis;

/// A seat and direction by their distance from the planned ones.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Place {
    /// Tilt towards the two directions of `Direction::across`, rad.
    pub(crate) tilt_rad: [f64; 2],
    /// Way along the surface, mm.
    pub(crate) slide_mm: [f64; 2],
}

/// How far a hole may go.
#[derive(Clone, Debug)]
pub(crate) struct Reach {
    planned: Axis,
    pub(crate) swivel_rad: f64,
    pub(crate) shift_mm: f64,
    surface: Surface,
}

#[derive(Clone, Copy, Debug)]
enum Surface {
    /// The socket's outer surface about its centre.
    Sphere(PatientPoint),
    /// A flange, taken as flat, across a direction; where the seat lies on a
    /// patch it stays on it.
    Plane(Direction, Option<(PatientPoint, f64)>),
}

/// Kept from a limit, so that rounding does not pass it: rad, mm.
const SHY: f64 = 1e-9;

impl Reach {
    pub(crate) fn of(plan: &Plan, hole: &Hole) -> Self {
        let surface = match hole.zone {
            Zone::Cup => Surface::Sphere(plan.socket.centre),
            Zone::Flange => {
                let on =
                    |p: &&pilothole_plan::Patch| p.centre.distance_mm(hole.seat) <= p.radius_mm;
                plan.patches.iter().find(on).map_or(Surface::Plane(hole.direction, None), |p| {
                    Surface::Plane(p.direction, Some((p.centre, p.radius_mm)))
                })
            }
        };
        Self {
            planned: Axis { seat: hole.seat, direction: hole.direction },
            swivel_rad: hole.swivel_rad.max(0.0),
            shift_mm: hole.seat_shift_mm.unwrap_or(0.0).max(0.0),
            surface,
        }
    }

    pub(crate) fn is_fixed(&self) -> bool {
        self.swivel_rad <= SHY && self.shift_mm <= SHY
    }

    /// The nearest place within reach.
    pub(crate) fn held(&self, place: Place) -> Place {
        Place {
            tilt_rad: within(place.tilt_rad, self.swivel_rad),
            slide_mm: within(place.slide_mm, self.shift_mm),
        }
    }

    /// Seat and direction of a place; `None` off the patch.
    pub(crate) fn axis(&self, place: Place) -> Option<Axis> {
        let [a, b] = place.tilt_rad;
        let tilt = a.hypot(b);
        let direction = if tilt > 0.0 {
            self.planned.direction.tilted(tilt, b.atan2(a))
        } else {
            self.planned.direction
        };
        Some(Axis { seat: self.seat(place.slide_mm)?, direction })
    }

    fn seat(&self, [x, y]: [f64; 2]) -> Option<PatientPoint> {
        let seat = self.planned.seat;
        let way = x.hypot(y);
        if way <= 0.0 {
            return Some(seat);
        }
        match self.surface {
            Surface::Sphere(centre) => {
                let radius = seat.distance_mm(centre);
                let out = Direction::along(seat - centre)?;
                // The straight distance, not the arc, is what is limited.
                let turn = 2.0 * (0.5 * way / radius).min(1.0).asin();
                Some(centre + out.tilted(turn, y.atan2(x)) * radius)
            }
            Surface::Plane(across, patch) => {
                let (u, v) = across.across();
                let moved = seat + u * x + v * y;
                let on = patch.is_none_or(|(centre, radius)| moved.distance_mm(centre) <= radius);
                on.then_some(moved)
            }
        }
    }
}

fn within([x, y]: [f64; 2], limit: f64) -> [f64; 2] {
    let length = x.hypot(y);
    let most = (limit - SHY).max(0.0);
    if length > most { [x, y].map(|c| c * most / length) } else { [x, y] }
}
