//! Whether a drill gets to each hole, and what frees it where it does not.

use pilothole_plan::Plan;
use pilothole_volume::{Direction, PatientPoint};
use rayon::prelude::*;

use super::convex::frame_about;
use super::corridor::{Corridor, Surroundings};
use super::params::AccessParams;
use super::types::{Access, Bite, Freeing};
use crate::hole::HoleResult;

/// Judge the way to every hole, in the order of the results.
pub(crate) fn judge_access(
    plan: &Plan,
    holes: &[HoleResult],
    around: &Surroundings<'_>,
) -> Vec<Access> {
    holes.par_iter().map(|hole| judge_one(plan, hole, around)).collect()
}

fn judge_one(plan: &Plan, result: &HoleResult, around: &Surroundings<'_>) -> Access {
    let hole = &plan.holes[result.hole];
    let corridor = Corridor::new(result.seat, result.direction, around);
    let blocks = corridor.blocks(around);
    let free = || free(result.seat, result.direction, around);
    let frees = if blocks.is_empty() { None } else { free() };
    let frees = frees.map(|(tilt_rad, direction)| Freeing {
        tilt_rad,
        direction,
        within_swivel: tilt_rad <= hole.swivel_rad,
    });
    let way = corridor.way_out(around);
    let (unseen_mm, aside) = corridor.unseen_and_aside(around);
    let incidence_rad = result.near.and_then(|near| near.incidence_rad);
    let diameter_mm = plan.screw_of(hole).major_diameter_mm;
    Access {
        hole: result.hole,
        blocks,
        frees,
        to_approach_rad: around.wound.map(|(axis, _)| corridor.out.angle_rad(axis)),
        skin_mm: way.skin_mm,
        soft_tissue_mm: way.skin_mm.map(|_| way.soft_tissue_mm),
        unseen_mm,
        aside,
        incidence_rad,
        bite: incidence_rad.map(|incidence| bite(incidence, &around.params)),
        edge_depth_mm: incidence_rad.map(|incidence| edge_depth_mm(diameter_mm, incidence)),
    }
}

/// What an angle from the surface's normal means for a bit.
pub fn bite(incidence_rad: f64, params: &AccessParams) -> Bite {
    if incidence_rad > params.unreliable_rad {
        Bite::Unreliable
    } else if incidence_rad > params.skives_rad {
        Bite::MaySkive
    } else {
        Bite::Sound
    }
}

/// Difference in depth across a hole on a slope, mm: `d tan α`.
pub fn edge_depth_mm(diameter_mm: f64, incidence_rad: f64) -> f64 {
    diameter_mm * incidence_rad.tan()
}

/// Azimuths tried about the planned direction; the first lies towards the
/// wound's axis, and each has its mirror image.
const AZIMUTHS: u8 = 24;
/// Step of the tilts tried, rad: 2.5°.
const TILT_STEP_RAD: f64 = 0.043_633_231_299_858_24;
/// Two tilts that differ by less count as one, rad.
const SAME_TILT_RAD: f64 = 1e-6;
/// Halvings of that step between blocked and free.
const HALVINGS: u8 = 10;

/// The least tilt that frees a drill on its way `into` bone, rad, and where it
/// leads.
pub(crate) fn free(
    seat: PatientPoint,
    into: Direction,
    around: &Surroundings<'_>,
) -> Option<(f64, Direction)> {
    let first = around.wound.map_or(around.reference, |(axis, _)| axis);
    // A drill tilts towards the wound when its direction tilts away from it.
    let (u, v) = frame_about(into, -first.offset(), -around.reference.offset());
    let tilted = |tilt: f64, azimuth: u8| {
        let (sin, cos) =
            (std::f64::consts::TAU * f64::from(azimuth) / f64::from(AZIMUTHS)).sin_cos();
        let (sin_tilt, cos_tilt) = tilt.sin_cos();
        Direction::along(into * cos_tilt + (u * cos + v * sin) * sin_tilt).unwrap_or(into)
    };
    let is_clear = |direction: Direction| Corridor::new(seat, direction, around).is_clear(around);
    let levels = (around.params.widest_tilt_rad / TILT_STEP_RAD).floor() as usize;
    for level in 1..=levels {
        let tilt = level as f64 * TILT_STEP_RAD;
        let mut freed: Option<(f64, u8)> = None;
        for azimuth in 0..AZIMUTHS {
            // Once one azimuth is free, another has to be free at less tilt.
            let try_at = freed.map_or(tilt, |(least, _)| least - SAME_TILT_RAD);
            if !is_clear(tilted(try_at, azimuth)) {
                continue;
            }
            let (mut blocked, mut clear) = (tilt - TILT_STEP_RAD, try_at);
            for _ in 0..HALVINGS {
                let between = 0.5 * (blocked + clear);
                if is_clear(tilted(between, azimuth)) {
                    clear = between;
                } else {
                    blocked = between;
                }
            }
            freed = Some((clear, azimuth));
        }
        if let Some((tilt_rad, azimuth)) = freed {
            return Some((tilt_rad, tilted(tilt_rad, azimuth)));
        }
    }
    None
}
