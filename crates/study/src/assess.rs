//! The main job as a command runs it: files in, a folder of results out.

use std::fs;
use std::path::Path;

use pilothole_plan::{Format, Plan};
use pilothole_report::Record;

use crate::case::{Stage, judge_case};
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::params::CaseParams;
use crate::reason::Reason;

/// Names that a folder of results may hold.
pub const RESULT_NAMES: [&str; 10] = [
    "report.json",
    "holes.csv",
    "kit.csv",
    "spares.csv",
    "report.html",
    "theatre.pdf",
    "plan.resolved.toml",
    "bone.stl",
    "scene.glb",
    "compare.html",
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
    let case = judged.case(&plan, params);
    let record = pilothole_report::record(&case);
    for (name, bytes) in pilothole_report::write_record(&case, &record) {
        folder.write(name, &bytes)?;
    }
    folder.finish()?;
    Ok(record)
}

/// Largest plan file that is read.
const MAX_PLAN_BYTES: u64 = Plan::MAX_BYTES as u64;

/// Read a plan file: JSON where its name ends so, else TOML.
///
/// # Errors
///
/// [`CaseError::Plan`] with every problem; `plan.syntax` where the file cannot
/// be read.
pub fn read_plan(path: &Path) -> Result<Plan, CaseError> {
    let text = read_text(path, MAX_PLAN_BYTES, "plan.syntax", "the plan file")?;
    let json = path.extension().is_some_and(|ext| ext.eq_ignore_ascii_case("json"));
    Ok(Plan::parse(&text, if json { Format::Json } else { Format::Toml })?)
}

/// Read a text file that is small.
pub(crate) fn read_text(
    path: &Path,
    limit: u64,
    code: &'static str,
    what: &str,
) -> Result<String, CaseError> {
    let refuse = |reason: Reason| CaseError::Plan(vec![reason]);
    let bytes = fs::metadata(path)
        .map_err(|error| {
            refuse(Reason::new(code, format!("{what} cannot be read: {}", error.kind())))
        })?
        .len();
    if bytes > limit {
        return Err(refuse(
            Reason::new(code, format!("{what} is larger than it may be")).measured(
                bytes as f64,
                Some(limit as f64),
                "bytes",
            ),
        ));
    }
    let bytes = fs::read(path).map_err(|error| {
        refuse(Reason::new(code, format!("{what} cannot be read: {}", error.kind())))
    })?;
    String::from_utf8(bytes)
        .map_err(|_utf8| refuse(Reason::new(code, format!("{what} is not UTF-8 text"))))
}
