//! Voxels against closed forms: partial volume, blur, rays.

use pilothole_phantom::{Distance, Rounding, Scanner, Scene, Solid, Tissue};
use pilothole_volume::{Direction, Grid, Offset, PatientPoint, Voxels};
use proptest::prelude::*;

fn direction(v: [f64; 3]) -> Direction {
    Direction::along(Offset(v)).expect("has length")
}

fn grid(size: [usize; 3], steps: [[f64; 3]; 3]) -> Grid {
    let half = |i: usize| (size[i] as f64 - 1.0) / 2.0;
    let steps = steps.map(Offset);
    let origin =
        PatientPoint([0.0; 3]) - steps[0] * half(0) - steps[1] * half(1) - steps[2] * half(2);
    Grid::new(size, origin, steps).expect("a lattice")
}

fn lattices() -> Vec<Grid> {
    vec![
        grid([41, 41, 41], [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        grid([61, 61, 31], [[0.7, 0.0, 0.0], [0.0, 0.7, 0.0], [0.0, 0.0, 1.4]]),
        grid([51, 51, 41], [[0.8, 0.2, 0.0], [-0.2, 0.8, 0.1], [0.1, -0.1, 1.0]]),
        grid([51, 51, 41], [[0.8, 0.0, 0.0], [0.0, 0.8, 0.0], [0.0, 0.4, 1.0]]),
    ]
}

fn hu(voxels: &Voxels) -> Vec<f64> {
    (0..voxels.len()).map(|i| f64::from(voxels.hu_or_nan(i))).collect()
}

/// Share of a parallelepiped under a plane, by counting 40³ points.
fn counted(grid: &Grid, at: PatientPoint, holds: impl Fn(PatientPoint) -> bool) -> f64 {
    let n = 40;
    let steps = grid.steps();
    let mut inside = 0.0;
    for i in 0..n * n * n {
        let place =
            [i % n, i / n % n, i / n / n].map(|k| (f64::from(k) + 0.5) / f64::from(n) - 0.5);
        let p = at + steps[0] * place[0] + steps[1] * place[1] + steps[2] * place[2];
        inside += f64::from(u8::from(holds(p)));
    }
    inside / f64::from(n).powi(3)
}

#[test]
fn a_half_spaces_voxels_hold_their_exact_share() {
    let on = PatientPoint([0.13, -0.21, 0.37]);
    let outwards = direction([0.3, -0.5, 0.8]);
    for grid in lattices() {
        let mut scene = Scene { background_hu: 0.0, parts: vec![] };
        scene.paint(Solid::HalfSpace { on, outwards }, Tissue::Cancellous, 1.0, 1);
        let volume = Scanner::PERFECT.scan(&scene, &grid).expect("fits");
        // Each crossed voxel's share, counted on 40³ points to a few in 1000.
        let [nx, ny, nz] = grid.size();
        let mut crossed = 0;
        for (row, slice) in (0..ny).step_by(3).zip((0..nz).step_by(2)) {
            for column in 0..nx {
                let at = grid.centre_of([column, row, slice]);
                let found = f64::from(volume.hu_or_nan([column, row, slice]));
                if found > 0.0 && found < 1.0 {
                    crossed += 1;
                    let expected = counted(&grid, at, |p| (p - on).dot(outwards.offset()) <= 0.0);
                    assert!((found - expected).abs() < 4e-3, "{found} {expected}");
                }
            }
        }
        assert!(crossed > 3, "{crossed}");
    }
}

#[test]
fn a_balls_voxels_sum_to_its_volume() {
    let radius_mm = 11.3;
    for grid in lattices() {
        let mut scene = Scene { background_hu: 0.0, parts: vec![] };
        let centre = PatientPoint([0.21, -0.13, 0.07]);
        scene.paint(Solid::Ball { centre, radius_mm }, Tissue::Cancellous, 1.0, 1);
        let volume = Scanner::PERFECT.scan(&scene, &grid).expect("fits");
        let found = hu(volume.voxels()).iter().sum::<f64>() * grid.voxel_mm3();
        let exact = 4.0 / 3.0 * std::f64::consts::PI * radius_mm.powi(3);
        assert!((found / exact - 1.0).abs() < 2e-4, "{found} {exact}");
    }
}

#[test]
fn a_thin_shell_keeps_its_volume() {
    let grid = &lattices()[1];
    for thickness in [0.4, 0.8, 1.5] {
        let outer = Solid::Ball { centre: PatientPoint([0.2, 0.1, -0.3]), radius_mm: 14.0 };
        let mut scene = Scene { background_hu: 0.0, parts: vec![] };
        scene.paint(outer.clone(), Tissue::Cortical, 1000.0, 1);
        scene.paint(outer.inset(thickness), Tissue::Cancellous, 0.0, 1);
        let volume = Scanner::PERFECT.scan(&scene, grid).expect("fits");
        let found = hu(volume.voxels()).iter().sum::<f64>() * grid.voxel_mm3() / 1000.0;
        let cube = |r: f64| 4.0 / 3.0 * std::f64::consts::PI * r.powi(3);
        let exact = cube(14.0) - cube(14.0 - thickness);
        assert!((found / exact - 1.0).abs() < 5e-3, "{thickness}: {found} {exact}");
    }
}

/// Peak of a blurred plate over its height: erf(t / (2 √2 σ)).
///
/// Values from the published check sheet's derivation, baseline 0:
/// σ 0.5: t 0.5, 1, 1.5, 2, 3 → .3829, .6827, .8664, .9545, .9973;
/// σ 0.8 → .2453, .4680, .6515, .7887, .9392.
#[test]
fn a_blurred_plates_peak_is_the_error_function() {
    let table = [
        (0.5, [0.3829, 0.6827, 0.8664, 0.9545, 0.9973]),
        (0.8, [0.2453, 0.4680, 0.6515, 0.7887, 0.9392]),
    ];
    let peak = |sigma: f64, thickness: f64, voxel: f64, cells| {
        let grid = grid([1, 1, 21], [[voxel, 0.0, 0.0], [0.0, voxel, 0.0], [0.0, 0.0, voxel]]);
        let half_mm = [200.0, 200.0, thickness / 2.0];
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let plate = Solid::Brick { centre: PatientPoint([0.0; 3]), axes, half_mm };
        let mut scene = Scene { background_hu: 0.0, parts: vec![] };
        scene.paint(plate, Tissue::Cortical, 1.0, 1);
        let scanner = Scanner { blur_mm: [sigma; 3], cells, fineness: 1, ..Scanner::PERFECT };
        let volume = scanner.scan(&scene, &grid).expect("fits");
        f64::from(volume.hu_or_nan([0, 0, 10]))
    };
    for (sigma, peaks) in table {
        for (thickness, expected) in [0.5, 1.0, 1.5, 2.0, 3.0].into_iter().zip(peaks) {
            for (voxel, cells, tolerance) in [(0.4, 1, 0.03), (0.4, 3, 0.005), (0.8, 7, 0.005)] {
                let found = peak(sigma, thickness, voxel, cells);
                let error = (found - expected).abs();
                assert!(error < tolerance, "{sigma} {thickness} {voxel}: {found} {expected}");
            }
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_scan_and_storage_is_cut_at_its_ceiling() {
    let grid = &lattices()[0];
    let mut scene = Scene::empty();
    let ball = Solid::Ball { centre: PatientPoint([0.0; 3]), radius_mm: 9.0 };
    scene.paint(ball, Tissue::Metal, 9000.0, 0);
    let scanner = Scanner {
        noise_hu: 20.0,
        seed: 3,
        ceiling_hu: Some(3071.0),
        rounding: Rounding::Whole,
        ..Scanner::PERFECT
    };
    let once = scanner.scan(&scene, grid).expect("fits");
    assert_eq!(once, scanner.scan(&scene, grid).expect("fits"));
    let Voxels::I16(hu) = once.voxels() else { panic!("whole numbers") };
    assert_eq!(hu.iter().max(), Some(&3071));
    assert_eq!(once.ceiling_hu(), Some(3071.0));
}

fn shapes() -> Vec<Solid> {
    let at = |x, y, z| PatientPoint([x, y, z]);
    let axis = direction([0.2, -0.4, 0.9]);
    let (u, v) = axis.across();
    let ball = Solid::Ball { centre: at(1.0, 2.0, 3.0), radius_mm: 9.0 };
    let rod = Solid::Rod { from: at(-9.0, 0.0, -3.0), to: at(8.0, 4.0, 6.0), radius_mm: 4.0 };
    let capsule =
        Solid::Capsule { from: at(-9.0, 0.0, 2.0), to: at(4.0, -8.0, 6.0), radius_mm: 5.0 };
    let brick =
        Solid::Brick { centre: at(0.0, -2.0, 1.0), axes: [u, v, axis], half_mm: [7.0, 3.0, 9.0] };
    let egg = Solid::Ellipsoid {
        centre: at(2.0, 0.0, 0.0),
        axes: [u, v, axis],
        radii_mm: [4.0, 8.0, 12.0],
    };
    let half = Solid::HalfSpace { on: at(0.0, 1.0, 0.0), outwards: axis };
    vec![
        ball.clone(),
        rod.clone(),
        capsule.clone(),
        brick.clone(),
        egg.clone(),
        half.clone(),
        Solid::Union(vec![rod.clone(), ball.clone()]),
        Solid::Common(vec![egg, half]),
        brick.without(capsule),
        Solid::Union(vec![ball, rod]).inset(1.0),
    ]
}

proptest! {
    #[test]
    fn a_rays_intervals_agree_with_marching(
        from in prop::array::uniform3(-20.0..20.0_f64),
        to in prop::array::uniform3(-10.0..10.0_f64),
    ) {
        let start = PatientPoint(from);
        prop_assume!(start.distance_mm(PatientPoint(to)) > 0.5);
        let ray = Direction::along(PatientPoint(to) - start).expect("has length");
        for solid in shapes() {
            let intervals = solid.crossed_by(start, ray);
            for step in -100..400 {
                let t = f64::from(step) * 0.1 + 0.031;
                let at = start + ray * t;
                let near_an_end = intervals.as_slice().iter()
                    .any(|(a, b)| (t - a).abs() < 1e-6 || (t - b).abs() < 1e-6);
                prop_assert!(near_an_end || intervals.hold(t) == solid.holds(at), "{solid:?} {t}");
            }
        }
    }

    #[test]
    fn a_bound_is_never_beyond_the_true_distance(
        from in prop::array::uniform3(-20.0..20.0_f64),
        toward in prop::array::uniform3(-1.0..1.0_f64),
    ) {
        let start = PatientPoint(from);
        prop_assume!(Offset(toward).length_mm() > 0.1);
        let ray = direction(toward);
        for solid in shapes() {
            let bound = solid.distance_mm(start, Distance::Bound);
            prop_assert_eq!(bound <= 0.0, solid.holds(start));
            // No surface within the bound, whatever way one goes.
            let near = solid.crossed_by(start, ray).as_slice().iter()
                .flat_map(|(a, b)| [a.abs(), b.abs()]).fold(f64::INFINITY, f64::min);
            prop_assert!(bound.abs() <= near + 1e-9, "{:?} {} {}", solid, bound, near);
        }
    }
}
