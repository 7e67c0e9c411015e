//! How near the surfaces are to the bodies, in voxels.

use pilothole_surface::{ClosedSurface, DualContouring, Extract, SurfaceNets};
use pilothole_volume::{Field, Numbers, PatientPoint, Region, Volume, Voxels};

use crate::bodies::{ball, both, closed, cuboid, field, torus, unit_grid};

/// Where the first voxel of a test lattice lies.
const ORIGIN: [f64; 3] = [-30.0, 12.0, -200.0];

fn in_voxels(at: PatientPoint) -> [f64; 3] {
    std::array::from_fn(|n| at.0[n] - ORIGIN[n])
}

/// Root mean square of the body's depth at all vertices and triangle middles.
fn rms(surface: &ClosedSurface, depth: impl Fn([f64; 3]) -> f64) -> f64 {
    let mesh = surface.mesh();
    let middles = (0..mesh.triangles.len()).map(|t| {
        let corners = mesh.corners(t).map(in_voxels);
        std::array::from_fn(|n| corners.iter().map(|c| c[n]).sum::<f64>() / 3.0)
    });
    let points: Vec<[f64; 3]> =
        mesh.vertices.iter().copied().map(in_voxels).chain(middles).collect();
    (points.iter().map(|p| depth(*p).powi(2)).sum::<f64>() / points.len() as f64).sqrt()
}

fn percentile(mut values: Vec<f64>, part: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[(values.len() as f64 * part) as usize]
}

#[test]
fn a_sphere_of_20_voxels_is_within_a_hundredth() {
    let body = ball([24.3, 23.6, 24.9], 20.0);
    let grid = unit_grid([49, 49, 50]);
    for extraction in both(&field(&grid, &body)) {
        let surface = closed(extraction);
        let (error, quality) = (rms(&surface, &body), percentile(surface.mesh().qualities(), 0.05));
        let volume = surface.volume_mm3() / (4.0 / 3.0 * std::f64::consts::PI * 8000.0) - 1.0;
        assert!(error <= 0.01, "RMS {error}, volume {volume}");
        assert!(volume.abs() < 5e-4, "RMS {error}, volume {volume}");
        assert!(quality >= 0.6, "fifth percentile of quality {quality}");
    }
}

#[test]
fn a_field_in_steps_gives_the_surface_of_its_numbers() {
    let grid = unit_grid([48, 48, 25]);
    let body = field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0));
    // Where the surface is, between far outside and far inside, at either end.
    for least in [-20_000, -1, 0, 3] {
        let steps = |i: usize| (body.at(i) * 9_000.0).clamp(f32::from(least), 20_000.0).round();
        let above = (0..grid.voxel_count()).map(|i| (steps(i) - f32::from(least)) as u16).collect();
        let counted = Numbers::Steps { above, least, step: 1.0 };
        let counted = Field::of(grid.clone(), counted).expect("fits");
        let plain = Field::new(grid.clone(), (0..grid.voxel_count()).map(steps).collect());
        let plain = plain.expect("fits");
        assert!((0..grid.voxel_count()).all(|i| counted.at(i).total_cmp(&plain.at(i)).is_eq()));
        for method in [&SurfaceNets as &dyn Extract, &DualContouring] {
            let found = [&counted, &plain].map(|f| method.extract_field(f).expect("fits").mesh);
            assert_eq!(found[0], found[1], "{least}");
        }
    }
}

#[test]
fn the_error_falls_with_the_voxel() {
    let error_of = |radius: f64| {
        let side = (2.0 * radius) as usize + 8;
        let body = ball([side as f64 / 2.0; 3], radius);
        rms(
            &closed(SurfaceNets.extract_field(&field(&unit_grid([side; 3]), &body)).expect("fits")),
            &body,
        ) / radius
    };
    let (coarse, fine) = (error_of(8.0), error_of(16.0));
    assert!(fine < 0.35 * coarse, "{coarse} {fine}");
}

#[test]
fn both_methods_agree_on_smooth_bodies() {
    let grid = unit_grid([48, 48, 32]);
    for body in [
        field(&grid, ball([23.4, 23.8, 15.2], 13.0)),
        field(&grid, torus([23.4, 23.8, 15.2], 14.0, 6.0)),
    ] {
        let [nets, contoured] = both(&body);
        let squares: f64 = nets
            .mesh
            .vertices
            .iter()
            .zip(&contoured.mesh.vertices)
            .map(|(a, b)| a.distance_mm(*b).powi(2))
            .sum();
        let apart = (squares / nets.mesh.vertices.len() as f64).sqrt();
        assert!(apart <= 0.1, "RMS {apart} voxels");
    }
}

/// Points along the twelve edges of a box.
fn edges_of(low: [f64; 3], high: [f64; 3]) -> Vec<PatientPoint> {
    let mut points = Vec::new();
    for axis in 0..3 {
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let ends = [(low[u], low[v]), (low[u], high[v]), (high[u], low[v]), (high[u], high[v])];
        for (end_u, end_v) in ends {
            for part in 0..=20 {
                let mut at = [0.0; 3];
                at[u] = end_u;
                at[v] = end_v;
                at[axis] = low[axis] + (high[axis] - low[axis]) * f64::from(part) / 20.0;
                points.push(PatientPoint(std::array::from_fn(|n| at[n] + ORIGIN[n])));
            }
        }
    }
    points
}

/// Mean and largest distance of a surface from points, voxels.
fn misses(surface: &ClosedSurface, points: &[PatientPoint]) -> [f64; 2] {
    let near = surface.index().nearest_all(points);
    let all: Vec<f64> = near.iter().flatten().map(|n| n.distance_mm).collect();
    [all.iter().sum::<f64>() / all.len() as f64, all.iter().copied().fold(0.0, f64::max)]
}

#[test]
fn contouring_keeps_the_edges_of_a_cube_that_nets_round() {
    for inset in [0.3, 0.5, 0.7] {
        let (low, high) = ([7.0 - inset; 3], [18.0 + inset; 3]);
        let grid = unit_grid([26; 3]);
        let [nets, contoured] = both(&field(&grid, cuboid(low, high))).map(closed);
        let edges = edges_of(low, high);
        let ([_, sharp], [round, _]) = (misses(&contoured, &edges), misses(&nets, &edges));
        assert!(sharp < 0.01, "contouring misses an edge by {sharp} voxels");
        assert!(round > 0.1, "nets miss the edges by {round} voxels on average");
        let volume: f64 = (0..3).map(|n| high[n] - low[n]).product();
        let kept = contoured.volume_mm3() / volume;
        assert!((kept - 1.0).abs() < 1e-3, "{inset}: {kept}");
    }
}

#[test]
fn contouring_is_nearer_the_edges_of_any_box() {
    let (low, high) = ([6.3, 7.6, 5.4], [18.6, 17.3, 19.7]);
    let [nets, contoured] = both(&field(&unit_grid([26; 3]), cuboid(low, high))).map(closed);
    let edges = edges_of(low, high);
    let ([sharp, _], [round, _]) = (misses(&contoured, &edges), misses(&nets, &edges));
    assert!(sharp < 0.7 * round, "{sharp} and {round} voxels on average");
}

#[test]
fn thin_plates_keep_their_trilinear_thickness() {
    for thickness in 1..=3_usize {
        for axis in 0..3 {
            let size = [24; 3];
            let grid = unit_grid(size);
            let plate = 10..10 + thickness;
            let hu = (0..grid.voxel_count())
                .map(|i| [i % 24, i / 24 % 24, i / 576])
                .map(|p| {
                    let is_within = (0..3).all(|n| n == axis || (2..22).contains(&p[n]));
                    if is_within && plate.contains(&p[axis]) { 350 } else { -100 }
                })
                .collect();
            let volume = Volume::new(grid, Voxels::I16(hu), None).expect("fits");
            let region = Region::whole(volume.grid());
            // 350 in −100 at 226: each side lies 124/450 outside the last voxel.
            let expected = thickness as f64 - 1.0 + 2.0 * 124.0 / 450.0;
            for extraction in [
                SurfaceNets.extract_volume(&volume, region, 226.0).expect("fits"),
                DualContouring.extract_volume(&volume, region, 226.0).expect("fits"),
            ] {
                let surface = closed(extraction);
                let found = thickness_along(&surface, axis);
                assert!((found - expected).abs() < 0.05, "{thickness}: {found} for {expected}");
            }
        }
    }
}

/// Thickness of a plate across `axis`, in its middle, by rays.
fn thickness_along(surface: &ClosedSurface, axis: usize) -> f64 {
    use pilothole_volume::{Direction, Offset};
    let mut along = [0.0; 3];
    along[axis] = 1.0;
    let along = Direction::along(Offset(along)).expect("unit");
    let mut sum = 0.0;
    for n in 0..25 {
        let (a, b) = (9.13 + f64::from(n % 5) * 1.21, 9.37 + f64::from(n / 5) * 1.17);
        let mut from = [0.0; 3];
        from[(axis + 1) % 3] = a;
        from[(axis + 2) % 3] = b;
        let from = PatientPoint(std::array::from_fn(|n| from[n] + ORIGIN[n]));
        let hits = surface.index().all_hits(from, along, f64::INFINITY);
        assert_eq!(hits.len(), 2, "{hits:?}");
        assert!(hits[0].entering && !hits[1].entering);
        sum += hits[1].distance_mm - hits[0].distance_mm;
    }
    sum / 25.0
}

/// Volume of the samples' trilinear interpolation above a level, voxels, by the
/// midpoints of 6³ pieces of each cell; nothing may reach the border.
fn trilinear_voxels(size: [usize; 3], height: impl Fn([usize; 3]) -> f64) -> f64 {
    const PARTS: usize = 6;
    let mut volume = 0.0;
    let cells = size.map(|n| n - 1);
    for cell in 0..cells.iter().product::<usize>() {
        let low = [cell % cells[0], cell / cells[0] % cells[1], cell / (cells[0] * cells[1])];
        let corners: [f64; 8] = std::array::from_fn(|c| {
            height([low[0] + (c & 1), low[1] + (c >> 1 & 1), low[2] + (c >> 2)])
        });
        let inside = corners.iter().filter(|h| **h >= 0.0).count();
        if inside % 8 == 0 {
            volume += inside as f64 / 8.0;
            continue;
        }
        let pieces = (0..PARTS.pow(3)).filter(|piece| {
            let at = [piece % PARTS, piece / PARTS % PARTS, piece / (PARTS * PARTS)]
                .map(|n| (n as f64 + 0.5) / PARTS as f64);
            let mut lerped = corners;
            for (axis, part) in at.into_iter().enumerate().rev() {
                for n in 0..1 << axis {
                    lerped[n] += part * (lerped[n + (1 << axis)] - lerped[n]);
                }
            }
            lerped[0] >= 0.0
        });
        volume += pieces.count() as f64 / PARTS.pow(3) as f64;
    }
    volume
}

#[test]
fn a_spongy_body_keeps_its_trilinear_volume() {
    // A shell two voxels thick, struts and pores of three voxels' radius in it,
    // in HU: what a pelvis looks like at a threshold.
    let size = [56; 3];
    let grid = unit_grid(size);
    let hu: Vec<i16> = (0..grid.voxel_count())
        .map(|i| {
            let p = [i % 56, i / 56 % 56, i / 3136].map(|c| c as f64);
            let deep = ball([27.4, 27.9, 27.1], 22.0)(p);
            let shell = 900.0 - 300.0 * (deep - 1.5).abs();
            let struts = 226.0
                + 250.0 * (p[0] * 0.6).sin() * (p[1] * 0.55).sin()
                + 200.0 * (p[2] * 0.5).cos();
            shell.max(if deep > 0.0 { struts } else { -100.0 }).max(-100.0) as i16
        })
        .collect();
    let expected = trilinear_voxels(size, |p| f64::from(hu[grid.offset_of(p)]) - 226.0);
    let volume = Volume::new(grid, Voxels::I16(hu), None).expect("fits");
    let region = Region::whole(volume.grid());
    let extraction = SurfaceNets.extract_volume(&volume, region, 226.0).expect("fits");
    let ratio = closed(extraction).volume_mm3() / expected;
    assert!((ratio - 1.0).abs() < 0.005, "{ratio}");
}

#[test]
fn an_oblique_plate_of_one_and_a_half_voxels_has_no_holes() {
    // Thickness 1.5 voxels, oblique in all axes, blurred as a scanner does.
    let normal = [0.48, 0.6, 0.64];
    let grid = unit_grid([30; 3]);
    let plate = field(&grid, |p| {
        let depth = 0.75 - (0..3).map(|n| (p[n] - 14.5) * normal[n]).sum::<f64>().abs();
        let disc = 11.0 - (0..3).map(|n| (p[n] - 14.5).powi(2)).sum::<f64>().sqrt();
        depth.min(disc)
    });
    for extraction in both(&plate) {
        let surface = closed(extraction);
        assert_eq!((surface.components().len(), surface.euler_number()), (1, 2));
    }
}

#[test]
fn contouring_stays_in_its_cells() {
    let grid = unit_grid([26; 3]);
    let body = field(&grid, cuboid([6.3, 7.6, 5.4], [18.6, 17.3, 19.7]));
    let [nets, contoured] = both(&body);
    for (a, b) in nets.mesh.vertices.iter().zip(&contoured.mesh.vertices) {
        let cell = |at| in_voxels(at).map(|c| c.floor() as i64);
        assert_eq!(cell(*a), cell(*b));
    }
    let _: [&dyn Extract; 2] = [&SurfaceNets, &DualContouring];
}
