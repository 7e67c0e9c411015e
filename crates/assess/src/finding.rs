//! Reservations: results that stand, with what a reader must know about them.

/// A reservation about a result.
///
/// The code is stable (`docs/codes.md`); the sentence is not.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable code, such as `path.no_bone`.
    pub code: &'static str,
    /// Index of the hole in the plan, where it is about one.
    pub hole: Option<usize>,
    /// Index of a second hole, where it is about a pair.
    pub other: Option<usize>,
    /// One sentence for a reader.
    pub text: String,
    /// What was measured, in `unit`.
    pub measured: Option<f64>,
    /// What it was held against, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both numbers: `mm`, `deg`, `HU`, `1`.
    pub unit: Option<&'static str>,
}

impl Finding {
    /// A finding about the whole scan or set, without numbers.
    pub fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self {
            code,
            hole: None,
            other: None,
            text: text.into(),
            measured: None,
            limit: None,
            unit: None,
        }
    }

    /// The same, about a hole.
    #[must_use]
    pub fn of_hole(mut self, hole: usize) -> Self {
        self.hole = Some(hole);
        self
    }

    /// The same, about a second hole too.
    #[must_use]
    pub fn and_hole(mut self, other: usize) -> Self {
        self.other = Some(other);
        self
    }

    /// The same, with what was measured and what it was held against.
    #[must_use]
    pub fn measured(mut self, measured: f64, limit: Option<f64>, unit: &'static str) -> Self {
        self.measured = Some(measured);
        self.limit = limit;
        self.unit = Some(unit);
        self
    }
}
