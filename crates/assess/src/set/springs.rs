//! From the bone along a screw's path to the screw as a spring.

use nalgebra::Vector3;
use pilothole_plan::Plan;
use pilothole_volume::{Offset, PatientPoint};

use super::beam::{Beam, HeadCompliance, axial_n_per_mm, shear_lag_n_per_mm2, vesic_n_per_mm2};
use super::body::ScrewBody;
use super::convex::frame_about;
use super::params::{Head, LoadParams};
use super::rigid::Spring;
use super::types::{Range, ScrewSpring};
use crate::hole::{HoleResult, Tissue};
use crate::scene::Scene;

/// A screw that holds, and its springs from the softest to the stiffest.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Anchor {
    /// What is told of it.
    pub told: ScrewSpring,
    /// Softest, middle, stiffest, about the hip centre.
    pub springs: [Spring; 3],
    /// Into bone.
    pub axis: Vector3<f64>,
    /// Seat, from the hip centre, mm.
    pub at: Vector3<f64>,
}

/// Points of a ring around the axis at which bone is read.
const RING: u8 = 8;

/// The screws that hold anything, in the plan's order.
pub(crate) fn anchors(
    scene: &Scene<'_>,
    plan: &Plan,
    holes: &[HoleResult],
    bodies: &[ScrewBody],
    params: &LoadParams,
) -> Vec<Anchor> {
    bodies
        .iter()
        .filter_map(|body| {
            let result = holes.iter().find(|h| h.hole == body.hole)?;
            let bone = BoneAlong::read(scene, plan, result, body, params);
            bone.anchor(plan.socket.centre, result, body, params)
        })
        .collect()
}

/// Modulus of the bone along a screw, piece by piece from the seat.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BoneAlong {
    /// Length of a piece, mm.
    pub step_mm: f64,
    /// Modulus around each piece, N/mm²; 0 outside bone.
    pub modulus_mpa: Vec<f64>,
    /// Whether each piece carries thread.
    pub thread: Vec<bool>,
}

impl BoneAlong {
    /// Read the bone around a screw: the axis and a ring at the outer
    /// diameter; what lies outside the envelope, or past the path's end,
    /// counts as nothing.
    fn read(
        scene: &Scene<'_>,
        plan: &Plan,
        result: &HoleResult,
        body: &ScrewBody,
        params: &LoadParams,
    ) -> Self {
        let pieces = (body.length_mm / params.step_mm).ceil().max(1.0) as usize;
        let step_mm = body.length_mm / pieces as f64;
        let hole = &plan.holes[body.hole];
        let (thread_from, thread_to) = plan.screw_of(hole).thread_mm(body.length_mm);
        let reference = plan.socket.axis.offset();
        let ring = ring_offsets(body, reference, hole.seat - plan.socket.centre);
        let mut bone = Self { step_mm, modulus_mpa: Vec::new(), thread: Vec::new() };
        for piece in 0..pieces {
            let t = (piece as f64 + 0.5) * step_mm;
            let at = body.seat + body.direction * t;
            let modulus =
                if holds_at(result, t) { mean_modulus(scene, at, &ring, params) } else { 0.0 };
            bone.modulus_mpa.push(modulus);
            bone.thread.push(t >= thread_from && t <= thread_to);
        }
        bone
    }

    /// The screw as springs; `None` when no bone holds it.
    fn anchor(
        &self,
        centre: PatientPoint,
        result: &HoleResult,
        body: &ScrewBody,
        params: &LoadParams,
    ) -> Option<Anchor> {
        let core = body.core_mm;
        let section_mm2 = std::f64::consts::FRAC_PI_4 * core * core;
        let bending = params.screw_mpa * std::f64::consts::PI * core.powi(4) / 64.0;
        let shear: Vec<f64> = self
            .modulus_mpa
            .iter()
            .zip(&self.thread)
            .map(|(e, thread)| if *thread { *e } else { 0.0 })
            .map(|e| shear_lag_n_per_mm2(e, params.poisson, params.shear_radii))
            .collect();
        let bound = axial_n_per_mm(self.step_mm, &shear, params.screw_mpa * section_mm2);
        let middle = bound / params.axial_factor;
        let axial = Range { low: middle / params.axial_factor, middle, high: bound };
        let beds = [1.0 / params.lateral_factor, 1.0, params.lateral_factor];
        let mut heads = Vec::with_capacity(3);
        for factor in beds {
            heads.push(self.head(body.major_mm, bending, factor, params)?);
        }
        let lateral = heads.iter().map(|head| stiffness_of(head, params.head)).collect::<Vec<_>>();
        let at = vector(body.seat - centre);
        let axis = vector(body.direction.offset());
        let spring = |i: usize, axial_n_per_mm: f64| match params.head {
            Head::Free => Spring::screw(at, axis, axial_n_per_mm, lateral[i]),
            Head::Held => Spring::locked_screw(at, axis, axial_n_per_mm, heads[i].stiffness()),
        };
        let springs = [spring(0, axial.low), spring(1, axial.middle), spring(2, axial.high)];
        let inside: Vec<f64> = self.modulus_mpa.iter().copied().filter(|e| *e > 0.0).collect();
        let told = ScrewSpring {
            hole: body.hole,
            axial_n_per_mm: axial,
            lateral_n_per_mm: Range { low: lateral[0], middle: lateral[1], high: lateral[2] },
            mean_modulus_mpa: inside.iter().sum::<f64>() / inside.len().max(1) as f64,
            bending_arm_mm: match params.head {
                Head::Free => heads[1].moment_per_force,
                Head::Held => heads[1].moment_per_force_held,
            },
            core: CoreSection { diameter_mm: core, yield_mpa: params.yield_mpa },
            pullout_n: result.pullout.as_ref().map(|p| (p.estimate_n, p.low_n)),
        };
        Some(Anchor { told, springs, axis, at })
    }

    fn head(
        &self,
        width_mm: f64,
        bending_n_mm2: f64,
        factor: f64,
        params: &LoadParams,
    ) -> Option<HeadCompliance> {
        let foundation = self
            .modulus_mpa
            .iter()
            .map(|e| {
                if *e > 0.0 {
                    factor * vesic_n_per_mm2(*e, params.poisson, width_mm, bending_n_mm2)
                } else {
                    0.0
                }
            })
            .collect();
        Beam { step_mm: self.step_mm, foundation_n_per_mm2: foundation, bending_n_mm2 }
            .head_compliance()
    }
}

fn stiffness_of(head: &HeadCompliance, seat: Head) -> f64 {
    match seat {
        Head::Free => head.free_n_per_mm(),
        Head::Held => head.held_n_per_mm(),
    }
}

/// A screw's solid round core.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoreSection {
    /// Its diameter, mm.
    pub diameter_mm: f64,
    /// Yield strength of its metal, N/mm².
    pub yield_mpa: f64,
}

impl CoreSection {
    /// Moment at which its rim first yields, N mm: `σ π d³ / 32`.
    pub fn first_yield_n_mm(self) -> f64 {
        self.yield_mpa * std::f64::consts::PI * self.diameter_mm.powi(3) / 32.0
    }

    /// Moment at which all of it has yielded, N mm: `σ d³ / 6`.
    pub fn plastic_n_mm(self) -> f64 {
        self.yield_mpa * self.diameter_mm.powi(3) / 6.0
    }

    /// Pull at which it yields, N: `σ π d² / 4`.
    pub fn tension_n(self) -> f64 {
        self.yield_mpa * std::f64::consts::FRAC_PI_4 * self.diameter_mm.powi(2)
    }

    /// Cut at which it yields, N: the pull over √3 (von Mises), spread evenly
    /// over the section.
    pub fn shear_n(self) -> f64 {
        self.tension_n() / 3.0_f64.sqrt()
    }
}

/// Whether bone or cement that is counted lies on the axis there.
fn holds_at(result: &HoleResult, t: f64) -> bool {
    result.segments.iter().any(|segment| {
        let solid =
            matches!(segment.tissue, Tissue::Cortical | Tissue::Cancellous | Tissue::Cement);
        solid && segment.from_mm <= t && t < segment.to_mm
    })
}

fn ring_offsets(body: &ScrewBody, first: Offset, second: Offset) -> Vec<Offset> {
    let (u, v) = frame_about(body.direction, first, second);
    let radius = 0.5 * body.major_mm;
    let ring = (0..RING).map(|step| {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(step) / f64::from(RING)).sin_cos();
        u * (radius * cos) + v * (radius * sin)
    });
    std::iter::once(Offset::ZERO).chain(ring).collect()
}

/// Mean modulus over the ring, what lies outside the envelope counting as 0.
fn mean_modulus(scene: &Scene<'_>, at: PatientPoint, ring: &[Offset], params: &LoadParams) -> f64 {
    let sum: f64 = ring
        .iter()
        .map(|offset| {
            let place = at + *offset;
            let hu = scene.volume.sample_or_nan(place);
            if scene.depth_or_nan(place) > 0.0 && hu.is_finite() {
                params.modulus.modulus_mpa(hu)
            } else {
                0.0
            }
        })
        .sum();
    sum / ring.len() as f64
}

/// An offset as a vector.
pub(crate) fn vector(offset: Offset) -> Vector3<f64> {
    Vector3::from(offset.0)
}

/// A vector as an offset.
pub(crate) fn offset(vector: Vector3<f64>) -> Offset {
    Offset(vector.into())
}
