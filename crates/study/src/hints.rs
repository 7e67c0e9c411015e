//! What a plan tells about where the bones are.

use pilothole_bone::{BoneName, HipHint, HipHints, KnownPoint, Side as BoneSide};
use pilothole_plan::{LandmarkKind, LandmarkName, Plan, Side};

/// Hip centres and bony points that the plan names.
///
/// The operated hip's centre is the plan's landmark, else the socket's centre.
pub fn hints_of(plan: &Plan) -> HipHints {
    let mut hints = HipHints::default();
    for side in Side::ALL {
        let named = plan.landmark(LandmarkName { kind: LandmarkKind::HipCentre, side });
        let centre = named.or((side == plan.side).then_some(plan.socket.centre));
        if let Some(centre) = centre {
            hints.hips.push(HipHint { side: bone_side(side), centre, radius_mm: None });
        }
    }
    for landmark in &plan.landmarks {
        let bone = match (landmark.name.kind, landmark.name.side) {
            (LandmarkKind::HipCentre, _) => continue,
            (LandmarkKind::LesserTrochanter, Side::Left) => BoneName::FemurLeft,
            (LandmarkKind::LesserTrochanter, Side::Right) => BoneName::FemurRight,
            (_, Side::Left) => BoneName::HipLeft,
            (_, Side::Right) => BoneName::HipRight,
        };
        hints.points.push(KnownPoint { at: landmark.at, bone });
    }
    hints
}

/// The operated hip bone.
pub fn hip_bone(plan: &Plan) -> BoneName {
    match plan.side {
        Side::Left => BoneName::HipLeft,
        Side::Right => BoneName::HipRight,
    }
}

fn bone_side(side: Side) -> BoneSide {
    match side {
        Side::Left => BoneSide::Left,
        Side::Right => BoneSide::Right,
    }
}
