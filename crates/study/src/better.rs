//! Better directions within each hole's reach, as a new plan.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use pilothole_assess::refine::{DrillWays, RefineParams, refine};
use pilothole_assess::strength::StrengthParams;
use pilothole_plan::{Format, Plan};
use pilothole_report::{
    Record, compare, refined_comments, refined_json, refined_words, write_compare,
};

use crate::calibrate::calibrate;
use crate::case::{Stage, judge_case, set_params};
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::hold::robust_params;
use crate::params::CaseParams;
use crate::plan_file::{PlanFile, read_plan};
use crate::reason::Reason;

/// Names that a refinement's folder may hold.
const NAMES: [&str; 5] =
    ["plan.refined.toml", "refine.json", "compare.json", "compare.csv", "compare.html"];

/// Refine a plan on a scan and write the new plan, what moved and why, and the
/// comparison before and after; answers with what a terminal shows.
///
/// Directions that no drill gets to, by the rules of the set's access, are not
/// proposed.
///
/// - `searches`: called once the bones are known and the search begins.
/// - `stop`: may be set from elsewhere from then on; what was found until then
///   is written.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn write_refined(
    scan: &Path,
    plan: &Path,
    out: (&Path, Replace),
    params: &CaseParams,
    searches: &dyn Fn(),
    stop: &AtomicBool,
) -> Result<String, CaseError> {
    let folder = Folder::begin(out.0, &NAMES, out.1)?;
    let file = read_plan(plan)?;
    let before = judge_case(scan, &file, params, &|_: Stage| ())?;
    let calibrated = calibrate(&file.plan, &before.prepared.intake, params)?;
    let line = calibrated.line().ok_or_else(|| {
        CaseError::Plan(vec![Reason::new(
            "plan.range",
            "no law of strength is stated in the calibration's mineral",
        )])
    })?;
    let asked = RefineParams::with(robust_params(&file.plan, params), StrengthParams::with(line));
    let scene = before.prepared.scene();
    let set = set_params(&file, &calibrated);
    let ways = DrillWays::new(&scene, &file.plan, &before.holes, &set);
    searches();
    let refined = refine(&scene, &file.plan, &asked, &ways, stop);
    let text = refined_comments(&file.plan, &refined) + &refined.plan.resolved_toml();
    Plan::parse(&text, Format::Toml)?;
    let old = before.record(&file.plan, params);
    let new_file = PlanFile { plan: refined.plan.clone(), part: file.part.clone() };
    let after = before.rejudged(&new_file, params)?;
    let new: Record = after.record(&new_file.plan, params);
    folder.write("plan.refined.toml", text.as_bytes())?;
    folder.write("refine.json", refined_json(&file.plan, &refined).as_bytes())?;
    for (name, bytes) in write_compare(&compare(&[old, new])) {
        folder.write(name, &bytes)?;
    }
    folder.finish()?;
    Ok(refined_words(&file.plan, &refined))
}
