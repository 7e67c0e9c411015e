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
/// `plan.outside_scan`, once, with the centre and every seat that is not in the
/// scan.
pub fn region_of(plan: &Plan, volume: &Volume) -> Result<Region, Vec<Reason>> {
    let is_outside = |at: PatientPoint| !volume.grid().holds(volume.grid().voxel_from_patient(at));
    let centre = plan.socket.centre;
    let mut reach = Reach::around(centre, 0.5 * plan.socket.outer_diameter_mm);
    for hole in &plan.holes {
        reach.take(hole.seat);
        reach.take(hole.seat + hole.direction * AXIS_REACH_MM);
    }
    let seats: Vec<&str> = plan
        .holes
        .iter()
        .filter(|hole| is_outside(hole.seat))
        .map(|hole| hole.id.as_str())
        .collect();
    if let Some(what) = outside(is_outside(centre), &seats, plan.holes.len()) {
        return Err(vec![
            Reason::new("plan.outside_scan", what)
                .next("check that plan and scan belong together and share LPS coordinates"),
        ]);
    }
    let [low, high] = reach.widened(MARGIN_MM);
    Region::spanning(volume.grid(), low, high)
        .ok_or_else(|| vec![Reason::new("plan.outside_scan", "the socket lies outside the scan")])
}

/// Most holes that are named in one sentence.
const MOST_NAMED: usize = 20;

/// One sentence for all that lies outside; `None` for nothing.
fn outside(centre: bool, seats: &[&str], count: usize) -> Option<String> {
    let mut names: Vec<String> = seats.iter().take(MOST_NAMED).map(|id| (*id).to_owned()).collect();
    if seats.len() > MOST_NAMED {
        names.push(format!("{} more", seats.len() - MOST_NAMED));
    }
    let holes = match seats {
        [] => None,
        [_] => Some(format!("the seat of 1 of {count} holes ({})", names[0])),
        _ => Some(format!("the seats of {} of {count} holes ({})", seats.len(), names.join(", "))),
    };
    let centre = centre.then(|| "the socket's centre".to_owned());
    let verb = if seats.len() + usize::from(centre.is_some()) == 1 { "lies" } else { "lie" };
    let what: Vec<String> = centre.into_iter().chain(holes).collect();
    (!what.is_empty()).then(|| format!("{} {verb} outside the scan", what.join(" and ")))
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
