//! Placing the two ends of the bone by Hounsfield units.
//!
//! The envelope gives an end to about a voxel. A fixed threshold would put a
//! blurred edge too far out (a 1400 HU cortex in 40 HU muscle, blurred by
//! σ 0.6 mm, crosses 226 HU 0.66 mm outside its edge), so the end lies where
//! the profile crosses halfway between the cortex's peak and what lies outside,
//! and, where the scan's blur is known, at the outer edge of a blurred plate
//! fitted to it: halfway puts a cortex thinner than the blur too far out.

use pilothole_bone::{FitRefused, PlateFit};

use super::axis::Axis;
use super::crossing::Crossing;
use super::plate::{self, Crest, PlateLook};
use crate::hole::{Edge, EdgeRule, Profile};
use crate::params::PathParams;
use crate::scene::Scene;

/// How far around the envelope's crossing an edge is looked for, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeWindow {
    /// Outwards, for the level that lies outside.
    pub outwards_mm: f64,
    /// Inwards, for the cortex's peak.
    pub inwards_mm: f64,
    /// Largest accepted distance of the placed edge from the crossing.
    pub trusted_mm: f64,
}

/// The two ends of the bone on a path, and why no plate places them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlacedEnds {
    /// `None` when no bone is met.
    pub near: Option<Edge>,
    /// `None` when the scan ends before the bone.
    pub far: Option<Edge>,
    /// Of near and far end: why a plate was refused where one was tried.
    pub refused: [Option<FitRefused>; 2],
}

/// Place the near and the far end of the bone.
///
/// Where the seat lies in bone the near end is the seat.
pub fn place_edges(
    scene: &Scene<'_>,
    axis: Axis,
    crossing: &Crossing,
    profile: &Profile,
    params: &PathParams,
) -> PlacedEnds {
    let Some(enters_mm) = crossing.enters_mm else { return PlacedEnds::default() };
    let window = params.edge_window(scene.grid().voxel_step_mm(axis.direction));
    let seen_to_mm = crossing.leaves_mm.unwrap_or(crossing.seen_to_mm);
    let room_mm = seen_to_mm - enters_mm;
    let side =
        |at_mm: f64, inward: f64, look| Side { profile, at_mm, inward, room_mm, window, look };
    let look = |at_mm| PlateLook::of(scene, axis.direction, crossing.bone, axis.at(at_mm));
    let (mut near, near_fit) = if crossing.seat_depth_mm > 0.0 {
        (side(0.0, 1.0, None).begun_within(params), None)
    } else {
        side(enters_mm, 1.0, look(enters_mm)).place(scene.threshold_hu, params)
    };
    near.at_mm = near.at_mm.max(0.0);
    near.incidence_rad = incidence_rad(scene, axis, near.at_mm);
    let mut placed = PlacedEnds { near: Some(near), far: None, refused: [refused(near_fit), None] };
    if let Some(leaves_mm) = crossing.leaves_mm {
        let (mut far, far_fit) =
            side(leaves_mm, -1.0, look(leaves_mm)).place(scene.threshold_hu, params);
        far.at_mm = far.at_mm.max(near.at_mm);
        far.incidence_rad = incidence_rad(scene, axis, far.at_mm);
        if no_marrow_shows(near, far, profile, params) {
            let depth_mm = far.at_mm - near.at_mm;
            for edge in [&mut near, &mut far] {
                edge.width_mm = edge.width_mm.or(Some(depth_mm));
            }
        }
        placed.near = Some(near);
        placed.far = Some(far);
        placed.refused[1] = refused(far_fit);
    }
    placed
}

/// Whether near and far end bound what may be one plate: no longer than a cortex
/// can be, and nowhere between does the profile fall below the lower of both
/// peaks by what would show an inner face.
fn no_marrow_shows(near: Edge, far: Edge, profile: &Profile, params: &PathParams) -> bool {
    let (Some(near_hu), Some(far_hu)) = (near.peak_hu, far.peak_hu) else { return false };
    if far.at_mm - near.at_mm > params.thickest_cortex_mm {
        return false;
    }
    let level = near_hu.min(far_hu) - params.least_contrast_hu;
    let between = |index: &usize| {
        let at_mm = profile.position_mm(*index);
        at_mm > near.at_mm && at_mm < far.at_mm
    };
    let inside: Vec<f64> =
        (0..profile.hu.len()).filter(between).map(|index| profile.hu[index]).collect();
    let reaches = |hu: &f64| *hu >= level;
    let Some(first) = inside.iter().position(reaches) else { return false };
    let last = inside.iter().rposition(reaches).unwrap_or(first);
    inside[first..=last].iter().all(reaches)
}

/// How far past the envelope's end placing it looks at a profile, mm; at least
/// that.
pub(super) fn looks_past_mm(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> f64 {
    let window = params.edge_window(scene.grid().voxel_step_mm(axis.direction));
    let plate_mm = plate::most_reach_mm(scene);
    window.outwards_mm + window.trusted_mm + plate_mm + 4.0 * params.longest_step_mm
}

fn refused(fit: Option<Result<PlateFit, FitRefused>>) -> Option<FitRefused> {
    fit.and_then(Result::err)
}

/// The outer face of a bone on a line that goes straight in through its
/// surface; position 0 of the profile is the envelope's surface.
pub(crate) fn place_outer(
    scene: &Scene<'_>,
    inward: Axis,
    bone: u8,
    profile: &Profile,
    params: &PathParams,
) -> (Edge, Option<PlateFit>) {
    let window = params.edge_window(scene.grid().voxel_step_mm(inward.direction));
    let look = PlateLook::of(scene, inward.direction, bone, inward.seat);
    let room_mm = params.thickest_cortex_mm;
    let side = Side { profile, at_mm: 0.0, inward: 1.0, room_mm, window, look };
    let (edge, fit) = side.place(scene.threshold_hu, params);
    (edge, fit.and_then(Result::ok))
}

/// Angle between the axis and the envelope's normal, rad; `None` where the
/// field is flat or ends.
fn incidence_rad(scene: &Scene<'_>, axis: Axis, at_mm: f64) -> Option<f64> {
    let gradient = scene.field.gradient(axis.at(at_mm));
    let length = gradient.length_mm();
    (length.is_finite() && length > 1e-6)
        .then(|| (gradient.dot(axis.direction.offset()).abs() / length).min(1.0).acos())
}

/// One end of the bone: positions `depth_mm` count from the crossing, inwards.
struct Side<'a> {
    profile: &'a Profile,
    at_mm: f64,
    /// 1 where inwards is along the axis, -1 where it is against it.
    inward: f64,
    room_mm: f64,
    window: EdgeWindow,
    /// What a plate is fitted with, where the scan's blur is known.
    look: Option<PlateLook>,
}

impl Side<'_> {
    fn hu(&self, depth_mm: f64) -> f64 {
        self.profile.at_or_nan(self.at_mm + self.inward * depth_mm)
    }

    fn edge(&self, depth_mm: f64, rule: EdgeRule) -> Edge {
        Edge {
            at_mm: self.at_mm + self.inward * depth_mm,
            rule,
            se_mm: None,
            most_off_mm: None,
            cortex_mm: None,
            cortex_se_mm: None,
            width_mm: None,
            peak_hu: None,
            incidence_rad: None,
        }
    }

    /// The end, and the plate that was tried there.
    fn place(
        &self,
        threshold_hu: f64,
        params: &PathParams,
    ) -> (Edge, Option<Result<PlateFit, FitRefused>>) {
        let step = self.profile.step_mm;
        if let Some((halfway, crest)) = self.halfway(params) {
            let Some(look) = self.look else { return (halfway, None) };
            let halfway = Edge { most_off_mm: Some(look.most_off_mm()), ..halfway };
            let Some(crest) = crest else { return (halfway, Some(Err(FitRefused::NoInnerFace))) };
            let fitted = plate::fit(|depth| self.hu(depth), step, &crest, &look, params)
                .and_then(|fit| plate::held_to(fit, self.window.trusted_mm, &crest, &look));
            let edge = fitted.map_or(halfway, |fit| Edge {
                se_mm: Some(fit.edge_se_mm[0]),
                cortex_mm: Some(fit.thickness_mm),
                cortex_se_mm: Some(fit.se_mm),
                width_mm: halfway.width_mm,
                peak_hu: halfway.peak_hu,
                ..self.edge(fit.near_edge_mm, EdgeRule::Plate)
            });
            return (edge, Some(fitted));
        }
        let reach = self.window.trusted_mm;
        let inwards = self.window.inwards_mm.min(self.room_mm);
        match self.falls_through(threshold_hu, inwards.min(reach), -reach, -step) {
            Some(depth) => (self.edge(depth, EdgeRule::Threshold), None),
            None => (self.edge(0.0, EdgeRule::Envelope), None),
        }
    }

    /// The end halfway between peak and outside, and the cortex there where
    /// its inner face shows too; `None` where no cortex shows near enough.
    fn halfway(&self, params: &PathParams) -> Option<(Edge, Option<Crest>)> {
        let step = self.profile.step_mm;
        let inwards = self.window.inwards_mm.min(self.room_mm);
        let (peak_mm, peak_hu) = extreme(0.0, inwards, step, |d| self.hu(d), params.wobble_hu)?;
        let (out, minus_hu) =
            extreme(0.0, self.window.outwards_mm, step, |d| -self.hu(-d), params.wobble_hu)?;
        let outside_hu = -minus_hu;
        if peak_hu - outside_hu < params.least_contrast_hu {
            return None;
        }
        let level = f64::midpoint(peak_hu, outside_hu);
        let outer_mm = self.falls_through(level, peak_mm, -out, -step)?;
        if outer_mm.abs() > self.window.trusted_mm {
            return None;
        }
        let mut edge = self.edge(outer_mm, EdgeRule::Halfway);
        edge.peak_hu = Some(peak_hu);
        edge.width_mm = self.inner_face(outer_mm, peak_mm, peak_hu, params);
        let crest = edge.width_mm.map(|width_mm| Crest {
            outer_mm,
            inner_mm: outer_mm + width_mm,
            peak_hu,
            outside_hu,
        });
        Some((edge, crest))
    }

    /// The end where the path begins inside bone: position 0, and how far dense
    /// bone goes on there.
    fn begun_within(&self, params: &PathParams) -> Edge {
        let mut edge = self.edge(0.0, EdgeRule::Seat);
        let inwards = self.window.inwards_mm.min(self.room_mm);
        if let Some((depth, hu)) =
            extreme(0.0, inwards, self.profile.step_mm, |d| self.hu(d), params.wobble_hu)
        {
            edge.width_mm = self.inner_face(0.0, depth, hu, params);
            edge.peak_hu = edge.width_mm.map(|_| hu);
        }
        edge
    }

    /// Width of the cortex: from its outer face to where the profile falls
    /// halfway to the least value behind it; `None` where it does not fall.
    fn inner_face(
        &self,
        outer: f64,
        peak_depth: f64,
        peak_hu: f64,
        params: &PathParams,
    ) -> Option<f64> {
        let step = self.profile.step_mm;
        let end = params.thickest_cortex_mm.min(self.room_mm);
        let (lowest, minus_hu) = extreme(peak_depth, end, step, |d| -self.hu(d), params.wobble_hu)?;
        let fall_hu = peak_hu + minus_hu;
        if fall_hu < params.least_contrast_hu {
            return None;
        }
        let level = peak_hu - 0.5 * fall_hu;
        Some(self.falls_through(level, peak_depth, lowest, step)? - outer)
    }

    /// First depth, going from one to another, where the profile falls below a
    /// level that it reached before; linear between samples.
    fn falls_through(&self, level: f64, from: f64, to: f64, step: f64) -> Option<f64> {
        let mut depth = from;
        let mut before: Option<f64> = None;
        while (to - depth) * step.signum() >= -1e-9 {
            let here = self.hu(depth);
            if here.is_nan() {
                return None;
            }
            if let Some(last) = before
                && last >= level
                && here < level
            {
                return Some(depth - step * (level - here) / (last - here));
            }
            before = Some(here);
            depth += step;
        }
        None
    }
}

/// The first extreme on the way: the largest value before the values fall by
/// more than `wobble` below it; its depth and value.
fn extreme(
    from: f64,
    to: f64,
    step: f64,
    value: impl Fn(f64) -> f64,
    wobble: f64,
) -> Option<(f64, f64)> {
    let mut best: Option<(f64, f64)> = None;
    let mut depth = from;
    while depth <= to + 1e-9 {
        let here = value(depth);
        if here.is_nan() {
            break;
        }
        match best {
            Some((_, top)) if here <= top => {
                if top - here > wobble {
                    break;
                }
            }
            _ => best = Some((depth, here)),
        }
        depth += step;
    }
    best
}
