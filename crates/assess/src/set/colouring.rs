//! The fewest groups of things of which some may not be together.

/// Groups found, and whether no fewer are possible.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grouping {
    /// The groups, each rising, in order of their first member.
    pub groups: Vec<Vec<usize>>,
    /// Whether their number is proven least.
    pub exact: bool,
}

/// Most partial groupings looked at before the best so far has to do.
const MOST_STEPS: usize = 400_000;

/// Split `count` things into the fewest groups.
///
/// - `fits`: whether a set may be one group. Every part of a set that fits
///   must fit, and so must every single thing.
/// - `exact`: whether to prove that there are no fewer; the search is
///   exponential at worst.
pub fn fewest_groups(count: usize, fits: &dyn Fn(&[usize]) -> bool, exact: bool) -> Grouping {
    let apart: Vec<Vec<bool>> = (0..count)
        .map(|a| (0..count).map(|b| a != b && !fits(&[a.min(b), a.max(b)])).collect())
        .collect();
    let degree = |i: usize| apart[i].iter().filter(|conflict| **conflict).count();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|a, b| degree(*b).cmp(&degree(*a)).then(a.cmp(b)));
    let mut search = Search {
        order: &order,
        apart: &apart,
        fits,
        fewest: clique(&order, &apart),
        best: greedy(&order, &apart, fits),
        steps: 0,
    };
    if exact {
        search.deepen(0, &mut Vec::new());
    }
    let proven = search.best.len() == search.fewest || exact && search.steps < MOST_STEPS;
    let mut groups = search.best;
    for group in &mut groups {
        group.sort_unstable();
    }
    groups.sort();
    Grouping { groups, exact: proven }
}

struct Search<'a> {
    order: &'a [usize],
    apart: &'a [Vec<bool>],
    fits: &'a dyn Fn(&[usize]) -> bool,
    /// No grouping can have fewer: things that all conflict with each other.
    fewest: usize,
    best: Vec<Vec<usize>>,
    steps: usize,
}

impl Search<'_> {
    fn deepen(&mut self, depth: usize, groups: &mut Vec<Vec<usize>>) {
        if groups.len() >= self.best.len()
            || self.best.len() == self.fewest
            || self.steps >= MOST_STEPS
        {
            return;
        }
        self.steps += 1;
        let Some(next) = self.order.get(depth).copied() else {
            self.best.clone_from(groups);
            return;
        };
        for group in 0..groups.len() {
            if joins(&mut groups[group], next, self.apart, self.fits) {
                self.deepen(depth + 1, groups);
                groups[group].pop();
            }
        }
        groups.push(vec![next]);
        self.deepen(depth + 1, groups);
        groups.pop();
    }
}

/// Put a thing into a group if it fits.
fn joins(
    group: &mut Vec<usize>,
    next: usize,
    apart: &[Vec<bool>],
    fits: &dyn Fn(&[usize]) -> bool,
) -> bool {
    if group.iter().any(|member| apart[*member][next]) {
        return false;
    }
    group.push(next);
    let fit = group.len() <= 2 || fits(group);
    if !fit {
        group.pop();
    }
    fit
}

fn greedy(
    order: &[usize],
    apart: &[Vec<bool>],
    fits: &dyn Fn(&[usize]) -> bool,
) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for next in order {
        if !groups.iter_mut().any(|group| joins(group, *next, apart, fits)) {
            groups.push(vec![*next]);
        }
    }
    groups
}

/// Size of a set of things that all conflict, found greedily.
fn clique(order: &[usize], apart: &[Vec<bool>]) -> usize {
    let mut most = usize::from(!order.is_empty());
    for start in order {
        let mut members = vec![*start];
        for next in order {
            if members.iter().all(|member| apart[*member][*next]) {
                members.push(*next);
            }
        }
        most = most.max(members.len());
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    /// Fewest groups by trying every partition.
    fn brute(count: usize, fits: &dyn Fn(&[usize]) -> bool) -> usize {
        fn place(
            next: usize,
            count: usize,
            groups: &mut Vec<Vec<usize>>,
            fits: &dyn Fn(&[usize]) -> bool,
        ) -> usize {
            if next == count {
                return if groups.iter().all(|g| fits(g)) { groups.len() } else { usize::MAX };
            }
            let mut least = usize::MAX;
            for group in 0..=groups.len() {
                if group == groups.len() {
                    groups.push(Vec::new());
                }
                groups[group].push(next);
                least = least.min(place(next + 1, count, groups, fits));
                groups[group].pop();
                if groups[group].is_empty() {
                    groups.pop();
                }
            }
            least
        }
        place(0, count, &mut Vec::new(), fits)
    }

    #[test]
    fn the_fewest_groups_equal_the_brute_force() {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        for _ in 0..500 {
            let count = 2 + (random.next_u32() % 6) as usize;
            // Each thing allows some of 8 directions and conflicts with some others.
            let directions: Vec<u32> = (0..count)
                .map(|_| random.next_u32() & 0xff | 1 << (random.next_u32() % 8))
                .collect();
            let conflicts: Vec<u32> =
                (0..count).map(|_| random.next_u32() & random.next_u32()).collect();
            let fits = |set: &[usize]| {
                let shared = set.iter().fold(u32::MAX, |all, i| all & directions[*i]);
                let parted =
                    set.iter().any(|a| set.iter().any(|b| a < b && conflicts[*a] >> b & 1 == 1));
                !parted && (shared != 0 || set.len() == 1)
            };
            let found = fewest_groups(count, &fits, true);
            assert!(found.exact && found.groups.iter().all(|g| fits(g)));
            assert_eq!(found.groups.len(), brute(count, &fits));
            let mut all: Vec<usize> = found.groups.concat();
            all.sort_unstable();
            assert_eq!(all, (0..count).collect::<Vec<_>>());
        }
    }
}
