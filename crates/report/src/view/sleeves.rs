//! The guides' sleeves as they were judged: the part of a guide that is known
//! before anyone has designed the body between them.

use pilothole_assess::set::AccessParams;
use pilothole_plan::Plan;
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::record::{GuideRecord, HoleRecord, Record};

/// One sleeve: a cylinder that begins behind a hole's seat.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sleeve<'a> {
    pub(super) hole: &'a HoleRecord,
    /// Centre of the face towards the bone.
    pub(super) foot: PatientPoint,
    /// Away from the bone.
    pub(super) out: Direction,
    pub(super) radius_mm: f64,
    pub(super) length_mm: f64,
}

/// Every guide with its sleeves, in the record's order; none where no guides
/// were proposed.
pub(super) fn sleeves<'a>(
    record: &'a Record,
    plan: &Plan,
) -> Vec<(&'a GuideRecord, Vec<Sleeve<'a>>)> {
    let guides = record.set.as_ref().and_then(|s| s.guides.as_deref()).unwrap_or_default();
    let radius_mm = plan.guide.sleeve_radius_mm.value;
    let stand_off_mm = AccessParams::OWN.stand_off_radii * radius_mm;
    let sleeve = |hole: &'a HoleRecord| {
        let out = -Direction::along(Offset(hole.direction))?;
        Some(Sleeve {
            hole,
            foot: PatientPoint(hole.seat_mm) + out * stand_off_mm,
            out,
            radius_mm,
            length_mm: plan.guide.sleeve_length_mm.value,
        })
    };
    guides
        .iter()
        .map(|guide| {
            let holes = guide.holes.iter().filter_map(|id| record.hole(id));
            (guide, holes.filter_map(sleeve).collect())
        })
        .collect()
}
