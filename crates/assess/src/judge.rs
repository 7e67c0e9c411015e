//! The judgement of one hole, from its path to its grade.

use pilothole_plan::{Hole, Plan, Screw};
use rayon::prelude::*;

use crate::doubt::end_doubtful;
use crate::finding::Finding;
use crate::grade::{GradeInput, GradeParams, grade};
use crate::hole::{Beyond, HoleResult, HuSet};
use crate::length::{recommend_length, tip_is_safe};
use crate::params::PathParams;
use crate::path::{self, Axis, Path, SideWall};
use crate::scene::Scene;

/// The numbers every hole is judged with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JudgeParams {
    /// How paths are measured.
    pub path: PathParams,
    /// How purchase becomes a grade.
    pub grade: GradeParams,
}

impl JudgeParams {
    /// The numbers in use.
    pub const OWN: Self = Self { path: PathParams::OWN, grade: GradeParams::OWN };
}

/// Judge every hole of a plan, in the plan's order.
pub fn judge_holes(scene: &Scene<'_>, plan: &Plan, params: &JudgeParams) -> Vec<HoleResult> {
    (0..plan.holes.len())
        .into_par_iter()
        .map(|index| judge_hole(scene, plan, index, params))
        .collect()
}

/// Judge one hole of a plan.
///
/// Pull-out strength and robustness are not part of it; both are `None`.
///
/// # Panics
///
/// When the plan has no hole of that index.
pub fn judge_hole(
    scene: &Scene<'_>,
    plan: &Plan,
    index: usize,
    params: &JudgeParams,
) -> HoleResult {
    let hole = &plan.holes[index];
    let screw = plan.screw_of(hole);
    let axis = Axis { seat: hole.seat, direction: hole.direction };
    let path = path::measure(scene, axis, &params.path);
    let length_mm = path.far.and_then(|far| {
        recommend_length(
            &screw.stocked_lengths_mm,
            far.at_mm,
            plan.policy.far_cortex.value,
            plan.policy.margin_mm.value,
        )
    });
    let hold = Hold::measure(scene, &path, screw, length_mm, &params.path);
    let (grade, reasons) = grade(&hold.grade_input(&path, length_mm), &params.grade);
    let planned_purchase_mm =
        hole.length_mm.map(|planned_mm| purchase_at(&path, screw, planned_mm).length_mm());
    let tip_mm = length_mm.or(path.far.map(|far| far.at_mm)).unwrap_or(path.crossing.seen_to_mm);
    let beyond = path::look_beyond(scene, &path, tip_mm, &params.path);
    let findings = findings(plan, hole, &path, length_mm, &hold)
        .into_iter()
        .chain(bone_again(&path, tip_mm, beyond))
        .chain(walls_within(&path))
        .chain(end_doubtful(&plan.policy, path.far, length_mm))
        .chain(raised_into_breach(scene, &path, screw, [length_mm, hole.length_mm], &hold, params))
        .map(|finding| finding.of_hole(index))
        .collect();
    HoleResult {
        hole: index,
        stream: hole.stream(),
        seat: hole.seat,
        direction: hole.direction,
        bone: path.near.map(|_| path.crossing.bone),
        near: path.near,
        far: path.far,
        length_mm,
        purchase_mm: hold.purchase.length_mm(),
        planned_purchase_mm,
        engaged_mm: hold.engaged_mm,
        hu: hold.hu,
        segments: path.segments,
        cortices: hold.cortices,
        side_wall_mm: hold.side_wall.map(|wall| wall.least_mm),
        side_wall_at_mm: hold.side_wall.map(|wall| wall.at_mm),
        beyond,
        pullout: None,
        robust: None,
        grade,
        reasons,
        trust: hold.trust,
        profile: path.profile,
        findings,
    }
}

/// Gap between the far end and bone met again below which it is told, mm: a
/// path that grazes a hollow looks the same. Own choice, no source.
const NEAR_AGAIN_MM: f64 = 8.0;

/// That bone is met again soon after the far end.
fn bone_again(path: &Path, tip_mm: f64, beyond: Beyond) -> Option<Finding> {
    let gap_mm = tip_mm + beyond.bone_mm? - path.far?.at_mm;
    (gap_mm < NEAR_AGAIN_MM).then(|| {
        Finding::new("path.bone_again", "Bone is met again soon after the far end and not counted.")
            .measured(gap_mm, Some(NEAR_AGAIN_MM), "mm")
    })
}

/// That two walls stand back to back inside.
fn walls_within(path: &Path) -> Option<Finding> {
    let dip = path::dip_within(path)?;
    let text = format!(
        "Between the ends two walls of cortex stand {:.1} mm apart, {:.1} mm from the seat: the gap \
         between two bones, a joint or a fracture may be counted as bone. Look at the cut.",
        dip.width_mm, dip.at_mm
    );
    let limit = Some(path::WIDEST_DIP_MM);
    Some(Finding::new("path.walls_within", text).measured(dip.width_mm, limit, "mm"))
}

/// That the screw breaks out sideways only because the recommended length is above
/// the planned one.
///
/// - `lengths_mm`: recommended, planned.
fn raised_into_breach(
    scene: &Scene<'_>,
    path: &Path,
    screw: &Screw,
    lengths_mm: [Option<f64>; 2],
    hold: &Hold,
    params: &JudgeParams,
) -> Option<Finding> {
    let [length_mm, planned_mm] = [lengths_mm[0]?, lengths_mm[1]?];
    let wall = hold.side_wall.filter(|wall| wall.least_mm < 0.0)?;
    if length_mm <= planned_mm {
        return None;
    }
    let planned = path::side_wall_of(scene, None, path, screw, planned_mm, &params.path);
    if planned.is_some_and(|planned| planned.least_mm < 0.0) {
        return None;
    }
    let room = planned.map_or_else(
        || "no room to break out in".to_owned(),
        |planned| format!("{:.1} mm of bone beside the screw", planned.least_mm),
    );
    let text = format!(
        "The recommended {length_mm:.1} mm is longer than the planned {planned_mm:.1} mm and breaks out sideways, {:.1} mm from the seat; at the planned length there is {room}. Length, purchase and grade are of the longer screw.",
        wall.at_mm
    );
    Some(Finding::new("length.raised", text).measured(length_mm, Some(planned_mm), "mm"))
}

/// A stretch of thread, mm from the seat; empty when it ends before it begins.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    from_mm: f64,
    to_mm: f64,
}

impl Stretch {
    const NONE: Self = Self { from_mm: 0.0, to_mm: 0.0 };

    fn length_mm(self) -> f64 {
        (self.to_mm - self.from_mm).max(0.0)
    }
}

/// The thread of a screw of one length that lies between the two ends of the
/// bone; to the end of what was seen where there is no far end.
fn purchase_at(path: &Path, screw: &Screw, length_mm: f64) -> Stretch {
    let Some(near) = path.near else { return Stretch::NONE };
    let end_mm = path.far.map_or(path.crossing.seen_to_mm, |far| far.at_mm);
    let (thread_from, thread_to) = screw.thread_mm(length_mm);
    Stretch { from_mm: thread_from.max(near.at_mm), to_mm: thread_to.min(end_mm) }
}

/// What holds a screw of the recommended length.
struct Hold {
    purchase: Stretch,
    engaged_mm: f64,
    hu: Option<HuSet>,
    unmeasured: f64,
    cortices: usize,
    side_wall: Option<SideWall>,
    trust: Option<f64>,
}

impl Hold {
    fn measure(
        scene: &Scene<'_>,
        path: &Path,
        screw: &Screw,
        length_mm: Option<f64>,
        params: &PathParams,
    ) -> Self {
        let purchase = length_mm.map_or(Stretch::NONE, |mm| purchase_at(path, screw, mm));
        let none = Self {
            purchase: Stretch::NONE,
            engaged_mm: 0.0,
            hu: None,
            unmeasured: 0.0,
            cortices: 0,
            side_wall: None,
            trust: None,
        };
        let (Some(length_mm), Some(_), Some(_)) = (length_mm, path.near, path.far) else {
            return none;
        };
        let diameter_mm = screw.major_diameter_mm;
        let radii = [0.5 * screw.core_diameter_mm, 0.5 * diameter_mm];
        let step_mm = params.step_mm(scene.grid());
        let bone = path.crossing.bone;
        let side_wall = path::side_wall_of(scene, None, path, screw, length_mm, params);
        if purchase.length_mm() <= 0.0 {
            return Self { side_wall, ..none };
        }
        let ends = [purchase.from_mm, purchase.to_mm];
        let measured = path::measure_hu(scene, path.axis, ends, radii, params);
        Self {
            purchase,
            engaged_mm: path::engaged_mm(scene, path.axis, bone, ends, radii, step_mm),
            hu: measured.map(|(hu, _)| hu),
            unmeasured: measured.map_or(1.0, |(_, share)| share),
            cortices: path::engaged_cortices(path.near, path.far, ends[0], ends[1]),
            side_wall,
            trust: Some(path::trusted_share(scene, path.axis, ends, radii, step_mm)),
        }
    }

    fn grade_input(&self, path: &Path, length_mm: Option<f64>) -> GradeInput {
        GradeInput {
            meets_bone: path.near.is_some(),
            leaves_scan: path.near.is_some() && path.far.is_none(),
            no_length: length_mm.is_none(),
            trust: self.trust,
            purchase_mm: self.purchase.length_mm(),
            thread_hu: self.hu.map(|hu| hu.thread.mean),
            cortices: self.cortices,
            side_wall_mm: self.side_wall.map(|wall| wall.least_mm),
        }
    }
}

fn findings(
    plan: &Plan,
    hole: &Hole,
    path: &Path,
    length_mm: Option<f64>,
    hold: &Hold,
) -> Vec<Finding> {
    let mut findings = path.findings.clone();
    let policy = plan.policy.far_cortex.value;
    let margin_mm = plan.policy.margin_mm.value;
    if let (Some(far), None) = (path.far, length_mm) {
        findings.push(
            Finding::new(
                "length.none_stocked",
                format!(
                    "No stocked length is safe: the far end of the bone lies at {:.1} mm and the policy is to {}.",
                    far.at_mm,
                    match policy {
                        pilothole_plan::FarCortex::StopShort => format!("stop {margin_mm:.1} mm short of it"),
                        pilothole_plan::FarCortex::Engage => format!("pass it by at most {margin_mm:.1} mm"),
                    }
                ),
            )
            .measured(far.at_mm, None, "mm"),
        );
    }
    if let (Some(far), Some(planned_mm)) = (path.far, hole.length_mm)
        && !tip_is_safe(planned_mm, far.at_mm, policy, margin_mm)
    {
        findings.push(
            Finding::new(
                "length.planned_unsafe",
                format!(
                    "At the planned {planned_mm:.1} mm the tip is not where the policy wants it; the far end lies at {:.1} mm.",
                    far.at_mm
                ),
            )
            .measured(far.at_mm - planned_mm, Some(margin_mm), "mm"),
        );
    }
    if let Some(wall) = hold.side_wall {
        let wanted_mm = plan.policy.side_margin_mm.value;
        if wall.least_mm < 0.0 {
            findings.push(
                Finding::new(
                    "side.breach",
                    format!("The screw breaks out sideways, {:.1} mm from the seat.", wall.at_mm),
                )
                .measured(wall.least_mm, Some(wanted_mm), "mm"),
            );
        } else if wall.least_mm < wanted_mm {
            findings.push(
                Finding::new(
                    "side.thin",
                    format!(
                        "Less bone beside the screw than wanted, {:.1} mm from the seat.",
                        wall.at_mm
                    ),
                )
                .measured(wall.least_mm, Some(wanted_mm), "mm"),
            );
        }
    }
    if let Some(trust) = hold.trust
        && trust < 1.0
    {
        findings.push(
            Finding::new(
                "metal.near",
                "Part of the purchase lies in or near metal; its HU are not to be trusted.",
            )
            .measured(trust, Some(1.0), "1"),
        );
    }
    if hold.unmeasured > 0.0 {
        findings.push(
            Finding::new("path.unmeasured", "Part of the thread lies where nothing was scanned.")
                .measured(hold.unmeasured, Some(0.0), "1"),
        );
    }
    findings
}
