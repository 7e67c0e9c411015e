//! Why a scan is refused, or with what reservation it is used.

use std::fmt;

/// One refusal or one reservation: a stable code, a sentence, the number.
///
/// The text names files by ordinal (`file 37 of 212`) and elements by keyword;
/// no value of an element, no file or folder name, no identifier.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason {
    /// Stable code, `family.word`.
    pub code: &'static str,
    /// One sentence, lower case, without a final period.
    pub text: String,
    /// What was measured.
    pub measured: Option<f64>,
    /// What it was held against.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: Option<&'static str>,
    /// What the reader can do next.
    pub next: Vec<String>,
}

/// A reservation with which a scan is used.
pub type IntakeFinding = Reason;

impl Reason {
    pub(crate) fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into(), measured: None, limit: None, unit: None, next: Vec::new() }
    }

    /// With the number and the limit it was held against.
    #[must_use]
    pub(crate) fn measured(mut self, value: f64, limit: f64, unit: &'static str) -> Self {
        self.measured = value.is_finite().then_some(value);
        self.limit = limit.is_finite().then_some(limit);
        self.unit = Some(unit);
        self
    }

    /// With a number that has no limit.
    #[must_use]
    pub(crate) fn value(mut self, value: f64, unit: &'static str) -> Self {
        self.measured = value.is_finite().then_some(value);
        self.unit = Some(unit);
        self
    }

    /// With something the reader can do.
    #[must_use]
    pub(crate) fn next(mut self, text: impl Into<String>) -> Self {
        self.next.push(text.into());
        self
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.code, self.text)
    }
}

/// A scan that is not used, with every reason; the most fundamental first.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}", .0.first().map(ToString::to_string).unwrap_or_default())]
pub struct Refusal(pub Vec<Reason>);

impl Refusal {
    /// The reason that comes first; every refusal has one.
    pub fn first(&self) -> Option<&Reason> {
        self.0.first()
    }
}

impl From<Reason> for Refusal {
    fn from(reason: Reason) -> Self {
        Self(vec![reason])
    }
}
