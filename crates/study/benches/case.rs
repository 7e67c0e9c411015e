//! A case on a 512 × 512 × 400 series: each stage, and all of it.
//!
//! `cargo bench -p pilothole-study`; the series is the built-in hip on a finer
//! lattice, written once to a temporary folder.

use std::fs;
use std::path::PathBuf;
use std::sync::LazyLock;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use pilothole_assess::judge_hole;
use pilothole_assess::stock::{StockParams, stock};
use pilothole_assess::strength::{DensityLine, StrengthParams};
use pilothole_bone::{BoneParams, bone_region, find_bones};
use pilothole_phantom::{Recipe, SeriesHeader, build, write_series};
use pilothole_study::{
    CaseParams, Limits, PlanFile, Prepared, Replace, Results, assess, hints_of, judge_case, open,
    read_plan, wrap,
};

fn main() {
    divan::main();
}

struct Made {
    home: tempfile::TempDir,
    plan: PlanFile,
}

impl Made {
    fn scan(&self) -> PathBuf {
        self.home.path().join("scan")
    }
}

static MADE: LazyLock<Made> = LazyLock::new(|| {
    let mut recipe = Recipe::demo();
    recipe.grid.spacing_mm = [0.8, 0.8, 1.0];
    recipe.grid.extent_mm = [409.6, 409.6, 400.0];
    let phantom = build(&recipe).expect("made");
    let home = tempfile::tempdir().expect("a folder");
    write_series(&phantom.volume, &home.path().join("scan"), &SeriesHeader::default())
        .expect("written");
    let file = home.path().join("plan.toml");
    fs::write(&file, &phantom.plan_toml).expect("written");
    let plan = read_plan(&file).expect("sound");
    Made { home, plan }
});

fn prepared() -> Prepared {
    Prepared::read(&MADE.scan(), &MADE.plan.plan, &CaseParams::timeless(), &|_| ()).expect("read")
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn reading(bencher: Bencher<'_, '_>) {
    let (scan, limits) = (MADE.scan(), Limits::default());
    bencher.bench_local(|| {
        open(&scan, &limits).and_then(|scan| scan.read(None, &limits)).expect("read")
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn reading_and_envelope(bencher: Bencher<'_, '_>) {
    bencher.bench_local(prepared);
}

/// The bone stage alone, 80 mm around the socket.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn envelope_around_a_hip(bencher: Bencher<'_, '_>) {
    let limits = Limits::default();
    let read = open(&MADE.scan(), &limits).and_then(|scan| scan.read(None, &limits)).expect("read");
    let region = bone_region(&read.volume, MADE.plan.plan.socket.centre, 80.0).expect("inside");
    let params = BoneParams { hips: hints_of(&MADE.plan.plan), ..BoneParams::default() };
    bencher.bench_local(|| find_bones(&read.volume, region, &params).expect("found"));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn surface(bencher: Bencher<'_, '_>) {
    let prepared = prepared();
    bencher.bench_local(|| wrap(&prepared.bones).expect("closed"));
}

#[divan::bench(sample_count = 20)]
fn one_path(bencher: Bencher<'_, '_>) {
    let prepared = prepared();
    let params = CaseParams::timeless();
    let scene = prepared.scene();
    bencher.bench_local(|| black_box(judge_hole(&scene, &MADE.plan.plan, 0, &params.judge)));
}

/// Every direction of the hemisphere 1.44° apart, threads read and held.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn chart_of_10000_directions(bencher: Bencher<'_, '_>) {
    let prepared = prepared();
    let line = DensityLine {
        slope: 0.8,
        intercept: 0.0,
        slope_sd: 0.05,
        intercept_sd: 5.0,
        valid_hu: [-100.0, 1500.0],
        source: String::new(),
    };
    let params = StockParams {
        spacing_rad: 1.44_f64.to_radians(),
        seat_spacing_mm: 200.0,
        seat_half_angle_rad: 0.0,
        ..StockParams::with(0, StrengthParams::with(line))
    };
    let chart = || stock(&prepared.scene(), &MADE.plan.plan, &params).expect("in range");
    let directions = chart().charts.iter().map(|chart| chart.cells.len()).sum::<usize>();
    bencher.counter(ItemsCount::new(directions)).bench_local(chart);
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn judging_all(bencher: Bencher<'_, '_>) {
    let params = CaseParams::timeless();
    bencher.bench_local(|| judge_case(&MADE.scan(), &MADE.plan, &params, &|_| ()).expect("judged"));
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn assess_with_report(bencher: Bencher<'_, '_>) {
    let params = CaseParams::timeless();
    let (scan, plan) = (MADE.scan(), MADE.home.path().join("plan.toml"));
    let out = MADE.home.path().join("out");
    bencher.bench_local(|| {
        assess(&scan, &plan, &Results::all(&out, Replace::EarlierResults), &params, &|_| ())
            .expect("written")
    });
}
