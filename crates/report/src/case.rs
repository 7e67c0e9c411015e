//! What a report is made from.

use pilothole_assess::set::SetResult;
use pilothole_assess::stock::StockChart;
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
    pub chart: Option<&'a StockChart>,
    /// When the report is written, RFC 3339; `None` for a timeless one.
    pub written_at: Option<String>,
    /// Version of the program.
    pub tool_version: String,
}
