//! What a refinement moved, by how much and why: for a terminal, as comments
//! above the new plan, and as `refine.json`.

use pilothole_assess::refine::{Candidate, Refined, RefinedHole};
use pilothole_plan::Plan;
use serde_json::{Value, json};

use crate::number::{deg, mm, newton, share};
use crate::text::{CAUTION, counted, label, shortened, wrapped};

/// Letters of a hole's name in a table of plain text.
const MOST_LETTERS: usize = 12;

/// What the table's numbers are, and what a direction is judged by.
const JUDGED: &str = "judged by low strength (pull-out that nine in ten wrong placements reach) \
                      times the share of placements that keep both the margin at the far cortex \
                      and the bone beside the screw";

/// What to do with a refined plan.
const NEXT: &str = "next: assess the new plan and compare it with the old one; grades, load and \
                    the set's verdict are not judged here, and a grade may fall";

/// One line a hole, with what was found in all.
pub fn refined_words(plan: &Plan, refined: &Refined) -> String {
    let moved = refined.holes.iter().filter(|h| h.turned_rad > 0.0 || h.moved_mm > 0.0).count();
    let mut lines = vec![format!(
        "{moved} of {} moved; pairs nearer than wanted: {} before, {} after{}",
        counted(refined.holes.len(), "hole", "holes"),
        refined.clashes[0],
        refined.clashes[1],
        if refined.complete { "" } else { "; stopped early, the best so far" }
    )];
    let sum = |count: fn(&RefinedHole) -> usize| refined.holes.iter().map(count).sum::<usize>();
    let (blocked, tried) = (sum(|h| h.blocked), sum(|h| h.tried));
    lines.push(format!("no drill gets to {blocked} of the {tried} directions looked at"));
    lines.extend(wrapped(JUDGED, 80));
    lines.push(format!(
        "{:<12} {:<14} {:>6} {:>5}  {:<10} {:<10} {}",
        "hole", "", "turned", "moved", "length", "keeps both", "low strength"
    ));
    lines.push(format!(
        "{:<12} {:<14} {:>6} {:>5}  {:<10} {:<10} {}",
        "", "", "deg", "mm", "mm", "%", "N"
    ));
    lines.extend(refined.holes.iter().map(|hole| {
        format!(
            "{:<12} {:<14} {:>6.1} {:>5.1}  {:<10} {:<10} {}",
            shortened(&plan.holes[hole.hole].id, MOST_LETTERS),
            hole.reason.word(),
            hole.turned_rad.to_degrees(),
            hole.moved_mm,
            change(hole, |c| c.objectives.length_mm),
            change(hole, keeps_percent),
            change(hole, low_newton),
        )
    }));
    lines.extend(reservations(plan, refined).iter().flat_map(|line| wrapped(line, 80)));
    lines.extend(wrapped(NEXT, 80));
    lines.extend(wrapped(CAUTION, 80));
    lines.join("\n")
}

/// One sentence a kind of reservation, with its code and the holes or pairs of
/// holes that it is about.
fn reservations(plan: &Plan, refined: &Refined) -> Vec<String> {
    let mut kinds: Vec<(&str, &str, Vec<String>)> = Vec::new();
    for finding in &refined.findings {
        let holes: Vec<String> = [finding.hole, finding.other]
            .into_iter()
            .flatten()
            .map(|at| label(&plan.holes[at].id))
            .collect();
        let about = (!holes.is_empty()).then(|| holes.join(" and "));
        match kinds
            .iter_mut()
            .find(|(code, text, _)| (*code, *text) == (finding.code, finding.text.as_str()))
        {
            Some((.., all)) => all.extend(about),
            None => kinds.push((finding.code, &finding.text, about.into_iter().collect())),
        }
    }
    kinds
        .into_iter()
        .map(|(code, text, about)| {
            let about =
                if about.is_empty() { String::new() } else { format!("{}: ", about.join(", ")) };
            format!("{code}: {about}{text}")
        })
        .collect()
}

fn keeps_percent(candidate: &Candidate) -> f64 {
    100.0 * candidate.objectives.keeps
}

fn low_newton(candidate: &Candidate) -> f64 {
    candidate.objectives.low_n
}

/// `before -> after`, a dash where the hole held no screw.
fn change(hole: &RefinedHole, value: fn(&Candidate) -> f64) -> String {
    let shown = |candidate: Option<&Candidate>| {
        candidate.map_or_else(|| "-".to_owned(), |c| format!("{:.0}", value(c)))
    };
    match (shown(hole.before.as_ref()), shown(hole.after.as_ref())) {
        (before, after) if before == after => after,
        (before, after) => format!("{before} -> {after}"),
    }
}

/// Comments for the top of the new plan's TOML, one sentence a hole.
pub fn refined_comments(plan: &Plan, refined: &Refined) -> String {
    let mut lines = wrapped(CAUTION, 78);
    lines.push(String::new());
    lines.push(
        "Refined. How far each hole was turned and moved, and why. Gain and noise are".to_owned(),
    );
    lines.push(
        "of low strength times the share of placements that keep far margin and side.".to_owned(),
    );
    lines.extend(refined.holes.iter().flat_map(|hole| {
        let sentence = format!(
            "{}: {:.1} deg, {:.1} mm, {}; keeps far margin and side {} %, low strength {} N; \
             gain {:.0} N, noise {:.0} N",
            label(&plan.holes[hole.hole].id),
            hole.turned_rad.to_degrees(),
            hole.moved_mm,
            hole.reason.word(),
            change(hole, keeps_percent),
            change(hole, low_newton),
            hole.gain_n,
            hole.noise_n
        );
        wrapped(&sentence, 78)
    }));
    lines.extend(reservations(plan, refined).iter().flat_map(|line| wrapped(line, 78)));
    lines.iter().fold(String::new(), |text, line| text + format!("# {line}").trim_end() + "\n")
}

/// `refine.json`.
pub fn refined_json(plan: &Plan, refined: &Refined) -> String {
    let rows: Vec<Value> = refined.holes.iter().map(|hole| row(plan, hole)).collect();
    let findings: Vec<Value> = refined
        .findings
        .iter()
        .map(|finding| {
            let [hole, other] =
                [finding.hole, finding.other].map(|at| at.map(|at| plan.holes[at].id.clone()));
            json!({ "code": finding.code, "hole": hole, "other": other, "text": finding.text })
        })
        .collect();
    let all = json!({
        "schema": "pilothole/refine/1",
        "caution": CAUTION,
        "complete": refined.complete,
        "clashes_before": refined.clashes[0],
        "clashes_after": refined.clashes[1],
        "holes": rows,
        "findings": findings,
    });
    format!("{all:#}\n")
}

fn row(plan: &Plan, hole: &RefinedHole) -> Value {
    let front: Vec<Value> = hole.front.iter().map(candidate).collect();
    json!({
        "id": plan.holes[hole.hole].id,
        "reason": hole.reason.word(),
        "turned_deg": deg(hole.turned_rad),
        "moved_mm": mm(hole.moved_mm),
        "gain_n": newton(hole.gain_n),
        "noise_n": newton(hole.noise_n),
        "tried": hole.tried,
        "blocked": hole.blocked,
        "before": hole.before.as_ref().map(candidate),
        "after": hole.after.as_ref().map(candidate),
        "front": front,
    })
}

fn candidate(candidate: &Candidate) -> Value {
    let worth = &candidate.objectives;
    json!({
        "seat_mm": crate::record::point(candidate.seat),
        "direction": crate::record::unit(candidate.direction),
        "length_mm": mm(worth.length_mm),
        "purchase_mm": mm(worth.purchase_mm),
        "pullout_n": newton(worth.pullout_n),
        "low_n": newton(worth.low_n),
        "keeps": share(worth.keeps),
        "gap_mm": candidate.gap_mm.and_then(mm),
    })
}
