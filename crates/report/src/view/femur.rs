//! Which part of a light mesh is the femur: it hides the socket, and in the
//! operation it is moved aside.

use pilothole_assess::Scene;
use pilothole_volume::{Offset, PatientPoint};

use super::light::LightMesh;
use crate::record::BonesRecord;

/// How far below the surface a vertex asks whose bone it is, mm, the first
/// bone met counts: a light mesh lies off the true one by up to a cell.
const BELOW_MM: [f64; 3] = [1.0, 2.5, 0.0];

/// The mesh with the triangles of a femur last, and how many there are before
/// them. A triangle is the femur's when all its corners are.
pub(super) fn femur_last(
    mut mesh: LightMesh,
    scene: &Scene<'_>,
    bones: &BonesRecord,
) -> (LightMesh, usize) {
    let is_femur = |name: &str| name.starts_with("femur");
    let labels: Vec<u8> = bones
        .bones
        .iter()
        .filter(|bone| bone.name.as_deref().is_some_and(is_femur))
        .map(|bone| bone.label)
        .collect();
    if labels.is_empty() {
        let all = mesh.triangles.len();
        return (mesh, all);
    }
    let of_femur: Vec<bool> = mesh
        .vertices
        .iter()
        .zip(mesh.normals())
        .map(|(at, normal)| {
            let [at, normal] = [*at, normal].map(|v| v.map(f64::from));
            let bone = |below: f64| {
                scene.bone_at(PatientPoint(at) + Offset(normal) * -below).filter(|b| *b > 0)
            };
            BELOW_MM.into_iter().find_map(bone).is_some_and(|bone| labels.contains(&bone))
        })
        .collect();
    let is_femur = |triangle: &[u16; 3]| triangle.iter().all(|v| of_femur[usize::from(*v)]);
    mesh.triangles.sort_by_key(is_femur);
    let others = mesh.triangles.partition_point(|triangle| !is_femur(triangle));
    (mesh, others)
}
