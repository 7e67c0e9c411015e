//! Which holes one drill guide can serve.
//!
//! A guide is a body with one sleeve a hole. It can serve holes of one zone
//! whose sleeves leave room between each other, if one direction draws all of
//! its sleeves off: within a limit of every sleeve's axis, within the wound's
//! cone, and without any sleeve running into bone.

use pilothole_plan::Plan;
use pilothole_volume::{Direction, Offset, PatientPoint};
use rayon::prelude::*;

use super::body::{Frustum, ScrewBody};
use super::colouring::fewest_groups;
use super::convex::{frame_about, gap};
use super::corridor::Surroundings;
use super::params::GuideParams;
use super::types::{Apart, ApartReason, GuideGroup, Guides};

/// Angular play of a bit in a sleeve, rad: atan(clearance / length).
///
/// - `clearance_mm`: difference of the diameters.
/// - `length_mm`: of the sleeve, above 0.
///
/// # Accuracy
///
/// Within 0.6 % of [`exact_play_rad`] for clearances to 0.5 mm, sleeves from
/// 10 mm and a 3.2 mm bit.
pub fn play_rad(clearance_mm: f64, length_mm: f64) -> f64 {
    (clearance_mm / length_mm).atan()
}

/// The tilt θ at which a bit touches both ends of its sleeve, rad: the root of
/// `D = d / cos θ + L tan θ`.
///
/// - `bit_mm`: diameter of the bit.
pub fn exact_play_rad(bit_mm: f64, clearance_mm: f64, length_mm: f64) -> f64 {
    let (mut low, mut high) = (0.0, play_rad(clearance_mm, length_mm) + 0.1);
    for _ in 0..80 {
        let tilt: f64 = 0.5 * (low + high);
        if bit_mm / tilt.cos() + length_mm * tilt.tan() < bit_mm + clearance_mm {
            low = tilt;
        } else {
            high = tilt;
        }
    }
    0.5 * (low + high)
}

/// Largest shift of a bit's tip, mm, some way below its sleeve: half the
/// clearance, and the play over that way.
pub fn play_at_mm(clearance_mm: f64, tilt_rad: f64, below_mm: f64) -> f64 {
    0.5 * clearance_mm + below_mm * tilt_rad.tan()
}

/// Find the fewest guides; `None` when no hole has a screw.
pub(crate) fn find_guides(
    plan: &Plan,
    bodies: &[ScrewBody],
    around: &Surroundings<'_>,
    params: &GuideParams,
) -> Option<Guides> {
    if bodies.is_empty() {
        return None;
    }
    let fitter = Fitter::new(plan, bodies, around, params);
    let grouping = fewest_groups(
        bodies.len(),
        &|set: &[usize]| fitter.fits(set),
        bodies.len() <= params.exact_up_to,
    );
    let groups: Vec<GuideGroup> = grouping.groups.iter().map(|set| fitter.group(set)).collect();
    let group_of = |i: usize| grouping.groups.iter().position(|set| set.contains(&i));
    let mut apart = Vec::new();
    for a in 0..bodies.len() {
        for b in a + 1..bodies.len() {
            if group_of(a) != group_of(b) {
                let reason = fitter.conflict(a, b).unwrap_or(ApartReason::Rest);
                apart.push(Apart { a: bodies[a].hole, b: bodies[b].hole, reason });
            }
        }
    }
    let guide = plan.guide;
    let (clearance_mm, length_mm) = (guide.clearance_mm.value, guide.sleeve_length_mm.value);
    Some(Guides {
        groups,
        apart,
        exact: grouping.exact,
        sleeve_radius_mm: guide.sleeve_radius_mm.value,
        sleeve_length_mm: length_mm,
        clearance_mm,
        play_rad: play_rad(clearance_mm, length_mm),
    })
}

/// What the sleeves allow, worked out once; positions count in the bodies.
struct Fitter<'a> {
    bodies: &'a [ScrewBody],
    sleeves: Vec<Frustum>,
    zones: Vec<pilothole_plan::Zone>,
    /// Ways off that are tried, out of the patient.
    ways: Vec<Direction>,
    /// For each sleeve, whether each way draws it off.
    free: Vec<Vec<bool>>,
    params: GuideParams,
}

impl<'a> Fitter<'a> {
    fn new(
        plan: &Plan,
        bodies: &'a [ScrewBody],
        around: &Surroundings<'_>,
        params: &GuideParams,
    ) -> Self {
        let guide = plan.guide;
        let radius_mm = guide.sleeve_radius_mm.value;
        let stand_off = around.params.stand_off_radii * radius_mm;
        let sleeves: Vec<Frustum> = bodies
            .iter()
            .map(|body| {
                let foot = body.seat + body.direction * -stand_off;
                Frustum::cylinder(foot, -body.direction, guide.sleeve_length_mm.value, radius_mm)
            })
            .collect();
        let ways = ways_off(bodies, around, params);
        let free = sleeves
            .par_iter()
            .map(|sleeve| ways.iter().map(|way| comes_off(sleeve, *way, around, params)).collect())
            .collect();
        let zones = bodies.iter().map(|body| plan.holes[body.hole].zone).collect();
        Self { bodies, sleeves, zones, ways, free, params: *params }
    }

    /// What keeps two sleeves out of one guide.
    fn conflict(&self, a: usize, b: usize) -> Option<ApartReason> {
        if self.zones[a] != self.zones[b] {
            return Some(ApartReason::Zone);
        }
        let room = gap(&self.sleeves[a], &self.sleeves[b]).mm;
        if room < self.params.sleeve_gap_mm {
            return Some(ApartReason::Sleeves { gap_mm: room });
        }
        let angle_rad = self.sleeves[a].axis.angle_rad(self.sleeves[b].axis);
        self.best_way(&[a, b]).is_none().then_some(ApartReason::Insertion { angle_rad })
    }

    fn fits(&self, set: &[usize]) -> bool {
        match set {
            [_] => true,
            [a, b] => self.conflict(*a, *b).is_none(),
            _ => self.best_way(set).is_some(),
        }
    }

    /// The way off with the least of the largest angles to the sleeves, and
    /// that angle, rad.
    fn best_way(&self, set: &[usize]) -> Option<(Direction, f64)> {
        let mut best: Option<(Direction, f64)> = None;
        for (way, direction) in self.ways.iter().enumerate() {
            if !set.iter().all(|i| self.free[*i][way]) {
                continue;
            }
            let widest =
                set.iter().map(|i| self.sleeves[*i].axis.angle_rad(*direction)).fold(0.0, f64::max);
            if best.is_none_or(|(_, least)| widest < least - 1e-9) {
                best = Some((*direction, widest));
            }
        }
        best
    }

    fn group(&self, set: &[usize]) -> GuideGroup {
        let way = self.best_way(set);
        GuideGroup {
            holes: set.iter().map(|i| self.bodies[*i].hole).collect(),
            insertion: way.map(|(direction, _)| -direction),
            widest_rad: way.map_or(0.0, |(_, widest)| widest),
        }
    }
}

/// Azimuths of the ways tried; each has its mirror image.
const AZIMUTHS: u8 = 24;

/// The ways tried: every sleeve's own axis, halfway between every two, and
/// rings about the wound's axis; all within the wound's cone.
fn ways_off(
    bodies: &[ScrewBody],
    around: &Surroundings<'_>,
    params: &GuideParams,
) -> Vec<Direction> {
    let mut ways: Vec<Direction> = bodies.iter().map(|body| -body.direction).collect();
    for (i, a) in bodies.iter().enumerate() {
        ways.extend(
            bodies[i + 1..]
                .iter()
                .filter_map(|b| Direction::along(-(a.direction.offset() + b.direction.offset()))),
        );
    }
    let (axis, half) = around.wound.unwrap_or((around.reference, std::f64::consts::FRAC_PI_2));
    let sum = bodies.iter().fold(Offset::ZERO, |sum, body| sum + body.direction.offset());
    let (u, v) = frame_about(axis, sum, bodies[0].direction.offset());
    ways.push(axis);
    let rings = (half / params.direction_step_rad + 1e-9).floor() as usize;
    for ring in 1..=rings {
        let (sin_tilt, cos_tilt) = (ring as f64 * params.direction_step_rad).sin_cos();
        for step in 0..AZIMUTHS {
            let azimuth = std::f64::consts::TAU * f64::from(step) / f64::from(AZIMUTHS);
            let (sin, cos) = azimuth.sin_cos();
            let side = u * cos + v * sin;
            ways.extend(Direction::along(axis * cos_tilt + side * sin_tilt));
        }
    }
    if around.wound.is_some() {
        ways.retain(|way| way.angle_rad(axis) <= half + 1e-9);
    }
    ways
}

/// Step along the way off, mm.
const SWEEP_STEP_MM: f64 = 4.0;

/// Whether a sleeve drawn off along a way stays within the limit of its axis
/// and out of bone.
fn comes_off(
    sleeve: &Frustum,
    way: Direction,
    around: &Surroundings<'_>,
    params: &GuideParams,
) -> bool {
    if sleeve.axis.angle_rad(way) > params.release_rad + 1e-9 {
        return false;
    }
    let (u, v) = frame_about(sleeve.axis, around.reference.offset(), way.offset());
    let mut shell: Vec<PatientPoint> = Vec::with_capacity(21);
    for station in 0..3_u8 {
        let centre = sleeve.from + sleeve.axis * (0.5 * f64::from(station) * sleeve.length_mm);
        shell.push(centre);
        for spoke in 0..6_u8 {
            let (sin, cos) = (std::f64::consts::FRAC_PI_3 * f64::from(spoke)).sin_cos();
            let radius = sleeve.from_radius_mm;
            shell.push(centre + u * (radius * cos) + v * (radius * sin));
        }
    }
    let steps = (params.release_mm / SWEEP_STEP_MM).ceil() as usize;
    (0..=steps).all(|step| {
        let drawn = way * (step as f64 * SWEEP_STEP_MM);
        shell.iter().all(|at| !around.is_in_bone(*at + drawn))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // Sheet 2 §6, derived: a 3.2 mm bit; clearance, sleeve length, play in
    // degrees; and the shift 40 mm below the sleeve.
    #[test]
    fn a_sleeves_play_has_its_derived_values() {
        let rows = [
            (0.2, 10.0, 1.142, Some(0.90)),
            (0.2, 20.0, 0.572, Some(0.50)),
            (0.2, 30.0, 0.382, Some(0.37)),
            (0.5, 10.0, 2.840, None),
            (0.5, 20.0, 1.429, None),
            (0.5, 30.0, 0.954, None),
        ];
        for (clearance, length, degrees, offset) in rows {
            let tilt = exact_play_rad(3.2, clearance, length);
            assert!((tilt.to_degrees() - degrees).abs() < 5.1e-4, "{}", tilt.to_degrees());
            assert!((play_rad(clearance, length) / tilt - 1.0).abs() < 0.01);
            if let Some(offset) = offset {
                assert!((play_at_mm(clearance, tilt, 40.0) - offset).abs() < 5e-3);
            }
        }
    }
}
