//! The holes as a set: do screws meet, does a drill get there, which holes
//! share a guide, in which order to fill, does the set hold, where the hip
//! comes to lie, what to order.

pub(crate) mod access;
pub mod beam;
mod body;
pub mod cases;
mod clash;
pub mod colouring;
mod contact;
mod convex;
pub(crate) mod corridor;
mod findings;
pub mod frames;
pub mod guides;
pub mod heads;
pub mod kabsch;
mod kit;
pub mod landmarks;
mod load;
mod mirror;
mod model;
mod order;
mod params;
mod reconstruction;
mod register;
pub mod rigid;
pub(crate) mod segment;
pub mod sphere;
mod springs;
mod triangle;
mod types;

use pilothole_plan::Plan;

use crate::hole::HoleResult;
use crate::scene::Scene;
use corridor::Surroundings;
use load::Loaded;
use springs::Anchor;

pub use access::{bite, edge_depth_mm};
pub use body::{Frustum, ScrewBody, head_of};
pub use convex::{GAP_TOLERANCE_MM, Gap, gap};
pub use params::{
    AccessParams, ClashParams, GuideParams, Head, KitParams, LoadParams, ModulusLaw, OrderParams,
    Part, ReconstructionParams, SetParams,
};
pub use springs::CoreSection;
pub use types::*;

/// Judge the holes of a plan as a set.
///
/// - `holes`: what is known about each, in the plan's order.
/// - `params`: the numbers, and the component's surface where the plan names
///   one.
///
/// Room between screws is judged at the recommended length, else at the planned
/// one. Guides, order and load count only screws that can be ordered: those of
/// holes with a recommended length. Wrong placements of the whole component are
/// not part of it; see [`crate::robust::robust_set`].
pub fn judge_set(
    scene: &Scene<'_>,
    plan: &Plan,
    holes: &[HoleResult],
    params: &SetParams,
) -> SetResult {
    let bodies = body::screw_bodies(plan, holes);
    let rooms = clash::rooms(&bodies, plan.policy.screw_gap_mm.value, &params.clash);
    let metal = clash::metal_near(scene, &bodies, &params.clash);
    let around = Surroundings::new(scene, plan, holes, params.part.as_ref(), &params.access);
    let access = access::judge_access(plan, holes, &around);
    let ordered = body::ordered_bodies(plan, holes);
    let guides = guides::find_guides(plan, &ordered, &around, &params.guide);
    let reconstruction = reconstruction::reconstruct(plan, &around, &params.reconstruction);
    let anchors = springs::anchors(scene, plan, holes, &ordered, &params.load);
    let loaded = put_on_screws(scene, plan, anchors, &reconstruction, params);
    let order = order::fill_order(plan, &loaded, guides.as_ref(), &params.order);
    let blocked: Vec<usize> =
        access.iter().filter(|way| !way.is_reached()).map(|way| way.hole).collect();
    let purchases = purchases(plan, holes);
    let load = load::share_load(plan, &loaded, &blocked, &purchases, &params.load);
    let mut set = SetResult {
        clash: rooms.clash,
        sharing: rooms.sharing,
        metal,
        access,
        guides,
        order,
        load,
        reconstruction,
        kit: kit::kit(plan, holes),
        spares: kit::spares(plan, holes, params.kit),
        robust: None,
        findings: Vec::new(),
    };
    set.findings = findings::findings(plan, holes, &set, params);
    set
}

/// The part on its screws, and on bone where the plan asks for it.
fn put_on_screws(
    scene: &Scene<'_>,
    plan: &Plan,
    anchors: Vec<Anchor>,
    reconstruction: &Reconstruction,
    params: &SetParams,
) -> Loaded {
    let contact = match &params.part {
        Some(part) if plan.load.is_some_and(|load| load.bone_contact) => {
            contact::contact_patches(scene, part, plan.socket.centre, &params.load)
        }
        _ => Vec::new(),
    };
    let frames = [reconstruction.app, reconstruction.isb];
    Loaded::new(plan, anchors, &contact, frames, &params.load)
}

/// Purchase by hole of the plan, mm.
fn purchases(plan: &Plan, holes: &[HoleResult]) -> Vec<f64> {
    let mut all = vec![0.0; plan.holes.len()];
    for result in holes {
        all[result.hole] = result.purchase_mm;
    }
    all
}
