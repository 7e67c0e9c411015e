//! The whole set in space: light mesh, still pictures, turning view, file.

mod camera;
mod chart;
mod glb;
mod labels;
mod light;
mod quadrants;
mod seats;
mod sleeves;
mod still;
mod turning;

use pilothole_plan::Plan;
use pilothole_surface::ClosedSurface;
use rayon::prelude::*;

use camera::{Camera, View};
use light::LightMesh;

pub(crate) use chart::chart_figure;
pub(crate) use glb::scene_glb;
pub(crate) use quadrants::has_quadrants;
pub(crate) use seats::{patch_figure, socket_figure};
pub(crate) use still::{Still, still_defs, still_use};
pub(crate) use turning::turning_view;

/// What the pictures of the whole set are drawn from, made once a report.
#[derive(Clone, Debug, Default)]
pub(crate) struct Drawn {
    /// The bone's surface, light; empty without a surface.
    pub(crate) mesh: LightMesh,
    /// Still pictures; the first looks into the socket.
    pub(crate) stills: Vec<Still>,
}

/// The views that a page holds as still pictures.
const STILLS: [View; 4] = [View::Mouth, View::Lateral, View::Anterior, View::Posterior];

impl Drawn {
    /// Bone made light, and its still pictures.
    pub(crate) fn of(surface: Option<&ClosedSurface>, plan: &Plan) -> Self {
        let mesh = surface.map(|s| LightMesh::of(s.mesh())).unwrap_or_default();
        let stills = STILLS
            .par_iter()
            .map(|view| Still::of(*view, Camera::of(*view, plan), &mesh))
            .collect();
        Self { mesh, stills }
    }
}
