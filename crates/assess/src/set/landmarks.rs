//! Hip centres found on a bone's surface from a hint, to be confirmed.
//!
//! Rays from the hint meet the surface of one bone; the sphere through most of
//! the points is found by trying quadruples, refined on the points near it,
//! and looked at again from its own centre. A proposal says how well it
//! stands: a cap of 40° gives the depth badly (sheet 2 §12).

use nalgebra::{SymmetricEigen, Vector3};
use pilothole_plan::LandmarkName;
use pilothole_volume::{Direction, Offset, PatientPoint};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::sphere::{Sphere, algebraic_sphere, fit_sphere};
use super::springs::offset;
use super::types::SphereProposal;
use crate::finding::Finding;
use crate::scene::Scene;

/// Which surface a sphere is sought on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SphereKind {
    /// A head: rays leave the bone.
    Head,
    /// A socket: rays meet the bone.
    Socket,
}

/// How a sphere is sought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SphereParams {
    /// Number of rays.
    pub rays: u32,
    /// Step along a ray, mm.
    pub step_mm: f64,
    /// Least and largest radius of a head or socket, mm: adult heads measure
    /// about 38 to 58 mm across; own choice, wide.
    pub radius_mm: [f64; 2],
    /// Distance from the sphere within which a point counts, mm.
    pub near_mm: f64,
    /// Quadruples tried.
    pub tries: u32,
    /// Seed of the quadruples.
    pub seed: u64,
    /// A cap narrower than this is told, rad.
    pub narrow_cap_rad: f64,
    /// A fit rougher than this is told, mm.
    pub rough_mm: f64,
}

impl SphereParams {
    /// The numbers in use; own choices.
    pub const OWN: Self = Self {
        rays: 800,
        step_mm: 0.5,
        radius_mm: [15.0, 35.0],
        near_mm: 1.0,
        tries: 300,
        seed: 1,
        narrow_cap_rad: std::f64::consts::FRAC_PI_3,
        rough_mm: 1.0,
    };
}

/// Fewest points that count as a sphere.
const FEWEST_POINTS: usize = 20;
/// Looks from a better centre.
const LOOKS: usize = 3;

/// Propose a hip centre.
///
/// - `hint`: inside the head, or about in the socket's middle.
/// - `bone`: label of the bone whose surface is meant.
///
/// `None` when no sphere of a fitting size is near the hint.
pub fn propose_sphere(
    scene: &Scene<'_>,
    hint: PatientPoint,
    bone: u8,
    kind: SphereKind,
    params: &SphereParams,
) -> Option<SphereProposal> {
    let mut centre = hint;
    let mut last: Option<(Sphere, Vec<Vector3<f64>>, usize)> = None;
    for look in 0..LOOKS {
        let points = surface_points(scene, centre, bone, kind, params);
        let Some((sphere, used)) = robust_sphere(&points, params) else {
            if look == 0 {
                return None;
            }
            break;
        };
        centre = PatientPoint(sphere.centre.into());
        last = Some((sphere, used, points.len()));
    }
    let (sphere, used, found) = last?;
    Some(proposal(&sphere, &used, found, params))
}

impl SphereProposal {
    /// The same proposal for a landmark.
    #[must_use]
    pub fn for_landmark(mut self, name: LandmarkName) -> Self {
        self.name = Some(name);
        self
    }
}

/// Where rays from a centre first cross the bone's surface.
fn surface_points(
    scene: &Scene<'_>,
    centre: PatientPoint,
    bone: u8,
    kind: SphereKind,
    params: &SphereParams,
) -> Vec<Vector3<f64>> {
    let furthest = 1.5 * params.radius_mm[1];
    let sign = match kind {
        SphereKind::Head => -1.0,
        SphereKind::Socket => 1.0,
    };
    let crossing = |direction: Direction| {
        let depth = |t: f64| sign * scene.depth_in_or_nan(bone, centre + direction * t);
        let mut before = depth(0.0);
        let mut t = 0.0;
        while t < furthest {
            t += params.step_mm;
            let now = depth(t);
            if now.is_nan() {
                return None;
            }
            if before <= 0.0 && now > 0.0 {
                let back = params.step_mm * now / (now - before);
                return Some(Vector3::from((centre + direction * (t - back)).0));
            }
            before = now;
        }
        None
    };
    (0..params.rays).filter_map(|ray| crossing(spiral(ray, params.rays)?)).collect()
}

/// Directions spread evenly over the sphere: a golden spiral.
pub(crate) fn spiral(ray: u32, rays: u32) -> Option<Direction> {
    let z = 1.0 - (2.0 * f64::from(ray) + 1.0) / f64::from(rays);
    let across = (1.0 - z * z).sqrt();
    let (sin, cos) = (f64::from(ray) * std::f64::consts::PI * (3.0 - 5.0_f64.sqrt())).sin_cos();
    Direction::along(Offset([across * cos, across * sin, z]))
}

/// The sphere that most points lie near, and those points.
fn robust_sphere(
    points: &[Vector3<f64>],
    params: &SphereParams,
) -> Option<(Sphere, Vec<Vector3<f64>>)> {
    if points.len() < FEWEST_POINTS {
        return None;
    }
    let fits_size = |radius: f64| radius >= params.radius_mm[0] && radius <= params.radius_mm[1];
    let near = |centre: Vector3<f64>, radius: f64, within: f64| {
        points
            .iter()
            .filter(|p| ((*p - centre).norm() - radius).abs() <= within)
            .copied()
            .collect::<Vec<_>>()
    };
    let mut random = ChaCha8Rng::seed_from_u64(params.seed);
    let mut best: Option<(usize, Vector3<f64>, f64)> = None;
    for _ in 0..params.tries {
        let four: Vec<Vector3<f64>> =
            (0..4).map(|_| points[random.next_u32() as usize % points.len()]).collect();
        let Some((centre, radius)) = algebraic_sphere(&four) else { continue };
        if !fits_size(radius) {
            continue;
        }
        let count = near(centre, radius, params.near_mm).len();
        if best.is_none_or(|(most, ..)| count > most) {
            best = Some((count, centre, radius));
        }
    }
    let (_, centre, radius) = best?;
    let mut used = near(centre, radius, params.near_mm);
    let mut sphere = fit_sphere(&used)?;
    for _ in 0..20 {
        let next = near(sphere.centre, sphere.radius_mm, params.near_mm);
        if next == used || next.len() < FEWEST_POINTS {
            break;
        }
        used = next;
        sphere = fit_sphere(&used)?;
    }
    (used.len() >= FEWEST_POINTS && fits_size(sphere.radius_mm)).then_some((sphere, used))
}

fn proposal(
    sphere: &Sphere,
    used: &[Vector3<f64>],
    found: usize,
    params: &SphereParams,
) -> SphereProposal {
    let noise = sphere.rms_mm;
    let of_centre = sphere.covariance.fixed_view::<3, 3>(0, 0).into_owned();
    let eigen = SymmetricEigen::new(of_centre);
    let worst = eigen.eigenvalues.imax();
    let axis: Vector3<f64> = eigen.eigenvectors.column(worst).into();
    let cap_rad = cap_rad(sphere.centre, used);
    let mut findings = Vec::new();
    if cap_rad < params.narrow_cap_rad {
        let text = "The points span a narrow cap, which gives the sphere's depth badly.";
        findings.push(Finding::new("landmark.cap", text).measured(
            cap_rad.to_degrees(),
            Some(params.narrow_cap_rad.to_degrees()),
            "deg",
        ));
    }
    if noise > params.rough_mm {
        let text = "The surface is not a sphere there.";
        let finding = Finding::new("landmark.rough", text);
        findings.push(finding.measured(noise, Some(params.rough_mm), "mm"));
    }
    SphereProposal {
        name: None,
        centre: PatientPoint(sphere.centre.into()),
        radius_mm: sphere.radius_mm,
        rms_mm: noise,
        points: used.len(),
        used: used.len() as f64 / found as f64,
        cap_rad,
        worst_se_mm: noise * eigen.eigenvalues[worst].max(0.0).sqrt(),
        worst_direction: Direction::along(offset(axis)).unwrap_or(Direction::SUPERIOR),
        radius_se_mm: noise * sphere.covariance[(3, 3)].max(0.0).sqrt(),
        used_points: used.iter().map(|p| PatientPoint((*p).into())).collect(),
        findings,
    }
}

/// Half-angle about the points' mean direction that holds 95 % of them, rad.
fn cap_rad(centre: Vector3<f64>, points: &[Vector3<f64>]) -> f64 {
    let units: Vec<Vector3<f64>> = points.iter().map(|p| (p - centre).normalize()).collect();
    let mean: Vector3<f64> = units.iter().sum();
    let mut angles: Vec<f64> = units.iter().map(|unit| unit.angle(&mean)).collect();
    angles.sort_by(f64::total_cmp);
    angles.get(angles.len() * 19 / 20).copied().unwrap_or(0.0)
}
