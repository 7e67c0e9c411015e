//! What contradicts itself although every field alone is well formed.

use std::collections::BTreeMap;

use crate::landmark::{LandmarkKind, LandmarkName};
use crate::model::Plan;
use crate::problem::PlanProblem;
use crate::schema::shown;
use crate::tree::{Kind, Node};

/// A landmark `hip-centre-` of the other side this near to the planned centre
/// contradicts the side, mm. Hip centres lie some 170 mm apart, and a planned
/// centre within 40 mm of the anatomical one.
const OTHER_HIP_MM: f64 = 60.0;

pub(super) fn judge(problems: &mut Vec<PlanProblem>, root: &Node, plan: &Plan) {
    for (list, field) in [("hole", "id"), ("screw", "name"), ("patch", "id"), ("landmark", "name")]
    {
        duplicates(problems, root, list, field);
    }
    screws(problems, root, plan);
    lengths(problems, root, plan);
    side(problems, root, plan);
}

fn duplicates(problems: &mut Vec<PlanProblem>, root: &Node, list: &str, field: &str) {
    let Some(Kind::List(items)) = root.get(list).map(|f| &f.value.kind) else { return };
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for item in items {
        let Some(name) = item.get(field) else { continue };
        let Kind::Text(text) = &name.value.kind else { continue };
        if let Some(first) = seen.get(text.as_str()) {
            let said = format!("a {list} of the {field} `{}` is on line {first}", shown(text));
            problems.push(PlanProblem::new("plan.duplicate", name.line, said));
        } else {
            seen.insert(text, name.line);
        }
    }
}

/// The screws that the plan states come first in it, in its order, unless one
/// was refused; then their lines are unknown and the plan is refused anyway.
fn screws(problems: &mut Vec<PlanProblem>, root: &Node, plan: &Plan) {
    for screw in &plan.screws {
        let Some(node) = stated(root, &screw.name) else { continue };
        let range = |name: &str, text: String, measured, limit| {
            PlanProblem::new("plan.range", node.line_of(name), text).measured(
                measured,
                limit,
                Some("mm"),
            )
        };
        let (core, major) = (screw.core_diameter_mm, screw.major_diameter_mm);
        if core >= major {
            let text = format!("`core_diameter_mm` is {core} mm, it must be below {major} mm");
            problems.push(range("core_diameter_mm", text, core, major));
        }
        for pair in screw.stocked_lengths_mm.windows(2).filter(|pair| pair[0] >= pair[1]) {
            let text = format!("`stocked_lengths_mm` must rise: {} follows {}", pair[1], pair[0]);
            problems.push(range("stocked_lengths_mm", text, pair[1], pair[0]));
        }
        let longest = screw.stocked_lengths_mm.iter().copied().fold(0.0, f64::max);
        let bare = screw.thread_start_mm + screw.tip_mm;
        if bare >= longest {
            let text = format!("no stocked length has a thread: the longest is {longest} mm");
            problems.push(range("thread_start_mm", text, bare, longest));
        }
    }
}

fn stated<'a>(root: &'a Node, name: &str) -> Option<&'a Node> {
    let Some(Kind::List(items)) = root.get("screw").map(|f| &f.value.kind) else { return None };
    items.iter().find(|item| {
        matches!(item.get("name").map(|f| &f.value.kind), Some(Kind::Text(text)) if text == name)
    })
}

fn lengths(problems: &mut Vec<PlanProblem>, root: &Node, plan: &Plan) {
    for (i, hole) in plan.holes.iter().enumerate() {
        let (Some(length), Some(screw)) = (hole.length_mm, plan.screws.get(hole.screw)) else {
            continue;
        };
        let bare = screw.thread_start_mm + screw.tip_mm;
        if length <= bare {
            let text =
                format!("`length_mm` is {length} mm, but the first {bare} mm hold no thread");
            let line = root.entry("hole", i).line_of("length_mm");
            let problem = PlanProblem::new("plan.range", line, text);
            problems.push(problem.measured(length, bare, Some("mm")));
        }
    }
}

/// The named landmarks of the operated side must be the near ones.
fn side(problems: &mut Vec<PlanProblem>, root: &Node, plan: &Plan) {
    let line = root.line_of("side");
    let (own, other) = (plan.side, plan.side.other());
    let mut contradict = |text: String, measured, limit| {
        let problem = PlanProblem::new("plan.side", line, text)
            .measured(measured, limit, Some("mm"))
            .next("check `side`, the landmarks' names and `coordinates`");
        problems.push(problem);
    };
    for kind in LandmarkKind::ALL {
        let distance = |side| {
            plan.landmark(LandmarkName { kind, side }).map(|at| at.distance_mm(plan.socket.centre))
        };
        match (distance(own), distance(other)) {
            (Some(near), Some(far)) if near > far => contradict(
                format!(
                    "`side` is {0}, but the socket is nearer to {1}-{2} ({far:.0} mm) than to \
                     {1}-{0} ({near:.0} mm)",
                    own.word(),
                    kind.word(),
                    other.word(),
                ),
                near,
                far,
            ),
            (None, Some(far)) if kind == LandmarkKind::HipCentre && far < OTHER_HIP_MM => {
                contradict(
                    format!(
                        "`side` is {}, but hip-centre-{} lies {far:.0} mm from the socket",
                        own.word(),
                        other.word()
                    ),
                    far,
                    OTHER_HIP_MM,
                );
            }
            _ => {}
        }
    }
}
