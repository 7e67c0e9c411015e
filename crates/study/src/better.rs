//! Better directions within each hole's reach, as a new plan.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use pilothole_assess::refine::{OpenCorridors, RefineParams, Refined, refine};
use pilothole_assess::strength::StrengthParams;
use pilothole_plan::{Format, Plan};
use pilothole_report::{Record, compare, write_compare};
use serde_json::{Value, json};

use crate::calibrate::calibrate;
use crate::case::{Stage, judge_case};
use crate::error::CaseError;
use crate::folder::{Folder, Replace};
use crate::hold::robust_params;
use crate::params::CaseParams;
use crate::plan_file::{PlanFile, read_plan};
use crate::reason::Reason;

/// Names that a refinement's folder may hold.
const NAMES: [&str; 5] =
    ["plan.refined.toml", "refine.json", "compare.json", "compare.csv", "compare.html"];

/// Refine a plan on a scan and write the new plan, what moved and why, and the
/// comparison before and after; answers with what a terminal shows.
///
/// - `stop`: may be set from elsewhere; what was found until then is written.
///
/// # Errors
///
/// [`CaseError`]; nothing is written then.
pub fn write_refined(
    scan: &Path,
    plan: &Path,
    out: (&Path, Replace),
    params: &CaseParams,
    stop: &AtomicBool,
) -> Result<String, CaseError> {
    let folder = Folder::begin(out.0, &NAMES, out.1)?;
    let file = read_plan(plan)?;
    let before = judge_case(scan, &file, params, &|_: Stage| ())?;
    let calibrated = calibrate(&file.plan, &before.prepared.intake, params)?;
    let line = calibrated.line().ok_or_else(|| {
        CaseError::Plan(vec![Reason::new(
            "plan.range",
            "no law of strength is stated in the calibration's mineral",
        )])
    })?;
    let asked = RefineParams::with(robust_params(&file.plan, params), StrengthParams::with(line));
    let scene = before.prepared.scene();
    let refined = refine(&scene, &file.plan, &asked, &OpenCorridors, stop);
    let text = refined.plan.resolved_toml();
    Plan::parse(&text, Format::Toml)?;
    let old = before.record(&file.plan, params);
    let new_file = PlanFile { plan: refined.plan.clone(), part: file.part.clone() };
    let after = before.rejudged(&new_file, params)?;
    let new: Record = after.record(&new_file.plan, params);
    folder.write("plan.refined.toml", text.as_bytes())?;
    folder.write("refine.json", as_json(&file.plan, &refined).as_bytes())?;
    for (name, bytes) in write_compare(&compare(&[old, new])) {
        folder.write(name, &bytes)?;
    }
    folder.finish()?;
    Ok(words(&file.plan, &refined))
}

fn words(plan: &Plan, refined: &Refined) -> String {
    let moved = refined.holes.iter().filter(|h| h.turned_rad > 0.0 || h.moved_mm > 0.0).count();
    let mut lines = vec![format!(
        "{moved} of {} holes moved; pairs nearer than wanted: {} before, {} after{}",
        refined.holes.len(),
        refined.clashes[0],
        refined.clashes[1],
        if refined.complete { "" } else { "; stopped early, the best so far" }
    )];
    for hole in &refined.holes {
        let strength = |candidate: Option<pilothole_assess::refine::Candidate>| {
            candidate.map_or_else(|| "-".to_owned(), |c| format!("{:.0} N", c.objectives.low_n))
        };
        let name: String = plan.holes[hole.hole].id.chars().take(14).collect();
        lines.push(format!(
            "{name:<14}  {:<14}  {:>4.1} deg  {:>4.1} mm  low strength {} -> {}",
            hole.reason.word(),
            hole.turned_rad.to_degrees(),
            hole.moved_mm,
            strength(hole.before),
            strength(hole.after),
        ));
    }
    lines.push(pilothole_report::CAUTION.to_owned());
    lines.join("\n")
}

fn as_json(plan: &Plan, refined: &Refined) -> String {
    let rows: Vec<Value> = refined
        .holes
        .iter()
        .map(|hole| {
            let side = |candidate: Option<pilothole_assess::refine::Candidate>| {
                candidate.map(|c| {
                    json!({
                        "seat_mm": c.seat.0,
                        "direction": c.direction.components(),
                        "length_mm": c.objectives.length_mm,
                        "purchase_mm": c.objectives.purchase_mm,
                        "pullout_n": c.objectives.pullout_n,
                        "low_n": c.objectives.low_n,
                        "keeps": c.objectives.keeps,
                        "gap_mm": c.gap_mm,
                    })
                })
            };
            let front: Vec<Value> =
                hole.front.iter().filter_map(|candidate| side(Some(*candidate))).collect();
            json!({
                "id": plan.holes[hole.hole].id,
                "reason": hole.reason.word(),
                "turned_deg": hole.turned_rad.to_degrees(),
                "moved_mm": hole.moved_mm,
                "gain_n": hole.gain_n,
                "noise_n": hole.noise_n,
                "tried": hole.tried,
                "before": side(hole.before),
                "after": side(hole.after),
                "front": front,
            })
        })
        .collect();
    let all = json!({
        "schema": "pilothole/refine/1",
        "caution": pilothole_report::CAUTION,
        "complete": refined.complete,
        "clashes_before": refined.clashes[0],
        "clashes_after": refined.clashes[1],
        "holes": rows,
    });
    format!("{all:#}\n")
}
