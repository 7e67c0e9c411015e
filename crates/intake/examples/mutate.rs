//! Tries a large number of mutated files, as the tests do with a few.
//!
//! Usage: `mutate [COUNT] [FILE...]`: 100,000 by default; files given are
//! changed too, besides the made ones.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

#[path = "../tests/all/made.rs"]
#[expect(dead_code, reason = "shared with the tests")]
mod made;
#[path = "../tests/all/mutate.rs"]
mod mutate;

use std::path::Path;
use std::time::{Duration, Instant};

use mutate::{Draw, mutated};
use pilothole_intake::{Limits, open};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let count: u64 = arguments.next().and_then(|n| n.parse().ok()).unwrap_or(100_000);
    let mut bases: Vec<Vec<u8>> =
        [made::EXPLICIT, made::IMPLICIT, made::BIG_ENDIAN, made::DEFLATED]
            .into_iter()
            .map(|syntax| made::Series { syntax, ..made::Series::default() }.file(0))
            .collect();
    bases.extend(arguments.filter_map(|path| std::fs::read(path).ok()));
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("m");
    let limits = Limits { min_slices: 1, ..Limits::default() };
    let (mut worst, mut read, mut listed) = ((Duration::ZERO, 0), 0, 0);
    let start = Instant::now();
    for seed in 0..count {
        let base = &bases[seed as usize % bases.len()];
        std::fs::write(&path, mutated(base, &mut Draw::new(seed))).expect("writes");
        let begin = Instant::now();
        let outcome = attempt(&path, &limits);
        listed += u64::from(outcome.0);
        read += u64::from(outcome.1);
        worst = worst.max((begin.elapsed(), seed));
    }
    println!(
        "{count} mutated files of {} kinds in {:.0} s: {listed} listed, {read} read, the rest refused",
        bases.len(),
        start.elapsed().as_secs_f64()
    );
    println!("slowest {:?} (seed {}), peak memory {}", worst.0, worst.1, peak_memory());
}

/// Whether a series was listed, and whether one was read.
fn attempt(path: &Path, limits: &Limits) -> (bool, bool) {
    let Ok(scan) = open(path, limits) else { return (false, false) };
    let reads = scan.usable().into_iter().filter(|at| scan.read(Some(*at), limits).is_ok());
    (true, reads.count() > 0)
}

/// The largest resident size of this process, as Linux tells it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |size| size.trim().to_owned())
}
