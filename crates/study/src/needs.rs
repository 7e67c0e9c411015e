//! What a case will need, and what is wrong with its plan, before it starts.

use std::path::Path;

use pilothole_intake::{Limits, open};

use crate::plan_file::read_plan;

/// Bytes of a voxel in memory.
const VOXEL_BYTES: u64 = 2;

/// Bytes besides the volume: bones of the region, surface, report. Measured
/// peaks with one thread lie below the sum: docs/cohorts.md.
const REST_BYTES: u64 = 300 << 20;

/// Bytes of memory that a case with this scan will need, from headers alone;
/// `None` when the scan cannot be opened, which the case itself will say.
pub fn memory_estimate(scan: &Path) -> Option<u64> {
    // An archive is held in memory beside what comes out of it.
    let packed = std::fs::metadata(scan).ok().filter(std::fs::Metadata::is_file);
    let packed = packed.map_or(0, |file| file.len());
    let scan = open(scan, &Limits::default()).ok()?;
    scan.series()
        .iter()
        .map(|one| {
            let [columns, rows] = one.matrix;
            (columns * rows * one.slices) as u64 * VOXEL_BYTES + REST_BYTES + packed
        })
        .max()
}

/// What is wrong with a plan file, one sentence each; empty when it is sound.
pub fn plan_problems(plan: &Path) -> Vec<String> {
    match read_plan(plan) {
        Ok(_) => Vec::new(),
        Err(error) => error.reasons().iter().map(|r| format!("{}: {}", r.code, r.text)).collect(),
    }
}
