//! Sets of intervals on a ray.

/// Disjoint closed intervals of path positions, mm, rising.
#[derive(Clone, Debug, PartialEq)]
pub struct Intervals(Vec<(f64, f64)>);

impl Intervals {
    /// Nothing.
    pub fn none() -> Self {
        Self(Vec::new())
    }

    /// From `from` to `to`; nothing when that is no length.
    pub fn one(from: f64, to: f64) -> Self {
        if to > from { Self(vec![(from, to)]) } else { Self::none() }
    }

    /// The intervals, rising.
    pub fn as_slice(&self) -> &[(f64, f64)] {
        &self.0
    }

    /// Whether a position lies in one of them.
    pub fn hold(&self, t: f64) -> bool {
        self.0.iter().any(|(from, to)| (*from..=*to).contains(&t))
    }

    /// What lies in either.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        let mut all: Vec<(f64, f64)> = self.0.iter().chain(&other.0).copied().collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut out: Vec<(f64, f64)> = Vec::new();
        for (from, to) in all {
            match out.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ => out.push((from, to)),
            }
        }
        Self(out)
    }

    /// What lies in both.
    #[must_use]
    pub fn common(&self, other: &Self) -> Self {
        let mut out = Vec::new();
        for a in &self.0 {
            for b in &other.0 {
                let (from, to) = (a.0.max(b.0), a.1.min(b.1));
                if to > from {
                    out.push((from, to));
                }
            }
        }
        Self(out)
    }

    /// What lies in this and not in the other.
    #[must_use]
    pub fn without(&self, other: &Self) -> Self {
        let mut gaps = Vec::new();
        let mut from = f64::NEG_INFINITY;
        for (start, end) in &other.0 {
            if *start > from {
                gaps.push((from, *start));
            }
            from = *end;
        }
        if from < f64::INFINITY {
            gaps.push((from, f64::INFINITY));
        }
        self.common(&Self(gaps))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_are_joined_cut_and_taken_away() {
        let a = Intervals::one(0.0, 4.0).union(&Intervals::one(6.0, 9.0));
        let b = Intervals::one(3.0, 7.0);
        assert_eq!(a.union(&b).as_slice(), [(0.0, 9.0)]);
        assert_eq!(a.common(&b).as_slice(), [(3.0, 4.0), (6.0, 7.0)]);
        assert_eq!(a.without(&b).as_slice(), [(0.0, 3.0), (7.0, 9.0)]);
        assert_eq!(b.without(&a).as_slice(), [(4.0, 6.0)]);
        assert!(a.hold(4.0) && !a.hold(5.0));
        let half = Intervals::one(f64::NEG_INFINITY, 2.0);
        assert_eq!(a.without(&half).as_slice(), [(2.0, 4.0), (6.0, 9.0)]);
    }
}
