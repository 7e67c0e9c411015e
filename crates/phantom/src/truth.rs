//! What a screw meets in a scene, in closed form.

mod side;

use pilothole_plan::{FarCortex, Hole, Plan, Screw};
use pilothole_volume::{Grid, PatientPoint};
use rayon::prelude::*;
use serde::Serialize;

use crate::scene::{Scene, Stretch};

/// The answers to a phantom; written as `truth.json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// Version of these fields.
    pub schema: &'static str,
    /// What the phantom is called.
    pub name: String,
    /// The numbers that were varied, in the order of the recipe.
    pub varied: Vec<Varied>,
    /// One entry a hole, in the plan's order.
    pub holes: Vec<HoleTruth>,
}

/// A number that was varied, and its value here.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Varied {
    /// The recipe's field.
    pub field: String,
    /// Its value.
    pub value: f64,
}

/// What one screw meets. Positions are mm from the seat along the direction.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HoleTruth {
    /// The hole's id.
    pub id: String,
    /// First entry into bone; 0 where the seat lies in it. Null without bone.
    pub near_cortex_mm: Option<f64>,
    /// First exit from bone; null without bone or beyond the scan's end.
    pub far_cortex_mm: Option<f64>,
    /// Length between the two.
    pub bone_depth_mm: Option<f64>,
    /// The stocked length that the plan's policy asks for.
    pub length_mm: Option<f64>,
    /// How far the far cortex is from changing that length.
    pub length_room_mm: Option<f64>,
    /// Thread inside bone at that length.
    pub purchase_mm: f64,
    /// Thread inside bone at the planned length, where there is one.
    pub planned_purchase_mm: Option<f64>,
    /// Materials from the seat to the far cortex, or to the scan's end.
    pub segments: Vec<Segment>,
    /// Cortical length at the near cortex, along the path.
    pub near_cortex_thickness_mm: Option<f64>,
    /// Cortical length at the far cortex, along the path.
    pub far_cortex_thickness_mm: Option<f64>,
    /// Mean HU of the axis over the purchase.
    pub axis_hu: Option<f64>,
    /// Mean HU of the core cylinder over the purchase.
    pub core_hu: Option<f64>,
    /// Mean HU of the thread's annulus over the purchase.
    pub thread_hu: Option<f64>,
    /// Least distance of a material boundary from the purchase's cylinder
    /// (outer diameter, both ends); negative where one crosses it.
    pub clearance_mm: Option<f64>,
    /// Least bone beside the screw's surface, in planes across the axis; walls
    /// farther than 30 mm from the axis are not looked for.
    pub side_wall_mm: Option<f64>,
    /// Whether the path leaves the scan before the far cortex.
    pub leaves_scan: bool,
    /// Whether the path goes from one bone into another without a gap.
    pub crosses_joint: bool,
    /// From the far cortex to the next bone on the line, where there is one
    /// within the reach.
    pub gap_to_next_bone_mm: Option<f64>,
}

/// A stretch of one material.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Segment {
    /// Its beginning.
    pub from_mm: f64,
    /// Its end.
    pub to_mm: f64,
    /// Material.
    pub tissue: &'static str,
    /// Hounsfield units.
    pub hu: f64,
}

/// How far along a path is looked, mm.
const REACH_MM: f64 = 250.0;

impl Truth {
    /// Version of the fields.
    pub const SCHEMA: &'static str = "pilothole/truth/1";

    /// Answer every hole of a plan.
    ///
    /// # Accuracy
    ///
    /// Path positions, lengths, segments and the axis' mean are exact. The
    /// cylinders' means take exact rays on 12 rings of 24; the side wall takes
    /// exact rays every 2.5° and 0.5 mm, and never shows less room than there
    /// is by more than the bone's curvature over such a step.
    pub fn of(scene: &Scene, plan: &Plan, grid: &Grid, name: &str) -> Self {
        let holes = plan.holes.par_iter().map(|hole| hole_truth(scene, plan, hole, grid)).collect();
        Self { schema: Self::SCHEMA, name: name.to_owned(), varied: Vec::new(), holes }
    }

    /// The answers as indented JSON.
    pub fn to_json(&self) -> String {
        // A struct of numbers and text always serialises.
        serde_json::to_string_pretty(self).unwrap_or_default()
    }
}

fn hole_truth(scene: &Scene, plan: &Plan, hole: &Hole, grid: &Grid) -> HoleTruth {
    let screw = plan.screw_of(hole);
    let end = scan_end_mm(grid, hole).unwrap_or(0.0);
    let bone = scene.bone_along(hole.seat, hole.direction, REACH_MM);
    let first = bone.first().copied().filter(|(from, _)| *from < end);
    let far = first.map(|(_, to)| to).filter(|to| *to <= end);
    let leaves_scan = first.is_some() && far.is_none();
    let near = first.map(|(from, _)| from);
    let length = far.and_then(|far| recommended_mm(plan, screw, far));
    let span = |length: f64| thread_in_bone(screw, length, near, far);
    let purchase = length.and_then(span);
    let reach = far.unwrap_or(end.min(REACH_MM));
    let stretches = scene.stretches(hole.seat, hole.direction, reach);
    let bones = stretches.iter().filter(|s| s.tissue.in_bone()).map(|s| s.bone);
    let mut bones: Vec<u8> = bones.collect();
    bones.dedup();
    let cylinder = |inner: f64, outer: f64| {
        purchase.map(|span| mean_hu(scene, hole, span, (inner / 2.0, outer / 2.0)))
    };
    let tip = length.or(hole.length_mm);
    HoleTruth {
        id: hole.id.clone(),
        near_cortex_mm: near,
        far_cortex_mm: far,
        bone_depth_mm: near.zip(far).map(|(near, far)| far - near),
        length_mm: length,
        length_room_mm: far.and_then(|far| room_mm(plan, screw, far)),
        purchase_mm: purchase.map_or(0.0, |(from, to)| to - from),
        planned_purchase_mm: hole.length_mm.map(|l| span(l).map_or(0.0, |(from, to)| to - from)),
        near_cortex_thickness_mm: cortex_mm(stretches.iter().skip_while(|s| !s.tissue.in_bone())),
        far_cortex_thickness_mm: far.and_then(|_| cortex_mm(stretches.iter().rev())),
        segments: stretches.iter().map(segment).collect(),
        axis_hu: purchase.map(|span| axis_hu(scene, hole.seat, hole, span)),
        core_hu: cylinder(0.0, screw.core_diameter_mm),
        thread_hu: cylinder(screw.core_diameter_mm, screw.major_diameter_mm),
        clearance_mm: purchase.map(|span| clearance_mm(scene, hole, screw, span)),
        side_wall_mm: near.zip(far).zip(tip).and_then(|((near, far), tip)| {
            side::side_wall_mm(scene, hole, screw.major_diameter_mm, (near, tip.min(far), far))
        }),
        leaves_scan,
        crosses_joint: bones.len() > 1,
        gap_to_next_bone_mm: far.and_then(|far| bone.get(1).map(|(from, _)| from - far)),
    }
}

fn segment(s: &Stretch) -> Segment {
    Segment { from_mm: s.from_mm, to_mm: s.to_mm, tissue: s.tissue.word(), hu: s.hu }
}

/// Cortical length at the first of some stretches.
fn cortex_mm<'a>(stretches: impl Iterator<Item = &'a Stretch>) -> Option<f64> {
    let cortical = |s: &&Stretch| s.tissue == crate::scene::Tissue::Cortical;
    let sum: f64 = stretches.take_while(cortical).map(|s| s.to_mm - s.from_mm).sum();
    (sum > 0.0).then_some(sum)
}

/// Where a path leaves the box of voxel centres; `None` when it begins outside.
fn scan_end_mm(grid: &Grid, hole: &Hole) -> Option<f64> {
    let held = |t: f64| grid.holds(grid.voxel_from_patient(hole.seat + hole.direction * t));
    if !held(0.0) {
        return None;
    }
    let (mut inside, mut outside) = (0.0, 2.0 * REACH_MM);
    if held(outside) {
        return Some(f64::INFINITY);
    }
    for _ in 0..60 {
        let middle = 0.5 * (inside + outside);
        if held(middle) { inside = middle } else { outside = middle }
    }
    Some(inside)
}

/// The stocked length that the policy asks for when bone ends at `far`, mm.
fn recommended_mm(plan: &Plan, screw: &Screw, far: f64) -> Option<f64> {
    let margin = plan.policy.margin_mm.value;
    let mut stocked = screw.stocked_lengths_mm.iter().copied();
    match plan.policy.far_cortex.value {
        FarCortex::StopShort => stocked.rfind(|l| *l <= far - margin),
        FarCortex::Engage => stocked.find(|l| *l > far).filter(|l| *l <= far + margin),
    }
}

/// Distance of `far` from the nearest place where the answer changes, mm.
fn room_mm(plan: &Plan, screw: &Screw, far: f64) -> Option<f64> {
    let margin = plan.policy.margin_mm.value;
    let turns = screw.stocked_lengths_mm.iter().flat_map(|l| match plan.policy.far_cortex.value {
        FarCortex::StopShort => [l + margin, l + margin],
        FarCortex::Engage => [*l, l - margin],
    });
    turns.map(|t| (far - t).abs()).reduce(f64::min)
}

/// The thread's part inside bone at a length.
fn thread_in_bone(
    screw: &Screw,
    length_mm: f64,
    near: Option<f64>,
    far: Option<f64>,
) -> Option<(f64, f64)> {
    let (start, end) = screw.thread_mm(length_mm);
    let (from, to) = (near?.max(start), far?.min(end));
    (to > from).then_some((from, to))
}

/// Mean HU of a line parallel to a hole's axis, exact.
fn axis_hu(scene: &Scene, from: PatientPoint, hole: &Hole, (start, end): (f64, f64)) -> f64 {
    let begin = from + hole.direction * start;
    let stretches = scene.stretches(begin, hole.direction, end - start);
    stretches.iter().map(|s| s.hu * (s.to_mm - s.from_mm)).sum::<f64>() / (end - start)
}

/// Mean HU of an annulus about a hole's axis, weighted by volume.
fn mean_hu(scene: &Scene, hole: &Hole, span: (f64, f64), (inner, outer): (f64, f64)) -> f64 {
    const RINGS: u32 = 12;
    const AROUND: u32 = 24;
    let middle = hole.seat + hole.direction * (0.5 * (span.0 + span.1));
    let scene = &scene.around(middle, 0.5 * (span.1 - span.0) + outer + 0.1);
    let (u, v) = hole.direction.across();
    let mut sum = 0.0;
    for ring in 0..RINGS {
        // Rings of equal area, each read at the radius that halves its area.
        let share = (f64::from(ring) + 0.5) / f64::from(RINGS);
        let radius = (inner * inner + share * (outer * outer - inner * inner)).sqrt();
        for step in 0..AROUND {
            let turn = (f64::from(step) + 0.5 * f64::from(ring % 2)) / f64::from(AROUND);
            let (sin, cos) = (std::f64::consts::TAU * turn).sin_cos();
            let from = hole.seat + u * (radius * cos) + v * (radius * sin);
            sum += axis_hu(scene, from, hole, span);
        }
    }
    sum / f64::from(RINGS * AROUND)
}

/// Least distance of a boundary from the purchase's cylinder, a lower bound.
fn clearance_mm(scene: &Scene, hole: &Hole, screw: &Screw, (from, to): (f64, f64)) -> f64 {
    let radius = screw.major_diameter_mm / 2.0;
    // A point of the cylinder is within `radius` of the axis, and a point of
    // the axis within half a step of a sampled one.
    let steps = ((to - from) / 0.1).ceil().max(1.0);
    let half_step = 0.5 * (to - from) / steps;
    (0..=steps as usize)
        .map(|i| {
            let t = from + (to - from) * (i as f64 / steps);
            scene.clearance_mm(hole.seat + hole.direction * t)
        })
        .fold(f64::INFINITY, f64::min)
        - radius
        - half_step
}
