//! What shears when a screw is pulled: the bone at the thread's outer radius.

use std::f64::consts::TAU;

use crate::hole::{Segment, Tissue};
use crate::path::Axis;
use crate::scene::Scene;

/// A stretch of thread in a bone.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Held<'a> {
    pub(crate) axis: Axis,
    pub(crate) bone: u8,
    /// Thread in bone, mm from the seat; empty when it ends before it begins.
    pub(crate) thread_mm: [f64; 2],
    /// What the axis runs through.
    pub(crate) segments: &'a [Segment],
    /// Outer radius of the thread, mm.
    pub(crate) radius_mm: f64,
}

/// A slice of the thread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Slice {
    /// Engaged length: the slice's own times the share of the thread's outer
    /// circle that lies in the bone, mm.
    pub(crate) engaged_mm: f64,
    /// Length, mm.
    pub(crate) length_mm: f64,
    /// Mean over the part of the circle in bone, HU.
    pub(crate) hu: f64,
    /// Whether it lies in a cortex.
    pub(crate) cortical: bool,
}

/// How finely a thread is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reading {
    /// Longest slice, mm.
    slice_mm: f64,
    /// Points around the circle, a divisor of [`SPOKES`]; in every second slice
    /// they stand elsewhere.
    points: usize,
}

impl Reading {
    /// Slices of about a voxel; points 30° apart, 1.7 mm on the widest thread.
    pub(crate) const FULL: Self = Self { slice_mm: 0.8, points: 12 };
    /// A sixth of the looks, for comparing many placements of one screw.
    pub(crate) const QUICK: Self = Self { slice_mm: 2.4, points: 6 };
}

/// Places around the circle, 15° apart.
const SPOKES: usize = 24;

impl Held<'_> {
    /// The thread in slices; those in metal, cement or a void hold nothing.
    pub(crate) fn slices(&self, scene: &Scene<'_>, reading: Reading) -> Vec<Slice> {
        let [from_mm, to_mm] = self.thread_mm;
        let length_mm = to_mm - from_mm;
        if length_mm.is_nan() || length_mm <= 0.0 {
            return Vec::new();
        }
        let count = (length_mm / reading.slice_mm).ceil() as usize;
        let step_mm = length_mm / count as f64;
        let (u, v) = self.axis.direction.across();
        let out: [_; SPOKES] = std::array::from_fn(|spoke| {
            let angle = TAU * spoke as f64 / SPOKES as f64;
            u * (self.radius_mm * angle.cos()) + v * (self.radius_mm * angle.sin())
        });
        let mut next = self.segments.iter().peekable();
        let mut slices = Vec::with_capacity(count);
        for index in 0..count {
            let at_mm = from_mm + (index as f64 + 0.5) * step_mm;
            while next.next_if(|s| s.to_mm <= at_mm).is_some() {}
            let cortical = match next.peek().map(|s| s.tissue) {
                Some(Tissue::Void | Tissue::Cement | Tissue::Metal) => continue,
                Some(Tissue::Cortical) => true,
                _ => false,
            };
            let centre = self.axis.at(at_mm);
            let inside = out
                .iter()
                .skip(index % 2)
                .step_by(SPOKES / reading.points)
                .map(|side| centre + *side)
                .filter(|at| scene.depth_in_or_nan(self.bone, *at) > 0.0);
            let (mut count, mut read, mut sum) = (0, 0, 0.0);
            for hu in inside.map(|at| scene.volume.sample_or_nan(at)) {
                count += 1;
                if !hu.is_nan() {
                    sum += hu;
                    read += 1;
                }
            }
            if read > 0 {
                let engaged_mm = step_mm * f64::from(count) / reading.points as f64;
                let hu = sum / f64::from(read);
                slices.push(Slice { engaged_mm, length_mm: step_mm, hu, cortical });
            }
        }
        slices
    }
}
