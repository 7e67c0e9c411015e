//! `compare`: reports side by side.

use pilothole_study::{Scans, write_comparison};

use super::measure::replace;
use crate::args::Compare;
use crate::terminal::{self, Failure};

/// Compare reports.
pub(crate) fn run(args: &Compare) -> Result<u8, Failure> {
    let scans = if args.different_scans { Scans::MayDiffer } else { Scans::Same };
    let out = (args.out.out.as_path(), replace(&args.out));
    let text = write_comparison(&args.reports, out, scans).map_err(Failure::of(args.json))?;
    if args.json {
        terminal::data(&text);
    } else {
        let page = args.out.out.join("compare.html");
        terminal::say(&terminal::place("comparison", &page));
    }
    Ok(0)
}
