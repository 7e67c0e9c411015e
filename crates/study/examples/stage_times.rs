//! Times the stages of one case, for `tests/peers/stages`; one line of JSON.
//!
//! Usage: `stage_times SCAN PLAN OUT THREADS SAMPLES`. Each stage has its
//! seconds, the seconds its threads were on a core, and the largest resident
//! memory so far, MiB; Linux only.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use std::cell::RefCell;
use std::error::Error;
use std::path::Path;
use std::time::Instant;

use pilothole_study::{CaseParams, Replace, Results, assess};

/// What was used until a moment.
#[derive(Clone, Copy)]
struct Used {
    at: Instant,
    cpu_s: f64,
    peak_mib: f64,
}

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [scan, plan, out, threads, samples] = &words[..] else {
        return Err("see the head of this example".into());
    };
    rayon::ThreadPoolBuilder::new().num_threads(threads.parse()?).build_global()?;
    let params = CaseParams { samples: samples.parse()?, ..CaseParams::timeless() };
    let begun = RefCell::new(Vec::new());
    let told = |stage: pilothole_study::Stage| begun.borrow_mut().push((stage, used()));
    let results = Results::all(Path::new(out), Replace::Anything);
    assess(Path::new(scan), Path::new(plan), &results, &params, &told)?;
    let begun = begun.into_inner();
    let ends = begun.iter().skip(1).map(|(_, used)| *used).chain([used()]);
    let rows = begun.iter().zip(ends).map(|((stage, from), to)| {
        format!(
            "{{\"stage\":\"{}\",\"wall_s\":{:.4},\"cpu_s\":{:.4},\"peak_mib\":{:.0}}}",
            stage.words(),
            (to.at - from.at).as_secs_f64(),
            to.cpu_s - from.cpu_s,
            to.peak_mib
        )
    });
    println!("[{}]", rows.collect::<Vec<_>>().join(","));
    Ok(())
}

fn used() -> Used {
    Used { at: Instant::now(), cpu_s: cpu_s(), peak_mib: peak_mib() }
}

/// Seconds that this process's threads have run.
fn cpu_s() -> f64 {
    let threads = std::fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
    let on_core = threads.filter_map(|thread| {
        let stat = std::fs::read_to_string(thread.path().join("schedstat")).ok()?;
        stat.split(' ').next()?.parse::<f64>().ok()
    });
    on_core.sum::<f64>() * 1e-9
}

fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).unwrap_or_default();
    line.split_whitespace().next().and_then(|kb| kb.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}
