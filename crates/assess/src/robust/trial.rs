//! One hole, tried at displaced axes.

use std::f64::consts::{PI, TAU};

use pilothole_plan::{FarCortex, Policy, Screw};
use pilothole_volume::Offset;

use super::ends::{Ends, find_ends};
use super::reading::quick_thread_hu;
use crate::grade::{GradeInput, grade};
use crate::hole::{Edge, EdgeRule, Grade, HoleResult};
use crate::judge::JudgeParams;
use crate::length::tip_is_safe;
use crate::path::{Axis, engaged_cortices};
use crate::scene::Scene;

/// What a displaced screw meets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Outcome {
    /// The tip is where the policy wants it.
    pub(crate) keeps_margin: bool,
    /// The thread's outer circle stays in the bone.
    pub(crate) stays_inside: bool,
    /// Thread in bone, mm from the seat; empty when the end is not above the
    /// start.
    pub(crate) thread_mm: [f64; 2],
    /// The grade.
    pub(crate) grade: Grade,
}

impl Outcome {
    pub(crate) fn purchase_mm(&self) -> f64 {
        (self.thread_mm[1] - self.thread_mm[0]).max(0.0)
    }
}

/// As [`Outcome`], with the ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Met {
    pub(crate) bone: u8,
    pub(crate) ends_mm: [Option<f64>; 2],
    pub(crate) thread_mm: [f64; 2],
    pub(crate) safe: bool,
}

/// A hole as it is planned, and what its placements are held against.
///
/// The two ends of a displaced axis are those of the envelope, each moved by
/// as much as the planned axis's measured end lies from its envelope's; the
/// thread's HU likewise. So the planned placement gives the measured numbers.
#[derive(Clone, Debug)]
pub(crate) struct Trial<'a> {
    scene: &'a Scene<'a>,
    params: &'a JudgeParams,
    pub(crate) axis: Axis,
    pub(crate) length_mm: f64,
    policy: FarCortex,
    margin_mm: f64,
    diameters_mm: [f64; 2],
    thread_mm: (f64, f64),
    offsets_mm: [f64; 2],
    walls: [Edge; 2],
    hu_offset: f64,
    trust: Option<f64>,
    reach_mm: f64,
}

/// Points around the thread, every second one looked at only where the wall is
/// near.
const SPOKES: usize = 16;
/// Distance between planes of the thread's outer circle, mm. A bump of the
/// surface shorter than that may be missed.
const PLANE_STEP_MM: f64 = 1.0;
/// Distance between planes in which HU are read, mm.
const HU_STEP_MM: f64 = 2.0;

/// A measured path and the length a screw takes on it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Nominal {
    pub(crate) axis: Axis,
    pub(crate) near: Edge,
    pub(crate) far: Edge,
    pub(crate) length_mm: f64,
    /// Measured mean over the thread, HU, and trust; `None` where the grade is
    /// not asked for.
    pub(crate) thread_hu: Option<f64>,
    pub(crate) trust: Option<f64>,
}

impl Nominal {
    /// `None` when the hole has no recommended length, or its ends are not
    /// both known.
    pub(crate) fn of(hole: &HoleResult) -> Option<Self> {
        Some(Self {
            axis: Axis { seat: hole.seat, direction: hole.direction },
            near: hole.near?,
            far: hole.far?,
            length_mm: hole.length_mm?,
            thread_hu: hole.hu.map(|hu| hu.thread.mean),
            trust: hole.trust,
        })
    }
}

impl<'a> Trial<'a> {
    /// `None` when the envelope does not end on the path.
    pub(crate) fn new(
        scene: &'a Scene<'a>,
        policy: &Policy,
        screw: &Screw,
        nominal: &Nominal,
        params: &'a JudgeParams,
    ) -> Option<Self> {
        let Nominal { axis, near, far, length_mm, thread_hu, trust } = *nominal;
        let margin_mm = policy.margin_mm.value;
        let mut trial = Self {
            scene,
            params,
            axis,
            length_mm,
            policy: policy.far_cortex.value,
            margin_mm,
            diameters_mm: [screw.core_diameter_mm, screw.major_diameter_mm],
            thread_mm: screw.thread_mm(length_mm),
            offsets_mm: [0.0; 2],
            walls: [near, far],
            hu_offset: 0.0,
            trust,
            reach_mm: far.at_mm + params.path.reach_mm,
        };
        let planned = find_ends(scene, axis, trial.reach_mm)?;
        let leaves_mm = planned.leaves_mm.filter(|mm| mm.is_finite())?;
        let near_offset =
            if near.rule == EdgeRule::Seat { 0.0 } else { near.at_mm - planned.enters_mm };
        trial.offsets_mm = [near_offset, far.at_mm - leaves_mm];
        // An end further than this is as good as none.
        let wanted_mm = margin_mm.max(screw.major_diameter_mm);
        trial.reach_mm = length_mm + wanted_mm + trial.offsets_mm[1].abs() + 1.0;
        if let Some(measured) = thread_hu {
            let thread_mm = trial.thread_between(trial.placed(&planned));
            let read = trial.thread_hu(axis, thread_mm);
            trial.hu_offset = read.map_or(0.0, |read| measured - read);
        }
        Some(trial)
    }

    /// Outer radius of the thread, mm.
    fn radius_mm(&self) -> f64 {
        0.5 * self.diameters_mm[1]
    }

    /// Near and far end with the planned path's corrections, mm.
    fn placed(&self, ends: &Ends) -> [Option<f64>; 2] {
        let near =
            if ends.seat_in_bone { 0.0 } else { (ends.enters_mm + self.offsets_mm[0]).max(0.0) };
        [Some(near), ends.leaves_mm.map(|mm| (mm + self.offsets_mm[1]).max(near))]
    }

    fn thread_between(&self, ends: [Option<f64>; 2]) -> [f64; 2] {
        let (from, to) = self.thread_mm;
        let near = ends[0].unwrap_or(f64::INFINITY);
        [from.max(near), to.min(ends[1].unwrap_or(f64::INFINITY))]
    }

    /// What the screw meets at an axis.
    pub(crate) fn at(&self, axis: Axis) -> Outcome {
        let none = Outcome {
            keeps_margin: false,
            stays_inside: false,
            thread_mm: [0.0; 2],
            grade: Grade::None,
        };
        let Some(found) = find_ends(self.scene, axis, self.reach_mm) else { return none };
        let ends = self.placed(&found);
        let thread_mm = self.thread_between(ends);
        let (keeps_margin, stays_inside) =
            (self.tip_is_safe(ends), self.stays_inside(axis, found.bone, ends));
        let grade = self.grade(axis, ends, thread_mm, stays_inside);
        Outcome { keeps_margin, stays_inside, thread_mm, grade }
    }

    /// Bone, near and far end, thread in bone, and whether tip and side wall
    /// are both kept; without the grade.
    pub(crate) fn met(&self, axis: Axis) -> Option<Met> {
        let found = find_ends(self.scene, axis, self.reach_mm)?;
        let ends = self.placed(&found);
        let safe = self.tip_is_safe(ends) && self.stays_inside(axis, found.bone, ends);
        Some(Met { bone: found.bone, ends_mm: ends, thread_mm: self.thread_between(ends), safe })
    }

    /// Whether tip and side wall are both kept.
    pub(crate) fn holds(&self, axis: Axis) -> bool {
        find_ends(self.scene, axis, self.reach_mm).is_some_and(|found| {
            let ends = self.placed(&found);
            self.tip_is_safe(ends) && self.stays_inside(axis, found.bone, ends)
        })
    }

    fn tip_is_safe(&self, [_, far]: [Option<f64>; 2]) -> bool {
        far.is_some_and(|far_mm| tip_is_safe(self.length_mm, far_mm, self.policy, self.margin_mm))
    }

    /// Whether the thread's outer circle lies in the bone in every plane from
    /// one diameter after the near end to the tip, or to one diameter before
    /// the far end if that comes first.
    fn stays_inside(&self, axis: Axis, bone: u8, [near, far]: [Option<f64>; 2]) -> bool {
        let (Some(near_mm), Some(far_mm)) = (near, far) else { return false };
        let diameter_mm = self.diameters_mm[1];
        let from_mm = near_mm + diameter_mm;
        let to_mm = self.length_mm.min(far_mm - diameter_mm);
        if from_mm > to_mm {
            return true;
        }
        let circle = Circle::new(self.scene, axis, bone, self.radius_mm());
        let count = ((to_mm - from_mm) / PLANE_STEP_MM).ceil().max(1.0) as usize;
        // From the tip back: a displaced screw strays furthest there.
        (0..=count)
            .rev()
            .all(|i| circle.lies_inside(from_mm + (to_mm - from_mm) * i as f64 / count as f64))
    }

    fn grade(
        &self,
        axis: Axis,
        [near, far]: [Option<f64>; 2],
        thread_mm: [f64; 2],
        stays_inside: bool,
    ) -> Grade {
        let wall = |at_mm: Option<f64>, planned: Edge| {
            at_mm.filter(|mm| mm.is_finite()).map(|at_mm| Edge { at_mm, ..planned })
        };
        let near_wall = wall(near, self.walls[0]);
        let far_wall = wall(far, self.walls[1]);
        let input = GradeInput {
            meets_bone: true,
            leaves_scan: far.is_none(),
            no_length: false,
            trust: self.trust,
            purchase_mm: (thread_mm[1] - thread_mm[0]).max(0.0),
            thread_hu: self.thread_hu(axis, thread_mm).map(|hu| hu + self.hu_offset),
            cortices: engaged_cortices(near_wall, far_wall, thread_mm[0], thread_mm[1]),
            side_wall_mm: (!stays_inside).then_some(-1.0),
        };
        grade(&input, &self.params.grade).0
    }

    fn thread_hu(&self, axis: Axis, thread_mm: [f64; 2]) -> Option<f64> {
        quick_thread_hu(self.scene, axis, thread_mm, self.diameters_mm, HU_STEP_MM)
    }
}

/// The thread's outer circle, at any position along an axis.
struct Circle<'a> {
    scene: &'a Scene<'a>,
    axis: Axis,
    bone: u8,
    out: [Offset; SPOKES],
    apart_mm: f64,
}

impl<'a> Circle<'a> {
    /// The corners of the polygon that stands for the circle lie a little
    /// outside it, so that over all directions of a wall its reach is the
    /// circle's: 0.6 % outside at a corner, 1.3 % inside between two.
    fn new(scene: &'a Scene<'a>, axis: Axis, bone: u8, radius_mm: f64) -> Self {
        let (u, v) = axis.direction.across();
        let half = PI / SPOKES as f64;
        let corner_mm = radius_mm * half / half.sin();
        let out = std::array::from_fn(|spoke| {
            let angle = TAU * spoke as f64 / SPOKES as f64;
            u * (corner_mm * angle.cos()) + v * (corner_mm * angle.sin())
        });
        Self { scene, axis, bone, out, apart_mm: 2.0 * corner_mm * half.sin() }
    }

    /// Every second corner is looked at; its neighbours only where it is not
    /// deeper than they are far, so a deep circle costs half.
    fn lies_inside(&self, at_mm: f64) -> bool {
        let centre = self.axis.at(at_mm);
        let depth =
            |spoke: usize| self.scene.depth_in_or_nan(self.bone, centre + self.out[spoke % SPOKES]);
        for spoke in (0..SPOKES).step_by(2) {
            let here = depth(spoke);
            // Past the region nothing is known; it says nothing.
            if here <= 0.0 {
                return false;
            }
            let near = here < 1.2 * self.apart_mm;
            if near && (depth(spoke + 1) <= 0.0 || depth(spoke + SPOKES - 1) <= 0.0) {
                return false;
            }
        }
        true
    }
}
