//! The search within one hole's reach: a first look, then finer steps.

use std::f64::consts::TAU;

use rayon::prelude::*;

use super::candidate::{Bench, Look, Tried};
use super::place::Place;
use crate::stock::disc;

/// Step from where a blocked drill is first free outwards, rad: 0.5°.
const PAST_RAD: f64 = 0.008_726_646_259_971_648;

/// What a search found.
pub(crate) struct Found {
    /// At the planned place.
    pub(crate) base: Option<Tried>,
    /// Whether a drill gets to the planned place.
    pub(crate) open: bool,
    /// Every place that holds a screw, in the order tried.
    pub(crate) tried: Vec<Tried>,
    /// How many places were looked at.
    pub(crate) looked: Looked,
    /// Whether the search came to its end.
    pub(crate) complete: bool,
}

/// How many places were looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Looked {
    /// All.
    pub(crate) count: usize,
    /// Of those, the ones that no drill gets to.
    pub(crate) blocked: usize,
}

impl Looked {
    fn add(&mut self, other: Self) {
        self.count += other.count;
        self.blocked += other.blocked;
    }
}

/// Search a hole's reach for what is worth most on its own.
pub(crate) fn search(bench: &Bench<'_>) -> Found {
    let planned = Place::default();
    let base = bench
        .reach
        .axis(planned)
        .and_then(|axis| Some(Tried { place: planned, axis, objectives: bench.objectives(axis)? }));
    let open = base.is_none_or(|base| bench.is_open(base.axis));
    let tried = base.filter(|_| open).into_iter().collect();
    let looked = Looked { count: 1, blocked: usize::from(!open) };
    let mut found = Found { base, open, tried, looked, complete: true };
    if bench.reach.is_fixed() {
        return found;
    }
    let mut places = first_look(bench);
    if !open {
        places.extend(past_the_block(bench));
    }
    let (first, looked) = all_of(bench, &places);
    found.looked.add(looked);
    found.tried.extend(first);
    for start in starts(bench, &found.tried) {
        let (steps, looked) = climb(bench, start, |tried| tried.objectives.worth_n());
        found.looked.add(looked);
        found.tried.extend(steps);
    }
    found.complete = !bench.is_stopped();
    found
}

/// Places over the whole reach, the planned one first.
fn first_look(bench: &Bench<'_>) -> Vec<Place> {
    let (reach, spacing) = (&bench.reach, bench.params.spacing_rad);
    let grid = |spacing: f64| {
        let bands = (reach.swivel_rad / spacing).ceil().max(1.0);
        // The last band is the edge of the swivel, where the best often lies.
        disc(reach.swivel_rad, reach.swivel_rad / bands)
    };
    let tilts = if reach.swivel_rad > 0.0 { grid(spacing) } else { vec![[0.0; 2]] };
    let mut places: Vec<Place> =
        tilts.iter().map(|tilt| Place { tilt_rad: *tilt, slide_mm: [0.0; 2] }).collect();
    if reach.shift_mm > 0.0 {
        let coarse = if reach.swivel_rad > 0.0 { grid(2.0 * spacing) } else { vec![[0.0; 2]] };
        for slide_mm in disc(reach.shift_mm, 0.5 * reach.shift_mm).into_iter().skip(1) {
            places.extend(coarse.iter().map(|tilt| Place { tilt_rad: *tilt, slide_mm }));
        }
    }
    places.iter().map(|place| reach.held(*place)).collect()
}

/// Places on the way from where a blocked drill is first free to the edge of the
/// swivel: a corridor may be narrower than the first look's spacing.
fn past_the_block(bench: &Bench<'_>) -> Vec<Place> {
    let reach = &bench.reach;
    let planned = reach.axis(Place::default());
    let free = planned.and_then(|axis| bench.corridors.nearest_free(axis.seat, axis.direction));
    let Some((axis, free)) = planned.zip(free) else { return Vec::new() };
    let least_rad = axis.direction.angle_rad(free);
    let (u, v) = axis.direction.across();
    let (sin, cos) = free.dot(v).atan2(free.dot(u)).sin_cos();
    let steps = ((reach.swivel_rad - least_rad) / PAST_RAD).ceil();
    if steps < 0.0 {
        return Vec::new();
    }
    let place = |step: u32| {
        let tilt = (least_rad + f64::from(step) * PAST_RAD).min(reach.swivel_rad);
        reach.held(Place { tilt_rad: [tilt * cos, tilt * sin], slide_mm: [0.0; 2] })
    };
    (0..=steps as u32).map(place).collect()
}

/// Those that hold a screw, and how many were looked at; after a stop the rest
/// are not.
fn all_of(bench: &Bench<'_>, places: &[Place]) -> (Vec<Tried>, Looked) {
    let looks: Vec<Option<Look>> =
        places.par_iter().map(|place| (!bench.is_stopped()).then(|| bench.look(*place))).collect();
    let (mut tried, mut looked) = (Vec::new(), Looked::default());
    for look in looks.into_iter().flatten() {
        looked.count += 1;
        match look {
            Look::Holds(found) => tried.push(found),
            Look::Blocked => looked.blocked += 1,
            Look::Nothing => {}
        }
    }
    (tried, looked)
}

/// The best places so far, apart from each other by more than a first step.
fn starts(bench: &Bench<'_>, tried: &[Tried]) -> Vec<Tried> {
    let apart = 1.5 * bench.params.spacing_rad;
    let mut chosen: Vec<Tried> = Vec::new();
    for place in by_worth(tried) {
        if chosen.len() >= bench.params.starts {
            break;
        }
        let is_new = |other: &Tried| {
            place.axis.direction.angle_rad(other.axis.direction) > apart
                || place.axis.seat.distance_mm(other.axis.seat) > 0.25 * bench.reach.shift_mm + 1e-6
        };
        if chosen.iter().all(is_new) {
            chosen.push(place);
        }
    }
    chosen
}

/// Most worth first; the earlier one on ties.
pub(crate) fn by_worth(tried: &[Tried]) -> Vec<Tried> {
    let mut sorted = tried.to_vec();
    sorted.sort_by(|a, b| b.objectives.worth_n().total_cmp(&a.objectives.worth_n()));
    sorted
}

/// Directions in which a climb looks: eight of tilt, four of slide.
const TILTS: usize = 8;
const SLIDES: usize = 4;
/// Most rounds of one climb; each either moves or halves the step.
const ROUNDS: usize = 60;

/// Climb from a place by steps that are halved when no neighbour is better.
///
/// Answers the places it moved to, and how many it looked at.
pub(crate) fn climb(
    bench: &Bench<'_>,
    start: Tried,
    score: impl Fn(&Tried) -> f64,
) -> (Vec<Tried>, Looked) {
    let params = bench.params;
    let mut step_rad = 0.5 * params.spacing_rad.min(bench.reach.swivel_rad);
    let mut step_mm = 0.5 * bench.reach.shift_mm;
    let (mut at, mut way, mut looked) = (start, Vec::new(), Looked::default());
    for _ in 0..ROUNDS {
        let fine = step_rad < params.finest_rad && step_mm < params.finest_mm;
        if fine || bench.is_stopped() {
            break;
        }
        let places = neighbours(bench, &at, step_rad, step_mm);
        let (tried, some) = all_of(bench, &places);
        looked.add(some);
        let best = tried
            .into_iter()
            .reduce(|best, next| if score(&next) > score(&best) { next } else { best });
        match best {
            Some(best) if score(&best) > score(&at) => {
                at = best;
                way.push(best);
            }
            _ => (step_rad, step_mm) = (0.5 * step_rad, 0.5 * step_mm),
        }
    }
    (way, looked)
}

fn neighbours(bench: &Bench<'_>, at: &Tried, step_rad: f64, step_mm: f64) -> Vec<Place> {
    let around = |count: usize, index: usize, step: f64, from: [f64; 2]| {
        let angle = TAU * index as f64 / count as f64;
        [from[0] + step * angle.cos(), from[1] + step * angle.sin()]
    };
    let mut places = Vec::with_capacity(TILTS + SLIDES);
    if step_rad >= bench.params.finest_rad {
        places.extend((0..TILTS).map(|i| Place {
            tilt_rad: around(TILTS, i, step_rad, at.place.tilt_rad),
            slide_mm: at.place.slide_mm,
        }));
    }
    if step_mm >= bench.params.finest_mm {
        places.extend((0..SLIDES).map(|i| Place {
            tilt_rad: at.place.tilt_rad,
            slide_mm: around(SLIDES, i, step_mm, at.place.slide_mm),
        }));
    }
    let held = places.into_iter().map(|place| bench.reach.held(place));
    held.filter(|place| *place != at.place).collect()
}
