//! The sphere through the middle of a hip's joint space, fitted to what marks a
//! joint along rays from its centre.

use std::ops::RangeInclusive;

use pilothole_volume::{Direction, Offset, PatientPoint};
use rayon::prelude::*;

use crate::joint::{BONY_HU, read};
use crate::middle::middle_near;
use crate::params::HipHint;
use crate::patch::{Patch, box_of};

/// How far the middle of the joint may lie from where it was said to be, mm: a
/// planned socket is seldom further from the old one.
const HINT_REACH_MM: f64 = 12.0;
/// How far the sphere's centre may move from that middle, mm.
const CENTRE_REACH_MM: f64 = 6.0;
/// How far beside a hint another might have been given, mm.
const BESIDE_MM: f64 = 4.0;
/// Radii from which the fit starts, mm.
const START_RADII_MM: RangeInclusive<i32> = 19..=31;
/// Spacing of the centres from which the fit starts, mm.
const START_MM: f64 = 2.5;
/// Rays that one task reads: about 50 µs.
const RAYS_A_TASK: usize = 100;
/// Usual radius of the joint, mm, and its spread; adult heads are 20 to 28.
const USUAL_RADIUS_MM: f64 = 25.5;
/// Farthest places that a joint's evidence asks inside and outside its radius,
/// mm.
const INNERMOST_MM: i32 = 4;
const OUTERMOST_MM: i32 = 15;

/// The sphere found from where the edges of bone face, or from where the joint
/// was said to be where too few do or metal is near, whose streaks make edges of
/// their own.
pub(crate) fn fit_sphere(
    patch: &Patch<'_>,
    hint: &HipHint,
    metal: bool,
    rays: &[Direction],
) -> (PatientPoint, f64) {
    let usual_mm = hint.radius_mm.unwrap_or(USUAL_RADIUS_MM);
    let near = |middle: &PatientPoint| middle.distance_mm(hint.centre) <= HINT_REACH_MM;
    let middle = || middle_near(patch, hint.centre).filter(near).unwrap_or(hint.centre);
    let start = if metal { hint.centre } else { middle() };
    sphere_from(patch, start, usual_mm, rays)
}

/// How far from `centre` the sphere's centre comes when the hint moves by
/// [`BESIDE_MM`] along each axis, mm.
pub(crate) fn apart_mm(
    patch: &Patch<'_>,
    hint: &HipHint,
    centre: PatientPoint,
    rays: &[Direction],
) -> f64 {
    let moved = |face: usize| {
        let mut by = [0.0; 3];
        by[face / 2] = if face.is_multiple_of(2) { -BESIDE_MM } else { BESIDE_MM };
        let usual_mm = hint.radius_mm.unwrap_or(USUAL_RADIUS_MM);
        sphere_from(patch, hint.centre + Offset(by), usual_mm, rays).0.distance_mm(centre)
    };
    (0..6).into_par_iter().map(moved).reduce(|| 0.0, f64::max)
}

fn sphere_from(
    patch: &Patch<'_>,
    start: PatientPoint,
    usual_mm: f64,
    rays: &[Direction],
) -> (PatientPoint, f64) {
    let prior = |centre: PatientPoint, radius_mm: f64| {
        let moved = (centre - start).length_mm();
        1.5 * moved * moved + (radius_mm - usual_mm).powi(2)
    };
    let few: Vec<Direction> = rays.iter().copied().step_by(4).collect();
    let starts: Vec<PatientPoint> =
        box_of([1; 3]).map(|by| start + Offset(by.map(|b| b as f64 * START_MM))).collect();
    let looks: Vec<Vec<f64>> =
        starts.par_iter().map(|centre| evidence_by_radius(patch, *centre, &few)).collect();
    let mut best = (f64::NEG_INFINITY, start, usual_mm);
    for (centre, evidence) in starts.into_iter().zip(looks) {
        for (radius_mm, evidence) in START_RADII_MM.map(f64::from).zip(evidence) {
            let value = evidence - prior(centre, radius_mm);
            if value > best.0 {
                best = (value, centre, radius_mm);
            }
        }
    }
    let score = |centre, radius_mm| {
        joint_evidence(patch, centre, radius_mm, rays) - prior(centre, radius_mm)
    };
    best.0 = score(best.1, best.2);
    let mut step_mm = 2.0;
    while step_mm > 0.2 {
        let mut moved = false;
        for axis in 0..4 {
            for sign in [-1.0, 1.0] {
                let (mut centre, mut radius_mm) = (best.1, best.2);
                match centre.0.get_mut(axis) {
                    Some(coordinate) => *coordinate += sign * step_mm,
                    None => radius_mm += sign * step_mm,
                }
                if centre.distance_mm(start) > CENTRE_REACH_MM {
                    continue;
                }
                let value = score(centre, radius_mm);
                if value > best.0 {
                    best = (value, centre, radius_mm);
                    moved = true;
                }
            }
        }
        if !moved {
            step_mm *= 0.5;
        }
    }
    (best.1, best.2)
}

/// Mean over the rays of what marks a joint at this radius, HU. The rise to the
/// socket counts least: a head's own shell rises over its marrow too.
fn joint_evidence(
    patch: &Patch<'_>,
    centre: PatientPoint,
    radius_mm: f64,
    rays: &[Direction],
) -> f64 {
    let at_ray = |ray: &Direction| ray_evidence(|mm| read(patch, centre, *ray, radius_mm + mm));
    let by_ray: Vec<f32> = rays.par_iter().with_min_len(RAYS_A_TASK).map(at_ray).collect();
    mean(by_ray.into_iter())
}

/// The same for each radius from which a fit starts: whole millimetres, so that
/// they share what is read along a ray.
fn evidence_by_radius(patch: &Patch<'_>, centre: PatientPoint, rays: &[Direction]) -> Vec<f64> {
    let profile = |ray: &Direction| {
        let places = START_RADII_MM.start() - INNERMOST_MM..=START_RADII_MM.end() + OUTERMOST_MM;
        places.map(|mm| read(patch, centre, *ray, f64::from(mm))).collect()
    };
    let profiles: Vec<Vec<f32>> = rays.iter().map(profile).collect();
    let at_radius = |radius_mm: i32| {
        let by_ray = profiles.iter().map(|profile| {
            let first = radius_mm - START_RADII_MM.start() + INNERMOST_MM;
            ray_evidence(|mm| profile[(first + mm as i32) as usize])
        });
        mean(by_ray)
    };
    START_RADII_MM.map(at_radius).collect()
}

/// What marks a joint along a ray, HU.
///
/// - `at`: HU so many whole millimetres beyond the radius.
fn ray_evidence(at: impl Fn(f64) -> f32) -> f32 {
    let peak = |offsets: [f64; 4]| offsets.map(&at).into_iter().fold(-100.0, f32::max);
    let inner = peak([-4.0, -3.0, -2.0, -1.0]);
    let outer = peak([1.0, 2.0, 3.0, 4.0]);
    let joint = at(0.0);
    let rise = (outer - inner).min(outer - joint).clamp(0.0, 120.0);
    let mut drop = (inner - outer.max(joint)).clamp(0.0, 200.0);
    // Beyond a head's free side lies soft tissue; beyond a socket's plate
    // marrow, and then bone again.
    if drop > 0.0 && outer.max(peak([6.0, 9.0, 12.0, 15.0])) > BONY_HU {
        drop = 0.0;
    }
    let valley = (inner.min(outer) - joint).clamp(0.0, 200.0);
    rise + 0.7 * drop + 1.5 * valley
}

fn mean(values: impl ExactSizeIterator<Item = f32>) -> f64 {
    let count = values.len().max(1) as f64;
    values.map(f64::from).sum::<f64>() / count
}
