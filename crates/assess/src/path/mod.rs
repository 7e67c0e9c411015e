//! One straight path from a seat into bone: where bone begins and ends, and
//! what the Hounsfield units along it are.
//!
//! Everything else in this crate calls this module; it calls none of them.

mod axis;
mod beyond;
mod crossing;
mod cylinder;
mod edge;
mod engaged;
mod plate;
mod profile;
mod segments;
mod side_wall;
mod spokes;
mod statistics;
mod trust;
mod within;

pub use axis::Axis;
pub use beyond::look_beyond;
pub(crate) use beyond::{Known, look_beyond_known};
pub use crossing::{Crossing, cross};
pub use cylinder::{measure_hu, thread_mean_hu};
pub(crate) use edge::place_outer;
pub use edge::{EdgeWindow, PlacedEnds, place_edges};
pub use engaged::{engaged_mm, ring_share};
pub use plate::{BLUR_SD, MODEL_SD, MOST_INCIDENCE_RAD, MOST_OFF};
pub use profile::sample_profile;
pub use segments::{VOID_HU, engaged_cortices, is_one_plate, split};
pub use side_wall::{SideWall, side_wall, side_wall_of};
pub use statistics::statistics;
pub use trust::trusted_share;
pub use within::{Dip, WIDEST_DIP_MM, dip_within};

use crate::finding::Finding;
use crate::hole::{Edge, Profile, Segment};
use crate::params::PathParams;
use crate::scene::Scene;

/// A path's bone: its ends, what lies between, and the profile it was read from.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// The line itself.
    pub axis: Axis,
    /// Where the envelope is crossed, before the ends are placed by HU.
    pub crossing: Crossing,
    /// First entry into the envelope; `None` when no bone is met.
    pub near: Option<Edge>,
    /// First exit from the envelope; `None` when none is met in the scan.
    pub far: Option<Edge>,
    /// From the seat to the far end (the scan's end where there is none).
    pub segments: Vec<Segment>,
    /// HU along the axis.
    pub profile: Profile,
    /// Reservations, without the hole's index.
    pub findings: Vec<Finding>,
}

/// Measure the bone along a path.
///
/// Positions are mm from the seat. The envelope says where bone is; Hounsfield
/// units place its two ends to a fraction of a voxel.
pub fn measure(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> Path {
    let crossing = cross(scene, axis, params);
    let profile = sample_profile(scene, axis, params);
    with_ends(scene, axis, crossing, profile, params)
}

/// As [`measure`], to the last digit, with a profile that ends soon after the
/// bone does; for many directions.
pub(crate) fn measure_bone(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> Path {
    let crossing = cross(scene, axis, params);
    let end_mm = if crossing.enters_mm.is_some() {
        let seen_to_mm = crossing.leaves_mm.unwrap_or(crossing.seen_to_mm);
        seen_to_mm + edge::looks_past_mm(scene, axis, params)
    } else {
        0.0
    };
    let profile = profile::sample_profile_to(scene, axis, end_mm, params);
    with_ends(scene, axis, crossing, profile, params)
}

fn with_ends(
    scene: &Scene<'_>,
    axis: Axis,
    crossing: Crossing,
    profile: Profile,
    params: &PathParams,
) -> Path {
    let placed = place_edges(scene, axis, &crossing, &profile, params);
    let PlacedEnds { near, far, .. } = placed;
    let segments = split(scene, axis, [near, far], &crossing, &profile);
    let findings = reservations(&crossing, &placed, params);
    Path { axis, crossing, near, far, segments, profile, findings }
}

fn reservations(crossing: &Crossing, placed: &PlacedEnds, params: &PathParams) -> Vec<Finding> {
    use crate::hole::EdgeRule::{Envelope, Seat, Threshold};
    let mut findings = Vec::new();
    let far = placed.far;
    let Some(near) = placed.near else {
        findings.push(Finding::new(
            "path.no_bone",
            "The axis meets no bone; check the seat and the direction.",
        ));
        return findings;
    };
    if near.rule == Seat {
        findings.push(
            Finding::new(
                "path.seat_in_bone",
                "The seat lies inside bone, so the path starts there and the near cortex is not seen.",
            )
            .measured(crossing.seat_depth_mm, Some(0.0), "mm"),
        );
    }
    for (edge, end) in [(Some(near), "near"), (far, "far")] {
        let Some(edge) = edge else { continue };
        let how = match edge.rule {
            Threshold => "the bone threshold",
            Envelope => "the edge of the bone's envelope",
            _ => continue,
        };
        findings.push(
            Finding::new(
                "path.no_cortex",
                format!("No cortex shows at the {end} end; it is placed by {how}."),
            )
            .measured(edge.at_mm, None, "mm"),
        );
    }
    let ends = [(Some(near), "near", "begin deeper"), (far, "far", "end sooner")];
    for (refused, (edge, end, doubt)) in placed.refused.iter().zip(ends) {
        let Some(refused) = refused else { continue };
        let off = match edge.and_then(|edge| edge.most_off_mm).filter(|mm| mm.is_finite()) {
            Some(mm) => format!("up to {mm:.1} mm"),
            None => "by an unknown amount".to_owned(),
        };
        findings.push(Finding::new(
            "path.halfway",
            format!(
                "No plate fits the cortex at the {end} end ({refused}); it is placed halfway, too far out where the cortex is thin: the bone may {doubt}, {off}. Its thickness is not known: the path counts it as cancellous, and as held only where the thread passes all that shows of it."
            ),
        ));
    }
    if let Some(far) = far
        && near.rule != Seat
        && is_one_plate(Some(near), Some(far))
    {
        findings.push(
            Finding::new(
                "path.one_plate",
                "No marrow shows between the near and the far end: they are the two faces of one plate of bone, which is one cortex and not two.",
            )
            .measured(far.at_mm - near.at_mm, None, "mm"),
        );
    }
    if far.is_none() {
        findings.push(
            Finding::new(
                "path.leaves_scan",
                "The path reaches the end of what was scanned before it leaves the bone.",
            )
            .measured(crossing.seen_to_mm, None, "mm"),
        );
    } else if let Some(other) = crossing.touches_bone {
        findings.push(Finding::new(
            "path.crosses_joint",
            format!(
                "At the far end the bone touches bone {other} without a gap; the end lies on the boundary between them."
            ),
        ).measured(params.touch_mm, None, "mm"));
    }
    findings
}
