//! What a report of fourteen holes costs.

#[path = "../tests/common/mod.rs"]
mod common;

use common::Made;
use divan::Bencher;

fn main() {
    divan::main();
}

/// Every file of a report.
#[divan::bench(sample_count = 12, sample_size = 1)]
fn fourteen_holes(bencher: Bencher<'_, '_>) {
    let made = Made::usual();
    let case = made.case();
    bencher.bench_local(|| pilothole_report::write_all(&case));
}

/// The record alone.
#[divan::bench(sample_count = 12, sample_size = 1)]
fn record(bencher: Bencher<'_, '_>) {
    let made = Made::usual();
    let case = made.case();
    bencher.bench_local(|| pilothole_report::record(&case));
}
