//! The healthy side's bone laid on the operated side's.
//!
//! The landmarks' mirror plane is the start. Points of the operated bone's
//! surface are mirrored over, the healthy bone's edge is sought in the scan
//! along their normals, and a rigid motion after the mirroring brings the two
//! together across the surface, robustly: a defect or an old cup is left out
//! by its distance. It needs the other side in the scan.

use nalgebra::{Matrix6, Rotation3, Vector3, Vector6};
use pilothole_volume::{Direction, PatientPoint};
use rayon::prelude::*;

use super::corridor::Surroundings;
use super::kabsch::Rigid;
use super::springs::vector;
use super::types::Mirror;
use crate::scene::Scene;

/// A mirroring and the rigid motion after it: from the healthy side to the
/// operated one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Laid {
    /// The mirroring.
    pub mirror: Mirror,
    /// The motion after it; its residual is of the pairs used.
    pub motion: Rigid,
    /// Pairs used.
    pub pairs: usize,
}

/// Most surface points used.
const MOST_POINTS: usize = 1500;
/// Voxels looked at for surface points lie this far apart, mm, or one voxel.
const LATTICE_MM: f64 = 1.6;
/// Fewest pairs that count.
const FEWEST_PAIRS: usize = 200;
/// How far along a normal the healthy edge is sought, mm.
const REACH_MM: f64 = 8.0;
/// Step along a normal, mm.
const STEP_MM: f64 = 0.5;
/// Looks at most.
const LOOKS: usize = 25;
/// Share of the pairs, nearest first, that are used.
const USED: f64 = 0.7;
/// Furthest that a registration may move the landmarks' mirror image, mm:
/// three standard errors of a plane fitted to landmarks, and some.
const FURTHEST_MM: f64 = 15.0;
/// Roughest fit that counts, mm: twice what healthy pelves differ by from side
/// to side; own choice.
const ROUGHEST_MM: f64 = 2.0;

impl Laid {
    /// Where a point of the healthy side comes to lie.
    pub(crate) fn image(&self, at: PatientPoint) -> PatientPoint {
        let mirrored = Vector3::from(self.mirror.image(at).0);
        PatientPoint(self.motion.apply(mirrored).into())
    }

    /// Where a point of the operated side lies on the healthy one.
    fn preimage(&self, at: PatientPoint) -> PatientPoint {
        let back = self.motion.rotation.transpose() * (Vector3::from(at.0) - self.motion.shift);
        self.mirror.image(PatientPoint(back.into()))
    }
}

/// Lay the healthy side on the operated one; `None` when the scan shows too
/// little of it, or the two do not fit.
///
/// - `near`: the operated hip, from which the fit may not stray.
pub(crate) fn lay_healthy(
    around: &Surroundings<'_>,
    mirror: Mirror,
    near: PatientPoint,
) -> Option<Laid> {
    let scene = around.scene;
    let mut laid = Laid { mirror, motion: Rigid::identity(), pairs: 0 };
    let start = laid.preimage(near);
    if scene.volume.sample_or_nan(start).is_nan() {
        return None;
    }
    let points = surface_points(around);
    for _ in 0..LOOKS {
        let mut pairs: Vec<Pair> =
            points.par_iter().filter_map(|point| pair(scene, &laid, point)).collect();
        if pairs.len() < FEWEST_PAIRS {
            return None;
        }
        pairs.sort_by(|a, b| a.off_mm.abs().total_cmp(&b.off_mm.abs()));
        pairs.truncate((pairs.len() as f64 * USED) as usize);
        let square: f64 = pairs.iter().map(|p| p.off_mm * p.off_mm).sum();
        laid.motion.rms_mm = (square / pairs.len() as f64).sqrt();
        laid.pairs = pairs.len();
        let step = best_step(&pairs, near)?;
        apply(&mut laid.motion, &step, near);
        if step.norm() < 1e-4 {
            break;
        }
    }
    let strayed = laid.image(start).distance_mm(near);
    (laid.motion.rms_mm <= ROUGHEST_MM && strayed <= FURTHEST_MM).then_some(laid)
}

/// A point of the operated bone's surface and its outward normal.
struct SurfacePoint {
    at: PatientPoint,
    out: Direction,
}

/// A surface point and how far outside it the healthy surface lies.
struct Pair {
    at: PatientPoint,
    out: Direction,
    off_mm: f64,
}

/// Points of the surface of the bones that holes enter, spread over the region.
fn surface_points(around: &Surroundings<'_>) -> Vec<SurfacePoint> {
    let (scene, grid) = (around.scene, around.scene.grid());
    let size = grid.size();
    let reach = 0.6 * grid.spacing_mm().into_iter().fold(0.0, f64::max);
    let stride = grid.spacing_mm().map(|step| (LATTICE_MM / step).floor().max(1.0) as usize);
    let rows: Vec<[usize; 2]> = (0..size[2])
        .step_by(stride[2])
        .flat_map(|slice| (0..size[1]).step_by(stride[1]).map(move |row| [slice, row]))
        .collect();
    let near: Vec<usize> = rows
        .into_par_iter()
        .flat_map_iter(|[slice, row]| {
            let start = grid.offset_of([0, row, slice]);
            (start..start + size[0]).step_by(stride[0]).filter(|voxel| {
                let depth = f64::from(scene.field.at(*voxel));
                let label = scene.labels.values()[*voxel];
                let counts = around.bones.is_empty() || around.bones.contains(&label);
                depth > 0.0 && depth < reach && counts
            })
        })
        .collect();
    let every = near.len().div_ceil(MOST_POINTS).max(1);
    near.iter()
        .step_by(every)
        .filter_map(|voxel| {
            let index = [voxel % size[0], voxel / size[0] % size[1], voxel / (size[0] * size[1])];
            let at = grid.centre_of(index);
            let depth = scene.depth_or_nan(at);
            let gradient = scene.field.gradient(at);
            let square = gradient.dot(gradient);
            let out = Direction::along(-gradient)?;
            let shift = out * (depth / square.sqrt());
            (shift.length_mm() < 2.0 * reach).then_some(SurfacePoint { at: at + shift, out })
        })
        .collect()
}

/// The healthy bone's edge along a mirrored normal, nearest to where the
/// mirroring puts it.
fn pair(scene: &Scene<'_>, laid: &Laid, point: &SurfacePoint) -> Option<Pair> {
    let foot = laid.preimage(point.at);
    let along = Direction::along(laid.preimage(point.at + point.out.offset()) - foot)?;
    let count = (REACH_MM / STEP_MM) as i32;
    let mut best: Option<f64> = None;
    let mut before: Option<(f64, f64)> = None;
    for i in -count..=count {
        let s = f64::from(i) * STEP_MM;
        let hu = scene.volume.sample_or_nan(foot + along * s);
        if hu.is_nan() {
            return None;
        }
        if let Some((last_s, last_hu)) = before
            && last_hu >= scene.threshold_hu
            && hu < scene.threshold_hu
        {
            let edge = last_s + STEP_MM * (last_hu - scene.threshold_hu) / (last_hu - hu);
            if best.is_none_or(|nearest: f64| edge.abs() < nearest.abs()) {
                best = Some(edge);
            }
        }
        before = Some((s, hu));
    }
    best.map(|off_mm| Pair { at: point.at, out: point.out, off_mm })
}

/// The small motion about a point that takes the pairs together across their
/// surfaces: shift (mm) and turn (rad).
fn best_step(pairs: &[Pair], about: PatientPoint) -> Option<Vector6<f64>> {
    let mut normal = Matrix6::zeros();
    let mut right = Vector6::zeros();
    for pair in pairs {
        let out = vector(pair.out.offset());
        let arm = vector(pair.at - about).cross(&out);
        let row = Vector6::new(out.x, out.y, out.z, arm.x, arm.y, arm.z);
        normal += row * row.transpose();
        right -= row * pair.off_mm;
    }
    Some(normal.cholesky()?.solve(&right))
}

/// Follow a motion by a small one about a point.
fn apply(motion: &mut Rigid, step: &Vector6<f64>, about: PatientPoint) {
    let turn = Rotation3::from_scaled_axis(Vector3::new(step[3], step[4], step[5]));
    let centre = Vector3::from(about.0);
    let shift = Vector3::new(step[0], step[1], step[2]);
    motion.rotation = turn.matrix() * motion.rotation;
    motion.shift = turn * (motion.shift - centre) + centre + shift;
}
