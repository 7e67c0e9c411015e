//! Which part of a scan a plan is about.

use pilothole_plan::Plan;
use pilothole_volume::{PatientPoint, Region, Volume};

use crate::reason::Reason;

/// How far along each hole's axis bones are found, mm from the seat: the
/// longest stocked screw (70 mm) and what lies beyond its tip.
pub const AXIS_REACH_MM: f64 = 115.0;

/// Bone looked at around sockets and axes, mm; twice the widest thread and what
/// the envelope's rays need beside it.
pub const MARGIN_MM: f64 = 20.0;

/// The part of the scan in which the bones of a plan are found: a box around
/// the socket, every seat and every axis to [`AXIS_REACH_MM`].
///
/// # Errors
///
/// `plan.outside_scan` for every centre or seat that is not in the scan.
pub fn region_of(plan: &Plan, volume: &Volume) -> Result<Region, Vec<Reason>> {
    let mut outside = Vec::new();
    let mut check = |what: String, at: PatientPoint| {
        if !volume.grid().holds(volume.grid().voxel_from_patient(at)) {
            outside.push(
                Reason::new("plan.outside_scan", format!("{what} lies outside the scan"))
                    .next("check that plan and scan belong together and share LPS coordinates"),
            );
        }
    };
    check("the socket's centre".to_owned(), plan.socket.centre);
    let mut reach = Reach::around(plan.socket.centre, 0.5 * plan.socket.outer_diameter_mm);
    for (index, hole) in plan.holes.iter().enumerate() {
        check(format!("the seat of hole {} of {}", index + 1, plan.holes.len()), hole.seat);
        reach.take(hole.seat);
        reach.take(hole.seat + hole.direction * AXIS_REACH_MM);
    }
    if !outside.is_empty() {
        return Err(outside);
    }
    let [low, high] = reach.widened(MARGIN_MM);
    Region::spanning(volume.grid(), low, high)
        .ok_or_else(|| vec![Reason::new("plan.outside_scan", "the socket lies outside the scan")])
}

struct Reach {
    low: [f64; 3],
    high: [f64; 3],
}

impl Reach {
    fn around(centre: PatientPoint, radius_mm: f64) -> Self {
        Self { low: centre.0.map(|c| c - radius_mm), high: centre.0.map(|c| c + radius_mm) }
    }

    fn take(&mut self, at: PatientPoint) {
        for axis in 0..3 {
            self.low[axis] = self.low[axis].min(at.0[axis]);
            self.high[axis] = self.high[axis].max(at.0[axis]);
        }
    }

    fn widened(&self, margin_mm: f64) -> [PatientPoint; 2] {
        [
            PatientPoint(self.low.map(|c| c - margin_mm)),
            PatientPoint(self.high.map(|c| c + margin_mm)),
        ]
    }
}
