//! `assess`: the main job.

use pilothole_study::{FILE_NAMES, Results, assess, report_json, report_terminal};

use super::cohort::follow;
use super::measure::{replace, resolve};
use crate::args::Assess;
use crate::terminal::{self, COLUMNS, Failure, Progress};

/// The file to open first.
const PAGE: &str = "report.html";

/// Assess a plan on a scan.
pub(crate) fn run(args: &Assess) -> Result<u8, Failure> {
    follow(args.parent)?;
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let progress = Progress::begin();
    let only: Vec<&str> = if args.only.is_empty() {
        FILE_NAMES.to_vec()
    } else {
        args.only.iter().map(String::as_str).collect()
    };
    let results = Results { folder: &args.out.out, replace: replace(&args.out), only: &only };
    let result = assess(&args.scan, &args.plan, &results, &params, &|stage| {
        progress.told(stage);
    });
    progress.end();
    let record = result.map_err(Failure::of(json))?;
    if json {
        terminal::data(&report_json(&record));
    } else {
        terminal::data(&report_terminal(&record, COLUMNS));
        let page = args.out.out.join(PAGE);
        let (what, place) =
            if only.contains(&PAGE) { ("report", &page) } else { ("files", &args.out.out) };
        terminal::data(&terminal::place(what, place));
    }
    Ok(0)
}
