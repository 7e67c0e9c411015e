//! Which rows of a manifest one run takes.

use std::str::FromStr;

use super::error::CohortError;

/// Rows k with k mod N = I, k counted from 0.
///
/// The rule is a pure function of the row, so any count may follow any other
/// on the same output folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    index: u64,
    count: u64,
}

impl Shard {
    /// Every row.
    pub const WHOLE: Self = Self { index: 0, count: 1 };

    /// Shard `index` of `count`.
    ///
    /// # Errors
    ///
    /// [`CohortError::Shard`] unless `index < count`.
    pub fn new(index: u64, count: u64) -> Result<Self, CohortError> {
        if index < count {
            Ok(Self { index, count })
        } else {
            Err(CohortError::Shard { index, count })
        }
    }

    /// From 0.
    pub fn index(self) -> u64 {
        self.index
    }

    /// How many there are.
    pub fn count(self) -> u64 {
        self.count
    }

    /// Whether it takes the row at `position`, counted from 0.
    pub fn takes(self, position: usize) -> bool {
        position as u64 % self.count == self.index
    }
}

impl FromStr for Shard {
    type Err = CohortError;

    /// `I/N`, decimal.
    fn from_str(text: &str) -> Result<Self, CohortError> {
        let numbers = text.split_once('/').and_then(|(index, count)| {
            Some((index.parse::<u64>().ok()?, count.parse::<u64>().ok()?))
        });
        let (index, count) = numbers.ok_or(CohortError::ShardSyntax)?;
        Self::new(index, count)
    }
}

impl std::fmt::Display for Shard {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.index, self.count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_part_the_rows() {
        for count in [1, 3, 7] {
            for position in 0..50 {
                let takers = (0..count)
                    .filter(|i| Shard::new(*i, count).expect("exists").takes(position))
                    .count();
                assert_eq!(takers, 1);
            }
        }
    }

    #[test]
    fn what_is_not_a_shard_is_refused() {
        for text in ["", "3", "3/", "/3", "3/3", "0/0", "-1/3", "1/3/4", "a/b"] {
            assert!(text.parse::<Shard>().is_err(), "{text}");
        }
        assert_eq!("2/3".parse::<Shard>().expect("exists").to_string(), "2/3");
    }
}
