//! The main job as a command runs it: files in, a folder of results out.

use std::path::Path;

use pilothole_report::Record;
use rayon::prelude::*;

use crate::case::{Stage, judge_case};
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::params::CaseParams;
use crate::plan_file::read_plan;

/// Names that a folder of results may hold.
pub const RESULT_NAMES: [&str; 9] = [
    "report.json",
    "holes.csv",
    "kit.csv",
    "spares.csv",
    "report.html",
    "theatre.pdf",
    "plan.resolved.toml",
    "bone.stl",
    "scene.glb",
];

/// Assess a plan on a scan and put the results into a folder.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn assess(
    scan: &Path,
    plan: &Path,
    out: (&Path, Replace),
    params: &CaseParams,
    told: &dyn Fn(Stage),
) -> Result<Record, CaseError> {
    let folder = Folder::begin(out.0, &RESULT_NAMES, out.1)?;
    let plan = read_plan(plan)?;
    let judged = judge_case(scan, &plan, params, told)?;
    told(Stage::Report);
    let case = judged.case(&plan.plan, params);
    let record = pilothole_report::record(&case);
    pilothole_report::write_record(&case, &record)
        .par_iter()
        .try_for_each(|(name, bytes)| folder.write(name, bytes))?;
    folder.finish()?;
    Ok(record)
}
