//! A drill's body behind a seat, and what it meets on its way out.

use pilothole_plan::Plan;
use pilothole_volume::{Direction, Offset, PatientPoint, nearest_voxel};

use super::convex::frame_about;
use super::params::{AccessParams, Part};
use super::triangle::segment_to_triangle;
use super::types::{Block, Obstacle};
use crate::hole::HoleResult;
use crate::scene::Scene;

/// What every drill of a plan is held against.
#[derive(Clone, Debug)]
pub(crate) struct Surroundings<'a> {
    /// The scan.
    pub scene: &'a Scene<'a>,
    /// The component, where known.
    pub part: Option<&'a Part>,
    /// For each of its triangles a ball that holds it: centre, radius (mm).
    balls: Vec<(PatientPoint, f64)>,
    /// Bones that block, by label, rising: see [`bones_that_block`].
    pub bones: Vec<u8>,
    /// Out of the wound, and half-angle of its cone, rad.
    pub wound: Option<(Direction, f64)>,
    /// Length of the drill behind its tip, mm.
    pub length_mm: f64,
    /// Radius of the drill's body, mm.
    pub radius_mm: f64,
    /// Direction that places azimuths where there is no wound.
    pub reference: Direction,
    /// The numbers.
    pub params: AccessParams,
}

impl<'a> Surroundings<'a> {
    /// Those of a plan.
    pub(crate) fn new(
        scene: &'a Scene<'a>,
        plan: &Plan,
        holes: &[HoleResult],
        part: Option<&'a Part>,
        params: &AccessParams,
    ) -> Self {
        let bones = bones_that_block(holes);
        let approach = plan.approach;
        Self {
            scene,
            part,
            balls: part.map_or_else(Vec::new, |part| part.triangles.iter().map(ball).collect()),
            bones,
            wound: approach.map(|a| (a.axis, a.half_angle_rad)),
            length_mm: approach.map_or(params.drill_length_mm, |a| a.drill_length_mm),
            radius_mm: approach.map_or(params.drill_radius_mm, |a| a.drill_radius_mm),
            reference: plan.socket.axis,
            params: *params,
        }
    }
}

/// Share of the holes from which on a bone that they enter blocks.
const BLOCKING_SHARE: f64 = 0.25;

/// The bones that a quarter or more of the holes enter first: the pelvis, in
/// one piece or two. A femur that a hole or two meet is moved aside.
fn bones_that_block(holes: &[HoleResult]) -> Vec<u8> {
    let entered: Vec<u8> = holes.iter().filter_map(|hole| hole.bone).filter(|b| *b != 0).collect();
    let mut bones = entered.clone();
    bones.sort_unstable();
    bones.dedup();
    let count = |bone: u8| entered.iter().map(|other| usize::from(*other == bone)).sum::<usize>();
    bones.retain(|bone| count(*bone) as f64 >= BLOCKING_SHARE * entered.len() as f64);
    bones
}

/// A drill about to start at a seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Corridor {
    /// The seat.
    pub seat: PatientPoint,
    /// Out of the bone: where the drill comes from.
    pub out: Direction,
    /// Across it, for rings of samples.
    across: (Direction, Direction),
}

/// Step along the axis when the skin is looked for, mm.
const SKIN_STEP_MM: f64 = 1.0;
/// Furthest the skin is looked for, mm.
const SKIN_REACH_MM: f64 = 400.0;

/// What lies along the axis on the way out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[expect(clippy::struct_field_names, reason = "the shared ending is the unit")]
pub(crate) struct WayOut {
    /// From the seat to the skin, mm.
    pub skin_mm: Option<f64>,
    /// Of that, soft tissue, mm.
    pub soft_tissue_mm: f64,
    /// Something solid beyond the skin, mm from the seat.
    pub solid_mm: Option<f64>,
}

impl Corridor {
    /// A drill at a seat, going into bone along `into`.
    pub(crate) fn new(seat: PatientPoint, into: Direction, around: &Surroundings<'_>) -> Self {
        let first = around.wound.map_or(around.reference, |(axis, _)| axis);
        let across = frame_about(into, first.offset(), around.reference.offset());
        Self { seat, out: -into, across }
    }

    /// How far outside the wound's cone the drill points, rad; negative
    /// inside; `None` without an approach.
    pub(crate) fn excess_rad(&self, around: &Surroundings<'_>) -> Option<f64> {
        around.wound.map(|(axis, half)| self.out.angle_rad(axis) - half)
    }

    /// Everything that is in the way, each obstacle once.
    pub(crate) fn blocks(&self, around: &Surroundings<'_>) -> Vec<Block> {
        let mut blocks = Vec::new();
        blocks.extend(self.bone(around));
        blocks.extend(self.rim(around));
        blocks.extend(self.table(around));
        blocks.extend(self.cone(around));
        blocks
    }

    /// Whether nothing is in the way; the cheapest questions first.
    pub(crate) fn is_clear(&self, around: &Surroundings<'_>) -> bool {
        self.cone(around).is_none()
            && !self.touches_bone(around)
            && self.table(around).is_none()
            && self.rim(around).is_none()
    }

    fn cone(&self, around: &Surroundings<'_>) -> Option<Block> {
        let excess_rad = self.excess_rad(around).filter(|excess| *excess > 1e-9)?;
        Some(Block {
            obstacle: Obstacle::Cone,
            at: None,
            at_mm: None,
            depth_mm: None,
            excess_rad: Some(excess_rad),
        })
    }

    /// Offsets of the samples of a slice of the body from its axis, mm.
    fn slice(&self, around: &Surroundings<'_>) -> Vec<Offset> {
        let mut offsets = vec![Offset::ZERO];
        for share in [0.5, 1.0] {
            let radius = share * around.radius_mm;
            let step = 0.5 * around.params.step_mm;
            let count = ((std::f64::consts::TAU * radius / step).ceil() as u32).max(6) / 2 * 2;
            for spoke in 0..count {
                let angle = std::f64::consts::TAU * f64::from(spoke) / f64::from(count);
                let (sin, cos) = angle.sin_cos();
                offsets.push(self.across.0 * (radius * cos) + self.across.1 * (radius * sin));
            }
        }
        offsets
    }

    /// Positions of the body's slices behind the seat, mm.
    fn stations(around: &Surroundings<'_>) -> impl Iterator<Item = f64> {
        let from = around.params.stand_off_radii * around.radius_mm;
        let length = (around.length_mm - from).max(0.0);
        let count = (length / around.params.step_mm).ceil().max(1.0);
        (0..=count as usize).map(move |i| from + length * i as f64 / count)
    }

    fn touches_bone(&self, around: &Surroundings<'_>) -> bool {
        let slice = self.slice(around);
        Self::stations(around).any(|s| {
            let centre = self.seat + self.out * s;
            slice.iter().any(|offset| around.is_bone(centre + *offset))
        })
    }

    fn bone(&self, around: &Surroundings<'_>) -> Option<Block> {
        let slice = self.slice(around);
        let mut first: Option<(PatientPoint, f64)> = None;
        let mut nearest_mm = around.radius_mm;
        for s in Self::stations(around) {
            let centre = self.seat + self.out * s;
            let met = slice.iter().map(|offset| centre + *offset).find(|at| around.is_bone(*at));
            if let Some(at) = met {
                nearest_mm = nearest_mm.min(self.room_mm(centre, around));
                first = first.or(Some((at, s)));
            }
        }
        first.map(|(at, s)| Block {
            obstacle: Obstacle::Bone,
            at: Some(at),
            at_mm: Some(s),
            depth_mm: Some(around.radius_mm - nearest_mm),
            excess_rad: None,
        })
    }

    /// Distance from the axis to bone across a slice, mm, to half a
    /// millimetre; at most the body's radius.
    fn room_mm(&self, centre: PatientPoint, around: &Surroundings<'_>) -> f64 {
        let rings = (2.0 * around.radius_mm).ceil() as usize;
        let holds_bone = |radius: &f64| {
            (0..24_u8).any(|spoke| {
                let angle = std::f64::consts::TAU * f64::from(spoke) / 24.0;
                let (sin, cos) = angle.sin_cos();
                let side = self.across.0 * (radius * cos) + self.across.1 * (radius * sin);
                around.is_bone(centre + side)
            })
        };
        (0..rings)
            .map(|ring| 0.5 * ring as f64)
            .find(holds_bone)
            .map_or(around.radius_mm, |radius| radius.min(around.radius_mm))
    }

    fn rim(&self, around: &Surroundings<'_>) -> Option<Block> {
        let part = around.part?;
        let radius = around.radius_mm;
        let from = self.seat + self.out * around.params.part_stand_off_mm;
        let reach = around.length_mm - around.params.part_stand_off_mm;
        let to = from + self.out * reach.max(0.0);
        let mut first: Option<(PatientPoint, f64)> = None;
        let mut deepest = 0.0_f64;
        for (corners, ball) in part.triangles.iter().zip(&around.balls) {
            if self.is_far(*ball, radius) {
                continue;
            }
            let (distance, on_axis, on_triangle) = segment_to_triangle([from, to], corners);
            if distance >= radius {
                continue;
            }
            deepest = deepest.max(radius - distance);
            let s = (on_axis - self.seat).dot(self.out.offset());
            if first.is_none_or(|(_, least)| s < least) {
                first = Some((on_triangle, s));
            }
        }
        first.map(|(at, s)| Block {
            obstacle: Obstacle::Rim,
            at: Some(at),
            at_mm: Some(s),
            depth_mm: Some(deepest),
            excess_rad: None,
        })
    }

    /// Whether a ball lies further from the axis than a radius.
    #[inline]
    fn is_far(&self, (centre, size): (PatientPoint, f64), radius: f64) -> bool {
        let offset = centre - self.seat;
        let along = offset.dot(self.out.offset());
        let reach = radius + size;
        along < -size || offset.dot(offset) - along * along > reach * reach
    }

    fn table(&self, around: &Surroundings<'_>) -> Option<Block> {
        let s = self.way_out(around).solid_mm.filter(|s| *s <= around.length_mm)?;
        Some(Block {
            obstacle: Obstacle::Table,
            at: Some(self.seat + self.out * s),
            at_mm: Some(s),
            depth_mm: None,
            excess_rad: None,
        })
    }

    /// Follow the axis out of the patient and on to the end of the drill.
    pub(crate) fn way_out(&self, around: &Surroundings<'_>) -> WayOut {
        let mut way = WayOut::default();
        let mut air_from: Option<f64> = None;
        let mut soft_mm = 0.0;
        let steps = (SKIN_REACH_MM / SKIN_STEP_MM) as usize;
        for i in 0..steps {
            let s = (i as f64 + 0.5) * SKIN_STEP_MM;
            let at = self.seat + self.out * s;
            let hu = around.scene.volume.sample_or_nan(at);
            if hu.is_nan() {
                // The scan ends in air: the skin lies where that air began.
                way.skin_mm = way.skin_mm.or(air_from.filter(|from| s - from > 5.0));
                break;
            }
            if hu < around.params.air_hu {
                let from = *air_from.get_or_insert(s - 0.5 * SKIN_STEP_MM);
                if s - from >= around.params.air_run_mm {
                    way.skin_mm = way.skin_mm.or(Some(from));
                }
            } else {
                if way.skin_mm.is_some() {
                    way.solid_mm = Some(s - 0.5 * SKIN_STEP_MM);
                    break;
                }
                air_from = None;
                let in_bone = around.scene.depth_or_nan(at) > 0.0;
                if !in_bone && hu < around.scene.threshold_hu {
                    soft_mm += SKIN_STEP_MM;
                }
            }
        }
        way.soft_tissue_mm = soft_mm;
        way
    }

    /// Length of the body's axis outside the examined region, mm, and the
    /// bones that do not block but lie in the body's way.
    pub(crate) fn unseen_and_aside(&self, around: &Surroundings<'_>) -> (f64, Vec<u8>) {
        let slice = self.slice(around);
        let mut unseen = 0.0;
        let mut aside = Vec::new();
        for s in Self::stations(around) {
            let centre = self.seat + self.out * s;
            if around.scene.depth_or_nan(centre).is_nan() {
                unseen += around.params.step_mm;
            }
            for offset in &slice {
                let at = centre + *offset;
                if around.scene.depth_or_nan(at) > around.params.touch_mm
                    && let Some(bone) = around.scene.bone_at(at)
                    && bone != 0
                    && !around.bones.contains(&bone)
                    && !aside.contains(&bone)
                {
                    aside.push(bone);
                }
            }
        }
        aside.sort_unstable();
        (unseen, aside)
    }
}

/// A ball that holds a triangle.
fn ball(corners: &[PatientPoint; 3]) -> (PatientPoint, f64) {
    let centre = corners[0] + ((corners[1] - corners[0]) + (corners[2] - corners[0])) * (1.0 / 3.0);
    let radius = corners.iter().map(|corner| centre.distance_mm(*corner)).fold(0.0, f64::max);
    (centre, radius)
}

impl Surroundings<'_> {
    /// Whether the voxel that holds a point is of a bone that blocks, more
    /// than a touch deep; true to half a voxel.
    #[inline]
    pub(crate) fn is_in_bone(&self, at: PatientPoint) -> bool {
        let Some(index) = nearest_voxel(self.scene.grid(), at) else { return false };
        let depth = self.scene.field.at(self.scene.grid().offset_of(index));
        f64::from(depth) > self.params.touch_mm
            && (self.bones.is_empty() || self.bones.contains(&self.scene.labels.at(index)))
    }

    /// Whether a point lies in a bone that blocks, more than a touch deep.
    #[inline]
    pub(crate) fn is_bone(&self, at: PatientPoint) -> bool {
        let depth = self.scene.depth_or_nan(at);
        if depth.is_nan() || depth <= self.params.touch_mm {
            return false;
        }
        let bone = self.scene.bone_at(at).unwrap_or(0);
        self.bones.is_empty() || self.bones.contains(&bone)
    }
}
