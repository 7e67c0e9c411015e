//! Better directions and seats for a plan's holes, each within its reach, all
//! together so that no two screws clash.
//!
//! Every hole is searched on its own first, in parallel; then one place is
//! chosen for each so that the set has the least clash and, with that, the most
//! worth. A hole moves only when it gains more than the measurement can tell,
//! or to make room. Same answer for any number of threads; stopped early, the
//! best so far is a complete plan. It does not add holes, nor choose screws.

mod candidate;
mod clear;
mod params;
mod place;
mod search;
mod together;
mod types;
mod ways;

pub use params::{Corridors, OpenCorridors, RefineParams};
pub use types::{Candidate, Objectives, RefineReason, Refined, RefinedHole};
pub use ways::DrillWays;

use std::sync::atomic::AtomicBool;

use pilothole_plan::Plan;
use pilothole_volume::{Direction, PatientPoint};
use rayon::prelude::*;

use crate::finding::Finding;
use crate::path::Axis;
use crate::robust::Points;
use crate::scene::Scene;
use candidate::{Bench, Tried};
use clear::Search;
use place::Reach;
use search::{Found, by_worth, climb, search};
use together::{Body, Choice, Together};

/// Make a plan's holes better.
///
/// - `corridors`: directions that a drill reaches; others are not proposed.
/// - `stop`: may be set from elsewhere; holes not yet searched then stay.
pub fn refine(
    scene: &Scene<'_>,
    plan: &Plan,
    params: &RefineParams,
    corridors: &dyn Corridors,
    stop: &AtomicBool,
) -> Refined {
    let with = Shared { scene, plan, params, corridors, stop };
    // By name, so that a hole's place in the plan decides nothing.
    let mut order: Vec<usize> = (0..plan.holes.len()).collect();
    order.sort_by(|a, b| plan.holes[*a].id.cmp(&plan.holes[*b].id));
    let benches: Vec<Bench<'_>> = order.into_iter().map(|hole| with.bench(hole)).collect();
    let found: Vec<Found> = benches.par_iter().map(search).collect();
    let mut choices: Vec<Vec<Choice>> =
        benches.iter().zip(&found).map(|(bench, found)| choices(bench, found)).collect();
    let wanted_mm = plan.policy.screw_gap_mm.value;
    let mut chosen = Together { choices: &choices, wanted_mm }.choose();
    make_room(&benches, wanted_mm, &mut choices, &mut chosen);
    let together = Together { choices: &choices, wanted_mm };
    let search = together.clear(&mut chosen);
    together.settle(&mut chosen);
    let planned = vec![0; choices.len()];
    let stays = return_what_gains_little(&together, &mut chosen);
    let set = Set { benches: &benches, together: &together, chosen: &chosen };
    let mut holes: Vec<RefinedHole> =
        found.iter().zip(stays).enumerate().map(|(at, (f, s))| set.hole(at, f, s)).collect();
    holes.sort_by_key(|refined| refined.hole);
    let clashes = [together.clashes(&planned), together.clashes(&chosen)];
    let complete = found.iter().all(|f| f.complete);
    let mut findings = findings(&holes, complete);
    findings.extend(set.left_clashing(search));
    Refined { plan: moved(plan, &holes), holes, clashes, complete, findings }
}

/// What one of a plan's holes is worth at a seat and direction; `None` where
/// no stocked screw holds.
///
/// # Panics
///
/// When the plan has no hole of that index.
pub fn objectives_at(
    scene: &Scene<'_>,
    plan: &Plan,
    hole: usize,
    axis: Axis,
    params: &RefineParams,
) -> Option<Objectives> {
    let stop = AtomicBool::new(false);
    let with = Shared { scene, plan, params, corridors: &OpenCorridors, stop: &stop };
    with.bench(hole).objectives(axis)
}

/// What all holes are searched with.
struct Shared<'a> {
    scene: &'a Scene<'a>,
    plan: &'a Plan,
    params: &'a RefineParams,
    corridors: &'a dyn Corridors,
    stop: &'a AtomicBool,
}

impl<'a> Shared<'a> {
    fn bench(&self, hole: usize) -> Bench<'a> {
        let planned = &self.plan.holes[hole];
        Bench {
            scene: self.scene,
            plan: self.plan,
            hole,
            screw: self.plan.screw_of(planned),
            reach: Reach::of(self.plan, planned),
            params: self.params,
            corridors: self.corridors,
            stop: self.stop,
            points: Points::new(self.params.robust.seed, planned.stream()),
        }
    }
}

/// Directions about the planned one, and shells, in which the best place of
/// each is kept for the set to choose from.
const SECTORS: usize = 8;
const SHELLS: usize = 2;

/// What a hole offers the set: the planned place first, then its best and the
/// best of each part of its reach, then the rest.
fn choices(bench: &Bench<'_>, found: &Found) -> Vec<Choice> {
    let radius_mm = 0.5 * bench.screw.major_diameter_mm;
    let planned = &bench.plan.holes[bench.hole];
    let as_planned = Choice {
        // Where no drill gets, a screw takes room and is worth nothing.
        tried: found.base.filter(|_| found.open),
        body: found.base.map(|tried| Body::of(&tried, radius_mm)).or_else(|| {
            let axis = Axis { seat: planned.seat, direction: planned.direction };
            Some(Body::new(axis, planned.length_mm?, radius_mm))
        }),
    };
    let mut taken = [[false; SHELLS]; SECTORS];
    let (mut first, mut rest) = (vec![as_planned], Vec::new());
    for (rank, tried) in by_worth(&found.tried).iter().enumerate() {
        let [a, b] = tried.place.tilt_rad;
        let turn = b.atan2(a).rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU;
        let sector = (turn * SECTORS as f64) as usize % SECTORS;
        let out = a.hypot(b) / bench.reach.swivel_rad.max(1e-12);
        let shell = ((out * SHELLS as f64) as usize).min(SHELLS - 1);
        let choice = Choice::of(tried, radius_mm);
        if rank == 0 || !taken[sector][shell] {
            taken[sector][shell] = true;
            first.push(choice);
        } else {
            rest.push(choice);
        }
    }
    first.extend(rest);
    first
}

/// Let every hole that had to leave its best, or still comes too near another,
/// climb from where it is among the others as they are.
fn make_room(
    benches: &[Bench<'_>],
    wanted_mm: f64,
    choices: &mut [Vec<Choice>],
    chosen: &mut [usize],
) {
    for (hole, bench) in benches.iter().enumerate() {
        let own_best = choices[hole].get(1).and_then(|choice| choice.tried);
        let Some(start) = choices[hole][chosen[hole]].tried else { continue };
        if bench.reach.is_fixed() || own_best.is_none_or(|best| best.place == start.place) {
            continue;
        }
        let others: Vec<Body> = (0..chosen.len())
            .filter(|other| *other != hole)
            .filter_map(|other| choices[other][chosen[other]].body)
            .collect();
        let radius_mm = 0.5 * bench.screw.major_diameter_mm;
        let score = |tried: &Tried| {
            let own = Body::of(tried, radius_mm);
            let short_mm: f64 = others.iter().map(|other| own.short_mm(other, wanted_mm)).sum();
            tried.objectives.worth_n() - SHORT_N_PER_MM * short_mm
        };
        let (steps, _) = climb(bench, start, score);
        if let Some(last) = steps.last() {
            chosen[hole] = choices[hole].len();
            choices[hole].push(Choice::of(last, radius_mm));
        }
    }
}

/// What a millimetre too near costs while climbing, N: more than any screw
/// holds.
const SHORT_N_PER_MM: f64 = 1e6;

/// Why a hole that could move does not.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stay {
    gain_n: f64,
    noise_n: f64,
}

/// Put back every hole that moved for less than the noise, where no more screws
/// come too near then; answers what each gave up.
fn return_what_gains_little(together: &Together<'_>, chosen: &mut [usize]) -> Vec<Option<Stay>> {
    (0..chosen.len())
        .map(|hole| {
            let options = &together.choices[hole];
            let (before, after) = (options[0].tried?, options[chosen[hole]].tried?);
            let (gain_n, noise_n) = gain(&before, &after);
            let little = chosen[hole] != 0 && gain_n <= noise_n;
            (little && together.may_take(chosen, hole, 0)).then(|| {
                chosen[hole] = 0;
                Stay { gain_n, noise_n }
            })
        })
        .collect()
}

fn gain(before: &Tried, after: &Tried) -> (f64, f64) {
    let gain_n = after.objectives.worth_n() - before.objectives.worth_n();
    (gain_n, before.objectives.noise_n.hypot(after.objectives.noise_n))
}

/// The set as it was chosen; `at` counts the benches.
struct Set<'a> {
    benches: &'a [Bench<'a>],
    together: &'a Together<'a>,
    chosen: &'a [usize],
}

impl Set<'_> {
    fn choice(&self, at: usize) -> &Choice {
        &self.together.choices[at][self.chosen[at]]
    }

    fn candidate(&self, at: usize, tried: &Tried) -> Candidate {
        let radius_mm = 0.5 * self.benches[at].screw.major_diameter_mm;
        let own = Body::of(tried, radius_mm);
        let gap_mm = (0..self.chosen.len())
            .filter(|other| *other != at)
            .filter_map(|other| self.choice(other).body)
            .map(|body| own.gap_mm(&body))
            .reduce(f64::min);
        let Tried { axis, objectives, .. } = *tried;
        Candidate { seat: axis.seat, direction: axis.direction, objectives, gap_mm }
    }

    fn hole(&self, at: usize, found: &Found, stay: Option<Stay>) -> RefinedHole {
        let bench = &self.benches[at];
        let moves = self.chosen[at] != 0;
        let before = found.base;
        let after = if moves { self.choice(at).tried } else { before };
        let (gain_n, noise_n) = match (before, after, stay) {
            (_, _, Some(stay)) => (stay.gain_n, stay.noise_n),
            (Some(before), Some(after), None) if moves => gain(&before, &after),
            (None, Some(after), None) => (after.objectives.worth_n(), after.objectives.noise_n),
            _ => (0.0, before.map_or(0.0, |b| b.objectives.noise_n)),
        };
        let reason = if moves && !found.open {
            RefineReason::OpensCorridor
        } else if moves && (before.is_none() || gain_n > noise_n) {
            RefineReason::Better
        } else if moves {
            RefineReason::ClearsClash
        } else {
            why_it_stays(bench, found, stay.is_some())
        };
        let planned = &bench.plan.holes[bench.hole];
        let lies =
            after.map_or((planned.seat, planned.direction), |a| (a.axis.seat, a.axis.direction));
        RefinedHole {
            hole: bench.hole,
            before: before.map(|tried| self.candidate(at, &tried)),
            after: after.map(|tried| self.candidate(at, &tried)),
            turned_rad: planned.direction.angle_rad(lies.1),
            moved_mm: planned.seat.distance_mm(lies.0),
            reason,
            gain_n,
            noise_n,
            front: self.front(at, found),
            tried: found.looked.count,
            blocked: found.looked.blocked,
        }
    }

    /// The pairs that still clash, and where combinations were left out.
    fn left_clashing(&self, search: Search) -> Vec<Finding> {
        let wanted_mm = self.together.wanted_mm;
        let text = match search {
            Search::Whole => {
                "These screws still come nearer than wanted: no choice among the directions looked at within reach keeps them, and those in their way, apart."
            }
            Search::Bounded => "These screws still come nearer than wanted.",
        };
        let pair = |(a, b, short_mm): (usize, usize, f64)| {
            let mut holes = [a, b].map(|at| self.benches[at].hole);
            holes.sort_unstable();
            Finding::new("refine.clash_remains", text)
                .measured(wanted_mm - short_mm, Some(wanted_mm), "mm")
                .of_hole(holes[0])
                .and_hole(holes[1])
        };
        let mut left: Vec<Finding> =
            self.together.clashing(self.chosen).into_iter().map(pair).collect();
        left.sort_by_key(|finding| (finding.hole, finding.other));
        if search == Search::Bounded {
            left.push(Finding::new(
                "refine.search_bounded",
                "Not every combination of the clashing holes' directions was looked through; a better one may be missed.",
            ));
        }
        left
    }

    /// The places that no other beats in strength, robustness and distance;
    /// distances count up to what is wanted, since more room is worth nothing.
    fn front(&self, at: usize, found: &Found) -> Vec<Candidate> {
        let wanted_mm = self.together.wanted_mm;
        let all: Vec<Candidate> =
            by_worth(&found.tried).iter().map(|tried| self.candidate(at, tried)).collect();
        let room = |c: &Candidate| c.gap_mm.unwrap_or(f64::INFINITY).min(wanted_mm);
        let mut front: Vec<Candidate> = Vec::new();
        for candidate in &all {
            let beaten = all.iter().any(|other| {
                room(other) >= room(candidate)
                    && (candidate.objectives.is_beaten_by(&other.objectives)
                        || (room(other) > room(candidate)
                            && other.objectives.low_n >= candidate.objectives.low_n
                            && other.objectives.keeps >= candidate.objectives.keeps))
            });
            let again = front.iter().any(|c| {
                c.objectives == candidate.objectives && c.direction == candidate.direction
            });
            if !beaten && !again {
                front.push(*candidate);
            }
        }
        front.sort_by(|a, b| b.objectives.low_n.total_cmp(&a.objectives.low_n));
        front
    }
}

fn why_it_stays(bench: &Bench<'_>, found: &Found, gains_little: bool) -> RefineReason {
    if bench.reach.is_fixed() {
        RefineReason::Fixed
    } else if !found.complete {
        RefineReason::Interrupted
    } else if !found.open {
        RefineReason::Blocked
    } else if found.tried.is_empty() {
        RefineReason::NoneHolds
    } else if gains_little {
        RefineReason::WithinNoise
    } else {
        RefineReason::AlreadyBest
    }
}

/// The plan with the holes that moved.
fn moved(plan: &Plan, holes: &[RefinedHole]) -> Plan {
    let mut plan = plan.clone();
    for refined in holes {
        use RefineReason::{Better, ClearsClash, OpensCorridor};
        let is_moved = matches!(refined.reason, Better | ClearsClash | OpensCorridor);
        if let (true, Some(after)) = (is_moved, &refined.after) {
            let hole = &mut plan.holes[refined.hole];
            let place: (PatientPoint, Direction) = (after.seat, after.direction);
            (hole.seat, hole.direction) = place;
            hole.length_mm = Some(after.objectives.length_mm);
        }
    }
    plan
}

fn findings(holes: &[RefinedHole], complete: bool) -> Vec<Finding> {
    let mut findings = Vec::new();
    for hole in holes {
        let finding = match hole.reason {
            RefineReason::WithinNoise => Finding::new(
                "refine.within_noise",
                "The hole stays: moving it gains less than the measurement's uncertainty.",
            )
            .measured(hole.gain_n, Some(hole.noise_n), "N"),
            RefineReason::NoneHolds => Finding::new(
                "refine.none_holds",
                "No direction within reach, and open to the drill, holds a stocked screw.",
            )
            .measured(hole.tried as f64, None, "1"),
            RefineReason::Fixed => Finding::new(
                "refine.fixed",
                "The hole has no swivel and no seat shift, so nothing was searched.",
            ),
            RefineReason::Blocked => Finding::new(
                "refine.blocked",
                "No drill gets to the planned direction, nor to any other that was looked at and holds a screw.",
            )
            .measured(hole.tried as f64, None, "1"),
            _ => continue,
        };
        findings.push(finding.of_hole(hole.hole));
    }
    if !complete {
        findings.push(Finding::new(
            "refine.interrupted",
            "The search was stopped early; holes not yet searched stay as planned.",
        ));
    }
    findings
}
