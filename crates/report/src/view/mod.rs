//! The whole set in space: light mesh, still pictures, turning view, file.

mod camera;
mod chart;
mod depths;
mod femur;
mod glb;
mod labels;
mod light;
mod quadrants;
mod room;
mod seats;
mod sleeves;
mod still;
mod turning;

use rayon::prelude::*;

use camera::{Camera, View};
use femur::femur_last;
use light::LightMesh;

use crate::case::Case;

pub(crate) use chart::chart_figure;
pub(crate) use glb::scene_glb;
pub(crate) use labels::places;
pub(crate) use quadrants::has_quadrants;
pub(crate) use seats::{patch_figure, socket_figure};
pub(crate) use still::{Still, still_defs, still_use};
pub(crate) use turning::turning_view;

/// What the pictures of the whole set are drawn from, made once a report.
#[derive(Clone, Debug, Default)]
pub(crate) struct Drawn {
    /// The bone's surface, light; empty without a surface.
    pub(crate) mesh: LightMesh,
    /// Triangles of the mesh before those of the femur, which come last.
    pub(crate) before_femur: usize,
    /// Still pictures; the first looks into the socket.
    pub(crate) stills: Vec<Still>,
}

/// The views that a page holds as still pictures.
const STILLS: [View; 4] = [View::Mouth, View::Lateral, View::Anterior, View::Posterior];

impl Drawn {
    /// Bone made light, and its still pictures, which leave the femur out.
    pub(crate) fn of(case: &Case<'_>) -> Self {
        let mesh = case.surface.map(|s| LightMesh::of(s.mesh())).unwrap_or_default();
        let (mesh, before_femur) = femur_last(mesh, &case.scene, &case.bones);
        let stills = STILLS
            .par_iter()
            .map(|view| Still::of(*view, Camera::of(*view, case.plan), &mesh, before_femur))
            .collect();
        Self { mesh, before_femur, stills }
    }

    /// Whether there is a femur to be left out.
    pub(crate) fn has_femur(&self) -> bool {
        self.before_femur < self.mesh.triangles.len()
    }
}
