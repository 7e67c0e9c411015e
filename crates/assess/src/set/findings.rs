//! What a reader must know about the set, in sentences.

use pilothole_plan::{BoneRegion, Plan, Side};
use pilothole_volume::Direction;

use super::params::{LoadParams, ReconstructionParams, SetParams};
use super::types::{Access, Bite, CaseResult, LoadResult, Obstacle, SetResult, Tier, Unreached};
use crate::finding::Finding;
use crate::hole::HoleResult;

/// Everything to be said about a set.
pub(crate) fn findings(
    plan: &Plan,
    holes: &[HoleResult],
    set: &SetResult,
    params: &SetParams,
) -> Vec<Finding> {
    let mut all = Vec::new();
    mouth(&mut all, plan);
    clashes(&mut all, plan, set, params);
    ways(&mut all, plan, set, params);
    guides(&mut all, set);
    order(&mut all, set);
    match &set.load {
        Some(load) => loads(&mut all, plan, load, set.reconstruction.isb.is_some(), params),
        None => all.push(Finding::new(
            "set.no_screw",
            "no screw with a recommended length holds anything: nothing is said of order and load",
        )),
    }
    ischium(&mut all, plan, set);
    reconstruction(&mut all, set, &params.reconstruction);
    for result in holes.iter().filter(|result| result.length_mm.is_none()) {
        let text = "no length can be recommended, so the kit has no screw for this hole";
        all.push(Finding::new("kit.no_length", text).of_hole(result.hole));
    }
    if holes.iter().any(|result| result.length_mm.is_some() && result.robust.is_none()) {
        let text = "wrong placements were not tried for every hole, so spares may be wanting";
        all.push(Finding::new("kit.spares_unknown", text));
    }
    for finding in &mut all {
        finding.text = sentence(&finding.text);
    }
    all
}

/// Largest angle between a socket's mouth and the patient's side, °: 10° past
/// the sagittal plane. A mouth opens outwards (Murray 1993: inclination is
/// positive); own choice of the margin.
const MOUTH_DEG: f64 = 100.0;

/// That the socket opens towards the body's middle: the side or the axis' sign
/// is wrong, or the patient does not lie as the scan says.
fn mouth(all: &mut Vec<Finding>, plan: &Plan) {
    let outwards = match plan.side {
        Side::Left => Direction::LEFT,
        Side::Right => -Direction::LEFT,
    };
    let angle_deg = plan.socket.axis.angle_rad(outwards).to_degrees();
    if angle_deg > MOUTH_DEG {
        let text = format!(
            "the socket's mouth points towards the middle of the body, as no {} hip's does: check \
             the side and the sign of the axis",
            plan.side.word()
        );
        let finding = Finding::new("set.mouth_medial", text);
        all.push(finding.measured(angle_deg, Some(MOUTH_DEG), "deg"));
    }
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    format!("{first}{}.", letters.as_str())
}

fn clashes(all: &mut Vec<Finding>, plan: &Plan, set: &SetResult, params: &SetParams) {
    let wanted = plan.policy.screw_gap_mm.value;
    for clash in &set.clash {
        let text = if clash.gap_mm < 0.0 { "two screws meet" } else { "two screws nearly meet" };
        all.push(Finding::new("clash.screws", text).of_hole(clash.a).and_hole(clash.b).measured(
            clash.gap_mm,
            Some(wanted),
            "mm",
        ));
    }
    // One sentence a hole, with its nearest neighbour.
    let mut told = vec![false; plan.holes.len()];
    for near in &set.sharing {
        if told[near.a] && told[near.b] {
            continue;
        }
        told[near.a] = true;
        told[near.b] = true;
        let text = "the threads are near enough to share bone (pedicle screws, our reading)";
        all.push(Finding::new("clash.near", text).of_hole(near.a).and_hole(near.b).measured(
            near.gap_mm,
            Some(params.clash.shared_bone_mm),
            "mm",
        ));
    }
    for metal in &set.metal {
        let text = "metal in the scan lies in or beside the screw's way";
        all.push(Finding::new("clash.metal", text).of_hole(metal.hole).measured(
            metal.gap_mm,
            Some(params.clash.metal_mm),
            "mm",
        ));
    }
}

fn ways(all: &mut Vec<Finding>, plan: &Plan, set: &SetResult, params: &SetParams) {
    if set.access.is_empty() {
        return;
    }
    if plan.approach.is_none() {
        let text = "the plan has no approach: no wound's cone is judged, the drill is assumed";
        all.push(Finding::new("access.no_approach", text));
    }
    if params.part.is_none() {
        let text = "the plan has no mesh of the component: its rim is not judged";
        all.push(Finding::new("access.no_component", text));
    }
    for access in &set.access {
        blocked(all, access);
        bites(all, access, params);
    }
    aside(all, set);
    let unseen = set.access.iter().map(|access| access.unseen_mm).fold(0.0, f64::max);
    if unseen > 0.0 {
        let text = "part of a drill's way lies outside the examined region";
        all.push(Finding::new("access.unseen", text).measured(unseen, None, "mm"));
    }
}

/// One sentence for each bone that has to be moved.
fn aside(all: &mut Vec<Finding>, set: &SetResult) {
    let mut bones: Vec<u8> = set.access.iter().flat_map(|a| a.aside.iter().copied()).collect();
    bones.sort_unstable();
    bones.dedup();
    for bone in bones {
        let mut holes = set.access.iter().filter(|access| access.aside.contains(&bone));
        let first = holes.next().map(|access| access.hole);
        let count = usize::from(first.is_some()) + holes.count();
        let of = if count == 1 { "hole" } else { "holes" };
        let text = format!("bone {bone} lies in the way of {count} {of} and must be moved aside");
        let mut finding = Finding::new("access.aside", text).measured(count as f64, None, "1");
        // About one hole only when it is in the way of one.
        finding.hole = first.filter(|_| count == 1);
        all.push(finding);
    }
}

fn blocked(all: &mut Vec<Finding>, access: &Access) {
    let freed = match &access.frees {
        Some(freeing) if freeing.within_swivel => {
            format!("; {:.1}° of tilt free it, within its swivel", freeing.tilt_rad.to_degrees())
        }
        Some(freeing) => {
            format!("; {:.1}° of tilt free it, beyond its swivel", freeing.tilt_rad.to_degrees())
        }
        None => "; no tilt that was tried frees it".to_owned(),
    };
    for block in &access.blocks {
        let (what, measured, unit) = match block.obstacle {
            Obstacle::Bone => ("bone is in the drill's way", block.at_mm, "mm"),
            Obstacle::Rim => ("the component is in the drill's way", block.at_mm, "mm"),
            Obstacle::Table => {
                ("something beyond the skin is in the drill's way", block.at_mm, "mm")
            }
            Obstacle::Cone => (
                "the drill points outside the wound's cone",
                block.excess_rad.map(f64::to_degrees),
                "deg",
            ),
        };
        let finding = Finding::new("access.blocked", format!("{what}{freed}")).of_hole(access.hole);
        all.push(match measured {
            Some(measured) => finding.measured(measured, None, unit),
            None => finding,
        });
    }
}

fn bites(all: &mut Vec<Finding>, access: &Access, params: &SetParams) {
    let (Some(bite), Some(incidence)) = (access.bite, access.incidence_rad) else { return };
    let (code, text, limit) = match bite {
        Bite::Sound => return,
        Bite::MaySkive => {
            ("access.skives", "the bit may skive on the slope", params.access.skives_rad)
        }
        Bite::Unreliable => (
            "access.unreliable",
            "the bit cannot be relied on to stay on the slope",
            params.access.unreliable_rad,
        ),
    };
    all.push(Finding::new(code, text).of_hole(access.hole).measured(
        incidence.to_degrees(),
        Some(limit.to_degrees()),
        "deg",
    ));
}

fn guides(all: &mut Vec<Finding>, set: &SetResult) {
    let Some(guides) = &set.guides else { return };
    for group in guides.groups.iter().filter(|group| group.insertion.is_none()) {
        for hole in &group.holes {
            let text = "no way off was found for this hole's sleeve";
            all.push(Finding::new("guides.stuck", text).of_hole(*hole));
        }
    }
    if !guides.exact {
        let text = "fewer guides may be possible; the search was cut short";
        all.push(Finding::new("guides.not_proven", text));
    }
}

fn order(all: &mut Vec<Finding>, set: &SetResult) {
    let Some(order) = &set.order else { return };
    if let Some(given) = &order.given
        && let (Some(own), proposed) = (given.held_from, order.proposed.held_from)
        && proposed.is_some_and(|proposed| own > proposed)
    {
        let text = "the plan's own order holds the part later than need be";
        all.push(Finding::new("order.late", text).measured(
            own as f64,
            proposed.map(|p| p as f64),
            "1",
        ));
    }
}

fn loads(
    all: &mut Vec<Finding>,
    plan: &Plan,
    load: &LoadResult,
    has_isb: bool,
    params: &SetParams,
) {
    if !load.mass_stated {
        let text = "the plan states no body mass; forces are for the one assumed";
        all.push(Finding::new("load.mass_assumed", text).measured(load.body_mass_kg, None, "kg"));
    }
    if load.frame == super::types::FrameSource::Scanner {
        let text = "without spines and tubercles the scanner's axes stand for the pelvis";
        let tilt = load.tilt_rad.to_degrees();
        all.push(Finding::new("load.frame_assumed", text).measured(tilt, None, "deg"));
    }
    if load.frame == super::types::FrameSource::AnteriorPelvicPlane && !has_isb {
        let text = "rising from a chair is given in the ISB frame; without posterior spines the \
                    anterior pelvic plane stands for it, which leads it by 9.6 ± 6.7° in ten pelves";
        all.push(Finding::new("load.frame_assumed", text).measured(9.6, None, "deg"));
    }
    if plan.load.is_some_and(|l| l.bone_contact) && !load.bone_contact {
        let text = "bone contact is asked for, but no surface of the component lies on bone";
        all.push(Finding::new("load.no_contact", text));
    }
    for free in &load.free {
        let text = format!("the screws do not hold the part against a {}", free.text);
        all.push(Finding::new("set.not_held", text).measured(load.held as f64, Some(6.0), "1"));
    }
    if let Some(lost) = &load.worst_lost
        && lost.movement_um.is_none()
    {
        let text = "without this screw the part is not held";
        all.push(Finding::new("set.rests_on_one", text).of_hole(lost.hole));
    }
    if let Some(unreached) = &load.unreached {
        all.push(counted_in_vain(unreached));
    }
    if load.springs.iter().any(|spring| spring.pullout_n.is_none()) {
        let text = "some pull-out strengths are unknown, so their utilisation is too";
        all.push(Finding::new("load.pullout_unknown", text));
    }
    if let (Some(um), Some(Tier::Bad)) = (load.worst_um, load.tier) {
        moved_far(all, um, &params.load);
    }
    for spring in &load.springs {
        overloaded(all, load, spring.hole);
    }
}

/// Screws that order, load and kit count although no drill reaches them.
fn counted_in_vain(unreached: &Unreached) -> Finding {
    let count = unreached.holes.len();
    let them = if count == 1 { "a screw" } else { "screws" };
    let counts = format!("order, load and kit count {them} that no drill reaches as planned");
    let mut finding = if let Some(um) = unreached.movement_um {
        let text = format!("{counts}; without, an everyday case moves the part by {um:.0} µm");
        Finding::new("load.unreachable", text).measured(um, None, "um")
    } else {
        let text = format!("{counts}; without, the part is not held");
        Finding::new("load.unreachable", text).measured(unreached.held as f64, Some(6.0), "1")
    };
    // About one hole only when it is the one.
    if let [hole] = unreached.holes[..] {
        finding = finding.of_hole(hole);
    }
    finding
}

/// More than bone grows into, or more than counts as a cup that migrates.
fn moved_far(all: &mut Vec<Finding>, um: f64, params: &LoadParams) {
    let (code, text, limit) = if um > params.barely_held_um {
        (
            "set.barely_held",
            "the set gives way by more than a cup may migrate in two years; its seats lie too \
             near a line or each other, and the numbers of the elastic model mean no more than that",
            params.barely_held_um,
        )
    } else {
        (
            "load.movement",
            "elastic movement without friction or contact is more than bone grows into",
            params.poor_um,
        )
    };
    all.push(Finding::new(code, text).measured(um, Some(limit), "um"));
}

/// A screw used beyond its strength in an everyday case.
fn overloaded(all: &mut Vec<Finding>, load: &LoadResult, hole: usize) {
    let everyday = || load.cases.iter().filter(|case: &&CaseResult| !case.outlier);
    let screws = || everyday().flat_map(|case| &case.screws).filter(|s| s.hole == hole);
    let most = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
    let pullout = most(&mut screws().filter_map(|s| s.pullout_use));
    let core = most(&mut screws().map(|s| s.core_use));
    if pullout > 1.0 {
        let text = "the force along the screw exceeds its pull-out strength in an everyday case";
        let finding = Finding::new("load.pullout", text).of_hole(hole);
        all.push(finding.measured(pullout, Some(1.0), "1"));
    }
    if core > 1.0 {
        let text = "the screw's core would yield, bent and pulled, in an everyday case";
        let finding = Finding::new("load.bending", text).of_hole(hole);
        all.push(finding.measured(core, Some(1.0), "1"));
    }
}

/// The published warning, never a weight.
fn ischium(all: &mut Vec<Finding>, plan: &Plan, set: &SetResult) {
    if plan.holes.is_empty() {
        return;
    }
    let holds = |hole: usize| {
        let springs = set.load.iter().flat_map(|load| &load.springs);
        let reached = |way: &Access| way.hole != hole || way.is_reached();
        springs.into_iter().any(|s| s.hole == hole) && set.access.iter().all(reached)
    };
    let ischial = plan
        .holes
        .iter()
        .enumerate()
        .any(|(hole, h)| h.region == Some(BoneRegion::Ischium) && holds(hole));
    if !ischial {
        let text = "no screw that holds and that a drill reaches is planned for the ischium; of \
                    custom cups without an ischial flange screw 6 of 13 migrated, with one 2 of \
                    36 (Madanipour 2022, one unit, retrospective)";
        all.push(Finding::new("set.no_ischial_screw", text));
    }
}

fn reconstruction(all: &mut Vec<Finding>, set: &SetResult, params: &ReconstructionParams) {
    let result = &set.reconstruction;
    for wanting in &result.wanting {
        let text = format!(
            "the plan does not name {}; with it could be told {}",
            wanting.landmarks.join(", "),
            wanting.allows
        );
        all.push(Finding::new("reconstruction.landmarks", text));
    }
    let lengths = [
        (result.leg_change_mm, "the cup changes the leg's length against now"),
        (result.leg_difference_after_mm, "the legs differ in length after the plan"),
    ];
    for (measured, what) in lengths {
        let Some(length) = measured else { continue };
        let limit = if length.value.abs() > params.length_warning_mm {
            params.length_warning_mm
        } else if length.value.abs() > params.length_notice_mm {
            params.length_notice_mm
        } else {
            continue;
        };
        let text = format!(
            "{what} (standard error {:.1} mm); longer legs go with limping (Röder 2012), others \
             found no effect (n 191, 2013)",
            length.se
        );
        let finding = Finding::new("reconstruction.length", text);
        all.push(finding.measured(length.value, Some(limit), "mm"));
    }
    let offsets = [
        (result.offset_change_mm, "the cup takes offset against now"),
        (result.offset_difference_mm, "the offset falls short of the healthy side's"),
    ];
    for (measured, what) in offsets {
        let Some(offset) = measured else { continue };
        let share = result.healthy_offset_mm.map(|own| params.offset_warning_share * own.value);
        let warning = share.map_or(params.offset_warning_mm, |s| s.min(params.offset_warning_mm));
        let limit = if offset.value < -warning {
            -warning
        } else if offset.value < -params.offset_notice_mm {
            -params.offset_notice_mm
        } else {
            continue;
        };
        let text = format!("{what} (standard error {:.1} mm)", offset.se);
        let finding = Finding::new("reconstruction.offset", text);
        all.push(finding.measured(offset.value, Some(limit), "mm"));
    }
    for regression in result.regressions.iter().filter(|r| r.off_mm > params.regression_mm) {
        let text = format!("the planned centre lies far from that of {}", regression.name);
        let finding = Finding::new("reconstruction.centre", text);
        all.push(finding.measured(regression.off_mm, Some(params.regression_mm), "mm"));
    }
}
