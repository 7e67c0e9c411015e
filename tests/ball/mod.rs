//! A ball of bone in muscle, small enough to be judged in a moment.

use std::path::{Path, PathBuf};

use pilothole_phantom::{Scanner, Scene, SeriesHeader, Solid, Tissue, write_series};
use pilothole_volume::{Direction, Grid, PatientPoint};

/// Bone of 20 mm radius about the origin, in muscle of 28 mm.
pub(crate) fn ball() -> Scene {
    let centre = PatientPoint([0.0; 3]);
    let mut scene = Scene::empty();
    scene.paint(Solid::Ball { centre, radius_mm: 28.0 }, Tissue::Muscle, 50.0, 0);
    scene.paint(Solid::Ball { centre, radius_mm: 20.0 }, Tissue::Cortical, 900.0, 1);
    scene
}

/// Scan a scene without noise or blur and write the series; its slices.
pub(crate) fn write(scene: &Scene, folder: &Path, header: &SeriesHeader) -> Vec<PathBuf> {
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid = Grid::from_axes([48; 3], PatientPoint([-30.0; 3]), axes, [1.25; 3]).expect("square");
    let volume = Scanner::PERFECT.scan(scene, &grid).expect("fits");
    write_series(&volume, folder, header).expect("written")
}
