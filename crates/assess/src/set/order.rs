//! In which order to fill the holes, so that the part is stable early.
//!
//! The first few are chosen together over all their combinations, the rest one
//! by one, each the hole that lowers the largest movement under the everyday
//! load cases most. That an ilium screw comes first is common practice, that
//! an opposed screw follows early is reasoned from statics and from the turn
//! of cups while screws are tightened (sheet 2 §3.3); no paper tests an order.

use nalgebra::{Matrix6, Vector3, Vector6};
use pilothole_plan::{BoneRegion, Plan};

use super::load::Loaded;
use super::model::Model;
use super::params::OrderParams;
use super::rigid::{ARM_MM, Spring, total};
use super::springs::vector;
use super::types::{Guides, Order, OrderStep, Sequence, StepReason};

/// Propose an order and judge the plan's own; `None` without a screw that
/// holds.
pub(crate) fn fill_order(
    plan: &Plan,
    loaded: &Loaded,
    guides: Option<&Guides>,
    params: &OrderParams,
) -> Option<Order> {
    if loaded.anchors.is_empty() {
        return None;
    }
    let filler = Filler::new(plan, loaded, guides, *params);
    let proposed = filler.sequence(&filler.propose());
    let given = plan.order.as_ref().map(|order| {
        let steps: Vec<(usize, StepReason)> = order
            .iter()
            .filter_map(|hole| filler.holes.iter().position(|h| h == hole))
            .map(|position| (position, StepReason::Given))
            .collect();
        filler.sequence(&steps)
    });
    let unfilled = (0..plan.holes.len()).filter(|hole| !filler.holes.contains(hole)).collect();
    Some(Order { proposed, given, unfilled })
}

/// What the choice of a hole looks at; positions count in the screws that
/// hold.
struct Filler {
    holes: Vec<usize>,
    springs: Vec<Spring>,
    tolerance: f64,
    loads: Vec<Vector6<f64>>,
    ilium: Vec<bool>,
    guide: Vec<Option<usize>>,
    /// Seats as seen along the socket's axis, from the hip centre, mm.
    around: Vec<Vector3<f64>>,
    params: OrderParams,
}

/// Seats nearer to the socket's axis than this have no side, mm.
const ON_AXIS_MM: f64 = 5.0;
/// Relative difference below which two movements are the same number.
const SAME: f64 = 1e-9;

impl Filler {
    fn new(plan: &Plan, loaded: &Loaded, guides: Option<&Guides>, params: OrderParams) -> Self {
        let holes: Vec<usize> = loaded.anchors.iter().map(|a| a.told.hole).collect();
        let axis = vector(plan.socket.axis.offset());
        let guide_of = |hole: &usize| {
            guides.and_then(|g| g.groups.iter().position(|group| group.holes.contains(hole)))
        };
        Self {
            springs: loaded.models[1].screws.clone(),
            tolerance: loaded.models[1].tolerance,
            loads: loaded.axes.everyday(),
            ilium: holes
                .iter()
                .map(|hole| plan.holes[*hole].region == Some(BoneRegion::Ilium))
                .collect(),
            guide: holes.iter().map(guide_of).collect(),
            around: loaded.anchors.iter().map(|a| a.at - axis * a.at.dot(&axis)).collect(),
            holes,
            params,
        }
    }

    /// Largest movement under the everyday cases with the hand's help, µm.
    fn movement_um(&self, filled: &[usize]) -> f64 {
        let hand = self.params.hand_n_per_mm;
        let turn = hand * ARM_MM * ARM_MM;
        let hand = Matrix6::from_diagonal(&Vector6::new(hand, hand, hand, turn, turn, turn));
        let stiffness = hand + total(filled.iter().map(|i| &self.springs[*i]));
        let Some(factors) = stiffness.cholesky() else { return f64::INFINITY };
        self.loads
            .iter()
            .map(|load| 1e3 * factors.solve(load).fixed_rows::<3>(0).norm())
            .fold(0.0, f64::max)
    }

    fn opposed(&self, a: usize, b: usize) -> bool {
        let (a, b) = (self.around[a], self.around[b]);
        let apart = a.norm() > ON_AXIS_MM && b.norm() > ON_AXIS_MM;
        apart && a.angle(&b) > self.params.opposed_rad
    }

    /// Positions in the order proposed, and why.
    fn propose(&self) -> Vec<(usize, StepReason)> {
        let mut steps = self.first_steps();
        while steps.len() < self.holes.len() {
            let filled: Vec<usize> = steps.iter().map(|(position, _)| *position).collect();
            steps.push(self.next_step(&filled));
        }
        if let Some(last) = steps.last_mut().filter(|_| self.holes.len() > 1) {
            last.1 = StepReason::Last;
        }
        steps
    }

    /// The screws chosen together, in the order in which each does most.
    fn first_steps(&self) -> Vec<(usize, StepReason)> {
        let count = self.params.together.clamp(1, self.holes.len());
        let wants_ilium = self.ilium.iter().any(|ilium| *ilium);
        let sets: Vec<(Vec<usize>, f64)> = combinations(self.holes.len(), count)
            .into_iter()
            .filter(|set| !wants_ilium || set.iter().any(|i| self.ilium[*i]))
            .map(|set| {
                let movement = self.movement_um(&set);
                (set, movement)
            })
            .collect();
        let best = sets.iter().map(|(_, movement)| *movement).fold(f64::INFINITY, f64::min);
        let near = |movement: f64| movement <= best * (1.0 + self.params.near_best);
        let has_pair = |set: &[usize]| {
            set.iter().enumerate().any(|(i, a)| set[i + 1..].iter().any(|b| self.opposed(*a, *b)))
        };
        let chosen = least(sets.iter().filter(|(set, m)| near(*m) && has_pair(set)))
            .or_else(|| least(sets.iter()))
            .map_or_else(Vec::new, |(set, _)| set.clone());
        self.arrange(chosen, wants_ilium)
    }

    fn arrange(&self, mut set: Vec<usize>, wants_ilium: bool) -> Vec<(usize, StepReason)> {
        let mut steps: Vec<(usize, StepReason)> = Vec::new();
        while !set.is_empty() {
            let filled: Vec<usize> = steps.iter().map(|(position, _)| *position).collect();
            let ranked: Vec<(usize, f64)> =
                set.iter().map(|next| (*next, self.with(&filled, *next))).collect();
            let first_is_ilium = steps.is_empty() && wants_ilium;
            let faces = |position: usize| {
                steps.first().is_some_and(|first| self.opposed(first.0, position))
            };
            let preferred = if first_is_ilium {
                least(ranked.iter().filter(|(next, _)| self.ilium[*next]))
                    .map(|(next, _)| (*next, StepReason::IliumFirst))
            } else {
                least(ranked.iter().filter(|(next, _)| faces(*next)))
                    .map(|(next, _)| (*next, StepReason::Opposed))
            };
            let stiffest = || least(ranked.iter()).map(|(next, _)| (*next, StepReason::Stiffest));
            let Some(step) = preferred.or_else(stiffest) else { break };
            set.retain(|position| *position != step.0);
            steps.push(step);
        }
        steps
    }

    fn with(&self, filled: &[usize], next: usize) -> f64 {
        let mut more = filled.to_vec();
        more.push(next);
        self.movement_um(&more)
    }

    /// The hole that lowers the movement most, or nearly so through the guide
    /// that is in place.
    fn next_step(&self, filled: &[usize]) -> (usize, StepReason) {
        let left = (0..self.holes.len()).filter(|position| !filled.contains(position));
        let ranked: Vec<(usize, f64)> = left.map(|next| (next, self.with(filled, next))).collect();
        let Some((best, movement)) = least(ranked.iter()) else { return (0, StepReason::Last) };
        let guide = filled.last().and_then(|last| self.guide[*last]);
        let near = movement * (1.0 + self.params.near_best);
        let same_guide = ranked
            .iter()
            .filter(|(next, movement)| *movement <= near && self.guide[*next] == guide);
        match least(same_guide).filter(|_| guide.is_some()) {
            Some((next, _)) if next != best => (*next, StepReason::SameGuide),
            _ => (*best, StepReason::Stiffest),
        }
    }

    /// The stability after each step.
    fn sequence(&self, steps: &[(usize, StepReason)]) -> Sequence {
        let mut sequence = Sequence { steps: Vec::new(), guide_changes: 0, held_from: None };
        let mut filled: Vec<usize> = Vec::new();
        let mut in_place: Option<usize> = None;
        for (position, reason) in steps {
            filled.push(*position);
            let model = Model {
                screws: filled.iter().map(|i| self.springs[*i]).collect(),
                contact: Vec::new(),
                tolerance: self.tolerance,
            };
            let held = model.hold().held();
            let guide = self.guide[*position];
            let changes_guide = filled.len() > 1 && guide != in_place;
            in_place = guide;
            sequence.guide_changes += usize::from(changes_guide);
            if held == 6 && sequence.held_from.is_none() {
                sequence.held_from = Some(filled.len());
            }
            sequence.steps.push(OrderStep {
                hole: self.holes[*position],
                reason: *reason,
                guide,
                changes_guide,
                held,
                movement_um: model.worst_um(&self.loads),
                held_by_hand_um: self.movement_um(&filled),
            });
        }
        sequence
    }
}

/// The first of those whose movement is least.
fn least<'a, T>(all: impl Iterator<Item = &'a (T, f64)>) -> Option<&'a (T, f64)> {
    all.reduce(|best, next| if next.1 < best.1 * (1.0 - SAME) { next } else { best })
}

/// All sets of `count` of the numbers below `of`, in order of their numbers.
fn combinations(of: usize, count: usize) -> Vec<Vec<usize>> {
    let mut all = Vec::new();
    let mut set: Vec<usize> = (0..count).collect();
    loop {
        all.push(set.clone());
        let Some(place) = (0..count).rev().find(|i| set[*i] < of - count + i) else { break };
        set[place] += 1;
        for later in place + 1..count {
            set[later] = set[later - 1] + 1;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn combinations_are_all_there_once() {
        for (of, count, want) in [(7, 3, 35), (5, 5, 1), (6, 1, 6), (24, 3, 2024)] {
            let all = combinations(of, count);
            assert_eq!(all.len(), want);
            assert!(all.windows(2).all(|w| w[0] < w[1]));
        }
    }
}
