//! How long the chart, the placements and the refinement take on a scan of
//! 512 x 512 x 400 voxels, and how that grows with what is asked for.

use std::fmt::Write;
use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;

use divan::counter::ItemsCount;
use pilothole_assess::refine::{DrillWays, RefineParams, refine};
use pilothole_assess::robust::{ForgiveParams, RobustParams, robust, robust_set};
use pilothole_assess::set::{Part, SetParams, judge_set};
use pilothole_assess::stock::{StockParams, stock};
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

/// Bone of 30 mm about a socket of 25 mm that is open below, at the middle of
/// the scan.
fn depth(at: PatientPoint) -> f64 {
    let from = Offset([at.0[0], at.0[1] / 0.9, at.0[2] - 20.0]);
    let shell = ((at - PatientPoint([0.0; 3])).length_mm() - 25.0).min(55.0 - from.length_mm());
    shell.min(at.0[2] - 2.0)
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
        plan: plan(14, 12.0),
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

/// Holes square on the socket, with a swivel, in two rings.
fn plan(count: u32, swivel_deg: f64) -> Plan {
    Plan::parse(&plan_text(count, swivel_deg), Format::Toml).expect("a plan")
}

fn plan_text(count: u32, swivel_deg: f64) -> String {
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
             direction = {direction:?}\nscrew = \"HB 6.5\"\nswivel_deg = {swivel_deg:?}"
        )
        .expect("text grows");
    }
    text
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

fn refined(bencher: divan::Bencher<'_, '_>, plan: &Plan, placements: usize) {
    let case = &*CASE;
    let params = RefineParams { placements, ..RefineParams::with(RobustParams::OWN, with()) };
    let stop = AtomicBool::new(false);
    let scene = case.scene();
    let holes = judge_holes(&scene, plan, &JudgeParams::OWN);
    let set = SetParams::OWN;
    let ways = DrillWays::new(&scene, plan, &holes, &set);
    bencher.bench(|| refine(&scene, plan, &params, &ways, &stop));
}

/// 12° of swivel each, by the ways of the drill.
#[divan::bench(args = [1, 7, 14], sample_count = 2, sample_size = 1)]
fn refine_by_holes(bencher: divan::Bencher<'_, '_>, holes: u32) {
    refined(bencher, &plan(holes, 12.0), 32);
}

/// Directions grow with the square of the swivel.
#[divan::bench(args = [6.0, 12.0, 24.0], sample_count = 2, sample_size = 1)]
fn refine_7_holes_by_swivel_deg(bencher: divan::Bencher<'_, '_>, swivel_deg: f64) {
    refined(bencher, &plan(7, swivel_deg), 32);
}

#[divan::bench(args = [8, 32, 128], sample_count = 2, sample_size = 1)]
fn refine_7_holes_by_placements(bencher: divan::Bencher<'_, '_>, placements: usize) {
    refined(bencher, &plan(7, 12.0), placements);
}

/// The same holes with a wound, a load and landmarks.
fn whole_plan() -> Plan {
    let mut text = plan_text(14, 12.0);
    text.push_str(
        "[approach]\naxis = [0.0, 0.0, -1.0]\nhalf_angle_deg = 50.0\ndrill_length_mm = 120.0\n\
         drill_radius_mm = 6.0\n[load]\nbody_mass_kg = 80.0\n",
    );
    let half = [
        ("asis", [30.0, -55.0, 75.0]),
        ("psis", [-45.0, 85.0, 75.0]),
        ("pubic-tubercle", [-68.0, -60.0, -15.0]),
        ("hip-centre", [0.0, 0.0, 0.0]),
        ("lesser-trochanter", [20.0, 15.0, -55.0]),
        ("teardrop", [-40.0, 0.0, -25.0]),
    ];
    for (name, [x, y, z]) in half {
        for (side, x) in [("left", x), ("right", -180.0 - x)] {
            writeln!(text, "[[landmark]]\nname = \"{name}-{side}\"\nat_mm = [{x:?}, {y:?}, {z:?}]")
                .expect("text grows");
        }
    }
    Plan::parse(&text, Format::Toml).expect("a plan")
}

/// A hemispherical shell of 2 x 48 x 96 triangles, as a component's mesh.
fn shell() -> Part {
    let at = |row: u32, column: u32| {
        let polar = std::f64::consts::FRAC_PI_2 * f64::from(row) / 48.0;
        let around = std::f64::consts::TAU * f64::from(column) / 96.0;
        PatientPoint([0.0; 3]) + Direction::SUPERIOR.tilted(polar, around) * 24.0
    };
    let triangles = (0..48 * 96)
        .flat_map(|i| {
            let (row, column) = (i / 96, i % 96);
            let [a, b] = [at(row, column), at(row, column + 1)];
            let [c, d] = [at(row + 1, column), at(row + 1, column + 1)];
            [[a, b, c], [b, d, c]]
        })
        .collect();
    Part { triangles }
}

/// Clashes, access, guides, order, load, reconstruction and kit of fourteen
/// holes whose paths are known; without and with the component's mesh.
#[divan::bench(args = [false, true], sample_count = 10, sample_size = 1)]
fn whole_set_of_14_holes(bencher: divan::Bencher<'_, '_>, mesh: bool) {
    let case = &*CASE;
    let plan = whole_plan();
    let holes = judge_holes(&case.scene(), &plan, &JudgeParams::OWN);
    let params = SetParams { part: mesh.then(shell), ..SetParams::OWN };
    bencher.bench(|| judge_set(&case.scene(), &plan, &holes, &params));
}
