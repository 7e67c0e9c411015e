//! The made hip: three ellipsoids around a hollow, in muscle, fat and air.

use pilothole_surface::{ClosedSurface, Extract, SurfaceNets};
use pilothole_volume::{Direction, Field, Grid, Labels, PatientPoint, Volume, Voxels};

/// Centre of the socket.
pub(crate) const CENTRE: [f64; 3] = [90.0, 14.0, -30.0];
/// Out of the socket's mouth.
pub(crate) const AXIS: [f64; 3] = [0.62, -0.30, -0.7247];
const VOXEL_MM: f64 = 1.3;
const SIZE: usize = 150;

fn ellipsoid(p: [f64; 3], centre: [f64; 3], radii: [f64; 3]) -> f64 {
    let k = (0..3).map(|i| ((p[i] - centre[i]) / radii[i]).powi(2)).sum::<f64>().sqrt();
    (1.0 - k) * radii.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Depth in bone, about mm.
pub(crate) fn depth(p: [f64; 3]) -> f64 {
    let ilium = ellipsoid(p, [92.0, 26.0, 22.0], [15.0, 42.0, 46.0]);
    let ischium = ellipsoid(p, [84.0, 38.0, -72.0], [15.0, 17.0, 36.0]);
    let pubis = ellipsoid(p, [60.0, -22.0, -52.0], [34.0, 11.0, 11.0]);
    let block = ellipsoid(p, [84.0, 18.0, -26.0], [36.0, 38.0, 40.0]);
    let hollow = 27.0 - (0..3).map(|i| (p[i] - CENTRE[i]).powi(2)).sum::<f64>().sqrt();
    let out: f64 = (0..3).map(|i| (p[i] - CENTRE[i]) * AXIS[i]).sum();
    let mouth = if out > 0.0 {
        let across = (0..3).map(|i| (p[i] - CENTRE[i] - out * AXIS[i]).powi(2)).sum::<f64>();
        27.0 - across.sqrt()
    } else {
        hollow
    };
    ilium.max(ischium).max(pubis).max(block).min(-hollow.max(mouth))
}

fn hu(p: [f64; 3]) -> f64 {
    let inside = depth(p);
    let wave = (p[0] * 0.31).sin() * (p[1] * 0.27).cos() * (p[2] * 0.23).sin();
    if inside > 2.2 {
        260.0 + 110.0 * wave - 3.0 * (inside - 2.2)
    } else if inside > -0.6 {
        let part = 1.0 - ((inside - 0.8) / 1.4).powi(2);
        200.0 + 950.0 * part.max(0.0)
    } else {
        let from_middle = ((p[0] - 60.0) / 1.1).hypot(p[1] - 15.0);
        match from_middle {
            d if d > 96.0 => -1000.0,
            d if d > 80.0 => -95.0,
            _ => 48.0 + 12.0 * wave,
        }
    }
}

/// The scan, the depth of bone, and labels on the same lattice.
pub(crate) fn scan() -> (Volume, Field, Labels) {
    let origin = PatientPoint(CENTRE.map(|c| c - 0.5 * VOXEL_MM * SIZE as f64));
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes([SIZE; 3], origin, axes, [VOXEL_MM; 3]).expect("orthogonal");
    let mut voxels = Vec::with_capacity(SIZE.pow(3));
    let mut values = Vec::with_capacity(SIZE.pow(3));
    for slice in 0..SIZE {
        for row in 0..SIZE {
            for column in 0..SIZE {
                let at = grid.centre_of([column, row, slice]).0;
                voxels.push(hu(at).round() as i16);
                values.push(depth(at) as f32);
            }
        }
    }
    let labels = values.iter().map(|v| u8::from(*v > 0.0)).collect();
    (
        Volume::new(grid.clone(), Voxels::I16(voxels), None).expect("fits"),
        Field::new(grid, values).expect("fits"),
        Labels::new([SIZE; 3], labels).expect("fits"),
    )
}

/// The surface of the bone.
pub(crate) fn surface(field: &Field) -> ClosedSurface {
    SurfaceNets.extract_field(field).expect("fits").closed().expect("nets close")
}

/// A plan with a ring of holes in the cup and four on flanges.
pub(crate) fn plan_toml(ids: &[&str]) -> String {
    let head = format!(
        "schema = \"pilothole/plan/1\"\nside = \"left\"\ncoordinates = \"LPS\"\n\
         [socket]\ncentre_mm = [{}, {}, {}]\naxis = [{}, {}, {}]\nouter_diameter_mm = 54.0\n\
         [approach]\naxis = [0.7, 0.2, -0.6856]\nhalf_angle_deg = 45.0\ndrill_length_mm = 120.0\n\
         drill_radius_mm = 6.0\n[load]\nbody_mass_kg = 75.0\n",
        CENTRE[0], CENTRE[1], CENTRE[2], AXIS[0], AXIS[1], AXIS[2]
    );
    let targets: [([f64; 3], &str); 14] = [
        ([0.05, 0.25, 0.96], "ilium"),
        ([0.0, 0.55, 0.83], "ilium"),
        ([0.05, -0.15, 0.98], "ilium"),
        ([-0.35, 0.45, 0.82], "ilium"),
        ([-0.2, 0.05, 0.97], "ilium"),
        ([-0.6, 0.6, 0.52], "ilium"),
        ([-0.15, 0.62, -0.77], "ischium"),
        ([-0.3, 0.72, -0.62], "ischium"),
        ([-0.7, -0.62, -0.35], "pubis"),
        ([-0.9, -0.3, 0.3], "ilium"),
        ([0.1, 0.4, 0.91], "ilium"),
        ([0.1, 0.1, 0.99], "ilium"),
        ([-0.05, 0.4, -0.91], "ischium"),
        ([0.05, 0.75, 0.66], "ilium"),
    ];
    let holes: Vec<String> = ids
        .iter()
        .enumerate()
        .map(|(index, id)| {
            let (toward, region) = targets[index % targets.len()];
            let length = toward.iter().map(|c| c * c).sum::<f64>().sqrt();
            let unit = toward.map(|c| c / length);
            let seat: Vec<f64> = (0..3).map(|i| CENTRE[i] + 26.2 * unit[i]).collect();
            let zone = if index >= 10 { "flange" } else { "cup" };
            format!(
                "[[hole]]\nid = {}\nzone = \"{zone}\"\nregion = \"{region}\"\nseat_mm = {seat:?}\n\
                 direction = {unit:?}\nscrew = \"HB 6.5\"\nlength_mm = {:.1}\nswivel_deg = 12.0\n",
                toml_text(id),
                30.0 + 5.0 * (index % 4) as f64
            )
        })
        .collect();
    head + &holes.concat()
}

/// Free text as a TOML string; ids of a plan hold no control characters.
fn toml_text(id: &str) -> String {
    format!("\"{}\"", id.replace('\\', "\\\\").replace('"', "\\\""))
}
