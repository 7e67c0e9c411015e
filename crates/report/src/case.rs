//! What a report is made from.

use pilothole_assess::set::SetResult;
use pilothole_assess::{Finding, HoleResult, Scene};
use pilothole_plan::Plan;
use pilothole_surface::ClosedSurface;

use crate::record::{BonesRecord, CalibrationRecord, Parameter, ScanRecord};

/// One case, judged.
#[derive(Clone, Debug)]
pub struct Case<'a> {
    /// Facts of the scan.
    pub scan: ScanRecord,
    /// What was proposed.
    pub plan: &'a Plan,
    /// The scan itself, for pictures.
    pub scene: Scene<'a>,
    /// The judgement of each hole.
    pub holes: &'a [HoleResult],
    /// The judgement of the set, where it was asked for.
    pub set: Option<&'a SetResult>,
    /// What was taken for bone.
    pub bones: BonesRecord,
    /// How Hounsfield units become density.
    pub calibration: Option<CalibrationRecord>,
    /// Every resolved number and word.
    pub parameters: Vec<Parameter>,
    /// Reservations about scan and set; those of holes travel with them.
    pub findings: Vec<Finding>,
    /// Surface of the bones, LPS, mm.
    pub surface: Option<&'a ClosedSurface>,
    /// The hemisphere of directions seen from the socket's mouth.
    pub chart: Option<Chart>,
    /// When the report is written, RFC 3339; `None` for a timeless one.
    pub written_at: Option<String>,
    /// Version of the program.
    pub tool_version: String,
}

/// Depth of bone by direction, from the socket's centre.
///
/// An equal-area chart: the pole is straight into the socket, against its
/// axis; the rim is the mouth's plane.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// The directions looked at.
    pub cells: Vec<ChartCell>,
    /// Distance between neighbouring directions, degrees.
    pub spacing_deg: f64,
}

/// One direction of a [`Chart`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChartCell {
    /// Direction, unit, LPS.
    pub direction: [f64; 3],
    /// Depth to the far cortex, mm; `None` where no bone is met or its end is
    /// not known.
    pub depth_mm: Option<f64>,
    /// Mean over a thread, HU, where there is bone.
    pub thread_hu: Option<f64>,
    /// Whether to keep away: thin wall, scan's end.
    pub danger: bool,
}
