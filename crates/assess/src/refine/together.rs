//! One place for every hole, so that no two screws come too near.

use pilothole_volume::PatientPoint;

use super::candidate::Tried;
use crate::path::Axis;
use crate::set::segment::nearest_points;
use crate::set::{Frustum, head_of};

/// A screw as it takes room: its shaft by axis and radius, and its head.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Body {
    from: PatientPoint,
    to: PatientPoint,
    radius_mm: f64,
    head: Frustum,
}

impl Body {
    /// A screw of a length, seat to tip, and an outer radius.
    pub(crate) fn new(axis: Axis, length_mm: f64, radius_mm: f64) -> Self {
        let (head_mm, height_mm) = head_of(2.0 * radius_mm);
        let head = Frustum::cylinder(axis.seat, -axis.direction, height_mm, 0.5 * head_mm);
        Self { from: axis.seat, to: axis.at(length_mm), radius_mm, head }
    }

    pub(crate) fn of(tried: &Tried, radius_mm: f64) -> Self {
        Self::new(tried.axis, tried.objectives.length_mm, radius_mm)
    }

    /// Distance between two surfaces, heads included, mm; negative where they
    /// overlap.
    ///
    /// Shafts and heads are cylinders with round ends, so at most as far apart
    /// as flat-ended ones.
    pub(crate) fn gap_mm(&self, other: &Self) -> f64 {
        let shafts_mm = distance_mm([self.from, self.to], [other.from, other.to])
            - self.radius_mm
            - other.radius_mm;
        let (own, others) = (self.shaft(), other.shaft());
        [(self.head, other.head), (self.head, others), (other.head, own)]
            .iter()
            .map(|(head, piece)| at_least_mm(head, piece))
            .fold(shafts_mm, f64::min)
    }

    /// By how much another is nearer than wanted, mm; 0 where it is not.
    pub(crate) fn short_mm(&self, other: &Self, wanted_mm: f64) -> f64 {
        (wanted_mm - self.gap_mm(other)).max(0.0)
    }

    fn shaft(&self) -> Frustum {
        let length_mm = self.from.distance_mm(self.to);
        Frustum::cylinder(self.from, -self.head.axis, length_mm, self.radius_mm)
    }
}

/// A lower bound of the distance between two cylinders, mm: that of the round-ended
/// cylinders that hold them.
fn at_least_mm(a: &Frustum, b: &Frustum) -> f64 {
    distance_mm(a.ends(), b.ends()) - a.from_radius_mm - b.from_radius_mm
}

fn distance_mm(first: [PatientPoint; 2], second: [PatientPoint; 2]) -> f64 {
    let [a, b] = nearest_points(first, second);
    a.distance_mm(b)
}

/// A place that a hole may take in the set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Choice {
    /// `None` for a hole left as planned without a screw that holds.
    pub(crate) tried: Option<Tried>,
    pub(crate) body: Option<Body>,
}

impl Choice {
    pub(crate) fn of(tried: &Tried, radius_mm: f64) -> Self {
        Self { tried: Some(*tried), body: Some(Body::of(tried, radius_mm)) }
    }

    pub(crate) fn worth_n(&self) -> f64 {
        self.tried.map_or(0.0, |tried| tried.objectives.worth_n())
    }
}

/// By how much screws are nearer than wanted, mm, summed; and the worth, N.
///
/// Less shortage is better whatever the worth.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Score {
    short_mm: f64,
    worth_n: f64,
}

/// Differences of shortage that count, mm.
pub(crate) const SHORT_MM: f64 = 1e-6;

impl Score {
    fn beats(&self, other: &Self) -> bool {
        let less = other.short_mm - self.short_mm;
        less > SHORT_MM || (less > -SHORT_MM && self.worth_n > other.worth_n + 1e-9)
    }
}

/// The holes' choices, and the gap wanted between screws, mm.
pub(crate) struct Together<'a> {
    pub(crate) choices: &'a [Vec<Choice>],
    pub(crate) wanted_mm: f64,
}

/// Choices of each hole that are looked at two holes at once: the planned
/// place, the best, and the best of each part of the reach.
const PAIR_CHOICES: usize = 18;
/// Most sweeps over all holes; each makes the set better or is the last.
const SWEEPS: usize = 60;

impl Together<'_> {
    /// Positions of the chosen ones: the better of two climbs, one from every
    /// hole's best on its own, one from the plan.
    pub(crate) fn choose(&self) -> Vec<usize> {
        let best = |choices: &Vec<Choice>| {
            let better = |best: usize, next: usize| {
                if choices[next].worth_n() > choices[best].worth_n() { next } else { best }
            };
            (0..choices.len()).reduce(better).unwrap_or(0)
        };
        let from_best = self.improve(self.choices.iter().map(best).collect());
        let from_plan = self.improve(vec![0; self.choices.len()]);
        let plan_wins = self.whole(&from_plan).beats(&self.whole(&from_best));
        if plan_wins { from_plan } else { from_best }
    }

    fn improve(&self, mut chosen: Vec<usize>) -> Vec<usize> {
        for _ in 0..SWEEPS {
            let mut moved = false;
            for hole in 0..chosen.len() {
                let now = (chosen[hole], self.of_hole(&chosen, hole, chosen[hole], None));
                let best = (0..self.choices[hole].len())
                    .map(|option| (option, self.of_hole(&chosen, hole, option, None)))
                    .fold(now, |best, next| if next.1.beats(&best.1) { next } else { best });
                moved |= best.0 != chosen[hole];
                chosen[hole] = best.0;
            }
            if !moved && !self.improve_pair(&mut chosen) {
                break;
            }
        }
        chosen
    }

    /// Move the first two holes at once that are better so; only holes that
    /// come too near another are looked at.
    fn improve_pair(&self, chosen: &mut [usize]) -> bool {
        let count = chosen.len();
        let near: Vec<usize> = (0..count)
            .filter(|hole| self.of_hole(chosen, *hole, chosen[*hole], None).short_mm > SHORT_MM)
            .collect();
        for &a in &near {
            for b in (0..count).filter(|b| *b != a) {
                let both = |x: usize, y: usize| {
                    let first = self.of_hole(chosen, a, x, Some((b, y)));
                    let second = self.of_hole(chosen, b, y, Some((a, x)));
                    let pair_mm = self.short_mm(&self.choices[a][x], &self.choices[b][y]);
                    Score {
                        short_mm: first.short_mm + second.short_mm - pair_mm,
                        worth_n: first.worth_n + second.worth_n,
                    }
                };
                let now = both(chosen[a], chosen[b]);
                let most = |hole: usize| self.choices[hole].len().min(PAIR_CHOICES);
                let better = (0..most(a))
                    .flat_map(|x| (0..most(b)).map(move |y| (x, y)))
                    .find(|(x, y)| both(*x, *y).beats(&now));
                if let Some((x, y)) = better {
                    (chosen[a], chosen[b]) = (x, y);
                    return true;
                }
            }
        }
        false
    }

    /// A hole's worth at an option, and how much too near it comes to the
    /// others; one of them may be taken elsewhere.
    fn of_hole(
        &self,
        chosen: &[usize],
        hole: usize,
        option: usize,
        other: Option<(usize, usize)>,
    ) -> Score {
        let own = &self.choices[hole][option];
        let short_mm = (0..chosen.len())
            .filter(|with| *with != hole)
            .map(|with| {
                let at = other.filter(|(o, _)| *o == with).map_or(chosen[with], |(_, at)| at);
                self.short_mm(own, &self.choices[with][at])
            })
            .sum();
        Score { short_mm, worth_n: own.worth_n() }
    }

    /// Take back what was given up for room without clearing a clash: every
    /// hole goes where it is worth most among the places that it may take.
    ///
    /// A little more room between two screws that clash all the same is worth
    /// nothing.
    pub(crate) fn settle(&self, chosen: &mut [usize]) {
        for _ in 0..SWEEPS {
            let before = chosen.to_vec();
            for hole in 0..chosen.len() {
                chosen[hole] = self.best_allowed(chosen, hole);
            }
            if *chosen == before {
                break;
            }
        }
    }

    /// The option of a hole that is worth most among those it may take.
    fn best_allowed(&self, chosen: &[usize], hole: usize) -> usize {
        let worth_n = |option: usize| self.choices[hole][option].worth_n();
        (0..self.choices[hole].len()).fold(chosen[hole], |best, option| {
            let gains = worth_n(option) > worth_n(best) + 1e-9;
            if gains && self.may_take(chosen, hole, option) { option } else { best }
        })
    }

    /// Whether a hole may take an option: no more screws come too near than
    /// now, nor nearer than now or than the planned place would.
    pub(crate) fn may_take(&self, chosen: &[usize], hole: usize, option: usize) -> bool {
        let too_near = |option: usize| {
            let own = &self.choices[hole][option];
            let others = (0..chosen.len()).filter(|with| *with != hole);
            let short = others.map(|with| self.short_mm(own, &self.choices[with][chosen[with]]));
            short.fold((0, 0.0), |(count, sum), mm| (count + usize::from(mm > SHORT_MM), sum + mm))
        };
        let [now, planned, there] = [chosen[hole], 0, option].map(too_near);
        there.0 <= now.0 && there.1 <= now.1.max(planned.1) + SHORT_MM
    }

    pub(crate) fn short_mm(&self, a: &Choice, b: &Choice) -> f64 {
        a.body.zip(b.body).map_or(0.0, |(a, b)| a.short_mm(&b, self.wanted_mm))
    }

    fn whole(&self, chosen: &[usize]) -> Score {
        let at = |hole: usize| &self.choices[hole][chosen[hole]];
        let count = chosen.len();
        let short_mm = pairs(count).map(|(a, b)| self.short_mm(at(a), at(b))).sum();
        Score { short_mm, worth_n: (0..count).map(|hole| at(hole).worth_n()).sum() }
    }

    /// Pairs nearer than wanted.
    pub(crate) fn clashes(&self, chosen: &[usize]) -> usize {
        let at = |hole: usize| &self.choices[hole][chosen[hole]];
        pairs(chosen.len()).filter(|(a, b)| self.short_mm(at(*a), at(*b)) > SHORT_MM).count()
    }
}

pub(crate) fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |a| (a + 1..count).map(move |b| (a, b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_volume::{Direction, Offset};

    #[test]
    fn heads_count_where_they_are_nearest() {
        let body = |x: f64, direction: Direction| {
            let axis = Axis { seat: PatientPoint([x, 0.0, 0.0]), direction };
            Body::new(axis, 40.0, 3.25)
        };
        // 6.5 mm screws have heads of 8 mm: side by side 10 mm apart, 2 mm are
        // left between heads and 3.5 mm between shafts.
        let (a, b) = (body(0.0, Direction::SUPERIOR), body(10.0, Direction::SUPERIOR));
        for found in [a.gap_mm(&b), b.gap_mm(&a)] {
            assert!((found - 2.0).abs() < 1e-6, "{found}");
        }
        assert!((a.short_mm(&b, 3.0) - 1.0).abs() < 1e-6);
        // Tips that lean towards each other are nearest at the tips.
        let lean = |x: f64, lean: f64| {
            let tilted = Direction::along(Offset([lean, 0.0, 1.0])).expect("has length");
            body(x, tilted)
        };
        let found = lean(0.0, 0.1).gap_mm(&lean(14.0, -0.1));
        assert!(found < 0.0, "{found}");
    }
}
