//! `assess`: the main job.

use pilothole_study::{assess, report_json, report_terminal};

use super::cohort::follow;
use super::measure::{replace, resolve};
use crate::args::Assess;
use crate::terminal::{self, COLUMNS, Failure, Progress};

/// Assess a plan on a scan.
pub(crate) fn run(args: &Assess) -> Result<u8, Failure> {
    follow(args.parent)?;
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let progress = Progress::begin();
    let result =
        assess(&args.scan, &args.plan, (&args.out.out, replace(&args.out)), &params, &|stage| {
            progress.told(stage);
        });
    progress.end();
    let record = result.map_err(Failure::of(json))?;
    if json {
        terminal::data(&report_json(&record));
    } else {
        terminal::data(&report_terminal(&record, COLUMNS));
        let report = args.out.out.join("report.html");
        terminal::data(&format!("report: {}", terminal::plain(&report.display().to_string())));
    }
    Ok(0)
}
