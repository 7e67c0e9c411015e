//! Positions in the plan turned to ids.

use pilothole_plan::Plan;

/// The ids of a plan's holes, by position.
pub(crate) struct Ids(Vec<String>);

impl Ids {
    /// Those of a plan.
    pub(crate) fn new(plan: &Plan) -> Self {
        Self(plan.holes.iter().map(|h| h.id.clone()).collect())
    }

    /// The id of a hole; `?` for a hole that the plan does not have.
    pub(crate) fn of(&self, hole: usize) -> String {
        self.0.get(hole).cloned().unwrap_or_else(|| "?".to_owned())
    }

    /// The ids of several.
    pub(crate) fn all(&self, holes: &[usize]) -> Vec<String> {
        holes.iter().map(|h| self.of(*h)).collect()
    }
}
