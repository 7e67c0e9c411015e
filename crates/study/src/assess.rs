//! The main job as a command runs it: files in, a folder of results out.

use std::path::Path;

use pilothole_report::{CHARTED, Case, FILE_NAMES, Record};

use crate::case::{Stage, judge_case};
use crate::chart::chart_of_report;
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::params::CaseParams;
use crate::plan_file::read_plan;

/// Where results go, and which of them.
#[derive(Clone, Copy, Debug)]
pub struct Results<'a> {
    /// The folder; afterwards it holds these files and no other.
    pub folder: &'a Path,
    /// What may stand there.
    pub replace: Replace,
    /// Names out of [`FILE_NAMES`]. What no file of these needs is not drawn.
    pub only: &'a [&'a str],
}

impl<'a> Results<'a> {
    /// Every file.
    pub fn all(folder: &'a Path, replace: Replace) -> Self {
        Self { folder, replace, only: &FILE_NAMES }
    }
}

/// Assess a plan on a scan and put the results into a folder.
///
/// The record is the same whichever files are asked for.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn assess(
    scan: &Path,
    plan: &Path,
    results: &Results<'_>,
    params: &CaseParams,
    told: &dyn Fn(Stage),
) -> Result<Record, CaseError> {
    let folder = Folder::begin(results.folder, &FILE_NAMES, results.replace)?;
    let plan = read_plan(plan)?;
    let judged = judge_case(scan, &plan, params, told)?;
    let scene = judged.prepared.scene();
    let chart = results
        .only
        .contains(&CHARTED)
        .then(|| chart_of_report(&scene, &plan.plan, &judged.calibrated))
        .flatten();
    told(Stage::Report);
    let case = Case { chart: chart.as_ref(), ..judged.case(&plan.plan, params) };
    let record = pilothole_report::record(&case);
    pilothole_report::write_record(&case, &record, results.only, |name, content| {
        folder.write_with(name, |file| content.write_to(file))
    })?;
    folder.finish()?;
    Ok(record)
}
