//! What to order, and what to have at hand beside it.

use pilothole_plan::Plan;

use super::params::KitParams;
use super::types::{KitLine, Spare, SpareReason};
use crate::hole::HoleResult;

/// Largest difference between two lengths that are the same, mm.
const SAME_MM: f64 = 1e-6;

/// Every screw of the plan at its recommended length, by screw and length.
///
/// A hole without a recommended length is not in it.
pub(crate) fn kit(plan: &Plan, holes: &[HoleResult]) -> Vec<KitLine> {
    let mut lines: Vec<KitLine> = Vec::new();
    for result in holes {
        let Some(length_mm) = result.length_mm else { continue };
        let screw = &plan.screw_of(&plan.holes[result.hole]).name;
        match lines.iter_mut().find(|l| is_same(&l.screw, l.length_mm, screw, length_mm)) {
            Some(line) => {
                line.count += 1;
                line.holes.push(result.hole);
            }
            None => lines.push(KitLine {
                screw: screw.clone(),
                length_mm,
                count: 1,
                holes: vec![result.hole],
            }),
        }
    }
    lines.sort_by(|a, b| a.screw.cmp(&b.screw).then(a.length_mm.total_cmp(&b.length_mm)));
    lines
}

/// For every hole whose length is uncertain, the stocked lengths next to the
/// recommended one.
///
/// A length is uncertain when fewer placements than wanted keep the margin
/// before the far cortex; where placements were not tried, none is.
pub(crate) fn spares(plan: &Plan, holes: &[HoleResult], params: KitParams) -> Vec<Spare> {
    let mut spares: Vec<Spare> = Vec::new();
    for result in holes {
        let (Some(length_mm), Some(robust)) = (result.length_mm, result.robust.as_ref()) else {
            continue;
        };
        if robust.keeps_margin >= params.certain_share {
            continue;
        }
        let screw = plan.screw_of(&plan.holes[result.hole]);
        let stocked = &screw.stocked_lengths_mm;
        let shorter = stocked.iter().rev().find(|s| **s < length_mm - SAME_MM);
        let longer = stocked.iter().find(|s| **s > length_mm + SAME_MM);
        let both = [(shorter, SpareReason::Shorter), (longer, SpareReason::Longer)];
        for (spare_mm, reason) in both {
            let Some(spare_mm) = spare_mm else { continue };
            match spares.iter_mut().find(|s| is_same(&s.screw, s.length_mm, &screw.name, *spare_mm))
            {
                Some(spare) => {
                    spare.count += 1;
                    spare.holes.push(result.hole);
                    spare.reasons.push(reason);
                }
                None => spares.push(Spare {
                    screw: screw.name.clone(),
                    length_mm: *spare_mm,
                    count: 1,
                    holes: vec![result.hole],
                    reasons: vec![reason],
                }),
            }
        }
    }
    spares.sort_by(|a, b| a.screw.cmp(&b.screw).then(a.length_mm.total_cmp(&b.length_mm)));
    spares
}

fn is_same(a: &str, a_mm: f64, b: &str, b_mm: f64) -> bool {
    a == b && (a_mm - b_mm).abs() < SAME_MM
}
