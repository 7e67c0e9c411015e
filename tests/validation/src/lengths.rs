//! Lengths recommended against lengths that the answers ask for.

use crate::row::per_cent;
use crate::solve::Solved;

/// Counts over holes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lengths {
    /// Holes compared.
    pub holes: usize,
    /// The same length, or none where none is safe.
    pub exact: usize,
    /// The same or the neighbour in stock.
    pub within_a_step: usize,
    /// Longer than is safe, or any where none is.
    pub longer: usize,
    /// Shorter than would be safe, or none where one is.
    pub shorter: usize,
}

impl Lengths {
    /// Heads of [`Lengths::figures`].
    pub const HEADS: [&str; 5] =
        ["holes", "exact", "within one stock step", "too long", "too short"];

    /// Add one hole.
    ///
    /// - `stocked`: lengths in stock, rising.
    pub fn add(&mut self, found: Option<f64>, want: Option<f64>, stocked: &[f64]) {
        // None stands one step below the shortest.
        let step = |length: Option<f64>| {
            length.map_or(0, |mm| 1 + stocked.iter().filter(|s| **s < mm - 1e-9).count())
        };
        let (found, want) = (step(found), step(want));
        self.holes += 1;
        self.exact += usize::from(found == want);
        self.within_a_step += usize::from(found.abs_diff(want) <= 1);
        self.longer += usize::from(found > want);
        self.shorter += usize::from(found < want);
    }

    /// Add every hole of a phantom whose answer is known.
    pub fn add_all(&mut self, solved: &Solved) {
        for ((truth, found), stocked) in
            solved.truth.holes.iter().zip(&solved.found).zip(&solved.stocked)
        {
            if truth.far_cortex_mm.is_some() {
                self.add(found.length_mm, truth.length_mm, stocked);
            }
        }
    }

    /// Counts and shares, to be printed.
    pub fn figures(&self) -> Vec<String> {
        let share = |count| per_cent(count, self.holes);
        vec![
            self.holes.to_string(),
            share(self.exact),
            share(self.within_a_step),
            share(self.longer),
            share(self.shorter),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_counted_in_steps_of_the_stock() {
        let stocked = [20.0, 25.0, 30.0];
        let mut all = Lengths::default();
        all.add(Some(25.0), Some(25.0), &stocked);
        all.add(Some(30.0), Some(25.0), &stocked);
        all.add(None, Some(25.0), &stocked);
        all.add(Some(20.0), None, &stocked);
        all.add(None, None, &stocked);
        let want = Lengths { holes: 5, exact: 2, within_a_step: 4, longer: 2, shorter: 1 };
        assert_eq!(all, want);
    }
}
