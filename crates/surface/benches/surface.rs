//! Extraction, checks, queries and edits on a body of a hip bone's size.

use std::sync::LazyLock;

use pilothole_surface::{
    Bound, ClosedSurface, Decimation, DualContouring, Extract, RayIndex, Smoothing, SurfaceNets,
};
use pilothole_volume::{Direction, Grid, Offset, PatientPoint, Region, Volume, Voxels};

fn main() {
    divan::main();
}

/// A scan of 256 × 256 × 160 voxels: a wavy shell, some 400,000 triangles.
static SCAN: LazyLock<Volume> = LazyLock::new(|| {
    let size = [256, 256, 160];
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes(size, PatientPoint([-90.0, -90.0, -80.0]), axes, [0.7, 0.7, 1.0])
        .expect("a lattice");
    let hu = (0..grid.voxel_count())
        .map(|i| {
            let [x, y, z] = [i % 256, i / 256 % 256, i / 65536].map(|c| c as f64);
            let radius =
                ((x - 127.0).powi(2) + (y - 127.0).powi(2) + (1.5 * (z - 79.0)).powi(2)).sqrt();
            let shell = 95.0 + 8.0 * (x * 0.11).sin() * (y * 0.13).cos() + 4.0 * (z * 0.2).sin();
            (900.0 - 220.0 * (radius - shell).abs()).max(-100.0) as i16
        })
        .collect();
    Volume::new(grid, Voxels::I16(hu), None).expect("fits")
});

static SURFACE: LazyLock<ClosedSurface> = LazyLock::new(|| {
    let region = Region::whole(SCAN.grid());
    let extraction = SurfaceNets.extract_volume(&SCAN, region, 226.0).expect("fits");
    extraction.closed().expect("closed")
});

#[divan::bench]
fn extract_nets(bencher: divan::Bencher<'_, '_>) {
    let region = Region::whole(SCAN.grid());
    bencher.bench(|| SurfaceNets.extract_volume(&SCAN, region, 226.0));
}

#[divan::bench(sample_count = 10)]
fn extract_contouring(bencher: divan::Bencher<'_, '_>) {
    let region = Region::whole(SCAN.grid());
    bencher.bench(|| DualContouring.extract_volume(&SCAN, region, 226.0));
}

#[divan::bench(sample_count = 20)]
fn check(bencher: divan::Bencher<'_, '_>) {
    bencher.with_inputs(|| SURFACE.mesh().clone()).bench_values(ClosedSurface::check);
}

#[divan::bench(sample_count = 10)]
fn build_index(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| RayIndex::new(SURFACE.mesh()));
}

/// Rays from points around the wall, in all directions.
fn rays() -> Vec<(PatientPoint, Direction)> {
    (0..20_000_u32)
        .filter_map(|n| {
            let turn = f64::from(n) * 2.399_963;
            let height = f64::from(n) / 10_000.0 - 1.0;
            let flat = (1.0 - height * height).sqrt();
            let along = Offset([flat * turn.cos(), flat * turn.sin(), height]);
            let from = PatientPoint([0.0; 3]) + along * (f64::from(n % 60));
            Direction::along(Offset([along.0[1], along.0[2], along.0[0]])).map(|d| (from, d))
        })
        .collect()
}

#[divan::bench(sample_count = 20)]
fn twenty_thousand_first_hits(bencher: divan::Bencher<'_, '_>) {
    let (rays, index) = (rays(), SURFACE.index());
    bencher.bench(|| index.first_hits(&rays, f64::INFINITY));
}

#[divan::bench(sample_count = 10)]
fn twenty_thousand_nearest_points(bencher: divan::Bencher<'_, '_>) {
    let points: Vec<PatientPoint> = rays().into_iter().map(|r| r.0).collect();
    let index = SURFACE.index();
    bencher.bench(|| index.nearest_all(&points));
}

#[divan::bench(sample_count = 5)]
fn decimate_to_60_000(bencher: divan::Bencher<'_, '_>) {
    let decimation = Decimation { fewest_triangles: 60_000, within_mm: 0.5 };
    bencher.bench(|| decimation.apply(&SURFACE));
}

#[divan::bench(sample_count = 5)]
fn smooth_10_rounds(bencher: divan::Bencher<'_, '_>) {
    let smoothing = Smoothing { rounds: 10, bound: Bound::Cell(SCAN.grid()) };
    bencher.bench(|| smoothing.apply(&SURFACE));
}
