//! `demo`: the built-in phantom hip, assessed.

use std::path::Path;

use pilothole_phantom::{SeriesHeader, demo_hip, write_series};
use pilothole_study::{
    CAUTION, CaseError, Folder, Replace, Results, assess, report_brief, report_json,
};

use super::measure::resolve;
use crate::args::Demo;
use crate::terminal::{self, COLUMNS, Failure, Progress};

/// What a demo folder holds.
const NAMES: [&str; 4] = ["scan", "plan.toml", "truth.json", "report"];

/// Make the demo, assess it, say where the report is.
pub(crate) fn run(args: &Demo) -> Result<u8, Failure> {
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    make(&args.out).map_err(Failure::of(json))?;
    let progress = Progress::begin();
    let result = assess(
        &args.out.join("scan"),
        &args.out.join("plan.toml"),
        &Results::all(&args.out.join("report"), Replace::EarlierResults),
        &params,
        &|stage| {
            progress.told(stage);
        },
    );
    progress.end();
    let record = result.map_err(Failure::of(json))?;
    if json {
        terminal::data(&report_json(&record));
    } else {
        terminal::data(&report_brief(&record, COLUMNS));
        let report = args.out.join("report").join("report.html");
        terminal::data(&terminal::place("report", &report));
        terminal::say(&format!("\n{}", terminal::wrapped(CAUTION, COLUMNS, 0).join("\n")));
    }
    Ok(0)
}

/// Write the phantom's scan, plan and answers.
fn make(out: &Path) -> Result<(), CaseError> {
    let failed = |what: String| CaseError::Failed(what);
    let phantom = demo_hip().map_err(|error| failed(error.to_string()))?;
    let folder = Folder::begin(out, &NAMES, Replace::EarlierResults)?;
    write_series(&phantom.volume, &folder.staging().join("scan"), &SeriesHeader::default())
        .map_err(|error| failed(error.to_string()))?;
    folder.write("plan.toml", phantom.plan_toml.as_bytes())?;
    folder.write("truth.json", phantom.truth.to_json().as_bytes())?;
    folder.finish()?;
    Ok(())
}
