//! How long the chart, the placements and the refinement take on a scan of
//! 512 x 512 x 400 voxels, and how that grows with what is asked for.

use std::fmt::Write;
use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;

use divan::counter::ItemsCount;
use pilothole_assess::refine::{OpenCorridors, RefineParams, refine};
use pilothole_assess::robust::{ForgiveParams, RobustParams, robust, robust_set};
use pilothole_assess::stock::{StockParams, ThreadReading, stock};
use pilothole_assess::strength::{DensityLine, StrengthParams, strength};
use pilothole_assess::{HoleResult, JudgeParams, Scene, judge_holes};
use pilothole_plan::{Format, Plan};
use pilothole_volume::{
    Direction, Field, Grid, Labels, Mask, Offset, PatientPoint, Region, Volume, Voxels,
};

fn main() {
    divan::main();
}

struct Case {
    volume: Volume,
    field: Field,
    labels: Labels,
    none: Mask,
    plan: Plan,
    holes: Vec<HoleResult>,
}

/// Bone of 30 mm about a socket of 25 mm, at the middle of the scan.
fn depth(at: PatientPoint) -> f64 {
    let from = Offset([at.0[0], at.0[1] / 0.9, at.0[2] - 20.0]);
    ((at - PatientPoint([0.0; 3])).length_mm() - 25.0).min(55.0 - from.length_mm())
}

fn case() -> Case {
    let size = [512, 512, 400];
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let origin = PatientPoint([-204.4, -204.4, -159.6]);
    let grid = Grid::from_axes(size, origin, axes, [0.8; 3]).expect("square");
    let hu = |index: usize| {
        let [i, j, k] = [index % 512, index / 512 % 512, index / (512 * 512)];
        let near = [(i, 256), (j, 256), (k, 200)].iter().all(|(a, b)| a.abs_diff(*b) < 100);
        let inside = near && depth(grid.centre_of([i, j, k])) > 0.0;
        if inside { 250 + (i * 7 + j * 13 + k * 5) as i16 % 120 } else { 40 }
    };
    let voxels = (0..grid.voxel_count()).map(hu).collect();
    let region = Region::new([160, 160, 110], [352, 352, 300]).expect("not empty");
    let part = grid.within(region);
    let [nx, ny, _] = part.size();
    let depths: Vec<f64> = (0..part.voxel_count())
        .map(|i| depth(part.centre_of([i % nx, i / nx % ny, i / (nx * ny)])))
        .collect();
    let field = depths.iter().map(|d| d.clamp(-2.0, 2.0) as f32).collect();
    let labels = depths.iter().map(|d| u8::from(*d > 0.0)).collect();
    let mut case = Case {
        volume: Volume::new(grid, Voxels::I16(voxels), None).expect("fits"),
        labels: Labels::new(part.size(), labels).expect("fits"),
        none: Mask::none(part.size()),
        field: Field::new(part, field).expect("fits"),
        plan: plan(14),
        holes: Vec::new(),
    };
    case.holes = judge_holes(&case.scene(), &case.plan, &JudgeParams::OWN);
    case
}

impl Case {
    fn scene(&self) -> Scene<'_> {
        Scene {
            volume: &self.volume,
            field: &self.field,
            labels: &self.labels,
            metal: &self.none,
            cement: &self.none,
            untrusted: &self.none,
            threshold_hu: 226.0,
            cortex: None,
        }
    }
}

static CASE: LazyLock<Case> = LazyLock::new(case);

/// Holes square on the socket, with 12° of swivel, in two rings.
fn plan(count: u32) -> Plan {
    let mut text = "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n\
                    [socket]\ncentre_mm = [0.0, 0.0, 0.0]\naxis = [0.0, 0.0, -1.0]\n\
                    outer_diameter_mm = 50.0\n"
        .to_owned();
    for i in 0..count {
        let (polar, of) = if i < 5 { (0.5, 5.0) } else { (1.1, 9.0) };
        let out = Direction::SUPERIOR.tilted(polar, f64::from(i) * std::f64::consts::TAU / of);
        let seat = (PatientPoint([0.0; 3]) + out * 25.0).0;
        let direction = out.components();
        writeln!(
            text,
            "[[hole]]\nid = \"{i}\"\nzone = \"cup\"\nseat_mm = {seat:?}\n\
             direction = {direction:?}\nscrew = \"HB 6.5\"\nswivel_deg = 12.0"
        )
        .expect("text grows");
    }
    Plan::parse(&text, Format::Toml).expect("a plan")
}

fn with() -> StrengthParams {
    StrengthParams::with(DensityLine {
        slope: 0.8,
        intercept: 0.0,
        slope_sd: 0.05,
        intercept_sd: 5.0,
        valid_hu: [-100.0, 1500.0],
        source: String::new(),
    })
}

/// From the socket's centre alone; 1.44° is 10,000 directions.
#[divan::bench(args = [2.88, 1.44, 0.72], sample_count = 5, sample_size = 1)]
fn chart_by_spacing_deg(bencher: divan::Bencher<'_, '_>, spacing_deg: f64) {
    let case = &*CASE;
    let params = StockParams {
        spacing_rad: spacing_deg.to_radians(),
        seat_spacing_mm: 200.0,
        seat_half_angle_rad: 0.0,
        thread: ThreadReading::Survey,
        ..StockParams::with(0, with())
    };
    let count = |params: &StockParams| {
        let found = stock(&case.scene(), &case.plan, params).expect("in range");
        found.charts.iter().map(|chart| chart.cells.len()).sum::<usize>()
    };
    let directions = count(&params);
    bencher.counter(ItemsCount::new(directions)).bench(|| count(&params));
}

/// Fourteen holes; nothing forgiven is looked for.
#[divan::bench(args = [250, 1000, 4000], sample_count = 5, sample_size = 1)]
fn placements_of_14_holes(bencher: divan::Bencher<'_, '_>, samples: usize) {
    let case = &*CASE;
    let forgive = ForgiveParams { azimuths: 1, ..ForgiveParams::OWN };
    let params = RobustParams { samples, forgive, ..RobustParams::OWN };
    let items = ItemsCount::new(14 * samples);
    bencher.counter(items).bench(|| {
        let of = |hole: &HoleResult| robust(&case.scene(), &case.plan, hole, &params);
        case.holes.iter().filter_map(of).count()
    });
}

/// With what each hole forgives.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn forgiveness_of_14_holes(bencher: divan::Bencher<'_, '_>) {
    let case = &*CASE;
    let params = RobustParams { samples: 1, ..RobustParams::OWN };
    bencher.bench(|| {
        let of = |hole: &HoleResult| robust(&case.scene(), &case.plan, hole, &params);
        case.holes.iter().filter_map(of).count()
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn set_of_14_holes_1000_placements(bencher: divan::Bencher<'_, '_>) {
    let case = &*CASE;
    bencher.bench(|| robust_set(&case.scene(), &case.plan, &case.holes, &RobustParams::OWN));
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn strength_of_14_holes(bencher: divan::Bencher<'_, '_>) {
    let case = &*CASE;
    let params = with();
    bencher.bench(|| {
        let of = |hole| strength(&case.scene(), &case.plan.screws[0], hole, &params).pullout;
        case.holes.iter().filter_map(of).count()
    });
}

/// 12° of swivel each.
#[divan::bench(args = [1, 7, 14], sample_count = 2, sample_size = 1)]
fn refine_by_holes(bencher: divan::Bencher<'_, '_>, holes: u32) {
    let case = &*CASE;
    let plan = plan(holes);
    let params = RefineParams::with(RobustParams::OWN, with());
    let stop = AtomicBool::new(false);
    bencher.bench(|| refine(&case.scene(), &plan, &params, &OpenCorridors, &stop));
}
