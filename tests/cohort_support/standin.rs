//! A stand-in for `pilothole`: `assess` with its interface and made-up
//! numbers, `cohort` on the library. Scripts and tests that are about cohorts,
//! not about bone, run it in milliseconds a case.
//!
//! A scan is a file of words: `holes N`, then a behaviour: `well`,
//! `refuse CODE`, `refuse-plan CODE`; or one that goes wrong the first time
//! (remembered in `--state DIR`) and well afterwards: `kill`, `panic`, `abort`,
//! `silent`, `garbage`, `half`, `mute`, `hang`.

mod args;
mod assess;
mod cohort;
mod report;

use std::process::ExitCode;

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let command = words.next().unwrap_or_default();
    let args = args::Args::of(words);
    match (command.as_str(), args) {
        ("assess", Some(args)) => assess::assess(&args),
        ("cohort", Some(args)) => cohort::cohort(&args),
        ("scans", Some(args)) => cohort::scans(&args),
        ("parts", Some(args)) => cohort::parts(&args),
        _ => ExitCode::from(2),
    }
}
