//! Clashes that single moves leave: every combination of the clashing holes'
//! places is looked through, with bounds.

use super::together::{SHORT_MM, Together, pairs};

/// Most steps of a search through combinations; as many take about a second.
const MOST_STEPS: usize = 1_000_000;

/// Whether all combinations were looked through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Search {
    /// What clashes still cannot be parted by any of the places.
    Whole,
    /// The bound was reached: a combination may have been missed.
    Bounded,
}

impl Together<'_> {
    /// Part what clashes: each group of clashing holes takes the places worth
    /// most together at which none of them comes too near any screw, where
    /// there are such places.
    ///
    /// A group that finds none among the others as they are takes in those that
    /// are in its way, until nothing is.
    pub(crate) fn clear(&self, chosen: &mut [usize]) -> Search {
        let mut steps = MOST_STEPS;
        for group in self.groups(chosen) {
            self.part(chosen, group, &mut steps);
        }
        if steps == 0 { Search::Bounded } else { Search::Whole }
    }

    fn part(&self, chosen: &mut [usize], mut group: Vec<usize>, steps: &mut usize) {
        loop {
            if let Some(places) = Combination::of(self, chosen, &group, steps).best() {
                for (hole, place) in group.iter().zip(places) {
                    chosen[*hole] = place;
                }
                return;
            }
            let in_the_way: Vec<usize> = (0..chosen.len())
                .filter(|other| !group.contains(other))
                .filter(|other| self.may_be_in_the_way(chosen, &group, *other))
                .collect();
            if *steps == 0 || in_the_way.is_empty() {
                return;
            }
            group.extend(in_the_way);
            group.sort_unstable();
        }
    }

    /// Pairs nearer than wanted, and by how much, mm.
    pub(crate) fn clashing(&self, chosen: &[usize]) -> Vec<(usize, usize, f64)> {
        let at = |hole: usize| &self.choices[hole][chosen[hole]];
        pairs(chosen.len())
            .map(|(a, b)| (a, b, self.short_mm(at(a), at(b))))
            .filter(|(.., short_mm)| *short_mm > SHORT_MM)
            .collect()
    }

    /// Holes that clash, with those they clash with; each in one group.
    fn groups(&self, chosen: &[usize]) -> Vec<Vec<usize>> {
        let mut group_of: Vec<usize> = (0..chosen.len()).collect();
        let clashing = self.clashing(chosen);
        for (a, b, _) in &clashing {
            let (keep, drop) = (group_of[*a], group_of[*b]);
            for group in &mut group_of {
                if *group == drop {
                    *group = keep;
                }
            }
        }
        (0..chosen.len())
            .map(|group| (0..chosen.len()).filter(|hole| group_of[*hole] == group).collect())
            .filter(|group: &Vec<usize>| group.len() > 1)
            .collect()
    }

    fn may_be_in_the_way(&self, chosen: &[usize], group: &[usize], other: usize) -> bool {
        let there = &self.choices[other][chosen[other]];
        group.iter().any(|hole| {
            self.choices[*hole].iter().any(|choice| self.short_mm(choice, there) > SHORT_MM)
        })
    }
}

/// The places of a group that are clear of every other screw, and which of them
/// are clear of each other.
struct Combination<'a> {
    /// Of each hole: positions in its choices, most worth first, with the worth.
    places: Vec<Vec<(usize, f64)>>,
    /// Of each hole and place, for every later hole: whether its places are
    /// clear.
    clear: Vec<Vec<Vec<Vec<bool>>>>,
    steps: &'a mut usize,
}

impl<'a> Combination<'a> {
    fn of(
        together: &Together<'_>,
        chosen: &[usize],
        group: &[usize],
        steps: &'a mut usize,
    ) -> Self {
        let others: Vec<usize> = (0..chosen.len()).filter(|hole| !group.contains(hole)).collect();
        let apart = |a: (usize, usize), b: (usize, usize)| {
            let [a, b] = [a, b].map(|(hole, place)| &together.choices[hole][place]);
            together.short_mm(a, b) <= SHORT_MM
        };
        let places: Vec<Vec<(usize, f64)>> = group
            .iter()
            .map(|hole| {
                let mut places: Vec<(usize, f64)> = (0..together.choices[*hole].len())
                    .filter(|place| {
                        others.iter().all(|other| apart((*hole, *place), (*other, chosen[*other])))
                    })
                    .map(|place| (place, together.choices[*hole][place].worth_n()))
                    .collect();
                places.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
                places
            })
            .collect();
        let looks: usize = pairs(group.len()).map(|(a, b)| places[a].len() * places[b].len()).sum();
        if looks > *steps {
            *steps = 0;
            return Self { places: Vec::new(), clear: Vec::new(), steps };
        }
        *steps -= looks;
        let clear = (0..group.len())
            .map(|a| {
                let row = |place: usize, b: usize| {
                    let own = (group[a], place);
                    places[b].iter().map(|(other, _)| apart(own, (group[b], *other))).collect()
                };
                let of_place = |(place, _): &(usize, f64)| {
                    (a + 1..group.len()).map(|b| row(*place, b)).collect()
                };
                places[a].iter().map(of_place).collect()
            })
            .collect();
        Self { places, clear, steps }
    }

    /// The choices worth most together that are clear of each other; the best
    /// so far where the bound ends the search.
    fn best(mut self) -> Option<Vec<usize>> {
        let open: Vec<Vec<bool>> = self.places.iter().map(|all| vec![true; all.len()]).collect();
        let mut best = None;
        if !open.is_empty() {
            self.descend(&mut Vec::new(), 0.0, &open, &mut best);
        }
        best.map(|(_, taken): (f64, Vec<usize>)| {
            taken.iter().zip(&self.places).map(|(at, places)| places[*at].0).collect()
        })
    }

    /// Try every place of the next hole that is open, most worth first.
    fn descend(
        &mut self,
        taken: &mut Vec<usize>,
        worth_n: f64,
        open: &[Vec<bool>],
        best: &mut Option<(f64, Vec<usize>)>,
    ) {
        let hole = taken.len();
        if hole == self.places.len() {
            if best.as_ref().is_none_or(|(most, _)| worth_n > *most) {
                *best = Some((worth_n, taken.clone()));
            }
            return;
        }
        for at in 0..self.places[hole].len() {
            if !open[hole][at] {
                continue;
            }
            if *self.steps == 0 {
                return;
            }
            *self.steps -= 1;
            let mut left = open.to_vec();
            for (later, clear) in self.clear[hole][at].iter().enumerate() {
                for (open, clear) in left[hole + 1 + later].iter_mut().zip(clear) {
                    *open &= clear;
                }
            }
            let with_n = worth_n + self.places[hole][at].1;
            // No hole holds more than the first of its places that is left.
            let most_n = (hole + 1..self.places.len()).try_fold(with_n, |sum, later| {
                let first = left[later].iter().position(|open| *open)?;
                Some(sum + self.places[later][first].1)
            });
            let hopes = most_n
                .is_some_and(|most_n| best.as_ref().is_none_or(|(found_n, _)| most_n > *found_n));
            if hopes {
                taken.push(at);
                self.descend(taken, with_n, &left, best);
                taken.pop();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::Axis;
    use crate::refine::candidate::Tried;
    use crate::refine::place::Place;
    use crate::refine::together::Choice;
    use crate::refine::types::Objectives;
    use pilothole_volume::{Direction, PatientPoint};

    fn parallel(x: f64, y: f64, worth_n: f64) -> Choice {
        let axis = Axis { seat: PatientPoint([x, y, 0.0]), direction: Direction::SUPERIOR };
        let objectives = Objectives {
            length_mm: 30.0,
            purchase_mm: 30.0,
            pullout_n: worth_n,
            low_n: worth_n,
            keeps: 1.0,
            noise_n: 0.0,
        };
        let place = Place { tilt_rad: [0.0; 2], slide_mm: [0.0; 2] };
        Choice::of(&Tried { place, axis, objectives }, 3.25)
    }

    /// Four holes of five places each on a square of 17 mm.
    fn crowded(case: u32) -> Vec<Vec<Choice>> {
        let mut state = case.wrapping_mul(747_796_405).wrapping_add(2_891_336_453);
        let mut next = |most: u32| {
            state = state.wrapping_mul(747_796_405).wrapping_add(2_891_336_453);
            f64::from((state >> 16) % most)
        };
        (0..4)
            .map(|_| (0..5).map(|_| parallel(next(18), next(18), 100.0 + next(900))).collect())
            .collect()
    }

    /// The most worth of a combination without a clash.
    fn exhaustive_n(together: &Together<'_>) -> Option<f64> {
        (0..625_usize)
            .map(|code| [code % 5, code / 5 % 5, code / 25 % 5, code / 125])
            .filter(|chosen| together.clashing(chosen).is_empty())
            .map(|chosen| {
                chosen.iter().zip(together.choices).map(|(at, all)| all[*at].worth_n()).sum()
            })
            .reduce(f64::max)
    }

    #[test]
    fn a_combination_without_a_clash_is_found_where_there_is_one() {
        let (mut parted, mut left) = (0, 0);
        for case in 0..300 {
            let choices = crowded(case);
            let together = Together { choices: &choices, wanted_mm: 2.0 };
            let truth = exhaustive_n(&together);
            for mut chosen in [vec![0; 4], together.choose()] {
                assert_eq!(together.clear(&mut chosen), Search::Whole);
                assert_eq!(together.clashing(&chosen).is_empty(), truth.is_some(), "case {case}");
            }
            *(if truth.is_some() { &mut parted } else { &mut left }) += 1;
        }
        assert!(parted > 30 && left > 30, "{parted} and {left}");
    }

    #[test]
    fn of_all_at_once_the_most_worth_is_taken() {
        for case in 0..300 {
            let choices = crowded(case);
            let together = Together { choices: &choices, wanted_mm: 2.0 };
            let mut steps = MOST_STEPS;
            let found = Combination::of(&together, &[0; 4], &[0, 1, 2, 3], &mut steps).best();
            let found_n = found.map(|chosen| {
                chosen.iter().zip(&choices).map(|(at, all)| all[*at].worth_n()).sum::<f64>()
            });
            let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
            let same = match (found_n, exhaustive_n(&together)) {
                (Some(a), Some(b)) => near(a, b),
                (None, None) => true,
                _ => false,
            };
            assert!(same, "case {case}");
        }
    }

    #[test]
    fn a_bound_that_is_reached_is_said() {
        let crowd: Vec<Choice> = (0..1100).map(|i| parallel(0.0, 0.0, f64::from(i))).collect();
        let choices = vec![crowd.clone(), crowd];
        let together = Together { choices: &choices, wanted_mm: 2.0 };
        let mut chosen = vec![0; 2];
        assert_eq!(together.clear(&mut chosen), Search::Bounded);
        assert_eq!(chosen, [0, 0]);
    }
}
