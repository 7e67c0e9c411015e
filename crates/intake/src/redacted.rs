//! A value that belongs to a patient: it can be compared, never shown.

use std::fmt;

/// Holds what identifies a patient, a study or a place on disk; prints
/// `[redacted]` and has no way to be serialised.
#[derive(Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Redacted<T>(T);

impl<T> Redacted<T> {
    pub(crate) fn new(value: T) -> Self {
        Self(value)
    }

    /// The value, for comparing and opening; it must not reach an output.
    pub(crate) fn inner(&self) -> &T {
        &self.0
    }
}

impl<T> fmt::Debug for Redacted<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("[redacted]")
    }
}

impl<T> fmt::Display for Redacted<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("[redacted]")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_never_printed() {
        let name = Redacted::new("DOE^JANE".to_owned());
        assert_eq!(
            format!("{name} {name:?} {:?}", Some(&name)),
            "[redacted] [redacted] Some([redacted])"
        );
    }
}
