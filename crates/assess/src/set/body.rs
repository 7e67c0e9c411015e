//! A screw as a body: head, shaft and tip, each between two coaxial discs.

use pilothole_plan::{Plan, Screw};
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::hole::HoleResult;

/// The convex hull of two coaxial discs: a cylinder, a cone, a frustum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frustum {
    /// Centre of the first disc.
    pub from: PatientPoint,
    /// Axis, from the first disc to the second.
    pub axis: Direction,
    /// Distance between the discs, mm, at least 0.
    pub length_mm: f64,
    /// Radius of the first disc, mm.
    pub from_radius_mm: f64,
    /// Radius of the second disc, mm.
    pub to_radius_mm: f64,
}

impl Frustum {
    /// A cylinder.
    pub fn cylinder(from: PatientPoint, axis: Direction, length_mm: f64, radius_mm: f64) -> Self {
        Self { from, axis, length_mm, from_radius_mm: radius_mm, to_radius_mm: radius_mm }
    }

    /// The point of the body that lies furthest along `towards`.
    pub fn furthest(&self, towards: Offset) -> PatientPoint {
        let along = self.axis.offset().dot(towards);
        let across = towards - self.axis * along;
        let across_length = across.length_mm();
        let ends = [0.0, self.length_mm];
        let radii = [self.from_radius_mm, self.to_radius_mm];
        let reach = |end: usize| ends[end] * along + radii[end] * across_length;
        let end = usize::from(reach(1) > reach(0));
        let centre = self.from + self.axis * ends[end];
        if across_length > 1e-12 * towards.length_mm() {
            centre + across * (radii[end] / across_length)
        } else {
            centre
        }
    }

    /// The two ends of the axis.
    pub(crate) fn ends(&self) -> [PatientPoint; 2] {
        [self.from, self.from + self.axis * self.length_mm]
    }

    /// The middle of the axis.
    pub fn middle(&self) -> PatientPoint {
        self.from + self.axis * (0.5 * self.length_mm)
    }

    /// Signed distance from the body's surface to a point, mm; negative
    /// inside. Exact.
    pub fn signed_distance_mm(&self, at: PatientPoint) -> f64 {
        let offset = at - self.from;
        let along = offset.dot(self.axis.offset());
        let across = (offset - self.axis * along).length_mm();
        // In the half-plane of the axis: a trapezium between the two radii.
        let slope = [self.length_mm, self.to_radius_mm - self.from_radius_mm];
        let length = slope[0].hypot(slope[1]);
        let caps = (-along).max(along - self.length_mm);
        let inside_side = if length > 0.0 {
            ((across - self.from_radius_mm) * slope[0] - along * slope[1]) / length
        } else {
            across - self.from_radius_mm
        };
        if caps <= 0.0 && inside_side <= 0.0 {
            return caps.max(inside_side);
        }
        let to_segment = |a: [f64; 2], b: [f64; 2]| {
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let square = dx * dx + dy * dy;
            let t = if square > 0.0 {
                (((along - a[0]) * dx + (across - a[1]) * dy) / square).clamp(0.0, 1.0)
            } else {
                0.0
            };
            (along - a[0] - t * dx).hypot(across - a[1] - t * dy)
        };
        let (a, b) = ([0.0, self.from_radius_mm], [self.length_mm, self.to_radius_mm]);
        to_segment(a, b).min(to_segment([0.0, 0.0], a)).min(to_segment([self.length_mm, 0.0], b))
    }
}

/// A screw as it lies at the length at which it is judged.
#[derive(Clone, Debug, PartialEq)]
pub struct ScrewBody {
    /// The hole.
    pub hole: usize,
    /// Where the underside of the head seats.
    pub seat: PatientPoint,
    /// Into bone.
    pub direction: Direction,
    /// Seat to tip, mm.
    pub length_mm: f64,
    /// Outer diameter of the thread, mm.
    pub major_mm: f64,
    /// Diameter of the core, mm.
    pub core_mm: f64,
    /// The head.
    pub head: Frustum,
    /// Shaft and, where it has one, tip.
    pub shaft: Vec<Frustum>,
}

impl ScrewBody {
    /// Place a screw.
    ///
    /// The tip narrows from the outer to the core diameter over the length
    /// that the screw states for it; this holds both a tapering tip and one
    /// without thread.
    pub fn new(
        hole: usize,
        seat: PatientPoint,
        direction: Direction,
        screw: &Screw,
        length_mm: f64,
    ) -> Self {
        let radius = 0.5 * screw.major_diameter_mm;
        let (head_mm, head_height_mm) = head_of(screw.major_diameter_mm);
        let head = Frustum::cylinder(seat, -direction, head_height_mm, 0.5 * head_mm);
        let tip_mm = screw.tip_mm.clamp(0.0, length_mm);
        let mut shaft = vec![Frustum::cylinder(seat, direction, length_mm - tip_mm, radius)];
        if tip_mm > 0.0 {
            shaft.push(Frustum {
                from: seat + direction * (length_mm - tip_mm),
                axis: direction,
                length_mm: tip_mm,
                from_radius_mm: radius,
                to_radius_mm: 0.5 * screw.core_diameter_mm,
            });
        }
        Self {
            hole,
            seat,
            direction,
            length_mm,
            major_mm: screw.major_diameter_mm,
            core_mm: screw.core_diameter_mm,
            head,
            shaft,
        }
    }

    /// Position along the axis, mm from the seat.
    pub fn along_mm(&self, at: PatientPoint) -> f64 {
        (at - self.seat).dot(self.direction.offset())
    }
}

/// Diameter and height of the head of a screw of some outer diameter, mm.
///
/// # References
///
/// ISO 5835:1991, from memory (medium): heads of 3, 4, 5, 6 and 8 mm; the
/// height is that of the 8 mm head, 4.6 mm, in proportion. At least 1 mm wider
/// than the thread.
pub fn head_of(major_mm: f64) -> (f64, f64) {
    let table: [(f64, f64); 4] = [(1.75, 3.0), (2.35, 4.0), (3.1, 5.0), (4.25, 6.0)];
    let listed = table.iter().find(|(up_to, _)| major_mm <= *up_to).map_or(8.0, |(_, head)| *head);
    let head_mm = listed.max(major_mm + 1.0);
    (head_mm, 0.575 * head_mm)
}

/// The screws of a plan at the lengths at which room is judged: recommended,
/// else planned; a hole with neither has none.
pub(crate) fn screw_bodies(plan: &Plan, holes: &[HoleResult]) -> Vec<ScrewBody> {
    bodies_at(plan, holes, HoleResult::set_length_mm)
}

/// The screws that can be ordered: those of holes with a recommended length.
pub(crate) fn ordered_bodies(plan: &Plan, holes: &[HoleResult]) -> Vec<ScrewBody> {
    bodies_at(plan, holes, |result, _| result.length_mm)
}

fn bodies_at(
    plan: &Plan,
    holes: &[HoleResult],
    length_of: impl Fn(&HoleResult, Option<f64>) -> Option<f64>,
) -> Vec<ScrewBody> {
    holes
        .iter()
        .filter_map(|result| {
            let hole = plan.holes.get(result.hole)?;
            let length_mm = length_of(result, hole.length_mm)?;
            let screw = plan.screw_of(hole);
            Some(ScrewBody::new(result.hole, result.seat, result.direction, screw, length_mm))
        })
        .collect()
}
