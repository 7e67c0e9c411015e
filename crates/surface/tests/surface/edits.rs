//! Smoothing and decimation keep their bounds and the proof.

use pilothole_surface::{
    Bound, ClosedSurface, Decimation, Extract, Simplified, Smoothing, SurfaceError, SurfaceNets,
    deviation,
};
use pilothole_volume::{Grid, Mask};

use crate::bodies::{Noise, ball, closed, field, odd_grids, torus, unit_grid};

fn mask_of(grid: &Grid, depth: impl Fn([f64; 3]) -> f64 + Sync) -> Mask {
    let size = grid.size();
    Mask::where_true(size, |i| {
        depth([i % size[0], i / size[0] % size[1], i / (size[0] * size[1])].map(|c| c as f64)) > 0.0
    })
}

fn decimate(
    surface: &ClosedSurface,
    fewest_triangles: usize,
    within_mm: f64,
) -> Result<Simplified, SurfaceError> {
    Decimation { fewest_triangles, within_mm }.apply(surface)
}

/// Root mean square of a body's depth at all vertices, voxels of a unit lattice.
fn roughness(surface: &ClosedSurface, depth: impl Fn([f64; 3]) -> f64) -> f64 {
    let origin = [-30.0, 12.0, -200.0];
    let vertices = &surface.mesh().vertices;
    let squares: f64 =
        vertices.iter().map(|v| depth(std::array::from_fn(|n| v.0[n] - origin[n])).powi(2)).sum();
    (squares / vertices.len() as f64).sqrt()
}

#[test]
fn smoothing_stays_in_its_cells_and_takes_the_steps_off() {
    let grid = unit_grid([44; 3]);
    let body = ball([21.3, 21.8, 21.6], 17.0);
    let surface = closed(SurfaceNets.extract_mask(&grid, &mask_of(&grid, &body)).expect("fits"));
    let smooth =
        Smoothing { rounds: 10, bound: Bound::Cell(&grid) }.apply(&surface).expect("closed");
    for (a, b) in surface.mesh().vertices.iter().zip(&smooth.surface.mesh().vertices) {
        let (a, b) = (grid.voxel_from_patient(*a).0, grid.voxel_from_patient(*b).0);
        assert_eq!(a.map(|c| c.floor() as i64), b.map(|c| c.floor() as i64));
    }
    let (rough, flat) = (roughness(&surface, &body), roughness(&smooth.surface, &body));
    assert!(flat < 0.7 * rough, "{rough} to {flat}");
    assert!((smooth.surface.volume_mm3() / surface.volume_mm3() - 1.0).abs() < 0.005);
    let measured = deviation(&surface, &smooth.surface);
    assert!((measured.max_mm - smooth.deviation.max_mm).abs() < 1e-9);
    assert!(measured.max_mm > 0.0 && measured.max_mm < 3.0_f64.sqrt());
}

#[test]
fn a_stated_distance_is_kept() {
    let grid = odd_grids([40, 41, 24]).swap_remove(2);
    let body = mask_of(&grid, torus([20.2, 19.5, 11.3], 12.0, 4.6));
    let surface = closed(SurfaceNets.extract_mask(&grid, &body).expect("fits"));
    let smooth =
        Smoothing { rounds: 20, bound: Bound::Distance(0.1) }.apply(&surface).expect("closed");
    for (a, b) in surface.mesh().vertices.iter().zip(&smooth.surface.mesh().vertices) {
        assert!(a.distance_mm(*b) <= 0.1 + 1e-12);
    }
    assert!(smooth.deviation.max_mm <= 0.1 + 1e-9);
    assert_eq!(smooth.surface.euler_number(), 0);
}

#[test]
fn a_thin_shell_keeps_its_volume() {
    let grid = unit_grid([44; 3]);
    // One and a half voxels thick.
    let shell = |p: [f64; 3]| {
        let from = ball([21.3, 21.8, 21.6], 0.0)(p).abs();
        0.75 - (from - 16.0).abs()
    };
    let surface = closed(SurfaceNets.extract_field(&field(&grid, shell)).expect("fits"));
    let smooth =
        Smoothing { rounds: 10, bound: Bound::Cell(&grid) }.apply(&surface).expect("closed");
    let kept = smooth.surface.volume_mm3() / surface.volume_mm3();
    assert!((kept - 1.0).abs() < 0.005, "{kept}");
}

#[test]
fn decimation_reaches_its_count_and_stays_a_torus() {
    let grid = unit_grid([48, 48, 24]);
    let surface = closed(
        SurfaceNets
            .extract_field(&field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0)))
            .expect("fits"),
    );
    for count in [4000, 1000, 300] {
        let fewer = decimate(&surface, count, 2.0).expect("closed");
        let left = fewer.surface.mesh().triangles.len();
        assert!(left <= count && left + 2 > count, "{left} of {count}");
        assert_eq!(fewer.surface.euler_number(), 0);
        let measured = deviation(&surface, &fewer.surface);
        assert!((measured.max_mm - fewer.deviation.max_mm).abs() < 1e-9);
        assert!((fewer.surface.volume_mm3() / surface.volume_mm3() - 1.0).abs() < 0.03);
    }
    let near = decimate(&surface, 2000, 0.3).expect("closed").deviation;
    assert!(near.rms_mm < 0.05 && near.max_mm < 0.3, "{near:?}");
}

#[test]
fn decimation_stops_rather_than_tears() {
    let grid = unit_grid([48, 48, 24]);
    let surface = closed(
        SurfaceNets
            .extract_field(&field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0)))
            .expect("fits"),
    );
    let least = decimate(&surface, 4, 20.0).expect("closed");
    // No torus has fewer than 14 triangles.
    assert!(least.surface.mesh().triangles.len() >= 14);
    assert_eq!(least.surface.euler_number(), 0);
}

#[test]
fn a_bounded_decimation_keeps_its_bound() {
    let grid = unit_grid([48, 48, 24]);
    let surface = closed(
        SurfaceNets
            .extract_field(&field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0)))
            .expect("fits"),
    );
    let mut before = usize::MAX;
    for within_mm in [0.02, 0.1, 0.5] {
        let fewer = Decimation { fewest_triangles: 4, within_mm }.apply(&surface).expect("closed");
        assert!(deviation(&surface, &fewer.surface).max_mm <= within_mm + 1e-9);
        let left = fewer.surface.mesh().triangles.len();
        assert!(left < before && left < surface.mesh().triangles.len(), "{left}");
        before = left;
    }
}

#[test]
fn a_speck_beside_a_bone_keeps_its_shape() {
    let grid = unit_grid([48, 48, 40]);
    // A ball, and a needle of twelve voxels and a dot beside it.
    let mut body = mask_of(&grid, ball([17.3, 23.8, 19.2], 13.0));
    (0..12).for_each(|n| body.set([34, 20, 14 + n], true));
    body.set([42, 30, 8], true);
    let surface = closed(SurfaceNets.extract_mask(&grid, &body).expect("fits"));
    for within_mm in [0.3, 0.6] {
        let fewer = decimate(&surface, 4, within_mm).expect("closed");
        assert!(fewer.deviation.max_mm <= within_mm, "{:?}", fewer.deviation);
        let measured = deviation(&surface, &fewer.surface);
        assert!((measured.max_mm - fewer.deviation.max_mm).abs() < 1e-9);
        let parts = |s: &ClosedSurface| s.components().iter().map(|c| c.triangles).collect();
        let (before, after): (Vec<usize>, Vec<usize>) = (parts(&surface), parts(&fewer.surface));
        assert_eq!(before.len(), after.len());
        // The ball is decimated whatever its neighbours need.
        let most = |counts: &[usize]| counts.iter().copied().max().unwrap_or(0);
        assert!(2 * most(&after) < most(&before), "{before:?} {after:?}");
    }
}

#[test]
fn noise_stays_closed_under_decimation() {
    let mut noise = Noise::new(7);
    for _ in 0..20 {
        let grid = unit_grid([12; 3]);
        let mask = noise.mask([12; 3], 0.3);
        let surface = closed(SurfaceNets.extract_mask(&grid, &mask).expect("fits"));
        let fewer = decimate(&surface, 1500, 0.5).expect("closed");
        assert_eq!(fewer.surface.euler_number(), surface.euler_number());
        assert_eq!(fewer.surface.components().len(), surface.components().len());
    }
}

#[test]
fn the_same_bytes_for_any_number_of_threads() {
    let grid = unit_grid([48, 48, 24]);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| {
            let body = mask_of(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0));
            let surface = closed(SurfaceNets.extract_mask(&grid, &body).expect("fits"));
            let smooth =
                Smoothing { rounds: 5, bound: Bound::Cell(&grid) }.apply(&surface).expect("closed");
            decimate(&smooth.surface, 1500, 0.5).expect("closed")
        })
    };
    assert!(run(1) == run(3));
}

#[test]
fn parameters_out_of_range_are_refused() {
    let grid = unit_grid([20; 3]);
    let surface =
        closed(SurfaceNets.extract_field(&field(&grid, ball([9.5; 3], 5.0))).expect("fits"));
    let refused = |result: Result<_, SurfaceError>| {
        matches!(result.map(drop), Err(SurfaceError::Parameter { .. }))
    };
    assert!(refused(decimate(&surface, 3, 1.0)));
    assert!(refused(Decimation { fewest_triangles: 4, within_mm: 0.0 }.apply(&surface)));
    assert!(refused(Smoothing { rounds: 0, bound: Bound::Cell(&grid) }.apply(&surface)));
    assert!(refused(Smoothing { rounds: 1, bound: Bound::Distance(f64::NAN) }.apply(&surface)));
}
