//! `refine`: better directions.

use std::sync::atomic::AtomicBool;

use pilothole_study::write_refined;

use super::measure::{replace, resolve};
use crate::args::Refine;
use crate::terminal::{self, Failure};

/// Refine a plan on a scan.
pub(crate) fn run(args: &Refine) -> Result<u8, Failure> {
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let out = (args.out.out.as_path(), replace(&args.out));
    let stop = AtomicBool::new(false);
    let text =
        write_refined(&args.scan, &args.plan, out, &params, &stop).map_err(Failure::of(json))?;
    if json {
        terminal::data(&serde_json::json!({ "text": text }).to_string());
    } else {
        terminal::data(&terminal::lines(&text));
    }
    Ok(0)
}
