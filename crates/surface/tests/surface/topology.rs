//! Closed, oriented, manifold, with the Euler number of the voxels.

use pilothole_surface::{
    Border, ClosedSurface, DualContouring, Extract, SurfaceError, SurfaceNets,
};
use pilothole_surface::{MeshLabel, Side, read_stl, write_stl};
use pilothole_volume::{Field, Mask, NOTHING_I16, Region, Volume, Voxels};
use proptest::prelude::*;

use crate::bodies::{
    Noise, ball, both, closed, expected_euler, field, mask_height, odd_grids, torus, unit_grid,
};

/// Both methods on a mask; both must be closed with the voxels' Euler number.
fn check_mask(mask: &Mask) {
    let grid = unit_grid(mask.size());
    let expected = expected_euler(mask.size(), mask_height(mask), false);
    let nets = closed(SurfaceNets.extract_mask(&grid, mask).expect("fits"));
    let contoured = closed(DualContouring.extract_mask(&grid, mask).expect("fits"));
    assert_eq!(nets.euler_number(), expected);
    assert_eq!(contoured.euler_number(), expected);
    assert_eq!(nets.mesh().triangles.len(), contoured.mesh().triangles.len());
}

fn mask_of(size: [usize; 3], voxels: &[[usize; 3]]) -> Mask {
    let mut mask = Mask::none(size);
    for voxel in voxels {
        mask.set(*voxel, true);
    }
    mask
}

#[test]
fn a_ball_has_euler_number_2_and_a_torus_0_on_every_lattice() {
    for grid in odd_grids([40, 41, 24]) {
        for (body, euler) in [
            (field(&grid, ball([20.0, 19.5, 11.3], 9.2)), 2),
            (field(&grid, torus([20.2, 19.5, 11.3], 12.0, 4.6)), 0),
        ] {
            for extraction in both(&body) {
                assert!(extraction.border.is_free());
                let surface = closed(extraction);
                assert_eq!((surface.euler_number(), surface.components().len()), (euler, 1));
            }
        }
    }
}

#[test]
fn the_volume_is_the_lattices() {
    for grid in odd_grids([40, 41, 24]) {
        let surface = closed(
            SurfaceNets.extract_field(&field(&grid, ball([20.0, 19.5, 11.3], 9.2))).expect("small"),
        );
        // Uneven slices stretch the ball unevenly, but to the same mean.
        let expected = 4.0 / 3.0 * std::f64::consts::PI * 9.2_f64.powi(3) * grid.voxel_mm3();
        let ratio = surface.volume_mm3() / expected;
        let tolerance = if grid.slice_places().is_some() { 0.03 } else { 0.01 };
        assert!((ratio - 1.0).abs() < tolerance, "{ratio}");
    }
}

#[test]
fn single_voxels_touching_corners_and_edges_are_closed() {
    check_mask(&mask_of([1, 1, 1], &[[0; 3]]));
    check_mask(&mask_of([3, 3, 3], &[[1; 3]]));
    check_mask(&mask_of([4, 4, 4], &[[1, 1, 1], [2, 2, 2]]));
    check_mask(&mask_of([4, 4, 4], &[[1, 1, 1], [2, 2, 1]]));
    check_mask(&mask_of([4, 4, 4], &[[1, 1, 1], [2, 1, 2], [1, 2, 2], [2, 2, 1]]));
    // A path around a face whose inside is not filled.
    check_mask(&mask_of([4, 4, 4], &[[1, 1, 1], [2, 2, 1], [1, 1, 2], [1, 2, 2], [2, 2, 2]]));
    let hollow = Mask::where_true([5, 5, 5], |i| {
        [i % 5, i / 5 % 5, i / 25].iter().all(|c| (1..4).contains(c)) && i != 62
    });
    check_mask(&hollow);
}

#[test]
fn a_sheet_that_passes_a_face_twice_on_both_sides_stays_manifold() {
    // Five voxels around a face with two opposite ones, on both its sides.
    let mut mask = mask_of([4, 4, 5], &[[1, 1, 2], [2, 2, 2]]);
    for slice in [1, 3] {
        for voxel in [[1, 1, slice], [2, 2, slice], [2, 1, slice]] {
            mask.set(voxel, true);
        }
    }
    check_mask(&mask);
    // The same along the other axes.
    for turn in 1..3 {
        let mut turned = Mask::none([5, 5, 5]);
        for i in 0..80 {
            let voxel = [i % 4, i / 4 % 4, i / 16];
            let to = std::array::from_fn(|n| voxel[(n + turn) % 3]);
            turned.set(to, mask.has(voxel));
        }
        check_mask(&turned);
    }
}

#[test]
fn checkerboards_are_closed() {
    for period in 1..4 {
        let size = [9, 8, 7];
        check_mask(&Mask::where_true(size, |i| {
            let [x, y, z] = [i % 9, i / 9 % 8, i / 72];
            (x / period + y / period + z / period) % 2 == 0
        }));
    }
}

#[test]
fn the_border_is_capped_and_said() {
    let full = Mask::where_true([3, 4, 5], |_| true);
    let extraction = SurfaceNets.extract_mask(&unit_grid([3, 4, 5]), &full).expect("fits");
    assert_eq!(extraction.border, Border { low: [20, 15, 12], high: [20, 15, 12], unmeasured: 0 });
    let surface = closed(extraction);
    // The corners and edges are cut off at half a voxel's middle.
    assert!((48.0..60.0).contains(&surface.volume_mm3()), "{}", surface.volume_mm3());
    // A body that leaves the region, not the scan.
    let grid = unit_grid([20, 20, 20]);
    let depth = field(&grid, ball([9.0, 10.0, 10.0], 6.0));
    let hu = (0..8000).map(|at| (depth.at(at) * 100.0) as i16).collect();
    let volume = Volume::new(grid, Voxels::I16(hu), None).expect("fits");
    let region = Region::new([9, 2, 2], [18, 18, 18]).expect("not empty");
    let half = SurfaceNets.extract_volume(&volume, region, 0.0).expect("fits");
    assert!(half.border.low[0] > 90 && half.border.high == [0; 3], "{:?}", half.border);
    let bounds = half.mesh.bounds_mm().expect("not empty");
    assert!((bounds[0].0[0] - (-30.0 + 8.5)).abs() < 0.01, "{bounds:?}");
    closed(half);
}

#[test]
fn voxels_without_measurement_are_outside_and_counted() {
    let grid = unit_grid([12, 12, 12]);
    let mut hu = vec![500_i16; 12 * 12 * 12];
    hu[grid.offset_of([6, 6, 6])] = NOTHING_I16;
    let volume = Volume::new(grid, Voxels::I16(hu), None).expect("fits");
    let region = Region::whole(volume.grid());
    let extraction = SurfaceNets.extract_volume(&volume, region, 226.0).expect("fits");
    assert_eq!(extraction.border.unmeasured, 6);
    let surface = closed(extraction);
    assert_eq!((surface.components().len(), surface.euler_number()), (2, 4));
    assert!(surface.components()[1].is_hollow());
    // The least stored number is no measurement whatever the threshold.
    let all = SurfaceNets.extract_volume(&volume, region, -1e9).expect("fits");
    assert_eq!(all.border.unmeasured, 6);
}

#[test]
fn nothing_inside_is_an_empty_mesh_and_not_a_closed_surface() {
    let mask = Mask::none([5, 6, 7]);
    let extraction = SurfaceNets.extract_mask(&unit_grid([5, 6, 7]), &mask).expect("fits");
    assert!(extraction.mesh.triangles.is_empty() && extraction.border.is_free());
    assert!(extraction.closed().is_err());
}

#[test]
fn wrong_sizes_regions_and_thresholds_are_refused() {
    let grid = unit_grid([4, 4, 4]);
    let wrong = SurfaceNets.extract_mask(&grid, &Mask::none([4, 4, 5]));
    assert!(matches!(wrong, Err(SurfaceError::MaskSize { .. })));
    let volume = Volume::new(grid, Voxels::I16(vec![0; 64]), None).expect("fits");
    let region = Region::new([0, 0, 0], [4, 4, 5]).expect("not empty");
    let wrong = SurfaceNets.extract_volume(&volume, region, 0.0);
    assert!(matches!(wrong, Err(SurfaceError::Region { .. })));
    let wrong = SurfaceNets.extract_volume(&volume, Region::whole(volume.grid()), f64::NAN);
    assert!(matches!(wrong, Err(SurfaceError::Threshold { .. })));
}

#[test]
fn one_thread_and_three_give_the_same_bytes() {
    let mut noise = Noise::new(5);
    let grid = unit_grid([70, 33, 61]);
    let rough = field(&grid, |p| ball([34.0, 16.0, 30.0], 14.0)(p) + 3.0 * noise_at(p));
    let masked = noise.mask(grid.size(), 0.4);
    let run = |threads: usize| {
        let pool = rayon_pool(threads);
        pool.install(|| {
            let nets = SurfaceNets.extract_field(&rough).expect("fits");
            (nets, DualContouring.extract_mask(&grid, &masked).expect("fits"))
        })
    };
    assert!(run(1) == run(3));
}

fn noise_at(p: [f64; 3]) -> f64 {
    (p[0] * 12.9898 + p[1] * 78.233 + p[2] * 37.719).sin()
}

fn rayon_pool(threads: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_noise_is_manifold(
        seed in 0_u64..1 << 40,
        size in prop::array::uniform3(1_usize..9),
        share in 0.05_f64..0.95,
        levels in 2_i32..40,
    ) {
        noise_is_manifold(seed, size, share, levels);
    }
}

/// Three vertices of its dual contours, two of one cell, were kept from the same
/// edge of the cells.
#[test]
fn vertices_kept_from_one_edge_make_no_flat_triangle() {
    noise_is_manifold(1_003_167_298_650, [7, 5, 6], 0.209_162_130_252_862_93, 32);
}

fn noise_is_manifold(seed: u64, size: [usize; 3], share: f64, levels: i32) {
    let mut noise = Noise::new(seed);
    let grid = odd_grids(size).swap_remove(seed as usize % 5);
    let mask = noise.mask(size, share);
    if !mask.is_empty() {
        let surface = closed(SurfaceNets.extract_mask(&grid, &mask).expect("fits"));
        assert_eq!(surface.euler_number(), expected_euler(size, mask_height(&mask), false));
    }
    // Few levels, so that samples often lie exactly on the surface.
    let level = f64::from(levels) * share;
    let hu: Vec<i16> = (0..grid.voxel_count())
        .map(|_| match (noise.next() * f64::from(levels)) as i16 {
            0 if seed.is_multiple_of(3) => NOTHING_I16,
            value => value,
        })
        .collect();
    let values = hu.iter().map(|v| f32::from(*v) - level as f32).collect();
    let volume = Volume::new(grid.clone(), Voxels::I16(hu), None).expect("fits");
    let whole = Region::whole(&grid);
    let height = |p| f64::from(volume.hu_or_nan(p) - level.round() as f32);
    let extraction = SurfaceNets.extract_volume(&volume, whole, level.round()).expect("fits");
    if !extraction.mesh.triangles.is_empty() {
        let surface = closed(extraction);
        assert_eq!(surface.euler_number(), expected_euler(size, height, true));
        assert!(closed_in_a_file(&surface));
    }
    let signed = Field::new(grid.clone(), values).expect("fits");
    let height = |p| f64::from(signed.at(grid.offset_of(p)));
    let extraction = DualContouring.extract_field(&signed).expect("fits");
    if !extraction.mesh.triangles.is_empty() {
        let surface = closed(extraction);
        assert_eq!(surface.euler_number(), expected_euler(size, height, false));
    }
}

/// Whether a surface is still closed after f32 and merging by position.
fn closed_in_a_file(surface: &ClosedSurface) -> bool {
    let mut bytes = Vec::new();
    write_stl(&mut bytes, surface.mesh(), MeshLabel { side: Side::Both }).expect("memory");
    let back = ClosedSurface::check(read_stl(&bytes).expect("own file")).expect("closed in f32");
    back.euler_number() == surface.euler_number()
}
