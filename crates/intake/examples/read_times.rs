//! Times reading a folder of one uncompressed series against copying its
//! bytes twice, from a warm cache; one line of JSON.
//!
//! Usage: `read_times FOLDER [REPEATS]`. Used by `tests/peers/read_times.py`.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use std::path::{Path, PathBuf};
use std::time::Instant;

use pilothole_intake::{Limits, open};
use rayon::prelude::*;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().unwrap_or_default();
    let repeats: usize = arguments.next().and_then(|n| n.parse().ok()).unwrap_or(7);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map(|all| all.filter_map(|entry| Some(entry.ok()?.path())).collect())
        .unwrap_or_default();
    paths.sort();
    let limits = Limits::default();
    let (mut read_ms, mut one_ms, mut all_ms) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    let mut bytes = 0;
    for _ in 0..repeats {
        one_ms = one_ms.min(timed(|| bytes = copied_twice(&paths)));
        all_ms = all_ms.min(timed(|| copied_twice_by_all(&paths)));
        read_ms = read_ms.min(timed(|| {
            let scan = open(Path::new(&folder), &limits).expect("opens");
            let intake = scan.read(None, &limits).expect("reads");
            assert!(!intake.volume.voxels().is_empty());
        }));
    }
    let cpu = |work: &mut dyn FnMut()| {
        let before = cpu_ms();
        (0..repeats).for_each(|_| work());
        (cpu_ms() - before) / repeats as f64
    };
    let read_cpu_ms = cpu(&mut || {
        let scan = open(Path::new(&folder), &limits).expect("opens");
        std::hint::black_box(scan.read(None, &limits).expect("reads"));
    });
    let copied_cpu_ms = cpu(&mut || copied_twice_by_all(&paths));
    println!("{{\"read_cpu_ms\":{read_cpu_ms:.1},\"copied_twice_cpu_ms\":{copied_cpu_ms:.1},");
    println!(
        "\"files\":{},\"bytes\":{bytes},\"read_ms\":{read_ms:.1},\"copied_twice_ms\":{one_ms:.1},\
         \"copied_twice_all_cores_ms\":{all_ms:.1}}}",
        paths.len()
    );
}

/// Time that all threads of this process were on a core, as Linux tells it;
/// it does not depend on what else the machine does.
fn cpu_ms() -> f64 {
    let threads = std::fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
    let on_core = threads.filter_map(|thread| {
        let stat = std::fs::read_to_string(thread.path().join("schedstat")).ok()?;
        stat.split(' ').next()?.parse::<f64>().ok()
    });
    on_core.sum::<f64>() / 1e6
}

fn timed(mut work: impl FnMut()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64() * 1e3
}

/// Files into memory, and from there into one array.
fn copied_twice(paths: &[PathBuf]) -> usize {
    let mut all = Vec::new();
    for path in paths {
        let file = std::fs::read(path).expect("reads");
        all.extend_from_slice(&file);
    }
    std::hint::black_box(&all);
    all.len()
}

/// The same on all cores, into an array of the right size.
fn copied_twice_by_all(paths: &[PathBuf]) {
    let len = |path: &PathBuf| std::fs::metadata(path).map_or(0, |m| m.len() as usize);
    let most = paths.iter().map(len).max().unwrap_or(0);
    let mut all = vec![0_u8; most * paths.len()];
    all.par_chunks_mut(most.max(1)).zip(paths).for_each(|(out, path)| {
        let file = std::fs::read(path).expect("reads");
        out[..file.len()].copy_from_slice(&file);
    });
    std::hint::black_box(&all);
}
