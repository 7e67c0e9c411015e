//! From the fields as written to a checked plan: references, units, sense.

mod parts;
mod salvage;
mod sense;

use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::model::Plan;
use crate::problem::{PlanProblem, PlanRefusal};
use crate::schema::shape_problems;
use crate::tree::Node;
use crate::wire::{Triple, WirePlan};

/// Judge a file's shape and its sense; of a misshapen plan the sense of what is
/// well shaped.
pub(crate) fn plan_from_tree(root: &Node) -> Result<Plan, PlanRefusal> {
    let mut problems = shape_problems(root);
    if !problems.is_empty() {
        if let Some(left) = salvage::salvage(root)
            && let Ok((_, found)) = judged(&left.root)
        {
            let is_own = |p: &PlanProblem| !(left.lost_screw && p.code == "plan.screw");
            problems.extend(found.into_iter().filter(is_own));
        }
        return Err(PlanRefusal::new(problems));
    }
    let (plan, problems) = judged(root)?;
    if problems.is_empty() { Ok(plan) } else { Err(PlanRefusal::new(problems)) }
}

/// The plan of a well-shaped file, and what contradicts itself in it.
fn judged(root: &Node) -> Result<(Plan, Vec<PlanProblem>), PlanRefusal> {
    let wire: WirePlan = serde_json::from_value(root.to_value())
        .map_err(|e| PlanRefusal::new(vec![PlanProblem::new("plan.field", 0, e.to_string())]))?;
    let mut check = Check { ras: wire.coordinates == "RAS", problems: Vec::new() };
    let plan = parts::plan(&mut check, root, wire);
    sense::judge(&mut check.problems, root, &plan);
    Ok((plan, check.problems))
}

/// What the file's numbers are written in, and what was found wrong so far.
///
/// A value that is refused still yields a stand-in, so that everything else is
/// judged too; the stand-in never leaves, since the plan is refused.
struct Check {
    ras: bool,
    problems: Vec<PlanProblem>,
}

impl Check {
    fn refuse(&mut self, problem: PlanProblem) {
        self.problems.push(problem);
    }

    fn point(&self, at: Triple) -> PatientPoint {
        PatientPoint(self.to_lps(at))
    }

    /// The unit vector of the field `name` of `table`.
    fn direction(&mut self, table: &Node, name: &str, written: Triple) -> Direction {
        let offset = Offset(self.to_lps(written));
        let length = offset.length_mm();
        if (length - 1.0).abs() <= Plan::UNIT_TOLERANCE
            && let Some(unit) = exactly_unit(offset)
        {
            return unit;
        }
        let limit =
            if length < 1.0 { 1.0 - Plan::UNIT_TOLERANCE } else { 1.0 + Plan::UNIT_TOLERANCE };
        let text = format!("`{name}` has length {length:.4}, a unit vector is within 0.001 of 1");
        let mut problem = PlanProblem::new("plan.direction", table.line_of(name), text)
            .measured(length, limit, None);
        if length.is_finite() && length > 1e-6 {
            let [x, y, z] = written.map(|c| c / length);
            problem = problem.next(format!("its unit vector is [{x:.6}, {y:.6}, {z:.6}]"));
        }
        self.refuse(problem);
        Direction::SUPERIOR
    }

    fn to_lps(&self, [x, y, z]: Triple) -> Triple {
        // Adding zero turns -0 into 0, so that both axes write the same file.
        if self.ras { [0.0 - x, 0.0 - y, z + 0.0] } else { [x + 0.0, y + 0.0, z + 0.0] }
    }
}

/// A direction whose components no longer change when it is normalised again,
/// so that a plan written and read keeps its last digit.
fn exactly_unit(offset: Offset) -> Option<Direction> {
    let mut unit = Direction::along(offset)?;
    for _ in 0..8 {
        let again = Direction::along(unit.offset())?;
        if again == unit {
            break;
        }
        unit = again;
    }
    Some(unit)
}
