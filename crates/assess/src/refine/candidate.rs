//! What a hole is worth at one place.

use std::sync::atomic::{AtomicBool, Ordering};

use pilothole_plan::{Plan, Screw};

use super::params::{Corridors, RefineParams};
use super::place::{Place, Reach};
use super::types::Objectives;
use crate::hole::{Edge, Segment, Tissue};
use crate::length::recommend_length;
use crate::path::{self, Axis};
use crate::robust::{Nominal, Points, Trial, displaced, normals, quantile};
use crate::scene::Scene;
use crate::strength::{Held, Reading, estimate_n};

/// A place that holds a screw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Tried {
    pub(crate) place: Place,
    pub(crate) axis: Axis,
    pub(crate) objectives: Objectives,
}

/// What a look at a place answers.
pub(crate) enum Look {
    /// A screw holds there.
    Holds(Tried),
    /// None holds, or it lies off the patch.
    Nothing,
    /// No drill gets there.
    Blocked,
}

/// One hole, and what its places are judged with.
pub(crate) struct Bench<'a> {
    pub(crate) scene: &'a Scene<'a>,
    pub(crate) plan: &'a Plan,
    pub(crate) hole: usize,
    pub(crate) screw: &'a Screw,
    pub(crate) reach: Reach,
    pub(crate) params: &'a RefineParams,
    pub(crate) corridors: &'a dyn Corridors,
    pub(crate) stop: &'a AtomicBool,
    pub(crate) points: Points,
}

impl Bench<'_> {
    pub(crate) fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// Whether a drill gets there.
    pub(crate) fn is_open(&self, axis: Axis) -> bool {
        self.corridors.reaches(self.hole, axis.seat, axis.direction)
    }

    /// Look at a place.
    pub(crate) fn look(&self, place: Place) -> Look {
        let Some(axis) = self.reach.axis(place) else { return Look::Nothing };
        if !self.is_open(axis) {
            return Look::Blocked;
        }
        match self.objectives(axis) {
            Some(objectives) => Look::Holds(Tried { place, axis, objectives }),
            None => Look::Nothing,
        }
    }

    pub(crate) fn objectives(&self, axis: Axis) -> Option<Objectives> {
        let (scene, params) = (self.scene, self.params);
        let judge = &params.robust.judge;
        let path = path::measure_bone(scene, axis, &judge.path);
        let (near, far) = (path.near?, path.far?);
        let policy = &self.plan.policy;
        let length_mm = recommend_length(
            &self.screw.stocked_lengths_mm,
            far.at_mm,
            policy.far_cortex.value,
            policy.margin_mm.value,
        )?;
        let (thread_from, thread_to) = self.screw.thread_mm(length_mm);
        let thread_mm = [thread_from.max(near.at_mm), thread_to.min(far.at_mm)];
        if thread_mm[1] <= thread_mm[0] {
            return None;
        }
        let held = Held {
            axis,
            bone: path.crossing.bone,
            thread_mm,
            segments: &path.segments,
            radius_mm: 0.5 * self.screw.major_diameter_mm,
        };
        let pullout_n = self.estimate(&held, Reading::FULL);
        let quick_n = self.estimate(&held, Reading::QUICK);
        let scale = if quick_n > 0.0 { pullout_n / quick_n } else { 0.0 };
        let nominal = Nominal { axis, near, far, length_mm, thread_hu: None, trust: None };
        let trial = Trial::new(scene, policy, self.screw, &nominal, judge)?;
        let (mut strengths, safe) = self.placed(&trial, [near, far], scale);
        strengths.sort_by(f64::total_cmp);
        let count = strengths.len().max(1) as f64;
        let (low_n, keeps) = (quantile(&strengths, params.low_quantile), safe as f64 / count);
        let end_n = pullout_n / (thread_mm[1] - thread_mm[0]) * params.strength.edge_sd_mm;
        let noise_n = noise_n(&strengths, params.low_quantile, keeps, end_n);
        let purchase_mm = thread_mm[1] - thread_mm[0];
        Some(Objectives { length_mm, purchase_mm, pullout_n, low_n, keeps, noise_n })
    }

    fn estimate(&self, held: &Held<'_>, reading: Reading) -> f64 {
        estimate_n(self.scene, self.screw, held, reading, &self.params.strength)
    }

    /// Strength at every placement, N, and how many are safe.
    ///
    /// Strength is read quickly and scaled so that the planned placement has
    /// its full reading; the cortices keep their planned thickness.
    fn placed(&self, trial: &Trial<'_>, edges: [Edge; 2], scale: f64) -> (Vec<f64>, usize) {
        let robust = &self.params.robust;
        let walls = edges.map(|edge| edge.cortex_mm.unwrap_or(0.0));
        let mut safe = 0;
        let strengths = (0..self.params.placements.max(1))
            .map(|sample| {
                let z = normals::<4>(&self.points, sample as u32);
                let shift_mm = [z[0], z[1]].map(|z| z * robust.entry_sd_mm);
                let turn_rad = [z[2], z[3]].map(|z| z * robust.angle_sd_rad);
                let axis = displaced(trial.axis, shift_mm, turn_rad);
                let Some(met) = trial.met(axis) else { return 0.0 };
                safe += usize::from(met.safe);
                let segments = tissues(met.ends_mm, walls);
                let held = Held {
                    axis,
                    bone: met.bone,
                    thread_mm: met.thread_mm,
                    segments: &segments,
                    radius_mm: 0.5 * self.screw.major_diameter_mm,
                };
                scale * self.estimate(&held, Reading::QUICK)
            })
            .collect();
        (strengths, safe)
    }
}

/// Walls of given thickness at both ends, cancellous bone between.
fn tissues([near, far]: [Option<f64>; 2], walls_mm: [f64; 2]) -> [Segment; 3] {
    let near_mm = near.unwrap_or(0.0);
    let far_mm = far.unwrap_or(f64::INFINITY);
    let inner = [near_mm + walls_mm[0], (far_mm - walls_mm[1]).max(near_mm + walls_mm[0])];
    let piece = |from_mm: f64, to_mm: f64, tissue: Tissue| Segment { from_mm, to_mm, tissue };
    [
        piece(near_mm, inner[0], Tissue::Cortical),
        piece(inner[0], inner[1], Tissue::Cancellous),
        piece(inner[1], far_mm, Tissue::Cortical),
    ]
}

/// Standard deviation of `low * keeps`: an end of the bone, the quantile and
/// the share, each from as many placements as there are.
fn noise_n(sorted: &[f64], low: f64, keeps: f64, end_n: f64) -> f64 {
    let count = sorted.len().max(1) as f64;
    let step = (low * (1.0 - low) / count).sqrt();
    let around = [low - step, low + step].map(|q| quantile(sorted, q.clamp(0.0, 1.0)));
    let of_quantile = 0.5 * (around[1] - around[0]) * keeps;
    let of_share = quantile(sorted, low) * (keeps * (1.0 - keeps) / count).sqrt();
    let of_end = end_n * keeps;
    (of_quantile.powi(2) + of_share.powi(2) + of_end.powi(2)).sqrt()
}
