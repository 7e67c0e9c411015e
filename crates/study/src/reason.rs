//! Refusals in one shape, whichever stage they come from.

use pilothole_intake as intake;
use pilothole_plan as plan;

/// Why there is no result: a stable code, a sentence, the number, what to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason {
    /// Stable code, such as `geometry.gap`.
    pub code: &'static str,
    /// One sentence.
    pub text: String,
    /// What was measured, in `unit`.
    pub measured: Option<f64>,
    /// What it was held against, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: Option<&'static str>,
    /// What can be done, one sentence each.
    pub next: Vec<String>,
}

impl Reason {
    /// A reason without numbers.
    pub fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into(), measured: None, limit: None, unit: None, next: Vec::new() }
    }

    /// The same, with what was measured and what it was held against.
    #[must_use]
    pub fn measured(mut self, measured: f64, limit: Option<f64>, unit: &'static str) -> Self {
        self.measured = Some(measured);
        self.limit = limit;
        self.unit = Some(unit);
        self
    }

    /// The same, with something the reader can do.
    #[must_use]
    pub fn next(mut self, sentence: impl Into<String>) -> Self {
        self.next.push(sentence.into());
        self
    }
}

impl From<intake::Reason> for Reason {
    fn from(reason: intake::Reason) -> Self {
        let intake::Reason { code, text, measured, limit, unit, next } = reason;
        Self { code, text, measured, limit, unit, next }
    }
}

impl From<plan::PlanProblem> for Reason {
    fn from(problem: plan::PlanProblem) -> Self {
        let text = match problem.line {
            Some(line) => format!("line {line}: {}", problem.text),
            None => problem.text,
        };
        Self {
            code: problem.code,
            text,
            measured: problem.measured,
            limit: problem.limit,
            unit: problem.unit,
            next: problem.next,
        }
    }
}
