//! Why a plan is refused: everything at once, each with its line.

use std::fmt;

/// How a plan file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// TOML 1.1.
    Toml,
    /// JSON, with the same fields.
    Json,
}

/// One thing that is wrong with a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanProblem {
    /// Stable code: `plan.syntax`, `plan.field`, `plan.direction`,
    /// `plan.range`, `plan.duplicate`, `plan.screw` or `plan.side`.
    pub code: &'static str,
    /// One sentence, lower case, without a final period.
    pub text: String,
    /// Line of the plan file, counted from 1; `None` where it has no line.
    pub line: Option<usize>,
    /// What was found, in `unit`.
    pub measured: Option<f64>,
    /// What is allowed, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both, such as `mm`.
    pub unit: Option<&'static str>,
    /// The nearest word that would have been understood.
    pub nearest: Option<String>,
    /// What could be done about it, one sentence each.
    pub next: Vec<String>,
}

impl PlanProblem {
    pub(crate) fn new(code: &'static str, line: usize, text: impl Into<String>) -> Self {
        Self {
            code,
            text: text.into(),
            line: (line > 0).then_some(line),
            measured: None,
            limit: None,
            unit: None,
            nearest: None,
            next: Vec::new(),
        }
    }

    pub(crate) fn measured(
        mut self,
        measured: f64,
        limit: f64,
        unit: Option<&'static str>,
    ) -> Self {
        self.measured = measured.is_finite().then_some(measured);
        self.limit = Some(limit);
        self.unit = unit;
        self
    }

    pub(crate) fn nearest(mut self, nearest: Option<&str>) -> Self {
        if let Some(word) = nearest {
            self.next.push(format!("did you mean `{word}`?"));
            self.nearest = Some(word.to_owned());
        }
        self
    }

    pub(crate) fn next(mut self, sentence: impl Into<String>) -> Self {
        self.next.push(sentence.into());
        self
    }
}

impl fmt::Display for PlanProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.code)?;
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        f.write_str(&self.text)
    }
}

/// A plan that cannot be used, with all that is wrong, in order of lines.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}", list(.problems))]
pub struct PlanRefusal {
    /// What is wrong; never empty, at most [`PlanRefusal::MAX_PROBLEMS`].
    pub problems: Vec<PlanProblem>,
}

impl PlanRefusal {
    /// Problems that are listed; a file of garbage would list thousands.
    pub const MAX_PROBLEMS: usize = 100;

    pub(crate) fn new(mut problems: Vec<PlanProblem>) -> Self {
        problems.sort_by_key(|p| p.line.unwrap_or(usize::MAX));
        problems.truncate(Self::MAX_PROBLEMS);
        Self { problems }
    }
}

fn list(problems: &[PlanProblem]) -> String {
    problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}
