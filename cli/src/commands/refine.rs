//! `refine`: better directions.

use std::sync::atomic::Ordering;

use pilothole_study::write_refined;

use super::measure::{replace, resolve};
use crate::args::Refine;
use crate::interrupt::Search;
use crate::terminal::{self, Failure};

/// Refine a plan on a scan; stopped, with the best so far.
pub(crate) fn run(args: &Refine, search: &Search) -> Result<u8, Failure> {
    let json = args.measure.json;
    let params = resolve(&args.measure)?;
    let out = (args.out.out.as_path(), replace(&args.out));
    let begins = || search.begun.store(true, Ordering::Relaxed);
    let text = write_refined(&args.scan, &args.plan, out, &params, &begins, &search.stop)
        .map_err(Failure::of(json))?;
    if json {
        terminal::data(&serde_json::json!({ "text": text }).to_string());
    } else {
        terminal::data(&terminal::lines(&text));
        terminal::data(&terminal::place("new plan", &args.out.out.join("plan.refined.toml")));
    }
    Ok(0)
}
