//! Paths through a plate whose answers are known in closed form.
//!
//! A plate of 30 mm between two parallel cortices of 3 mm (1.5 voxels or more),
//! cut at any angle by the lattice; every voxel holds its share of each material.

use pilothole_assess::path::{self, Axis};
use pilothole_assess::{PathParams, Scene, Tissue};
use pilothole_volume::{
    Direction, Field, Grid, Labels, Mask, Offset, PatientPoint, Volume, Voxels,
};

const MUSCLE: f64 = 50.0;
const CORTEX: f64 = 1400.0;
const MARROW: f64 = 150.0;
const DEPTH: f64 = 30.0;
const WALL: f64 = 3.0;

struct Plate {
    volume: Volume,
    field: Field,
    labels: Labels,
    none: Mask,
}

/// Depth in the plate of a point: 0 at the outer face of the near cortex.
fn depth(normal: Direction, at: PatientPoint) -> f64 {
    (at - PatientPoint([0.0; 3])).dot(normal.offset())
}

fn hu(depth: f64, thick: f64) -> f64 {
    match depth {
        d if !(0.0..thick).contains(&d) => MUSCLE,
        d if !(WALL..thick - WALL).contains(&d) => CORTEX,
        _ => MARROW,
    }
}

/// Share-weighted mean over a voxel: 8 points an axis.
fn voxel_mean(grid: &Grid, normal: Direction, index: [usize; 3], thick: f64) -> f64 {
    const N: usize = 8;
    let steps = grid.steps();
    let centre = depth(normal, grid.centre_of(index));
    let reach = 0.5 * steps.iter().map(|s| s.dot(normal.offset()).abs()).sum::<f64>();
    if [0.0, WALL, thick - WALL, thick].iter().all(|face| (face - centre).abs() > reach) {
        return hu(centre, thick);
    }
    let mut sum = 0.0;
    for i in 0..N.pow(3) {
        let part = [i % N, i / N % N, i / (N * N)].map(|p| (p as f64 + 0.5) / N as f64 - 0.5);
        let at =
            grid.centre_of(index) + steps[0] * part[0] + steps[1] * part[1] + steps[2] * part[2];
        sum += hu(depth(normal, at), thick);
    }
    sum / N.pow(3) as f64
}

/// Solid where it is no thicker than two walls.
fn plate(grid: &Grid, normal: Direction, thick: f64) -> Plate {
    let size = grid.size();
    let index = |i: usize| [i % size[0], i / size[0] % size[1], i / (size[0] * size[1])];
    let count = grid.voxel_count();
    let hu = (0..count).map(|i| voxel_mean(grid, normal, index(i), thick).round() as i16).collect();
    let signed: Vec<f32> = (0..count)
        .map(|i| {
            let d = depth(normal, grid.centre_of(index(i)));
            d.min(thick - d) as f32
        })
        .collect();
    let labels = signed.iter().map(|d| u8::from(*d > 0.0)).collect();
    Plate {
        volume: Volume::new(grid.clone(), Voxels::I16(hu), None).expect("fits"),
        field: Field::new(grid.clone(), signed).expect("fits"),
        labels: Labels::new(size, labels).expect("fits"),
        none: Mask::none(size),
    }
}

fn grid(spacing: [f64; 3]) -> Grid {
    let size = spacing.map(|s| (64.0 / s) as usize);
    let origin = PatientPoint(std::array::from_fn(|i| {
        -0.5 * spacing[i] * (size[i] - 1) as f64 + [5.1, 2.3, 12.7][i]
    }));
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    Grid::from_axes(size, origin, axes, spacing).expect("square")
}

fn unit(v: [f64; 3]) -> Direction {
    Direction::along(Offset(v)).expect("has length")
}

/// What is seen of a plate in a scan whose blur is not known.
fn halfway(plate: &Plate) -> Scene<'_> {
    Scene {
        volume: &plate.volume,
        field: &plate.field,
        labels: &plate.labels,
        metal: &plate.none,
        cement: &plate.none,
        untrusted: &plate.none,
        threshold_hu: 226.0,
        cortex: None,
    }
}

/// Errors of near and far end in voxels of the path, over several seats.
fn edge_errors(spacing: [f64; 3], normal: [f64; 3], tilt_rad: f64) -> Vec<f64> {
    let (grid, normal) = (grid(spacing), unit(normal));
    let plate = plate(&grid, normal, DEPTH);
    let scene = halfway(&plate);
    let direction = normal.tilted(tilt_rad, 0.7);
    let step = grid.voxel_step_mm(direction);
    let mut errors = Vec::new();
    for shift in 0..7 {
        let (u, v) = normal.across();
        let seat = PatientPoint([0.0; 3])
            + normal * -3.0
            + u * (0.37 * f64::from(shift) - 1.0)
            + v * (0.53 * f64::from(shift) - 1.5);
        let path = path::measure(&scene, Axis { seat, direction }, &PathParams::OWN);
        let slant = direction.dot(normal);
        let near = path.near.expect("bone is met").at_mm;
        let far = path.far.expect("bone is left").at_mm;
        errors.push((near - 3.0 / slant) / step);
        errors.push((far - (3.0 + DEPTH) / slant) / step);
    }
    errors
}

#[test]
fn ends_lie_within_half_a_voxel_and_a_fifth_in_the_median() {
    let mut all = Vec::new();
    for spacing in [[0.7; 3], [0.8, 0.8, 1.25], [0.9, 0.9, 2.0]] {
        for normal in [[0.0, 0.0, 1.0], [1.0, 0.3, 0.2], [0.5, -0.6, 0.7]] {
            for tilt in [0.0, 0.35] {
                all.extend(edge_errors(spacing, normal, tilt).iter().map(|e| e.abs()));
            }
        }
    }
    all.sort_by(f64::total_cmp);
    let (median, worst) = (all[all.len() / 2], all[all.len() - 1]);
    assert!(worst <= 0.5 && median <= 0.2, "worst {worst}, median {median}");
}

#[test]
fn errors_fall_with_the_voxel() {
    let rms = |spacing: f64| {
        let errors = edge_errors([spacing; 3], [0.5, -0.6, 0.7], 0.2);
        let mean = errors.iter().map(|e| (e * spacing).powi(2)).sum::<f64>() / errors.len() as f64;
        mean.sqrt()
    };
    let (coarse, fine) = (rms(1.4), rms(0.7));
    assert!(fine < 0.75 * coarse, "{fine} mm against {coarse} mm");
}

#[test]
fn a_wall_of_unknown_thickness_is_seen_and_no_stretch_of_it_is_cortical() {
    let normal = unit([0.5, -0.6, 0.7]);
    let plate = plate(&grid([0.8; 3]), normal, DEPTH);
    let axis = Axis { seat: PatientPoint([0.0; 3]) + normal * -3.0, direction: normal };
    let path = path::measure(&halfway(&plate), axis, &PathParams::OWN);
    for edge in [path.near, path.far] {
        let edge = edge.expect("both ends lie in the lattice");
        assert_eq!(edge.cortex_mm, None);
        let width_mm = edge.width_mm.expect("both faces show");
        assert!((width_mm - WALL).abs() < 0.4, "{width_mm}");
    }
    let tissues: Vec<Tissue> = path.segments.iter().map(|s| s.tissue).collect();
    assert_eq!(tissues, [Tissue::Outside, Tissue::Cancellous]);
}

#[test]
fn a_wall_without_marrow_is_one_plate_and_one_with_marrow_is_not() {
    let normal = unit([0.5, -0.6, 0.7]);
    let axis = Axis { seat: PatientPoint([0.0; 3]) + normal * -3.0, direction: normal };
    for (thick, is_one) in [(2.0, true), (5.0, true), (10.0, false), (DEPTH, false)] {
        let plate = plate(&grid([0.8; 3]), normal, thick);
        let path = path::measure(&halfway(&plate), axis, &PathParams::OWN);
        let said = path.findings.iter().find(|f| f.code == "path.one_plate");
        assert_eq!(said.is_some(), is_one, "{thick} mm");
        let through = path::engaged_cortices(path.near, path.far, 0.0, 60.0);
        assert_eq!(through, if is_one { 1 } else { 2 }, "{thick} mm");
        if let Some(told_mm) = said.and_then(|f| f.measured) {
            assert!((told_mm - thick).abs() < 0.8, "{told_mm} for {thick} mm");
        }
    }
}
